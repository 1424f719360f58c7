package lint

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"fettle/lint/trend"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A verdict is what the family says against one value, or one row: one for each, by the rule that says it best.
type verdict struct {
	rule    string
	recipe  *schema.Recipe
	at      Place
	value   string // canonical, so that the same verdict is known again in another snapshot
	point   *point // nil where it is about a whole row
	message string
	help    string
}

// decide passes the verdicts. What a whole row says comes before what its values say, and a slip of the unit before the curve that
// it leaves.
func (p *Pass) decide(v *familyView) {
	explained := map[*schema.Recipe]bool{}
	p.rowVerdicts(v, explained)
	for _, c := range v.curves {
		broken := c.broken()
		for _, pt := range c.points {
			if explained[pt.recipe] || p.atCeiling(c, pt) || c.signIsOff(pt) {
				continue
			}
			odd, isOdd := broken[pt]
			switch {
			case p.slipVerdict(v, c, pt), p.fineFocusVerdict(v, c, pt), isOdd && p.orderVerdict(v, c, pt, odd), p.curveVerdict(v, c, pt):
			default:
				p.digitVerdict(v, c, pt)
			}
		}
	}
}

// enabled says whether a rule speaks in this run, and its limit as a share.
func (p *Pass) enabled(rule string) (share float64, ok bool) {
	at := place(rule)
	if at < 0 || p.state.severities[at] == Off {
		return 0, false
	}
	return p.state.limits[at].plain, true
}

// speaks reports whether a rule is on in this run.
func (p *Pass) speaks(rule string) bool { return p.state.severityNamed(rule) != Off }

// atCeiling reports a value at the most that the machine has, where the curve would go on beyond or has come to an end: the rating
// for thick plate, the axes for thin.
func (p *Pass) atCeiling(c *curve, pt *point) bool {
	if p.Machine == nil {
		return false
	}
	var most quantity.Value
	switch c.name {
	case "power":
		most = p.Machine.Laser.V.RatedPower.V.Value
		if peak := p.Machine.Laser.V.PeakPower; peak.Set() && isPulsed(&pt.recipe.Cut.V.Mode, &pt.recipe.Cut.V.Duty) {
			most = peak.V.Value
		}
	case "speed":
		most = p.Machine.Axes.V.MaxSpeed.V.Value
	}
	if most.IsZero() || pt.value.Cmp(most) != 0 {
		return false
	}
	return pt.off() <= 0 || c.neighbourEqual(pt)
}

// neighbourEqual reports whether the value is that of the thickness before or after: a plateau, or a stair.
func (c *curve) neighbourEqual(pt *point) bool {
	part := c.parts[pt.kind]
	i := slices.Index(part, pt)
	return i > 0 && part[i-1].value.Equal(pt.value) || i+1 < len(part) && part[i+1].value.Equal(pt.value)
}

// plateauFactor is how far power may go at once where it leaves a plateau.
const plateauFactor = 2.5

// leavesPlateau reports the first or last of a curve, in order, next to a plateau: thin sheet with less than the plates behind it, or
// the thickest plate with more. A plateau says nothing about how the curve would have gone on.
func (c *curve) leavesPlateau(pt *point) bool {
	part := c.parts[pt.kind]
	i, n := slices.Index(part, pt), len(part)
	if n < 4 || i != 0 && i != n-1 || math.Abs(pt.off()) > math.Log(plateauFactor) {
		return false
	}
	next, after, way := 1, 2, c.order
	if i == n-1 {
		next, after, way = n-2, n-3, -c.order
	}
	return part[next].value.Equal(part[after].value) && cmp.Compare(part[next].y, pt.y) == int(way)
}

// An oddity is a point that breaks the order of its curve.
type oddity struct {
	to    quantity.Value // the nearest value that keeps the order
	of    *point         // the point that has it
	share float64        // how far that is, as a logarithm; for a focus in m
}

// broken finds the points that break the order, in each stretch where it holds. A point that the curve finds far off is the first
// to be doubted.
func (c *curve) broken() map[*point]oddity {
	if c.order == trend.None || c.orderRule == "" {
		return nil
	}
	out := map[*point]oddity{}
	for _, stretch := range c.stretches() {
		y := make([]float64, len(stretch))
		for i, pt := range stretch {
			y[i] = pt.value.SI()
			if c.name != "focus" {
				y[i] = pt.y
			}
		}
		if c.order.Keeps(y) {
			continue
		}
		w := make([]float64, len(stretch))
		for i, pt := range stretch {
			z := pt.off() / pt.expect.SD
			w[i] = 1 / (1 + z*z)
			if pt.touched {
				w[i] /= 2
			}
		}
		odd := trend.OddOnes(y, w, c.order)
		for _, o := range odd {
			pt := stretch[o.Index]
			of := pt
			for i, other := range stretch {
				isOdd := slices.ContainsFunc(odd, func(x trend.Odd) bool { return x.Index == i })
				if !isOdd && y[i] == o.To && (of == pt || math.Abs(other.x-pt.x) < math.Abs(of.x-pt.x)) {
					of = other
				}
			}
			out[pt] = oddity{of.value, of, math.Abs(y[o.Index] - o.To)}
		}
	}
	return out
}

// spoken is the name of the measure in a sentence.
func (m *measure) spoken() string {
	if m.name == "pierce" {
		return "pierce time"
	}
	return m.name
}

// stretches are the points between which the order holds.
func (c *curve) stretches() [][]*point {
	var out [][]*point
	for _, part := range c.parts {
		if !c.restart {
			out = append(out, chunks(part)...)
			continue
		}
		first := len(out)
		for _, pt := range part {
			i := first
			for i < len(out) && out[i][0].level != pt.level {
				i++
			}
			if i == len(out) {
				out = append(out, nil)
			}
			out[i] = append(out[i], pt)
		}
	}
	for i, stretch := range out {
		if parts := chunks(stretch); len(parts) > 1 {
			out[i] = parts[0]
			out = append(out, parts[1:]...)
		}
	}
	return out
}

// orderVerdict holds a point that breaks the order against the limit of the rule. Where the settings declare the order nothing else
// is asked; else the point has to lie farther off than the family scatters. The orifice goes by sizes and is only noted.
func (p *Pass) orderVerdict(v *familyView, c *curve, pt *point, o oddity) bool {
	limit, ok := p.enabled(c.orderRule)
	if !ok || c.name != "orifice" && c.from != "settings" && (!pt.far() || len(c.parts[pt.kind]) < 3) {
		return false
	}
	if c.name == "focus" {
		limit = max(limit, 0.15*pt.t)
	} else {
		limit = math.Log(1 + limit)
	}
	if o.share <= limit && c.name != "orifice" {
		return false
	}
	word, goes := "above", map[trend.Order]string{trend.Rising: "rises", trend.Falling: "falls"}[c.order]
	if pt.value.Cmp(o.to) < 0 {
		word = "below"
	}
	message := fmt.Sprintf("%s is %s the %s of %s, and the %s of this family %s with thickness", p.Show(pt.value), word, p.Show(o.to), p.Show(o.of.recipe.Thickness.V.Value), c.spoken(), goes)
	if c.name != "orifice" && !pt.alone {
		message += "; the others give " + p.given(c, pt)
	}
	v.verdicts = append(v.verdicts, verdict{rule: c.orderRule, recipe: pt.recipe, at: pt.at, value: pt.value.Canonical(), point: pt, message: message,
		help: strings.TrimSpace(fmt.Sprintf("The smallest correction is %s. %s", p.Show(o.to), p.digits(c, pt)))})
	return true
}

// curveVerdict holds a point against what the others give, where there are enough of them.
func (p *Pass) curveVerdict(v *familyView, c *curve, pt *point) bool {
	if len(c.points) < 4 || !pt.far() {
		return false
	}
	if limit, ok := p.enabled(c.curveRule); !ok || math.Abs(math.Expm1(pt.off())) <= limit {
		return false
	}
	switch {
	case c.name == "speed" && p.powerExplains(v, pt), c.name != "speed" && c.neighbourEqual(pt), c.name == "power" && c.leavesPlateau(pt):
		return false
	}
	side, share := "above", math.Expm1(pt.off())
	if share < 0 {
		side, share = "below", -share
	}
	how := fmt.Sprintf("%.0f %%", share*100)
	if share >= 2 {
		how = plainNumber(share+1) + " times as much,"
	}
	v.verdicts = append(v.verdicts, verdict{rule: c.curveRule, recipe: pt.recipe, at: pt.at, value: pt.value.Canonical(), point: pt,
		message: fmt.Sprintf("%s is %s %s the curve of its family, which gives %s at %s", p.Show(pt.value), how, side, p.given(c, pt), p.Show(pt.recipe.Thickness.V.Value)),
		help:    p.digits(c, pt)})
	return true
}

// given says what the others give: "2.9 m/min (2.5 to 3.3 m/min)", where about 95 of 100 would lie.
func (p *Pass) given(c *curve, pt *point) string {
	at := func(y float64) quantity.Value { return p.shownAs(pt.value, c.plain(y, pt.t)) }
	low, high := at(pt.expect.Value-2*pt.expect.SD), at(pt.expect.Value+2*pt.expect.SD)
	return fmt.Sprintf("%s (%s)", p.Show(at(pt.expect.Value)), span(p.Show(low), p.Show(high)))
}

// shownAs rounds a computed number to three digits in the unit that screens show.
func (p *Pass) shownAs(like quantity.Value, si float64) quantity.Value {
	if unit := p.state.prefs[like.Dimension()]; unit != "" {
		if one, err := quantity.Parse(like.Dimension(), "1 "+unit); err == nil {
			like = one
		}
	}
	return rounded(like, si)
}

// powerExplains reports a speed that is off only because the power is: for each watt it is where it should be.
func (p *Pass) powerExplains(v *familyView, pt *point) bool {
	for _, c := range v.curves {
		if c.name != "power" {
			continue
		}
		if q := c.of[pt.row]; q == nil || math.Signbit(q.off()) != math.Signbit(pt.off()) {
			return false
		}
	}
	if v.yield == nil {
		v.yield = v.curve(yield)
	}
	q := v.yield.of[pt.row]
	return q != nil && !q.alone && !q.far() && math.Abs(q.off()) < math.Abs(pt.off())/2
}

// signIsOff leaves a focus on the other side of the plate to the rule for that.
func (c *curve) signIsOff(pt *point) bool {
	return c.name == "focus" && pt.y*pt.expect.Value < 0 && math.Abs(pt.y+pt.expect.Value) < math.Max(2*pt.expect.SD, 0.4*math.Abs(pt.off()))
}

// digits says which two digits the wrong way round would explain a value.
func (p *Pass) digits(c *curve, pt *point) string {
	if t, ok := p.turned(c, pt); ok {
		return fmt.Sprintf("Two digits the wrong way round? %s would be in line.", p.Show(t.meant))
	}
	return ""
}

// A turn is a value that is in line with two neighbouring digits the other way round.
type turn struct {
	value, meant quantity.Value
	at           Place
	left         float64 // how far off the curve it still is
}

// turned looks for two digits the wrong way round. Of a pierce in several stages any of them may have it.
func (p *Pass) turned(c *curve, pt *point) (best turn, ok bool) {
	if pt.alone {
		return best, false
	}
	best.left = math.Min(1.5*pt.expect.SD, 0.35*math.Abs(pt.off()))
	try := func(value quantity.Value, at Place, rest float64) {
		for _, meant := range turns(value) {
			if y, fits := c.curved(meant.SI()+rest, pt.t); fits && math.Abs(y-pt.expect.Value) < best.left {
				best, ok = turn{value, meant, at, math.Abs(y - pt.expect.Value)}, true
			}
		}
	}
	if c.name != "pierce" || len(pt.recipe.Pierce.V) < 2 {
		try(pt.value, pt.at, 0)
		return best, ok
	}
	for i := range pt.recipe.Pierce.V {
		time := pt.recipe.Pierce.V[i].Time
		try(time.V.Value, At(fmt.Sprintf("pierce[%d].time", i), time), pt.value.SI()-time.V.SI())
	}
	return best, ok
}

// turns are a value with each two neighbouring digits the other way round.
func turns(v quantity.Value) (out []quantity.Value) {
	number, unit, _ := strings.Cut(v.Text(), " ")
	for i := range len(number) - 1 {
		j := i + 1
		if number[j] == '.' {
			j++
		}
		if j >= len(number) || !isDigit(number[i]) || !isDigit(number[j]) || number[i] == number[j] {
			continue
		}
		text := []byte(number)
		text[i], text[j] = text[j], text[i]
		if turned, err := quantity.Parse(v.Dimension(), string(text)+" "+unit); err == nil {
			out = append(out, turned)
		}
	}
	return out
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }
