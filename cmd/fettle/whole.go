package main

import (
	"bytes"
	"errors"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"

	"fettle/history/git"
	"fettle/schema"
)

// whole makes all the writes of do, or none: where it fails, every file that it wrote is as it was before.
func (s *shop) whole(do func() error) error {
	if s.before != nil { // inside another whole, which puts back everything
		return do()
	}
	s.before = map[string][]byte{}
	defer func() { s.before = nil }()
	err := do()
	if err == nil {
		return nil
	}
	var stuck []string
	for _, path := range slices.Sorted(maps.Keys(s.before)) {
		full, old := filepath.Join(s.root, filepath.FromSlash(path)), s.before[path]
		now, wrong := os.ReadFile(full)
		if old == nil && errors.Is(wrong, os.ErrNotExist) || old != nil && wrong == nil && bytes.Equal(now, old) {
			continue // it was not written yet
		}
		back := error(nil)
		if old == nil {
			back = os.Remove(full)
		} else {
			back = s.repo.ReplaceFile(full, old)
		}
		if back != nil {
			stuck = append(stuck, s.forGit(path))
		}
	}
	s.rewritten()
	if len(stuck) > 0 {
		return troublef("Look what they hold now: git diff -- "+strings.Join(stuck, " ")+"\nand take back what the command wrote. git restore takes back every edit that is not saved.",
			"%w; and what was written before it could not be put back in %s", err, strings.Join(stuck, ", "))
	}
	return err
}

// remember keeps what a file held before it is written for the first time inside a whole.
func (s *shop) remember(path string) {
	if s.before == nil {
		return
	}
	if _, known := s.before[path]; known {
		return
	}
	old, err := os.ReadFile(filepath.Join(s.root, filepath.FromSlash(path)))
	switch {
	case err == nil && old == nil:
		old = []byte{} // it is there
	case err != nil && !errors.Is(err, os.ErrNotExist):
		return // what cannot be read cannot be put back, and must not be taken for a new file
	}
	s.before[path] = old
}

// A partial snapshot is the last commit with some files as they are on disk: what a commit of just these would hold.
type partial struct {
	git.Snapshot // the last commit
	disk         git.Snapshot
	taken        map[string]bool
}

func (p *partial) of(path string) git.Snapshot {
	if p.taken[path] {
		return p.disk
	}
	return p.Snapshot
}

func (p *partial) Files() []string {
	files := slices.DeleteFunc(p.Snapshot.Files(), func(f string) bool { return p.taken[f] })
	for _, f := range p.disk.Files() {
		if p.taken[f] {
			files = append(files, f)
		}
	}
	sort.Strings(files)
	return files
}

func (p *partial) Read(path string) ([]byte, error) { return p.of(path).Read(path) }
func (p *partial) Hash(path string) string          { return p.of(path).Hash(path) }

// coming is the state that a commit of these files would make.
func (s *shop) coming(paths []string) (*state, error) {
	if _, _, err := s.both(); err != nil {
		return nil, err
	}
	taken := map[string]bool{}
	for _, p := range paths {
		taken[p] = true
	}
	var st state
	snap := &partial{s.committed.snap, s.unsaved.snap, taken}
	if s.part == nil {
		return &st, s.load(&st, func(string) (git.Snapshot, error) { return snap, nil })
	}
	lib, err := s.part.lookup.OnDisk(snap, s.part.where)
	if err != nil {
		return nil, err
	}
	added := slices.DeleteFunc(slices.Clone(s.part.added), func(r *schema.Record) bool { return !taken[r.Path] })
	ledger, err := s.part.records(added)
	return &state{snap: snap, lib: lib, ledger: ledger}, err
}
