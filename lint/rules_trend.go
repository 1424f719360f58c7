package lint

import (
	"fmt"
	"strconv"

	"fettle/schema/quantity"
)

const trendSource = "isotonic order and the fewest points that break it, and prediction of each point by the others (lint/trend); limits are trade judgement, calibrated below"

// The rules of the family trend: does a value run on with those of the other thicknesses. They are judged on the family of a set,
// variant and process, name the odd one and not its neighbours, and are never errors.
var trendRules = []Rule{
	{
		Name: "speed-trend", Severity: Warning, Scope: PerFamily, Check: verdictsOf("speed-trend"), Limit: "5 %", Of: quantity.DimRatio,
		Title: "a speed against the run of its family",
		Why: "Thicker plate is cut more slowly on one machine with one gas, whatever else changes. A nozzle or a power may shift the level, not the direction. Equal speeds are fine, and what the axes " +
			"can do at most. The one that is named is the one that has to move for the others to be in order; where two would do, the one that lies off the curve. The limit is how much it has to move.",
		Source: trendSource,
		Bad:    `cut.speed=3.9 m/min`, Good: `cut.speed=3.1 m/min`,
	},
	{
		Name: "power-trend", Severity: Warning, Scope: PerFamily, Check: verdictsOf("power-trend"), Limit: "10 %", Of: quantity.DimRatio,
		Title: "a power against the run of its family",
		Why: "Thicker plate takes more power until the rating is reached, and then all of it. Pulsed and continuous cuts have curves of their own. Equal powers and a plateau at the rating are fine. " +
			"The limit is how much it has to move.",
		Source: trendSource,
		Bad:    `10mm:cut.power=2.4 kW`, Good: `10mm:cut.power=2.8 kW`,
	},
	{
		Name: "pressure-trend", Severity: Warning, Scope: PerFamily, Check: verdictsOf("pressure-trend"), Limit: "10 %", Of: quantity.DimRatio,
		Title: "a pressure against the run of its family",
		Why: "Through one nozzle an inert gas needs more pressure for thicker plate. Oxygen has no direction of its own, so it is only held to what the settings declare or the rest of the family " +
			"agrees on. A change of nozzle starts the curve anew. The limit is how much it has to move.",
		Source: trendSource,
		Bad:    `settings:trend={"bay-2/carbon-steel/oxygen": {"pressure": "rising"}}; 3mm:cut.pressure=0.31 bar; 4mm:cut.pressure=0.26 bar; at cut.pressure`, Good: `3mm:cut.pressure=0.28 bar`,
	},
	{
		Name: "pierce-trend", Severity: Warning, Scope: PerFamily, Check: verdictsOf("pierce-trend"), Limit: "20 %", Of: quantity.DimRatio,
		Title:  "a pierce time against the run of its family",
		Why:    "Thicker plate takes longer to pierce. The time of all stages is compared, and only between pierces of as many stages of the same kind. The limit is how much it has to move.",
		Source: trendSource,
		Bad:    `pierce[0].time=0.06 s`, Good: `pierce[0].time=0.4 s`,
	},
	{
		Name: "kerf-trend", Severity: Warning, Scope: PerFamily, Check: verdictsOf("kerf-trend"), Limit: "10 %", Of: quantity.DimRatio,
		Title:  "a kerf against the run of its family",
		Why:    "The kerf of thicker plate is no narrower. The path is shifted by half of it, so a slip puts every part off its size. The limit is how much it has to move.",
		Source: trendSource,
		Bad:    `8mm:kerf=0.59 mm`, Good: `8mm:kerf=0.35 mm`,
	},
	{
		Name: "orifice-trend", Severity: Note, Scope: PerFamily, Check: verdictsOf("orifice-trend"),
		Title:  "a smaller nozzle for thicker plate",
		Why:    "Nozzles mostly grow with the plate. A smaller one may be meant; it is only said.",
		Source: "trade judgement",
		Bad:    `10mm:nozzle.orifice=1.0 mm; 10mm:nozzle.standoff=1 mm; at nozzle.orifice`, Good: `10mm:nozzle.orifice=1.2 mm; 10mm:nozzle.standoff=1 mm`,
	},
	{
		Name: "focus-trend", Severity: Warning, Scope: PerFamily, Check: verdictsOf("focus-trend"), Limit: "1 mm", Of: quantity.DimLength,
		Title: "a focus against the run of its family",
		Why: "Which way the focus goes with thickness depends on gas, nozzle and optics, so only the direction that the settings declare or the family agrees on counts, apart for focus above and below " +
			"the plate. The limit is how far it has to move; 0.15 of the thickness where that is more.",
		Source: trendSource,
		Bad:    `settings:trend={"bay-2/carbon-steel/oxygen": {"focus": "rising"}}; 10mm:cut.focus=1.5 mm; at cut.focus`, Good: `10mm:cut.focus=3 mm`,
	},
	{
		Name: "speed-off-curve", Severity: Warning, Scope: PerFamily, Check: verdictsOf("speed-off-curve"), Limit: "15 %", Of: quantity.DimRatio,
		Title: "a speed off the curve of its family",
		Why: "In order, but farther from what the other thicknesses give than they scatter themselves and than the limit. From four conditions on. Silent where the power is off to the same side and the speed for each watt " +
			"is in line, and at what the axes can do.",
		Source: trendSource,
		Bad:    `2mm:cut.speed=8.5 m/min`, Good: `2mm:cut.speed=4.6 m/min`,
	},
	{
		Name: "pressure-off-curve", Severity: Warning, Scope: PerFamily, Check: verdictsOf("pressure-off-curve"), Limit: "20 %", Of: quantity.DimRatio,
		Title: "a pressure off the curve of its family",
		Why: "Farther from what the other thicknesses give than they scatter themselves and than the limit. Between nozzles a step is expected, for oxygen a large one. Equal neighbours are fine. From four " +
			"conditions on.",
		Source: trendSource,
		Bad:    `2mm:cut.pressure=0.1 bar`, Good: `2mm:cut.pressure=0.19 bar`,
	},
	{
		Name: "power-off-curve", Severity: Warning, Scope: PerFamily, Check: verdictsOf("power-off-curve"), Limit: "25 %", Of: quantity.DimRatio,
		Title:  "a power off the curve of its family",
		Why:    "Farther from what the other thicknesses give than they scatter themselves and than the limit. Equal neighbours and the rating are fine. From four conditions on.",
		Source: trendSource,
		Bad:    `2mm:cut.power=650 W`, Good: `2mm:cut.power=1.7 kW`,
	},
	{
		Name: "thickness-gap", Severity: Note, Scope: PerFamily, Check: thicknessGap, Limit: "2",
		Title:  "a wide gap between two thicknesses",
		Why:    "Between two thicknesses that lie farther apart than the limit the curve is a guess, and the trends cannot tell a slip. From three conditions on.",
		Source: "trade judgement",
		Bad:    `4mm:process=mark; process=mark; at thickness`, Good: `2mm:thickness=1.5 mm`,
	},
}

// verdictsOf reports what the family says by the name of one rule.
func verdictsOf(rule string) func(*Pass) {
	return func(p *Pass) {
		for _, v := range p.view().verdicts {
			if v.rule == rule {
				p.say(v)
			}
		}
	}
}

// say reports a verdict. It is the same as one in another snapshot where it is about the same value: what the others give moves
// with every edit of theirs.
func (p *Pass) say(v verdict) {
	f := p.On(v.recipe).Report(v.at, "%s", v.message)
	f.Help = v.help
	f.mark = v.rule + "\x00" + v.recipe.ID.String() + "\x00" + v.at.Field + "\x00" + v.value
}

func thicknessGap(p *Pass) {
	limit := p.Number()
	v := p.view()
	for i := 1; i < len(v.family) && len(v.family) >= 3; i++ {
		thin, thick := v.family[i-1], v.family[i]
		if ratio := thick.Thickness.V.SI() / thin.Thickness.V.SI(); ratio > limit*(1+1e-9) {
			f := p.On(thick).Report(At("thickness", thick.Thickness), "nothing between %s and %s: one plate is %s times as thick (limit %s)", thin.Thickness.V, thick.Thickness.V, plainNumber(ratio), plainNumber(limit))
			f.Help = fmt.Sprintf("A first trial value for a thickness between them: fettle suggest %s/THICKNESS", p.Family[0].ID.Family())
		}
	}
}

// isTrend reports whether the finding comes of the run of a family.
func (f *Finding) isTrend() bool {
	rule, _, _ := RuleNamed(f.Rule)
	return rule.Family == "trend" || f.Rule == "unit-slip"
}

// plainNumber writes a factor with three digits, in the notation of people.
func plainNumber(v float64) string {
	if v >= 1000 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	return fmt.Sprintf("%.3g", v)
}
