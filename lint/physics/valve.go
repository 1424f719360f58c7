package physics

import "math"

// A Valve is a proportional valve as ISO 6358-1 describes it, wide open.
type Valve struct {
	Conductance float64 // C, sonic conductance with air, m³/(s·Pa) ANR; 1 dm³/(s·bar) is 1e-8
	Critical    float64 // b, pressure ratio at and below which it is choked, 0 to below 1
}

func (v Valve) valid() bool {
	return positive(v.Conductance) && v.Critical >= 0 && v.Critical < 1
}

// Density of air at ANR, ISO 8778 (with 65 % humidity), kg/m³.
const airANR = 1.185

// Flow is the most that the valve passes from upstream to downstream (absolute pressures, Pa), the gas at temperature K upstream:
//
//	p2/p1 ≤ b   ṁ = C · ρ0 · p1 · √(T0/T1)
//	p2/p1 > b   … · √(1 − ((p2/p1 − b)/(1 − b))²)
//
// with ρ0 and T0 of air at ANR. Another gas than air is converted as through one throat of the same size, by Ψ/√R with Ψ of
// choked flow; b is left as it is, though it moves a little with the gas. Source: ISO 6358-1:2013, 5; conversion by isentropic flow.
func (v Valve) Flow(g Gas, upstream, downstream, temperature float64) (Flow, bool) {
	if !v.valid() || !g.valid() || !positive(upstream, downstream, temperature) || downstream > upstream {
		return Flow{}, false
	}
	air, ok := GasNamed("air")
	if !ok {
		return Flow{}, false
	}
	psi, _ := flux(0, g.HeatRatio)
	psiAir, _ := flux(0, air.HeatRatio)
	other := psi / psiAir * math.Sqrt(air.Constant()/g.Constant())
	mass := v.Conductance * airANR * upstream * math.Sqrt(ANR.Temperature/temperature) * other
	ratio := downstream / upstream
	if ratio > v.Critical {
		x := (ratio - v.Critical) / (1 - v.Critical)
		mass *= math.Sqrt((1 - x) * (1 + x))
	}
	mass, ok = answer(mass)
	if !ok {
		return Flow{}, false
	}
	return Flow{mass, ratio <= v.Critical}, true
}

// Holds is the highest pressure (absolute, Pa) that the valve can keep at the nozzle, fed from a line at that absolute pressure Pa: where the
// valve, wide open, passes just what the nozzle lets out against back (absolute, Pa). What the hoses between lose is not in it. Temperature K is the gas's in the line.
//
// With more pressure at the nozzle the valve passes less and the nozzle more, so there is one such pressure, between back and line. It is false
// where the line is not above back.
func (v Valve) Holds(g Gas, line float64, n Nozzle, back, temperature float64) (float64, bool) {
	if !v.valid() || !n.valid() || !g.valid() || !positive(line, back, temperature) || line <= back {
		return 0, false
	}
	p, ok := root(func(p float64) float64 {
		in, ok := v.Flow(g, line, math.Min(p, line), temperature)
		out, ok2 := n.Flow(g, math.Max(p, back), back, temperature)
		if !ok || !ok2 {
			return math.NaN()
		}
		return in.Mass - out.Mass
	}, back, line)
	if !ok {
		return 0, false
	}
	return answer(p)
}
