package trial

import (
	"math"
	"testing"
)

// Surfaces over two values, term by term, against R's lm.
func TestSurfaceAgainstR(t *testing.T) {
	surfaces := map[string]Surface{}
	for _, row := range rows(t, "surfaces.tsv", "") {
		a, b, y := numbers(t, row[2]), numbers(t, row[3]), numbers(t, row[4])
		var x [][]float64
		for i := range a {
			x = append(x, []float64{a[i], b[i]})
		}
		s, why := RespondTogether(x, y)
		if why != "" || s.Curved != (row[1] == "quadratic") || s.Points != len(y) {
			t.Fatalf("%s: %s, %+v", row[0], why, s)
		}
		surfaces[row[0]] = s
	}
	names := map[string][2]int{"a": {0, -1}, "b": {1, -1}, "ab": {0, 1}, "aa": {0, 0}, "bb": {1, 1}}
	seen := 0
	for _, row := range rows(t, "statistics-r.tsv", "term") {
		s := surfaces[row[0]]
		if row[1] == "1" {
			near(t, row[0]+" constant", s.constant, row[2], 1e-9)
			continue
		}
		for _, term := range s.Terms {
			if [2]int{term.I, term.J} == names[row[1]] {
				seen++
				near(t, row[0]+" "+row[1], term.Value, row[2], 1e-8)
				near(t, row[0]+" deviation of "+row[1], term.SD, row[3], 1e-8)
				near(t, row[0]+" p of "+row[1], term.P, row[4], 1e-6)
				if want := quantileT(float64(s.DF)) * term.SD; math.Abs(term.Half-want) > 1e-12 {
					t.Errorf("%s: half width %g, want %g", row[0], term.Half, want)
				}
			}
		}
	}
	if seen != 13 {
		t.Errorf("%d terms, want 13", seen)
	}
	for _, row := range rows(t, "statistics-r.tsv", "surface") {
		near(t, row[0]+" S", surfaces[row[0]].S, row[1], 1e-9)
		near(t, row[0]+" R2", surfaces[row[0]].R2, row[2], 1e-9)
	}
	for _, row := range rows(t, "statistics-r.tsv", "flat") {
		s := surfaces[row[0]]
		at, y, least, greatest, ok := s.Turn()
		if !ok || !least || greatest {
			t.Errorf("%s: %v %v, and it is a valley", row[0], at, ok)
			continue
		}
		near(t, row[0]+" first", at[0], row[1], 1e-8)
		near(t, row[0]+" second", at[1], row[2], 1e-8)
		near(t, row[0]+" figure", y, row[3], 1e-8)
	}
}

// Too little is refused with a word, and never fitted.
func TestSurfaceRefusals(t *testing.T) {
	for name, c := range map[string]struct {
		x [][]float64
		y []float64
	}{
		"nothing":          {nil, nil},
		"a value at rest":  {[][]float64{{1, 2}, {2, 2}, {3, 2}, {4, 2}, {5, 2}}, []float64{1, 2, 3, 4, 5}},
		"four cuts":        {[][]float64{{1, 1}, {1, 2}, {2, 1}, {2, 2}}, []float64{1, 2, 3, 4}},
		"values in step":   {[][]float64{{1, 1}, {2, 2}, {3, 3}, {4, 4}, {5, 5}, {6, 6}, {7, 7}}, []float64{1, 2, 3, 4, 5, 6, 7}},
		"a figure of none": {[][]float64{{1, 1}, {1, 2}, {2, 1}, {2, 2}, {1, 1}}, []float64{1, 2, math.NaN(), 4, 5}},
	} {
		if s, why := RespondTogether(c.x, c.y); why == "" {
			t.Errorf("%s is fitted: %+v", name, s)
		}
	}
}
