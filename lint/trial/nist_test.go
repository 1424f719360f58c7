package trial

import (
	"math"
	"testing"
)

// Sets of the NIST Statistical Reference Datasets, linear least squares regression (Norris.dat, Pontius.dat), with their certified
// values, as NIST publishes them.
var nist = []struct {
	name      string
	degree    int
	x, y      []float64
	value, sd []float64
	s, r2     float64
}{
	{
		name: "Norris", degree: 1,
		y: []float64{0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3, 0.1, 778.1, 668.8, 339.3, 448.9, 10.8,
			557.7, 228.3, 998.0, 888.8, 119.6, 0.3, 0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2},
		x: []float64{0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4, 0.6, 775.5, 666.9, 338.0, 447.5, 11.6,
			556.0, 228.1, 995.8, 887.6, 120.2, 0.3, 0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5},
		value: []float64{-0.262323073774029, 1.00211681802045}, sd: []float64{0.232818234301152, 0.000429796848199937},
		s: 0.884796396144373, r2: 0.999993745883712,
	},
	{
		name: "Pontius", degree: 2,
		y: []float64{.11019, .21956, .32949, .43899, .54803, .65694, .76562, .87487, .98292, 1.09146, 1.20001, 1.30822, 1.41599, 1.52399, 1.63194,
			1.73947, 1.84646, 1.95392, 2.06128, 2.16844, .11052, .22018, .32939, .43886, .54798, .65739, .76596, .87474, .98300, 1.09150, 1.20004,
			1.30818, 1.41613, 1.52408, 1.63159, 1.73965, 1.84696, 1.95445, 2.06177, 2.16829},
		x: []float64{150000, 300000, 450000, 600000, 750000, 900000, 1050000, 1200000, 1350000, 1500000, 1650000, 1800000, 1950000, 2100000, 2250000,
			2400000, 2550000, 2700000, 2850000, 3000000, 150000, 300000, 450000, 600000, 750000, 900000, 1050000, 1200000, 1350000, 1500000, 1650000,
			1800000, 1950000, 2100000, 2250000, 2400000, 2550000, 2700000, 2850000, 3000000},
		value: []float64{0.673565789473684e-3, 0.732059160401003e-6, -0.316081871345029e-14},
		sd:    []float64{0.107938612033077e-3, 0.157817399981659e-9, 0.486652849992036e-16},
		s:     0.205177424076185e-3, r2: 0.999999900178537,
	},
}

func TestFitAgainstNIST(t *testing.T) {
	for _, set := range nist {
		f, ok := Polynomial(set.x, set.y, set.degree)
		if !ok {
			t.Fatalf("%s: no fit", set.name)
		}
		value, sd := f.Coefficients()
		check := func(what string, got, want float64) {
			if digits := -math.Log10(math.Abs(got-want) / math.Abs(want)); digits < 10 {
				t.Errorf("%s: %s is %.15g, certified %.15g: %.1f digits", set.name, what, got, want, digits)
			}
		}
		for i := range set.value {
			check("a coefficient", value[i], set.value[i])
			check("its deviation", sd[i], set.sd[i])
		}
		check("the residual deviation", f.S, set.s)
		check("R²", f.R2, set.r2)
	}
}

// The worked example of the NIST/SEMATECH e-Handbook 7.3.1: minutes to assemble a device, with means, t and degrees of freedom as printed.
func TestWelchAgainstTheHandbook(t *testing.T) {
	old := []float64{32, 37, 35, 28, 41, 44, 35, 31, 34, 38, 42}
	now := []float64{36, 31, 30, 31, 34, 36, 29, 32, 31}
	w, ok := Welch(now, old)
	if !ok || math.Abs(w.MeanB-36.0909) > 5e-5 || math.Abs(w.MeanA-32.2222) > 5e-5 || math.Abs(w.T-2.2694) > 5e-5 || math.Abs(w.DF-15.5) > 0.05 {
		t.Errorf("%+v", w)
	}
}
