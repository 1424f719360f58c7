package schema

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"sync"
)

var stageAlias = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`\b(pierce|contours)([0-9]+)\b`) })

// own begins the path of a member of the machine's own. What follows is its whole name, dots and brackets too.
const own = "extra."

// FieldPath reads a field as a person types it and returns the path as the format has it: pierce1.time is pierce[0].time.
func FieldPath(typed string) string {
	if strings.HasPrefix(typed, own) {
		return typed
	}
	return stageAlias().ReplaceAllStringFunc(typed, func(m string) string {
		parts := stageAlias().FindStringSubmatch(m)
		n, err := strconv.Atoi(parts[2])
		if err != nil || n < 1 {
			return m
		}
		return fmt.Sprintf("%s[%d]", parts[1], n-1)
	})
}

// SpokenPath is the other way round, for screens: pierce[0].time is pierce1.time.
func SpokenPath(path string) string {
	if strings.HasPrefix(path, own) {
		return path
	}
	var b strings.Builder
	for {
		name, rest, _ := strings.Cut(path, "[")
		index, rest, closed := strings.Cut(rest, "]")
		n, err := strconv.Atoi(index)
		if !closed || err != nil {
			return b.String() + path
		}
		b.WriteString(name + strconv.Itoa(n+1))
		path = rest
	}
}

// SetPath sets the member at a dotted path below n and makes the objects on the way. A nil value removes the member, and
// an object that it leaves empty. A list may grow by one item at its end. Below "extra" all that follows is one name.
func (n *Node) SetPath(path string, value *Node) error {
	name, rest, _ := strings.Cut(path, ".")
	index := -1
	if inside, ok := strings.CutPrefix(path, own); ok && inside != "" {
		return n.setOwn(inside, value)
	}
	if open := strings.IndexByte(name, '['); open > 0 && strings.HasSuffix(name, "]") {
		i, err := strconv.Atoi(name[open+1 : len(name)-1])
		if err != nil || i < 0 {
			return fmt.Errorf("%q is not a place in a list", name)
		}
		name, index = name[:open], i
	}
	kid := n.Get(name)
	if index >= 0 {
		return n.setItem(name, kid, index, rest, value)
	}
	if rest == "" {
		n.put(name, value)
		return nil
	}
	if kid == nil {
		if value == nil {
			return nil
		}
		kid = &Node{Kind: Object}
		n.put(name, kid)
	}
	if kid.Kind != Object {
		return fmt.Errorf("%q has no members", name)
	}
	err := kid.SetPath(rest, value)
	n.dropEmptied(kid, value)
	return err
}

// dropEmptied takes away an object whose last member was taken away.
func (n *Node) dropEmptied(kid, value *Node) {
	if value == nil && len(kid.Kids) == 0 {
		n.put(kid.Key, nil)
	}
}

func (n *Node) setOwn(name string, value *Node) error {
	table := n.Get("extra")
	switch {
	case table == nil && value == nil:
		return nil
	case table == nil:
		table = &Node{Kind: Object}
		n.put("extra", table)
	case table.Kind != Object:
		return fmt.Errorf("%q has no members", "extra")
	}
	table.put(name, value)
	n.dropEmptied(table, value)
	return nil
}

func (n *Node) setItem(name string, list *Node, index int, rest string, value *Node) error {
	if list == nil {
		list = &Node{Kind: Array}
		if value != nil {
			n.put(name, list)
		}
	}
	if list.Kind != Array || index > len(list.Kids) {
		return fmt.Errorf("%s has %d items; there is no number %d", name, len(list.Kids), index+1)
	}
	if index == len(list.Kids) {
		if value == nil {
			return nil
		}
		list.Kids = append(list.Kids, &Node{Kind: Object})
	}
	if rest == "" {
		if value == nil {
			list.Kids = append(list.Kids[:index:index], list.Kids[index+1:]...)
			return nil
		}
		list.Kids[index] = value
		return nil
	}
	return list.Kids[index].SetPath(rest, value)
}

func (n *Node) put(name string, value *Node) {
	for i, kid := range n.Kids {
		if kid.Key != name {
			continue
		}
		if value == nil {
			n.Kids = append(n.Kids[:i:i], n.Kids[i+1:]...)
			return
		}
		value.Key = name
		n.Kids[i] = value
		return
	}
	if value != nil {
		value.Key = name
		n.Kids = append(n.Kids, value)
	}
}
