package history

import (
	"slices"
	"strings"
	"time"

	"fettle/schema"
	"fettle/schema/quantity"
)

// The members of a recipe that its id fixes. They are equal in every trial of the id, so no trial is asked for them.
var identity = []string{"machine", "material", "gas", "thickness", "variant", "process"}

func asksForTrial(path string) bool {
	return schema.ProcessField(path) && !slices.Contains(identity, path)
}

// A trialRecord is a sound trial that was not taken back.
type trialRecord struct {
	Record *schema.Record
	Body   *schema.Trial
}

// A TrialCut is one cut of a trial that counts, seen from a recipe.
type TrialCut struct {
	Record *schema.Record
	Trial  *schema.Trial
	Step   *schema.Step
	Off    []FieldChange // values that shape the cut and differ: From is the cut's, To the recipe's
}

// Good reports whether it came out good.
func (c *TrialCut) Good() bool { return c.Step.Outcome.V == "good" }

// A SetAside is a trial of a condition that does not count, and why.
type SetAside struct {
	Record *schema.Record
	Why    string
}

// Evidence is what the trials on record say of one recipe.
type Evidence struct {
	Cuts  []TrialCut // in order of time
	Aside []SetAside
	to    *schema.Values
	at    map[string]schema.Field // of to, by path
}

// Evidence gathers the trials of a condition as they bear on a recipe of it. A trial counts where its record is sound, was not taken
// back, carries values that fit its digest, was cut with all overrides at 100 %, on plate of no other grade, and on a machine whose
// beam and jet are those given; a blank there that was filled since does not matter. Which of the real machines of a profile it was
// cut on makes no difference here; see [Ledger.ProvenUnits].
func (l *Ledger) Evidence(id schema.ID, to *schema.Values, machine schema.BeamAndJet) *Evidence {
	l.index()
	e := &Evidence{to: to}
	trials := l.trials[id.String()]
	if len(trials) > 0 {
		e.at = fieldsAt(to)
	}
	for _, t := range trials {
		cuts, why := t.seenFrom(e, machine)
		if why != "" {
			e.Aside = append(e.Aside, SetAside{t.Record, why})
		}
		e.Cuts = append(e.Cuts, cuts...)
	}
	return e
}

// seenFrom returns the steps of a trial as they differ from a recipe, or why the trial cannot speak for it.
func (t trialRecord) seenFrom(e *Evidence, machine schema.BeamAndJet) (cuts []TrialCut, why string) {
	to := e.to
	if why := t.unfit(&machine); why != "" {
		return nil, why
	}
	base := t.Body.Values.V
	if t.Body.Grade.Set() {
		base.Grade = t.Body.Grade
	}
	plain := newPlainSteps(&base, e)
	for i := range t.Body.Steps.V {
		step := &t.Body.Steps.V[i]
		if off, ok := plain.off(step); ok && !otherGrade(base.Grade.V, to.Grade.V) {
			cuts = append(cuts, TrialCut{Record: t.Record, Trial: t.Body, Step: step, Off: off})
			continue
		}
		values, ok := stepValues(&base, step)
		if !ok {
			return nil, "a step of it cannot be read, and a bad cut may hide there"
		}
		if id, ok := values.ID(); !ok || id.String() != t.Body.ID.V {
			why = "steps of it were cut on another plate"
			continue
		}
		if otherGrade(values.Grade.V, to.Grade.V) {
			why = "cut on " + values.Grade.V + ", and this is for " + to.Grade.V
			continue
		}
		cut := TrialCut{Record: t.Record, Trial: t.Body, Step: step}
		for _, c := range CompareValues(values, to) {
			if asksForTrial(c.Path) {
				cut.Off = append(cut.Off, c)
			}
		}
		cuts = append(cuts, cut)
	}
	return cuts, why
}

// until is what was known of the recipe at a time.
func (e *Evidence) until(at time.Time) *Evidence {
	before := *e
	before.Cuts = slices.DeleteFunc(slices.Clone(e.Cuts), func(c TrialCut) bool { return c.Record.Time().After(at) })
	return &before
}

func otherGrade(a, b string) bool {
	return a != "" && b != "" && !strings.EqualFold(strings.TrimSpace(a), strings.TrimSpace(b))
}

// unfit says why a trial can speak for no recipe on a machine, or nothing.
func (t trialRecord) unfit(machine *schema.BeamAndJet) string {
	base := &t.Body.Values.V
	if own, ok := base.ID(); string(base.Digest()) != t.Body.Digest.V || !ok || own.String() != t.Body.ID.V {
		return "its values do not fit what it says it is of"
	}
	for _, o := range t.Body.Overrides {
		if !o.V.Equal(whole) {
			return "cut with the " + o.Name + " override at " + o.V.Text() + ", so not with the values written down"
		}
	}
	if drift := machineDrift(&t.Body.MachineValues.V, machine); len(drift) > 0 {
		return "the machine was another one then: " + sayChange(drift[0])
	}
	return ""
}

// whole is an override that changes nothing.
var whole = quantity.MustParseOf[quantity.Ratio]("100 %")

func sayChange(c FieldChange) string {
	to := c.To.Text
	if c.To.Path == "" {
		to = "nothing"
	}
	return schema.SpokenPath(c.Path) + " " + c.From.Text + " then, " + to + " now"
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

// Against returns the cuts with the very values of the recipe that did not come out good, where they are the last word: the trial
// that cut these values last has one of them.
func (e *Evidence) Against() []TrialCut {
	var last *schema.Record
	for _, c := range e.Cuts {
		if len(c.Off) == 0 {
			last = c.Record
		}
	}
	var out []TrialCut
	for _, c := range e.Cuts {
		if len(c.Off) == 0 && c.Record == last && !c.Good() {
			out = append(out, c)
		}
	}
	return out
}

// Along returns the cuts that differ from the recipe in one value only, or in none: what is known along that value, all else equal.
// Cuts where the value is no quantity are left out.
func (e *Evidence) Along(path string) []TrialCut {
	var out []TrialCut
	for _, c := range e.Cuts {
		if len(c.Off) == 0 || len(c.Off) == 1 && c.Off[0].Path == path {
			if v := e.ValueOf(c, path); !v.IsZero() {
				out = append(out, c)
			}
		}
	}
	return out
}

// plainSteps tells of the common step, which changes quantities that the recipe has, where it differs, without building its recipe.
type plainSteps struct {
	base map[string]schema.Field
	off0 []FieldChange // where the recipe of the trial differs
	at   map[string]schema.Field
}

func newPlainSteps(base *schema.Values, e *Evidence) plainSteps {
	p := plainSteps{base: fieldsAt(base), at: e.at}
	for _, c := range CompareValues(base, e.to) {
		if asksForTrial(c.Path) {
			p.off0 = append(p.off0, c)
		}
	}
	return p
}

// off returns where a step differs; false where it is not such a step.
func (p *plainSteps) off(step *schema.Step) ([]FieldChange, bool) {
	if len(step.Changed) == 0 {
		return p.off0, true
	}
	out := slices.Clone(p.off0)
	for _, row := range step.Changed {
		was, ok := p.base[row.Name]
		if !ok || was.Quantity.IsZero() || !asksForTrial(row.Name) {
			return nil, false
		}
		v, err := quantity.Parse(was.Quantity.Dimension(), row.V)
		if err != nil {
			return nil, false
		}
		out = slices.DeleteFunc(out, func(c FieldChange) bool { return c.Path == row.Name })
		to, there := p.at[row.Name]
		if !there || !to.Quantity.Equal(v) {
			out = append(out, FieldChange{row.Name, schema.Field{Path: row.Name, Text: row.V, Quantity: v, At: schema.Made}, to})
		}
	}
	return out, true
}

func fieldsAt(v *schema.Values) map[string]schema.Field {
	out := map[string]schema.Field{}
	for _, f := range schema.Fields(v) {
		out[f.Path] = f
	}
	return out
}

// ValueOf is the value that a cut had at a path; no value where there is no quantity.
func (e *Evidence) ValueOf(c TrialCut, path string) quantity.Value {
	for _, off := range c.Off {
		if off.Path == path {
			return off.From.Quantity
		}
	}
	return e.Recipe(path)
}

// Recipe is the value that the recipe in question has at a path; no value where there is no quantity.
func (e *Evidence) Recipe(path string) quantity.Value { return e.at[path].Quantity }

// Varied returns the quantities along which there is more than the recipe itself, in the order of the format.
func (e *Evidence) Varied() []string {
	var out []string
	for _, f := range schema.Fields(e.to) {
		varied := slices.ContainsFunc(e.Cuts, func(c TrialCut) bool {
			return len(c.Off) == 1 && c.Off[0].Path == f.Path && !c.Off[0].From.Quantity.IsZero()
		})
		if varied && !f.Quantity.IsZero() {
			out = append(out, f.Path)
		}
	}
	return out
}

// MachineDrift returns what of a machine that shapes beam and jet is another now. A blank that was filled since is none.
func MachineDrift(was, now *schema.BeamAndJet) []FieldChange { return machineDrift(was, now) }

// Tried reports whether any trial of a condition is on record.
func (l *Ledger) Tried(id schema.ID) bool {
	l.index()
	return len(l.trials[id.String()]) > 0
}

// ProvenUnits returns the real machines on which a good cut of a set is on record, with the machine as it is: one good trial of any of
// its conditions shows that a twin cuts like its brother.
func (l *Ledger) ProvenUnits(id schema.ID, machine schema.BeamAndJet) map[string]bool {
	l.index()
	out := map[string]bool{}
	set := id.Machine + "/" + id.Material + "/" + id.Gas + "/"
	for of, trials := range l.trials {
		if !strings.HasPrefix(of, set) {
			continue
		}
		for _, t := range trials {
			good := slices.ContainsFunc(t.Body.Steps.V, func(s schema.Step) bool { return s.Outcome.V == "good" })
			if good && t.unfit(&machine) == "" {
				out[t.Body.Unit.V] = true
			}
		}
	}
	return out
}

// hotNozzle is where a nozzle counts as hot after a cut. Common practice, no source: a nozzle that the beam does not touch is warm at
// most.
var hotNozzle = quantity.MustParseOf[quantity.Temperature]("60 degC")

// Hot reports whether the nozzle was hot after a cut: the beam may touch it, or light come back into it.
func Hot(step *schema.Step) bool {
	m := &step.Measured.V
	return slices.Contains(step.Observed.V, "hot-nozzle") || m.NozzleHeat.V == "hot" || m.NozzleDegrees.Set() && !m.NozzleDegrees.V.Below(hotNozzle)
}

// HotCuts is how many cuts of a trial left a hot nozzle. It is 0 from the day on which somebody said what it was: a record of kind
// cause, of this condition and unit, with the symptom hot-nozzle.
func (l *Ledger) HotCuts(r *schema.Record) int {
	t, ok := r.Body.(*schema.Trial)
	if !ok {
		return 0
	}
	n := 0
	for i := range t.Steps.V {
		if Hot(&t.Steps.V[i]) {
			n++
		}
	}
	if n == 0 {
		return 0
	}
	l.index()
	for _, c := range Bodies[*schema.Cause](l) {
		if l.withdrawn[c.Record.Digest] == nil && c.Body.ID.V == t.ID.V && (c.Body.Unit.V == t.Unit.V || !c.Body.Unit.Set()) &&
			slices.Contains(c.Body.Symptom.V, "hot-nozzle") && !c.Record.Time().Before(r.Time()) {
			return 0
		}
	}
	return n
}
