package view

import (
	"fmt"
	"html"
	"io"
	"strings"
)

const plotPageStyle = `
:root{color-scheme:light dark;--paper:#fff;--ink:#1b1f24;--soft:#5a6470;--rule:#d4d9df;--bad:#a3195b}
@media(prefers-color-scheme:dark){:root{--paper:#14181c;--ink:#e6e9ec;--soft:#9aa7b4;--rule:#38424c;--bad:#ff7eb6}` + darkStyle + `}
*{box-sizing:border-box}
body{margin:0 auto;max-width:80rem;padding:1rem;background:var(--paper);color:var(--ink);font:16px/1.45 system-ui,sans-serif}
h1{font-size:1.4rem;margin:0}h2{font-size:1.15rem;margin:0}
.sub{color:var(--soft);margin:.1rem 0 .8rem}
nav ul{list-style:none;margin:.5rem 0 1rem;padding:0;display:flex;flex-wrap:wrap;gap:.3rem 1rem}
a{color:inherit}
fieldset{border:1px solid var(--rule);border-radius:.4rem;display:inline-block;padding:.2rem .7rem;margin:0 0 .8rem}
label{margin-right:1rem;padding:.35rem 0;display:inline-block}
.legend{list-style:none;padding:0;margin:0 0 1rem;display:flex;flex-wrap:wrap;gap:.3rem 1.2rem}
.legend svg{width:1.2em;height:1.2em;vertical-align:-.2em;margin-right:.3em}
.sheet{display:none}
section{border-top:1px solid var(--rule);padding:1rem 0}
.plots{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,20rem),1fr));gap:1rem;margin:.6rem 0}
figure{margin:0}figure svg{width:100%;height:auto;display:block}
figcaption{color:var(--soft);font-size:.85rem}
main:has(#axis-log:checked) .lin,main:has(#axis-lin:checked) .log{display:none}
.scroll{overflow-x:auto}
table{border-collapse:collapse;font-size:.9rem;font-variant-numeric:tabular-nums}
caption{text-align:left;color:var(--soft);padding:.2rem 0}
th,td{padding:.25rem .6rem;text-align:right;border-bottom:1px solid var(--rule);white-space:nowrap}
td.changed::after{content:" x";color:var(--soft)}td.new::after{content:" +";color:var(--soft)}
td.flagged{font-weight:700;color:var(--bad)}td.flagged::after{content:" !"}
.off li{margin:.3rem 0}
@page{size:A4;margin:12mm}
@media print{
:root{--paper:#fff;--ink:#000;--soft:#444;--rule:#999;--bad:#000}.plot{--ink:#000;--soft:#444;--grid:#ccc;--band:#e2e2e2;--line:#333;--o:#000;--x:#000;--n:#000;--f:#000}
body{max-width:none;padding:0;font-size:9pt}nav,fieldset,main>.legend{display:none}.sheet{display:block;font-size:7pt}
section{break-after:page;break-inside:avoid;border:0;padding:0 0 2mm}section:last-of-type{break-after:auto}
.plots{grid-template-columns:repeat(3,1fr);gap:2mm}
figcaption{font-size:7pt}table{font-size:7.5pt}th,td{padding:.3mm 1.5mm}.off{font-size:7.5pt;margin:1mm 0}
.scroll{overflow:visible}
}
`

// PlotPage writes the charts as one HTML page that needs nothing else: drawings, the same values as tables, what is off in words. On
// paper each chart takes a sheet of A4, or all of them one together as a choice on the page says. Whether axes are logarithmic is a choice on the page; no script is needed for it.
func PlotPage(w io.Writer, title, subtitle string, charts []Chart) error {
	var b strings.Builder
	e := html.EscapeString
	fmt.Fprintf(&b, "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width,initial-scale=1\"><title>%s</title>\n<style>%s%s</style></head>\n<body><main>\n", e(title), panelStyle, plotPageStyle+glanceStyle)
	fmt.Fprintf(&b, "<h1>%s</h1>\n<p class=\"sub\">%s</p>\n", e(title), e(subtitle))
	if len(charts) > 1 {
		b.WriteString("<nav aria-label=\"Families\"><ul>")
		for i, c := range charts {
			off := c.off()
			word := ""
			if len(off) > 0 {
				word = fmt.Sprintf(" (%d off)", len(off))
			}
			fmt.Fprintf(&b, "<li><a href=\"#f%d\">%s</a>%s</li>", i, e(c.Title), word)
		}
		b.WriteString("</ul></nav>\n")
	}
	b.WriteString("<fieldset><legend>Axes</legend><label><input type=\"radio\" name=\"axis\" id=\"axis-log\" checked> logarithmic</label><label><input type=\"radio\" name=\"axis\" id=\"axis-lin\"> plain</label></fieldset>\n")
	if len(charts) > 1 {
		b.WriteString("<fieldset><legend>On paper</legend><label><input type=\"radio\" name=\"print\" id=\"print-one\" checked> all on one sheet</label><label><input type=\"radio\" name=\"print\" id=\"print-all\"> a sheet for each family</label></fieldset>\n")
	}
	legend(&b, "legend")
	if len(charts) > 1 {
		glance(&b, charts)
	}
	for i := range charts {
		charts[i].section(&b, i)
	}
	b.WriteString("<p class=\"sub\">Only what is approved goes on a machine. What a family gives is a hint where to look, and no release of a part.</p>\n</main></body></html>\n")
	_, err := io.WriteString(w, b.String())
	return err
}

// legend says what the marks mean, on the page once and on each sheet of paper.
func legend(b *strings.Builder, class string) {
	fmt.Fprintf(b, "<ul class=\"%s\">", class)
	for s := range markClasses {
		b.WriteString("<li><svg class=\"plot\" viewBox=\"0 0 20 20\" aria-hidden=\"true\">")
		mark(b, PointState(s), 10, 10)
		fmt.Fprintf(b, "</svg>%s</li>", pointWords[s])
	}
	b.WriteString("<li><svg class=\"plot\" viewBox=\"0 0 20 20\" aria-hidden=\"true\"><path class=\"before\" d=\"M0 10H20\"/></svg>last approved</li>" +
		"<li><svg class=\"plot\" viewBox=\"0 0 20 20\" aria-hidden=\"true\"><path class=\"band\" d=\"M0 4H20V16H0z\"/></svg>where about 95 of 100 would lie, by the others</li>" +
		"<li><svg class=\"plot\" viewBox=\"0 0 20 20\" aria-hidden=\"true\"><path class=\"change\" d=\"M10 0V20\"/></svg>another nozzle, its size above</li></ul>\n")
}

// off lists what is off, as the panel and the point.
func (c *Chart) off() []string {
	return c.said(false, func(pt PlotPoint) string { return ". " + pt.Help })
}

// accepted lists what is off and somebody answers for.
func (c *Chart) accepted() []string {
	return c.said(true, func(PlotPoint) string { return " (accepted)" })
}

func (c *Chart) said(accepted bool, end func(PlotPoint) string) (out []string) {
	for _, p := range c.Panels {
		for _, pt := range p.Points {
			if pt.Says != "" && pt.Accepted == accepted {
				out = append(out, pt.ThicknessText+", "+p.Title+": "+pt.Says+end(pt))
			}
		}
	}
	return out
}

func (c *Chart) section(b *strings.Builder, i int) {
	e := html.EscapeString
	fmt.Fprintf(b, "<section id=\"f%d\"><h2>%s</h2><p class=\"sub\">%s</p>\n", i, e(c.Title), e(c.Subtitle))
	if off := append(c.off(), c.accepted()...); len(off) > 0 {
		b.WriteString("<ul class=\"off\">")
		for _, line := range off {
			fmt.Fprintf(b, "<li>%s</li>", e(strings.TrimSpace(line)))
		}
		b.WriteString("</ul>\n")
	}
	b.WriteString("<div class=\"plots\">\n")
	for k := range c.Panels {
		p := &c.Panels[k]
		b.WriteString("<figure>")
		p.draw(b, false, "log", fmt.Sprintf("f%dp%d", i, k))
		p.draw(b, true, "lin", fmt.Sprintf("f%dp%dl", i, k))
		fmt.Fprintf(b, "<figcaption>%s: %s</figcaption></figure>\n", e(p.Title), e(p.Caption))
	}
	legend(b, "legend sheet")
	b.WriteString("</div>\n")
	c.table(b)
	b.WriteString("</section>\n")
}

// table holds the values of all panels, a thickness a row, for those who do not see the drawings.
func (c *Chart) table(b *strings.Builder) {
	e := html.EscapeString
	b.WriteString("<div class=\"scroll\" tabindex=\"0\" role=\"group\" aria-label=\"all values\"><table><caption>All values. In brackets: what the other thicknesses give. x changed, + never approved, ! off.</caption><thead><tr><th scope=\"col\">thickness</th>")
	for _, p := range c.Panels {
		fmt.Fprintf(b, "<th scope=\"col\">%s</th>", e(p.heading()))
	}
	b.WriteString("</tr></thead><tbody>\n")
	var order []string
	rows := map[string][]string{}
	for k, p := range c.Panels {
		for _, pt := range p.Points {
			if rows[pt.ThicknessText] == nil {
				rows[pt.ThicknessText] = make([]string, len(c.Panels))
				order = append(order, pt.ThicknessText)
			}
			class := ""
			if pt.State != PointApproved {
				class = fmt.Sprintf(" class=\"%s\" title=\"%s\"", markClasses[pt.State], pt.State.Words())
			}
			given := ""
			if pt.ExpectText != "" {
				given = " (" + pt.ExpectText + ")"
			}
			rows[pt.ThicknessText][k] = fmt.Sprintf("<td%s>%s%s</td>", class, e(pt.ValueText), e(given))
		}
	}
	for _, name := range order {
		fmt.Fprintf(b, "<tr><th scope=\"row\">%s</th>", e(name))
		for _, cell := range rows[name] {
			if cell == "" {
				cell = "<td></td>"
			}
			b.WriteString(cell)
		}
		b.WriteString("</tr>\n")
	}
	b.WriteString("</tbody></table></div>\n")
}
