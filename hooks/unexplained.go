package hooks

import (
	"path"
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
	store := newStore(repo)
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
		ways := history.Ways{Edges: saved.Ledger.Edges(schema.SubjectCondition, p.Name), Starts: starts}
		if p.Now != nil {
			ways.Merges = func() ([]history.Joint, error) { return store.mergesOf(rev, root, p.Now) }
			ways.Steps = func() ([]history.Step, error) { return store.stepsOf(rev, root, p.Now) }
		}
		explained, err := ways.Lead(values(p.Now), p.Digest)
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

// mostSteps is how many commits of a file are looked at for steps that were made again.
const mostSteps = 60

// stepsOf are what the last commits of its file made of a condition, the oldest first. Merges made nothing themselves.
func (s *store) stepsOf(rev, root string, now *schema.Recipe) ([]history.Step, error) {
	full := path.Join(root, now.File.Path)
	var changes []git.Change
	var blobs []string
	for entry, err := range s.repo.Walk(git.LogOptions{Revs: []string{rev}, Paths: []string{full}, Changes: true, MaxCount: mostSteps}) {
		if err != nil {
			return nil, err
		}
		if len(entry.Parents) > 1 || len(entry.Changes) == 0 {
			continue
		}
		for _, c := range entry.Changes[0] {
			if c.Path == full && (c.NewHash == "" || ordinary(c.NewMode)) {
				changes = append(changes, c)
				for _, blob := range []string{c.OldHash, c.NewHash} {
					if blob != "" && !slices.Contains(blobs, blob) {
						blobs = append(blobs, blob)
					}
				}
			}
		}
	}
	was := map[string]*schema.Values{}
	if err := s.repo.PastBlobs(blobs, func(i int, data []byte) error { was[blobs[i]] = recipeIn(data, full, now.ID, now); return nil }); err != nil {
		return nil, err
	}
	var out []history.Step
	for _, c := range slices.Backward(changes) {
		if from, to := was[c.OldHash], was[c.NewHash]; from != nil || to != nil {
			out = append(out, history.Step{From: from, To: to})
		}
	}
	return out, nil
}

// recipeIn is a condition in one content of a set file, nil where it does not stand there. What a mix of the shop's own consists of is
// taken from the recipe as it is now, nil where there is none.
func recipeIn(data []byte, full string, id schema.ID, now *schema.Recipe) *schema.Values {
	set, ok := schema.ReadFile(full, data).Value.(*schema.ConditionSet)
	if !ok {
		return nil
	}
	for i := range set.Conditions.V {
		values := &schema.Values{Machine: set.Machine, Material: set.Material, Grade: set.Grade, Gas: set.Gas, Condition: set.Conditions.V[i]}
		if now != nil {
			values.Composition = now.Composition
		}
		if at, ok := values.ID(); ok && at == id {
			return values
		}
	}
	return nil
}

// mergesOf are the merges that left the file of a condition other than each of their parents has it, with what they made of it.
func (s *store) mergesOf(rev, root string, now *schema.Recipe) ([]history.Joint, error) {
	full := path.Join(root, now.File.Path)
	var out []history.Joint
	for entry, err := range s.repo.Walk(git.LogOptions{Revs: []string{rev}, Paths: []string{full}, Changes: true}) {
		if err != nil {
			return nil, err
		}
		if len(entry.Parents) < 2 || slices.ContainsFunc(entry.Changes, func(c []git.Change) bool { return len(c) == 0 }) {
			continue
		}
		var sides []*schema.Values
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
			sides = append(sides, values(lib.Recipe(now.ID)))
		}
		out = append(out, history.Joint{To: sides[0], Sides: sides[1:]})
	}
	return out, nil
}
