package trial

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fettle/schema/quantity"
)

func bar(text string) quantity.Value { return quantity.MustParse(quantity.DimPressure, text+" bar") }

// ladder reads "0.30 bad, 0.36 good good, 0.42 good marginal".
func ladder(text string) []Level {
	var cuts []Cut
	for _, part := range strings.Split(text, ", ") {
		words := strings.Fields(part)
		for _, o := range words[1:] {
			cuts = append(cuts, Cut{Value: bar(words[0]), Outcome: OutcomeNamed(o)})
		}
	}
	return Levels(cuts)
}

func TestWindows(t *testing.T) {
	step := quantity.MustParse(quantity.DimPressure, "0.01 bar")
	for _, c := range []struct{ name, ladder, want, go_ string }{
		{"both edges, the nearer failure below", "0.34 bad, 0.36 good, 0.44 good, 0.52 good, 0.60 bad", "0.36 bar to 0.52 bar, 3 steps, 3 cuts, below 0.34 bar, above 0.60 bar", "0.46 bar"},
		{"both edges alike", "0.30 bad, 0.36 good, 0.42 good, 0.48 marginal", "0.36 bar to 0.42 bar, 2 steps, 2 cuts, below 0.30 bar, above 0.48 bar", "0.39 bar"},
		{"no failure above: the middle", "0.30 bad, 0.36 good, 0.42 good, 0.48 good", "0.36 bar to 0.48 bar, 3 steps, 3 cuts, below 0.30 bar", "0.42 bar"},
		{"one bad of three is enough to stay away", "0.30 good good bad, 0.36 good, 0.42 good", "0.36 bar to 0.42 bar, 2 steps, 2 cuts, below 0.30 bar", "0.39 bar"},
		{"a far failure above cannot push it out", "0.34 bad, 0.36 good, 0.40 good, 0.90 bad", "0.36 bar to 0.40 bar, 2 steps, 2 cuts, below 0.34 bar, above 0.90 bar", "0.4 bar"},
		{"one step", "0.30 bad, 0.36 good, 0.42 bad", "0.36 bar to 0.36 bar, 1 steps, 1 cuts, below 0.30 bar, above 0.42 bar", "0.36 bar"},
		{"the same value in other units", "0.30 bad, 0.36 good, 0.360 good, 0.42 good", "0.36 bar to 0.42 bar, 2 steps, 3 cuts, below 0.30 bar", "0.39 bar"},
	} {
		t.Run(c.name, func(t *testing.T) {
			w, ok := Longest(Windows(ladder(c.ladder)))
			if !ok {
				t.Fatal("no window")
			}
			got := fmt.Sprintf("%s to %s, %d steps, %d cuts", w.Low, w.High, w.Steps, w.Cuts)
			if w.Below != nil {
				got += ", below " + w.Below.Value.String()
			}
			if w.Above != nil {
				got += ", above " + w.Above.Value.String()
			}
			if got != c.want {
				t.Errorf("%s, want %s", got, c.want)
			}
			if r := w.Recommend(step).Format(nil); r != c.go_ {
				t.Errorf("recommends %s, want %s", r, c.go_)
			}
		})
	}
	if w := Windows(ladder("0.30 bad, 0.36 marginal")); len(w) != 0 {
		t.Errorf("a window out of nothing good: %v", w)
	}
}

// The window around a value is the one that holds it; else the longest.
func TestAround(t *testing.T) {
	all := Windows(ladder("0.30 good, 0.34 bad, 0.36 good, 0.40 good, 0.44 good, 0.48 bad, 0.52 good, 0.54 good"))
	for at, want := range map[string]string{"0.30": "0.30 bar", "0.40": "0.36 bar", "0.53": "0.52 bar", "0.34": "0.36 bar", "0.70": "0.36 bar"} {
		if w, ok := Around(all, bar(at)); !ok || w.Low.String() != want {
			t.Errorf("around %s: from %s, want %s", at, w.Low, want)
		}
	}
}

func TestPlaceWords(t *testing.T) {
	w, _ := Longest(Windows(ladder("0.36 good, 0.44 good, 0.52 good")))
	for at, want := range map[string]string{"0.30": "below it", "0.36": "at its low edge", "0.40": "towards its low edge", "0.44": "near its middle", "0.46": "near its middle",
		"0.48": "towards its high edge", "0.52": "at its high edge", "0.53": "above it"} {
		if got := w.Place(bar(at)).Words(); got != want {
			t.Errorf("%s lies %s, want %s", at, got, want)
		}
	}
	alone, _ := Longest(Windows(ladder("0.36 good")))
	if got := alone.Place(bar("0.36")).Words(); got != "the only step that was shown good" {
		t.Error(got)
	}
}

// Whatever the ladder: a recommended value lies in its window, and a mirrored ladder has the mirrored value.
func TestRecommendKeepsInside(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(t, "steps")
		var cuts, mirrored []Cut
		at := 0
		for range n {
			at += rapid.IntRange(1, 30).Draw(t, "gap")
			o := Outcome(rapid.IntRange(0, 2).Draw(t, "outcome"))
			cuts = append(cuts, Cut{Value: bar(fmt.Sprintf("%d", at)), Outcome: o})
			mirrored = append(mirrored, Cut{Value: bar(fmt.Sprintf("%d", 1000-at)), Outcome: o})
		}
		fine := quantity.MustParse(quantity.DimPressure, "0.25 bar")
		all, other := Windows(Levels(cuts)), Windows(Levels(mirrored))
		slices.Reverse(other)
		if len(all) != len(other) {
			t.Fatalf("%d windows, mirrored %d", len(all), len(other))
		}
		for i, w := range all {
			v := w.Recommend(fine)
			if !w.Holds(v) {
				t.Fatalf("%s is outside of %s to %s", v, w.Low, w.High)
			}
			back := bar("1000").Sub(other[i].Recommend(fine))
			if d := v.Sub(back); d.SI() > 25001 || d.SI() < -25001 { // halves of a step go up on both sides
				t.Fatalf("%s, mirrored %s", v, back)
			}
			if w.Below != nil && w.Above != nil && w.Steps > 1 {
				middle := w.Low.SI()/2 + w.High.SI()/2
				roomLow, roomHigh := w.Low.SI()-w.Below.Value.SI(), w.Above.Value.SI()-w.High.SI()
				if roomLow < roomHigh && v.SI() < middle-25001 || roomLow > roomHigh && v.SI() > middle+25001 {
					t.Fatalf("%s moved towards the nearer failure", v)
				}
			}
		}
	})
}

func TestStep(t *testing.T) {
	for _, c := range []struct {
		name, declared string
		typed          []quantity.Value
		want           string
	}{
		{"declared by the machine", "0.05 bar", []quantity.Value{bar("0.36")}, "0.05 bar"},
		{"usual", "", []quantity.Value{bar("0.4"), bar("1")}, "0.01 bar"},
		{"typed more finely", "", []quantity.Value{bar("0.4"), bar("0.365")}, "0.001 bar"},
		{"a focus in whole millimetres", "", []quantity.Value{quantity.MustParse(quantity.DimLength, "-2 mm")}, "0.1 mm"},
		{"a fraction of an inch", "", []quantity.Value{quantity.MustParse(quantity.DimLength, "1/16 in")}, "0.1 mm"},
		{"declared in another dimension", "0.1 mm", []quantity.Value{bar("0.4")}, "0.01 bar"},
	} {
		if got := Step(c.declared, c.typed...); got.String() != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
	if n := StepsIn(bar("0.46").Sub(bar("0.36")), bar("0.01")); n != 10 {
		t.Errorf("%d steps, want 10", n)
	}
	if n := StepsIn(bar("0.36").Sub(bar("0.46")), bar("0.03")); n != -3 {
		t.Errorf("%d steps, want -3", n)
	}
}

func TestLadder(t *testing.T) {
	step := bar("0.01")
	values, err := Ladder(bar("0.30"), bar("0.60"), 5, step)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, v := range values {
		got = append(got, v.Format(nil))
	}
	if s := strings.Join(got, ", "); s != "0.3 bar, 0.38 bar, 0.45 bar, 0.53 bar, 0.6 bar" {
		t.Error(s)
	}
	if _, err := Ladder(bar("0.30"), bar("0.33"), 6, step); err == nil || !strings.Contains(err.Error(), "steps of 0.01 bar") {
		t.Errorf("six steps within three: %v", err)
	}
	if _, err := Ladder(bar("0.60"), bar("0.30"), 3, step); err == nil {
		t.Error("a range that goes down is taken")
	}
}

// Every setting comes once in each round, the order differs by seed and is the same for the same seed.
func TestOrder(t *testing.T) {
	a, b, other := Order(5, 4, 7), Order(5, 4, 7), Order(5, 4, 8)
	if !slices.Equal(a, b) || slices.Equal(a, other) {
		t.Errorf("%v, %v, seed 8 %v", a, b, other)
	}
	for round := range 4 {
		part := slices.Sorted(slices.Values(a[round*5 : round*5+5]))
		if !slices.Equal(part, []int{0, 1, 2, 3, 4}) {
			t.Errorf("round %d cuts %v", round+1, part)
		}
	}
	// A plan names its seed, so the order must not change with a newer compiler: these are fixed for good.
	if want := []int{0, 3, 1, 4, 2}; !slices.Equal(Order(5, 1, 7), want) {
		t.Errorf("seed 7 gives %v, and gave %v", Order(5, 1, 7), want)
	}
	for seed := range uint64(2000) { // one order in twelve would be rising or falling
		if round := Order(4, 1, seed); inOrder(round) {
			t.Fatalf("seed %d cuts %v", seed, round)
		}
	}
	first := make([]int, 6)
	for seed := range uint64(6000) {
		first[Order(6, 1, seed)[0]]++
	}
	for i, n := range first { // 1000 expected; 5 standard deviations are 144
		if n < 856 || n > 1144 {
			t.Errorf("setting %d is cut first %d times of 6000", i, n)
		}
	}
}

func TestDoubts(t *testing.T) {
	for _, c := range []struct {
		name  string
		basis Basis
		says  []string
		not   []string
	}{
		{"thin", Basis{Levels: ladder("0.36 good, 0.42 good"), Trials: 1},
			[]string{"two good steps", "nothing lower was cut", "nothing higher was cut", "every step was cut once", "2 of 2 good are few", "66 in 100", "no lot of plate", "one day"}, nil},
		{"rich", Basis{Levels: ladder("0.30 bad bad, 0.36 good good good, 0.42 good good good, 0.48 good good good, 0.54 bad bad"), Trials: 2, Lots: []string{"A", "B"}},
			nil, []string{"nothing", "once", "few", "lot", "day", "alternate"}},
		{"alternating", Basis{Levels: ladder("0.30 good, 0.36 bad, 0.42 good"), Trials: 1, Rising: true, Lots: []string{"A", "A"}},
			[]string{"alternate", "drift", "one lot", "one good step"}, nil},
		{"nothing good", Basis{Levels: ladder("0.30 bad"), HotCuts: 1}, []string{"hot after 1 cut", "no proven window"}, nil},
	} {
		c.basis.Window, c.basis.Found = Longest(Windows(c.basis.Levels))
		got := strings.Join(c.basis.Doubts(), "\n")
		for _, s := range c.says {
			if !strings.Contains(got, s) {
				t.Errorf("%s: nobody says %q:\n%s", c.name, s, got)
			}
		}
		for _, s := range c.not {
			if strings.Contains(got, s) {
				t.Errorf("%s: says %q:\n%s", c.name, s, got)
			}
		}
	}
}

// Hostile numbers are refused and never a panic or a NaN that is taken for an answer.
func TestRefusals(t *testing.T) {
	nan := []float64{1, 2, nan()}
	for name, ok := range map[string]bool{
		"Welch of one value":         second(Welch([]float64{1}, []float64{1, 2})),
		"Welch without scatter":      second(Welch([]float64{1, 1}, []float64{2, 2})),
		"Welch of NaN":               second(Welch(nan, []float64{1, 2})),
		"ranks of nothing":           second(MannWhitney(nil, []float64{1})),
		"ranks of NaN":               second(MannWhitney(nan, []float64{1})),
		"a line through one x":       second(Polynomial([]float64{1, 1, 1}, []float64{1, 2, 3}, 1)),
		"a parabola through two x":   second(Polynomial([]float64{1, 1, 2, 2}, []float64{1, 2, 3, 4}, 2)),
		"a parabola without freedom": second(Polynomial([]float64{1, 2, 3}, []float64{1, 2, 4}, 2)),
		"degree 3":                   second(Polynomial([]float64{1, 2, 3, 4, 5}, []float64{1, 2, 3, 4, 5}, 3)),
		"a fit of NaN":               second(Polynomial([]float64{1, 2, 3}, nan, 1)),
		"points without a coupon":    second(Mean(Roughness, nil, 0.01)),
	} {
		if ok {
			t.Errorf("%s is judged", name)
		}
	}
	for _, c := range [][3]float64{{-1, 5, 0.95}, {6, 5, 0.95}, {0, 0, 0.95}, {1, 2, 1}, {1, 2, 0}} {
		if _, _, ok := Wilson(int(c[0]), int(c[1]), c[2]); ok {
			t.Errorf("Wilson of %v is judged", c)
		}
	}
}

func nan() float64 { zero := 0.0; return zero / zero }

func second[T any](_ T, ok bool) bool { return ok }

// A curve is taken where it stands out, else a line, and too few points get neither.
func TestRespond(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5, 6}
	if f, why := Respond(x, []float64{9, 4.2, 1, 0.9, 4, 9.3}); why != "" || f.Degree != 2 || !f.Least() {
		t.Errorf("a valley: %+v %s", f, why)
	}
	if f, why := Respond(x, []float64{1, 2.1, 2.9, 4.2, 5, 5.9}); why != "" || f.Degree != 1 || !f.Clear() {
		t.Errorf("a slope: %+v %s", f, why)
	}
	if f, why := Respond(x, []float64{1, 3, 2, 1, 3, 2}); why != "" || f.Degree != 1 || f.Clear() {
		t.Errorf("nothing: %+v %s", f, why)
	}
	for _, few := range [][]float64{{1, 2, 3}, {1, 1, 2, 2}} {
		if _, why := Respond(few, few); why == "" {
			t.Errorf("%v is fitted", few)
		}
	}
}

// Ranges at their borders, by the formulas of ISO 9013: range 2 of u at 10 mm ends at 0.15 + 0.007·10 = 0.22 mm, of Rz5 at
// 40 + 0.8·10 = 48 µm; EN 1090-2 asks for range 4 and 4 in EXC3.
func TestMean(t *testing.T) {
	for _, c := range []struct {
		figure Figure
		points []float64
		want   int
	}{
		{Perpendicularity, []float64{0.22e-3}, 2},
		{Perpendicularity, []float64{0.2201e-3}, 3},
		{Perpendicularity, []float64{0.10e-3, 0.34e-3}, 2}, // the mean is on the border
		{Perpendicularity, []float64{0.10e-3, 0.3402e-3}, 3},
		{Roughness, []float64{48e-6}, 2},
		{Roughness, []float64{48.1e-6}, 3},
		{Roughness, []float64{30e-6, 50e-6, 64e-6}, 2},
		{Roughness, []float64{200e-6}, 0},
	} {
		g, ok := Mean(c.figure, c.points, 0.01)
		if !ok || g.Range != c.want || g.Points != len(c.points) {
			t.Errorf("%v: range %d, want %d", c.points, g.Range, c.want)
		}
		if meets := g.Meets(2); meets != (c.want == 2) {
			t.Errorf("%v meets range 2: %v", c.points, meets)
		}
	}
}
