package quantity

import (
	"math"
	"math/big"
	"os"
	"strconv"
	"strings"
	"testing"
)

// TestConversionsOfOthers holds every conversion to GNU units and pint: testdata/outside/units/make.sh asks them.
func TestConversionsOfOthers(t *testing.T) {
	file, err := os.ReadFile("../../testdata/outside/units/conversions.tsv")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for line := range strings.Lines(string(file)) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		column := strings.Split(strings.TrimSuffix(line, "\n"), "\t")
		if len(column) != 6 {
			t.Fatalf("not a row of six columns: %q", line)
		}
		d, ok := DimensionNamed(column[0])
		if !ok {
			t.Fatalf("unknown dimension: %q", line)
		}
		number, from, to, pint, gnu := column[1], column[2], column[3], column[4], column[5]
		got := convert(t, d, number, from, to)
		seen[from] = true
		if pint != "-" {
			if want, _ := new(big.Rat).SetString(pint); got.Cmp(want) != 0 {
				t.Errorf("%s %s in %s = %s, pint says %s", number, from, to, got.RatString(), pint)
			}
		}
		want, err := strconv.ParseFloat(gnu, 64)
		if err != nil {
			t.Fatal(err)
		}
		tolerance := 1e-12 * math.Abs(want)
		if d == DimTemperature {
			tolerance = math.Max(tolerance, 1e-12*300) // the offset costs GNU units digits near 0 degC
		}
		if f, _ := got.Float64(); math.Abs(f-want) > tolerance {
			t.Errorf("%s %s in %s = %v, GNU units says %s", number, from, to, f, gnu)
		}
	}
	for _, u := range units[1:] {
		if !seen[u.name] {
			t.Errorf("conversions.tsv has no row for %s", u.name)
		}
	}
}

// convert does what a row says through the exported API. Some SI units are not read from text.
func convert(t *testing.T, d Dimension, number, from, to string) *big.Rat {
	t.Helper()
	var v Value
	if _, ok := UnitDimension(from); ok {
		v = parse(t, d, number+" "+from)
	} else {
		r, ok := new(big.Rat).SetString(number)
		if !ok || from != d.SI() {
			t.Fatalf("%s %s: not a number of SI units", number, from)
		}
		v, _ = FromRat(d, r, Units(d)[0])
	}
	if to == d.SI() {
		return v.Rat()
	}
	id, err := unitOf(d, to)
	if err != nil {
		t.Fatal(err)
	}
	if f, err := v.Number(to); err != nil || f != id.fromSI(v.si).float() {
		t.Errorf("Number(%s) of %v = %v, %v", to, v, f, err)
	}
	return id.fromSI(v.si).big()
}

// TestFactorsOfNIST compares with the factors of NIST Special Publication 811 (2008), appendix B.8, as printed: seven digits,
// exact where it prints them in bold. Typed from memory, but for psi, which was looked up.
func TestFactorsOfNIST(t *testing.T) {
	for _, test := range []struct {
		d     Dimension
		one   string
		si    float64
		exact bool
	}{
		{DimLength, "1 in", 2.54e-2, true},           // inch (in) to meter (m)
		{DimLength, "1 cm", 1e-2, true},              // centimeter to meter, by its prefix
		{DimLength, "1 um", 1e-6, true},              // micron to meter
		{DimLength, "0.001 in", 2.54e-5, true},       // mil (0.001 in) to meter
		{DimSpeed, "60 in/min", 2.54e-2, true},       // inch per second to meter per second
		{DimPressure, "1 psi", 6.894757e3, false},    // pound-force per square inch to pascal
		{DimPressure, "1000 psi", 6.894757e6, false}, // kip per square inch to pascal
		{DimPressure, "1 bar", 1e5, true},
		{DimPressure, "1 mbar", 1e2, true},
		{DimTime, "1 min", 6e1, true},
		{DimVolumeFlow, "1 L/min", 1e-3 / 60, true}, // liter to cubic meter, minute to second
		{DimVolumeFlow, "1 m3/h", 1.0 / 3600, true}, // hour to second
		{DimTemperature, "0 degC", 273.15, true},    // T/K = t/°C + 273.15
		{DimTemperature, "-273.15 degC", 0, true},
	} {
		got := parse(t, test.d, test.one).SI()
		if test.exact && got != test.si || math.Abs(got-test.si) > 0.5e-6*test.si {
			t.Errorf("%s = %v %s, NIST SP 811 says %v", test.one, got, test.d.SI(), test.si)
		}
	}
}

// TestPsiIsExact derives the psi from its definition in the opposite order: 1 lbf = 4.4482216152605 N exactly (NIST SP 811,
// appendix B.8, footnote on the pound-force), over (0.0254 m)².
func TestPsiIsExact(t *testing.T) {
	lbf, _ := new(big.Rat).SetString("4.4482216152605")
	in, _ := new(big.Rat).SetString("0.0254")
	want := lbf.Quo(lbf, in.Mul(in, in))
	if got := parse(t, DimPressure, "1 psi").Rat(); got.Cmp(want) != 0 {
		t.Errorf("1 psi = %s Pa, want %s", got.RatString(), want.RatString())
	}
}

func parse(t *testing.T, d Dimension, text string) Value {
	t.Helper()
	v, err := Parse(d, text)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
