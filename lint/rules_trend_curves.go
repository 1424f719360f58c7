package lint

import (
	"fmt"
	"math"

	"fettle/lint/trend"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A Curve is one quantity of a family over thickness, with what the family says of each point: what screens draw and what the rules
// of the family trend judge by.
type Curve struct {
	Name   string // speed, power, pressure, focus, kerf, orifice, pierce
	Spoken string // the name in a sentence
	Order  string // rising, falling, or "" for none
	From   string // what the order is known from: settings, family, trade; "" for none
	Sure   float64
	Points []CurvePoint

	judged bool // a rule holds single values against the curve
	pass   *Pass
	curve  *curve
}

// A CurvePoint is one value. Expect, Low and High are what the other points give, and where about 95 of 100 would lie; they are no
// values where there are no others.
type CurvePoint struct {
	Recipe            *schema.Recipe
	Value             quantity.Value
	Nozzle            string // double 1.2 mm
	Kind              string // what the order is not judged across: pulsed; the stages of a pierce
	Expect, Low, High quantity.Value
	Off               float64 // value over expected, less 1; of a focus the difference in m
	Rule, Says, Help  string  // the finding; "" for none
	Severity          Severity
}

// Curves works out the curves of one family, recipes that sever in the order of thickness. Base is what stood before, or nil; it
// decides whom to name where two values contradict each other. Measures that no recipe has are left out.
func Curves(lib, base *schema.Library, family []*schema.Recipe) []Curve {
	if len(family) == 0 {
		return nil
	}
	settings := lib.Settings.Value
	s := newRun(lib, settings, Options{Base: base})
	p := s.inSet(family[0].File, family[0].Set)
	p.Family = family
	v := p.view()
	said := map[*point]verdict{}
	rows := map[*schema.Recipe]verdict{}
	for _, x := range v.verdicts {
		if x.point == nil {
			rows[x.recipe] = x
			continue
		}
		said[x.point] = x
	}
	var out []Curve
	for _, c := range v.curves {
		if len(c.points) == 0 || c.name == "standoff" {
			continue
		}
		view := Curve{Name: c.name, Spoken: c.spoken(), From: c.from, Sure: c.sure, judged: c.curveRule != "", pass: &p, curve: c}
		if c.order != trend.None {
			view.Order = c.order.String()
		}
		for _, pt := range c.points {
			r := pt.recipe
			at := CurvePoint{Recipe: r, Value: pt.value, Kind: c.kindWords(v, pt),
				Nozzle: fmt.Sprintf("%s %s", r.Nozzle.V.Form.V, p.Show(r.Nozzle.V.Orifice.V.Value))}
			if len(c.points) > 1 {
				at.Expect, at.Low, at.High = p.interval(c, pt.value, pt.t, pt.expect)
				at.Off = math.Expm1(pt.off())
				if c.name == "focus" {
					at.Off = pt.value.SI() - c.plain(pt.expect.Value, pt.t)
				}
			}
			x, ok := said[pt]
			if !ok && c.name == "speed" {
				x = rows[r]
			}
			at.Rule, at.Says, at.Help, at.Severity = x.rule, x.message, x.help, s.severityNamed(x.rule)
			view.Points = append(view.Points, at)
		}
		out = append(out, view)
	}
	return out
}

// kindWords says what a point cannot be compared across.
func (c *curve) kindWords(v *familyView, pt *point) string {
	w := &v.rows[pt.row]
	switch n := len(pt.recipe.Pierce.V); {
	case c.name == "pressure" && w.highPressure:
		return "high pressure"
	case c.name == "pressure":
		return ""
	case c.name != "pierce":
		return w.mode
	case n == 1:
		return "1 stage"
	default:
		return fmt.Sprintf("%d stages", n)
	}
}

func (p *Pass) interval(c *curve, like quantity.Value, t float64, expect trend.Prediction) (value, low, high quantity.Value) {
	at := func(sd float64) quantity.Value { return p.shownAs(like, c.plain(expect.Value+sd*expect.SD, t)) }
	return at(0), at(-2), at(2)
}

// Judged reports whether a rule holds single values against the curve, and not their order only.
func (c Curve) Judged() bool { return c.judged }

// Between predicts the quantity at a thickness in m by all points that the family trusts, with the nozzle and the kind of the recipe
// like.
func (c Curve) Between(thickness float64, like *schema.Recipe) (expect, low, high quantity.Value, ok bool) {
	pt, q, ok := c.predict(thickness, like)
	if !ok {
		return expect, low, high, false
	}
	expect, low, high = c.pass.interval(c.curve, pt.value, thickness, q)
	return expect, low, high, true
}

// Band is [Curve.Between] as plain numbers in SI, for drawing.
func (c Curve) Band(thickness float64, like *schema.Recipe) (mid, low, high float64, ok bool) {
	_, q, ok := c.predict(thickness, like)
	at := func(sd float64) float64 { return c.curve.plain(q.Value+sd*q.SD, thickness) }
	return at(0), at(-2), at(2), ok
}

func (c Curve) predict(thickness float64, like *schema.Recipe) (*point, trend.Prediction, bool) {
	for _, pt := range c.curve.points {
		if pt.recipe == like && pt.trusted != nil && len(c.curve.points) > 1 {
			q := pt.trusted.At(trend.Place{X: math.Log(thickness), Group: pt.level, Kind: pt.kind})
			q.SD *= pt.spread
			return pt, q, true
		}
	}
	return nil, trend.Prediction{}, false
}

// Measured is the value that a curve has of a recipe; none where the recipe has none.
func Measured(name string, r *schema.Recipe) quantity.Value {
	for _, m := range measures {
		if m.name == name {
			v, _ := m.of(r)
			return v
		}
	}
	return quantity.Value{}
}
