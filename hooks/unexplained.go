package hooks

import (
	"slices"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
)

// An Unexplained condition is saved as something that nobody approved, and no reasons lead there: it got past the hooks.
type Unexplained struct {
	ID       schema.ID
	From, To schema.Digest // what is in force, or "", and what is saved
}

// UnexplainedIn are the conditions of a saved state that lack a reason, ordered by id. root is the directory of the library, rev the
// commit that was read. Before adoption, and where the policy asks for no reasons, there are none.
func UnexplainedIn(repo *git.Repo, root, rev string, saved Side, standing *history.Standing) ([]Unexplained, error) {
	if standing.Anchor == nil || !standing.Policy(saved.Lib.Policy()).ReasonRequired() {
		return nil, nil
	}
	open := slices.DeleteFunc(standing.Positions(saved.Lib), func(p history.Position) bool { return p.Status == history.Approved || p.Status == history.Stale })
	if len(open) == 0 {
		return nil, nil
	}
	decided := map[string][]schema.Digest{}
	for _, d := range history.Bodies[*schema.Decision](saved.Ledger) {
		for _, subject := range d.Body.Subjects.V {
			decided[subject.ID.V] = append(decided[subject.ID.V], schema.Digest(subject.Digest.V))
		}
	}
	var out []Unexplained
	for _, p := range open {
		var starts []schema.Digest
		if p.Digest != "" {
			starts = append(starts, "")
		}
		for _, digest := range decided[p.Name] {
			if p.State.Once(digest) != nil { // also where it is contested now
				starts = append(starts, digest)
			}
		}
		leads := waysTo(repo, root, rev, saved, p, starts)
		explained, err := leads(p.Digest)
		if err != nil {
			return nil, err
		}
		if !explained {
			from, _ := p.State.Digest()
			out = append(out, Unexplained{p.ID, from, p.Digest})
		}
	}
	return out, nil
}

// waysTo reports whether reasons lead to a recipe from one of the starts. Where they end at a merge that took every value from its
// parents, those that lead to the parents go on through it.
func waysTo(repo *git.Repo, root, rev string, saved Side, p history.Position, starts []schema.Digest) func(schema.Digest) (bool, error) {
	edges := saved.Ledger.Edges(schema.SubjectCondition, p.Name)
	store := newStore(repo)
	seen := map[schema.Digest]bool{}
	var merges [][]*schema.Library // the merge, then its parents
	read := false
	var leads func(to schema.Digest) (bool, error)
	leads = func(to schema.Digest) (bool, error) {
		if history.Path(edges, starts, to) != nil {
			return true, nil
		}
		if seen[to] || to == "" || p.Now == nil {
			return false, nil
		}
		seen[to] = true
		if !read {
			read = true
			var err error
			if merges, err = store.mergesOf(rev, root, p.Now.File.Path); err != nil {
				return false, err
			}
		}
		for _, m := range merges {
			now := m[0].Recipe(p.ID)
			if now == nil || now.Digest() != to || !takenFrom(m[1:], now) {
				continue
			}
			all := true
			for _, parent := range m[1:] {
				from := digestIn(parent, p.ID)
				if from == to {
					continue
				}
				explained, err := leads(from)
				if err != nil {
					return false, err
				}
				all = all && explained
			}
			if all {
				return true, nil
			}
		}
		return false, nil
	}
	return leads
}

// mergesOf are the merges that left a file of a library other than each of their parents has it, with these.
func (s *store) mergesOf(rev, root, file string) ([][]*schema.Library, error) {
	full := file
	if root != "" {
		full = root + "/" + file
	}
	var out [][]*schema.Library
	for entry, err := range s.repo.Walk(git.LogOptions{Revs: []string{rev}, Paths: []string{full}, Changes: true}) {
		if err != nil {
			return nil, err
		}
		if len(entry.Parents) < 2 || slices.ContainsFunc(entry.Changes, func(c []git.Change) bool { return len(c) == 0 }) {
			continue
		}
		var sides []*schema.Library
		for _, commit := range append([]string{entry.Hash}, entry.Parents...) {
			t, err := s.saved(commit, root)
			if err == nil {
				err = s.fill(all, t)
			}
			if err != nil {
				return nil, err
			}
			lib, err := schema.ReadLibrary(s.known.Of(t))
			if err != nil {
				return nil, err
			}
			sides = append(sides, lib)
		}
		out = append(out, sides)
	}
	return out, nil
}
