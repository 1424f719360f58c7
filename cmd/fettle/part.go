package main

import (
	"errors"
	"maps"
	"path"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/hooks"
	"fettle/schema"
)

// A part is what bears on a few conditions of a shop, read in place of the whole library where a command names whole ids: the sets of their
// machine, material and gas, and their records. What a command says of these ids by it is what it says by all that there is; what it says of
// others is not to be shown.
type part struct {
	breadth
	lookup    *hooks.Lookup
	where     hooks.Where
	subjects  map[history.SubjectKey]bool
	snapshots [2]git.Snapshot  // of what is saved and of what lies on disk; of the first none where nobody asks for files
	added     []*schema.Record // on disk, and not saved
}

// A breadth is how much of the library a command needs to know of some conditions.
type breadth int

const (
	ofIDs     breadth = iota // how they are saved and stand, with the recipes of their sets, saved and on disk
	ofSets                   // how all conditions of their sets stand
	ofMachine                // the recipes of all sets of their machines, and records that are not saved
)

var errNoPart = errors.New("no part of the library can stand for it")

// about restricts the shop to a part, where whole ids were typed that are there. Everything else needs the whole library: what is meant by
// a short id, or is like one that was mistyped.
func (s *shop) about(typed []string, b breadth) {
	ids := wholeIDs(typed)
	if len(ids) == 0 || s.entire || s.part != nil || s.unsaved.lib != nil || s.committed.lib != nil {
		return
	}
	lookup, err := hooks.OpenLookup(s.repo, s.sub)
	if err != nil {
		return
	}
	s.part = &part{breadth: b, lookup: lookup, subjects: map[history.SubjectKey]bool{}}
	of := map[[3]string]bool{}
	for _, id := range ids {
		of[[3]string{id.Machine, id.Material, id.Gas}] = true
		if b == ofMachine {
			of[[3]string{id.Machine}] = true
		}
		s.part.subjects[history.SubjectKey{Kind: schema.SubjectCondition, ID: id.String()}] = true
		s.part.subjects[history.TrialsOfSet(id)] = true
	}
	s.part.where = func(machine, material, gas string) bool {
		return of[[3]string{machine, material, gas}] || of[[3]string{machine}]
	}
	work, saved, err := s.both()
	if err != nil || slices.ContainsFunc(ids, func(id schema.ID) bool { return work.Recipe(id) == nil && saved.Recipe(id) == nil }) {
		s.wholly()
	}
}

// wholly goes back to the whole library.
func (s *shop) wholly() {
	if s.part != nil {
		s.part.lookup.Close()
		s.part, s.unsaved, s.committed = nil, state{}, state{}
	}
}

// rewritten forgets the state that is not saved: a file was written.
func (s *shop) rewritten() {
	s.unsaved = state{}
	if s.part != nil {
		s.part.snapshots, s.part.added = [2]git.Snapshot{}, nil
	}
}

// advanced forgets both states: something was saved.
func (s *shop) advanced() {
	s.wholly()
	s.unsaved, s.committed, s.merged = state{}, state{}, nil
}

// open looks at the files of both states, those of records only where they count.
func (p *part) open(s *shop) (err error) {
	switch {
	case p.snapshots[1] != nil:
		return nil
	case p.breadth < ofMachine:
		p.snapshots[1], err = s.repo.WorkTree(s.sub, slices.DeleteFunc(slices.Clone(git.Parts), func(part string) bool { return part == "records" || part == "trials" })...)
		return err
	}
	if p.snapshots[0], p.snapshots[1], err = s.repo.SavedAndWork("HEAD", s.sub); err != nil {
		return err
	}
	for _, c := range git.Compare(p.snapshots[0], p.snapshots[1]) {
		if !schema.IsRecordPath(c.Path) || strings.HasPrefix(path.Base(c.Path), ".") {
			continue
		}
		if c.OldHash != "" || c.NewHash == "" {
			return errNoPart // one is altered or gone
		}
		r, err := schema.ReadRecordFrom(p.snapshots[1], c.Path)
		if err != nil {
			return err
		}
		p.added = append(p.added, r)
	}
	return nil
}

// load reads the part of a state.
func (p *part) load(s *shop, st *state) error {
	if err := p.open(s); err != nil {
		return err
	}
	var lib *schema.Library
	var err error
	var added []*schema.Record
	at := 0
	if st == &s.unsaved {
		at, added = 1, p.added
		lib, err = p.lookup.OnDisk(p.snapshots[at], p.where)
	} else {
		lib, err = p.lookup.Saved(p.where)
	}
	if err != nil {
		return err
	}
	st.snap, st.lib = p.snapshots[at], lib
	if at == 1 && p.breadth < ofMachine {
		return nil // nobody asks what is on record there
	}
	if p.breadth > ofIDs {
		for _, r := range lib.Recipes {
			p.subjects[history.SubjectKey{Kind: schema.SubjectCondition, ID: r.ID.String()}] = true
		}
	}
	ledger, err := p.lookup.Ledger(slices.Collect(maps.Keys(p.subjects)), added)
	if err != nil {
		return err
	}
	st.ledger = ledger
	return nil
}
