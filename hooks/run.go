package hooks

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"
	"sync"

	"fettle/history"
	"fettle/history/git"
	"fettle/lint"
	"fettle/schema"
)

// judgeCommit judges the commit that git is about to make, prints what speaks against it, and reports whether it is to be stopped.
// It looks at every library of the repository that the commit touches, as the commit will hold it: edits that are not part of it
// make no difference.
//
// It takes no lock. Where the commit touches no library it comes to its end in a few milliseconds.
func judgeCommit(repo *git.Repo, call Call, act act) (stopped bool, err error) {
	head, branch, _, detached, err := repo.Head()
	if err != nil {
		return false, err
	}
	changes, err := repo.IndexChanged(head)
	if err != nil {
		return false, err
	}
	heads, err := repo.MergeHeads()
	if err != nil {
		return false, err
	}
	if act.finish == "" && len(heads) > 0 {
		act.finish, act.work = "git commit", "the merge"
	}
	r := &running{Call: call, act: act, repo: repo, store: newStore(repo), head: head, heads: heads, changes: changes, makes: true}
	verdicts, err := r.verdicts()
	if err != nil {
		return false, err
	}
	stopped = r.show(verdicts)
	if call.said != nil {
		*call.said = r.summarize(verdicts)
	}
	if !stopped && len(verdicts) > 0 && detached && branch == "" {
		if state, err := repo.State(); err == nil && state == git.StateNone {
			fmt.Fprintln(call.Out, "fettle: this is on no branch and easily lost; give it one: git switch -c NAME")
		}
	}
	return stopped, nil
}

// verdicts judges every library that is touched.
func (r *running) verdicts() ([]*verdict, error) {
	roots, err := r.roots()
	if err != nil || len(roots) == 0 {
		return nil, err
	}
	anchor := sync.OnceValues(func() (string, error) {
		value, _, err := r.repo.Config("fettle.anchor")
		return value, err
	})
	asked := make(chan struct{})
	go func() { // a child of its own, so it runs while the library is read
		defer close(asked)
		anchor()
	}()
	defer func() { <-asked }()
	if len(roots) == 1 && len(r.heads) == 0 && r.head != "" && !r.pushed {
		v, err := r.quick(roots[0], func(func(schema.Digest) bool) (string, error) { return anchor() }, nil)
		if err != nil {
			return nil, err
		}
		if v != nil {
			if afterQuick != nil {
				afterQuick(r, v)
			}
			return []*verdict{v}, nil
		}
		if v, err = r.overall(roots[0], anchor); err != nil {
			return nil, err
		}
		if v != nil {
			if afterQuick != nil {
				afterQuick(r, v)
			}
			return []*verdict{v}, nil
		}
	}
	libraries, err := r.libraries(roots)
	pin, wrong := anchor()
	if err = errors.Join(err, wrong); err != nil {
		return nil, err
	}
	var out []*verdict
	for _, l := range libraries {
		v, err := r.judge(l, pin)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, nil
}

// show prints what there is to say and reports whether anything stops the act.
func (r *running) show(verdicts []*verdict) (stopped bool) {
	out := &screen{w: r.Out, left: screenLines}
	for _, v := range verdicts {
		if r.print(out, v) {
			stopped = true
		}
	}
	return stopped
}

// running is what one call knows.
type running struct {
	Call
	act
	repo    *git.Repo
	store   *store
	head    string   // "" before the first commit
	heads   []string // what is merged into it
	changes []git.Change

	makes  bool // what is remembered is made where it is missing
	pushed bool // a gate judges what was saved elsewhere: there is no commit under way, and no disk to look at

	partsFrom int // see there; of a gate
	brief     bool
	protected bool // the branch is
}

// roots are the directories that may hold a library that the commit touches: wherever a changed path is named like a part of one.
// In a merge, what the other side changed counts too, since leaving its records out changes nothing against the last commit.
func (r *running) roots() ([]string, error) {
	seen := map[string]bool{}
	look := func(changes []git.Change) {
		for _, c := range changes {
			for i, part := range strings.Split(c.Path, "/") {
				if slices.Contains(git.Parts, part) || likeAPart(part) != "" {
					seen[strings.Join(strings.Split(c.Path, "/")[:i], "/")] = true
				}
			}
		}
	}
	look(r.changes)
	for _, other := range r.heads {
		changes, err := r.repo.ChangedPaths(r.head, other)
		if err != nil {
			return nil, err
		}
		look(changes)
	}
	var roots []string
	for root := range seen {
		roots = append(roots, root)
	}
	slices.Sort(roots)
	return roots, nil
}

// A library is one library before and after the commit.
type library struct {
	root    string // from the top of the work tree, with slashes
	changed []string
	before  *tree
	now     *tree
	parents []*tree
	clashes []lint.Finding

	prepare preparation // may be nil
	bearing *narrowing  // nil where all sets are read
}

// A preparation completes a case before it is judged.
type preparation func(*Case, *history.Standing) error

// id is the identity of the library, by which records know it. It stays what it was: a commit that changes it would leave every
// record behind.
func (l *library) id() string { return cmp.Or(l.before.settingsID(), l.now.settingsID()) }

// libraries tells the roots that hold a library from the others, and reads what is needed of them.
func (r *running) libraries(roots []string) ([]*library, error) {
	var all []*library
	for _, root := range roots {
		l, err := r.library(root)
		if err != nil {
			return nil, err
		}
		if l != nil {
			all = append(all, l)
		}
	}
	var trees []*tree
	for _, l := range all {
		trees = append(append(trees, l.before, l.now), l.parents...)
	}
	if err := r.store.fill(settings, trees...); err != nil {
		return nil, err
	}
	return r.moved(all), nil
}

// library is nil where no side has settings in that directory.
func (r *running) library(root string) (*library, error) {
	before, err := r.store.saved(r.head, root)
	if err != nil {
		return nil, err
	}
	l := &library{root: root, before: before}
	is := before.ids[schema.SettingsFile] != ""
	for _, other := range r.heads {
		t, err := r.store.saved(other, root)
		if err != nil {
			return nil, err
		}
		l.parents = append(l.parents, t)
		is = is || t.ids[schema.SettingsFile] != ""
	}
	for _, c := range r.changes {
		if p, ok := inLibrary(root, c.Path); ok {
			l.changed = append(l.changed, c.Path)
			is = is || p == schema.SettingsFile && c.NewHash != ""
		}
	}
	if !is {
		return nil, nil
	}
	if l.now, err = r.store.coming(r.head, root, r.changes); err != nil {
		return nil, err
	}
	l.clashes = clashes(root, r.changes, maps.Keys(l.now.ids))
	return l, nil
}

// moved joins a library that is gone from one directory and there in another: it is the same one, and its records are not lost.
func (r *running) moved(all []*library) []*library {
	gone := func(l *library) bool { return len(l.now.ids) == 0 && len(l.before.ids) > 0 }
	for _, l := range all {
		if l.before.ids[schema.SettingsFile] != "" || l.now.ids[schema.SettingsFile] == "" {
			continue
		}
		for i, old := range all {
			if gone(old) && old.before.settingsID() != "" && old.before.settingsID() == l.now.settingsID() {
				l.before, l.parents = old.before, append(l.parents, old.parents...)
				all = slices.Delete(slices.Clone(all), i, i+1)
				return r.moved(all)
			}
		}
	}
	return all
}

// judge comes to the verdict on one library, by the sets that bear on it where these suffice.
func (r *running) judge(l *library, anchor string) (v *verdict, err error) {
	if l.bearing, err = r.narrow(l); err != nil {
		return nil, err
	}
	if v, err = r.inParts(l, anchor); err != nil || v != nil {
		return v, err
	}
	if v, err = r.inLots(l, anchor, fewSets, inOneLot); v != nil || err != nil {
		return v, err
	}
	if v, err = r.judgeRead(l, anchor); err != nil || l.bearing == nil {
		return v, err
	}
	if !l.bearing.suffices(&v.Case) {
		l.bearing = nil
		return r.judgeRead(l, anchor)
	}
	if afterNarrow != nil {
		afterNarrow(r, v)
	}
	return v, nil
}

// afterNarrow is for tests, which hold every such verdict to the one from all sets.
var afterNarrow func(*running, *verdict)

// judgeRead comes to the verdict by what of a library is to be read. Records and conditions are read side by side: a person waits for this.
func (r *running) judgeRead(l *library, anchor string) (*verdict, error) {
	type judged struct {
		ledger   *history.Ledger
		standing *history.Standing
		err      error
	}
	records := make(chan judged, 1)
	go func() {
		ledger, err := r.store.ledger(l.now)
		if err != nil {
			records <- judged{err: err}
			return
		}
		records <- judged{ledger, ledger.Judge(l.id(), anchor), nil}
	}()
	c, err := r.readCase(l)
	now := <-records // also after an error: it must not go on reading when the repository is closed
	if err = errors.Join(err, now.err); err != nil {
		return nil, err
	}
	if err := r.store.tooLarge(l); err != nil {
		return nil, err
	}
	c.Anchor, c.At, c.standing = anchor, r.At, now.standing
	c.Now.Ledger = now.ledger
	for _, t := range append([]*tree{l.before}, l.parents...) {
		side, err := r.store.side(t, l.bearing)
		if err != nil {
			return nil, err
		}
		if t == l.before {
			c.Before = side
		} else {
			c.Parents = append(c.Parents, side)
		}
	}
	if l.prepare != nil {
		if err := l.prepare(&c, now.standing); err != nil {
			return nil, err
		}
	}
	v := &verdict{library: l, running: r, Case: c, Report: Examine(c)}
	v.Report.add(l.clashes)
	if r.pushed {
		return v, nil
	}
	if len(v.unreasoned()) > 0 && len(r.heads) == 0 && r.head != "" {
		if v.Case.Amended, err = r.amended(l); err != nil {
			return nil, err
		}
		v.Case.Explained = func(d history.Difference) bool { return r.madeAgain(r.store, l, &v.Case, d, v.Standing) }
		v.Report = Examine(v.Case)
		v.Report.add(l.clashes)
	}
	v.oversights()
	return v, nil
}

// madeAgain reports whether a change is a step that was explained elsewhere and is made again here, as a rebase or a cherry-pick does.
func (r *running) madeAgain(s *store, l *library, c *Case, d history.Difference, standing *history.Standing) bool {
	edges := c.Now.Ledger.Edges(schema.SubjectCondition, d.ID.String())
	if d.After == nil || !slices.ContainsFunc(edges, c.fresh) {
		return false
	}
	from, to := d.Digests()
	starts := []schema.Digest{from}
	for _, side := range c.Amended {
		starts = append(starts, digestIn(side.Lib, d.ID))
	}
	if inForce, ok := standing.Condition(d.ID).Digest(); ok {
		starts = append(starts, inForce)
	}
	ways := history.Ways{Edges: edges, Starts: starts, Fresh: c.fresh}
	ways.Steps = func() ([]history.Step, error) { return s.stepsOf(r.head, l.root, d.After) }
	leads, err := ways.Lead(values(d.After), to)
	return err == nil && leads
}

// readCase reads what the commit will hold but for its records.
func (r *running) readCase(l *library) (c Case, err error) {
	c.Now.Source, c.Now.Hashes = l.now, map[string]string{}
	for p, id := range l.now.ids {
		if schema.IsRecordPath(p) {
			c.Now.Hashes[p] = id
		}
	}
	c.Now.Lib, err = r.store.part(l.now, l.bearing)
	return c, err
}

// amended are the parents of the last commit, which a commit that amends it follows; the empty library where it is the first.
func (r *running) amended(l *library) ([]Side, error) {
	trees, err := r.amendedTrees(l)
	if err != nil {
		return nil, err
	}
	var sides []Side
	for _, t := range trees {
		side, err := r.store.side(t, l.bearing)
		if err != nil {
			return nil, err
		}
		sides = append(sides, side)
	}
	return sides, nil
}

// amendedTrees are the parents of the last commit, the empty library where it is the first.
func (r *running) amendedTrees(l *library) ([]*tree, error) {
	parents, err := r.repo.Parents(r.head)
	if err != nil {
		return nil, err
	}
	if len(parents) == 0 {
		parents = []string{""}
	}
	var out []*tree
	for _, commit := range parents {
		t, err := r.store.saved(commit, l.root)
		if err != nil {
			return nil, err
		}
		out = append(out, t)
	}
	return out, nil
}

// full is a path of the library as it is named from the top of the work tree.
func (l *library) full(p string) string { return path.Join(l.root, p) }
