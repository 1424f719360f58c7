package hooks

import (
	"maps"
	"slices"
	"sync"

	"fettle/history"
	"fettle/history/git"
	"fettle/lint"
	"fettle/schema"
)

// inLots judges a commit on which more than few sets bear, so many of them at a time as size says. What it says and what it refuses is what
// [running.judgeRead] would by all of them. It is nil where the commit is smaller, and where only all sets can tell: it is a merge, saved
// records are altered or taken back, a reason comes without its edit, or what is judged hangs on the names of all families.
func (r *running) inLots(l *library, anchor string, few, size int) (*verdict, error) {
	n := l.bearing
	if n == nil || n.takesBack || r.pushed || r.head == "" || len(r.heads)+len(l.parents) > 0 || l.prepare != nil {
		return nil, nil
	}
	for p, id := range l.before.ids {
		if schema.IsRecordPath(p) && l.now.ids[p] != id {
			return nil, nil
		}
	}
	lots := n.lots(l, few, size)
	if lots == nil {
		return nil, nil
	}
	lookup, err := OpenLookup(r.repo, l.root)
	if err != nil { // the whole library says why
		return nil, nil
	}
	defer lookup.Close()
	j := &judging{running: r, library: l, lookup: lookup, frame: newStore(r.repo), records: map[string]*schema.Record{}, beside: map[[3]string]bool{},
		contents: map[*schema.File]string{}}
	j.amends, j.left = sync.OnceValues(func() ([]*tree, error) { return r.amendedTrees(l) }), sync.OnceValue(j.leftOut)
	j.out = &verdict{library: l, running: r, Case: Case{Anchor: anchor, At: r.At}, inTurn: &inTurn{}}
	for _, t := range []*tree{l.before, l.now} {
		if j.out.Case.Now.Lib, err = j.read(j.frame, t, func(string) bool { return false }); err != nil {
			return nil, err
		}
	}
	for i := range lots {
		if told, err := j.judge(&lots[i]); !told || err != nil {
			return nil, err
		}
	}
	return j.finish()
}

// inTurn is what a verdict by lots knows instead of its case.
type inTurn struct {
	reasons []*schema.Record // that come along, in the order of the conditions that they explain
	notes   []string         // on decisions that count for nothing
}

// judging goes through the lots of a commit.
type judging struct {
	*running
	*library
	lookup   *Lookup
	frame    *store                    // what is neither set nor record
	records  map[string]*schema.Record // that come along, as far as the last lot needed them
	amends   func() ([]*tree, error)   // parents of the last commit, see [running.amended]
	left     func() []*schema.Record   // reasons that are written and not part of the commit
	beside   map[[3]string]bool        // findings that are on nothing in a set: every lot has them
	contents map[*schema.File]string   // ids of files that findings point into
	out      *verdict
}

// read reads a state of the library with some of its sets.
func (j *judging) read(s *store, t *tree, set func(p string) bool) (*schema.Library, error) {
	some := &tree{s, map[string]string{}}
	for p, id := range t.ids {
		if !schema.IsRecordPath(p) && (!isSet(p) || set(p)) {
			some.ids[p] = id
		}
	}
	if err := s.fill(all, some); err != nil {
		return nil, err
	}
	for p, id := range some.ids {
		if t == j.now && s.content[id] == nil { // see [store.tooLarge]
			return nil, git.TooLarge(j.full(p))
		}
	}
	return schema.ReadLibrary(s.known.Of(some))
}

// coming reads the new records that a lot asks for.
func (j *judging) coming(x *lot) ([]*schema.Record, error) {
	var out []*schema.Record
	kept := map[string]*schema.Record{}
	for i := range j.bearing.borne {
		b := &j.bearing.borne[i]
		if !x.asks(b) {
			continue
		}
		r := j.records[b.path]
		if r == nil {
			data, err := j.repo.PastBlob(j.now.ids[b.path])
			if err != nil {
				return nil, err
			}
			if data == nil {
				return nil, git.TooLarge(j.full(b.path))
			}
			r = schema.ReadRecord(b.path, data)
		}
		out, kept[b.path] = append(out, r), r
	}
	j.records = kept
	return out, nil
}

// caseOf reads a lot before and after; nil where that cannot tell.
func (j *judging) caseOf(x *lot, s *store) (*Case, error) {
	c := &Case{Anchor: j.out.Case.Anchor, At: j.At, about: x.holds}
	var err error
	set := func(p string) bool { return x.paths[p] }
	if c.Now.Lib, err = j.read(s, j.now, set); err != nil {
		return nil, err
	}
	if c.Before.Lib, err = j.read(s, j.before, set); err != nil {
		return nil, err
	}
	added, err := j.coming(x)
	if err != nil {
		return nil, err
	}
	asked := map[family]bool{}
	maps.Copy(asked, x.families)
	for i := range j.bearing.borne {
		if b := &j.bearing.borne[i]; x.asks(b) { // what it says of others is judged, too
			maps.Copy(asked, b.families)
		}
	}
	var keys []history.SubjectKey
	for f := range asked {
		keys = append(keys, history.OfSet(f.machine, f.material, f.gas))
	}
	if c.Before.Ledger, err = j.lookup.Ledger(keys, nil); err != nil { // all records can tell
		return nil, nil
	}
	c.Now.Ledger, c.Now.Source = c.Before.Ledger.With(added), j.now
	c.Before.Hashes, c.Now.Hashes = map[string]string{}, map[string]string{}
	for _, r := range c.Now.Ledger.Records {
		c.Now.Hashes[r.Path] = j.now.ids[r.Path]
		if id := j.before.ids[r.Path]; id != "" {
			c.Before.Hashes[r.Path] = id
		}
	}
	c.standing = c.Now.Ledger.Judge(j.id(), c.Anchor)
	return c, nil
}

// judge judges a lot. It is false where only all sets can tell.
func (j *judging) judge(x *lot) (told bool, err error) {
	s := newStore(j.repo)
	s.content, s.known, s.listed = maps.Clone(j.frame.content), j.frame.known.Clone(), j.store.listed
	c, err := j.caseOf(x, s)
	if c == nil || err != nil {
		return false, err
	}
	if !j.bearing.suffices(c) {
		return false, nil
	}
	v := &verdict{library: j.library, running: j.running, Case: *c, Report: Examine(*c)}
	open := v.unreasoned()
	if len(open) > 0 {
		again, err := j.amendedIn(x, s, v)
		if err != nil {
			return false, err
		}
		if again {
			v.Report = Examine(v.Case)
			open = v.unreasoned()
		}
	}
	if len(v.strayReasons()) > 0 {
		return false, nil
	}
	if len(open) > 0 {
		if extra := j.left(); len(extra) > 0 {
			v.findReasons(open, extra)
		}
	}
	j.take(x, v)
	return true, nil
}

// amendedIn completes the case of a lot by the parents of the last commit, as [running.judgeRead] does. It is false where that changes nothing.
func (j *judging) amendedIn(x *lot, s *store, v *verdict) (bool, error) {
	trees, err := j.amends()
	if err != nil {
		return false, err
	}
	other := false
	for _, t := range trees {
		if err := j.bearing.learn(t); err != nil {
			return false, err
		}
		set := func(p string) bool { return x.families[j.bearing.of[t.ids[p]]] }
		for p := range t.ids {
			other = other || isSet(p) && set(p) && j.before.ids[p] != t.ids[p]
		}
		for p := range x.paths {
			other = other || t.ids[p] != j.before.ids[p]
		}
		if !other {
			continue
		}
		lib, err := j.read(s, t, set)
		if err != nil {
			return false, err
		}
		v.Case.Amended = append(v.Case.Amended, Side{Lib: lib})
	}
	explained := slices.ContainsFunc(v.unreasoned(), func(c lint.Change) bool {
		return slices.ContainsFunc(v.Case.Now.Ledger.Edges(schema.SubjectCondition, c.ID.String()), v.Case.fresh)
	})
	if explained {
		v.Case.Explained = func(d history.Difference) bool { return j.madeAgain(s, j.library, &v.Case, d, v.Standing) }
	}
	return other || explained, nil
}

// leftOut are the reasons on disk that are no part of the commit. They only serve for advice: what cannot be read gives none.
func (j *judging) leftOut() []*schema.Record {
	var out []*schema.Record
	if snap, err := j.repo.WorkTree(j.root); err == nil {
		for _, p := range snap.Files() {
			if !schema.IsRecordPath(p) || j.now.ids[p] != "" {
				continue
			}
			if r, err := schema.ReadRecordFrom(snap, p); err == nil && r.Kind == schema.KindReason && history.Sound(r) {
				out = append(out, r)
			}
		}
	}
	return out
}

// take keeps of the verdict on a lot what is said at the end, and nothing that holds on to the sets.
func (j *judging) take(x *lot, v *verdict) {
	out := j.out
	out.Standing = v.Standing
	for _, f := range v.Report.Findings {
		if f.Old || f.Severity < lint.Warning {
			continue
		}
		if !x.paths[f.Path] {
			what := [3]string{f.Rule, f.Path, f.Message}
			if j.beside[what] {
				continue
			}
			j.beside[what] = true
		}
		if f.File != nil {
			id := j.now.ids[f.File.Path]
			if now := v.Case.Now.Lib.File(f.File.Path); now == nil || !sameBytes(now.Data, f.File.Data) {
				id = j.before.ids[f.File.Path]
			}
			f.File = &schema.File{Path: f.File.Path}
			j.contents[f.File] = id
		}
		out.Report.Findings = append(out.Report.Findings, f.Apart())
	}
	for _, c := range v.Report.Changes {
		kept := lint.Change{ID: c.ID.Apart(), Status: c.Status, Reasoned: c.Reasoned}
		if c.Approved != nil {
			kept.Approved = &schema.Values{}
		}
		out.Report.Changes = append(out.Report.Changes, kept)
	}
	for i, d := range v.Report.Differences {
		kept := history.Difference{ID: d.ID.Apart(), NoteOnly: d.NoteOnly}
		if d.Before != nil {
			kept.Before = &schema.Recipe{}
		}
		if d.After != nil {
			kept.After = &schema.Recipe{}
		}
		if i < foretold {
			kept.Fields = d.Fields
		}
		out.Report.Differences = append(out.Report.Differences, kept)
	}
	for _, r := range v.reasons() {
		if !slices.ContainsFunc(out.inTurn.reasons, func(known *schema.Record) bool { return known.Path == r.Path }) {
			out.inTurn.reasons = append(out.inTurn.reasons, r)
		}
	}
	for _, note := range v.refusedNotes(v.Standing) {
		if !slices.Contains(out.inTurn.notes, note) {
			out.inTurn.notes = append(out.inTurn.notes, note)
		}
	}
	out.left = append(out.left, v.left...)
}

// sameBytes reports whether two contents are one and the same in memory.
func sameBytes(a, b []byte) bool { return len(a) == len(b) && (len(a) == 0 || &a[0] == &b[0]) }

// finish puts together what was taken from the lots.
func (j *judging) finish() (*verdict, error) {
	out := j.out
	slices.SortStableFunc(out.Report.Changes, func(a, b lint.Change) int { return a.ID.Compare(b.ID) })
	slices.SortStableFunc(out.Report.Differences, func(a, b history.Difference) int { return a.ID.Compare(b.ID) })
	slices.Sort(out.inTurn.notes)
	out.Report.Findings = append(out.Report.Findings, j.clashes...)
	out.Report.sort()
	return out, j.showFiles()
}

// showFiles reads the files again that those findings point into that are shown.
func (j *judging) showFiles() error {
	var shown [3]int // of those to mend, of those that lack a reason, and of warnings
	for i := range j.out.Report.Findings {
		f := &j.out.Report.Findings[i]
		rank := 2
		if f.Severity == lint.Error {
			rank = urgency(*f)
		}
		if shown[rank]++; shown[rank] > most || f.File == nil || j.contents[f.File] == "" {
			continue
		}
		data, err := j.repo.PastBlob(j.contents[f.File])
		if err != nil {
			return err
		}
		f.File.Data = data
	}
	return nil
}
