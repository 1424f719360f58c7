package trend

import (
	"bufio"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// table reads a table of testdata/outside/trend: the README there says which program made it.
func table(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(filepath.Join("../../testdata/outside/trend", name+".tsv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var rows [][]string
	for lines := bufio.NewScanner(f); lines.Scan(); {
		if !strings.HasPrefix(lines.Text(), "#") {
			rows = append(rows, strings.Split(lines.Text(), "\t"))
		}
	}
	if len(rows) < 10 {
		t.Fatalf("%s: %d rows", name, len(rows))
	}
	return rows
}

func numbers(t *testing.T, column string) []float64 {
	t.Helper()
	var out []float64
	for _, text := range strings.Fields(column) {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Max(1, math.Abs(want))) {
		t.Errorf("%s: %.12g, outside says %.12g", what, got, want)
	}
}

func allNear(t *testing.T, what string, got, want []float64, tolerance float64) {
	t.Helper()
	if len(got) != len(want) {
		t.Fatalf("%s: %d values, outside says %d", what, len(got), len(want))
	}
	for i := range got {
		near(t, what, got[i], want[i], tolerance)
	}
}

func order(word string) Order {
	if word == "falling" {
		return Falling
	}
	return Rising
}

func TestIsotonicIsThatOfScikitLearn(t *testing.T) {
	for _, row := range table(t, "isotonic") {
		allNear(t, row[2], Isotonic(numbers(t, row[2]), numbers(t, row[1]), order(row[0])), numbers(t, row[3]), 1e-8)
	}
}

func TestIsotonicIsThatOfR(t *testing.T) {
	for _, row := range table(t, "order") {
		allNear(t, row[0], Isotonic(numbers(t, row[0]), nil, Rising), numbers(t, row[1]), 1e-10)
	}
}

func TestLinesAreThoseOfScipy(t *testing.T) {
	count := map[string]int{}
	for _, row := range table(t, "lines") {
		count[row[0]]++
		want := numbers(t, row[3])
		switch row[0] {
		case "line":
			x, y := numbers(t, row[1]), numbers(t, row[2])
			ts, rm := TheilSen(x, y), RepeatedMedians(x, y)
			allNear(t, "lines of "+row[1], []float64{ts.Slope, ts.Level, rm.Slope, rm.Level}, want, 1e-9)
		case "order":
			direction, chance := Direction(numbers(t, row[1]), nil)
			near(t, "chance of "+row[1], chance, want[0], 1e-8)
			near(t, "order of "+row[1], float64(direction), numbers(t, row[2])[0], 0)
		case "long":
			direction, chance := Direction(numbers(t, row[1]), nil)
			near(t, "chance of many", chance, want[0], 0.01)
			near(t, "order of many", float64(direction), numbers(t, row[2])[0], 0)
		case "beyond":
			near(t, "beyond", Beyond(numbers(t, row[1])[0]), want[0], 1e-9)
		}
	}
	if count["line"] < 20 || count["order"] < 20 || count["long"] < 6 || count["beyond"] < 8 {
		t.Errorf("rows: %v", count)
	}
}

func TestSpreadIsThatOfR(t *testing.T) {
	for _, row := range table(t, "spread") {
		y := numbers(t, row[0])
		near(t, "Qn of "+row[0], Scale(y), numbers(t, row[1])[0], 1e-6) // robustbase keeps single precision inside
		for i, p := range []float64{0, 0.05, 0.5, 0.9, 1} {
			near(t, "quantile of "+row[0], Quantile(y, p), numbers(t, row[2])[i], 1e-9)
		}
		near(t, "median of "+row[0], Median(y), numbers(t, row[2])[2], 1e-9)
	}
}

func TestCurveIsThatOfScikitLearn(t *testing.T) {
	for _, row := range table(t, "curve") {
		m := numbers(t, row[0])
		model := Model{Slope: m[0], SlopeSD: m[1], Bend: m[2], Reach: m[3], Step: m[4], Shift: m[5], Noise: m[6]}
		x, groups, kinds := numbers(t, row[1]), numbers(t, row[3]), numbers(t, row[4])
		at := make([]Place, len(x))
		for i := range x {
			at[i] = Place{x[i], int(groups[i]), int(kinds[i])}
		}
		c := Fit(model, at, numbers(t, row[2]))
		value, sd := numbers(t, row[5]), numbers(t, row[6])
		for i, p := range c.LeaveOneOut() {
			near(t, "left out", p.Value, value[i], 1e-5)
			near(t, "its deviation", p.SD, sd[i], 1e-5)
		}
		new := numbers(t, row[7])
		p := c.At(Place{new[0], int(new[1]), int(new[2])})
		near(t, "prediction", p.Value, numbers(t, row[8])[0], 1e-5)
		near(t, "its deviation", p.SD, numbers(t, row[9])[0], 1e-5)
	}
}
