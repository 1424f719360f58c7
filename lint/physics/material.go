package physics

// A Constant is a published number, how far it may be off, and where it stands.
type Constant struct {
	Value  float64
	Spread float64 // half the width as a share of the value: over grades, temperatures and sources
	Source string
}

// Low and High are the ends of what the constant may be.
func (c Constant) Low() float64  { return c.Value * (1 - c.Spread) }
func (c Constant) High() float64 { return c.Value * (1 + c.Spread) }

// Reflectance says how much of a beam of about 1 µm a cold, clean surface throws back.
type Reflectance int

const (
	Absorbing        Reflectance = iota + 1 // a third or more is taken up: steels, titanium
	Reflecting                              // most is thrown back, cut without special care: aluminium, magnesium
	HighlyReflecting                        // nearly all is thrown back until it melts; the source must bear it: copper, brass
)

func (r Reflectance) String() string {
	switch r {
	case Absorbing:
		return "absorbing"
	case Reflecting:
		return "reflecting"
	case HighlyReflecting:
		return "highly reflecting"
	}
	return "unknown"
}

// A Band is a range without a middle worth naming.
type Band struct {
	Low, High float64
	Source    string
}

// An Oxide is what a metal burns to first: the heat that oxygen sets free and how much of it the metal can take.
type Oxide struct {
	Formula string
	Heat    float64 // J per kg of oxygen
	Oxygen  float64 // kg of oxygen per kg of metal, all of it burnt to this oxide
	Source  string
}

// A Material is what heat balances need to know of a plate.
type Material struct {
	Name         string
	Density      Constant // at 20 °C, kg/m³
	Melting      Constant // melting point; liquidus of an alloy, K
	Heat         Constant // from 25 °C, solid, to the melting point, J/kg
	Fusion       Constant // heat of fusion, J/kg
	Conductivity Constant // a mean from room to melting temperature, W/(m·K)
	Absorptivity Band     // share of a beam of 1.07 µm: cold, clean and square on … in a cut front with its glancing angles and several reflections
	Reflectance  Reflectance
	Oxide        Oxide
}

// MaterialNamed returns the constants of one of the known materials: carbon-steel, galvanized-steel, stainless-steel, aluminium, copper, brass,
// titanium, magnesium.
func MaterialNamed(name string) (Material, bool) {
	for i := range materials {
		if materials[i].Name == name {
			return materials[i], true
		}
	}
	return Material{}, false
}

// Materials returns the constants of all known materials.
func Materials() []Material { return append([]Material(nil), materials[:]...) }

// Enthalpy is the heat from 25 °C to melt, all of it liquid at the melting point, J/kg. The spreads are added in full: they
// come from the choice of grade, which both share.
func (m Material) Enthalpy() Constant {
	sum := m.Heat.Value + m.Fusion.Value
	if !positive(sum) {
		return Constant{}
	}
	return Constant{sum, (m.Heat.Value*m.Heat.Spread + m.Fusion.Value*m.Fusion.Spread) / sum, m.Heat.Source}
}

// MeltEnergy is the heat to melt a volume, ρ·(c̄ΔT + L), J/m³; 10.2e9 for iron.
func (m Material) MeltEnergy() Constant {
	h := m.Enthalpy()
	return Constant{m.Density.Value * h.Value, m.Density.Spread + h.Spread, h.Source}
}

// Diffusivity is κ = k/(ρ c̄) in m²/s with the mean heat capacity c̄ from room temperature to the melting point; 0 if a constant is missing.
func (m Material) Diffusivity() float64 {
	capacity := m.Heat.Value / (m.Melting.Value - celsius25) // J/(kg·K)
	k, ok := answer(m.Conductivity.Value / (m.Density.Value * capacity))
	if !ok || k < 0 {
		return 0
	}
	return k
}
