package audit

import (
	"maps"
	"slices"

	"fettle/history"
	"fettle/schema"
)

// dropped tells what a merge threw away: fields that one of its sides had changed since the sides parted, and that are in the
// merge as another side has them. The merge's own changes are told already.
func (w *walker) dropped(c *commit, known map[[2]string]bool) error {
	if c.entry == nil || len(c.parents) < 2 {
		return nil
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
		for _, id := range slices.SortedFunc(maps.Keys(ids), schema.ID.Compare) {
			had, err := w.values(side.held(), id)
			if err != nil {
				return err
			}
			has, err := w.values(c.state, id)
			if err != nil {
				return err
			}
			var m *move
			for _, f := range history.CompareValues(had, has) {
				key := [2]string{id.String(), f.Path}
				line, changed := began[key]
				if !changed || known[key] || !line.made(f.From) {
					continue
				}
				known[key] = true
				if m == nil {
					m = &move{commit: c, kind: Dropped, id: id.String(), from: digestOf(had), to: digestOf(has)}
				}
				w.trail.tell(c, told{move: m, from: w.trail.field(f.From), to: w.trail.field(f.To)})
			}
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
		note := func(e *told) {
			key := [2]string{e.move.id, e.path()}
			l, known := out[key]
			if !known {
				l.first = of(e.from)
			}
			l.to = append(l.to, of(e.to))
			out[key] = l
		}
		for _, e := range w.trail.told[c.told[0]:c.told[1]] {
			switch {
			case e.move == nil || !names[e.move.id]:
			case e.whole():
				for _, part := range w.trail.parts(e.move) {
					note(&part)
				}
			default:
				note(&e)
			}
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
