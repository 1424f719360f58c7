package physics

import "math"

// A Kerf is a cut to be balanced: what comes in as light and oxygen against what goes out as melt.
type Kerf struct {
	Material  Material
	Width     float64 // m
	Thickness float64 // m
	Speed     float64 // m/s
	Power     float64 // of the laser, mean over a pulse, W
	Gas       Gas
	GasFlow   float64 // through the nozzle, kg/s; 0 if it is not known or there is no gas
	Orifice   float64 // m; not needed where GasFlow is 0
}

// A Balance is what a [Kerf] comes to. All in W and kg/s.
type Balance struct {
	Melt           float64 // [MeltPower]
	Laser          float64
	Oxidation      float64 // heat of what oxygen over the kerf can burn, no more than there is metal for
	OxygenNeeded   float64 // to burn all
	OxygenSupplied float64 // over the kerf, on the 4w/(πd) basis
}

// Balance works out the balance of heat and of oxygen. All oxygen over the kerf is taken to burn and all heat to stay in it: that is more than
// a real cut gets, so that a Melt above Laser plus Oxidation cannot be, but for constants that are off by their spread ([Material.MeltEnergy]).
// Titanium and magnesium also burn in nitrogen, which is left out: for them the balance is a bound only in argon or helium.
func (k Kerf) Balance() (Balance, bool) {
	melt, ok := MeltPower(k.Material, k.Width, k.Thickness, k.Speed)
	if !ok || !notNegative(k.Power, k.GasFlow) {
		return Balance{}, false
	}
	needed, ok := OxygenNeeded(k.Material, k.Width, k.Thickness, k.Speed)
	if !ok {
		return Balance{}, false
	}
	b := Balance{Melt: melt, Laser: k.Power, OxygenNeeded: needed}
	if k.GasFlow > 0 {
		share, ok := KerfShare(k.Width, k.Orifice)
		if !ok || !k.Gas.valid() {
			return Balance{}, false
		}
		b.OxygenSupplied = k.GasFlow * k.Gas.OxygenMass() * share
	}
	b.Oxidation, ok = OxidationPower(k.Material, math.Min(b.OxygenNeeded, b.OxygenSupplied))
	if !ok || !finite(b.OxygenSupplied) {
		return Balance{}, false
	}
	return b, true
}

// Used is the melt power as a share of laser and oxidation together: 0.1–0.4 in ordinary inert cuts, 0.2–0.65 of the laser alone with
// oxygen. Above 1 the cut cannot be. It is false where there is no power at all.
func (b Balance) Used() (float64, bool) {
	if !positive(b.Laser + b.Oxidation) {
		return 0, false
	}
	return answer(b.Melt / (b.Laser + b.Oxidation))
}

// Burnt is the share of the metal that the oxygen over the kerf could burn; may be above 1. It is false where the metal takes none.
func (b Balance) Burnt() (float64, bool) {
	if !positive(b.OxygenNeeded) {
		return 0, false
	}
	return answer(b.OxygenSupplied / b.OxygenNeeded)
}
