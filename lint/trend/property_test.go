package trend

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func drawOrder(t *rapid.T) Order { return rapid.SampledFrom([]Order{Rising, Falling}).Draw(t, "order") }

// few values, so that equal ones are common
func drawValues(t *rapid.T, most int) []float64 {
	small := rapid.SliceOfN(rapid.IntRange(0, 9), 0, most).Draw(t, "values")
	y := make([]float64, len(small))
	for i, v := range small {
		y[i] = float64(v)
	}
	return y
}

// The odd ones against every subset there is: none that keeps the order leaves out fewer, and of those that leave out as few none
// needs a smaller correction.
func TestOddOnesAreTheFewestAndCheapest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y := drawValues(t, 9)
		order := drawOrder(t)
		w := make([]float64, len(y))
		for i := range w {
			w[i] = float64(rapid.IntRange(1, 3).Draw(t, "weight"))
		}
		odd := OddOnes(y, w, order)
		out := 0
		got := 0.0
		for _, o := range odd {
			out |= 1 << o.Index
			got += w[o.Index] * math.Abs(y[o.Index]-o.To)
		}
		bestCount, bestCost := len(y)+1, math.Inf(1)
		for set := range 1 << len(y) {
			count, cost, ok := costOf(y, w, order, set)
			if ok && (count < bestCount || count == bestCount && cost < bestCost) {
				bestCount, bestCost = count, cost
			}
		}
		if _, _, ok := costOf(y, w, order, out); !ok {
			t.Fatalf("%v %v: without %v the order is still broken", y, order, odd)
		}
		if len(odd) != bestCount || math.Abs(got-bestCost) > 1e-12 {
			t.Fatalf("%v %v: %d left out for %v, could be %d for %v", y, order, len(odd), got, bestCount, bestCost)
		}
	})
}

// costOf leaves a set of points out, and says whether the others keep the order and what it costs to move those of the set to it.
func costOf(y, w []float64, order Order, set int) (count int, cost float64, ok bool) {
	last := math.Inf(-1)
	for i := range y {
		v := float64(order) * y[i]
		if set>>i&1 == 0 {
			if v < last {
				return 0, 0, false
			}
			last = v
		}
	}
	for i := range y {
		if set>>i&1 == 0 {
			continue
		}
		count++
		low, high := math.Inf(-1), math.Inf(1)
		for j := range y {
			v := float64(order) * y[j]
			switch {
			case set>>j&1 == 1:
			case j < i:
				low = math.Max(low, v)
			default:
				high = math.Min(high, v)
			}
		}
		v := float64(order) * y[i]
		cost += w[i] * math.Max(0, math.Max(low-v, v-high))
	}
	return count, cost, true
}

// The fit keeps the order, its mean is that of the values, and no move of a whole block brings it nearer to them (the conditions of
// Karush, Kuhn and Tucker for this problem, from memory).
func TestIsotonicIsTheNearest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y := drawValues(t, 20)
		order := drawOrder(t)
		fit := Isotonic(y, nil, order)
		sum := 0.0
		for i := range fit {
			if i > 0 && float64(order)*(fit[i]-fit[i-1]) < 0 {
				t.Fatalf("%v: %v is not in order", y, fit)
			}
			sum += float64(order) * (y[i] - fit[i])
			last := i == len(fit)-1
			if sum < -1e-9 || (last || fit[i+1] != fit[i]) && sum > 1e-9 {
				t.Fatalf("%v: %v could be nearer", y, fit)
			}
		}
	})
}

func TestOrderKept(t *testing.T) {
	y := []float64{5, 5, 4, 4, 3, 1, 1}
	if odd := OddOnes(y, nil, Falling); len(odd) != 0 {
		t.Errorf("equal neighbours: %v", odd)
	}
	y[2] = 40
	if odd := OddOnes(y, nil, Falling); len(odd) != 1 || odd[0] != (Odd{2, 5}) {
		t.Errorf("the odd one is the third, and 5 would do: %v", odd)
	}
	if OddOnes(y, nil, None) != nil || len(Isotonic(y, nil, None)) != len(y) {
		t.Error("no order, no odd ones")
	}
	// two equally good choices: the smaller correction, or the one that is doubted
	y = []float64{10, 8, 9, 5}
	if odd := OddOnes(y, nil, Falling); len(odd) != 1 || odd[0].Index != 2 && odd[0].Index != 1 {
		t.Errorf("%v", odd)
	}
	for doubted := 1; doubted <= 2; doubted++ {
		w := []float64{1, 1, 1, 1}
		w[doubted] = 0.1
		if odd := OddOnes(y, w, Falling); len(odd) != 1 || odd[0].Index != doubted {
			t.Errorf("the doubted one is %d: %v", doubted, odd)
		}
	}
}

// The chance of a direction in several groups, against all orders that there are.
func TestDirectionInGroups(t *testing.T) {
	group := []int{1, 1, 1, 2, 2, 3}
	y := []float64{1, 2, 3, 5, 4, 9}
	leans := func(v []float64) int {
		n := 0
		for j := range v {
			for i := range j {
				if group[i] == group[j] {
					if v[j] > v[i] {
						n++
					} else {
						n--
					}
				}
			}
		}
		return n
	}
	far, all := 0, 0
	var permute func(v []float64, from int)
	permute = func(v []float64, from int) {
		if from == len(v) {
			all++
			if n := leans(v); n >= leans(y) || -n >= leans(y) {
				far++
			}
			return
		}
		for i := from; i < len(v); i++ {
			v[from], v[i] = v[i], v[from]
			permute(v, from+1)
			v[from], v[i] = v[i], v[from]
		}
	}
	permute(append([]float64{}, y...), 0)
	order, chance := Direction(y, group)
	if want := float64(far) / float64(all); order != Rising || math.Abs(chance-want) > 1e-12 {
		t.Errorf("%v by chance %v, by counting %v", order, chance, want)
	}
	if order, chance := Direction([]float64{2, 2, 2}, nil); order != None || chance != 1 {
		t.Errorf("a plateau: %v %v", order, chance)
	}
}

// Two points taken out together, against a curve that never saw them.
func TestLeaveTwoOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	m := Model{Slope: -1, SlopeSD: 0.3, Bend: 0.1, Reach: 1, Step: 0.1, Noise: 0.05}
	x := []float64{0, 0.4, 0.7, 1.1, 1.4, 1.8}
	y := make([]float64, len(x))
	for i := range y {
		y[i] = 3 - x[i] + 0.05*rng.NormFloat64()
	}
	// with the others as they are, p(yi, yj) = p(yi | others) p(yj | others, yi)
	square := func(yi, yj float64) float64 {
		rest := Fit(m, places(x[0], x[1], x[4], x[5]), []float64{y[0], y[1], y[4], y[5]})
		first := rest.At(Place{X: x[2]})
		both := Fit(m, places(x[0], x[1], x[2], x[4], x[5]), []float64{y[0], y[1], yi, y[4], y[5]})
		second := both.At(Place{X: x[3]})
		a, b := (yi-first.Value)/first.SD, (yj-second.Value)/second.SD
		return a*a + b*b
	}
	c := Fit(m, places(x...), y)
	before, after := c.LeaveTwoOut(2, 3, y[3]-y[2], y[2]-y[3])
	if want := square(y[2], y[3]); math.Abs(before-want) > 1e-3*want {
		t.Errorf("as they are %v, want %v", before, want)
	}
	if want := square(y[3], y[2]); math.Abs(after-want) > 1e-3*want {
		t.Errorf("changed %v, want %v", after, want)
	}
	if after < before+20 {
		t.Errorf("two points the wrong way round cost %v, the right way %v", after, before)
	}
}

// An interval of two deviations holds about 95 of 100 points of curves that the model describes.
func TestIntervalHolds(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	m := Model{Slope: -1.2, SlopeSD: 0.3, Bend: 0, Reach: 1, Noise: 0.05}
	inside, all := 0, 0
	for range 400 {
		n := 3 + rng.IntN(12)
		x, y := make([]float64, n), make([]float64, n)
		slope := -1.2 + 0.3*rng.NormFloat64()
		for i := range x {
			x[i] = float64(i) * 0.25
			y[i] = 2 + slope*x[i] + 0.05*rng.NormFloat64()
		}
		for i, p := range Fit(m, places(x...), y).LeaveOneOut() {
			all++
			if math.Abs(y[i]-p.Value) < 2*p.SD {
				inside++
			}
		}
	}
	if share := float64(inside) / float64(all); share < 0.94 || share > 0.965 {
		t.Errorf("%.3f of %d points lie inside, want 0.954", share, all)
	}
}

func TestOfNothing(t *testing.T) {
	if TheilSen(nil, nil) != (Line{}) || RepeatedMedians(nil, nil) != (Line{}) || Median(nil) != 0 || Scale(nil) != 0 || Scale([]float64{3}) != 0 || !math.IsNaN(Quantile(nil, 0.5)) {
		t.Error("no points, no line")
	}
	if l := TheilSen([]float64{1, 1}, []float64{2, 4}); l != (Line{Level: 3}) {
		t.Errorf("one thickness: %v", l)
	}
	if got := Fit(Model{Noise: 1}, nil, nil).At(Place{X: 1}); got.SD < levelSD {
		t.Errorf("no points, no knowledge: %v", got)
	}
	one := Fit(Model{Slope: 1, Noise: 0.1}, places(1), []float64{5})
	if p := one.LeaveOneOut()[0]; p.SD < levelSD {
		t.Errorf("one point says nothing about itself: %v", p)
	}
	if p := one.At(Place{X: 2}); math.Abs(p.Value-6) > 0.01 {
		t.Errorf("one point and a slope: %v", p)
	}
}

// places are points of one group and kind.
func places(x ...float64) []Place {
	at := make([]Place, len(x))
	for i := range x {
		at[i].X = x[i]
	}
	return at
}

func benchmarkPoints(n int) (x, y []float64) {
	rng := rand.New(rand.NewPCG(5, 6))
	for i := range n {
		x = append(x, math.Log(0.5+float64(i)))
		y = append(y, 3-1.2*x[i]+0.05*rng.NormFloat64())
	}
	return x, y
}

func BenchmarkLeaveOneOut(b *testing.B) {
	for _, n := range []int{8, 12, 40} {
		x, y := benchmarkPoints(n)
		m := Model{Slope: -1.2, SlopeSD: 0.3, Bend: 0.1, Reach: 1, Noise: 0.05}
		b.Run(string(rune('0'+n/10))+string(rune('0'+n%10)), func(b *testing.B) {
			for b.Loop() {
				Fit(m, places(x...), y).LeaveOneOut()
			}
		})
	}
}

// What judging a family asks of its points.
func BenchmarkSelect(b *testing.B) {
	x, y := benchmarkPoints(50)
	for name, f := range map[string]func(){
		"slope": func() { MedianSlope(x, y) },
		"scale": func() { Scale(y) },
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				f()
			}
		})
	}
}

// The middle slope and the distance are those that sorting all pairs gives, to the last bit, whatever the values.
func TestSelectedAsIfSorted(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 60).Draw(t, "n")
		steps := rapid.SampledFrom([]int{1, 3, 1000, 1 << 30}).Draw(t, "steps") // few make equal ones common
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		x, y := make([]float64, n), make([]float64, n)
		for i := range x {
			x[i] = float64(i)
			if i > 0 && rng.IntN(8) == 0 {
				x[i] = x[i-1]
			}
			y[i] = float64(rng.IntN(steps)) / 7
			if rng.IntN(10) == 0 {
				y[i] *= 1e3
			}
		}
		var slopes, distances []float64
		for i := range x {
			for j := range i {
				distances = append(distances, math.Abs(y[i]-y[j]))
				if x[i] != x[j] {
					slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
				}
			}
		}
		slices.Sort(slopes)
		slices.Sort(distances)
		want := 0.0
		switch k := len(slopes) / 2; {
		case len(slopes) == 0:
		case len(slopes)%2 == 1:
			want = slopes[k]
		default:
			want = slopes[k-1]/2 + slopes[k]/2
		}
		if got := MedianSlope(x, y); got != want {
			t.Fatalf("%v %v: slope %v, not %v", x, y, got, want)
		}
		for k, want := range distances {
			if got := nthDistance(y, k); got != want {
				t.Fatalf("%v: distance %d is %v, not %v", y, k, got, want)
			}
		}
	})
}

func BenchmarkOddOnes(b *testing.B) {
	_, y := benchmarkPoints(40)
	for b.Loop() {
		OddOnes(y, nil, Falling)
	}
}
