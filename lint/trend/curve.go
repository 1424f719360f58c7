package trend

import "math"

// A Model is what is known of a curve before its points are seen. Logarithms make every number a share: 0.05 is 5 %.
type Model struct {
	Slope, SlopeSD float64 // of the line that the curve follows, and how surely
	Bend, Reach    float64 // how far the curve leaves the line, as a standard deviation, and over which length of x it bends
	Step           float64 // how far the level may jump from one group to another, as a standard deviation
	Shift          float64 // the same from one kind to another
	Noise          float64 // how far a point lies beside the curve, as a standard deviation
}

// levelSD leaves the level of a curve open: a factor of e^8 either way.
const levelSD = 8

// A Place is where a point stands on a curve.
type Place struct {
	X     float64
	Group int // points of one group have one level
	Kind  int // and so have points of one kind
}

// covariance of two values of the curve, the noise of a point apart.
func (m Model) covariance(a, b Place) float64 {
	c := levelSD*levelSD + m.SlopeSD*m.SlopeSD*a.X*b.X
	if m.Bend > 0 {
		d := (a.X - b.X) / m.Reach
		c += m.Bend * m.Bend * math.Exp(-d*d/2)
	}
	if a.Group == b.Group {
		c += m.Step * m.Step
	}
	if a.Kind == b.Kind {
		c += m.Shift * m.Shift
	}
	return c
}

// A Curve is a [Model] with the points that it goes through.
type Curve struct {
	model  Model
	at     []Place // X from the center on
	center float64
	level  float64   // taken off y, so that numbers stay small
	y      []float64 // less level and line
	inv    []float64 // inverse of the covariance of the points, row by row; shared, see inverse
	alpha  []float64 // inverse times y
}

// A Prediction is what a curve says of a point that it was not shown.
type Prediction struct {
	Value float64
	SD    float64 // standard deviation, the noise of a point included
}

// Fit lays a curve through points.
//
// It is a Gaussian process with a line as its mean: values are normal, and two of them go together the more the nearer they lie:
//
//	cov(i,j) = level² + slope² xi xj + bend² exp(-(xi-xj)²/(2 reach²)) + step² [same group] + shift² [same kind] + noise² [i = j]
//
// C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine Learning, MIT Press 2006, sections 2.2 and 2.7.
func Fit(m Model, at []Place, y []float64) *Curve {
	n := len(at)
	numbers := make([]float64, 2*n)
	c := &Curve{model: m, at: make([]Place, n), y: numbers[:n], alpha: numbers[n:]}
	for i := range at {
		c.alpha[i] = at[i].X
	}
	c.center = middle(c.alpha)
	for i := range at {
		c.at[i] = at[i]
		c.at[i].X -= c.center
		c.y[i] = y[i] - m.Slope*c.at[i].X
	}
	copy(c.alpha, c.y)
	c.level = middle(c.alpha)
	for i := range c.y {
		c.y[i] -= c.level
	}
	c.inv = m.inverse(c.at)
	times(c.inv, c.y, c.alpha)
	return c
}

// times puts a matrix times y into out. Four sums are made side by side, as in [invert].
func times(matrix, y, out []float64) {
	if allEqual(y) && len(y) > 0 && y[0] == 0 { // a plateau
		clear(out)
		return
	}
	n := len(y)
	i := 0
	for ; i+3 < n; i += 4 {
		a, b, c, d := matrix[i*n:][:n], matrix[(i+1)*n:][:n], matrix[(i+2)*n:][:n], matrix[(i+3)*n:][:n]
		var p, q, r, s float64
		for j, x := range y {
			p += a[j] * x
			q += b[j] * x
			r += c[j] * x
			s += d[j] * x
		}
		out[i], out[i+1], out[i+2], out[i+3] = p, q, r, s
	}
	for ; i < n; i++ {
		sum := 0.0
		for j, x := range y {
			sum += matrix[i*n+j] * x
		}
		out[i] = sum
	}
}

// At predicts a point at a place.
func (c *Curve) At(at Place) Prediction {
	n := len(c.at)
	at.X -= c.center
	cov := make([]float64, n)
	value := c.level + c.model.Slope*at.X
	for i := range n {
		cov[i] = c.model.covariance(at, c.at[i])
		value += cov[i] * c.alpha[i]
	}
	v := c.model.covariance(at, at) + c.model.Noise*c.model.Noise
	part := make([]float64, n)
	times(c.inv, cov, part)
	for i := range n {
		v -= cov[i] * part[i]
	}
	return Prediction{value, math.Sqrt(math.Max(v, 0))}
}

// LeaveOneOut predicts every point of the curve from all the others: what it would have said of the point had it never seen it.
// With K the covariance of the points, the point lies [K⁻¹y]i / [K⁻¹]ii beside the prediction, whose variance is 1 / [K⁻¹]ii
// (Rasmussen and Williams, section 5.4.2), so that none has to be left out in fact.
func (c *Curve) LeaveOneOut() []Prediction {
	n := len(c.at)
	out := make([]Prediction, n)
	for i := range n {
		d := c.inv[i*n+i]
		out[i] = Prediction{c.level + c.model.Slope*c.at[i].X + c.y[i] - c.alpha[i]/d, 1 / math.Sqrt(d)}
	}
	return out
}

// LeaveTwoOut says how much better the rest of the curve can bear two points with their values changed by di and dj than as they
// are: the fall of the squared distance, in standard deviations, of both together from their joint prediction.
func (c *Curve) LeaveTwoOut(i, j int, di, dj float64) (before, after float64) {
	n := len(c.at)
	a, b, d := c.inv[i*n+i], c.inv[i*n+j], c.inv[j*n+j]
	det := a*d - b*b
	// the points lie r = B⁻¹ (alpha i, alpha j) beside their joint prediction, whose covariance is B⁻¹ for B the block of K⁻¹
	ri, rj := (d*c.alpha[i]-b*c.alpha[j])/det, (a*c.alpha[j]-b*c.alpha[i])/det
	square := func(p, q float64) float64 { return a*p*p + 2*b*p*q + d*q*q }
	return square(ri, rj), square(ri+di, rj+dj)
}
