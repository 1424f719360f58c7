package lint

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fettle/lint/trend"
	"fettle/schema"
	"fettle/schema/quantity"
)

// slipUnits are the units that a number of a dimension is likely to have been meant in, by how tables are written.
var slipUnits = map[quantity.Dimension][]string{
	quantity.DimPressure: {"psi", "bar", "MPa", "kPa", "mbar"},
	quantity.DimSpeed:    {"mm/s", "in/min", "m/min", "mm/min", "m/s"},
	quantity.DimLength:   {"in", "mm", "cm", "um"},
	quantity.DimPower:    {"W", "kW"},
	quantity.DimTime:     {"s", "ms", "min"},
}

// slipFactor is the least factor that is looked for: below it a value may as well be a bold choice.
const slipFactor = 2

// A value that a known slip would explain is believed to be one sooner than one that nothing explains: by this share of the distance.
const (
	slipBound  = 0.7
	digitBound = 0.75
)

// slipVerdict looks whether a value that lies far off its curve would sit on it in another unit, or with its decimal point
// elsewhere.
func (p *Pass) slipVerdict(v *familyView, c *curve, pt *point) bool {
	if !pt.farBy(slipBound) || !p.speaks("unit-slip") {
		return false
	}
	expect := c.plain(pt.expect.Value, pt.t)
	if ratio := math.Abs(pt.value.SI() / expect); expect == 0 || ratio < slipFactor && ratio > 1.0/slipFactor {
		return false
	}
	if c.name == "pierce" {
		return p.pierceSlip(v, c, pt)
	}
	meant, words := p.meant(c, pt, pt.value, 0)
	if words == "" {
		return false
	}
	p.addSlip(v, c, pt, pt.value, pt.at, meant, words)
	return true
}

func (p *Pass) addSlip(v *familyView, c *curve, pt *point, value quantity.Value, at Place, meant quantity.Value, words string) {
	thickness := p.Show(pt.recipe.Thickness.V.Value)
	message := fmt.Sprintf("%s is far off its family, which gives %s at %s; %s would be in line", p.Show(value), p.given(c, pt), thickness, p.Show(meant))
	if c.name == "pierce" && len(pt.recipe.Pierce.V) > 1 {
		message = fmt.Sprintf("%s here make %s of all stages, far off the family, which gives %s at %s; %s would be in line", p.Show(value), p.Show(pt.value),
			p.given(c, pt), thickness, p.Show(meant))
	}
	v.verdicts = append(v.verdicts, verdict{rule: "unit-slip", recipe: pt.recipe, at: at, value: value.Canonical(), point: pt, message: message, help: words})
}

// digitVerdict looks whether a value that no other rule speaks of would sit on the curve with two digits the other way round.
func (p *Pass) digitVerdict(v *familyView, c *curve, pt *point) {
	if !pt.farBy(digitBound) || !p.speaks("unit-slip") || c.name != "focus" && math.Abs(pt.off()) < math.Log(1.25) {
		return
	}
	if t, ok := p.turned(c, pt); ok {
		p.addSlip(v, c, pt, t.value, t.at, t.meant, "Two digits the wrong way round?")
	}
}

// finestFocus is what no head is set by. A focus that is there and smaller is a number that was meant otherwise, however little it is off.
const finestFocus = 0.05e-3 // m

// fineFocusVerdict names a focus too fine to be set, where it is in line as a number in inches or with its point elsewhere.
func (p *Pass) fineFocusVerdict(v *familyView, c *curve, pt *point) bool {
	if c.name != "focus" || pt.alone || pt.value.IsZero() || pt.value.Sign() == 0 || math.Abs(pt.value.SI()) >= finestFocus || !p.speaks("unit-slip") {
		return false
	}
	meant, words := p.meantWithin(c, pt, pt.value, 0, math.Min(2.5*pt.expect.SD, math.Abs(pt.off())))
	if words == "" {
		return false
	}
	p.addSlip(v, c, pt, pt.value, pt.at, meant, words)
	return true
}

// pierceSlip looks at each stage: one of them made the whole time what it is.
func (p *Pass) pierceSlip(v *familyView, c *curve, pt *point) bool {
	for i := range pt.recipe.Pierce.V {
		time := pt.recipe.Pierce.V[i].Time
		rest := pt.value.SI() - time.V.SI()
		if meant, words := p.meant(c, pt, time.V.Value, rest); words != "" {
			// of a short stage beside long ones anything is in line
			if math.Abs(time.V.SI()-meant.SI()) > 0.5*math.Abs(pt.value.SI()-c.plain(pt.expect.Value, pt.t)) {
				p.addSlip(v, c, pt, time.V.Value, At(fmt.Sprintf("pierce[%d].time", i), time), meant, words)
				return true
			}
		}
	}
	return false
}

// meant finds what a number was likely meant to be, so that with the rest it sits on the curve; words is "" where nothing does.
func (p *Pass) meant(c *curve, pt *point, value quantity.Value, rest float64) (best quantity.Value, words string) {
	return p.meantWithin(c, pt, value, rest, math.Min(math.Max(2.5*pt.expect.SD, 0.14), 0.35*math.Abs(pt.off())))
}

// meantWithin is meant with how far beside the curve the value may come to lie.
func (p *Pass) meantWithin(c *curve, pt *point, value quantity.Value, rest, tolerance float64) (best quantity.Value, words string) {
	try := func(v quantity.Value, err error, say string) {
		if err != nil || v.SI() == 0 {
			return
		}
		if y, ok := c.curved(v.SI()+rest, pt.t); ok {
			if d := math.Abs(y - pt.expect.Value); d < tolerance {
				tolerance, best, words = d, v, say
			}
		}
	}
	for _, tens := range []int64{10, 100, 1000} {
		try(value.Scale(tens, 1), nil, "A lost decimal point?")
		try(value.Scale(1, tens), nil, "A lost decimal point?")
	}
	number, typed, _ := strings.Cut(value.Text(), " ")
	if strings.Contains(value.Text(), "/") && !strings.Contains(typed, "/") {
		return best, words // 1/8 in
	}
	for _, unit := range slipUnits[value.Dimension()] {
		if unit == typed {
			continue
		}
		v, err := quantity.Parse(value.Dimension(), number+" "+unit)
		try(v, err, fmt.Sprintf("A number in %s?", unit))
		if err == nil && v.SI() != 0 { // converted although it was in the unit already
			back := value.SI() / v.SI() * value.SI()
			try(p.shownAs(value, back), nil, fmt.Sprintf("Was it converted between %s and %s although it was in %s already?", unit, typed, typed))
		}
	}
	return best, words
}

// rowVerdicts look at whole rows: a thickness that slipped, and two rows that changed places.
func (p *Pass) rowVerdicts(v *familyView, explained map[*schema.Recipe]bool) {
	if p.speaks("unit-slip") {
		for i, r := range v.family {
			if p.thicknessSlip(v, i) {
				explained[r] = true
			}
		}
	}
	if !p.speaks("copied-neighbour") {
		return
	}
	for i := 1; i < len(v.family); i++ {
		thin, thick := v.family[i-1], v.family[i]
		if explained[thin] || explained[thick] || !v.swapped(i-1, i) {
			continue
		}
		explained[thin], explained[thick] = true, true
		named, other := thick, thin
		if p.untouched(thick) && !p.untouched(thin) {
			named, other = thin, thick
		}
		v.verdicts = append(v.verdicts, verdict{rule: "copied-neighbour", recipe: named, at: At("thickness", named.Thickness), value: "changed places with " + other.ID.String(),
			message: fmt.Sprintf("the rows of %s and %s have changed places: each would sit on the curves of its family at the other thickness", p.Show(thin.Thickness.V.Value), p.Show(thick.Thickness.V.Value)),
			help:    "Compare both with " + other.ID.String() + "."})
	}
}

// thicknessSlip looks whether a row that is off in two curves or more would sit on them at a thickness in another unit.
func (p *Pass) thicknessSlip(v *familyView, row int) bool {
	var off []*point
	var curves []*curve
	for _, c := range v.curves {
		if pt := c.of[row]; pt != nil && pt.suspect && pt.far() {
			off, curves = append(off, pt), append(curves, c)
		}
	}
	if len(off) < 2 {
		return false
	}
	r := v.family[row]
	t := r.Thickness.V
	for _, try := range []struct {
		thickness quantity.Length
		words     string
	}{
		{t.Scale(254, 10), "A number in in?"}, {t.Scale(10, 254), "A number in mm?"}, {t.Scale(10, 1), "A lost decimal point?"}, {t.Scale(1, 10), "A lost decimal point?"},
		{t.Scale(100, 1), "A lost decimal point?"}, {t.Scale(1, 100), "A lost decimal point?"},
	} {
		there := try.thickness.SI()
		fits := true
		for i, pt := range off {
			y, ok := curves[i].curved(pt.value.SI(), there)
			expect := pt.last.At(trend.Place{X: math.Log(there), Group: pt.level, Kind: pt.kind})
			fits = fits && ok && math.Abs(y-expect.Value) < 3*expect.SD*pt.spread
		}
		inside := there >= 0.8*v.family[0].Thickness.V.SI() && there <= 1.25*v.family[len(v.family)-1].Thickness.V.SI()
		if !fits || !inside {
			continue
		}
		v.verdicts = append(v.verdicts, verdict{rule: "unit-slip", recipe: r, at: At("thickness", r.Thickness), value: t.Canonical(),
			message: fmt.Sprintf("this is no recipe for %s: at %s all of it would sit on the curves of its family", p.Show(t.Value), p.Show(p.shownAs(t.Value, there))), help: try.words})
		return true
	}
	return false
}

// What two rows that changed places have to show. The curves have to bear them better the other way round, as a fall of squared
// standard deviations over all curves: twice the logarithm of how much likelier that is, which has to outweigh how rare it is among
// as many pairs. And turned round, each curve has to bear them well, in squared standard deviations.
const (
	swapRatio = 1.08
	leastGain = 50
	swapRest  = 4
)

// swapped reports whether all curves of two rows together would rather have them the other way round.
func (v *familyView) swapped(a, b int) bool {
	if v.rows[b].t < swapRatio*v.rows[a].t {
		return false // either recipe does for both
	}
	gain, curves, rest := v.swapGain(a, b)
	return curves >= 2 && gain > 2*math.Log(leastGain*float64(len(v.family)-1)) && rest < swapRest*float64(curves)
}

// swapGain says what turning two rows round does to the curves.
func (v *familyView) swapGain(a, b int) (gain float64, curves int, rest float64) {
	for _, c := range v.curves {
		x, y := c.of[a], c.of[b]
		if x == nil || y == nil || x.kind != y.kind || x.level != y.level && c.restart || x.trusted != y.trusted || len(c.points) < 4 || x.value.Equal(y.value) {
			continue
		}
		there, ok1 := c.curved(y.value.SI(), x.t)
		here, ok2 := c.curved(x.value.SI(), y.t)
		if !ok1 || !ok2 {
			continue
		}
		fit, k, l := v.withBoth(c, x, y)
		before, after := fit.LeaveTwoOut(k, l, there-x.y, here-y.y)
		spread := math.Max(1, x.spread) * math.Max(1, x.spread)
		gain += (before - after) / spread
		rest += after / spread
		curves++
	}
	return gain, curves, rest
}

// withBoth is the curve of the trusted points and these two.
func (v *familyView) withBoth(c *curve, x, y *point) (fit *trend.Curve, i, j int) {
	if x.index >= 0 && y.index >= 0 {
		return x.last, x.index, y.index
	}
	var points []*point
	for _, pt := range c.points {
		if pt.trusted == x.trusted && (pt.index >= 0 || pt == x || pt == y) {
			points = append(points, pt)
		}
	}
	fit, _, _ = predict(c.model(v.gas), points)
	return fit, slices.Index(points, x), slices.Index(points, y)
}
