package schema

import (
	"bytes"
	"reflect"
	"strings"
	"sync"
)

// Layout writes a tree in the house layout: two-space indent, the member order of the format, one member a line, lists of plain
// values on one line, LF, a final newline. Members that the format does not know come last, in the order they had. A change of
// one value is a change of one line.
func Layout(n *Node) []byte { return appendLayout(make([]byte, 0, n.At.End-n.At.Start+64), n) }

func appendLayout(b []byte, n *Node) []byte {
	var info *typeInfo
	if n.Kind == Object {
		if t, ok := structOf(n.Str("kind")); ok {
			info = infoOf(t)
		}
	}
	return append(layout(b, n, info, 0), '\n')
}

// LaidOut reports whether the file is a JSON object in the house layout, without a duplicate name.
func (f *File) LaidOut() bool {
	if f.laidOut != nil {
		return *f.laidOut
	}
	s := scanners.Get().(*scanner)
	defer s.release()
	root := s.scan(string(f.Data))
	return root != nil && root.Kind == Object && laidOut(root, f.Data)
}

func laidOut(root *Node, data []byte) bool {
	room := layoutRoom.Get().(*[]byte)
	defer layoutRoom.Put(room)
	*room = appendLayout((*room)[:0], root)
	return bytes.Equal(*room, data)
}

var layoutRoom = sync.Pool{New: func() any { room := make([]byte, 0, 1<<14); return &room }}

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

// indents is as deep as any file may be.
var indents = strings.Repeat("  ", MaxDepth+1)

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
	indent := indents[:min(2*(depth+1), len(indents))]
	b = append(b, byte(n.Kind), '\n')
	for i, kid := range inOrder(n, info) {
		if i > 0 {
			b = append(b, ",\n"...)
		}
		b = append(b, indent...)
		if n.Kind == Object {
			b = append(appendQuoted(b, kid.Key), ": "...)
		}
		if kid.Kind == Object || kid.Kind == Array {
			b = layout(b, kid, info.below(kid, n.Kind), depth+1)
		} else {
			b = appendNode(b, kid)
		}
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
	var room [32]int
	ranks, next, sorted := room[:0], 0, true
	for i, kid := range n.Kids {
		rank, ok := info.named(kid.Key, next)
		switch {
		case ok:
			next = rank + 1
		case info.rest >= 0:
			rank = info.rest
		default:
			rank = len(info.fields)
		}
		sorted = sorted && (i == 0 || ranks[i-1] <= rank)
		ranks = append(ranks, rank)
	}
	if sorted {
		return n.Kids
	}
	ordered := make([]*Node, 0, len(n.Kids))
	for r := 0; r <= len(info.fields); r++ {
		for i, kid := range n.Kids {
			if ranks[i] == r {
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
