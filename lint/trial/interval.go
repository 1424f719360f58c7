package trial

import "math"

// z is the quantile of the standard normal distribution that an interval of a confidence needs on both sides: 1.96 for 0.95.
func z(confidence float64) float64 { return math.Sqrt2 * math.Erfinv(confidence) }

// Wilson is the score interval of a share: k good ones of n say that the share of good ones lies between low and high. It is
// honest for few cuts, where the plain interval is not: 5 of 5 still leave 57 % to 100 %.
//
// Wilson, Probable inference, the law of succession, and statistical inference, Journal of the American Statistical Association 22
// (1927); NIST/SEMATECH e-Handbook 7.2.4.1. It is false for n < 1 and for k outside 0 to n.
func Wilson(k, n int, confidence float64) (low, high float64, ok bool) {
	if n < 1 || k < 0 || k > n || !(confidence > 0 && confidence < 1) {
		return 0, 0, false
	}
	q := z(confidence)
	count, share := float64(n), float64(k)/float64(n)
	middle := share + q*q/(2*count)
	half := q * math.Sqrt(share*(1-share)/count+q*q/(4*count*count))
	scale := 1 + q*q/count
	return max(0, (middle-half)/scale), min(1, (middle+half)/scale), true
}
