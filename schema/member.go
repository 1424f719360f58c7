package schema

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"sync"

	"fettle/schema/quantity"
)

// A Member is one named value of an object together with its place. The zero Member is absent, which is never the same as a
// default.
type Member[T any] struct {
	V  T
	At Span
}

// Made is the place of a member that fettle made and that stands in no file yet.
var Made = Span{-1, -1}

// Of makes a member that stands in no file yet.
func Of[T any](v T) Member[T] { return Member[T]{V: v, At: Made} }

// Set reports whether the member is there at all.
func (m Member[T]) Set() bool { return m.At != Span{} }

// Or returns the value, or fallback where the member is absent.
func (m Member[T]) Or(fallback T) T {
	if m.Set() {
		return m.V
	}
	return fallback
}

// A Table is an object whose member names are chosen by the shop: gases, materials, rules.
type Table[T any] []Row[T]

// A Row is one named entry of a [Table].
type Row[T any] struct {
	Name   string
	NameAt Span
	V      T
	At     Span
}

// Get returns the entry called name.
func (t Table[T]) Get(name string) (T, bool) {
	if v := t.Find(name); v != nil {
		return *v, true
	}
	var none T
	return none, false
}

// Find returns the entry called name in its place, nil where there is none.
func (t Table[T]) Find(name string) *T {
	for i := range t {
		if t[i].Name == name {
			return &t[i].V
		}
	}
	return nil
}

// Number is a plain number where the format asks for one: a price, a critical pressure ratio.
type Number struct {
	Text  string
	Float float64
}

// spec is what a struct tag says of a member.
//
//	json:"speed"      its name
//	need:"yes"        it must be there
//	one:"a,b"         its words
//	is:"name"         its form, a key of forms
//	size:"2"          a list of just so many items
//	from:"1" to:"5"   the range of a number; 0 and 1e9 where it says nothing
//	keys:"name"       the form of the names in a table
//	null:"ok"         null may stand for "none"
//	rest:"_m3"        a table that takes every member with this ending ("*": every member not known otherwise)
//	canon:"no"        not part of the canonical form
//	doc:"..."         one line for the published schema
type spec struct {
	name, form, rest, doc string
	keys                  string
	need, null, secret    bool
	one                   []string
	size                  int
	from, to              int
}

type shapeKind uint8

const (
	isQuantity shapeKind = iota
	isString
	isBool
	isInt
	isNumber
	isStruct
	isList
	isTable
	isRaw
)

// A shape is what a Go type looks like in JSON.
type shape struct {
	kind shapeKind
	typ  reflect.Type
	elem *shape    // of a list or table
	info *typeInfo // of a struct
	dim  quantity.Dimension
}

type fieldInfo struct {
	spec
	index  []int
	shape  *shape
	member bool // a Member (V and At), else a Table
}

// typeInfo is a struct of this package seen as a JSON object.
type typeInfo struct {
	fields []fieldInfo
	byName map[string]int
	sorted []int // by name, as RFC 8785 orders them
	rest   int   // the field that takes other members, or -1
}

var (
	setterType = reflect.TypeFor[quantity.Setter]()
	rawType    = reflect.TypeFor[*Node]()
	numberType = reflect.TypeFor[Number]()
	spanType   = reflect.TypeFor[Span]()
	infos      sync.Map // reflect.Type -> *typeInfo
)

func infoOf(t reflect.Type) *typeInfo {
	if known, ok := infos.Load(t); ok {
		return known.(*typeInfo)
	}
	info := &typeInfo{byName: map[string]int{}, rest: -1}
	info.collect(t, nil)
	for i, f := range info.fields {
		if f.rest != "" {
			info.rest = i
			continue
		}
		info.byName[f.name] = i
		at := len(info.sorted)
		for at > 0 && info.fields[info.sorted[at-1]].name > f.name {
			at--
		}
		info.sorted = append(info.sorted[:at], append([]int{i}, info.sorted[at:]...)...)
	}
	infos.Store(t, info)
	return info
}

func (info *typeInfo) collect(t reflect.Type, index []int) {
	for i := range t.NumField() {
		f := t.Field(i)
		at := append(append([]int{}, index...), i)
		if f.Anonymous && f.Tag.Get("json") == "" {
			info.collect(f.Type, at)
			continue
		}
		field := fieldInfo{index: at, spec: specOf(f.Tag)}
		if field.name == "" {
			continue
		}
		if f.Type.Kind() == reflect.Struct && f.Type.NumField() == 2 && f.Type.Field(1).Type == spanType {
			field.member, field.shape = true, shapeOf(f.Type.Field(0).Type)
		} else {
			field.shape = shapeOf(f.Type)
		}
		info.fields = append(info.fields, field)
	}
}

// specOf reads what the tag of a field says, each part once: a hook reads all of them, and reflect begins anew for each name.
func specOf(tag reflect.StructTag) spec {
	out := spec{to: 1e9}
	for rest := string(tag); ; {
		name, value, ok := strings.Cut(strings.TrimLeft(rest, " "), `:"`)
		if !ok {
			return out
		}
		end := 0
		for ; end < len(value) && value[end] != '"'; end++ {
			if value[end] == '\\' {
				end++
			}
		}
		if end >= len(value) {
			panic("schema: a tag that does not end: " + string(tag))
		}
		value, rest = value[:end], value[end+1:]
		if strings.IndexByte(value, '\\') >= 0 {
			value, _ = strconv.Unquote(`"` + value + `"`)
		}
		switch name {
		case "json":
			out.name = value
		case "is":
			out.form = value
		case "rest":
			out.rest = value
		case "doc":
			out.doc = value
		case "keys":
			out.keys = value
		case "need":
			out.need = value == "yes"
		case "null":
			out.null = value == "ok"
		case "canon":
			out.secret = value == "no"
		case "one":
			out.one = strings.Split(value, ",")
		case "word":
			out.one = vocabularies[value]
		case "size":
			fmt.Sscan(value, &out.size)
		case "from":
			fmt.Sscan(value, &out.from)
		case "to":
			fmt.Sscan(value, &out.to)
		}
	}
}

func shapeOf(t reflect.Type) *shape {
	switch {
	case reflect.PointerTo(t).Implements(setterType):
		return &shape{kind: isQuantity, typ: t, dim: reflect.New(t).Interface().(quantity.Setter).Dim()}
	case t == rawType:
		return &shape{kind: isRaw, typ: t}
	case t == numberType:
		return &shape{kind: isNumber, typ: t}
	}
	switch t.Kind() {
	case reflect.String:
		return &shape{kind: isString, typ: t}
	case reflect.Bool:
		return &shape{kind: isBool, typ: t}
	case reflect.Int:
		return &shape{kind: isInt, typ: t}
	case reflect.Struct:
		return &shape{kind: isStruct, typ: t, info: infoOf(t)}
	case reflect.Slice:
		elem := t.Elem()
		if elem.Kind() == reflect.Struct && elem.NumField() == 4 && elem.Field(1).Name == "NameAt" {
			return &shape{kind: isTable, typ: t, elem: shapeOf(elem.Field(2).Type)}
		}
		return &shape{kind: isList, typ: t, elem: shapeOf(elem)}
	}
	panic("schema: no JSON shape for " + t.String())
}

// value returns the reflected V and whether the field is present in the struct v, which a pointer led to.
func (f *fieldInfo) value(v reflect.Value) (reflect.Value, Span, bool) {
	field := v.FieldByIndex(f.index)
	if !f.member {
		return field, Span{}, field.Len() > 0
	}
	at := *field.Field(1).Addr().Interface().(*Span) // by its address, which takes no memory
	return field.Field(0), at, at != Span{}
}
