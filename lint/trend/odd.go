package trend

import "math"

// An Odd is a point that breaks an order.
type Odd struct {
	Index int
	To    float64 // the value nearest to its own with which it would keep the order among the others
}

// OddOnes returns the fewest points without which the others keep the order: all but the longest monotone subsequence, so that the
// one that is off is named and not its neighbours. Where several sets are equally few, it takes the one whose correction is
// smallest: the sum over its points of weight times the distance to the nearest value that keeps the order. Weights are above
// zero; nil is 1 for all; a point that is doubted for other reasons is given a small one. The order None has no odd ones.
//
// Dynamic programme over the kept point before: kept(j) = best over i < j with y(i), y(j) in order of kept(i) + 1, then of the
// corrections of the points between them. O(n³) at worst.
func OddOnes(y, w []float64, order Order) []Odd {
	n := len(y)
	if order == None || n < 2 {
		return nil
	}
	sign := float64(order)
	at := func(i int) float64 { // a fence on both sides, kept at no cost
		switch i {
		case -1:
			return math.Inf(-1)
		case n:
			return math.Inf(1)
		}
		return sign * y[i]
	}
	correction := func(k int, low, high float64) float64 {
		d := math.Max(low-at(k), at(k)-high)
		if d <= 0 {
			return 0
		}
		if w != nil {
			d *= w[k]
		}
		return d
	}
	kept := make([]int, n+2)     // by point + 1
	cost := make([]float64, n+2) // of the points that were left out before it
	from := make([]int, n+2)     // the kept point before
	for j := 0; j <= n; j++ {
		kept[j+1] = -1
		for i := j - 1; i >= -1; i-- {
			if at(i) > at(j) || kept[i+1]+1 < kept[j+1] {
				continue
			}
			sum := cost[i+1]
			for k := i + 1; k < j; k++ {
				sum += correction(k, at(i), at(j))
			}
			if kept[i+1]+1 > kept[j+1] || sum < cost[j+1] {
				kept[j+1], cost[j+1], from[j+1] = kept[i+1]+1, sum, i
			}
		}
	}
	var odd []Odd
	high := n
	for high >= 0 {
		low := from[high+1]
		for k := high - 1; k > low; k-- {
			odd = append(odd, Odd{k, sign * math.Min(math.Max(at(k), at(low)), at(high))})
		}
		high = low
	}
	for i, j := 0, len(odd)-1; i < j; i, j = i+1, j-1 {
		odd[i], odd[j] = odd[j], odd[i]
	}
	return odd
}
