package main

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
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
	work, saved, err := s.within(s.part.ofSets(sets)).both()
	if err != nil {
		return nil, err
	}
	return history.Compare(saved, work), nil
}

// An overview tells where every condition of a library stands, without the library.
type overview struct {
	beside  string // contents of all that is no set
	records string // directory of records
	anchor  string
	sets    map[[3]string]section
}

// A section is the part of an overview that one set makes.
type section struct {
	contents string
	rows     []row
	codes    []uint64    // of recipes that stand there or were decided on, as on a card
	ends     []time.Time // when a permit or a waiver begins or ends
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
const setsAtOnce = 40

// overview tells where every condition stands, with the help of an earlier one, which may be nil. At is told what is being done. With explain
// it also tells what lacks a reason.
func (s *shop) overview(old *overview, at func(string), explain bool) (*overview, error) {
	at("looking where every condition stands")
	lookup := s.part.lookup
	anchor, err := s.anchor()
	if err != nil {
		return nil, err
	}
	contents, beside := lookup.Contents(s.part.snapshots[1])
	changed, plain := map[[3]string]bool{}, false
	if old != nil && old.beside == beside && old.anchor == anchor {
		changed, plain = lookup.Since(old.records)
	}
	unsaved, err := s.unsavedSets()
	if err != nil {
		return nil, err
	}
	t := &overview{beside, lookup.Records(), anchor, map[[3]string]section{}}
	var open [][3]string
	for _, set := range slices.Concat(lookup.Sets(), unsaved) {
		if _, done := t.sets[set]; done {
			continue
		}
		was, known := section{}, false
		if plain && !changed[set] {
			was, known = old.sets[set]
		}
		if t.sets[set] = was; !known || was.contents != contents[set] {
			open = append(open, set)
		}
	}
	quiet, done := s.part.quietly(), 0
	for chunk := range slices.Chunk(open, setsAtOnce) {
		if len(open) > setsAtOnce {
			at(fmt.Sprintf("looking where every condition stands: %d of %d sets", done, len(open)))
		}
		q := s.within(quiet.ofSets(chunk))
		if _, _, err := q.both(); err != nil {
			return nil, err
		}
		made, err := q.sections(explain)
		if err != nil {
			return nil, err
		}
		for _, set := range chunk { // and nothing of others: of these it knows a part
			x := made[set]
			x.contents = contents[set]
			t.sets[set] = x
		}
		done += len(chunk)
	}
	return t, nil
}

// sections are the sections of an overview that the library at hand makes.
func (s *shop) sections(explain bool) (map[[3]string]section, error) {
	out := map[[3]string]section{}
	rows := map[schema.ID]*row{}
	codes := map[[3]string]map[uint64]bool{}
	at := func(id schema.ID) *row {
		if rows[id] == nil {
			rows[id] = &row{id: compact(id)}
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
	if explain {
		past, err := hooks.UnexplainedIn(s.repo, s.sub, "HEAD", hooks.Side{Lib: s.committed.lib, Ledger: s.committed.ledger}, s.standing(&s.committed))
		if err != nil {
			return nil, err
		}
		for _, u := range past {
			at(u.ID).unexplained = true
		}
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
	for id, r := range rows {
		x := out[setOf(id)]
		x.rows = append(x.rows, *r)
		out[setOf(id)] = x
	}
	for set, bits := range codes {
		x := out[set]
		x.codes, x.ends = slices.Collect(maps.Keys(bits)), ends[set]
		out[set] = x
	}
	return out, nil
}

// compact is an id that holds on to nothing of the file that it was read from.
func compact(id schema.ID) schema.ID {
	own, err := schema.ParseID(id.String())
	if err != nil {
		return id
	}
	return own
}

// rows are those that are wanted, ordered by id.
func (t *overview) rows(want func(*row) bool) []row {
	n := 0
	for _, x := range t.sets {
		for i := range x.rows {
			if want(&x.rows[i]) {
				n++
			}
		}
	}
	out := make([]row, 0, n)
	for _, x := range t.sets {
		for i := range x.rows {
			if want(&x.rows[i]) {
				out = append(out, x.rows[i])
			}
		}
	}
	slices.SortFunc(out, func(a, b row) int { return a.id.Compare(b.id) })
	return out
}
