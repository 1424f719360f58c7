package hooks

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"fettle/schema"
)

// Textconv writes a file of a library with one value on each line, for git diff, git log -p and git blame:
//
//	bay-2/carbon-steel/oxygen/3mm  cut.pressure  0.25 bar
//
// Every line says which condition it is of, so that three lines of context are enough, and conditions stand in the order of their
// ids, so that a set that was sorted or laid out anew shows nothing. What the format does not know is shown too. A file that is no
// JSON is shown as it is.
func Textconv(path string, data []byte) []byte {
	f := schema.ReadFile(path, data)
	twice := slices.ContainsFunc(f.Problems, func(p schema.Problem) bool { return p.Rule == schema.RuleDuplicateKey })
	if !f.IsObject() || twice {
		return data
	}
	root := f.Root()
	if laid := schema.ReadFile(path, schema.Layout(root)); laid.IsObject() {
		root = laid.Root()
	}
	var out bytes.Buffer
	w := &merging{set: root}
	set := f.Kind == "condition-set"
	for _, kid := range root.Kids {
		if set && kid.Key == "conditions" && kid.Kind == schema.Array {
			continue
		}
		fieldLines(&out, "", kid.Key, kid)
	}
	if conditions := root.Get("conditions"); set && conditions != nil && conditions.Kind == schema.Array {
		items := slices.Clone(conditions.Kids)
		slices.SortStableFunc(items, func(a, b *schema.Node) int { return strings.Compare(conditionKey(a), conditionKey(b)) })
		if len(items) == 0 {
			fieldLines(&out, "", "conditions", conditions)
		}
		for i, item := range items {
			id := w.id(item)
			if id == "" {
				id = "conditions[" + strconv.Itoa(i) + "]"
			}
			if item.Kind != schema.Object || len(item.Kids) == 0 {
				fieldLines(&out, id, "", item)
			}
			for _, kid := range item.Kids {
				fieldLines(&out, id, kid.Key, kid)
			}
		}
	}
	return out.Bytes()
}

// fieldLines writes a value, and each one below it, on a line of its own.
func fieldLines(out *bytes.Buffer, id, field string, n *schema.Node) {
	objects := n.Kind == schema.Array && slices.ContainsFunc(n.Kids, func(k *schema.Node) bool { return k.Kind == schema.Object || k.Kind == schema.Array })
	switch {
	case n.Kind == schema.Object && len(n.Kids) > 0:
		for _, kid := range n.Kids {
			fieldLines(out, id, field+"."+kid.Key, kid)
		}
		return
	case objects:
		for i, kid := range n.Kids {
			fieldLines(out, id, field+strconv.Itoa(i+1), kid)
		}
		return
	}
	parts := []string{}
	for _, part := range []string{id, field, plainText(n)} {
		if part != "" {
			parts = append(parts, part)
		}
	}
	fmt.Fprintln(out, strings.Join(parts, "  "))
}

// plainText is a value on one line. Text that could be taken for something else is quoted.
func plainText(n *schema.Node) string {
	switch n.Kind {
	case schema.Object:
		return "{}"
	case schema.Array:
		items := make([]string, len(n.Kids))
		for i, kid := range n.Kids {
			items[i] = plainText(kid)
		}
		return "[" + strings.Join(items, ", ") + "]"
	case schema.Digits:
		return n.Text
	case schema.String:
		odd := n.Text == "" || strings.TrimSpace(n.Text) != n.Text || strings.ContainsFunc(n.Text, func(r rune) bool { return !strconv.IsPrint(r) || strings.ContainsRune(`"[]{}`, r) })
		if _, err := strconv.ParseFloat(n.Text, 64); odd || err == nil || n.Text == "true" || n.Text == "false" || n.Text == "null" || strings.Contains(n.Text, ", ") {
			return strconv.Quote(n.Text)
		}
		return n.Text
	}
	return map[schema.Kind]string{schema.True: "true", schema.False: "false", schema.Null: "null"}[n.Kind]
}
