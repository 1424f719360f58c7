package git

import (
	"errors"
	"fmt"
	"path"
	"slices"
	"strings"
)

// Parts are the files and directories that make up a library, from its directory. Nothing else is ever read as part of one.
var Parts = []string{"approvers", "fettle.json", "machines", "people", "records", "sets", "trials"}

// Snapshot is a library at one moment. Paths are slash-separated, from the directory of the library.
type Snapshot interface {
	// Name says which moment this is, for messages.
	Name() string
	// Files lists the files, sorted.
	Files() []string
	// Read is the content of a file. A path that Files does not list is an error of kind ErrNoSuchFile.
	Read(path string) ([]byte, error)
	// Hash is the id that git gives to what Read returns: equal content, equal id. It is "" where there is no such file, and
	// where the file cannot be read.
	Hash(path string) string
}

// entries is a snapshot whose content git keeps.
type entries struct {
	repo  *Repo
	name  string
	files []string
	ids   []string // of the files
}

// Commit is the library in a directory of a commit; root is "" where the library stands at the top of the tree.
func (r *Repo) Commit(rev, root string) (Snapshot, error) {
	return r.savedAs(rev, root, func() *stood { return nil }, nil)
}

// Index is the library as a commit of the index would save it. See [Repo.IndexFiles].
func (r *Repo) Index(root string) (Snapshot, error) {
	under, err := parts(root)
	if err != nil {
		return nil, err
	}
	files, err := r.IndexFiles(under...)
	if err != nil {
		return nil, err
	}
	return r.snapshot("to be saved", root, files)
}

// Empty is a library without any file: what there was before the first commit.
func Empty() Snapshot { return &entries{name: "nothing"} }

// parts are the parts of the library in root, from the top of the tree.
func parts(root string, of ...string) ([]string, error) {
	if len(of) == 0 {
		of = Parts
	}
	clean, err := cleanPath(root)
	if err != nil {
		return nil, err
	}
	under := make([]string, len(of))
	for i, part := range of {
		under[i] = path.Join(clean, part)
	}
	return under, nil
}

func (r *Repo) snapshot(name, root string, files []Entry) (Snapshot, error) {
	clean, err := cleanPath(root)
	if err != nil {
		return nil, err
	}
	if !slices.IsSortedFunc(files, func(a, b Entry) int { return strings.Compare(a.Path, b.Path) }) {
		files = slices.SortedFunc(slices.Values(files), func(a, b Entry) int { return strings.Compare(a.Path, b.Path) })
	}
	s := &entries{repo: r, name: name, files: make([]string, 0, len(files)), ids: make([]string, 0, len(files))}
	for _, e := range files {
		switch e.Mode {
		case ModeFile, ModeExecutable:
		case ModeSymlink:
			return nil, irregular(e.Path, "a symbolic link")
		case ModeSubmodule:
			return nil, irregular(e.Path, "another repository")
		default:
			return nil, irregular(e.Path, "of mode "+e.Mode)
		}
		file := e.Path
		if clean != "" {
			file = strings.TrimPrefix(file, clean+"/")
		}
		s.files, s.ids = append(s.files, file), append(s.ids, e.Hash)
	}
	return s, nil
}

func irregular(file, what string) error {
	return &Error{Kind: ErrIrregular, What: fmt.Sprintf("%s is %s; a library holds ordinary files only", file, what),
		Help: "put the file itself there", Paths: []string{file}}
}

func (s *entries) Name() string    { return s.name }
func (s *entries) Files() []string { return slices.Clone(s.files) }

func (s *entries) Hash(p string) string {
	if i, ok := slices.BinarySearch(s.files, p); ok {
		return s.ids[i]
	}
	return ""
}

// Hashes are the files of a snapshot in order, and the id of each as far as that is known without reading it: else "". They must not be
// changed.
func Hashes(s Snapshot) (files, ids []string) {
	switch s := s.(type) {
	case *entries:
		return s.files, s.ids
	case *disk:
		return s.files, s.hashes()
	}
	files = s.Files()
	return files, make([]string, len(files))
}

func (s *entries) Read(p string) ([]byte, error) {
	id := s.Hash(p)
	if id == "" {
		return nil, noSuchFile(p, s.name)
	}
	data, err := s.repo.Blob(id)
	if errors.Is(err, ErrTooLarge) {
		return nil, TooLarge(p)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", Printable(p), err)
	}
	return data, nil
}

func noSuchFile(p, name string) error {
	return &Error{Kind: ErrNoSuchFile, What: fmt.Sprintf("there is no file %s in what is %s", p, name), Paths: []string{p}}
}

// ReadAll reads many files of a snapshot and hands them over in order; where git keeps them it is several times faster
// than [Snapshot.Read] for each. An error of f ends it and is returned.
func ReadAll(s Snapshot, paths []string, f func(path string, data []byte) error) error {
	kept, ok := s.(*entries)
	if !ok || kept.repo == nil {
		for _, p := range paths {
			data, err := s.Read(p)
			if err != nil {
				return err
			}
			if err := f(p, data); err != nil {
				return err
			}
		}
		return nil
	}
	ids := make([]string, len(paths))
	for i, p := range paths {
		if ids[i] = kept.Hash(p); ids[i] == "" {
			return noSuchFile(p, kept.name)
		}
	}
	next := 0
	var callee error
	err := kept.repo.Blobs(ids, func(i int, data []byte) error {
		next = i + 1
		callee = f(paths[i], data)
		return callee
	})
	if err != nil && callee == nil && next < len(paths) {
		if errors.Is(err, ErrTooLarge) {
			return TooLarge(paths[next])
		}
		return fmt.Errorf("%s: %w", Printable(paths[next]), err)
	}
	return err
}

// Compare lists the files that differ between two snapshots by content, ordered by path, with paths of the library. It
// starts no child; a file on disk is read for it. Modes are not compared.
func Compare(a, b Snapshot) []Change {
	var changes []Change
	filesA, filesB := a.Files(), b.Files()
	for len(filesA) > 0 || len(filesB) > 0 {
		var c Change
		if len(filesB) == 0 || len(filesA) > 0 && filesA[0] <= filesB[0] {
			c.Path = filesA[0]
		} else {
			c.Path = filesB[0]
		}
		inA, inB := len(filesA) > 0 && filesA[0] == c.Path, len(filesB) > 0 && filesB[0] == c.Path
		if inA {
			c.OldHash, filesA = a.Hash(c.Path), filesA[1:]
		}
		if inB {
			c.NewHash, filesB = b.Hash(c.Path), filesB[1:]
		}
		// A file that cannot be read has no id: it is reported, so that whoever reads it meets the error.
		if c.OldHash != c.NewHash || c.OldHash == "" {
			changes = append(changes, c)
		}
	}
	return changes
}
