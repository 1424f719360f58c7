package table

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"fettle/schema"
	"fettle/schema/quantity"
)

// A TrialSheet is the table of a planned trial: to be filled in, or as it was.
type TrialSheet struct {
	Code string // of the plan
	Rows []TrialRow

	Unit, Plate, Lot, Grade, Nozzle string
	Overrides                       schema.Table[quantity.Ratio]
	Text                            string
}

// A TrialRow is one coupon.
type TrialRow struct {
	Row      int // of the sheet
	Number   int
	Plate    int
	Changed  schema.Table[string] // the varied values, as planned or as they were cut
	Outcome  string               // "" where nobody judged it
	Observed []string
	Measured schema.Measured
	Photos   []string // names of files
	Text     string
}

// Filled reports whether anything was written down of the coupon.
func (r *TrialRow) Filled() bool {
	return r.Outcome != "" || len(r.Observed) > 0 || len(schema.Fields(&r.Measured)) > 0 || len(r.Photos) > 0 || r.Text != ""
}

// Columns of a trial sheet that are no varied value.
const (
	colCode    = "plan"
	colCoupon  = "coupon"
	colPlateNo = "plate no"
	colOutcome = "outcome"
	colSeen    = "seen"
	colPhotos  = "photos"
	colRemarks = "remarks"
)

// measuredColumns are the figures: column, unit, member of the format, and member for several measuring points.
var measuredColumns = []struct{ name, unit, member, points string }{
	{"u", "mm", "perpendicularity", "perpendicularity_points"},
	{"Rz5", "um", "roughness", "roughness_points"},
	{"dross", "mm", "dross", ""},
	{"kerf", "mm", "kerf", ""},
	{"pierce time", "s", "pierce_time", ""},
	{"nozzle temperature", "degC", "nozzle_temperature", ""},
}

// generalColumns are filled in once, in the first row.
var generalColumns = []string{"machine", "plate", "lot", "grade", "nozzle used"}

// overrideNames are the overrides that a sheet asks for.
var overrideNames = []string{"feed", "power", "pressure"}

// WriteTrial writes the sheet of a plan: a header with units, one row a coupon in the order of cutting. Cells that are to be filled in
// are empty; what was written down already is there.
func WriteTrial(t *TrialSheet, fields []string, units map[string]string, w io.Writer) error {
	header := []string{colCode, colCoupon, colPlateNo}
	for _, f := range fields {
		header = append(header, columnHeader(f, units[f]))
	}
	header = append(header, colOutcome, colSeen)
	for _, m := range measuredColumns {
		header = append(header, m.name+" ["+m.unit+"]")
	}
	header = append(header, "nozzle", colPhotos, colRemarks)
	header = append(header, generalColumns...)
	for _, o := range overrideNames {
		header = append(header, o+" override [%]")
	}
	out := csv.NewWriter(w)
	if err := out.Write(header); err != nil {
		return err
	}
	for i, r := range t.Rows {
		cells := []string{t.Code, strconv.Itoa(r.Number), strconv.Itoa(r.Plate)}
		for _, f := range fields {
			value, _ := r.Changed.Get(f)
			number, unit, _ := strings.Cut(value, " ")
			if unit != units[f] {
				number = value
			}
			cells = append(cells, number)
		}
		cells = append(cells, r.Outcome, strings.Join(r.Observed, " "))
		cells = append(cells, measuredCells(&r.Measured)...)
		cells = append(cells, strings.Join(r.Photos, " "), protect(r.Text))
		general := []string{t.Unit, protect(t.Plate), protect(t.Lot), protect(t.Grade), protect(t.Nozzle)}
		for _, o := range overrideNames {
			share, _ := t.Overrides.Get(o)
			general = append(general, strings.TrimSuffix(share.Text(), " %"))
		}
		if i > 0 {
			general = make([]string, len(general))
		}
		if err := out.Write(append(cells, general...)); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

func measuredCells(m *schema.Measured) []string {
	n := schema.Encode(m)
	var out []string
	for _, c := range measuredColumns {
		var values []string
		if c.points != "" {
			if list := n.Get(c.points); list != nil {
				for _, kid := range list.Kids {
					values = append(values, kid.Text)
				}
			}
		}
		if len(values) == 0 {
			values = append(values, n.Str(c.member))
		}
		for i, v := range values {
			values[i] = strings.TrimSuffix(v, " "+c.unit)
		}
		out = append(out, strings.Join(values, " "))
	}
	return append(out, m.NozzleHeat.V)
}

// ReadTrial reads a filled sheet. fields are the values that the plan varies. Cells are never guessed at: what can mean two things, has
// another unit than a length, a time or a temperature ought to, or cannot be, is a [Problem] with its place. Rows with a problem are
// left out; the caller compares what there is with the plan.
func ReadTrial(data []byte, fields []string) (*TrialSheet, []Problem) {
	r := &trialReader{fields: fields, out: &TrialSheet{}}
	text, _, bad := decode(data, "")
	if bad != nil {
		return r.out, []Problem{*bad}
	}
	g, bad := trialGrid(text)
	if bad != nil {
		return r.out, []Problem{*bad}
	}
	r.read(g)
	return r.out, r.sorted()
}

// trialGrid cuts the text at the separator that shows the most columns of a trial sheet.
func trialGrid(text string) (*grid, *Problem) {
	var best *grid
	score := 0
	for _, sep := range separators {
		g, err := split(text, sep)
		if err != nil {
			continue
		}
		if _, n := trialHeader(g); n > score {
			best, score = g, n
		}
	}
	if score < 2 {
		return nil, &Problem{Message: `no row holds the columns "coupon" and "outcome"`, Help: "Fill in the sheet that fettle wrote, and save it as CSV: fettle trial sheet CODE --format csv"}
	}
	return best, nil
}

// trialHeader finds the header, and how many of the needed columns it has.
func trialHeader(g *grid) (at, score int) {
	at = -1
	for i := range min(len(g.rows), headerRows) {
		n := 0
		for _, cell := range g.rows[i].cells {
			if name, _ := headerParts(cell); name == colCoupon || name == colOutcome {
				n++
			}
		}
		if n > score {
			at, score = i, n
		}
	}
	return at, score
}

// headerParts parts a header into its name in small letters and its unit: "Rz5 [um]" is "rz5" and "um".
func headerParts(cell string) (name, unit string) {
	name = trim(cell)
	if i := strings.IndexAny(name, "[("); i >= 0 {
		unit = strings.Trim(name[i:], "[]() ")
		name = name[:i]
	}
	return strings.ToLower(strings.TrimSpace(blanks(name))), unit
}

type trialReader struct {
	findings
	fields []string
	out    *TrialSheet
	mark   mark
	header gridRow
	cols   map[string]trialColumn
}

type trialColumn struct {
	index int
	head  string
	unit  string
}

func (r *trialReader) read(g *grid) {
	at, _ := trialHeader(g)
	r.header = g.rows[at]
	r.cols = map[string]trialColumn{}
	known := []string{colCode, colCoupon, colPlateNo, colOutcome, colSeen, "nozzle", colPhotos, colRemarks}
	known = append(known, generalColumns...)
	for _, m := range measuredColumns {
		known = append(known, strings.ToLower(m.name))
	}
	for _, o := range overrideNames {
		known = append(known, o+" override")
	}
	for i, cell := range r.header.cells {
		name, unit := headerParts(cell)
		place := Place{r.header.number, i + 1}
		if name == "" {
			continue
		}
		if path := r.field(name); path != "" {
			name = path
		} else if !slices.Contains(known, name) {
			help := "Take the column out, or put what it says into the remarks."
			if near := schema.Nearest(name, known); near != "" {
				help = fmt.Sprintf("Did you mean %q?", near)
			}
			r.problem(place, cell, help, "this column is not one of the sheet")
			continue
		}
		if first, ok := r.cols[name]; ok {
			r.problem(place, cell, "Keep one of the two.", "the column stands in %s already", columnName(first.index+1))
			continue
		}
		r.cols[name] = trialColumn{i, trim(cell), unit}
	}
	for _, need := range append([]string{colCode, colCoupon, colOutcome}, r.fields...) {
		if _, ok := r.cols[need]; !ok {
			r.problem(Place{Row: r.header.number}, "", "Fill in the sheet that fettle wrote: fettle trial sheet CODE --format csv", "the column %s is missing", quote(schema.SpokenPath(need)))
		}
	}
	if len(r.problems) > 0 {
		return
	}
	r.mark = r.decimalMark(g.rows[at+1:])
	for _, row := range g.rows[at+1:] {
		if !row.empty() {
			r.row(row)
		}
	}
}

// field returns the path of a varied value that a header names, or nothing.
func (r *trialReader) field(name string) string {
	for _, f := range r.fields {
		if name == strings.ToLower(schema.SpokenPath(f)) || name == strings.ToLower(schema.SpokenPath(f))+" up" {
			return f
		}
	}
	return ""
}

// decimalMark is how the sheet parts decimals: a spreadsheet program writes all of them in one way.
func (r *trialReader) decimalMark(rows []gridRow) mark {
	var commas, points Place
	look := func(row gridRow, c trialColumn) {
		cell := trim(row.cell(c.index))
		at := Place{row.number, c.index + 1}
		for _, word := range strings.Fields(cell) {
			if numberHead().MatchString(word) && oneComma().MatchString(strings.TrimRight(word, "abcdefghijklmnopqrstuvwxyzµμ%/")) && commas.Row == 0 {
				commas = at
			}
			if anyPoint().MatchString(word) && points.Row == 0 {
				points = at
			}
		}
	}
	for _, row := range rows {
		for _, f := range r.fields {
			look(row, r.cols[f])
		}
		for _, m := range measuredColumns {
			if c, ok := r.cols[strings.ToLower(m.name)]; ok {
				look(row, c)
			}
		}
	}
	switch {
	case commas.Row > 0 && points.Row > 0:
		r.problem(commas, "", "Write all numbers in one way.", "there is a decimal comma here and a decimal point in %s", points)
		return point
	case commas.Row > 0:
		return comma
	}
	return point
}

func (r *trialReader) cell(row gridRow, name string) (cell string, at Place, c trialColumn) {
	c, ok := r.cols[name]
	if !ok {
		return "", Place{}, c
	}
	cell = trim(row.cell(c.index))
	at = Place{row.number, c.index + 1}
	if message, help := spreadsheetError(cell); message != "" {
		r.problem(at, c.head, help, "%s", message)
		return "", at, c
	}
	if placeholders[cell] {
		cell = ""
	}
	return unprotect(cell), at, c
}

func (r *trialReader) row(row gridRow) {
	before := len(r.problems)
	out := TrialRow{Row: row.number}
	code, at, c := r.cell(row, colCode)
	switch {
	case code == "":
	case r.out.Code == "":
		r.out.Code = code
	case code != r.out.Code:
		r.problem(at, c.head, "One sheet is of one plan.", "this row is of plan %s, those above of %s", quote(code), quote(r.out.Code))
	}
	number, at, c := r.cell(row, colCoupon)
	n, err := strconv.Atoi(number)
	if err != nil || n < 1 {
		r.problem(at, c.head, "Each row begins with the number of its coupon, as on the sheet.", "%s is no number of a coupon", quote(number))
	}
	out.Number = n
	if plate, at, c := r.cell(row, colPlateNo); plate != "" {
		if out.Plate, err = strconv.Atoi(plate); err != nil || out.Plate < 1 {
			r.problem(at, c.head, "", "%s is no number of a plate", quote(plate))
		}
	}
	for _, f := range r.fields {
		cell, at, c := r.cell(row, f)
		if cell == "" {
			r.problem(at, c.head, "Write down the value that the coupon was cut with.", "the value of %s is missing", schema.SpokenPath(f))
			continue
		}
		dim, _ := Dimension(f)
		if v, ok := r.quantity(cell, at, c, dim); ok {
			out.Changed = append(out.Changed, schema.Row[string]{Name: f, V: v.Text(), At: schema.Made})
		}
	}
	r.outcome(row, &out)
	r.measured(row, &out)
	out.Photos = strings.Fields(first(r.cell(row, colPhotos)))
	out.Text = blanks(first(r.cell(row, colRemarks)))
	r.general(row)
	if len(r.problems) == before {
		r.out.Rows = append(r.out.Rows, out)
	}
}

func first(cell string, _ Place, _ trialColumn) string { return cell }

func (r *trialReader) outcome(row gridRow, out *TrialRow) {
	cell, at, c := r.cell(row, colOutcome)
	if word := strings.ToLower(cell); word != "" {
		if !slices.Contains(schema.Outcomes, word) {
			r.problem(at, c.head, "One of: "+strings.Join(schema.Outcomes, ", ")+".", "%s is no outcome", quote(cell))
		}
		out.Outcome = word
	}
	cell, at, c = r.cell(row, colSeen)
	for _, word := range strings.FieldsFunc(strings.ToLower(cell), func(x rune) bool { return x == ' ' || x == ',' || x == ';' }) {
		if !slices.Contains(schema.Symptoms, word) {
			help := "One of: " + strings.Join(schema.Symptoms, ", ") + "."
			if near := schema.Nearest(word, schema.Symptoms); near != "" {
				help = "Did you mean " + near + "? " + help
			}
			r.problem(at, c.head, help, "%s is no word for a symptom; what has no word goes into the remarks", quote(word))
			continue
		}
		out.Observed = append(out.Observed, word)
	}
}

func (r *trialReader) measured(row gridRow, out *TrialRow) {
	n := &schema.Node{Kind: schema.Object}
	for _, m := range measuredColumns {
		cell, at, c := r.cell(row, strings.ToLower(m.name))
		if cell == "" {
			continue
		}
		dim, _ := quantity.UnitDimension(m.unit)
		if c.unit == "" {
			c.unit = m.unit
		}
		var values []string
		for _, part := range r.points(cell, m.points != "") {
			if v, ok := r.quantity(part, at, c, dim); ok {
				values = append(values, v.Text())
			}
		}
		switch {
		case len(values) > 1:
			n.SetPath(m.points, schema.List(values))
		case len(values) == 1:
			n.SetPath(m.member, schema.Text(values[0]))
		}
	}
	if cell, at, c := r.cell(row, "nozzle"); cell != "" {
		if word := strings.ToLower(cell); slices.Contains([]string{"cold", "warm", "hot"}, word) {
			n.SetPath("nozzle", schema.Text(word))
		} else {
			r.problem(at, c.head, "One of: cold, warm, hot; degrees go into their own column.", "%s is no word for how warm a nozzle is", quote(cell))
		}
	}
	schema.Bind(n, &out.Measured)
}

// points parts a cell with several measuring points: 0.12 0.14 0.13.
func (r *trialReader) points(cell string, several bool) []string {
	if !several {
		return []string{cell}
	}
	parts := strings.FieldsFunc(cell, func(x rune) bool { return x == ';' || x == '/' })
	if len(parts) == 1 && bare().MatchString(cell) {
		parts = strings.Fields(cell)
	}
	return parts
}

func (r *trialReader) general(row gridRow) {
	to := []*string{&r.out.Unit, &r.out.Plate, &r.out.Lot, &r.out.Grade, &r.out.Nozzle}
	for i, name := range generalColumns {
		cell, at, c := r.cell(row, name)
		cell = blanks(cell)
		switch {
		case cell == "" || cell == *to[i]:
		case *to[i] == "":
			*to[i] = cell
		default:
			r.problem(at, c.head, "Cuts on another machine, plate or lot are a trial of their own: plan it apart.", "%s here and %s above; a trial has one", quote(cell), quote(*to[i]))
		}
	}
	for _, name := range overrideNames {
		cell, at, c := r.cell(row, name+" override")
		if cell == "" {
			continue
		}
		if c.unit == "" {
			c.unit = "%"
		}
		v, ok := r.quantity(cell, at, c, quantity.DimRatio)
		if !ok {
			continue
		}
		ratio, _ := quantity.Typed[quantity.Ratio](v)
		if old, there := r.out.Overrides.Get(name); there && !old.Equal(ratio) {
			r.problem(at, c.head, "", "the %s override is %s here and %s above", name, ratio, old)
		} else if !there {
			r.out.Overrides = append(r.out.Overrides, schema.Row[quantity.Ratio]{Name: name, V: ratio, At: schema.Made})
		}
	}
}

// quantity reads a cell, and refuses what is of another dimension than the column.
func (r *trialReader) quantity(cell string, at Place, c trialColumn, dim quantity.Dimension) (quantity.Value, bool) {
	if c.unit != "" {
		if d, ok := quantity.UnitDimension(c.unit); !ok || d != dim {
			r.problem(Place{r.header.number, c.index + 1}, c.head, fmt.Sprintf("Such as %s [%s].", strings.ToLower(dim.Name()), quantity.Units(dim)[0]), "%s is no unit of %s", quote(c.unit), dim)
			return quantity.Value{}, false
		}
	}
	v, err := scale{dim, c.unit}.number(cell, r.mark)
	switch e := err.(type) {
	case nil:
		return v, true
	case *unclear:
		r.problem(at, c.head, e.help, "%s", e.message)
	default:
		r.problem(at, c.head, "Write it with its unit, or the unit into the header in brackets.", "%s: %v", quote(cell), err)
	}
	return quantity.Value{}, false
}

// TrialCode returns the code of the plan that a filled sheet is of, which says what its columns are.
func TrialCode(data []byte) (string, *Problem) {
	text, _, bad := decode(data, "")
	if bad != nil {
		return "", bad
	}
	g, bad := trialGrid(text)
	if bad != nil {
		return "", bad
	}
	at, _ := trialHeader(g)
	for i, cell := range g.rows[at].cells {
		if name, _ := headerParts(cell); name != colCode {
			continue
		}
		for _, row := range g.rows[at+1:] {
			if code := trim(row.cell(i)); code != "" {
				return code, nil
			}
		}
	}
	return "", &Problem{Message: `the column "plan" is missing or empty`, Help: "It holds the code that stands at the top of the sheet; fettle trial sheet CODE --format csv writes it."}
}
