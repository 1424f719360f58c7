package audit

import (
	"maps"
	"slices"

	"fettle/history"
	"fettle/schema"
)

// A fieldChange is a value that a commit made: one that none of the commits it builds upon has.
type fieldChange struct {
	id       schema.ID
	path     string
	from, to schema.Field
	others   []schema.Field // what the other sides of a merge had
	before   *schema.Values // the whole recipe in the first of the commits before, nil where it was not there
	after    *schema.Values
	befores  []*schema.Values // one for each commit before
}

// whole reports whether it is about all fields of a condition that is new or gone as a whole, see [walker.each].
func (f fieldChange) whole() bool { return f.path == "" }

// changes hands over what a commit made of the fields of conditions, one condition after another by id, each in the order of the format.
func (w *walker) changes(c *commit, made func([]fieldChange)) error {
	if c.entry == nil {
		return nil
	}
	if len(c.parents) < 2 && len(c.entry.Changes[0]) > setsAtOnce && (len(c.parents) == 0 || c.before(0).settings == c.state.settings) {
		return w.changesOfMany(c, made)
	}
	ids, err := w.touched(c, 0)
	if err != nil {
		return err
	}
	for i := 1; i < len(c.parents) && len(ids) > 0; i++ {
		more, err := w.touched(c, i)
		if err != nil {
			return err
		}
		for id := range ids { // equal to one side of a merge: told where that side made it
			if !more[id] {
				delete(ids, id)
			}
		}
	}
	for _, id := range slices.SortedFunc(maps.Keys(ids), schema.ID.Compare) {
		changes, err := w.compare(c, id)
		if err != nil {
			return err
		}
		if len(changes) > 0 {
			made(changes)
		}
	}
	return nil
}

// changesOfMany is changes of a commit of many sets, a few of them at a time: all that some bring at once, such as the first, need not be held.
func (w *walker) changesOfMany(c *commit, made func([]fieldChange)) error {
	type group struct { // of what is told
		from, to int32
	}
	t, before := w.trail, c.before(0)
	var groups []group
	var last schema.ID
	inOrder := true
	again := map[schema.ID]bool{} // conditions that stood in several files
	first := len(t.told)
	for some := range slices.Chunk(w.relevant(c.entry.Changes[0]), setsAtOnce) {
		var blobs []string
		for _, change := range some {
			blobs = append(blobs, before.sets.at(change.Path), c.state.sets.at(change.Path))
		}
		ids, err := w.touchedIn(before, c.state, blobs, true)
		if err != nil {
			return err
		}
		for _, id := range slices.SortedFunc(maps.Keys(ids), schema.ID.Compare) {
			if w.paths.several(id) {
				if again[id] {
					continue
				}
				again[id] = true
			}
			changes, err := w.compare(c, id)
			if err != nil {
				return err
			}
			if from := len(t.told); len(changes) > 0 {
				made(changes)
				inOrder = inOrder && last.Compare(id) <= 0
				groups, last = append(groups, group{int32(from), int32(len(t.told))}), w.texts.ID(id)
			}
		}
	}
	if inOrder {
		return nil
	}
	ids := make([]schema.ID, len(groups))
	sorted := make([]int32, len(groups))
	for i, g := range groups {
		id, err := schema.ParseID(t.told[g.from].move.id)
		if err != nil {
			return err // cannot be: it is one that was written out
		}
		ids[i], sorted[i] = w.texts.ID(id), int32(i)
	}
	slices.SortFunc(sorted, func(a, b int32) int { return ids[a].Compare(ids[b]) })
	list := make([]told, 0, len(t.told)-first)
	for _, i := range sorted {
		list = append(list, t.told[groups[i].from:groups[i].to]...)
	}
	copy(t.told[first:], list)
	return nil
}

// touched returns the conditions that may differ between a commit and one before it.
func (w *walker) touched(c *commit, parent int) (map[schema.ID]bool, error) {
	before := c.before(parent)
	var blobs []string
	if len(c.parents) < 2 {
		for _, change := range w.relevant(c.entry.Changes[parent]) {
			blobs = append(blobs, before.sets.at(change.Path), c.state.sets.at(change.Path))
		}
	} else { // git compares what cannot be read, too; what is held in its place may differ in another way
		blobs = differing(before.sets, c.state.sets)
	}
	return w.touchedIn(before, c.state, blobs, before.settings == c.state.settings)
}

// touchedIn returns the conditions that may differ between two states, with the versions of sets that do, two by two.
// Alike says that no gas is mixed in another way, or that there was nothing before.
func (w *walker) touchedIn(before, after *state, blobs []string, alike bool) (map[schema.ID]bool, error) {
	ids := map[schema.ID]bool{}
	for i, blob := range blobs {
		if blob == "" {
			continue
		}
		s, err := w.set(blob)
		if err != nil {
			return nil, err
		}
		if i%2 == 1 && s.from != "" && s.from == blobs[i-1] { // the rest of both is the same
			ids[s.differs] = true
			continue
		}
		if i%2 == 0 && blobs[i+1] != "" {
			if next, err := w.set(blobs[i+1]); err == nil && next.from == blob {
				continue
			}
		}
		for _, id := range s.ids {
			ids[id] = true
		}
	}
	if !alike {
		if err := w.mixed(before, after, ids); err != nil {
			return nil, err
		}
	}
	for _, id := range slices.SortedFunc(maps.Keys(ids), schema.ID.Compare) { // one set after another
		if !w.trail.search.wants(id) {
			delete(ids, id)
			continue
		}
		a, err := w.find(before, id)
		if err != nil {
			return nil, err
		}
		b, err := w.find(after, id)
		if err != nil {
			return nil, err
		}
		if a == nil && b == nil || a != nil && b != nil && alike && a.same(b, id) {
			delete(ids, id)
		}
	}
	return ids, nil
}

// differing returns the versions of sets that two states hold at a path where they are not the same, two by two; "" is none.
func differing(a, b shelf) []string {
	var out []string
	for path, blob := range a.all() {
		if b.at(path) != blob {
			out = append(out, blob, b.at(path))
		}
	}
	for path, blob := range b.all() {
		if a.at(path) == "" {
			out = append(out, "", blob)
		}
	}
	return out
}

// mixed adds the conditions whose gas is mixed by either version of the settings.
func (w *walker) mixed(before, after *state, ids map[schema.ID]bool) error {
	gases := map[string]bool{}
	for _, s := range []*state{before, after} {
		if s.settings == "" {
			continue
		}
		m, err := w.gases(s.settings)
		if err != nil {
			return err
		}
		for _, row := range *m {
			gases[row.Name] = true
		}
	}
	for name := range w.paths {
		if id, err := schema.ParseID(name); err == nil && gases[id.Gas] {
			ids[id] = true
		}
	}
	return nil
}

// named reports whether a recipe has a value that its id was read from, as every one has.
func named(v *schema.Values) bool { return v != nil && v.Thickness.Set() }

// each is a change of a whole condition field by field.
func (f fieldChange) each() (out []fieldChange) {
	for _, c := range history.CompareValues(f.before, f.after) {
		f.path, f.from, f.to = c.Path, c.From, c.To
		out = append(out, f)
	}
	return out
}

// compare returns the fields of one condition that are not as in any of the commits before. One that is new or gone as a whole is one change:
// most of a commit that brings a hundred thousand.
func (w *walker) compare(c *commit, id schema.ID) ([]fieldChange, error) {
	after, err := w.values(c.state, id)
	if err != nil {
		return nil, err
	}
	befores := make([]*schema.Values, max(1, len(c.parents)))
	for i := range befores {
		if befores[i], err = w.values(c.before(i), id); err != nil {
			return nil, err
		}
	}
	all := fieldChange{id: id, before: befores[0], after: after, befores: befores}
	if len(befores) == 1 && (befores[0] == nil && named(after) || after == nil && named(befores[0])) {
		return []fieldChange{all}, nil
	}
	out := all.each()
	for _, other := range befores[1:] {
		differs := map[string]schema.Field{}
		for _, f := range history.CompareValues(other, after) {
			differs[f.Path] = f.From
		}
		out = slices.DeleteFunc(out, func(f fieldChange) bool { _, ok := differs[f.path]; return !ok })
		for i := range out {
			out[i].others = append(out[i].others, apart(differs[out[i].path]))
		}
	}
	return out, nil
}
