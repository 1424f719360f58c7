package trial

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// A WelchTest is the comparison of two means where the scatter may differ.
type WelchTest struct {
	MeanA, MeanB float64
	Difference   float64 // B minus A
	Low, High    float64 // the interval of the difference
	T, DF, P     float64 // two-sided
	Hedges       float64 // the difference in standard deviations, corrected for few values
}

// Welch compares two samples: t with the degrees of freedom of Welch and Satterthwaite, and Hedges' g as the size of the effect. It
// is false with fewer than two values on a side, and where neither side scatters at all.
//
// Welch, The generalization of Student's problem, Biometrika 34 (1947); NIST/SEMATECH e-Handbook 7.3.1; Hedges, Distribution theory for
// Glass's estimator of effect size, Journal of Educational Statistics 6 (1981).
func Welch(a, b []float64) (WelchTest, bool) {
	if len(a) < 2 || len(b) < 2 || !finite(a) || !finite(b) {
		return WelchTest{}, false
	}
	meanA, varA := stat.MeanVariance(a, nil)
	meanB, varB := stat.MeanVariance(b, nil)
	nA, nB := float64(len(a)), float64(len(b))
	shareA, shareB := varA/nA, varB/nB
	if shareA+shareB == 0 {
		return WelchTest{}, false
	}
	w := WelchTest{MeanA: meanA, MeanB: meanB, Difference: meanB - meanA}
	error2 := shareA + shareB
	w.DF = error2 * error2 / (shareA*shareA/(nA-1) + shareB*shareB/(nB-1))
	w.T = w.Difference / math.Sqrt(error2)
	w.P = twoSided(w.T, w.DF)
	half := quantileT(w.DF) * math.Sqrt(error2)
	w.Low, w.High = w.Difference-half, w.Difference+half
	free := nA + nB - 2
	pooled := math.Sqrt(((nA-1)*varA + (nB-1)*varB) / free)
	w.Hedges = w.Difference / pooled * (1 - 3/(4*free-1))
	return w, true
}

// twoSided is the chance of a t at least as far from nought.
func twoSided(t, df float64) float64 {
	return 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Survival(math.Abs(t))
}

// quantileT is the quantile of t that an interval needs on both sides.
func quantileT(df float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile((1 + Confidence) / 2)
}

func finite(list []float64) bool {
	return !slices.ContainsFunc(list, func(x float64) bool { return math.IsNaN(x) || math.IsInf(x, 0) })
}

// A RankTest is the comparison of two samples by rank.
type RankTest struct {
	U     float64 // how many pairs have B above A; ties count half
	P     float64 // two-sided
	Exact bool    // counted out, ties and all, not approximated
	Delta float64 // Cliff's delta: share of pairs with B above A minus share with B below; -1 to 1
}

// exactUpTo is how many values are counted out. Beyond, the normal approximation is good.
const exactUpTo = 40

// MannWhitney compares two samples by rank, which asks nothing of the shape of the scatter. Up to 40 values the chance is counted
// out over all ways to divide the values, ties as they are; beyond, it is the normal approximation with ties and continuity
// corrected. It is false where a side is empty.
//
// Mann and Whitney, On a test of whether one of two random variables is stochastically larger than the other, Annals of Mathematical
// Statistics 18 (1947); Cliff, Dominance statistics, Psychological Bulletin 114 (1993).
func MannWhitney(a, b []float64) (RankTest, bool) {
	if len(a) == 0 || len(b) == 0 || !finite(a) || !finite(b) {
		return RankTest{}, false
	}
	ranks, ties := doubledRanks(a, b)
	sumB := 0
	for _, r := range ranks[len(a):] {
		sumB += r
	}
	nA, nB := float64(len(a)), float64(len(b))
	r := RankTest{U: float64(sumB)/2 - nB*(nB+1)/2}
	r.Delta = 2*r.U/(nA*nB) - 1
	if len(ranks) <= exactUpTo {
		r.P, r.Exact = countedOut(ranks, len(b), sumB), true
		return r, true
	}
	n := nA + nB
	spread := math.Sqrt(nA * nB / 12 * (n + 1 - ties/(n*(n-1))))
	if spread == 0 {
		r.P = 1
		return r, true
	}
	beyond := (math.Abs(r.U-nA*nB/2) - 0.5) / spread
	r.P = min(1, 2*distuv.UnitNormal.Survival(beyond))
	return r, true
}

// doubledRanks are twice the ranks of a and then b among all, equal values sharing theirs: whole numbers. ties is the sum of t³−t.
func doubledRanks(a, b []float64) (ranks []int, ties float64) {
	all := slices.Concat(a, b)
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		switch {
		case all[i] < all[j]:
			return -1
		case all[i] > all[j]:
			return 1
		}
		return 0
	})
	ranks = make([]int, len(all))
	for from := 0; from < len(order); {
		to := from + 1
		for to < len(order) && all[order[to]] == all[order[from]] {
			to++
		}
		for _, i := range order[from:to] {
			ranks[i] = from + to + 1 // twice the mean of from+1 … to
		}
		t := float64(to - from)
		ties += t*t*t - t
		from = to
	}
	return ranks, ties
}

// countedOut is the two-sided chance of a sum of n doubled ranks at least as far out, over all choices of n.
func countedOut(ranks []int, n, sum int) float64 {
	total := 0
	for _, r := range ranks {
		total += r
	}
	ways := make([][]float64, n+1) // how many choices of k have a sum
	for k := range ways {
		ways[k] = make([]float64, total+1)
	}
	ways[0][0] = 1
	for _, r := range ranks {
		for k := n; k >= 1; k-- {
			for s := total; s >= r; s-- {
				ways[k][s] += ways[k-1][s-r]
			}
		}
	}
	var low, high, all float64
	for s, w := range ways[n] {
		all += w
		if s <= sum {
			low += w
		}
		if s >= sum {
			high += w
		}
	}
	return min(1, 2*min(low, high)/all)
}
