package trend

import "math"

// Direction reads from values, given in the order of thickness, which way they go: Kendall's count of the pairs that rise less
// those that fall. Only pairs of one group are compared: those between which nothing else changed. Nil is one group.
//
// Chance is how often values in no order at all would lean at least as far to one side or the other. It is exact for a few thousand
// pairs: the distribution of the count for each group by the recursion over the largest value, and the groups convolved. For more
// it is that of a normal variable with the variance n(n-1)(2n+5)/18 of each group. Equal values count for neither side, which makes
// the chance larger than it is, so that a plateau is no direction.
//
// M. G. Kendall, A new measure of rank correlation, Biometrika 30 (1938) 81.
func Direction(y []float64, group []int) (order Order, chance float64) {
	size := map[int]int{}
	count := 0
	for j := range y {
		g := 0
		if group != nil {
			g = group[j]
		}
		size[g]++
		for i := range j {
			if group != nil && group[i] != g {
				continue
			}
			switch {
			case y[j] > y[i]:
				count++
			case y[j] < y[i]:
				count--
			}
		}
	}
	if count == 0 {
		return None, 1
	}
	pairs, variance := 0, 0.0
	for _, n := range size {
		pairs += n * (n - 1) / 2
		variance += float64(n) * float64(n-1) * float64(2*n+5) / 18
	}
	lean := count
	if lean < 0 {
		lean = -lean
	}
	order = Rising
	if count < 0 {
		order = Falling
	}
	if pairs > mostPairs {
		return order, math.Erfc((float64(lean) - 1) / math.Sqrt(2*variance))
	}
	// ways[k] is the share of all orders that have k pairs the wrong way round
	ways := []float64{1}
	for _, n := range size {
		for m := 2; m <= n; m++ {
			next := make([]float64, len(ways)+m-1)
			for k, share := range ways {
				for d := range m {
					next[k+d] += share / float64(m)
				}
			}
			ways = next
		}
	}
	for k := 0; pairs-2*k >= lean; k++ {
		chance += 2 * ways[k]
	}
	return order, math.Min(1, chance)
}

// mostPairs is up to where the chance is worked out exactly.
const mostPairs = 2500
