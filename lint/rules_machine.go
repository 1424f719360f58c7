package lint

import (
	"slices"
	"strings"

	"fettle/schema"
	"fettle/schema/quantity"
)

// The rules of the family machine: can this machine do it at all. They hold in the cut, the lead-in, contours, corners and every
// stage of the pierce.
var machineRules = []Rule{
	{
		Name: "power-over-rating", Severity: Error, Scope: PerRecipe, Check: powerOverRating,
		Title: "power above the rating of the laser",
		Why: "The source clips what it cannot deliver, so the file no longer describes the cut that was tried. Pulsed power is held against " +
			"the peak where the profile has one, and its average against the rating.",
		Source: "machine profile, laser.rated_power and laser.peak_power",
		Bad:    `cut.power=8 kW`, Good: `cut.power=6 kW`,
	},
	{
		Name: "power-below-minimum", Severity: Error, Scope: PerRecipe, Check: powerBelowMinimum,
		Title:  "power below what the source holds steadily",
		Why:    "Below its least power a source flickers or does not start. Less average power is had by pulsing. 0 W in a pierce is a blow and is fine.",
		Source: "machine profile, laser.min_power",
		Bad:    `pierce[0].power=150 W`, Good: `pierce[0].power=0 W`,
	},
	{
		Name: "speed-over-axes", Severity: Error, Scope: PerRecipe, Check: speedOverAxes,
		Title:  "speed above what the axes can do",
		Why:    "The control holds the path at its limit, so power and speed no longer belong together.",
		Source: "machine profile, axes.max_speed",
		Bad:    `cut.speed=290 m/min`, Good: `cut.speed=120 m/min`,
	},
	{
		Name: "focus-out-of-travel", Severity: Error, Scope: PerRecipe, Check: focusOutOfTravel,
		Title:  "focus beyond the travel of the lens",
		Why:    "The lens stops at the end of its travel, or the head reports a fault in the middle of a job.",
		Source: "machine profile, head.focus_range",
		Bad:    `cut.focus=30 mm`, Good: `cut.focus=25 mm`,
	},
	{
		Name: "standoff-out-of-range", Severity: Error, Scope: PerRecipe, Check: standoffOutOfRange,
		Title:  "standoff beyond what the height sensing holds",
		Why:    "Nearer, the nozzle touches the plate on the first bow; farther, the sensing no longer sees it.",
		Source: "machine profile, head.standoff_range",
		Bad:    `pierce[0].standoff=12 mm`, Good: `pierce[0].standoff=10 mm`,
	},
	{
		Name: "nozzle-not-fitted", Severity: Error, Scope: PerRecipe, Check: nozzleNotFitted,
		Title:  "a nozzle that is not in the rack",
		Why:    "Whoever sets up takes the one that comes nearest, and the recipe runs with a jet that nobody tried.",
		Source: "machine profile, head.nozzles",
		Bad:    `nozzle.orifice=1.3 mm`, Good: `nozzle.orifice=0.12 cm`,
	},
	{
		Name: "pressure-over-line", Severity: Error, Scope: PerRecipe, Check: pressureOverLine,
		Title:  "pressure above that of the line or the valve",
		Why:    "A valve lets pressure down and never up: what the line does not have, the head does not get.",
		Source: "machine profile, gas.*.line_pressure and gas.*.valve.max_pressure",
		Bad:    `cut.pressure=35 bar`, Good: `cut.pressure=3.5 bar`,
	},
	{
		Name: "gas-not-plumbed", Severity: Error, Scope: PerSet | PerRecipe, Check: gasNotPlumbed,
		Title:  "a gas that this machine does not have",
		Why:    "The valve opens on nothing, or on whatever is plumbed to it.",
		Source: "machine profile, gas",
		Bad:    `pierce[0].gas=argon`, Good: `pierce[0].gas=nitrogen; pierce[0].pressure=2 bar`,
	},
	{
		Name: "duty-mode", Severity: Error, Scope: PerRecipe, Check: dutyMode,
		Title: "mode, duty and frequency that do not go together",
		Why: "A duty of nothing or of more than 100 % cannot be. A continuous beam with a duty below 100 %, or pulses without duty or frequency, " +
			"leave it to the machine which of the two it takes: a warning. Continuous with 100 % and any frequency is how many tables write it.",
		Source: "ISO 11145 for the terms",
		Bad:    `pierce[0].duty=120 %`, Good: `cut.duty=100 %; cut.frequency=5 kHz`,
	},
	{
		Name: "frequency-over-limit", Severity: Error, Scope: PerRecipe, Check: frequencyOverLimit,
		Title:  "pulses faster than the source can make them",
		Why:    "Above its highest repetition rate a source drops pulses or runs on without a break.",
		Source: "machine profile, laser.max_frequency",
		Bad:    `pierce[0].frequency=8 kHz`, Good: `pierce[0].frequency=5 kHz`,
	},
	{
		Name: "valve-cannot-feed", Severity: Error, Scope: PerRecipe, Check: valveCannotFeed,
		Title: "a pressure that the valve cannot hold at this orifice",
		Why: "A valve passes only so much. Where the orifice lets out more, the pressure at the head sinks below what the recipe says, and every cut is made with less gas than was tried. " +
			"An error where the valve, wide open, holds less than 90 % of the pressure even at a nozzle with a coefficient of discharge of 0.8; a warning where it holds less than 95 % at one of 0.9. " +
			"So much the gauge of a line and a data sheet may be off. Where the gap above the plate is narrower than the orifice, the gap counts.",
		Source: "valve by ISO 6358-1, nozzle by NACA Report 1135; machine profile, gas.*.valve",
		Bad:    `machine:gas.oxygen.valve.conductance=0.03 dm3/(s.bar); at cut.pressure`, Good: `machine:gas.oxygen.valve.conductance=1 dm3/(s.bar)`,
	},
	{
		Name: "sleeping", Severity: Note, // the engine reports it: Pass.Needs
		Title:  "checks that have no data",
		Why:    "A limit that the profile does not say cannot be checked. One note for each machine says which members would wake which checks.",
		Source: "machine profile",
		Bad:    `machine:axes=; at name`, Good: `machine:note=complete`,
	},
}

func powerOverRating(p *Pass) {
	if p.Machine == nil {
		return
	}
	laser := p.Machine.Laser.V
	rated := laser.RatedPower.V
	for _, b := range p.blocks() {
		most, word := rated, "rated"
		if b.pulsed() && laser.PeakPower.Set() {
			most, word = laser.PeakPower.V, "peak"
		}
		over := false
		for power := range b.powers() {
			if !p.Needs("laser.rated_power", !rated.IsZero()) {
				return
			}
			if power.V.Above(most) {
				over = true
				p.Report(power.place(), "%s is above the %s %s of the laser", power.V, word, most).Help = p.context(power.field(), power.V.Value)
			}
		}
		if !over && b.pulsed() && b.own.Duty.Set() {
			if average := b.whole.Power.V.Times(b.whole.Duty.V); average.Above(rated) && !b.whole.Duty.V.Above(allOfIt) {
				p.Report(At(b.field("duty"), b.own.Duty), "%s of %s is %s on average, above the rated %s of the laser", b.own.Duty.V, b.whole.Power.V, average, rated)
			}
		}
	}
}

func powerBelowMinimum(p *Pass) {
	if p.Machine == nil {
		return
	}
	least := p.Machine.Laser.V.MinPower
	for _, b := range p.blocks() {
		for power := range b.powers() {
			if power.V.Sign() <= 0 {
				continue // a blow, or a bad value
			}
			if !p.Needs("laser.min_power", least.Set()) {
				return
			}
			if power.V.Below(least.V) {
				p.Report(power.place(), "%s is below the %s that the laser holds steadily", power.V, least.V).Help = p.context(power.field(), power.V.Value)
			}
		}
	}
}

func speedOverAxes(p *Pass) {
	if p.Machine == nil {
		return
	}
	most := p.Machine.Axes.V.MaxSpeed
	for _, b := range p.blocks() {
		speed := b.own.Speed
		if speed.Set() && p.Needs("axes.max_speed", most.Set()) && speed.V.Above(most.V) {
			p.Report(At(b.field("speed"), speed), "%s is above the %s of the axes", speed.V, most.V).Help = p.context(b.field("speed"), speed.V.Value)
		}
	}
}

// rangeOf is a range of the head, and whether it can be judged by.
func rangeOf(m schema.Member[[]quantity.Length]) (low, high quantity.Length, ok bool) {
	if len(m.V) != 2 || m.V[0].IsZero() || m.V[1].IsZero() || !m.V[0].Below(m.V[1]) {
		return low, high, false
	}
	return m.V[0], m.V[1], true
}

func focusOutOfTravel(p *Pass) {
	if p.Machine == nil {
		return
	}
	low, high, ok := rangeOf(p.Machine.Optics.V.FocusRange)
	for _, b := range p.blocks() {
		focus := b.own.Focus
		if focus.Set() && p.Needs("head.focus_range", ok) && (focus.V.Below(low) || focus.V.Above(high)) {
			p.Report(At(b.field("focus"), focus), "%s is outside of the travel of the lens, %s to %s", focus.V, low, high).Help = p.context(b.field("focus"), focus.V.Value)
		}
	}
}

func standoffOutOfRange(p *Pass) {
	if p.Machine == nil {
		return
	}
	low, high, ok := rangeOf(p.Machine.Optics.V.StandoffRange)
	judge := func(field string, standoff schema.Member[quantity.Length]) {
		if standoff.Set() && p.Needs("head.standoff_range", ok) && (standoff.V.Below(low) || standoff.V.Above(high)) && standoff.V.Sign() > 0 {
			p.Report(At(field, standoff), "%s is outside of what the height sensing holds, %s to %s", standoff.V, low, high).Help = p.context(field, standoff.V.Value)
		}
	}
	judge("nozzle.standoff", p.Recipe.Nozzle.V.Standoff)
	for _, b := range p.blocks() {
		if b.stage != nil {
			judge(b.field("standoff"), b.stage.Standoff)
		}
	}
}

func nozzleNotFitted(p *Pass) {
	if p.Machine == nil {
		return
	}
	rack := p.Machine.Optics.V.Nozzles.V
	n := p.Recipe.Nozzle.V
	if !n.Orifice.Set() || !n.Form.Set() || n.Orifice.V.Sign() <= 0 || !p.Needs("head.nozzles", len(rack) > 0) {
		return
	}
	for i := range rack {
		if rack[i].Form.V == n.Form.V && rack[i].Orifice.V.Equal(n.Orifice.V) {
			return
		}
	}
	var same, other []string
	otherForm := false
	for _, r := range rack {
		fits := r.Orifice.V.Equal(n.Orifice.V)
		switch {
		case r.Form.V == n.Form.V:
			same = append(same, p.Show(r.Orifice.V.Value))
		default:
			otherForm = otherForm || fits
			other = append(other, p.Show(r.Orifice.V.Value))
		}
	}
	f := p.Report(At("nozzle.orifice", n.Orifice), "there is no %s nozzle of %s in the rack of %s", n.Form.V, n.Orifice.V, p.Machine.Name.V)
	switch {
	case otherForm:
		f.Help = "There is one of the other form. "
	case len(same) == 0 && len(other) > 0:
		f.Help = "All of its nozzles are of the other form. "
	}
	if len(same) > 0 {
		f.Help += "It has " + n.Form.V + " nozzles of " + strings.Join(slices.Compact(same), ", ") + "."
	}
}

func pressureOverLine(p *Pass) {
	if p.Machine == nil {
		return
	}
	for _, b := range p.blocks() {
		pressure := b.own.Pressure
		gas := p.gasOf(b)
		supply := p.Machine.Gas.Find(gas)
		if !pressure.Set() || supply == nil {
			continue
		}
		line, valve := supply.LinePressure, supply.Valve.V.MaxPressure
		if !line.Set() {
			p.Needs("gas."+gas+".line_pressure", false)
		}
		switch field := func() string { return b.field("pressure") }; {
		case line.Set() && pressure.V.Above(line.V):
			p.Report(At(field(), pressure), "%s is above the %s of the %s line", pressure.V, line.V, gas).Help = p.context(field(), pressure.V.Value)
		case valve.Set() && pressure.V.Above(valve.V):
			p.Report(At(field(), pressure), "%s is above the %s that the %s valve can set", pressure.V, valve.V, gas).Help = p.context(field(), pressure.V.Value)
		}
	}
}

func gasNotPlumbed(p *Pass) {
	if p.Machine == nil {
		return
	}
	judge := func(field string, gas schema.Member[string]) {
		var has []string
		for _, s := range p.Machine.Gas {
			has = append(has, s.Name)
		}
		if gas.Set() && p.Needs("gas", len(has) > 0) && !slices.Contains(has, gas.V) && slices.Contains(p.gasNames(), gas.V) {
			p.Report(At(field, gas), "%s has no %s", p.Machine.Name.V, gas.V).Help = "It has " + strings.Join(has, ", ") + "."
		}
	}
	if p.Recipe == nil {
		judge("gas", p.Set.Gas)
		return
	}
	for _, b := range p.blocks() {
		if b.ownGas() {
			judge(b.field("gas"), b.stage.Gas)
		}
	}
}

func dutyMode(p *Pass) {
	for _, b := range p.blocks() {
		duty, mode := b.own.Duty, b.whole.Mode
		switch {
		case duty.Set() && (duty.V.Sign() < 0 || duty.V.Above(allOfIt)):
			p.Report(At(b.field("duty"), duty), "a duty of %s cannot be: it is the share of the time with power on", duty.V).Help = p.context(b.field("duty"), duty.V.Value)
			continue
		case duty.Set() && duty.V.Sign() == 0 && b.kind != cornerBlock && b.whole.Power.V.Sign() > 0:
			p.Report(At(b.field("duty"), duty), "a duty of %s leaves the beam off", duty.V)
			continue
		case b.kind == cornerBlock: // a corner may go over to pulses
			continue
		}
		part := duty.Set() && duty.V.Below(allOfIt)
		switch {
		case mode.V == "continuous" && part:
			p.ReportAs(Warning, At(b.field("duty"), duty), "a continuous beam with a duty of %s: which of the two holds?", duty.V).
				Help = `With pulses it is "mode": "pulsed"; without them the duty goes.`
		case !mode.Set() && part:
			p.ReportAs(Warning, At(b.field("duty"), duty), "a duty of %s and no mode", duty.V).Help = `Say "mode": "pulsed", with the frequency.`
		case mode.V == "pulsed" && b.own.Mode.Set() && !b.whole.Duty.Set():
			p.ReportAs(Warning, At(b.field("mode"), b.own.Mode), "pulsed without a duty: the average power is not known")
		case mode.V == "pulsed" && b.own.Mode.Set() && !b.whole.Frequency.Set():
			p.ReportAs(Warning, At(b.field("mode"), b.own.Mode), "pulsed without a frequency")
		}
	}
}

func frequencyOverLimit(p *Pass) {
	if p.Machine == nil {
		return
	}
	most := p.Machine.Laser.V.MaxFrequency
	for _, b := range p.blocks() {
		frequency := b.own.Frequency
		if !frequency.Set() || !b.pulsed() && b.kind != cornerBlock && (b.whole.Mode.Set() || b.whole.Duty.Set()) {
			continue // a continuous beam has no pulses, whatever a table writes there
		}
		if p.Needs("laser.max_frequency", most.Set()) && frequency.V.Above(most.V) {
			p.Report(At(b.field("frequency"), frequency), "%s is above the %s of the laser", frequency.V, most.V).Help = p.context(b.field("frequency"), frequency.V.Value)
		}
	}
}
