package physics

import "math"

// FrontShare is the part of the oxygen over the kerf that meets the front and not the open kerf behind it: half, for a jet that stands
// with its middle on the front. It is a picture, not a measurement.
const FrontShare = 0.5

// OxygenNeeded is the oxygen in kg/s that would burn all metal of the kerf to its oxide: for iron 0.2865 kg per kg, FeO.
//
//	ṁ = ρ · w · t · v · Y
//
// Real cuts with oxygen do with less, since part of the iron leaves as iron; thin plate reaches about half of it.
// Source: stoichiometry of [Material].Oxide.
func OxygenNeeded(m Material, kerf, thickness, speed float64) (float64, bool) {
	if !positive(kerf, thickness, speed, m.Density.Value) || !notNegative(m.Oxide.Oxygen) {
		return 0, false
	}
	return answer(metalRate(m, kerf, thickness, speed) * m.Oxide.Oxygen)
}

// OxidationPower is the heat in W that burning sets free where that much oxygen kg/s is used up: 17.0 MJ per kg of oxygen for FeO
// (−272 kJ/mol, 4.87 MJ per kg of iron). Higher oxides of iron give up to 3 % more per kg of oxygen. Source: [Material].Oxide.
func OxidationPower(m Material, oxygen float64) (float64, bool) {
	if !notNegative(oxygen, m.Oxide.Heat) {
		return 0, false
	}
	return answer(m.Oxide.Heat * oxygen)
}

// KerfShare is the share of a jet from a round orifice that lies over the kerf, for a kerf through the middle of the jet:
//
//	4w/(π d), at most 1
//
// w kerf m, d orifice m: the strip w·d of the disk, a little more than the disk holds there (5 % at w = d/2), so a bound
// from above. About half of it is ahead of the front ([FrontShare]). Source: geometry.
func KerfShare(kerf, orifice float64) (float64, bool) {
	if !positive(kerf, orifice) {
		return 0, false
	}
	return answer(math.Min(1, 4/math.Pi*(kerf/orifice)))
}
