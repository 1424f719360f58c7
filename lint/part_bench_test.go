package lint

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"fettle/schema"
)

// grid is a set of so many thicknesses, as a maker's table has them, and the settings and machine around it.
func grid(tb testing.TB, points int) (frame *schema.Library, data []byte) {
	tb.Helper()
	files := source{}
	for _, name := range []string{schema.SettingsFile, "machines/bay-2.json"} {
		text, err := os.ReadFile(filepath.Join("example", name))
		if err != nil {
			tb.Fatal(err)
		}
		files[name] = text
	}
	frame, err := schema.ReadFrame(files)
	if err != nil {
		tb.Fatal(err)
	}
	var b bytes.Buffer
	b.WriteString("{\n  \"kind\": \"condition-set\",\n  \"format\": 1,\n  \"machine\": \"bay-2\",\n  \"material\": \"carbon-steel\",\n  \"gas\": \"oxygen\",\n  \"conditions\": [\n")
	for i := range points {
		t := 3 * math.Pow(7, float64(i)/float64(points))
		fmt.Fprintf(&b, `    {
      "thickness": "%.2f mm",
      "nozzle": {
        "form": "double",
        "orifice": "1.2 mm",
        "standoff": "1 mm"
      },
      "cut": {
        "power": "%.3g kW",
        "speed": "%.3g m/min",
        "pressure": "%.2g bar",
        "focus": "%.2g mm",
        "mode": "continuous"
      },
      "kerf": "%.2g mm"
    }`, t, 1.25*math.Pow(t, 0.66), 8.6*math.Pow(t, -0.57), 1.5*math.Pow(t, -0.36), 0.6*t, 0.22*math.Pow(t, 0.38))
		if i < points-1 {
			b.WriteString(",")
		}
		b.WriteString("\n")
	}
	b.WriteString("  ]\n}\n")
	return frame, b.Bytes()
}

type source map[string][]byte

func (s source) Files() []string {
	var out []string
	for p := range s {
		out = append(out, p)
	}
	return out
}
func (s source) Read(p string) ([]byte, error) { return s[p], nil }

// perCondition reports time and allocations of f for each of n conditions.
func perCondition(b *testing.B, n int, f func()) {
	f() // tables that are made once
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	for b.Loop() {
		f()
	}
	runtime.ReadMemStats(&after)
	count := float64(b.N) * float64(n)
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/count, "ns/condition")
	b.ReportMetric(float64(after.Mallocs-before.Mallocs)/count, "allocs/condition")
	b.ReportMetric(float64(after.TotalAlloc-before.TotalAlloc)/count, "B/condition")
}

// What one condition of a family costs: to be read, and to be judged.
func BenchmarkCondition(b *testing.B) {
	for _, points := range []int{12, 50} {
		frame, data := grid(b, points)
		const at = "sets/bay-2/carbon-steel-oxygen.json"
		b.Run(fmt.Sprintf("read/%d", points), func(b *testing.B) {
			perCondition(b, points, func() {
				if f := schema.ReadFile(at, data); len(f.Problems) > 0 {
					b.Fatal(f.Problems)
				}
			})
		})
		b.Run(fmt.Sprintf("judge/%d", points), func(b *testing.B) {
			lib := frame.With([]*schema.File{schema.ReadFile(at, data)})
			if len(lib.Recipes) != points {
				b.Fatalf("%d conditions", len(lib.Recipes))
			}
			perCondition(b, points, func() { RunPart(lib, Options{Base: lib, Same: true}) })
		})
	}
}
