package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/audit"
	"fettle/history/git"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A shop is the library at hand: where it is, and its states, read when first asked for. Screens call them unsaved (edited, not
// committed), saved (committed) and shared (pushed).
type shop struct {
	*app
	repo *git.Repo
	root string // directory of the library
	sub  string // the same from the top of the work tree, with slashes; "" at the top

	unsaved, committed state
	merged             []git.Snapshot      // the last commit and those that are being merged into it, see isSaved
	before             map[string][]byte   // see whole
	looked             git.Snapshot        // what lint looked at, for the lines that it shows
	known              *schema.Known       // what was read of any state: they are nearly the same
	walked             *audit.Trail        // the history that was read last
	pastOf             pasts               // of all that is looked at together, see eachCards; nil where that is a few
	part               *part               // what is read in place of the whole library, see about; else nil
	names              names               // of all conditions that what was typed may mean, see meant; else nil
	liked              *quantity.Prefs     // the units that people like to read, where nothing else is read for them; else nil
	edits              func() unsavedSides // what is not saved, looked for while something else was done; else nil
	line               *line               // the branch that is decided on without being checked out, see on; else nil
	onLine             bool                // what stands on that branch takes the place of what is saved here, and of what lies on disk
}

// pasts are histories by the revision that they lead to, each read when it is first asked for.
type pasts map[string]func() (*audit.Trail, error)

var errNoLibrary = errors.New("there is no library")

// A state is one snapshot with what was read of it.
type state struct {
	snap   git.Snapshot
	lib    *schema.Library
	ledger *history.Ledger
	stand  *history.Standing
	lost   []history.Broken // of another revision: records that were saved and do not stand in it as they were
	anchor string           // of another revision: the adoption that it is chained from
}

// open finds the library: fettle.json in this directory or one above it, inside a git work tree.
func (a *app) open() (*shop, error) {
	dir := a.dir
	if dir == "" {
		dir = "."
	}
	repo, err := git.Open(dir)
	if err != nil {
		return nil, err
	}
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	if abs, err = filepath.EvalSymlinks(abs); err != nil {
		return nil, err
	}
	top := repo.Dir
	if top == "" {
		return nil, troublef("Work in a clone of it.", "%s is a bare repository without files to work on", abs)
	}
	for at := abs; ; at = filepath.Dir(at) {
		if info, err := os.Stat(filepath.Join(at, schema.SettingsFile)); err == nil && !info.IsDir() {
			sub, err := filepath.Rel(top, at)
			if err != nil {
				return nil, err
			}
			if sub = filepath.ToSlash(sub); sub == "." {
				sub = ""
			}
			return &shop{app: a, repo: repo, root: at, sub: sub}, nil
		}
		if at == top || at == filepath.Dir(at) {
			break
		}
	}
	where := abs
	if abs != top {
		where += ", nor above it as far as " + top
	}
	return nil, troublef("Go to the directory of the library, or make one here: fettle init\nTo look at a sample: fettle demo",
		"%w (no %s) in %s", errNoLibrary, schema.SettingsFile, where)
}

func (s *shop) load(st *state, take func(root string) (git.Snapshot, error)) error {
	if st.lib != nil {
		return nil
	}
	if s.part != nil && (st == &s.unsaved || st == &s.committed) {
		return s.part.load(s, st)
	}
	if s.onLine && (st == &s.unsaved || st == &s.committed) {
		return s.loadLine()
	}
	snap, err := take(s.sub)
	if err != nil {
		return err
	}
	if s.known == nil {
		s.known = schema.NewKnown()
	}
	lib, err := schema.ReadLibrary(s.known.Of(snap))
	if err != nil {
		return err
	}
	ledger, err := history.ReadLedger(s.known.Of(snap))
	if err != nil {
		return err
	}
	st.snap, st.lib, st.ledger = snap, lib, ledger
	return nil
}

// work is the library as it lies on disk, unsaved edits included.
func (s *shop) work() (*schema.Library, error) {
	err := s.load(&s.unsaved, func(root string) (git.Snapshot, error) { return s.repo.WorkTree(root) })
	return s.unsaved.lib, err
}

// saved is the library of the last commit; an empty one before the first.
func (s *shop) saved() (*schema.Library, error) {
	err := s.load(&s.committed, s.takeSaved)
	return s.committed.lib, err
}

func (s *shop) takeSaved(root string) (git.Snapshot, error) {
	_, _, unborn, _, err := s.repo.Head()
	if err != nil {
		return nil, err
	}
	if unborn {
		return git.Empty(), nil
	}
	return s.repo.Commit("HEAD", root)
}

// standing judges the records of a state against the library id of the settings.
func (s *shop) standing(st *state) *history.Standing {
	if st.stand == nil {
		id := ""
		if set := st.lib.Settings.Value; set != nil {
			id = set.ID.V
		}
		anchor, _, _ := s.repo.Config("fettle.anchor")
		st.stand = st.ledger.Judge(id, anchor)
	}
	return st.stand
}

// both reads the unsaved and the saved state.
func (s *shop) both() (work, saved *schema.Library, err error) {
	if work, err = s.work(); err != nil {
		return nil, nil, err
	}
	saved, err = s.saved()
	return work, saved, err
}

// isSaved reports whether a file is in the last commit, or in one that is being merged into it.
func (s *shop) isSaved(path string) (bool, error) {
	if _, err := s.saved(); err != nil {
		return false, err
	}
	if s.merged == nil {
		heads, err := s.repo.MergeHeads()
		if err != nil {
			return false, err
		}
		s.merged = []git.Snapshot{s.committed.snap}
		for _, head := range heads {
			snap, err := s.repo.Commit(head, s.sub)
			if err != nil {
				return false, err
			}
			s.merged = append(s.merged, snap)
		}
	}
	return slices.ContainsFunc(s.merged, func(snap git.Snapshot) bool { return snap.Hash(path) != "" }), nil
}

// newRecords are the records that are not saved yet.
func (s *shop) newRecords() ([]*schema.Record, error) {
	if _, err := s.work(); err != nil {
		return nil, err
	}
	var out []*schema.Record
	for _, r := range s.unsaved.ledger.Records {
		saved, err := s.isSaved(r.Path)
		if err != nil {
			return nil, err
		}
		if !saved {
			out = append(out, r)
		}
	}
	return out, nil
}

// unread reports whether a condition is missing only because its file cannot be read whole as it is now.
func unread(now *schema.Library, d history.Difference) bool {
	return d.After == nil && problemsIn(now, d.Before.File.Path)
}

func problemsIn(lib *schema.Library, path string) bool {
	return slices.ContainsFunc(lib.Files, func(f *schema.File) bool { return f.Path == path && len(f.Problems) > 0 })
}

// path turns a path of the library into one from the top of the work tree, as git takes it.
func (s *shop) path(p string) string {
	if s.sub == "" {
		return p
	}
	return s.sub + "/" + p
}

// fromTop turns a path from the top of the work tree into one of the library.
func (s *shop) fromTop(p string) string {
	if s.sub == "" {
		return p
	}
	return strings.TrimPrefix(p, s.sub+"/")
}

// write puts a file of the library in place, whole or not at all, and forgets the unsaved state that was read.
func (s *shop) write(path string, data []byte) error {
	err := s.place(path, data)
	if err == nil {
		s.rewritten()
	}
	return err
}

// place is write for who reads on of the state before.
func (s *shop) place(path string, data []byte) error {
	full := filepath.Join(s.root, filepath.FromSlash(path))
	if rel, err := filepath.Rel(s.root, full); err != nil || strings.HasPrefix(rel, "..") {
		return fmt.Errorf("%s lies outside the library", path)
	}
	if err := s.inside(filepath.Dir(full)); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
		return cannotWrite(path, err)
	}
	s.remember(path)
	if err := s.repo.ReplaceFile(full, data); err != nil {
		return cannotWrite(path, err)
	}
	return nil
}

// inside refuses a directory that a symbolic link leads out of the library.
func (s *shop) inside(dir string) error {
	for dir != s.root {
		if info, err := os.Lstat(dir); err == nil && info.Mode()&os.ModeSymlink != 0 {
			return troublef("Replace the link by a real directory.", "%s is a symbolic link; fettle does not write through one", dir)
		}
		dir = filepath.Dir(dir)
	}
	return nil
}

func cannotWrite(path string, err error) error {
	help := "Nothing was changed. Make room or get the right to write there, and try again."
	if errors.Is(err, os.ErrPermission) {
		help = "Nothing was changed. The file or its directory is read-only for you."
	}
	return troublef(help, "%s could not be written: %w", path, err)
}

// libraryID is the identity that records carry.
func libraryID(lib *schema.Library) (string, error) {
	if lib.Settings.Value == nil || !lib.Settings.Value.ID.Set() {
		return "", troublef("fettle lint says what is wrong with it.", "%s cannot be read, so a record would not know its library", schema.SettingsFile)
	}
	return lib.Settings.Value.ID.V, nil
}
