package audit

import (
	"bytes"
	"maps"
	"slices"

	"fettle/history/git"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A set is what one version of a condition set holds.
type set struct {
	ids   []schema.ID
	byID  map[schema.ID]*held
	hides bool // more is written in it than could be read

	data    []byte        // the file, where a later version may be told by what differs
	spans   []schema.Span // of its conditions, in file order
	inOrder []schema.ID   // and their ids
	from    string        // the version that it differs from in one condition, "" where that is not known
	differs schema.ID
}

// held is one condition in one version of a set.
type held struct {
	recipe *schema.Recipe
	raw    []byte // as it stands in the file
}

// mixes are the gases of one version of the settings.
type mixes = schema.Table[schema.Table[quantity.Ratio]]

// keep is how many versions of sets, and of how many conditions in all, are held in memory; before they are let go, twice as many are.
// History is worked on in order, so an older version is asked for rarely.
const (
	keep           = 1024
	keepConditions = 10_000
	keepAhead      = 256 // that are asked for at once
)

// files reads versions of files by the id of their content, each once.
type files struct {
	repo     *git.Repo
	sets     map[string]*set // nil where the version cannot be read
	old      map[string]*set // those before the last keep
	settings map[string]*mixes
	held     int // conditions in sets
}

func newFiles(repo *git.Repo) *files {
	return &files{repo: repo, sets: map[string]*set{}, old: map[string]*set{}, settings: map[string]*mixes{}}
}

// A version is a content of a file and the one that it took the place of, "" for none.
type version struct{ blob, was string }

// read makes sure that these versions are at hand, with one request for all that are not.
func (f *files) read(versions []version) error {
	var missing []string
	var was []string
	asked := map[string]bool{}
	for _, v := range versions {
		if _, ok := f.sets[v.blob]; ok || asked[v.blob] {
			continue
		}
		asked[v.blob] = true
		if s, ok := f.old[v.blob]; ok {
			f.put(v.blob, s)
			continue
		}
		missing, was = append(missing, v.blob), append(was, v.was)
	}
	if len(missing) == 0 {
		return nil
	}
	return f.repo.PastBlobs(missing, func(i int, data []byte) error {
		before := f.sets[was[i]]
		if before == nil {
			before = f.old[was[i]]
		}
		s := before.edited(data)
		if s == nil {
			s = parseSet(data)
		} else {
			s.from = was[i]
		}
		f.put(missing[i], s)
		return nil
	})
}

func (f *files) put(blob string, s *set) {
	if len(f.sets) >= keep || f.held >= keepConditions {
		f.old, f.sets, f.held = f.sets, map[string]*set{}, 0
	}
	f.sets[blob] = s
	if s != nil && s.from == "" { // else it shares all but one with another
		f.held += len(s.ids)
	}
}

// set returns a version of a set; nil where it cannot be read as one.
func (f *files) set(blob string) (*set, error) {
	if s, ok := f.sets[blob]; ok {
		return s, nil
	}
	if s, ok := f.old[blob]; ok {
		f.put(blob, s)
		return s, nil
	}
	data, err := f.repo.PastBlob(blob)
	if err != nil {
		return nil, err
	}
	s := parseSet(data)
	f.put(blob, s)
	return s, nil
}

// oneFile is a library of one file, so that a set is read by the same rules as everywhere.
type oneFile struct{ data []byte }

const anySet = "sets/x/x.json"

func (o oneFile) Files() []string             { return []string{anySet} }
func (o oneFile) Read(string) ([]byte, error) { return o.data, nil }

// parseSet reads a version of a set. What is wrong with single conditions is left to lint; only a file that is no condition set
// at all is unreadable here.
func parseSet(data []byte) *set {
	lib, err := schema.ReadLibrary(oneFile{data})
	if err != nil || len(lib.Sets) == 0 {
		return nil
	}
	file := lib.Sets[0].File
	spans := file.Items()
	s := &set{byID: make(map[schema.ID]*held, len(lib.Recipes)), hides: slices.ContainsFunc(file.Problems, schema.Problem.Hides)}
	defer func() { file.Data = nil }() // large, and not asked for again
	for _, r := range lib.Recipes {
		s.ids = append(s.ids, r.ID)
		s.byID[r.ID] = &held{recipe: r, raw: r.Text()}
	}
	if s.hides || len(spans) != len(lib.Recipes) || len(spans) == 0 {
		return s
	}
	s.data, s.spans, s.inOrder = data, slices.Clone(spans), make([]schema.ID, len(spans))
	for _, r := range lib.Recipes {
		s.inOrder[r.Index] = r.ID
	}
	return s
}

// edited reads a version that differs from s inside one condition only, as most do: the others need not be read again. It is nil where it
// differs in another way, or anything is wrong with either.
func (s *set) edited(data []byte) *set {
	if s == nil || len(s.spans) == 0 {
		return nil
	}
	same := func(n int, at func(int) bool) int {
		i := 0
		for i < n && at(i) {
			i++
		}
		return i
	}
	least := min(len(s.data), len(data))
	front := same(least, func(i int) bool { return s.data[i] == data[i] })
	back := same(least-front, func(i int) bool { return s.data[len(s.data)-1-i] == data[len(data)-1-i] })
	k, inside := slices.BinarySearchFunc(s.spans, front, func(at schema.Span, front int) int {
		switch {
		case at.End <= front:
			return -1
		case at.Start >= front: // its brace is another
			return 1
		}
		return 0
	})
	if !inside || len(s.data)-back >= s.spans[k].End {
		return nil
	}
	grown := len(data) - len(s.data)
	text := data[s.spans[k].Start : s.spans[k].End+grown]
	first, last := s.spans[0].Start, s.spans[len(s.spans)-1].End
	lib, err := schema.ReadLibrary(oneFile{slices.Concat(s.data[:first], text, s.data[last:])})
	if err != nil || len(lib.Sets) != 1 || len(lib.Recipes) != 1 || len(lib.Sets[0].Value.Conditions.V) != 1 || lib.Recipes[0].ID != s.inOrder[k] ||
		slices.ContainsFunc(lib.Sets[0].File.Problems, schema.Problem.Hides) {
		return nil
	}
	lib.Sets[0].File.Data = nil
	out := &set{ids: s.ids, byID: maps.Clone(s.byID), data: data, spans: slices.Clone(s.spans), inOrder: s.inOrder, differs: s.inOrder[k]}
	out.byID[out.differs] = &held{recipe: lib.Recipes[0], raw: slices.Clone(text)} // else an old version would be held for one of its conditions
	out.spans[k].End += grown
	for i := k + 1; i < len(out.spans); i++ {
		out.spans[i].Start += grown
		out.spans[i].End += grown
	}
	return out
}

// gases returns the mixes of a version of the settings, nil where it cannot be read.
func (f *files) gases(blob string) (*mixes, error) {
	if m, ok := f.settings[blob]; ok {
		return m, nil
	}
	data, err := f.repo.PastBlob(blob)
	if err != nil {
		return nil, err
	}
	var m *mixes
	if s, ok := schema.ReadFile(schema.SettingsFile, data).Value.(*schema.Settings); ok {
		m = &s.Gases
	}
	f.settings[blob] = m
	return m, nil
}

// same reports whether two conditions are the same without looking at their fields: equal text under an equal grade. The parts
// of their id are equal by then.
func (h *held) same(other *held) bool {
	return h.recipe.Set.Grade.V == other.recipe.Set.Grade.V && h.recipe.Set.Grade.Set() == other.recipe.Set.Grade.Set() &&
		h.raw != nil && bytes.Equal(h.raw, other.raw)
}
