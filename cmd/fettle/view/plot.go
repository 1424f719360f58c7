package view

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// A Chart is the curves of one family over thickness.
type Chart struct {
	Title    string // bay-2/carbon-steel/oxygen
	Subtitle string // "10 conditions, 2 mm to 20 mm"
	Panels   []Panel
	Foot     string // a line at the end of the text
}

// A Panel is one quantity of a chart.
type Panel struct {
	Title   string // speed
	Unit    string // of all numbers; "" where texts carry their own
	Caption string // which way it goes and how that is known
	Points  []PlotPoint
	Band    []BandPoint // what the curve gives, by thickness
	Regimes []Regime    // nozzles
	Linear  bool        // a logarithm is no use: values on both sides of nothing
}

// A PlotPoint is one value. Numbers are in the unit of the panel, thicknesses in mm.
type PlotPoint struct {
	Thickness, Value float64
	ThicknessText    string
	ValueText        string
	Expect, Low      float64 // NaN where there are no others
	High             float64
	ExpectText       string // 2.9
	RangeText        string // 2.5 to 3.3
	OffText          string // +8 %
	State            PointState
	Approved         float64 // NaN where nothing is in force
	ApprovedText     string
	Says             string // the finding; "" for none
	Help             string
	Accepted         bool // somebody answers for the finding
}

// A BandPoint is what a curve gives at a thickness, and where about 95 of 100 would lie.
type BandPoint struct{ Thickness, Low, Mid, High float64 }

// A Regime starts at a thickness: a nozzle.
type Regime struct {
	From float64
	Name string
}

// A PointState says how a value stands. Each has a shape and a letter of its own, so that colour is never needed.
type PointState int

// The states of a point. Flagged wins over the others.
const (
	PointApproved PointState = iota
	PointChanged             // not as it was approved
	PointNew                 // never approved
	PointFlagged             // the rules have something to say
)

var pointWords = [...]string{"approved", "changed since it was approved", "never approved", "does not run on with its family"}
var pointLetters = [...]string{"o", "x", "+", "!"}

// Words says a state.
func (s PointState) Words() string { return pointWords[s] }

// Text hands over the lines of a chart for a terminal of 80 columns: a table for each panel with a plot in each line, value by value.
func (c *Chart) Text(say func(line string)) {
	say(c.Title + "    " + c.Subtitle)
	seen := [len(pointWords)]bool{}
	for _, p := range c.Panels {
		say("")
		head := p.Title
		if p.Unit != "" {
			head += " in " + p.Unit
		}
		say(head + ": " + p.Caption)
		p.rows(say)
		for _, pt := range p.Points {
			seen[pt.State] = true
		}
	}
	legend := []string{"--- where the others say it should lie", "| in the middle"}
	for s, is := range seen {
		if is {
			legend = append(legend, pointLetters[s]+" "+pointWords[s])
		}
	}
	say("")
	for _, line := range wrapList(legend, 80) {
		say(line)
	}
	if c.Foot != "" {
		say(c.Foot)
	}
}

// wrapList joins parts by commas into lines of at most width columns.
func wrapList(parts []string, width int) (lines []string) {
	line := ""
	for _, part := range parts {
		switch {
		case line == "":
			line = part
		case columns(line)+2+columns(part) > width:
			lines = append(lines, line+",")
			line = part
		default:
			line += ", " + part
		}
	}
	return append(lines, line)
}

// plotColumns is how wide the plot in a line is.
const plotColumns = 24

func (p *Panel) rows(say func(string)) {
	scale := p.scale()
	wide := [3]int{columns("thickness"), columns("value"), columns("others give")}
	given := func(pt PlotPoint) string {
		if pt.ExpectText == "" {
			return ""
		}
		return pt.ExpectText + " (" + pt.RangeText + ")"
	}
	for _, pt := range p.Points {
		wide[0], wide[1], wide[2] = max(wide[0], columns(pt.ThicknessText)), max(wide[1], columns(pt.ValueText)), max(wide[2], columns(given(pt)))
	}
	plot := max(12, min(plotColumns, 80-2-wide[0]-2-wide[1]-2-wide[2]-2-7-2))
	say(strings.TrimRight(fmt.Sprintf("  %s  %s  %s  %7s", left("thickness", wide[0]), left("value", wide[1]), right("others give", wide[2]), "off"), " "))
	for _, pt := range p.Points {
		say(strings.TrimRight(fmt.Sprintf("  %s  %s  %s  %7s  %s", left(pt.ThicknessText, wide[0]), left(pt.ValueText, wide[1]), right(given(pt), wide[2]), pt.OffText, scale.line(pt, plot)), " "))
		switch {
		case pt.Accepted:
			for _, line := range wrapped("accepted: "+pt.Says, 76) {
				say("    " + line)
			}
		case pt.Says != "":
			for _, line := range wrapped("! "+pt.Says, 76) {
				say("    " + line)
			}
			for _, line := range wrapped(pt.Help, 74) {
				say("      " + line)
			}
		}
	}
}

func left(s string, width int) string { return strings.Repeat(" ", max(0, width-columns(s))) + s }
func right(s string, width int) string {
	return s + strings.Repeat(" ", max(0, width-columns(s)))
}

// A scale maps values to 0 to 1.
type plotScale struct {
	log       bool
	low, high float64
}

func (s plotScale) at(v float64) float64 {
	if s.log {
		if v <= 0 {
			return 0
		}
		v = math.Log(v)
	}
	if s.high == s.low {
		return 0.5
	}
	return (v - s.low) / (s.high - s.low)
}

// scale holds all values, and of the ranges what lies near them.
func (p *Panel) scale() plotScale {
	s := plotScale{log: !p.Linear, low: math.Inf(1), high: math.Inf(-1)}
	for _, pt := range p.Points {
		s.log = s.log && pt.Value > 0
	}
	with := func(v float64) {
		if math.IsNaN(v) || s.log && v <= 0 {
			return
		}
		if s.log {
			v = math.Log(v)
		}
		s.low, s.high = min(s.low, v), max(s.high, v)
	}
	for _, pt := range p.Points {
		with(pt.Value)
		with(pt.Approved)
		with(pt.Expect)
	}
	least := math.Log(1.3) // what is nearly flat is drawn nearly flat
	if !s.log {
		least = 0.25 * max(math.Abs(s.low), math.Abs(s.high), 1e-9)
	}
	if more := (least - (s.high - s.low)) / 2; more > 0 {
		s.low, s.high = s.low-more, s.high+more
	}
	pad := (s.high - s.low) * 0.06
	s.low, s.high = s.low-pad, s.high+pad
	return s
}

// line draws one point: the range of dashes, its middle, the value over it.
func (s plotScale) line(pt PlotPoint, width int) string {
	cells := slices.Repeat([]string{" "}, width)
	column := func(v float64) int { return min(max(int(s.at(v)*float64(width-1)+0.5), 0), width-1) }
	if !math.IsNaN(pt.Expect) {
		for i := column(pt.Low); i <= column(pt.High); i++ {
			cells[i] = "-"
		}
		cells[column(pt.Expect)] = "|"
	}
	cells[column(pt.Value)] = pointLetters[pt.State]
	return strings.TrimRight(strings.Join(cells, ""), " ")
}
