package lint

import (
	"slices"
	"strings"

	"fettle/schema"
	"fettle/schema/quantity"
)

// largeStep compares with the last approved recipe, so that several steps without a decision between them count as one.
func largeStep(p *Pass) {
	c := p.Change
	from := c.Approved
	if from == nil {
		from = c.Before
	}
	if c.TrialCovers || from == nil || c.After == nil {
		return
	}
	share, _ := quantity.Typed[quantity.Ratio](p.Limit())
	sameStages := len(from.Pierce.V) == len(c.After.Pierce.V)
	for _, d := range Differences(from, c.After) {
		if strings.HasPrefix(d.Path, "pierce[") && !sameStages || d.Old.Quantity.IsZero() || d.Old.Quantity.Dimension() != d.New.Quantity.Dimension() {
			continue
		}
		if d.Path == "nozzle.orifice" {
			p.largeNozzleStep(d)
			continue
		}
		usual, words, judged := usualStep(d, c.After.Thickness.V, share)
		if step := distance(d.Old.Quantity, d.New.Quantity); judged && step.Cmp(usual) > 0 {
			p.Report(p.spot(d.Path), "%s is a large step; usual is up to %s", p.step(d), words(p.Show)).
				Help = "Cut a ladder of smaller steps, or record the trial that the value comes from."
		}
	}
}

func distance(a, b quantity.Value) quantity.Value {
	if d := b.Sub(a); d.Sign() >= 0 {
		return d
	}
	return a.Sub(b)
}

// usualStep is the larger of a share of the old value and of a plain amount, and how to say it.
func usualStep(d FieldChange, thickness quantity.Length, share quantity.Ratio) (usual quantity.Value, words func(show func(quantity.Value) string) string, ok bool) {
	member := d.Path[strings.LastIndexByte(d.Path, '.')+1:]
	old := d.Old.Quantity
	if old.Sign() < 0 {
		old = old.Scale(-1, 1)
	}
	either := func(part quantity.Ratio, amount string) (quantity.Value, func(func(quantity.Value) string) string, bool) {
		relative, absolute := old.Times(part.Value), quantity.MustParse(old.Dimension(), amount)
		return larger(relative, absolute), func(show func(quantity.Value) string) string { return part.Text() + " or " + show(absolute) }, true
	}
	switch {
	case member == "pressure":
		return either(share, "0.05 bar")
	case member == "standoff":
		return either(percent("30 %"), "0.3 mm")
	case member == "time":
		return either(percent("50 %"), "0.1 s")
	case member == "focus":
		part, least := thickness.Times(percent("15 %")), quantity.MustParse(quantity.DimLength, "1 mm")
		return larger(part.Value, least), func(show func(quantity.Value) string) string { return show(least) + " or 0.15 of the thickness" }, true
	case old.Dimension() == quantity.DimPower, member == "speed":
		return old.Times(share.Value), func(func(quantity.Value) string) string { return share.Text() }, true
	case old.Dimension() == quantity.DimRatio:
		points := quantity.MustParse(quantity.DimRatio, "10 %")
		return points, func(func(quantity.Value) string) string { return "10 points" }, true
	}
	return quantity.Value{}, nil, false
}

func percent(text string) quantity.Ratio { return quantity.MustParseOf[quantity.Ratio](text) }

func larger(a, b quantity.Value) quantity.Value {
	if a.Cmp(b) > 0 {
		return a
	}
	return b
}

// largeNozzleStep counts sizes in the rack of the machine.
func (p *Pass) largeNozzleStep(d FieldChange) {
	if p.Machine == nil {
		return
	}
	var sizes []quantity.Value
	for _, n := range p.Machine.Optics.V.Nozzles.V {
		sizes = append(sizes, n.Orifice.V.Value)
	}
	low, high := d.Old.Quantity, d.New.Quantity
	if low.Cmp(high) > 0 {
		low, high = high, low
	}
	slices.SortFunc(sizes, quantity.Value.Cmp)
	sizes = slices.CompactFunc(sizes, quantity.Value.Equal)
	between := 0
	for _, size := range sizes {
		if size.Cmp(low) > 0 && size.Cmp(high) <= 0 {
			between++
		}
	}
	if between > 2 {
		p.Report(p.spot(d.Path), "%s is %d sizes of the rack at once; usual is up to two", p.step(d), between).Help = "Pressure, standoff and focus belong to the size: cut a trial first."
	}
}

// UsualStep is how far a value of a recipe usually goes in one step: the limit of the rule large-step in this library. It is false for
// what the rule does not judge.
func UsualStep(lib *schema.Library, r *schema.Recipe, path string) (quantity.Value, bool) {
	limit := percent("20 %")
	if set := lib.Settings.Value; set != nil {
		if own, ok := set.Rules.Get("large-step"); ok && own.Limit.Set() {
			if v, err := quantity.ParseOf[quantity.Ratio](own.Limit.V); err == nil && v.Sign() > 0 {
				limit = v
			}
		}
	}
	for _, f := range schema.Fields(r.Condition) {
		if f.Path == path && !f.Quantity.IsZero() {
			usual, _, ok := usualStep(FieldChange{Path: path, Old: f, New: f}, r.Thickness.V, limit)
			return usual, ok && usual.Sign() > 0
		}
	}
	return quantity.Value{}, false
}
