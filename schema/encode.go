package schema

import (
	"reflect"

	"fettle/schema/quantity"
)

// Encode turns a struct of this package into a tree, in the order of the format. Quantities keep the text they were typed in.
func Encode(ptr any) *Node {
	v := reflect.ValueOf(ptr).Elem()
	return encodeObject(infoOf(v.Type()), v)
}

func encodeObject(info *typeInfo, v reflect.Value) *Node {
	n := &Node{Kind: Object}
	put := func(name string, kid *Node) {
		kid.Key = name
		n.Kids = append(n.Kids, kid)
	}
	for i := range info.fields {
		f := &info.fields[i]
		value, _, ok := f.value(v)
		switch {
		case !ok && !(f.need && !f.member): // a table that must be there stays, empty as it is
		case f.rest != "":
			for k := range value.Len() {
				put(value.Index(k).Field(0).String(), encodeValue(f.shape.elem, value.Index(k).Field(2)))
			}
		case f.null && value.IsZero():
			put(f.name, &Node{Kind: Null})
		default:
			put(f.name, encodeValue(f.shape, value))
		}
	}
	return n
}

func encodeValue(sh *shape, v reflect.Value) *Node {
	switch sh.kind {
	case isQuantity:
		return Text(v.Field(0).Addr().Interface().(*quantity.Value).Text())
	case isString:
		return Text(v.String())
	case isBool:
		if v.Bool() {
			return &Node{Kind: True}
		}
		return &Node{Kind: False}
	case isNumber:
		return &Node{Kind: Digits, Text: v.Field(0).String()}
	case isInt:
		return &Node{Kind: Digits, Text: string(appendValue(nil, sh, v))}
	case isStruct:
		return encodeObject(sh.info, v)
	case isRaw:
		copied := *v.Interface().(*Node)
		return &copied
	}
	n := &Node{Kind: Array}
	if sh.kind == isTable {
		n.Kind = Object
	}
	for i := range v.Len() {
		item := v.Index(i)
		if sh.kind == isTable {
			kid := encodeValue(sh.elem, item.Field(2))
			kid.Key = item.Field(0).String()
			n.Kids = append(n.Kids, kid)
			continue
		}
		n.Kids = append(n.Kids, encodeValue(sh.elem, item))
	}
	return n
}

// Text makes a string node.
func Text(s string) *Node { return &Node{Kind: String, Text: s} }
