package main

import (
	"math/big"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/fettle/table"
	"fettle/hooks"
	"fettle/lint"
	"fettle/lint/trial"
	"fettle/schema"
	"fettle/schema/quantity"
)

// planFlags describe a trial that is to be cut.
type planFlags struct {
	vary                           []string
	steps, repeats, perPlate, seed int
	design, text                   string
	noCommit                       bool
}

// mostCoupons is where a plan stops being a trial and becomes a shift.
const mostCoupons = 200

func (a *app) trialPlanCommand() *cobra.Command {
	var f planFlags
	cmd := &cobra.Command{Use: "plan ID --vary FIELD[=LOW..HIGH]", Short: "plan a ladder of test cuts and print the sheet for it",
		Long: "Plans test cuts of a condition as it lies in the file now: one value in equal steps, in random order, repeated, so that drift and chance can be told\n" +
			"from the value. Without a range it takes what is usual in one step, or what the trials so far left open; every step is held against the\n" +
			"machine and physics. The plan goes into trials/ and is saved, so that the PC at the machine has it too. Then: fettle trial record CODE\n\n" +
			"One thing at a time shows what did it. For several at once say how: --design factorial (all combinations) or --design composite\n" +
			"(corners, star and centre, for a curved surface).",
		Example: "  fettle trial plan 10mm --vary cut.pressure=0.30..0.60bar --steps 6\n  fettle trial plan 10mm --vary pierce1.time\n" +
			"  fettle trial plan 10mm --vary cut.focus=0..6mm --vary cut.pressure=0.30..0.60bar --design composite",
		Annotations: map[string]string{"formats": "own"},
		Args:        cobra.ExactArgs(1), ValidArgsFunction: a.complete(inFiles),
		RunE: func(cmd *cobra.Command, args []string) error { return a.planTrial(args[0], f) }}
	fl := cmd.Flags()
	fl.StringArrayVar(&f.vary, "vary", nil, "what to vary: FIELD, FIELD=LOW..HIGH or FIELD=VALUE,VALUE,...")
	fl.IntVar(&f.steps, "steps", 0, "how many values; 5 for a ladder, 3 each for a factorial design")
	fl.IntVar(&f.repeats, "repeats", 0, "how often every setting is cut; 2 for a ladder, else 1")
	fl.IntVar(&f.perPlate, "coupons-per-plate", 0, "how many test pieces fit on a plate; all of them if left out")
	fl.StringVar(&f.design, "design", "", "ladder, factorial or composite")
	fl.IntVar(&f.seed, "seed", 0, "of the random order; another one each time if left out")
	fl.StringVar(&f.text, "because", "", "what the trial is to show")
	fl.BoolVar(&f.noCommit, "no-commit", false, "only stage the plan; the next commit saves it")
	cmd.RegisterFlagCompletionFunc("design", cobra.FixedCompletions(schema.Designs, cobra.ShellCompDirectiveNoFileComp))
	return cmd
}

// A varied value of a plan in the making.
type varied struct {
	path   string
	step   quantity.Value // in which the machine sets it
	values []quantity.Value
	low    quantity.Value
	high   quantity.Value
	note   string // how the range came about, where nobody named it
}

func (a *app) planTrial(typed string, f planFlags) error {
	if err := a.oneOf("text", "csv", "html", "json"); err != nil {
		return err
	}
	s, err := a.open()
	if err != nil {
		return err
	}
	s.meant([]string{typed}, onRecord|unsaved, inFiles|inSaved)
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
	design, err := f.settle()
	if err != nil {
		return err
	}
	j, err := s.judge(work, r)
	if err != nil {
		return err
	}
	j.factors = len(f.vary)
	var all []varied
	for _, text := range f.vary {
		v, err := s.varied(j, text, f.steps, design)
		if err != nil {
			return err
		}
		if slices.ContainsFunc(all, func(o varied) bool { return o.path == v.path }) {
			return troublef("", "--vary %s stands there twice", schema.SpokenPath(v.path))
		}
		all = append(all, v)
	}
	p, warnings, err := s.makePlan(work, j, all, f, design)
	if err != nil {
		return err
	}
	code := string(p.PlanDigest()[:8])
	path := planPath(p, code)
	if err := s.keep("Plan a trial of "+p.ID.V+"\n", map[string][]byte{path: schema.Layout(schema.Encode(p))}, nil, f.noCommit); err != nil {
		return err
	}
	for _, v := range all {
		if v.note != "" {
			s.say("range    %s %s: %s", schema.SpokenPath(v.path), span(v.low.Format(s.prefs()), v.high.Format(s.prefs())), v.note)
		}
	}
	for _, w := range warnings {
		s.say("warning  %s", w)
	}
	return s.printSheet(&plan{TrialPlan: p, path: path, digest: p.PlanDigest()}, true)
}

// settle fills in what the design makes of flags that were left out.
func (f *planFlags) settle() (design string, err error) {
	switch {
	case len(f.vary) == 0:
		return "", troublef("Such as --vary cut.pressure=0.30..0.60bar, or --vary cut.pressure for the usual range.", "what to vary is missing")
	case f.design == "" && len(f.vary) > 1:
		return "", troublef("Plan one ladder, cut it, then the next: that shows which one did it.\nAll combinations: --design factorial\nA curved surface with fewer cuts: --design composite",
			"%d values are to be varied at once", len(f.vary))
	case f.design == "":
		f.design = "ladder"
	case !slices.Contains(schema.Designs, f.design):
		return "", troublef(didYouMean(f.design, schema.Designs), "%q is no design", f.design)
	}
	switch {
	case f.design == "ladder" && len(f.vary) > 1:
		return "", troublef("--design factorial or --design composite", "a ladder varies one value, and %d are named", len(f.vary))
	case f.design == "composite" && (len(f.vary) < 2 || len(f.vary) > 4):
		return "", troublef("", "a composite design is of 2 to 4 values, and %d are named", len(f.vary))
	case f.steps < 0 || f.repeats < 0 || f.perPlate < 0 || f.seed < 0:
		return "", troublef("", "--steps, --repeats, --coupons-per-plate and --seed are not below nought")
	case f.design == "composite" && f.steps > 0:
		return "", troublef("Leave --steps away.", "a composite design has five values of each, by itself")
	case f.steps == 1:
		return "", troublef("One cut is recorded without a plan: fettle trial record ID --good", "a ladder of one step is no ladder")
	}
	if f.steps == 0 {
		f.steps = map[string]int{"ladder": 5, "factorial": 3, "composite": 5}[f.design]
	}
	if f.repeats == 0 {
		f.repeats = map[string]int{"ladder": 2, "factorial": 1, "composite": 1}[f.design]
	}
	return f.design, nil
}

// varied reads one --vary.
func (s *shop) varied(j *judge, text string, steps int, design string) (varied, error) {
	field, span, given := strings.Cut(text, "=")
	path, dim, err := variedField(field)
	if err != nil {
		return varied{}, err
	}
	v := varied{path: path}
	present := j.value(path)
	machine := j.lib.Machine(j.recipe.ID.Machine)
	declared := ""
	if machine != nil {
		declared, _ = machine.Export.V.Resolution.Get(path)
	}
	if given {
		if err := v.read(strings.TrimSpace(span), dim); err != nil {
			return v, err
		}
	} else if err := s.usualRange(j, &v, present); err != nil {
		return v, err
	}
	typed := append([]quantity.Value{v.low, v.high}, v.values...)
	if !present.IsZero() {
		typed = append(typed, present)
	}
	v.step = trial.Step(declared, typed...)
	if len(v.values) > 0 {
		return v, nil
	}
	if design == "composite" {
		v.values, err = trial.Values(v.low, v.high, trial.CompositeLevels(j.factors), v.step)
	} else {
		v.values, err = trial.Ladder(v.low, v.high, steps, v.step)
	}
	if err != nil {
		return v, troublef("Fewer --steps, or a wider range.", "%s: %w", schema.SpokenPath(path), err)
	}
	if !given && design != "composite" {
		withPresent(v.values, present)
	}
	return v, nil
}

// withPresent puts the present value in the place of the step next to it, so that old and new are cut side by side.
func withPresent(values []quantity.Value, present quantity.Value) {
	at := -1
	for i := 1; i < len(values)-1; i++ {
		if values[i-1].Cmp(present) < 0 && values[i+1].Cmp(present) > 0 && (at < 0 || apart(values[i], present).Cmp(apart(values[at], present)) < 0) {
			at = i
		}
	}
	if at >= 0 {
		values[at] = present
	}
}

func apart(a, b quantity.Value) quantity.Value {
	if d := a.Sub(b); d.Sign() >= 0 {
		return d
	}
	return b.Sub(a)
}

// variedField resolves what a person types for a value that is to be varied; a member of the cut needs no cut before it.
func variedField(typed string) (path string, dim quantity.Dimension, err error) {
	path = schema.FieldPath(strings.TrimSpace(typed))
	for _, try := range []string{path, "cut." + path, "nozzle." + path} {
		if dim, ok := table.Dimension(try); ok && try != "thickness" && schema.ProcessField(try) {
			return try, dim, nil
		}
	}
	help := "Such as cut.pressure, cut.focus, cut.speed, cut.power, nozzle.standoff, pierce1.time."
	if near := schema.Nearest(path, []string{"cut.pressure", "cut.focus", "cut.speed", "cut.power", "cut.frequency", "cut.duty", "nozzle.standoff", "pierce[0].time", "pierce[0].power", "pierce[0].pressure"}); near != "" {
		help = "Did you mean " + schema.SpokenPath(near) + "?"
	}
	return "", 0, troublef(help, "%q is no value that can be varied in steps", typed)
}

// read takes LOW..HIGH, where the low end may leave its unit to the high one, or VALUE,VALUE,...
func (v *varied) read(text string, dim quantity.Dimension) error {
	low, high, ok := strings.Cut(text, "..")
	field := schema.SpokenPath(v.path)
	if !ok {
		parts := strings.Split(text, ",")
		last, err := quantity.Parse(dim, spaced(parts[len(parts)-1]))
		if err != nil {
			return troublef("Such as --vary "+field+"="+rangeExample(dim)+", or values with commas between.", "--vary %s: %w", field, err)
		}
		for _, part := range parts {
			value, err := quantity.Parse(dim, spaced(part))
			if err != nil { // the last one may have the unit for all
				value, err = quantity.Parse(dim, spaced(strings.TrimSpace(part)+last.Unit()))
			}
			if err != nil {
				return troublef("Such as --vary "+field+"="+rangeExample(dim)+", or values with commas between.", "--vary %s: %w", field, err)
			}
			if slices.ContainsFunc(v.values, func(o quantity.Value) bool { return o.Equal(value) }) {
				return troublef("A step that is to be cut more often: --repeats", "--vary %s: %s stands there twice", field, value)
			}
			v.values = append(v.values, value)
		}
		slices.SortFunc(v.values, quantity.Value.Cmp)
		v.low, v.high = v.values[0], v.values[len(v.values)-1]
		if len(v.values) < 2 {
			return troublef("Such as --vary "+field+"="+rangeExample(dim), "--vary %s: one value is no ladder", field)
		}
		return nil
	}
	var err error
	if v.high, err = quantity.Parse(dim, spaced(high)); err != nil {
		return troublef("Such as --vary "+field+"="+rangeExample(dim), "--vary %s: %w", field, err)
	}
	if v.low, err = quantity.Parse(dim, spaced(low)); err != nil {
		if v.low, err = quantity.Parse(dim, spaced(low+v.high.Unit())); err != nil {
			return troublef("Such as --vary "+field+"="+rangeExample(dim), "--vary %s: %w", field, err)
		}
	}
	if v.low.Cmp(v.high) >= 0 {
		return troublef("Such as --vary "+field+"="+rangeExample(dim), "--vary %s: a range goes from the lower value to the higher; %s to %s does not", field, v.low, v.high)
	}
	return nil
}

// spaced puts the blank between number and unit that files have and command lines have not.
func spaced(text string) string {
	text = strings.TrimSpace(text)
	at := strings.IndexFunc(text, func(r rune) bool { return r != '-' && r != '.' && r != '/' && r != ' ' && (r < '0' || r > '9') })
	if at < 1 {
		return text
	}
	return strings.TrimSpace(text[:at]) + " " + text[at:]
}

func rangeExample(dim quantity.Dimension) string {
	return map[quantity.Dimension]string{quantity.DimPressure: "0.30..0.60bar", quantity.DimLength: "0..4mm", quantity.DimSpeed: "1.8..2.4m/min", quantity.DimPower: "2..3kW",
		quantity.DimTime: "0.1..0.3s", quantity.DimFrequency: "200..600Hz", quantity.DimRatio: "30..50%"}[dim]
}

// usualRange is what a ladder spans where nobody names a range: as far as a value usually goes in one step to both sides. Where trials
// showed a window, a side that is known to fail ends at the failure, so that the edge is cut again, and an open side starts from the
// window. The ends stay where machine and physics let them be.
func (s *shop) usualRange(j *judge, v *varied, present quantity.Value) error {
	field := schema.SpokenPath(v.path)
	if present.IsZero() {
		return troublef("Name a range: --vary "+field+"=LOW..HIGH", "%s has no value in this condition to go out from", field)
	}
	usual, ok := lint.UsualStep(j.lib, j.recipe, v.path)
	if !ok {
		return troublef("Name a range: --vary "+field+"=LOW..HIGH", "what is usual for %s is not known", field)
	}
	machine := j.lib.Machine(j.recipe.ID.Machine)
	low, high := present, present
	var failsBelow, failsAbove bool
	v.note = "what is usual in one step"
	tried := hooks.Try(s.unsaved.ledger, j.recipe.ID, j.recipe.Values(), j.recipe.Values(), machine)
	if a := hooks.AlongOf(tried.Evidence, v.path, machine); a.Found && a.Window.Steps > 1 {
		v.note = "around the proven window " + span(a.Window.Low.Format(s.prefs()), a.Window.High.Format(s.prefs()))
		low, high = a.Window.Low, a.Window.High
		if a.Window.Below != nil {
			low, failsBelow = a.Window.Below.Value, true
		}
		if a.Window.Above != nil {
			high, failsAbove = a.Window.Above.Value, true
		}
	}
	step := trial.Step("", present)
	if !failsBelow {
		low = onStep(low.Sub(usual), step)
	}
	if !failsAbove {
		high = onStep(high.Sub(usual.Scale(-1, 1)), step)
	}
	if zero := present.Sub(present); !strings.HasSuffix(v.path, "focus") && low.Cmp(zero) <= 0 {
		low = step
	}
	v.low, v.high = inUnitOf(present, low), inUnitOf(present, high)
	for _, end := range []*quantity.Value{&v.low, &v.high} {
		if why := j.shorten(v.path, present, end, step); why != "" {
			v.note += "; ends at " + end.Format(s.prefs()) + ": " + why
		}
	}
	if v.low.Cmp(v.high) >= 0 {
		return troublef("Name a range: --vary "+field+"=LOW..HIGH", "machine and physics leave no range around %s for %s", present, field)
	}
	return nil
}

// onStep is the nearest whole number of steps.
func onStep(v, step quantity.Value) quantity.Value {
	if step.Sign() <= 0 {
		return v
	}
	n := new(big.Rat).Quo(v.Rat(), step.Rat())
	n.Add(n, big.NewRat(1, 2))
	whole := new(big.Int).Div(n.Num(), n.Denom())
	out, err := quantity.FromRat(v.Dimension(), new(big.Rat).Mul(new(big.Rat).SetInt(whole), step.Rat()), v.Unit())
	if err != nil {
		return v
	}
	return out
}

func inUnitOf(like, v quantity.Value) quantity.Value {
	out, err := quantity.FromRat(v.Dimension(), v.Rat(), like.Unit())
	if err != nil {
		return v
	}
	return out
}

// makePlan lays out the coupons and holds every setting against machine and physics.
func (s *shop) makePlan(lib *schema.Library, j *judge, all []varied, f planFlags, design string) (*schema.TrialPlan, []string, error) {
	var settings [][]int
	levels := make([]int, len(all))
	for i, v := range all {
		levels[i] = len(v.values)
	}
	repeats := f.repeats
	if design == "composite" {
		settings = trial.Composite(len(all), 3)
	} else {
		settings = trial.Factorial(levels)
	}
	if n := len(settings) * repeats; n > mostCoupons {
		return nil, nil, troublef("Fewer --steps or --repeats, or --design composite.", "that makes %d test pieces; more than %d is no trial any more", n, mostCoupons)
	}
	changed := make([]schema.Table[string], len(settings))
	var warnings, refused []string
	for i, setting := range settings {
		for k, v := range all {
			changed[i] = append(changed[i], schema.Row[string]{Name: v.path, V: padded(v.values[setting[k]], v.step), At: schema.Made})
		}
		errs, warns, err := j.judge(changed[i])
		if err != nil {
			return nil, nil, err
		}
		for _, e := range errs {
			refused = appendNew(refused, settingWords(changed[i])+": "+e.Message+" ["+e.Rule+"]")
		}
		for _, w := range warns {
			warnings = appendNew(warnings, settingWords(changed[i])+": "+w.Message+" ["+w.Rule+"]")
		}
	}
	if len(refused) > 0 {
		return nil, nil, refusef("Narrow the range; nothing was written. A step that the machine or physics does not allow shows nothing.", "%s cannot be cut:\n  %s",
			counted(len(refused), "planned step"), strings.Join(refused, "\n  "))
	}
	seed := f.seed
	if seed == 0 {
		seed = 1 + int(s.now().UnixNano()/1000%99999)
	}
	common, err := s.common(lib, schema.KindTrialPlan, f.text)
	if err != nil {
		return nil, nil, err
	}
	p := &schema.TrialPlan{Head: common.Head, Library: common.Library, At: common.At, By: common.By, ID: schema.Of(j.recipe.ID.String()),
		Digest: schema.Of(string(j.recipe.Digest())), Values: schema.Of(*j.recipe.Values()), Design: schema.Of(design), Repeats: schema.Of(repeats), Seed: schema.Of(seed), Text: common.Text}
	if m := lib.Machine(j.recipe.ID.Machine); m != nil {
		p.MachineValues = schema.Of(m.BeamAndJet(j.recipe.ID.Gas))
	}
	var list []schema.Varied
	for _, v := range all {
		one := schema.Varied{Field: schema.Of(v.path)}
		var texts []string
		for _, value := range v.values {
			texts = append(texts, padded(value, v.step))
		}
		one.Values = schema.Of(texts)
		list = append(list, one)
	}
	p.Varied = schema.Of(list)
	order := trial.Order(len(settings), repeats, uint64(seed))
	perPlate := f.perPlate
	if perPlate == 0 {
		perPlate = len(order)
	}
	var coupons []schema.Coupon
	for i, k := range order {
		coupons = append(coupons, schema.Coupon{Number: schema.Of(i + 1), Plate: schema.Of(i/perPlate + 1), Changed: changed[k]})
	}
	p.Coupons = schema.Of(coupons)
	return p, warnings, nil
}

func appendNew(list []string, text string) []string {
	if slices.Contains(list, text) {
		return list
	}
	return append(list, text)
}

func settingWords(changed schema.Table[string]) string {
	var out []string
	for _, c := range changed {
		out = append(out, schema.SpokenPath(c.Name)+" "+c.V)
	}
	return strings.Join(out, ", ")
}

// padded writes a value with as many decimals as the step of the machine has, so that a column lines up: 0.40 bar.
func padded(v, step quantity.Value) string {
	number, ok := v.Decimal(v.Unit())
	stepNumber, known := step.Decimal(v.Unit())
	if !ok || !known || strings.Contains(v.Text(), "/") {
		return v.Text()
	}
	_, want, _ := strings.Cut(stepNumber, ".")
	_, have, point := strings.Cut(number, ".")
	if missing := len(want) - len(have); missing > 0 {
		if !point {
			number += "."
		}
		number += strings.Repeat("0", missing)
	}
	text := number + " " + v.Unit()
	if again, err := quantity.Parse(v.Dimension(), text); err != nil || !again.Equal(v) {
		return v.Text()
	}
	return text
}

// A judge holds settings of one condition against machine and physics, by the rules that judge a saved condition.
type judge struct {
	lib     *schema.Library
	recipe  *schema.Recipe
	files   map[string][]byte // what the rules need: settings, machine, set
	known   map[string]bool   // findings of the condition as it is
	factors int
}

func (s *shop) judge(lib *schema.Library, r *schema.Recipe) (*judge, error) {
	j := &judge{lib: lib, recipe: r, files: map[string][]byte{}, known: map[string]bool{}}
	for _, f := range lib.Files {
		if f.Path == schema.SettingsFile || f.Path == "machines/"+r.ID.Machine+".json" || f.Path == r.File.Path {
			j.files[f.Path] = f.Data
		}
	}
	findings, err := j.findings(nil)
	if err != nil {
		return nil, err
	}
	for _, f := range findings {
		j.known[f.Rule+"\x00"+f.Message] = true
	}
	return j, nil
}

// value is what the condition has at a path.
func (j *judge) value(path string) quantity.Value {
	for _, f := range schema.Fields(j.recipe.Condition) {
		if f.Path == path {
			return f.Quantity
		}
	}
	return quantity.Value{}
}

// judge returns what rules of machine, material and physics find wrong with a setting and not with the condition as it is.
func (j *judge) judge(changed schema.Table[string]) (errors, warnings []lint.Finding, err error) {
	findings, err := j.findings(changed)
	if err != nil {
		return nil, nil, err
	}
	for _, f := range findings {
		rule, _, _ := lint.RuleNamed(f.Rule)
		switch {
		case j.known[f.Rule+"\x00"+f.Message]:
		case f.Severity == lint.Error:
			errors = append(errors, f)
		case f.Severity == lint.Warning && slices.Contains([]string{"machine", "material", "physics"}, rule.Family):
			warnings = append(warnings, f)
		}
	}
	return errors, warnings, nil
}

func (j *judge) findings(changed schema.Table[string]) ([]lint.Finding, error) {
	root := j.recipe.File.Root()
	condition := root.Get("conditions").Kids[j.recipe.Index]
	for _, c := range changed {
		if err := condition.SetPath(c.Name, schema.Text(c.V)); err != nil {
			return nil, troublef("", "%s: %w", schema.SpokenPath(c.Name), err)
		}
	}
	files := memory{}
	for path, data := range j.files {
		files[path] = data
	}
	files[j.recipe.File.Path] = schema.Layout(root)
	lib, err := schema.ReadLibrary(files)
	if err != nil {
		return nil, err
	}
	id := j.recipe.ID
	var out []lint.Finding
	for _, f := range lint.Run(lib, lint.Options{Only: func(r *schema.Recipe) bool { return r.ID == id }}).Findings {
		if f.ID == id.String() {
			out = append(out, f)
		}
	}
	return out, nil
}

// shorten moves the end of a range towards the present value until machine and physics allow it, and says what stood in the way.
func (j *judge) shorten(path string, present quantity.Value, end *quantity.Value, step quantity.Value) string {
	blocked := func(v quantity.Value) string {
		errs, _, err := j.judge(schema.Table[string]{{Name: path, V: v.Text(), At: schema.Made}})
		if err != nil || len(errs) == 0 {
			return ""
		}
		return errs[0].Message
	}
	why := blocked(*end)
	if why == "" {
		return ""
	}
	good, bad := present, *end
	for range 24 {
		n := trial.StepsIn(bad.Sub(good), step)
		if n > -2 && n < 2 {
			break
		}
		middle := onStep(inUnitOf(present, good.Sub(good.Sub(bad).Scale(1, 2))), step)
		if middle.Equal(good) || middle.Equal(bad) {
			break
		}
		if blocked(middle) == "" {
			good = middle
		} else {
			bad = middle
		}
	}
	*end = good
	return why
}

// memory is a snapshot of a library in memory.
type memory map[string][]byte

func (m memory) Files() []string {
	names := make([]string, 0, len(m))
	for name := range m {
		names = append(names, name)
	}
	return names
}

func (m memory) Read(path string) ([]byte, error) { return m[path], nil }
