package physics

import "math"

// A Reference is the state at which a volume of gas is counted.
type Reference struct {
	Temperature float64 // K
	Pressure    float64 // absolute, Pa
}

// References in use. ANR is of ISO 8778 (with 65 % humidity, which says how heavy the air is, not how a dry gas is counted).
var (
	ANR      = Reference{Room, 100e3}
	DIN1343  = Reference{273.15, Atmosphere}
	ISO13443 = Reference{288.15, Atmosphere}
)

// ReferenceAt is the reference that goes with a temperature K where nothing is said of the pressure: 100 kPa at 20 °C (ISO 8778), 101.325 kPa
// at any other (DIN 1343, ISO 13443). Who sells gas at 15 °C and 1 bar counts 1.3 % more.
func ReferenceAt(temperature float64) (Reference, bool) {
	if !positive(temperature) {
		return Reference{}, false
	}
	if math.Abs(temperature-Room) < 1e-6 {
		return ANR, true
	}
	return Reference{temperature, Atmosphere}, true
}

// Volume is the volume of a mass of gas kg, or the flow in m³/s of one in kg/s, counted at the reference: m R T/p. Times [Hour] for m³/h.
// Source: perfect gas.
func (r Reference) Volume(g Gas, mass float64) (float64, bool) {
	if !g.valid() || !positive(r.Temperature, r.Pressure) || !notNegative(mass) {
		return 0, false
	}
	return answer(mass * g.Constant() * r.Temperature / r.Pressure)
}
