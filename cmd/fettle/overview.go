package main

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"fettle/history"
	"fettle/hooks"
	"fettle/schema"
)

// unsavedSets are those in which edits may lie that are not saved.
func (s *shop) unsavedSets() ([][3]string, error) {
	return s.part.lookup.Unsaved(s.part.snapshots[1], s.committed.lib, s.unsaved.lib)
}

// unsavedNow are the edits that are not saved.
func (s *shop) unsavedNow() ([]history.Difference, error) {
	if s.part == nil {
		work, saved, err := s.both()
		if err != nil {
			return nil, err
		}
		return history.Compare(saved, work), nil
	}
	sets, err := s.unsavedSets()
	if err != nil || len(sets) == 0 {
		return nil, err
	}
	part := s.part.quietly().ofSets(sets)
	clear(part.subjects) // what is on record has no bearing
	work, saved, err := s.within(part).both()
	if err != nil {
		return nil, err
	}
	return history.Compare(saved, work), nil
}

// An overview tells where every condition of a library stands, without the library. It is remembered below the directory of git, and what of
// it still holds is not worked out again: see keepOverview.
//
// Nothing in it hangs on the clock: decisions are judged by when they were made, and where time passing changes anything it says when.
type overview struct {
	beside  string // contents of all that is no set
	records string // directory of records
	anchor  string
	past    string // the history that sections with a past hang on, see hooks.Lookup.Past
	sets    map[[3]string]*section
	order   [][3]string // the keys of sets, sorted
}

// A section is the part of an overview that one set makes.
type section struct {
	contents string
	rows     []row       // ordered by id
	codes    []uint64    // of recipes that stand there or were decided on, as on a card
	ends     []time.Time // when a permit or a waiver begins or ends
	past     []string    // files whose history was looked at for what lacks a reason
}

// A row is one condition.
type row struct {
	id     schema.ID
	status history.Status // of what is saved; "" where nothing of it is saved or in force
	saved  bool
	onDisk bool
	words  string // of its grade and note, on disk

	unexplained bool // saved as it is, and no reason leads there
}

// setsAtOnce is how many are read together.
var setsAtOnce = 40

// overview tells where every condition stands, with the help of an earlier one, which may be nil. At is told what is being done, from several
// goroutines.
func (s *shop) overview(old *overview, at func(string)) (*overview, error) {
	at("looking where every condition stands")
	lookup := s.part.lookup
	anchor, err := s.anchor()
	if err != nil {
		return nil, err
	}
	past, err := lookup.Past()
	if err != nil {
		return nil, err
	}
	contents, beside := lookup.Contents(s.part.snapshots[1])
	unsaved, err := s.unsavedSets()
	if err != nil {
		return nil, err
	}
	if old == nil {
		old = s.recallOverview()
	}
	t := &overview{beside: beside, records: lookup.Records(), anchor: anchor, past: past, sets: map[[3]string]*section{}}
	holds := t.following(old, lookup, contents)
	var open [][3]string
	for _, set := range slices.Concat(lookup.Sets(), unsaved) {
		if _, done := t.sets[set]; done {
			continue
		}
		t.order = append(t.order, set)
		if t.sets[set] = holds(set); t.sets[set] == nil {
			open = append(open, set)
		}
	}
	slices.SortFunc(t.order, func(a, b [3]string) int { return slices.Compare(a[:], b[:]) })
	if err := s.workOut(t, open, contents, at); err != nil {
		return nil, err
	}
	if old == nil || len(open) > 0 || !t.like(old) {
		s.keepOverview(t)
	}
	return t, nil
}

// workOut makes sections of an overview, some sets at a time, and two lots of these beside each other.
func (s *shop) workOut(t *overview, open [][3]string, contents map[[3]string]string, at func(string)) error {
	const beside = 2
	quiet := s.part.quietly()
	lots := slices.Collect(slices.Chunk(open, max(1, setsAtOnce/3)))
	var mu sync.Mutex
	next, done := 0, 0
	var failed error
	var all sync.WaitGroup
	for range min(beside, len(lots)) {
		all.Go(func() {
			for {
				mu.Lock()
				if next == len(lots) || failed != nil {
					mu.Unlock()
					return
				}
				lot := lots[next]
				next++
				if len(lots) > 1 {
					at(fmt.Sprintf("looking where every condition stands: %d of %d sets", done, len(open)))
				}
				mu.Unlock()
				q := s.within(quiet.ofSets(lot))
				_, _, err := q.both()
				var made map[[3]string]*section
				if err == nil {
					made, err = q.sections()
				}
				mu.Lock()
				if err != nil && failed == nil {
					failed = err
				}
				for _, set := range lot { // and nothing of others: of these it knows a part
					x := made[set]
					if x == nil {
						x = &section{}
					}
					x.contents = contents[set]
					t.sets[set] = x
				}
				done += len(lot)
				mu.Unlock()
			}
		})
	}
	all.Wait()
	return failed
}

// like reports whether two overviews are of one state.
func (t *overview) like(old *overview) bool {
	return t.beside == old.beside && t.records == old.records && t.anchor == old.anchor && t.past == old.past && len(t.sets) == len(old.sets)
}

// following gives the section of an earlier overview, which may be nil, for every set of which it still says what there is, and nil for others.
func (t *overview) following(old *overview, lookup *hooks.Lookup, contents map[[3]string]string) func([3]string) *section {
	none := func([3]string) *section { return nil }
	if old == nil || old.beside != t.beside || old.anchor != t.anchor {
		return none
	}
	recorded, plain := lookup.Since(old.records)
	if !plain {
		return none
	}
	touched, linear := map[string]bool{}, true
	if old.past != t.past {
		touched, linear = lookup.TouchedSince(old.past)
	}
	return func(set [3]string) *section {
		x := old.sets[set]
		if x == nil || x.contents != contents[set] || recorded[set] {
			return nil
		}
		if len(x.past) > 0 && (!linear || slices.ContainsFunc(x.past, func(file string) bool { return touched[file] })) {
			return nil
		}
		return x
	}
}

// sections are the sections of an overview that the library at hand makes.
func (s *shop) sections() (map[[3]string]*section, error) {
	out := map[[3]string]*section{}
	rows := map[schema.ID]*row{}
	codes := map[[3]string]map[uint64]bool{}
	at := func(id schema.ID) *row {
		if rows[id] == nil {
			rows[id] = &row{id: id.Apart()}
		}
		return rows[id]
	}
	code := func(id schema.ID, digest schema.Digest) {
		set := setOf(id)
		if codes[set] == nil {
			codes[set] = map[uint64]bool{}
		}
		if bits, err := strconv.ParseUint(string(digest[:min(10, len(digest))]), 16, 64); err == nil {
			codes[set][bits] = true
		}
	}
	for _, position := range s.standing(&s.committed).Positions(s.committed.lib) {
		r := at(position.ID)
		r.status, r.saved = position.Status, position.Now != nil
		if position.Now != nil {
			code(position.ID, position.Digest)
		}
	}
	for _, recipe := range s.unsaved.lib.Recipes {
		r := at(recipe.ID)
		r.onDisk, r.words = true, strings.Clone(strings.ToLower(recipe.Set.Grade.V+" "+recipe.Note.V))
		code(recipe.ID, recipe.Digest())
	}
	open, past, err := s.part.lookup.Unexplained(hooks.Side{Lib: s.committed.lib, Ledger: s.committed.ledger}, s.standing(&s.committed))
	if err != nil {
		return nil, err
	}
	for _, u := range open {
		at(u.ID).unexplained = true
	}
	ends := map[[3]string][]time.Time{}
	end := func(id, text string) {
		if parsed, err := schema.ParseID(id); err == nil {
			if t, err := time.Parse(time.RFC3339, text); err == nil {
				ends[setOf(parsed)] = append(ends[setOf(parsed)], t)
			}
		}
	}
	for _, r := range s.committed.ledger.Records {
		switch body := r.Body.(type) {
		case *schema.Decision:
			for _, subject := range body.Subjects.V {
				if id, err := schema.ParseID(subject.ID.V); err == nil && subject.Kind.V == schema.SubjectCondition && len(subject.Digest.V) == 64 {
					code(id, schema.Digest(subject.Digest.V))
				}
			}
		case *schema.Permit:
			end(body.ID.V, body.At.V)
			end(body.ID.V, body.Until.V)
		case *schema.Waiver:
			end(body.ID.V, body.Until.V)
		}
	}
	of := func(set [3]string) *section {
		if out[set] == nil {
			out[set] = &section{}
		}
		return out[set]
	}
	for id, r := range rows {
		x := of(setOf(id))
		x.rows = append(x.rows, *r)
	}
	for set, bits := range codes {
		of(set).codes = slices.Sorted(maps.Keys(bits))
	}
	for set, times := range ends {
		of(set).ends = times
	}
	for _, file := range past {
		for _, r := range s.committed.lib.Recipes {
			if x := out[setOf(r.ID)]; r.File.Path == file && x != nil && !slices.Contains(x.past, file) {
				x.past = append(x.past, file)
			}
		}
	}
	for _, x := range out {
		slices.SortFunc(x.rows, func(a, b row) int { return a.id.Compare(b.id) })
	}
	return out, nil
}

// rows are those that are wanted, ordered by id.
func (t *overview) rows(want func(*row) bool) []row {
	var out []row
	for _, set := range t.order { // which is how ids begin
		for i := range t.sets[set].rows {
			if r := &t.sets[set].rows[i]; want(r) {
				out = append(out, *r)
			}
		}
	}
	return out
}
