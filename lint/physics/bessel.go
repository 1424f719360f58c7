package physics

import "math"

// bessel works out the modified Bessel functions of the second kind K0 and K1, each times exp(x), and the difference K1 − K0 times
// exp(x), which cannot be had from the two where x is large.
//
//	exp(x) Kn(x) = ∫ exp(−x (cosh t − 1)) cosh(n t) dt,  t from 0 to ∞;  cosh t − 1 = 2 sinh²(t/2)
//
// The integrand is even, smooth and falls off faster than any exponential, so the trapezoidal rule converges geometrically; the step below
// leaves an error under 1e-14 of the value. Valid for 0 < x < 1e300.
// Source: NIST Digital Library of Mathematical Functions, 10.32.9
// (the integral); L. N. Trefethen and J. A. C. Weideman, SIAM Review 56 (2014) 385 (the rule). gonum keeps its own behind an internal package.
func bessel(x float64) (k0, k1, difference float64) {
	if x < 1e-8 { // what the series leaves out is below the last digit: K0 = −ln(x/2) − γ, K1 = 1/x
		const euler = 0.57721566490153286
		k0, k1 = math.Exp(x)*(-math.Log(x/2)-euler), math.Exp(x)/x
		return k0, k1, k1 - k0
	}
	h := math.Min(0.2, 0.6/math.Sqrt(x))
	k0, k1 = 0.5, 0.5 // half of the integrand at t = 0
	for i := 1; i < 2000; i++ {
		s := math.Sinh(float64(i) * h / 2)
		less := 2 * s * s
		f := math.Exp(-x * less)
		if f*(1+less) < 1e-17*k0 {
			break
		}
		k0 += f
		k1 += f * (1 + less)
		difference += f * less
	}
	return k0 * h, k1 * h, difference * h
}

// K0 is the modified Bessel function of the second kind of order nought, the shape of the heat around a line. It is false for x ≤ 0;
// beyond x = 745 it is too small for a float64 and comes out as 0. Formula and source as for [LineSource].
func K0(x float64) (float64, bool) {
	if !positive(x) {
		return 0, false
	}
	if x > 1e4 { // far beyond what can be told from nought
		return 0, true
	}
	k0, _, _ := bessel(x)
	return answer(k0 * math.Exp(-x))
}
