package history

import (
	"fettle/schema"
)

// An Edge is one change of one subject that a reason explains.
type Edge struct {
	From, To schema.Digest // "" for new and for removed
	Record   *schema.Record
	Reason   *schema.Reason
}

// Edges returns what reasons say of one subject, in order of time. Withdrawn reasons are left out.
func (l *Ledger) Edges(kind, id string) []Edge {
	withdrawn := l.Withdrawn()
	var edges []Edge
	for _, r := range Bodies[*schema.Reason](l) {
		if withdrawn[r.Record.Digest] != nil {
			continue
		}
		for _, c := range r.Body.Changes.V {
			if c.ID.V == id && c.Kind.Or(schema.SubjectCondition) == kind {
				edges = append(edges, Edge{schema.Digest(c.From.V), schema.Digest(c.To.V), r.Record, r.Body})
			}
		}
	}
	return edges
}

// Withdrawn returns the records that were taken back, each with the withdrawal. Whether a signed record was taken back by
// somebody who may is judged by [Ledger.Judge]; here an unsigned withdrawal reaches unsigned records only.
func (l *Ledger) Withdrawn() map[schema.Digest]*schema.Record {
	out := map[schema.Digest]*schema.Record{}
	for _, w := range Bodies[*schema.Withdrawal](l) {
		target := l.Get(schema.Digest(w.Body.Record.V))
		if target != nil && target.Kind != schema.KindWithdrawal && !target.Signature.Set() {
			out[target.Digest] = w.Record
		}
	}
	return out
}

// Path returns the edges on all ways from any of the starts to the end, or nil where no way leads there. A recipe that did not
// change (a start that is the end) has the empty, non-nil path.
func Path(edges []Edge, starts []schema.Digest, end schema.Digest) []Edge {
	forward := reach(edges, starts, false)
	if !forward[end] {
		return nil
	}
	backward := reach(edges, []schema.Digest{end}, true)
	path := []Edge{}
	for _, e := range edges {
		if forward[e.From] && backward[e.To] && e.From != e.To {
			path = append(path, e)
		}
	}
	return path
}

// reach returns every recipe that edges lead to from the starts, or against their direction.
func reach(edges []Edge, starts []schema.Digest, against bool) map[schema.Digest]bool {
	seen := map[schema.Digest]bool{}
	for _, s := range starts {
		seen[s] = true
	}
	for grew := true; grew; {
		grew = false
		for _, e := range edges {
			from, to := e.From, e.To
			if against {
				from, to = to, from
			}
			if seen[from] && !seen[to] {
				seen[to], grew = true, true
			}
		}
	}
	return seen
}

// Reasoned reports whether reasons lead to a recipe from one of the starts: the recipe saved before, or the one approved. A
// change that was explained once, undone and made again needs a new reason: then one edge at least must not be among those
// known before.
func (l *Ledger) Reasoned(kind, id string, starts []schema.Digest, end schema.Digest, before *Ledger) (path []Edge, ok bool) {
	edges := l.Edges(kind, id)
	path = Path(edges, starts, end)
	if path == nil {
		return nil, false
	}
	left := false
	fresh := false
	for _, e := range edges {
		known := before != nil && before.Get(e.Record.Digest) != nil
		left = left || known && e.From == end
		fresh = fresh || !known && e.To == end
	}
	return path, fresh || !left || before == nil
}
