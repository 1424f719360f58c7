package hooks

import (
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"
	"sync"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
)

// A store reads contents from the repository, none of them twice, and parses a file once however many snapshots hold it: what a
// commit will hold and what it follows are nearly the same, and all records of both are needed.
type store struct {
	repo   *git.Repo
	known  *schema.Known                     // files and records that were read, by path and id
	listed map[string]map[string][]git.Entry // by commit and root
	pasts  map[pastAt]*past
	spare  *history.Sparing // of a gate: all records that were read, in little room; nil where these are among what is known

	mu      sync.RWMutex
	content map[string][]byte // by id; nil for what is too large to read, which counts as a file that holds nothing
}

func newStore(repo *git.Repo) *store {
	return &store{repo: repo, content: map[string][]byte{}, known: schema.NewKnown(), listed: map[string]map[string][]git.Entry{}}
}

// A tree is the files of one library at one moment. Its content is in the store.
type tree struct {
	store *store
	ids   map[string]string // path from the root of the library → id of the content
}

func (t *tree) Files() []string      { return slices.Sorted(maps.Keys(t.ids)) }
func (t *tree) Hash(p string) string { return t.ids[p] }
func (t *tree) Read(p string) ([]byte, error) {
	t.store.mu.RLock()
	data, ok := t.store.content[t.ids[p]]
	t.store.mu.RUnlock()
	if !ok {
		if t.ids[p] == "" {
			return nil, fmt.Errorf("%s is not there", p)
		}
		return t.store.repo.PastBlob(t.ids[p]) // as a single record, of which the others were let go
	}
	return data, nil
}

// needed reports whether a file of a library is looked at for a verdict.
func needed(p string) bool {
	switch {
	case p == schema.SettingsFile, p == schema.RosterFile, p == schema.PeopleFile, schema.IsRecordPath(p):
		return true
	}
	return (strings.HasPrefix(p, "machines/") || strings.HasPrefix(p, "sets/")) && strings.HasSuffix(p, ".json")
}

// parts are the files and directories of a library as git names them.
func parts(root string) []string {
	out := make([]string, len(git.Parts))
	for i, part := range git.Parts {
		out[i] = path.Join(root, part)
	}
	return out
}

// list lists the library of a commit; "" is the state before the first.
func (s *store) list(commit, root string) ([]git.Entry, error) {
	if known, ok := s.listed[commit][root]; ok {
		return known, nil
	}
	entries, err := s.repo.TreeFiles(commit, parts(root)...)
	if err != nil {
		return nil, err
	}
	if s.listed[commit] == nil {
		s.listed[commit] = map[string][]git.Entry{}
	}
	s.listed[commit][root] = entries
	return entries, nil
}

// saved is the library as a commit holds it. What is no ordinary file is left out: it got there past the hook, and the commit
// that mends it must not be refused for it.
func (s *store) saved(commit, root string) (*tree, error) {
	entries, err := s.list(commit, root)
	if err != nil {
		return nil, err
	}
	return s.ordinary(entries, root), nil
}

func (s *store) ordinary(entries []git.Entry, root string) *tree {
	t := &tree{s, map[string]string{}}
	for _, e := range entries {
		if ordinary(e.Mode) {
			t.put(root, e.Path, e.Hash)
		}
	}
	return t
}

// coming is the library as the commit will hold it: that of the last commit with what the index changes. A symbolic link or
// another repository in it is refused, since its content is not what was reviewed.
func (s *store) coming(commit, root string, changes []git.Change) (*tree, error) {
	entries, err := s.list(commit, root)
	if err != nil {
		return nil, err
	}
	t := &tree{s, map[string]string{}}
	odd := map[string]bool{}
	for _, e := range entries {
		t.put(root, e.Path, e.Hash)
		odd[e.Path] = !ordinary(e.Mode)
	}
	for _, c := range changes {
		p, ok := inLibrary(root, c.Path)
		if !ok {
			continue
		}
		delete(t.ids, p)
		if c.NewHash != "" {
			t.put(root, c.Path, c.NewHash)
		}
		odd[c.Path] = c.NewHash != "" && !ordinary(c.NewMode)
	}
	for _, p := range slices.Sorted(maps.Keys(odd)) {
		if odd[p] {
			return nil, &git.Error{Kind: git.ErrIrregular, What: p + " is a symbolic link or another repository; a library holds ordinary files only",
				Help: "put the file itself there", Paths: []string{p}}
		}
	}
	return t, nil
}

func ordinary(mode string) bool { return mode == git.ModeFile || mode == git.ModeExecutable }

func (t *tree) put(root, full, id string) {
	if p, ok := inLibrary(root, full); ok && needed(p) {
		t.ids[p] = id
	}
}

// inLibrary turns a path from the top into one of the library, if it is part of it.
func inLibrary(root, full string) (string, bool) {
	p := full
	if root != "" {
		var ok bool
		if p, ok = strings.CutPrefix(full, root+"/"); !ok {
			return "", false
		}
	}
	first, _, _ := strings.Cut(p, "/")
	return p, slices.Contains(git.Parts, first)
}

// fill reads contents of some trees that are not at hand yet, in one go: those that are wanted.
func (s *store) fill(want func(path string) bool, trees ...*tree) error {
	seen := map[string]bool{}
	var missing []string
	s.mu.RLock()
	for _, t := range trees {
		for p, id := range t.ids {
			if _, ok := s.content[id]; !ok && !seen[id] && want(p) {
				seen[id] = true
				missing = append(missing, id)
			}
		}
	}
	s.mu.RUnlock()
	slices.Sort(missing)
	return s.repo.PastBlobs(missing, func(i int, data []byte) error {
		s.mu.Lock()
		s.content[missing[i]] = data
		s.mu.Unlock()
		return nil
	})
}

// tooLarge refuses what a commit would save and nobody can read. What was saved so before got past the check, and the commit that takes
// it out again must not be refused for it.
func (s *store) tooLarge(l *library) error {
	s.mu.RLock()
	defer s.mu.RUnlock()
	for _, p := range l.now.Files() {
		if data, read := s.content[l.now.ids[p]]; read && data == nil {
			return git.TooLarge(l.full(p))
		}
	}
	return nil
}

func all(string) bool { return true }

// settings are read first: they say which library it is.
func settings(p string) bool { return p == schema.SettingsFile }

// library reads a tree as far as it bears on what is judged. What cannot be read holds nothing.
func (s *store) library(t *tree, n *narrowing) *schema.Library {
	if lib, err := s.part(t, n); err == nil {
		return lib
	}
	return &schema.Library{}
}

// part reads the library in a tree as far as it bears on what is judged.
func (s *store) part(t *tree, n *narrowing) (*schema.Library, error) {
	some, err := n.only(t)
	if err != nil {
		return nil, err
	}
	if err := s.fill(all, some); err != nil {
		return nil, err
	}
	return schema.ReadLibrary(s.known.Of(some))
}

// ledger reads the records of a tree, a few at a time: of their contents nothing is kept but what was read from them.
func (s *store) ledger(t *tree) (*history.Ledger, error) {
	holds := s.known.Holds
	if s.spare != nil {
		holds = s.spare.Holds
	}
	var open []string
	ids := map[string]string{}
	for p, id := range t.ids {
		if !schema.IsRecordPath(p) || strings.HasPrefix(path.Base(p), ".") {
			continue
		}
		if ids[p] = id; !holds(p, id) {
			open = append(open, p)
		}
	}
	slices.Sort(open)
	for _, chunk := range chunks(open, func(p string) string { return p }) {
		some := &tree{&store{repo: s.repo, content: map[string][]byte{}}, map[string]string{}}
		for _, p := range chunk {
			some.ids[p] = t.ids[p]
		}
		if err := some.store.fill(all, some); err != nil {
			return nil, err
		}
		known := s.known.Of(some)
		if err := schema.AtOnce(len(chunk), func(i int) error {
			if s.spare != nil {
				s.spare.Add(chunk[i], t.ids[chunk[i]], some.store.content[t.ids[chunk[i]]])
				return nil
			}
			_, err := schema.ReadRecordFrom(known, chunk[i])
			return err
		}); err != nil {
			return nil, err
		}
		s.mu.Lock()
		for id, data := range some.store.content {
			if data == nil { // see tooLarge
				s.content[id] = nil
			}
		}
		s.mu.Unlock()
	}
	if s.spare != nil {
		return s.spare.Ledger(ids), nil
	}
	return history.ReadLedger(s.known.Of(t))
}

// side reads a tree, its sets as far as they bear on what is judged.
func (s *store) side(t *tree, n *narrowing) (Side, error) {
	lib, err := s.part(t, n)
	if err != nil {
		return Side{}, err
	}
	ledger, err := s.ledger(t)
	if err != nil {
		return Side{}, err
	}
	return Side{lib, ledger, hashesOf(ledger, t), t}, nil
}

// settingsID is the identity of the library in a tree, "" where it cannot be read.
func (t *tree) settingsID() string {
	data, err := t.Read(schema.SettingsFile)
	if err != nil {
		return ""
	}
	if set, ok := schema.ReadFile(schema.SettingsFile, data).Value.(*schema.Settings); ok {
		return set.ID.V
	}
	return ""
}
