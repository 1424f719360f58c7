package physics

// EnergyPerArea is the energy in J/m² that the beam spends on each square metre of one cut face, P/(t·v); screens say J/mm², a
// millionth of it. P mean power W, t thickness m, v speed m/s. Ordinary cuts: 3–40 J/mm² with oxygen, 3–130 inert.
func EnergyPerArea(power, thickness, speed float64) (float64, bool) {
	if !notNegative(power) || !positive(thickness, speed) {
		return 0, false
	}
	return answer(power / thickness / speed)
}

// EnergyPerLength is the energy in J/m along the cut, P/v. P mean power W, v speed m/s.
func EnergyPerLength(power, speed float64) (float64, bool) {
	if !notNegative(power) || !positive(speed) {
		return 0, false
	}
	return answer(power / speed)
}

// MeanPower is the mean power in W of a pulsed beam: peak power W times duty, the share of time that it is on, 0 to 1.
func MeanPower(peak, duty float64) (float64, bool) {
	if !notNegative(peak, duty) || duty > 1 {
		return 0, false
	}
	return answer(peak * duty)
}
