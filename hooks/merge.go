package hooks

import (
	"crypto/sha256"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"fettle/schema"
	"fettle/schema/quantity"
)

// A Clash is one value that both sides of a merge changed, each in its own way. A nil node is a side that does not have it.
type Clash struct {
	ID                string // of the condition, "" where it is in none
	Field             string // dotted, in the condition or from the root of the file; "" for all of it
	Base, Here, There *schema.Node
	token             string // stands for it in the merged tree
	HereWhy, ThereWhy string // what each side says about it, for people; may be empty
}

// A Merge is what came of three versions of a file.
type Merge struct {
	Root    *schema.Node // clashes stand in it as strings that occur nowhere else
	Clashes []Clash
}

// MergeFile merges two versions of a file of a library that come from one: settings, a machine, a condition set or a trial plan.
// Members are told apart by their names, conditions by what makes up their id, and values by what they mean, so that a file
// that was laid out anew or a quantity in another unit is no change. What only one side changed is taken. An empty base is one
// where both sides made the file. ok is false where a side is no object with a kind, or the kinds differ: then only text can be
// merged.
//
// Swapping the sides gives the same file, clashes aside.
func MergeFile(path string, base, here, there []byte) (m Merge, ok bool) {
	var roots [3]*schema.Node
	for i, data := range [][]byte{base, here, there} {
		if i == 0 && len(strings.TrimSpace(string(data))) == 0 {
			continue
		}
		f := schema.ReadFile(path, data)
		twice := slices.ContainsFunc(f.Problems, func(p schema.Problem) bool { return p.Rule == schema.RuleDuplicateKey || p.Rule == schema.RuleSyntax })
		if !f.IsObject() || twice || f.Kind == "" {
			return Merge{}, false
		}
		roots[i] = f.Root()
	}
	for _, root := range roots {
		if root != nil && root.Str("kind") != roots[1].Str("kind") {
			return Merge{}, false
		}
	}
	w := &merging{unlike: fmt.Sprintf("%x", sha256.Sum256(slices.Concat(base, []byte{0}, here, []byte{0}, there)))}
	w.set = roots[1]
	m.Root = w.merge(spot{}, roots[0], roots[1], roots[2])
	m.Clashes = w.clashes
	return m, true
}

// merging is one merge under way.
type merging struct {
	unlike  string       // a text that stands in none of the files
	set     *schema.Node // root of this side
	clashes []Clash
}

// A spot is where in a file something stands.
type spot struct{ id, field string }

func (at spot) member(name string) spot {
	if at.field != "" {
		name = at.field + "." + name
	}
	return spot{id: at.id, field: name}
}

func (at spot) item(i int) spot {
	return spot{id: at.id, field: at.field + "[" + strconv.Itoa(i) + "]"}
}

// merge merges one value; nil is a value that is not there.
func (w *merging) merge(at spot, base, here, there *schema.Node) *schema.Node {
	if here != nil && there != nil && here.Kind == there.Kind {
		switch here.Kind {
		case schema.Object:
			return w.object(at, base, here, there)
		case schema.Array:
			if merged, ok := w.list(at, base, here, there); ok {
				return merged
			}
		}
	}
	switch a, b, c := meaning(base), meaning(here), meaning(there); {
	case b == c:
		return written(base, here, there)
	case a == b:
		return there
	case a == c:
		return here
	}
	token := fmt.Sprintf("clash %d of %s", len(w.clashes), w.unlike)
	w.clashes = append(w.clashes, Clash{ID: at.id, Field: at.field, Base: base, Here: here, There: there, token: token})
	return keyed(here, there, &schema.Node{Kind: schema.String, Text: token})
}

// keyed gives a node the name of the member that it stands for.
func keyed(here, there, n *schema.Node) *schema.Node {
	for _, side := range []*schema.Node{here, there} {
		if side != nil {
			n.Key = side.Key
		}
	}
	return n
}

// written chooses between two ways to write one value: the one that is new, else always the same of the two.
func written(base, here, there *schema.Node) *schema.Node {
	if here == nil {
		return nil
	}
	a, b, c := text(base), text(here), text(there)
	if a == b || a != c && c < b {
		return there
	}
	return here
}

// object merges member by member.
func (w *merging) object(at spot, base, here, there *schema.Node) *schema.Node {
	out := keyed(here, there, &schema.Node{Kind: schema.Object})
	member := func(n *schema.Node, name string) *schema.Node {
		if n == nil || n.Kind != schema.Object {
			return nil
		}
		return n.Get(name)
	}
	names := func(n *schema.Node) []string {
		list := make([]string, len(n.Kids))
		for i, kid := range n.Kids {
			list[i] = kid.Key
		}
		return list
	}
	var before []string
	if base != nil && base.Kind == schema.Object {
		before = names(base)
	}
	for _, name := range ordered(before, names(here), names(there)) {
		if kid := w.merge(at.member(name), member(base, name), member(here, name), member(there, name)); kid != nil {
			out.Kids = append(out.Kids, kid)
		}
	}
	return out
}

// ordered joins two orders of names that come from one. Who changed the order has it; where both did, one of them has it, and always
// the same one.
func ordered(before, here, there []string) []string {
	among := func(list, others []string) []string {
		return slices.DeleteFunc(slices.Clone(list), func(name string) bool { return !slices.Contains(others, name) })
	}
	kept := func(side []string) bool { return slices.Equal(among(side, before), among(before, side)) }
	first, second := here, there
	switch a, b := kept(here), kept(there); {
	case a && !b, !a && !b && slices.Compare(there, here) < 0:
		first, second = there, here
	}
	return interleave(first, second, strings.Compare)
}

// interleave joins two orders of names: those of the first, and each other one behind what stands before it in the second. Where both
// put something new in one place, compare decides.
func interleave(a, b []string, compare func(x, y string) int) []string {
	inA, inB := map[string]bool{}, map[string]bool{}
	for _, name := range a {
		inA[name] = true
	}
	for _, name := range b {
		inB[name] = true
	}
	out := slices.Clone(a)
	at := 0
	for _, name := range b {
		if inA[name] {
			at = slices.Index(out, name) + 1
			continue
		}
		for at < len(out) && !inB[out[at]] && compare(out[at], name) < 0 {
			at++
		}
		out = slices.Insert(out, at, name)
		at++
	}
	return out
}

// keys say what tells the items of a list apart: a member of them, or all of it for items that have no identity beside what they are.
var keys = map[string]func(*schema.Node) string{
	"conditions": conditionKey,
	"contours":   func(n *schema.Node) string { return n.Str("name") },
	"nozzles":    nozzleKey,
	"units":      meaning,
	"protected":  meaning,
	"extra":      meaning,
}

// conditionKey is what tells the conditions of one set apart, "" where it cannot be read.
func conditionKey(n *schema.Node) string {
	thickness, err := quantity.Parse(quantity.DimLength, n.Str("thickness"))
	if err != nil {
		return ""
	}
	process := n.Str("process")
	if process == "cut" {
		process = ""
	}
	// Padded, so that the order of texts is that of thicknesses where two sides add conditions in one place.
	return fmt.Sprintf("%018.9f %s %s %s", thickness.SI(), thickness.Canonical(), n.Str("variant"), process)
}

// nozzleKey is all of a nozzle of the rack, so that its order is by form and orifice.
func nozzleKey(n *schema.Node) string {
	orifice, _ := quantity.Parse(quantity.DimLength, n.Str("orifice"))
	return fmt.Sprintf("%s %018.9f %s", n.Str("form"), orifice.SI(), meaning(n))
}

// list merges two lists item by item, where it is known which item is which; ok is false where it is not.
func (w *merging) list(at spot, base, here, there *schema.Node) (merged *schema.Node, ok bool) {
	key := keys[at.field[strings.LastIndexByte(at.field, '.')+1:]]
	if base != nil && base.Kind != schema.Array {
		return nil, false
	}
	out := keyed(here, there, &schema.Node{Kind: schema.Array})
	if key == nil {
		if base == nil || len(base.Kids) != len(here.Kids) || len(base.Kids) != len(there.Kids) || len(base.Kids) == 0 || base.Kids[0].Kind != schema.Object {
			return nil, false
		}
		for i := range base.Kids { // as many stages as before: the first is the first
			out.Kids = append(out.Kids, w.merge(at.item(i), base.Kids[i], here.Kids[i], there.Kids[i]))
		}
		return out, !slices.Contains(out.Kids, nil)
	}
	a, orderA, okA := byKey(base, key)
	b, orderB, okB := byKey(here, key)
	c, orderC, okC := byKey(there, key)
	if !okA || !okB || !okC {
		return nil, false
	}
	for _, name := range ordered(orderA, orderB, orderC) {
		item := spot{id: at.id, field: at.field + "[" + name + "]"}
		if at.field == "conditions" {
			item = spot{id: w.id(b[name], c[name])}
		}
		if kid := w.merge(item, a[name], b[name], c[name]); kid != nil {
			out.Kids = append(out.Kids, kid)
		}
	}
	return out, true
}

// byKey takes a list apart; ok is false where two items are the same, or one has no key.
func byKey(list *schema.Node, key func(*schema.Node) string) (items map[string]*schema.Node, order []string, ok bool) {
	items = map[string]*schema.Node{}
	if list == nil {
		return items, nil, true
	}
	for _, item := range list.Kids {
		k := key(item)
		if k == "" || items[k] != nil {
			return nil, nil, false
		}
		items[k] = item
		order = append(order, k)
	}
	return items, order, true
}

// id is that of a condition of the file, or what comes close where it has none.
func (w *merging) id(sides ...*schema.Node) string {
	for _, n := range sides {
		if n == nil {
			continue
		}
		var c schema.Condition
		schema.Bind(n, &c)
		v := schema.Values{Machine: schema.Of(w.set.Str("machine")), Material: schema.Of(w.set.Str("material")), Gas: schema.Of(w.set.Str("gas")), Condition: c}
		if id, ok := v.ID(); ok {
			return id.String()
		}
		return n.Str("thickness")
	}
	return ""
}

// meaning is a text that two values have in common if they mean the same: 2 mm and 0.2 cm, members in another order.
func meaning(n *schema.Node) string { return describe(n, true) }

// text is the same of two values only if they are written the same way.
func text(n *schema.Node) string { return describe(n, false) }

func describe(n *schema.Node, meant bool) string {
	if n == nil {
		return ""
	}
	switch n.Kind {
	case schema.Object, schema.Array:
		parts := make([]string, len(n.Kids))
		for i, kid := range n.Kids {
			parts[i] = describe(kid, meant)
			if n.Kind == schema.Object {
				parts[i] = strconv.Quote(kid.Key) + ":" + parts[i]
			}
		}
		if n.Kind == schema.Object && meant {
			slices.Sort(parts)
		}
		return string(rune(n.Kind)) + strings.Join(parts, ",") + "}"
	case schema.Digits:
		if f, err := strconv.ParseFloat(n.Text, 64); err == nil && meant {
			return strconv.FormatFloat(f, 'g', -1, 64)
		}
		return n.Text
	case schema.String:
		if at := unitAt(n.Text); meant && at < len(n.Text) {
			if d, ok := quantity.UnitDimension(n.Text[at:]); ok {
				if v, err := quantity.Parse(d, n.Text); err == nil {
					return "q " + v.Canonical()
				}
			}
		}
		return strconv.Quote(n.Text)
	}
	return string(rune(n.Kind))
}

// unitAt is where a unit begins in a quantity: behind the last blank, or behind the number: 35 bar, 35bar, 4.2 dm3/(s.bar).
func unitAt(text string) int {
	if blank := strings.LastIndexByte(text, ' '); blank >= 0 {
		return blank + 1
	}
	return strings.LastIndexAny(text, "0123456789.") + 1
}
