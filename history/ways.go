package history

import (
	"slices"
	"strconv"
	"strings"

	"fettle/schema"
)

// Ways tell whether what people explained leads to a recipe of one condition: by reasons from one recipe to the next, through merges
// that took every value from a side that is explained itself, and where a step that was explained was made again on another recipe, as a
// rebase or a cherry-pick does.
type Ways struct {
	Edges  []Edge                  // what reasons say
	Starts []schema.Digest         // recipes from which a way may begin; "" where there was none yet
	Fresh  func(Edge) bool         // a way by reasons alone needs one such; nil where any reason will do
	Merges func() ([]Joint, error) // asked only where reasons alone do not lead there; may be nil
	Steps  func() ([]Step, error)  // likewise: what commits made of the condition, the oldest first; may be nil
}

// A Joint is what a merge made of a condition: nil where it is not there.
type Joint struct {
	To    *schema.Values
	Sides []*schema.Values
}

// A Step is what one commit made of a condition: nil where it is not there.
type Step struct{ From, To *schema.Values }

// mostAgain bounds how many steps are tried on how many recipes.
const mostAgain = 2000

// Lead reports whether a way leads to a recipe, nil for one that is gone. Digest is that of the recipe.
func (w *Ways) Lead(end *schema.Values, digest schema.Digest) (bool, error) {
	if path := Path(w.Edges, w.Starts, digest); path != nil && (len(path) == 0 || w.anyFresh(path)) {
		return true, nil
	}
	if end == nil || len(w.Edges) == 0 && !slices.ContainsFunc(w.Starts, func(s schema.Digest) bool { return s != "" }) {
		return false, nil // nobody explained or decided anything from which a merge or a step could lead on
	}
	r := &reaching{Ways: w, end: digest, reached: map[schema.Digest]bool{}, values: map[schema.Digest]*schema.Values{}}
	for _, s := range w.Starts {
		r.reached[s] = w.Fresh == nil
	}
	var merges []Joint
	var err error
	if w.Merges != nil {
		if merges, err = w.Merges(); err != nil {
			return false, err
		}
	}
	if w.Steps != nil {
		if r.steps, err = w.Steps(); err != nil {
			return false, err
		}
	}
	for _, m := range merges {
		r.know(m.To)
		for _, side := range m.Sides {
			r.know(side)
		}
	}
	for _, s := range r.steps {
		r.know(s.From)
		r.know(s.To)
	}
	r.know(end)
	for before := -1; before != r.size(); {
		before = r.size()
		r.spread()
		for _, m := range merges {
			r.join(m)
		}
		for _, s := range r.steps {
			r.again(s.From, s.To)
		}
		for _, from := range r.order {
			if _, ok := r.reached[from]; ok {
				r.again(r.values[from], end)
			}
		}
		if r.reached[digest] {
			return true, nil
		}
	}
	return false, nil
}

func (w *Ways) anyFresh(path []Edge) bool {
	return w.Fresh == nil || slices.ContainsFunc(path, w.Fresh)
}

// reaching is one search.
type reaching struct {
	*Ways
	end     schema.Digest
	steps   []Step
	reached map[schema.Digest]bool // with true where a fresh reason, or a merge, is on the way
	values  map[schema.Digest]*schema.Values
	order   []schema.Digest // of values
	tried   int
	onward  map[schema.Digest]map[schema.Digest]bool
}

func (r *reaching) know(v *schema.Values) schema.Digest {
	if v == nil {
		return ""
	}
	d := v.Digest()
	if r.values[d] == nil {
		r.values[d] = v
		r.order = append(r.order, d)
	}
	return d
}

// size grows with all that is found out.
func (r *reaching) size() int {
	n := len(r.values) + len(r.reached)
	for _, fresh := range r.reached {
		if fresh {
			n++
		}
	}
	return n
}

func (r *reaching) reach(d schema.Digest, fresh bool) { r.reached[d] = r.reached[d] || fresh }

// spread follows reasons from all that is reached. Like [Path] it never returns to a start, nor passes through the end.
func (r *reaching) spread() {
	for more := true; more; {
		more = false
		for _, e := range r.Edges {
			fresh, from := r.reached[e.From]
			was, known := r.reached[e.To]
			now := fresh || r.anyFresh([]Edge{e})
			if !from || e.From == r.end || e.From == e.To || slices.Contains(r.Starts, e.To) || known && (was || !now) {
				continue
			}
			r.reach(e.To, now)
			more = true
		}
	}
}

// join takes a merge whose every value is one of a side that is reached: then each side gave its reasons.
func (r *reaching) join(m Joint) {
	var sides []*schema.Values
	for _, side := range m.Sides {
		digest := schema.Digest("")
		if side != nil {
			digest = side.Digest()
		}
		if _, ok := r.reached[digest]; ok && side != nil {
			sides = append(sides, side)
		}
	}
	if m.To != nil && len(sides) > 0 && Taken(m.To, sides) {
		r.reach(m.To.Digest(), true)
	}
}

// again looks for a step that was explained and that this one makes again on another recipe: what comes of it there has just the digest
// that the reason names. So every value that the step changes was explained, from the same value to the same value.
func (r *reaching) again(from, to *schema.Values) {
	if from == nil || to == nil {
		return
	}
	start, begun := r.reached[from.Digest()]
	target := to.Digest()
	if fresh, done := r.reached[target]; done && fresh || from == to {
		return
	}
	changes := CompareValues(from, to)
	for _, other := range slices.Clone(r.order) {
		ways := r.from(other)
		if len(ways) == 0 || r.tried >= mostAgain {
			continue
		}
		r.tried++
		made := Again(changes, to, r.values[other])
		if made == nil {
			continue
		}
		fresh, explained := ways[made.Digest()]
		if !explained {
			continue
		}
		r.know(made)
		if begun {
			r.reach(target, start || fresh)
		}
	}
}

// from are the recipes to which reasons lead from one, with true where a fresh one is on the way.
func (r *reaching) from(d schema.Digest) map[schema.Digest]bool {
	if known, ok := r.onward[d]; ok {
		return known
	}
	one := &reaching{Ways: &Ways{Edges: r.Edges, Starts: []schema.Digest{d}, Fresh: r.Fresh}, end: "none", reached: map[schema.Digest]bool{d: r.Fresh == nil}}
	one.spread()
	delete(one.reached, d)
	if r.onward == nil {
		r.onward = map[schema.Digest]map[schema.Digest]bool{}
	}
	r.onward[d] = one.reached
	return one.reached
}

// Again makes changes that led to one recipe on another one. It returns nil where that does not hold, for each of them, the value from
// which it was made.
func Again(changes []FieldChange, to, on *schema.Values) *schema.Values {
	fields := map[string]schema.Field{}
	for _, f := range append(schema.Fields(on), hollow(on)...) {
		fields[f.Path] = f
	}
	source, node := schema.Encode(to), schema.Encode(on)
	set := func(path string, value *schema.Node) bool { return node.SetPath(path, value) == nil }
	for _, c := range slices.Backward(changes) { // what goes, from the end of lists on
		have, there := fields[c.Path]
		switch {
		case c.From.Note || c.To.Note:
			continue
		case there != (c.From.Path != ""), there && !have.Same(c.From), c.From.Text == "{}", c.To.Text == "{}":
			return nil
		case c.To.Path == "" && !set(c.Path, nil):
			return nil
		}
	}
	for _, c := range changes {
		if c.To.Path == "" || c.To.Note {
			continue
		}
		found := nodeAt(source, c.Path)
		if found == nil {
			return nil
		}
		copied := *found
		if !set(c.Path, &copied) {
			return nil
		}
	}
	var made schema.Values
	if len(schema.Bind(node, &made)) > 0 {
		return nil
	}
	return &made
}

// nodeAt is the value at the path of a field, nil where there is none.
func nodeAt(n *schema.Node, path string) *schema.Node {
	for path != "" && n != nil {
		name, rest, _ := strings.Cut(path, ".")
		if name == "extra" {
			table := n.Get(name)
			if table == nil {
				return nil
			}
			return table.Get(rest)
		}
		index := -1
		if open := strings.IndexByte(name, '['); open > 0 {
			at, err := strconv.Atoi(strings.TrimSuffix(name[open+1:], "]"))
			if err != nil {
				return nil
			}
			name, index = name[:open], at
		}
		n = n.Get(name)
		if index >= 0 && n != nil {
			if index >= len(n.Kids) {
				return nil
			}
			n = n.Kids[index]
		}
		path = rest
	}
	return n
}

// Taken reports whether every value of a recipe is one that the same condition has on one of the sides, and whether it left none out
// that all of them have.
func Taken(v *schema.Values, sides []*schema.Values) bool {
	var known [][]schema.Field
	for _, side := range sides {
		if side != nil {
			known = append(known, schema.Fields(side))
		}
	}
	if len(known) == 0 {
		return false
	}
	has := func(fields []schema.Field, fits func(schema.Field) bool) bool {
		return slices.ContainsFunc(fields, fits)
	}
	own := schema.Fields(v)
	for _, f := range own {
		if !f.Note && !slices.ContainsFunc(known, func(fields []schema.Field) bool {
			return has(fields, func(g schema.Field) bool { return g.Path == f.Path && g.Same(f) })
		}) {
			return false
		}
	}
	for _, f := range known[0] {
		same := func(g schema.Field) bool { return g.Path == f.Path }
		if !f.Note && !has(own, same) && !slices.ContainsFunc(known, func(fields []schema.Field) bool { return !has(fields, same) }) {
			return false
		}
	}
	return true
}
