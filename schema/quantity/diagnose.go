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
	trimmed := strings.TrimFunc(text, isBlank)
	switch {
	case !d.valid():
		return e.say(Malformed, "read without a known dimension", "say which quantity is wanted")
	case len(text) > maxText:
		return e.say(TooLong, "longer than a quantity can be", "write at most 18 digits and a unit")
	case trimmed == "":
		return e.say(Empty, "empty", "write "+wanted(d)+", or leave it out")
	case !printable(text):
		return e.say(Malformed, "a text with a character that cannot be printed", "type it again with plain characters")
	}
	head, unit := split(trimmed)
	if !strings.ContainsAny(head, "0123456789") && !strings.ContainsAny(head, vulgarList) {
		return e.say(Malformed, "a text that does not begin with a number", "write the number first, then the unit")
	}
	if e.sign(head, unit) || e.separators(head, unit) || e.fraction(head, unit) || e.number(head, unit) {
		return e
	}
	num, unit, _ := scan(trimmed)
	if _, known := spellings[unit]; !known || spellings[unit].dim() != d {
		number := strings.TrimRightFunc(strings.TrimSuffix(trimmed, unit), isBlank)
		u := unitError(d, number, unit)
		u.Text = text
		return u
	}
	if num.fraction {
		return e.say(BadFraction, "a fraction of another unit than the inch", "write a decimal number")
	}
	if d == DimTemperature {
		return e.say(BelowAbsoluteZero, "below absolute zero", "check the sign and the unit")
	}
	return e.say(Malformed, "no number with a unit", "write it like "+quote(d.Example()))
}

func (e *Error) say(kind ErrorKind, found, hint string) *Error {
	e.Kind, e.Found, e.Hint = kind, found, hint
	return e
}

// offer is say with a number that was surely meant; the hint shows it with the unit that was typed, if that one is good.
func (e *Error) offer(kind ErrorKind, found, number, unit, why string) bool {
	fix := number + " " + strings.TrimFunc(unit, isBlank)
	hint := "write " + quote(number) + " with its unit, such as " + quote(e.Dimension.Example())
	if num, name, ok := scan(fix); ok {
		if _, ok := assemble(e.Dimension, fix, num, name); ok {
			e.Fix, hint = fix, "write "+quote(fix)
		}
	}
	e.say(kind, found, hint+why)
	return true
}

// sign finds a plus, a typographic minus, and a minus that stands apart.
func (e *Error) sign(head, unit string) bool {
	minus := strings.TrimLeft(head, "-−–—")
	switch rest := strings.TrimFunc(minus, isBlank); {
	case strings.HasPrefix(head, "+"):
		plain := strings.TrimFunc(strings.TrimPrefix(head, "+"), isBlank)
		return e.offer(BadSign, "a number with a plus sign", plain, unit, "")
	case minus != head && utf8.RuneCountInString(head)-utf8.RuneCountInString(minus) > 1:
		e.say(BadSign, "a number with two signs", "write one sign at most")
		return true
	case minus != head && !strings.HasPrefix(head, "-"):
		return e.offer(BadSign, "a number with a minus sign that is not the one of the keyboard", "-"+rest, unit, "")
	case minus != head && rest != strings.TrimRightFunc(minus, isBlank):
		return e.offer(BadSign, "a number with a blank after its sign", "-"+rest, unit, "")
	}
	return false
}

// Numbers with a separator that is not read, without their sign.
var separated = sync.OnceValue(func() (p struct{ comma, maybe, commas, points, gaps *regexp.Regexp }) {
	p.comma = regexp.MustCompile(`^\d+,\d+$`)                                          // 3,4
	p.maybe = regexp.MustCompile(`^[1-9]\d{0,2},\d{3}$`)                               // 3,400: three thousand or three
	p.commas = regexp.MustCompile(`^\d{1,3}(?:,\d{3})+(?:\.\d+)?$`)                    // 1,200.5
	p.points = regexp.MustCompile(`^\d{1,3}(?:(?:\.\d{3})+,\d+|(?:\.\d{3}){2,})$`)     // 1.200,5 and 1.200.000
	p.gaps = regexp.MustCompile(`^\d{1,3}(?:[ '’_\x{a0}\x{202f}]\d{3})+(?:[.,]\d+)?$`) // 1 200,5 and 1'200.5
	return p
})

// separators finds decimal commas and thousands separators.
func (e *Error) separators(head, unit string) bool {
	digits := strings.TrimPrefix(head, "-")
	sign := head[:len(head)-len(digits)]
	const apart = "a number with its thousands set apart"
	point := func(s string) string { return sign + strings.ReplaceAll(s, ",", ".") }
	drop := func(s, separators string) string {
		return strings.Map(func(r rune) rune {
			if strings.ContainsRune(separators, r) {
				return -1
			}
			return r
		}, s)
	}
	switch p := separated(); {
	case p.maybe.MatchString(digits):
		thousand := sign + drop(digits, ",")
		e.say(DecimalComma, "a number with a comma, which can be read in two ways",
			"write "+quote(strings.TrimSpace(point(digits)+" "+unit))+" or "+quote(strings.TrimSpace(thousand+" "+unit)))
		return true
	case p.comma.MatchString(digits):
		return e.offer(DecimalComma, "a number with a decimal comma", point(digits), unit, "")
	case p.commas.MatchString(digits):
		return e.offer(ThousandsSeparator, apart, sign+drop(digits, ","), unit, "")
	case p.points.MatchString(digits):
		return e.offer(ThousandsSeparator, apart, point(drop(digits, ".")), unit, "")
	case p.gaps.MatchString(digits):
		return e.offer(ThousandsSeparator, apart, point(drop(digits, " '’_\u00a0\u202f")), unit, "")
	case strings.Contains(digits, ","):
		e.say(DecimalComma, "a number with a comma", "write one number, with a point for decimals")
		return true
	}
	return false
}

// vulgar maps the fraction characters of a keyboard or a spreadsheet to what is read.
var vulgar = map[rune]string{'½': "1/2", '¼': "1/4", '¾': "3/4", '⅛': "1/8", '⅜': "3/8", '⅝': "5/8", '⅞': "7/8"}

const vulgarList = "½¼¾⅛⅜⅝⅞"

var fractions = sync.OnceValue(func() (p struct{ joined, mixed, over *regexp.Regexp }) {
	p.joined = regexp.MustCompile(`^(-?\d+)[ \x{a0}\x{202f}]*-[ \x{a0}\x{202f}]*(\d+/\d+)$`) // 1-1/4
	p.mixed = regexp.MustCompile(`^(-?\d+)[ \x{a0}\x{202f}]+(\d+)/(\d+)$`)
	p.over = regexp.MustCompile(`/0*$`)
	return p
})

// fraction finds fractions that are written in another way than "1 1/4".
func (e *Error) fraction(head, unit string) bool {
	plain := strings.ReplaceAll(head, "⁄", "/")
	for r, text := range vulgar {
		plain = strings.TrimSpace(strings.Replace(plain, string(r), " "+text, 1))
	}
	plain = strings.ReplaceAll(plain, "- ", "-")
	p := fractions()
	switch joined := p.joined.FindStringSubmatch(plain); {
	case joined != nil:
		return e.offer(BadFraction, "a fraction that is joined by a dash", joined[1]+" "+joined[2], unit, "")
	case plain != head:
		return e.offer(BadFraction, "a fraction in one character", plain, unit, "")
	case p.over.MatchString(head):
		e.say(BadFraction, "a fraction over zero", "write the number below the slash")
		return true
	case p.mixed.MatchString(head):
		if _, _, ok := scan(head); !ok && countDigits(head) <= maxDigits {
			e.say(BadFraction, "a whole number with a fraction of one or more", "write a fraction below one, or a decimal number")
			return true
		}
	}
	return false
}

// number finds what else can be wrong before the unit.
func (e *Error) number(head, unit string) bool {
	sign, digits := "", head
	if strings.HasPrefix(head, "-") {
		sign, digits = "-", head[1:]
	}
	_, exact, scanned := scan(head)
	exponent := len(unit) > 1 && (unit[0] == 'e' || unit[0] == 'E') && strings.ContainsRune("+-0123456789−", []rune(unit[1:])[0])
	switch {
	case countDigits(head) > maxDigits:
		e.say(TooLong, "a number with more than 18 digits", "round it; no measuring device needs so many")
	case exponent:
		e.say(Malformed, "a number with an exponent", "write the number out, such as "+quote(e.Dimension.Example()))
	case strings.HasPrefix(digits, ".") && countDigits(digits) == len(digits)-1:
		return e.offer(Malformed, "a number without a digit before its point", sign+"0"+digits, unit, "")
	case strings.HasSuffix(digits, ".") && countDigits(digits) == len(digits)-1:
		return e.offer(Malformed, "a number without a digit after its point", strings.TrimSuffix(head, "."), unit, "")
	case !scanned || exact != "":
		e.say(Malformed, "more than one number with a unit", "write it like "+quote(e.Dimension.Example()))
	default:
		return false
	}
	return true
}

// split cuts text where its number ends and its unit begins.
func split(text string) (head, unit string) {
	at := strings.IndexFunc(text, func(r rune) bool {
		return !strings.ContainsRune("0123456789+-−–—.,/'’_⁄"+vulgarList, r) && !isBlank(r)
	})
	if at < 0 {
		at = len(text)
	}
	return strings.TrimRightFunc(text[:at], isBlank), text[at:]
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
	if !utf8.ValidString(text) {
		return false
	}
	return strings.IndexFunc(text, func(r rune) bool { return !unicode.IsPrint(r) && !isBlank(r) }) < 0
}

// wanted names d with an example: a speed, such as "3.4 m/min".
func wanted(d Dimension) string {
	if !d.valid() {
		return d.String()
	}
	return d.String() + " such as " + quote(d.Example())
}
