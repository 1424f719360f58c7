package table

import (
	"fmt"
	"slices"
	"strings"

	"fettle/schema/quantity"
)

// columns finds the header, reads it, and leaves the rows below it in r.rows.
func (r *reader) columns() {
	at, score := findHeader(r.grid, r.renames)
	if score < 2 {
		r.problem(Place{}, "", "It needs a row of names with units, such as thickness [mm], power [kW], speed [m/min]. An example: fettle import --template",
			"there is no header row in the first %d rows", headerRows)
		return
	}
	header := r.grid.rows[at]
	r.header, r.rows = header.number, r.grid.rows[at+1:]
	if at > 0 {
		r.note(Place{Row: r.grid.rows[0].number}, "the header is row %d; what stands above it was not read", header.number)
	}
	wide := len(header.cells)
	for _, row := range r.rows {
		wide = max(wide, len(row.cells))
	}
	for i := range wide {
		cell := header.cell(i)
		c := readHeader(i, r.renames.of(cell))
		if named, ok := r.renames[plain(cell)]; ok {
			c.header, c.skip = trim(cell), named == ""
		}
		if !c.skip {
			r.known(&c)
		}
		r.cols = append(r.cols, c)
	}
	r.unitRow()
	for i := range r.cols {
		if c := &r.cols[i]; c.complain != nil && c.path != "" && !c.skip && r.filled(c) {
			r.problem(r.head(c), c.header, c.complain.Help, "%s", c.complain.Message)
			c.skip = true
		}
	}
	r.once()
	r.signs()
	if r.column(colThick) == nil {
		r.problem(Place{Row: r.header}, "", `Add one called "thickness [mm]".`, "there is no column for the thickness")
	}
}

// head is the place of a header cell.
func (r *reader) head(c *column) Place { return Place{r.header, c.index + 1} }

// column returns the column of a path, or nil.
func (r *reader) column(path string) *column {
	for i := range r.cols {
		if r.cols[i].path == path && !r.cols[i].skip {
			return &r.cols[i]
		}
	}
	return nil
}

// filled reports whether any cell of the column says something.
func (r *reader) filled(c *column) bool {
	return slices.ContainsFunc(r.rows, func(row gridRow) bool { return !placeholders[trim(row.cell(c.index))] })
}

// known decides what to do with a header: take the column, leave it out, or ask.
func (r *reader) known(c *column) {
	for _, s := range r.opt.Skip {
		if s != "" && (plain(s) == plain(c.header) || strings.EqualFold(s, columnName(c.index+1))) {
			c.skip = true
			r.note(r.head(c), "column %s %s was left out", columnName(c.index+1), quote(c.header))
			return
		}
	}
	if c.path == "" {
		for _, name := range r.extras() {
			if plain(name) == plain(c.header) {
				c.path = "extra." + name
				c.leaf, _ = leafOf(c.path)
				return
			}
		}
	}
	switch letter := columnName(c.index + 1); {
	case c.path == colStatus:
		c.skip = true // says what was approved when it was exported; nothing is approved by a spreadsheet
	case c.path != "":
	case !r.filled(c):
		c.skip = true
	case c.header == "":
		c.skip = true
		first := r.first(c)
		r.problem(first, "", "Name the column in the header row, or leave it out: --skip "+letter+separatorHelp(r.grid.separator),
			"%s stands in a column without a header", quote(trim(r.cellAt(first))))
	default:
		c.skip = true
		help := "Give it a name that is known (fettle import --template shows some), or leave the column out: --skip " + letter
		if near := suggest(c.header); near != "" {
			help = fmt.Sprintf("Did you mean %q? ", near) + help
		}
		r.problem(r.head(c), "", help, "the header %s is not known", quote(c.header))
	}
}

func separatorHelp(sep rune) string {
	if sep == ',' {
		return ". A decimal comma in a file with commas between its cells must be in quotation marks."
	}
	return ""
}

func (r *reader) first(c *column) Place {
	for _, row := range r.rows {
		if !placeholders[trim(row.cell(c.index))] {
			return Place{row.number, c.index + 1}
		}
	}
	return r.head(c)
}

func (r *reader) cellAt(p Place) string {
	for _, row := range r.grid.rows {
		if row.number == p.Row {
			return row.cell(p.Col - 1)
		}
	}
	return ""
}

// extras are the members of their own that the machines of the library declare.
func (r *reader) extras() []string {
	var names []string
	for _, name := range r.lib.MachineNames() {
		names = append(names, r.lib.Machine(name).Extra.V...)
	}
	return names
}

// unitRow takes a second header row that holds nothing but units.
func (r *reader) unitRow() {
	if len(r.rows) == 0 || !r.isUnitRow(r.rows[0]) {
		return
	}
	for i := range r.cols {
		c := &r.cols[i]
		if text := strings.Trim(trim(r.rows[0].cell(i)), "[]()"); text != "" && c.unit == "" && c.numeric() {
			c.readAsides([]string{text}, "")
		}
	}
	r.note(Place{Row: r.rows[0].number}, "row %d holds the units", r.rows[0].number)
	r.rows = r.rows[1:]
}

func (r *reader) isUnitRow(row gridRow) bool {
	units := 0
	for i := range r.cols {
		c := &r.cols[i]
		text := strings.Trim(trim(row.cell(i)), "[]()")
		if placeholders[text] || c.skip {
			continue
		}
		_, ok := unitName(quantity.DimNone, text)
		if !c.numeric() || !ok && !isShare(text) && !isGauge(text) {
			return false
		}
		units++
	}
	return units > 0
}

// once reports members that two columns give.
func (r *reader) once() {
	seen := map[string]*column{}
	for i := range r.cols {
		c := &r.cols[i]
		if c.path == "" || c.skip {
			continue
		}
		if first := seen[c.path]; first != nil {
			r.problem(r.head(c), c.header, fmt.Sprintf("Leave one out: --skip %s or --skip %s", columnName(first.index+1), columnName(c.index+1)),
				"it gives the same as column %s %s", columnName(first.index+1), quote(first.header))
			c.skip = true
			continue
		}
		seen[c.path] = c
	}
}

// signs decides which way the focus of each column counts.
func (r *reader) signs() {
	asked := map[string]sign{"up": up, "down": down}[r.opt.Focus]
	for i := range r.cols {
		c := &r.cols[i]
		switch {
		case !c.isFocus() || c.skip:
		case c.up == unsaid:
			c.up = asked
		case asked != unsaid && asked != c.up:
			r.problem(r.head(c), c.header, "Leave --focus out if the header is right; correct the header if it is not.",
				"the header and --focus %s disagree", r.opt.Focus)
		}
	}
}

func (c *column) isFocus() bool {
	return c.leaf.path == "focus" || strings.HasSuffix(c.leaf.path, ".focus")
}
