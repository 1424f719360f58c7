package view

import (
	"bytes"
	"io"
	"math"
	"strings"
	"testing"
)

const hostile = `<script>alert("x")</script> & 'y' ` + "\x1b[31m\u202e"

// Drawings hold a mark a cut, are well formed and hold no number that is none, whatever the ladder.
func TestTrialPlots(t *testing.T) {
	none := math.NaN()
	level := func(x float64, text string, good, marginal, bad int) TrialLevel {
		return TrialLevel{X: x, Text: text, Good: good, Marginal: marginal, Bad: bad}
	}
	for name, c := range map[string]struct {
		ladder                      TrialLadder
		circles, triangles, crosses int
	}{
		"a ladder":        {TrialLadder{Unit: "bar", Low: 0.36, High: 0.48, Now: 0.46, Recommended: 0.42, Levels: []TrialLevel{level(0.30, "0.30 bar", 0, 0, 2), level(0.36, "0.36 bar", 2, 0, 0), level(0.54, "0.54 bar", 0, 1, 0)}}, 2, 1, 2},
		"one step":        {TrialLadder{Unit: "mm", Low: 6, High: 6, Now: 6, Recommended: 6, Levels: []TrialLevel{level(6, "6 mm", 1, 0, 0)}}, 1, 0, 0},
		"no window":       {TrialLadder{Unit: "bar", Low: none, High: none, Now: none, Recommended: none, Levels: []TrialLevel{level(0, "0 bar", 0, 0, 1)}}, 0, 0, 1},
		"more than fit":   {TrialLadder{Unit: "bar", Low: 1, High: 1, Now: 1, Recommended: 1, Levels: []TrialLevel{level(1, "1 bar", 40, 0, 0)}}, 12, 0, 0},
		"a hostile label": {TrialLadder{Unit: hostile, Low: none, High: none, Now: 1, Recommended: none, Levels: []TrialLevel{level(1, hostile, 1, 0, 0)}}, 1, 0, 0},
	} {
		t.Run(name, func(t *testing.T) {
			svg := string(c.ladder.SVG())
			wellFormed(t, svg)
			if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") || strings.Contains(svg, "<script") {
				t.Error(svg)
			}
			for mark, want := range map[string]int{`<circle class="good"`: c.circles, `<path class="marginal"`: c.triangles, `<path class="bad"`: c.crosses} {
				if got := strings.Count(svg, mark); got != want {
					t.Errorf("%d of %s, want %d", got, mark, want)
				}
			}
		})
	}
	if svg := (TrialLadder{}).SVG(); svg != "" {
		t.Errorf("a ladder of nothing is drawn: %s", svg)
	}
	for name, r := range map[string]TrialResponse{
		"one point":      {Title: "u", Unit: "mm", Points: []TrialPoint{{1, 0, "good"}}},
		"a curve":        {Title: "Rz5", Unit: "um", Points: []TrialPoint{{1, 30, "good"}, {2, 20, "bad"}}, Curve: []TrialCurve{{1, 30, -5, 99}, {2, 20, 10, 30}}},
		"hostile":        {Title: hostile, Unit: hostile, Points: []TrialPoint{{-2, 1e-9, hostile}, {3, 5, "marginal"}}},
		"nought and big": {Title: "u", Unit: "mm", Points: []TrialPoint{{0, 0, "good"}, {1e9, 1e12, "good"}}},
	} {
		svg := string(r.SVG())
		wellFormed(t, svg)
		if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") || strings.Contains(svg, "<script") {
			t.Errorf("%s: %s", name, svg)
		}
	}
}

// Pages need no network and no script, and text of a file stays text.
func TestTrialPages(t *testing.T) {
	page := &TrialPage{Title: hostile, Subtitle: hostile, Conditions: []TrialCondition{{ID: hostile, Recipe: hostile, Rows: []Row{{hostile, hostile}},
		Fields:   []TrialField{{Name: hostile, Summary: hostile, Ladder: TrialLadder{Unit: "bar", Levels: []TrialLevel{{X: 1, Text: hostile, Good: 1}}}, Rows: []Row{{hostile, hostile}}}},
		Together: []TrialTogether{{Title: hostile, Rows: []Row{{hostile, hostile}}}}, Grades: []TrialGrade{{hostile, "1", "2", "3", "4"}}, GradeTitle: hostile}}}
	sheet := &TrialSheet{Code: "3f9a0c1b", ID: hostile, Planned: hostile, Why: hostile, Recipe: hostile, Range: hostile, Design: hostile, Pierce: []string{hostile}, Unit: hostile,
		GradeAsked: hostile, Cautions: []string{hostile}, Fields: []string{"cut.pressure"}, Coupons: []TrialCoupon{{Number: 1, Plate: 1, Values: []string{hostile}, Outcome: "good", Seen: hostile}}}
	for name, write := range map[string]func(io.Writer) error{"show": page.HTML, "sheet": sheet.HTML} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		text := b.String()
		for _, never := range []string{"<script", "http://", "https://", "src=", "\x1b", "\u202e", "@import", "onload"} {
			if strings.Contains(text, never) {
				t.Errorf("%s holds %q", name, never)
			}
		}
		for _, must := range []string{"&lt;script&gt;", "default-src 'none'", "size: A4", "</html>"} {
			if !strings.Contains(text, must) {
				t.Errorf("%s lacks %q", name, must)
			}
		}
	}
	for _, line := range sheet.Lines() {
		if strings.ContainsAny(line, "\x1b\u202e") {
			t.Errorf("a terminal is steered by %q", line)
		}
	}
}

// The sheet fits 80 columns where values are as wide as usual ones.
func TestTrialSheetFits(t *testing.T) {
	sheet := &TrialSheet{Code: "3f9a0c1b", ID: "bay-2/carbon-steel/oxygen/10mm", Range: "cut.pressure 0.30 to 0.60 bar, cut.focus 2 to 8 mm", Design: "composite, 11 test pieces, every setting once, random order (seed 4)",
		Planned: "14 July by Mara Lind", Recipe: "2.8 kW, 2.15 m/min, 0.46 bar, focus 5 mm, double 1.5 mm at 1 mm", Unit: "bay-2", GradeAsked: "S355J2", Fields: []string{"cut.pressure", "cut.focus"},
		Coupons: []TrialCoupon{{Number: 11, Plate: 2, Values: []string{"0.41 bar", "4.7 mm"}, Outcome: "marginal"}}}
	for _, line := range sheet.Lines() {
		if columns(line) > 80 {
			t.Errorf("%d columns: %s", columns(line), line)
		}
	}
	text := strings.Join(sheet.Lines(), "\n")
	if !strings.Contains(text, "[ ]   [x]  [ ]") {
		t.Errorf("what is known is not ticked:\n%s", text)
	}
}
