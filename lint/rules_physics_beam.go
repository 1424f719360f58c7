package lint

import (
	"math"
	"strconv"

	"fettle/lint/physics"
)

// kerfRange is what kerf the beam can make in the plate, m.
func (c *cutting) kerfRange(m moment) (low, high float64, ok bool) {
	if !m.focused {
		return 0, 0, false
	}
	span, ok := m.beam.Inside(m.focus, c.thickness)
	if !ok {
		return 0, 0, false
	}
	return 0.6 * span.Smallest, 2.5*span.Largest + 0.3e-3, true
}

func kerfBeam(p *Pass) {
	c := p.cutting()
	kerf := c.condition.Kerf
	if !c.condition.Severs() || c.kerf <= 0 || !p.needsBeam(c.cut()) {
		return
	}
	low, high, ok := c.kerfRange(c.cut())
	if !ok {
		return
	}
	switch at := At("kerf", kerf); {
	case c.kerf < low:
		p.Report(at, "%s is narrower than the beam makes it: at its narrowest inside the plate the beam is %s wide", kerf.V, millimetres(low/0.6)).Help = p.context("kerf", kerf.V.Value)
	case c.kerf > high:
		p.Report(at, "%s is wider than the beam makes it: with the focus at %s that is up to %s", kerf.V, c.cut().whole.Focus.V, millimetres(high)).Help = p.context("kerf", kerf.V.Value)
	}
}

// atTip is the diameter of the beam at the tip of the nozzle, m.
func (c *cutting) atTip(m moment) (float64, bool) {
	if !m.focused || c.orifice <= 0 {
		return 0, false
	}
	return m.beam.Diameter(c.fromTip(m))
}

func beamClips(p *Pass) {
	c := p.cutting()
	if !c.condition.Severs() || c.orifice <= 0 {
		return
	}
	for i, m := range c.moments {
		focus := m.own.Focus
		at := At(m.field("focus"), focus)
		switch {
		case m.kind == cornerBlock, !m.focused, m.power <= 0, i > 0 && !focus.Set() && !m.own.Spot.Set():
			continue
		case m.kind == pierceBlock && (p.Machine == nil || !p.Needs("head.focus_zero", p.Machine.Optics.V.FocusZero.Set())):
			continue
		case !p.needsBeam(m):
			continue
		}
		if !focus.Set() {
			at = At(m.field("spot"), m.own.Spot)
		}
		width, ok := c.atTip(m)
		if !ok {
			continue
		}
		orifice := c.condition.Nozzle.V.Orifice.V
		switch {
		case 0.8*width > c.orifice:
			p.Report(at, "with the focus at %s the beam is %s wide at the tip and cannot pass the orifice of %s", m.whole.Focus.V, millimetres(width), orifice).Help = p.clipHelp(at, m)
		case width > c.orifice:
			p.ReportAs(Warning, at, "with the focus at %s the beam is %s wide at the tip and the orifice %s: its edge heats the nozzle", m.whole.Focus.V, millimetres(width), orifice).Help = p.clipHelp(at, m)
		}
	}
}

func (p *Pass) clipHelp(at Place, m moment) string {
	if at.Field == m.field("focus") {
		if help := p.context(at.Field, m.own.Focus.V.Value); help != "" {
			return help
		}
	}
	return "A wider orifice, or the focus nearer to the tip."
}

func standoffOrifice(p *Pass) {
	c := p.cutting()
	n := c.condition.Nozzle.V
	if !c.condition.Severs() || c.orifice <= 0 || c.standoff <= 0 {
		return
	}
	if times := c.standoff / c.orifice; times > p.Number() {
		p.Report(At("nozzle.standoff", n.Standoff), "%s is %s times the orifice of %s, and usual is up to %s: air mixes into the jet before it reaches the kerf", n.Standoff.V, digits(times, 2), n.Orifice.V, digits(p.Number(), 3)).
			Help = p.context("nozzle.standoff", n.Standoff.V.Value)
	}
}

// digits writes a number with so many digits, and no exponent.
func digits(x float64, n int) string {
	if x == 0 || math.IsNaN(x) || math.IsInf(x, 0) {
		return "0"
	}
	if whole := int(math.Floor(math.Log10(math.Abs(x)))) + 1; whole > n { // 1234 with three digits is 1230
		step := math.Pow10(whole - n)
		return strconv.FormatFloat(math.Round(x/step)*step, 'f', 0, 64)
	}
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', n, 64), 64)
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}

// pierceBalance is what the pierce gets against what the narrowest hole takes, by the low ends of the constants and with all oxygen of
// the jet in the hole. It is false where a stage does not say enough.
func (c *cutting) pierceBalance() (physics.PierceBalance, bool) {
	if !c.knows || !pierces(c.condition) {
		return physics.PierceBalance{}, false
	}
	stages := make([]physics.Stage, 0, len(c.stages))
	for _, m := range c.stages {
		s := physics.Stage{Power: m.own.Power.V.SI(), EndPower: m.own.Power.V.SI(), Duty: 1, Time: m.stage.Time.V.SI()}
		if m.stage.EndPower.Set() {
			s.EndPower = m.stage.EndPower.V.SI()
		}
		if m.pulsed() && m.own.Duty.Set() {
			s.Duty = m.own.Duty.V.SI()
		}
		if flow, ok := c.flow(m, 1); ok {
			s.Oxygen = flow.Mass * m.gas.OxygenMass()
		} else if m.gas.Oxygen > 0 || !m.knowsGas { // how much oxygen is not known: it may be all that the hole can take
			s.Oxygen = math.MaxFloat32
		}
		stages = append(stages, s)
	}
	return physics.Hole{Material: lowEnd(c.material), Diameter: c.cut().beam.Waist, Thickness: c.thickness}.Pierce(stages)
}
