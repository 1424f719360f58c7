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

	decision *history.Decision
	fields   map[string]schema.Field // see fieldOf
}

// A source is a decision on a recipe of a condition, or a trial of it: both keep its values.
type source struct {
	digest  schema.Digest
	subject *schema.Subject // of a decision, else nil
	trial   *schema.Trial
}

// values are those that the record keeps, nil where they do not fit the digest.
func (s source) values() *schema.Values {
	var v *schema.Values
	if s.subject != nil {
		v = history.ValuesOf(&history.Decision{Subject: s.subject})
	} else {
		own := s.trial.Values.V
		v = &own
	}
	if v == nil || v.Digest() != s.digest {
		return nil
	}
	return v
}

// readDecisions notes which recipes of each condition were decided on and tried, the decisions first.
func (t *Trail) readDecisions() {
	t.approved, t.sources = map[string][]*approval{}, map[string][]source{}
	for _, d := range history.Bodies[*schema.Decision](t.Ledger) {
		for i := range d.Body.Subjects.V {
			if s := &d.Body.Subjects.V[i]; s.Kind.V == schema.SubjectCondition {
				t.sources[s.ID.V] = append(t.sources[s.ID.V], source{schema.Digest(s.Digest.V), s, nil})
			}
		}
	}
	for _, trial := range history.Bodies[*schema.Trial](t.Ledger) {
		t.sources[trial.Body.ID.V] = append(t.sources[trial.Body.ID.V], source{schema.Digest(trial.Body.Digest.V), nil, trial.Body})
	}
}

// explain fills in why a change was made and who approved what it led to.
func (t *Trail) explain(e *Entry, m *move) {
	if m.because == nil {
		said := &explanation{}
		if m.kind != Dropped { // a merge takes what was explained where it was made
			said.why = t.why(e)
		}
		for _, a := range t.approvalsOf(m.id) {
			if a.digest == m.to && !slices.Contains(said.approvedBy, a.person) {
				said.approvedBy = append(said.approvedBy, a.person)
			}
		}
		if m.because = said; len(said.why)+len(said.approvedBy) == 0 {
			m.because = nothingSaid
		}
	}
	if e.Why = m.because.why; !e.Note {
		e.ApprovedBy = m.because.approvedBy
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

// ApprovedLater returns, where nobody approved the recipe that a change led to, whose decision put a later one in force that still had the
// value, before somebody changed it again.
func (e *Entry) ApprovedLater() (persons []string) {
	t := e.trail
	if t == nil || e.Note || e.Kind == Dropped || len(e.ApprovedBy) > 0 {
		return nil
	}
	until := -1 // found out when it matters
	for _, a := range t.approvalsOf(e.ID) {
		saved := t.brought[a.record.Path]
		if saved == nil || saved.pos < e.pos || slices.Contains(persons, a.person) {
			continue
		}
		if until < 0 {
			until = e.until()
		}
		if saved.pos >= until {
			continue
		}
		if same(t.fieldOf(a, e.Field), e.To) {
			persons = append(persons, a.person)
		}
	}
	return persons
}

// fieldOf is a value of what was approved. What it consists of is read when that is first asked for.
func (t *Trail) fieldOf(a *approval, path string) schema.Field {
	if a.fields == nil {
		const most = 256 // at a time: one condition is asked about after another
		if len(t.opened) == most {
			for _, old := range t.opened {
				old.fields = nil
			}
			t.opened = t.opened[:0]
		}
		t.opened = append(t.opened, a)
		a.fields = map[string]schema.Field{}
		if v := history.ValuesOf(a.decision); v != nil {
			for _, f := range schema.Fields(v) {
				a.fields[f.Path] = f
			}
		}
	}
	return a.fields[path]
}

// approvalsOf returns every decision that put a recipe of a condition in force, in order of time.
func (t *Trail) approvalsOf(name string) []*approval {
	if len(t.sources[name]) == 0 {
		return nil
	}
	if known, ok := t.approved[name]; ok {
		return known
	}
	var out []*approval
	if id, err := schema.ParseID(name); err == nil {
		state := t.Standing.Condition(id)
		done := map[schema.Digest]bool{}
		for _, s := range t.sources[name] {
			if s.subject == nil || done[s.digest] {
				continue
			}
			done[s.digest] = true
			for _, d := range state.Once(s.digest) {
				out = append(out, &approval{person: d.Person, record: d.Record, digest: s.digest, decision: d})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b *approval) int { return strings.Compare(a.record.Path, b.record.Path) })
	t.approved[name] = out
	return out
}
