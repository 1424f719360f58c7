package table

import (
	"reflect"
	"strconv"
	"strings"
	"sync"

	"fettle/schema"
	"fettle/schema/quantity"
)

// A leaf is one member of a condition that a cell can give, read off the struct of package schema so that the two cannot drift.
type leaf struct {
	path  string // with every list index as [], as in pierce[].time
	kind  leafKind
	dim   quantity.Dimension
	order []int // where it stands in the format
}

type leafKind uint8

const (
	isQuantity leafKind = iota
	isWhole             // a whole number
	isWord              // a string from a list, or a name
	isText              // free text
	isTable             // members of the machine's own: extra.NAME
)

// leaves are all members of a condition, by path.
var leaves = sync.OnceValue(func() map[string]leaf {
	all := map[string]leaf{}
	collect(all, reflect.TypeFor[schema.Condition](), "", nil)
	return all
})

var setter = reflect.TypeFor[quantity.Setter]()

func collect(all map[string]leaf, t reflect.Type, prefix string, order []int) {
	for i := range t.NumField() {
		f := t.Field(i)
		at := append(append([]int{}, order...), i)
		name := f.Tag.Get("json")
		if name == "" {
			if f.Anonymous {
				collect(all, f.Type, prefix, at)
			}
			continue
		}
		l := leaf{path: prefix + name, order: at}
		typ := f.Type
		if typ.Kind() == reflect.Slice { // a Table
			l.kind = isTable
			all[l.path] = l
			continue
		}
		typ = typ.Field(0).Type // the V of a Member
		switch {
		case reflect.PointerTo(typ).Implements(setter):
			l.dim = reflect.New(typ).Interface().(quantity.Setter).Dim()
		case typ.Kind() == reflect.Int:
			l.kind = isWhole
		case typ.Kind() == reflect.String:
			l.kind = isText
			if f.Tag.Get("word") != "" || f.Tag.Get("is") == "name" {
				l.kind = isWord
			}
		case typ.Kind() == reflect.Slice:
			collect(all, typ.Elem(), l.path+"[].", at)
			continue
		default:
			collect(all, typ, l.path+".", at)
			continue
		}
		all[l.path] = l
	}
}

var listIndex = pattern(`\[([0-9]+)\]`)

// leafOf returns what a path of a condition is: pierce[0].time, extra.NAME.
func leafOf(path string) (leaf, bool) {
	if strings.HasPrefix(path, "extra.") {
		l, ok := leaves()["extra"]
		return l, ok && path != "extra."
	}
	if strings.IndexByte(path, '[') >= 0 {
		path = listIndex().ReplaceAllString(path, "[]")
	}
	l, ok := leaves()[path]
	return l, ok && l.kind != isTable
}

// comparePaths orders paths as the format does, stages and contours by their number.
func comparePaths(a, b string) int {
	return compareOrder(orderOf(a), orderOf(b), a, b)
}

// orderOf is the place of a path in the format: of each step the place of the member, and the index in a list behind it.
func orderOf(path string) []int {
	l, ok := leafOf(path)
	if !ok { // an empty list stands where its items would
		for _, inside := range leaves() {
			if strings.HasPrefix(inside.path, path+"[].") {
				return inside.order[:1]
			}
		}
	}
	index := listIndex().FindStringSubmatch(path)
	if index == nil || len(l.order) < 2 {
		return l.order
	}
	n, err := strconv.Atoi(index[1])
	if err != nil {
		return l.order
	}
	return append([]int{l.order[0], n}, l.order[1:]...)
}

func compareOrder(x, y []int, a, b string) int {
	for i := range min(len(x), len(y)) {
		if x[i] != y[i] {
			return x[i] - y[i]
		}
	}
	if len(x) != len(y) {
		return len(x) - len(y)
	}
	return strings.Compare(a, b)
}
