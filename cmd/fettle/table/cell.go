package table

import (
	"errors"
	"fmt"
	"strings"
	"unicode"

	"fettle/schema/quantity"
)

// placeholders stand in a cell that says nothing.
var placeholders = map[string]bool{"": true, "-": true, "–": true, "—": true, "--": true, "n/a": true, "N/A": true}

// spreadsheetError finds cells in which a spreadsheet gave up, or which hold a formula instead of its value.
func spreadsheetError(cell string) (message, help string) {
	switch {
	case strings.HasPrefix(cell, "##"):
		return "the column was too narrow to show its value", "Widen the column in the spreadsheet and save it again."
	case strings.HasPrefix(cell, "#") && len(cell) > 1 && !unicode.IsDigit(rune(cell[1])) && cell[1] != ' ':
		return quote(cell) + " is an error of the spreadsheet", "Mend the formula in that cell."
	case strings.HasPrefix(cell, "="):
		return quote(cell) + " is a formula and not its value", "Save the sheet with values shown instead of formulas."
	}
	return "", ""
}

// blanks makes every kind of blank a plain one.
func blanks(s string) string {
	return strings.Join(strings.FieldsFunc(s, unicode.IsSpace), " ")
}

var (
	bare       = pattern(`^[-+−–—]?\s*[\d.,'’⁄/½¼¾⅛⅜⅝⅞\s-]+$`)
	oneComma   = pattern(`^([-+−–—]?\s*\d+),(\d+)((?:[^\d,.].*)?)$`)
	anyPoint   = pattern(`^[-+−–—]?\s*\d+\.\d+(?:[^\d,.].*)?$`)
	noZero     = pattern(`^([-+−–—]?\s*)\.(\d)`)
	numberPart = pattern(`^[-0-9./ ]*`)
)

// plainNumber takes apart a number of nothing but digits and at most one point between them, as most cells hold.
func plainNumber(cell string) (whole, decimals string, ok bool) {
	point := -1
	for i := range len(cell) {
		switch c := cell[i]; {
		case c >= '0' && c <= '9':
		case c == '.' && point < 0 && i > 0 && i+1 < len(cell):
			point = i
		default:
			return "", "", false
		}
	}
	if point < 0 {
		return cell, "", cell != ""
	}
	return cell[:point], cell[point+1:], true
}

// A scale is how a column or cell is read as a quantity.
type scale struct {
	dim  quantity.Dimension
	unit string // of the header; "" where it has none
}

// errNoUnit says that a number has no unit of its own and the header has none either.
var errNoUnit = errors.New("no unit")

// An unclear error is a cell that cannot be read, with what to do.
type unclear struct{ message, help string }

func (u *unclear) Error() string { return u.message }

func unclearf(help, format string, args ...any) error {
	return &unclear{fmt.Sprintf(format, args...), help}
}

// number reads a cell as a quantity: a number with its own unit, or with that of the header. What is surely meant (a plus sign,
// a fraction in one character, "inch" for "in") is taken; what can mean two things is not.
func (s scale) number(cell string, m mark) (quantity.Value, error) {
	none := quantity.Value{}
	text, simple := cell, false
	if _, decimals, number := plainNumber(cell); number && (m != comma || decimals == "") {
		simple = true
	} else {
		var err error
		if text, err = withPoint(blanks(cell), m); err != nil {
			return none, err
		}
		text = noZero().ReplaceAllString(text, "${1}0.$2")
	}
	if simple || bare().MatchString(text) {
		switch {
		case s.unit == "":
			return none, errNoUnit
		case s.unit != "in" && strings.ContainsAny(text, "/⁄½¼¾⅛⅜⅝⅞"):
			return none, unclearf(fmt.Sprintf("If it is inches, write %q.", text+" in"), "%s is a fraction in a column of %s", quote(cell), s.unit)
		}
		text += " " + s.unit
		v, err := s.parse(text)
		if err == nil && s.unit == "%" && v.Sign() > 0 && v.SI() <= 0.01 {
			share := strings.TrimSuffix(v.Scale(100, 1).Text(), " %")
			return none, unclearf(fmt.Sprintf("Write %q or %q.", numberText(v)+" %", share+" %"), "%s in a column of percent can be %s %% or %s %%", quote(cell), numberText(v), share)
		}
		return v, err
	}
	return s.parse(text)
}

// parse reads a number with its unit, and takes a correction that cannot be wrong.
func (s scale) parse(text string) (quantity.Value, error) {
	v, err := quantity.Parse(s.dim, text)
	var bad *quantity.Error
	if !errors.As(err, &bad) {
		return v, err
	}
	for range 3 { // ".5 inch" takes two steps
		if bad.Fix == "" || bad.Kind == quantity.DecimalComma {
			break
		}
		v, err = quantity.Parse(s.dim, bad.Fix)
		if err == nil {
			return v, nil
		}
		if !errors.As(err, &bad) {
			break
		}
	}
	return quantity.Value{}, &unclear{bad.Message(), bad.Help()}
}

// withPoint writes a number of a sheet with decimal commas as the library does, with a point.
func withPoint(text string, m mark) (string, error) {
	switch {
	case m == comma && anyPoint().MatchString(text):
		joined := strings.Replace(text, ".", "", 1)
		return "", unclearf(fmt.Sprintf("Write it with a comma, or without the point: %s or %s.", strings.Replace(text, ".", ",", 1), joined),
			"%s has a point in a sheet with decimal commas", quote(text))
	case m == comma:
		return oneComma().ReplaceAllString(text, "$1.$2$3"), nil
	}
	return text, nil
}

// numberText is the number of a quantity as typed, without its unit.
func numberText(v quantity.Value) string {
	return strings.Join(strings.Fields(numberPart().FindString(v.Text())), " ")
}

// houseText is the quantity as set files have it: number, one blank, plain unit.
func houseText(v quantity.Value) string { return numberText(v) + " " + v.Unit() }

// negate turns the sign of a quantity text of the house.
func negate(text string) string {
	if rest, ok := strings.CutPrefix(text, "-"); ok {
		return rest
	}
	if strings.Trim(numberPart().FindString(text), "0. /") == "" {
		return text // 0 has no sign
	}
	return "-" + text
}

// formulas are the first characters at which a spreadsheet takes text for a formula.
const formulas = "=+-@\t\r\n＝＋－＠"

// guarded reports whether a text would be taken for something else: a formula by a spreadsheet, or an error or an empty cell by
// [Read]. Export puts an apostrophe before such a text, and before one that begins with an apostrophe.
func guarded(text string) bool {
	return text != "" && (strings.ContainsRune(formulas+"'#", []rune(text)[0]) || placeholders[text])
}

// Protect keeps a spreadsheet from taking a text for a formula, by an apostrophe before it.
func Protect(text string) string { return protect(text) }

func protect(text string) string {
	if guarded(text) {
		return "'" + text
	}
	return text
}

// unprotect takes the apostrophe off again.
func unprotect(cell string) string {
	if rest, ok := strings.CutPrefix(cell, "'"); ok && guarded(rest) {
		return rest
	}
	return cell
}
