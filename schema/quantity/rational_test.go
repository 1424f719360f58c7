package quantity

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

// drawRat makes rationals about the edge of int64, where the fast path ends, and small ones.
func drawRat(t *rapid.T, label string) rat {
	edge := rapid.SampledFrom([]int64{math.MinInt64, math.MinInt64 + 1, -1 << 53, -1, 0, 1, 1 << 32, 1 << 53, math.MaxInt64 - 1, math.MaxInt64})
	n := rapid.OneOf(rapid.Int64(), edge, rapid.Int64Range(-100, 100)).Draw(t, label+" over")
	d := rapid.OneOf(rapid.Int64(), edge, rapid.Int64Range(1, 100),
		rapid.SampledFrom([]int64{10, 8, 1 << 18, 1 << 40, 1_000_000, 5_000_000_000, 1e18})).Filter(func(d int64) bool { return d != 0 }).Draw(t, label+" under")
	x := makeRat(n, d)
	if rapid.IntRange(0, 5).Draw(t, label+" grows") == 0 {
		x = fromBig(new(big.Rat).Mul(x.big(), new(big.Rat).SetFrac(big.NewInt(math.MaxInt64), big.NewInt(7))))
	}
	return x
}

// The numbers behave as those of math/big do, and each has one form.
func TestRatIsBigRat(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x, y := drawRat(t, "x"), drawRat(t, "y")
		a, b := x.big(), y.big()
		check := func(op string, got rat, want *big.Rat) {
			if got.big().Cmp(want) != 0 {
				t.Fatalf("%s %s %s = %s, want %s", a, op, b, got.big(), want)
			}
			small := want.Num().IsInt64() && want.Denom().IsInt64() && want.Num().Int64() != math.MinInt64
			if (got.b == nil) != small || small && (got.n != want.Num().Int64() || got.d != want.Denom().Int64()) {
				t.Fatalf("%s %s %s has the form %+v", a, op, b, got)
			}
		}
		check("+", x.add(y), new(big.Rat).Add(a, b))
		check("-", x.sub(y), new(big.Rat).Sub(a, b))
		check("*", x.mul(y), new(big.Rat).Mul(a, b))
		check("neg", x.neg(), new(big.Rat).Neg(a))
		if y.sign() != 0 {
			check("/", x.quo(y), new(big.Rat).Quo(a, b))
		}
		if x.cmp(y) != a.Cmp(b) || x.cmp(x) != 0 || x.sign() != a.Sign() {
			t.Fatalf("%s cmp %s = %d, sign %d", a, b, x.cmp(y), x.sign())
		}
		if want, _ := a.Float64(); x.float() != want {
			t.Fatalf("%s is %v, want %v", a, x.float(), want)
		}
		got, finite := x.decimal()
		if places, want := a.FloatPrec(); finite != want || want && got != a.FloatString(places) {
			t.Fatalf("%s is written %q, %v", a, got, finite)
		}
	})
}
