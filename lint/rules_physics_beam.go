package lint

import (
	"math"
	"strconv"

	"fettle/lint/physics"
)

// kerfRange is what kerf the beam can make in the plate, m.
func (c *cutting) kerfRange(m *moment) (low, high float64, ok bool) {
	if !m.focused {
		return 0, 0, false
	}
	span, ok := m.beam.Inside(m.focus, c.thickness)
	if !ok {
		return 0, 0, false
	}
	return narrowestKerf * span.Smallest, 2.5*span.Largest + 0.3e-3, true
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
	if c.kerf >= low && c.kerf <= high {
		return
	}
	suspects := append([]suspect{{At("kerf", kerf), kerf.V.Value}}, c.cut().suspects("focus", "spot")...)
	const help = "The kerf, the focus or the optics of the profile."
	switch {
	case c.kerf < low:
		p.accuse(Warning, suspects, help, "%s is below the %s that this beam makes at the least, being %s wide at its narrowest inside the plate: parts come out small", kerf.V, millimetres(low), millimetres(low/narrowestKerf))
	default:
		p.accuse(Warning, suspects, help, "%s is above the %s that this beam makes at the most with the focus at %s: parts come out large", kerf.V, millimetres(high), c.cut().whole.Focus.V)
	}
}

// atTip is the diameter of the beam at the tip of the nozzle, m.
func (c *cutting) atTip(m *moment) (float64, bool) {
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
	for _, m := range c.moments {
		switch {
		case m.kind == cornerBlock, !m.focused, m.power <= 0:
			continue
		case !m.own.Focus.Set() && !m.own.Spot.Set() && (m.stage == nil || !m.stage.Standoff.Set()):
			continue // all of it is the cut's
		case m.kind == pierceBlock && (p.Machine == nil || !p.Needs("head.focus_zero", p.Machine.Optics.V.FocusZero.Set())):
			continue
		case !p.needsBeam(m):
			continue
		}
		width, ok := c.atTip(m)
		if !ok || width <= c.orifice {
			continue
		}
		suspects := c.nozzle(m, m.suspects("focus", "spot", "standoff"), "orifice", "standoff")
		orifice := c.condition.Nozzle.V.Orifice.V
		const help = "A wider orifice, or the focus nearer to the tip."
		switch {
		case surelyInside*width > c.orifice:
			p.accuse(Error, suspects, help, "with the focus at %s the beam is %s wide at the tip and cannot pass the orifice of %s", m.whole.Focus.V, millimetres(width), orifice)
		default:
			p.accuse(Warning, suspects, help, "with the focus at %s the beam is %s wide at the tip and the orifice %s: its edge heats the nozzle", m.whole.Focus.V, millimetres(width), orifice)
		}
	}
}

// surelyInside is the part of the beam's diameter that is full of power whatever the profile: an orifice of that width stops a quarter
// of the power of a Gaussian beam and a third of one with a flat top, which no nozzle lives through.
const surelyInside = 0.8

func standoffOrifice(p *Pass) {
	c := p.cutting()
	n := c.condition.Nozzle.V
	if !c.condition.Severs() || c.orifice <= 0 || c.standoff <= 0 {
		return
	}
	if times := c.standoff / c.orifice; times > p.Number()*(1+1e-9) { // what sits on a border is on its good side, whatever the last digit
		p.accuse(Warning, c.nozzle(c.cut(), nil, "standoff", "orifice"), "", "%s is %s times the orifice of %s, and usual is up to %s: air mixes into the jet before it reaches the kerf", n.Standoff.V, digits(times, 2), n.Orifice.V, digits(p.Number(), 3))
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
	waist := c.cut().beam.Waist
	for _, m := range c.stages {
		if m.power > 0 && m.beam.Waist > 0 { // zoom optics may pierce with another spot
			waist = min(waist, m.beam.Waist)
		}
		s := physics.Stage{Power: m.own.Power.V.SI(), EndPower: m.own.Power.V.SI(), Duty: 1, Time: m.stage.Time.V.SI()}
		if m.stage.EndPower.Set() {
			s.EndPower = m.stage.EndPower.V.SI()
		}
		if m.pulsed() && m.own.Duty.Set() {
			s.Duty = m.own.Duty.V.SI()
		}
		if flow, ok := c.flow(m, 1); ok {
			s.Oxygen = besideTheStrip * flow.Mass * m.gas.OxygenMass()
		} else if m.gas.Oxygen > 0 || !m.knowsGas { // how much oxygen is not known: it may be all that the hole can take
			s.Oxygen = math.MaxFloat32
		}
		stages = append(stages, s)
	}
	return physics.Hole{Material: lowEnd(c.material), Diameter: waist, Thickness: c.thickness}.Pierce(stages)
}
