package main

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"fettle/cmd/fettle/serve"
	"fettle/history"
	"fettle/history/signature"
	"fettle/schema"
)

// Pages of a library hold no more of it than settings, machines and rosters. What a page shows is read for it, from the sets that it is about,
// and let go again; where everything stands is worked out some sets at a time, and kept as an overview. Where no part of a library can stand for
// it, all of it is kept.

// near is the library as far as some sets go. Where that is not enough to tell, it is all of it from then on.
func (p *pages) near(sets ...[3]string) (*pages, error) {
	if p.part == nil {
		return p, nil
	}
	return p.read(p.part.ofSets(sets))
}

// nearEach is the library as far as it takes to tell where some conditions stand, each alone.
func (p *pages) nearEach(ids []schema.ID) (*pages, error) {
	if p.part == nil {
		return p, nil
	}
	return p.read(p.part.quietly().of(ids, 0))
}

func (p *pages) read(part *part) (*pages, error) {
	out := p.within(part)
	if _, _, err := out.both(); err != nil {
		p.wholly()
		_, _, err := p.both()
		return p, err
	}
	return out, nil
}

func (p *pages) within(part *part) *pages {
	s := *p.shop
	s.unsaved, s.committed, s.part, s.known = state{}, state{}, part, nil
	return &pages{shop: &s, desk: p.desk}
}

// around is the library around a condition that was typed into an address.
func (p *pages) around(typed string) (*pages, error) {
	id, err := schema.ParseID(typed)
	if err != nil {
		return p, nil
	}
	return p.near(setOf(id))
}

// ofMachine is the library as far as the sets of a machine go.
func (p *pages) ofMachine(name string) (*pages, error) {
	if p.part == nil {
		return p, nil
	}
	unsaved, err := p.unsavedSets()
	if err != nil {
		return nil, err
	}
	sets := slices.DeleteFunc(append(p.part.lookup.Sets(), unsaved...), func(set [3]string) bool { return set[0] != name })
	return p.near(sets...)
}

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
	part := *s
	part.unsaved, part.committed, part.part = state{}, state{}, s.part.ofSets(sets)
	return part.unsavedIn()
}

func (s *shop) unsavedIn() ([]history.Difference, error) {
	work, saved, err := s.both()
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
	there  bool           // it stands on disk, or is saved
	words  string         // of its grade and note, on disk
}

// setsAtOnce is how many are read together.
const setsAtOnce = 40

// overview brings the overview up to what there is.
func (p *pages) overview() (*overview, error) {
	p.desk.at("looking where every condition stands")
	lookup := p.part.lookup
	anchor, err := p.anchor()
	if err != nil {
		return nil, err
	}
	contents, beside := lookup.Contents(p.part.snapshots[1])
	old := p.desk.seen
	changed, plain := map[[3]string]bool{}, false
	if old != nil && old.beside == beside && old.anchor == anchor {
		changed, plain = lookup.Since(old.records)
	}
	unsaved, err := p.unsavedSets()
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
	quiet, done := p.part.quietly(), 0
	for chunk := range slices.Chunk(open, setsAtOnce) {
		if len(open) > setsAtOnce {
			p.desk.at(fmt.Sprintf("looking where every condition stands: %d of %d sets", done, len(open)))
		}
		q := p.within(quiet.ofSets(chunk))
		if _, _, err := q.both(); err != nil {
			return nil, err
		}
		made := q.sections()
		for _, set := range chunk { // and nothing of others: of these it knows a part
			x := made[set]
			x.contents = contents[set]
			t.sets[set] = x
		}
		done += len(chunk)
	}
	p.desk.seen = t
	return t, nil
}

// sections are the sections of an overview that the library at hand makes.
func (p *pages) sections() map[[3]string]section {
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
	for _, position := range p.standing(&p.committed).Positions(p.committed.lib) {
		r := at(position.ID)
		r.status, r.there = position.Status, position.Now != nil
		if position.Now != nil {
			code(position.ID, position.Digest)
		}
	}
	for _, recipe := range p.unsaved.lib.Recipes {
		r := at(recipe.ID)
		r.there, r.words = true, strings.Clone(strings.ToLower(recipe.Set.Grade.V+" "+recipe.Note.V))
		code(recipe.ID, recipe.Digest())
	}
	ends := map[[3]string][]time.Time{}
	end := func(id, text string) {
		if parsed, err := schema.ParseID(id); err == nil {
			if t, err := time.Parse(time.RFC3339, text); err == nil {
				ends[setOf(parsed)] = append(ends[setOf(parsed)], t)
			}
		}
	}
	for _, r := range p.committed.ledger.Records {
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
	return out
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

// coded is the library around the recipe of a card, as far as it is known from the overview.
func (p *pages) coded(code string) (*pages, error) {
	if p.part == nil {
		return p, nil
	}
	t, err := p.overview()
	if err != nil {
		return nil, err
	}
	for set, x := range t.sets {
		if slices.ContainsFunc(x.codes, func(bits uint64) bool { return cardCode(schema.Digest(fmt.Sprintf("%010x", bits))) == code }) {
			return p.near(set)
		}
	}
	return p, nil
}

// waiting are the conditions that are not approved, ordered by id.
func (p *pages) waiting() (rows []row, err error) {
	if p.part != nil {
		t, err := p.overview()
		if err != nil {
			return nil, err
		}
		return t.rows(func(r *row) bool { return r.status != history.Approved && r.status != "" }), nil
	}
	for _, have := range p.positionsOf() {
		if have.Status != history.Approved {
			rows = append(rows, row{id: have.ID, status: have.Status})
		}
	}
	return rows, nil
}

// named are all conditions that stand on disk or are saved, ordered by id.
func (p *pages) named() (rows []row, err error) {
	if p.part != nil {
		t, err := p.overview()
		if err != nil {
			return nil, err
		}
		return t.rows(func(r *row) bool { return r.there }), nil
	}
	for _, id := range idsOf(p.unsaved.lib, p.committed.lib) {
		r := row{id: id}
		if recipe := p.unsaved.lib.Recipe(id); recipe != nil {
			r.words = strings.ToLower(recipe.Set.Grade.V + " " + recipe.Note.V)
		}
		rows = append(rows, r)
	}
	return rows, nil
}

// nextEnd is when the first of the times to come is.
func (p *pages) nextEnd(times []time.Time) time.Time {
	now := p.now()
	next := now.Add(24 * time.Hour)
	standing := p.standing(&p.committed)
	for _, roster := range []*signature.Roster{standing.Roster, standing.People} {
		if roster == nil {
			continue
		}
		for _, l := range roster.Lines {
			times = append(times, l.ValidAfter, l.ValidBefore.Add(time.Second))
		}
	}
	for _, t := range times {
		if t.After(now) && t.Before(next) {
			next = t
		}
	}
	return time.Now().Add(next.Sub(now))
}

// Card is what is decided on, with what is around it.
func (p *pages) Card(typed string) (*serve.Card, error) {
	q, err := p.around(typed)
	if err != nil {
		return nil, err
	}
	return q.cardOf(typed)
}

// Condition is all that is known of a condition.
func (p *pages) Condition(typed string) (*serve.Condition, error) {
	q, err := p.around(typed)
	if err != nil {
		return nil, err
	}
	return q.condition(typed)
}

// History is the timeline of a condition alone, for libraries whose history takes long to read.
func (p *pages) History(typed string) (*serve.Condition, error) {
	q, err := p.around(typed)
	if err != nil {
		return nil, err
	}
	return q.historyOf(typed)
}

// Family is the conditions of one machine, material, gas and variant.
func (p *pages) Family(name string) (*serve.Family, error) {
	q := p
	if parts := strings.Split(name, "/"); len(parts) > 2 {
		var err error
		if q, err = p.near([3]string(parts[:3])); err != nil {
			return nil, err
		}
	}
	return q.family(name)
}

// Machine is a profile with all its conditions.
func (p *pages) Machine(name string) (*serve.Machine, error) {
	q, err := p.ofMachine(name)
	if err != nil {
		return nil, err
	}
	return q.machine(name)
}
