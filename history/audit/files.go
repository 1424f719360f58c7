package audit

import (
	"bytes"
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
}

// held is one condition in one version of a set.
type held struct {
	recipe *schema.Recipe
	raw    []byte // as it stands in the file
}

// mixes are the gases of one version of the settings.
type mixes = schema.Table[schema.Table[quantity.Ratio]]

// keep is how many versions of sets are held in memory. History is worked on in order, so an older version is asked for rarely.
const keep = 1024

// files reads versions of files by the id of their content, each once.
type files struct {
	repo     *git.Repo
	sets     map[string]*set // nil where the version cannot be read
	old      map[string]*set // those before the last keep
	settings map[string]*mixes
}

func newFiles(repo *git.Repo) *files {
	return &files{repo: repo, sets: map[string]*set{}, old: map[string]*set{}, settings: map[string]*mixes{}}
}

// read makes sure that these versions are at hand, with one request for all that are not.
func (f *files) read(blobs []string) error {
	var missing []string
	asked := map[string]bool{}
	for _, blob := range blobs {
		if _, ok := f.sets[blob]; ok || asked[blob] {
			continue
		}
		asked[blob] = true
		if s, ok := f.old[blob]; ok {
			f.put(blob, s)
			continue
		}
		missing = append(missing, blob)
	}
	if len(missing) == 0 {
		return nil
	}
	return f.repo.PastBlobs(missing, func(i int, data []byte) error {
		f.put(missing[i], parseSet(data))
		return nil
	})
}

func (f *files) put(blob string, s *set) {
	if len(f.sets) >= keep {
		f.old, f.sets = f.sets, make(map[string]*set, keep)
	}
	f.sets[blob] = s
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
	root := lib.Sets[0].File.Root.Get("conditions")
	s := &set{byID: make(map[schema.ID]*held, len(lib.Recipes)), hides: slices.ContainsFunc(lib.Sets[0].File.Problems, schema.Problem.Hides)}
	for _, r := range lib.Recipes {
		h := &held{recipe: r}
		if root != nil && r.Index < len(root.Kids) {
			at := root.Kids[r.Index].At
			h.raw = data[at.Start:at.End]
		}
		s.ids = append(s.ids, r.ID)
		s.byID[r.ID] = h
	}
	return s
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
