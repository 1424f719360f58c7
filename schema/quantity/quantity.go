// Package quantity holds physical quantities exactly, as a shop types them: "3.4 m/min", "0.25 bar", "1/8 in", "40 %".
//
// A [Value] is a rational number of the SI unit of its [Dimension], with the text that it was read from. Every unit is an
// exact rational multiple of the SI unit (a psi is 0.45359237 kg × 9.80665 m/s² over (0.0254 m)²), so nothing is rounded
// between reading and comparing: "2.0 mm", "2 mm" and "0.2 cm" are equal, and so are "1/8 in" and "3.175 mm".
//
//	v, err := quantity.Parse(quantity.DimSpeed, "3.4 m/min")
//	v.Text()        // "3.4 m/min", as typed
//	v.Canonical()   // "17/300 m/s", the exact value that digests are made of
//	v.In("in/min")  // "133.9 in/min" and no error, for reading
//	v.SI()          // 0.056666666666666664, for physics
//
// Code that knows what it holds uses the typed forms [Length], [Speed], [Pressure] and so on, so that a speed cannot be
// compared with a power:
//
//	speed, err := quantity.ParseOf[quantity.Speed]("3.4 m/min")
//	if speed.Above(machine.Axes.MaxSpeed) { … }
//
// Pressures are gauge, at the cutting head: "psig", "barg" and "bar(g)" mean psi and bar, and an absolute pressure such as
// "psia" is refused. Gas flows are at the reference atmosphere of ISO 8778 (ANR: 20 °C, 100 kPa, 65 % humidity).
//
// What cannot be read is refused with an [Error] that says what was found, what was expected and what to write instead. A
// bare number, a decimal comma, a thousands separator and an exponent are never guessed at.
package quantity

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
)

// A Value is an exact quantity. The zero Value is "no value": it belongs to no dimension and sorts before every other.
//
// Two Values may be equal and yet differ in text, so compare them with [Value.Equal] or [Value.Cmp] and never with ==.
type Value struct {
	si   rat    // in the SI unit of dim
	text string // as typed; empty for a value that was computed
	unit unitID
	dim  Dimension
}

// IsZero reports whether v is "no value". It is false for a typed zero such as "0 W"; for that see [Value.Sign].
func (v Value) IsZero() bool { return v.dim == DimNone }

// Dimension returns what kind of quantity v is, [DimNone] for no value.
func (v Value) Dimension() Dimension { return v.dim }

// Unit returns the unit that v was typed in, by its plain name: "um" for "µm", "psi" for "psig". It is "" for no value.
func (v Value) Unit() string { return v.unit.name() }

// Text returns v exactly as typed. For a computed value it is made by [Value.In] in the unit of v, and may then be rounded.
func (v Value) Text() string {
	if v.text != "" || v.IsZero() {
		return v.text
	}
	return v.in(v.unit)
}

// String returns [Value.Text].
func (v Value) String() string { return v.Text() }

// MarshalText returns [Value.Text], so that encoders write a quantity as it was typed.
func (v Value) MarshalText() ([]byte, error) { return []byte(v.Text()), nil }

// Canonical returns the exact value in lowest terms with the SI unit: "17/300 m/s", "6000 W", "-1/40 m". A ratio has no
// unit: "2/5". Equal values have equal canonical forms, whatever was typed. It is "" for no value.
func (v Value) Canonical() string {
	if v.IsZero() {
		return ""
	}
	var room [64]byte
	return string(v.AppendCanonical(room[:0]))
}

// AppendCanonical appends [Value.Canonical] to dst.
func (v Value) AppendCanonical(dst []byte) []byte {
	if v.IsZero() {
		return dst
	}
	if b := v.si.b; b != nil {
		dst = b.Num().Append(dst, 10)
		if !b.IsInt() {
			dst = append(dst, '/')
			dst = b.Denom().Append(dst, 10)
		}
	} else {
		dst = strconv.AppendInt(dst, v.si.n, 10)
		if v.si.d != 1 {
			dst = append(dst, '/')
			dst = strconv.AppendInt(dst, v.si.d, 10)
		}
	}
	if v.dim != DimRatio {
		dst = append(dst, ' ')
		dst = append(dst, v.dim.SI()...)
	}
	return dst
}

// SI returns v in the SI unit of its dimension, rounded to the nearest float64: m, m/s, Pa, W, s, Hz, 1, m.rad,
// m3/(s.Pa), K, kg, m3/s. It is 0 for no value.
func (v Value) SI() float64 { return v.si.float() }

// Rat returns v in the SI unit of its dimension, exactly. The caller owns the result. It is 0 for no value.
func (v Value) Rat() *big.Rat { return new(big.Rat).Set(v.si.big()) }

// Number returns v in the named unit, rounded to the nearest float64. It fails as [Value.In] does.
func (v Value) Number(unit string) (float64, error) {
	id, err := v.unitFor(unit)
	if err != nil {
		return 0, err
	}
	return id.fromSI(v.si).float(), nil
}

// Sign returns -1, 0 or 1. For a temperature the sign is that of the kelvins.
func (v Value) Sign() int { return v.si.sign() }

// Cmp orders values: -1 if v is less than w, 0 if they are equal, 1 if v is greater. So that any slice can be sorted, no
// value comes first and values of different dimensions are ordered by dimension.
func (v Value) Cmp(w Value) int {
	if v.dim != w.dim {
		if v.dim < w.dim {
			return -1
		}
		return 1
	}
	return v.si.cmp(w.si)
}

// Equal reports whether v and w have the same dimension and exactly the same amount, whatever was typed.
func (v Value) Equal(w Value) bool { return v.dim == w.dim && v.si.cmp(w.si) == 0 }

// Sub returns v − w in the unit of v, and no value if their dimensions differ or either is no value. The difference of two
// temperatures is in K, since a difference in degC would be read as a point on that scale.
func (v Value) Sub(w Value) Value {
	if v.dim != w.dim || v.IsZero() {
		return Value{}
	}
	return v.computed(v.si.sub(w.si))
}

// Scale returns v × num/den in the unit of v, and no value if den is 0.
func (v Value) Scale(num, den int64) Value {
	if v.IsZero() || den == 0 {
		return Value{}
	}
	return v.computed(v.si.mul(makeRat(num, den)))
}

// Times returns v × r in the unit of v, where r is a ratio: the average power is the peak power times the duty. It is no
// value if r is not a ratio or either is no value.
func (v Value) Times(r Value) Value {
	if v.IsZero() || r.dim != DimRatio {
		return Value{}
	}
	return v.computed(v.si.mul(r.si))
}

// computed returns a value like v with another amount and without a typed text.
func (v Value) computed(si rat) Value {
	if v.dim == DimTemperature {
		v.unit = kelvin
	}
	return Value{si: si, unit: v.unit, dim: v.dim}
}

// FromRat returns the value of r SI units of dimension d, whose text is made in the named unit. r is copied. The error is
// an [*Error], for a unit that is unknown or of another dimension.
func FromRat(d Dimension, r *big.Rat, unit string) (Value, error) {
	id, err := unitOf(d, unit)
	if err != nil {
		return Value{}, err
	}
	return Value{si: fromBig(new(big.Rat).Set(r)), unit: id, dim: d}, nil
}

// FromSI is [FromRat] for a number that was computed in floating point, taken as the exact binary fraction that it is. It
// fails for an infinity or a NaN as well.
func FromSI(d Dimension, si float64, unit string) (Value, error) {
	if math.IsNaN(si) || math.IsInf(si, 0) {
		return Value{}, &Error{
			Kind: Malformed, Dimension: d, Text: fmt.Sprint(si),
			Found: "not a finite number", Expected: d.String(), Hint: "check what it was computed from",
		}
	}
	return FromRat(d, new(big.Rat).SetFloat64(si), unit)
}
