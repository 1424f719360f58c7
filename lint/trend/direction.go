package trend

import "math"

// Direction reads from values, given in the order of thickness, which way they go: Kendall's count of the pairs that rise less
// those that fall. Only pairs of one group are compared: those between which nothing else changed. Nil is one group.
//
// Chance is how often values in no order at all would lean at least as far to one side or the other. It is exact: the distribution
// of the count for each group by the recursion over the largest value, and the groups convolved. Equal values count for neither
// side, which makes the chance larger than it is, so that a plateau is no direction.
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
	pairs := len(ways) - 1
	lean := count
	if lean < 0 {
		lean = -lean
	}
	for k := 0; pairs-2*k >= lean; k++ {
		chance += 2 * ways[k]
	}
	if count < 0 {
		return Falling, math.Min(1, chance)
	}
	return Rising, math.Min(1, chance)
}
