package physics

import "math"

// root finds where f crosses nought between a and b, by the method of Ridders (C. Ridders, IEEE Transactions on Circuits and Systems 26,
// 1979, 979–980), which never leaves the bracket and doubles the digits at each step on a smooth curve. Where that stalls it halves. It is false
// if f has the same sign at both ends or is not a number somewhere.
//
// gonum has no root finder for one variable.
func root(f func(float64) float64, a, b float64) (float64, bool) {
	fa, fb := f(a), f(b)
	switch {
	case fa == 0:
		return a, true
	case fb == 0:
		return b, true
	case math.IsNaN(fa) || math.IsNaN(fb) || (fa > 0) == (fb > 0):
		return 0, false
	}
	for range 200 {
		m := a + (b-a)/2
		if m == a || m == b {
			return m, true
		}
		fm := f(m)
		if fm == 0 {
			return m, true
		}
		if math.IsNaN(fm) {
			return 0, false
		}
		// The larger of the three is taken out first, so that no square overflows.
		scale := math.Max(math.Abs(fm), math.Max(math.Abs(fa), math.Abs(fb)))
		ra, rb, rm := fa/scale, fb/scale, fm/scale
		x, fx := m, fm
		if s := math.Sqrt(rm*rm - ra*rb); s > 0 {
			step := (m - a) * rm / s
			if ra < rb {
				step = -step
			}
			if guess := m + step; guess > math.Min(a, b) && guess < math.Max(a, b) {
				x, fx = guess, f(guess)
			}
		}
		if fx == 0 {
			return x, true
		}
		if math.IsNaN(fx) {
			return 0, false
		}
		before := math.Abs(b - a)
		// Keep the narrowest of the brackets that a, m, x and b make.
		lo, flo, hi, fhi := m, fm, x, fx
		if (flo > 0) == (fhi > 0) {
			if (fa > 0) != (fm > 0) {
				lo, flo = a, fa
				hi, fhi = nearer(a, m, fm, x, fx)
			} else {
				lo, flo = b, fb
				hi, fhi = nearer(b, m, fm, x, fx)
			}
		}
		a, fa, b, fb = lo, flo, hi, fhi
		width := math.Abs(b - a)
		if width <= 4e-16*math.Abs(x) || width >= before { // no float64 lies between, or nothing was gained
			return x, true
		}
	}
	return a + (b-a)/2, true
}

// nearer is whichever of the places p and q lies nearer to the end, with its value.
func nearer(end, p, fp, q, fq float64) (float64, float64) {
	if math.Abs(p-end) < math.Abs(q-end) {
		return p, fp
	}
	return q, fq
}
