package trend

import (
	"math"
	"slices"
	"sync"
)

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
	return order, math.Min(1, 2*tail(size, (pairs-lean)/2))
}

// tails keeps what tail worked out: most families of a library have groups of the same sizes.
var tails struct {
	sync.Mutex
	bySizes map[string][]float64
}

// mostTails is how many are kept.
const mostTails = 64

// tail is the share of all orders in which at most so many pairs are the wrong way round, in groups of these sizes. Of m values the
// largest can stand in m places, and each place makes one such pair more: the share of k pairs is the mean of the m shares up to k that
// m-1 values have.
func tail(size map[int]int, most int) float64 {
	var sizes []byte // by mostPairs none is beyond a byte
	for _, n := range size {
		if n > 1 {
			sizes = append(sizes, byte(n))
		}
	}
	slices.Sort(sizes)
	key := string(sizes)
	tails.Lock()
	known := tails.bySizes[key]
	tails.Unlock()
	if known != nil {
		return known[most]
	}
	sums := []float64{1} // of the shares up to k
	for _, n := range sizes {
		for m := 2; m <= int(n); m++ {
			next := make([]float64, len(sums)+m-1)
			for k := range (len(next) + 1) / 2 { // the shares are the same from either end
				share := sums[min(k, len(sums)-1)]
				if k >= m {
					share -= sums[k-m]
				}
				next[k], next[len(next)-1-k] = share/float64(m), share/float64(m)
			}
			for k := 1; k < len(next); k++ {
				next[k] += next[k-1]
			}
			sums = next
		}
	}
	tails.Lock()
	if tails.bySizes == nil || len(tails.bySizes) >= mostTails {
		tails.bySizes = map[string][]float64{}
	}
	tails.bySizes[key] = sums
	tails.Unlock()
	return sums[most]
}

// mostPairs is up to where the chance is worked out exactly.
const mostPairs = 2500
