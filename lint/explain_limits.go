package lint

import (
	"fmt"
	"strings"

	"fettle/schema"
	"fettle/schema/quantity"
)

// Rules that compare a value with a limit as it stands have nothing to calculate; what is compared is written down all the same.

// workLimits returns what writes down the comparison of a rule, nil where there is none that one condition could show.
func workLimits(rule string) func(*Pass) []Worked {
	switch rule {
	case "power-over-rating":
		return limitOf("laser.rated_power", "at most", func(p *Pass) quantity.Value { return p.Machine.Laser.V.RatedPower.V.Value }, powersOf)
	case "power-below-minimum":
		return limitOf("laser.min_power", "at least", func(p *Pass) quantity.Value { return p.Machine.Laser.V.MinPower.V.Value }, powersOf)
	case "speed-over-axes":
		return limitOf("axes.max_speed", "at most", func(p *Pass) quantity.Value { return p.Machine.Axes.V.MaxSpeed.V.Value },
			func(b *block) []Term { return valueTerms(b, "speed", b.own.Speed.V.Value) })
	case "frequency-over-limit":
		return limitOf("laser.max_frequency", "at most", func(p *Pass) quantity.Value { return p.Machine.Laser.V.MaxFrequency.V.Value },
			func(b *block) []Term { return valueTerms(b, "frequency", b.own.Frequency.V.Value) })
	case "focus-out-of-travel":
		return rangeWork("head.focus_range", func(p *Pass) schema.Member[[]quantity.Length] { return p.Machine.Optics.V.FocusRange },
			func(b *block) []Term { return valueTerms(b, "focus", b.own.Focus.V.Value) }, false)
	case "standoff-out-of-range":
		return rangeWork("head.standoff_range", func(p *Pass) schema.Member[[]quantity.Length] { return p.Machine.Optics.V.StandoffRange },
			func(b *block) []Term {
				if b.stage == nil {
					return nil
				}
				return valueTerms(b, "standoff", b.stage.Standoff.V.Value)
			}, true)
	case "pressure-over-line":
		return workLine
	case "nozzle-not-fitted":
		return workRack
	case "gas-not-plumbed":
		return workGas
	case "duty-mode":
		return workDuty
	case "reflective":
		return func(p *Pass) []Worked {
			w := Worked{}
			w.word("", "material", p.Set.Material.V, "material of the set")
			if p.Machine != nil {
				w.word("", "wavelength", p.Machine.Laser.V.Wavelength.V.Text(), "laser.wavelength")
			}
			w.against("wavelength, warning above", p.Limit().Text())
			return []Worked{w}
		}
	case "fire-risk", "gas-for-material", "fume":
		return workGasAndPlate
	case "nozzle-form-for-gas":
		return func(p *Pass) []Worked {
			w := Worked{}
			w.word("", "nozzle", p.Recipe.Nozzle.V.Form.V, "nozzle.form")
			w.put(p, "", "thickness", p.Recipe.Thickness.V.Value, "thickness")
			w.against("a single nozzle with oxygen, warning from", p.Show(p.Limit()))
			return []Worked{w}
		}
	}
	return nil
}

func valueTerms(b *block, name string, v quantity.Value) []Term {
	if v.IsZero() {
		return nil
	}
	return []Term{{Is: name, Value: v.Text(), Source: b.field(name)}}
}

func powersOf(b *block) []Term {
	var out []Term
	for power := range b.powers() {
		out = append(out, Term{Is: "power", Value: power.V.Text(), Source: power.field()})
	}
	if b.pulsed() && b.own.Duty.Set() && b.whole.Power.Set() {
		out = append(out, Term{Is: "power, mean of the pulses", Value: b.whole.Power.V.Times(b.whole.Duty.V).Text(), Source: b.field("duty")})
	}
	return out
}

// limitOf compares values of every block with one member of the machine.
func limitOf(member, word string, limit func(*Pass) quantity.Value, values func(*block) []Term) func(*Pass) []Worked {
	return func(p *Pass) []Worked {
		if p.Machine == nil || limit(p).IsZero() {
			return nil
		}
		var w Worked
		for _, b := range p.blocks() {
			w.Put = append(w.Put, values(b)...)
		}
		w.against(word+", by "+member, p.Show(limit(p)))
		return []Worked{w}
	}
}

func rangeWork(member string, of func(*Pass) schema.Member[[]quantity.Length], values func(*block) []Term, nozzle bool) func(*Pass) []Worked {
	return func(p *Pass) []Worked {
		if p.Machine == nil {
			return nil
		}
		low, high, ok := rangeOf(of(p))
		if !ok {
			return nil
		}
		var w Worked
		if nozzle {
			w.put(p, "", "standoff", p.Recipe.Nozzle.V.Standoff.V.Value, "nozzle.standoff")
		}
		for _, b := range p.blocks() {
			w.Put = append(w.Put, values(b)...)
		}
		w.against("from, by "+member, p.Show(low.Value))
		w.against("to, by "+member, p.Show(high.Value))
		return []Worked{w}
	}
}

func workLine(p *Pass) []Worked {
	if p.Machine == nil {
		return nil
	}
	var out []Worked
	for _, b := range p.blocks() {
		gas := p.gasOf(b)
		supply, ok := p.Machine.Gas.Get(gas)
		if !b.own.Pressure.Set() || !ok {
			continue
		}
		w := Worked{Block: b.path}
		w.put(p, "", "pressure", b.own.Pressure.V.Value, b.field("pressure"))
		if supply.LinePressure.Set() {
			w.against("at most, by gas."+gas+".line_pressure", p.Show(supply.LinePressure.V.Value))
		}
		if most := supply.Valve.V.MaxPressure; most.Set() {
			w.against("at most, by gas."+gas+".valve.max_pressure", p.Show(most.V.Value))
		}
		out = append(out, w)
	}
	return out
}

func workRack(p *Pass) []Worked {
	if p.Machine == nil {
		return nil
	}
	var w Worked
	w.put(p, "", p.Recipe.Nozzle.V.Form.V+" nozzle", p.Recipe.Nozzle.V.Orifice.V.Value, "nozzle.orifice")
	var rack []string
	for _, n := range p.Machine.Optics.V.Nozzles.V {
		rack = append(rack, n.Form.V+" "+p.Show(n.Orifice.V.Value))
	}
	w.against("in the rack, by head.nozzles", strings.Join(rack, ", "))
	return []Worked{w}
}

func workGas(p *Pass) []Worked {
	if p.Machine == nil {
		return nil
	}
	var w Worked
	w.word("", "gas", p.Gas, "gas of the set")
	for _, b := range p.blocks() {
		if b.ownGas() {
			w.word("", "gas", b.stage.Gas.V, b.field("gas"))
		}
	}
	var has []string
	for _, s := range p.Machine.Gas {
		has = append(has, s.Name)
	}
	w.against("plumbed, by gas of the profile", strings.Join(has, ", "))
	return []Worked{w}
}

func workDuty(p *Pass) []Worked {
	var out []Worked
	for _, b := range p.blocks() {
		if !b.own.Duty.Set() && !b.own.Mode.Set() {
			continue
		}
		w := Worked{Block: b.path}
		if b.whole.Mode.Set() {
			w.word("", "mode", b.whole.Mode.V, b.field("mode"))
		}
		w.put(p, "", "duty", b.whole.Duty.V.Value, b.field("duty"))
		w.put(p, "", "frequency", b.whole.Frequency.V.Value, b.field("frequency"))
		w.against("duty", "above 0 % up to 100 %, below 100 % only with pulses")
		out = append(out, w)
	}
	return out
}

func workGasAndPlate(p *Pass) []Worked {
	w := Worked{}
	w.word("", "material", p.Set.Material.V, "material of the set")
	if p.Material != "" && p.Material != p.Set.Material.V {
		w.word("", "judged as", p.Material, "materials of fettle.json")
	}
	w.word("", "gas", p.Gas, "gas of the set")
	if gas, ok := gasNamed(p.Library, p.Gas); ok {
		w.out("", "oxygen by volume", fmt.Sprintf("%s %%", digits(100*gas.Oxygen, 3)))
	}
	if p.rule.Limit != "" {
		w.against("oxygen, from", p.Show(p.Limit()))
	}
	return []Worked{w}
}
