package lint

import (
	"fmt"
	"slices"

	"fettle/lint/trend"
)

// workTrend writes down what a rule of the family trend holds a value against; nil for other rules.
func workTrend(rule string) func(*Pass) []Worked {
	i := slices.IndexFunc(measures, func(m *measure) bool { return m.orderRule == rule || m.curveRule == rule })
	if i < 0 {
		return nil
	}
	return func(p *Pass) []Worked { return p.workCurve(rule, measures[i]) }
}

func (p *Pass) workCurve(rule string, m *measure) []Worked {
	v := p.view()
	k := slices.IndexFunc(v.curves, func(c *curve) bool { return c.measure == m })
	if k < 0 {
		return nil
	}
	c := v.curves[k]
	i := slices.IndexFunc(c.points, func(pt *point) bool { return pt.recipe == p.Recipe })
	if i < 0 {
		return nil
	}
	pt := c.points[i]
	var w Worked
	w.put(p, "t", "thickness", p.Recipe.Thickness.V.Value, "thickness")
	w.put(p, "y", m.spoken(), pt.value, pt.at.Field)
	for _, j := range []int{i - 1, i + 1} {
		if j >= 0 && j < len(c.points) {
			other := c.points[j]
			w.put(p, "", m.spoken()+" at "+p.Show(other.recipe.Thickness.V.Value), other.value, other.recipe.ID.String())
		}
	}
	if !pt.alone {
		value, low, high := p.interval(c, pt.value, pt.t, pt.expect)
		w.out("", fmt.Sprintf("curve through the other %d", len(c.points)-1), p.Show(value))
		w.out("", "where about 95 of 100 would lie", span(p.Show(low), p.Show(high)))
		w.out("", "off the curve, in standard deviations", digits(pt.off()/pt.expect.SD, 3))
		w.against("standard deviations that are too far", digits(pt.bound, 3))
	}
	switch {
	case rule == m.curveRule:
	case c.order == trend.None:
		w.against("order with thickness", "none")
	default:
		w.against("order with thickness", fmt.Sprintf("%s, known from the %s", c.order, c.from))
		if o, broken := c.broken()[pt]; broken {
			w.against("nearest value that keeps it", fmt.Sprintf("%s, that of %s", p.Show(o.to), p.Show(o.of.recipe.Thickness.V.Value)))
		}
	}
	for _, x := range v.verdicts {
		if x.rule == rule && x.recipe == p.Recipe {
			w.Verdict, w.Says = p.state.severityNamed(rule), x.message
		}
	}
	return []Worked{w}
}
