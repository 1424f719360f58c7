package table

import (
	"strings"

	"fettle/schema"
	"fettle/schema/quantity"
)

// Nozzle cells that give form and bore at once: "D1.2", "1.2 double", "S 2.0", "double 1.2 mm".
var (
	formFirst = pattern(`(?i)^(single|double|s|d)[\s-]*(\d[\d.,]*\s*[a-z"]*)$`)
	formLast  = pattern(`(?i)^(\d[\d.,]*\s*(?:mm|in)?)\s*(single|double|s|d)$`)
	boreOnly  = pattern(`^[øØ⌀]?\s*(\d.*)$`)
)

// nozzle reads a nozzle cell. The form is "" where the cell gives the bore alone, the bore no value where it gives the form. A bore without a unit behind a form is in mm,
// as nozzles are called.
func nozzle(cell string, s scale, m mark) (form string, bore quantity.Value, err error) {
	text := blanks(cell)
	if word, ok := resolve(text, schema.NozzleForms, words["form"]); ok {
		return word, bore, nil
	}
	number := text
	if f := formFirst().FindStringSubmatch(text); f != nil {
		form, number = f[1], f[2]
	} else if f := formLast().FindStringSubmatch(text); f != nil {
		form, number = f[2], f[1]
	} else if f := boreOnly().FindStringSubmatch(text); f != nil {
		number = f[1]
	} else {
		return "", bore, unclearf(`Write it as "double 1.2" or "single 2.0", or give form and orifice a column each.`, "%s is no nozzle that is known here", quote(cell))
	}
	if form != "" {
		if s.unit == "" {
			s.unit = "mm"
		}
		form = map[byte]string{'s': "single", 'd': "double"}[strings.ToLower(form)[0]]
	}
	bore, err = s.number(number, m)
	return form, bore, err
}
