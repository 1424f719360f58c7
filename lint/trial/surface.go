package trial

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// A Surface is a figure over several values that were varied together: a plane with what two values do to each other, and curved where
// there are steps enough. Values are coded, -1 at the lowest and 1 at the highest.
type Surface struct {
	Low, High []float64 // of each value
	Terms     []Term
	Curved    bool
	Points    int
	DF        int
	S, R2     float64
	constant  float64
}

// A Term is one coefficient with its interval. I and J name values: x[I] where J is -1, else x[I]·x[J], the square where both are one.
type Term struct {
	I, J            int
	Value, Half, SD float64
	P               float64 // two-sided
}

// Clear reports whether a term stands out from the scatter.
func (t Term) Clear() bool { return t.P < significant }

// RespondTogether fits a figure over several values: x has a row for each cut. It takes the full quadratic where every value has three
// steps and two degrees of freedom are left, else a plane with products of two, else a plane. Why says what the cuts lack.
//
// Least squares by QR. Box and Wilson, On the experimental attainment of optimum conditions, Journal of the Royal Statistical Society B
// 13 (1951).
func RespondTogether(x [][]float64, y []float64) (s Surface, why string) {
	if len(x) == 0 || len(x) != len(y) || !finite(y) {
		return Surface{}, "nothing measured"
	}
	k := len(x[0])
	least := math.MaxInt
	for i := range k {
		column := make([]float64, len(x))
		for r := range x {
			column[r] = x[r][i]
		}
		if !finite(column) {
			return Surface{}, "nothing measured"
		}
		s.Low, s.High = append(s.Low, slices.Min(column)), append(s.High, slices.Max(column))
		least = min(least, distinct(column))
	}
	if least < 2 {
		return Surface{}, "one of the values was not varied"
	}
	plane, products, squares := terms(k)
	for _, model := range [][]Term{slices.Concat(plane, products, squares), slices.Concat(plane, products), plane} {
		curved := len(model) > len(plane)+len(products)
		if curved && least < 3 || len(x) < len(model)+3 {
			continue
		}
		if s.fit(x, y, model) {
			s.Curved = curved
			return s, ""
		}
	}
	return Surface{}, "too few measured cuts for so many values"
}

func terms(k int) (plane, products, squares []Term) {
	for i := range k {
		plane = append(plane, Term{I: i, J: -1})
		squares = append(squares, Term{I: i, J: i})
		for j := i + 1; j < k; j++ {
			products = append(products, Term{I: i, J: j})
		}
	}
	return plane, products, squares
}

func (s *Surface) coded(row []float64, i int) float64 {
	return (2*row[i] - s.Low[i] - s.High[i]) / (s.High[i] - s.Low[i])
}

func (s *Surface) column(t Term, row []float64) float64 {
	v := s.coded(row, t.I)
	if t.J >= 0 {
		v *= s.coded(row, t.J)
	}
	return v
}

// fit solves the least squares; false where the cuts leave a term open.
func (s *Surface) fit(x [][]float64, y []float64, model []Term) bool {
	n, p := len(x), len(model)+1
	design := mat.NewDense(n, p, nil)
	for r := range x {
		design.Set(r, 0, 1)
		for c, t := range model {
			design.Set(r, c+1, s.column(t, x[r]))
		}
	}
	var qr mat.QR
	qr.Factorize(design)
	if qr.Cond() > 1e10 {
		return false
	}
	var beta mat.VecDense
	if err := qr.SolveVecTo(&beta, false, mat.NewVecDense(n, y)); err != nil {
		return false
	}
	var fitted mat.VecDense
	fitted.MulVec(design, &beta)
	var left, total, mean float64
	for _, v := range y {
		mean += v / float64(n)
	}
	for r, v := range y {
		left += (v - fitted.AtVec(r)) * (v - fitted.AtVec(r))
		total += (v - mean) * (v - mean)
	}
	s.Points, s.DF = n, n-p
	s.S, s.R2 = math.Sqrt(left/float64(n-p)), 1
	if total > 0 {
		s.R2 = 1 - left/total
	}
	var square, inverse mat.Dense
	square.Mul(design.T(), design)
	if err := inverse.Inverse(&square); err != nil {
		return false
	}
	s.constant = beta.AtVec(0)
	s.Terms = slices.Clone(model)
	for c := range s.Terms {
		t := &s.Terms[c]
		t.Value, t.SD = beta.AtVec(c+1), s.S*math.Sqrt(inverse.At(c+1, c+1))
		t.Half = quantileT(float64(s.DF)) * t.SD
		switch {
		case t.SD > 0:
			t.P = twoSided(t.Value/t.SD, float64(s.DF))
		case t.Value == 0:
			t.P = 1
		}
	}
	return true
}

// Turn is where a curved surface is flat, in plain values. It is false where that lies outside of what was cut; least tells a valley from
// a hill, and neither from a saddle.
func (s *Surface) Turn() (at []float64, y float64, least, greatest, ok bool) {
	k := len(s.Low)
	if !s.Curved {
		return nil, 0, false, false, false
	}
	slope, bend := mat.NewVecDense(k, nil), mat.NewSymDense(k, nil)
	for _, t := range s.Terms {
		switch {
		case t.J < 0:
			slope.SetVec(t.I, -t.Value)
		case t.I == t.J:
			bend.SetSym(t.I, t.I, 2*t.Value)
		default:
			bend.SetSym(t.I, t.J, t.Value)
		}
	}
	var u mat.VecDense
	if err := u.SolveVec(bend, slope); err != nil {
		return nil, 0, false, false, false
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(bend, false) {
		return nil, 0, false, false, false
	}
	values := eigen.Values(nil)
	y = s.constant
	for i := range k {
		if math.Abs(u.AtVec(i)) > 1 {
			return nil, 0, false, false, false
		}
		at = append(at, (s.Low[i]+s.High[i]+u.AtVec(i)*(s.High[i]-s.Low[i]))/2)
	}
	for _, t := range s.Terms {
		y += t.Value * s.column(t, at)
	}
	return at, y, slices.Min(values) > 0, slices.Max(values) < 0, true
}
