package physics

import (
	"maps"
	"math"
	"slices"
)

// A Gas is a perfect gas with a heat capacity that does not change. Good to a percent for the gases of cutting at up to
// 30 bar and the temperature of a shop.
type Gas struct {
	MolarMass float64 // kg/mol
	HeatRatio float64 // γ = cp/cv
	Oxygen    float64 // share of oxygen by volume, 0 to 1
}

// part is one pure gas: molar mass kg/mol (IUPAC 2021), cp/R at 25 °C (NASA TM-4513), and whether it is oxygen.
type part struct {
	name           string
	mass, capacity float64
	oxygen         float64
}

// Air is of dry standard air, ISO 2533: 78.084 % nitrogen, 20.95 % oxygen (with 0.03 % of carbon dioxide in the rest), 0.93 % argon.
var parts = [...]part{
	{"oxygen", 31.998e-3, 3.5334, 1},
	{"nitrogen", 28.014e-3, 3.5028, 0},
	{"argon", 39.95e-3, 2.5, 0},
	{"hydrogen", 2.016e-3, 3.4682, 0},
	{"helium", 4.0026e-3, 2.5, 0},
	{"carbon-dioxide", 44.009e-3, 4.4662, 0},
	{"air", 28.9647e-3, 3.5003, 0.2095},
}

// GasNamed returns one of the gases known by themselves: oxygen, nitrogen, air, argon, hydrogen, helium, carbon-dioxide.
func GasNamed(name string) (Gas, bool) {
	for i := range parts {
		if parts[i].name == name {
			p := &parts[i]
			return Gas{p.mass, p.capacity / (p.capacity - 1), p.oxygen}, true
		}
	}
	return Gas{}, false
}

// Mix returns a mix of known gases by their shares of volume (which are mole fractions for perfect gases):
//
//	M = Σ x M,  cp = Σ x cp,  γ = cp/(cp − R)
//
// Shares are numbers from 0 to 1 that add up to 1 within a thousandth; they are then scaled to do so. It is false where they do not,
// or where a name is not known. Source: Dalton's law.
func Mix(shares map[string]float64) (Gas, bool) {
	var total, mass, capacity, oxygen float64
	for _, name := range slices.Sorted(maps.Keys(shares)) { // one order, so that equal mixes are equal to the last digit
		x := shares[name]
		i := slices.IndexFunc(parts[:], func(p part) bool { return p.name == name })
		if i < 0 || !notNegative(x) {
			return Gas{}, false
		}
		total += x
		mass += x * parts[i].mass
		capacity += x * parts[i].capacity
		oxygen += x * parts[i].oxygen
	}
	if !(math.Abs(total-1) <= 1e-3) {
		return Gas{}, false
	}
	capacity /= total
	return Gas{mass / total, capacity / (capacity - 1), math.Min(1, oxygen/total)}, true
}

// Constant is the specific gas constant R/M, J/(kg·K); 0 for a gas without a mass.
func (g Gas) Constant() float64 {
	if !positive(g.MolarMass) {
		return 0
	}
	return GasConstant / g.MolarMass
}

// OxygenMass is the share of oxygen by mass.
func (g Gas) OxygenMass() float64 {
	if !g.valid() {
		return 0
	}
	return math.Min(1, g.Oxygen*parts[0].mass/g.MolarMass)
}

// Density is the density in kg/m³ at absolute pressure Pa and temperature K: p/(R T).
func (g Gas) Density(pressure, temperature float64) (float64, bool) {
	if !g.valid() || !positive(pressure, temperature) {
		return 0, false
	}
	return answer(pressure / g.Constant() / temperature)
}

// valid asks for what a gas can be: 1 g/mol to 1 kg/mol, γ above 1 and no more than that of single atoms.
func (g Gas) valid() bool {
	return g.MolarMass >= 1e-3 && g.MolarMass <= 1 && g.HeatRatio >= 1.01 && g.HeatRatio <= 1.67 && g.Oxygen >= 0 && g.Oxygen <= 1
}
