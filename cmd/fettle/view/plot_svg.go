package view

import (
	"fmt"
	"html"
	"io"
	"math"
	"strconv"
	"strings"
)

// Drawings are SVG made here: the page needs classes that follow the colours of the reader, shapes beside colours and words for those who
// hear it, and a library for plots would make every command start two milliseconds later for it.

// The size of a panel in its own units, and the room around the plot for numbers and words.
const (
	panelWidth, panelHeight               = 360.0, 240.0
	roomLeft, roomRight, roomTop, roomLow = 46.0, 12.0, 40.0, 34.0
)

// panelStyle are the colours of a drawing, light and dark. The four of the points are told apart by people who see red and green alike
// (M. Okabe, K. Ito, Color Universal Design, 2008), and each has a shape of its own.
const panelStyle = `
.plot{--ink:#1b1f24;--soft:#667;--grid:#dfe3e8;--band:#cfe3f5;--line:#5a6b7b;--o:#0072b2;--x:#b34700;--n:#007a5a;--f:#a3195b}
.plot text{font:11px system-ui,sans-serif;fill:var(--ink)}
.plot .unit,.plot .nozzle{fill:var(--soft)}.plot .nozzle{font-size:9px}
.plot .head{font-weight:600;font-size:13px}
.plot .grid{stroke:var(--grid);stroke-width:1}.plot .axis{stroke:var(--soft);stroke-width:1}
.plot .change{stroke:var(--soft);stroke-width:1;stroke-dasharray:1 3}
.plot .band{fill:var(--band);stroke:none}
.plot .now{fill:none;stroke:var(--line);stroke-width:1.5}
.plot .before{fill:none;stroke:var(--soft);stroke-width:1.5;stroke-dasharray:5 3}
.plot .approved{fill:var(--o)}.plot .changed{fill:var(--x)}.plot .new{fill:none;stroke:var(--n);stroke-width:2.5}
.plot .flagged{fill:var(--f);stroke:var(--ink);stroke-width:.8}
`

// darkStyle are the same colours for a dark page.
const darkStyle = `.plot{--ink:#e6e9ec;--soft:#9aa7b4;--grid:#333b44;--band:#1f3a54;--line:#a9b7c4;--o:#56b4e9;--x:#e69f00;--n:#2fc49a;--f:#ff7eb6}`

var markClasses = [...]string{"approved", "changed", "new", "flagged"}

// mark draws the shape of a state: a disc, a lozenge, a plus, a triangle.
func mark(b *strings.Builder, s PointState, x, y float64) {
	switch s {
	case PointChanged:
		fmt.Fprintf(b, `<path class="changed" d="M%.1f %.1fl5 -5l5 5l-5 5z"/>`, x-5, y)
	case PointNew:
		fmt.Fprintf(b, `<path class="new" d="M%.1f %.1fh9M%.1f %.1fv9"/>`, x-4.5, y, x, y-4.5)
	case PointFlagged:
		fmt.Fprintf(b, `<path class="flagged" d="M%.1f %.1fl6 11h-12z"/>`, x, y-7)
	default:
		fmt.Fprintf(b, `<circle class="approved" cx="%.1f" cy="%.1f" r="3.6"/>`, x, y)
	}
}

// draw writes one panel as an svg element. Names must be its own on the page.
func (p *Panel) draw(b *strings.Builder, linear bool, class, name string) {
	fmt.Fprintf(b, `<svg class="plot %s" viewBox="0 0 %g %g" role="img" aria-labelledby="%s-t %s-d">`, class, panelWidth, panelHeight, name, name)
	fmt.Fprintf(b, `<title id="%s-t">%s over thickness</title><desc id="%s-d">%s</desc>`, name, html.EscapeString(p.heading()), name, html.EscapeString(p.describe()))
	fmt.Fprintf(b, `<text class="head" x="%g" y="15">%s</text>`, roomLeft, html.EscapeString(p.Title))
	fmt.Fprintf(b, `<text class="unit" x="%g" y="15" text-anchor="end">%s</text>`, panelWidth-roomRight, html.EscapeString(p.Unit))
	p.plot(b, linear)
	b.WriteString("</svg>\n")
}

func (p *Panel) heading() string {
	if p.Unit == "" {
		return p.Title
	}
	return p.Title + " in " + p.Unit
}

// describe says in words what a drawing shows.
func (p *Panel) describe() string {
	parts := []string{"It " + strings.TrimSuffix(p.Caption, ".") + "."}
	if strings.HasPrefix(p.Caption, "no ") || strings.HasPrefix(p.Caption, "held") {
		parts[0] = strings.ToUpper(p.Caption[:1]) + p.Caption[1:] + "."
	}
	if n := len(p.Points); n > 0 {
		first, last := p.Points[0], p.Points[n-1]
		parts = append(parts, fmt.Sprintf("From %s at %s to %s at %s.", first.ValueText, first.ThicknessText, last.ValueText, last.ThicknessText))
	}
	off := []string{}
	for _, pt := range p.Points {
		if pt.State == PointFlagged {
			off = append(off, pt.ThicknessText)
		}
	}
	if len(off) > 0 {
		parts = append(parts, "Off: "+strings.Join(off, ", ")+".")
	}
	return strings.Join(append(parts, "The table holds all values."), " ")
}

// An axis maps a value to a place on the drawing.
type axis struct {
	plotScale
	from, to float64
}

func (a axis) place(v float64) float64 {
	return a.from + min(max(a.at(v), 0), 1)*(a.to-a.from)
}

func (p *Panel) axes(linear bool) (x, y axis) {
	x = axis{plotScale{log: !linear, low: math.Inf(1), high: math.Inf(-1)}, roomLeft, panelWidth - roomRight}
	for _, pt := range p.Points {
		v := pt.Thickness
		if x.log {
			v = math.Log(v)
		}
		x.low, x.high = min(x.low, v), max(x.high, v)
	}
	pad := max((x.high-x.low)*0.04, 0.02)
	x.low, x.high = x.low-pad, x.high+pad
	drawn := *p
	drawn.Linear = p.Linear || linear
	y = axis{drawn.scale(), panelHeight - roomLow, roomTop}
	return x, y
}

func (p *Panel) plot(b *strings.Builder, linear bool) {
	if len(p.Points) == 0 {
		return
	}
	x, y := p.axes(linear)
	for _, v := range ticks(y.plotScale) {
		at := y.place(v)
		fmt.Fprintf(b, `<path class="grid" d="M%g %.1fH%g"/><text x="%g" y="%.1f" text-anchor="end">%s</text>`, roomLeft, at, panelWidth-roomRight, roomLeft-5, at+4, short(v))
	}
	free := math.Inf(-1)
	for _, pt := range p.Points { // the thicknesses themselves, as far as there is room for them
		at, text := x.place(pt.Thickness), short(pt.Thickness)
		wide := 7 * float64(len(text))
		if at-wide/2 < free {
			continue
		}
		free = at + wide/2 + 4
		fmt.Fprintf(b, `<path class="axis" d="M%.1f %gv4"/><text x="%.1f" y="%g" text-anchor="middle">%s</text>`, at, panelHeight-roomLow, at, panelHeight-roomLow+16, text)
	}
	fmt.Fprintf(b, `<text class="unit" x="%g" y="%g" text-anchor="end">thickness in mm</text>`, panelWidth-roomRight, panelHeight-4)
	fmt.Fprintf(b, `<path class="axis" d="M%g %gH%g"/>`, roomLeft, panelHeight-roomLow, panelWidth-roomRight)
	p.regimes(b, x)
	p.band(b, x, y)
	p.line(b, "before", x, y, func(pt PlotPoint) float64 { return pt.Approved })
	p.line(b, "now", x, y, func(pt PlotPoint) float64 { return pt.Value })
	for _, pt := range p.Points {
		b.WriteString("<g><title>" + html.EscapeString(pt.tip(p.Unit)) + "</title>")
		mark(b, pt.State, x.place(pt.Thickness), y.place(pt.Value))
		b.WriteString("</g>")
	}
}

// line joins values of the points, thickness by thickness.
func (p *Panel) line(b *strings.Builder, class string, x, y axis, value func(PlotPoint) float64) {
	var path strings.Builder
	pen := "M"
	for _, pt := range p.Points {
		if v := value(pt); !math.IsNaN(v) {
			fmt.Fprintf(&path, "%s%.1f %.1f", pen, x.place(pt.Thickness), y.place(v))
			pen = "L"
		}
	}
	if path.Len() > 0 {
		fmt.Fprintf(b, `<path class="%s" d="%s"/>`, class, path.String())
	}
}

// tip is what a point says of itself under a pointer.
func (pt PlotPoint) tip(unit string) string {
	text := strings.TrimSpace(pt.ThicknessText + ": " + pt.ValueText + " " + unit)
	if pt.ExpectText != "" {
		text += "; the others give " + pt.ExpectText + " (" + pt.RangeText + ")"
	}
	if pt.State == PointChanged || pt.State == PointFlagged && pt.ApprovedText != "" && pt.ApprovedText != pt.ValueText {
		text += "; approved is " + pt.ApprovedText
	}
	switch {
	case pt.Accepted:
		text += ". Accepted: " + pt.Says
	case pt.Says != "":
		return text + ". " + pt.Says
	}
	return text + "; " + pt.State.Words()
}

// regimes marks where the nozzle changes, midway between two thicknesses, with the size from there on.
func (p *Panel) regimes(b *strings.Builder, x axis) {
	free := math.Inf(-1)
	for _, r := range p.Regimes {
		at := roomLeft
		for i := 1; i < len(p.Points); i++ {
			if p.Points[i].Thickness == r.From {
				at = (x.place(p.Points[i-1].Thickness) + x.place(r.From)) / 2
				fmt.Fprintf(b, `<path class="change" d="M%.1f %gV%g"/>`, at, roomTop-8, panelHeight-roomLow)
			}
		}
		_, size, _ := strings.Cut(r.Name, " ")
		size = strings.TrimSuffix(size, " mm")
		if at < free || at+5*float64(len(size)) > panelWidth-roomRight {
			continue
		}
		free = at + 5.5*float64(len(size)) + 3
		fmt.Fprintf(b, `<text class="nozzle" x="%.1f" y="%g">%s<title>nozzle %s</title></text>`, at+2, roomTop-4, html.EscapeString(size), html.EscapeString(r.Name))
	}
}

// band fills what the curve gives.
func (p *Panel) band(b *strings.Builder, x, y axis) {
	if len(p.Band) < 2 {
		return
	}
	b.WriteString(`<path class="band" d="`)
	pen := "M"
	for _, at := range p.Band {
		fmt.Fprintf(b, "%s%.1f %.1f", pen, x.place(at.Thickness), y.place(at.High))
		pen = "L"
	}
	for i := len(p.Band) - 1; i >= 0; i-- {
		fmt.Fprintf(b, "L%.1f %.1f", x.place(p.Band[i].Thickness), y.place(p.Band[i].Low))
	}
	b.WriteString(`z"/>`)
}

// ticks are round numbers of a scale, four to eight of them: 1, 2 and 5 on a logarithmic one, where that is enough.
func ticks(s plotScale) (out []float64) {
	if s.log {
		for e := math.Floor(s.low / math.Ln10); e <= math.Ceil(s.high/math.Ln10); e++ {
			for _, m := range []float64{1, 2, 5} {
				if v := m * math.Pow(10, e); math.Log(v) >= s.low && math.Log(v) <= s.high {
					out = append(out, v)
				}
			}
		}
		if len(out) >= 3 {
			return out
		}
		s = plotScale{low: math.Exp(s.low), high: math.Exp(s.high)}
		out = nil
	}
	step := math.Pow(10, math.Floor(math.Log10((s.high-s.low)/4)))
	for _, m := range []float64{1, 2, 5, 10} {
		if (s.high-s.low)/(m*step) <= 7 {
			step *= m
			break
		}
	}
	for v := math.Ceil(s.low/step) * step; v <= s.high+step*1e-9; v += step {
		out = append(out, math.Round(v/step)*step)
	}
	return out
}

func short(v float64) string {
	return strconv.FormatFloat(v, 'g', 4, 64)
}

// PlotSVG writes a chart as one drawing that needs nothing else, two panels side by side.
func PlotSVG(w io.Writer, c *Chart, linear bool) error {
	const gap, head = 12.0, 30.0
	rows := (len(c.Panels) + 1) / 2
	wide, high := 2*panelWidth+3*gap, head+float64(rows)*(panelHeight+gap)+40
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" class="plot" width="%g" height="%g" viewBox="0 0 %g %g" role="img" aria-labelledby="title">`, wide, high, wide, high)
	b.WriteString("<title id=\"title\">" + html.EscapeString(c.Title+", "+c.Subtitle) + "</title>\n<style>" + panelStyle + "@media(prefers-color-scheme:dark){" + darkStyle +
		".paper{fill:#14181c}}\n.paper{fill:#fff}@media(prefers-color-scheme:dark){.paper{fill:#14181c}}</style>\n")
	fmt.Fprintf(&b, `<rect class="paper" width="%g" height="%g"/>`, wide, high)
	fmt.Fprintf(&b, `<text class="head" x="%g" y="20">%s</text><text class="unit" x="%g" y="20" text-anchor="end">%s</text>`+"\n", gap, html.EscapeString(c.Title), wide-gap, html.EscapeString(c.Subtitle))
	for i := range c.Panels {
		fmt.Fprintf(&b, `<g transform="translate(%g %g)">`, gap+float64(i%2)*(panelWidth+gap), head+float64(i/2)*(panelHeight+gap))
		var one strings.Builder
		c.Panels[i].draw(&one, linear, "", fmt.Sprintf("p%d", i))
		b.WriteString(strings.Replace(one.String(), "<svg ", fmt.Sprintf(`<svg width="%g" height="%g" `, panelWidth, panelHeight), 1))
		b.WriteString("</g>\n")
	}
	x := gap + 6
	for s := range markClasses {
		mark(&b, PointState(s), x, high-18)
		fmt.Fprintf(&b, `<text x="%g" y="%g">%s</text>`, x+10, high-14, pointWords[s])
		x += 24 + 6.2*float64(len(pointWords[s]))
	}
	b.WriteString("</svg>\n")
	_, err := io.WriteString(w, b.String())
	return err
}
