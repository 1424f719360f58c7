package lint

import (
	"math/big"

	"fettle/schema"
	"fettle/schema/quantity"
)

// The rules of the family material: do gas, plate and nozzle go together, and what has the operator to beware of.
var materialRules = []Rule{
	{
		Name: "gas-for-material", Severity: Warning, Scope: PerSet, Check: gasForMaterial,
		Title: "a gas that spoils the edge of this material",
		Why: "Air makes the edge of titanium and magnesium hard and brittle and may set it alight. Oxygen on aluminium leaves an oxide in the kerf that " +
			"melts at 2072 degC, the metal at 660. Nitrogen on titanium makes a hard nitride edge: a note, since it often does not matter. " +
			"Oxygen on copper, brass or stainless steel is practice.",
		Source: "melting points: CRC Handbook (from memory); the rest is trade judgement",
		Bad:    `set:material=aluminium; at gas`, Good: `set:material=stainless-steel`,
	},
	{
		Name: "nozzle-form-for-gas", Severity: Warning, Scope: PerRecipe, Check: nozzleForm, Limit: "3 mm", Of: quantity.DimLength,
		Title: "a single nozzle where the family burns with a double one",
		Why: "With oxygen on carbon steel the outer ring of a double nozzle keeps air out of a slow jet. From 3 mm on most tables use it. " +
			"Where the whole family has single nozzles nothing is said.",
		Source: "trade judgement",
		Bad:    `nozzle.form=single; nozzle.orifice=1.0 mm`, Good: `2mm:nozzle.form=single`,
	},
	{
		Name: "fire-risk", Severity: Error, Scope: PerSet | PerRecipe, Check: fireRisk, Limit: "23.5 %", Of: quantity.DimRatio,
		Title: "oxygen on a metal that burns in it",
		Why: "Titanium and magnesium burn in oxygen, and the fire does not stop at the kerf: plate, nozzle and dust in the filter go with it. " +
			"The limit is the share of oxygen by volume from which on an atmosphere counts as enriched.",
		Source: "23.5 %: 29 CFR 1910.146 (from memory)",
		Bad:    `set:material=titanium; at gas`, Good: `set:material=copper`,
	},
	{
		Name: "reflective", Severity: Warning, Scope: PerSet, Check: reflective, Limit: "5 um", Of: quantity.DimLength,
		Title: "a metal that throws the beam back",
		Why: "Copper and brass reflect most of the beam until they melt. At 1 um they are cut every day on sources that bear it: a note, to look whether " +
			"this one does. Above the limit of wavelength nearly nothing is taken up: a warning.",
		Source: "trade judgement",
		Bad:    `set:material=copper; machine:laser.wavelength=10.6 um; at material`, Good: `set:material=stainless-steel`,
	},
	{
		Name: "fume", Severity: Note, Scope: PerSet, Check: fume,
		Title: "fume that harms",
		Why: "Zinc coats and brass give zinc oxide (metal fume fever); stainless steel gives chromium VI and nickel. Extraction has to run, and filters are " +
			"changed with protection. It says no more than that.",
		Source: "trade judgement; local limits at the workplace hold",
		Bad:    `set:material=galvanized-steel; at material`, Good: `set:material=carbon-steel`,
	},
}

// airOxygen is the share of oxygen in dry air by volume (20.95 %, ISO 2533, from memory).
var airOxygen = big.NewRat(2095, 10000)

// oxygenIn is the share of oxygen by volume of a gas, and whether it is known.
func (p *Pass) oxygenIn(gas string) (quantity.Ratio, bool) {
	share := new(big.Rat)
	switch gas {
	case "oxygen":
		share.SetInt64(1)
	case "air":
		share.Set(airOxygen)
	case "nitrogen", "argon":
	default:
		if p.Library.Settings.Value == nil {
			return quantity.Ratio{}, false
		}
		mix, ok := p.Library.Settings.Value.Gases.Get(gas)
		if !ok {
			return quantity.Ratio{}, false
		}
		for _, part := range mix {
			switch part.Name {
			case "oxygen":
				share.Add(share, part.V.Rat())
			case "air":
				share.Add(share, new(big.Rat).Mul(part.V.Rat(), airOxygen))
			}
		}
	}
	v, err := quantity.FromRat(quantity.DimRatio, share, "%")
	if err != nil {
		return quantity.Ratio{}, false
	}
	return quantity.Typed[quantity.Ratio](v)
}

// severs reports whether any condition of the set cuts through.
func severs(set *schema.ConditionSet) bool {
	for i := range set.Conditions.V {
		if set.Conditions.V[i].Severs() {
			return true
		}
	}
	return false
}

func gasForMaterial(p *Pass) {
	oxygen, ok := p.oxygenIn(p.Gas)
	if !ok || !severs(p.Set) {
		return
	}
	share := oxygen.SI()
	at := At("gas", p.Set.Gas)
	switch p.Material {
	case "titanium", "magnesium":
		switch {
		case share > 0.235: // fire-risk
		case share > 0.05:
			p.Report(at, "%s on %s: its %s of oxygen makes a brittle edge and may set it alight", p.Gas, p.Material, oxygen).Help = "Argon is usual."
		case p.Material == "titanium" && p.Gas == "nitrogen":
			p.ReportAs(Note, at, "nitrogen on titanium makes a hard edge of nitride").Help = "Argon, where the edge is welded or bears load."
		}
	case "aluminium":
		if share > 0.5 {
			p.Report(at, "%s on aluminium: the oxide melts at 2072 degC and stays in the kerf", p.Gas).Help = "Nitrogen or air is usual."
		}
	}
}

func nozzleForm(p *Pass) {
	from, ok := quantity.Typed[quantity.Length](p.Limit())
	c := p.Recipe
	if !ok || !c.Severs() || p.Material != "carbon-steel" || p.Gas != "oxygen" || c.Nozzle.V.Form.V != "single" || c.Thickness.V.Below(from) {
		return
	}
	for _, r := range p.Family {
		if r.Nozzle.V.Form.V == "double" && !r.Thickness.V.Below(from) {
			p.Report(At("nozzle.form", c.Nozzle.V.Form), "a single nozzle on %s of carbon steel with oxygen, where %s has a double one; usual from %s on", c.Thickness.V, r.Thickness.V, from)
			return
		}
	}
}

func fireRisk(p *Pass) {
	if p.Material != "titanium" && p.Material != "magnesium" {
		return
	}
	most, _ := quantity.Typed[quantity.Ratio](p.Limit())
	judge := func(at Place, gas string) {
		if oxygen, ok := p.oxygenIn(gas); ok && oxygen.Above(most) {
			p.Report(at, "%s on %s: %s burns in %s oxygen, and the fire does not stop at the kerf (limit %s)", gas, p.Set.Material.V, p.Material, oxygen, most).
				Help = "Argon is usual. Keep its chips and dust apart from those of other metals."
		}
	}
	if p.Recipe == nil {
		judge(At("gas", p.Set.Gas), p.Gas)
		return
	}
	for _, b := range p.blocks() {
		if b.ownGas() {
			judge(At(b.field("gas"), b.stage.Gas), b.stage.Gas.V)
		}
	}
}

func reflective(p *Pass) {
	if p.Material != "copper" && p.Material != "brass" || p.Machine == nil {
		return
	}
	at := At("material", p.Set.Material)
	wavelength := p.Machine.Laser.V.Wavelength
	most, _ := quantity.Typed[quantity.Length](p.Limit())
	if p.Needs("laser.wavelength", wavelength.Set()) && wavelength.V.Above(most) {
		p.Report(at, "%s takes up next to nothing of a beam of %s (limit %s)", p.Material, wavelength.V.Text(), most.Text()).Help = "It is cut with beams of about 1 um."
		return
	}
	p.ReportAs(Note, at, "%s throws most of the beam back until it melts", p.Material).
		Help = "Make sure that the source bears back-reflection, and break off a pierce that does not come through."
}

func fume(p *Pass) {
	what := map[string]string{"galvanized-steel": "zinc oxide", "brass": "zinc oxide", "stainless-steel": "chromium VI and nickel"}[p.Material]
	if what != "" {
		p.Report(At("material", p.Set.Material), "cutting %s gives fume of %s", p.Material, what).Help = "Extraction on; change filters with protection, by the rules of the site."
	}
}
