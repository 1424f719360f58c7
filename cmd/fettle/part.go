package main

import (
	"errors"
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/hooks"
	"fettle/schema"
)

// A part is what bears on some conditions of a shop, read in place of the whole library: the sets of their machine, material and gas, and
// their records. What a command says of these conditions by it is what it says by all that there is; what it says of others is not to be
// shown.
type part struct {
	*origin
	lookup   *hooks.Lookup
	where    hooks.Where
	breadth  breadth
	all      *history.Ledger // all records as they are saved, once they were read
	subjects map[history.SubjectKey]bool
	there    *state // of the other revision that it is of, once it was read
}

// An origin is the library that parts are taken from.
type origin struct {
	lookup    *hooks.Lookup
	unsaved   bool             // records that are not saved count for the state on disk; else nothing on record is asked of it
	snapshots [2]git.Snapshot  // of what is saved and of what lies on disk; without unsaved of the first none, and of the second no records
	added     []*schema.Record // on disk, and not saved
	elsewhere *elsewhere       // another revision that takes the place of both states, see shop.on; else nil
}

// A breadth is what a command needs to know beside the conditions that were typed: how they are saved and stand, and the recipes of their sets.
type breadth int

const (
	onRecord   breadth = 1 << iota // all that is on record of their sets
	unsaved                        // records that are not saved
	machines                       // the recipes of all sets of their machines
	allRecords                     // all records there are
	unjudged                       // of which nobody asks what they count for
)

var errNoPart = errors.New("no part of the library can stand for it")

// about restricts the shop to a part, where whole ids were typed that are there. Everything else needs the whole library: what is meant by
// a short id, or is like one that was mistyped.
func (s *shop) about(typed []string, b breadth) {
	ids := wholeIDs(typed)
	if len(ids) > 0 && s.narrow(b, func(o *origin) *part { return o.of(ids, b) }) &&
		slices.ContainsFunc(ids, func(id schema.ID) bool { return s.unsaved.lib.Recipe(id) == nil && s.committed.lib.Recipe(id) == nil }) {
		s.wholly()
	}
}

// narrow restricts the shop to a part of which both states are read. It is false where that cannot be had: something was read already, or no
// part can stand for the library.
func (s *shop) narrow(b breadth, to func(*origin) *part) bool {
	if s.entire || s.part != nil || s.unsaved.lib != nil || s.committed.lib != nil {
		return false
	}
	lookup, err := hooks.OpenLookup(s.repo, s.sub)
	if err != nil {
		return false
	}
	s.part = to(&origin{lookup: lookup, unsaved: b&(unsaved|allRecords) != 0})
	if _, _, err := s.both(); err != nil {
		s.wholly()
		return false
	}
	return true
}

// aboutOpen restricts the shop to what a reason may be asked for: all that is edited, and where nothing is, what was saved without one. Where
// that is much, it is returned, and no more was read than the frame of the library.
func (s *shop) aboutOpen() (many []row, err error) {
	if !s.apart() {
		return nil, nil
	}
	differences, err := s.unsavedNow()
	if err != nil {
		return nil, err
	}
	var ids []schema.ID
	for _, d := range differences {
		ids = append(ids, d.ID)
	}
	if len(ids) == 0 {
		t, err := s.overview(nil, s.bar.doing)
		if err != nil { // only the whole library can tell
			s.wholly()
			return nil, nil
		}
		rows := t.rows(func(r *row) bool { return r.unexplained })
		if len(setsOf(rows)) > setsAtOnce {
			return rows, nil
		}
		for _, r := range rows {
			ids = append(ids, r.id)
		}
	}
	if len(ids) == 0 {
		return nil, nil // and the part without any set says so
	}
	s.wholly()
	s.narrow(unsaved, func(o *origin) *part { return o.of(ids, onRecord|unsaved) })
	return nil, nil
}

// of is the part that bears on some conditions, read apart from others so that it can be let go.
func (o *origin) of(ids []schema.ID, b breadth) *part {
	p := &part{origin: o, lookup: o.lookup.Afresh(), breadth: b, subjects: map[history.SubjectKey]bool{}}
	of := map[[3]string]bool{}
	for _, id := range ids {
		of[setOf(id)] = true
		if b&machines != 0 {
			of[[3]string{id.Machine}] = true
		}
		p.subjects[history.SubjectKey{Kind: schema.SubjectCondition, ID: id.String()}] = true
		p.subjects[history.TrialsOfSet(id)] = true
		if b&onRecord != 0 {
			p.subjects[history.OfSet(id.Machine, id.Material, id.Gas)] = true
		}
	}
	p.where = func(machine, material, gas string) bool {
		return of[[3]string{machine, material, gas}] || of[[3]string{machine}]
	}
	return p
}

// quietly is the same library where nothing is asked of what is on record of the state on disk.
func (o *origin) quietly() *origin {
	out := *o
	out.unsaved = false
	return &out
}

// setOf names the set of a condition.
func setOf(id schema.ID) [3]string { return [3]string{id.Machine, id.Material, id.Gas} }

// ofSets is the part of whole sets with all that is on record of them.
func (o *origin) ofSets(sets [][3]string) *part {
	p := &part{origin: o, lookup: o.lookup.Afresh(), subjects: map[history.SubjectKey]bool{}}
	of := map[[3]string]bool{}
	for _, set := range sets {
		of[set] = true
		p.subjects[history.OfSet(set[0], set[1], set[2])] = true
	}
	p.where = func(machine, material, gas string) bool { return of[[3]string{machine, material, gas}] }
	return p
}

// aboutFamily restricts the shop to one set, where what was typed is the whole name of a family in it, or the whole id of a condition whose
// family is.
func (s *shop) aboutFamily(typed string) {
	parts := strings.Split(typed, "/")
	if len(parts) < 3 || !s.narrow(unsaved, func(o *origin) *part { return o.ofSets([][3]string{[3]string(parts[:3])}) }) {
		return
	}
	name := typed
	if id, err := schema.ParseID(typed); err == nil {
		name = id.Family()
	}
	if names, _ := families(s.unsaved.lib); !slices.Contains(names, name) {
		s.wholly()
	}
}

// aboutFamilies restricts the shop to the sets of the families that are meant by what was typed.
func (s *shop) aboutFamilies(typed string) {
	if !s.apart() {
		return
	}
	var err error
	if s.names, err = s.namesOf(inFiles, func([3]string) bool { return true }); err == nil {
		var sets [][3]string
		if meant, wrong := s.familiesNamed(typed, s.ids(inFiles), s.unsaved.lib); wrong == nil { // else the command says what is wrong
			for _, name := range meant {
				sets = append(sets, [3]string(strings.SplitN(name, "/", 4)[:3]))
			}
		}
		err = s.turn(s.part.origin.ofSets(sets))
	}
	if err != nil {
		s.wholly()
	}
}

// onlyRecords restricts the shop to all that is on record, and to what is in no set.
func (s *shop) onlyRecords(b breadth) {
	s.narrow(allRecords|b, func(o *origin) *part { return o.of(nil, allRecords|b) })
}

// wholly goes back to the whole library.
func (s *shop) wholly() {
	if s.part != nil {
		if s.part.elsewhere == nil {
			s.part.origin.lookup.Close()
		}
		s.part, s.names, s.unsaved, s.committed = nil, nil, state{}, state{}
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
func (o *origin) open(s *shop) (err error) {
	switch {
	case o.snapshots[1] != nil:
		return nil
	case !o.unsaved:
		o.snapshots[1], err = s.repo.WorkTree(s.sub, slices.DeleteFunc(slices.Clone(git.Parts), func(part string) bool { return part == "records" || part == "trials" })...)
		return err
	}
	if o.snapshots[0], o.snapshots[1], err = s.repo.SavedAndWork("HEAD", s.sub); err != nil {
		return err
	}
	for _, c := range git.Compare(o.snapshots[0], o.snapshots[1]) {
		if !schema.IsRecordPath(c.Path) || strings.HasPrefix(path.Base(c.Path), ".") {
			continue
		}
		if c.OldHash != "" || c.NewHash == "" {
			return errNoPart // one is altered or gone
		}
		r, err := schema.ReadRecordFrom(o.snapshots[1], c.Path)
		if err != nil {
			return err
		}
		o.added = append(o.added, r)
	}
	return nil
}

// load reads the part of a state.
func (p *part) load(s *shop, st *state) error {
	if p.elsewhere != nil {
		return p.loadElsewhere(s, st)
	}
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
	var ledger *history.Ledger
	switch {
	case p.breadth&allRecords != 0:
		if p.all == nil {
			read := history.ReadLedgerSparing
			if p.breadth&unjudged != 0 { // to check all signatures takes as long as to read them
				read = history.ReadLedger
			}
			if p.all, err = read(p.snapshots[0]); err != nil {
				return err
			}
		}
		ledger = p.all.With(added)
	case at == 0 || p.unsaved:
		if ledger, err = p.records(added); err != nil {
			return err
		}
	}
	st.snap, st.lib, st.ledger = p.snapshots[at], lib, ledger
	return nil
}

// records is what is on record of the part, with some records that are not saved.
func (p *part) records(added []*schema.Record) (*history.Ledger, error) {
	return p.lookup.Ledger(slices.Collect(maps.Keys(p.subjects)), added)
}

// aboutUnsaved restricts the shop to what a save is judged by: what was typed, all that is edited, and all of a machine whose profile is.
func (s *shop) aboutUnsaved(typed []string) error {
	if s.meant(typed, onRecord|unsaved, inFiles|inSaved); s.part == nil && !s.apart() {
		return nil
	}
	edited, err := s.unsavedSets()
	if err != nil {
		return err
	}
	profiles := map[string]bool{}
	for _, c := range git.Compare(s.part.snapshots[0], s.part.snapshots[1]) {
		switch {
		case schema.IsSetPath(c.Path), schema.IsRecordPath(c.Path), strings.HasPrefix(c.Path, schema.TrialDir):
		case strings.HasPrefix(c.Path, "machines/"):
			for _, lib := range []*schema.Library{s.committed.lib, s.unsaved.lib} {
				for name, m := range lib.Machines {
					profiles[name] = profiles[name] || m.File.Path == c.Path
				}
			}
		default: // settings and rosters bear on all there is
			s.wholly()
			return nil
		}
	}
	for _, set := range s.part.lookup.Sets() {
		if profiles[set[0]] {
			edited = append(edited, set)
		}
	}
	if err := s.turn(s.part.with(edited)); err != nil {
		s.wholly()
	}
	return nil
}

// with is the part and some more sets with all that is on record of them.
func (p *part) with(sets [][3]string) *part {
	more := p.ofSets(sets)
	maps.Copy(more.subjects, p.subjects)
	where := more.where
	more.where = func(machine, material, gas string) bool {
		return p.where(machine, material, gas) || where(machine, material, gas)
	}
	more.breadth |= p.breadth & (allRecords | unjudged)
	return more
}

// holdsAny reports whether anything is in the last commit that is cut with.
func (s *shop) holdsAny() bool {
	if len(s.committed.lib.Recipes) == 0 && s.part != nil {
		s.wholly()
		if _, err := s.saved(); err != nil {
			return false
		}
	}
	return len(s.committed.lib.Recipes) > 0
}

// apart begins with no more than settings, machines and rosters of both states. It is false where no part of the library can stand for it.
func (s *shop) apart() bool {
	return s.narrow(unsaved, func(o *origin) *part { return o.ofSets(nil) })
}

// within is the same shop as far as another part goes.
func (s *shop) within(part *part) *shop {
	out := *s
	out.unsaved, out.committed, out.part, out.known = state{}, state{}, part, nil
	return &out
}

// sets are those of which anything is saved, on disk or on record, in the order of ids, and of these those in which edits may lie that are
// not saved.
func (s *shop) sets() (all [][3]string, edited map[[3]string]bool, err error) {
	open, err := s.unsavedSets()
	if err != nil {
		return nil, nil, err
	}
	edited = map[[3]string]bool{}
	for _, set := range open {
		edited[set] = true
	}
	all = slices.Concat(s.part.lookup.Sets(), open)
	slices.SortFunc(all, func(a, b [3]string) int { return slices.Compare(a[:], b[:]) })
	return slices.Compact(all), edited, nil
}

// eachSets goes through the library some sets at a time, in the order of ids, where no more than its frame was read; else do is called once
// with what was read. It is told which conditions its turn is of: of others it may know a part.
func (s *shop) eachSets(all bool, do func(q *shop, in func(schema.ID) bool) error) error {
	if s.part == nil || !all {
		return do(s, func(schema.ID) bool { return true })
	}
	sets, _, err := s.sets()
	if err != nil {
		return err
	}
	done := 0
	for chunk := range slices.Chunk(sets, setsAtOnce) {
		s.bar.doing(fmt.Sprintf("reading: %d of %d sets", done, len(sets)))
		q := s.within(s.part.quietly().ofSets(chunk))
		if _, _, err := q.both(); err != nil {
			return err
		}
		if err := do(q, func(id schema.ID) bool { return slices.Contains(chunk, setOf(id)) }); err != nil {
			return err
		}
		done += len(chunk)
	}
	return nil
}

// recordsOf is what is on record of some sets, in a state that was read.
func (s *shop) recordsOf(st *state, sets [][3]string) (*history.Ledger, error) {
	if s.part == nil {
		return st.ledger, nil
	}
	var added []*schema.Record
	if st == &s.unsaved {
		added = s.part.added
	}
	var keys []history.SubjectKey
	for _, set := range sets {
		keys = append(keys, history.OfSet(set[0], set[1], set[2]))
	}
	ledger, err := s.part.lookup.Ledger(keys, added)
	if err != nil && st.snap != nil {
		return history.ReadLedger(st.snap)
	}
	return ledger, err
}
