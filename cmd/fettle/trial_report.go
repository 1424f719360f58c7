package main

import (
	"fmt"
	"slices"
	"strings"

	"fettle/history"
	"fettle/hooks"
	"fettle/lint/physics"
	"fettle/lint/trial"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A trialReport is what the trials of one condition show of the recipe as it lies in the file.
type trialReport struct {
	id       schema.ID
	recipe   *schema.Recipe
	approved *schema.Values // in force, or nil
	tried    hooks.Tried
	trials   []*schema.Record // that count
	exact    []history.TrialCut
	fields   []fieldReport
	together []togetherReport
	quality  *qualityReport // nil where nothing was measured
	hot      []*schema.Record
	unproven []string
}

// A fieldReport is what is known along one value.
type fieldReport struct {
	hooks.Along
	low, high   float64 // Wilson interval of the share of good cuts in the window
	recommended quantity.Value
	place       trial.Place // of the present value
	responses   []response
	comparisons []comparison
	doubts      []string
}

// settled reports whether a window says enough to go by its middle: three steps, or failures on both sides.
func (f *fieldReport) settled() bool {
	return f.Window.Steps >= 3 || f.Window.Below != nil && f.Window.Above != nil
}

// onStepOf shows values with as many decimals as the step of the machine has, so that they line up: 0.40 bar.
func onStepOf(step quantity.Value, prefs quantity.Prefs) func(quantity.Value) string {
	return func(v quantity.Value) string {
		text := v.Format(prefs)
		_, unit, _ := strings.Cut(text, " ")
		if r, err := quantity.FromRat(v.Dimension(), v.Rat(), unit); err == nil {
			if again := padded(r, step); again != r.Text() {
				return again
			}
		}
		return text
	}
}

// A figure is something that is measured on a cut.
type figure struct {
	name string // as a sheet calls it
	unit string
	path string // in the format
	read func(*schema.Measured) []quantity.Value
}

var figures = []figure{
	{"u", "mm", "perpendicularity", func(m *schema.Measured) []quantity.Value {
		return pointsOf(m.Perpendicularity, m.PerpendicularityPoints)
	}},
	{"Rz5", "um", "roughness", func(m *schema.Measured) []quantity.Value { return pointsOf(m.Roughness, m.RoughnessPoints) }},
	{"dross", "mm", "dross", func(m *schema.Measured) []quantity.Value { return oneOfThem(m.Dross.Set(), m.Dross.V.Value) }},
	{"kerf", "mm", "kerf", func(m *schema.Measured) []quantity.Value { return oneOfThem(m.Kerf.Set(), m.Kerf.V.Value) }},
	{"pierce time", "s", "pierce_time", func(m *schema.Measured) []quantity.Value { return oneOfThem(m.PierceTime.Set(), m.PierceTime.V.Value) }},
}

// pointsOf are the measuring points of a figure: the mean that was written down stands for its points where both are there.
func pointsOf(mean schema.Member[quantity.Length], points schema.Member[[]quantity.Length]) []quantity.Value {
	if mean.Set() {
		return []quantity.Value{mean.V.Value}
	}
	var out []quantity.Value
	for _, p := range points.V {
		out = append(out, p.Value)
	}
	return out
}

func oneOfThem(there bool, v quantity.Value) []quantity.Value {
	if !there {
		return nil
	}
	return []quantity.Value{v}
}

// mean is a figure of one cut: the mean over its measuring points, in SI units.
func (f figure) mean(step *schema.Step) (float64, bool) {
	points := f.read(&step.Measured.V)
	sum := 0.0
	for _, p := range points {
		sum += p.SI() / float64(len(points))
	}
	return sum, len(points) > 0
}

// show writes a figure in SI units in its own unit.
func (f figure) show(si float64) string { return f.number(si) + " " + f.unit }

func (f figure) number(si float64) string {
	dim, _ := quantity.UnitDimension(f.unit)
	v, err := quantity.FromSI(dim, si, f.unit)
	if err != nil {
		return "?"
	}
	n, err := v.Number(f.unit)
	if err != nil {
		return "?"
	}
	return fmt.Sprintf("%.3g", n)
}

// A response is how a figure goes with the value.
type response struct {
	figure
	fit      trial.Fit
	why      string // why there is no fit
	points   int
	xs, ys   []float64
	outcomes []string
}

// A comparison is a figure at two values.
type comparison struct {
	figure
	from, to quantity.Value
	a, b     []float64
	welch    trial.WelchTest
	welched  bool
	ranks    trial.RankTest
}

// evaluate works out what the trials of a condition show.
func (s *shop) evaluate(id schema.ID) (*trialReport, error) {
	work, saved, err := s.both()
	if err != nil {
		return nil, err
	}
	r := work.Recipe(id)
	if r == nil {
		return nil, troublef("fettle put-back "+id.String()+" brings it back.", "%s is not there any more", id)
	}
	machine := work.Machine(id.Machine)
	ledger := s.unsaved.ledger
	t := &trialReport{id: id, recipe: r, tried: hooks.Try(ledger, id, r.Values(), r.Values(), machine)}
	if p := s.standing(&s.committed).Position(saved, id); p.Approved() != nil {
		t.approved = p.Approved()
	}
	for _, c := range t.tried.Evidence.Cuts {
		if !slices.Contains(t.trials, c.Record) {
			t.trials = append(t.trials, c.Record)
			if ledger.HotCuts(c.Record) > 0 {
				t.hot = append(t.hot, c.Record)
			}
		}
		if len(c.Off) == 0 {
			t.exact = append(t.exact, c)
		}
	}
	if machine != nil && len(machine.UnitNames()) > 1 {
		proven := ledger.ProvenUnits(id, machine.BeamAndJet(id.Gas))
		for _, unit := range machine.UnitNames() {
			if !proven[unit] {
				t.unproven = append(t.unproven, unit)
			}
		}
	}
	for _, path := range t.tried.Evidence.Varied() {
		t.fields = append(t.fields, s.fieldReport(t, path, machine))
	}
	t.together = togetherOf(t)
	t.quality = qualityOf(t)
	return t, nil
}

func (s *shop) fieldReport(t *trialReport, path string, machine *schema.Machine) fieldReport {
	e := t.tried.Evidence
	f := fieldReport{Along: hooks.AlongOf(e, path, machine)}
	basis := trial.Basis{Levels: f.Levels, Window: f.Window, Found: f.Found, Trials: len(f.Trials()), Rising: rising(e, f.Cuts, path)}
	if f.Found {
		f.low, f.high, _ = trial.Wilson(f.Window.Cuts, f.Window.Cuts, trial.Confidence)
		f.recommended = f.Window.Recommend(f.Step)
		f.place = f.Window.Place(f.Value)
	}
	for _, c := range f.Cuts {
		if history.Hot(c.Step) && slices.Contains(t.hot, c.Record) {
			basis.HotCuts++
		}
	}
	for _, r := range f.Trials() {
		body := r.Body.(*schema.Trial)
		if body.Lot.V != "" {
			basis.Lots = append(basis.Lots, body.Lot.V)
		}
		if body.Plate.V != "" {
			basis.Plates = append(basis.Plates, body.Plate.V)
		}
	}
	f.doubts = basis.Doubts()
	if len(f.Passed) > 0 {
		f.doubts = append(f.doubts, counted(len(f.Passed), "older cut")+" that did not come out good left out: a newer trial of the same value did")
	}
	for _, fig := range figures {
		if fig.path == "pierce_time" && strings.HasPrefix(path, "pierce[") && strings.HasSuffix(path, ".time") {
			continue // it goes with itself
		}
		r := response{figure: fig}
		for _, c := range f.Cuts {
			if y, ok := fig.mean(c.Step); ok {
				r.xs = append(r.xs, e.ValueOf(c, path).SI())
				r.ys = append(r.ys, y)
				r.outcomes = append(r.outcomes, c.Step.Outcome.V)
			}
		}
		if r.points = len(r.xs); r.points == 0 {
			continue
		}
		r.fit, r.why = trial.Respond(r.xs, r.ys)
		f.responses = append(f.responses, r)
	}
	f.comparisons = compareAlong(t, f, path)
	return f
}

// rising reports whether every trial cut its steps in the order of their values. A plan draws the order by lot.
func rising(e *history.Evidence, cuts []history.TrialCut, path string) bool {
	up, down := true, true
	for i := range cuts {
		if cuts[i].Trial.Plan.Set() {
			return false
		}
		if i == 0 || cuts[i].Record != cuts[i-1].Record {
			continue
		}
		c := e.ValueOf(cuts[i], path).Cmp(e.ValueOf(cuts[i-1], path))
		up, down = up && c >= 0, down && c <= 0
	}
	return up || down
}

// compareAlong compares the figures at the approved value with those at the present one; where the two are equal, the present one with
// the recommended one.
func compareAlong(t *trialReport, f fieldReport, path string) []comparison {
	from, to := f.Value, f.recommended
	if t.approved != nil {
		for _, field := range schema.Fields(t.approved) {
			if field.Path == path && !field.Quantity.IsZero() && !field.Quantity.Equal(f.Value) {
				from, to = field.Quantity, f.Value
			}
		}
	}
	if to.IsZero() || from.Equal(to) {
		return nil
	}
	var out []comparison
	for _, fig := range figures {
		if fig.path == "pierce_time" && strings.HasPrefix(path, "pierce[") {
			continue
		}
		c := comparison{figure: fig, from: from, to: to}
		for _, cut := range f.Cuts {
			y, ok := fig.mean(cut.Step)
			switch v := t.tried.Evidence.ValueOf(cut, path); {
			case !ok:
			case v.Equal(from):
				c.a = append(c.a, y)
			case v.Equal(to):
				c.b = append(c.b, y)
			}
		}
		if len(c.a)+len(c.b) == 0 {
			continue
		}
		c.welch, c.welched = trial.Welch(c.a, c.b)
		c.ranks, _ = trial.MannWhitney(c.a, c.b)
		out = append(out, c)
	}
	return out
}

// effectWords says how large a difference is, in the words of Cohen (Statistical Power Analysis for the Behavioral Sciences, 1988).
func effectWords(g float64) string {
	switch g = max(g, -g); {
	case g < 0.2:
		return "next to nothing"
	case g < 0.5:
		return "small"
	case g < 0.8:
		return "medium"
	}
	return "large"
}

// A qualityReport grades what was measured by ISO 9013.
type qualityReport struct {
	exact   bool // of cuts with the very values; else of good cuts beside them
	coupons []couponReport
	lot     [2]trial.Graded // u and Rz5; Points is 0 where nothing was measured
	dross   float64         // the highest
	drossed bool
	inScope bool // the thickness is one that the standard speaks of for laser cuts
	verdict []string
}

type couponReport struct {
	cut    history.TrialCut
	number int
	graded [2]trial.Graded
}

// name says which piece it is: the record, and its number in the plan.
func (c couponReport) name() string {
	name := c.cut.Record.Digest.Short()[:4]
	if c.number > 0 {
		name += fmt.Sprintf(" no %d", c.number)
	}
	return name
}

// of says which cuts were graded.
func (q *qualityReport) of() string {
	if q.exact {
		return "cuts with these values"
	}
	return "good cuts beside these values; with the very values nothing was measured"
}

// qualityOf grades the cuts with the very values of the recipe, or where none of these was measured, the good ones that differ in one
// value.
func qualityOf(t *trialReport) *qualityReport {
	thickness := t.recipe.Thickness.V.SI()
	for _, exact := range []bool{true, false} {
		q := &qualityReport{exact: exact, inScope: physics.LaserScope(thickness)}
		var all [2][]float64
		for _, c := range t.tried.Evidence.Cuts {
			if exact && len(c.Off) > 0 || !exact && (len(c.Off) != 1 || !c.Good()) {
				continue
			}
			one := couponReport{cut: c, number: c.Step.Coupon.V}
			measured := false
			for i, fig := range figures[:2] {
				var points []float64
				for _, p := range fig.read(&c.Step.Measured.V) {
					points = append(points, p.SI())
				}
				if g, ok := trial.Mean(trial.Figure(i), points, thickness); ok {
					one.graded[i], measured = g, true
					all[i] = append(all[i], points...)
				}
			}
			if y, ok := figures[2].mean(c.Step); ok {
				q.dross, q.drossed = max(q.dross, y), true
			}
			if measured {
				q.coupons = append(q.coupons, one)
			}
		}
		if len(q.coupons) == 0 && !q.drossed {
			continue
		}
		for i := range all {
			q.lot[i], _ = trial.Mean(trial.Figure(i), all[i], thickness)
		}
		q.judge(t.recipe)
		return q
	}
	return nil
}

// judge holds the lot against the quality that the condition is meant to reach and the execution class of the work.
func (q *qualityReport) judge(r *schema.Recipe) {
	want := r.Quality.V
	say := func(name string, g trial.Graded, asked int, who string) {
		switch {
		case asked == 0:
		case g.Points == 0:
			q.verdict = append(q.verdict, fmt.Sprintf("%s: range %d asked by %s, and not measured", name, asked, who))
		case g.Meets(asked):
			q.verdict = append(q.verdict, fmt.Sprintf("%s: %s, range %d asked by %s: reached", name, rangeWords(g), asked, who))
		default:
			q.verdict = append(q.verdict, fmt.Sprintf("%s: %s, range %d asked by %s: NOT reached", name, rangeWords(g), asked, who))
		}
	}
	say("u", q.lot[0], want.PerpendicularityRange.V, "the condition")
	say("Rz5", q.lot[1], want.RoughnessRange.V, "the condition")
	if want.MaxDross.Set() {
		switch most := want.MaxDross.V; {
		case !q.drossed:
			q.verdict = append(q.verdict, "dross: at most "+most.Text()+" asked by the condition, and not measured")
		case q.dross <= most.SI()*(1+1e-9):
			q.verdict = append(q.verdict, "dross: highest "+figures[2].show(q.dross)+", at most "+most.Text()+" asked by the condition: reached")
		default:
			q.verdict = append(q.verdict, "dross: highest "+figures[2].show(q.dross)+", at most "+most.Text()+" asked by the condition: NOT reached")
		}
	}
	class := want.ExecutionClass.V
	if u, rz, ok := physics.ExecutionClass(class); ok {
		say("u", q.lot[0], u, fmt.Sprintf("EXC%d of EN 1090-2", class))
		say("Rz5", q.lot[1], rz, fmt.Sprintf("EXC%d of EN 1090-2", class))
	} else if class > 0 {
		q.verdict = append(q.verdict, fmt.Sprintf("EXC%d of EN 1090-2 asks for no range; the edge has to be free of significant irregularities", class))
	}
}

func rangeWords(g trial.Graded) string {
	if g.Range == 0 {
		return "beyond the last range"
	}
	return fmt.Sprintf("range %d", g.Range)
}

// edgeWords says what ends a window on a side.
func edgeWords(l *trial.Level, side string, show func(quantity.Value) string) string {
	if l == nil {
		return "nothing cut " + side
	}
	text := l.Worst().String() + " at " + show(l.Value)
	if len(l.Symptoms) > 0 {
		text += " (" + strings.Join(l.Symptoms, ", ") + ")"
	}
	return text
}

// outcomesWords lists the cuts of a level: "good good marginal".
func outcomesWords(l trial.Level) string {
	var out []string
	for _, o := range []struct {
		word string
		n    int
	}{{"good", l.Good}, {"marginal", l.Marginal}, {"bad", l.Bad}} {
		if o.n > 3 {
			out = append(out, fmt.Sprintf("%d %s", o.n, o.word))
			continue
		}
		for range o.n {
			out = append(out, o.word)
		}
	}
	return strings.Join(out, " ")
}

// roomWords says how far a value is from an edge: in percent of the value, where that means something, and in steps of the machine.
func roomWords(f *fieldReport, room quantity.Value, show func(quantity.Value) string) string {
	text := show(room)
	var more []string
	if v := f.Value.SI(); v > 0 && !strings.HasSuffix(f.Path, "focus") {
		more = append(more, fmt.Sprintf("%.0f %%", 100*room.SI()/v))
	}
	if n := trial.StepsIn(room, f.Step); !f.Step.IsZero() && n != 0 {
		noun := counted(int(n), "step")
		more = append(more, noun+" of "+show(f.Step))
	}
	if len(more) > 0 {
		text += " (" + strings.Join(more, ", ") + ")"
	}
	return text
}

// words says how a figure goes with the value.
func (r *response) words(f *fieldReport, show func(quantity.Value) string) string {
	if r.why != "" {
		return fmt.Sprintf("%s: no fit, %s", r.name, r.why)
	}
	at := func(x float64) string {
		v, err := quantity.FromSI(f.Value.Dimension(), x, f.Value.Unit())
		if err != nil {
			return "?"
		}
		return show(v)
	}
	if x, half, ok := r.fit.Turn(); ok && r.fit.Degree == 2 {
		word := "greatest"
		if r.fit.Least() {
			word = "least"
		}
		y, yHalf := r.fit.At(x)
		return fmt.Sprintf("%s: %s at %s (%s), %s there (%s to %s); curved, R2 %.2f, %d cuts", r.name, word, at(x), span(at(x-half), at(x+half)), r.show(y),
			r.number(max(0, y-yHalf)), r.show(y+yHalf), r.fit.R2, r.points)
	}
	slope, half := r.fit.Slope(f.Value.SI())
	step := f.Step.SI()
	if step == 0 {
		step = f.Value.SI() / 100
	}
	if r.fit.Degree == 1 && !r.fit.Clear() {
		return fmt.Sprintf("%s: no slope that stands out from the scatter (p %.2g, %d cuts)", r.name, r.fit.P(), r.points)
	}
	word, form := "rises", "straight"
	if slope < 0 {
		word = "falls"
	}
	if r.fit.Degree == 2 {
		form = "curved"
	}
	low, high := step*(slope-half), step*(slope+half)
	return fmt.Sprintf("%s: %s by %s for each %s (%s to %s); %s, R2 %.2f, %d cuts", r.name, word, r.show(max(step*slope, -step*slope)), show(f.Step), r.number(low), r.show(high), form, r.fit.R2, r.points)
}

// few reports whether too little was measured to compare.
func (c *comparison) few() bool { return len(c.a) < 2 || len(c.b) < 2 }

// fewMeasured says what cannot be compared for want of measured cuts.
func fewMeasured(f *fieldReport, show func(quantity.Value) string) string {
	var names []string
	from, to := 0, 0
	text := ""
	for i := range f.comparisons {
		if c := &f.comparisons[i]; c.few() {
			names = append(names, c.name)
			from, to = max(from, len(c.a)), max(to, len(c.b))
			text = fmt.Sprintf("%s at %s against %s: %d and %d measured, 2 each are needed", strings.Join(names, ", "), show(c.from), show(c.to), from, to)
		}
	}
	return text
}

// words says a comparison, where there is enough to compare.
func (c *comparison) words(show func(quantity.Value) string) []string {
	head := fmt.Sprintf("%s at %s against %s", c.name, show(c.from), show(c.to))
	if c.few() {
		return nil
	}
	if !c.welched {
		return []string{head + ": no scatter at all, so there is nothing to test"}
	}
	w := c.welch
	exact := "approximated"
	if c.ranks.Exact {
		exact = "exact"
	}
	return []string{
		fmt.Sprintf("%s: %s -> %s, difference %s (%s to %s)", head, c.number(w.MeanA), c.show(w.MeanB), c.number(w.Difference), c.number(w.Low), c.show(w.High)),
		fmt.Sprintf("Welch t %.3g, %.1f degrees of freedom, p %.2g; Mann-Whitney U %g, p %.2g (%s)", w.T, w.DF, w.P, c.ranks.U, c.ranks.P, exact),
		fmt.Sprintf("effect %s: Hedges g %.2g, Cliff delta %.2g, %d and %d cuts", effectWords(w.Hedges), w.Hedges, c.ranks.Delta, len(c.a), len(c.b)),
	}
}
