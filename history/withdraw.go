package history

import (
	"fmt"
	"slices"

	"fettle/schema"
)

// Withdrawn returns the records that were taken back, each with the withdrawal, as far as the ledger alone can tell: an unsigned
// record by anybody, a signed one that is no decision by the key that signed it. Whether a decision or a waiver was taken back
// by somebody who may is judged by [Ledger.Judge].
func (l *Ledger) Withdrawn() map[schema.Digest]*schema.Record {
	l.index()
	return l.withdrawn
}

func (l *Ledger) findWithdrawn() map[schema.Digest]*schema.Record {
	out := map[schema.Digest]*schema.Record{}
	for _, w := range Bodies[*schema.Withdrawal](l) {
		target := l.Get(schema.Digest(w.Body.Record.V))
		switch {
		case target == nil || target.Kind == schema.KindWithdrawal || mustBeSigned(target) && target.Signature.Set():
			continue
		case target.Signature.Set():
			signed, by := l.check(target, ""), l.check(w.Record, target.Library.V)
			if signed.why == "" && (by.why != "" || string(by.key.Marshal()) != string(signed.key.Marshal())) {
				continue
			}
		}
		if out[target.Digest] == nil {
			out[target.Digest] = w.Record
		}
	}
	return out
}

// takeBack applies the withdrawals of decisions and waivers: of those on roster or settings, or of all others. It reports
// whether there were any.
//
// Whoever made a decision takes it back alone. For somebody else's it takes as many persons as for a decision, and so it does
// for any on roster or settings, and for an approval that counts by several persons: else one person could undo alone what two
// decided. To stop such a recipe one person is enough, who rejects it.
func (s *Standing) takeBack(law bool) bool {
	type group struct {
		target *schema.Record
		by     []*Decision
	}
	var groups []*group
	for _, w := range Bodies[*schema.Withdrawal](s.Ledger) {
		target := s.Ledger.Get(schema.Digest(w.Body.Record.V))
		if target == nil || !target.Signature.Set() || s.void[w.Record.Digest] || s.void[target.Digest] || s.law.in[target.Digest] != nil != law {
			continue
		}
		if !mustBeSigned(target) && target.Kind != schema.KindWithdrawal {
			continue
		}
		person, why := s.vouch(s.charter, w.Record)
		switch {
		case target == s.Anchor || target.Kind == schema.KindWithdrawal:
			s.refuse(w.Record, "an adoption of the roster and a withdrawal cannot be taken back")
			continue
		case why != "":
			s.refuse(w.Record, why)
			continue
		}
		i := slices.IndexFunc(groups, func(g *group) bool { return g.target == target })
		if i < 0 {
			i = len(groups)
			groups = append(groups, &group{target: target})
		}
		groups[i].by = append(groups[i].by, &Decision{Record: w.Record, Person: person})
	}
	some := false
	takeBack := func(g *group) {
		s.Withdrawn[g.target.Digest] = g.by[0].Record
		some = true
	}
	var open []*group
	for _, g := range groups {
		if persons(g.by, 0) >= s.charter.terms.persons {
			takeBack(g)
		} else {
			open = append(open, g)
		}
	}
	needs := make([]int, len(open)) // told before any of these is applied
	for i, g := range open {
		needs[i] = s.charter.terms.persons
		if !law && slices.ContainsFunc(g.by, func(d *Decision) bool { return samePerson(d.Person, g.target.By.V) }) {
			needs[i] = s.neededFor(g.target)
		}
	}
	for i, g := range open {
		if persons(g.by, 0) >= needs[i] {
			takeBack(g)
			continue
		}
		for _, w := range g.by {
			s.note(w.Record, fmt.Sprintf("it waits: this decision is taken back by %d persons", needs[i]))
		}
	}
	return some
}

// neededFor returns how many persons a decision took that counts for what it decided; 1 where it does not count yet.
func (s *Standing) neededFor(r *schema.Record) int {
	need := 1
	body, ok := r.Body.(*schema.Decision)
	if !ok || r.Kind == schema.KindRejection {
		return need
	}
	for _, subject := range body.Subjects.V {
		key := SubjectKey{subject.Kind.V, subject.ID.V}
		decisions := s.withoutOwn(key, s.verified(key))
		full, _ := quorum(newAncestry(s.Ledger, decisions), decisions)
		for d := range full {
			if d.Record == r {
				need = max(need, d.need)
			}
		}
	}
	return need
}
