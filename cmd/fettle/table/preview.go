package table

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"fettle/schema"
	"fettle/schema/quantity"
)

// Preview shows an import for people: how the sheet was read, what it does to each condition, and every problem.
func (imp *Import) Preview(prefs quantity.Prefs) string {
	reading := imp.PreviewReading()
	if len(imp.Problems) > 0 {
		return reading
	}
	fresh, updated := imp.PreviewChanges(prefs)
	return reading + fresh + updated + PreviewUnchanged(imp.Count(Unchanged))
}

// PreviewReading is how the sheet was read, and every problem.
func (imp *Import) PreviewReading() string {
	var b strings.Builder
	if imp.previewReading(&b); len(imp.Problems) > 0 {
		imp.previewProblems(&b)
	}
	return b.String()
}

// PreviewChanges is what the sheet does to each condition: to those that are new, and to others.
func (imp *Import) PreviewChanges(prefs quantity.Prefs) (fresh, updated string) {
	var f, u strings.Builder
	imp.previewNew(&f)
	imp.previewUpdated(&u, prefs)
	return f.String(), u.String()
}

// PreviewUnchanged says how many conditions are as the sheet has them.
func PreviewUnchanged(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("\n%s the same in the library already\n", plural(n, "condition is", "conditions are"))
}

// Count returns how many conditions have a status.
func (imp *Import) Count(status string) (n int) {
	for _, c := range imp.Changes {
		if c.Status == status {
			n++
		}
	}
	return n
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func (imp *Import) previewReading(b *strings.Builder) {
	if imp.Separator == "" {
		return
	}
	fmt.Fprintf(b, "read as %s, cells parted by %s", imp.Encoding, imp.Separator)
	if imp.Decimals != "" {
		fmt.Fprintf(b, ", %s", imp.Decimals)
	}
	b.WriteString("\n")
	for _, n := range imp.Notes {
		fmt.Fprintf(b, "  %s", oneLine(n.Text))
		switch at := n.At.String(); {
		case at == "" || n.At.Col == 0:
		case n.Cells == 1:
			fmt.Fprintf(b, "   (%s)", at)
		default:
			fmt.Fprintf(b, "   (%s and %d more)", at, n.Cells-1)
		}
		b.WriteString("\n")
	}
}

func (imp *Import) previewProblems(b *strings.Builder) {
	if b.Len() > 0 {
		b.WriteString("\n")
	}
	for _, p := range imp.Problems {
		fmt.Fprintf(b, "%s\n", oneLine(p.String()))
		for _, line := range strings.Split(p.Help, "\n") {
			if line != "" {
				fmt.Fprintf(b, "      %s\n", oneLine(line))
			}
		}
	}
}

// oneLine keeps what comes out of a sheet from breaking a line of output.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r < 0x20 || r == 0x7f {
			return ' '
		}
		return r
	}, s)
}

// main are the members that a table of new conditions shows in columns.
var main = []string{"cut.power", "cut.speed", "cut.pressure", "cut.focus", "nozzle.form", "nozzle.orifice", "nozzle.standoff"}

// previewNew shows new conditions in the units and digits of the sheet, so that the two can be laid side by side: a table for each
// machine, material and gas, which fits a screen of 80 columns.
func (imp *Import) previewNew(b *strings.Builder) {
	var sets []string
	of := map[string][]Change{}
	for _, c := range imp.Changes {
		if c.Status != New {
			continue
		}
		set := strings.Join([]string{c.ID.Machine, c.ID.Material, c.ID.Gas}, "/")
		if of[set] == nil {
			sets = append(sets, set)
		}
		of[set] = append(of[set], c)
	}
	for _, set := range sets {
		fmt.Fprintf(b, "\nnew      %s", set)
		grade, same := commonGrade(of[set])
		if same && grade != "" {
			fmt.Fprintf(b, "   grade %s", quoteAll(grade))
		}
		b.WriteString("\n")
		previewSet(b, set, of[set], same)
	}
}

// commonGrade is the grade of all of them, where it is one.
func commonGrade(changes []Change) (grade string, same bool) {
	for i, c := range changes {
		own := ""
		for _, f := range c.Fields {
			if f.Path == colGrade {
				own = f.To.Text
			}
		}
		if i > 0 && own != grade {
			return "", false
		}
		grade = own
	}
	return grade, true
}

func previewSet(b *strings.Builder, set string, changes []Change, gradeSaid bool) {
	rows := [][]string{{"", "power", "speed", "pressure", "focus", "nozzle", "standoff"}}
	var others []string
	for _, c := range changes {
		other := ""
		fields := map[string]schema.Field{}
		for _, f := range c.Fields {
			fields[f.Path] = f.To
			said := f.Path == "variant" || f.Path == "process" || f.Path == "thickness" && f.To.Quantity.Unit() == "mm" || gradeSaid && f.Path == colGrade
			if !slices.Contains(main, f.Path) && !said {
				other += ", " + strings.TrimPrefix(schema.SpokenPath(f.Path), "cut.") + " " + typed(f.To)
			}
		}
		row := []string{"  " + strings.TrimPrefix(c.ID.String(), set+"/")}
		for _, path := range main {
			if path == "nozzle.orifice" { // beside its form
				row[len(row)-1] += " " + typed(fields[path])
				continue
			}
			row = append(row, typed(fields[path]))
		}
		rows = append(rows, row)
		others = append(others, strings.TrimPrefix(other, ", "))
	}
	for i, line := range align(rows) {
		b.WriteString(line + "\n")
		if i > 0 && others[i-1] != "" {
			b.WriteString(wrap(others[i-1], 80, "      "))
		}
	}
}

func (imp *Import) previewUpdated(b *strings.Builder, prefs quantity.Prefs) {
	for _, c := range imp.Changes {
		if c.Status != Updated {
			continue
		}
		fmt.Fprintf(b, "\nupdated  %s\n", c.ID)
		var rows [][]string
		for _, f := range c.Fields {
			from, to := show(f.From, prefs), show(f.To, prefs)
			if f.From.Path == "" {
				from = "nothing"
			} else if !f.From.Quantity.IsZero() {
				from, to = quantity.FormatPair(f.From.Quantity, f.To.Quantity, prefs)
			}
			rows = append(rows, []string{"    " + strings.TrimPrefix(schema.SpokenPath(f.Path), "cut."), from + " -> " + to})
		}
		for _, line := range align(rows) {
			b.WriteString(line + "\n")
		}
	}
}

// typed writes one value as it was read.
func typed(f schema.Field) string {
	if f.Quantity.IsZero() {
		return show(f, nil)
	}
	return f.Quantity.Text()
}

// show writes one value for a screen.
func show(f schema.Field, prefs quantity.Prefs) string {
	switch {
	case f.Path == "":
		return ""
	case !f.Quantity.IsZero():
		return f.Quantity.Format(prefs)
	case f.Text == "[]":
		return "none"
	case strings.HasPrefix(f.Path, "extra.") || f.Note || f.Path == colGrade:
		return quoteAll(f.Text)
	}
	return f.Text
}

// align pads all columns but the last to one width.
func align(rows [][]string) []string {
	var wide []int
	for _, row := range rows {
		for i, cell := range row {
			if i == len(wide) {
				wide = append(wide, 0)
			}
			wide[i] = max(wide[i], utf8.RuneCountInString(cell))
		}
	}
	lines := make([]string, len(rows))
	for r, row := range rows {
		var b strings.Builder
		for i, cell := range row {
			b.WriteString(cell)
			b.WriteString(strings.Repeat(" ", wide[i]-utf8.RuneCountInString(cell)+2))
		}
		lines[r] = strings.TrimRight(b.String(), " ")
	}
	return lines
}

// wrap breaks a list at its commas.
func wrap(list string, width int, indent string) string {
	var b strings.Builder
	line := indent
	for i, item := range strings.SplitAfter(list, ", ") {
		if i > 0 && utf8.RuneCountInString(line+item) > width {
			b.WriteString(strings.TrimRight(line, " ") + "\n")
			line = indent
		}
		line += item
	}
	return b.String() + line + "\n"
}
