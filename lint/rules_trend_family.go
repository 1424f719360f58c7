package lint

import (
	"cmp"
	"math"
	"slices"
	"sync"

	"fettle/lint/trend"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A familyView is what the curves of one family say, worked out once for all the rules that ask.
type familyView struct {
	family   []*schema.Recipe
	rows     []familyRow // of the family
	gas      string
	curves   []*curve // in the order of measures
	yield    *curve   // nil until asked for
	verdicts []verdict
}

// A familyRow is what the curves ask of a recipe.
type familyRow struct {
	t, x         float64        // thickness in m, and its logarithm
	was          *schema.Recipe // in the base; nil where there is none, or nothing is another there
	isNew        bool           // there is a base, and it is not in it
	nozzle       string         // form and orifice
	mode         string         // "pulsed", or ""
	pierce       string         // what must be equal for pierce times to be compared
	side         string         // of the focus strategy
	highPressure bool
}

// A curve is one measure of a family.
type curve struct {
	*measure
	points []*point   // by thickness
	of     []*point   // by place in the family; nil where there is none
	parts  [][]*point // by kind
	order  trend.Order
	from   string  // where the order is known from: settings, family, trade; "" for none
	sure   float64 // how sure it is, 0 to 1
}

// A point is one value of a curve.
type point struct {
	recipe  *schema.Recipe
	row     int // in the family
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
	v := &familyView{gas: p.Gas, family: make([]*schema.Recipe, 0, len(p.Family))}
	for _, r := range p.Family {
		if r.Severs() {
			v.family = append(v.family, r)
		}
	}
	v.rows = make([]familyRow, len(v.family))
	for i, r := range v.family {
		v.rows[i].read(r, v.rows[max(i-1, 0)])
		if p.Base != nil && !p.state.opts.Same {
			v.rows[i].was = p.Base.Recipe(r.ID)
			v.rows[i].isNew = v.rows[i].was == nil
		}
	}
	v.sort()
	v.curves = make([]*curve, 0, len(measures))
	for _, m := range measures {
		v.curves = append(v.curves, v.curve(m))
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

// read fills a row. Neighbours mostly have the same words.
func (w *familyRow) read(r *schema.Recipe, before familyRow) {
	w.t = r.Thickness.V.SI()
	w.x = math.Log(w.t)
	if isPulsed(&r.Cut.V.Mode, &r.Cut.V.Duty) {
		w.mode = "pulsed"
	}
	var room [96]byte
	text := append(append(room[:0], r.Nozzle.V.Form.V...), ' ')
	w.nozzle = same(before.nozzle, r.Nozzle.V.Orifice.V.AppendCanonical(text))
	w.pierce = same(before.pierce, appendPierceKind(room[:0], r))
}

// same is text as a string, that of before where it is the same.
func same(before string, text []byte) string {
	if before == string(text) {
		return before
	}
	return string(text)
}

// edited reports whether a value of a measure is not what it was before: only then can the change be to blame for it.
func (w *familyRow) edited(m *measure, now quantity.Value) bool {
	if w.was == nil || m == yield {
		return w.isNew && m != yield
	}
	before, _ := m.of(w.was)
	return before.Dimension() != now.Dimension() || before.Cmp(now) != 0
}

// sort finds the two strategies that a family may have: the focus above the plate for some thicknesses and below for others, and
// oxygen at high pressure for thin plate and at low for thick. Two on either side make a strategy; one is an odd one.
func (v *familyView) sort() {
	n := len(v.family)
	above := func(i int) bool { return v.family[i].Cut.V.Focus.V.Sign() > 0 }
	turns, last := 0, 0 // from one side of the plate to the other
	for i := 1; i < n; i++ {
		if above(i) != above(i-1) {
			turns, last = turns+1, i
		}
	}
	if turns == 1 && last >= 2 && last <= n-2 {
		for i := range last {
			v.rows[i].side = "thin"
		}
	}
	if v.gas != "oxygen" {
		return
	}
	pressure := func(i int) float64 { return v.family[i].Cut.V.Pressure.V.SI() }
	least := make([]float64, n+1) // of all up to there
	least[0] = math.Inf(1)
	for i := range n {
		least[i+1] = min(least[i], pressure(i))
	}
	most := 0.0
	for cut := n - 1; cut >= 2; cut-- {
		if most = max(most, pressure(cut)); cut <= n-2 && least[cut] > 2.5*most {
			for i := range cut {
				v.rows[i].highPressure = true
			}
			return
		}
	}
}

// curve puts the points of a measure together, judges each by the others, and sets aside those that do not belong.
func (v *familyView) curve(m *measure) *curve {
	n := len(v.family)
	c := &curve{measure: m, points: make([]*point, 0, n), of: make([]*point, n)}
	var parts, levels []string
	all := make([]point, n)
	for i, r := range v.family {
		w := &v.rows[i]
		pt := &all[i]
		var si float64
		if m == yield {
			si = yieldOf(r)
		} else {
			pt.value, pt.at = m.of(r)
			si = pt.value.SI()
		}
		var ok bool
		if pt.y, ok = m.curved(si, w.t); !ok || m != yield && pt.value.IsZero() {
			continue
		}
		pt.recipe, pt.row, pt.t, pt.x = r, i, w.t, w.x
		pt.kind, parts = indexOf(parts, m.kind(w))
		pt.level, levels = indexOf(levels, m.level(w))
		pt.touched = w.edited(m, pt.value)
		for len(c.parts) <= pt.kind {
			c.parts = append(c.parts, make([]*point, 0, n-i))
		}
		c.parts[pt.kind] = append(c.parts[pt.kind], pt)
		c.points = append(c.points, pt)
		c.of[i] = pt
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
	if r.Cut.V.Duty.Set() && isPulsed(&r.Cut.V.Mode, &r.Cut.V.Duty) {
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
	room := workbenches.Get().(*workbench)
	defer workbenches.Put(room)
	if cap(room.at) < n {
		*room = workbench{make([]float64, 3*n), make([]trend.Place, n)}
	}
	x, y, z, at := room.numbers[:n], room.numbers[n:2*n], room.numbers[2*n:3*n], room.at[:n]
	for i, pt := range points {
		x[i], y[i], at[i] = pt.x, pt.y, pt.place()
	}
	if n >= 6 {
		model.Slope = trend.MedianSlope(x, y)
	}
	c = trend.Fit(model, at, y)
	predicted = c.LeaveOneOut()
	if n < 4 {
		return c, predicted, 1
	}
	for i, p := range predicted {
		z[i] = (y[i] - p.Value) / p.SD
	}
	const prior = 6.0
	q := trend.Scale(z)
	return c, predicted, math.Sqrt((prior + float64(n)*q*q) / (prior + float64(n)))
}

// A workbench is room for what is worked with and not kept.
type workbench struct {
	numbers []float64
	at      []trend.Place
}

var workbenches = sync.Pool{New: func() any { return new(workbench) }}

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
