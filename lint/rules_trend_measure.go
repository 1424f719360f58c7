package lint

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"fettle/lint/trend"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A measure is one quantity that runs over thickness, and what is known of how it runs. The figures are trade judgement; the
// calibration in the rule book says how they do.
type measure struct {
	name  string
	field string
	of    func(r *schema.Recipe) (quantity.Value, Place)

	oxygen, inert trend.Model // of logarithms; of a focus as a share of the thickness

	// usual is the way that the trade knows, and how sure that is. The pressure of oxygen has none: it depends on nozzle and power.
	usual func(gas string) (trend.Order, float64)

	kind    func(*familyRow) string // where it differs the level is another and the order is not judged
	level   func(*familyRow) string // where it differs the level may step
	restart bool                    // and the order starts anew, too

	orderRule, curveRule string // "" where there is none
}

func always(order trend.Order, sure float64) func(string) (trend.Order, float64) {
	return func(string) (trend.Order, float64) { return order, sure }
}

var measures = []*measure{
	{
		name: "speed", field: "cut.speed", orderRule: "speed-trend", curveRule: "speed-off-curve",
		of: func(r *schema.Recipe) (quantity.Value, Place) {
			return r.Cut.V.Speed.V.Value, At("cut.speed", r.Cut.V.Speed)
		},
		oxygen: trend.Model{Slope: -0.6, SlopeSD: 0.3, Bend: 0.3, Reach: 1.2, Step: 0.06, Shift: 0.6, Noise: 0.045},
		inert:  trend.Model{Slope: -1.2, SlopeSD: 0.35, Bend: 0.3, Reach: 1.2, Step: 0.06, Shift: 0.6, Noise: 0.045},
		usual:  always(trend.Falling, 0.99), kind: modeOf, level: nozzleOrGasOf,
	},
	{
		name: "power", field: "cut.power", orderRule: "power-trend", curveRule: "power-off-curve",
		of: func(r *schema.Recipe) (quantity.Value, Place) {
			return r.Cut.V.Power.V.Value, At("cut.power", r.Cut.V.Power)
		},
		oxygen: trend.Model{Slope: 0.5, SlopeSD: 0.3, Bend: 0.15, Reach: 1, Step: 0.06, Shift: 0.6, Noise: 0.06},
		inert:  trend.Model{Slope: 0.2, SlopeSD: 0.3, Bend: 0.15, Reach: 1, Step: 0.06, Shift: 0.6, Noise: 0.06},
		usual:  always(trend.Rising, 0.9), kind: modeOf, level: nozzleOrGasOf,
	},
	{
		name: "pressure", field: "cut.pressure", orderRule: "pressure-trend", curveRule: "pressure-off-curve",
		of: func(r *schema.Recipe) (quantity.Value, Place) {
			return r.Cut.V.Pressure.V.Value, At("cut.pressure", r.Cut.V.Pressure)
		},
		oxygen: trend.Model{Slope: 0, SlopeSD: 0.4, Bend: 0.15, Reach: 1, Step: 0.3, Shift: 2.5, Noise: 0.1},
		inert:  trend.Model{Slope: 0.25, SlopeSD: 0.2, Bend: 0.1, Reach: 1, Step: 0.15, Noise: 0.05},
		usual: func(gas string) (trend.Order, float64) {
			if gas == "oxygen" {
				return trend.None, 0
			}
			return trend.Rising, 0.8
		},
		kind: gasRegimeOf, level: nozzleOrGasOf, restart: true,
	},
	{
		name: "focus", field: "cut.focus", orderRule: "focus-trend",
		of: func(r *schema.Recipe) (quantity.Value, Place) {
			return r.Cut.V.Focus.V.Value, At("cut.focus", r.Cut.V.Focus)
		},
		oxygen: trend.Model{SlopeSD: 0.15, Bend: 0.1, Reach: 1, Step: 0.5, Noise: 0.06},
		inert:  trend.Model{SlopeSD: 0.15, Bend: 0.1, Reach: 1, Step: 0.5, Noise: 0.06},
		usual:  always(trend.None, 0), kind: one, level: focusSideOf, restart: true,
	},
	{
		name: "kerf", field: "kerf", orderRule: "kerf-trend",
		of:     func(r *schema.Recipe) (quantity.Value, Place) { return r.Kerf.V.Value, At("kerf", r.Kerf) },
		oxygen: trend.Model{Slope: 0.35, SlopeSD: 0.2, Bend: 0.1, Reach: 1, Step: 0.1, Shift: 0.15, Noise: 0.06},
		inert:  trend.Model{Slope: 0.35, SlopeSD: 0.2, Bend: 0.1, Reach: 1, Step: 0.1, Shift: 0.15, Noise: 0.06},
		usual:  always(trend.Rising, 0.9), kind: modeOf, level: focusSideOf,
	},
	{
		name: "orifice", field: "nozzle.orifice", orderRule: "orifice-trend",
		of: func(r *schema.Recipe) (quantity.Value, Place) {
			return r.Nozzle.V.Orifice.V.Value, At("nozzle.orifice", r.Nozzle.V.Orifice)
		},
		oxygen: trend.Model{Slope: 0.35, SlopeSD: 0.3, Bend: 0.1, Reach: 1, Step: 0.3, Noise: 0.15},
		inert:  trend.Model{Slope: 0.35, SlopeSD: 0.3, Bend: 0.1, Reach: 1, Step: 0.3, Noise: 0.15},
		usual:  always(trend.Rising, 0.8), kind: one, level: formOf, restart: true,
	},
	{
		name: "standoff", field: "nozzle.standoff",
		of: func(r *schema.Recipe) (quantity.Value, Place) {
			return r.Nozzle.V.Standoff.V.Value, At("nozzle.standoff", r.Nozzle.V.Standoff)
		},
		oxygen: trend.Model{SlopeSD: 0.3, Bend: 0.1, Reach: 1, Step: 0.2, Noise: 0.15},
		inert:  trend.Model{SlopeSD: 0.3, Bend: 0.1, Reach: 1, Step: 0.2, Noise: 0.15},
		usual:  always(trend.None, 0), kind: one, level: nozzleOf,
	},
	{
		name: "pierce", field: "pierce", orderRule: "pierce-trend",
		of:     pierceTime,
		oxygen: trend.Model{Slope: 1.2, SlopeSD: 0.4, Bend: 0.15, Reach: 1, Shift: 0.35, Noise: 0.1},
		inert:  trend.Model{Slope: 1, SlopeSD: 0.4, Bend: 0.15, Reach: 1, Shift: 0.35, Noise: 0.1},
		usual:  always(trend.Rising, 0.95), kind: pierceKind, level: one,
	},
}

// yield is the speed for each watt: where power and speed leave their curves together, it stays on its own.
var yield = &measure{
	name: "yield", kind: modeOf, level: nozzleOrGasOf,
	oxygen: trend.Model{Slope: -1.1, SlopeSD: 0.4, Bend: 0.3, Reach: 1.2, Step: 0.06, Shift: 0.6, Noise: 0.06},
	inert:  trend.Model{Slope: -1.4, SlopeSD: 0.4, Bend: 0.3, Reach: 1.2, Step: 0.06, Shift: 0.6, Noise: 0.06},
}

func (m *measure) model(gas string) trend.Model {
	if gas == "oxygen" {
		return m.oxygen
	}
	return m.inert
}

// focusOffset keeps the focus on thin sheet from counting as a large share of it.
const focusOffset = 2e-3

// curved turns a value into what runs smoothly over the logarithm of the thickness: its logarithm, or the focus as a share of the
// thickness. It is false for what cannot be on a curve.
func (m *measure) curved(si, thickness float64) (y float64, ok bool) {
	switch {
	case m.name == "focus":
		return si / (thickness + focusOffset), true
	case si > 0:
		return math.Log(si), true
	}
	return 0, false
}

// plain is the other way round.
func (m *measure) plain(y, thickness float64) float64 {
	if m.name == "focus" {
		return y * (thickness + focusOffset)
	}
	return math.Exp(y)
}

func one(*familyRow) string { return "" }

func nozzleOf(w *familyRow) string { return w.nozzle }

func formOf(w *familyRow) string {
	form, _, _ := strings.Cut(w.nozzle, " ")
	return form
}

// gasRegimeOf is "high" for the thin plate of a family that is cut in oxygen of high pressure, while thick plate has a low one: between
// the two the pressure falls by ten times, and nothing is said of where.
func gasRegimeOf(w *familyRow) string {
	if w.highPressure {
		return "high"
	}
	return ""
}

// nozzleOrGasOf also tells the high pressure that thin plate is cut with in oxygen from the low one for thick plate.
func nozzleOrGasOf(w *familyRow) string {
	if w.highPressure {
		return "high " + w.nozzle
	}
	return w.nozzle
}

func modeOf(w *familyRow) string { return w.mode }

func focusSideOf(w *familyRow) string { return w.side }

func pierceKind(w *familyRow) string { return w.pierce }

// appendPierceKind says what must be equal for pierce times to be compared: how many stages, and of what kind each is.
func appendPierceKind(b []byte, r *schema.Recipe) []byte {
	for i := range r.Pierce.V {
		s := &r.Pierce.V[i]
		switch {
		case s.Power.Set() && s.Power.V.Sign() == 0:
			b = append(b, "blow "...)
		case isPulsed(&s.Mode, &s.Duty):
			b = append(b, "pulsed "...)
		default:
			b = append(b, "continuous "...)
		}
		b = append(append(b, s.Gas.V...), ';')
	}
	return b
}

// pierceTime is the time of all stages, at the place of the longest. It is none where a stage does not say its time.
func pierceTime(r *schema.Recipe) (quantity.Value, Place) {
	total, longest := 0.0, -1
	for i := range r.Pierce.V {
		time := r.Pierce.V[i].Time
		if !time.Set() {
			return quantity.Value{}, Place{}
		}
		total += time.V.SI()
		if longest < 0 || r.Pierce.V[longest].Time.V.Below(time.V) {
			longest = i
		}
	}
	if longest < 0 {
		return quantity.Value{}, Place{}
	}
	time := r.Pierce.V[longest].Time
	sum := time.V.Value
	if len(r.Pierce.V) > 1 {
		sum = rounded(sum, total)
	}
	return sum, At(fmt.Sprintf("pierce[%d].time", longest), time)
}

// rounded writes a computed number in the unit of another value, with three digits.
func rounded(like quantity.Value, si float64) quantity.Value {
	unit, err := quantity.Parse(like.Dimension(), "1 "+like.Unit())
	if err != nil {
		return like
	}
	number := si / unit.SI()
	if number != 0 {
		step := math.Pow(10, math.Floor(math.Log10(math.Abs(number)))-2)
		number = math.Round(number/step) * step
	}
	v, err := quantity.Parse(like.Dimension(), strconv.FormatFloat(number, 'f', max(0, decimalsFor(number)), 64)+" "+like.Unit())
	if err != nil {
		return like
	}
	return v
}

// decimalsFor is how many decimals three digits of a number take.
func decimalsFor(number float64) int {
	if number == 0 {
		return 0
	}
	return 2 - int(math.Floor(math.Log10(math.Abs(number))))
}
