package schema

import "fettle/schema/quantity"

// ConditionSet is one file: the conditions of one machine, material and gas.
type ConditionSet struct {
	Head
	Machine    Member[string]      `json:"machine" need:"yes" is:"name" doc:"name of the machine profile"`
	Material   Member[string]      `json:"material" need:"yes" is:"name" doc:"a known material or one of the settings"`
	Grade      Member[string]      `json:"grade" is:"filled" doc:"grade of the plate, as on its certificate"`
	Gas        Member[string]      `json:"gas" need:"yes" is:"name" doc:"a known gas or a mix of the settings"`
	Note       Member[string]      `json:"note" canon:"no" doc:"free text"`
	Conditions Member[[]Condition] `json:"conditions" need:"yes" doc:"the recipes, one a thickness"`
}

// Condition is one recipe. Pressures are gauge at the head, focus is positive above the top surface of the plate, standoff is
// nozzle tip to plate.
type Condition struct {
	Thickness Member[quantity.Length] `json:"thickness" need:"yes" doc:"thickness of the plate"`
	Variant   Member[string]          `json:"variant" is:"name" doc:"tells two recipes of one thickness apart"`
	Process   Member[string]          `json:"process" word:"process" doc:"cut if absent; mark and vaporise do not sever"`
	Nozzle    Member[Nozzle]          `json:"nozzle" need:"yes" doc:"the nozzle and its distance"`
	Cut       Member[Cut]             `json:"cut" need:"yes" doc:"the cut itself"`
	LeadIn    Member[LeadIn]          `json:"lead_in" doc:"members of cut that differ on the lead-in"`
	Corner    Member[Corner]          `json:"corner" doc:"what power and pulses fall to where the axes slow down"`
	Contours  Member[[]Contour]       `json:"contours" doc:"members of cut that differ on small contours"`
	Pierce    Member[[]Stage]         `json:"pierce" doc:"stages in order; an empty list is a start at the edge"`
	Kerf      Member[quantity.Length] `json:"kerf" doc:"kerf width"`
	Quality   Member[Quality]         `json:"quality" doc:"what the cut is meant to reach"`
	Extra     Table[string]           `json:"extra" keys:"filled" doc:"members of the machine's own that its profile declares"`
	Note      Member[string]          `json:"note" canon:"no" doc:"free text"`
}

// Nozzle is the nozzle of a condition and its distance to the plate.
type Nozzle struct {
	Form     Member[string]          `json:"form" need:"yes" word:"form" doc:"single or double"`
	Orifice  Member[quantity.Length] `json:"orifice" need:"yes" doc:"bore diameter"`
	Standoff Member[quantity.Length] `json:"standoff" need:"yes" doc:"nozzle tip to plate"`
}

// CutValues are the members of a cut. Power is the peak; the average is power times duty where pulsed.
type CutValues struct {
	Power     Member[quantity.Power]     `json:"power" doc:"peak power"`
	Speed     Member[quantity.Speed]     `json:"speed" doc:"cutting speed"`
	Pressure  Member[quantity.Pressure]  `json:"pressure" doc:"gauge pressure of the gas at the head"`
	Focus     Member[quantity.Length]    `json:"focus" doc:"focus position, positive above the top surface"`
	Spot      Member[quantity.Length]    `json:"spot" doc:"focal spot diameter, with zoom optics"`
	Mode      Member[string]             `json:"mode" word:"mode" doc:"continuous or pulsed"`
	Frequency Member[quantity.Frequency] `json:"frequency" doc:"pulse repetition rate"`
	Duty      Member[quantity.Ratio]     `json:"duty" doc:"share of the time with power on"`
}

// Cut is the cut of a condition, where the first four are required.
type Cut struct {
	Power     Member[quantity.Power]     `json:"power" need:"yes" doc:"peak power"`
	Speed     Member[quantity.Speed]     `json:"speed" need:"yes" doc:"cutting speed"`
	Pressure  Member[quantity.Pressure]  `json:"pressure" need:"yes" doc:"gauge pressure of the gas at the head"`
	Focus     Member[quantity.Length]    `json:"focus" need:"yes" doc:"focus position, positive above the top surface"`
	Spot      Member[quantity.Length]    `json:"spot" doc:"focal spot diameter, with zoom optics"`
	Mode      Member[string]             `json:"mode" word:"mode" doc:"continuous or pulsed"`
	Frequency Member[quantity.Frequency] `json:"frequency" doc:"pulse repetition rate"`
	Duty      Member[quantity.Ratio]     `json:"duty" doc:"share of the time with power on"`
}

// LeadIn overrides members of cut on the lead-in.
type LeadIn struct {
	Length Member[quantity.Length] `json:"length" doc:"length of the lead-in"`
	CutValues
}

// Corner is what power and pulses fall to where the axes slow down.
type Corner struct {
	MinPower     Member[quantity.Power]     `json:"min_power" doc:"least power"`
	MinFrequency Member[quantity.Frequency] `json:"min_frequency" doc:"least pulse repetition rate"`
	MinDuty      Member[quantity.Ratio]     `json:"min_duty" doc:"least duty"`
}

// Contour overrides members of cut on contours up to a size.
type Contour struct {
	Name    Member[string]          `json:"name" need:"yes" is:"name" doc:"what the shop calls it"`
	MaxSize Member[quantity.Length] `json:"max_size" doc:"largest contour it is for"`
	CutValues
}

// Stage is one stage of a pierce. A stage of 0 W is a blow.
type Stage struct {
	Gas       Member[string]             `json:"gas" is:"name" doc:"where it differs from the gas of the set"`
	Power     Member[quantity.Power]     `json:"power" doc:"peak power; 0 W is a blow"`
	EndPower  Member[quantity.Power]     `json:"end_power" doc:"power at the end of a ramp"`
	Time      Member[quantity.Duration]  `json:"time" doc:"how long"`
	Pressure  Member[quantity.Pressure]  `json:"pressure" doc:"gauge pressure of the gas at the head"`
	Focus     Member[quantity.Length]    `json:"focus" doc:"focus position"`
	Standoff  Member[quantity.Length]    `json:"standoff" doc:"nozzle tip to plate"`
	Spot      Member[quantity.Length]    `json:"spot" doc:"focal spot diameter, with zoom optics"`
	Mode      Member[string]             `json:"mode" word:"mode" doc:"continuous or pulsed"`
	Frequency Member[quantity.Frequency] `json:"frequency" doc:"pulse repetition rate"`
	Duty      Member[quantity.Ratio]     `json:"duty" doc:"share of the time with power on"`
}

// Quality is what the cut is meant to reach, in ranges of ISO 9013.
type Quality struct {
	PerpendicularityRange Member[int]             `json:"perpendicularity_range" from:"1" to:"5" doc:"range 1 to 5 of ISO 9013 for u"`
	RoughnessRange        Member[int]             `json:"roughness_range" from:"1" to:"4" doc:"range 1 to 4 of ISO 9013 for Rz5"`
	MaxDross              Member[quantity.Length] `json:"max_dross" doc:"greatest height of dross"`
	ExecutionClass        Member[int]             `json:"execution_class" from:"1" to:"4" doc:"execution class of EN 1090-2 of the work: EXC1 to EXC4"`
}

// Severs reports whether the process cuts through the plate.
func (c *Condition) Severs() bool { return c.Process.V == "" || c.Process.V == "cut" }
