package view

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// sampleChart has a point in every state, values of two decades, a quantity on both sides of nothing, and names that would break a
// page or a terminal if they were not escaped.
func sampleChart() Chart {
	nan := math.NaN()
	p := Panel{Title: "speed", Unit: "m/min", Caption: "falls with thickness, as is usual (99 % sure)",
		Regimes: []Regime{{1, "double 1.0 mm"}, {10, "double 1.5 mm"}}}
	for i, state := range []PointState{PointApproved, PointChanged, PointNew, PointFlagged} {
		t := math.Pow(10, float64(i)/2)
		pt := PlotPoint{Thickness: t, ThicknessText: short(t) + " mm", Value: 40 / t, ValueText: short(40 / t), Expect: 42 / t, Low: 36 / t, High: 48 / t,
			ExpectText: short(42 / t), RangeText: short(36/t) + " to " + short(48/t), OffText: "-5 %", State: state, Approved: 41 / t, ApprovedText: short(41 / t)}
		if state == PointFlagged {
			pt.Says, pt.Help = `</svg><script>alert("x")</script> & more`, "The smallest correction."
		}
		if state == PointNew {
			pt.Approved, pt.ApprovedText = nan, ""
		}
		p.Points = append(p.Points, pt)
		p.Band = append(p.Band, BandPoint{t, 36 / t, 42 / t, 48 / t})
	}
	focus := Panel{Title: "focus", Unit: "mm", Caption: "no direction of its own", Linear: true, Points: []PlotPoint{
		{Thickness: 1, ThicknessText: "1 mm", Value: -1, ValueText: "-1", Expect: nan, Low: nan, High: nan, Approved: nan},
		{Thickness: 2, ThicknessText: "2 mm", Value: 0, ValueText: "0", Expect: nan, Low: nan, High: nan, Approved: nan},
		{Thickness: 31.62, ThicknessText: "31.62 mm", Value: 3, ValueText: "3", Expect: nan, Low: nan, High: nan, Approved: nan}}}
	return Chart{Title: "bay-2/<b>steel", Subtitle: "4 conditions", Panels: []Panel{p, focus, {Title: "kerf", Caption: "no direction of its own"}}}
}

func wellFormed(t *testing.T, text string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(text))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Fatalf("not well formed: %v\n%s", err, text)
		}
	}
}

func TestPlotSVG(t *testing.T) {
	c := sampleChart()
	for _, linear := range []bool{false, true} {
		var b strings.Builder
		if err := PlotSVG(&b, &c, linear); err != nil {
			t.Fatal(err)
		}
		svg := b.String()
		wellFormed(t, svg)
		for _, want := range []string{`class="approved"`, `class="changed"`, `class="new"`, `class="flagged"`, `class="before"`, `class="band"`, `class="change"`, "prefers-color-scheme:dark"} {
			if !strings.Contains(svg, want) {
				t.Errorf("linear %v: no %s", linear, want)
			}
		}
		if strings.Contains(svg, "<script") || strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
			t.Errorf("linear %v: a name or a number got through: %s", linear, svg)
		}
	}
}

// Points lie where their values are: on a logarithmic axis equal factors are equal distances, on a plain one equal differences.
func TestPlotPlaces(t *testing.T) {
	c := sampleChart()
	circle := regexp.MustCompile(`(?:cx="|d="M)(-?[0-9.]+)(?:" cy="| )(-?[0-9.]+)`)
	for _, linear := range []bool{false, true} {
		x, y := c.Panels[0].axes(linear)
		var places []float64
		for _, pt := range c.Panels[0].Points {
			places = append(places, x.place(pt.Thickness))
			if at := y.place(pt.Value); at < roomTop || at > panelHeight-roomLow {
				t.Errorf("linear %v: %v lies at %v, outside of the plot", linear, pt.Value, at)
			}
		}
		first, second := places[1]-places[0], places[2]-places[1]
		if even := math.Abs(first-second) < 0.1; even == linear {
			t.Errorf("linear %v: steps of %.1f and %.1f for equal factors", linear, first, second)
		}
		if !slices.IsSorted(places) || y.place(40) >= y.place(4) {
			t.Errorf("linear %v: thicker is not to the right, or more is not above", linear)
		}
	}
	var b strings.Builder
	mark(&b, PointApproved, 10, 20)
	if m := circle.FindStringSubmatch(b.String()); m == nil || m[1] != "10.0" || m[2] != "20.0" {
		t.Errorf("a mark is not where it should be: %s", b.String())
	}
}

func TestPlotTicks(t *testing.T) {
	for _, c := range []struct {
		scale plotScale
		want  []float64
	}{
		{plotScale{log: true, low: math.Log(0.9), high: math.Log(60)}, []float64{1, 2, 5, 10, 20, 50}},
		{plotScale{log: true, low: math.Log(2.1), high: math.Log(4.2)}, []float64{2.5, 3, 3.5, 4}},
		{plotScale{low: -3, high: 3}, []float64{-3, -2, -1, 0, 1, 2, 3}},
		{plotScale{low: 0.21, high: 0.24}, []float64{0.21, 0.215, 0.22, 0.225, 0.23, 0.235, 0.24}},
	} {
		got := ticks(c.scale)
		if len(got) != len(c.want) {
			t.Errorf("%v: %v, want %v", c.scale, got, c.want)
			continue
		}
		for i := range got {
			if math.Abs(got[i]-c.want[i]) > 1e-9 {
				t.Errorf("%v: %v, want %v", c.scale, got, c.want)
			}
		}
	}
}

func TestPlotText(t *testing.T) {
	c := sampleChart()
	var lines []string
	c.Text(func(line string) { lines = append(lines, line) })
	for _, line := range lines {
		if columns(line) > 80 {
			t.Errorf("%d columns: %s", columns(line), line)
		}
	}
	text := strings.Join(lines, "\n")
	for _, want := range []string{"o approved", "x changed since it was approved", "+ never approved", "! does not run on with its family", "      The smallest correction."} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	// the marks run from right to left as the speed falls
	var at []int
	for i, line := range lines {
		if i >= 4 && len(at) < 3 {
			at = append(at, strings.LastIndexAny(line, "ox+!"))
		}
	}
	if !(at[0] > at[1] && at[1] > at[2]) {
		t.Errorf("marks at %v in\n%s", at, text)
	}
}

// The page holds what it shows as a table too, names each drawing for those who hear it, and gives no id twice.
func TestPlotPage(t *testing.T) {
	var b strings.Builder
	if err := PlotPage(&b, "bay-2 <i>", "today", []Chart{sampleChart(), sampleChart()}); err != nil {
		t.Fatal(err)
	}
	ids, labels := map[string]int{}, []string{}
	tags := map[string]int{}
	d := xml.NewDecoder(strings.NewReader(b.String()))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		start, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		tags[start.Name.Local]++
		for _, a := range start.Attr {
			switch a.Name.Local {
			case "id":
				ids[a.Value]++
			case "aria-labelledby":
				labels = append(labels, strings.Fields(a.Value)...)
			case "src":
				t.Errorf("the page fetches %s", a.Value)
			case "href":
				if !strings.HasPrefix(a.Value, "#") {
					t.Errorf("the page leads to %s", a.Value)
				}
			}
		}
	}
	for id, n := range ids {
		if n > 1 {
			t.Errorf("%d elements are called %s", n, id)
		}
	}
	for _, label := range labels {
		if ids[label] == 0 {
			t.Errorf("a drawing is named by %s, which is not there", label)
		}
	}
	if tags["table"] != 3 || tags["section"] != 2 || tags["script"] != 0 || tags["i"] != 0 || tags["b"] != 2 || len(labels) < 12 {
		t.Errorf("%v", tags)
	}
	if n := strings.Count(b.String(), `viewBox="0 0 100 72"`); n != 4 { // a panel without points has no stamp
		t.Errorf("%d stamps", n)
	}
	b.Reset()
	if err := PlotPage(&b, "bay-2", "today", []Chart{sampleChart()}); err != nil || strings.Contains(b.String(), "print-one\"") || strings.Contains(b.String(), `<table class="glance"`) {
		t.Errorf("a page of one family offers a choice of sheets: %v", err)
	}
	b.Reset()
	if err := PlotPage(&b, "bay-2 <i>", "today", []Chart{sampleChart(), sampleChart()}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`<td class="changed" title="changed since it was approved">12.65`, `<th scope="row">10 mm</th>`, "bay-2/&lt;b&gt;steel"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %s", want)
		}
	}
}
