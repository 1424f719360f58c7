package history

import (
	"slices"

	"fettle/schema"
)

// Terms are what of a policy an approval is held to. The first two bear on whether it counts; see [Standing.Untried] for the others.
type terms struct {
	persons int
	own     bool // whether a person may approve what they wrote
	trial   bool // whether a good trial has to stand behind it
	stale   bool // whether a reason in words will do for that where only the machine changed
}

func (t terms) and(other terms) terms {
	return terms{max(t.persons, other.persons), t.own && other.own, t.trial || other.trial, t.stale && other.stale}
}

func termsOf(set *schema.Settings) terms {
	if set == nil {
		return terms{persons: 1}
	}
	return terms{set.Policy.V.ApprovalsNeeded(), set.Policy.V.OwnChangeAllowed(), set.Policy.V.TrialRequired(), set.Policy.V.StaleTogether()}
}

// termsFor returns the terms that a decision must meet: those that it was made in sight of, and those in force unless they were
// decided in sight of it. So a shop that grows stricter keeps what it approved before, and nobody goes by the old terms later.
func (s *Standing) termsFor(r *schema.Record) terms {
	return s.unseen(r, s.charter.settings.speaking, s.view(r).terms)
}

// unseen adds to terms those of settings that speak and were decided without a record in sight.
func (s *Standing) unseen(r *schema.Record, speaking []*Decision, t terms) terms {
	for _, group := range byContent(speaking) {
		if !slices.ContainsFunc(group, func(d *Decision) bool { return s.sight(d.Record)[r.Digest] }) {
			t = t.and(termsOf(settingsOf(group[0].Subject)))
		}
	}
	return t
}

// sight returns every record behind one; see [ancestry] for what is looked through.
func (s *Standing) sight(r *schema.Record) map[schema.Digest]bool {
	if known := s.sights[r.Digest]; known != nil {
		return known
	}
	seen := map[schema.Digest]bool{}
	for queue := []*schema.Record{r}; len(queue) > 0; queue = queue[1:] {
		if queue[0] != r && !isDecision(queue[0]) {
			continue
		}
		for _, followed := range queue[0].Follows.V {
			if next := s.Ledger.Get(schema.Digest(followed)); next != nil && !seen[next.Digest] {
				seen[next.Digest] = true
				queue = append(queue, next)
			}
		}
	}
	s.sights[r.Digest] = seen
	return seen
}

func settingsOf(subject *schema.Subject) *schema.Settings {
	var set schema.Settings
	if !subject.Values.Set() || len(schema.Bind(subject.Values.V, &set)) > 0 {
		return nil
	}
	return &set
}

// settingsIn returns the settings that speak. Where they contradict each other it is the oldest of them with the stricter
// policy of all; nil where nobody ever decided on settings.
func settingsIn(speaking []*Decision) *schema.Settings {
	var out *schema.Settings
	for _, group := range byContent(speaking) {
		set := settingsOf(group[0].Subject)
		switch {
		case set == nil:
		case out == nil:
			out = set
		default:
			out.Policy = schema.Of(stricter(out.Policy.V, set.Policy.V))
		}
	}
	return out
}

// stricter returns the policy that asks for whatever one of two asks for.
func stricter(a, b schema.Policy) schema.Policy {
	out := a
	out.Approvals = schema.Of(max(a.ApprovalsNeeded(), b.ApprovalsNeeded()))
	word := func(to *schema.Member[string], strict, lax string, isStrict bool) {
		if *to = schema.Of(lax); isStrict {
			*to = schema.Of(strict)
		}
	}
	word(&out.OwnChange, "refuse", "allow", !a.OwnChangeAllowed() || !b.OwnChangeAllowed())
	word(&out.Trial, "require", "off", a.TrialRequired() || b.TrialRequired())
	word(&out.Stale, "refuse", "allow", !a.StaleTogether() || !b.StaleTogether())
	word(&out.Reason, "require", "off", a.ReasonRequired() || b.ReasonRequired())
	word(&out.SignedChanges, "require", "off", a.SignedChangesRequired() || b.SignedChangesRequired())
	word(&out.MissingTool, "block", "pass", a.MissingTool.V != "pass" || b.MissingTool.V != "pass")
	branches := slices.Concat(a.Protected.V, b.Protected.V)
	slices.Sort(branches)
	if branches = slices.Compact(branches); len(branches) > 0 {
		out.Protected = schema.Of(branches)
	}
	return out
}
