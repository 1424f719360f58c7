package history

import (
	"slices"

	"fettle/schema"
)

// withoutOwn leaves out approvals by persons who wrote the change themselves, where the policy refuses those.
//
// What somebody wrote counts from the last approval on that enough persons gave. Which those are depends on which approvals are
// left out, so it goes on until none is; each round can only find more.
func (s *Standing) withoutOwn(key SubjectKey, decisions []*Decision) []*Decision {
	if len(s.Ledger.written(key)) == 0 {
		return decisions
	}
	for {
		full, _ := quorum(newAncestry(s.Ledger, decisions), decisions)
		behind := newAncestry(s.Ledger, slices.DeleteFunc(slices.Clone(decisions), func(d *Decision) bool { return !full[d] }))
		left := slices.DeleteFunc(slices.Clone(decisions), func(d *Decision) bool {
			if d.rejects() || d.Record == s.Anchor {
				return false
			}
			d.Own = s.wrote(s.charter, key, behind.of(d.Record), behind, d)
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
// was approved before. A reason that was taken back tells all the same who wrote.
//
// Where the reasons that an approval follows lead all the way, those say who wrote: else whoever can save a file could void an
// approval afterwards with a reason in the name of the approver. A reason that the approver signed counts all the same, unless it
// follows the approval. Reasons that an approval of somebody else before follows are of that one.
func (s *Standing) wrote(c *charter, key SubjectKey, approved []*Decision, behind *ancestry, d *Decision) bool {
	edges := s.Ledger.written(key)
	if len(edges) == 0 {
		return false
	}
	var starts []schema.Digest
	for _, a := range approved {
		starts = append(starts, a.Digest())
	}
	if len(starts) == 0 {
		starts = []schema.Digest{""}
	}
	follows := func(d *Decision, e Edge) bool { return slices.Contains(d.Record.Follows.V, string(e.Record.Digest)) }
	signed := func(e Edge) bool {
		return slices.ContainsFunc(c.seats, func(seat seat) bool { return samePerson(owner(seat.roster, s.keys[e.Record.Digest]), d.Person) })
	}
	settled := s.settledBefore(approved, behind, d)
	edges = slices.DeleteFunc(slices.Clone(edges), func(e Edge) bool {
		return !follows(d, e) && (settled[e.Record.Digest] || s.sight(e.Record)[d.Record.Digest])
	})
	named := slices.DeleteFunc(slices.Clone(edges), func(e Edge) bool { return !follows(d, e) })
	if Path(named, starts, d.Digest()) != nil {
		edges = slices.DeleteFunc(edges, func(e Edge) bool { return !follows(d, e) && !signed(e) })
	}
	return slices.ContainsFunc(authored(edges, starts, d.Digest()), func(e Edge) bool { return samePerson(e.Reason.By.V, d.Person) || signed(e) })
}

// settledBefore returns the reasons that approvals of other persons behind a decision follow. An approval of the person's own
// settles nothing.
func (s *Standing) settledBefore(approved []*Decision, behind *ancestry, d *Decision) map[schema.Digest]bool {
	out := map[schema.Digest]bool{}
	seen := map[*Decision]bool{}
	for queue := slices.Clone(approved); len(queue) > 0; queue = queue[1:] {
		a := queue[0]
		if seen[a] {
			continue
		}
		seen[a] = true
		if !a.rejects() && !samePerson(a.Person, d.Person) {
			for _, digest := range a.Record.Follows.V {
				out[schema.Digest(digest)] = true
			}
		}
		queue = append(queue, behind.of(a.Record)...)
	}
	return out
}

// authored returns the reasons that a recipe rests on. Where no way leads from what was approved, everything that leads here does.
func authored(edges []Edge, starts []schema.Digest, end schema.Digest) []Edge {
	if path := Path(edges, starts, end); path != nil {
		return path
	}
	to := reach(edges, []schema.Digest{end}, true)
	return slices.DeleteFunc(slices.Clone(edges), func(e Edge) bool { return !to[e.To] })
}

// OwnAllowed reports whether somebody may decide on what they wrote, by the policy that a decision has to meet: one that came later, and by which
// they may, does not make it good. There must be an adoption.
func (s *Standing) OwnAllowed(r *schema.Record) bool { return s.termsFor(r).own }
