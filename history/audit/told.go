package audit

import (
	"cmp"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"fettle/history"
	"fettle/schema"
)

// A move is what one commit made of one condition.
type move struct {
	commit   *commit
	kind     string // Changed, New, Removed, Dropped
	id       string
	from, to schema.Digest // of the recipe in the first of the commits before, and in this one; "" where it was not there
	blob     string        // of the set that the recipe stands in, "" where it is gone
	settings string        // for what a mix of the shop's own consists of
	rare     *rarely       // nil of most
	because  *explanation  // nil where that is not known yet
}

// rarely is what few moves have.
type rarely struct {
	starts      []schema.Digest // of a merge: the recipes in all of the commits before
	gone, mixed string          // set and settings of the recipe in the first of the commits before, where it was gone by then as a whole
}

// An explanation is why a change was made and who approved what it led to.
type explanation struct {
	why        []Why
	approvedBy []string
}

// nothingSaid is the explanation of most of what came before anybody wrote down why.
var nothingSaid = &explanation{}

// starts are the recipes in all of the commits before.
func (m *move) starts() []schema.Digest {
	if m.rare == nil || m.rare.starts == nil {
		return []schema.Digest{m.from}
	}
	return m.rare.starts
}

// gone is where the recipe stood before it was gone as a whole: its set and settings, "" of any other move.
func (m *move) gone() (blob, settings string) {
	if m.rare == nil {
		return "", ""
	}
	return m.rare.gone, m.rare.mixed
}

// told is one entry of the timeline as it is held: many years have a hundred thousand, nearly all about one field of one condition. A condition
// that is new or gone as a whole is held as one, whose fields are read when its turn comes: a commit may bring a hundred thousand.
type told struct {
	move     *move         // nil where it is about something else
	from, to *schema.Field // nil where there was no value, both of a whole condition
	rest     *rest         // nil of most
}

// A rest is what most entries do not have.
type rest struct {
	others []schema.Field // what the other sides of a merge had
	entry  *Entry         // where it is about a file
	record *recorded      // where it is about a record
}

// A recorded is a record and one of the things that it is about.
type recorded struct {
	record *schema.Record
	about  topic // the zero topic where it names nothing
	pos    int
	at     time.Time
}

// others are what the other sides of a merge had.
func (e *told) others() []schema.Field {
	if e.rest == nil {
		return nil
	}
	return e.rest.others
}

// entry is the entry of what is about a file, else nil.
func (e *told) entry() *Entry {
	if e.rest == nil {
		return nil
	}
	return e.rest.entry
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
func (t *Trail) add(c *commit, e Entry) { t.tell(c, told{rest: &rest{entry: &e}}) }

// field is where a value is held once for all entries that have it, nil for none.
func (t *Trail) field(f schema.Field) *schema.Field {
	if f.Path == "" {
		return nil
	}
	f.At = schema.Made // it says nothing outside its file
	known := t.fields[f]
	if known == nil {
		own := apart(f)
		known = &own
		t.fields[own] = known
	}
	return known
}

// apart is a value that holds on to nothing of the file that it was read from.
func apart(f schema.Field) schema.Field {
	f.Path, f.Text = strings.Clone(f.Path), strings.Clone(f.Text)
	if q, err := readQuantity(f.Quantity.Dimension(), f.Text); err == nil && q == f.Quantity {
		f.Quantity = q
	}
	return f
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
	if e.rest.record != nil {
		return e.rest.record.pos
	}
	return e.rest.entry.pos
}

// at is when its author says that they made it.
func (e *told) at() time.Time {
	if e.move != nil {
		return e.move.commit.said.Author.When
	}
	if e.rest.record != nil {
		return e.rest.record.at
	}
	return e.rest.entry.At
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
	t.places = make([]int32, 0, records)
	for i := range t.told {
		if t.told[i].move != nil {
			t.places = append(t.places, int32(i))
		}
	}
	slices.SortFunc(t.places, func(a, b int32) int { return cmp.Or(strings.Compare(t.told[a].move.id, t.told[b].move.id), int(a-b)) })
}

// placesOf says where in the timeline a condition is told.
func (t *Trail) placesOf(id string) []int32 {
	from, _ := slices.BinarySearchFunc(t.places, id, func(i int32, id string) int { return strings.Compare(t.told[i].move.id, id) })
	to := from
	for to < len(t.places) && t.told[t.places[to]].move.id == id {
		to++
	}
	return t.places[from:to]
}

// movesOf is what commits made of a condition, without what merges threw away.
func (t *Trail) movesOf(id string) (moves []*move) {
	for _, i := range t.placesOf(id) {
		if m := t.told[i].move; m.kind != Dropped && (len(moves) == 0 || moves[len(moves)-1] != m) {
			moves = append(moves, m)
		}
	}
	return moves
}

// parts are the fields of a condition that is new or gone as a whole.
func (t *Trail) parts(m *move) []told {
	blob, settings := m.blob, m.settings
	if m.kind == Removed {
		blob, settings = m.gone()
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
	list := t.placesOf(e.ID)
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
		explained := f
		explained.Unapproved = false // that hangs on what is found out of those entries only that pass the rest
		passes, fits, may := f.test(), explained.test(), f.besideFields().test()
		var made Entry
		tells := func(from *told, at int) (on bool) {
			t.fill(&made, from, at)
			if !fits(&made) {
				return true
			}
			t.explain(&made, from.move)
			return f.Unapproved && !passes(&made) || yield(&made)
		}
		for i := range t.told {
			e := &t.told[i]
			if e.move == nil {
				other := e.rest.entry
				if e.rest.record != nil {
					other = t.ofRecord(e.rest.record)
				}
				if passes(other) && !yield(other) {
					return
				}
				continue
			}
			if c := e.move.commit; made.Commit != c.hash {
				made = t.entry(c, "")
			}
			if !e.whole() || f.Whole && f.Field == "" {
				if !tells(e, i) {
					return
				}
				continue
			}
			if t.fill(&made, e, i); !may(&made) {
				continue
			}
			for _, part := range t.parts(e.move) {
				if !tells(&part, i) {
					return
				}
			}
		}
	}
}

// EachOf tells what commits changed of one condition, field by field, as [Trail.Each] does.
func (t *Trail) EachOf(id string) iter.Seq[*Entry] {
	return func(yield func(*Entry) bool) {
		var made Entry
		for _, i := range t.placesOf(id) {
			e := &t.told[i]
			if c := e.move.commit; made.Commit != c.hash {
				made = t.entry(c, "")
			}
			parts := []told{*e}
			if e.whole() {
				parts = t.parts(e.move)
			}
			for _, part := range parts {
				t.fill(&made, &part, int(i))
				if t.explain(&made, e.move); !yield(&made) {
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
		t.fill(&made, &part, e.at)
		if t.explain(&made, part.move); passes(&made) {
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
	e.Kind, e.ID, e.Subject, e.From, e.To, e.Others, e.Note = m.kind, m.id, schema.SubjectCondition, of(from.from), of(from.to), from.others(), from.note()
	if e.Field = ""; !from.whole() {
		e.Field = from.path()
	}
	e.FromDigest, e.ToDigest, e.starts, e.at, e.trail, e.ApprovedBy = m.from, m.to, m.starts(), at, t, nil
	e.Why = nil
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
