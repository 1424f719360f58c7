package audit

import (
	"cmp"
	"errors"
	"slices"
	"strings"
	"sync"
	"weak"

	"fettle/history"
	"fettle/history/git"
	"fettle/history/signature"
	"fettle/schema"
)

// Options say which history is read.
type Options struct {
	Rev    string // how it stands there; HEAD when empty
	Anchor string // the adoption that this clone pins, "" for the only one there is

	// IDs restrict the timeline to some conditions: what [Trail.Select] tells of them is all that it then can tell. Nil is all.
	IDs []schema.ID

	// Records gives what is on record of some subjects, as [history.Index.Ledger] does, of the same commit. With IDs it is asked in place of
	// reading all records, and Library, Ledger and Standing then hold no more than the timeline takes. Nil has all read.
	Records func([]history.SubjectKey) (*history.Ledger, error)

	// Kept has what earlier readings kept below the directory of git used, and kept again for the next. It never changes what is told, as
	// long as nobody forged what lies there; without it all is read anew. The Library then holds no sets: a timeline takes none of today's.
	Kept bool

	// Apart leaves the sets of the commit out of the Library, too: [Trail.Verify] then reads a few at a time.
	Apart bool

	// Passing has nothing kept of it: nobody will ask for just these conditions again.
	Passing bool
}

// A Trail is all that commits and records say of how a library came to be what it is at one revision.
type Trail struct {
	Head     string // the commit; "" where nothing was saved yet
	Commits  int    // that lead to it
	Shallow  bool   // older history is not in this clone
	Edges    []string
	Library  *schema.Library
	Ledger   *history.Ledger
	Standing *history.Standing
	commits  []*commit
	persons  persons
	brought  map[string]*commit     // path of a record → the commit that brought it
	first    map[string]string      // path of a record → the content it was saved with
	sources  map[string][]source    // condition → what keeps recipes of it
	approved map[string][]*approval // condition → what was ever in force, made when first asked for
	walked   *walker                // to read what commits hold
	told     []told                 // the timeline
	places   []int32                // of what is about conditions, where in it, by condition; see placesOf
	wrong    error                  // see Err
	apart    git.Snapshot           // what of it the library does not hold, see Options
	fields   map[schema.Field]*schema.Field
	once     sync.Once // for what follows
	entries  []Entry

	search *search                     // nil for all
	asked  map[history.SubjectKey]bool // of the records, nil where all were read

	opened      []*approval         // of which it is at hand what they consist of
	everInForce []*signature.Roster // see rosters; made when first asked for
	kept        bool                // see Options
	anchor      string              // as pinned
	near        *history.Ledger     // what bears on the condition that was asked about last, see StandingAt
	nearTo      string
	stood       map[int64]*history.Standing
}

// Fields returns the timeline of a library: what of it passes the filter, oldest first. The root is the directory of the library
// from the top of the work tree, "" where it is the top. The error is about reading the repository.
func Fields(repo *git.Repo, root string, o Options, f Filter) ([]Entry, error) {
	t, err := Read(repo, root, o)
	if err != nil {
		return nil, err
	}
	return t.Select(f), nil
}

// Read reads the whole trail of a library that stands in the directory root from the top of the work tree.
func Read(repo *git.Repo, root string, o Options) (*Trail, error) {
	repo = repo.AsWritten() // nothing beside the history changes what it says
	t := &Trail{Shallow: repo.IsShallow(), brought: map[string]*commit{}, first: map[string]string{}, fields: map[schema.Field]*schema.Field{}, kept: o.Kept && !repo.IsShallow()}
	rev := o.Rev
	if rev == "" {
		rev = "HEAD"
	}
	head, err := repo.Resolve(rev)
	if errors.Is(err, git.ErrUnborn) {
		return t, t.readSnapshot(git.Empty(), o)
	}
	if err != nil {
		return nil, err
	}
	t.Head, t.search = head, newSearch(repo, o.IDs)
	keep := func() {}
	commits := sync.OnceValues(func() (list []*commit, err error) {
		list, keep, err = readGraph(repo, head, root, t.kept, t.search != nil)
		return list, err
	})
	go commits() // they are listed while the records are read
	if err := t.readHead(repo, root, o); err != nil {
		_, _ = commits() // nothing reads on when this returns
		return nil, err
	}
	if t.commits, err = commits(); err != nil {
		return nil, err
	}
	var kept sync.WaitGroup
	kept.Go(keep)
	defer kept.Wait()
	if err := t.walk(repo, root, o.Passing); err != nil {
		return nil, err
	}
	t.hearTold()
	records := len(t.told)
	t.addRecords()
	t.arrange(records)
	t.readDecisions()
	t.explainOthers()
	return t, t.wrong
}

// readHead reads what the commit holds by which all others are told.
func (t *Trail) readHead(repo *git.Repo, root string, o Options) error {
	if t.search != nil && o.Records != nil {
		if enough, err := t.readBriefly(repo, root, o); enough || err != nil {
			return err
		}
	}
	snap, err := repo.Commit(t.Head, root)
	if err != nil {
		return err
	}
	return t.readSnapshot(snap, o)
}

func (t *Trail) readSnapshot(snap git.Snapshot, o Options) (err error) {
	t.anchor = o.Anchor
	src := schema.Source(snap)
	if o.Kept || o.Apart {
		src = withoutSets{snap}
	}
	if o.Apart {
		t.apart = snap
	}
	if t.Library, err = schema.ReadLibrary(src); err != nil {
		return err
	}
	if t.Ledger, err = history.ReadLedgerSparing(snap); err != nil {
		return err
	}
	id := ""
	if set := t.Library.Settings.Value; set != nil {
		id = set.ID.V
	}
	t.Standing = t.Ledger.Judge(id, o.Anchor)
	t.persons = knownPersons(t.Library, t.Standing)
	return nil
}

// withoutSets is a library of which nobody asks what its conditions are.
type withoutSets struct{ git.Snapshot }

func (s withoutSets) Files() []string { return slices.DeleteFunc(s.Snapshot.Files(), isSet) }

// walk goes through the commits, parents first.
func (t *Trail) walk(repo *git.Repo, root string, passing bool) error {
	t.Commits = len(t.commits)
	if root = strings.Trim(root, "/"); root != "" {
		root += "/"
	}
	w := &walker{files: newFiles(repo), root: root, paths: whereabouts{}, remembered: map[string]weak.Pointer[schema.ID]{}, versionsOf: map[string]*other{}, trail: t}
	t.walked = w
	var covered []bool
	if t.kept {
		covered = w.recallTimeline()
	}
	if covered == nil {
		covered = make([]bool, len(t.commits))
	}
	open := slices.DeleteFunc(slices.Clone(t.commits), func(c *commit) bool { return covered[c.pos] })
	fresh := len(open)
	if t.search != nil && t.kept && fresh > 0 {
		t.search.recall()
		defer t.search.keep()
	}
	if t.search != nil && fresh > 0 {
		if err := t.search.read(setsOf(open, root)); err != nil {
			return err
		}
	}
	for _, c := range t.commits {
		if c.edge {
			t.Edges = append(t.Edges, c.hash)
		}
		look := w.visit
		if covered[c.pos] {
			look = w.replay
		} else if (fresh-len(open))%ahead == 0 {
			if err := w.readAhead(open[:min(ahead, len(open))]); err != nil {
				return err
			}
		}
		if err := look(c); err != nil {
			return err
		}
		if !covered[c.pos] {
			open = open[1:]
		}
	}
	if t.search == nil { // what is told hardly asks for any of them again
		w.forget()
	}
	if t.kept && !passing && (fresh == len(t.commits) || fresh > fewCommits) {
		w.keepTimeline()
	}
	if t.search == nil {
		w.paths, w.remembered = nil, nil
	}
	return nil
}

// visit tells one commit.
func (w *walker) visit(c *commit) error {
	unreadable, err := w.step(c)
	if err != nil {
		return err
	}
	t := w.trail
	own := map[[2]string]bool{} // what a merge made itself
	if err := w.changes(c, func(changes []fieldChange) {
		f := changes[0]
		m := &move{commit: c, kind: kindOf(f.before, f.after), id: f.id.String(), from: digestOf(f.before), to: digestOf(f.after)}
		if len(f.befores) > 1 {
			m.rare = &rarely{starts: []schema.Digest{m.from}}
			for _, v := range f.befores[1:] {
				m.rare.starts = append(m.rare.starts, digestOf(v))
			}
		}
		if f.after != nil {
			m.blob, m.settings = w.standing(c.state, f.id), c.state.settings
		}
		if m.kind == Removed && len(c.parents) == 1 {
			m.rare = &rarely{gone: w.standing(c.before(0), f.id), mixed: c.before(0).settings}
		}
		gone, _ := m.gone()
		if f.whole() {
			if m.kind == New && m.blob != "" || gone != "" {
				t.tell(c, told{move: m})
				return
			}
			changes = f.each()
		}
		for _, f := range changes {
			e := told{move: m, from: t.field(f.from), to: t.field(f.to)}
			if len(c.parents) > 1 {
				e.rest, own[[2]string{m.id, f.path}] = &rest{others: f.others}, true
			}
			t.tell(c, e)
		}
	}); err != nil {
		return err
	}
	if t.search == nil {
		for _, change := range unreadable {
			e := t.entry(c, Unreadable)
			e.Path = change.Path
			t.add(c, e)
		}
		if err := w.partlyRead(c); err != nil {
			return err
		}
	}
	if err := w.others(c); err != nil {
		return err
	}
	if err := w.dropped(c, own); err != nil {
		return err
	}
	return w.leave(c)
}

// replay tells one commit as it was told before.
func (w *walker) replay(c *commit) error {
	t, k := w.trail, c.kept
	if k == nil {
		k = &kept{}
	}
	threw := slices.IndexFunc(k.told, func(e told) bool { return e.move.kind == Dropped })
	if threw < 0 {
		threw = len(k.told)
	}
	for _, e := range k.told[:threw] {
		t.tell(c, e)
	}
	for _, f := range k.files {
		e := t.entry(c, f.kind)
		e.Path = f.path
		t.add(c, e)
	}
	if err := w.others(c); err != nil {
		return err
	}
	for _, e := range k.told[threw:] {
		t.tell(c, e)
	}
	return w.leave(c)
}

// leave tells the records of a commit, and lets go of the files that no later commit needs.
func (w *walker) leave(c *commit) error {
	if err := w.records(c); err != nil {
		return err
	}
	for _, p := range c.parents {
		if p.children--; p.children == 0 {
			p.state, p.others = nil, nil
		}
	}
	return nil
}

// digestOf is the digest of a recipe, "" where there is none.
func digestOf(v *schema.Values) schema.Digest {
	if v == nil {
		return ""
	}
	return v.Digest()
}

func kindOf(before, after *schema.Values) string {
	switch {
	case before == nil:
		return New
	case after == nil:
		return Removed
	}
	return Changed
}

// entry begins an entry about a commit.
func (t *Trail) entry(c *commit, kind string) Entry {
	said := t.said(c)
	e := Entry{Kind: kind, Commit: c.hash, Committed: said.Committer.When, At: said.Author.When, Merge: len(c.parents) > 1, Edge: c.edge, Clock: c.clock(), pos: c.pos}
	e.By = t.persons.of(said.Author.Name, said.Author.Email)
	e.Committer = t.persons.of(said.Committer.Name, said.Committer.Email)
	for _, co := range said.CoAuthors {
		name, email, _ := strings.Cut(strings.TrimSuffix(co, ">"), "<")
		e.CoAuthors = append(e.CoAuthors, t.persons.of(strings.TrimSpace(name), email))
	}
	return e
}

// said is what a commit says of itself. Where it cannot be read the timeline is not whole, see [Trail.Err].
func (t *Trail) said(c *commit) *git.LogEntry {
	if c.said == nil {
		t.hear([]*commit{c})
	}
	return c.said
}

// hear reads what some commits say of themselves.
func (t *Trail) hear(commits []*commit) {
	var silent []*commit
	var hashes []string
	for _, c := range commits {
		if c.said == nil {
			c.said = &git.LogEntry{Hash: c.hash}
			silent, hashes = append(silent, c), append(hashes, c.hash)
		}
	}
	err := t.walked.repo.Said(hashes, func(i int, e git.LogEntry) {
		e.Message, e.Subject = "", ""
		*silent[i].said = e
	})
	t.wrong = cmp.Or(t.wrong, err)
}

// hearTold has at once what those commits say of themselves that are told of.
func (t *Trail) hearTold() {
	var commits []*commit
	for _, e := range t.told {
		if e.move != nil {
			commits = append(commits, e.move.commit)
		}
	}
	for _, r := range t.Ledger.Records {
		if c := t.brought[r.Path]; c != nil {
			commits = append(commits, c)
		}
	}
	t.hear(commits)
}

// persons knows people by the names that the library gives them, each in lower case.
type persons map[string]string

func knownPersons(lib *schema.Library, standing *history.Standing) persons {
	known := persons{}
	add := func(r *signature.Roster) {
		for _, name := range r.Principals() {
			known[strings.ToLower(name)] = name
		}
	}
	for _, data := range [][]byte{lib.Roster, lib.People} {
		r, _ := signature.ParseRoster("", data)
		add(r)
	}
	add(standing.Roster)
	add(standing.People)
	return known
}

func (p persons) of(name, email string) Person {
	who := Person{Name: name, Email: email, Principal: p[strings.ToLower(email)]}
	if who.Principal == "" {
		who.Principal = p[strings.ToLower(name)]
	}
	return who
}
