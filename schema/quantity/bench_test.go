package quantity

import "testing"

var benchTexts = []struct {
	d    Dimension
	text string
}{
	{DimSpeed, "3.4 m/min"}, {DimPressure, "0.25 bar"}, {DimLength, "1 1/4 in"}, {DimPressure, "30 psi"}, {DimTemperature, "20 degC"}, {DimTime, "250 µs"},
}

func BenchmarkParse(b *testing.B) {
	for _, c := range benchTexts {
		b.Run(c.text, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Parse(c.d, c.text); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkCmp(b *testing.B) {
	v, w := MustParse(DimPressure, "30 psi"), MustParse(DimPressure, "2.068 bar")
	b.ReportAllocs()
	for b.Loop() {
		_ = v.Cmp(w)
	}
}

func BenchmarkAppendCanonical(b *testing.B) {
	v := MustParse(DimSpeed, "3.4 m/min")
	dst := make([]byte, 0, 64)
	b.ReportAllocs()
	for b.Loop() {
		dst = v.AppendCanonical(dst[:0])
	}
}

func BenchmarkFormat(b *testing.B) {
	v := MustParse(DimSpeed, "3.4 m/min")
	for _, unit := range []string{"mm/min", "mm/s"} { // exact and rounded
		b.Run(unit, func(b *testing.B) {
			prefs := Prefs{DimSpeed: unit}
			b.ReportAllocs()
			for b.Loop() {
				_ = v.Format(prefs)
			}
		})
	}
}

// A library has tens of thousands of quantities; reading and comparing them must not feed the garbage collector.
func TestNoAllocations(t *testing.T) {
	dst := make([]byte, 0, 64)
	for _, c := range benchTexts {
		v := parse(t, c.d, c.text)
		if n := testing.AllocsPerRun(100, func() {
			w, _ := Parse(c.d, c.text)
			if w.Cmp(v) != 0 || w.SI() == 0 {
				t.Fail()
			}
			dst = w.AppendCanonical(dst[:0])
		}); n != 0 {
			t.Errorf("%q costs %v allocations", c.text, n)
		}
	}
}
