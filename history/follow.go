package history

import (
	"maps"
	"slices"

	"fettle/history/signature"
	"fettle/schema"
)

// Follow returns what a new decision on these subjects was made in sight of, for its follows: the heads of each subject, and
// those of roster and settings, by whose terms it goes. A decision on roster or settings follows the heads of everything, so
// that stricter terms leave alone what was decided before them.
//
// It is the same for a rejection: that leaves decisions on other content standing, also where it follows them.
func (s *Standing) Follow(subjects []schema.Subject) []string {
	keys := []SubjectKey{rosterKey, settingsKey}
	for _, subject := range subjects {
		keys = append(keys, SubjectKey{subject.Kind.V, subject.ID.V})
	}
	if slices.ContainsFunc(keys[2:], func(k SubjectKey) bool { return k == rosterKey || k == settingsKey }) {
		keys = slices.Collect(maps.Keys(s.states))
	}
	var out []string
	for _, key := range keys {
		if state := s.states[key]; state != nil {
			for _, head := range state.Heads {
				out = append(out, string(head.Record.Digest))
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
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
