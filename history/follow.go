package history

import (
	"maps"
	"slices"

	"fettle/history/signature"
	"fettle/schema"
)

// Follow returns what a new decision of a kind on these subjects was made in sight of, for its follows: the heads of each subject,
// those of roster and settings, by whose terms it goes, and the reasons of what it approves, which say who wrote that. A decision on
// roster or settings follows the heads of everything, so that stricter terms leave alone what was decided before them. A rejection
// follows decisions on its own content only, those that wait for more persons among them. A reason follows the heads of its subjects,
// so that it is never taken for one that an approval before it rests on.
func (s *Standing) Follow(kind string, subjects []schema.Subject) []string {
	if s.charter == nil {
		return nil
	}
	var out []string
	add := func(decisions []*Decision) {
		for _, d := range decisions {
			out = append(out, string(d.Record.Digest))
		}
	}
	law := []SubjectKey{rosterKey, settingsKey}
	for _, subject := range subjects {
		key, content := SubjectKey{subject.Kind.V, subject.ID.V}, schema.Digest(subject.Digest.V)
		if slices.Contains(law, key) {
			law = slices.Collect(maps.Keys(s.states))
		}
		state := s.states[key]
		if kind == schema.KindRejection {
			if state != nil {
				add(slices.DeleteFunc(slices.Concat(state.Heads, state.Pending), func(d *Decision) bool { return d.Digest() != content }))
			}
			continue
		}
		if state != nil {
			add(state.Heads)
		}
		if kind != schema.KindReason {
			out = append(out, s.reasonsFor(key, state, content)...)
		}
	}
	if kind == schema.KindReason {
		law = nil
	}
	for _, key := range law {
		if state := s.states[key]; state != nil {
			add(state.Heads)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// reasonsFor returns the reasons that lead from what was approved last to a content.
func (s *Standing) reasonsFor(key SubjectKey, state *State, content schema.Digest) []string {
	var starts []schema.Digest
	if state != nil && state.behind != nil {
		for _, d := range state.behind.through(state.Heads) {
			if !d.rejects() {
				starts = append(starts, d.Digest())
			}
		}
	}
	if len(starts) == 0 {
		starts = []schema.Digest{""}
	}
	var out []string
	for _, e := range Path(s.Ledger.written(key), starts, content) {
		out = append(out, string(e.Record.Digest))
	}
	return out
}

// Keeps returns the decisions, withdrawals and waivers that count now and would not by another roster: those of keys that it
// drops or that had expired by its terms. The approval of that roster lists the ones that are to go on counting; a withdrawal
// that is not kept brings back what it took back.
func (s *Standing) Keeps(next *signature.Roster) []string {
	var out []string
	for _, r := range s.Ledger.Records {
		if !Sound(r) || r.Kind != schema.KindWithdrawal && !mustBeSigned(r) || r == s.Anchor || !r.Signature.Set() || s.Refused[r.Digest] != "" || !s.Vouched(r) {
			continue
		}
		if _, err := next.Find(s.keys[r.Digest], r.Time()); err != nil {
			out = append(out, string(r.Digest))
		}
	}
	return out
}
