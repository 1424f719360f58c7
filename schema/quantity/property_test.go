package quantity

import (
	"errors"
	"math/big"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

var (
	anyDimension = rapid.Custom(func(t *rapid.T) Dimension { return Dimension(rapid.IntRange(1, int(dimCount)-1).Draw(t, "dimension")) })
	decimalText  = rapid.StringMatching(`-?[0-9]{1,9}(\.[0-9]{1,9})?`)
	inchText     = rapid.StringMatching(`-?[0-9]{1,5}/[1-9][0-9]{0,4} in`)
)

// draw makes a value of d as a person could type it.
func draw(t *rapid.T, d Dimension, label string) Value {
	for {
		text := decimalText.Draw(t, label) + rapid.SampledFrom([]string{"", " ", "  "}).Draw(t, "blank") + rapid.SampledFrom(Units(d)).Draw(t, "unit")
		if d == DimLength && rapid.IntRange(0, 3).Draw(t, "form") == 0 {
			text = inchText.Draw(t, label)
		}
		v, err := Parse(d, text)
		if err == nil {
			return v
		}
		if e := (*Error)(nil); !errors.As(err, &e) || e.Kind != BelowAbsoluteZero {
			t.Fatalf("%q: %v", text, err)
		}
	}
}

// What is written in any unit as an exact decimal is read back as the same value; so is what is shown, where it is exact.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDimension.Draw(t, "d")
		v := draw(t, d, "v")
		unit := rapid.SampledFrom(Units(d)).Draw(t, "target")
		shown, err := v.In(unit)
		if err != nil {
			t.Fatal(err)
		}
		number, exact := v.Decimal(unit)
		if !exact {
			return
		}
		if significant(number) <= exactDigits && shown != number+" "+unit {
			t.Fatalf("%v in %s is shown as %q, and is exactly %q", v, unit, shown, number)
		}
		if strings.Contains(number, ".") && strings.HasSuffix(number, "0") {
			t.Fatalf("%v in %s has a zero at its end: %q", v, unit, number)
		}
		if countDigits(number) > maxDigits {
			return
		}
		again, err := Parse(d, number+" "+unit)
		if err != nil || !again.Equal(v) || again.Canonical() != v.Canonical() {
			t.Fatalf("%v is %s %s, which is read as %v, %v", v, number, unit, again.Canonical(), err)
		}
	})
}

// What is rounded has at most four digits, and is off by at most half of the last.
func TestRounding(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDimension.Draw(t, "d")
		v := draw(t, d, "v")
		unit := rapid.SampledFrom(Units(d)).Draw(t, "target")
		number, exact := v.Decimal(unit)
		if exact && significant(number) <= exactDigits {
			return
		}
		shown, _ := v.In(unit)
		text := strings.TrimSuffix(shown, " "+unit)
		if significant(text) > roundedDigits || strings.Contains(text, ".") && strings.HasSuffix(text, "0") {
			t.Fatalf("%v is shown as %q", v, shown)
		}
		got, ok := new(big.Rat).SetString(text)
		if !ok {
			t.Fatalf("%v is shown as %q", v, shown)
		}
		want := spellings[unit].fromSI(v.si).big()
		off := new(big.Rat).Sub(got, want)
		// Half a step of four digits is at most 1/2000 of the number.
		if limit := new(big.Rat).Mul(want, big.NewRat(1, 2000)); off.Abs(off).Cmp(limit.Abs(limit)) > 0 {
			t.Fatalf("%s %s is shown as %q", want.FloatString(12), unit, shown)
		}
	})
}

// Order, equality, difference and scale are those of the rational numbers.
func TestArithmetic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDimension.Draw(t, "d")
		v, w := draw(t, d, "v"), draw(t, d, "w")
		x, y := v.Rat(), w.Rat()
		if v.Cmp(w) != x.Cmp(y) || w.Cmp(v) != -v.Cmp(w) || v.Equal(w) != (x.Cmp(y) == 0) || v.Sign() != x.Sign() {
			t.Fatalf("%v and %v: Cmp %d, Equal %v, Sign %d", v, w, v.Cmp(w), v.Equal(w), v.Sign())
		}
		if got := v.Sub(w).Rat(); got.Cmp(new(big.Rat).Sub(x, y)) != 0 {
			t.Fatalf("%v - %v = %s", v, w, got.RatString())
		}
		num, den := rapid.Int64().Draw(t, "num"), rapid.Int64().Draw(t, "den")
		if den != 0 {
			factor := new(big.Rat).SetFrac(big.NewInt(num), big.NewInt(den))
			if got := v.Scale(num, den).Rat(); got.Cmp(factor.Mul(factor, x)) != 0 {
				t.Fatalf("%v × %d/%d = %s", v, num, den, got.RatString())
			}
		}
		share := draw(t, DimRatio, "share")
		if got := v.Times(share).Rat(); got.Cmp(new(big.Rat).Mul(x, share.Rat())) != 0 {
			t.Fatalf("%v × %v = %s", v, share, got.RatString())
		}
		if want, _ := x.Float64(); v.SI() != want {
			t.Fatalf("SI of %v = %v, want %v", v, v.SI(), want)
		}
		if want := strings.TrimSuffix(v.Canonical(), " "+d.SI()); x.RatString() != want {
			t.Fatalf("canonical form of %v is %q, want %s", v, v.Canonical(), x.RatString())
		}
		again, err := FromRat(d, x, Units(d)[0])
		if err != nil || !again.Equal(v) || again.si.b == nil && again.si != v.si {
			t.Fatalf("FromRat of %v = %v, %v", v, again, err)
		}
	})
}

// Sorting needs a total order, also over dimensions and no value.
func TestOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var values []Value
		for range rapid.IntRange(2, 12).Draw(t, "n") {
			if rapid.IntRange(0, 4).Draw(t, "none") == 0 {
				values = append(values, Value{})
				continue
			}
			values = append(values, draw(t, anyDimension.Draw(t, "d"), "v"))
		}
		slices.SortFunc(values, Value.Cmp)
		for i, v := range values {
			for _, w := range values[i:] {
				if v.Cmp(w) > 0 || v.Equal(w) != (v.Cmp(w) == 0) {
					t.Fatalf("%v before %v", v, w)
				}
			}
		}
	})
}

// Values that differ look different side by side.
func TestFormatPairTellsApart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDimension.Draw(t, "d")
		v := draw(t, d, "v")
		w := v.Scale(rapid.Int64Range(999_999_000, 1_000_001_000).Draw(t, "num"), 1_000_000_000)
		a, b := FormatPair(v, w, Prefs{d: rapid.SampledFrom(Units(d)).Draw(t, "shown in")})
		if (a == b) != v.Equal(w) {
			t.Fatalf("%s and %s are shown as %q and %q", v.Canonical(), w.Canonical(), a, b)
		}
		w = draw(t, d, "w")
		if a, b := FormatPair(v, w, nil); (a == b) != v.Equal(w) {
			t.Fatalf("%v and %v are shown as %q and %q", v, w, a, b)
		}
	})
}

// quantityLike makes texts that are nearly quantities.
var quantityLike = rapid.Custom(func(t *rapid.T) string {
	pieces := []string{
		"0", "1", "3.4", "12", "1/8", "1 1/4", "5/4", "999999999999999999", "-", "+", "−", ".", ",", "/", " ", "  ", "\u00a0", "\t",
		"e", "e3", "½", "⁄", "'", "a", "(a)", "(g)", "g", `"`, "°", "\xff", "\x1b", "%", "u", "µ", "in", "inch", "psia", "m", "min",
	}
	for d := range dimCount {
		pieces = append(pieces, Units(d)...)
	}
	return strings.Join(rapid.SliceOfN(rapid.SampledFrom(pieces), 0, 7).Draw(t, "pieces"), "")
})

func TestAnyTextIsReadOrExplained(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		checkText(t, anyDimension.Draw(t, "d"), rapid.OneOf(quantityLike, rapid.String()).Draw(t, "text"))
	})
}

// checkText reads text with Parse and in a second way, with [Pattern] and big.Rat, and holds the two to each other.
func checkText(t fataler, d Dimension, text string) {
	v, err := Parse(d, text)
	want := readAnew(d, text)
	if err != nil {
		var e *Error
		if !errors.As(err, &e) {
			t.Fatalf("%q: the error is a %T", text, err)
		}
		checkError(t, d, text, e)
		if want != nil {
			t.Fatalf("%q is %s, and was refused: %v", text, want.RatString(), err)
		}
		return
	}
	if want == nil || v.Rat().Cmp(want) != 0 {
		t.Fatalf("%q was read as %s, want %v", text, v.Canonical(), want)
	}
	if v.Text() != text || v.Dimension() != d || v.Format(nil) == "" {
		t.Fatalf("%q: text %q, dimension %v, format %q", text, v.Text(), v.Dimension(), v.Format(nil))
	}
	if shown := v.Format(nil); strings.Contains(shown, "/") && d == DimLength {
		if again, err := Parse(d, shown); err != nil || !again.Equal(v) {
			t.Fatalf("%q is shown as %q, which is %v, %v", text, shown, again, err)
		}
	}
}

var patterns = func() (all [dimCount]*regexp.Regexp) {
	for d := range dimCount {
		all[d] = regexp.MustCompile(Pattern(d))
	}
	return all
}()

var parts = regexp.MustCompile(`^ *(-?)(?:(\d+) +)?([0-9./]+) *(.*?) *$`)

// readAnew returns the SI value of text, or nil if Parse has to refuse it.
func readAnew(d Dimension, text string) *big.Rat {
	if len(text) > MaxText || !patterns[d].MatchString(text) {
		return nil
	}
	m := parts.FindStringSubmatch(text)
	if countDigits(m[2]+m[3]) > 18 {
		return nil
	}
	above, below, _ := strings.Cut(m[3], "/")
	r, _ := new(big.Rat).SetString(above)
	if below != "" {
		// Not in one text: there SetString takes a leading zero below the slash for octal.
		under, _ := new(big.Rat).SetString(below)
		r.Quo(r, under)
	}
	if m[2] != "" {
		whole, _ := new(big.Rat).SetString(m[2])
		if r.Cmp(big.NewRat(1, 1)) >= 0 {
			return nil
		}
		r.Add(r, whole)
	}
	if m[1] == "-" {
		r.Neg(r)
	}
	u := units[spellings[m[4]]]
	r.Mul(r, u.factor.big())
	r.Add(r, u.offset.big())
	if d == DimTemperature && r.Sign() < 0 {
		return nil
	}
	return r
}

func FuzzParse(f *testing.F) {
	for d := DimNone + 1; d < dimCount; d++ {
		f.Add(uint8(d), d.Example())
	}
	for _, text := range []string{"1 1/4 in", "-1/8in", "3,4 m/min", "1 200 mm", "30 psia", "2 µm", "½ in", "1e3 mm", "- 2 mm", "\xff mm", "1/0 in"} {
		f.Add(uint8(DimLength), text)
	}
	f.Fuzz(func(t *testing.T, d uint8, text string) {
		checkText(t, DimNone+1+Dimension(d)%(dimCount-1), text)
	})
}
