package lint

import (
	"fmt"
	"math"
	"strings"

	"fettle/schema"
	"fettle/schema/quantity"
)

// context says what a value was before and what its family has: the two things that tell a slip from a decision. It is empty
// where neither is known.
func (p *Pass) context(field string, value quantity.Value) string {
	if p.Recipe == nil {
		return ""
	}
	var parts []string
	var known []float64
	if p.Base != nil {
		if before := p.Base.Recipe(p.Recipe.ID); before != nil {
			if was, ok := valueAt(before.Condition, field); ok && !was.Equal(value) && was.Dimension() == value.Dimension() {
				parts = append(parts, fmt.Sprintf("was %s", p.Show(was)))
				known = append(known, was.SI())
			}
		}
	}
	low, high, others := p.familyRange(field, value)
	if others >= 2 {
		known = append(known, low.SI(), high.SI())
		if low.Equal(high) {
			parts = append(parts, fmt.Sprintf("its family has %s", p.Show(low)))
		} else {
			parts = append(parts, "its family runs from "+span(p.Show(low), p.Show(high)))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	colon := ""
	if !strings.HasPrefix(parts[0], "was") {
		colon = ":"
	}
	return strings.TrimSpace(fmt.Sprintf("%s%s %s. %s", p.Recipe.ID, colon, strings.Join(parts, "; "), slip(value, known)))
}

// familyRange is what the other conditions of the family have at that field, and how many have it.
func (p *Pass) familyRange(field string, value quantity.Value) (low, high quantity.Value, others int) {
	for _, r := range p.Family {
		if r == p.Recipe {
			continue
		}
		v, ok := valueAt(r.Condition, field)
		if !ok || v.Dimension() != value.Dimension() {
			continue
		}
		if others++; others == 1 || v.Cmp(low) < 0 {
			low = v
		}
		if others == 1 || v.Cmp(high) > 0 {
			high = v
		}
	}
	return low, high, others
}

// span writes a range with its unit once and equal decimals: "0.21 to 0.40 bar".
func span(low, high string) string {
	lowNumber, lowUnit, ok1 := strings.Cut(low, " ")
	highNumber, highUnit, ok2 := strings.Cut(high, " ")
	if !ok1 || !ok2 || lowUnit != highUnit || strings.Contains(low+high, "/") && strings.Contains(lowUnit, " ") {
		return low + " to " + high
	}
	for decimals(lowNumber) < decimals(highNumber) {
		lowNumber = longer(lowNumber)
	}
	for decimals(highNumber) < decimals(lowNumber) {
		highNumber = longer(highNumber)
	}
	return lowNumber + " to " + highNumber + " " + highUnit
}

func decimals(number string) int {
	_, fraction, _ := strings.Cut(number, ".")
	return len(fraction)
}

func longer(number string) string {
	if !strings.Contains(number, ".") {
		return number + ".0"
	}
	return number + "0"
}

// typedIn are units whose number ends up under another unit when somebody copies a table: the factor turns what was typed into
// what was meant. Factors: NIST SP 811, rounded, since they only choose a sentence.
var typedIn = map[quantity.Dimension][]struct {
	factor float64
	unit   string
}{
	quantity.DimPressure: {{0.0689476, "psi"}},
	quantity.DimSpeed:    {{0.06, "mm/s"}, {0.0254, "in/min"}},
	quantity.DimLength:   {{25.4, "in"}},
}

// slip says what the value may have been meant to be: one that lies among the known ones when a decimal point or a unit is put
// right. Of several it takes the one nearest to the first of them, which is what stood there before where that is known.
func slip(value quantity.Value, known []float64) string {
	v := value.SI()
	if v <= 0 || len(known) == 0 {
		return ""
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, k := range known {
		low, high = min(low, k), max(high, k)
	}
	best, words := math.Inf(1), ""
	try := func(x float64, say string) {
		if x < low*0.8 || x > high*1.25 {
			return
		}
		if d := math.Abs(math.Log(x / known[0])); d < best {
			best, words = d, say
		}
	}
	if try(v, ""); !math.IsInf(best, 1) {
		return "" // it is among them as it stands
	}
	for _, factor := range []float64{0.1, 10, 0.01, 100, 0.001, 1000} {
		try(v*factor, "A lost decimal point?")
	}
	for _, other := range typedIn[value.Dimension()] {
		try(v*other.factor, fmt.Sprintf("A number in %s?", other.unit))
	}
	return words
}

// valueAt returns the quantity at a path of a condition.
func valueAt(c *schema.Condition, field string) (quantity.Value, bool) {
	switch field { // the ones that are asked for most, without a walk
	case "cut.pressure":
		return c.Cut.V.Pressure.V.Value, c.Cut.V.Pressure.Set()
	case "cut.speed":
		return c.Cut.V.Speed.V.Value, c.Cut.V.Speed.Set()
	case "cut.power":
		return c.Cut.V.Power.V.Value, c.Cut.V.Power.Set()
	case "cut.focus":
		return c.Cut.V.Focus.V.Value, c.Cut.V.Focus.Set()
	case "kerf":
		return c.Kerf.V.Value, c.Kerf.Set()
	case "nozzle.orifice":
		return c.Nozzle.V.Orifice.V.Value, c.Nozzle.V.Orifice.Set()
	case "nozzle.standoff":
		return c.Nozzle.V.Standoff.V.Value, c.Nozzle.V.Standoff.Set()
	case "thickness":
		return c.Thickness.V.Value, c.Thickness.Set()
	}
	for _, f := range schema.Fields(c) {
		if f.Path == field {
			return f.Quantity, !f.Quantity.IsZero()
		}
	}
	return quantity.Value{}, false
}
