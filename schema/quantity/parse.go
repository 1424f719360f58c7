package quantity

import (
	"fmt"
	"strings"
)

// MaxText is how many bytes a text may have.
const MaxText = 64

// maxDigits is how many digits a number may have, with those of its fraction: every such number fits an int64.
const maxDigits = 18

// Parse reads text as a quantity of dimension d. The text is a number and a unit of d, with or without blanks between and
// around them:
//
//	3.4 m/min   0.25bar   -2 mm   1/8 in   1 1/4 in
//
// The number has an optional "-", digits, and optionally a point with digits on both sides. A fraction or a mixed number
// may stand before the inch only. Blanks are plain spaces, so that what looks alike is alike. A text has at most 64 bytes
// and 18 digits, and a temperature is not below absolute zero. Everything else is refused with an [*Error].
//
// Parse allocates only for an error, and for the rare number whose exact SI value does not fit two int64.
func Parse(d Dimension, text string) (Value, error) {
	number, unit, ok := scan(text)
	if ok {
		if v, ok := assemble(d, text, number, unit); ok {
			return v, nil
		}
	}
	return Value{}, diagnose(d, text)
}

// MustParse is [Parse] for a text that is known to be good, such as a constant or a test. It panics on an error.
func MustParse(d Dimension, text string) Value {
	v, err := Parse(d, text)
	if err != nil {
		panic(fmt.Sprintf("quantity.MustParse: %v", err))
	}
	return v
}

// A number is what stands before the unit.
type number struct {
	amount   rat
	fraction bool // typed with a slash
}

// scan splits text into its number and its unit. It allocates nothing.
func scan(text string) (num number, unit string, ok bool) {
	if len(text) > MaxText {
		return num, "", false
	}
	i := skipBlanks(text, 0)
	negative := i < len(text) && text[i] == '-'
	if negative {
		i++
	}
	whole, i, digits := scanDigits(text, i, 0)
	if digits == 0 {
		return num, "", false
	}
	n, d := whole, int64(1)
	switch next := skipBlanks(text, i); {
	case i < len(text) && text[i] == '.':
		all, end, count := scanDigits(text, i+1, whole)
		if count == 0 {
			return num, "", false
		}
		n, i, digits = all, end, digits+count
		if digits > maxDigits {
			return num, "", false
		}
		for range count {
			d *= 10
		}
	case i < len(text) && text[i] == '/':
		below, end, count := scanDigits(text, i+1, 0)
		d, i, digits, num.fraction = below, end, digits+count, true
	case next > i && next < len(text) && isDigit(text[next]):
		above, slash, count := scanDigits(text, next, 0)
		if slash >= len(text) || text[slash] != '/' {
			return num, "", false
		}
		below, end, count2 := scanDigits(text, slash+1, 0)
		digits += count + count2
		if digits > maxDigits || above >= below {
			return num, "", false
		}
		n, d, i, num.fraction = whole*below+above, below, end, true
	}
	if digits > maxDigits || d == 0 {
		return num, "", false
	}
	if negative {
		n = -n
	}
	num.amount = makeRat(n, d)
	return num, strings.TrimRight(text[skipBlanks(text, i):], " "), true
}

// assemble makes a value of the parts that scan found.
func assemble(d Dimension, text string, num number, unit string) (Value, bool) {
	id, known := spellings[unit]
	if !known || id.dim() != d || num.fraction && id != inches {
		return Value{}, false
	}
	si := id.toSI(num.amount)
	if d == DimTemperature && si.sign() < 0 {
		return Value{}, false
	}
	return Value{si: si, text: text, unit: id, dim: d}, true
}

// scanDigits reads decimal digits from i on and appends them to the number n. The caller rejects counts over maxDigits;
// until then n may have wrapped around.
func scanDigits(text string, i int, n int64) (value int64, end, count int) {
	start := i
	for i < len(text) && isDigit(text[i]) {
		n = n*10 + int64(text[i]-'0')
		i++
	}
	return n, i, i - start
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }

func skipBlanks(text string, i int) int {
	for i < len(text) && text[i] == ' ' {
		i++
	}
	return i
}
