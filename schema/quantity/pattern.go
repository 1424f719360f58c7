package quantity

import (
	"regexp"
	"strings"
)

// Pattern returns a regular expression for the texts that [Parse] reads as d, in the syntax that JSON Schema (ECMA-262) and
// Go share. It leaves out what an expression says badly: Parse refuses as well more than 64 bytes or 18 digits, a mixed
// number whose fraction is one or more, and a temperature below absolute zero.
func Pattern(d Dimension) string {
	var names []string
	for _, u := range units[1:] {
		if u.dim == d {
			names = append(names, patternOf(u))
		}
	}
	number := `[0-9]+(?:\.[0-9]+)? *(?:` + strings.Join(names, "|") + `)`
	if d == DimLength {
		number += `|(?:[0-9]+ +)?[0-9]+/[0-9]*[1-9][0-9]* *in`
	}
	return `^ *-?(?:` + number + `) *$`
}

// patternOf returns an expression for the spellings of u.
func patternOf(u unit) string {
	name := regexp.QuoteMeta(u.name)
	if rest, ok := strings.CutPrefix(name, "u"); ok {
		return "[uµμ]" + rest
	}
	if u.dim == DimPressure {
		return name + `(?:g|\(g\))?`
	}
	return name
}
