package trend

// An Order is the way that values go as the plate gets thicker.
type Order int8

// The orders. Equal neighbours keep both.
const (
	Falling Order = -1
	None    Order = 0
	Rising  Order = 1
)

func (o Order) String() string {
	switch o {
	case Falling:
		return "falling"
	case Rising:
		return "rising"
	}
	return "any"
}

// Keeps reports whether values go that way.
func (o Order) Keeps(y []float64) bool {
	for i := 1; i < len(y); i++ {
		if float64(o)*y[i] < float64(o)*y[i-1] {
			return false
		}
	}
	return true
}

// Isotonic returns the values nearest to y that keep an order: those that make the sum of w (y - fit)² least. Weights are above
// zero; nil is 1 for all. The order None keeps y as it is.
//
// Pool adjacent violators: a value that breaks the order is pooled with its neighbour into their weighted mean, and so back while
// the pool breaks it. Each value enters and leaves a pool once, so it takes linear time. R. E. Barlow, D. J. Bartholomew,
// J. M. Bremner, H. D. Brunk, Statistical Inference under Order Restrictions, Wiley 1972.
func Isotonic(y, w []float64, order Order) []float64 {
	fit := make([]float64, 0, len(y))
	if order == None {
		return append(fit, y...)
	}
	type pool struct {
		mean, weight float64
		count        int
	}
	pools := make([]pool, 0, len(y))
	sign := float64(order)
	for i, value := range y {
		p := pool{value, 1, 1}
		if w != nil {
			p.weight = w[i]
		}
		for n := len(pools); n > 0 && sign*pools[n-1].mean > sign*p.mean; n = len(pools) {
			last := pools[n-1]
			sum := last.weight + p.weight
			p = pool{(last.weight*last.mean + p.weight*p.mean) / sum, sum, last.count + p.count}
			pools = pools[:n-1]
		}
		pools = append(pools, p)
	}
	for _, p := range pools {
		for range p.count {
			fit = append(fit, p.mean)
		}
	}
	return fit
}
