package main

import (
	"fmt"
	"slices"
	"strings"

	"fettle/history"
	"fettle/lint/trial"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A togetherReport is one trial in which several values were varied at once, as a factorial or a composite design does.
type togetherReport struct {
	record   *schema.Record
	paths    []string
	settings []setting
	surfaces []surfaceReport
}

// A setting is one combination of values with what came out of it.
type setting struct {
	values []quantity.Value
	level  trial.Level // its counts; the value is not used
}

type surfaceReport struct {
	figure
	surface trial.Surface
	why     string
}

// togetherOf finds the trials that varied several quantities at once.
func togetherOf(t *trialReport) []togetherReport {
	e := t.tried.Evidence
	var out []togetherReport
	for _, r := range t.trials {
		var cuts []history.TrialCut
		together := false
		var varied []string
		for _, c := range e.Cuts {
			if c.Record != r || slices.ContainsFunc(c.Off, func(o history.FieldChange) bool { return o.From.Quantity.IsZero() || o.To.Quantity.IsZero() }) {
				continue
			}
			cuts = append(cuts, c)
			together = together || len(c.Off) > 1
			for _, o := range c.Off {
				if !slices.Contains(varied, o.Path) {
					varied = append(varied, o.Path)
				}
			}
		}
		if together && len(varied) < 5 {
			slices.SortFunc(varied, func(a, b string) int { return placeOf(t, a) - placeOf(t, b) })
			out = append(out, gather(e, r, varied, cuts))
		}
	}
	return out
}

// placeOf is where a field stands in the format.
func placeOf(t *trialReport, path string) int {
	return slices.IndexFunc(schema.Fields(t.recipe.Condition), func(f schema.Field) bool { return f.Path == path })
}

func gather(e *history.Evidence, r *schema.Record, varied []string, cuts []history.TrialCut) togetherReport {
	g := togetherReport{record: r, paths: varied}
	xs := make([][]float64, len(cuts))
	for i, c := range cuts {
		var values []quantity.Value
		for _, path := range varied {
			v := e.ValueOf(c, path)
			values = append(values, v)
			xs[i] = append(xs[i], v.SI())
		}
		at := slices.IndexFunc(g.settings, func(s setting) bool { return slices.EqualFunc(s.values, values, quantity.Value.Equal) })
		if at < 0 {
			at = len(g.settings)
			g.settings = append(g.settings, setting{values: values})
		}
		one := trial.Levels([]trial.Cut{{Value: values[0], Outcome: trial.OutcomeNamed(c.Step.Outcome.V), Symptoms: c.Step.Observed.V}})[0]
		l := &g.settings[at].level
		l.Good, l.Marginal, l.Bad = l.Good+one.Good, l.Marginal+one.Marginal, l.Bad+one.Bad
		for _, s := range one.Symptoms {
			if !slices.Contains(l.Symptoms, s) {
				l.Symptoms = append(l.Symptoms, s)
			}
		}
	}
	slices.SortFunc(g.settings, func(a, b setting) int { return slices.CompareFunc(a.values, b.values, quantity.Value.Cmp) })
	for _, fig := range figures {
		var x [][]float64
		var y []float64
		for i, c := range cuts {
			if v, ok := fig.mean(c.Step); ok {
				x, y = append(x, xs[i]), append(y, v)
			}
		}
		if len(y) == 0 {
			continue
		}
		one := surfaceReport{figure: fig}
		one.surface, one.why = trial.RespondTogether(x, y)
		g.surfaces = append(g.surfaces, one)
	}
	return g
}

// words says what a figure does over several values.
func (s *surfaceReport) words(g *togetherReport, prefs quantity.Prefs) string {
	if s.why != "" {
		return s.name + ": no fit, " + s.why
	}
	show := func(i int, si float64) string {
		like := g.settings[0].values[i]
		v, err := quantity.FromSI(like.Dimension(), si, like.Unit())
		if err != nil {
			return "?"
		}
		return v.Format(prefs)
	}
	var parts []string
	f := &s.surface
	if at, y, least, greatest, ok := f.Turn(); ok && (least || greatest) {
		var where []string
		for i, v := range at {
			where = append(where, schema.SpokenPath(g.paths[i])+" "+show(i, v))
		}
		parts = append(parts, fmt.Sprintf("%s at %s, %s there", map[bool]string{true: "least", false: "greatest"}[least], strings.Join(where, " and "), s.show(max(0, y))))
	}
	for _, t := range f.Terms {
		name := schema.SpokenPath(g.paths[t.I])
		switch {
		case t.J == -1 && t.Clear():
			parts = append(parts, fmt.Sprintf("%s %s from %s (%s to %s)", name, withSign(s, 2*t.Value), span(show(t.I, f.Low[t.I]), show(t.I, f.High[t.I])), s.number(2*(t.Value-t.Half)), s.number(2*(t.Value+t.Half))))
		case t.J == -1 && slices.ContainsFunc(f.Terms, func(q trial.Term) bool { return q.I == t.I && q.J == t.I && q.Clear() }):
			parts = append(parts, name+" curved")
		case t.J == -1:
			parts = append(parts, name+" nothing that stands out")
		case t.J != t.I && t.Clear():
			parts = append(parts, name+" and "+schema.SpokenPath(g.paths[t.J])+" act on each other")
		}
	}
	return fmt.Sprintf("%s: %s; R2 %.2f, %d cuts", s.name, strings.Join(parts, "; "), f.R2, f.Points)
}

func withSign(s *surfaceReport, si float64) string {
	text := s.show(si)
	if si > 0 {
		text = "+" + text
	}
	return text
}

// tellTogether says what a trial of several values at once shows.
func (s *shop) tellTogether(g *togetherReport, label func(word, format string, args ...any)) {
	prefs := s.prefs()
	for i := range g.settings {
		var values []string
		for _, v := range g.settings[i].values {
			values = append(values, v.Format(prefs))
		}
		text := fmt.Sprintf("%s: %s", strings.Join(values, ", "), outcomesWords(g.settings[i].level))
		if seen := g.settings[i].level.Symptoms; len(seen) > 0 {
			text += "   " + strings.Join(seen, ", ")
		}
		label(map[bool]string{true: "settings"}[i == 0], "%s", text)
	}
	for i := range g.surfaces {
		label(map[bool]string{true: "response"}[i == 0], "%s", g.surfaces[i].words(g, prefs))
	}
	label("does not say", "a proven window: that takes a ladder of one value, all else equal")
}

func (g *togetherReport) title() string {
	var names []string
	for _, p := range g.paths {
		names = append(names, schema.SpokenPath(p))
	}
	return strings.Join(names, " and ") + " together"
}
