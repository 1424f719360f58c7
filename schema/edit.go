package schema

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

var stageAlias = regexp.MustCompile(`\b(pierce|contours)([0-9]+)\b`)

// FieldPath reads a field as a person types it and returns the path as the format has it: pierce1.time is pierce[0].time.
func FieldPath(typed string) string {
	return stageAlias.ReplaceAllStringFunc(typed, func(m string) string {
		parts := stageAlias.FindStringSubmatch(m)
		n, err := strconv.Atoi(parts[2])
		if err != nil || n < 1 {
			return m
		}
		return fmt.Sprintf("%s[%d]", parts[1], n-1)
	})
}

// SpokenPath is the other way round, for screens: pierce[0].time is pierce1.time.
func SpokenPath(path string) string {
	var b strings.Builder
	for {
		open := strings.IndexByte(path, '[')
		if open < 0 {
			return b.String() + path
		}
		end := open + strings.IndexByte(path[open:], ']')
		n, err := strconv.Atoi(path[open+1 : end])
		if err != nil {
			return b.String() + path
		}
		b.WriteString(path[:open] + strconv.Itoa(n+1))
		path = path[end+1:]
	}
}

// SetPath sets the member at a dotted path below n and makes the objects on the way. A nil value removes the member. A list may
// grow by one item at its end.
func (n *Node) SetPath(path string, value *Node) error {
	name, rest, _ := strings.Cut(path, ".")
	index := -1
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
	return kid.SetPath(rest, value)
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
