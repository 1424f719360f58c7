package trial

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// rows reads a table of testdata/outside/trial, by the word in the first column where there is one.
func rows(t *testing.T, name, kind string) [][]string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "outside", "trial", name))
	if err != nil {
		t.Fatal(err)
	}
	var out [][]string
	for _, line := range strings.Split(strings.TrimRight(string(data), "\n"), "\n") {
		cells := strings.Split(line, "\t")
		switch {
		case strings.HasPrefix(line, "#"):
		case kind == "":
			out = append(out, cells)
		case cells[0] == kind:
			out = append(out, cells[1:])
		}
	}
	if len(out) == 0 {
		t.Fatalf("%s has no row %q", name, kind)
	}
	return out
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func numbers(t *testing.T, text string) []float64 {
	t.Helper()
	var out []float64
	for _, word := range strings.Fields(text) {
		out = append(out, number(t, word))
	}
	return out
}

// near compares with a number of a table; tolerance is relative, and absolute for what is close to nought.
func near(t *testing.T, what string, got float64, want string, tolerance float64) {
	t.Helper()
	w := number(t, want)
	if !(math.Abs(got-w) <= tolerance*max(math.Abs(w), 1e-3)) {
		t.Errorf("%s is %.12g, want %.12g", what, got, w)
	}
}

func samples(t *testing.T) map[string][2][]float64 {
	out := map[string][2][]float64{}
	for _, row := range rows(t, "samples.tsv", "") {
		out[row[0]] = [2][]float64{numbers(t, row[1]), numbers(t, row[2])}
	}
	return out
}

// Welch's test, against scipy (ttest_ind) and R (t.test).
func TestWelchAgainstOthers(t *testing.T) {
	all := samples(t)
	for _, table := range []string{"statistics.tsv", "statistics-r.tsv"} {
		seen := 0
		for _, row := range rows(t, table, "welch") {
			w, ok := Welch(all[row[0]][0], all[row[0]][1])
			if !ok {
				t.Errorf("%s: not judged", row[0])
				continue
			}
			seen++
			got := []float64{w.T, w.DF, w.P, w.Low, w.High, w.Hedges}
			for i, want := range row[1:] {
				near(t, table+" "+row[0]+" "+[]string{"t", "df", "p", "low", "high", "g"}[i], got[i], want, 1e-8)
			}
		}
		if seen != len(all) {
			t.Errorf("%s: %d of %d samples", table, seen, len(all))
		}
	}
}

// Mann and Whitney's test, against scipy (every division visited, and mannwhitneyu) and R (wilcox.test).
func TestMannWhitneyAgainstOthers(t *testing.T) {
	all := samples(t)
	exact, approximated := 0, 0
	for _, table := range []string{"statistics.tsv", "statistics-r.tsv"} {
		for _, row := range rows(t, table, "ranks") {
			r, ok := MannWhitney(all[row[0]][0], all[row[0]][1])
			if !ok {
				t.Errorf("%s: not judged", row[0])
				continue
			}
			near(t, row[0]+" U", r.U, row[1], 1e-12)
			switch {
			case !r.Exact:
				approximated++
				near(t, row[0]+" p", r.P, row[3], 1e-9)
			case row[2] != "-":
				exact++
				near(t, row[0]+" p", r.P, row[2], 1e-9)
			}
			if len(row) > 4 {
				near(t, row[0]+" delta", r.Delta, row[4], 1e-9)
			}
		}
	}
	if exact < 8 || approximated < 2 {
		t.Errorf("%d counted out, %d approximated", exact, approximated)
	}
}

// Wilson intervals, against roots of the score equation (scipy) and prop.test (R).
func TestWilsonAgainstOthers(t *testing.T) {
	for _, table := range []string{"statistics.tsv", "statistics-r.tsv"} {
		for _, row := range rows(t, table, "wilson") {
			low, high, ok := Wilson(int(number(t, row[0])), int(number(t, row[1])), number(t, row[2]))
			if !ok {
				t.Errorf("%v: not judged", row)
			}
			near(t, strings.Join(row, " ")+" low", low, row[3], 1e-9)
			near(t, strings.Join(row, " ")+" high", high, row[4], 1e-9)
		}
	}
}

func TestQuantileOfTAgainstScipy(t *testing.T) {
	for _, row := range rows(t, "statistics.tsv", "t") {
		near(t, "t of "+row[0], quantileT(number(t, row[0])), row[1], 1e-9)
	}
}

// Fits, against numpy and scipy, and the interval of the mean against R's predict as well.
func TestFitAgainstOthers(t *testing.T) {
	fits := map[string]Fit{}
	for _, row := range rows(t, "points.tsv", "") {
		f, ok := Polynomial(numbers(t, row[2]), numbers(t, row[3]), int(number(t, row[1])))
		if !ok {
			t.Fatalf("%s: no fit", row[0])
		}
		fits[row[0]] = f
	}
	// Numbers in Pa and m are far from one, so what is compared is relative to the figure itself.
	close := func(what string, got float64, want string, tolerance float64) {
		t.Helper()
		w := number(t, want)
		if !(math.Abs(got-w) <= tolerance*math.Abs(w)+1e-14) {
			t.Errorf("%s is %.12g, want %.12g", what, got, w)
		}
	}
	for _, row := range rows(t, "statistics.tsv", "fit") {
		f := fits[row[0]]
		value, sd := f.Coefficients()
		got := append(append(value[:], sd[:]...), f.S, f.R2, f.P())
		for i, want := range row[2:] {
			close(row[0]+" fit "+strconv.Itoa(i), got[i], want, 1e-7)
		}
	}
	for _, table := range []string{"statistics.tsv", "statistics-r.tsv"} {
		for _, row := range rows(t, table, "at") {
			f := fits[row[0]]
			mean, half := f.At(number(t, row[2]))
			close(row[0]+" mean at "+row[2], mean, row[3], 1e-8)
			close(row[0]+" half width at "+row[2], half, row[4], 1e-7)
			if len(row) > 5 {
				slope, half := f.Slope(number(t, row[2]))
				close(row[0]+" slope at "+row[2], slope, row[5], 1e-7)
				close(row[0]+" half width of the slope at "+row[2], half, row[6], 1e-7)
			}
		}
	}
	for _, row := range rows(t, "statistics.tsv", "turn") {
		x, half, ok := fits[row[0]].Turn()
		if !ok || !fits[row[0]].Least() {
			t.Errorf("%s: no least value", row[0])
		}
		close(row[0]+" turn", x, row[1], 1e-8)
		close(row[0]+" half width of the turn", half, row[2], 1e-5) // by numerical differentiation there
	}
}

// Designs have the points that R lays out, and so tell as much; their columns are balanced.
func TestDesignsAgainstR(t *testing.T) {
	coded := func(levels []float64, points [][]int) [][]float64 {
		var out [][]float64
		for _, p := range points {
			row := make([]float64, len(p))
			for i, l := range p {
				row[i] = levels[l]
			}
			out = append(out, row)
		}
		return out
	}
	three, two := []float64{-1, 0, 1}, []float64{-1, 1}
	mixed := Factorial([]int{3, 2})
	made := map[string][][]float64{
		"composite-2-3": coded(CompositeLevels(2), Composite(2, 3)), "composite-3-5": coded(CompositeLevels(3), Composite(3, 5)),
		"factorial-3-3": coded(three, Factorial([]int{3, 3})), "factorial-2-2-2": coded(two, Factorial([]int{2, 2, 2})),
		"factorial-3-2": nil,
	}
	for _, p := range mixed {
		made["factorial-3-2"] = append(made["factorial-3-2"], []float64{three[p[0]], two[p[1]]})
	}
	for _, row := range rows(t, "statistics-r.tsv", "design") {
		var want, got []string
		want = strings.Fields(row[1])
		for _, p := range made[row[0]] {
			cells := make([]string, len(p))
			for i, v := range p {
				cells[i] = strconv.FormatFloat(v+0, 'f', 6, 64)
			}
			got = append(got, strings.Join(cells, ","))
		}
		slices.Sort(got)
		slices.Sort(want)
		if !slices.Equal(got, want) {
			t.Errorf("%s\n got %v\nwant %v", row[0], got, want)
		}
		if d := determinant(crossed(made[row[0]], strings.HasPrefix(row[0], "composite") || row[0] == "factorial-3-3")); math.Abs(d-number(t, row[2])) > 1e-6*number(t, row[2]) {
			t.Errorf("%s: determinant %g, want %s", row[0], d, row[2])
		}
		if number(t, row[3]) > 1e-12 {
			t.Errorf("%s: two columns go together", row[0])
		}
	}
}

// crossed is X'X of a model of first order, or of the full quadratic one.
func crossed(points [][]float64, quadratic bool) [][]float64 {
	var x [][]float64
	for _, p := range points {
		row := append([]float64{1}, p...)
		if quadratic {
			for _, v := range p {
				row = append(row, v*v)
			}
			for i := range p {
				for j := i + 1; j < len(p); j++ {
					row = append(row, p[i]*p[j])
				}
			}
		}
		x = append(x, row)
	}
	out := make([][]float64, len(x[0]))
	for i := range out {
		out[i] = make([]float64, len(x[0]))
		for j := range out[i] {
			for _, row := range x {
				out[i][j] += row[i] * row[j]
			}
		}
	}
	return out
}

func determinant(m [][]float64) float64 {
	d := 1.0
	for i := range m {
		p := i
		for r := i; r < len(m); r++ {
			if math.Abs(m[r][i]) > math.Abs(m[p][i]) {
				p = r
			}
		}
		if p != i {
			m[i], m[p] = m[p], m[i]
			d = -d
		}
		d *= m[i][i]
		for r := i + 1; r < len(m); r++ {
			f := m[r][i] / m[i][i]
			for c := i; c < len(m); c++ {
				m[r][c] -= f * m[i][c]
			}
		}
	}
	return d
}
