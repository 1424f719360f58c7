package hooks

import (
	"cmp"
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
)

// The ledgers are the records of a survey: looked up in an index where the last commit has just those of the index and some more, and all that
// is not saved comes on top; else all of them are read.
type ledgers struct {
	index  *history.Index // nil where all are read
	since  []*schema.Record
	added  []*schema.Record
	bears  map[family]bool // of conditions that somebody decided on in what is not saved
	before *history.Ledger
	now    *history.Ledger
	hashes [2]contents // of records
}

func (t *ledgers) close() {
	if t.index != nil {
		t.index.Close()
	}
}

func (t *ledgers) open(s *Survey) error {
	t.bears = map[family]bool{}
	plain := true
	var added []string
	for side, c := range s.ids {
		t.hashes[side] = c.within(recordsDir + "/").visible()
	}
	was, i := t.hashes[0], 0
	for k, p := range t.hashes[1].paths {
		for i < len(was.paths) && was.paths[i] < p { // it is gone
			plain, i = false, i+1
		}
		if i == len(was.paths) || was.paths[i] != p {
			added = append(added, p)
			continue
		}
		plain = plain && was.ids[i] == t.hashes[1].ids[k]
		i++
	}
	plain = plain && i == len(was.paths)
	for _, p := range added {
		r, err := schema.ReadRecordFrom(s.known.Of(s.Now), p)
		if err != nil {
			return err
		}
		t.added = append(t.added, r)
		plain = plain && r.Kind != schema.KindApproval // whether one lacks its trial may hang on trials of the whole set
		if decides(r) {
			for _, subject := range history.Subjects(r) {
				if id, err := schema.ParseID(subject.ID); err == nil {
					t.bears[familyOf(id)] = true
				}
			}
		}
	}
	if plain && !s.Forgetful && s.Head != "" {
		if err := t.lookUp(s); err != nil {
			return err
		}
	}
	if t.index == nil {
		return t.readAll(s)
	}
	return nil
}

// visible leaves out what no record is called by.
func (c contents) visible() contents {
	record := func(p string) bool { return schema.IsRecordPath(p) && !strings.HasPrefix(path.Base(p), ".") }
	if !slices.ContainsFunc(c.paths, func(p string) bool { return !record(p) }) {
		return c
	}
	var out contents
	for i, p := range c.paths {
		if record(p) {
			out.paths, out.ids = append(out.paths, p), append(out.ids, c.ids[i])
		}
	}
	return out
}

// readAll reads every record of both sides: those that both have, which are most, once and sparingly.
func (t *ledgers) readAll(s *Survey) error {
	var both []string
	var rest [2][]*schema.Record
	for side, snap := range []git.Snapshot{s.Before, s.Now} {
		for i, p := range t.hashes[side].paths {
			if id := t.hashes[side].ids[i]; id != "" && id == t.hashes[1-side].of(p) {
				if side == 0 {
					both = append(both, p)
				}
				continue
			}
			r, err := schema.ReadRecordFrom(s.known.Of(snap), p)
			if err != nil {
				return fmt.Errorf("%s: %w", p, err)
			}
			rest[side] = append(rest[side], r)
		}
	}
	shared, err := history.ReadLedgerSparing(&someOf{s.Now, both})
	if err != nil {
		return err
	}
	t.before, t.now = shared.With(rest[0]), shared.With(rest[1])
	return nil
}

// lookUp opens the index, or makes it. There is none where it cannot be written.
func (t *ledgers) lookUp(s *Survey) error {
	top, err := s.Repo.TreeDir(s.Head, s.Root)
	if err != nil {
		return err
	}
	tree := ""
	for _, e := range top {
		if e.Path == recordsDir && e.Mode == git.ModeTree {
			tree = e.Hash
		}
	}
	if tree == "" {
		return nil
	}
	name := git.ScratchName("index", s.Root)
	x, err := history.OpenIndex(s.Repo.ScratchFile(name), s.stamp)
	if err == nil {
		if t.since, err = t.catchUp(s, x, tree); err == nil {
			t.index = x
			return nil
		}
		x.Close()
	}
	w, err := t.build(s, tree)
	if err != nil {
		return err
	}
	if s.Repo.Remember(name, w.Write) != nil {
		return nil
	}
	t.index, _ = history.OpenIndex(s.Repo.ScratchFile(name), s.stamp)
	return nil
}

// catchUp reads the records that were saved since the index was made. An error says that it does not fit.
func (t *ledgers) catchUp(s *Survey, x *history.Index, tree string) ([]*schema.Record, error) {
	if x.Tree() == tree {
		return nil, nil
	}
	changes, err := s.Repo.TreeDirChanges(x.Tree(), tree)
	if err != nil {
		return nil, err
	}
	if manyAdopt(changes, pathOf) {
		return nil, errNoFit
	}
	var out []*schema.Record
	for _, c := range changes {
		p := path.Join(recordsDir, c.Path)
		switch {
		case strings.HasPrefix(path.Base(p), "."):
			continue
		case c.OldHash != "" || !ordinary(c.NewMode) || len(out) > fewRecords:
			return nil, errNoFit
		}
		r, err := schema.ReadRecordFrom(s.known.Of(s.Before), p)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

var errNoFit = &git.Error{What: "the index of records is of another history"}

// build makes the index of what is saved.
func (t *ledgers) build(s *Survey, tree string) (*history.IndexWriter, error) {
	w, err := history.NewIndexWriter(s.stamp, tree, nil)
	if err != nil {
		return nil, err
	}
	paths := t.hashes[0].paths
	for _, chunk := range chunks(paths, func(p string) string { return p }) {
		records, data := make([]*schema.Record, len(chunk)), make([][]byte, len(chunk))
		if err := schema.AtOnce(len(chunk), func(i int) (err error) {
			if data[i], err = readOnce(s.Before, s.fresher(0, chunk[i]), chunk[i]); err == nil {
				records[i] = schema.ReadRecord(chunk[i], data[i])
			}
			return err
		}); err != nil {
			return nil, err
		}
		w.AddAll(records, data)
	}
	return w, nil
}

// subjects are what the records that are not saved are about.
func (t *ledgers) subjects() map[history.SubjectKey]bool {
	out := map[history.SubjectKey]bool{}
	for _, r := range t.added {
		for _, key := range history.Subjects(r) {
			out[key] = true
		}
	}
	return out
}

// judge says what is in force for some subjects, and for settings, machines and rosters.
func (t *ledgers) judge(s *Survey, subjects map[history.SubjectKey]bool) (*history.Standing, error) {
	if t.index != nil {
		before, err := t.index.Ledger(slices.Collect(maps.Keys(subjects)), t.since)
		if err == nil {
			t.before, t.now = before, before.With(t.added)
		} else { // it would take more than the index knows
			t.index.Close()
			if t.index = nil; t.readAll(s) != nil {
				return nil, err
			}
		}
	}
	return t.now.Judge(cmp.Or(libraryID(s.frames[0]), libraryID(s.frames[1])), s.Anchor), nil
}

// caseOf is the case of the survey without its libraries.
func (t *ledgers) caseOf(s *Survey) Case {
	c := Case{Anchor: s.Anchor, At: s.At, Full: true}
	c.Before = Side{Ledger: t.before, Hashes: map[string]string{}}
	c.Now = Side{Ledger: t.now, Hashes: map[string]string{}, Source: s.Now}
	for side, into := range []*Side{&c.Before, &c.Now} {
		for _, r := range into.Ledger.Records {
			into.Hashes[r.Path] = t.hashes[side].of(r.Path)
		}
	}
	return c
}
