package main

import (
	"fmt"
	"strings"

	"fettle/schema"
	"fettle/schema/quantity"
)

// A figure that cannot be is mostly one in another unit. Each limit is where the figure would no longer be one: an edge that leans by
// more than the plate is thick, a nozzle of copper past its melting point.
var figureLimits = []struct {
	path, name, most string // most is empty where it is the thickness of the plate
	words            string
	nearest          string // the unit that was probably meant
}{
	{"perpendicularity", "u", "", "%s is more than the plate of %s is thick", "um"},
	{"perpendicularity_points", "u", "", "%s is more than the plate of %s is thick", "um"},
	{"roughness", "Rz5", "1 mm", "%s is no cut edge any more; above %s it is a broken one", "um"},
	{"roughness_points", "Rz5", "1 mm", "%s is no cut edge any more; above %s it is a broken one", "um"},
	{"dross", "dross", "50 mm", "%s is no dross; %s is the most that is taken", "um"},
	{"kerf", "kerf", "20 mm", "%s is no kerf; %s is the most that is taken", "um"},
	{"pierce_time", "pierce time", "120 s", "%s is no pierce; %s is the most that is taken", "ms"},
	{"nozzle_temperature", "nozzle temperature", "1084 degC", "a nozzle has melted at %s; copper does at %s", "K"},
}

// implausible says what of the figures of a cut cannot be, or nothing. A figure below nought cannot be either.
func implausible(m *schema.Measured, thickness quantity.Length) (field, why, help string) {
	n := schema.Encode(m)
	for _, l := range figureLimits {
		most := thickness.Value
		dim := quantity.DimLength
		if l.most != "" {
			_, unit, _ := strings.Cut(l.most, " ")
			dim, _ = quantity.UnitDimension(unit)
			most = quantity.MustParse(dim, l.most)
		}
		var texts []string
		switch kid := n.Get(l.path); {
		case kid == nil:
		case kid.Kind == schema.Array:
			for _, item := range kid.Kids {
				texts = append(texts, item.Text)
			}
		default:
			texts = append(texts, kid.Text)
		}
		for _, text := range texts {
			v, err := quantity.Parse(dim, text)
			if err != nil {
				continue // the reader reports it
			}
			switch {
			case v.Sign() < 0:
				return l.name, fmt.Sprintf("%s is below nought", text), "Write it without the sign."
			case !most.IsZero() && v.Cmp(most) > 0:
				number, _, _ := strings.Cut(text, " ")
				return l.name, fmt.Sprintf(l.words, text, most.Text()), fmt.Sprintf("Another unit? %s %s would be read.", number, l.nearest)
			}
		}
	}
	return "", "", ""
}

// reaches refuses values that the machine cannot have been set to. What physics says does not matter here: a cut that failed as it had to
// is worth a record.
func (j *judge) reaches(changed schema.Table[string]) error {
	errs, _, err := j.judge(changed)
	if err != nil {
		return err
	}
	for _, e := range errs {
		switch e.Rule {
		case "power-over-rating", "power-below-minimum", "speed-over-axes", "focus-out-of-travel", "standoff-out-of-range", "pressure-over-line", "frequency-over-limit":
			return refusef("The machine cannot have been set to that. Look at the sheet again; if the profile is wrong, mend it first: fettle explain "+e.Rule,
				"%s: %s [%s]; nothing was recorded", settingWords(changed), e.Message, e.Rule)
		}
	}
	return nil
}
