package main

import (
	"slices"

	"fettle/schema"
	"fettle/schema/quantity"
)

// cautions are the short cautions for cutting a condition, in the order in which they matter. They replace nothing: the machine
// maker's instructions, local rules and whoever is licensed to say so come first.
func cautions(lib *schema.Library, v *schema.Values) []string {
	base, _ := lib.BaseMaterial(v.Material.V)
	has := func(gas string) bool {
		if v.Gas.V == gas || slices.ContainsFunc(v.Composition, func(p schema.Row[quantity.Ratio]) bool { return p.Name == gas }) {
			return true
		}
		return slices.ContainsFunc(v.Pierce.V, func(s schema.Stage) bool { return s.Gas.V == gas })
	}
	wavelength := ""
	if m := lib.Machine(v.Machine.V); m != nil && m.Laser.V.Wavelength.Set() {
		wavelength = " of " + m.Laser.V.Wavelength.V.Text()
	}
	out := []string{"Class 4 laser beam: cut with the enclosure shut and its interlocks working. Eyewear for the wavelength" + wavelength + " where a beam could come out."}
	add := func(when bool, text string) {
		if when {
			out = append(out, text)
		}
	}
	add(base == "copper" || base == "brass" || base == "aluminium", "Bright metal throws the beam back: ask whether this source bears it, and stop at the first alarm of it.")
	add(has("oxygen"), "Oxygen feeds fire: fittings free of oil and grease, no leak, clothes aired. Know where the extinguisher is and how the line is shut.")
	add(has("nitrogen") || has("argon"), "Nitrogen and argon take the air away unseen: keep the room aired, mind pits and closed rooms.")
	add(has("hydrogen"), "Hydrogen burns and leaks easily: no leak, no flame near by.")
	add(true, "Gas under pressure: shut and vent a line before it is opened.")
	add(base == "galvanized-steel" || base == "brass", "Zinc fume: extraction on before the first cut.")
	add(base == "stainless-steel", "Fume with chromium VI and nickel: extraction on before the first cut.")
	add(base == "carbon-steel" || base == "copper" || base == "titanium", "Fume: extraction on before the first cut. Film of PVC gives acid fume: take it off.")
	add(base == "aluminium" || base == "titanium" || base == "magnesium", "Dust of light metal burns and may explode: never into a filter that holds steel dust.")
	add(true, "Hot plate, slats and nozzle. Take the nozzle's temperature with a contact thermometer, beam off and head parked; never by hand on a live machine.")
	add(true, "Stop where the cut is lost, glows on, or throws sparks up. The machine maker's instructions and local rules come first; this sheet releases no part.")
	return out
}
