package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/cmd/fettle/serve"
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
	out := &pages{shop: p.within(part), desk: p.desk}
	if _, _, err := out.both(); err != nil {
		p.wholly()
		_, _, err := p.both()
		return p, err
	}
	return out, nil
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

// Foresee is the work of looking where every condition stands; nil where that is known, or where all of the library was read.
func (p *pages) Foresee() func() {
	if p.part == nil || p.foreseen.Load() != nil {
		return nil
	}
	s := *p.shop // the other is used for pages meanwhile
	return func() { p.desk.foresee(p, &s) }
}

// overview is where every condition stands. It is nil where no part of the library can stand for it; then all of it is read.
func (p *pages) overview() (*overview, error) {
	if p.part == nil {
		return nil, nil
	}
	if look := p.Foresee(); look != nil {
		look()
	}
	known := p.foreseen.Load()
	if known.err != nil {
		p.wholly()
		_, _, err := p.both()
		return nil, err
	}
	return known.overview, nil
}

// coded is the library around the recipe of a card, as far as it is known from the overview.
func (p *pages) coded(code string) (*pages, error) {
	t, err := p.overview()
	if err != nil || t == nil {
		return p, err
	}
	for set, x := range t.sets {
		if slices.ContainsFunc(x.codes, func(bits uint64) bool { return cardCode(schema.Digest(fmt.Sprintf("%010x", bits))) == code }) {
			return p.near(set)
		}
	}
	return p, nil
}

// named are all conditions that stand on disk or are saved, ordered by id.
func (p *pages) named() (rows []row, err error) {
	t, err := p.overview()
	if err != nil {
		return nil, err
	}
	if t != nil {
		return t.rows(func(r *row) bool { return r.saved || r.onDisk }), nil
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
