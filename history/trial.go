package history

import (
	"slices"

	"fettle/schema"
	"fettle/schema/quantity"
)

// Covers returns the trials that show a recipe to be good, and which changed values are still to be tried. Only values that
// shape the cut count ([schema.ProcessField]); a nil from is a new condition, and a nil to needs no trial. Where nothing changed
// nothing is missing, and the trials tell whether the recipe was ever shown good on this machine as it is.
//
// A trial shows the recipe where the very values of to were cut and came out good every time. A ladder shows it too, where to lies
// strictly between two of its good cuts that differ from to in one value only, with no marginal or bad cut between them. Nothing
// shows a recipe that came out badly when it was last cut with these very values.
//
// Which trials count at all is told at [Ledger.Evidence]. What is missing is judged by the good cut that comes closest; all that
// changed where none is of use.
func (l *Ledger) Covers(id schema.ID, from, to *schema.Values, machine schema.BeamAndJet) (trials []*schema.Record, missing []FieldChange) {
	if to == nil {
		return nil, nil
	}
	return l.Evidence(id, to, machine).Covers(from)
}

// Covers is [Ledger.Covers] for evidence that was gathered already.
func (e *Evidence) Covers(from *schema.Values) (trials []*schema.Record, missing []FieldChange) {
	changed := slices.DeleteFunc(CompareValues(from, e.to), func(c FieldChange) bool { return !asksForTrial(c.Path) })
	closest := map[string]bool{} // of the changed values, those that the closest good cut does not have
	for _, c := range changed {
		closest[c.Path] = true
	}
	against := len(e.Against()) > 0
	for _, ladder := range e.byTrial() {
		if !against && ladder.covers() {
			trials = append(trials, ladder[0].Record)
			continue
		}
		for i := range ladder {
			if off := ladder[i].offAmong(changed); ladder[i].Good() && off != nil && len(off) < len(closest) && (len(off) > 0 || !against) {
				closest = off
			}
		}
	}
	if len(trials) > 0 {
		return trials, nil
	}
	return nil, slices.DeleteFunc(changed, func(c FieldChange) bool { return !closest[c.Path] })
}

// Untried reports whether an approval of a condition lacks the good trial that the policy it was made under asks for, and which
// values none shows. It never changes what is in force: trials are what anybody writes down and takes back, and an approval is
// signed. So whoever shares one is asked, and the trail says it of those that are there.
//
// What changed is held against whatever was approved in its sight and lies nearest. A trial of after the approval may make good what
// was missing; one that came out badly since does not speak against it. Where the policy lets what went stale be approved together, the
// reason in words of an approval of the same values stands for a trial, unless one had come out badly by then.
func (s *Standing) Untried(r *schema.Record, subject *schema.Subject) (missing []FieldChange, lacks bool) {
	id, to, asked := s.askedToTry(r, subject)
	if !asked {
		return nil, false
	}
	evidence := s.Ledger.Evidence(id, to, subject.MachineValues.V)
	then := evidence.until(r.Time())
	for _, from := range s.approvedBefore(r, subject) {
		if from.stale && s.termsFor(r).stale && r.Text.Set() && len(then.Against()) == 0 {
			return nil, false
		}
		for _, e := range []*Evidence{evidence, then} {
			trials, open := e.Covers(from.values)
			if len(trials) > 0 || !from.stale && len(open) == 0 && len(e.Against()) == 0 {
				return nil, false
			}
			if missing == nil || len(open) < len(missing) {
				missing = open
			}
		}
	}
	return missing, true
}

// Unproven returns which of the real machines of a profile nothing shows an approval of changed values to cut well on, though the policy
// that it was made under asks for a trial: each is proven by one good trial of the set. See [Standing.Untried].
func (s *Standing) Unproven(r *schema.Record, subject *schema.Subject, units []string) (out []string) {
	id, to, asked := s.askedToTry(r, subject)
	if !asked || len(units) < 2 {
		return nil
	}
	for _, from := range s.approvedBefore(r, subject) {
		changed := slices.ContainsFunc(CompareValues(from.values, to), func(c FieldChange) bool { return schema.ProcessField(c.Path) })
		if !changed || from.stale && s.termsFor(r).stale {
			return nil
		}
	}
	proven := s.Ledger.ProvenUnits(id, subject.MachineValues.V)
	return slices.DeleteFunc(slices.Clone(units), func(unit string) bool { return proven[unit] })
}

// askedToTry reports whether the policy in sight of an approval asks for a trial of the recipe that it is of.
func (s *Standing) askedToTry(r *schema.Record, subject *schema.Subject) (id schema.ID, to *schema.Values, asked bool) {
	if s.Anchor == nil || r.Kind != schema.KindApproval || subject.Kind.V != schema.SubjectCondition || !s.termsFor(r).trial {
		return id, nil, false
	}
	id, err := schema.ParseID(subject.ID.V)
	to = ValuesOf(&Decision{Record: r, Subject: subject})
	return id, to, err == nil && to != nil
}

// A predecessor is what an approval may be held against: the values in force, or none where nothing was or another machine cut them.
type predecessor struct {
	values *schema.Values
	stale  bool
}

// approvedBefore returns what the approvals give that one has in sight and that no other of them follows.
func (s *Standing) approvedBefore(r *schema.Record, subject *schema.Subject) []predecessor {
	sight := s.sight(r)
	var seen []*Decision
	for _, d := range s.subjects[SubjectKey{subject.Kind.V, subject.ID.V}] {
		if sight[d.Record.Digest] && s.counts(d.Record) && !d.rejects() {
			seen = append(seen, &d)
		}
	}
	var out []predecessor
	for _, d := range seen {
		if slices.ContainsFunc(seen, func(o *Decision) bool { return s.sight(o.Record)[d.Record.Digest] }) {
			continue
		}
		p := predecessor{values: ValuesOf(d)}
		if d.Digest() == schema.Digest(subject.Digest.V) && len(machineDrift(&d.Subject.MachineValues.V, &subject.MachineValues.V)) > 0 {
			p = predecessor{stale: true}
		}
		out = append(out, p)
	}
	if len(out) == 0 {
		out = []predecessor{{}}
	}
	return out
}

// byTrial parts the cuts by the trial they are of, in order of time.
func (e *Evidence) byTrial() []trialLadder {
	var out []trialLadder
	for _, c := range e.Cuts {
		if n := len(out); n > 0 && out[n-1][0].Record == c.Record {
			out[n-1] = append(out[n-1], c)
			continue
		}
		out = append(out, trialLadder{c})
	}
	return out
}

type trialLadder []TrialCut

// offAmong returns the paths where the cut differs, or nil where it differs in something that the change left alone: then it
// was cut with another recipe.
func (c *TrialCut) offAmong(changed []FieldChange) map[string]bool {
	off := map[string]bool{}
	for _, o := range c.Off {
		if !slices.ContainsFunc(changed, func(f FieldChange) bool { return f.Path == o.Path }) {
			return nil
		}
		off[o.Path] = true
	}
	return off
}

// covers reports whether the ladder shows the recipe good.
func (l trialLadder) covers() bool {
	rungs := map[string][]rung{} // by the one value in which they differ
	good, other := 0, 0          // cuts with the very values
	for i := range l {
		cut := &l[i]
		switch {
		case len(cut.Off) == 0 && cut.Good():
			good++
		case len(cut.Off) == 0:
			other++
		case len(cut.Off) == 1:
			off := cut.Off[0]
			if !off.From.Quantity.IsZero() && !off.To.Quantity.IsZero() {
				rungs[off.Path] = append(rungs[off.Path], rung{off.From.Quantity, off.From.Quantity.Cmp(off.To.Quantity), cut.Good()})
			}
		}
	}
	if good+other > 0 {
		return other == 0 // the recipe itself was cut; what lies beside it says no more
	}
	for _, ladder := range rungs {
		if nearestGood(ladder, -1) && nearestGood(ladder, +1) {
			return true
		}
	}
	return false
}

// A rung is a cut that differs from the recipe in one quantity.
type rung struct {
	value quantity.Value
	side  int // -1 below the recipe, +1 above
	good  bool
}

// nearestGood reports whether the nearest rungs on one side are there and all good. A value that was cut twice, once badly, is not.
func nearestGood(ladder []rung, side int) bool {
	var nearest []rung
	for _, r := range ladder {
		if r.side != side {
			continue
		}
		c := 1
		if len(nearest) > 0 {
			c = side * nearest[0].value.Cmp(r.value) // positive where r is nearer
		}
		switch {
		case c > 0:
			nearest = []rung{r}
		case c == 0:
			nearest = append(nearest, r)
		}
	}
	return len(nearest) > 0 && !slices.ContainsFunc(nearest, func(r rung) bool { return !r.good })
}
