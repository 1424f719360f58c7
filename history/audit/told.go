package audit

import (
	"cmp"
	"iter"
	"slices"
	"time"

	"fettle/schema"
)

// A move is what one commit made of one condition.
type move struct {
	commit   *commit
	kind     string // Changed, New, Removed, Dropped
	id       string
	from, to schema.Digest   // of the recipe in the first of the commits before, and in this one; "" where it was not there
	starts   []schema.Digest // in all of the commits before
	blob     string          // of the set that the recipe stands in, "" where it is gone
	settings string          // for what a mix of the shop's own consists of

	explained  bool
	why        []Why
	approvedBy []string
}

// told is one entry of the timeline as it is held: many years have a hundred thousand, nearly all about one field of one condition.
type told struct {
	move     *move         // nil where it is about something else
	from, to *schema.Field // nil where there was no value
	others   []schema.Field
	other    *Entry // where it is about something else
	until    int    // where in the order of history the same field changes again
}

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
		return e.move.commit.entry.Author.When
	}
	return e.other.At
}

// note reports whether it is about free text only.
func (e *told) note() bool { return (e.from == nil || e.from.Note) && (e.to == nil || e.to.Note) }

// arrange brings the records, which are told last, into the order of history among what commits changed, and finds out until when each value
// stood.
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
	type place struct{ id, path string }
	next := map[place]int{}
	for i := len(t.told) - 1; i >= 0; i-- {
		e := &t.told[i]
		if e.move == nil {
			continue
		}
		key := place{e.move.id, e.path()}
		until, again := next[key]
		if !again {
			until = len(t.commits) + 1
		}
		e.until, next[key] = until, e.pos()
	}
}

// Each tells the entries that pass a filter one by one, oldest first. An entry is made when its turn comes and is good until the next one is
// told, so that a long history need not be held.
func (t *Trail) Each(f Filter) iter.Seq[*Entry] {
	return func(yield func(*Entry) bool) {
		passes := f.test()
		var made Entry
		for i := range t.told {
			e := t.told[i].other
			if e == nil {
				if c := t.told[i].move.commit; made.Commit != c.hash {
					made = t.entry(c, "")
				}
				e = &made
				t.fill(e, &t.told[i])
			}
			if passes(e) && !yield(e) {
				return
			}
		}
	}
}

// fill makes an entry about a commit one about a field of a condition.
func (t *Trail) fill(e *Entry, from *told) {
	m := from.move
	e.Kind, e.ID, e.Subject, e.Field, e.From, e.To, e.Others, e.Note = m.kind, m.id, schema.SubjectCondition, from.path(), of(from.from), of(from.to), from.others, from.note()
	e.FromDigest, e.ToDigest, e.starts, e.until, e.trail, e.ApprovedBy = m.from, m.to, m.starts, from.until, t, nil
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
