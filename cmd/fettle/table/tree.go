package table

import (
	"strings"

	"fettle/schema"
)

// node is the member as a set file holds it.
func (g given) node() *schema.Node {
	switch {
	case g.empty:
		return &schema.Node{Kind: schema.Array}
	case g.whole:
		return &schema.Node{Kind: schema.Digits, Text: g.text}
	}
	return schema.Text(g.text)
}

// set puts one member into a condition. Names in "extra" are the shop's own and may hold dots and brackets, so they are no path.
func set(condition *schema.Node, g given) error {
	name, ok := strings.CutPrefix(g.path, "extra.")
	if !ok {
		return condition.SetPath(g.path, g.node())
	}
	extra := condition.Get("extra")
	if extra == nil {
		extra = &schema.Node{Kind: schema.Object}
		put(condition, "extra", extra)
	}
	put(extra, name, g.node())
	return nil
}

func object(members ...string) *schema.Node {
	n := &schema.Node{Kind: schema.Object}
	for i := 0; i+1 < len(members); i += 2 {
		put(n, members[i], schema.Text(members[i+1]))
	}
	return n
}

// put sets one member of an object.
func put(n *schema.Node, name string, value *schema.Node) {
	value.Key = name
	for i, kid := range n.Kids {
		if kid.Key == name {
			n.Kids[i] = value
			return
		}
	}
	n.Kids = append(n.Kids, value)
}
