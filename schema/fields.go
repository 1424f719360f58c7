package schema

import (
	"reflect"
	"strconv"

	"fettle/schema/quantity"
)

// A Field is one leaf of a struct: one value that a person can set.
type Field struct {
	Path     string         // dotted: cut.speed, pierce[0].time
	Text     string         // as it stands in the file
	Quantity quantity.Value // the zero Value where it is a word, a number or a text
	At       Span
	Note     bool // free text that is no part of the recipe
}

// Same reports whether both fields mean the same: 2 mm and 0.2 cm do.
func (f Field) Same(g Field) bool {
	if !f.Quantity.IsZero() && !g.Quantity.IsZero() {
		return f.Quantity.Equal(g.Quantity)
	}
	return f.Text == g.Text && f.Quantity.IsZero() == g.Quantity.IsZero()
}

// Fields returns the leaves of a struct of this package in the order of the format. An empty list (a start at the edge) is a
// leaf with the text "[]".
func Fields(ptr any) []Field {
	v := reflect.ValueOf(ptr).Elem()
	w := &walk{out: make([]Field, 0, 32)}
	w.object("", infoOf(v.Type()), v, false)
	return w.out
}

type walk struct{ out []Field }

func (w *walk) object(prefix string, info *typeInfo, v reflect.Value, note bool) {
	for i := range info.fields {
		f := &info.fields[i]
		value, at, ok := f.value(v)
		if !ok || f.name == "kind" || f.name == "format" || f.name == "$schema" {
			continue
		}
		path := prefix + f.name
		if f.rest != "" {
			for k := range value.Len() {
				w.value(prefix+value.Index(k).Field(0).String(), f.shape.elem, value.Index(k).Field(2), value.Index(k).Field(3).Interface().(Span), note)
			}
			continue
		}
		w.value(path, f.shape, value, at, note || f.secret)
	}
}

func (w *walk) value(path string, sh *shape, v reflect.Value, at Span, note bool) {
	switch sh.kind {
	case isStruct:
		w.object(path+".", sh.info, v, note)
	case isTable:
		for i := range v.Len() {
			w.value(path+"."+v.Index(i).Field(0).String(), sh.elem, v.Index(i).Field(2), v.Index(i).Field(3).Interface().(Span), note)
		}
	case isQuantity:
		q := *v.Field(0).Addr().Interface().(*quantity.Value)
		w.out = append(w.out, Field{Path: path, Text: q.Text(), Quantity: q, At: at, Note: note})
	case isList:
		if v.Len() > 0 && (sh.elem.kind == isStruct) {
			for i := range v.Len() {
				w.value(path+"["+strconv.Itoa(i)+"]", sh.elem, v.Index(i), at, note)
			}
			return
		}
		w.out = append(w.out, Field{Path: path, Text: listText(encodeValue(sh, v)), At: at, Note: note})
	case isString:
		w.out = append(w.out, Field{Path: path, Text: v.String(), At: at, Note: note})
	default:
		w.out = append(w.out, Field{Path: path, Text: string(appendValue(nil, sh, v)), At: at, Note: note})
	}
}

// listText writes a list of plain values for a person: "1, 2".
func listText(n *Node) string {
	if len(n.Kids) == 0 {
		return "[]"
	}
	s := ""
	for i, kid := range n.Kids {
		if i > 0 {
			s += ", "
		}
		s += kid.Text
	}
	return s
}

// ProcessField reports whether a field shapes the cut itself, so that a change of it asks for a trial. Grade, kerf, quality and
// notes describe; they need a reason only.
func ProcessField(path string) bool {
	for _, described := range []string{"kerf", "grade", "quality", "note"} {
		if path == described || len(path) > len(described) && path[:len(described)+1] == described+"." {
			return false
		}
	}
	return true
}
