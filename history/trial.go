package history

import (
	"slices"

	"fettle/schema"
	"fettle/schema/quantity"
)

// The members of a recipe that its id fixes. They are equal in every trial of the id, so no trial is asked for them.
var identity = []string{"machine", "material", "gas", "thickness", "variant", "process"}

// Covers returns the trials that show a recipe to be good, and which changed values are still to be tried. Only values that
// shape the cut count ([schema.ProcessField]); a nil from is a new condition, and a nil to needs no trial. Where nothing changed
// nothing is missing, and the trials tell whether the recipe was ever shown good on this machine as it is.
//
// A trial cut shows the recipe where it came out good with the very values of to. A ladder shows it too, where to lies strictly
// between two of its good cuts that differ from to in one value only, with no marginal or bad cut between them.
//
// A trial counts where its record is sound, is of this id, was not taken back, carries values that fit its digest, was cut on
// plate of no other grade, and on a machine whose beam and jet are those given; a blank there that was filled since does not
// matter.
//
// What is missing is judged by the good cut that comes closest; all that changed where none is of use.
func (l *Ledger) Covers(id schema.ID, from, to *schema.Values, machine schema.BeamAndJet) (trials []*schema.Record, missing []FieldChange) {
	if to == nil {
		return nil, nil
	}
	changed := slices.DeleteFunc(CompareValues(from, to), func(c FieldChange) bool { return !asksForTrial(c.Path) })
	closest := map[string]bool{} // of the changed values, those that the closest good cut does not have
	for _, c := range changed {
		closest[c.Path] = true
	}
	l.index()
	for _, t := range l.trials[id.String()] {
		ladder := t.ladder(to, machine)
		if ladder.covers() {
			trials = append(trials, t.Record)
			continue
		}
		for _, cut := range ladder {
			if off := cut.offAmong(changed); cut.good && off != nil && len(off) < len(closest) {
				closest = off
			}
		}
	}
	if len(trials) > 0 {
		return trials, nil
	}
	return nil, slices.DeleteFunc(changed, func(c FieldChange) bool { return !closest[c.Path] })
}

func asksForTrial(path string) bool {
	return schema.ProcessField(path) && !slices.Contains(identity, path)
}

// A trialRecord is a sound trial that was not taken back.
type trialRecord struct {
	Record *schema.Record
	Body   *schema.Trial
}

// A trialCut is one step of a trial seen from the recipe in question.
type trialCut struct {
	good bool
	off  []FieldChange // where the cut differs: From is the cut's, To the recipe's
}

type trialLadder []trialCut

// ladder returns the steps of a trial as they differ from a recipe; nil where the trial cannot speak for it.
func (t trialRecord) ladder(to *schema.Values, machine schema.BeamAndJet) trialLadder {
	base := t.Body.Values.V
	if string(base.Digest()) != t.Body.Digest.V {
		return nil
	}
	if own, ok := base.ID(); !ok || own.String() != t.Body.ID.V {
		return nil
	}
	if len(machineDrift(&t.Body.MachineValues.V, &machine)) > 0 {
		return nil
	}
	var out trialLadder
	for i := range t.Body.Steps.V {
		step := &t.Body.Steps.V[i]
		values, ok := stepValues(&base, step)
		if !ok {
			return nil // a bad cut may hide behind what cannot be read
		}
		if id, ok := values.ID(); !ok || id.String() != t.Body.ID.V || values.Grade.Set() && to.Grade.Set() && values.Grade.V != to.Grade.V {
			continue // another plate
		}
		cut := trialCut{good: step.Outcome.V == "good"}
		for _, c := range CompareValues(values, to) {
			if asksForTrial(c.Path) {
				cut.off = append(cut.off, c)
			}
		}
		out = append(out, cut)
	}
	return out
}

// stepValues returns the recipe of one step: the values of the trial with what the step changed. It is false where a change
// names no member of the format, or a value that cannot be read.
func stepValues(base *schema.Values, step *schema.Step) (*schema.Values, bool) {
	if len(step.Changed) == 0 {
		return base, true
	}
	tree := schema.Encode(base)
	for _, row := range step.Changed {
		if err := tree.SetPath(row.Name, schema.Text(row.V)); err != nil {
			return nil, false
		}
	}
	var values schema.Values
	if len(schema.Bind(tree, &values)) > 0 {
		return nil, false
	}
	return &values, true
}

// offAmong returns the paths where the cut differs, or nil where it differs in something that the change left alone: then it
// was cut with another recipe.
func (c trialCut) offAmong(changed []FieldChange) map[string]bool {
	off := map[string]bool{}
	for _, o := range c.off {
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
	var same []rung
	for _, cut := range l {
		switch len(cut.off) {
		case 0:
			if cut.good {
				return true
			}
			same = append(same, rung{})
		case 1:
			off := cut.off[0]
			if !off.From.Quantity.IsZero() && !off.To.Quantity.IsZero() {
				rungs[off.Path] = append(rungs[off.Path], rung{off.From.Quantity, off.From.Quantity.Cmp(off.To.Quantity), cut.good})
			}
		}
	}
	if len(same) > 0 {
		return false // the recipe itself was cut, and never well
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
