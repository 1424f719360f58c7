package lint

import (
	"cmp"
	"math"
	"slices"

	"fettle/lint/physics"
)

func pierceEnergy(p *Pass) {
	c := p.cutting()
	if !c.knows || !pierces(c.condition) || !p.needsWaist(c.cut()) {
		return
	}
	b, ok := c.pierceBalance()
	if !ok {
		return
	}
	const help = "Power, time or duty of a stage. A start from the edge is an empty list of stages."
	switch narrow := narrowestKerf * narrowestKerf * b.Needed; {
	case b.Laser+b.Oxidation < narrow && !c.pierceNitrides():
		p.accuse(Error, c.pierceSuspects(), help, "the pierce brings %s J, and melting a hole through %s as narrow as the beam can make it takes %s J at the very least", digits(b.Laser+b.Oxidation, 3), c.condition.Thickness.V, digits(narrow, 3))
	case b.Laser < p.Number()*b.Needed:
		p.accuse(Warning, c.pierceSuspects(), help, "the laser brings %s J to the pierce, %s times what melting a hole as wide as its spot through %s takes, and usual is from %s times on: it may not come through", digits(b.Laser, 3), digits(b.Laser/b.Needed, 2),
			c.condition.Thickness.V, digits(p.Number(), 3))
	}
}

// pierceSuspects are what the energy of a pierce hangs on: power, time and duty of the stages, the one that brings most first, so that
// a stage that only blows is not blamed.
func (c *cutting) pierceSuspects() []suspect {
	energy := func(m *moment) float64 { return m.power * m.stage.Time.V.SI() }
	stages := slices.SortedStableFunc(slices.Values(c.stages), func(a, b *moment) int { return cmp.Compare(energy(b), energy(a)) })
	var list []suspect
	for _, name := range []string{"power", "time", "duty"} {
		for _, m := range stages {
			list = append(list, m.suspects(name)...)
		}
	}
	return list
}

func (c *cutting) pierceNitrides() bool {
	for _, m := range c.stages {
		if c.nitrides(m) && m.power > 0 {
			return true
		}
	}
	return false
}

// fusion reports whether the moment is a cut without burning, where the jet alone drives the melt out.
func (m *moment) fusion() bool { return m.knowsGas && m.gas.Oxygen < 0.5 }

func jet(p *Pass) {
	c := p.cutting()
	least := p.Limit()
	for _, m := range c.severing {
		pressure := m.own.Pressure
		if pressure.Set() && m.fusion() && pressure.V.Sign() >= 0 && pressure.V.Value.Cmp(least) < 0 {
			p.accuse(Warning, m.suspects("pressure"), "Oxygen is slow on purpose; is the gas of the set right?", "%s of %s drives no melt out of the kerf; an inert cut takes %s and more", pressure.V, m.gasName, least)
		}
	}
}

// What a valve has to feed: the coefficient of discharge of the worst nozzle that is still one, and by how much of the pressure that is
// asked for the gauge of a line and the data sheet of a valve may be off before somebody is told, and before it is called impossible.
// Trade judgement.
const (
	leastDischarge = 0.8
	feedsNearly    = 0.95
	feedsNot       = 0.9
)

// feed is what the valve of a moment's gas holds at its orifice.
type feed struct {
	asked, usual, least float64 // gauge, Pa; held at the usual and at the least coefficient of discharge
	throat              float64 // diameter of what the gas leaves through, m
}

func (f feed) severity() Severity {
	switch {
	case f.least < feedsNot*f.asked:
		return Error
	case f.usual < feedsNearly*f.asked:
		return Warning
	}
	return Off
}

// feed works out what the valve holds. It is false where it feeds the nozzle easily, or where the profile does not say enough.
func (c *cutting) feed(m *moment) (feed, bool) {
	valve, line := valveOf(c, m)
	f := feed{asked: physics.Gauge(m.supply), throat: c.throat(m)}
	if !m.knowsGas || m.supply <= physics.Atmosphere {
		return feed{}, false
	}
	nozzle := physics.Nozzle{Diameter: f.throat, Discharge: physics.UsualDischarge}
	most, ok := valve.Flow(m.gas, line, m.supply, physics.Room)
	takes, ok2 := nozzle.Flow(m.gas, m.supply, physics.Atmosphere, physics.Room)
	if !ok || !ok2 || most.Mass >= takes.Mass {
		return feed{}, false
	}
	usual, ok := valve.Holds(m.gas, line, nozzle, physics.Atmosphere, physics.Room)
	nozzle.Discharge = leastDischarge
	least, ok2 := valve.Holds(m.gas, line, nozzle, physics.Atmosphere, physics.Room)
	f.usual, f.least = physics.Gauge(usual), physics.Gauge(least)
	return f, ok && ok2
}

// throat is the diameter of the hole that lets out as much as orifice and plate together: close to the plate the gas leaves through
// the gap around the tip, πdh, where that is less than the orifice.
func (c *cutting) throat(m *moment) float64 {
	if m.tip > 0 && 4*m.tip < c.orifice {
		return math.Sqrt(4 * c.orifice * m.tip)
	}
	return c.orifice
}

func valveCannotFeed(p *Pass) {
	if p.Machine == nil {
		return
	}
	c := p.cutting()
	for _, m := range c.moments {
		pressure := m.own.Pressure
		supply := p.Machine.Gas.Find(m.gasName)
		if !pressure.Set() || supply == nil || !m.knowsGas || pressure.V.Sign() <= 0 || pressure.V.Above(supply.LinePressure.V) {
			continue // pressure-over-line
		}
		if v := supply.Valve.V; !v.Conductance.Set() || !v.CriticalRatio.Set() || !supply.LinePressure.Set() {
			member := "gas." + m.gasName + ".valve."
			p.Needs(member+"conductance", v.Conductance.Set())
			p.Needs(member+"critical_ratio", v.CriticalRatio.Set())
			continue
		}
		f, ok := c.feed(m)
		if !ok || f.severity() == Off {
			continue
		}
		holds := f.usual
		if f.severity() == Error {
			holds = f.least
		}
		p.accuse(f.severity(), c.nozzle(m, m.suspects("pressure"), "orifice"), "A smaller orifice, less pressure, or a larger valve; hoses and the ring of a double nozzle take more on top.",
			"wide open on %s the %s valve holds %s at an orifice of %s, not %s", supply.LinePressure.V, m.gasName, bar(physics.Absolute(holds)), c.condition.Nozzle.V.Orifice.V, pressure.V)
	}
}

// valveOf is the valve of a moment's gas and the absolute pressure of its line.
func valveOf(c *cutting, m *moment) (physics.Valve, float64) {
	if c.machine == nil {
		return physics.Valve{}, 0
	}
	supply := c.machine.Gas.Find(m.gasName)
	if supply == nil {
		return physics.Valve{}, physics.Absolute(0)
	}
	v := supply.Valve.V
	return physics.Valve{Conductance: v.Conductance.V.SI(), Critical: v.CriticalRatio.V.Float}, physics.Absolute(supply.LinePressure.V.SI())
}
