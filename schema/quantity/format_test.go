package quantity

import (
	"math"
	"math/big"
	"testing"
)

func TestIn(t *testing.T) {
	for _, test := range []struct {
		d                Dimension
		text, unit, want string
	}{
		{DimSpeed, "3.40 m/min", "m/min", "3.4 m/min"},
		{DimSpeed, "3.4 m/min", "mm/s", "56.67 mm/s"},
		{DimSpeed, "3.4 m/min", "in/min", "133.9 in/min"},
		{DimSpeed, "3.4 m/min", "mm/min", "3400 mm/min"},
		{DimLength, "1/8 in", "mm", "3.175 mm"},
		{DimLength, "1/64 in", "mm", "0.396875 mm"},
		{DimLength, "1/3 in", "mm", "8.467 mm"},
		{DimLength, "-1/3 in", "mm", "-8.467 mm"},
		{DimLength, "2.00 mm", "cm", "0.2 cm"},
		{DimLength, "0 mm", "in", "0 in"},
		{DimLength, "1 um", "m", "0.000001 m"},
		{DimLength, "1 um", "µm", "1 um"},
		{DimPressure, "50 psi", "bar", "3.447 bar"},
		{DimPressure, "50 psi", "Pa", "344700 Pa"},
		{DimPressure, "50 psig", "psi", "50 psi"},
		{DimPower, "1800 W", "kW", "1.8 kW"},
		{DimTemperature, "20 degC", "K", "293.15 K"},
		{DimTemperature, "293.15 K", "degC", "20 degC"},
		{DimTemperature, "0 K", "degC", "-273.15 degC"},
		{DimVolumeFlow, "18 m3/h", "L/min", "300 L/min"},
		// The edges of exact and rounded.
		{DimLength, "123456.789012 mm", "mm", "123456.789012 mm"}, // 12 digits
		{DimLength, "123456.7890123 mm", "mm", "123500 mm"},       // 13
		{DimLength, "120000000000000 mm", "mm", "120000000000000 mm"},
		{DimLength, "0.99999999999999 mm", "mm", "1 mm"},
		{DimLength, "9999.99999999999 mm", "mm", "10000 mm"},
		{DimLength, "1.000500000000001 mm", "mm", "1.001 mm"},
		{DimLength, "1.000499999999999 mm", "mm", "1 mm"},
	} {
		if got, err := parse(t, test.d, test.text).In(test.unit); err != nil || got != test.want {
			t.Errorf("%s in %s is shown as %q, %v; want %q", test.text, test.unit, got, err, test.want)
		}
	}
}

// Halves go away from zero. An exact half is short, so that In does not round it; FormatPair may.
func TestHalves(t *testing.T) {
	for half, want := range map[int64]string{10005: "1.001", -10005: "-1.001", 10015: "1.002", 99995: "10"} {
		if got := roundTo(big.NewRat(half, 10_000), 4); got != want {
			t.Errorf("%d/10000 rounds to %s, want %s", half, got, want)
		}
	}
}

func TestFormat(t *testing.T) {
	prefs := Prefs{DimLength: "mm", DimSpeed: "m/min", DimPressure: "bar", DimTime: "µs", DimPower: "bar", DimMass: "stone"}
	for _, test := range []struct {
		d          Dimension
		text, want string
	}{
		{DimLength, "1/8 in", "3.175 mm"},
		{DimSpeed, "134 in/min", "3.4036 m/min"},
		{DimPressure, "250 mbar", "0.25 bar"},
		{DimTime, "0.12 s", "120000 us"},
		{DimPower, "1.80kW", "1.8 kW"},     // the preference is of another dimension
		{DimMass, "12.50 g", "12.5 g"},     // or unknown
		{DimFrequency, "400 Hz", "400 Hz"}, // or missing
		{DimRatio, "35.0%", "35 %"},
	} {
		if got := parse(t, test.d, test.text).Format(prefs); got != test.want {
			t.Errorf("%s is shown as %q, want %q", test.text, got, test.want)
		}
	}
	for text, want := range map[string]string{"1/3in": "1/3 in", "  1   1/4  in ": "1 1/4 in", "0.1250 in": "0.125 in", "2.0 mm": "2 mm"} {
		if got := parse(t, DimLength, text).Format(nil); got != want {
			t.Errorf("%q is shown as %q, want %q", text, got, want)
		}
		if got := parse(t, DimLength, text).Format(Prefs{DimLength: "in"}); text != "2.0 mm" && got != want {
			t.Errorf("%q is shown in inches as %q, want %q", text, got, want)
		}
	}
	if got := (Value{}).Format(prefs); got != "" {
		t.Errorf("no value is shown as %q", got)
	}
}

func TestFormatPair(t *testing.T) {
	for _, test := range []struct{ v, w, a, b string }{
		{"50 psi", "51 psi", "3.447 bar", "3.516 bar"},
		{"50 psi", "50.001 psi", "3.44738 bar", "3.44745 bar"},
		{"50 psi", "50.0 psi", "3.447 bar", "3.447 bar"},
		{"0.25 bar", "250 mbar", "0.25 bar", "0.25 bar"},
	} {
		a, b := FormatPair(parse(t, DimPressure, test.v), parse(t, DimPressure, test.w), Prefs{DimPressure: "bar"})
		if a != test.a || b != test.b {
			t.Errorf("%s and %s are shown as %q and %q, want %q and %q", test.v, test.w, a, b, test.a, test.b)
		}
	}
	if a, b := FormatPair(parse(t, DimLength, "1/8 in"), parse(t, DimLength, "3.175 mm"), nil); a != "1/8 in" || b != a {
		t.Errorf("1/8 in and 3.175 mm are shown as %q and %q", a, b)
	}
	if a, b := FormatPair(Value{}, parse(t, DimPressure, "1 bar"), nil); a != "" || b != "1 bar" {
		t.Errorf("no value and 1 bar are shown as %q and %q", a, b)
	}
}

func TestDecimal(t *testing.T) {
	for _, test := range []struct {
		text, unit, want string
		ok               bool
	}{
		{"1/8 in", "mm", "3.175", true},
		{"3.0 mm", "mm", "3", true},
		{"1/3 in", "mm", "", false},
		{"1/4096 in", "mm", "0.006201171875", true}, // 25.4/4096, by hand
		{"3 mm", "bar", "", false},
	} {
		if got, ok := parse(t, DimLength, test.text).Decimal(test.unit); got != test.want || ok != test.ok {
			t.Errorf("%s is exactly %q, %v in %s; want %q, %v", test.text, got, ok, test.unit, test.want, test.ok)
		}
	}
}

func TestComputedValues(t *testing.T) {
	speed := parse(t, DimSpeed, "3.4 m/min")
	if got := speed.Scale(1, 2).Text(); got != "1.7 m/min" {
		t.Errorf("half of 3.4 m/min is %q", got)
	}
	if got := speed.Sub(parse(t, DimSpeed, "3 m/min")).Text(); got != "0.4 m/min" {
		t.Errorf("3.4 - 3 m/min is %q", got)
	}
	if got := parse(t, DimPower, "6 kW").Times(parse(t, DimRatio, "35 %")).Text(); got != "2.1 kW" {
		t.Errorf("35 %% of 6 kW is %q", got)
	}
	if got := parse(t, DimTemperature, "25 degC").Sub(parse(t, DimTemperature, "20 degC")).Text(); got != "5 K" {
		t.Errorf("25 degC - 20 degC is %q", got)
	}
	power := parse(t, DimPower, "1 W")
	for name, v := range map[string]Value{
		"another dimension": speed.Sub(power), "from nothing": Value{}.Sub(Value{}), "nothing scaled": Value{}.Scale(1, 2),
		"over zero": speed.Scale(1, 0), "no ratio": speed.Times(power), "nothing shared": Value{}.Times(parse(t, DimRatio, "1 %")),
	} {
		if !v.IsZero() || v.Text() != "" || v.Canonical() != "" || v.SI() != 0 || v.Unit() != "" {
			t.Errorf("%s gives %q", name, v.Text())
		}
	}
	v, err := FromSI(DimPower, 1234.5678, "kW")
	if err != nil || v.Text() != "1.235 kW" || v.SI() != 1234.5678 {
		t.Errorf("FromSI = %v (%v W), %v", v, v.SI(), err)
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if v, err := FromSI(DimPower, bad, "kW"); err == nil {
			t.Errorf("FromSI(%v) = %v", bad, v)
		}
	}
	if _, err := FromSI(DimPower, 1, "bar"); err == nil {
		t.Error("FromSI took a power in bar")
	}
	// A number is the caller's before and after, whether it fits int64 or not.
	for _, number := range []string{"1/3", "100000000000000000000/3"} {
		r, _ := new(big.Rat).SetString(number)
		v, _ = FromRat(DimLength, r, "mm")
		r.SetInt64(7)
		v.Rat().SetInt64(9)
		if v.Canonical() != number+" m" {
			t.Errorf("a value of %s m became %s", number, v.Canonical())
		}
	}
	if v, _ = FromRat(DimLength, big.NewRat(1, 3), "mm"); v.Text() != "333.3 mm" {
		t.Errorf("1/3 m is %s", v.Text())
	}
}
