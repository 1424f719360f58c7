package lint

import (
	"cmp"
	"math"
	"slices"

	"fettle/lint/trend"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A familyView is what the curves of one family say, worked out once for all the rules that ask.
type familyView struct {
	family       []*schema.Recipe
	gas          string
	curves       []*curve // in the order of measures
	yield        *curve   // nil until asked for
	verdicts     []verdict
	highPressure map[*schema.Recipe]bool
	side         map[*schema.Recipe]string // of the focus strategy
}

// A curve is one measure of a family.
type curve struct {
	*measure
	points []*point   // by thickness
	parts  [][]*point // by kind
	order  trend.Order
	from   string  // where the order is known from: settings, family, trade; "" for none
	sure   float64 // how sure it is, 0 to 1
}

// A point is one value of a curve.
type point struct {
	recipe  *schema.Recipe
	value   quantity.Value
	at      Place
	x, y    float64 // logarithm of the thickness, curved value
	t       float64 // thickness in m
	kind    int     // index into parts
	level   int
	touched bool // it is not what it was in the base
	alone   bool // there are no others that could tell
	suspect bool

	index   int              // among the points of last, -1 for a suspect
	spread  float64          // how much more than the model the curve scatters
	expect  trend.Prediction // by the others that are trusted; SD with how much the family scatters in fact
	bound   float64          // how many SD are too far
	last    *trend.Curve     // that it was held against, suspects left out
	trusted *trend.Curve     // of all points that are trusted, itself among them
}

func (pt *point) place() trend.Place { return trend.Place{X: pt.x, Group: pt.level, Kind: pt.kind} }

// off is how far the value lies beside what the others say, with the sign.
func (pt *point) off() float64 { return pt.y - pt.expect.Value }

// far reports whether it lies farther off than the family scatters.
func (pt *point) far() bool { return pt.farBy(1) }

// farBy is far with a share of the distance.
func (pt *point) farBy(share float64) bool {
	return !pt.alone && math.Abs(pt.off()) > share*pt.bound*pt.expect.SD
}

// view returns the curves of the family of the pass. Several rules ask in turn.
func (p *Pass) view() *familyView {
	first := p.Family[0]
	if v := p.state.views[first]; v != nil {
		return v
	}
	v := &familyView{gas: p.Gas}
	for _, r := range p.Family {
		if r.Severs() {
			v.family = append(v.family, r)
		}
	}
	v.sort()
	for _, m := range measures {
		v.curves = append(v.curves, v.curve(m, p.edited))
	}
	for _, c := range v.curves {
		c.readOrder(p.declared(c.name), p.Gas)
	}
	p.decide(v)
	if p.state.views == nil {
		p.state.views = map[*schema.Recipe]*familyView{}
	}
	p.state.views[first] = v
	return v
}

// declared is the order that the settings give a measure of the family.
func (p *Pass) declared(name string) string {
	if p.Library.Settings.Value == nil {
		return ""
	}
	d, ok := p.Library.Settings.Value.Trend.Get(p.Family[0].ID.Family())
	if !ok {
		return ""
	}
	return map[string]string{"speed": d.Speed.V, "power": d.Power.V, "pressure": d.Pressure.V, "focus": d.Focus.V, "kerf": d.Kerf.V, "orifice": d.Orifice.V,
		"pierce": d.Pierce.V}[name]
}

// edited reports whether a value of a measure is not what it was before: only then can the change be to blame for it.
func (p *Pass) edited(m *measure, r *schema.Recipe, now quantity.Value) bool {
	if p.Base == nil {
		return false
	}
	was := p.Base.Recipe(r.ID)
	if was == nil || m.of == nil {
		return true
	}
	before, _ := m.of(was)
	return before.Dimension() != now.Dimension() || before.Cmp(now) != 0
}

// sort finds the two strategies that a family may have: the focus above the plate for some thicknesses and below for others, and
// oxygen at high pressure for thin plate and at low for thick. Two on either side make a strategy; one is an odd one.
func (v *familyView) sort() {
	v.side = map[*schema.Recipe]string{}
	v.highPressure = map[*schema.Recipe]bool{}
	n := len(v.family)
	for cut := 2; cut <= n-2; cut++ {
		above := func(r *schema.Recipe) bool { return r.Cut.V.Focus.V.Sign() > 0 }
		thin, thick := v.family[:cut], v.family[cut:]
		if allAre(thin, above) && noneIs(thick, above) || noneIs(thin, above) && allAre(thick, above) {
			for _, r := range thin {
				v.side[r] = "thin"
			}
		}
		least, most := math.Inf(1), 0.0
		for _, r := range thin {
			least = min(least, r.Cut.V.Pressure.V.SI())
		}
		for _, r := range thick {
			most = max(most, r.Cut.V.Pressure.V.SI())
		}
		if v.gas == "oxygen" && least > 2.5*most {
			for _, r := range thin {
				v.highPressure[r] = true
			}
		}
	}
}

func allAre(list []*schema.Recipe, is func(*schema.Recipe) bool) bool {
	return !slices.ContainsFunc(list, func(r *schema.Recipe) bool { return !is(r) })
}

func noneIs(list []*schema.Recipe, is func(*schema.Recipe) bool) bool {
	return !slices.ContainsFunc(list, is)
}

// curve puts the points of a measure together, judges each by the others, and sets aside those that do not belong.
func (v *familyView) curve(m *measure, touched func(*measure, *schema.Recipe, quantity.Value) bool) *curve {
	c := &curve{measure: m}
	var parts, levels []string
	for _, r := range v.family {
		pt := &point{recipe: r, t: r.Thickness.V.SI()}
		var si float64
		if m == yield {
			si = yieldOf(r)
		} else {
			pt.value, pt.at = m.of(r)
			si = pt.value.SI()
		}
		var ok bool
		if pt.y, ok = m.curved(si, pt.t); !ok || m != yield && pt.value.IsZero() {
			continue
		}
		pt.x = math.Log(pt.t)
		pt.kind, parts = indexOf(parts, m.kind(v, r))
		pt.level, levels = indexOf(levels, m.level(v, r))
		pt.touched = touched(m, r, pt.value)
		for len(c.parts) <= pt.kind {
			c.parts = append(c.parts, nil)
		}
		c.parts[pt.kind] = append(c.parts[pt.kind], pt)
		c.points = append(c.points, pt)
	}
	for _, points := range chunks(c.points) {
		weigh(m.model(v.gas), points)
	}
	return c
}

func indexOf(list []string, key string) (int, []string) {
	if i := slices.Index(list, key); i >= 0 {
		return i, list
	}
	return len(list), append(list, key)
}

// yieldOf is the speed for each watt of the mean power, 0 where it is not known.
func yieldOf(r *schema.Recipe) float64 {
	power := r.Cut.V.Power.V.SI()
	if r.Cut.V.Duty.Set() && isPulsed(schema.CutValues(r.Cut.V)) {
		power *= r.Cut.V.Duty.V.SI()
	}
	if power <= 0 {
		return 0
	}
	return r.Cut.V.Speed.V.SI() / power
}

// falseAlarm is how often one of the points of a curve, if all are good, may be called far off, were they normal and their scatter
// known. As it is not, the true share is some times that: see the calibration.
const falseAlarm = 0.00005

// chunk is how many points are weighed together. A shop has a dozen thicknesses; whoever has hundreds shall not wait for the cube of it.
const chunk = 60

// chunks cuts a list that is much longer than any family into parts.
func chunks(points []*point) [][]*point {
	if len(points) <= 3*chunk/2 {
		return [][]*point{points}
	}
	return slices.Collect(slices.Chunk(points, chunk))
}

// weigh predicts every point of a curve by the others. The point that lies farthest off is looked at by a curve that never saw it,
// so that it cannot widen the scatter that it is held against; where it is too far off even so, it is set aside and the rest are
// weighed again, until they agree. At most a quarter may go, and one of two or three.
func weigh(model trend.Model, points []*point) {
	n := len(points)
	if n == 0 {
		return
	}
	unclear := n == 1 || n == 2 && points[0].touched == points[1].touched // of two each is as far from the other
	bound := trend.Beyond(falseAlarm / float64(n))
	trusted := slices.Clone(points)
	for {
		fit, predicted, spread := predict(model, trusted)
		for i, pt := range trusted {
			pt.held(fit, predicted[i], i, spread)
			pt.bound, pt.alone = bound, unclear
		}
		for _, pt := range points {
			pt.trusted = fit
		}
		for _, pt := range points {
			if pt.suspect {
				pt.held(fit, fit.At(pt.place()), -1, spread)
			}
		}
		if unclear || n-len(trusted) >= max(1, n/4) || len(trusted) < 2 {
			return
		}
		worst := farthest(trusted)
		rest := slices.DeleteFunc(slices.Clone(trusted), func(pt *point) bool { return pt == worst })
		without, _, spread := predict(model, rest)
		index := worst.index
		worst.held(without, without.At(worst.place()), -1, spread)
		if !worst.far() {
			worst.last, worst.index = fit, index
			return
		}
		worst.suspect = true
		trusted = rest
	}
}

// held holds a point against a prediction.
func (pt *point) held(by *trend.Curve, expect trend.Prediction, index int, spread float64) {
	pt.last, pt.expect, pt.index, pt.spread = by, expect, index, spread
	pt.expect.SD *= spread
}

// farthest is the point that lies farthest off, in standard deviations. Where others lie nearly as far off, it is one that the
// change has touched.
func farthest(trusted []*point) *point {
	distance := func(pt *point) float64 { return math.Abs(pt.off()) / pt.expect.SD }
	worst := slices.MaxFunc(trusted, func(a, b *point) int { return cmp.Compare(distance(a), distance(b)) })
	for _, pt := range trusted {
		if pt.touched && !worst.touched && distance(pt) > 0.75*distance(worst) {
			worst = pt
		}
	}
	return worst
}

// predict lays a curve through points, with the line of Theil and Sen where there are enough, and says how much more or less than
// the model they scatter: the model counts as much as six points.
func predict(model trend.Model, points []*point) (c *trend.Curve, predicted []trend.Prediction, spread float64) {
	n := len(points)
	x, y, at := make([]float64, n), make([]float64, n), make([]trend.Place, n)
	for i, pt := range points {
		x[i], y[i], at[i] = pt.x, pt.y, pt.place()
	}
	if n >= 6 {
		model.Slope = trend.TheilSen(x, y).Slope
	}
	c = trend.Fit(model, at, y)
	predicted = c.LeaveOneOut()
	if n < 4 {
		return c, predicted, 1
	}
	z := make([]float64, n)
	for i, p := range predicted {
		z[i] = (y[i] - p.Value) / p.SD
	}
	const prior = 6.0
	q := trend.Scale(z)
	return c, predicted, math.Sqrt((prior + float64(n)*q*q) / (prior + float64(n)))
}

// readOrder says which way a curve goes: as the settings declare, else as the values of the family agree, else as is usual.
func (c *curve) readOrder(declared string, gas string) {
	switch declared {
	case "rising":
		c.order, c.from, c.sure = trend.Rising, "settings", 1
		return
	case "falling":
		c.order, c.from, c.sure = trend.Falling, "settings", 1
		return
	case "any":
		c.from = "settings"
		return
	}
	y, group := make([]float64, len(c.points)), make([]int, len(c.points))
	for i, pt := range c.points {
		y[i] = pt.plainY()
		group[i] = pt.kind
		if c.restart {
			group[i] = pt.kind*len(c.points) + pt.level
		}
	}
	if own, chance := trend.Direction(y, group); chance < 0.05 {
		c.order, c.from, c.sure = own, "family", 1-chance
		return
	}
	if usual, sure := c.usual(gas); usual != trend.None {
		c.order, c.from, c.sure = usual, "trade", sure
	}
}

// plainY is what is compared for the order: the focus itself, not its share of the thickness.
func (pt *point) plainY() float64 { return pt.value.SI() }
