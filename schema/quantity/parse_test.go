package quantity

import (
	"errors"
	"slices"
	"strings"
	"testing"
)

func TestParse(t *testing.T) {
	for _, test := range []struct {
		d                     Dimension
		text, canonical, unit string
	}{
		{DimSpeed, "3.4 m/min", "17/300 m/s", "m/min"},
		{DimSpeed, "3.40m/min", "17/300 m/s", "m/min"},
		{DimSpeed, "  3.4   m/min ", "17/300 m/s", "m/min"},
		{DimSpeed, "0 mm/s", "0 m/s", "mm/s"},
		{DimSpeed, "-0 mm/s", "0 m/s", "mm/s"},
		{DimPower, "6 kW", "6000 W", "kW"},
		{DimPower, "0 W", "0 W", "W"},
		{DimLength, "-25 mm", "-1/40 m", "mm"},
		{DimLength, "1/8 in", "127/40000 m", "in"},
		{DimLength, "1/8in", "127/40000 m", "in"},
		{DimLength, "-1/8 in", "-127/40000 m", "in"},
		{DimLength, "1 1/4 in", "127/4000 m", "in"},
		{DimLength, "-1  1/4  in", "-127/4000 m", "in"},
		{DimLength, "5/4 in", "127/4000 m", "in"},
		{DimLength, "0/8 in", "0 m", "in"},
		{DimLength, "007 mm", "7/1000 m", "mm"},
		{DimLength, "1.07 um", "107/100000000 m", "um"},
		{DimLength, "1.07 \u00b5m", "107/100000000 m", "um"},
		{DimLength, "1.07 \u03bcm", "107/100000000 m", "um"},
		{DimTime, "250\u00b5s", "1/4000 s", "us"},
		{DimPressure, "0.25 bar", "25000 Pa", "bar"},
		{DimPressure, "0.25 barg", "25000 Pa", "bar"},
		{DimPressure, "0.25 bar(g)", "25000 Pa", "bar"},
		{DimPressure, "250 mbar", "25000 Pa", "mbar"},
		{DimPressure, "30 psig", "26689329691563/129032000 Pa", "psi"},
		{DimPressure, "0.3 MPa", "300000 Pa", "MPa"},
		{DimRatio, "40 %", "2/5", "%"},
		{DimRatio, "100%", "1", "%"},
		{DimFrequency, "5 kHz", "5000 Hz", "kHz"},
		{DimBeamParameter, "3.5 mm.mrad", "7/2000000 m.rad", "mm.mrad"},
		{DimConductance, "4.2 dm3/(s.bar)", "21/500000000 m3/(s.Pa)", "dm3/(s.bar)"},
		{DimTemperature, "20 degC", "5863/20 K", "degC"},
		{DimTemperature, "-273.15 degC", "0 K", "degC"},
		{DimMass, "12.5 g", "1/80 kg", "g"},
		{DimVolumeFlow, "18 m3/h", "1/200 m3/s", "m3/h"},
		{DimVolumeFlow, "300 L/min", "1/200 m3/s", "L/min"},
		// Past int64, still exact.
		{DimLength, "0.00000000000000001 um", "1/100000000000000000000000 m", "um"},
		{DimPressure, "999999999999999999 MPa", "999999999999999999000000 Pa", "MPa"},
		{DimTemperature, "0.00000000000000001 degC", "27315000000000000001/100000000000000000 K", "degC"},
	} {
		v := parse(t, test.d, test.text)
		if got := v.Canonical(); got != test.canonical {
			t.Errorf("%q is %q, want %q", test.text, got, test.canonical)
		}
		if v.Text() != test.text || v.String() != test.text || v.Unit() != test.unit || v.Dimension() != test.d || v.IsZero() {
			t.Errorf("%q: text %q, unit %q, dimension %v, zero %v", test.text, v.Text(), v.Unit(), v.Dimension(), v.IsZero())
		}
	}
}

// Every error names the kind, and where the meaning is sure it offers a text that is accepted.
func TestParseRefuses(t *testing.T) {
	for _, test := range []struct {
		d    Dimension
		text string
		kind ErrorKind
		fix  string
	}{
		{DimSpeed, "3.4", BareNumber, ""},
		{DimSpeed, "0", BareNumber, ""},
		{DimLength, "1 1/4", BareNumber, ""},
		{DimRatio, "0.35", BareNumber, ""},
		{DimSpeed, "", Empty, ""},
		{DimSpeed, "   ", Empty, ""},
		{DimSpeed, "3.4 furlong", UnknownUnit, ""},
		{DimSpeed, "3.4 m/mim", UnknownUnit, ""},
		{DimSpeed, "3.4 M/Min", UnknownUnit, "3.4 m/min"},
		{DimSpeed, "3.4 m / min", UnknownUnit, "3.4 m/min"},
		{DimSpeed, "134 ipm", UnknownUnit, "134 in/min"},
		{DimPower, "1.8 kw", UnknownUnit, "1.8 kW"},
		{DimPressure, "3 Bar", UnknownUnit, "3 bar"},
		{DimPressure, "3 bar (g)", UnknownUnit, "3 bar"},
		{DimPressure, "3 PSIG", UnknownUnit, "3 psi"},
		{DimPressure, "3 atm", UnknownUnit, ""},
		{DimLength, `1/8"`, UnknownUnit, "1/8 in"},
		{DimLength, "2 inches", UnknownUnit, "2 in"},
		{DimTemperature, "20 °C", UnknownUnit, "20 degC"},
		{DimVolumeFlow, "18 m³/h", UnknownUnit, "18 m3/h"},
		{DimVolumeFlow, "18 Nm3/h", UnknownUnit, ""},
		{DimBeamParameter, "3.5 mm·mrad", UnknownUnit, "3.5 mm.mrad"},
		{DimConductance, "4.2 dm³/(s·bar)", UnknownUnit, "4.2 dm3/(s.bar)"},
		{DimMass, "12 kg", UnknownUnit, ""},
		{DimSpeed, "3.4 mm", WrongDimension, ""},
		{DimPower, "3 bar", WrongDimension, ""},
		{DimPower, "3 psia", WrongDimension, ""},
		{DimPressure, "30 psia", AbsolutePressure, ""},
		{DimPressure, "30 PSIA", AbsolutePressure, ""},
		{DimPressure, "3 bara", AbsolutePressure, ""},
		{DimPressure, "3 bar(a)", AbsolutePressure, ""},
		{DimPressure, "3 bar abs", AbsolutePressure, ""},
		{DimPressure, "300 kPa(a)", AbsolutePressure, ""},
		{DimSpeed, "3,4 m/min", DecimalComma, "3.4 m/min"},
		{DimSpeed, "3,4m/min", DecimalComma, "3.4 m/min"},
		{DimLength, "-0,5 mm", DecimalComma, "-0.5 mm"},
		{DimLength, "0,125 mm", DecimalComma, "0.125 mm"},
		{DimSpeed, "3,4", DecimalComma, ""},
		{DimSpeed, "3,400 mm/min", DecimalComma, ""},
		{DimSpeed, "1,2,3 mm/min", DecimalComma, ""},
		{DimSpeed, "3 400 mm/min", ThousandsSeparator, "3400 mm/min"},
		{DimSpeed, "3\u202f400,5 mm/min", ThousandsSeparator, "3400.5 mm/min"},
		{DimSpeed, "1.200,5 mm/min", ThousandsSeparator, "1200.5 mm/min"},
		{DimSpeed, "1.200.000 mm/min", ThousandsSeparator, "1200000 mm/min"},
		{DimPower, "1,234,567.5 W", ThousandsSeparator, "1234567.5 W"},
		{DimPower, "1'200 W", ThousandsSeparator, "1200 W"},
		{DimLength, "+2 mm", BadSign, "2 mm"},
		{DimLength, "\u22122 mm", BadSign, "-2 mm"},
		{DimLength, "–2 mm", BadSign, "-2 mm"},
		{DimLength, "- 2 mm", BadSign, "-2 mm"},
		{DimLength, "--2 mm", BadSign, ""},
		{DimLength, "1/8 mm", BadFraction, "0.125 mm"},
		{DimLength, "1/3 mm", BadFraction, ""},
		{DimTime, "1/2 min", BadFraction, "0.5 min"},
		{DimLength, "1-1/4 in", BadFraction, "1 1/4 in"},
		{DimLength, "1¼ in", BadFraction, "1 1/4 in"},
		{DimLength, "-½ in", BadFraction, "-1/2 in"},
		{DimLength, "1⁄8 in", BadFraction, "1/8 in"},
		{DimLength, "1 / 8 in", BadFraction, "1/8 in"},
		{DimLength, "1 5/4 in", BadFraction, ""},
		{DimLength, "1/0 in", BadFraction, ""},
		{DimLength, "1/ in", BadFraction, ""},
		{DimLength, ".5 in", Malformed, "0.5 in"},
		{DimLength, "-.5 in", Malformed, "-0.5 in"},
		{DimLength, "5. in", Malformed, "5 in"},
		{DimLength, "1e3 mm", Malformed, ""},
		{DimLength, "1E-3 mm", Malformed, ""},
		{DimLength, "2-3 mm", Malformed, ""},
		{DimLength, "3.4.5 mm", Malformed, ""},
		{DimLength, "1/2/3 in", Malformed, ""},
		{DimLength, "mm", Malformed, ""},
		{DimLength, "-", Malformed, ""},
		{DimLength, "about 2 mm", Malformed, ""},
		{DimLength, "２ mm", Malformed, ""},
		{DimLength, "NaN mm", Malformed, ""},
		{DimLength, "2\u00a0mm", Malformed, "2 mm"},
		{DimLength, "2\tmm", Malformed, "2 mm"},
		{DimLength, "2 mm\n", Malformed, "2 mm"},
		{DimLength, "2 mm\x00", Malformed, ""},
		{DimLength, "2 mm\x1b[31m", Malformed, ""},
		{DimLength, "2 mm\u202e", Malformed, ""},
		{DimLength, "2 \xb5m", Malformed, ""}, // µ in Latin-1
		{DimNone, "2 mm", Malformed, ""},
		{dimCount, "2 mm", Malformed, ""},
		{DimTemperature, "-300 degC", BelowAbsoluteZero, ""},
		{DimTemperature, "-1 K", BelowAbsoluteZero, ""},
		{DimLength, "1234567890123456789 mm", TooLong, ""},
		{DimLength, "0.1234567890123456789 mm", TooLong, ""},
		{DimLength, "1 1234567890/12345678901 in", TooLong, ""},
		{DimLength, strings.Repeat(" ", 60) + "2 mm ", TooLong, ""},
	} {
		v, err := Parse(test.d, test.text)
		var e *Error
		if !errors.As(err, &e) {
			t.Errorf("%q was read as %v", test.text, v)
			continue
		}
		if !v.IsZero() {
			t.Errorf("%q: an error and a value %v", test.text, v)
		}
		if e.Kind != test.kind || e.Fix != test.fix {
			t.Errorf("%q: kind %v, fix %q; want %v, %q\n%v", test.text, e.Kind, e.Fix, test.kind, test.fix, e)
		}
		checkError(t, test.d, test.text, e)
	}
}

// fataler is a *testing.T or a *rapid.T.
type fataler interface{ Fatalf(string, ...any) }

// checkError holds of every error: it is whole, it can be printed on a terminal, and its fix is accepted.
func checkError(t fataler, d Dimension, text string, e *Error) {
	if e.Kind == 0 || e.Found == "" || e.Expected == "" || e.Hint == "" || e.Text != text || e.Dimension != d {
		t.Fatalf("%q: incomplete error %#v", text, e)
	}
	if message := e.Error(); !printable(message) || strings.ToValidUTF8(message, "") != message {
		t.Fatalf("%q: message %q has characters that cannot be printed", text, message)
	}
	if !strings.HasSuffix(e.Help(), ".") || e.Help()[0] == e.Hint[0] {
		t.Fatalf("%q: help %q is not a sentence", text, e.Help())
	}
	if e.Fix != "" {
		if _, err := Parse(d, e.Fix); err != nil || !strings.Contains(e.Hint, e.Fix) {
			t.Fatalf("%q: fix %q gives %v; hint %q", text, e.Fix, err, e.Hint)
		}
	}
}

// What a person reads. The texts are ours; they stand here so that a change of one is seen.
func TestErrorTexts(t *testing.T) {
	for _, test := range []struct {
		d          Dimension
		text, want string
	}{
		{DimSpeed, "3.4", `"3.4" is a number without a unit where a speed such as "3.4 m/min" is needed; add the unit: mm/s, mm/min, m/min, m/s, in/min`},
		{DimRatio, "0.35", `"0.35" is a number without a unit where a percentage such as "35 %" is needed; write "0.35 %" or, if it is a share of 1, "35 %"`},
		{DimRatio, "35", `"35" is a number without a unit where a percentage such as "35 %" is needed; add the unit, as in "35 %"`},
		{DimSpeed, "3,4 m/min", `"3,4 m/min" is a number with a decimal comma; write "3.4 m/min"`},
		{DimSpeed, "3,400 mm/min", `"3,400 mm/min" is a number whose comma can be read in two ways where a speed such as "3.4 m/min" is needed; write "3.400 mm/min" or "3400 mm/min"`},
		{DimSpeed, "3.4 mm", `"3.4 mm" is a length where a speed such as "3.4 m/min" is needed; write it in one of mm/s, mm/min, m/min, m/s, in/min`},
		{DimSpeed, "3.4 m/mim", `"3.4 m/mim" is in the unknown unit "m/mim" where a speed such as "3.4 m/min" is needed; write one of mm/s, mm/min, m/min, m/s, in/min; the nearest is "m/min"`},
		{DimPower, "1.8 kw", `"1.8 kw" is in the unknown unit "kw"; write "1.8 kW"`},
		{DimPressure, "30 psia", `"30 psia" is an absolute pressure where a gauge pressure such as "0.25 bar" is needed; pressures here are gauge, at the cutting head: take off the air pressure (about 1.013 bar or 14.7 psi) and write it in psi`},
		{DimLength, `1/8"`, `'1/8"' is in the unknown unit '"'; write "1/8 in"`},
		{DimLength, "2 mm\x1b[31m\xff", `"2 mm\x1b[31m\xff" is a text with a character that cannot be printed where a length such as "1.5 mm" is needed; type it again with plain characters`},
	} {
		if _, err := Parse(test.d, test.text); err == nil || err.Error() != test.want {
			t.Errorf("%q:\n got %v\nwant %s", test.text, err, test.want)
		}
	}
}

func TestUnitErrors(t *testing.T) {
	v := parse(t, DimSpeed, "3.4 m/min")
	for _, test := range []struct {
		unit string
		kind ErrorKind
		want string
	}{
		{"mm", WrongDimension, `"mm" is the unit of a length where a speed such as "3.4 m/min" is needed; write one of mm/s, mm/min, m/min, m/s, in/min`},
		{"M/min", UnknownUnit, `"M/min" is no unit that is known here; write "m/min"`},
		{"", Empty, `"" is no unit where a speed such as "3.4 m/min" is needed; write one of mm/s, mm/min, m/min, m/s, in/min`},
	} {
		_, err := v.In(test.unit)
		if e := (*Error)(nil); !errors.As(err, &e) || e.Kind != test.kind || e.Error() != test.want {
			t.Errorf("%q:\n got %v\nwant %s", test.unit, err, test.want)
		}
	}
	if _, err := (Value{}).In("mm"); err == nil {
		t.Error("no value was shown in mm")
	}
}

func TestKindsHaveNames(t *testing.T) {
	seen := map[string]bool{}
	for k := Malformed; k <= BelowAbsoluteZero; k++ {
		if seen[k.String()] {
			t.Errorf("two kinds are called %q", k)
		}
		seen[k.String()] = true
	}
}

// A dimension that does not exist is nothing, and breaks nothing.
func TestNoDimension(t *testing.T) {
	for _, d := range []Dimension{DimNone, dimCount, 255} {
		if d.SI() != "" || d.Example() != "" || d.Name() != "none" || d.String() != "no quantity" || Units(d) != nil {
			t.Errorf("dimension %d is %v", d, d)
		}
	}
	if d, ok := DimensionNamed("none"); ok {
		t.Errorf("none is %v", d)
	}
	if _, ok := UnitDimension(""); ok {
		t.Error("no unit has a dimension")
	}
}

// The tables of units, dimensions and synonyms agree with each other.
func TestTables(t *testing.T) {
	for d := DimNone + 1; d < dimCount; d++ {
		if _, err := Parse(d, d.Example()); err != nil {
			t.Errorf("the example of %v is refused: %v", d, err)
		}
		if got, ok := DimensionNamed(d.Name()); !ok || got != d {
			t.Errorf("DimensionNamed(%q) = %v, %v", d.Name(), got, ok)
		}
		folded := map[string]unitID{}
		for spelling, id := range spellings {
			if id.dim() == d {
				if other, ok := folded[fold(spelling)]; ok && other != id {
					t.Errorf("%q may mean %s or %s", spelling, id.name(), other.name())
				}
				folded[fold(spelling)] = id
			}
		}
		for _, name := range Units(d) {
			if got, ok := UnitDimension(name); !ok || got != d {
				t.Errorf("UnitDimension(%q) = %v, %v", name, got, ok)
			}
		}
	}
	for from, to := range synonyms {
		if _, ok := spellings[to]; !ok || fold(from) != from {
			t.Errorf("synonym %q of %q is never found", from, to)
		}
	}
	// The list of the design, in its order.
	want := "um mm cm m in mm/s mm/min m/min m/s in/min Pa mbar bar kPa MPa psi W kW us ms s min Hz kHz % mm.mrad dm3/(s.bar) degC K g L/min m3/h"
	var got []string
	for d := range dimCount {
		got = append(got, Units(d)...)
	}
	if !slices.Equal(got, strings.Fields(want)) {
		t.Errorf("units are %q", got)
	}
}
