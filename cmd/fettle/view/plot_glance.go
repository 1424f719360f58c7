package view

import (
	"fmt"
	"html"
	"slices"
	"strings"
)

// A machine at a glance: every family a row, every quantity a column, a drawing the size of a stamp in each cell. It is what a page of
// several families prints by itself, on one sheet of A4.

// The size of a stamp in its own units.
const stampWidth, stampHeight = 100.0, 72.0

const glanceStyle = `
.glance{border-collapse:separate;border-spacing:0;width:100%;table-layout:fixed;font-size:.8rem;margin:0 0 1rem}
.glance th,.glance td{border-bottom:1px solid var(--rule);padding:.15rem .2rem;text-align:left;vertical-align:middle;white-space:normal;overflow-wrap:anywhere}
.glance thead th{color:var(--soft);font-weight:400}
.glance th:first-child{width:20%}.glance small{display:block;color:var(--soft);font-weight:400}.glance b{color:var(--bad)}
.glance svg{display:block;width:100%;height:auto}
.glance .plot text{font-size:10px;fill:var(--soft)}
.glance .plot .now{stroke-width:1.2}.glance .plot .before{stroke-width:1.2;stroke-dasharray:3 2}
@media(max-width:52rem){.glance{display:none}}
@media(min-width:52.01rem){nav{display:none}}
@media print{
.glance{display:table;font-size:6.5pt;margin:0}.glance th,.glance td{padding:0 1mm}
.glance svg{max-height:calc(165mm/var(--rows) - 1mm)}
main:has(#print-one:checked) section{display:none}
main:has(#print-all:checked) .overview{display:none}
.overview .legend{display:flex;margin:1mm 0}.overview .off{font-size:6.5pt;margin:0;padding-left:3mm}.overview .off li{margin:0}
.glance tr{break-inside:avoid}.glance small,.glance b{display:inline}
}
`

// mostOff is how many lines of what is off a sheet has room for below the stamps of so many families.
func mostOff(families int) int {
	if families > 16 {
		return 4
	}
	return 8
}

// glance writes all charts as a table of stamps, and what is off below it.
func glance(b *strings.Builder, charts []Chart) {
	e := html.EscapeString
	var names []string
	units := map[string]string{}
	for i := range charts {
		for _, p := range charts[i].Panels {
			if !slices.Contains(names, p.Title) {
				names = append(names, p.Title)
				units[p.Title] = p.Unit
			} else if units[p.Title] != p.Unit {
				units[p.Title] = ""
			}
		}
	}
	fmt.Fprintf(b, "<div class=\"overview\"><table class=\"glance\" style=\"--rows:%d\"><thead><tr><th scope=\"col\">family</th>", max(8, len(charts)))
	for _, name := range names {
		fmt.Fprintf(b, "<th scope=\"col\">%s <small>%s</small></th>", e(name), e(units[name]))
	}
	b.WriteString("</tr></thead><tbody>\n")
	var off []string
	machine, _, _ := strings.Cut(charts[0].Title, "/")
	shared := machine + "/"
	if slices.ContainsFunc(charts, func(c Chart) bool { return !strings.HasPrefix(c.Title, shared) }) {
		shared = ""
	}
	for i := range charts {
		c := &charts[i]
		here := c.off()
		for _, line := range here {
			off = append(off, c.Title+", "+line)
		}
		word := ""
		if len(here) > 0 {
			word = fmt.Sprintf(" <b>%d off</b>", len(here))
		}
		fmt.Fprintf(b, "<tr><th scope=\"row\"><a href=\"#f%d\">%s</a> <small>%s</small>%s</th>", i, e(strings.TrimPrefix(c.Title, shared)), e(c.Subtitle), word)
		for _, name := range names {
			b.WriteString("<td>")
			if k := slices.IndexFunc(c.Panels, func(p Panel) bool { return p.Title == name }); k >= 0 {
				c.Panels[k].stamp(b)
			}
			b.WriteString("</td>")
		}
		b.WriteString("</tr>\n")
	}
	b.WriteString("</tbody></table>\n")
	legend(b, "legend sheet")
	if most := mostOff(len(charts)); len(off) > 0 {
		b.WriteString("<ul class=\"off sheet\">")
		for i, line := range off {
			if i == most && len(off) > most+1 {
				fmt.Fprintf(b, "<li>and %d more, on the sheets of the families</li>", len(off)-i)
				break
			}
			fmt.Fprintf(b, "<li>%s</li>", e(strings.TrimSpace(line)))
		}
		b.WriteString("</ul>")
	}
	b.WriteString("</div>\n")
}

// stamp draws a panel without axes: the band, the last approved curve behind the present one, the points, and its ends in numbers.
func (p *Panel) stamp(b *strings.Builder) {
	if len(p.Points) == 0 {
		return
	}
	x, y := p.axes(false)
	x.from, x.to = 6, stampWidth-6
	y.from, y.to = stampHeight-14, 14
	fmt.Fprintf(b, `<svg class="plot" viewBox="0 0 %g %g" role="img" aria-label="%s">`, stampWidth, stampHeight, html.EscapeString(p.heading()+". "+p.describe()))
	for i := 1; i < len(p.Points); i++ {
		if slices.ContainsFunc(p.Regimes, func(r Regime) bool { return r.From == p.Points[i].Thickness }) {
			fmt.Fprintf(b, `<path class="change" d="M%.1f %gV%g"/>`, (x.place(p.Points[i-1].Thickness)+x.place(p.Points[i].Thickness))/2, y.to-4, y.from+4)
		}
	}
	p.band(b, x, y)
	p.line(b, "before", x, y, func(pt PlotPoint) float64 { return pt.Approved })
	p.line(b, "now", x, y, func(pt PlotPoint) float64 { return pt.Value })
	for _, pt := range p.Points {
		fmt.Fprintf(b, `<g transform="translate(%.1f %.1f) scale(.55)">`, x.place(pt.Thickness), y.place(pt.Value))
		mark(b, pt.State, 0, 0)
		b.WriteString("</g>")
	}
	first, last := p.Points[0], p.Points[len(p.Points)-1]
	number := func(pt PlotPoint, at float64, anchor string) {
		beside := y.place(pt.Value) - 5 // outside of the curve, as far as there is one
		if beside > stampHeight/2 {
			beside += 16
		}
		fmt.Fprintf(b, `<text x="%g" y="%.1f" text-anchor="%s">%s</text>`, at, beside, anchor, html.EscapeString(pt.ValueText))
	}
	number(first, 1, "start")
	if len(p.Points) > 1 {
		number(last, stampWidth-1, "end")
	}
	b.WriteString("</svg>")
}
