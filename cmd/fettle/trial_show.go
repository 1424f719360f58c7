package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/lint/trial"
	"fettle/schema"
	"fettle/schema/quantity"
)

func (a *app) trialShowCommand() *cobra.Command {
	return &cobra.Command{Use: "show [ID...]", Short: "what trials show: proven window, next value, figures, and what they do not say",
		Long: "For a condition: what its trials on record show of the recipe as it lies in the file. For each value that was varied alone: the steps, the proven\n" +
			"window with what failed beside it, where the present value lies, the value to go on with, how measured figures go with it, old against new, and\n" +
			"what the cuts do not say. Figures of the edge are graded by ISO 9013. Without ids: all trials on record and all open plans.\n" +
			"--format html is a page with plots that prints on A4. No figure here is a release of a part.",
		Example:     "  fettle trial show 10mm\n  fettle trial show 10mm --format html >trial.html",
		Annotations: map[string]string{"formats": "own"}, ValidArgsFunction: a.complete(inSaved),
		RunE: func(cmd *cobra.Command, args []string) error { return a.showTrials(args) }}
}

func (a *app) showTrials(typed []string) error {
	if err := a.oneOf("text", "json", "html"); err != nil {
		return err
	}
	s, err := a.open()
	if err != nil {
		return err
	}
	if s.meant(typed, onRecord|unsaved, inFiles|inSaved); len(typed) == 0 {
		s.onlyRecords(unjudged)
	}
	if _, _, err := s.both(); err != nil {
		return err
	}
	if len(typed) == 0 {
		return s.listTrials()
	}
	ids, err := s.resolve(typed, s.ids(inFiles|inSaved))
	if err != nil {
		return err
	}
	var reports []*trialReport
	for _, id := range ids {
		r, err := s.evaluate(id)
		if err != nil {
			return err
		}
		reports = append(reports, r)
	}
	switch a.format {
	case "json":
		return s.trialsJSON(reports)
	case "html":
		return s.trialsPage(reports).HTML(s.out)
	}
	without := 0
	for i, r := range reports {
		if len(reports) > 1 && len(r.trials)+len(r.tried.Evidence.Aside) == 0 {
			without++
			continue
		}
		if i > without {
			s.tell("")
		}
		s.printTrialReport(r)
	}
	if without > 0 {
		s.tell("%s of them without a trial", counted(without, "condition"))
	}
	return nil
}

// listTrials lists all trials on record and what is planned.
func (s *shop) listTrials() error {
	type row struct {
		Record string   `json:"record"`
		ID     string   `json:"id"`
		At     string   `json:"at"`
		Unit   string   `json:"unit"`
		By     string   `json:"by"`
		Steps  []string `json:"steps"`
	}
	plans, err := s.plans()
	if err != nil {
		return err
	}
	out := struct {
		Format int   `json:"format"`
		Trials []row `json:"trials"`
		Plans  []any `json:"plans"`
	}{1, []row{}, []any{}}
	trials := history.Bodies[*schema.Trial](s.unsaved.ledger)
	for _, t := range trials {
		r := row{string(t.Record.Digest), t.Body.ID.V, t.Body.At.V, t.Body.Unit.V, t.Body.By.V, []string{}}
		for i := range t.Body.Steps.V {
			r.Steps = append(r.Steps, stepWords(&t.Body.Steps.V[i]))
		}
		out.Trials = append(out.Trials, r)
	}
	open := slices.DeleteFunc(plans, func(p *plan) bool { return p.recorded != nil })
	for _, p := range open {
		out.Plans = append(out.Plans, planJSON(p))
	}
	if s.format != "text" {
		return s.json(out)
	}
	for i, t := range trials {
		s.tell("%s  %s", t.Body.ID.V, s.trialLine(t.Record))
		for _, words := range out.Trials[i].Steps {
			s.tell("    %s", clean(words))
		}
	}
	for _, p := range open {
		s.tell("%s  planned on %s by %s, %s: fettle trial record %s", p.ID.V, s.day(p.Time()), spoken(p.By.V), p.writtenDown(), p.code())
	}
	if len(trials)+len(open) == 0 {
		s.say("no trial is on record; to record one: fettle trial record ID --good")
	}
	return nil
}

// stepWords is one cut in a line: good  cut.pressure 0.36 bar  seen: dross.
func stepWords(step *schema.Step) string {
	line := step.Outcome.V
	for _, c := range step.Changed {
		line += "  " + schema.SpokenPath(c.Name) + " " + c.V
	}
	if len(step.Observed.V) > 0 {
		line += "  seen: " + strings.Join(step.Observed.V, ", ")
	}
	return line
}

// printTrialReport prints what trials show, for 80 columns.
func (s *shop) printTrialReport(t *trialReport) {
	label := func(word, format string, args ...any) { s.tell("    %-12s %s", word, fmt.Sprintf(format, args...)) }
	s.tell("%s    %s", t.id, s.oneLine(t.recipe.Values()))
	s.tellTrials(t, label)
	for i := range t.fields {
		f := &t.fields[i]
		show := onStepOf(f.Step, s.prefs())
		s.tell("")
		s.tell("%s    %s", schema.SpokenPath(f.Path), fieldSummary(f))
		width := 0
		for _, l := range f.Levels {
			width = max(width, len([]rune(show(l.Value))))
		}
		for _, l := range f.Levels {
			mark := "  "
			if l.Value.Equal(f.Value) {
				mark = "> " // where the recipe is
			}
			s.tell("%s", strings.TrimRight(fmt.Sprintf("  %s%-*s  %-20s %s", mark, width, show(l.Value), outcomesWords(l), strings.Join(l.Symptoms, ", ")), " "))
		}
		tellField(f, show, label)
	}
	for i := range t.together {
		g := &t.together[i]
		s.tell("")
		s.tell("%s    trial of %s", g.title(), s.day(g.record.Time()))
		s.tellTogether(g, label)
	}
	if q := t.quality; q != nil {
		s.tell("")
		s.tell("edge by ISO 9013    %s", q.of())
		for _, c := range q.coupons {
			label(c.name(), "%s   %s", gradeWords(0, c.graded[0]), gradeWords(1, c.graded[1]))
		}
		if q.lot[0].Points+q.lot[1].Points > 0 {
			label("all of them", "%s   %s", gradeWords(0, q.lot[0]), gradeWords(1, q.lot[1]))
		}
		tellVerdict(q, label)
	}
	s.tellNext(t, label)
}

// tellTrials says which trials there are, what counts and what does not.
func (s *shop) tellTrials(t *trialReport, label func(word, format string, args ...any)) {
	if len(t.trials) == 0 {
		label("trials", "none that counts")
	}
	for i, r := range t.trials {
		label(map[bool]string{true: "trials"}[i == 0], "%s", s.trialLine(r))
	}
	for _, aside := range t.tried.Evidence.Aside {
		label("not counted", "%s: %s", s.trialLine(aside.Record), clean(aside.Why))
	}
	if len(t.exact) > 0 {
		good := 0
		for i := range t.exact {
			if t.exact[i].Good() {
				good++
			}
		}
		low, high, _ := trial.Wilson(good, len(t.exact), trial.Confidence)
		label("as it is", "%d of %s good; %.0f to %.0f in 100 of the next ones (Wilson, 95 %%)", good, counted(len(t.exact), "cut"), 100*low, 100*high)
	}
	if against := t.tried.Against(); against != "" {
		label("against", "these values came out %s", against)
	}
	for _, unit := range t.unproven {
		label("not proven", "on %s: no good cut of this set is on record there", unit)
	}
	for _, r := range t.hot {
		label("caution", "the nozzle was hot in the trial of %s (%s): look first at alignment and a reflecting plate, then focus, spatter, optics, pierce; say what it was: fettle triage %s --symptom hot-nozzle --found WORD",
			s.day(r.Time()), r.Digest.Short(), t.id)
	}
}

// tellNext says what to do next.
func (s *shop) tellNext(t *trialReport, label func(word, format string, args ...any)) {
	if len(t.trials) == 0 {
		label("next", "fettle trial plan %s --vary cut.pressure   or, for one cut: fettle trial record %s --good", t.id, t.id)
		return
	}
	if len(t.fields)+len(t.together) == 0 {
		label("does not say", "what other values do: nothing was varied alone. fettle trial plan %s --vary cut.pressure", t.id)
	}
	for i := range t.fields {
		// A value near the middle of its window is left alone.
		if f := &t.fields[i]; f.Found && f.settled() && !f.recommended.Equal(f.Value) && (!f.place.Inside || f.place.Share < 0.35 || f.place.Share > 0.65) {
			label("next", "fettle set %s %s=%s", t.id, schema.SpokenPath(f.Path), strings.ReplaceAll(padded(f.recommended, f.Step), " ", ""))
		}
	}
}

func fieldSummary(f *fieldReport) string {
	cuts := 0
	for _, l := range f.Levels {
		cuts += l.Cuts()
	}
	return fmt.Sprintf("%s in %s, all else equal", counted(cuts, "cut"), counted(len(f.Trials()), "trial"))
}

// tellField says what is known along one value.
func tellField(f *fieldReport, show func(quantity.Value) string, label func(word, format string, args ...any)) {
	if !f.Found {
		label("window", "none: no step came out good every time")
	} else {
		tellWindow(f, show, label)
	}
	for i := range f.responses {
		label(map[bool]string{true: "response"}[i == 0], "%s", f.responses[i].words(f, show))
	}
	said := 0
	for i := range f.comparisons {
		for _, line := range f.comparisons[i].words(show) {
			label(map[bool]string{true: "old and new"}[said == 0], "%s", line)
			said++
		}
	}
	if few := fewMeasured(f, show); few != "" {
		label(map[bool]string{true: "old and new"}[said == 0], "%s", few)
	}
	for i, d := range f.doubts {
		label(map[bool]string{true: "does not say"}[i == 0], "%s", d)
	}
}

func tellWindow(f *fieldReport, show func(quantity.Value) string, label func(word, format string, args ...any)) {
	w := f.Window
	label("window", "%s, %s, %d of %d cuts good; %.0f to %.0f in 100 of the next ones (Wilson, 95 %%)", span(show(w.Low), show(w.High)), counted(w.Steps, "step"), w.Cuts, w.Cuts, 100*f.low, 100*f.high)
	label("edges", "%s; %s", edgeWords(w.Below, "below", show), edgeWords(w.Above, "above", show))
	label("now", "%s, %s", show(f.Value), f.place.Words())
	if f.place.Inside && w.Steps > 1 {
		label("room", "%s down to the low edge", roomWords(f, f.place.ToLow, show))
		label("", "%s up to the high edge", roomWords(f, f.place.ToHigh, show))
	}
	why := "the middle of the window"
	switch {
	case w.Steps == 1:
		why = "the only step that was shown good"
	case w.Below != nil && w.Above != nil:
		why = "the middle between the guessed edges, away from the nearer failure"
	case w.Below != nil || w.Above != nil:
		why += "; only one side is known to fail"
	}
	label("recommended", "%s   %s", show(f.recommended), why)
}

// tellVerdict holds what was graded against what is asked.
func tellVerdict(q *qualityReport, label func(word, format string, args ...any)) {
	for i, v := range q.verdict {
		label(map[bool]string{true: "asked"}[i == 0], "%s", v)
	}
	label("how", "the mean over the measuring points that were written down, each counting alike; how many and where is for the standard or the drawing to say")
	if !q.inScope {
		label("", "the standard speaks of laser cuts of 0.5 to 32 mm, and this plate is another")
	}
}

// gradeWords is a graded figure: u 0.13 mm of 3 points, range 2.
func gradeWords(i int, g trial.Graded) string {
	fig := figures[i]
	if g.Points == 0 {
		return fig.name + " -"
	}
	return fmt.Sprintf("%s %s of %s, %s", fig.name, fig.show(g.Mean), counted(g.Points, "point"), rangeWords(g))
}
