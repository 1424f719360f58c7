package quantity

import (
	"math/big"
	"strconv"
	"strings"
)

// How many significant digits a number is shown with: an exact decimal of up to exactDigits in full, any other rounded to
// roundedDigits.
const (
	exactDigits   = 12
	roundedDigits = 4
)

// Prefs says in which unit each dimension is shown, as the display settings of a library do.
type Prefs map[Dimension]string

// In returns v in the named unit, for reading: "3.4 m/min". The number is exact if it is a decimal of at most 12
// significant digits; else it is rounded to 4, halves away from zero. Zeros at the end of a decimal are dropped. The error
// is an [*Error], for no value and for a unit that is unknown or of another dimension.
func (v Value) In(unit string) (string, error) {
	id, err := v.unitFor(unit)
	if err != nil {
		return "", err
	}
	return v.in(id), nil
}

func (v Value) in(id unitID) string { return v.rounded(id, roundedDigits) + " " + id.name() }

// rounded returns the number of v in a unit, exact where [Value.In] would be and else with the given digits.
func (v Value) rounded(id unitID, digits int) string {
	r := id.fromSI(v.si)
	if s, ok := r.decimal(); ok && significant(s) <= exactDigits {
		return s
	}
	return roundTo(r.big(), digits)
}

// Decimal returns the number of v in the named unit as an exact decimal without the unit: "3.175" for "1/8 in" in mm. It
// is false where there is none, as for "1/3 in" in mm, and where [Value.In] fails.
func (v Value) Decimal(unit string) (string, bool) {
	id, err := v.unitFor(unit)
	if err != nil {
		return "", false
	}
	return id.fromSI(v.si).decimal()
}

// Format returns v for a screen, in the unit that p names for its dimension. Where p names none, or none of that
// dimension, the unit is the typed one, and a fraction of an inch stays a fraction. Numbers are those of [Value.In]. It is
// "" for no value.
func (v Value) Format(p Prefs) string { return v.format(p, roundedDigits) }

// FormatPair is [Value.Format] for two values that are shown side by side, as before and after a change. Values that
// differ also look different: rounded numbers get as many more digits as that takes. Equal values look alike, both as v.
func FormatPair(v, w Value, p Prefs) (string, string) {
	a, b := v.Format(p), w.Format(p)
	if v.Equal(w) {
		return a, a
	}
	for digits := roundedDigits + 1; a == b && digits <= 2*MaxText; digits++ {
		a, b = v.format(p, digits), w.format(p, digits)
	}
	if a == b {
		return v.Text(), w.Text()
	}
	return a, b
}

func (v Value) format(p Prefs, digits int) string {
	if v.IsZero() {
		return ""
	}
	id, ok := spellings[p[v.dim]]
	if !ok || id.dim() != v.dim {
		id = v.unit
	}
	if id == inches && v.unit == inches && strings.Contains(v.text, "/") {
		number := strings.TrimSuffix(strings.TrimRight(v.text, " "), "in")
		return strings.Join(strings.Fields(number), " ") + " in"
	}
	return v.rounded(id, digits) + " " + id.name()
}

// decimal writes x as a plain decimal without zeros at its end, if it has a finite one.
func (x rat) decimal() (string, bool) {
	if x.d == 0 {
		return bigDecimal(x.big())
	}
	ten, places := int64(1), 0
	for ten%x.d != 0 {
		if places == maxDigits {
			return bigDecimal(x.big())
		}
		ten, places = ten*10, places+1
	}
	n, ok := mul64(abs(x.n), ten/x.d)
	if !ok {
		return bigDecimal(x.big())
	}
	digits := strconv.FormatInt(n, 10)
	if missing := places + 1 - len(digits); missing > 0 {
		digits = strings.Repeat("0", missing) + digits
	}
	if places > 0 {
		digits = digits[:len(digits)-places] + "." + digits[len(digits)-places:]
	}
	if x.n < 0 {
		digits = "-" + digits
	}
	return digits, true
}

func bigDecimal(r *big.Rat) (string, bool) {
	places, ok := r.FloatPrec()
	if !ok {
		return "", false
	}
	return r.FloatString(places), true
}

// significant counts the significant digits of a plain decimal; zeros at the end of an integer do not count.
func significant(s string) int {
	digits := strings.TrimLeft(strings.Replace(strings.TrimPrefix(s, "-"), ".", "", 1), "0")
	return len(strings.TrimRight(digits, "0"))
}

// roundTo writes r as a plain decimal with at most the given significant digits, halves away from zero.
func roundTo(r *big.Rat, digits int) string {
	if r.Sign() == 0 {
		return "0"
	}
	places := digits - magnitude(r)
	ten := new(big.Rat).SetInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(places, -places))), nil))
	if places < 0 {
		ten.Inv(ten)
	}
	// FloatString rounds halves away from zero.
	whole, _ := new(big.Rat).SetString(new(big.Rat).Mul(r, ten).FloatString(0))
	s, _ := bigDecimal(whole.Quo(whole, ten))
	return s
}

// magnitude returns m with 10^(m-1) ≤ |r| < 10^m.
func magnitude(r *big.Rat) int {
	a := new(big.Rat).Abs(r)
	m := len(a.Num().String()) - len(a.Denom().String()) // 10^(m-1) < a < 10^(m+1)
	bound := new(big.Rat).SetInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(m, -m))), nil))
	if m < 0 {
		bound.Inv(bound)
	}
	if a.Cmp(bound) >= 0 {
		m++
	}
	return m
}
