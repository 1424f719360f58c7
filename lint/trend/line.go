package trend

import (
	"math"
	"slices"
	"sync"
)

// A Line is y = Level + Slope x. On log-log its slope is the exponent of a power law.
type Line struct{ Level, Slope float64 }

// At is the value of the line.
func (l Line) At(x float64) float64 { return l.Level + l.Slope*x }

// TheilSen returns the line with the median of the slopes of all pairs, through the median point: level = median(y) - slope ×
// median(x). Up to 29 % of the points may be anywhere. Pairs of equal x have no slope; where there are no others, or fewer than
// two points, the slope is 0.
//
// P. K. Sen, Estimates of the regression coefficient based on Kendall's tau, J. Amer. Statist. Assoc. 63 (1968) 1379.
func TheilSen(x, y []float64) Line {
	if len(x) == 0 {
		return Line{}
	}
	slope := MedianSlope(x, y)
	return Line{Level: Median(y) - slope*Median(x), Slope: slope}
}

// MedianSlope is the slope of [TheilSen]. x is in order.
//
// What is sorted is not all slopes but those near the median of some: pairs that lie half and a third of the points apart, whose slopes
// scatter least. Where the median is not among them after all, all are.
func MedianSlope(x, y []float64) float64 {
	if allEqual(y) {
		return 0
	}
	room := scratch.Get().(*[]float64)
	defer scratch.Put(room)
	n := len(x)
	if pairs := n * (n - 1) / 2; cap(*room) < pairs+1 {
		*room = make([]float64, pairs+1)
	}
	near := (*room)[:0]
	for _, apart := range []int{n / 2, n / 3} {
		for i := apart; i < n && n >= 16; i++ {
			if dx := x[i] - x[i-apart]; dx != 0 {
				near = append(near, (y[i]-y[i-apart])/dx)
			}
		}
	}
	low, high := math.Inf(-1), math.Inf(1)
	if len(near) > 0 {
		slices.Sort(near)
		low, high = near[len(near)*2/5], near[len(near)*3/5]
	}
	for {
		near, below, count := slopesBetween(x, y, low, high, (*room)[:cap(*room)])
		at := count/2 - below
		switch {
		case at > 0 && at < len(near):
			return median(near, at, count)
		case math.IsInf(low, -1):
			return middle(near)
		}
		low, high = math.Inf(-1), math.Inf(1)
	}
}

// slopesBetween are the slopes of all pairs that lie between two numbers, how many are below and how many there are at all. No step hangs
// on a comparison, of which half would surprise the processor: the sign of a difference is a number to add.
func slopesBetween(x, y []float64, low, high float64, room []float64) (near []float64, below, count int) {
	inside := 0
	for i := range x {
		xi, yi := x[i], y[i]
		ys := y[:i]
		for j, xj := range x[:i] {
			dx := xi - xj
			if dx == 0 {
				continue
			}
			slope := (yi - ys[j]) / dx
			under, over := math.Float64bits(slope-low)>>63, math.Float64bits(high-slope)>>63
			room[inside] = slope
			inside += int(1 &^ (under | over))
			below += int(under)
			count++
		}
	}
	return room[:inside], below, count
}

// scratch is room for numbers of all pairs.
var scratch = sync.Pool{New: func() any { return new([]float64) }}

func allEqual(v []float64) bool {
	for _, x := range v {
		if x != v[0] {
			return false
		}
	}
	return true
}

// RepeatedMedians returns the line whose slope is the median over the points of the median of their slopes to all others, and
// whose level is the median of y - slope × x. Up to half of the points may be anywhere.
//
// A. F. Siegel, Robust regression using repeated medians, Biometrika 69 (1982) 242.
func RepeatedMedians(x, y []float64) Line {
	var medians, slopes []float64
	for i := range x {
		slopes = slopes[:0]
		for j := range x {
			if x[i] != x[j] {
				slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
			}
		}
		if len(slopes) > 0 {
			medians = append(medians, middle(slopes))
		}
	}
	if len(x) == 0 {
		return Line{}
	}
	slope := middle(medians)
	levels := make([]float64, len(x))
	for i := range x {
		levels[i] = y[i] - slope*x[i]
	}
	return Line{Level: middle(levels), Slope: slope}
}

// Median is the middle value, or the mean of the middle two; 0 of none.
func Median(v []float64) float64 { return middle(slices.Clone(v)) }

// middle is the median of values that it may put into another order.
func middle(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	return median(v, len(v)/2, len(v))
}

// median is the median of n values, of which v are those around it: the upper middle one would stand at k were they sorted.
func median(v []float64, k, n int) float64 {
	upper := nth(v, k)
	if n%2 == 1 {
		return upper/2 + upper/2
	}
	return slices.Max(v[:k])/2 + upper/2
}

// nth is the value that would stand at k were v sorted. It puts all that are less before it and all that are more behind: C. A. R.
// Hoare, Algorithm 65: Find, Comm. ACM 4 (1961) 321. What is short, or resists, is sorted. There must be no NaN.
func nth(v []float64, k int) float64 {
	low, high := 0, len(v)-1
	for tries := 0; high-low > 16 && tries < 64; tries++ {
		a, b, c := v[low], v[(low+high)/2], v[high]
		pivot := max(min(a, b), min(max(a, b), c)) // the middle one
		i, j := low, high
		for i <= j {
			for v[i] < pivot {
				i++
			}
			for pivot < v[j] {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return v[k]
		}
	}
	slices.Sort(v[low : high+1])
	return v[k]
}

// Quantile is the value below which the share p of v lies, linear between two values: type 7 of R. J. Hyndman and Y. Fan, Sample
// Quantiles in Statistical Packages, American Statistician 50 (1996) 361. NaN of none.
func Quantile(v []float64, p float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	v = slices.Clone(v)
	slices.Sort(v)
	h := p * float64(len(v)-1)
	low := int(math.Floor(h))
	if low >= len(v)-1 {
		return v[len(v)-1]
	}
	return v[low] + (h-float64(low))*(v[low+1]-v[low])
}

// Beyond is how many standard deviations a normal variable stays within with a chance of 1 - p on both sides together: 1.96 for
// 0.05.
func Beyond(p float64) float64 { return math.Sqrt2 * math.Erfinv(1-p) }
