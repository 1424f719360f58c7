package view

import (
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"
)

// A TrialSheet is what is taken to the machine: what to load, what to cut in which order, and room for what comes out.
type TrialSheet struct {
	Code, ID, Planned, Why, Recipe, Range, Design string
	Pierce                                        []string
	Unit, Plate, Lot, Grade, Nozzle               string // as far as they are known
	GradeAsked                                    string // that the condition is for
	Cautions                                      []string
	Fields                                        []string // the varied values
	Coupons                                       []TrialCoupon
	Symptoms                                      []string
}

// A TrialCoupon is one test piece.
type TrialCoupon struct {
	Number, Plate int
	Values        []string
	Outcome, Seen string // what was written down already
}

// Lines is the sheet as text for 80 columns.
func (t *TrialSheet) Lines() []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, printable(fmt.Sprintf(format, args...))) }
	say("TRIAL %s   %s", t.Code, t.ID)
	say("%s", t.Range)
	say("%s", t.Design)
	say("planned on %s", t.Planned)
	if t.Why != "" {
		say("%s", t.Why)
	}
	say("")
	for i, c := range t.Cautions {
		say("%-8s %s", map[bool]string{true: "SAFETY"}[i == 0], c)
	}
	say("")
	say("load     %s", t.Recipe)
	for i, p := range t.Pierce {
		say("pierce%d  %s", i+1, p)
	}
	blank := func(label, known string) string {
		if known == "" {
			known = "__________"
		}
		return label + " " + known
	}
	grade := "grade"
	if t.GradeAsked != "" {
		grade = "grade (" + t.GradeAsked + "?)"
	}
	say("")
	say("%s   %s   %s", blank("machine", t.Unit), blank("plate", t.Plate), blank("lot", t.Lot))
	say("%s   %s", blank(grade, t.Grade), blank("nozzle used", t.Nozzle))
	say("overrides: feed ___ %%  power ___ %%  pressure ___ %%  (100 %%, or it shows nothing)")
	say("")
	widths := make([]int, len(t.Fields))
	head := " no pl"
	for i, f := range t.Fields {
		widths[i] = columns(f)
		for _, c := range t.Coupons {
			widths[i] = max(widths[i], columns(c.Values[i]))
		}
		head += "  " + pad(f, widths[i])
	}
	say("%s  good marg bad  u mm  Rz5 um  dross mm  nozzle", head)
	for _, c := range t.Coupons {
		line := fmt.Sprintf("%3d %2d", c.Number, c.Plate)
		for i, v := range c.Values {
			line += "  " + pad(v, widths[i])
		}
		for _, o := range []string{"good", "marginal", "bad"} {
			box := "[ ]"
			if c.Outcome == o {
				box = "[x]"
			}
			line += " " + pad(box, map[string]int{"good": 5, "marginal": 4, "bad": 3}[o])
		}
		say("%s  ____  ______  ________  ______", line)
		if seen := strings.TrimSpace(c.Seen); seen != "" {
			say("       %s", seen)
		}
	}
	say("")
	say("seen     %s", strings.Join(t.Symptoms, ", "))
	return out
}

func pad(text string, width int) string {
	return text + strings.Repeat(" ", max(0, width-columns(text)))
}

// HTML writes the sheet as one page for A4 that needs no network and no script.
func (t *TrialSheet) HTML(w io.Writer) error { return trialSheetTemplate().Execute(w, t) }

var trialSheetTemplate = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("sheet").Funcs(template.FuncMap{"plain": func(s string) string { return printable(strings.TrimSpace(s)) },
		"is": func(a, b string) bool { return a == b }, "number": func(i int) int { return i + 1 }}).Parse(`<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Trial {{.Code}} {{plain .ID}}</title>
<style>
@page { size: A4; margin: 12mm; }
body { margin: 1rem auto; max-width: 190mm; color: #111; background: #fff; font: 10pt/1.35 system-ui, sans-serif; }
h1 { font-size: 14pt; margin: 0; overflow-wrap: anywhere; }
.code { float: right; font: 700 14pt/1.1 ui-monospace, monospace; border: 1.5pt solid #111; padding: 1mm 2mm; margin-left: 3mm; }
p { margin: .6mm 0; }
.safety { border: 1.5pt solid #111; padding: 1.5mm 2.5mm; margin: 2.5mm 0; font-size: 8.5pt; break-inside: avoid; }
.safety strong { font-size: 10pt; }
.safety ul { margin: .5mm 0 0; padding-left: 4.5mm; columns: 2; column-gap: 6mm; }
.safety li { break-inside: avoid; margin-bottom: .5mm; }
.load { font-size: 11pt; font-weight: 600; }
.fill { display: grid; grid-template-columns: repeat(3, 1fr); gap: 1.5mm 6mm; margin: 3mm 0; }
.fill span { border-bottom: .6pt solid #111; min-height: 6mm; display: flex; align-items: end; gap: 2mm; }
.fill b { font-weight: 400; font-size: 8.5pt; color: #444; white-space: nowrap; }
table { width: 100%; border-collapse: collapse; font-variant-numeric: tabular-nums; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
th { font-size: 8pt; font-weight: 600; text-align: left; vertical-align: bottom; border-bottom: 1.2pt solid #111; padding: .5mm 1mm; }
td { border-bottom: .5pt solid #888; border-left: .5pt solid #ccc; height: 8mm; padding: 0 1mm; }
td.n { border-left: 0; font-weight: 700; }
td.v { font-weight: 600; white-space: nowrap; }
td.b { text-align: center; width: 9mm; }
.box { display: inline-block; width: 4.2mm; height: 4.2mm; border: 1pt solid #111; line-height: 4mm; font-weight: 700; }
.m { width: 13mm; } .w { min-width: 30mm; font-size: 8.5pt; }
.small { font-size: 8pt; color: #333; }
@media print { body { margin: 0; max-width: none; } }
</style>
</head>
<body>
<header><span class="code">{{.Code}}</span><h1>{{plain .ID}}</h1>
<p><strong>{{plain .Range}}</strong></p>
<p class="small">{{plain .Design}} · planned on {{plain .Planned}}</p>{{with plain .Why}}<p>{{.}}</p>{{end}}</header>
<main>
<section class="safety"><strong>Safety</strong><ul>{{range .Cautions}}<li>{{plain .}}</li>{{end}}</ul></section>
<p class="load">Load: {{plain .Recipe}}</p>
{{range $i, $p := .Pierce}}<p class="small">Pierce {{number $i}}: {{plain $p}}</p>{{end}}
<div class="fill"><span><b>machine</b>{{plain .Unit}}</span><span><b>plate</b>{{plain .Plate}}</span><span><b>lot or heat</b>{{plain .Lot}}</span>
<span><b>grade{{with .GradeAsked}} ({{plain .}}?){{end}}</b>{{plain .Grade}}</span><span><b>nozzle used</b>{{plain .Nozzle}}</span><span><b>cut by, on</b></span>
<span><b>feed override %</b></span><span><b>power override %</b></span><span><b>pressure override %</b></span></div>
<p class="small">Cut in this order. Overrides other than 100 % show nothing of the values here. Mark each piece with its number.</p>
<table><thead><tr><th>no</th><th>plate</th>{{range .Fields}}<th>{{plain .}}</th>{{end}}<th>good</th><th>mar&shy;ginal</th><th>bad</th>
<th>u<br>mm</th><th>Rz5<br>µm</th><th>dross<br>mm</th><th>kerf<br>mm</th><th>pierce<br>s</th><th>nozzle<br>°C</th><th>seen, remarks</th></tr></thead>
<tbody>{{range .Coupons}}<tr><td class="n">{{.Number}}</td><td>{{.Plate}}</td>{{range .Values}}<td class="v">{{plain .}}</td>{{end}}
<td class="b"><span class="box">{{if is .Outcome "good"}}×{{end}}</span></td><td class="b"><span class="box">{{if is .Outcome "marginal"}}×{{end}}</span></td><td class="b"><span class="box">{{if is .Outcome "bad"}}×{{end}}</span></td>
<td class="m"></td><td class="m"></td><td class="m"></td><td class="m"></td><td class="m"></td><td class="m"></td><td class="w">{{plain .Seen}}</td></tr>
{{end}}</tbody></table>
<p class="small" style="margin-top:2mm">Several measuring points of a piece: write them one behind the other. Words for what is seen: {{range $i, $s := .Symptoms}}{{if $i}}, {{end}}{{$s}}{{end}}.</p>
<p class="small">Write it down: fettle trial record {{.Code}}</p>
</main>
</body>
</html>
`))
})
