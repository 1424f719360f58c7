package quantity

import "strings"

// unitError says why unit does not belong to d. number is what stood before it, or "" if the unit stands alone.
func unitError(d Dimension, number, unit string) *Error {
	e := &Error{Dimension: d, Expected: wanted(d)}
	list := strings.Join(Units(d), ", ")
	id, known := spellings[unit]
	switch {
	case !d.valid():
		return e.say(Malformed, "read without a known dimension", "say which quantity is wanted")
	case unit == "" && number != "" && d == DimRatio:
		return e.say(BareNumber, "a number without a unit", shareHint(number))
	case unit == "" && number != "":
		return e.say(BareNumber, "a number without a unit", "add the unit: "+list)
	case unit == "":
		return e.say(Empty, "no unit", "write one of "+list)
	case known && number != "":
		return e.say(WrongDimension, id.dim().String(), "write it in one of "+list)
	case known:
		return e.say(WrongDimension, "the unit of "+id.dim().String(), "write one of "+list)
	}
	if base := absolute(unit); base != "" {
		if d != DimPressure {
			return e.say(WrongDimension, "an absolute pressure", "write it in one of "+list)
		}
		e.Expected = "a gauge pressure such as " + quote(d.Example())
		return e.say(AbsolutePressure, "an absolute pressure",
			"pressures here are gauge, at the cutting head: take off the air pressure (about 1.013 bar or 14.7 psi) and write it in "+base)
	}
	name, sure := nearest(d, unit)
	found := "in the unknown unit " + quote(unit)
	if number == "" {
		found = "no unit that is known here"
	}
	switch {
	case sure && number != "":
		e.offer(UnknownUnit, found, number, name)
	case sure:
		e.say(UnknownUnit, found, "write "+quote(name))
		e.Fix = name
	case other(unit) != "":
		e.say(UnknownUnit, found, other(unit)+"; write it in one of "+list)
	case name != "":
		e.say(UnknownUnit, found, "write one of "+list+"; the nearest is "+quote(name))
	default:
		e.say(UnknownUnit, found, "write one of "+list)
	}
	return e
}

// shareHint shows both meanings of a bare number that should be in percent.
func shareHint(number string) string {
	if num, rest, ok := scan(number); ok && rest == "" {
		if share, ok := num.amount.mul(rat{n: 100, d: 1}).decimal(); ok && num.amount.cmp(one) <= 0 && num.amount.sign() > 0 {
			return "write " + quote(number+" %") + " or, if it is a share of 1, " + quote(share+" %")
		}
	}
	return "add the unit, as in " + quote(number+" %")
}

// absolute returns the plain pressure unit in spellings such as "psia", "bar(a)" and "bar abs", else "".
func absolute(unit string) string {
	for _, mark := range []string{"absolute", "abs.", "abs", "(a)", "a"} {
		if base, ok := strings.CutSuffix(fold(unit), mark); ok {
			if name, sure := nearest(DimPressure, base); sure {
				return name
			}
		}
	}
	return ""
}

// nearest returns the unit of d whose name is most like the typed one, or "". It is sure if they differ in nothing but
// capitals, signs and raised digits, or if the typed one is another name of the same unit.
func nearest(d Dimension, typed string) (name string, sure bool) {
	plain := fold(typed)
	if full, ok := synonyms[plain]; ok {
		plain = fold(full)
	}
	for spelling, id := range spellings {
		if id.dim() == d && fold(spelling) == plain {
			return id.name(), true
		}
	}
	best := 3 // edits; more is no likeness
	for _, u := range Units(d) {
		if n := distance(plain, fold(u)); n < best && n < max(len(plain), len(u)) {
			best, name = n, u
		}
	}
	return name, false
}

// fold makes spellings of one unit alike.
func fold(unit string) string {
	return strings.ToLower(folder.Replace(unit))
}

var folder = strings.NewReplacer(" ", "", "µ", "u", "μ", "u", "²", "2", "³", "3", "^", "",
	"·", ".", "⋅", ".", "*", ".", "°", "deg", "º", "deg", "″", `"`, "”", `"`, "“", `"`)

// synonyms are other names of units, as people and spreadsheets write them. They are not read, only recognized.
var synonyms = map[string]string{
	`"`: "in", `''`: "in", "inch": "in", "inches": "in", "ipm": "in/min", "inch/min": "in/min", "inches/min": "in/min",
	"micron": "um", "microns": "um", "mpm": "m/min", "m/mn": "m/min", "mmpm": "mm/min",
	"watt": "W", "watts": "W", "sec": "s", "second": "s", "seconds": "s", "msec": "ms", "minute": "min", "minutes": "min",
	"hertz": "Hz", "percent": "%", "pct": "%", "c": "degC", "celsius": "degC", "kelvin": "K", "gram": "g", "grams": "g",
	"lpm": "L/min", "l/mn": "L/min", "m3/hr": "m3/h", "cbm/h": "m3/h", "mmmrad": "mm.mrad", "mmxmrad": "mm.mrad",
	"l/(s.bar)": "dm3/(s.bar)", "dm3/s/bar": "dm3/(s.bar)", "dm3/s.bar": "dm3/(s.bar)", "lbf/in2": "psi", "lb/in2": "psi",
}

// other explains units that look right and mean something else.
func other(unit string) string {
	switch fold(unit) {
	case "nm3/h", "nl/min", "slpm", "sccm", "scfh", "scfm", "sl/min":
		return "gas flows here are at 20 degC and 100 kPa (ISO 8778): convert it first"
	}
	return ""
}

// distance counts the letters to insert, delete, replace or swap with their neighbour to turn a into b.
func distance(a, b string) int {
	s, t := []rune(a), []rune(b)
	older, old, row := make([]int, len(t)+1), make([]int, len(t)+1), make([]int, len(t)+1)
	for j := range old {
		old[j] = j
	}
	for i := 1; i <= len(s); i++ {
		row[0] = i
		for j := 1; j <= len(t); j++ {
			cost := 1
			if s[i-1] == t[j-1] {
				cost = 0
			}
			row[j] = min(old[j]+1, row[j-1]+1, old[j-1]+cost)
			if i > 1 && j > 1 && s[i-1] == t[j-2] && s[i-2] == t[j-1] {
				row[j] = min(row[j], older[j-2]+1)
			}
		}
		older, old, row = old, row, older
	}
	return old[len(t)]
}
