package audit

import (
	"slices"

	"fettle/history"
	"fettle/schema"
)

// dropped tells what a merge threw away: fields that one of its sides had changed since the sides parted, and that are in the
// merge as another side has them. The merge's own changes are told already.
func (w *walker) dropped(c *commit, own []fieldChange, digest func(*schema.Values) schema.Digest) error {
	if c.entry == nil || len(c.parents) < 2 {
		return nil
	}
	told := map[[2]string]bool{}
	for _, f := range own {
		told[[2]string{f.id.String(), f.path}] = true
	}
	for i, side := range c.parents {
		ids, err := w.touched(c, i)
		if err != nil {
			return err
		}
		if len(ids) == 0 {
			continue
		}
		began := w.began(side, slices.Concat(c.parents[:i], c.parents[i+1:]), ids)
		var found []Entry
		for id := range ids {
			had, err := w.values(side.state, id)
			if err != nil {
				return err
			}
			has, err := w.values(c.state, id)
			if err != nil {
				return err
			}
			for _, f := range history.CompareValues(had, has) {
				key := [2]string{id.String(), f.Path}
				line, changed := began[key]
				if !changed || told[key] || !line.made(f.From) {
					continue
				}
				told[key] = true
				e := w.trail.entry(c, Dropped)
				e.ID, e.Subject, e.Field, e.From, e.To = id.String(), schema.SubjectCondition, f.Path, f.From, f.To
				e.Note = (f.From.Path == "" || f.From.Note) && (f.To.Path == "" || f.To.Note)
				e.FromDigest, e.ToDigest = digest(had), digest(has)
				found = append(found, e)
			}
		}
		slices.SortStableFunc(found, byPlace)
		for _, e := range found {
			w.trail.add(c, e)
		}
	}
	return nil
}

// A line is what one side of a merge did to one field.
type line struct {
	first schema.Field   // before the side changed it
	to    []schema.Field // what it was changed to, in order
}

// made reports whether the value is the side's own work: it was made there, and it is not back to what it was before.
func (l line) made(value schema.Field) bool {
	return !same(l.first, value) && slices.ContainsFunc(l.to, func(f schema.Field) bool { return same(f, value) })
}

// began returns what one side of a merge did to the fields of some conditions since the sides parted.
func (w *walker) began(side *commit, others []*commit, ids map[schema.ID]bool) map[[2]string]line {
	names := map[string]bool{}
	for id := range ids {
		names[id.String()] = true
	}
	out := map[[2]string]line{}
	for _, c := range only(side, others) {
		for _, i := range w.trail.byCommit[c] {
			e := &w.trail.Entries[i]
			if !e.IsChange() || !names[e.ID] {
				continue
			}
			key := [2]string{e.ID, e.Field}
			l, known := out[key]
			if !known {
				l.first = e.From
			}
			l.to = append(l.to, e.To)
			out[key] = l
		}
	}
	return out
}

// same reports whether two fields mean the same; two that are not there do.
func same(a, b schema.Field) bool {
	if a.Path == "" || b.Path == "" {
		return a.Path == b.Path
	}
	return a.Same(b)
}

func byPlace(a, b Entry) int {
	x, errX := schema.ParseID(a.ID)
	y, errY := schema.ParseID(b.ID)
	if errX != nil || errY != nil {
		return 0
	}
	return x.Compare(y)
}
