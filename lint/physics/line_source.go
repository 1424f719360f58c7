package physics

import "math"

// A LineSource is a line of heat through a plate that moves across it: the classic model of conduction ahead of and beside a cut.
//
//	T − T0 = P/(2π k t) · exp(−v x/2κ) · K0(v r/2κ)
//
// P/t power taken up per thickness W/m, k conductivity W/(m·K), κ diffusivity m²/s, v speed m/s, x m along the travel, r m from the line.
// It holds for a plate heated alike through its thickness, with constants that do not change with temperature and no heat of fusion: an
// envelope, no more. Source: D. Rosenthal, Transactions of the ASME 68 (1946) 849–866.
type LineSource struct {
	Conductivity float64 // k, W/(m·K)
	Diffusivity  float64 // κ, m²/s
	Rise         float64 // from the plate's temperature to the melting point, K
}

// LineSource is the line source in this material, the plate at room temperature.
func (m Material) LineSource() LineSource {
	return LineSource{m.Conductivity.Value, m.Diffusivity(), m.Melting.Value - Room}
}

func (s LineSource) valid() bool { return positive(s.Conductivity, s.Diffusivity, s.Rise) }

// At the widest place of the isotherm, with R = v r/2κ, X = v x/2κ: dY/dX = 0 gives X = −R K0(R)/K1(R), and the isotherm itself
// exp(X) = T K0(R) with T = P/(2π k t ΔT). So R determines T and the width, each in one direction only.
//
// widest returns ln T and Y = v w/4κ for R.
func widest(r float64) (logT, y float64) {
	k0, k1, difference := bessel(r)
	behind := difference / k1 // 1 − K0/K1
	// exp(r) K0(r) = k0, so ln T = −R K0/K1 − ln K0(R) = R (1 − K0/K1) − ln k0.
	return r*behind - math.Log(k0), r * math.Sqrt(behind*(2-behind))
}

// Width is the width in m that melts (the widest place of the melting isotherm) where the line takes up power per thickness W/m and moves
// at speed m/s. Too little power to melt anything that could be measured is a width of 0.
func (s LineSource) Width(power, speed float64) (float64, bool) {
	if !s.valid() || !positive(power, speed) {
		return 0, false
	}
	logT := math.Log(power) - math.Log(2*math.Pi*s.Conductivity) - math.Log(s.Rise)
	const low, high = -600, 600 // of ln R
	if t, _ := widest(math.Exp(low)); logT <= t {
		return 0, true
	}
	logR, ok := root(func(logR float64) float64 { t, _ := widest(math.Exp(logR)); return t - logT }, low, high)
	if !ok {
		return 0, false
	}
	_, y := widest(math.Exp(logR))
	return answer(4 * y * s.Diffusivity / speed)
}

// Power is the power per thickness W/m that the line must take up to melt a width m at speed m/s; the inverse of Width. What a
// kerf takes beyond [MeltPower] is what leaves through the plate.
func (s LineSource) Power(width, speed float64) (float64, bool) {
	if !s.valid() || !positive(width, speed) {
		return 0, false
	}
	logY := math.Log(speed) + math.Log(width) - math.Log(4*s.Diffusivity)
	if !(math.Abs(logY) < 250) {
		return 0, false
	}
	// Y lies between R (slow) and √R (fast): a bracket for ln R.
	logR, ok := root(func(logR float64) float64 { _, y := widest(math.Exp(logR)); return math.Log(y) - logY },
		math.Min(logY, 2*logY)-5, math.Max(logY, 2*logY)+5)
	if !ok {
		return 0, false
	}
	logT, _ := widest(math.Exp(logR))
	return answer(2 * math.Pi * s.Conductivity * s.Rise * math.Exp(logT))
}

// PowerBound is a power per thickness W/m that [LineSource.Power] never exceeds, without the search for the isotherm: where the source is
// fast a strip takes v w/κ over [FastEfficiency], and where it is slow no more than 1.8 on top, all times k ΔT. The true power lies
// between. The 1.8 is the largest difference over all speeds, 1.796, found by going through them.
func (s LineSource) PowerBound(width, speed float64) (float64, bool) {
	if !s.valid() || !positive(width, speed) {
		return 0, false
	}
	return answer(s.Conductivity * s.Rise * (speed*width/s.Diffusivity/FastEfficiency + 1.8))
}

// FastEfficiency is the largest share of the power that a moving line of heat can leave in the metal it brings to the melting point: √(2/(π e)) = 0.4839.
// The rest has gone into the plate beside it. Reached where the source is fast; a cut may do better, since its jet carries melt
// away before the heat leaves it. Source: D. T. Swift-Hook and A. E. F. Gick, Welding Journal 52 (1973) 492-s–499-s.
const FastEfficiency = 0.48394144903828673

// Efficiency is the share of the power per thickness W/m that sits in a melted strip of that width m at speed m/s:
//
//	η = v w ΔT k / (κ P/t)
//
// Where w is [LineSource.Width] it rises with power and speed to [FastEfficiency].
func (s LineSource) Efficiency(power, width, speed float64) (float64, bool) {
	if !s.valid() || !positive(power, speed) || !notNegative(width) {
		return 0, false
	}
	return answer(speed * width / s.Diffusivity * s.Conductivity * s.Rise / power)
}
