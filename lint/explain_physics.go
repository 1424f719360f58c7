package lint

import (
	"fmt"
	"math"

	"fettle/lint/physics"
)

// The calculations of the rules of physics, written down. They put in what the checks put in and call what the checks call; a test
// holds both to the same verdict.

const (
	nozzleSource = "NACA Report 1135"
	valveSource  = "ISO 6358-1"
	beamSource   = "ISO 11146-1"
)

func (p *Pass) putPlate(w *Worked) {
	c := p.cutting()
	w.put(p, "t", "thickness", c.condition.Thickness.V.Value, "thickness")
}

func (p *Pass) putPower(w *Worked, m *moment) {
	if m.pulsed() && m.whole.Duty.Set() {
		w.put(p, "P0", "peak power", m.whole.Power.V.Value, p.fieldOf(m, "power", m.own.Power.Set()))
		w.put(p, "q", "duty", m.whole.Duty.V.Value, p.fieldOf(m, "duty", m.own.Duty.Set()))
		w.out("P", "P0 * q", p.Show(watts(m.power)))
		return
	}
	w.put(p, "P", "power", m.whole.Power.V.Value, p.fieldOf(m, "power", m.own.Power.Set()))
}

func (p *Pass) putSpeed(w *Worked, m *moment) {
	w.put(p, "v", "speed", m.whole.Speed.V.Value, p.fieldOf(m, "speed", m.own.Speed.Set()))
}

// fieldOf says where a value of a block stands: in the block itself, or in the cut that it takes it over from.
func (p *Pass) fieldOf(m *moment, name string, own bool) string {
	if own || m.kind == pierceBlock {
		return m.field(name)
	}
	return "cut." + name
}

// putSpot is the beam in focus.
func (p *Pass) putSpot(w *Worked, m *moment) {
	if m.whole.Spot.Set() {
		w.put(p, "d0", "beam in focus", m.whole.Spot.V.Value, p.fieldOf(m, "spot", m.own.Spot.Set()))
		return
	}
	if p.Machine == nil || m.beam.Waist <= 0 {
		return
	}
	laser, optics := p.Machine.Laser.V, p.Machine.Optics.V
	w.put(p, "a", "core of the fibre", laser.CoreDiameter.V.Value, "laser.core_diameter")
	w.put(p, "f", "focal length", optics.FocalLength.V.Value, "head.focal_length")
	w.put(p, "c", "collimation", optics.Collimation.V.Value, "head.collimation")
	w.out("d0", "a * f / c", p.Show(millimetres(m.beam.Waist)))
}

func (p *Pass) putBeam(w *Worked, m *moment) {
	p.putSpot(w, m)
	if p.Machine != nil {
		w.put(p, "B", "beam parameter product", p.Machine.Laser.V.BeamParameterProduct.V.Value, "laser.beam_parameter_product")
	}
	w.put(p, "z0", "focus above the plate", m.whole.Focus.V.Value, p.fieldOf(m, "focus", m.own.Focus.Set()))
	if zR, ok := m.beam.Rayleigh(); ok {
		w.out("zR", "d0^2 / (4 B)", p.Show(millimetres(zR)))
		w.From = append(w.From, Term{Symbol: "D(z)", Is: "diameter off focus", Value: "d0 * sqrt(1 + (z/zR)^2)", Source: beamSource})
	}
}

func (p *Pass) putJet(w *Worked, m *moment) {
	w.put(p, "d", "orifice", p.cutting().condition.Nozzle.V.Orifice.V.Value, "nozzle.orifice")
	w.put(p, "p", "gauge pressure", m.whole.Pressure.V.Value, p.fieldOf(m, "pressure", m.own.Pressure.Set()))
	w.word("", "gas", m.gasName, p.gasField(m))
	if m.knowsGas {
		w.From = append(w.From, Term{"gamma", "heat ratio of the gas", digits(m.gas.HeatRatio, 4), "NASA TM-4513"},
			Term{"M", "molar mass", number(m.gas.MolarMass*1e3, "g/mol"), "IUPAC 2021"})
	}
}

// gasField says where the gas of a block stands.
func (p *Pass) gasField(m *moment) string {
	if m.ownGas() {
		return m.field("gas")
	}
	return "gas of the set"
}

// constants are those of the plate that a heat balance takes.
func (p *Pass) constants(w *Worked, low bool) {
	m := p.cutting().material
	take := func(symbol, is string, c physics.Constant, unit string, scale float64) {
		value := fmt.Sprintf("%s %s, %.3g %% either way", digits(c.Value*scale, 4), unit, 100*c.Spread)
		w.From = append(w.From, Term{symbol, is, value, c.Source})
	}
	take("rho", "density of "+m.Name, m.Density, "kg/m3", 1)
	take("cT", "heat to the melting point", m.Heat, "MJ/kg", 1e-6)
	take("L", "heat of fusion", m.Fusion, "MJ/kg", 1e-6)
	if low {
		take("k", "conductivity", m.Conductivity, "W/(m K)", 1)
	}
}

func workEnergyShort(p *Pass) []Worked {
	c := p.cutting()
	limit := p.Limit().SI()
	var out []Worked
	for _, m := range c.severing {
		if len(m.suspects("power", "speed", "duty", "mode")) == 0 {
			continue
		}
		h, ok := c.heat(m)
		if !ok {
			continue
		}
		w := Worked{Block: m.path}
		p.putPlate(&w)
		p.putSpeed(&w, m)
		p.putPower(&w, m)
		p.putSpot(&w, m)
		p.constants(&w, true)
		if c.kerf > 0 && h.width == c.kerf {
			w.put(p, "w", "kerf", c.condition.Kerf.V.Value, "kerf")
		} else if c.kerf > 0 {
			w.out("w", "d0, since the beam makes no kerf as stated", p.Show(millimetres(h.width)))
		} else {
			w.out("w", "d0, since no kerf is stated", p.Show(millimetres(h.width)))
		}
		share := c.mostMelt(m, limit)
		w.out("Pm", "rho * (cT + L) * w * t * v", p.Show(watts(h.melt)))
		w.out("", "Pm / P", percentText(h.melt/h.laser))
		w.against("Pm / P, warning above", percentText(share))
		if off, ok := c.runsOff(m, h.width, true); ok && !math.IsInf(h.takenUp, 0) {
			w.From = append(w.From, Term{"A", "absorbed at the most", percentText(c.material.Absorptivity.High), c.material.Absorptivity.Source},
				Term{"K0", "moving line of heat", "exp(X) = T * K0(R)", "D. Rosenthal, Trans. ASME 68 (1946) 849"})
			w.out("Pr", "moving line that melts w, low constants", p.Show(watts(off)))
			burn := ""
			if h.takenUp > c.material.Absorptivity.High*h.laser {
				burn = " + half the oxygen over w, burnt"
			}
			w.out("Pu", "A * P"+burn, p.Show(watts(h.takenUp)))
			w.against("Pr, warning above Pu", p.Show(watts(h.takenUp)))
		}
		if c.burns(m) {
			w.out("J", "P / (t * v)", number(h.perArea/1e6, "J/mm2"))
			w.against("J, warning below", number(leastPerArea/1e6, "J/mm2"))
		}
		if h.least > 0 {
			w.out("w0", "least of w and 0.6 * d0", p.Show(millimetres(h.narrow)))
			w.out("P0m", "rho * (cT + L) * w0 * t * v, low constants", p.Show(watts(h.least)))
			if h.burning > 0 {
				w.From = append(w.From, Term{c.material.Oxide.Formula, "heat of burning", number(c.material.Oxide.Heat/1e6, "MJ per kg of oxygen"), c.material.Oxide.Source})
				w.out("Q", "twice the oxygen over w0, burnt", p.Show(watts(h.burning)))
			}
			switch {
			case c.nitrides(m):
				w.against("never an error: "+c.metal+" burns in nitrogen, too", "")
			case h.burning > 0:
				w.against("P0m, error above P + Q", p.Show(watts(h.laser+h.burning)))
			default:
				w.against("P0m, error above P", p.Show(watts(h.laser)))
			}
		}
		out = append(out, w)
	}
	return out
}

func workEnergyExcess(p *Pass) []Worked {
	c := p.cutting()
	times := p.Number()
	var out []Worked
	for _, m := range c.severing {
		area, ok := physics.EnergyPerArea(m.power, c.thickness, m.speed)
		if len(m.suspects("speed", "power", "duty", "pressure")) == 0 || !ok || !c.knows {
			continue
		}
		w := Worked{Block: m.path}
		p.putPlate(&w)
		p.putSpeed(&w, m)
		p.putPower(&w, m)
		if m.mean && len(m.suspects("speed", "power", "duty")) > 0 {
			w.out("J", "P / (t * v)", number(area/1e6, "J/mm2"))
			w.against("J, warning above", number(c.mostPerArea(m, times)/1e6, "J/mm2"))
		}
		if share, ok := c.burnt(m); ok && c.thickness >= thickPlate && m.own.Pressure.Set() {
			p.oxygenWork(&w, m, share)
			w.against("x, warning above", percentText(mostOxygenOf(m, times)))
		}
		out = append(out, w)
	}
	return out
}

// oxygenWork is the oxygen over the kerf against what burns all of its iron. The width of the kerf is in both.
func (p *Pass) oxygenWork(w *Worked, m *moment, share float64) {
	c := p.cutting()
	p.putJet(w, m)
	flow, _ := c.flow(m, physics.UsualDischarge)
	w.From = append(w.From, Term{"Cd", "coefficient of discharge", digits(physics.UsualDischarge, 2), "trade judgement"},
		Term{"Y", "kg of oxygen per kg of metal, to " + c.material.Oxide.Formula, digits(c.material.Oxide.Oxygen, 4), c.material.Oxide.Source},
		Term{"rho", "density of " + c.material.Name, number(c.material.Density.Value, "kg/m3"), c.material.Density.Source})
	w.out("G", "Cd * pi/4 d^2 * p0 * Psi / sqrt(R T)", number(flow.Mass*1e3, "g/s"))
	w.out("x", "G * 4/(pi d) over rho * t * v * Y", percentText(share))
}

func workOxygenShort(p *Pass) []Worked {
	c := p.cutting()
	var out []Worked
	for _, m := range c.severing {
		share, ok := c.burnt(m)
		if !ok || len(m.suspects("pressure", "speed")) == 0 {
			continue
		}
		w := Worked{Block: m.path}
		p.putPlate(&w)
		p.putSpeed(&w, m)
		p.oxygenWork(&w, m, share)
		w.against("x, warning below", percentText(p.Limit().SI()))
		out = append(out, w)
	}
	return out
}

func workKerfBeam(p *Pass) []Worked {
	c := p.cutting()
	m := c.cut()
	low, high, ok := c.kerfRange(m)
	if !ok || c.kerf <= 0 || !c.condition.Severs() {
		return nil
	}
	w := Worked{Block: m.path}
	w.put(p, "w", "kerf", c.condition.Kerf.V.Value, "kerf")
	p.putPlate(&w)
	p.putBeam(&w, m)
	w.out("dmin", "least of D from z0 to z0 + t", p.Show(millimetres(low/narrowestKerf)))
	w.out("dmax", "greatest of D from z0 to z0 + t", p.Show(millimetres((high-0.3e-3)/2.5)))
	w.against("w, warning below 0.6 * dmin", p.Show(millimetres(low)))
	w.against("w, warning above 2.5 * dmax + 0.3 mm", p.Show(millimetres(high)))
	return []Worked{w}
}

func workBeamClips(p *Pass) []Worked {
	c := p.cutting()
	if !c.condition.Severs() {
		return nil
	}
	var out []Worked
	for _, m := range c.moments {
		width, ok := c.atTip(m)
		if m.kind == cornerBlock || !ok || m.power <= 0 || len(m.suspects("focus", "spot", "standoff")) == 0 {
			continue
		}
		if m.kind == pierceBlock && (p.Machine == nil || !p.Machine.Optics.V.FocusZero.Set()) {
			continue
		}
		w := Worked{Block: m.path}
		if m.stage != nil && m.stage.Standoff.Set() {
			w.put(p, "h", "standoff", m.stage.Standoff.V.Value, m.field("standoff"))
		} else {
			w.put(p, "h", "standoff", c.condition.Nozzle.V.Standoff.V.Value, "nozzle.standoff")
		}
		w.put(p, "d", "orifice", c.condition.Nozzle.V.Orifice.V.Value, "nozzle.orifice")
		p.putBeam(&w, m)
		formula := "D(h - z0)"
		if p.Machine != nil && p.Machine.Optics.V.FocusZero.V == "nozzle" {
			formula = "D(standoff of the cut - z0)"
		}
		w.out("D", formula+", at the tip", p.Show(millimetres(width)))
		w.against("D, warning above d", p.Show(c.condition.Nozzle.V.Orifice.V.Value))
		w.against("D, error above d / 0.8", p.Show(millimetres(c.orifice/surelyInside)))
		out = append(out, w)
	}
	return out
}

func workStandoff(p *Pass) []Worked {
	c := p.cutting()
	n := c.condition.Nozzle.V
	if !c.condition.Severs() || c.orifice <= 0 || c.standoff <= 0 {
		return nil
	}
	w := Worked{Block: "cut"}
	w.put(p, "h", "standoff", n.Standoff.V.Value, "nozzle.standoff")
	w.put(p, "d", "orifice", n.Orifice.V.Value, "nozzle.orifice")
	w.out("", "h / d", number(c.standoff/c.orifice, ""))
	w.against("h / d, warning above", number(p.Number(), ""))
	return []Worked{w}
}

func workPierce(p *Pass) []Worked {
	c := p.cutting()
	b, ok := c.pierceBalance()
	if !ok {
		return nil
	}
	w := Worked{Block: "pierce"}
	p.putPlate(&w)
	for _, m := range c.stages {
		w.put(p, "P0", "peak power", m.own.Power.V.Value, m.field("power"))
		if m.stage.EndPower.Set() {
			w.put(p, "P1", "power at the end", m.stage.EndPower.V.Value, m.field("end_power"))
		}
		if m.pulsed() && m.own.Duty.Set() {
			w.put(p, "q", "duty", m.own.Duty.V.Value, m.field("duty"))
		}
		w.put(p, "s", "time", m.stage.Time.V.Value, m.field("time"))
	}
	p.putSpot(&w, c.cut())
	p.constants(&w, false)
	narrow := narrowestKerf * narrowestKerf * b.Needed
	w.out("E", "sum of (P0 + P1)/2 * q * s, P1 = P0 where no ramp", number(b.Laser, "J"))
	w.out("E0", "rho * (cT + L) * pi/4 d0^2 * t, low constants", number(b.Needed, "J"))
	w.out("", "E / E0", number(b.Laser/b.Needed, "times"))
	w.against("E / E0, warning below", number(p.Number(), "times"))
	w.out("Q", "oxygen that gets in, burnt, up to all of the metal", number(b.Oxidation, "J"))
	w.out("", "E + Q", number(b.Laser+b.Oxidation, "J"))
	if c.pierceNitrides() {
		w.against("never an error: "+c.metal+" burns in nitrogen, too", "")
	} else {
		w.against("E + Q, error below 0.36 * E0 (a hole of 0.6 d0)", number(narrow, "J"))
	}
	return []Worked{w}
}

func workJet(p *Pass) []Worked {
	c := p.cutting()
	var out []Worked
	for _, m := range c.severing {
		if !m.own.Pressure.Set() || !m.fusion() {
			continue
		}
		w := Worked{Block: m.path}
		p.putJet(&w, m)
		if jet, ok := physics.JetOf(m.gas, m.supply, physics.Atmosphere); ok {
			w.out("Mach", "sqrt(2/(gamma-1) * ((p0/pa)^((gamma-1)/gamma) - 1))", number(jet.Mach, ""))
			w.From = append(w.From, Term{"Mach", "speed of the jet, once expanded", "isentropic", nozzleSource})
		}
		w.against("p, warning below", p.Show(p.Limit()))
		out = append(out, w)
	}
	return out
}

func workValve(p *Pass) []Worked {
	if p.Machine == nil {
		return nil
	}
	c := p.cutting()
	var out []Worked
	for _, m := range c.moments {
		supply, plumbed := p.Machine.Gas.Get(m.gasName)
		if !m.own.Pressure.Set() || !plumbed || m.supply <= physics.Atmosphere || m.own.Pressure.V.Above(supply.LinePressure.V) {
			continue
		}
		valve, line := valveOf(c, m)
		throat := c.throat(m)
		nozzle := physics.Nozzle{Diameter: throat, Discharge: physics.UsualDischarge}
		most, ok := valve.Flow(m.gas, line, m.supply, physics.Room)
		takes, ok2 := nozzle.Flow(m.gas, m.supply, physics.Atmosphere, physics.Room)
		usual, ok3 := valve.Holds(m.gas, line, nozzle, physics.Atmosphere, physics.Room)
		nozzle.Discharge = leastDischarge
		least, ok4 := valve.Holds(m.gas, line, nozzle, physics.Atmosphere, physics.Room)
		if !ok || !ok2 || !ok3 || !ok4 {
			continue
		}
		w := Worked{Block: m.path}
		member := "gas." + m.gasName + "."
		p.putJet(&w, m)
		w.put(p, "p1", "line", supply.LinePressure.V.Value, member+"line_pressure")
		w.put(p, "C", "conductance", supply.Valve.V.Conductance.V.Value, member+"valve.conductance")
		w.word("b", "critical ratio", supply.Valve.V.CriticalRatio.V.Text, member+"valve.critical_ratio")
		w.From = append(w.From, Term{"Cd", "coefficient of discharge", fmt.Sprintf("%g, %g at the least", physics.UsualDischarge, leastDischarge), "trade judgement"},
			Term{"G1", "flow of the valve", "C * rho0 * p1 * sqrt(1 - ((p/p1 - b)/(1 - b))^2)", valveSource},
			Term{"G2", "flow of the nozzle", "Cd * pi/4 d^2 * p0 * Psi / sqrt(R T)", nozzleSource})
		if throat < c.orifice {
			w.out("d", "sqrt(4 d h): the gap above the plate is narrower", p.Show(millimetres(throat)))
		}
		w.out("G1", "most that the valve passes at p", number(most.Mass*1e3, "g/s"))
		w.out("G2", "what the nozzle lets out at p", number(takes.Mass*1e3, "g/s"))
		w.out("held", "pressure at which G1 = G2", p.Show(bar(usual)))
		w.out("held0", "the same at the least Cd", p.Show(bar(least)))
		w.against("held, warning below 95 % of p", p.Show(bar(physics.Absolute(feedsNearly*physics.Gauge(m.supply)))))
		w.against("held0, error below 90 % of p", p.Show(bar(physics.Absolute(feedsNot*physics.Gauge(m.supply)))))
		out = append(out, w)
	}
	return out
}
