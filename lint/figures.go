package lint

import (
	"fmt"
	"math"

	"fettle/lint/physics"
	"fettle/schema"
)

// A Figure is one number that follows from a recipe on its machine: what it spends, what it is worth, where it sits among what is
// usual.
type Figure struct {
	Block string  // cut, lead_in, contours[0], pierce
	Key   string  // for programs: energy-per-area
	Name  string  // for people: energy per area
	Value float64 // in Unit
	Unit  string  // J/mm2, or "" for a plain number
	Low   float64 // the range that is usual, or that the machine has; NaN for an end that there is none of
	High  float64
	Rule  string // the rule that judges it, "" where none does
	Note  string // what else is to be said in a few words
}

// Effects are what a change does to the figures that a lead decides by. See [EffectsOf].
type Effect struct {
	Block, Key, Name, Unit string
	From, To               *float64 // nil where there is none on that side
}

// Percent is by how much it changes; false from nothing or to nothing.
func (e Effect) Percent() (float64, bool) {
	if e.From == nil || e.To == nil || *e.From == 0 {
		return 0, false
	}
	return 100 * (*e.To/(*e.From) - 1), true
}

// Figures works out the figures of a recipe on the machine of that name in the library. What cannot be worked out, for want of a value
// or a member of the profile, is not among them. Nothing is a release of a part.
func Figures(lib *schema.Library, v *schema.Values) []Figure {
	condition := v.Condition
	c := newCutting(lib, lib.Machine(v.Machine.V), &condition, v.Material.V, v.Gas.V)
	if len(v.Composition) > 0 { // of the day the recipe was written, where it is an old one
		if mix, ok := mixOf(v.Composition); ok {
			c.setGas(v.Gas.V, mix)
		}
	}
	f := &figures{lib: lib, cutting: c}
	for _, rule := range registry { // the limits in force
		if rule.Family == "physics" && rule.Limit != "" {
			l, err := rule.limitIn(lib)
			if err == nil {
				f.limits = append(f.limits, namedLimit{rule.Name, l})
			}
		}
	}
	f.all()
	return f.list
}

// limitIn is the limit that the library sets, or the rule's own.
func (r *Rule) limitIn(lib *schema.Library) (limit, error) {
	if lib.Settings.Value != nil {
		if own, ok := lib.Settings.Value.Rules.Get(r.Name); ok && own.Limit.Set() {
			if l, err := r.readLimit(own.Limit.V); err == nil {
				return l, nil
			}
		}
	}
	return r.readLimit(r.Limit)
}

type namedLimit struct {
	rule string
	limit
}

// setGas replaces a gas by its composition.
func (c *cutting) setGas(name string, gas physics.Gas) {
	for _, list := range [][]*moment{c.moments, c.severing, c.stages} {
		for i := range list {
			if list[i].gasName == name {
				list[i].gas, list[i].knowsGas = gas, true
			}
		}
	}
}

// figures gathers.
type figures struct {
	*cutting
	lib    *schema.Library
	limits []namedLimit
	list   []Figure
}

// limitOf is the limit of a rule as a number: SI, or plain.
func (f *figures) limitOf(rule string) float64 {
	for _, l := range f.limits {
		if l.rule == rule {
			return l.plain
		}
	}
	return math.NaN()
}

var none = math.NaN()

// add takes a figure if it could be worked out.
func (f *figures) add(ok bool, fig Figure) {
	if ok && !math.IsNaN(fig.Value) && !math.IsInf(fig.Value, 0) {
		f.list = append(f.list, fig)
	}
}

func (f *figures) all() {
	for _, m := range f.severing {
		f.heatOf(m)
		f.jetOf(m)
		if m.kind == cutBlock {
			f.beamOf(m)
			f.shapeOf()
		}
		f.machineOf(m)
		if m.kind == cutBlock {
			f.costOf(m)
		}
	}
	if !f.condition.Severs() { // what a machine does and a gas costs is known of a mark as well
		m := f.cut()
		length, ok := physics.EnergyPerLength(m.power, m.speed)
		f.add(ok && m.mean, Figure{Block: m.path, Key: "energy-per-length", Name: "energy per length", Value: length / 1e3, Unit: "J/mm", Low: none, High: none})
		f.jetOf(m)
		f.beamOf(m)
		f.machineOf(m)
		f.costOf(m)
	}
	f.pierceOf()
	f.qualityOf()
}

func (f *figures) heatOf(m *moment) {
	area, ok := physics.EnergyPerArea(m.power, f.thickness, m.speed)
	low := leastPerArea / 1e6
	most := f.mostPerArea(m, f.limitOf("energy-excess")) / 1e6
	if !f.knows {
		low, most = none, none
	}
	f.add(ok && m.mean, Figure{Block: m.path, Key: "energy-per-area", Name: "energy per area", Value: area / 1e6, Unit: "J/mm2", Low: low, High: most, Rule: "energy-excess"})
	if m.kind == cutBlock {
		length, ok := physics.EnergyPerLength(m.power, m.speed)
		f.add(ok && m.mean, Figure{Block: m.path, Key: "energy-per-length", Name: "energy per length", Value: length / 1e3, Unit: "J/mm", Low: none, High: none})
	}
	h, ok := f.heat(m)
	if !ok {
		return
	}
	if m.kind == cutBlock {
		f.add(true, Figure{Block: m.path, Key: "melt-power", Name: "melting the kerf", Value: h.melt / 1e3, Unit: "kW", Low: none, High: none})
	}
	f.add(true, Figure{Block: m.path, Key: "melt-share", Name: "melt power / power", Value: 100 * h.melt / h.laser, Unit: "%", Low: 0, High: 100 * f.mostMelt(m, f.limitOf("energy-short")), Rule: "energy-short"})
	if off, ok := f.runsOff(m, h.width, true); ok && m.kind == cutBlock && !math.IsInf(h.takenUp, 0) {
		f.add(true, Figure{Block: m.path, Key: "heat-share", Name: "heat needed / taken up", Value: 100 * off / h.takenUp, Unit: "%", Low: 0, High: 100, Rule: "energy-short"})
	}
	if share, ok := f.burnt(m); ok {
		most := 100 * mostOxygenOf(m, f.limitOf("energy-excess"))
		if f.thickness < thickPlate { // which may have as much as it likes
			most = none
		}
		f.add(true, Figure{Block: m.path, Key: "oxygen-share", Name: "oxygen / kerf's iron", Value: 100 * share, Unit: "%", Low: 100 * f.limitOf("oxygen-short"), High: most, Rule: "oxygen-short"})
	}
}

// hourly is the gas through the orifice in m³/h at the reference of ISO 8778.
func (c *cutting) hourly(m *moment) (float64, bool) {
	flow, ok := c.flow(m, physics.UsualDischarge)
	if !ok {
		return 0, false
	}
	volume, ok := physics.ANR.Volume(m.gas, flow.Mass)
	return volume * physics.Hour, ok
}

func (f *figures) jetOf(m *moment) {
	hourly, ok := f.hourly(m)
	note := ""
	if f.condition.Nozzle.V.Form.V == "double" {
		note = "without the outer ring"
	}
	f.add(ok, Figure{Block: m.path, Key: "gas-flow", Name: m.gasName, Value: hourly, Unit: "m3/h", Low: none, High: none, Note: note})
	if m.kind != cutBlock {
		return
	}
	perMetre, ok2 := physics.GasPerMetre(hourly/physics.Hour, m.speed)
	f.add(ok && ok2, Figure{Block: m.path, Key: "gas-per-metre", Name: m.gasName + " per metre", Value: perMetre * 1e3, Unit: "L/m", Low: none, High: none})
	if jet, ok := physics.JetOf(m.gas, m.supply, physics.Atmosphere); ok && m.knowsGas {
		note := "not choked"
		if jet.Choked {
			note = "choked in the orifice"
		}
		f.add(true, Figure{Block: m.path, Key: "jet-mach", Name: "jet, Mach number", Value: jet.Mach, Low: none, High: none, Note: note})
	}
	if m.fusion() && f.condition.Severs() && m.supply > 0 {
		f.add(true, Figure{Block: m.path, Key: "jet-pressure", Name: "pressure of the jet", Value: physics.Gauge(m.supply) / 1e5, Unit: "bar", Low: f.limitOf("jet") / 1e5, High: none, Rule: "jet"})
	}
}

func (f *figures) beamOf(m *moment) {
	f.add(m.beam.Waist > 0, Figure{Block: m.path, Key: "spot", Name: "beam in focus", Value: m.beam.Waist * 1e3, Unit: "mm", Low: none, High: none})
	rayleigh, ok := m.beam.Rayleigh()
	f.add(ok, Figure{Block: m.path, Key: "rayleigh-length", Name: "Rayleigh length", Value: rayleigh * 1e3, Unit: "mm", Low: none, High: none})
	if !m.focused {
		return
	}
	surface, ok := m.beam.Diameter(m.focus)
	f.add(ok, Figure{Block: m.path, Key: "beam-at-surface", Name: "beam at the surface", Value: surface * 1e3, Unit: "mm", Low: none, High: none})
	bottom, ok := m.beam.Diameter(m.focus + f.thickness)
	f.add(ok && f.thickness > 0, Figure{Block: m.path, Key: "beam-at-bottom", Name: "beam at the bottom", Value: bottom * 1e3, Unit: "mm", Low: none, High: none})
	tip, ok := f.atTip(m)
	f.add(ok && f.condition.Severs(), Figure{Block: m.path, Key: "beam-at-orifice", Name: "beam at the orifice", Value: tip * 1e3, Unit: "mm", Low: 0, High: f.orifice * 1e3, Rule: "beam-clips-nozzle"})
}

// shapeOf are kerf and nozzle.
func (f *figures) shapeOf() {
	if low, high, ok := f.kerfRange(f.cut()); ok {
		f.add(f.kerf > 0, Figure{Block: "cut", Key: "kerf", Name: "kerf", Value: f.kerf * 1e3, Unit: "mm", Low: low * 1e3, High: high * 1e3, Rule: "kerf-beam"})
	}
	f.add(f.orifice > 0 && f.standoff > 0, Figure{Block: "cut", Key: "standoff-orifice", Name: "standoff / orifice", Value: f.standoff / f.orifice, Low: 0, High: f.limitOf("standoff-orifice"), Rule: "standoff-orifice"})
}

// machineOf says where a block sits among what the machine can do.
func (f *figures) machineOf(m *moment) {
	if f.machine == nil {
		return
	}
	laser, gas := &f.machine.Laser.V, schema.Supply{}
	gas, _ = f.machine.Gas.Get(m.gasName)
	if rated := laser.RatedPower.V.SI(); rated > 0 && m.own.Power.Set() {
		f.add(true, Figure{Block: m.path, Key: "power-of-rated", Name: "power / rated power", Value: 100 * m.own.Power.V.SI() / rated, Unit: "%", Low: 100 * laser.MinPower.V.SI() / rated, High: 100, Rule: "power-over-rating"})
	}
	if m.kind != cutBlock {
		return
	}
	if line := gas.LinePressure.V.SI(); line > 0 && m.supply > 0 {
		f.add(true, Figure{Block: m.path, Key: "pressure-of-line", Name: "pressure / line", Value: 100 * physics.Gauge(m.supply) / line, Unit: "%", Low: 0, High: 100, Rule: "pressure-over-line"})
	}
	valve, line := valveOf(f.cutting, m)
	nozzle := physics.Nozzle{Diameter: f.throat(m), Discharge: physics.UsualDischarge}
	if holds, ok := valve.Holds(m.gas, line, nozzle, physics.Atmosphere, physics.Room); ok && m.knowsGas && m.supply > physics.Atmosphere && m.supply <= line {
		f.add(true, Figure{Block: m.path, Key: "pressure-of-valve", Name: "pressure / valve's most", Value: 100 * physics.Gauge(m.supply) / physics.Gauge(holds), Unit: "%", Low: 0, High: 100 / feedsNearly, Rule: "valve-cannot-feed",
			Note: fmt.Sprintf("wide open it holds %s", bar(holds).Format(f.lib.Prefs()))})
	}
}

// rates are the prices of the library for a gas, and what they leave out.
func (f *figures) rates(gas string) (rates physics.Rates, currency string, at physics.Reference, without string, ok bool) {
	if f.lib.Settings.Value == nil || !f.lib.Settings.Value.Prices.Set() {
		return physics.Rates{}, "", physics.Reference{}, "", false
	}
	p := f.lib.Settings.Value.Prices.V
	at = physics.ANR
	if p.GasAt.Set() {
		if at, ok = physics.ReferenceAt(p.GasAt.V.SI()); !ok {
			return physics.Rates{}, "", physics.Reference{}, "", false
		}
	}
	price, priced := p.Gas.Get(gas + "_m3")
	switch {
	case !priced && !p.MachineHour.Set():
		return physics.Rates{}, "", physics.Reference{}, "", false
	case !priced:
		without = "without gas: " + gas + " has no price"
	case !p.MachineHour.Set():
		without = "gas alone"
	}
	return physics.Rates{Machine: p.MachineHour.V.Float / physics.Hour, Gas: price.Float}, p.Currency.V, at, without, true
}

// priced is the flow through the orifice in m³/s, counted as the shop buys it.
func (f *figures) priced(m *moment, at physics.Reference) (float64, bool) {
	flow, ok := f.flow(m, physics.UsualDischarge)
	if !ok {
		return 0, false
	}
	return at.Volume(m.gas, flow.Mass)
}

func (f *figures) costOf(m *moment) {
	rates, currency, at, without, ok := f.rates(m.gasName)
	if !ok {
		return
	}
	flow, ok := f.priced(m, at)
	cost, ok2 := rates.PerMetre(m.speed, flow)
	f.add(ok && ok2, Figure{Block: m.path, Key: "cost-per-metre", Name: "cost per metre", Value: cost.Total(), Unit: currency + "/m", Low: none, High: none, Note: without})
}

func (f *figures) pierceOf() {
	if !pierces(f.condition) {
		return
	}
	add := func(key, name string, value float64, unit string, low, high float64, rule, note string) {
		f.add(true, Figure{Block: "pierce", Key: key, Name: name, Value: value, Unit: unit, Low: low, High: high, Rule: rule, Note: note})
	}
	var time, gas, cost float64
	currency, without, flows, costs := "", "", true, true
	for _, m := range f.stages {
		seconds := m.stage.Time.V.SI()
		if seconds < 0 {
			return
		}
		time += seconds
		hourly, ok := f.hourly(m)
		flows = flows && ok
		gas += hourly / physics.Hour * seconds
		rates, money, at, lacks, ok := f.rates(m.gasName)
		if !ok {
			costs = false
			continue
		}
		currency = money
		if without == "" {
			without = lacks
		}
		flow, ok := f.priced(m, at)
		c, ok2 := rates.ForTime(seconds, flow)
		costs = costs && ok && ok2
		cost += c.Total()
	}
	stages := fmt.Sprintf("%d stages", len(f.stages))
	if len(f.stages) == 1 {
		stages = "1 stage"
	}
	add("pierce-time", "pierce time", time, "s", none, none, "", stages)
	if b, ok := f.pierceBalance(); ok {
		add("pierce-energy", "pierce energy", b.Laser, "J", none, none, "", "")
		if b.Needed > 0 {
			add("pierce-excess", "times the hole's heat", b.Laser/b.Needed, "", f.limitOf("pierce-energy"), none, "pierce-energy", "")
		}
	}
	if flows {
		add("pierce-gas", "gas per pierce", gas*1e3, "L", none, none, "", "")
	}
	if costs {
		add("cost-per-pierce", "cost per pierce", cost, currency, none, none, "", without)
	}
}

// qualityOf turns the ranges that the cut is meant to reach into lengths, by ISO 9013.
func (f *figures) qualityOf() {
	q := f.condition.Quality.V
	note := ""
	if !physics.LaserScope(f.thickness) {
		note = "ISO 9013 speaks of 0.5 to 32 mm"
	}
	if most, ok := physics.PerpendicularityLimit(q.PerpendicularityRange.V, f.thickness); ok {
		f.add(true, Figure{Block: "quality", Key: "perpendicularity-limit", Name: fmt.Sprintf("u of range %d, up to", q.PerpendicularityRange.V), Value: most * 1e3, Unit: "mm", Low: none, High: none, Note: note})
	}
	if most, ok := physics.RoughnessLimit(q.RoughnessRange.V, f.thickness); ok {
		f.add(true, Figure{Block: "quality", Key: "roughness-limit", Name: fmt.Sprintf("Rz5 of range %d, up to", q.RoughnessRange.V), Value: most * 1e6, Unit: "um", Low: none, High: none, Note: note})
	}
}

// Sits says where a figure sits in its range: below, low, middle, high, above; "" where it has none. Low and high are the outer fifths.
func (f Figure) Sits() string {
	share, ok := f.Share()
	low, high := !math.IsNaN(f.Low), !math.IsNaN(f.High)
	const slack = 1e-9
	switch {
	case !low && !high:
		return ""
	case low && f.Value < f.Low*(1-slack):
		return "below"
	case high && f.Value > f.High*(1+slack):
		return "above"
	case !ok:
		return "within"
	case share < 0.2:
		return "low"
	case share > 0.8:
		return "high"
	}
	return "middle"
}

// Share is how far into its range a figure sits, 0 at the low end and 1 at the high one; false where it has not both ends. What
// ordinary cuts spend spans more than ten times and is counted in factors.
func (f Figure) Share() (float64, bool) {
	if math.IsNaN(f.Low) || math.IsNaN(f.High) || !(f.High > f.Low) {
		return 0, false
	}
	if f.Low > 0 && f.Value > 0 && (f.Key == "energy-per-area" || f.Key == "oxygen-share") {
		return math.Log(f.Value/f.Low) / math.Log(f.High/f.Low), true
	}
	return (f.Value - f.Low) / (f.High - f.Low), true
}

// Digits writes a figure's number with three digits, as it is shown.
func Digits(x float64) string { return digits(x, 3) }
