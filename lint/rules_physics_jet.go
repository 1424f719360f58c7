package lint

import (
	"fmt"

	"fettle/lint/physics"
)

// leastDischarge is of the worst nozzle that is still one: what a valve has to feed at the very least.
const leastDischarge = 0.8

func pierceEnergy(p *Pass) {
	c := p.cutting()
	if !c.knows || !pierces(c.condition) || !p.needsWaist(c.cut()) {
		return
	}
	b, ok := c.pierceBalance()
	if !ok {
		return
	}
	last := c.stages[0]
	for _, m := range c.stages { // the one that brings most, so that a blow is not blamed
		if m.power*m.stage.Time.V.SI() > last.power*last.stage.Time.V.SI() {
			last = m
		}
	}
	at := At(last.field("power"), last.own.Power)
	excess, _ := b.Excess()
	switch {
	case excess < 1 && !c.pierceNitrides():
		p.Report(at, "the pierce brings %s J, and melting a hole of %s through %s takes %s J at the very least", digits(b.Laser+b.Oxidation, 3), millimetres(c.cut().beam.Waist), c.condition.Thickness.V, digits(b.Needed, 3)).
			Help = "Power, time or duty of a stage. A start from the edge is an empty list of stages."
	case b.Laser < p.Number()*b.Needed:
		p.ReportAs(Warning, at, "the laser brings %s J to the pierce, %s times what the narrowest hole through %s takes, and usual is from %s times on", digits(b.Laser, 3), digits(b.Laser/b.Needed, 2), c.condition.Thickness.V, digits(p.Number(), 3)).
			Help = "Power, time or duty of a stage. A time in seconds that was meant in milliseconds, or the other way?"
	}
}

func (c *cutting) pierceNitrides() bool {
	for _, m := range c.stages {
		if c.nitrides(m) && m.power > 0 {
			return true
		}
	}
	return false
}

func jet(p *Pass) {
	c := p.cutting()
	least := p.Limit().SI()
	for _, m := range c.severing {
		pressure := m.own.Pressure
		if pressure.Set() && m.knowsGas && m.gas.Oxygen < 0.5 && pressure.V.Sign() >= 0 && pressure.V.SI() < least {
			at := At(m.field("pressure"), pressure)
			p.Report(at, "%s of %s drives no melt out of the kerf; an inert cut takes %s and more", pressure.V, m.gasName, p.Limit()).Help = p.context(at.Field, pressure.V.Value)
		}
	}
}

func valveCannotFeed(p *Pass) {
	if p.Machine == nil {
		return
	}
	c := p.cutting()
	for _, m := range c.moments {
		pressure := m.own.Pressure
		supply, plumbed := p.Machine.Gas.Get(m.gasName)
		if !pressure.Set() || !plumbed || !m.knowsGas || pressure.V.Sign() <= 0 || pressure.V.Above(supply.LinePressure.V) {
			continue // pressure-over-line
		}
		v, member := supply.Valve.V, "gas."+m.gasName+".valve."
		known := p.Needs(member+"conductance", v.Conductance.Set())
		if !p.Needs(member+"critical_ratio", v.CriticalRatio.Set()) || !known || !supply.LinePressure.Set() {
			continue
		}
		valve, line := valveOf(c, m)
		most, ok := valve.Flow(m.gas, line, m.supply, physics.Room)
		usual, ok2 := c.flow(m, physics.UsualDischarge)
		if !ok || !ok2 || most.Mass >= usual.Mass {
			continue
		}
		least, ok := c.flow(m, leastDischarge)
		severity, discharge := Warning, physics.UsualDischarge
		if ok && most.Mass < least.Mass {
			severity, discharge = Error, leastDischarge
		}
		holds, ok := valve.Holds(m.gas, line, physics.Nozzle{Diameter: c.orifice, Discharge: discharge}, physics.Atmosphere, physics.Room)
		if !ok {
			continue
		}
		at := At(m.field("pressure"), pressure)
		p.ReportAs(severity, at, "wide open on %s the %s valve holds %s at an orifice of %s, not %s", supply.LinePressure.V, m.gasName, bar(holds), c.condition.Nozzle.V.Orifice.V, pressure.V).
			Help = fmt.Sprintf("A smaller orifice, less pressure, or a larger valve; %s", "hoses and the ring of a double nozzle take more on top.")
	}
}

// valveOf is the valve of a moment's gas and the absolute pressure of its line.
func valveOf(c *cutting, m moment) (physics.Valve, float64) {
	if c.machine == nil {
		return physics.Valve{}, 0
	}
	supply, _ := c.machine.Gas.Get(m.gasName)
	v := supply.Valve.V
	return physics.Valve{Conductance: v.Conductance.V.SI(), Critical: v.CriticalRatio.V.Float}, physics.Absolute(supply.LinePressure.V.SI())
}
