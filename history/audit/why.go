package audit

import (
	"slices"
	"strings"

	"fettle/history"
	"fettle/schema"
)

// An approval is one decision that put a recipe in force, now or at some time.
type approval struct {
	person string
	record *schema.Record
	digest schema.Digest
	fields map[string]schema.Field
}

// explain fills in why each change was made and who approved what it led to.
func (t *Trail) explain() {
	t.approved, t.decided = map[string][]*approval{}, map[string][]schema.Digest{}
	for _, d := range history.Bodies[*schema.Decision](t.Ledger) {
		for _, s := range d.Body.Subjects.V {
			if s.Kind.V == schema.SubjectCondition {
				t.decided[s.ID.V] = append(t.decided[s.ID.V], schema.Digest(s.Digest.V))
			}
		}
	}
	next := map[[2]string]int{} // where the same field is changed again
	for i := len(t.Entries) - 1; i >= 0; i-- {
		e := &t.Entries[i]
		if !e.IsChange() {
			continue
		}
		if e.Kind != Dropped { // a merge takes what was explained where it was made
			e.Why = t.why(e)
		}
		key := [2]string{e.ID, e.Field}
		until, again := next[key]
		if !again {
			until = len(t.commits) + 1
		}
		next[key] = e.pos
		if !e.Note {
			t.approvals(e, until)
		}
	}
}

// why returns the reasons of a change: those saved with it, else one for exactly this step, else those that lead from the old
// recipe to the new one by several steps, else those saved with it that lead to the new recipe from elsewhere, or whose very step it is,
// made again on another recipe.
func (t *Trail) why(e *Entry) []Why {
	edges := t.Ledger.Edges(schema.SubjectCondition, e.ID)
	var exact, with, came []history.Edge
	for _, edge := range edges {
		saved := t.brought[edge.Record.Path]
		here := saved != nil && saved.hash == e.Commit
		switch {
		case edge.From == e.FromDigest && edge.To == e.ToDigest && here:
			return whys([]history.Edge{edge})
		case edge.From == e.FromDigest && edge.To == e.ToDigest:
			if saved != nil && saved.pos < e.pos {
				exact = nil // the last one before the change is nearer than any before it
			}
			exact = append(exact, edge)
		case edge.To == e.ToDigest && here:
			with = append(with, edge)
		case here:
			came = append(came, edge)
		}
	}
	if len(exact) > 0 {
		return whys(exact[:1])
	}
	if path := history.Path(edges, []schema.Digest{e.FromDigest}, e.ToDigest); len(path) > 0 {
		return whys(path)
	}
	if len(with) == 0 && len(came) > 0 && t.madeAgain(e, edges, []schema.Digest{e.FromDigest}, e.pos-1) {
		return whys(came)
	}
	return whys(with)
}

func whys(edges []history.Edge) []Why {
	var out []Why
	for _, e := range edges {
		if slices.ContainsFunc(out, func(w Why) bool { return w.Record == e.Record.Digest }) {
			continue
		}
		out = append(out, Why{Cause: e.Reason.Cause.V, Text: e.Reason.Text.V, By: e.Reason.By.V, At: e.Record.Time(), RuledOut: e.Reason.RuledOut.V,
			Signed: e.Record.Signature.Set(), Record: e.Record.Digest})
	}
	return out
}

// approvals fills in who approved the recipe that a change led to; where nobody did, who approved a later one that still had the
// value, before somebody changed it again.
func (t *Trail) approvals(e *Entry, until int) {
	for _, a := range t.approvalsOf(e.ID) {
		if a.digest == e.ToDigest && !slices.Contains(e.ApprovedBy, a.person) {
			e.ApprovedBy = append(e.ApprovedBy, a.person)
		}
	}
	if len(e.ApprovedBy) > 0 || e.Kind == Dropped {
		return
	}
	for _, a := range t.approvalsOf(e.ID) {
		saved := t.brought[a.record.Path]
		if saved == nil || saved.pos < e.pos || saved.pos >= until || !same(a.fields[e.Field], e.To) {
			continue
		}
		if !slices.Contains(e.ApprovedLater, a.person) {
			e.ApprovedLater = append(e.ApprovedLater, a.person)
		}
	}
}

// approvalsOf returns every decision that put a recipe of a condition in force, in order of time.
func (t *Trail) approvalsOf(name string) []*approval {
	if known, ok := t.approved[name]; ok {
		return known
	}
	var out []*approval
	if id, err := schema.ParseID(name); err == nil {
		state := t.Standing.Condition(id)
		done := map[schema.Digest]bool{}
		for _, digest := range t.decided[name] {
			if done[digest] {
				continue
			}
			done[digest] = true
			for _, d := range state.Once(digest) {
				a := &approval{person: d.Person, record: d.Record, digest: digest, fields: map[string]schema.Field{}}
				if v := history.ValuesOf(d); v != nil {
					for _, f := range schema.Fields(v) {
						a.fields[f.Path] = f
					}
				}
				out = append(out, a)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b *approval) int { return strings.Compare(a.record.Path, b.record.Path) })
	t.approved[name] = out
	return out
}
