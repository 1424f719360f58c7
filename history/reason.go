package history

import (
	"slices"

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
	l.index()
	return slices.DeleteFunc(slices.Clone(l.reasons[SubjectKey{kind, id}]), func(e Edge) bool { return l.withdrawn[e.Record.Digest] != nil })
}

// written returns what reasons say of one subject, those that were taken back among them: they tell who wrote.
func (l *Ledger) written(key SubjectKey) []Edge {
	l.index()
	return l.reasons[key]
}

// index works out, once, what was taken back, what reasons say of each subject, and which trials and permits there are of each id.
func (l *Ledger) index() {
	l.once.Do(func() {
		l.withdrawn = l.findWithdrawn()
		l.reasons = map[SubjectKey][]Edge{}
		for _, r := range Bodies[*schema.Reason](l) {
			for _, c := range r.Body.Changes.V {
				key := SubjectKey{c.Kind.Or(schema.SubjectCondition), c.ID.V}
				l.reasons[key] = append(l.reasons[key], Edge{schema.Digest(c.From.V), schema.Digest(c.To.V), r.Record, r.Body})
			}
		}
		l.trials = map[string][]trialRecord{}
		for _, t := range Bodies[*schema.Trial](l) {
			if l.withdrawn[t.Record.Digest] == nil {
				l.trials[t.Body.ID.V] = append(l.trials[t.Body.ID.V], trialRecord(t))
			}
		}
		l.permits = map[string][]*schema.Permit{}
		for _, p := range Bodies[*schema.Permit](l) {
			if l.withdrawn[p.Record.Digest] == nil {
				l.permits[p.Body.ID.V] = append(l.permits[p.Body.ID.V], p.Body)
			}
		}
	})
}

// Path returns the edges on all ways from any of the starts to the end, or nil where no way leads there. A way ends where it
// first comes to its end and never returns to a start, so what was tried and put back again is not on it. A recipe that did not
// change (a start that is the end) has the empty, non-nil path.
func Path(edges []Edge, starts []schema.Digest, end schema.Digest) []Edge {
	if slices.Contains(starts, end) {
		return []Edge{}
	}
	edges = slices.DeleteFunc(slices.Clone(edges), func(e Edge) bool { return e.From == end || e.From == e.To || slices.Contains(starts, e.To) })
	forward := reach(edges, starts, false)
	if !forward[end] {
		return nil
	}
	backward := reach(edges, []schema.Digest{end}, true)
	return slices.DeleteFunc(edges, func(e Edge) bool { return !forward[e.From] || !backward[e.To] })
}

// Leading returns every recipe from which reasons lead to the end, that one included.
func Leading(edges []Edge, end schema.Digest) map[schema.Digest]bool {
	return reach(edges, []schema.Digest{end}, true)
}

// reach returns every recipe that edges lead to from the starts, or against their direction.
func reach(edges []Edge, starts []schema.Digest, against bool) map[schema.Digest]bool {
	next := make(map[schema.Digest][]schema.Digest, len(edges))
	for _, e := range edges {
		from, to := e.From, e.To
		if against {
			from, to = to, from
		}
		next[from] = append(next[from], to)
	}
	seen := make(map[schema.Digest]bool, len(starts))
	for queue := slices.Clone(starts); len(queue) > 0; queue = queue[1:] {
		if !seen[queue[0]] {
			seen[queue[0]] = true
			queue = append(queue, next[queue[0]]...)
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
	if before == nil || len(path) == 0 {
		return path, true
	}
	known := func(e Edge) bool { return before.Get(e.Record.Digest) != nil }
	left := slices.ContainsFunc(edges, func(e Edge) bool { return e.From == end && e.To != end && known(e) })
	fresh := slices.ContainsFunc(path, func(e Edge) bool { return e.To == end && !known(e) })
	return path, fresh || !left
}
