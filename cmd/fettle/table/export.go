package table

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strings"

	"fettle/schema"
	"fettle/schema/quantity"
)

// A Row is one condition to export. Status goes into the last column, such as "approved" or "NOT APPROVED"; that column is left
// out where no row has one.
type Row struct {
	ID     schema.ID
	Values *schema.Values
	Status string
}

// Export writes conditions as CSV: commas, decimal points, UTF-8, one row a condition, units in the header row. The unit of a
// column is the one that most of its values were typed in; a value in another unit carries its own, and so does a fraction of an
// inch, which a spreadsheet would take for a date. Text that a spreadsheet would take for a formula gets an apostrophe before it.
// [Read] takes all of it back as it was: values exactly, and their digits as typed. Only blanks at the ends of a grade or of a
// member of the machine's own are lost.
func Export(rows []Row, w io.Writer) error {
	rows = slices.DeleteFunc(slices.Clone(rows), func(r Row) bool { return r.Values == nil })
	slices.SortStableFunc(rows, func(a, b Row) int { return a.ID.Compare(b.ID) })
	return ExportEach(func(do func(Row) error) error {
		for _, row := range rows {
			if err := do(row); err != nil {
				return err
			}
		}
		return nil
	}, w)
}

// ExportEach is [Export] of rows that are gone through twice, each time in the order of their ids, for more than are to be held at once.
func ExportEach(each func(do func(Row) error) error, w io.Writer) error {
	x := &sheet{counts: map[string]map[string]int{}, units: map[string]string{}}
	if err := each(x.add); err != nil {
		return err
	}
	x.columns()
	out := csv.NewWriter(w)
	if err := out.Write(x.header()); err != nil {
		return err
	}
	if err := each(func(row Row) error { return out.Write(x.row(row)) }); err != nil {
		return err
	}
	out.Flush()
	return out.Error()
}

// sheet is a table in the making.
type sheet struct {
	paths  []string                  // columns behind the first four
	counts map[string]map[string]int // how many values of each path were typed in each unit
	units  map[string]string         // of each path
	status bool
}

// add counts what a row has.
func (x *sheet) add(row Row) error {
	for _, f := range schema.Fields(&row.Values.Condition) {
		if x.counts[f.Path] == nil {
			x.counts[f.Path] = map[string]int{}
			x.paths = append(x.paths, f.Path)
		}
		if !f.Quantity.IsZero() {
			x.counts[f.Path][f.Quantity.Unit()]++
		}
	}
	x.status = x.status || row.Status != ""
	return nil
}

// columns orders the members that any row has, and finds the unit of each.
func (x *sheet) columns() {
	slices.SortFunc(x.paths, comparePaths)
	for path, units := range x.counts {
		best := ""
		for unit, n := range units {
			if n > units[best] || n == units[best] && unit < best {
				best = unit
			}
		}
		x.units[path] = best
	}
}

func (x *sheet) header() []string {
	cells := []string{colMachine, colMaterial, colGrade, colGas}
	for _, path := range x.paths {
		cells = append(cells, columnHeader(path, x.units[path]))
	}
	if x.status {
		cells = append(cells, colStatus)
	}
	return cells
}

// columnHeader is a header that says all there is to say: path as people type it, unit, and which way a focus counts.
func columnHeader(path, unit string) string {
	name := path
	if !strings.HasPrefix(path, "extra.") {
		name = schema.SpokenPath(path)
	}
	if (&column{leaf: leaf{path: path}}).isFocus() {
		name += " up"
	}
	if unit != "" {
		name += " [" + unit + "]"
	}
	return name
}

func (x *sheet) row(row Row) []string {
	v := row.Values
	fields := map[string]schema.Field{}
	for _, f := range schema.Fields(&v.Condition) {
		fields[f.Path] = f
	}
	cells := []string{v.Machine.V, v.Material.V, protect(v.Grade.V), v.Gas.V}
	for _, path := range x.paths {
		f, ok := fields[path]
		switch {
		case !ok:
			cells = append(cells, "")
		case !f.Quantity.IsZero():
			cells = append(cells, exportNumber(f.Quantity, x.units[path]))
		case f.Text == "[]":
			cells = append(cells, "none")
		default:
			cells = append(cells, protect(f.Text))
		}
	}
	if x.status {
		cells = append(cells, row.Status)
	}
	return cells
}

// exportNumber writes a quantity for a column with a unit.
func exportNumber(v quantity.Value, unit string) string {
	number := numberText(v)
	if again, err := quantity.Parse(v.Dimension(), number+" "+v.Unit()); err != nil || !again.Equal(v) {
		if exact, ok := v.Decimal(v.Unit()); ok { // computed, and shown rounded
			number = exact
		}
	}
	share := v.Dimension() == quantity.DimRatio && v.Sign() > 0 && v.SI() <= 0.01 // without its sign it could be a share of 1
	if v.Unit() != unit || strings.Contains(number, "/") || share {
		return number + " " + v.Unit()
	}
	return number
}

// example is the row that [Template] shows, by header.
var example = []struct{ header, cell string }{
	{"machine", ""}, {"material", "carbon-steel"}, {"grade", "S355J2"}, {"gas", "O2"}, {"thickness [mm]", "3"}, {"variant", ""},
	{"nozzle form", "double"}, {"orifice [mm]", "1.0"}, {"standoff [mm]", "1.0"},
	{"power [kW]", "1.8"}, {"speed [m/min]", "3.4"}, {"pressure [bar]", "0.25"}, {"focus up [mm]", "2"}, {"mode", "continuous"},
	{"pierce1 power [W]", "900"}, {"pierce1 time [s]", "0.12"}, {"pierce1 pressure [bar]", "0.6"}, {"pierce1 focus up [mm]", "3"},
	{"pierce1 standoff [mm]", "4"}, {"pierce1 mode", "pulsed"}, {"pierce1 frequency [Hz]", "400"}, {"pierce1 duty [%]", "35"},
	{"kerf [mm]", "0.30"}, {"note", "an example: replace this row"},
}

// Template writes a header row with units and one example row, to be filled in a spreadsheet. The machine is that of the example.
func Template(machine string, w io.Writer) error {
	var header, row []string
	for _, c := range example {
		header = append(header, c.header)
		if c.header == colMachine {
			c.cell = machine
		}
		row = append(row, c.cell)
	}
	out := csv.NewWriter(w)
	if err := out.WriteAll([][]string{header, row}); err != nil {
		return fmt.Errorf("template: %w", err)
	}
	return nil
}
