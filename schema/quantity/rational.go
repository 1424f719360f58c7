package quantity

import (
	"math"
	"math/big"
	"math/bits"
)

// A rat is a rational number in lowest terms with a positive denominator. As long as both parts fit an int64 it is n/d and
// b is nil, so that the numbers of a shop cost no allocation; else it is b, which is never changed. The form is unique, so
// equal numbers have equal forms. The zero rat (d = 0) stands for 0 in arithmetic.
type rat struct {
	n, d int64
	b    *big.Rat
}

// makeRat returns n/d in lowest terms; d must not be 0.
func makeRat(n, d int64) rat {
	if n == math.MinInt64 || d == math.MinInt64 {
		return fromBig(new(big.Rat).SetFrac(big.NewInt(n), big.NewInt(d)))
	}
	if d < 0 {
		n, d = -n, -d
	}
	g := gcd(abs(n), d)
	return rat{n: n / g, d: d / g}
}

// fromBig takes b over.
func fromBig(b *big.Rat) rat {
	if b.Num().IsInt64() && b.Denom().IsInt64() && b.Num().Int64() != math.MinInt64 {
		return rat{n: b.Num().Int64(), d: b.Denom().Int64()}
	}
	return rat{b: b}
}

// big returns x as a big.Rat that must not be changed.
func (x rat) big() *big.Rat {
	switch {
	case x.b != nil:
		return x.b
	case x.d == 0:
		return new(big.Rat)
	}
	return big.NewRat(x.n, x.d)
}

func (x rat) sign() int {
	switch {
	case x.b != nil:
		return x.b.Sign()
	case x.n < 0:
		return -1
	case x.n > 0:
		return 1
	}
	return 0
}

func (x rat) neg() rat {
	if x.b != nil {
		return fromBig(new(big.Rat).Neg(x.b))
	}
	return rat{n: -x.n, d: x.d}
}

func (x rat) mul(y rat) rat {
	if x.d != 0 && y.d != 0 {
		g, h := gcd(abs(x.n), y.d), gcd(abs(y.n), x.d)
		n, ok1 := mul64(x.n/g, y.n/h)
		d, ok2 := mul64(x.d/h, y.d/g)
		if ok1 && ok2 {
			return rat{n: n, d: d}
		}
	}
	return fromBig(new(big.Rat).Mul(x.big(), y.big()))
}

// quo returns x/y; y must not be 0.
func (x rat) quo(y rat) rat {
	if y.d != 0 {
		if y.n < 0 {
			return x.mul(rat{n: -y.d, d: -y.n})
		}
		return x.mul(rat{n: y.d, d: y.n})
	}
	return fromBig(new(big.Rat).Quo(x.big(), y.big()))
}

func (x rat) add(y rat) rat {
	if x.d != 0 && y.d != 0 {
		a, ok1 := mul64(x.n, y.d)
		b, ok2 := mul64(y.n, x.d)
		d, ok3 := mul64(x.d, y.d)
		if ok1 && ok2 && ok3 {
			if n := a + b; (n > a) == (b > 0) {
				return makeRat(n, d)
			}
		}
	}
	return fromBig(new(big.Rat).Add(x.big(), y.big()))
}

func (x rat) sub(y rat) rat { return x.add(y.neg()) }

func (x rat) cmp(y rat) int {
	if x.b != nil || y.b != nil || x.d == 0 || y.d == 0 {
		return x.big().Cmp(y.big())
	}
	switch s, t := x.sign(), y.sign(); {
	case s < t:
		return -1
	case s > t:
		return 1
	case s < 0:
		x, y = rat{n: -y.n, d: y.d}, rat{n: -x.n, d: x.d}
	}
	hi1, lo1 := bits.Mul64(uint64(x.n), uint64(y.d))
	hi2, lo2 := bits.Mul64(uint64(y.n), uint64(x.d))
	switch {
	case hi1 < hi2 || hi1 == hi2 && lo1 < lo2:
		return -1
	case hi1 == hi2 && lo1 == lo2:
		return 0
	}
	return 1
}

// float returns the float64 nearest to x.
func (x rat) float() float64 {
	const exact = 1 << 53 // integers up to here are float64 values, and IEEE 754 rounds their quotient correctly
	if x.b == nil && abs(x.n) <= exact && x.d <= exact {
		if x.n == 0 {
			return 0
		}
		return float64(x.n) / float64(x.d)
	}
	f, _ := x.big().Float64()
	return f
}

// mul64 multiplies, and reports whether the product fits with room for its negative.
func mul64(x, y int64) (int64, bool) {
	hi, lo := bits.Mul64(uint64(abs(x)), uint64(abs(y)))
	if hi != 0 || lo > math.MaxInt64 {
		return 0, false
	}
	if (x < 0) != (y < 0) {
		return -int64(lo), true
	}
	return int64(lo), true
}

// abs is never given math.MinInt64.
func abs(x int64) int64 {
	if x < 0 {
		return -x
	}
	return x
}

func gcd(x, y int64) int64 {
	for y != 0 {
		x, y = y, x%y
	}
	return x
}
