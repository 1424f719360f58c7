package physics

import "math"

// Numbers of physics and of standards.
const (
	GasConstant = 8.314462618 // J/(mol·K), CODATA 2018, exact but for its further digits
	Atmosphere  = 101325      // Pa, ISO 2533; what a gauge reads as nought
	Room        = 293.15      // K, 20 °C
	Hour        = 3600        // s, for flows and prices by the hour

	celsius25 = 298.15 // K, where tables of enthalpy begin
)

// Absolute is the absolute pressure in Pa of a gauge pressure in Pa, at sea level. The air at 1000 m is 11 kPa thinner; a gauge shows no
// difference, and neither do the answers here by more than a tenth.
func Absolute(gauge float64) float64 { return gauge + Atmosphere }

// Gauge is the gauge pressure in Pa of an absolute one.
func Gauge(absolute float64) float64 { return absolute - Atmosphere }

// diskArea is the area of a round hole, m².
func diskArea(diameter float64) float64 { return math.Pi / 4 * diameter * diameter }
