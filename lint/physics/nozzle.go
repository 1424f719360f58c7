package physics

import "math"

// UsualDischarge is the discharge coefficient to take for a cutting nozzle whose own is not known; real ones lie from 0.8 to 0.97.
// Trade judgement. A worn or nicked one is lower.
const UsualDischarge = 0.9

// A Nozzle is a converging nozzle with a round orifice. The ring of a double nozzle, through which more gas flows, is not in it.
type Nozzle struct {
	Diameter  float64 // of the orifice, m
	Discharge float64 // what flows over what would without loss, above 0 to 1
}

func (n Nozzle) valid() bool { return positive(n.Diameter, n.Discharge) && n.Discharge <= 1 }

// A Flow is what passes an orifice.
type Flow struct {
	Mass   float64 // kg/s
	Choked bool    // the throat is at the speed of sound: less pressure behind it draws no more
}

// Flow is what passes the nozzle from supply to back (absolute pressures, Pa) with the gas at rest at temperature K:
//
//	ṁ = Cd · A · p0 · Ψ / √(R T0)
//
// with Ψ of isentropic flow, choked where back/supply is at or below [CriticalRatio]. Equal pressures pass nothing; it is false where the
// supply is the lower one. The plate close below is not in it: a standoff under a quarter of the orifice throttles the flow.
// 1.0 mm at 0.207 bar passes 0.165 g/s of oxygen, 2.0 mm at 12 bar 8.5 g/s of nitrogen (Cd 0.9). Source: NACA Report 1135.
func (n Nozzle) Flow(g Gas, supply, back, temperature float64) (Flow, bool) {
	if !n.valid() || !g.valid() || !positive(supply, back, temperature) || back > supply {
		return Flow{}, false
	}
	if back == supply {
		return Flow{}, true
	}
	psi, choked := flux(back/supply, g.HeatRatio)
	mass, ok := answer(n.Discharge * diskArea(n.Diameter) * supply * psi / math.Sqrt(g.Constant()*temperature))
	if !ok {
		return Flow{}, false
	}
	return Flow{mass, choked}, true
}
