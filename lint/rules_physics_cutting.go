package lint

import (
	"slices"

	"fettle/lint/physics"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A cutting is a recipe on its machine in SI units: what the rules of physics, the figures and the effects work with. A number that
// the files do not say, or that cannot be one, is 0; the functions of package physics then have no answer and the rule says nothing.
type cutting struct {
	condition *schema.Condition
	machine   *schema.Machine // nil where there is no profile
	metal     string          // the known material that the plate is judged as; "" where it is not known
	material  physics.Material
	knows     bool // the material has constants
	thickness float64
	kerf      float64 // as stated
	orifice   float64
	standoff  float64
	moments   []*moment // all of them, in the order of the file
	severing  []*moment // those that cut through: the cut, the lead-in, small contours; none where the process does not sever
	stages    []*moment // of the pierce
}

// A moment is one block of a recipe in SI units.
type moment struct {
	*block
	gasName  string
	gas      physics.Gas
	knowsGas bool
	power    float64 // mean over a pulse; the peak where the duty is not said
	mean     bool    // power is known to be the mean
	speed    float64
	supply   float64 // absolute pressure at the nozzle
	focus    float64
	focused  bool         // a focus is said
	beam     physics.Beam // Waist or Product 0 where not known
	tip      float64      // from the upper surface to the tip of the nozzle
}

// cutting is the one of the condition, kept as its blocks are.
func (p *Pass) cutting() *cutting {
	p.blocks()
	s := &p.state.condition
	if !s.cuts {
		s.cuts = true
		s.cut(p.Library, p.Machine, p.Recipe.Condition, p.Set.Material.V, p.Gas)
	}
	return &s.cutting
}

// newCutting is the one of a condition by itself.
func newCutting(lib *schema.Library, machine *schema.Machine, condition *schema.Condition, material, gas string) *cutting {
	s := &blocked{}
	s.read(condition)
	s.cut(lib, machine, condition, material, gas)
	return &s.cutting
}

// cut makes the cutting of the condition that was read.
func (s *blocked) cut(lib *schema.Library, machine *schema.Machine, condition *schema.Condition, material, gas string) {
	c := &s.cutting
	*c = cutting{condition: condition, machine: machine, thickness: condition.Thickness.V.SI(), kerf: max(0, condition.Kerf.V.SI()),
		orifice: condition.Nozzle.V.Orifice.V.SI(), standoff: condition.Nozzle.V.Standoff.V.SI()}
	c.metal, _ = lib.BaseMaterial(material)
	c.material, c.knows = physics.MaterialNamed(c.metal)
	var waist, product float64
	if machine != nil {
		laser, optics := &machine.Laser.V, &machine.Optics.V
		waist, _ = physics.Spot(laser.CoreDiameter.V.SI(), optics.FocalLength.V.SI(), optics.Collimation.V.SI())
		product = laser.BeamParameterProduct.V.SI()
	}
	n := len(s.blocks)
	s.lists, s.moments = slices.Grow(s.lists[:0], 3*n)[:3*n], slices.Grow(s.moments[:0], n)[:n]
	c.moments, c.severing, c.stages = s.lists[:0:n], s.lists[n:n:2*n], s.lists[2*n:2*n]
	for i, b := range s.blocks {
		m := &s.moments[i]
		*m = moment{block: b, gasName: gas, speed: b.whole.Speed.V.SI(), focus: b.whole.Focus.V.SI(), focused: b.whole.Focus.Set(),
			beam: physics.Beam{Waist: waist, Product: product}, tip: c.standoff}
		m.power, m.mean = meanPower(b)
		if b.ownGas() {
			m.gasName = b.stage.Gas.V
		}
		if n := len(c.moments); n > 0 && c.moments[n-1].gasName == m.gasName {
			m.gas, m.knowsGas = c.moments[n-1].gas, c.moments[n-1].knowsGas
		} else {
			m.gas, m.knowsGas = gasNamed(lib, m.gasName)
		}
		if pressure := b.whole.Pressure; pressure.Set() && pressure.V.Sign() >= 0 {
			m.supply = physics.Absolute(pressure.V.SI())
		}
		if b.whole.Spot.Set() {
			m.beam.Waist = max(0, b.whole.Spot.V.SI())
		}
		if b.stage != nil && b.stage.Standoff.Set() {
			m.tip = b.stage.Standoff.V.SI()
		}
		c.moments = append(c.moments, m)
		switch {
		case b.kind == pierceBlock:
			c.stages = append(c.stages, m)
		case b.kind != cornerBlock && condition.Severs():
			c.severing = append(c.severing, m)
		}
	}
}

// meanPower is the power over a pulse, and whether it is known to be the mean: without a duty the peak is all that is said.
func meanPower(b *block) (float64, bool) {
	peak := b.whole.Power.V.SI()
	if !b.pulsed() {
		return max(0, peak), b.whole.Power.Set()
	}
	if !b.whole.Duty.Set() {
		return max(0, peak), false
	}
	return physics.MeanPower(peak, b.whole.Duty.V.SI())
}

// gasNamed returns a gas that is known by itself, or a mix of the settings.
func gasNamed(lib *schema.Library, name string) (physics.Gas, bool) {
	if lib.Settings.Value != nil {
		if mix, ok := lib.Settings.Value.Gases.Get(name); ok {
			return mixOf(mix)
		}
	}
	if !slices.Contains(schema.Gases, name) {
		return physics.Gas{}, false
	}
	return physics.GasNamed(name)
}

func mixOf(mix schema.Table[quantity.Ratio]) (physics.Gas, bool) {
	shares := make(map[string]float64, len(mix))
	for _, part := range mix {
		shares[part.Name] += part.V.SI()
	}
	return physics.Mix(shares)
}

// cut is the cut itself.
func (c *cutting) cut() *moment { return c.moments[0] }

// iron reports whether the plate burns in oxygen as steel does, so that the oxygen brings most of the heat.
func (c *cutting) iron() bool { return c.metal == "carbon-steel" || c.metal == "galvanized-steel" }

// burns reports whether the moment is a cut that lives on the burning of iron.
func (c *cutting) burns(m *moment) bool { return c.iron() && m.knowsGas && m.gas.Oxygen >= 0.5 }

// nitrides reports whether the plate may take heat from the nitrogen of the gas, which no balance here counts.
func (c *cutting) nitrides(m *moment) bool {
	return (c.metal == "titanium" || c.metal == "magnesium") && m.gasName != "argon"
}

// flow is what passes the orifice. discharge is its coefficient.
func (c *cutting) flow(m *moment, discharge float64) (physics.Flow, bool) {
	if !m.knowsGas {
		return physics.Flow{}, false
	}
	return physics.Nozzle{Diameter: c.orifice, Discharge: discharge}.Flow(m.gas, m.supply, physics.Atmosphere, physics.Room)
}

// fromTip is the distance from the focus to the tip of the nozzle. Where the focus is counted from the plate it stays when the head
// rises; where it moves with the nozzle it is as it is at the standoff of the cut.
func (c *cutting) fromTip(m *moment) float64 {
	if c.machine != nil && c.machine.Optics.V.FocusZero.V == "nozzle" {
		return c.standoff - m.focus
	}
	return m.tip - m.focus
}

// needsWaist asks for what gives the spot of the optics. A recipe that says its own spot needs none of it.
func (p *Pass) needsWaist(m *moment) bool {
	if m.whole.Spot.Set() {
		return m.beam.Waist > 0
	}
	if p.Machine == nil {
		return false
	}
	core := p.Needs("laser.core_diameter", p.Machine.Laser.V.CoreDiameter.Set())
	focal := p.Needs("head.focal_length", p.Machine.Optics.V.FocalLength.Set())
	return p.Needs("head.collimation", p.Machine.Optics.V.Collimation.Set()) && core && focal && m.beam.Waist > 0
}

// needsBeam asks for what gives the beam at any height.
func (p *Pass) needsBeam(m *moment) bool {
	waist := p.needsWaist(m)
	if p.Machine == nil || !p.Needs("laser.beam_parameter_product", p.Machine.Laser.V.BeamParameterProduct.Set()) {
		return false
	}
	return waist && m.beam.Product > 0
}
