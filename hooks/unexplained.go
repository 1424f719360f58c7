package hooks

import (
	"iter"
	"maps"
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
	out, _, err := unexplainedIn(newStore(repo), root, rev, saved, standing)
	return out, err
}

// Unexplained is [UnexplainedIn] of the last commit, with the files whose past was looked at for it: as long as no commit touches one of
// them, nor what is saved and on record of the conditions is another, it says the same.
func (l *Lookup) Unexplained(saved Side, standing *history.Standing) (out []Unexplained, past []string, err error) {
	return unexplainedIn(newStore(l.repo), l.root, "HEAD", saved, standing)
}

func unexplainedIn(store *store, root, rev string, saved Side, standing *history.Standing) (out []Unexplained, past []string, err error) {
	if standing.Anchor == nil || !standing.Policy(saved.Lib.Policy()).ReasonRequired() {
		return nil, nil, nil
	}
	open := slices.DeleteFunc(standing.Positions(saved.Lib), func(p history.Position) bool { return p.Status == history.Approved || p.Status == history.Stale })
	decided := map[string][]schema.Digest{}
	for _, d := range history.Bodies[*schema.Decision](saved.Ledger) {
		for _, subject := range d.Body.Subjects.V {
			decided[subject.ID.V] = append(decided[subject.ID.V], schema.Digest(subject.Digest.V))
		}
	}
	looked := map[string]bool{}
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
			ways.Merges = func() ([]history.Joint, error) {
				looked[p.Now.File.Path] = true
				return store.mergesOf(rev, root, p.Now)
			}
			ways.Steps = func() ([]history.Step, error) { return store.stepsAmong(rev, root, p.Now, 0) }
		}
		explained, err := ways.Lead(values(p.Now), p.Digest)
		if err != nil {
			return nil, nil, err
		}
		if !explained {
			from, _ := p.State.Digest()
			out = append(out, Unexplained{p.ID, from, p.Digest})
		}
	}
	return out, slices.Sorted(maps.Keys(looked)), nil
}

// mostSteps is how many commits of a file are looked at for steps that were made again.
const mostSteps = 60

// A past is what commits made of one file. Several conditions stand in it, so it is read once.
type past struct {
	changes []git.Change                    // of the last commits, the newest first
	merges  []git.LogEntry                  // that left the file other than each of their parents has it
	sets    map[string]*schema.ConditionSet // by id of the content; nil for what cannot be read
}

// pastAt is which past: of a file from a commit on, at most so many commits back.
type pastAt struct {
	rev, full string
	most      int
}

// pastOf reads what at most so many commits made of a file, all where most is 0. Of the steps no more than the last ones are kept, and
// merges made none themselves.
func (s *store) pastOf(rev, full string, most int) (*past, error) {
	at := pastAt{rev, full, most}
	if known := s.pasts[at]; known != nil {
		return known, nil
	}
	seen := 0
	p := &past{sets: map[string]*schema.ConditionSet{}}
	var blobs []string
	for entry, err := range s.repo.Walk(git.LogOptions{Revs: []string{rev}, Paths: []string{full}, Changes: true, MaxCount: most}) {
		if err != nil {
			return nil, err
		}
		if len(entry.Parents) > 1 && !slices.ContainsFunc(entry.Changes, func(c []git.Change) bool { return len(c) == 0 }) {
			p.merges = append(p.merges, entry)
		}
		if seen++; seen > mostSteps || len(entry.Parents) > 1 || len(entry.Changes) == 0 {
			continue
		}
		for _, c := range entry.Changes[0] {
			if c.Path == full && (c.NewHash == "" || ordinary(c.NewMode)) {
				p.changes = append(p.changes, c)
				for _, blob := range []string{c.OldHash, c.NewHash} {
					if blob != "" && !slices.Contains(blobs, blob) {
						blobs = append(blobs, blob)
					}
				}
			}
		}
	}
	if err := s.repo.PastBlobs(blobs, func(i int, data []byte) error {
		p.sets[blobs[i]], _ = schema.ReadFile(full, data).Value.(*schema.ConditionSet)
		return nil
	}); err != nil {
		return nil, err
	}
	if s.pasts == nil {
		s.pasts = map[pastAt]*past{}
	}
	s.pasts[at] = p
	return p, nil
}

// stepsOf are what the last commits of its file made of a condition, the oldest first.
func (s *store) stepsOf(rev, root string, now *schema.Recipe) ([]history.Step, error) {
	return s.stepsAmong(rev, root, now, mostSteps)
}

// stepsAmong are the same steps, read from a past of most commits.
func (s *store) stepsAmong(rev, root string, now *schema.Recipe, most int) ([]history.Step, error) {
	p, err := s.pastOf(rev, path.Join(root, now.File.Path), most)
	if err != nil {
		return nil, err
	}
	was := map[string]*schema.Values{}
	for blob, set := range p.sets {
		was[blob] = recipeOf(set, now.ID, now)
	}
	var out []history.Step
	for _, c := range slices.Backward(p.changes) {
		if from, to := was[c.OldHash], was[c.NewHash]; from != nil || to != nil {
			out = append(out, history.Step{From: from, To: to})
		}
	}
	return out, nil
}

// recipeOf is a condition in one content of a set, nil where it does not stand there.
func recipeOf(set *schema.ConditionSet, id schema.ID, now *schema.Recipe) *schema.Values {
	for _, values := range recipesOf(set, now) {
		if at, ok := values.ID(); ok && at == id {
			return values
		}
	}
	return nil
}

// recipesOf are the conditions in one content of a set. What a mix of the shop's own consists of is taken from a recipe as it is now, nil
// where there is none.
func recipesOf(set *schema.ConditionSet, now *schema.Recipe) iter.Seq2[int, *schema.Values] {
	return func(yield func(int, *schema.Values) bool) {
		if set == nil {
			return
		}
		for i := range set.Conditions.V {
			values := &schema.Values{Machine: set.Machine, Material: set.Material, Grade: set.Grade, Gas: set.Gas, Condition: set.Conditions.V[i]}
			if now != nil {
				values.Composition = now.Composition
			}
			if !yield(i, values) {
				return
			}
		}
	}
}

// mergesOf are the merges that left the file of a condition other than each of their parents has it, with what they made of it.
func (s *store) mergesOf(rev, root string, now *schema.Recipe) ([]history.Joint, error) {
	full := path.Join(root, now.File.Path)
	p, err := s.pastOf(rev, full, 0)
	if err != nil {
		return nil, err
	}
	only := &narrowing{store: s, families: map[family]bool{familyOf(now.ID): true}, of: map[string]family{}}
	var out []history.Joint
	for _, entry := range p.merges {
		var sides []*schema.Values
		for _, commit := range append([]string{entry.Hash}, entry.Parents...) {
			t, err := s.saved(commit, root)
			if err != nil {
				return nil, err
			}
			lib, err := s.part(t, only)
			if err != nil {
				return nil, err
			}
			sides = append(sides, values(lib.Recipe(now.ID)))
		}
		out = append(out, history.Joint{To: sides[0], Sides: sides[1:]})
	}
	return out, nil
}
