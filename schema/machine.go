package schema

import "fettle/schema/quantity"

// Machine is a machine profile: what beam, head, axes and gas supply can do.
type Machine struct {
	Head
	Name     Member[string]   `json:"name" need:"yes" is:"name" doc:"the machine's name, as in ids"`
	Units    Member[[]string] `json:"units" is:"name" doc:"the real machines that share this profile; the machine itself if absent"`
	Revision Member[int]      `json:"revision" doc:"raised after a like-for-like swap that must be proven again"`
	Laser    Member[Laser]    `json:"laser" need:"yes" doc:"the source"`
	Optics   Member[Optics]   `json:"head" need:"yes" doc:"the cutting head"`
	Axes     Member[Axes]     `json:"axes" doc:"the motion system"`
	Gas      Table[Supply]    `json:"gas" keys:"name" need:"yes" doc:"the gases that are plumbed"`
	Extra    Member[[]string] `json:"extra" is:"filled" doc:"members of the machine's own that its conditions may carry"`
	Export   Member[Export]   `json:"export" doc:"how a table that the machine writes out is read, for fettle compare"`
	Note     Member[string]   `json:"note" canon:"no" doc:"free text"`
}

// Laser is the source. Terms of ISO 11145.
type Laser struct {
	RatedPower           Member[quantity.Power]         `json:"rated_power" need:"yes" doc:"rated average power"`
	PeakPower            Member[quantity.Power]         `json:"peak_power" doc:"peak power of a pulsed source"`
	MinPower             Member[quantity.Power]         `json:"min_power" doc:"least power at which the source runs steadily"`
	Wavelength           Member[quantity.Length]        `json:"wavelength" doc:"wavelength"`
	BeamParameterProduct Member[quantity.BeamParameter] `json:"beam_parameter_product" doc:"beam parameter product, half angle times waist radius"`
	CoreDiameter         Member[quantity.Length]        `json:"core_diameter" doc:"core of the delivery fibre"`
	MaxFrequency         Member[quantity.Frequency]     `json:"max_frequency" doc:"highest pulse repetition rate"`
}

// Optics is the cutting head with its nozzle rack.
type Optics struct {
	FocusZero     Member[string]            `json:"focus_zero" one:"plate,nozzle" doc:"whether focus is counted from the plate or moves with the nozzle"`
	Collimation   Member[quantity.Length]   `json:"collimation" doc:"focal length of the collimator"`
	FocalLength   Member[quantity.Length]   `json:"focal_length" doc:"focal length of the focusing lens"`
	FocusRange    Member[[]quantity.Length] `json:"focus_range" size:"2" doc:"lowest and highest focus position"`
	StandoffRange Member[[]quantity.Length] `json:"standoff_range" size:"2" doc:"least and greatest standoff"`
	Nozzles       Member[[]RackNozzle]      `json:"nozzles" need:"yes" doc:"the nozzles at hand"`
}

// RackNozzle is one nozzle of the rack.
type RackNozzle struct {
	Form    Member[string]          `json:"form" need:"yes" word:"form" doc:"single or double"`
	Orifice Member[quantity.Length] `json:"orifice" need:"yes" doc:"bore diameter"`
}

// Axes is the motion system.
type Axes struct {
	MaxSpeed Member[quantity.Speed] `json:"max_speed" doc:"highest path speed"`
}

// Supply is one plumbed gas. Pressures are gauge.
type Supply struct {
	LinePressure Member[quantity.Pressure] `json:"line_pressure" need:"yes" doc:"pressure of the line at the machine"`
	Purity       Member[quantity.Ratio]    `json:"purity" doc:"share by volume"`
	Valve        Member[Valve]             `json:"valve" doc:"the proportional valve"`
}

// Valve is a proportional valve in the terms of ISO 6358.
type Valve struct {
	Conductance   Member[quantity.Conductance] `json:"conductance" doc:"sonic conductance C"`
	CriticalRatio Member[Number]               `json:"critical_ratio" to:"1" doc:"critical back-pressure ratio b"`
	MaxPressure   Member[quantity.Pressure]    `json:"max_pressure" doc:"highest pressure it sets"`
}

// Export says how a table that the machine writes out is read.
type Export struct {
	Columns    Table[string]  `json:"columns" keys:"filled" doc:"header of a column to what it is, as an import names it: cut.speed [mm/min], cut.focus down [mm]; empty leaves it out"`
	Names      Table[string]  `json:"names" keys:"filled" doc:"what the table calls a material or gas to its name here"`
	Resolution Table[string]  `json:"resolution" keys:"filled" doc:"field to the step in which the machine keeps it: cut.pressure to 0.01 bar; else as finely as the table writes it"`
	Decimal    Member[string] `json:"decimal" one:"comma,point" doc:"what parts decimals, where the table does not show it"`
}

// UnitNames are the real machines that share the profile.
func (m *Machine) UnitNames() []string {
	if len(m.Units.V) > 0 {
		return m.Units.V
	}
	return []string{m.Name.V}
}

// BeamAndJet is the part of a machine that shapes beam and jet: source, optics, valves and revision. It is kept by value in
// each approval; when one of these values changes, what was proven with the old one is stale.
type BeamAndJet struct {
	Revision Member[int]      `json:"revision" doc:"as in the machine profile"`
	Laser    Member[Beam]     `json:"laser" doc:"what of the source shapes the beam"`
	Optics   Member[Lens]     `json:"head" doc:"what of the head shapes the beam"`
	Gas      Table[JetSupply] `json:"gas" keys:"name" doc:"what of the supply shapes the jet"`
}

// Beam is what of the source shapes the beam.
type Beam struct {
	Wavelength           Member[quantity.Length]        `json:"wavelength" doc:"wavelength"`
	BeamParameterProduct Member[quantity.BeamParameter] `json:"beam_parameter_product" doc:"beam parameter product"`
	CoreDiameter         Member[quantity.Length]        `json:"core_diameter" doc:"core of the delivery fibre"`
}

// Lens is what of the head shapes the beam.
type Lens struct {
	FocusZero   Member[string]          `json:"focus_zero" one:"plate,nozzle" doc:"origin of the focus position"`
	Collimation Member[quantity.Length] `json:"collimation" doc:"focal length of the collimator"`
	FocalLength Member[quantity.Length] `json:"focal_length" doc:"focal length of the focusing lens"`
}

// JetSupply is what of a gas supply shapes the jet.
type JetSupply struct {
	Purity        Member[quantity.Ratio]       `json:"purity" doc:"share by volume"`
	Conductance   Member[quantity.Conductance] `json:"conductance" doc:"sonic conductance C of the valve"`
	CriticalRatio Member[Number]               `json:"critical_ratio" to:"1" doc:"critical back-pressure ratio b of the valve"`
}

// BeamAndJet takes out of m what shapes a cut with gas. The gas decides which supply is kept: a new nitrogen valve leaves what
// was proven with oxygen alone.
func (m *Machine) BeamAndJet(gas string) BeamAndJet {
	b := BeamAndJet{Revision: m.Revision}
	if beam := (Beam{m.Laser.V.Wavelength, m.Laser.V.BeamParameterProduct, m.Laser.V.CoreDiameter}); beam != (Beam{}) {
		b.Laser = Of(beam)
	}
	if lens := (Lens{m.Optics.V.FocusZero, m.Optics.V.Collimation, m.Optics.V.FocalLength}); lens != (Lens{}) {
		b.Optics = Of(lens)
	}
	if s, ok := m.Gas.Get(gas); ok {
		if jet := (JetSupply{s.Purity, s.Valve.V.Conductance, s.Valve.V.CriticalRatio}); jet != (JetSupply{}) {
			b.Gas = Table[JetSupply]{{Name: gas, V: jet, At: Made}}
		}
	}
	return b
}
