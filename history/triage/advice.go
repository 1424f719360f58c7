package triage

import (
	"fmt"
	"math/big"
	"slices"
	"strings"

	"fettle/history"
	"fettle/schema"
	"fettle/schema/quantity"
)

// Advice is one careful change of one parameter, once all else is ruled out.
type Advice struct {
	Field    string // path in the condition
	From, To quantity.Value
	Why      Line
	Window   *Window // the proven window that it stays in, nil where there is none
	Cut      Line    // what to cut to see it
}

// Advise returns the first of the known remedies that has room: one step of one parameter, inside what trials proved and what the machine
// can do. It is nil where there is none, with what was passed by.
func (k *Knowledge) Advise(c Case, v *Verdict) (*Advice, []string) {
	recipe := c.Library.Recipe(c.ID)
	if recipe == nil {
		return nil, nil
	}
	values := recipe.Values()
	oxygen := Burns(c.Library, c.ID)
	var passed []string
	for _, symptom := range c.Symptoms {
		if s := k.Symptom(symptom); len(s.Leads) > 0 && len(s.Tries) == 0 {
			return nil, []string{"for " + symptom + ": " + s.Leads[0].Text}
		}
	}
	for _, try := range k.tries(c.Symptoms, oxygen) {
		step := k.steps[try.Field]
		from := firstValue(values, try.Field)
		if step == nil || from.Quantity.IsZero() {
			continue
		}
		a := &Advice{Field: from.Path, From: from.Quantity, Why: try.Why, Cut: step.Cut}
		a.To = stepped(from.Quantity, step.Size, try.Change, shownIn(c.Library.Machine(c.ID.Machine), from.Path))
		name := spoken(from.Path) + " " + try.Change
		if a.To.IsZero() || a.To.Equal(a.From) {
			continue
		}
		a.Window = Proven(c.Standing.Ledger, c.ID, values, from.Path, jetOf(c.Library, c.ID), c.Now)
		if w := a.Window; w != nil && (a.To.Cmp(w.Low) < 0 || a.To.Cmp(w.High) > 0) {
			passed = append(passed, fmt.Sprintf("%s: %s would leave the proven window, %s to %s", name, shownValue(a.To), shownValue(w.Low), shownValue(w.High)))
			continue
		}
		if limit := beyond(c.Library.Machine(c.ID.Machine), c.ID.Gas, from.Path, a.To); limit != "" {
			passed = append(passed, fmt.Sprintf("%s: %s is beyond %s", name, shownValue(a.To), limit))
			continue
		}
		return a, passed
	}
	return nil, passed
}

// tries are the remedies for the symptoms, the first of each before the second ones. What works against another of the symptoms is left out.
func (k *Knowledge) tries(symptoms []string, oxygen bool) []Fit {
	var out []Fit
	for i, more := 0, true; more; i++ {
		more = false
		for _, s := range symptoms {
			tries := slices.DeleteFunc(slices.Clone(k.Symptom(s).Tries), func(f Fit) bool { return f.Gas == Oxygen && !oxygen || f.Gas == Inert && oxygen })
			if i >= len(tries) {
				continue
			}
			more = true
			bad := slices.ContainsFunc(symptoms, func(other string) bool {
				fit, _ := k.fit(other, tries[i].Field, tries[i].Change, oxygen)
				return fit != nil && fit.Strength != Weak
			})
			if !bad && !slices.ContainsFunc(out, func(f Fit) bool { return f.Field == tries[i].Field }) {
				out = append(out, tries[i])
			}
		}
	}
	return out
}

// firstValue is the field of a recipe that a line of knowledge speaks of; of pierce stages the last one that melts and has it.
func firstValue(v *schema.Values, field string) schema.Field {
	var found schema.Field
	for _, f := range schema.Fields(v) {
		if general(f.Path) == field && !f.Quantity.IsZero() && !strings.HasPrefix(f.Path, "contours[") {
			if strings.HasPrefix(f.Path, "pierce[") && f.Quantity.Sign() == 0 {
				continue
			}
			found = f
		}
	}
	return found
}

// shownIn is the step in which a machine keeps a value, no value where the profile does not say.
func shownIn(m *schema.Machine, path string) quantity.Value {
	if m == nil {
		return quantity.Value{}
	}
	for _, row := range m.Export.V.Resolution {
		if schema.FieldPath(row.Name) == path {
			for _, dim := range []quantity.Dimension{quantity.DimLength, quantity.DimPressure, quantity.DimSpeed, quantity.DimPower, quantity.DimTime, quantity.DimFrequency, quantity.DimRatio} {
				if v, err := quantity.Parse(dim, row.V); err == nil {
					return v
				}
			}
		}
	}
	return quantity.Value{}
}

// stepped is a value one step further, on a number that a machine can be set to: on whole steps of the machine where the profile says in
// which it keeps the value, else on the last place that was typed or, where that is too coarse, a finer one. It is no value where a step of
// the machine is more than three of the size.
func stepped(from, size quantity.Value, change string, machine quantity.Value) quantity.Value {
	by := size.Rat()
	if size.Dimension() == quantity.DimRatio {
		by = new(big.Rat).Mul(from.Rat(), by)
		by.Abs(by)
	} else if size.Dimension() != from.Dimension() {
		return quantity.Value{}
	}
	grid := machine.Rat()
	if by.Sign() == 0 {
		return quantity.Value{}
	}
	if machine.IsZero() || machine.Dimension() != from.Dimension() || grid.Sign() <= 0 {
		for grid = lastPlace(from); grid.Cmp(by) > 0; {
			grid.Mul(grid, big.NewRat(1, 10))
		}
	} else if new(big.Rat).Mul(by, big.NewRat(3, 1)).Cmp(grid) < 0 {
		return quantity.Value{}
	}
	n := new(big.Rat).Quo(by, grid)
	whole := new(big.Int).Quo(new(big.Int).Add(new(big.Int).Mul(n.Num(), big.NewInt(2)), n.Denom()), new(big.Int).Mul(n.Denom(), big.NewInt(2))) // rounded
	if whole.Sign() <= 0 {
		whole.SetInt64(1)
	}
	by = new(big.Rat).Mul(grid, new(big.Rat).SetInt(whole))
	if change == Down {
		by.Neg(by)
	}
	to, err := quantity.FromRat(from.Dimension(), by.Add(by, from.Rat()), from.Unit())
	if err != nil {
		return quantity.Value{}
	}
	return to
}

// lastPlace is the last place of a number as it was typed, in SI units.
func lastPlace(v quantity.Value) *big.Rat {
	number, _, _ := strings.Cut(v.Text(), " ")
	if strings.Contains(number, "/") {
		return new(big.Rat).Mul(new(big.Rat).Abs(v.Rat()), big.NewRat(1, 20))
	}
	place := "1"
	if _, decimals, ok := strings.Cut(strings.TrimRight(number, "abcdefghijklmnopqrstuvwxyz%/"), "."); ok {
		place = "0." + strings.Repeat("0", max(len(decimals)-1, 0)) + "1"
	}
	one, err := quantity.Parse(v.Dimension(), place+" "+v.Unit())
	if err != nil || one.Sign() <= 0 {
		return new(big.Rat).Abs(v.Rat())
	}
	return one.Rat()
}

// beyond names the limit of the machine that a value would be beyond, or "".
func beyond(m *schema.Machine, gas, path string, to quantity.Value) string {
	if m == nil {
		return ""
	}
	above := func(limit quantity.Value) bool {
		return !limit.IsZero() && limit.Dimension() == to.Dimension() && to.Cmp(limit) > 0
	}
	supply, _ := m.Gas.Get(gas)
	switch general(path) {
	case "cut.pressure", "lead_in.pressure", "pierce.pressure":
		if above(supply.LinePressure.V.Value) {
			return "the line, " + shownValue(supply.LinePressure.V.Value)
		}
		if above(supply.Valve.V.MaxPressure.V.Value) {
			return "the valve, " + shownValue(supply.Valve.V.MaxPressure.V.Value)
		}
	case "cut.power", "pierce.power", "corner.min_power":
		if above(m.Laser.V.RatedPower.V.Value) && above(m.Laser.V.PeakPower.V.Value) || above(m.Laser.V.RatedPower.V.Value) && m.Laser.V.PeakPower.V.IsZero() {
			return "the rated power, " + shownValue(m.Laser.V.RatedPower.V.Value)
		}
	case "cut.speed", "lead_in.speed":
		if above(m.Axes.V.MaxSpeed.V.Value) {
			return "what the axes can do, " + shownValue(m.Axes.V.MaxSpeed.V.Value)
		}
	case "cut.focus", "pierce.focus":
		return outside(m.Optics.V.FocusRange.V, to, "the travel of the focus")
	case "nozzle.standoff", "pierce.standoff":
		return outside(m.Optics.V.StandoffRange.V, to, "the standoff that the head keeps")
	}
	return ""
}

func outside(span []quantity.Length, to quantity.Value, what string) string {
	if len(span) == 2 && (to.Cmp(span[0].Value) < 0 || to.Cmp(span[1].Value) > 0) {
		return fmt.Sprintf("%s, %s to %s", what, shownValue(span[0].Value), shownValue(span[1].Value))
	}
	return ""
}

// Change is the advice as a change of a field.
func (a *Advice) Change() history.FieldChange {
	field := func(v quantity.Value) schema.Field {
		return schema.Field{Path: a.Field, Text: v.Text(), Quantity: v, At: schema.Made}
	}
	return history.FieldChange{Path: a.Field, From: field(a.From), To: field(a.To)}
}
