package history

import (
	"slices"
	"time"

	"fettle/schema"
)

// withoutOwn leaves out approvals by persons who wrote the change themselves, where the policy refuses those.
//
// What somebody wrote counts from the last approval on that enough persons gave. Which those are depends on which approvals are
// left out, so it goes on until none is; each round can only find more.
func (s *Standing) withoutOwn(key SubjectKey, decisions []*Decision) []*Decision {
	if len(s.Ledger.Edges(key.Kind, key.ID)) == 0 {
		return decisions
	}
	for {
		full, _ := quorum(newAncestry(s.Ledger, decisions), decisions)
		behind := newAncestry(s.Ledger, slices.DeleteFunc(slices.Clone(decisions), func(d *Decision) bool { return !full[d] }))
		left := slices.DeleteFunc(slices.Clone(decisions), func(d *Decision) bool {
			if d.rejects() || d.adopts() {
				return false
			}
			d.Own = s.wrote(s.charter, key, behind.of(d.Record), d)
			refused := d.Own && !s.termsFor(d.Record).own
			if refused {
				s.note(d.Record, d.Person+" wrote the change themselves")
			}
			return refused
		})
		if len(left) == len(decisions) {
			return left
		}
		decisions = left
	}
}

// wrote reports whether the person of an approval wrote a part of what it approves: gave or signed a reason on a way from what
// was approved before.
func (s *Standing) wrote(c *charter, key SubjectKey, approved []*Decision, d *Decision) bool {
	edges := s.Ledger.Edges(key.Kind, key.ID)
	if len(edges) == 0 {
		return false
	}
	var starts []schema.Digest
	var since time.Time
	for _, a := range approved {
		starts = append(starts, a.Digest())
		if at := a.Record.Time(); at.After(since) {
			since = at
		}
	}
	if len(starts) == 0 {
		starts = []schema.Digest{""}
	}
	return slices.ContainsFunc(authored(edges, starts, since, d.Digest()), func(e Edge) bool {
		if samePerson(e.Reason.By.V, d.Person) {
			return true
		}
		return slices.ContainsFunc(c.seats, func(seat seat) bool { return samePerson(owner(seat.roster, s.keys[e.Record.Digest]), d.Person) })
	})
}

// authored returns the reasons that a recipe rests on since it was approved last. What was explained before and came back
// counts only where nothing newer explains it. Where no way leads from what was approved, everything that leads here does.
func authored(edges []Edge, starts []schema.Digest, since time.Time, end schema.Digest) []Edge {
	fresh := slices.DeleteFunc(slices.Clone(edges), func(e Edge) bool { return e.Record.Time().Before(since) })
	for _, list := range [][]Edge{fresh, edges} {
		if path := Path(list, starts, end); path != nil {
			return path
		}
	}
	to := reach(edges, []schema.Digest{end}, true)
	return slices.DeleteFunc(slices.Clone(edges), func(e Edge) bool { return !to[e.To] })
}
