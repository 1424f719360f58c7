package hooks

import (
	"slices"
	"strings"

	"fettle/history"
	"fettle/lint"
	"fettle/lint/trial"
	"fettle/schema"
	"fettle/schema/quantity"
)

// Tried is what the trials on record say of a change of one condition.
type Tried struct {
	Evidence *history.Evidence
	Covering []*schema.Record      // that show the new recipe to be good
	Missing  []history.FieldChange // changed values that no trial shows
	Windows  []Along               // of the changed values that were varied alone
}

// Along is what is known along one value of a recipe, all else equal.
type Along struct {
	Path   string
	Value  quantity.Value // of the recipe
	Step   quantity.Value // in which the machine sets it
	Cuts   []history.TrialCut
	Passed []history.TrialCut // cuts that were not good and that a newer trial of the same value, good throughout, has passed by
	Levels []trial.Level
	Window trial.Window // around the value, or else the longest
	Found  bool
}

// Try gathers what the trials of a condition say of the change from one recipe to another. Either recipe may be nil, and so may the
// machine.
func Try(ledger *history.Ledger, id schema.ID, from, to *schema.Values, machine *schema.Machine) Tried {
	if to == nil {
		return Tried{Evidence: &history.Evidence{}}
	}
	var jet schema.BeamAndJet
	if machine != nil {
		jet = machine.BeamAndJet(id.Gas)
	}
	t := Tried{Evidence: ledger.Evidence(id, to, jet)}
	t.Covering, t.Missing = t.Evidence.Covers(from)
	if from == nil || len(t.Evidence.Cuts) == 0 {
		return t
	}
	for _, c := range history.CompareValues(from, to) {
		if !c.To.Quantity.IsZero() && schema.ProcessField(c.Path) {
			if along := AlongOf(t.Evidence, c.Path, machine); along.Found {
				t.Windows = append(t.Windows, along)
			}
		}
	}
	return t
}

// AlongOf gathers what is known along one value.
func AlongOf(e *history.Evidence, path string, machine *schema.Machine) Along {
	a := Along{Path: path, Value: e.Recipe(path)}
	a.Cuts, a.Passed = lastWord(e, path)
	var cuts []trial.Cut
	typed := []quantity.Value{a.Value}
	for _, c := range a.Cuts {
		v := e.ValueOf(c, path)
		typed = append(typed, v)
		cuts = append(cuts, trial.Cut{Value: v, Outcome: trial.OutcomeNamed(c.Step.Outcome.V), Symptoms: c.Step.Observed.V})
	}
	declared := ""
	if machine != nil {
		declared, _ = machine.Export.V.Resolution.Get(path)
	}
	a.Step = trial.Step(declared, typed...)
	a.Levels = trial.Levels(cuts)
	a.Window, a.Found = trial.Around(trial.Windows(a.Levels), a.Value)
	return a
}

// lastWord leaves out what a newer trial of the same value has passed by: a worn nozzle was changed, and the value cuts well since.
// Where the newest trial of a value is not good throughout, all of them count.
func lastWord(e *history.Evidence, path string) (cuts, passed []history.TrialCut) {
	type word struct {
		record *schema.Record
		good   bool
	}
	last := map[string]*word{} // by exact value
	all := e.Along(path)       // in order of time
	for _, c := range all {
		key := e.ValueOf(c, path).Canonical()
		if w := last[key]; w != nil && w.record == c.Record {
			w.good = w.good && c.Good()
			continue
		}
		last[key] = &word{c.Record, c.Good()}
	}
	for _, c := range all {
		if w := last[e.ValueOf(c, path).Canonical()]; w.good && w.record != c.Record && !c.Good() {
			passed = append(passed, c)
			continue
		}
		cuts = append(cuts, c)
	}
	return cuts, passed
}

// Trials are the records that the cuts are of, in order of time.
func (a Along) Trials() []*schema.Record {
	var out []*schema.Record
	for _, c := range a.Cuts {
		if !slices.Contains(out, c.Record) {
			out = append(out, c.Record)
		}
	}
	return out
}

// Against says what a trial with the very values came out like, where it was the last of them and not good: "bad on 2 November 2026 on
// bay-2 (dross)".
func (t Tried) Against() string {
	cuts := t.Evidence.Against()
	if len(cuts) == 0 {
		return ""
	}
	c := cuts[0]
	for _, other := range cuts[1:] {
		if other.Step.Outcome.V == "bad" && c.Step.Outcome.V != "bad" {
			c = other
		}
	}
	text := c.Step.Outcome.V + " on " + c.Record.Time().Local().Format("2 January 2006")
	if c.Trial.Unit.Set() {
		text += " on " + c.Trial.Unit.V
	}
	if len(c.Step.Observed.V) > 0 {
		text += " (" + strings.Join(c.Step.Observed.V, ", ") + ")"
	}
	return text
}

// Tell puts what was tried into a change for the rules.
func (t Tried) Tell(c *lint.Change) {
	c.TrialCovers = len(t.Covering) > 0 && len(t.Missing) == 0
	c.Against = t.Against()
	for _, a := range t.Windows {
		c.Windows = append(c.Windows, lint.Window{Path: a.Path, Low: a.Window.Low, High: a.Window.High, Steps: a.Window.Steps, Cuts: a.Window.Cuts})
	}
}

// untried are approvals in the commit that lack the good trial that the policy asks for. Each is a change whose recipe stays what it is,
// so that no other rule speaks.
func (c Case) untried(standing *history.Standing) []lint.Change {
	var out []lint.Change
	for _, r := range c.added() {
		d, ok := r.Body.(*schema.Decision)
		if !ok || r.Kind != schema.KindApproval || standing.Refused[r.Digest] != "" || standing.Withdrawn[r.Digest] != nil {
			continue
		}
		for i := range d.Subjects.V {
			subject := &d.Subjects.V[i]
			id, err := schema.ParseID(subject.ID.V)
			if err != nil || c.about != nil && !c.about(id) {
				continue
			}
			missing, lacks := standing.Untried(r, subject)
			unproven := standing.Unproven(r, subject, c.units(id.Machine))
			if !lacks && len(unproven) == 0 {
				continue
			}
			values := values(c.Now.Lib.Recipe(id))
			change := lint.Change{ID: id, Before: values, After: values, Reasoned: true, Untried: r.By.V}
			if !lacks {
				change.Unproven = unproven
			}
			for _, m := range missing {
				change.NotShown = append(change.NotShown, m.Path)
			}
			out = append(out, change)
		}
	}
	return out
}

// units are the real machines that a profile had before and has now: what is added to it is proven after that.
func (c Case) units(machine string) []string {
	was, now := c.Before.Lib.Machine(machine), c.Now.Lib.Machine(machine)
	if was == nil || now == nil {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(now.UnitNames()), func(unit string) bool { return !slices.Contains(was.UnitNames(), unit) })
}
