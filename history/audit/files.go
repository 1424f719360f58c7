package audit

import (
	"bytes"
	"slices"

	"fettle/history/git"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A set is what one version of a condition set holds. Its conditions are read when they are asked for: read they take ten times the room.
type set struct {
	ids   []schema.ID
	hides bool // more is written in it than could be read
	grade schema.Member[string]

	data    []byte
	spans   []schema.Span       // of its conditions, in file order
	inOrder []schema.ID         // and their ids
	at      map[schema.ID]int   // and which of them each is
	from    string              // the version that it differs from in one condition, "" where that is not known
	differs schema.ID           // that one
	read    map[schema.ID]*held // the conditions that are at hand; all of them, for good, where they cannot be read one by one
	whole   bool                // which is so
}

// held is one condition in one version of a set.
type held struct {
	recipe *schema.Recipe
	raw    []byte // as it stands in the file
}

// mixes are the gases of one version of the settings.
type mixes = schema.Table[schema.Table[quantity.Ratio]]

// keep is how many versions of sets, and of how many bytes in all, are held in memory; before they are let go, twice as many are.
// History is worked on in order, so an older version is asked for rarely.
const (
	keep        = 1024
	keepBytes   = 10 << 20
	bytesPerID  = 400  // of a condition in a version, beside its text
	keepRecipes = 2500 // conditions that were read
	keepAhead   = 256  // versions that are asked for at once
)

// files reads versions of files by the id of their content, each once.
type files struct {
	repo     *git.Repo
	sets     map[string]*set // nil where the version cannot be read
	old      map[string]*set // those before the last keep
	settings map[string]*mixes
	bytes    int // of sets
	most     int // of those, see keepBytes
	atHand   []readSet
	recipes  int // at hand
	texts    schema.Texts
}

// A readSet is a set of which some conditions were read.
type readSet struct {
	*set
	n int
}

func newFiles(repo *git.Repo) *files {
	return &files{repo: repo, sets: map[string]*set{}, old: map[string]*set{}, settings: map[string]*mixes{}, texts: schema.Texts{}, most: keepBytes}
}

// forget lets go of all that is held, and holds less from now on.
func (f *files) forget() {
	f.most = keepBytes / 4
	f.sets, f.old, f.bytes, f.atHand, f.recipes = map[string]*set{}, map[string]*set{}, 0, nil, 0
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
		s := f.edited(before, data)
		if s == nil {
			s = f.parse(data)
		} else {
			s.from = was[i]
		}
		f.put(missing[i], s)
		return nil
	})
}

func (f *files) put(blob string, s *set) {
	if len(f.sets) >= keep || f.bytes >= f.most {
		f.old, f.sets, f.bytes = f.sets, map[string]*set{}, 0
	}
	f.sets[blob] = s
	if s != nil {
		f.bytes += len(s.data)
		if s.from == "" { // else it shares its ids with another
			f.bytes += len(s.ids) * bytesPerID
		}
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
	s := f.parse(data)
	f.put(blob, s)
	return s, nil
}

// oneFile is a library of one file, so that a set is read by the same rules as everywhere.
type oneFile struct{ data []byte }

const anySet = "sets/x/x.json"

func (o oneFile) Files() []string             { return []string{anySet} }
func (o oneFile) Read(string) ([]byte, error) { return o.data, nil }

// parse reads a version of a set. What is wrong with single conditions is left to lint; only a file that is no condition set
// at all is unreadable here.
func (f *files) parse(data []byte) *set {
	lib, err := schema.ReadLibrary(oneFile{data})
	if err != nil || len(lib.Sets) == 0 {
		return nil
	}
	file := lib.Sets[0].File
	spans := file.Items()
	s := &set{read: make(map[schema.ID]*held, len(lib.Recipes)), hides: slices.ContainsFunc(file.Problems, schema.Problem.Hides), data: data, whole: true}
	s.grade = lib.Sets[0].Value.Grade
	s.grade.V = f.texts.Own(s.grade.V)
	for _, r := range lib.Recipes {
		id := f.texts.ID(r.ID)
		s.ids = append(s.ids, id)
		s.read[id] = &held{recipe: r, raw: r.Text()}
	}
	file.Data = nil // large, and not asked for again
	if s.hides || len(spans) != len(lib.Recipes) || len(spans) == 0 {
		return s
	}
	s.spans, s.inOrder, s.at, s.whole = slices.Clone(spans), make([]schema.ID, len(spans)), make(map[schema.ID]int, len(spans)), false
	for i, r := range lib.Recipes {
		s.inOrder[r.Index] = s.ids[i]
		s.at[s.ids[i]] = r.Index
	}
	f.hold(s, len(s.read))
	return s
}

// hold notes that some conditions of a set were read, and lets go of those that were read long ago.
func (f *files) hold(s *set, n int) {
	f.atHand, f.recipes = append(f.atHand, readSet{s, n}), f.recipes+n
	for f.recipes > keepRecipes && len(f.atHand) > 1 {
		f.atHand[0].read, f.recipes = nil, f.recipes-f.atHand[0].n
		f.atHand = f.atHand[1:]
	}
}

// alone reads a set with one of its conditions, nil where that is another one, or anything is wrong with it.
func (s *set) alone(text []byte, id schema.ID) *schema.Recipe {
	first, last := s.spans[0].Start, s.spans[len(s.spans)-1].End
	lib, err := schema.ReadLibrary(oneFile{slices.Concat(s.data[:first], text, s.data[last:])})
	if err != nil || len(lib.Sets) != 1 || len(lib.Recipes) != 1 || len(lib.Sets[0].Value.Conditions.V) != 1 || lib.Recipes[0].ID != id ||
		slices.ContainsFunc(lib.Sets[0].File.Problems, schema.Problem.Hides) {
		return nil
	}
	lib.Sets[0].File.Data = nil
	return lib.Recipes[0]
}

// has reports whether a set holds a condition.
func (s *set) has(id schema.ID) bool {
	if s.whole {
		return s.read[id] != nil
	}
	_, ok := s.at[id]
	return ok
}

// recipe is a condition that the set holds.
func (f *files) recipe(s *set, id schema.ID) *schema.Recipe {
	if h := s.read[id]; h != nil {
		return h.recipe
	}
	if r := s.alone(s.raw(id), id); r != nil {
		return r
	}
	again := f.parse(s.data)
	return again.read[id].recipe
}

// raw is a condition that the set holds, as it stands in the file.
func (s *set) raw(id schema.ID) []byte {
	if s.whole {
		return s.read[id].raw
	}
	at := s.spans[s.at[id]]
	return s.data[at.Start:at.End]
}

// edited reads a version that differs from s inside one condition only, as most do: the others need not be read again. It is nil where it
// differs in another way, or anything is wrong with either.
func (f *files) edited(s *set, data []byte) *set {
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
	r := s.alone(text, s.inOrder[k])
	if r == nil {
		return nil
	}
	out := &set{ids: s.ids, grade: s.grade, data: data, spans: slices.Clone(s.spans), inOrder: s.inOrder, at: s.at, differs: s.inOrder[k]}
	out.read = map[schema.ID]*held{out.differs: {recipe: r}}
	out.spans[k].End += grown
	for i := k + 1; i < len(out.spans); i++ {
		out.spans[i].Start += grown
		out.spans[i].End += grown
	}
	f.hold(out, 1)
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

// same reports whether a condition is the same in two sets without looking at its fields: equal text under an equal grade. The parts
// of its id are equal by then.
func (s *set) same(other *set, id schema.ID) bool {
	return s.grade.V == other.grade.V && s.grade.Set() == other.grade.Set() && s.raw(id) != nil && bytes.Equal(s.raw(id), other.raw(id))
}
