package table

import (
	"slices"

	"fettle/schema"
	"fettle/schema/quantity"
)

// A Scanned is a sheet as it was read, row by row, without regard to what the library holds: a row may lack what a new condition
// needs.
type Scanned struct {
	Encoding, Separator, Decimals string
	Notes                         []Note
	Problems                      []Problem
	Rows                          []ScannedRow // in the order of the sheet
	Paths                         []string     // members that have a column, in the order of the format
}

// A ScannedRow is one condition as a row gives it.
type ScannedRow struct {
	ID     schema.ID
	Row    int
	Fields []schema.Field // in the order of the format; a member whose cell is empty is left out
}

// Scan reads the rows of a sheet. As with [Read] nothing is guessed, and all that is wrong is in Problems; rows with a problem are
// left out of Rows.
func Scan(data []byte, lib *schema.Library, opt Options) *Scanned {
	r := &reader{lib: lib, opt: opt}
	var reading Import
	r.read(data, &reading)
	out := &Scanned{Encoding: reading.Encoding, Separator: reading.Separator, Decimals: reading.Decimals, Notes: r.notes, Problems: r.sorted()}
	for _, c := range r.cols {
		switch {
		case c.skip || c.path == "" || c.path == colMachine || c.path == colMaterial || c.path == colGas || c.path == colThick:
		case c.path == colNozzle:
			out.Paths = append(out.Paths, "nozzle.form", "nozzle.orifice")
		default:
			out.Paths = append(out.Paths, c.path)
		}
	}
	slices.SortFunc(out.Paths, comparePaths)
	out.Paths = slices.Compact(out.Paths)
	for _, e := range r.entries {
		if e.bad {
			continue
		}
		row := ScannedRow{ID: e.id, Row: e.row}
		for _, g := range e.given {
			row.Fields = append(row.Fields, g.field())
		}
		if e.grade.path != "" {
			row.Fields = append(row.Fields, schema.Field{Path: colGrade, Text: e.grade.text, At: schema.Made})
		}
		out.Rows = append(out.Rows, row)
	}
	return out
}

// field is a member as the library would hold it.
func (g given) field() schema.Field {
	f := schema.Field{Path: g.path, Text: g.text, At: schema.Made, Note: g.path == "note"}
	if g.empty {
		f.Text = "[]"
	}
	if l, ok := leafOf(g.path); ok && l.kind == isQuantity {
		if v, err := quantity.Parse(l.dim, g.text); err == nil {
			f.Quantity = v
		}
	}
	return f
}

// Dimension returns what kind of quantity a member of a condition is; false for words, texts and what is no member.
func Dimension(path string) (quantity.Dimension, bool) {
	l, ok := leafOf(path)
	return l.dim, ok && l.kind == isQuantity
}
