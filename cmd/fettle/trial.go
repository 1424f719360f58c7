package main

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/schema"
)

// trialFlags describe a trial cut on the command line.
type trialFlags struct {
	unit, plate, lot, text     string
	good, marginal, bad        bool
	values, observed, measured []string
	steps                      []string
	noCommit                   bool
}

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		trial := &cobra.Command{Use: "trial", Short: "record trial cuts and look at them"}
		var f trialFlags
		record := &cobra.Command{Use: "record ID", Short: "record what a trial cut came out like",
			Long: "Records one cut, or a ladder of cuts with --step, of the condition as it lies in the file now, unsaved edits included.\n" +
				"Class 4 laser beam, oxygen, hot parts: follow the machine maker's instructions and local rules. Never feel a nozzle by hand on a live\n" +
				"machine: beam off, head parked, contact thermometer.",
			Example: "  fettle trial record 10mm --unit bay-2 --good\n" +
				"  fettle trial record 10mm --unit bay-2 --step cut.pressure=0.36bar:good --step cut.pressure=0.30bar:bad:dross",
			Args: cobra.ExactArgs(1), ValidArgsFunction: a.complete(unsavedIDs),
			RunE: func(cmd *cobra.Command, args []string) error { return a.recordTrial(args[0], f) }}
		fl := record.Flags()
		fl.StringVar(&f.unit, "unit", "", "the real machine; needed where several share a profile")
		fl.StringVar(&f.plate, "plate", "", "the plate it was cut from")
		fl.StringVar(&f.lot, "lot", "", "its lot or heat number")
		fl.StringVar(&f.text, "because", "", "in your own words")
		fl.StringVar(&f.text, "text", "", "in your own words")
		fl.BoolVar(&f.good, "good", false, "it cut well")
		fl.BoolVar(&f.marginal, "marginal", false, "it just passed")
		fl.BoolVar(&f.bad, "bad", false, "it did not pass")
		fl.StringArrayVar(&f.values, "with", nil, "a value that differed from the file, FIELD=VALUE")
		fl.StringSliceVar(&f.observed, "seen", nil, "what was seen: "+strings.Join(schema.Symptoms, ", "))
		fl.StringSliceVar(&f.measured, "measured", nil, "what was measured: perpendicularity, roughness, dross, kerf, pierce_time =VALUE")
		fl.StringArrayVar(&f.steps, "step", nil, "one cut of a ladder: FIELD=VALUE[,FIELD=VALUE]:good|marginal|bad[:SYMPTOM,...][:MEASURED=VALUE,...]")
		fl.BoolVar(&f.noCommit, "no-commit", false, "only stage the record; the next commit saves it")
		show := &cobra.Command{Use: "show [ID...]", Short: "the trials on record", ValidArgsFunction: a.complete(savedIDs),
			RunE: func(cmd *cobra.Command, args []string) error { return a.showTrials(args) }}
		trial.AddCommand(record, show)
		return trial
	})
}

func (a *app) recordTrial(typed string, f trialFlags) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	work, _, err := s.both()
	if err != nil {
		return err
	}
	ids, err := s.named(work, typed)
	if err != nil {
		return err
	}
	if len(ids) != 1 {
		return troublef("", "a trial is of one condition; %s is %d", typed, len(ids))
	}
	r := work.Recipe(ids[0])
	common, err := s.common(work, schema.KindTrial, f.text)
	if err != nil {
		return err
	}
	unit, err := s.unit(work, ids[0].Machine, f.unit)
	if err != nil {
		return err
	}
	common.Unit = schema.Of(unit)
	steps, err := f.read()
	if err != nil {
		return err
	}
	if err := triedValues(r, steps); err != nil {
		return err
	}
	t := &schema.Trial{Common: common, ID: schema.Of(ids[0].String()), Digest: schema.Of(string(r.Digest())), Values: schema.Of(*r.Values()), Steps: schema.Of(steps)}
	if m := work.Machine(ids[0].Machine); m != nil {
		t.MachineValues = schema.Of(m.BeamAndJet(ids[0].Gas))
	}
	if f.plate != "" {
		t.Plate = schema.Of(f.plate)
	}
	if f.lot != "" {
		t.Lot = schema.Of(f.lot)
	}
	rec := schema.NewRecord(t)
	if back := schema.ReadRecord(rec.Path, rec.Bytes()); len(back.Problems) > 0 {
		p := back.Problems[0]
		return troublef(p.Help, "%s: %s; nothing was written", schema.SpokenPath(p.Field), p.Message)
	}
	s.say("trial    %s  %s", ids[0], s.trialLine(rec))
	s.say("         with %s", s.oneLine(r.Values()))
	return s.put(rec, "Record a trial of "+ids[0].String()+"\n", f.noCommit)
}

// unit checks the name of a real machine against those that share the profile.
func (s *shop) unit(lib *schema.Library, machine, unit string) (string, error) {
	m := lib.Machine(machine)
	if m == nil {
		return "", troublef("fettle lint says what is wrong.", "the profile of machine %s cannot be read", machine)
	}
	units := m.UnitNames()
	if unit == "" && len(units) == 1 {
		return units[0], nil
	}
	if !slices.Contains(units, unit) {
		return "", troublef("Add --unit with one of: "+strings.Join(units, ", "), "%q is no unit of %s", unit, machine)
	}
	return unit, nil
}

// read turns the flags into steps.
func (f *trialFlags) read() ([]schema.Step, error) {
	var steps []schema.Step
	for _, text := range f.steps {
		step, err := readStep(text)
		if err != nil {
			return nil, err
		}
		steps = append(steps, step)
	}
	outcome := ""
	for word, set := range map[string]bool{"good": f.good, "marginal": f.marginal, "bad": f.bad} {
		if set && outcome != "" {
			return nil, troublef("", "a cut is good, marginal or bad, one of them")
		}
		if set {
			outcome = word
		}
	}
	if outcome == "" && len(steps) == 0 {
		return nil, troublef("One line will do: --good. A ladder: --step FIELD=VALUE:good --step ...", "what came out of it is missing")
	}
	if outcome != "" {
		step, err := readStep(strings.Join(f.values, ",") + ":" + outcome + ":" + strings.Join(f.observed, ",") + ":" + strings.Join(f.measured, ","))
		if err != nil {
			return nil, err
		}
		steps = append(steps, step)
	}
	return steps, nil
}

// readStep reads FIELD=VALUE,...:OUTCOME:SYMPTOM,...:MEASURED=VALUE,...
func readStep(text string) (schema.Step, error) {
	parts := strings.Split(text, ":")
	if len(parts) < 2 || len(parts) > 4 {
		return schema.Step{}, troublef("Such as cut.pressure=0.36bar:good or cut.pressure=0.30bar:bad:dross", "step %q is not of the form FIELD=VALUE:OUTCOME[:SYMPTOMS][:MEASURED]", text)
	}
	step := schema.Step{Outcome: schema.Of(strings.TrimSpace(parts[1]))}
	if !slices.Contains(schema.Outcomes, step.Outcome.V) {
		return step, troublef(didYouMean(step.Outcome.V, schema.Outcomes), "%q is no outcome", step.Outcome.V)
	}
	for _, pair := range splitList(parts[0]) {
		field, value, ok := strings.Cut(pair, "=")
		if !ok {
			return step, troublef("Such as cut.pressure=0.36bar", "%q is no FIELD=VALUE", pair)
		}
		step.Changed = append(step.Changed, schema.Row[string]{Name: schema.FieldPath(strings.TrimSpace(field)), V: strings.TrimSpace(value), At: schema.Made})
	}
	if len(parts) > 2 {
		if seen := splitList(parts[2]); len(seen) > 0 {
			for _, word := range seen {
				if !slices.Contains(schema.Symptoms, word) {
					return step, troublef(didYouMean(word, schema.Symptoms), "%q is no word for a symptom", word)
				}
			}
			step.Observed = schema.Of(seen)
		}
	}
	if len(parts) > 3 {
		return step, readMeasured(&step, splitList(parts[3]))
	}
	return step, nil
}

func readMeasured(step *schema.Step, pairs []string) error {
	if len(pairs) == 0 {
		return nil
	}
	n := &schema.Node{Kind: schema.Object}
	for _, pair := range pairs {
		field, value, ok := strings.Cut(pair, "=")
		if !ok {
			return troublef("Such as dross=0.1mm", "%q is no MEASURED=VALUE", pair)
		}
		if err := n.SetPath(strings.TrimSpace(field), schema.Text(strings.TrimSpace(value))); err != nil {
			return err
		}
	}
	var m schema.Measured
	if problems := schema.Bind(n, &m); len(problems) > 0 {
		return troublef(problems[0].Help, "measured %s: %s", problems[0].Field, problems[0].Message)
	}
	step.Measured = schema.Of(m)
	return nil
}

func splitList(s string) []string {
	var out []string
	for _, part := range strings.Split(s, ",") {
		if part = strings.TrimSpace(part); part != "" {
			out = append(out, part)
		}
	}
	return out
}

// triedValues checks that the values of each step can be read as values of the condition.
func triedValues(r *schema.Recipe, steps []schema.Step) error {
	for _, step := range steps {
		n := schema.Encode(r.Values())
		for _, c := range step.Changed {
			if err := n.SetPath(c.Name, schema.Text(c.V)); err != nil {
				return troublef("", "%s: %w", c.Name, err)
			}
		}
		var v schema.Values
		if problems := schema.Bind(n, &v); len(problems) > 0 {
			return troublef(problems[0].Help, "%s: %s; nothing was written", schema.SpokenPath(problems[0].Field), problems[0].Message)
		}
	}
	return nil
}

func (a *app) showTrials(typed []string) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	work, saved, err := s.both()
	if err != nil {
		return err
	}
	ids, err := a.resolve(typed, idsOf(work, saved))
	if err != nil {
		return err
	}
	count := 0
	for _, t := range history.Bodies[*schema.Trial](s.unsaved.ledger) {
		if len(ids) > 0 && !slices.ContainsFunc(ids, func(id schema.ID) bool { return id.String() == t.Body.ID.V }) {
			continue
		}
		count++
		s.say("%s  %s", t.Body.ID.V, s.trialLine(t.Record))
		for _, step := range t.Body.Steps.V {
			line := step.Outcome.V
			for _, c := range step.Changed {
				line += "  " + schema.SpokenPath(c.Name) + " " + c.V
			}
			if len(step.Observed.V) > 0 {
				line += "  seen: " + strings.Join(step.Observed.V, ", ")
			}
			s.say("    %s", clean(line))
		}
	}
	if count == 0 {
		s.say("no trial is on record%s; to record one: fettle trial record ID --good", map[bool]string{true: " for it"}[len(ids) > 0])
	}
	return nil
}
