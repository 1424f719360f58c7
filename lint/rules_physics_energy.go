package lint

import (
	"fmt"
	"math"

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

// narrowestKerf is how narrow a kerf may be as a share of the narrowest place of the beam in the plate: near the threshold only the
// middle of the beam melts. Trade judgement; no error rests on a wider one.
const narrowestKerf = 0.6

// besideTheStrip is how much more oxygen may enter the kerf than what lies over it: the ring of a double nozzle brings as much again, and
// the jet spreads along the plate. On the generous side, since errors rest on it.
const besideTheStrip = 2

// A heat is the balance of one moment.
type heat struct {
	narrow  float64 // the narrowest that the kerf can be: as stated, or what the beam can make; 0 where the spot is not known
	width   float64 // what the kerf may be taken for: as stated, where the beam can make that, else the spot
	least   float64 // W to melt the narrow kerf, by the low ends of the constants
	melt    float64 // W to melt the kerf
	laser   float64
	burning float64 // W, all oxygen over the narrow kerf burnt, and more of it than a real jet brings
	takenUp float64 // W that a cut front takes up of the laser at the most, and from the burning of the oxygen ahead of it
	perArea float64 // J/m²
}

// heat works out the balance. It is false where the recipe or the plate does not say enough.
func (c *cutting) heat(m *moment) (heat, bool) {
	if !c.knows || m.power <= 0 {
		return heat{}, false
	}
	h := heat{laser: m.power, narrow: narrowestKerf * m.beam.Waist, width: c.kerf}
	var ok bool
	if h.perArea, ok = physics.EnergyPerArea(m.power, c.thickness, m.speed); !ok {
		return heat{}, false
	}
	if c.kerf > 0 && c.kerf < h.narrow {
		h.narrow = c.kerf
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
	h.takenUp = c.takenUp(m, h.width)
	return h, true
}

// takenUp is what a cut front takes up at the most, W: of the laser what metals have been seen to absorb of beams of about 1 µm, and the
// half of the oxygen over a kerf of that width that is ahead of the front, burnt. It is infinite where it may be any.
func (c *cutting) takenUp(m *moment, width float64) float64 {
	if c.machine != nil && c.machine.Laser.V.Wavelength.Set() {
		if wavelength := c.machine.Laser.V.Wavelength.V.SI(); wavelength < 0.9e-6 || wavelength > 1.2e-6 {
			return math.Inf(1)
		}
	}
	up := c.material.Absorptivity.High * m.power
	if m.gas.Oxygen > 0 || !m.knowsGas {
		b, ok := c.balance(m, width, physics.UsualDischarge, physics.FrontShare)
		if !ok {
			return math.Inf(1)
		}
		up += b.Oxidation
	}
	return up
}

// lowEnd is the material with the least heat to melt, and the least that runs off, that its constants allow.
func lowEnd(m physics.Material) physics.Material {
	m.Density.Value, m.Heat.Value, m.Fusion.Value = m.Density.Low(), m.Heat.Low(), m.Fusion.Low()
	m.Conductivity.Value = m.Conductivity.Low()
	return m
}

// runsOff is the power in W that a kerf takes together with the heat that runs off into the plate beside it, by a moving line of heat:
// the low ends of the constants. Where exact is false it may be up to a fifth too high, and takes no search.
func (c *cutting) runsOff(m *moment, width float64, exact bool) (float64, bool) {
	line := lowEnd(c.material).LineSource()
	power := line.PowerBound
	if exact {
		power = line.Power
	}
	perThickness, ok := power(width, m.speed)
	return perThickness * c.thickness, ok
}

// balance is the balance of a kerf of that width. more is how much of the oxygen counts that lies over it.
func (c *cutting) balance(m *moment, width, discharge, more float64) (physics.Balance, bool) {
	flow, ok := c.flow(m, discharge)
	if !ok {
		return physics.Balance{}, false
	}
	return physics.Kerf{Material: c.material, Width: width, Thickness: c.thickness, Speed: m.speed, Power: m.power, Gas: m.gas,
		GasFlow: more * flow.Mass, Orifice: c.orifice}.Balance()
}

// burning is the heat of all the oxygen that may get into a kerf of that width, in favour of the cut: an orifice without loss, and
// more oxygen than lies over the kerf.
func (c *cutting) burning(m *moment, width float64) (float64, bool) {
	if m.gas.Oxygen == 0 {
		return 0, true
	}
	b, ok := c.balance(m, width, 1, besideTheStrip)
	return b.Oxidation, ok
}

// mostMelt is the share of the laser's power that melting ordinarily takes at most: twice as much where oxygen brings heat of its own.
func (c *cutting) mostMelt(m *moment, limit float64) float64 {
	if m.knowsGas && m.gas.Oxygen >= 0.5 {
		return 2 * limit
	}
	return limit
}

func energyShort(p *Pass) {
	c := p.cutting()
	limit := p.Limit().SI()
	for _, m := range c.severing {
		if !m.own.Power.Set() && !m.own.Speed.Set() && !m.own.Duty.Set() && !m.own.Mode.Set() {
			continue // all of it is the cut's
		}
		h, ok := c.heat(m)
		if waist := p.needsWaist(m); !ok || !waist && c.kerf == 0 {
			continue
		}
		suspects := func() []suspect { return m.suspects("power", "speed", "duty", "mode") }
		const help = "More power, or slower. Is the thickness right?"
		most := c.mostMelt(m, limit)
		switch {
		case h.impossible() && !c.nitrides(m):
			gives := fmt.Sprintf("%s of laser", p.Show(watts(h.laser)))
			if h.burning > 0 {
				gives += fmt.Sprintf(" and %s from burning", p.Show(watts(h.burning)))
			}
			p.accuse(Error, suspects(), help, "%s cannot melt the kerf: %s wide in %s at %s takes %s at the very least", gives, millimetres(h.narrow), c.condition.Thickness.V, m.whole.Speed.V, watts(h.least))
		case h.melt > most*h.laser:
			p.accuse(Warning, suspects(), help, "melting the kerf takes %s, %s %% of the %s of the laser, and usual is up to %s %%: too little is left for what the plate reflects and carries off", watts(h.melt),
				digits(100*h.melt/h.laser, 2), watts(h.laser), digits(100*most, 2))
		case c.tooCold(m, h):
			demand, _ := c.runsOff(m, h.width, true)
			gives := fmt.Sprintf("%s of laser", p.Show(watts(h.laser)))
			if m.gas.Oxygen > 0 {
				gives += " and of burning"
			}
			p.accuse(Warning, suspects(), help, "melting the kerf and the heat that runs off beside it take %s, and of %s such a cut takes up %s at the most", watts(demand), gives, watts(h.takenUp))
		case c.burns(m) && h.perArea < leastPerArea:
			p.accuse(Warning, suspects(), help, "%s J on each mm2 of the edge, and a cut in oxygen takes %g to %g: too little to keep the plate burning along the whole front", digits(h.perArea/1e6, 2), leastPerArea/1e6, mostPerAreaBurning/1e6)
		}
	}
}

// tooCold reports whether melt and heat that runs off take more than the front takes up. The quick bound comes first.
func (c *cutting) tooCold(m *moment, h heat) bool {
	for _, exact := range []bool{false, true} {
		if demand, ok := c.runsOff(m, h.width, exact); !ok || demand <= h.takenUp {
			return false
		}
	}
	return true
}

// impossible reports whether even the narrowest kerf takes more than there can be.
func (h heat) impossible() bool { return h.least > h.laser+h.burning }

// mostPerArea is what such a moment spends on its edge at most, J/m².
func (c *cutting) mostPerArea(m *moment, times float64) float64 {
	most := mostPerAreaInert * times
	if c.burns(m) {
		most = mostPerAreaBurning * times
	}
	if m.kind != cutBlock {
		most *= slowOnPurpose
	}
	return most
}

// mostOxygenOf is how many times what would burn the kerf such a moment has at most.
func mostOxygenOf(m *moment, times float64) float64 {
	if m.kind != cutBlock {
		times *= slowOnPurpose
	}
	return mostOxygen * times
}

func energyExcess(p *Pass) {
	c := p.cutting()
	times := p.Number()
	for _, m := range c.severing {
		most := c.mostPerArea(m, times)
		own := m.own.Speed.Set() || m.own.Power.Set() || m.own.Duty.Set()
		if perArea, ok := physics.EnergyPerArea(m.power, c.thickness, m.speed); ok && own && m.mean && c.knows && perArea > most {
			p.accuse(Warning, m.suspects("speed", "power", "duty"), "Faster, or less power. Is the thickness right?", "%s J on each mm2 of the edge, and usual is up to %s: corners melt off and the plate takes the heat", digits(perArea/1e6, 3), digits(most/1e6, 3))
		}
		if share, ok := c.burnt(m); ok && m.own.Pressure.Set() && c.thickness >= thickPlate && share > mostOxygenOf(m, times) {
			p.accuse(Warning, c.nozzle(m, m.suspects("pressure"), "orifice"), "Less pressure, or a smaller orifice.", "%s through %s brings %s times the oxygen that would burn the whole kerf, and usual is below %s: the plate burns beside the kerf",
				m.own.Pressure.V, c.condition.Nozzle.V.Orifice.V, digits(share, 2), digits(mostOxygenOf(m, times), 2))
		}
	}
}

// burnt is the oxygen over the kerf as a share of what would burn all of its iron. Both grow with the kerf, so that its width does not matter.
func (c *cutting) burnt(m *moment) (float64, bool) {
	if !c.burns(m) {
		return 0, false
	}
	b, ok := c.balance(m, c.orifice/4, physics.UsualDischarge, 1)
	if !ok {
		return 0, false
	}
	return b.Burnt()
}

func oxygenShort(p *Pass) {
	c := p.cutting()
	least := p.Limit().SI()
	for _, m := range c.severing {
		if share, ok := c.burnt(m); ok && (m.own.Pressure.Set() || m.own.Speed.Set()) && share < least {
			suspects := append(c.nozzle(m, m.suspects("pressure"), "orifice"), m.suspects("speed")...)
			p.accuse(Warning, suspects, "More pressure, a larger orifice, or slower.", "%s through %s brings %s %% of the oxygen that would burn the whole kerf, and usual is above %s %%: the cut starves",
				m.whole.Pressure.V, c.condition.Nozzle.V.Orifice.V, digits(100*share, 2), digits(100*least, 2))
		}
	}
}

// watts, millimetres and bar are computed numbers, rounded to three digits, that screens show in the units of the library.
func watts(w float64) quantity.Value {
	if w >= 1000 {
		return computed(quantity.DimPower, w, "kW")
	}
	return computed(quantity.DimPower, w, "W")
}

func millimetres(m float64) quantity.Value { return computed(quantity.DimLength, m, "mm") }

func bar(absolute float64) quantity.Value {
	return computed(quantity.DimPressure, physics.Gauge(absolute), "bar")
}

// computed is a number of SI units, shown in a unit and rounded to three digits of it.
func computed(d quantity.Dimension, si float64, unit string) quantity.Value {
	v, err := quantity.Parse(d, digits(si/quantity.MustParse(d, "1 "+unit).SI(), 3)+" "+unit)
	if err != nil { // more digits than anything real has
		v, _ = quantity.FromSI(d, si, unit)
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
