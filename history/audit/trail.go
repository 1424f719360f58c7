package audit

import (
	"errors"
	"slices"
	"strings"

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
	Entries  []Entry // the timeline, oldest first
	commits  []*commit
	persons  persons
	brought  map[string]*commit         // path of a record → the commit that brought it
	first    map[string]string          // path of a record → the content it was saved with
	byCommit map[*commit][]int          // entries that commits made
	decided  map[string][]schema.Digest // condition → every recipe of it that somebody decided on
	approved map[string][]*approval     // condition → what was ever in force, made when first asked for
	versions map[string][]Version       // condition → the recipes that commits made of it
	walked   *walker                    // to read what commits hold

	search *search // nil for all

	everInForce []*signature.Roster // see rosters; made when first asked for
	anchor      string              // as pinned
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
	t := &Trail{Shallow: repo.IsShallow(), brought: map[string]*commit{}, first: map[string]string{}, byCommit: map[*commit][]int{}, versions: map[string][]Version{}}
	rev := o.Rev
	if rev == "" {
		rev = "HEAD"
	}
	head, err := repo.Resolve(rev)
	var snap git.Snapshot
	switch {
	case errors.Is(err, git.ErrUnborn):
		snap = git.Empty()
	case err != nil:
		return nil, err
	default:
		t.Head = head
		if snap, err = repo.Commit(head, root); err != nil {
			return nil, err
		}
	}
	if err := t.readSnapshot(snap, o.Anchor); err != nil {
		return nil, err
	}
	if t.Head == "" {
		return t, nil
	}
	t.search = newSearch(repo, o.IDs)
	if err := t.walk(repo, head, root); err != nil {
		return nil, err
	}
	if t.search != nil {
		t.search.keep()
	}
	t.addRecords()
	slices.SortStableFunc(t.Entries, func(a, b Entry) int {
		if a.pos != b.pos {
			return a.pos - b.pos
		}
		return a.At.Compare(b.At)
	})
	t.explain()
	t.explainOthers()
	return t, nil
}

func (t *Trail) readSnapshot(snap git.Snapshot, anchor string) (err error) {
	t.anchor = anchor
	if t.Library, err = schema.ReadLibrary(snap); err != nil {
		return err
	}
	if t.Ledger, err = history.ReadLedger(snap); err != nil {
		return err
	}
	id := ""
	if set := t.Library.Settings.Value; set != nil {
		id = set.ID.V
	}
	t.Standing = t.Ledger.Judge(id, anchor)
	t.persons = knownPersons(t.Library, t.Standing)
	return nil
}

// walk goes through the commits, parents first.
func (t *Trail) walk(repo *git.Repo, head, root string) error {
	var err error
	if t.commits, err = readGraph(repo, head, root); err != nil {
		return err
	}
	t.Commits = len(t.commits)
	if root = strings.Trim(root, "/"); root != "" {
		root += "/"
	}
	w := &walker{files: newFiles(repo), root: root, paths: map[schema.ID][]string{}, versionsOf: map[string]*other{}, trail: t}
	t.walked = w
	for i, c := range t.commits {
		if i%ahead == 0 {
			if err := w.readAhead(t.commits[i:min(i+ahead, len(t.commits))]); err != nil {
				return err
			}
		}
		if c.edge {
			t.Edges = append(t.Edges, c.hash)
		}
		if err := w.visit(c); err != nil {
			return err
		}
	}
	return nil
}

// visit tells one commit, and lets go of the files that no later commit needs.
func (w *walker) visit(c *commit) error {
	unreadable, err := w.step(c)
	if err != nil {
		return err
	}
	changes, err := w.changes(c)
	if err != nil {
		return err
	}
	t := w.trail
	digests := map[*schema.Values]schema.Digest{nil: ""}
	digest := func(v *schema.Values) schema.Digest {
		if _, ok := digests[v]; !ok {
			digests[v] = v.Digest()
		}
		return digests[v]
	}
	for _, f := range changes {
		e := t.entry(c, kindOf(f.before, f.after))
		e.ID, e.Subject, e.Field, e.From, e.To, e.Others = f.id.String(), schema.SubjectCondition, f.path, f.from, f.to, f.others
		e.Note = (f.from.Path == "" || f.from.Note) && (f.to.Path == "" || f.to.Note)
		e.FromDigest, e.ToDigest = digest(f.before), digest(f.after)
		for _, v := range f.befores {
			e.starts = append(e.starts, digest(v))
		}
		t.add(c, e)
	}
	w.noteVersions(c, changes, digest)
	for _, change := range unreadable {
		e := t.entry(c, Unreadable)
		e.Path = change.Path
		t.add(c, e)
	}
	if err := w.partlyRead(c); err != nil {
		return err
	}
	if err := w.others(c); err != nil {
		return err
	}
	if err := w.dropped(c, changes, digest); err != nil {
		return err
	}
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
	e := Entry{Kind: kind, Commit: c.hash, Committed: c.when, At: c.when, Merge: len(c.parents) > 1, Edge: c.edge, Clock: c.clock(), pos: c.pos}
	if c.entry != nil {
		e.At = c.entry.Author.When
		e.By = t.persons.of(c.entry.Author.Name, c.entry.Author.Email)
		e.Committer = t.persons.of(c.entry.Committer.Name, c.entry.Committer.Email)
		for _, co := range c.entry.CoAuthors {
			name, email, _ := strings.Cut(strings.TrimSuffix(co, ">"), "<")
			e.CoAuthors = append(e.CoAuthors, t.persons.of(strings.TrimSpace(name), email))
		}
	}
	return e
}

func (t *Trail) add(c *commit, e Entry) {
	t.byCommit[c] = append(t.byCommit[c], len(t.Entries))
	t.Entries = append(t.Entries, e)
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
