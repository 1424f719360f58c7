package audit

import (
	"cmp"
	"fmt"
	"iter"
	"slices"
	"time"

	"fettle/history"
	"fettle/schema"
)

// A move is what one commit made of one condition.
type move struct {
	commit      *commit
	kind        string // Changed, New, Removed, Dropped
	id          string
	from, to    schema.Digest   // of the recipe in the first of the commits before, and in this one; "" where it was not there
	starts      []schema.Digest // in all of the commits before
	blob        string          // of the set that the recipe stands in, "" where it is gone
	settings    string          // for what a mix of the shop's own consists of
	gone, mixed string          // both of the recipe in the first of the commits before, where it was gone by then as a whole

	explained  bool
	why        []Why
	approvedBy []string
}

// told is one entry of the timeline as it is held: many years have a hundred thousand, nearly all about one field of one condition. A condition
// that is new or gone as a whole is held as one, whose fields are read when its turn comes: a commit may bring a hundred thousand.
type told struct {
	move     *move         // nil where it is about something else
	from, to *schema.Field // nil where there was no value, both of a whole condition
	others   []schema.Field
	other    *Entry // where it is about something else
}

// whole reports whether it is a condition that is new or gone as a whole.
func (e *told) whole() bool { return e.move != nil && e.from == nil && e.to == nil }

// path is the field that it is about.
func (e *told) path() string {
	if e.to != nil {
		return e.to.Path
	}
	return e.from.Path
}

// tell adds an entry about a commit.
func (t *Trail) tell(c *commit, e told) {
	if c.told[1] != len(t.told) {
		c.told[0] = len(t.told)
	}
	t.told = append(t.told, e)
	c.told[1] = len(t.told)
}

// add adds an entry about a commit that is not about a field of a condition.
func (t *Trail) add(c *commit, e Entry) { t.tell(c, told{other: &e}) }

// field is where a value is held once for all entries that have it, nil for none.
func (t *Trail) field(f schema.Field) *schema.Field {
	if f.Path == "" {
		return nil
	}
	f.At = schema.Made // it says nothing outside its file
	known := t.fields[f]
	if known == nil {
		known = &f
		t.fields[f] = known
	}
	return known
}

// of is the value, the zero Field for none.
func of(f *schema.Field) schema.Field {
	if f == nil {
		return schema.Field{}
	}
	return *f
}

func (e *told) pos() int {
	if e.move != nil {
		return e.move.commit.pos
	}
	return e.other.pos
}

// at is when its author says that they made it.
func (e *told) at() time.Time {
	if e.move != nil {
		return e.move.commit.said.Author.When
	}
	return e.other.At
}

// note reports whether it is about free text only.
func (e *told) note() bool {
	return !e.whole() && (e.from == nil || e.from.Note) && (e.to == nil || e.to.Note)
}

// arrange brings the records, which are told last, into the order of history among what commits changed, and notes where each condition is
// told.
func (t *Trail) arrange(records int) {
	order := func(a, b *told) int { return cmp.Or(a.pos()-b.pos(), a.at().Compare(b.at())) }
	late := slices.Clone(t.told[records:])
	slices.SortStableFunc(late, func(a, b told) int { return order(&a, &b) })
	for i, end := records, len(t.told)-1; len(late) > 0; end-- { // from the end, where there is room
		if last := len(late) - 1; i == 0 || order(&t.told[i-1], &late[last]) <= 0 {
			t.told[end], late = late[last], late[:last]
		} else {
			i--
			t.told[end] = t.told[i]
		}
	}
	for i := range t.told {
		if m := t.told[i].move; m != nil {
			t.places[m.id] = append(t.places[m.id], int32(i))
		}
	}
}

// parts are the fields of a condition that is new or gone as a whole.
func (t *Trail) parts(m *move) []told {
	blob, settings := m.blob, m.settings
	if m.kind == Removed {
		blob, settings = m.gone, m.mixed
	}
	values, err := t.walked.valuesIn(blob, settings, m.id)
	if err != nil || values == nil {
		t.wrong = cmp.Or(t.wrong, err, fmt.Errorf("%s is not in %s any more, where a commit had it", m.id, short(blob)))
		return nil
	}
	before, after := (*schema.Values)(nil), values
	if m.kind == Removed {
		before, after = values, nil
	}
	var out []told
	for _, f := range history.CompareValues(before, after) {
		e := told{move: m}
		if f.From.At = schema.Made; f.From.Path != "" {
			e.from = &f.From
		}
		if f.To.At = schema.Made; f.To.Path != "" {
			e.to = &f.To
		}
		out = append(out, e)
	}
	return out
}

// until says where in the order of history the field of an entry changes again.
func (e *Entry) until() int {
	t := e.trail
	list := t.places[e.ID]
	from, _ := slices.BinarySearch(list, int32(e.at+1))
	for _, i := range list[from:] {
		next := &t.told[i]
		if next.whole() {
			if !slices.ContainsFunc(t.parts(next.move), func(p told) bool { return p.path() == e.Field }) {
				continue
			}
		} else if next.path() != e.Field {
			continue
		}
		return next.pos()
	}
	return len(t.commits) + 1
}

// Each tells the entries that pass a filter one by one, oldest first. An entry is made when its turn comes and is good until the next one is
// told, so that a long history need not be held. See [Trail.Err].
func (t *Trail) Each(f Filter) iter.Seq[*Entry] {
	return func(yield func(*Entry) bool) {
		passes, may := f.test(), f.besideFields().test()
		var made Entry
		for i := range t.told {
			e := &t.told[i]
			if e.other != nil {
				if passes(e.other) && !yield(e.other) {
					return
				}
				continue
			}
			if c := e.move.commit; made.Commit != c.hash {
				made = t.entry(c, "")
			}
			t.fill(&made, e, i)
			if !e.whole() || f.Whole && f.Field == "" {
				if passes(&made) && !yield(&made) {
					return
				}
				continue
			}
			if !may(&made) {
				continue
			}
			for _, part := range t.parts(e.move) {
				if t.fill(&made, &part, i); passes(&made) && !yield(&made) {
					return
				}
			}
		}
	}
}

// Parts are the entries that pass a filter about the fields of a condition that [Filter.Whole] told as one.
func (t *Trail) Parts(e *Entry, f Filter) []Entry {
	if !t.told[e.at].whole() {
		return []Entry{*e}
	}
	var out []Entry
	passes := f.test()
	for _, part := range t.parts(t.told[e.at].move) {
		made := *e
		if t.fill(&made, &part, e.at); passes(&made) {
			out = append(out, made)
		}
	}
	return out
}

// Err is what went wrong where the timeline could not be told whole, since the repository cannot be read any more.
func (t *Trail) Err() error { return t.wrong }

// fill makes an entry about a commit one about a field of a condition, or about a whole one.
func (t *Trail) fill(e *Entry, from *told, at int) {
	m := from.move
	e.Kind, e.ID, e.Subject, e.From, e.To, e.Others, e.Note = m.kind, m.id, schema.SubjectCondition, of(from.from), of(from.to), from.others, from.note()
	if e.Field = ""; !from.whole() {
		e.Field = from.path()
	}
	e.FromDigest, e.ToDigest, e.starts, e.at, e.trail, e.ApprovedBy = m.from, m.to, m.starts, at, t, nil
	t.explain(e, m)
}

// Entries is the timeline, oldest first.
func (t *Trail) Entries() []Entry {
	t.once.Do(func() {
		t.entries = make([]Entry, 0, len(t.told))
		for e := range t.Each(Filter{}) {
			t.entries = append(t.entries, *e)
		}
	})
	return t.entries
}
