package trend

import (
	"math"
	"slices"
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
	slopes := make([]float64, 0, len(x)*(len(x)-1)/2)
	for i := range x {
		for j := range i {
			if x[i] != x[j] {
				slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
			}
		}
	}
	if len(x) == 0 {
		return Line{}
	}
	slope := middle(slopes)
	return Line{Level: Median(y) - slope*Median(x), Slope: slope}
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
	n := len(v)
	if n == 0 {
		return 0
	}
	upper := nth(v, n/2)
	if n%2 == 1 {
		return upper/2 + upper/2
	}
	return slices.Max(v[:n/2])/2 + upper/2
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
