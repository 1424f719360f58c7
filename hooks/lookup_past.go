package hooks

import (
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"fettle/history/git"
)

// mostSince is how many commits are looked at one by one for what they touched.
const mostSince = 1000

// Past names the history up to the last commit as git shows it here: two that are named alike are the same.
func (l *Lookup) Past() (string, error) {
	head, err := l.repo.Resolve("HEAD")
	if err != nil {
		return "", err
	}
	edges, err := l.repo.ShallowEdges()
	if err != nil {
		return "", err
	}
	replaced, err := l.repo.Refs("refs/replace/")
	if err != nil {
		return "", err
	}
	grafts, err := os.ReadFile(filepath.Join(l.repo.CommonDir, "info", "grafts"))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return "", err
	}
	out := append([]string{head, l.root}, slices.Sorted(maps.Keys(edges))...)
	for _, r := range replaced {
		out = append(out, r.Name+" "+r.Hash)
	}
	return strings.Join(append(out, string(grafts)), "\n"), nil
}

// TouchedSince names the files of the library that commits touched since the past was another, from its root. It is false where the last
// commit does not follow that past step by step, or is far from it: then the past of any file may be another.
func (l *Lookup) TouchedSince(past string) (map[string]bool, bool) {
	now, err := l.Past()
	if err != nil || past == "" {
		return nil, false
	}
	touched := map[string]bool{}
	head, view, _ := strings.Cut(now, "\n")
	was, wasView, _ := strings.Cut(past, "\n")
	if view != wasView {
		return nil, false
	}
	if head == was {
		return touched, true
	}
	for entry, err := range l.repo.Walk(git.LogOptions{Revs: []string{head, "^" + was}, Changes: true, MaxCount: mostSince}) {
		if err != nil || entry.Hash != head || len(entry.Parents) != 1 {
			return nil, false
		}
		for _, c := range slices.Concat(entry.Changes...) {
			if p, ok := inLibrary(l.root, c.Path); ok {
				touched[p] = true
			}
		}
		head = entry.Parents[0]
	}
	return touched, head == was
}
