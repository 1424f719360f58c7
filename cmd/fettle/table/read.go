package table

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"fettle/schema"
	"fettle/schema/quantity"
)

// Options are what a person says about a sheet that the sheet does not say itself.
type Options struct {
	Encoding string   // one of [Encodings]; found if empty
	Decimal  string   // "comma" or "point"; found if empty
	Machine  string   // where the sheet has no column for it, or empty cells in it
	Material string   // likewise
	Gas      string   // likewise
	Focus    string   // "up" or "down": which way positive focus values count
	Skip     []string // columns to leave out, by letter or header

	Columns map[string]string // other headers, each with the one it stands for; "" leaves the column out
	Names   map[string]string // other names of machines, materials and gases, each with the one it stands for
}

// An Import is a sheet as it was read, against the library it is for. Where there are Problems there are no Files.
type Import struct {
	Encoding  string
	Separator string
	Decimals  string // what parts decimals, with a cell that shows it
	Rows      int    // conditions read
	Notes     []Note
	Problems  []Problem
	Changes   []Change // by id
	Files     []File   // set files to write, by path
}

// reader reads one sheet.
type reader struct {
	findings
	lib      *schema.Library
	opt      Options
	grid     *grid
	header   int // row number
	cols     []column
	rows     []gridRow // below the header
	decimals decimals
	entries  []*entry
	renames  renames         // of headers
	asked    bool            // which way the focus counts
	told     map[string]bool // questions about the whole sheet that were asked already
	sparing  bool            // of entries only the names are kept: their rows are read again, see Sheet
	names    known           // what names and words are looked for among
	orders   map[string][]int
}

// An entry is one row that names a condition.
type entry struct {
	row   int
	at    int // among the rows below the header
	id    schema.ID
	given []given // in the order of the format
	grade given   // of the set; path is "" where the row does not say
	bad   bool    // a cell could not be read
}

// A given is one member as a cell gives it.
type given struct {
	path, text string
	whole      bool // a number without quotes
	empty      bool // an empty list
	col        int  // from 1
	header     string
}

// Read reads a sheet of conditions for a library. It does not fail: what is wrong is in Problems, all of it.
func Read(data []byte, lib *schema.Library, opt Options) *Import {
	x := Open(data, lib, opt)
	plan := x.Plan(lib, nil)
	out := x.Done()
	if out.Changes = plan.Changes; len(out.Problems) == 0 {
		out.Files = plan.Files
	}
	return out
}

func (r *reader) read(data []byte, out *Import) {
	if !slices.Contains([]string{"", "up", "down"}, r.opt.Focus) {
		r.problem(Place{}, "", "--focus up: positive above the surface of the plate; --focus down: positive into the plate.", "--focus %s is not known", quote(r.opt.Focus))
	}
	if !slices.Contains([]string{"", "comma", "point"}, r.opt.Decimal) {
		r.problem(Place{}, "", "--decimal comma or --decimal point", "--decimal %s is not known", quote(r.opt.Decimal))
	}
	text, encoding, bad := decode(data, r.opt.Encoding)
	if bad != nil {
		r.problems = append(r.problems, *bad)
		return
	}
	out.Encoding = encoding
	if trim(text) == "" {
		r.problem(Place{}, "", "An example of a sheet: fettle import --template", "the file is empty")
		return
	}
	r.renames = renaming(r.opt.Columns)
	if r.grid, bad = cut(text, r.renames); bad != nil {
		r.problems = append(r.problems, *bad)
		return
	}
	out.Separator = separatorName(r.grid.separator)
	if r.columns(); r.header == 0 {
		return
	}
	r.decimals = findDecimals(r.rows, r.cols, r.grid.separator, r.opt.Decimal, &r.findings)
	out.Decimals = r.decimals.String()
	if r.decimals.cells > 0 {
		out.Decimals += fmt.Sprintf(", as in %s %s", r.decimals.at, quote(r.decimals.text))
	}
	for i, row := range r.rows {
		if row.empty() {
			continue
		}
		e := r.entry(row)
		if e.at = i; r.sparing {
			e.given, e.grade = nil, given{}
		}
		r.entries = append(r.entries, e)
	}
	if len(r.entries) == 0 && len(r.problems) == 0 {
		r.problem(Place{Row: r.header}, "", "", "there are no rows below the header")
	}
	r.twice()
}

// entry reads one row.
func (r *reader) entry(row gridRow) *entry {
	e := &entry{row: row.number}
	before := len(r.problems)
	e.id.Machine = r.machine(row)
	e.id.Material = r.name(row, colMaterial, "--material", r.opt.Material, r.materials(), materials)
	e.id.Gas = r.name(row, colGas, "--gas", r.opt.Gas, r.gases(), gases)
	for i := range r.cols {
		c := &r.cols[i]
		cell := row.cell(i)
		if c.leaf.kind == isText && c.leaf.path != "" && trim(cell) != "" && !c.skip {
			r.give(e, c, given{path: c.path, text: freeText(c.path, cell)})
			continue
		}
		if cell = trim(cell); c.path == "" || c.skip || placeholders[cell] {
			continue
		}
		at := Place{row.number, i + 1}
		if message, help := spreadsheetError(cell); message != "" {
			r.problem(at, c.header, help, "%s", message)
			continue
		}
		r.cell(e, c, at, cell)
	}
	if c := r.column(colThick); e.id.Thickness == "" && c != nil && placeholders[trim(row.cell(c.index))] {
		r.problem(Place{row.number, c.index + 1}, c.header, "Every row needs one. A heading between the rows? Take it out, or make it a column.", "the thickness is missing")
	}
	slices.SortStableFunc(e.given, func(a, b given) int { return compareOrder(r.order(a.path), r.order(b.path), a.path, b.path) })
	e.bad = e.bad || len(r.problems) > before || e.id.Machine == "" || e.id.Material == "" || e.id.Gas == "" || e.id.Thickness == ""
	return e
}

// order is [orderOf], worked out once for every path.
func (r *reader) order(path string) []int {
	order, known := r.orders[path]
	if !known {
		if r.orders == nil {
			r.orders = map[string][]int{}
		}
		order = orderOf(path)
		r.orders[path] = order
	}
	return order
}

// freeText is a note as it stands; other texts lose the blanks at their ends.
func freeText(path, cell string) string {
	if path == "note" {
		return unprotect(cell)
	}
	return trim(unprotect(trim(cell)))
}

// give adds a member to an entry.
func (r *reader) give(e *entry, c *column, g given) {
	g.col, g.header = c.index+1, c.header
	for _, other := range e.given {
		if other.path == g.path || g.empty && strings.HasPrefix(other.path, g.path+"[") || other.empty && strings.HasPrefix(g.path, other.path+"[") {
			r.problem(Place{e.row, g.col}, g.header, "Keep one of the two.", "%s is given by column %s %s already", schema.SpokenPath(g.path), columnName(other.col), quote(other.header))
			return
		}
	}
	e.given = append(e.given, g)
}

var wholeNumber = pattern(`^[0-9]{1,9}$`)

// cell reads one cell that says something.
func (r *reader) cell(e *entry, c *column, at Place, cell string) {
	switch {
	case c.path == colMachine || c.path == colMaterial || c.path == colGas: // read already, the whole row hangs on them
	case c.path == colGrade:
		e.grade = given{path: colGrade, text: trim(unprotect(cell)), col: at.Col, header: c.header}
	case c.path == colEdge || c.path == colNoList:
		if p := plain(cell); p != "none" && p != "[]" && p != "edge" && p != "edge start" {
			r.problem(at, c.header, `Stages have columns of their own, such as "pierce1 time [s]"; "none" is a start at the edge.`, "%s is not \"none\"", quote(cell))
			return
		}
		r.give(e, c, given{path: c.path, empty: true})
	case c.path == colNozzle:
		r.nozzle(e, c, at, cell)
	case c.leaf.kind == isTable:
		r.extra(e, c, at, cell)
	case c.leaf.kind == isWhole:
		if !wholeNumber().MatchString(cell) {
			r.problem(at, c.header, "", "%s is not a whole number", quote(cell))
			return
		}
		r.give(e, c, given{path: c.path, text: strings.TrimLeft(cell[:len(cell)-1], "0") + cell[len(cell)-1:], whole: true})
	case c.leaf.kind == isWord:
		r.word(e, c, at, cell)
	case c.leaf.kind == isQuantity:
		r.quantity(e, c, at, cell)
	}
}

func (r *reader) nozzle(e *entry, c *column, at Place, cell string) {
	form, bore, err := nozzle(cell, scale{quantity.DimLength, c.unit}, r.decimals.mark)
	if r.refused(e, c, at, cell, err) {
		return
	}
	if form != "" {
		r.give(e, c, given{path: "nozzle.form", text: form})
	}
	if !bore.IsZero() {
		r.give(e, c, given{path: "nozzle.orifice", text: houseText(bore)})
	}
	if form != "" && !bore.IsZero() {
		r.note(at, "nozzle %s is %s %s", cell, form, houseText(bore))
	}
}

func (r *reader) extra(e *entry, c *column, at Place, cell string) {
	name := strings.TrimPrefix(c.path, "extra.")
	if m := r.lib.Machine(e.id.Machine); m != nil && !slices.Contains(m.Extra.V, name) {
		r.problem(at, c.header, fmt.Sprintf("Declare it in machines/%s.json: \"extra\": [%q]", e.id.Machine, name), "machine %s declares no member %s of its own", e.id.Machine, quote(name))
		return
	}
	r.give(e, c, given{path: c.path, text: trim(unprotect(cell))})
}

// word reads a cell that holds a word or a name.
func (r *reader) word(e *entry, c *column, at Place, cell string) {
	last := c.leaf.path[strings.LastIndexByte(c.leaf.path, '.')+1:]
	text := cell
	switch last {
	case "gas":
		var ok bool
		if text, ok, _ = r.meaning(last, cell, r.gases(), gases); !ok {
			r.unknown(at, c.header, colGas, cell, r.gases(), gases)
			return
		}
	case "variant", "name":
		text = strings.ReplaceAll(plain(cell), " ", "-")
	default:
		known := map[string][]string{"mode": modes, "form": schema.NozzleForms, "process": schema.Processes}[last]
		if w, ok, _ := r.meaning(last, cell, known, words[last]); ok {
			text = w
		}
	}
	if text != cell && plain(text) != plain(cell) {
		r.note(at, "%s %s is %s", last, quote(cell), text)
	}
	switch c.path {
	case "variant":
		if slices.Contains(schema.Processes, text) {
			r.problem(at, c.header, `Use a column "process", or another name for the variant.`, "%s is the name of a process and not of a variant", quote(cell))
			return
		}
		e.id.Variant = text
	case "process":
		if text == "cut" { // the one default: it is left unsaid
			return
		}
		e.id.Process = text
	}
	r.give(e, c, given{path: c.path, text: text})
}

// quantity reads a number with its unit.
func (r *reader) quantity(e *entry, c *column, at Place, cell string) {
	thick := c.path == colThick
	if was := dated(cell, c.leaf.dim == quantity.DimLength); was != "" {
		r.problem(at, c.header, "Format the column as text, type the value again, and save the sheet.", "a spreadsheet made a date of this cell, %s; it was probably %s", quote(cell), was)
		return
	}
	s := scale{c.leaf.dim, c.unit}
	if thick {
		r.thickness(e, c, at, cell, s)
		return
	}
	if s.dim == quantity.DimPower && (c.unit == "%" && bare().MatchString(blanks(cell)) || strings.HasSuffix(cell, "%")) {
		r.share(e, c, at, cell)
		return
	}
	v, err := s.number(cell, r.decimals.mark)
	if r.refused(e, c, at, cell, err) {
		return
	}
	text := houseText(v)
	if c.isFocus() && v.Sign() != 0 {
		switch c.up {
		case unsaid:
			e.bad = true
			r.askFocus(at, c)
		case down:
			text = negate(text)
		}
	}
	r.give(e, c, given{path: c.path, text: text})
}

// askFocus asks once which way the focus counts.
func (r *reader) askFocus(at Place, c *column) {
	if r.asked {
		return
	}
	r.asked = true
	r.problem(at, c.header, "--focus up: above the surface is positive, as fettle keeps it. --focus down: into the plate is positive.\nOr say it in the header: focus up [mm]",
		"which way does the focus count? %s can be above the surface or in the plate", quote(trim(r.cellAt(at))))
}

// share turns a power in percent of the rating into watts.
func (r *reader) share(e *entry, c *column, at Place, cell string) {
	v, err := scale{quantity.DimRatio, "%"}.number(cell, r.decimals.mark)
	if r.refused(e, c, at, cell, err) {
		return
	}
	m := r.lib.Machine(e.id.Machine)
	if m == nil {
		return // said already
	}
	rating := m.Laser.V.RatedPower.V
	if rating.IsZero() {
		r.problem(at, c.header, "Mend machines/"+e.id.Machine+".json, or write the power in kW.", "machine %s has no rated power that %s could be a share of", e.id.Machine, quote(cell))
		return
	}
	watts := rating.Value.Times(v)
	number, ok := watts.Decimal(rating.Unit())
	if !ok {
		r.problem(at, c.header, "Write the power in kW.", "%s of %s is no finite decimal", quote(cell), rating.Text())
		return
	}
	text := number + " " + rating.Unit()
	r.note(at, "power %s of %s is %s", numberText(v)+" %", rating.Text(), text)
	r.give(e, c, given{path: c.path, text: text})
}

func (r *reader) thickness(e *entry, c *column, at Place, cell string, s scale) {
	base, _ := r.lib.BaseMaterial(e.id.Material)
	v, gauge, err := thickness(cell, s, r.decimals.mark, base)
	if r.refused(e, c, at, cell, err) {
		return
	}
	if gauge != "" {
		r.note(at, "%s", gauge)
	}
	l, _ := quantity.Typed[quantity.Length](v)
	mm, ok := schema.ThicknessMM(l)
	if !ok {
		r.problem(at, c.header, "Write the thickness in mm, as it is measured.", "%s is no finite decimal in mm, so the condition would have no id", houseText(v))
		return
	}
	e.id.Thickness = mm
	r.give(e, c, given{path: c.path, text: houseText(v)})
}

// refused reports the error of a cell. A header without a unit is reported once, with the first number below it.
func (r *reader) refused(e *entry, c *column, at Place, cell string, err error) bool {
	var u *unclear
	if err == nil {
		return false
	}
	e.bad = true
	switch {
	case errors.Is(err, errNoUnit):
		if !c.asked {
			dim := c.leaf.dim
			if c.path == colNozzle {
				dim = quantity.DimLength
			}
			r.problem(r.head(c), c.header, fmt.Sprintf("Write the unit into the header, such as %q, or behind each number.", headerExample(c.path, dim)),
				"the column has no unit, and %s in %s has none either", quote(cell), at)
		}
		c.asked = true
	case errors.As(err, &u):
		r.problem(at, c.header, u.help, "%s", u.message)
	default:
		r.problem(at, c.header, "", "%v", err)
	}
	return true
}

// twice reports conditions that two rows give.
func (r *reader) twice() {
	first := map[schema.ID]*entry{}
	for _, e := range r.entries {
		if e.bad || e.id.Thickness == "" {
			continue
		}
		if other, ok := first[e.id]; ok {
			r.problem(Place{Row: e.row}, "", `Keep one, or tell them apart in a column "variant".`, "%s stands in row %d already", e.id, other.row)
			e.bad = true
			continue
		}
		first[e.id] = e
	}
}
