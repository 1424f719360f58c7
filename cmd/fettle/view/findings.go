package view

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"fettle/lint"
	"fettle/schema"
)

// FindingsOptions say what the screen can show.
type FindingsOptions struct {
	Color bool
	Width int // columns; 120 where it is not known
	// Screen is set where a person reads it on a terminal: then no line is wider than it.
	Screen bool
}

// Findings writes findings for people: where, what, by how much, why, what to do next, and a count at the end.
//
//	sets/bay-2/carbon-steel-oxygen.json:41:21: error: 35 bar is above the 3.5 bar of the oxygen line [pressure-over-line]
//	   41 |         "pressure": "35 bar",
//	      |                     ^~~~~~~~
//	      bay-2/carbon-steel/oxygen/3mm was 0.26 bar; its family runs from 0.21 to 0.40 bar. A lost decimal point?
//	      more: fettle explain pressure-over-line
func Findings(w io.Writer, r lint.Result, o FindingsOptions) error {
	if o.Width <= 0 {
		o.Width = 120
	}
	o.Width = max(o.Width, 40)
	out := bufio.NewWriter(w)
	for _, f := range r.Findings {
		finding(out, f, o)
		out.WriteByte('\n')
	}
	out.WriteString(FindingsSummary(r))
	out.WriteByte('\n')
	return out.Flush()
}

// Finding writes one finding, as [Findings] does, without what comes between two.
func Finding(w io.Writer, f lint.Finding, o FindingsOptions) error {
	if o.Width <= 0 {
		o.Width = 120
	}
	o.Width = max(o.Width, 40)
	out := bufio.NewWriter(w)
	finding(out, f, o)
	return out.Flush()
}

// FindingsSummary counts: "1 error, 2 warnings in 14 conditions of 6 files".
func FindingsSummary(r lint.Result) string {
	errors, warnings, notes := r.Count()
	var parts []string
	for _, c := range []struct {
		n    int
		word string
	}{{errors, "error"}, {warnings, "warning"}, {notes, "note"}} {
		if c.n > 0 {
			parts = append(parts, count(c.n, c.word))
		}
	}
	text := "nothing found"
	if len(parts) > 0 {
		text = strings.Join(parts, ", ")
	}
	if text += " in " + count(r.Conditions, "condition"); r.Files > 0 { // a hook that judges a part reads no whole files
		text += " of " + count(r.Files, "file")
	}
	old := len(r.Findings) - len(r.New().Findings)
	if old > 0 {
		text += fmt.Sprintf("; %d stood before", old)
	}
	if r.Accepted > 0 {
		text += fmt.Sprintf("; %d accepted", r.Accepted)
	}
	return text
}

func count(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return fmt.Sprintf("%d %ss", n, word)
}

const findingIndent = "      "

// SGR codes of ECMA-48: bold, and a colour for each severity.
const (
	sgrBold  = "\x1b[1m"
	sgrReset = "\x1b[0m"
)

var severityColor = map[lint.Severity]string{lint.Error: "\x1b[31m", lint.Warning: "\x1b[33m", lint.Note: "\x1b[36m"}

// painted puts text that is safe already between codes.
func (o FindingsOptions) painted(code, text string) string {
	if !o.Color || code == "" {
		return text
	}
	return code + text + sgrReset
}

func finding(out *bufio.Writer, f lint.Finding, o FindingsOptions) {
	color := severityColor[f.Severity]
	word := f.Severity.String()
	if f.Old {
		word += ", stood before"
	}
	where := fmt.Sprintf("%s:%d:%d:", printable(f.Path), f.Line, f.Column)
	if f.Path == "" {
		where = printable(f.ID) + ":"
	}
	head := []string{fmt.Sprintf("%s %s: %s [%s]", where, word, printable(f.Message), printable(f.Rule))}
	if o.Screen { // programs read it as one line
		head = wrapped(head[0], o.Width-len(findingIndent))
	}
	head[0] = strings.Replace(head[0], where, o.painted(sgrBold, where), 1)
	head[0] = strings.Replace(head[0], " "+word+":", " "+o.painted(color, word+":"), 1)
	fmt.Fprintln(out, strings.Join(head, "\n"+findingIndent))
	if f.File != nil {
		sourceLine(out, f, o, color)
	}
	help := printable(f.Help)
	if id := printable(f.ID); id != "" && f.Path != "" && !strings.HasPrefix(help, id) {
		help = strings.TrimSuffix(id+": "+help, ": ")
	}
	for _, line := range wrapped(help, o.Width-len(findingIndent)) {
		fmt.Fprintf(out, "%s%s\n", findingIndent, line)
	}
	if f.Severity > lint.Note {
		fmt.Fprintf(out, "%smore: fettle explain %s\n", findingIndent, printable(f.Rule))
	}
}

// sourceLine shows the line that a finding points at, with a caret below.
func sourceLine(out *bufio.Writer, f lint.Finding, o FindingsOptions, color string) {
	line := f.File.Line(f.Line)
	if strings.TrimSpace(line) == "" {
		return
	}
	number := fmt.Sprintf("%5d", f.Line)
	text, before, under := window(line, f.Column-1, f.Width, o.Width-len(number)-3)
	if under == 0 {
		return
	}
	fmt.Fprintf(out, "%s | %s\n", number, text)
	fmt.Fprintf(out, "%s | %s%s\n", strings.Repeat(" ", len(number)), strings.Repeat(" ", before), o.painted(color, "^"+strings.Repeat("~", under-1)))
}

// wrapped breaks text at spaces so that no line is wider than width, where it can.
func wrapped(text string, width int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		switch {
		case line == "":
			line = word
		case columns(line)+1+columns(word) <= width:
			line += " " + word
		default:
			lines = append(lines, line)
			line = word
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// FindingWhere names a finding in a few words: "bay-2/carbon-steel/oxygen/3mm cut.pressure", or its file.
func FindingWhere(f lint.Finding) string {
	if f.ID == "" {
		return printable(f.Path)
	}
	return strings.TrimSpace(printable(f.ID) + " " + printable(schema.SpokenPath(f.Field)))
}
