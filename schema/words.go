package schema

import "fettle/schema/quantity"

// vocabularies are the closed word lists of the format, by the name that a struct tag uses.
var vocabularies = map[string][]string{
	"cause":    Causes,
	"ruledout": RuledOut,
	"symptom":  Symptoms,
	"outcome":  Outcomes,
	"design":   Designs,
	"process":  Processes,
	"mode":     {"continuous", "pulsed"},
	"form":     NozzleForms,
	"severity": {"error", "warning", "note", "off"},
	"subject":  {SubjectCondition, SubjectMachine, SubjectSettings, SubjectRoster, SubjectPeople},
	"heat":     {"cold", "warm", "hot"},

	"length-unit":    quantity.Units(quantity.DimLength),
	"speed-unit":     quantity.Units(quantity.DimSpeed),
	"pressure-unit":  quantity.Units(quantity.DimPressure),
	"power-unit":     quantity.Units(quantity.DimPower),
	"time-unit":      quantity.Units(quantity.DimTime),
	"frequency-unit": quantity.Units(quantity.DimFrequency),
	"flow-unit":      quantity.Units(quantity.DimVolumeFlow),
}

// Causes say why a condition was changed.
var Causes = []string{"trial-result", "quality-target", "productivity", "material-lot", "gas-supply", "nozzle-change", "optics-change",
	"machine-change", "correction", "new-condition", "temporary", "supplier-table", "copied", "put-back"}

// FaultCauses are the causes that answer a cut gone bad, where something else may be at fault: a reason with one of them
// should say what was ruled out first.
var FaultCauses = map[string]bool{"quality-target": true, "material-lot": true, "gas-supply": true, "temporary": true}

// RuledOut are the things that are looked at before a known condition is blamed, in the order in which to look.
var RuledOut = []string{"loaded-condition", "nozzle-wear", "nozzle-centring", "nozzle-type", "height-sensing", "line-pressure", "gas-purity",
	"protective-window", "lens", "focus-calibration", "beam-alignment", "laser-power", "axis-motion", "program", "override", "slats",
	"plate-grade", "plate-surface", "plate-thickness"}

// Symptoms are what can be seen on a cut edge, a pierce or a nozzle.
var Symptoms = []string{"dross", "one-sided", "burr-beads", "coarse-striation", "drag-lines", "lost-cut", "gouging", "taper", "burnt-corner",
	"pierce-crater", "pierce-incomplete", "start-notch", "discoloured-edge", "top-edge-rounding", "self-burning", "plasma", "waviness",
	"spatter", "off-size", "wide-kerf", "hot-nozzle"}

// Outcomes judge a trial cut.
var Outcomes = []string{"good", "marginal", "bad"}

// Processes are what a condition does to the plate. A missing process means cut; the others do not sever it.
var Processes = []string{"cut", "mark", "vaporise"}

// NozzleForms: a double nozzle wraps the jet in a slower ring of gas, a single one has one bore.
var NozzleForms = []string{"single", "double"}

// Materials known without a word in the settings; each has constants in lint/physics.
var Materials = []string{"carbon-steel", "galvanized-steel", "stainless-steel", "aluminium", "copper", "brass", "titanium", "magnesium"}

// Gases known without a word in the settings.
var Gases = []string{"oxygen", "nitrogen", "air", "argon"}

// Display is the member "display" of the settings: units for screens. The stored text stays as it was typed.
type Display struct {
	Length    Member[string] `json:"length" word:"length-unit" doc:"unit that lengths are shown in"`
	Speed     Member[string] `json:"speed" word:"speed-unit" doc:"unit that speeds are shown in"`
	Pressure  Member[string] `json:"pressure" word:"pressure-unit" doc:"unit that pressures are shown in"`
	Power     Member[string] `json:"power" word:"power-unit" doc:"unit that powers are shown in"`
	Time      Member[string] `json:"time" word:"time-unit" doc:"unit that times are shown in"`
	Frequency Member[string] `json:"frequency" word:"frequency-unit" doc:"unit that frequencies are shown in"`
	Flow      Member[string] `json:"flow" word:"flow-unit" doc:"unit that gas flows are shown in"`
}

// each calls f for every member with the dimension it speaks of.
func (d Display) each(f func(quantity.Dimension, Member[string])) {
	f(quantity.DimLength, d.Length)
	f(quantity.DimSpeed, d.Speed)
	f(quantity.DimPressure, d.Pressure)
	f(quantity.DimPower, d.Power)
	f(quantity.DimTime, d.Time)
	f(quantity.DimFrequency, d.Frequency)
	f(quantity.DimVolumeFlow, d.Flow)
}

// Prefs are the units that values are shown in.
func (d Display) Prefs() quantity.Prefs {
	prefs := quantity.Prefs{}
	d.each(func(dim quantity.Dimension, unit Member[string]) {
		if unit.Set() {
			prefs[dim] = unit.V
		}
	})
	return prefs
}
