package main

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/schema"
)

// trialFlags describe a trial cut on the command line.
type trialFlags struct {
	unit, plate, lot, grade, nozzle, text string
	good, marginal, bad                   bool
	values, observed, measured            []string
	steps, overrides, photos              []string
	from                                  string // a filled sheet
	partial, beforeChange, afterChange    bool
	noCommit                              bool
}

// onOneCut reports whether the flags describe cuts, rather than leave it to a plan.
func (f *trialFlags) cuts() bool { return f.good || f.marginal || f.bad || len(f.steps) > 0 }

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		trial := &cobra.Command{Use: "trial", Short: "plan test cuts, record them, see what they show"}
		trial.AddCommand(a.trialPlanCommand(), a.trialSheetCommand(), a.trialRecordCommand(), a.trialShowCommand())
		return trial
	})
}

func (a *app) trialRecordCommand() *cobra.Command {
	var f trialFlags
	cmd := &cobra.Command{Use: "record [ID or CODE]", Short: "record what trial cuts came out like",
		Long: "Records one cut of the condition as it lies in the file now, or a ladder of cuts with --step. With the code of a plan it asks for each test piece\n" +
			"and keeps what was typed in trials/ until all is there; --from reads the sheet of a plan that was filled in with a spreadsheet.\n" +
			"Class 4 laser beam, oxygen, hot parts: follow the machine maker's instructions and local rules. Never feel a nozzle by hand on a live\n" +
			"machine: beam off, head parked, contact thermometer.",
		Example: "  fettle trial record 10mm --good                          it cut well today\n" +
			"  fettle trial record 10mm --bad --seen dross --with cut.pressure=0.30bar\n" +
			"  fettle trial record 10mm --step cut.pressure=0.36bar:good --step cut.pressure=0.30bar:bad:dross\n" +
			"  fettle trial record 3f9a0c1b                             a planned trial, asked step by step\n" +
			"  fettle trial record --from sheet.csv                     the same from a spreadsheet",
		Args: cobra.MaximumNArgs(1), ValidArgsFunction: a.completePlans(true, a.complete(inFiles)),
		RunE: func(cmd *cobra.Command, args []string) error {
			typed := ""
			if len(args) == 1 {
				typed = args[0]
			}
			return a.recordTrial(typed, f)
		}}
	fl := cmd.Flags()
	fl.StringVar(&f.unit, "unit", "", "the real machine; needed where several share a profile")
	fl.StringVar(&f.plate, "plate", "", "the plate it was cut from")
	fl.StringVar(&f.lot, "lot", "", "its lot or heat number")
	fl.StringVar(&f.grade, "grade", "", "its grade, as on its certificate, where that is not the one of the condition")
	fl.StringVar(&f.nozzle, "nozzle-used", "", "the nozzle: its number, new or worn")
	fl.StringSliceVar(&f.overrides, "override", nil, "an override that stood at the machine: feed=100%, power=100%, pressure=100%")
	fl.StringVar(&f.text, "because", "", "in your own words")
	fl.StringVar(&f.text, "text", "", "in your own words")
	fl.BoolVar(&f.good, "good", false, "it cut well")
	fl.BoolVar(&f.marginal, "marginal", false, "it just passed")
	fl.BoolVar(&f.bad, "bad", false, "it did not pass")
	fl.StringArrayVar(&f.values, "with", nil, "a value that differed from the file, FIELD=VALUE")
	fl.StringSliceVar(&f.observed, "seen", nil, "what was seen: "+strings.Join(schema.Symptoms, ", "))
	fl.StringSliceVar(&f.measured, "measured", nil, "what was measured: perpendicularity, roughness, dross, kerf, pierce_time, nozzle, nozzle_temperature =VALUE; several points: 0.12+0.14+0.13mm")
	fl.StringArrayVar(&f.photos, "photo", nil, "a picture of it; its name and digest are kept, the file is not")
	fl.StringArrayVar(&f.steps, "step", nil, "one cut of a ladder: FIELD=VALUE[,FIELD=VALUE]:good|marginal|bad[:SYMPTOM,...][:MEASURED=VALUE,...]")
	fl.StringVar(&f.from, "from", "", "a sheet of a plan that was filled in, as CSV")
	fl.BoolVar(&f.partial, "partial", false, "record what there is of a planned trial; the rest was not cut")
	fl.BoolVar(&f.beforeChange, "before-change", false, "a planned trial was cut before the machine was changed")
	fl.BoolVar(&f.afterChange, "after-change", false, "a planned trial was cut after the machine was changed")
	fl.BoolVar(&f.noCommit, "no-commit", false, "only stage the record; the next commit saves it")
	return cmd
}

// recordTrial finds out what is to be recorded: a plan with its sheet, a plan asked piece by piece, or cuts told by flags.
func (a *app) recordTrial(typed string, f trialFlags) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	if f.from != "" || namesPlan(typed) {
		s.apart()
	} else {
		s.meant([]string{typed}, onRecord|unsaved, inFiles|inSaved)
	}
	work, _, err := s.both()
	if err != nil {
		return err
	}
	if f.from != "" {
		return s.recordSheet(typed, f)
	}
	if typed == "" {
		return troublef("fettle trial record ID --good\nfettle trial record CODE\nfettle trial record --from sheet.csv", "what to record is missing")
	}
	if p, ok, err := s.typedPlan(typed); err != nil {
		return err
	} else if ok {
		if f.cuts() {
			return troublef("Leave the outcome away to be asked for each piece, or name the condition instead of the plan.", "%s is a plan of %s", p.code(), counted(len(p.Coupons.V), "test piece"))
		}
		return s.recordPlan(p, f)
	}
	ids, err := s.named(work, typed)
	if err != nil {
		return err
	}
	if len(ids) != 1 {
		return troublef("", "a trial is of one condition; %s is %d", typed, len(ids))
	}
	if !f.cuts() {
		p, err := s.openPlan(ids[0])
		if err != nil {
			return err
		}
		if p != nil {
			return s.recordPlan(p, f)
		}
	}
	return s.recordCuts(work, work.Recipe(ids[0]), f)
}

// typedPlan reports whether what was typed names a plan: hex digits or a file of trials/.
func (s *shop) typedPlan(typed string) (*plan, bool, error) {
	if !namesPlan(typed) {
		return nil, false, nil
	}
	p, err := s.findPlan(typed)
	return p, true, err
}

// namesPlan reports whether what was typed is like the name of a plan.
func namesPlan(typed string) bool {
	return len(typed) >= 4 && strings.Trim(typed, "0123456789abcdef") == "" || strings.HasSuffix(typed, ".json")
}

// recordCuts records what the flags tell.
func (s *shop) recordCuts(work *schema.Library, r *schema.Recipe, f trialFlags) error {
	if !f.cuts() && s.terminal {
		return s.askCut(work, r, f)
	}
	steps, err := f.read()
	if err != nil {
		return err
	}
	return s.recordSteps(work, r, steps, f)
}

// askCut asks what a single cut came out like.
func (s *shop) askCut(work *schema.Library, r *schema.Recipe, f trialFlags) error {
	q := &asker{shop: s, in: bufio.NewReader(s.in)}
	s.tell("%s with %s. Enter leaves a thing out, q stops.", r.ID, s.oneLine(r.Values()))
	e := schema.Entry{}
	q.entry(&e, r.Thickness.V)
	if !e.Outcome.Set() {
		s.say("nothing was recorded")
		return nil
	}
	step := schema.Step{Observed: e.Observed, Measured: e.Measured, Outcome: e.Outcome, Text: e.Text}
	for _, pair := range f.values {
		field, value, _ := strings.Cut(pair, "=")
		step.Changed = append(step.Changed, schema.Row[string]{Name: schema.FieldPath(strings.TrimSpace(field)), V: spaced(value), At: schema.Made})
	}
	return s.recordSteps(work, r, []schema.Step{step}, f)
}

// recordSteps records cuts of a condition.
func (s *shop) recordSteps(work *schema.Library, r *schema.Recipe, steps []schema.Step, f trialFlags) error {
	if len(f.photos) > 0 {
		if len(steps) != 1 {
			return troublef("Record a plan for several: the sheet has a column for pictures.", "--photo is of one cut, and there are %d", len(steps))
		}
		photos, err := s.photosOf(".", f.photos)
		if err != nil {
			return err
		}
		steps[0].Photos = schema.Of(photos)
	}
	if err := triedValues(r, steps); err != nil {
		return err
	}
	t, err := s.trialOf(work, r.Values(), r.Digest(), f)
	if err != nil {
		return err
	}
	if err := s.sensible(work, r, steps); err != nil {
		return err
	}
	if m := work.Machine(r.ID.Machine); m != nil {
		t.MachineValues = schema.Of(m.BeamAndJet(r.ID.Gas))
	}
	t.Steps = schema.Of(steps)
	return s.putTrial(t, nil, f.noCommit)
}

// trialOf begins a trial of a recipe with what the flags say of all its cuts.
func (s *shop) trialOf(work *schema.Library, v *schema.Values, digest schema.Digest, f trialFlags) (*schema.Trial, error) {
	common, err := s.common(work, schema.KindTrial, f.text)
	if err != nil {
		return nil, err
	}
	id, ok := v.ID()
	if !ok {
		return nil, troublef("", "the thickness %s has no finite decimal in mm", v.Thickness.V.Text())
	}
	unit, err := s.unit(work, id.Machine, f.unit)
	if err != nil {
		return nil, err
	}
	common.Unit = schema.Of(unit)
	t := &schema.Trial{Common: common, ID: schema.Of(id.String()), Digest: schema.Of(string(digest)), Values: schema.Of(*v),
		Plate: optional(f.plate), Lot: optional(f.lot), Grade: optional(f.grade), NozzleUsed: optional(f.nozzle)}
	t.Overrides, err = readOverrides(f.overrides)
	return t, err
}

// sensible refuses figures that cannot be and values that the machine cannot have been set to.
func (s *shop) sensible(work *schema.Library, r *schema.Recipe, steps []schema.Step) error {
	j, err := s.judge(work, r)
	if err != nil {
		return err
	}
	for i := range steps {
		if err := j.reaches(steps[i].Changed); err != nil {
			return err
		}
		if field, why, help := implausible(&steps[i].Measured.V, r.Thickness.V); why != "" {
			return troublef(help, "%s: %s; nothing was recorded", field, why)
		}
	}
	return nil
}

// photosOf reads pictures for their digests.
func (s *shop) photosOf(dir string, files []string) ([]schema.Photo, error) {
	var out []schema.Photo
	for _, name := range files {
		full := name
		if !filepath.IsAbs(full) {
			full = filepath.Join(dir, name)
		}
		digest, err := fileDigest(full)
		if err != nil {
			if errors.Is(err, os.ErrNotExist) {
				return nil, troublef("Name pictures as they lie beside the sheet, or from the directory you are in.", "there is no picture %s", full)
			}
			return nil, cannotRead(full, err)
		}
		out = append(out, schema.Photo{File: schema.Of(filepath.Base(name)), Digest: schema.Of(digest)})
	}
	return out, nil
}

func fileDigest(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, f); err != nil {
		return "", err
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

// putTrial writes the record of a trial, takes away what it was made of, and says what to look at.
func (s *shop) putTrial(t *schema.Trial, remove []string, stage bool) error {
	rec := schema.NewRecord(t)
	if back := schema.ReadRecord(rec.Path, rec.Bytes()); len(back.Problems) > 0 {
		p := back.Problems[0]
		return troublef(p.Help, "%s: %s; nothing was written", schema.SpokenPath(p.Field), p.Message)
	}
	s.say("trial    %s  %s", t.ID.V, s.trialLine(rec))
	s.say("         with %s", s.oneLine(&t.Values.V))
	if err := s.keep("Record a trial of "+t.ID.V+"\n", map[string][]byte{rec.Path: rec.Bytes()}, remove, stage); err != nil {
		return err
	}
	if _, err := s.work(); err == nil && s.unsaved.ledger.HotCuts(rec) > 0 {
		s.say("caution  the nozzle was hot. Look first at beam alignment and a reflecting plate, then at focus, spatter, optics, pierce.")
		s.say("         The trial stays marked until somebody says what it was: fettle triage %s --symptom hot-nozzle --found WORD", t.ID.V)
	}
	if len(t.Steps.V) > 1 {
		s.say("next     fettle trial show %s", t.ID.V)
	}
	return nil
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
		step.Changed = append(step.Changed, schema.Row[string]{Name: schema.FieldPath(strings.TrimSpace(field)), V: spaced(value), At: schema.Made})
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

// figureNames are short names of what is measured, with the unit that a plain number is in.
var figureNames = map[string][2]string{"u": {"perpendicularity", "mm"}, "perpendicularity": {"perpendicularity", "mm"}, "rz5": {"roughness", "um"}, "roughness": {"roughness", "um"},
	"dross": {"dross", "mm"}, "kerf": {"kerf", "mm"}, "pierce_time": {"pierce_time", "s"}, "pierce": {"pierce_time", "s"}, "nozzle_temperature": {"nozzle_temperature", "degC"}}

// readMeasured puts MEASURED=VALUE pairs into a step.
func readMeasured(step *schema.Step, pairs []string) error {
	if len(pairs) == 0 {
		return nil
	}
	m, err := readFigures(step.Measured.V, pairs)
	if err == nil {
		step.Measured = schema.Of(m)
	}
	return err
}

// readFigures adds MEASURED=VALUE pairs to figures. A value without a unit is in the one that is usual; several measuring points are
// joined by plus signs: u=0.12+0.14+0.13.
func readFigures(m schema.Measured, pairs []string) (schema.Measured, error) {
	n := schema.Encode(&m)
	for _, pair := range pairs {
		field, text, ok := strings.Cut(pair, "=")
		if !ok {
			return m, troublef("Such as dross=0.1mm", "%q is no MEASURED=VALUE", pair)
		}
		field, text = strings.TrimSpace(field), strings.TrimSpace(text)
		known, figure := figureNames[strings.ToLower(field)]
		if !figure {
			if err := n.SetPath(field, schema.Text(text)); err != nil {
				return m, err
			}
			continue
		}
		parts := strings.Split(text, "+")
		unit := known[1]
		if last := spaced(parts[len(parts)-1]); strings.Contains(last, " ") {
			_, unit, _ = strings.Cut(last, " ")
		}
		for i, part := range parts {
			if parts[i] = spaced(part); !strings.Contains(parts[i], " ") {
				parts[i] += " " + unit
			}
		}
		path, node := known[0], schema.Text(parts[0])
		if len(parts) > 1 {
			path, node = known[0]+"_points", schema.List(parts)
		}
		if err := n.SetPath(path, node); err != nil {
			return m, err
		}
	}
	var out schema.Measured
	if problems := schema.Bind(n, &out); len(problems) > 0 {
		return m, troublef(problems[0].Help, "measured %s: %s", problems[0].Field, problems[0].Message)
	}
	return out, nil
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
