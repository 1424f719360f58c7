package git

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
)

// The id of the tree without entries; git knows both without having the object.
const (
	emptyTreeSHA1   = "4b825dc642cb6eb9a060e54bf8d69288fbee4904"
	emptyTreeSHA256 = "6ef19b41225c5369f1c104d45d8d85efa9b057b53b14b4b9b939dd74decc5321"
)

func (r *Repo) emptyTree() string {
	if r.shared.hashLen == 64 {
		return emptyTreeSHA256
	}
	return emptyTreeSHA1
}

// IndexFile is the file in which git keeps the index, absolute; in a hook that of the commit under way.
func (r *Repo) IndexFile() string {
	if file := variable(r.shared.env, "GIT_INDEX_FILE"); file != "" {
		return absolute(r.shared.home, filepath.FromSlash(file))
	}
	return filepath.Join(r.GitDir, "index")
}

// IndexFiles lists what a commit of the index would hold, all or what is at and below the given paths, in the order of git.
// In a hook that is the index of the commit under way (GIT_INDEX_FILE). Files that are only announced (git add -N) are
// left out, because a commit leaves them out. Conflicts are an error of kind [ErrUnmerged] that names the files.
func (r *Repo) IndexFiles(under ...string) ([]Entry, error) {
	changes, err := r.IndexChanged("", under...)
	if err != nil {
		return nil, err
	}
	entries := make([]Entry, len(changes))
	for i, c := range changes {
		entries[i] = Entry{Path: c.Path, Hash: c.NewHash, Mode: c.NewMode}
	}
	return entries, nil
}

// IndexChanged lists the files that differ between a commit ("" is the empty tree) and the index, all or those at and
// below the given paths, ordered by path. What [Repo.IndexFiles] says about hooks, announced files and conflicts holds.
func (r *Repo) IndexChanged(base string, under ...string) ([]Change, error) {
	tree := r.emptyTree()
	if base != "" {
		var err error
		if tree, err = r.treeOf(base); err != nil {
			return nil, err
		}
	}
	specs, err := pathspecs(under)
	if err != nil {
		return nil, err
	}
	if len(specs) == 0 && base != "" {
		if now := r.indexTree(); now != "" {
			var changes []Change
			if r.diffTrees(tree, now, nil, &changes) == nil { // else it may not have been written
				slices.SortFunc(changes, func(x, y Change) int { return strings.Compare(x.Path, y.Path) })
				return changes, nil
			}
		}
	}
	// diff-index, not ls-files: it leaves announced files out, and expands a sparse index.
	args := append([]string{"diff-index", "--cached", "--raw", "-z", "--no-abbrev", "--no-renames", "--no-ext-diff", "--ignore-submodules=none",
		"--ita-invisible-in-index", tree, "--"}, specs...)
	out, err := r.read(args...)
	if err != nil {
		return nil, err
	}
	changes, unmerged, err := r.parseRaw(fields(out))
	if err != nil {
		return nil, err
	}
	if len(unmerged) > 0 {
		return nil, unmergedError(unmerged)
	}
	slices.SortFunc(changes, func(x, y Change) int { return strings.Compare(x.Path, y.Path) })
	return changes, nil
}

func unmergedError(paths []string) error {
	return &Error{Kind: ErrUnmerged, What: "a merge left conflicts in " + list(paths), Paths: paths,
		Help: "settle them in the files, then tell git so: git add FILE"}
}

// list names a few paths and counts the rest.
func list(paths []string) string {
	const most = 4
	if len(paths) <= most {
		return strings.Join(paths, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(paths[:most], ", "), len(paths)-most)
}

// parseRaw reads the raw form of git's diffs, already split at NULs: ":MODE MODE ID ID STATUS", then a path.
func (r *Repo) parseRaw(items []string) (changes []Change, unmerged []string, err error) {
	for len(items) > 0 {
		change, conflict, err := r.parseRawPair(items)
		if err != nil {
			return nil, nil, err
		}
		if !conflict {
			changes = append(changes, change)
		} else if !slices.Contains(unmerged, change.Path) {
			unmerged = append(unmerged, change.Path)
		}
		items = items[2:]
	}
	return changes, unmerged, nil
}

func (r *Repo) parseRawPair(items []string) (change Change, unmerged bool, err error) {
	head, ok := strings.CutPrefix(items[0], ":")
	parts := strings.Split(head, " ")
	if !ok || len(parts) != 5 || len(items) < 2 || !r.isHash(parts[2]) || !r.isHash(parts[3]) {
		return Change{}, false, errorf(ErrUnsupported, "git answered %q where a change was expected", items[0])
	}
	present := func(mode, hash string) (string, string) {
		if mode == "000000" {
			return "", ""
		}
		return mode, hash
	}
	change.Path = items[1]
	change.OldMode, change.OldHash = present(parts[0], parts[2])
	change.NewMode, change.NewHash = present(parts[1], parts[3])
	return change, parts[4] == "U", nil
}
