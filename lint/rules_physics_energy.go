package lint

import (
	"fmt"

	"fettle/lint/physics"
	"fettle/schema"
	"fettle/schema/quantity"
)

// What ordinary cuts spend on each square metre of their edge, J/m². Trade judgement, no source.
const (
	leastPerArea       = 3e6
	mostPerAreaBurning = 40e6
	mostPerAreaInert   = 130e6
	slowOnPurpose      = 3 // how much more a lead-in or a small contour may spend
	mostOxygen         = 4 // times what would burn the whole kerf, on plate from thickPlate on
	thickPlate         = 3e-3
)

// A heat is the balance of one moment.
type heat struct {
	narrow  float64 // the narrowest that the kerf can be; 0 where the spot is not known
	width   float64 // what the kerf may be taken for: as stated, where the beam can make that, else the spot
	least   float64 // W to melt the narrow kerf, by the low ends of the constants
	melt    float64 // W to melt the kerf
	laser   float64
	burning float64 // W, all oxygen over the narrow kerf burnt, and more of it than a real jet brings
	perArea float64 // J/m²
}

// heat works out the balance. It is false where the recipe or the plate does not say enough.
func (c *cutting) heat(m moment) (heat, bool) {
	if !c.knows || m.power <= 0 {
		return heat{}, false
	}
	h := heat{laser: m.power, narrow: m.beam.Waist, width: c.kerf}
	var ok bool
	if h.perArea, ok = physics.EnergyPerArea(m.power, c.thickness, m.speed); !ok {
		return heat{}, false
	}
	if c.kerf > 0 && (h.narrow == 0 || c.kerf < h.narrow) {
		if h.narrow > 0 {
			h.narrow = c.kerf
		}
	}
	if low, high, ok := c.kerfRange(m); h.width == 0 || ok && (h.width < low || h.width > high) {
		h.width = m.beam.Waist
	}
	if h.width == 0 {
		return heat{}, false
	}
	if h.melt, ok = physics.MeltPower(c.material, h.width, c.thickness, m.speed); !ok {
		return heat{}, false
	}
	if h.narrow > 0 && m.knowsGas {
		h.burning, ok = c.burning(m, h.narrow)
		if low, ok2 := physics.MeltPower(lowEnd(c.material), h.narrow, c.thickness, m.speed); ok && ok2 {
			h.least = low
		}
	}
	return h, true
}

// lowEnd is the material with the least heat to melt that its constants allow.
func lowEnd(m physics.Material) physics.Material {
	m.Density.Value, m.Heat.Value, m.Fusion.Value = m.Density.Low(), m.Heat.Low(), m.Fusion.Low()
	return m
}

// burning is the heat of all the oxygen over a kerf of that width, in favour of the cut: an orifice without loss, and a double nozzle
// whose ring brings as much again.
func (c *cutting) burning(m moment, width float64) (float64, bool) {
	if m.gas.Oxygen == 0 {
		return 0, true
	}
	flow, ok := c.flow(m, 1)
	if !ok {
		return 0, false
	}
	if c.condition.Nozzle.V.Form.V != "single" {
		flow.Mass *= 2
	}
	b, ok := physics.Kerf{Material: c.material, Width: width, Thickness: c.thickness, Speed: m.speed, Power: m.power, Gas: m.gas, GasFlow: flow.Mass, Orifice: c.orifice}.Balance()
	return b.Oxidation, ok
}

// energyAt is the member that a finding about the heat of a moment points at: what the moment itself says, power before speed.
func energyAt(m moment, speedFirst bool) (Place, bool) {
	power, speed := m.own.Power, m.own.Speed
	switch {
	case speed.Set() && (speedFirst || !power.Set()):
		return At(m.field("speed"), speed), true
	case power.Set():
		return At(m.field("power"), power), true
	case m.own.Duty.Set():
		return At(m.field("duty"), m.own.Duty), true
	case m.own.Mode.Set():
		return At(m.field("mode"), m.own.Mode), true
	}
	return Place{}, false
}

func energyShort(p *Pass) {
	c := p.cutting()
	share := p.Limit().SI()
	for _, m := range c.severing {
		at, ok := energyAt(m, false)
		if !ok {
			continue // all of it is the cut's
		}
		h, ok := c.heat(m)
		if waist := p.needsWaist(m); !ok || !waist && c.kerf == 0 {
			continue
		}
		most := share
		if m.gas.Oxygen >= 0.5 {
			most = 2 * share
		}
		switch {
		case h.least > h.laser+h.burning && !c.nitrides(m):
			gives := fmt.Sprintf("%s of laser", p.Show(watts(h.laser)))
			if h.burning > 0 {
				gives += fmt.Sprintf(" and %s from burning", p.Show(watts(h.burning)))
			}
			p.Report(at, "%s cannot melt the kerf: %s wide in %s at %s takes %s at the very least", gives, millimetres(h.narrow), c.condition.Thickness.V, m.whole.Speed.V, watts(h.least)).
				Help = p.energyHelp(at, m)
		case h.melt > most*h.laser:
			p.ReportAs(Warning, at, "melting the kerf takes %s of %s, %.0f %%, and usual is up to %.0f %%: too little is left for what the plate reflects and carries off", watts(h.melt), watts(h.laser),
				100*h.melt/h.laser, 100*most).Help = p.energyHelp(at, m)
		case c.burns(m) && h.perArea < leastPerArea:
			p.ReportAs(Warning, at, "%.2g J on each mm2 of the edge, and a cut in oxygen takes %g to %g: too little to keep the plate burning along the whole front", h.perArea/1e6, leastPerArea/1e6, mostPerAreaBurning/1e6).
				Help = p.energyHelp(at, m)
		}
	}
}

// energyHelp says what power and speed were and what the family has.
func (p *Pass) energyHelp(at Place, m moment) string {
	if help := p.context(at.Field, valueOf(at, m)); help != "" {
		return help
	}
	return "More power, or slower. Is the thickness right?"
}

func valueOf(at Place, m moment) quantity.Value {
	switch at.Field {
	case m.field("power"):
		return m.own.Power.V.Value
	case m.field("speed"):
		return m.own.Speed.V.Value
	case m.field("pressure"):
		return m.own.Pressure.V.Value
	}
	return m.own.Duty.V.Value
}

func energyExcess(p *Pass) {
	c := p.cutting()
	times := p.Number()
	for _, m := range c.severing {
		most := mostPerAreaInert * times
		if c.burns(m) {
			most = mostPerAreaBurning * times
		}
		if m.kind != cutBlock {
			most *= slowOnPurpose
		}
		at, ok := energyAt(m, true)
		if perArea, known := physics.EnergyPerArea(m.power, c.thickness, m.speed); ok && known && m.mean && c.knows && perArea > most {
			p.Report(at, "%.0f J on each mm2 of the edge, and usual is up to %.0f: corners melt off and the plate takes the heat", perArea/1e6, most/1e6).Help = p.context(at.Field, valueOf(at, m))
		}
		if share, ok := c.burnt(m); ok && m.own.Pressure.Set() && c.thickness >= thickPlate && share > mostOxygen*times {
			at := At(m.field("pressure"), m.own.Pressure)
			p.Report(at, "%s brings %.2g times the oxygen that would burn the whole kerf, and usual is below %.2g: the plate burns beside the kerf", m.own.Pressure.V, share, mostOxygen*times).
				Help = p.context(at.Field, m.own.Pressure.V.Value)
		}
	}
}

// burnt is the oxygen over the kerf as a share of what would burn all of its iron. Both grow with the kerf, so that its width does not matter.
func (c *cutting) burnt(m moment) (float64, bool) {
	if !c.burns(m) {
		return 0, false
	}
	flow, ok := c.flow(m, physics.UsualDischarge)
	if !ok {
		return 0, false
	}
	b, ok := physics.Kerf{Material: c.material, Width: c.orifice / 4, Thickness: c.thickness, Speed: m.speed, Gas: m.gas, GasFlow: flow.Mass, Orifice: c.orifice}.Balance()
	if !ok {
		return 0, false
	}
	return b.Burnt()
}

func oxygenShort(p *Pass) {
	c := p.cutting()
	least := p.Limit().SI()
	for _, m := range c.severing {
		if share, ok := c.burnt(m); ok && share < least {
			member, at := m.own.Pressure, At(m.field("pressure"), m.own.Pressure)
			if !member.Set() {
				if !m.own.Speed.Set() {
					continue // all of it is the cut's
				}
				at = At(m.field("speed"), m.own.Speed)
			}
			p.Report(at, "%s through %s brings %.2g %% of the oxygen that would burn the whole kerf, and usual is above %.0f %%: the cut starves", m.whole.Pressure.V, p.Recipe.Nozzle.V.Orifice.V, 100*share, 100*least).
				Help = p.context(at.Field, valueOf(at, m))
		}
	}
}

// watts and millimetres are computed numbers, rounded to three digits, that screens show in the units of the library.
func watts(w float64) quantity.Value {
	if w >= 1000 {
		return computed(quantity.DimPower, w/1000, "kW")
	}
	return computed(quantity.DimPower, w, "W")
}

func millimetres(m float64) quantity.Value { return computed(quantity.DimLength, m*1000, "mm") }

func bar(absolute float64) quantity.Value {
	return computed(quantity.DimPressure, physics.Gauge(absolute)/1e5, "bar")
}

// computed is a number in a unit, rounded to three digits.
func computed(d quantity.Dimension, number float64, unit string) quantity.Value {
	v, err := quantity.Parse(d, digits(number, 3)+" "+unit)
	if err != nil { // more digits than anything real has
		return quantity.Value{}
	}
	return v
}

// pierces reports whether there is anything to judge in the pierce: a list, and every stage with what it takes.
func pierces(c *schema.Condition) bool {
	if !c.Severs() || !c.Pierce.Set() || len(c.Pierce.V) == 0 {
		return false
	}
	for i := range c.Pierce.V {
		if s := &c.Pierce.V[i]; !s.Power.Set() || !s.Time.Set() {
			return false
		}
	}
	return true
}
