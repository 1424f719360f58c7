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
// for any on roster or settings: else one person could undo alone what two decided.
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
	need := s.charter.terms.persons
	some := false
	for _, g := range groups {
		own := !law && slices.ContainsFunc(g.by, func(d *Decision) bool { return samePerson(d.Person, g.target.By.V) })
		if !own && persons(g.by, 0) < need {
			for _, w := range g.by {
				s.note(w.Record, fmt.Sprintf("it waits: this decision is taken back by %d persons", need))
			}
			continue
		}
		s.Withdrawn[g.target.Digest] = g.by[0].Record
		some = true
	}
	return some
}
