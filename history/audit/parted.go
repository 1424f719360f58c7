package audit

import (
	"cmp"
	"slices"
	"strings"

	"fettle/history/git"
	"fettle/schema"
)

// setsAtOnce is how many files of sets are held at a time.
const setsAtOnce = 32

// partedSets are the sets of a snapshot, which are read a few at a time: as much of the library as can be looked at without the rest.
type partedSets struct {
	snap  git.Snapshot
	files []string // one family after another
	of    map[string]family
}

func newPartedSets(snap git.Snapshot) (*partedSets, error) {
	a := &partedSets{snap: snap, of: map[string]family{}}
	own := schema.Texts{}
	for _, file := range snap.Files() {
		if isSet(file) {
			a.files = append(a.files, file)
		}
	}
	err := git.ReadAll(snap, a.files, func(file string, data []byte) error {
		machine, material, gas := schema.FamilyOf(data)
		a.of[file] = family{own.Own(machine), own.Own(material), own.Own(gas)}
		return nil
	})
	slices.SortStableFunc(a.files, func(x, y string) int { return a.of[x].compare(a.of[y]) })
	return a, err
}

func (f family) compare(g family) int {
	return cmp.Or(strings.Compare(f.machine, g.machine), strings.Compare(f.material, g.material), strings.Compare(f.gas, g.gas))
}

// each hands the library over part by part, in the order of ids: all sets of a family are in one. One without sets is one part.
func (a *partedSets) each(frame *schema.Library, yield func(*schema.Library) bool) error {
	if len(a.files) == 0 {
		yield(frame)
		return nil
	}
	for files := a.files; len(files) > 0; {
		n := min(setsAtOnce, len(files))
		for n < len(files) && a.of[files[n]] == a.of[files[n-1]] {
			n++
		}
		lib, err := a.with(frame, files[:n])
		if err != nil {
			return err
		}
		if !yield(lib) {
			return nil
		}
		files = files[n:]
	}
	return nil
}

// with is the part of a library that some files of sets make.
func (a *partedSets) with(frame *schema.Library, files []string) (*schema.Library, error) {
	files = slices.Sorted(slices.Values(files))
	read := make([]*schema.File, 0, len(files))
	err := git.ReadAll(a.snap, files, func(file string, data []byte) error {
		read = append(read, schema.ReadFile(file, data))
		return nil
	})
	return frame.With(read), err
}

// holding is the part of a library that may hold some conditions.
func (a *partedSets) holding(frame *schema.Library, ids []schema.ID) (*schema.Library, error) {
	families := map[family]bool{}
	for _, id := range ids {
		families[family{id.Machine, id.Material, id.Gas}] = true
	}
	return a.with(frame, slices.DeleteFunc(slices.Clone(a.files), func(file string) bool { return !families[a.of[file]] }))
}
