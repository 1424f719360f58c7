package physics

// MeltPower is the power in W that melting the kerf takes, were nothing lost:
//
//	P = ρ · w · t · v · (c̄ ΔT + L)
//
// ρ density kg/m³, w kerf width m, t thickness m, v speed m/s, c̄ΔT + L [Material.Enthalpy] J/kg. It is the least that an inert cut
// needs: absorptivity 1, no conduction, melt no hotter than its melting point. Ordinary inert cuts use 0.1–0.4 of the laser's
// power for it. Not for cuts that boil the metal away. Source: balance of heat; constants from [MaterialNamed].
func MeltPower(m Material, kerf, thickness, speed float64) (float64, bool) {
	if !positive(kerf, thickness, speed, m.MeltEnergy().Value) {
		return 0, false
	}
	return answer(m.MeltEnergy().Value * kerf * thickness * speed)
}

// metalRate is the mass of metal that the kerf takes out each second, kg/s.
func metalRate(m Material, kerf, thickness, speed float64) float64 {
	return m.Density.Value * kerf * thickness * speed
}
