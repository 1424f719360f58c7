package trial

import (
	"math"
	"slices"
)

// A Fit is a straight line or a parabola through measured points by least squares. It is kept as orthogonal polynomials of the
// points, so that numbers far from nought (pascals, watts) cost no digits.
type Fit struct {
	Degree int
	Points int
	DF     int     // degrees of freedom that are left
	S      float64 // residual standard deviation
	R2     float64
	Low    float64 // least and greatest x that was measured
	High   float64

	mid, scale float64    // u = (x − mid)/scale lies in −1 … 1
	a, b       float64    // the second polynomial is u² − a·u − b
	beta, sum2 [3]float64 // coefficient and sum of squares of each polynomial
}

// Polynomial fits y over x with degree 1 or 2. It is false where the points do not allow it: fewer than degree+1 different x, no
// degree of freedom left, or a number that is none.
//
// Forsythe, Generation and use of orthogonal polynomials for data-fitting with a digital computer, Journal of the Society for
// Industrial and Applied Mathematics 5 (1957).
func Polynomial(x, y []float64, degree int) (Fit, bool) {
	if len(x) != len(y) || degree < 1 || degree > 2 || len(x) < degree+2 || distinct(x) < degree+1 || !finite(x) || !finite(y) {
		return Fit{}, false
	}
	f := Fit{Degree: degree, Points: len(x), DF: len(x) - degree - 1, Low: slices.Min(x), High: slices.Max(x)}
	n := float64(len(x))
	for _, v := range x {
		f.mid += v / n
	}
	for _, v := range x {
		f.scale = max(f.scale, math.Abs(v-f.mid))
	}
	u := make([]float64, len(x))
	var u2, u3 float64
	for i, v := range x {
		u[i] = (v - f.mid) / f.scale
		u2 += u[i] * u[i]
		u3 += u[i] * u[i] * u[i]
	}
	f.a, f.b = u3/u2, u2/n
	rest := slices.Clone(y)
	for k := range degree + 1 {
		var along float64
		for i := range u {
			p := f.basis(u[i])[k]
			along += p * rest[i]
			f.sum2[k] += p * p
		}
		f.beta[k] = along / f.sum2[k]
		for i := range u {
			rest[i] -= f.beta[k] * f.basis(u[i])[k]
		}
	}
	var left, total float64
	for i := range y {
		left += rest[i] * rest[i]
		total += (y[i] - f.beta[0]) * (y[i] - f.beta[0])
	}
	f.S = math.Sqrt(left / float64(f.DF))
	f.R2 = 1
	if total > 0 {
		f.R2 = 1 - left/total
	}
	return f, true
}

func distinct(x []float64) int {
	return len(slices.Compact(slices.Sorted(slices.Values(x))))
}

func (f Fit) basis(u float64) [3]float64 { return [3]float64{1, u, u*u - f.a*u - f.b} }

// along returns a linear function of the coefficients with the half width of its interval.
func (f Fit) along(weights [3]float64) (value, half float64) {
	variance := 0.0
	for k := range f.Degree + 1 {
		value += weights[k] * f.beta[k]
		variance += weights[k] * weights[k] / f.sum2[k]
	}
	return value, quantileT(float64(f.DF)) * f.S * math.Sqrt(variance)
}

// At is the mean to be expected at x, with the half width of its interval.
func (f Fit) At(x float64) (value, half float64) { return f.along(f.basis((x - f.mid) / f.scale)) }

// Slope is how much y changes per x at x, with the half width of its interval.
func (f Fit) Slope(x float64) (value, half float64) {
	u := (x - f.mid) / f.scale
	return f.along([3]float64{0, 1 / f.scale, (2*u - f.a) / f.scale})
}

// Coefficients are those of 1, x and x², with their standard deviations.
func (f Fit) Coefficients() (value, sd [3]float64) {
	m, s := f.mid, f.scale
	rows := [3][3]float64{ // of each power of x, over the polynomials
		{1, -m / s, m*m/(s*s) + f.a*m/s - f.b},
		{0, 1 / s, -2*m/(s*s) - f.a/s},
		{0, 0, 1 / (s * s)},
	}
	for i, row := range rows {
		variance := 0.0
		for k := range f.Degree + 1 {
			value[i] += row[k] * f.beta[k]
			variance += row[k] * row[k] / f.sum2[k]
		}
		sd[i] = f.S * math.Sqrt(variance)
	}
	return value, sd
}

// P is the two-sided chance of a highest term at least as large where there is none.
func (f Fit) P() float64 {
	k := f.Degree
	switch {
	case f.S > 0:
		return twoSided(f.beta[k]*math.Sqrt(f.sum2[k])/f.S, float64(f.DF))
	case f.beta[k] == 0:
		return 1
	}
	return 0
}

// Turn is where a parabola turns, with the half width of its interval by the delta method. It is false for a line, and where the
// turn lies outside of what was measured.
func (f Fit) Turn() (x, half float64, ok bool) {
	if f.Degree < 2 || f.beta[2] == 0 {
		return 0, 0, false
	}
	b1, b2 := f.beta[1], f.beta[2]
	u := f.a/2 - b1/(2*b2)
	variance := 1/(4*b2*b2*f.sum2[1]) + b1*b1/(4*b2*b2*b2*b2*f.sum2[2])
	x = f.mid + f.scale*u
	return x, quantileT(float64(f.DF)) * f.S * math.Sqrt(variance) * f.scale, x > f.Low && x < f.High
}

// Least reports whether a turn is a minimum.
func (f Fit) Least() bool { return f.Degree == 2 && f.beta[2] > 0 }

// significant is how rare a term has to be by chance to be taken for real.
const significant = 1 - Confidence

// Respond fits a measured figure over the value that was varied: a parabola where the curvature stands out from the scatter, else a
// line. Where the points do not allow a fit, why says what they lack.
func Respond(x, y []float64) (f Fit, why string) {
	levels := distinct(x)
	switch {
	case len(x) < 4:
		return Fit{}, "fewer than 4 measured cuts"
	case levels < 3:
		return Fit{}, "fewer than 3 different values"
	}
	if levels >= 4 && len(x) >= 5 {
		if f, ok := Polynomial(x, y, 2); ok && f.P() < significant {
			return f, ""
		}
	}
	f, ok := Polynomial(x, y, 1)
	if !ok {
		return Fit{}, "the numbers do not allow it"
	}
	return f, ""
}

// Clear reports whether the highest term stands out from the scatter.
func (f Fit) Clear() bool { return f.P() < significant }
