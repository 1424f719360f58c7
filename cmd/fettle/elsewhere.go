package main

import (
	"maps"
	"slices"

	"fettle/history"
	"fettle/history/audit"
	"fettle/history/git"
	"fettle/hooks"
	"fettle/schema"
)

// Another revision is read by parts, too, as far as a review or a decision asks for.

// An elsewhere is another revision, of which parts are read in place of all that it holds. They are judged as [shop.elsewhere] says.
type elsewhere struct {
	rev        string
	here       *hooks.Lookup
	lookup     *hooks.Lookup
	snap       git.Snapshot
	lost       []history.Broken
	id, anchor string // of the library here
}

// elsewhereInParts opens another revision beside the frame of what is saved here, which was read. It fails where no part can stand for it.
func (s *shop) elsewhereInParts(rev string) (*elsewhere, error) {
	here := s.standing(&s.committed)
	if here.Anchor == nil {
		return nil, errNoPart
	}
	hash, err := s.repo.Resolve(rev)
	if err != nil {
		return nil, err
	}
	e := &elsewhere{rev: rev, here: s.part.lookup}
	if err := e.open(s, hash); err != nil {
		return nil, err
	}
	if e.lost, err = s.lostIn(rev, e.snap); err != nil {
		return nil, err
	}
	if e.anchor, err = s.anchor(); err != nil {
		return nil, err
	}
	if e.anchor == "" {
		e.anchor = string(here.Anchor.Digest)
	}
	e.id, err = libraryID(s.committed.lib)
	return e, err
}

func (e *elsewhere) open(s *shop, hash string) (err error) {
	if e.lookup, err = e.here.Elsewhere(hash); err == nil {
		e.snap, err = s.repo.Commit(hash, s.sub)
	}
	return err
}

// partThere is the frame of another revision that is to take the place of what is saved here; nil where no part can stand for it.
func (s *shop) partThere(rev string) *part {
	if s.part == nil {
		return nil
	}
	e, err := s.elsewhereInParts(rev)
	if err != nil {
		return nil
	}
	o := *s.part.origin
	o.elsewhere = e
	return o.ofSets(nil)
}

// loadElsewhere reads the part of a state that the revision takes the place of.
func (p *part) loadElsewhere(s *shop, st *state) (err error) {
	if p.there == nil {
		if p.there, err = p.elsewhere.of(p); err == nil && p.breadth&allRecords != 0 {
			err = p.elsewhere.records(s, p.there)
		}
	}
	if err == nil {
		*st = *p.there
	}
	return err
}

// records gives a state all that is on record here and there.
func (e *elsewhere) records(s *shop, st *state) error {
	here, err := s.repo.Commit("HEAD", s.sub)
	if err != nil {
		return err
	}
	ledger, err := history.ReadLedger(here)
	if err != nil {
		return err
	}
	st.ledger = ledger.With(e.lookup.Added())
	st.stand = st.ledger.Judge(e.id, e.anchor)
	return nil
}

// loadLine reads all of the branch that is decided on.
func (s *shop) loadLine() error {
	q := s.within(nil)
	q.line, q.onLine = nil, false
	if _, err := q.saved(); err != nil {
		return err
	}
	st, err := q.elsewhere(s.line.tip)
	if err == nil {
		s.committed, s.unsaved = *st, *st
	}
	return err
}

// advance goes on with a branch after something was saved on it.
func (p *part) advance(s *shop) (*part, error) {
	o, e := *p.origin, *p.elsewhere
	o.elsewhere, e.rev = &e, s.line.tip
	return o.ofSets(nil), e.open(s, e.rev)
}

// of reads the part of the revision that a part of what is saved here names.
func (e *elsewhere) of(p *part) (*state, error) {
	lookup := e.lookup.Afresh()
	lib, err := lookup.Saved(p.where)
	if err != nil {
		return nil, err
	}
	ledger, err := lookup.Ledger(slices.Collect(maps.Keys(p.subjects)), nil)
	if err != nil {
		return nil, err
	}
	return &state{snap: e.snap, lib: lib, ledger: ledger, stand: ledger.Judge(e.id, e.anchor), lost: e.lost, anchor: e.anchor}, nil
}

// past is the history of some conditions up to the revision, with the commits that are kept of another one.
func (e *elsewhere) past(s *shop, ids []schema.ID) (*audit.Trail, error) {
	anchor, err := s.anchor()
	if err != nil {
		return nil, err
	}
	return audit.Read(s.repo, s.sub, audit.Options{Rev: e.rev, Anchor: anchor, IDs: ids, Kept: true, Passing: true, Records: e.lookup.OnlyThere})
}

// A survey goes through the conditions of a revision by parts.
type survey struct {
	*shop
	there *elsewhere    // nil for what is saved here
	since *hooks.Lookup // only what changed since another revision; else nil
	moved []string      // since then to another file, and the same, see movedOnly
	cards int           // that were given
}

// surveyOf is what a review of a revision, or of what changed there since another one, looks at, where no more than the frame of the library
// was read.
func (s *shop) surveyOf(rev, from string) (v *survey, err error) {
	v = &survey{shop: s}
	if rev != "HEAD" {
		if v.there, err = s.elsewhereInParts(rev); err != nil {
			return nil, err
		}
	}
	if from != "" {
		hash, err := s.repo.Resolve(from)
		if err != nil {
			return nil, err
		}
		if v.since, err = s.part.lookup.Elsewhere(hash); err != nil {
			return nil, err
		}
	}
	return v, nil
}

// revision is the one that is gone through, nil for what is saved here.
func (v *survey) revision() *elsewhere {
	if v.there != nil {
		return v.there
	}
	return v.part.elsewhere
}

func (v *survey) lookup() *hooks.Lookup {
	if e := v.revision(); e != nil {
		return e.lookup
	}
	return v.part.lookup
}

// state is that of the revision, as far as the part goes that a shop was restricted to.
func (v *survey) state(q *shop) (*state, error) {
	switch {
	case v.there == nil:
		_, err := q.saved()
		return &q.committed, err
	case q.part == nil:
		return q.elsewhere(v.there.rev)
	}
	return v.there.of(q.part)
}

// A stretch is some sets of a survey: the library here and the state of the revision as far as they go, and the positions of their conditions.
type stretch struct {
	shop      *shop
	part      *part
	state     *state
	positions []history.Position
}

// each gives some sets at a time. Where these cannot tell, it goes on with all that there is.
func (v *survey) each(sets [][3]string, do func(*stretch) error) error {
	done := 0
	var whole *stretch
	lot := setsAtOnce / 2
	if v.format == "html" || v.format == "markdown" { // which take the history of all cards as well
		lot /= 3
	}
	for chunk := range slices.Chunk(sets, max(1, lot)) {
		if len(sets) > len(chunk) {
			v.bar.tell(done, len(sets))
		}
		part := v.part.quietly().ofSets(chunk)
		var x *stretch
		if whole == nil {
			x, _ = v.read(v.within(part))
		}
		if x == nil {
			if whole == nil {
				var err error
				if whole, err = v.read(v.within(nil)); err != nil {
					return err
				}
			}
			again := *whole
			x = &again
		}
		x.part = part
		x.positions = slices.DeleteFunc(x.shop.standing(x.state).Positions(x.state.lib), func(p history.Position) bool { return !slices.Contains(chunk, setOf(p.ID)) })
		if err := do(x); err != nil {
			return err
		}
		done += len(chunk)
	}
	return nil
}

func (v *survey) read(q *shop) (*stretch, error) {
	if _, _, err := q.both(); err != nil {
		return nil, err
	}
	st, err := v.state(q)
	return &stretch{shop: q, state: st}, err
}

// ids are all conditions that the revision holds, or that were decided on.
func (v *survey) ids() (ids []schema.ID, err error) {
	err = v.each(v.lookup().Sets(), func(x *stretch) error {
		for _, p := range x.positions {
			ids = append(ids, p.ID.Apart())
		}
		return nil
	})
	return ids, err
}

// chosen are the conditions that are meant by what was typed; wrong says why none can be told.
func (v *survey) chosen(typed []string) (ids []schema.ID, wrong, err error) {
	if ids := wholeIDs(typed); len(ids) > 0 {
		x, err := v.read(v.within(v.part.quietly().of(ids, onRecord)))
		if err != nil {
			return nil, nil, err
		}
		if !slices.ContainsFunc(ids, func(id schema.ID) bool { return x.state.lib.Recipe(id) == nil }) {
			return ids, nil, nil
		}
	}
	all, err := v.ids()
	if err != nil {
		return nil, nil, err
	}
	if v.onLine {
		v.names = names{onceInUse: all}
	}
	ids, wrong = v.resolve(typed, all)
	return ids, wrong, nil
}

// eachCards gives the cards of the conditions of the ids, or else of all that is not approved, in the order of ids.
func (v *survey) eachCards(ids []schema.ID, do func(q *shop, st *state, cards []card) error) error {
	sets := v.lookup().Sets()
	if v.since != nil {
		sets = v.lookup().Differing(v.since)
	}
	if ids != nil {
		sets = slices.DeleteFunc(sets, func(set [3]string) bool {
			return !slices.ContainsFunc(ids, func(id schema.ID) bool { return setOf(id) == set })
		})
	}
	return v.each(sets, func(x *stretch) error {
		if v.since != nil {
			before, err := v.since.Afresh().Saved(x.part.where)
			if err != nil {
				return err
			}
			touched := history.Touched(history.Compare(before, x.state.lib))
			x.positions = slices.DeleteFunc(x.positions, func(p history.Position) bool { return !slices.Contains(touched, p.ID) })
			for _, id := range movedOnly(before, x.state.lib) {
				if parsed, err := schema.ParseID(id); err == nil && x.part.where(parsed.Machine, parsed.Material, parsed.Gas) {
					v.moved = append(v.moved, id)
				}
			}
		}
		x.positions = slices.DeleteFunc(x.positions, func(p history.Position) bool {
			return ids != nil && !slices.Contains(ids, p.ID) || ids == nil && p.Status == history.Approved
		})
		if len(x.positions) == 0 {
			return nil
		}
		own := make([]schema.ID, len(x.positions))
		for i, p := range x.positions {
			own[i] = p.ID
		}
		q := x.shop
		q.pastOf = q.pasts(own, v.revision())
		v.cards += len(own)
		return do(q, x.state, q.cards(x.state, x.positions))
	})
}
