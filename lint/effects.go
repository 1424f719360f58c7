package lint

import (
	"math"
	"slices"

	"fettle/schema"
)

// decidedBy are the figures that a lead decides by, in the order of a card.
var decidedBy = []string{"energy-per-area", "energy-per-length", "melt-share", "gas-flow", "gas-per-metre", "beam-at-surface", "beam-at-orifice",
	"pierce-time", "pierce-energy", "cost-per-metre", "cost-per-pierce"}

// EffectsOf says what a change of a recipe does, on the machine as the library has it now: the figures that differ, before and after.
// Either side may be nil.
func EffectsOf(lib *schema.Library, before, after *schema.Values) []Effect {
	type at struct{ block, key string }
	var order []at
	byPlace := map[at]*Effect{}
	side := func(v *schema.Values, put func(e *Effect, value float64)) {
		if v == nil {
			return
		}
		for _, f := range Figures(lib, v) {
			if !slices.Contains(decidedBy, f.Key) {
				continue
			}
			place := at{f.Block, f.Key}
			e := byPlace[place]
			if e == nil {
				e = &Effect{Block: f.Block, Key: f.Key}
				byPlace[place] = e
				order = append(order, place)
			}
			e.Name, e.Unit = f.Name, f.Unit
			put(e, f.Value)
		}
	}
	side(before, func(e *Effect, value float64) { e.From = &value })
	side(after, func(e *Effect, value float64) { e.To = &value })
	var out []Effect
	for _, place := range order {
		e := byPlace[place]
		if cut := byPlace[at{"cut", place.key}]; place.block != "cut" && cut != nil && e.sameStep(cut) {
			continue // a lead-in that goes along with the cut
		}
		if e.differs() {
			out = append(out, *e)
		}
	}
	slices.SortStableFunc(out, func(a, b Effect) int { return slices.Index(decidedBy, a.Key) - slices.Index(decidedBy, b.Key) })
	return out
}

// sameStep reports whether two effects are by the same share.
func (e *Effect) sameStep(f *Effect) bool {
	p, ok := e.Percent()
	q, ok2 := f.Percent()
	return ok && ok2 && math.Abs(p-q) < 1e-6
}

// differs leaves out what is only another last digit.
func (e *Effect) differs() bool {
	if e.From == nil || e.To == nil {
		return e.From != e.To
	}
	return math.Abs(*e.To-*e.From) > 1e-6*math.Max(math.Abs(*e.From), math.Abs(*e.To))
}
