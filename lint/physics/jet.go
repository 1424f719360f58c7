package physics

import "math"

// A Jet is the state of the gas below the nozzle.
type Jet struct {
	Mach           float64 // once expanded to the air around it
	Choked         bool
	ExitMach       float64 // in the orifice: 1 if choked, else Mach
	UnderExpansion float64 // pressure in the orifice over that of the air: 1 if not choked, else above 1
	Spread         float64 // diameter once expanded, over the orifice's
	Cell           float64 // length of the first shock cell, in orifice diameters; 0 if not choked
	Disk           float64 // distance of the Mach disk, in orifice diameters; 0 if there is none
}

// JetOf is the state of a free jet from a converging nozzle, supply and back being absolute pressures in Pa:
//
//	Mj      of back/supply, isentropic
//	pe/pa   CriticalRatio · supply/back
//	Dj/D    √(A/A*) at Mj
//	cell    1.306 · √(Mj² − 1) · Dj/D            (Prandtl 1904; Tam and Tanna, J. Sound and Vibration 81 (1982) 337)
//	disk    0.67 · √(supply/back)                (Ashkenas and Sherman 1966; from about pe/pa = 2.1)
//
// The last two are from memory and hold for jets in the open: in a kerf the walls change them. Above M = 1 a jet swings between wide
// and narrow, which is why the standoff matters with high pressures. It is false where supply is not above back.
func JetOf(g Gas, supply, back float64) (Jet, bool) {
	if !g.valid() || !positive(supply, back) || back >= supply {
		return Jet{}, false
	}
	mach, ok := MachNumber(back/supply, g.HeatRatio)
	critical, ok2 := CriticalRatio(g.HeatRatio)
	if !ok || !ok2 {
		return Jet{}, false
	}
	if back/supply > critical {
		return Jet{Mach: mach, ExitMach: mach, UnderExpansion: 1, Spread: 1}, true
	}
	j := Jet{Mach: mach, Choked: true, ExitMach: 1, UnderExpansion: critical * (supply / back)}
	area, ok := AreaRatio(mach, g.HeatRatio)
	if !ok {
		return Jet{}, false
	}
	j.Spread = math.Sqrt(area)
	j.Cell = 1.306 * math.Sqrt(math.Max(0, mach*mach-1)) * j.Spread
	if j.UnderExpansion >= 2.1 {
		j.Disk = 0.67 * math.Sqrt(supply/back)
	}
	if !finite(j.UnderExpansion, j.Spread, j.Cell, j.Disk) {
		return Jet{}, false
	}
	return j, true
}
