package physics

import "math"

// A Stage is one stage of a pierce. A stage that only blows has no power.
type Stage struct {
	Power    float64 // peak at its start, W
	EndPower float64 // peak at its end, W; equal to Power where there is no ramp
	Duty     float64 // share of time that the beam is on, 0 to 1; 1 for a continuous beam
	Time     float64 // s
	Oxygen   float64 // that reaches the hole, kg/s; 0 for an inert stage
}

// Energy is what the laser gives in the stage, J: (Power + EndPower)/2 · Duty · Time.
func (s Stage) Energy() (float64, bool) {
	if !notNegative(s.Power, s.EndPower, s.Duty, s.Time) || s.Duty > 1 {
		return 0, false
	}
	return answer((s.Power/2 + s.EndPower/2) * s.Duty * s.Time)
}

// A Hole is what a pierce has to melt.
type Hole struct {
	Material  Material
	Diameter  float64 // m; the waist of the beam is the least
	Thickness float64 // m
}

// Energy is the heat in J to melt the hole, ρ·(c̄ΔT + L)·π/4·d²·t: the least that can do it. A real pierce takes several times as much, since
// heat runs off into the plate and part of the metal boils.
func (h Hole) Energy() (float64, bool) {
	if !positive(h.Diameter, h.Thickness, h.Material.MeltEnergy().Value) {
		return 0, false
	}
	return answer(h.Material.MeltEnergy().Value * diskArea(h.Diameter) * h.Thickness)
}

// A PierceBalance is what a pierce gets against what it needs, J, and how long it takes, s.
type PierceBalance struct {
	Needed    float64 // [Hole.Energy]
	Laser     float64 // of all stages
	Oxidation float64 // of the oxygen that reached the hole, no more than the hole's metal can take
	Time      float64
}

// Pierce adds up the stages of a pierce. All is given in favour of the pierce: absorptivity 1, a hole no wider than asked, all oxygen burnt; so
// Needed above Laser plus Oxidation cannot pierce. No stages (a start from the edge) give nothing.
func (h Hole) Pierce(stages []Stage) (PierceBalance, bool) {
	needed, ok := h.Energy()
	if !ok || !notNegative(h.Material.Oxide.Oxygen, h.Material.Oxide.Heat) {
		return PierceBalance{}, false
	}
	b := PierceBalance{Needed: needed}
	var oxygen float64
	for _, s := range stages {
		energy, ok := s.Energy()
		if !ok || !notNegative(s.Oxygen) {
			return PierceBalance{}, false
		}
		b.Laser += energy
		b.Time += s.Time
		if s.Power > 0 || s.EndPower > 0 { // without a beam nothing is kept alight
			oxygen += s.Oxygen * s.Time
		}
	}
	metal := h.Material.Density.Value * diskArea(h.Diameter) * h.Thickness * h.Material.Oxide.Oxygen
	b.Oxidation = h.Material.Oxide.Heat * math.Min(oxygen, metal)
	if !finite(b.Laser, b.Time, b.Oxidation) {
		return PierceBalance{}, false
	}
	return b, true
}

// Excess is how many times over the pierce has the heat that the hole needs; below 1 it cannot pierce.
func (b PierceBalance) Excess() (float64, bool) {
	if !positive(b.Needed) {
		return 0, false
	}
	return answer((b.Laser + b.Oxidation) / b.Needed)
}
