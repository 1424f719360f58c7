package view

import (
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"sync"
)

// A Page is something to read from top to bottom: a timeline, an answer. It is text on a terminal, Markdown in a merge request, or one
// HTML file that needs nothing else.
type Page struct {
	Title    string // in Markdown and HTML
	Subtitle string // likewise
	Rows     []Row  // before the first section
	Sections []Section
	Foot     []string // lines at the end
	shed     bool     // see Shed
}

// A Section is a part of a page under a heading.
type Section struct {
	Title  string
	Rows   []Row
	Blocks []Block
	shed   bool // see Page.Shed
}

// A Block is one thing with what is known of it.
type Block struct {
	Head string
	Tone Tone
	Rows []Row
}

// A Row is one line: a label with its text, or a text alone. A label of [Same] says that the one above goes on.
type Row struct{ Label, Text string }

// Same is the label of a row that goes on with the label above.
const Same = " "

// A rowGroup is rows that pages show as one list of labels and texts, or one text alone: a list begins with a label.
type rowGroup struct {
	Alone string
	Pairs []Row
}

func rowGroups(rows []Row) (out []rowGroup) {
	listed := false
	for _, r := range rows {
		switch {
		case r.Label == "", r.Label == Same && !listed:
			out = append(out, rowGroup{Alone: r.Text})
			listed = false
		case listed:
			last := &out[len(out)-1]
			last.Pairs = append(last.Pairs, r)
		default:
			out = append(out, rowGroup{Pairs: []Row{r}})
			listed = true
		}
	}
	return out
}

// A Tone says how a block is meant, beside its words.
type Tone string

// The tones. In HTML each has a mark and a colour, so that neither is needed alone.
const (
	Plain Tone = ""
	Bad   Tone = "bad"
	Good  Tone = "good"
)

// Text hands the lines of a page over, as a terminal shows them; the caller folds them.
func (p *Page) Text(say func(line string)) {
	rest := *p
	rest.Sections = slices.Clone(p.Sections)
	rest.Shed(say)
	for i, line := range p.Foot {
		if i == 0 && len(p.Sections) > 0 {
			say("")
		}
		say(line)
	}
}

// Shed hands over the lines that a page has above its foot so far, and takes them off the page: one of a hundred thousand blocks need not be
// held. The last section stays open for more.
func (p *Page) Shed(say func(line string)) {
	row := func(indent int, r Row) {
		if r.Label == "" {
			say(strings.Repeat(" ", indent) + r.Text)
			return
		}
		say(fmt.Sprintf("%s%-11s %s", strings.Repeat(" ", indent), r.Label, r.Text))
	}
	for _, r := range p.Rows {
		row(0, r)
		p.shed = true
	}
	p.Rows = nil
	for i := range p.Sections {
		s := &p.Sections[i]
		if !s.shed {
			if p.shed {
				say("")
			}
			if s.Title != "" {
				say(s.Title)
			}
			s.shed, p.shed = true, true
		}
		for _, r := range s.Rows {
			row(2, r)
		}
		for _, b := range s.Blocks {
			say("  " + b.Head)
			for _, r := range b.Rows {
				row(9, r)
			}
		}
		s.Rows, s.Blocks = nil, nil
	}
	if last := len(p.Sections) - 1; last > 0 {
		p.Sections = slices.Clone(p.Sections[last:])
	}
}

// Markdown writes a page for a merge request or a note.
func (p *Page) Markdown(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "# %s\n", markdown(p.Title))
	if p.Subtitle != "" {
		fmt.Fprintf(&b, "\n%s\n", markdown(p.Subtitle))
	}
	rows := func(indent string, list []Row) {
		for _, r := range list {
			if r.Label != "" && r.Label != Same {
				fmt.Fprintf(&b, "%s- %s: %s\n", indent, markdown(r.Label), markdown(r.Text))
			} else {
				fmt.Fprintf(&b, "%s- %s\n", indent, markdown(r.Text))
			}
		}
	}
	if len(p.Rows) > 0 {
		b.WriteString("\n")
		rows("", p.Rows)
	}
	for _, s := range p.Sections {
		b.WriteString("\n")
		if s.Title != "" {
			fmt.Fprintf(&b, "## %s\n\n", markdown(s.Title))
		}
		rows("", s.Rows)
		for _, block := range s.Blocks {
			fmt.Fprintf(&b, "- **%s**\n", markdown(parted(block.Head)))
			rows("  ", block.Rows)
		}
	}
	for i, line := range p.Foot {
		if i == 0 {
			b.WriteString("\n")
		}
		fmt.Fprintf(&b, "%s\n", markdown(strings.TrimSpace(line)))
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// markdown makes text stand for itself in Markdown.
func markdown(text string) string {
	text = strings.Join(strings.Fields(printable(strings.ReplaceAll(text, "\n", " "))), " ")
	return strings.NewReplacer(`\`, `\\`, "`", "\\`", "*", `\*`, "_", `\_`, "[", `\[`, "]", `\]`, "<", "&lt;", ">", "&gt;", "#", `\#`, "|", `\|`).Replace(text)
}

// parted puts a sign where a terminal shows a gap, which a page would close.
func parted(head string) string {
	var parts []string
	for part := range strings.SplitSeq(head, "  ") {
		if part = strings.TrimSpace(part); part != "" {
			parts = append(parts, part)
		}
	}
	return strings.Join(parts, " · ")
}

// HTML writes a page as one file that needs no network and no script.
func (p *Page) HTML(w io.Writer) error { return pageTemplate().Execute(w, p.visible()) }

// visible is the page with every character that cannot be seen written out.
func (p *Page) visible() *Page {
	text := func(s string) string { return printable(strings.ReplaceAll(s, "\n", " ")) }
	rows := func(list []Row) []Row {
		out := make([]Row, len(list))
		for i, r := range list {
			out[i] = Row{text(r.Label), text(r.Text)}
		}
		return out
	}
	out := &Page{Title: text(p.Title), Subtitle: text(p.Subtitle), Rows: rows(p.Rows)}
	for _, s := range p.Sections {
		section := Section{Title: text(s.Title), Rows: rows(s.Rows)}
		for _, b := range s.Blocks {
			section.Blocks = append(section.Blocks, Block{parted(text(b.Head)), b.Tone, rows(b.Rows)})
		}
		out.Sections = append(out.Sections, section)
	}
	for _, line := range p.Foot {
		out.Foot = append(out.Foot, text(line))
	}
	return out
}

var pageTemplate = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("page").Funcs(template.FuncMap{"groups": rowGroups}).Parse(`<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{.Title}}</title>
<style>
:root { color-scheme: light dark; --ink: #1b1b1a; --paper: #fdfcf8; --line: #cfc9ba; --soft: #5c574b; --bad: #9a1f16; --good: #1f5f35; }
@media (prefers-color-scheme: dark) { :root { --ink: #e9e5da; --paper: #1c1b18; --line: #4a463c; --soft: #b3ab99; --bad: #ff9d92; --good: #8fd6a8; } }
body { margin: 0 auto; max-width: 46rem; padding: 1.5rem 1rem; background: var(--paper); color: var(--ink); font: 1rem/1.45 system-ui, sans-serif; overflow-wrap: anywhere; }
h1 { font-size: 1.4rem; margin: 0 0 .3rem; }
h2 { font-size: 1.05rem; margin: 1.6rem 0 .5rem; padding-bottom: .15rem; border-bottom: 1px solid var(--line); }
h3 { font-size: 1rem; margin: .8rem 0 .2rem; }
p { margin: .3rem 0; }
.soft { color: var(--soft); }
section > article { padding-left: .8rem; border-left: 3px solid var(--line); margin: .7rem 0; break-inside: avoid; }
section > article.bad { border-color: var(--bad); }
section > article.bad h3::before { content: "\25B2\00A0"; color: var(--bad); }
section > article.good { border-color: var(--good); }
dl { display: grid; grid-template-columns: 7rem 1fr; gap: .15rem .8rem; margin: .2rem 0; }
dt { color: var(--soft); }
dd { margin: 0; font-variant-numeric: tabular-nums; }
dt { grid-column: 1; }
dd { grid-column: 2; }
.alone { white-space: pre-wrap; margin: .2rem 0; }
@media (max-width: 30rem) { dl { grid-template-columns: 1fr; } dt, dd { grid-column: 1; } dd { margin-left: .8rem; } }
@media print { body { max-width: none; padding: 0; font-size: 10pt; background: #fff; color: #000; } }
</style>
</head>
<body>
<header><h1>{{.Title}}</h1>{{with .Subtitle}}<p class="soft">{{.}}</p>{{end}}</header>
<main>
{{template "rows" .Rows}}
{{- range .Sections}}
<section>
{{with .Title}}<h2>{{.}}</h2>{{end}}
{{template "rows" .Rows}}
{{- range .Blocks}}
<article{{with .Tone}} class="{{.}}"{{end}}>
<h3>{{.Head}}</h3>
{{template "rows" .Rows}}</article>
{{- end}}
</section>
{{- end}}
</main>
{{with .Foot}}<footer>{{range .}}<p class="soft">{{.}}</p>{{end}}</footer>{{end}}
</body>
</html>
{{define "rows"}}{{range groups .}}{{if .Alone}}<p class="alone">{{.Alone}}</p>{{else}}<dl>{{range .Pairs}}{{if ne .Label " "}}<dt>{{.Label}}</dt>{{end}}<dd>{{.Text}}</dd>
{{end}}</dl>{{end}}{{end}}{{end}}`))
})
