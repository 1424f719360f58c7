package quantity

import (
	"regexp"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"
)

// diagnose says why text is not a quantity of dimension d. It runs only after [Parse] has failed, so it takes its time: it
// looks for the mistakes that people make, and offers as a fix only what Parse then accepts.
func diagnose(d Dimension, text string) *Error {
	e := &Error{Kind: Malformed, Text: text, Dimension: d, Expected: wanted(d)}
	plain := strings.TrimSpace(plainBlanks(text))
	switch {
	case !d.valid():
		return e.say(Malformed, "read without a known dimension", "say which quantity is wanted")
	case len(text) > MaxText:
		return e.say(TooLong, "longer than a quantity can be", "write a number of at most 18 digits and its unit")
	case plain == "":
		return e.say(Empty, "empty", "write one, or leave it out")
	case !utf8.ValidString(text) || !printable(plain):
		return e.say(Malformed, "a text with a character that cannot be printed", "type it again with plain characters")
	}
	head, unit := split(plain)
	if !strings.ContainsAny(head, "0123456789"+vulgarList) {
		return e.say(Malformed, "a text that does not begin with a number", "write the number first, then the unit")
	}
	if e.sign(head, unit) || e.separators(head, unit) || e.fraction(head, unit) || e.number(head, unit) {
		return e
	}
	num, name, _ := scan(plain)
	if id, known := spellings[name]; !known || id.dim() != d {
		number := strings.TrimRight(strings.TrimSuffix(plain, name), " ")
		u := unitError(d, number, name)
		u.Text = text
		return u
	}
	switch {
	case num.fraction && spellings[name] != inches:
		const found = "a fraction of another unit than the inch"
		if number, ok := num.amount.decimal(); ok {
			e.offer(BadFraction, found, number, name)
		} else {
			e.say(BadFraction, found, "write a decimal number")
		}
	case d == DimTemperature:
		e.say(BelowAbsoluteZero, "below absolute zero", "check the sign and the unit")
	default:
		e.offer(Malformed, "a text with a blank that is not a plain space", head, unit)
	}
	return e
}

func (e *Error) say(kind ErrorKind, found, hint string) *Error {
	e.Kind, e.Found, e.Hint = kind, found, hint
	return e
}

// offer is say with a number that was surely meant; the hint shows it with the unit that was typed, if that one is good.
func (e *Error) offer(kind ErrorKind, found, number, unit string) bool {
	fix := strings.TrimRight(number+" "+unit, " ")
	hint := "write " + quote(number) + " with its unit, as in " + quote(e.Dimension.Example())
	if num, name, ok := scan(fix); ok {
		if _, ok := assemble(e.Dimension, fix, num, name); ok {
			e.Fix, hint = fix, "write "+quote(fix)
		}
	}
	e.say(kind, found, hint)
	return true
}

// sign finds a plus, a typographic minus, and a minus that stands apart.
func (e *Error) sign(head, unit string) bool {
	digits := strings.TrimLeft(head, "+-−–— ")
	switch sign := strings.TrimSuffix(head, digits); sign {
	case "", "-":
		return false
	case "+", "+ ":
		return e.offer(BadSign, "a number with a plus sign", digits, unit)
	case "−", "–", "—", "− ", "– ", "— ":
		return e.offer(BadSign, "a number with a minus sign that is not the one of the keyboard", "-"+digits, unit)
	default:
		if strings.TrimRight(sign, " ") == "-" {
			return e.offer(BadSign, "a number with a blank after its sign", "-"+digits, unit)
		}
	}
	e.say(BadSign, "a number with more than one sign", "write one sign at most")
	return true
}

// Numbers with a separator that is not read, without their sign.
var separated = sync.OnceValue(func() (p struct{ comma, maybe, commas, points, gaps *regexp.Regexp }) {
	p.comma = regexp.MustCompile(`^\d+,\d+$`)                                      // 3,4
	p.maybe = regexp.MustCompile(`^[1-9]\d{0,2},\d{3}$`)                           // 3,400: three thousand or three
	p.commas = regexp.MustCompile(`^\d{1,3}(?:,\d{3})+(?:\.\d+)?$`)                // 1,200.5
	p.points = regexp.MustCompile(`^\d{1,3}(?:(?:\.\d{3})+,\d+|(?:\.\d{3}){2,})$`) // 1.200,5 and 1.200.000
	p.gaps = regexp.MustCompile(`^\d{1,3}(?:[ '’_]\d{3})+(?:[.,]\d+)?$`)           // 1 200,5 and 1'200.5
	return p
})

// separators finds decimal commas and thousands separators.
func (e *Error) separators(head, unit string) bool {
	const apart = "a number with its thousands set apart"
	digits := strings.TrimPrefix(head, "-")
	sign := strings.TrimSuffix(head, digits)
	point := sign + strings.ReplaceAll(digits, ",", ".")
	joined := sign + strings.NewReplacer(",", "", " ", "", "'", "", "’", "", "_", "").Replace(digits)
	switch p := separated(); {
	case p.maybe.MatchString(digits):
		e.say(DecimalComma, "a number whose comma can be read in two ways",
			"write "+quote(strings.TrimSpace(point+" "+unit))+" or "+quote(strings.TrimSpace(joined+" "+unit)))
		return true
	case p.comma.MatchString(digits):
		return e.offer(DecimalComma, "a number with a decimal comma", point, unit)
	case p.commas.MatchString(digits):
		return e.offer(ThousandsSeparator, apart, joined, unit)
	case p.points.MatchString(digits):
		digits = strings.NewReplacer(".", "", ",", ".").Replace(digits)
		return e.offer(ThousandsSeparator, apart, sign+digits, unit)
	case p.gaps.MatchString(digits):
		digits = strings.NewReplacer(",", ".", " ", "", "'", "", "’", "", "_", "").Replace(digits)
		return e.offer(ThousandsSeparator, apart, sign+digits, unit)
	case strings.Contains(digits, ","):
		e.say(DecimalComma, "a number with a comma", "write one number, with a point for decimals")
		return true
	}
	return false
}

// vulgar maps the fraction characters of a keyboard or a spreadsheet to what is read.
var vulgar = strings.NewReplacer("½", " 1/2", "¼", " 1/4", "¾", " 3/4", "⅛", " 1/8", "⅜", " 3/8", "⅝", " 5/8", "⅞", " 7/8", "⁄", "/")

const vulgarList = "½¼¾⅛⅜⅝⅞"

var fractions = sync.OnceValue(func() (p struct{ joined, spaced, mixed *regexp.Regexp }) {
	p.joined = regexp.MustCompile(`^(-?\d+) *- *(\d+/\d+)$`)                   // 1-1/4
	p.spaced = regexp.MustCompile(`^((?:-?\d+ +)?-?\d+)(?: +/ *| */ +)(\d+)$`) // 1 / 4
	p.mixed = regexp.MustCompile(`^-?\d+ +\d+/\d+$`)
	return p
})

// fraction finds fractions that are written in another way than "1 1/4".
func (e *Error) fraction(head, unit string) bool {
	p := fractions()
	if plain := strings.TrimSpace(vulgar.Replace(head)); plain != head {
		return e.offer(BadFraction, "a fraction in one character", strings.ReplaceAll(plain, "- ", "-"), unit)
	}
	if m := p.joined.FindStringSubmatch(head); m != nil {
		return e.offer(BadFraction, "a fraction that is joined by a dash", m[1]+" "+m[2], unit)
	}
	if m := p.spaced.FindStringSubmatch(head); m != nil {
		return e.offer(BadFraction, "a fraction with blanks around its slash", m[1]+"/"+m[2], unit)
	}
	below := strings.TrimRight(head, "0")
	_, _, ok := scan(head)
	switch {
	case strings.HasSuffix(below, "/") && below != head:
		e.say(BadFraction, "a fraction over zero", "write another number below the slash")
	case strings.HasSuffix(below, "/"):
		e.say(BadFraction, "a fraction with nothing below its slash", "write the number below the slash, or a decimal number")
	case p.mixed.MatchString(head) && !ok && countDigits(head) <= maxDigits:
		e.say(BadFraction, "a whole number with a fraction of one or more", "write a fraction below one, or a decimal number")
	default:
		return false
	}
	return true
}

// number finds what else can be wrong before the unit.
func (e *Error) number(head, unit string) bool {
	digits := strings.TrimPrefix(head, "-")
	sign := strings.TrimSuffix(head, digits)
	_, rest, ok := scan(head)
	switch {
	case countDigits(head) > maxDigits:
		e.say(TooLong, "a number with more than 18 digits", "round it")
	case exponent(unit):
		e.say(Malformed, "a number with an exponent", "write the number out, as in "+quote(e.Dimension.Example()))
	case strings.HasPrefix(digits, ".") && countDigits(digits) == len(digits)-1:
		return e.offer(Malformed, "a number without a digit before its point", sign+"0"+digits, unit)
	case strings.HasSuffix(digits, ".") && countDigits(digits) == len(digits)-1:
		return e.offer(Malformed, "a number without a digit after its point", strings.TrimSuffix(head, "."), unit)
	case !ok || rest != "":
		e.say(Malformed, "more than one number", "write one number and its unit, as in "+quote(e.Dimension.Example()))
	default:
		return false
	}
	return true
}

// exponent reports whether what follows a number is the exponent of one: e3, E-3.
func exponent(unit string) bool {
	rest := strings.TrimLeft(unit, "eE")
	if len(unit)-len(rest) != 1 {
		return false
	}
	rest = strings.TrimLeft(rest, "+-−")
	return rest != "" && isDigit(rest[0])
}

// split cuts text where its number ends and its unit begins.
func split(text string) (head, unit string) {
	at := strings.IndexFunc(text, func(r rune) bool {
		return !strings.ContainsRune(" 0123456789+-−–—.,/'’_⁄"+vulgarList, r)
	})
	if at < 0 {
		at = len(text)
	}
	return strings.TrimRight(text[:at], " "), text[at:]
}

// plainBlanks turns every blank into a plain space.
func plainBlanks(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) {
			return ' '
		}
		return r
	}, text)
}

func countDigits(s string) (n int) {
	for i := range len(s) {
		if isDigit(s[i]) {
			n++
		}
	}
	return n
}

func printable(text string) bool {
	return strings.IndexFunc(text, func(r rune) bool { return !unicode.IsPrint(r) }) < 0
}

// wanted names d with an example: a speed such as "3.4 m/min".
func wanted(d Dimension) string {
	if !d.valid() {
		return d.String()
	}
	return d.String() + " such as " + quote(d.Example())
}
