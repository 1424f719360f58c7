package view

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"iter"
	"math"
	"strings"
	"sync"
)

// A Review is the document that a change is decided by: every condition that waits, set by set, the biggest physical effect first. It is
// Markdown for a merge request or one HTML file that needs nothing else.
type Review struct {
	Title   string
	Facts   []Row    // whose library, from when, compared with what: the title block
	Summary []string // what needs a decision, in a few lines
	Sets    []ReviewSet
	Stored  *Stored  // more sets than fit into memory, in place of those
	Moved   []string // conditions that lie in another file and are the same
	Others  []Row    // what else waits: roster, settings, machines
	Foot    []string
}

// Cards counts the conditions of the document.
func (r *Review) Cards() (n int) {
	if r.Stored != nil {
		return r.Stored.cards
	}
	for i := range r.Sets {
		n += len(r.Sets[i].Cards)
	}
	return n
}

// Each are the sets, one after another.
func (r *Review) Each() iter.Seq[*ReviewSet] {
	if r.Stored != nil {
		return r.Stored.each
	}
	return func(yield func(*ReviewSet) bool) {
		for i := range r.Sets {
			if !yield(&r.Sets[i]) {
				return
			}
		}
	}
}

// A ReviewSet is the conditions of one machine, material and gas.
type ReviewSet struct {
	Name  string
	Cards []ReviewCard
	Plots []ReviewPlot
}

// A ReviewPlot is the curves of a family that some card changed, old and new.
type ReviewPlot struct{ Chart Chart }

// A ReviewCard is one condition: what differs from the recipe in force, what that does, why, what was tried, what the rules say.
type ReviewCard struct {
	ID       string
	Status   string // one word: changed
	Headline string // changed since it was approved on 14 July by Jonas Falk
	Biggest  string // the effect that it is placed by: oxygen 1.40 -> 1.50 m3/h, +7 %
	Values   string // of a new one, in a line
	Changes  []ReviewChange
	Effects  []string
	Findings []ReviewFinding
	Rows     []Row    // reason, ruled out, trials and what else is known
	Decide   []string // the commands that settle it

	NoFindings bool // it is nothing that rules judge
}

// Bad reports whether an error or an earlier no stands against a card.
func (c *ReviewCard) Bad() bool {
	for _, f := range c.Findings {
		if f.Severity == "error" && f.Age != FindingGone {
			return true
		}
	}
	return c.Status == "rejected" || c.Status == "contested"
}

// Count says the findings of a card in a few words: 1 error, 2 warnings.
func (c *ReviewCard) Count() string {
	var parts []string
	for _, severity := range []string{"error", "warning"} {
		n := 0
		for _, f := range c.Findings {
			if f.Severity == severity && f.Age != FindingGone {
				n++
			}
		}
		switch {
		case n == 1:
			parts = append(parts, "1 "+severity)
		case n > 1:
			parts = append(parts, fmt.Sprintf("%d %ss", n, severity))
		}
	}
	return strings.Join(parts, ", ")
}

// A ReviewChange is one field, old and new.
type ReviewChange struct {
	Field, From, To, Percent string
	Window                   string // where the new value lies to what trials showed, in words
	Gauge                    *ReviewGauge
	Text                     string // of free text, which is shown word by word: [-gone-] {+come+}
}

// A ReviewGauge draws where two values lie to a proven window. Numbers are in one unit; NaN is none.
type ReviewGauge struct {
	Low, High         float64
	From, To          float64
	Fails             []float64 // steps that did not come out good
	LowText, HighText string
}

// A ReviewFinding is what a rule says of a card.
type ReviewFinding struct {
	Severity, Message, Rule string
	Age                     string // [FindingNew], [FindingOld], [FindingGone], or "" where there is nothing to compare with
}

// How a finding stands to the recipe in force.
const (
	FindingNew  = "new"
	FindingOld  = "old"  // it is said of the recipe in force, too
	FindingGone = "gone" // it is said of the recipe in force only
)

// Words says a finding in a line.
func (f ReviewFinding) Words() string {
	text := f.Severity
	if f.Age != "" {
		text += ", " + f.Age
	}
	return text
}

// reviewTextMost is how long a Markdown document may get before the rest is a line each: some places take no comment of more than 65,536
// characters.
const reviewTextMost = 60_000

// Markdown writes the document for a merge request: a table of all, then a card each as far as there is room.
func (r *Review) Markdown(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "# %s\n\n", comment(r.Title))
	for _, line := range r.Summary {
		fmt.Fprintf(&b, "**%s**\n\n", comment(line))
	}
	for _, f := range r.Facts {
		fmt.Fprintf(&b, "- %s: %s\n", comment(f.Label), comment(f.Text))
	}
	if r.Cards() > 1 {
		for set := range r.Each() {
			set.table(&b)
		}
	}
	var rest strings.Builder
	r.ending(&rest)
	folded := r.Cards() > 3
	left := 0
	for set := range r.Each() {
		for k := range set.Cards {
			if left > 0 {
				left++
				continue
			}
			var one strings.Builder
			set.Cards[k].markdown(&one, folded)
			if b.Len()+one.Len()+rest.Len() > reviewTextMost {
				left++
				continue
			}
			b.WriteString(one.String())
		}
	}
	if left > 0 {
		fmt.Fprintf(&b, "\n%d more stand in the tables only. With all of them: `fettle review --format html`\n", left)
	}
	b.WriteString(rest.String())
	if _, err := io.WriteString(w, b.String()); err != nil {
		return err
	}
	return r.Stored.Err()
}

func (s *ReviewSet) table(b *strings.Builder) {
	fmt.Fprintf(b, "\n## %s\n\n| condition | | what changes | biggest effect | findings |\n|---|---|---|---|---|\n", comment(s.Name))
	for i := range s.Cards {
		c := &s.Cards[i]
		fmt.Fprintf(b, "| %s | %s | %s | %s | %s |\n", comment(strings.TrimPrefix(c.ID, s.Name+"/")), comment(c.Status), comment(c.Short()), comment(c.Biggest), comment(c.Count()))
	}
}

// Short says what changes in a line.
func (c *ReviewCard) Short() string {
	if len(c.Changes) == 0 {
		return c.Values
	}
	const most = 3
	var parts []string
	for i, change := range c.Changes {
		if i == most {
			parts = append(parts, fmt.Sprintf("and %d more", len(c.Changes)-most))
			break
		}
		if change.Text != "" {
			parts = append(parts, change.Field)
			continue
		}
		parts = append(parts, fmt.Sprintf("%s %s → %s", change.Field, change.From, change.To))
	}
	return strings.Join(parts, "; ")
}

func (c *ReviewCard) markdown(b *strings.Builder, folded bool) {
	head := c.ID
	if count := c.Count(); count != "" {
		head += " · " + count
	}
	if folded {
		fmt.Fprintf(b, "\n<details><summary><b>%s</b></summary>\n\n%s\n", comment(head), comment(c.Headline))
	} else {
		fmt.Fprintf(b, "\n### %s\n\n%s\n", comment(head), comment(c.Headline))
	}
	if len(c.Changes) > 0 {
		b.WriteString("\n| field | in force | new | | where it lies |\n|---|---|---|---|---|\n")
		for _, x := range c.Changes {
			if x.Text != "" {
				fmt.Fprintf(b, "| %s | %s | | | |\n", comment(x.Field), comment(x.Text))
				continue
			}
			where := comment(x.Window)
			if x.Gauge != nil {
				where = "`" + x.Gauge.text() + "` " + where
			}
			fmt.Fprintf(b, "| %s | %s | %s | %s | %s |\n", comment(x.Field), comment(x.From), comment(x.To), comment(x.Percent), where)
		}
	}
	b.WriteString("\n")
	item := func(label, text string) { fmt.Fprintf(b, "- %s: %s\n", comment(label), comment(text)) }
	if c.Values != "" {
		item("values", c.Values)
	}
	for _, e := range c.Effects {
		item("effect", e)
	}
	for _, f := range c.Findings {
		item(f.Words(), f.Message+" ["+f.Rule+"]")
	}
	if len(c.Findings) == 0 {
		item("findings", "none")
	}
	last := ""
	for _, row := range c.Rows {
		if row.Label != Same && row.Label != "" {
			last = row.Label
		}
		item(last, row.Text)
	}
	for i, line := range c.Decide {
		fmt.Fprintf(b, "- %s `%s`\n", []string{"to decide:", "or:"}[min(i, 1)], strings.ReplaceAll(comment(line), "`", "'"))
	}
	if folded {
		b.WriteString("\n</details>\n")
	}
}

func (r *Review) ending(b *strings.Builder) {
	if n := len(r.Moved); n > 0 {
		fmt.Fprintf(b, "\n%s\n", comment(movedLine(r.Moved)))
	}
	if len(r.Others) > 0 {
		b.WriteString("\n")
		for _, o := range r.Others {
			fmt.Fprintf(b, "- %s: %s\n", comment(o.Label), comment(o.Text))
		}
	}
	for _, line := range r.Foot {
		fmt.Fprintf(b, "\n%s\n", comment(line))
	}
}

// movedLine says what lies elsewhere and is the same, in one line.
func movedLine(moved []string) string {
	const most = 6
	names := moved[:min(most, len(moved))]
	text := fmt.Sprintf("Moved to another file and unchanged: %s", strings.Join(names, ", "))
	if more := len(moved) - len(names); more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return text
}

// MovedLine is [movedLine] for the page.
func (r *Review) MovedLine() string { return movedLine(r.Moved) }

// comment makes text stand for itself in a comment that others read: as [markdown] does, and nobody is called by an at sign.
func comment(text string) string { return strings.ReplaceAll(markdown(text), "@", "(at)") }

// gaugePlaces is how wide a gauge in text is.
const gaugePlaces = 21

// text draws the gauge in characters: window of =, old value o, new value x, failed steps !.
func (g *ReviewGauge) text() string {
	low, high := g.ends()
	cells := []rune(strings.Repeat("·", gaugePlaces))
	at := func(v float64) int { return min(max(int((v-low)/(high-low)*(gaugePlaces-1)+0.5), 0), gaugePlaces-1) }
	for i := at(g.Low); i <= at(g.High); i++ {
		cells[i] = '='
	}
	for _, v := range g.Fails {
		cells[at(v)] = '!'
	}
	if !math.IsNaN(g.From) {
		cells[at(g.From)] = 'o'
	}
	if !math.IsNaN(g.To) {
		cells[at(g.To)] = 'x'
	}
	return string(cells)
}

// ends are those of the drawn scale.
func (g *ReviewGauge) ends() (low, high float64) {
	low, high = g.Low, g.High
	for _, v := range append([]float64{g.From, g.To}, g.Fails...) {
		if !math.IsNaN(v) {
			low, high = min(low, v), max(high, v)
		}
	}
	if high == low {
		high, low = high+1, low-1
	}
	pad := (high - low) * 0.08
	return low - pad, high + pad
}

// Words says what a gauge shows.
func (g *ReviewGauge) Words() string {
	return fmt.Sprintf("proven from %s to %s; o is in force, the lozenge is new, crosses did not come out good", g.LowText, g.HighText)
}

// SVG draws the gauge.
func (g *ReviewGauge) SVG() template.HTML {
	const width, middle = 200.0, 9.0
	low, high := g.ends()
	x := func(v float64) float64 { return 4 + (v-low)/(high-low)*(width-8) }
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="gauge" viewBox="0 0 %g 30" role="img" aria-label="%s"><line class="rail" x1="2" y1="%g" x2="%g" y2="%g"/>`, width, template.HTMLEscapeString(printable(g.Words())), middle, width-2, middle)
	from, to := x(g.Low), x(g.High)
	if to-from < 4 {
		from, to = from-2, to+2
	}
	fmt.Fprintf(&b, `<rect class="window" x="%.1f" y="%g" width="%.1f" height="10"/>`, from, middle-5, to-from)
	lowAt, highAt := from, to
	if highAt-lowAt < 70 { // the numbers would run into each other
		spread := (70 - (highAt - lowAt)) / 2
		lowAt, highAt = lowAt-spread, highAt+spread
	}
	fmt.Fprintf(&b, `<text x="%.1f" y="27" text-anchor="start">%s</text><text x="%.1f" y="27" text-anchor="end">%s</text>`,
		min(max(lowAt, 0), width-76), template.HTMLEscapeString(printable(g.LowText)), max(min(highAt, width), 76), template.HTMLEscapeString(printable(g.HighText)))
	for _, v := range g.Fails {
		fmt.Fprintf(&b, `<path class="fail" d="M%.1f %g l7 7 m0 -7 l-7 7"/>`, x(v)-3.5, middle-3.5)
	}
	if !math.IsNaN(g.From) {
		fmt.Fprintf(&b, `<circle class="was" cx="%.1f" cy="%g" r="3.6"/>`, x(g.From), middle)
	}
	if !math.IsNaN(g.To) {
		fmt.Fprintf(&b, `<path class="is" d="M%.1f %g l5.5 -5.5 l5.5 5.5 l-5.5 5.5z"/>`, x(g.To)-5.5, middle)
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String())
}

//go:embed review.css
var reviewStyle string

// Sheet is the style of the review document and of the local pages: light, dark and paper.
func Sheet() string {
	return reviewStyle + panelStyle + "@media(prefers-color-scheme:dark){" + darkStyle + "}\n" + paperPlots
}

// paperPlots are plots in black for a printer.
const paperPlots = `@media print{.plot{--ink:#000;--soft:#444;--grid:#ccc;--band:#e2e2e2;--line:#333;--o:#000;--x:#000;--n:#000;--f:#000}}
`

// contentPolicy allows a page nothing but its own style.
func contentPolicy(style string) string {
	sum := sha256.Sum256([]byte(style))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'; base-uri 'none'; form-action 'none'"
}

// HTML writes the document as one file that needs no network and no script.
func (r *Review) HTML(w io.Writer) error {
	style := Sheet()
	if err := templates().ExecuteTemplate(w, "review", struct {
		*Review
		Policy string
		Style  template.CSS
	}{r, contentPolicy(style), template.CSS(style)}); err != nil {
		return err
	}
	return r.Stored.Err()
}

// Figures draws the panels of the chart.
func (p *ReviewPlot) Figures() template.HTML {
	var b strings.Builder
	b.WriteString(`<div class="plots">`)
	for i := range p.Chart.Panels {
		panel := &p.Chart.Panels[i]
		b.WriteString("<figure>")
		panel.draw(&b, false, "", plotName(p.Chart.Title)+fmt.Sprint(i))
		fmt.Fprintf(&b, "<figcaption>%s: %s</figcaption></figure>\n", template.HTMLEscapeString(panel.Title), template.HTMLEscapeString(panel.Caption))
	}
	b.WriteString("</div>\n")
	return visibleLines(b.String())
}

// visibleLines is markup with every character that cannot be seen written out, but the ends of its lines.
func visibleLines(markup string) template.HTML {
	lines := strings.Split(markup, "\n")
	for i := range lines {
		lines[i] = printable(lines[i])
	}
	return template.HTML(strings.Join(lines, "\n"))
}

// Table holds the values of the panels for those who do not see drawings.
func (p *ReviewPlot) Table() template.HTML {
	var b strings.Builder
	p.Chart.table(&b)
	return visibleLines(b.String())
}

// Off lists what is off in the chart.
func (p *ReviewPlot) Off() []string { return p.Chart.off() }

// PlotLegend says what the marks of plots mean.
func PlotLegend() template.HTML {
	var b strings.Builder
	legend(&b, "legend")
	return template.HTML(b.String())
}

// plotName is a name that is its own on a page.
func plotName(title string) string {
	return "plot-" + strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-' {
			return r
		}
		return '_'
	}, title) + "-"
}

//go:embed review.html
var reviewTemplates string

// templates are [NewTemplates], parsed when first asked for.
var templates = sync.OnceValue(NewTemplates)

// NewTemplates parses the parts that pages are made of: card, rows, sections, review and more.
func NewTemplates() *template.Template {
	return template.Must(template.New("").Funcs(template.FuncMap{
		"plain":  func(s string) string { return printable(strings.ReplaceAll(s, "\n", " ")) },
		"anchor": func(id string) string { return "c-" + strings.NewReplacer("/", "_", " ", "_").Replace(id) },
		"short":  func(id, set string) string { return strings.TrimPrefix(id, set+"/") },
		"legend": PlotLegend,
		"groups": rowGroups,
	}).Parse(reviewTemplates))
}
