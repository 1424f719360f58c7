package physics

import (
	"math"
	"sync/atomic"
)

// Flow of a perfect gas without loss or heat: the relations of NACA Report 1135 (1953), equations 43–80. γ is the heat ratio of the
// gas, M the Mach number, p0 and T0 what the gas has at rest. Valid for 1.01 ≤ γ ≤ 1.67.

func heatRatioValid(gamma float64) bool { return gamma >= 1.01 && gamma <= 1.67 }

// CriticalRatio is p*/p0, the pressure in the throat over that at rest once the flow is choked: (2/(γ+1))^(γ/(γ−1)); 0.52828 for γ = 1.4.
func CriticalRatio(gamma float64) (float64, bool) {
	if !heatRatioValid(gamma) {
		return 0, false
	}
	return answer(math.Pow(2/(gamma+1), gamma/(gamma-1)))
}

// PressureRatio is p/p0 at a Mach number: (1 + (γ−1)/2 M²)^(−γ/(γ−1)).
func PressureRatio(mach, gamma float64) (float64, bool) {
	if !heatRatioValid(gamma) || !notNegative(mach) {
		return 0, false
	}
	return answer(math.Pow(1+(gamma-1)/2*mach*mach, -gamma/(gamma-1)))
}

// AreaRatio is A/A*, the area of the stream over that of its throat, at a Mach number:
// (1/M)·((2/(γ+1))·(1 + (γ−1)/2 M²))^((γ+1)/(2(γ−1))). It is 1 at M = 1 and more on both sides.
func AreaRatio(mach, gamma float64) (float64, bool) {
	if !heatRatioValid(gamma) || !positive(mach) {
		return 0, false
	}
	return answer(math.Pow(2/(gamma+1)*(1+(gamma-1)/2*mach*mach), (gamma+1)/(2*(gamma-1))) / mach)
}

// MachNumber is the Mach number of gas that has expanded to p/p0 = ratio: √(2/(γ−1)·(ratio^(−(γ−1)/γ) − 1)), for 0 < ratio ≤ 1.
func MachNumber(ratio, gamma float64) (float64, bool) {
	if !heatRatioValid(gamma) || !positive(ratio) || ratio > 1 {
		return 0, false
	}
	return answer(math.Sqrt(2 / (gamma - 1) * math.Expm1(-(gamma-1)/gamma*math.Log(ratio))))
}

// flux is the mass flux through a throat behind which the pressure is ratio·p0, as ṁ √(R T0)/(A p0), and whether the throat is choked:
//
//	subsonic  √(2γ/(γ−1) · r^(2/γ) · (1 − r^((γ−1)/γ)))
//	choked    √γ · (2/(γ+1))^((γ+1)/(2(γ−1)))
func flux(ratio, gamma float64) (psi float64, choked bool) {
	throat := throatOf(gamma)
	if ratio <= throat.critical {
		return throat.choked, true
	}
	logR := math.Log(ratio)
	return math.Sqrt(2*gamma/(gamma-1)*-math.Expm1((gamma-1)/gamma*logR)) * math.Exp(logR/gamma), false
}

// A throat is what [flux] takes of one gas, whatever its pressure.
type throat struct{ gamma, critical, choked float64 }

// throats are those that were worked out: of the few gases that a shop has.
var throats atomic.Pointer[[]throat]

const mostThroats = 16

func throatOf(gamma float64) throat {
	known := throats.Load()
	if known != nil {
		for _, t := range *known {
			if t.gamma == gamma {
				return t
			}
		}
	}
	t := throat{gamma: gamma, choked: math.Sqrt(gamma) * math.Pow(2/(gamma+1), (gamma+1)/(2*(gamma-1)))}
	t.critical, _ = CriticalRatio(gamma)
	more := []throat{t}
	if known != nil && len(*known) < mostThroats {
		more = append(more, *known...)
	}
	throats.CompareAndSwap(known, &more)
	return t
}
