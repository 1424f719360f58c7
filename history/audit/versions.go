package audit

import (
	"slices"
	"time"

	"fettle/history"
	"fettle/schema"
)

// A Version is one recipe of a condition as a commit made it. Its values are read when they are asked for: see [Trail.Recipe].
type Version struct {
	Digest    schema.Digest
	Commit    string
	Committed time.Time
	By        Person
	blob      string // of its set
	settings  string // likewise, for what a mix of the shop's own consists of
	pos       int
}

// Versions returns the recipes that commits made of a condition, in the order of history.
func (t *Trail) Versions(id string) []Version {
	var out []Version
	for _, m := range t.movesOf(id) {
		if m.blob != "" {
			out = append(out, Version{m.to, m.commit.hash, t.said(m.commit).Committer.When, t.entry(m.commit, "").By, m.blob, m.settings, m.commit.pos})
		}
	}
	return out
}

// standing says where the recipe of a condition stands in a state: the id of the content of its set, "" where that is not known.
func (w *walker) standing(s *state, id schema.ID) (blob string) {
	for path := range w.paths.of(id) {
		if blob := s.sets.at(path); blob != "" {
			if s, err := w.set(blob); err == nil && s != nil && s.has(id) {
				return blob
			}
		}
	}
	return ""
}

// Recipe returns the values of a recipe by its digest, and in words where they are known from: what was decided on, tried or saved.
// It returns nil where nothing here holds it, such as a recipe of a branch that never came here.
func (t *Trail) Recipe(name string, digest schema.Digest) *schema.Values {
	for _, s := range t.sources[name] {
		if s.digest == digest {
			if v := s.values(); v != nil {
				return v
			}
		}
	}
	if t.walked == nil {
		return nil
	}
	for _, m := range t.movesOf(name) {
		if m.blob == "" || m.to != digest {
			continue
		}
		if values, err := t.walked.valuesIn(m.blob, m.settings, name); err == nil && values != nil {
			return values
		}
	}
	return nil
}

// valuesIn returns all that makes up a condition in a version of its set and of the settings, nil where the set does not hold it.
func (w *walker) valuesIn(blob, settings, name string) (*schema.Values, error) {
	id, err := schema.ParseID(name)
	if err != nil {
		return nil, err
	}
	s, err := w.set(blob)
	if err != nil || s == nil || !s.has(id) {
		return nil, err
	}
	values := w.recipe(s, id).Values()
	values.Composition, err = w.mix(&state{settings: settings}, id.Gas)
	return values, err
}

// RecordedRecipe returns the values of a recipe as a decision or a trial of the ledger keeps them, or nil.
func RecordedRecipe(l *history.Ledger, id string, digest schema.Digest) *schema.Values {
	for _, d := range history.Bodies[*schema.Decision](l) {
		i := slices.IndexFunc(d.Body.Subjects.V, func(s schema.Subject) bool {
			return s.Kind.V == schema.SubjectCondition && s.ID.V == id && s.Digest.V == string(digest)
		})
		if i < 0 {
			continue
		}
		if v := history.ValuesOf(&history.Decision{Subject: &d.Body.Subjects.V[i]}); v != nil && v.Digest() == digest {
			return v
		}
	}
	for _, trial := range history.Bodies[*schema.Trial](l) {
		if v := trial.Body.Values.V; trial.Body.ID.V == id && trial.Body.Digest.V == string(digest) && v.Digest() == digest {
			return &v
		}
	}
	return nil
}
