package schema

import (
	"bytes"
	"reflect"
	"strings"
)

// Layout writes a tree in the house layout: two-space indent, the member order of the format, one member a line, lists of plain
// values on one line, LF, a final newline. Members that the format does not know come last, in the order they had. A change of
// one value is a change of one line.
func Layout(n *Node) []byte {
	var info *typeInfo
	if n.Kind == Object {
		if t, ok := structOf(n.Str("kind")); ok {
			info = infoOf(t)
		}
	}
	var b bytes.Buffer
	b.Write(layout(nil, n, info, 0))
	b.WriteByte('\n')
	return b.Bytes()
}

// structOf returns the struct that a file of this kind is read into.
func structOf(kind string) (reflect.Type, bool) {
	switch kind {
	case "library":
		return reflect.TypeFor[Settings](), true
	case "machine":
		return reflect.TypeFor[Machine](), true
	case "condition-set":
		return reflect.TypeFor[ConditionSet](), true
	}
	if t, ok := trialTypes[kind]; ok {
		return t, true
	}
	t, ok := recordTypes[kind]
	return t, ok
}

func layout(b []byte, n *Node, info *typeInfo, depth int) []byte {
	if n.Kind != Object && n.Kind != Array {
		return appendNode(b, n)
	}
	if len(n.Kids) == 0 {
		return append(b, byte(n.Kind), byte(n.Kind)+2)
	}
	if n.Kind == Array && plain(n) {
		b = append(b, '[')
		for i, kid := range n.Kids {
			if i > 0 {
				b = append(b, ", "...)
			}
			b = appendNode(b, kid)
		}
		return append(b, ']')
	}
	indent := strings.Repeat("  ", depth+1)
	b = append(b, byte(n.Kind), '\n')
	for i, kid := range inOrder(n, info) {
		if i > 0 {
			b = append(b, ",\n"...)
		}
		b = append(b, indent...)
		if n.Kind == Object {
			b = append(appendQuoted(b, kid.Key), ": "...)
		}
		b = layout(b, kid, info.below(kid, n.Kind), depth+1)
	}
	b = append(b, '\n')
	b = append(b, indent[2:]...)
	return append(b, byte(n.Kind)+2)
}

func plain(n *Node) bool {
	for _, kid := range n.Kids {
		if kid.Kind == Object || kid.Kind == Array {
			return false
		}
	}
	return true
}

// inOrder returns the members of an object as the format orders them.
func inOrder(n *Node, info *typeInfo) []*Node {
	if info == nil || n.Kind != Object {
		return n.Kids
	}
	rank := func(kid *Node) int {
		if at, ok := info.byName[kid.Key]; ok {
			return at
		}
		if info.rest >= 0 {
			return info.rest
		}
		return len(info.fields)
	}
	ordered := make([]*Node, 0, len(n.Kids))
	for r := 0; r <= len(info.fields); r++ {
		for _, kid := range n.Kids {
			if rank(kid) == r {
				ordered = append(ordered, kid)
			}
		}
	}
	return ordered
}

// below returns the type of a member or item. Items of a list take the type of the list, which the caller passes on as it is.
func (info *typeInfo) below(kid *Node, parent Kind) *typeInfo {
	if info == nil || parent == Array {
		return info
	}
	at, ok := info.byName[kid.Key]
	if !ok {
		if info.rest < 0 {
			return nil
		}
		return info.fields[info.rest].shape.elem.info
	}
	sh := info.fields[at].shape
	for sh.kind == isList {
		sh = sh.elem
	}
	if sh.kind == isTable { // its rows are one level further down; tables of structs keep the order they have inside
		return &typeInfo{byName: map[string]int{}, rest: 0, fields: []fieldInfo{{shape: sh}}}
	}
	return sh.info
}
