package trial

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"

	"fettle/schema/quantity"
)

// Ladder returns values from low to high in equal steps, each on a whole number of steps of the machine where that leaves them apart.
// It fails where two of them would be one.
func Ladder(low, high quantity.Value, steps int, step quantity.Value) ([]quantity.Value, error) {
	coded := make([]float64, steps)
	for i := range coded {
		coded[i] = -1
		if steps > 1 {
			coded[i] = -1 + 2*float64(i)/float64(steps-1)
		}
	}
	return Values(low, high, coded, step)
}

// Values turns coded levels, rising from -1 to 1, into values from low to high. The ends stay as they are.
func Values(low, high quantity.Value, coded []float64, step quantity.Value) ([]quantity.Value, error) {
	if low.Dimension() != high.Dimension() || low.Cmp(high) > 0 {
		return nil, fmt.Errorf("a range goes from the lower value to the higher; %s to %s does not", low, high)
	}
	span := new(big.Rat).Sub(high.Rat(), low.Rat())
	var out []quantity.Value
	for _, c := range coded {
		share := new(big.Rat)
		share.SetFloat64((c + 1) / 2)
		at := share.Mul(share, span)
		at.Add(at, low.Rat())
		v := inUnit(clamp(onGrid(at, step), low.Rat(), high.Rat()), low)
		switch c {
		case -1:
			v = low
		case 1:
			v = high
		}
		if n := len(out); n > 0 && out[n-1].Cmp(v) >= 0 {
			return nil, fmt.Errorf("%d values from %s to %s are too many: the machine sets it in steps of %s", len(coded), low, high, step)
		}
		out = append(out, v)
	}
	return out, nil
}

// Factorial returns all combinations of levels, each by its index, the last one running fastest.
func Factorial(levels []int) [][]int {
	out := [][]int{{}}
	for _, n := range levels {
		var next [][]int
		for _, row := range out {
			for i := range n {
				next = append(next, append(append([]int{}, row...), i))
			}
		}
		out = next
	}
	return out
}

// CompositeLevels are the five coded levels of a central composite design of k values that keeps inside its range: the star points lie
// on the ends, the corners at 1/α with α = 2^(k/4), which makes it rotatable.
//
// Box and Wilson, On the experimental attainment of optimum conditions, Journal of the Royal Statistical Society B 13 (1951);
// NIST/SEMATECH e-Handbook 5.3.3.6.1, inscribed design.
func CompositeLevels(k int) []float64 {
	corner := math.Pow(2, -float64(k)/4)
	return []float64{-1, -corner, 0, corner, 1}
}

// Composite returns the points of that design by index into [CompositeLevels]: corners, star, then the centre so many times.
func Composite(k, centres int) [][]int {
	var out [][]int
	two := make([]int, k)
	for i := range two {
		two[i] = 2
	}
	for _, corner := range Factorial(two) {
		row := make([]int, k)
		for i, c := range corner {
			row[i] = 1 + 2*c
		}
		out = append(out, row)
	}
	centre := func() []int {
		row := make([]int, k)
		for i := range row {
			row[i] = 2
		}
		return row
	}
	for i := range k {
		for _, end := range []int{0, 4} {
			row := centre()
			row[i] = end
			out = append(out, row)
		}
	}
	for range centres {
		out = append(out, centre())
	}
	return out
}

// Order returns the order in which n settings are cut so many times: every setting once, in random order, then all once more in
// another. So what drifts over the morning, a lens that warms up, a bottle that runs empty, meets every setting alike and is not
// taken for an effect. A round of four and more settings that came out rising or falling is drawn again: it would look like the drift that
// it is there to tell apart. Equal seeds give equal orders.
func Order(n, repeats int, seed uint64) []int {
	random := rand.New(rand.NewPCG(seed, seed^0x9e3779b97f4a7c15))
	var out []int
	for range repeats {
		round := random.Perm(n)
		for n >= 4 && inOrder(round) {
			round = random.Perm(n)
		}
		out = append(out, round...)
	}
	return out
}

func inOrder(round []int) bool {
	falling := slices.Clone(round)
	slices.Reverse(falling)
	return slices.IsSorted(round) || slices.IsSorted(falling)
}
