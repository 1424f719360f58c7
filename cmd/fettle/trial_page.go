package main

import (
	"fmt"
	"math"
	"strings"

	"fettle/cmd/fettle/view"
	"fettle/lint/trial"
	"fettle/schema"
	"fettle/schema/quantity"
)

// trialsPage is what trials show, as a page with plots. It says what the text says.
func (s *shop) trialsPage(reports []*trialReport) *view.TrialPage {
	page := &view.TrialPage{Title: "What trials show", Subtitle: s.day(s.now())}
	if set := s.unsaved.lib.Settings.Value; set != nil {
		page.Subtitle = set.Name.V + ", " + page.Subtitle
	}
	for _, t := range reports {
		page.Conditions = append(page.Conditions, s.conditionPage(t))
	}
	return page
}

// labelled gathers what a printer for people says as rows: a label and its text.
func labelled(print func(label func(word, format string, args ...any))) []view.Row {
	var out []view.Row
	print(func(word, format string, args ...any) {
		out = append(out, view.Row{Label: word, Text: fmt.Sprintf(format, args...)})
	})
	return out
}

func (s *shop) conditionPage(t *trialReport) view.TrialCondition {
	prefs := s.prefs()
	c := view.TrialCondition{ID: t.id.String(), Recipe: s.oneLine(t.recipe.Values()), Rows: labelled(func(label func(string, string, ...any)) { s.tellTrials(t, label) }),
		Foot: labelled(func(label func(string, string, ...any)) { s.tellNext(t, label) })}
	for i := range t.fields {
		f := &t.fields[i]
		c.Fields = append(c.Fields, view.TrialField{Name: schema.SpokenPath(f.Path), Summary: fieldSummary(f) + ".", Ladder: ladderPlot(f, prefs), Responses: responsePlots(f, prefs),
			Rows: labelled(func(label func(string, string, ...any)) { tellField(f, onStepOf(f.Step, prefs), label) })})
	}
	for i := range t.together {
		g := &t.together[i]
		c.Together = append(c.Together, view.TrialTogether{Title: g.title(), Rows: labelled(func(label func(string, string, ...any)) { s.tellTogether(g, label) })})
	}
	if q := t.quality; q != nil {
		c.GradeTitle = "Edge by ISO 9013: " + q.of()
		for _, coupon := range q.coupons {
			c.Grades = append(c.Grades, gradeRow(coupon.name(), coupon.graded))
		}
		c.Grades = append(c.Grades, gradeRow("all of them", q.lot))
		c.GradeRows = labelled(func(label func(string, string, ...any)) { tellVerdict(q, label) })
	}
	return c
}

func gradeRow(name string, g [2]trial.Graded) view.TrialGrade {
	cell := func(i int) (string, string) {
		if g[i].Points == 0 {
			return "–", ""
		}
		return figures[i].show(g[i].Mean) + " of " + counted(g[i].Points, "point"), rangeWords(g[i])
	}
	row := view.TrialGrade{Name: name}
	row.U, row.URange = cell(0)
	row.Rz, row.RzRange = cell(1)
	return row
}

// scaleOf turns SI numbers of a field into the unit that is shown.
func scaleOf(f *fieldReport, prefs quantity.Prefs) (unit string, scale func(float64) float64) {
	_, unit, _ = strings.Cut(f.Value.Format(prefs), " ")
	if unit == "" || strings.Contains(unit, " ") {
		unit = f.Value.Unit()
	}
	return unit, func(si float64) float64 {
		v, err := quantity.FromSI(f.Value.Dimension(), si, unit)
		if err != nil {
			return math.NaN()
		}
		n, err := v.Number(unit)
		if err != nil {
			return math.NaN()
		}
		return n
	}
}

func ladderPlot(f *fieldReport, prefs quantity.Prefs) view.TrialLadder {
	unit, scale := scaleOf(f, prefs)
	l := view.TrialLadder{Unit: unit, Low: math.NaN(), High: math.NaN(), Now: scale(f.Value.SI()), Recommended: math.NaN()}
	for _, level := range f.Levels {
		l.Levels = append(l.Levels, view.TrialLevel{X: scale(level.Value.SI()), Text: onStepOf(f.Step, prefs)(level.Value), Good: level.Good, Marginal: level.Marginal, Bad: level.Bad,
			Seen: strings.Join(level.Symptoms, ", ")})
	}
	if f.Found {
		l.Low, l.High, l.Recommended = scale(f.Window.Low.SI()), scale(f.Window.High.SI()), scale(f.recommended.SI())
	}
	return l
}

func responsePlots(f *fieldReport, prefs quantity.Prefs) []view.TrialResponse {
	_, scale := scaleOf(f, prefs)
	var out []view.TrialResponse
	for i := range f.responses {
		r := &f.responses[i]
		dim, _ := quantity.UnitDimension(r.unit)
		figure := func(si float64) float64 {
			v, err := quantity.FromSI(dim, si, r.unit)
			if err != nil {
				return math.NaN()
			}
			n, _ := v.Number(r.unit)
			return n
		}
		plot := view.TrialResponse{Title: r.name, Unit: r.unit}
		for k := range r.xs {
			plot.Points = append(plot.Points, view.TrialPoint{X: scale(r.xs[k]), Y: figure(r.ys[k]), Outcome: r.outcomes[k]})
		}
		if r.why == "" {
			const points = 40
			for k := range points + 1 {
				x := r.fit.Low + (r.fit.High-r.fit.Low)*float64(k)/points
				y, half := r.fit.At(x)
				plot.Curve = append(plot.Curve, view.TrialCurve{X: scale(x), Y: figure(y), Low: figure(y - half), High: figure(y + half)})
			}
		}
		out = append(out, plot)
	}
	return out
}
