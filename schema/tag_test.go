package schema

import (
	"reflect"
	"strings"
	"testing"
)

// What is read of a tag is what reflect reads, one name at a time.
func TestTagsAgainstReflect(t *testing.T) {
	seen := 0
	var look func(typ reflect.Type)
	known := map[reflect.Type]bool{}
	look = func(typ reflect.Type) {
		for typ.Kind() == reflect.Slice || typ.Kind() == reflect.Pointer {
			typ = typ.Elem()
		}
		if typ.Kind() != reflect.Struct || known[typ] || typ == nodeType {
			return
		}
		known[typ] = true
		for i := range typ.NumField() {
			f := typ.Field(i)
			got := specOf(f.Tag)
			want := map[string]string{"json": got.name, "is": got.form, "rest": got.rest, "doc": got.doc, "keys": got.keys}
			for name, value := range want {
				if is := f.Tag.Get(name); is != value {
					t.Errorf("%s.%s: %s is %q, read as %q", typ, f.Name, name, is, value)
				}
			}
			if got.need != (f.Tag.Get("need") == "yes") || got.null != (f.Tag.Get("null") == "ok") || got.secret != (f.Tag.Get("canon") == "no") {
				t.Errorf("%s.%s: %+v of %s", typ, f.Name, got, f.Tag)
			}
			if one := f.Tag.Get("one"); one != "" && strings.Join(got.one, ",") != one || f.Tag.Get("to") == "" && got.to != 1e9 || f.Tag.Get("from") == "" && got.from != 0 {
				t.Errorf("%s.%s: %+v of %s", typ, f.Name, got, f.Tag)
			}
			if f.Tag != "" {
				seen++
			}
			look(f.Type)
		}
	}
	for _, body := range []any{&Settings{}, &Machine{}, &ConditionSet{}, &Reason{}, &Decision{}, &Withdrawal{}, &Trial{}, &Load{}, &Permit{}, &Waiver{}, &Cause{}, &Escape{}} {
		look(reflect.TypeOf(body))
	}
	if seen < 150 {
		t.Errorf("only %d tags were looked at", seen)
	}
	if got := specOf(`json:"a" doc:"say \"b\": c" size:"3" from:"1"  to:"12" word:"no such"`); got.name != "a" || got.doc != `say "b": c` || got.size != 3 || got.from != 1 || got.to != 12 || got.one != nil {
		t.Errorf("%+v", got)
	}
}

var nodeType = reflect.TypeFor[Node]()
