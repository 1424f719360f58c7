package view

import (
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strings"
	"sync"
)

// A TrialPage is what trials show, with plots, for a screen or for A4.
type TrialPage struct {
	Title, Subtitle string
	Conditions      []TrialCondition
}

// A TrialCondition is one condition of the page.
type TrialCondition struct {
	ID, Recipe string
	Rows       []Row
	Fields     []TrialField
	Together   []TrialTogether
	Grades     []TrialGrade
	GradeTitle string
	GradeRows  []Row
	Foot       []Row
}

// A TrialField is one value that was varied alone.
type TrialField struct {
	Name, Summary string
	Ladder        TrialLadder
	Responses     []TrialResponse
	Rows          []Row
}

// A TrialTogether is a trial in which several values were varied at once.
type TrialTogether struct {
	Title string
	Rows  []Row
}

// A TrialLadder is the steps of a value with what came out of them. Numbers are in one unit; NaN is none.
type TrialLadder struct {
	Unit             string
	Levels           []TrialLevel
	Low, High        float64 // proven window
	Now, Recommended float64
}

// A TrialLevel is one step.
type TrialLevel struct {
	X                   float64
	Text                string
	Good, Marginal, Bad int
	Seen                string
}

// A TrialResponse is a measured figure over the value.
type TrialResponse struct {
	Title, Unit string
	Points      []TrialPoint
	Curve       []TrialCurve // empty where there is no fit
}

// A TrialPoint is one measured cut.
type TrialPoint struct {
	X, Y    float64
	Outcome string
}

// A TrialCurve is a point of a fit with its interval.
type TrialCurve struct{ X, Y, Low, High float64 }

// A TrialGrade is one coupon with its ranges.
type TrialGrade struct{ Name, U, URange, Rz, RzRange string }

// HTML writes the page as one file that needs no network and no script.
func (p *TrialPage) HTML(w io.Writer) error { return trialPageTemplate().Execute(w, p) }

// plotFrame is the drawing of a plot in units of a viewBox.
type plotFrame struct {
	b                        strings.Builder
	left, right, top, bottom float64
	xLow, xHigh, yLow, yHigh float64
	width, height            float64
	xTicks                   []float64
	xText                    func(float64) string
	xLabel, ariaLabel        string
}

func (f *plotFrame) x(v float64) float64 {
	return f.left + (v-f.xLow)/(f.xHigh-f.xLow)*(f.width-f.left-f.right)
}

func (f *plotFrame) y(v float64) float64 {
	return f.height - f.bottom - (v-f.yLow)/(f.yHigh-f.yLow)*(f.height-f.top-f.bottom)
}

func (f *plotFrame) add(format string, args ...any) { fmt.Fprintf(&f.b, format+"\n", args...) }

// open begins the drawing with its axis along x.
func (f *plotFrame) open() {
	f.add(`<svg viewBox="0 0 %g %g" role="img" aria-label="%s">`, f.width, f.height, drawn(f.ariaLabel))
	base := f.height - f.bottom
	f.add(`<line class="axis" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, f.left, base, f.width-f.right, base)
	last := math.Inf(-1)
	for _, t := range f.xTicks {
		x := f.x(t)
		f.add(`<line class="axis" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, x, base, x, base+4)
		if x-last < 38 {
			continue // labels would run into each other
		}
		f.add(`<text class="tick" x="%.1f" y="%.1f" text-anchor="middle">%s</text>`, x, base+15, drawn(f.xText(t)))
		last = x
	}
	f.add(`<text class="tick" x="%.1f" y="%.1f" text-anchor="end">%s</text>`, f.width-f.right, base+29, drawn(f.xLabel))
}

// mark draws an outcome: a dot for good, a triangle for marginal, a cross for bad. Shape says it as well as colour.
func (f *plotFrame) mark(x, y float64, outcome string) {
	switch outcome {
	case "good":
		f.add(`<circle class="good" cx="%.1f" cy="%.1f" r="5"/>`, x, y)
	case "marginal":
		f.add(`<path class="marginal" d="M%.1f %.1f l5.5 9.5 h-11 z"/>`, x, y-6)
	default:
		f.add(`<path class="bad" d="M%.1f %.1f l9 9 m0 -9 l-9 9"/>`, x-4.5, y-4.5)
	}
}

// SVG draws the ladder: a mark a cut, the proven window as a band, where the recipe is and where it should go.
func (l TrialLadder) SVG() template.HTML {
	most := 1
	f := &plotFrame{width: 680, left: 24, right: 24, top: 46, bottom: 34, xLow: math.Inf(1), xHigh: math.Inf(-1), xLabel: l.Unit}
	var said []string
	for _, level := range l.Levels {
		most = max(most, level.Good+level.Marginal+level.Bad)
		f.xLow, f.xHigh = min(f.xLow, level.X), max(f.xHigh, level.X)
		f.xTicks = append(f.xTicks, level.X)
		said = append(said, fmt.Sprintf("%s: %d good, %d marginal, %d bad", level.Text, level.Good, level.Marginal, level.Bad))
	}
	if len(l.Levels) == 0 {
		return ""
	}
	for _, v := range []float64{l.Now, l.Recommended} {
		if !math.IsNaN(v) {
			f.xLow, f.xHigh = min(f.xLow, v), max(f.xHigh, v)
		}
	}
	if f.xHigh == f.xLow {
		f.xLow, f.xHigh = f.xLow-1, f.xHigh+1
	}
	pad := (f.xHigh - f.xLow) * 0.04
	f.xLow, f.xHigh = f.xLow-pad, f.xHigh+pad
	f.height = f.top + f.bottom + float64(min(most, 12))*15 + 8
	f.ariaLabel = strings.Join(said, "; ")
	f.xText = func(x float64) string {
		for _, level := range l.Levels {
			if level.X == x {
				number, _, _ := strings.Cut(level.Text, " ")
				return number
			}
		}
		return ""
	}
	f.open()
	base := f.height - f.bottom
	if !math.IsNaN(l.Low) && !math.IsNaN(l.High) {
		from, to := f.x(l.Low), f.x(l.High)
		if to-from < 6 {
			from, to = from-3, to+3
		}
		f.add(`<rect class="window" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/>`, from, f.top-6, to-from, base-f.top+6)
		f.add(`<text class="tick" x="%.1f" y="%.1f" text-anchor="middle">proven window</text>`, (from+to)/2, f.top+4)
	}
	line := func(v float64, class, word string, y float64) {
		if !math.IsNaN(v) {
			f.add(`<line class="%s" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, class, f.x(v), y+3, f.x(v), base)
			anchor := "middle"
			if x := f.x(v); x > f.width-90 {
				anchor = "end"
			} else if x < 90 {
				anchor = "start"
			}
			f.add(`<text class="tick strong" x="%.1f" y="%.1f" text-anchor="%s">%s</text>`, f.x(v), y, anchor, word)
		}
	}
	if l.Now == l.Recommended {
		line(l.Now, "now", "now, and recommended", 12)
	} else {
		line(l.Now, "now", "now", 12)
		line(l.Recommended, "next", "recommended", 26)
	}
	for _, level := range l.Levels {
		row := 0
		for _, o := range []struct {
			word string
			n    int
		}{{"good", level.Good}, {"marginal", level.Marginal}, {"bad", level.Bad}} {
			for range o.n {
				if row == 12 {
					break
				}
				f.mark(f.x(level.X), base-10-float64(row)*15, o.word)
				row++
			}
		}
	}
	f.add(`</svg>`)
	return template.HTML(f.b.String())
}

// SVG draws a measured figure over the value, with the fit and its interval where there is one.
func (r TrialResponse) SVG() template.HTML {
	if len(r.Points) == 0 {
		return ""
	}
	f := &plotFrame{width: 330, height: 190, left: 44, right: 14, top: 22, bottom: 34, xLow: math.Inf(1), xHigh: math.Inf(-1), yLow: 0, yHigh: math.Inf(-1),
		ariaLabel: fmt.Sprintf("%s over the value, %d cuts", r.Title, len(r.Points))}
	for _, p := range r.Points {
		f.xLow, f.xHigh = min(f.xLow, p.X), max(f.xHigh, p.X)
		f.yHigh = max(f.yHigh, p.Y)
		if !slices.Contains(f.xTicks, p.X) {
			f.xTicks = append(f.xTicks, p.X)
		}
	}
	for _, c := range r.Curve {
		f.yHigh = max(f.yHigh, c.Y)
	}
	slices.Sort(f.xTicks)
	if f.xHigh == f.xLow {
		f.xLow, f.xHigh = f.xLow-1, f.xHigh+1
	}
	if f.yHigh <= 0 {
		f.yHigh = 1
	}
	f.yHigh *= 1.15
	pad := (f.xHigh - f.xLow) * 0.06
	f.xLow, f.xHigh = f.xLow-pad, f.xHigh+pad
	f.xText = func(x float64) string { return fmt.Sprintf("%.4g", x) }
	f.open()
	f.add(`<line class="axis" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, f.left, f.top, f.left, f.height-f.bottom)
	for _, t := range niceTicks(f.yHigh) {
		f.add(`<line class="grid" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, f.left, f.y(t), f.width-f.right, f.y(t))
		f.add(`<text class="tick" x="%.1f" y="%.1f" text-anchor="end">%.3g</text>`, f.left-4, f.y(t)+3, t)
	}
	f.add(`<text class="tick strong" x="%.1f" y="12">%s, %s</text>`, 4.0, drawn(r.Title), drawn(r.Unit))
	if len(r.Curve) > 1 {
		var up, down, mid []string
		for _, c := range r.Curve {
			clamp := func(v float64) float64 { return f.y(min(max(v, f.yLow), f.yHigh)) }
			up = append(up, fmt.Sprintf("%.1f %.1f", f.x(c.X), clamp(c.High)))
			down = append([]string{fmt.Sprintf("%.1f %.1f", f.x(c.X), clamp(c.Low))}, down...)
			mid = append(mid, fmt.Sprintf("%.1f %.1f", f.x(c.X), clamp(c.Y)))
		}
		f.add(`<path class="band" d="M%s L%s z"/>`, strings.Join(up, " L"), strings.Join(down, " L"))
		f.add(`<path class="fit" d="M%s"/>`, strings.Join(mid, " L"))
	}
	for _, p := range r.Points {
		f.mark(f.x(p.X), f.y(p.Y), p.Outcome)
	}
	f.add(`</svg>`)
	return template.HTML(f.b.String())
}

// niceTicks are two to five round numbers from nought to a top.
func niceTicks(top float64) []float64 {
	step := math.Pow(10, math.Floor(math.Log10(top)))
	for top/step < 2 {
		step /= 2
	}
	for top/step > 5 {
		step *= 2
	}
	var out []float64
	for v := 0.0; v <= top; v += step {
		out = append(out, v)
	}
	return out
}

var trialPageTemplate = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("trial").Funcs(template.FuncMap{"plain": func(s string) string { return printable(strings.ReplaceAll(s, "\n", " ")) }}).Parse(`<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{plain .Title}}</title>
<style>
@page { size: A4; margin: 14mm; }
:root { color-scheme: light dark; --ink: #1b1b1a; --paper: #fdfcf8; --line: #cfc9ba; --soft: #5c574b; --bad: #9a1f16; --good: #1f5f35; --mid: #9a6a00; --wash: #dcebdf; --next: #1d4e89; }
@media (prefers-color-scheme: dark) { :root { --ink: #e9e5da; --paper: #1c1b18; --line: #4a463c; --soft: #b3ab99; --bad: #ff9d92; --good: #8fd6a8; --mid: #e8bf5a; --wash: #24382a; --next: #8ab8f0; } }
body { margin: 0 auto; max-width: 46rem; padding: 1.5rem 1rem; background: var(--paper); color: var(--ink); font: 1rem/1.45 system-ui, sans-serif; overflow-wrap: anywhere; }
h1 { font-size: 1.4rem; margin: 0 0 .3rem; }
h2 { font-size: 1.15rem; margin: 1.6rem 0 .3rem; padding-bottom: .15rem; border-bottom: 1px solid var(--line); }
h3 { font-size: 1rem; margin: 1.1rem 0 .2rem; }
p { margin: .3rem 0; }
.soft { color: var(--soft); }
dl { display: grid; grid-template-columns: 8rem 1fr; gap: .15rem .8rem; margin: .3rem 0; }
dt { color: var(--soft); } dd { margin: 0; font-variant-numeric: tabular-nums; }
svg { width: 100%; height: auto; display: block; margin: .4rem 0; }
.plots { display: grid; grid-template-columns: 1fr 1fr; gap: .4rem .8rem; }
svg, table, dl > * { break-inside: avoid; } h3 { break-after: avoid; }
.axis { stroke: var(--ink); stroke-width: 1; } .grid { stroke: var(--line); stroke-width: .6; }
.tick { font: 11px system-ui, sans-serif; fill: var(--soft); } .strong { fill: var(--ink); font-weight: 600; }
.window { fill: var(--wash); } .band { fill: var(--next); opacity: .15; } .fit { fill: none; stroke: var(--next); stroke-width: 1.6; }
.now { stroke: var(--ink); stroke-width: 1.4; } .next { stroke: var(--next); stroke-width: 1.6; stroke-dasharray: 5 3; }
.good { fill: var(--good); } .marginal { fill: var(--paper); stroke: var(--mid); stroke-width: 2; } .bad { fill: none; stroke: var(--bad); stroke-width: 2.6; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; margin: .4rem 0; }
th, td { text-align: left; padding: .15rem .8rem .15rem 0; border-bottom: 1px solid var(--line); } th { font-weight: 600; color: var(--soft); }
@media (max-width: 34rem) { dl { grid-template-columns: 1fr; } dd { margin-left: .8rem; } .plots { grid-template-columns: 1fr; } }
@media print { :root { --ink: #000; --paper: #fff; --soft: #333; } body { max-width: none; padding: 0; font-size: 9.5pt; } h2 { break-after: avoid; } }
</style>
</head>
<body>
<header><h1>{{plain .Title}}</h1>{{with .Subtitle}}<p class="soft">{{plain .}}</p>{{end}}</header>
<main>
{{- range .Conditions}}
<section>
<h2>{{plain .ID}}</h2>
<p>{{plain .Recipe}}</p>
{{template "rows" .Rows}}
{{- range .Fields}}
<div class="field">
<h3>{{plain .Name}}</h3>
<p class="soft">{{plain .Summary}} ● good, △ marginal, × bad.</p>
{{.Ladder.SVG}}
{{template "rows" .Rows}}
{{- with .Responses}}<div class="plots">{{range .}}{{.SVG}}{{end}}</div>{{end}}
</div>
{{- end}}
{{- range .Together}}
<h3>{{plain .Title}}</h3>
{{template "rows" .Rows}}
{{- end}}
{{- with .GradeTitle}}
<h3>{{plain .}}</h3>
{{- end}}
{{- with .Grades}}
<table><thead><tr><th>piece</th><th>u</th><th>range</th><th>Rz5</th><th>range</th></tr></thead><tbody>
{{range .}}<tr><td>{{plain .Name}}</td><td>{{.U}}</td><td>{{.URange}}</td><td>{{.Rz}}</td><td>{{.RzRange}}</td></tr>
{{end}}</tbody></table>
{{- end}}
{{template "rows" .GradeRows}}
{{template "rows" .Foot}}
</section>
{{- end}}
</main>
<footer><p class="soft">What trial cuts showed, and no release of a part. The machine maker's instructions and local rules come first.</p></footer>
</body>
</html>
{{define "rows"}}{{with .}}<dl>{{range .}}<dt>{{plain .Label}}</dt><dd>{{plain .Text}}</dd>
{{end}}</dl>{{end}}{{end}}`))
})

// drawn makes text safe inside a drawing.
func drawn(text string) string { return template.HTMLEscapeString(printable(text)) }
