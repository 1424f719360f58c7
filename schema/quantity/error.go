package quantity

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// An ErrorKind says why a text is not a quantity.
type ErrorKind uint8

// The kinds of errors.
const (
	Malformed          ErrorKind = iota + 1 // not a number and a unit
	Empty                                   // nothing there
	TooLong                                 // over 64 bytes, or over 18 digits
	BareNumber                              // a number without a unit
	UnknownUnit                             // a unit that is not read anywhere
	WrongDimension                          // a unit of another dimension
	AbsolutePressure                        // "psia", "bar(a)": pressures are gauge here
	DecimalComma                            // "3,4 m/min"
	ThousandsSeparator                      // "1 200 mm", "1.200,5 mm"
	BadSign                                 // a plus, or a minus that is not the plain "-"
	BadFraction                             // a fraction of another unit than the inch, or one over 0
	BelowAbsoluteZero                       // a temperature under 0 K
)

// String names k in a few words.
func (k ErrorKind) String() string {
	switch k {
	case Empty:
		return "no text"
	case TooLong:
		return "too long"
	case BareNumber:
		return "number without a unit"
	case UnknownUnit:
		return "unknown unit"
	case WrongDimension:
		return "unit of another quantity"
	case AbsolutePressure:
		return "absolute pressure"
	case DecimalComma:
		return "decimal comma"
	case ThousandsSeparator:
		return "thousands separator"
	case BadSign:
		return "sign"
	case BadFraction:
		return "fraction"
	case BelowAbsoluteZero:
		return "below absolute zero"
	}
	return "not a quantity"
}

// An Error says what is wrong with a text that was read as a quantity.
type Error struct {
	Kind      ErrorKind
	Text      string    // the text as typed
	Dimension Dimension // what was wanted
	Found     string    // "a number without a unit"
	Expected  string    // `a speed such as "3.4 m/min"`
	Hint      string    // what to do, as an order without a capital: `write "3.4 m/min"`
	Fix       string    // a text that means what was surely meant and that is accepted; empty if that is not sure
}

// Error says what was found, what was expected and what to do, in one line that is safe on a terminal.
func (e *Error) Error() string {
	if e.Hint == "" {
		return e.Message()
	}
	return e.Message() + "; " + e.Hint
}

// Message is [Error.Error] without the hint. Where there is a fix, that shows what was expected.
func (e *Error) Message() string {
	if e.Fix != "" {
		return quote(e.Text) + " is " + e.Found
	}
	return quote(e.Text) + " is " + e.Found + " where " + e.Expected + " is needed"
}

// Help is the hint as a sentence of its own.
func (e *Error) Help() string {
	if e.Hint == "" {
		return ""
	}
	return strings.ToUpper(e.Hint[:1]) + e.Hint[1:] + "."
}

// quote puts s in quotation marks for a message: what cannot be printed is escaped, and a long text is cut. A text with an
// inch mark gets single ones.
func quote(s string) string {
	const most = 40
	cut, mark := "", `"`
	if utf8.RuneCountInString(s) > most {
		s, cut = string([]rune(s)[:most]), "…"
	}
	if strings.Contains(s, `"`) {
		mark = "'"
	}
	var b strings.Builder
	for i, r := range s {
		switch {
		case r == utf8.RuneError && !strings.HasPrefix(s[i:], "\uFFFD"):
			fmt.Fprintf(&b, `\x%02x`, s[i])
		case r != '\\' && unicode.IsPrint(r):
			b.WriteRune(r)
		default:
			b.WriteString(strings.Trim(strconv.QuoteRune(r), "'"))
		}
	}
	return mark + b.String() + cut + mark
}
