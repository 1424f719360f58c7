package audit

import (
	"fmt"
	"math/big"
	"strings"

	"fettle/history"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A Reading is one condition as a real machine shows it.
type Reading struct {
	ID     schema.ID
	Row    int // of the table it was read from
	Fields []schema.Field
}

// Steps says in which steps a machine keeps or shows its values, by path; a path without one is compared exactly.
type Steps map[string]quantity.Value

// ShownSteps works out the steps from how finely the table writes its numbers: the finest cell of a column counts, since programs leave
// noughts at the end away. Values of one path in several units are left to be compared exactly.
func ShownSteps(readings []Reading) Steps {
	steps, mixed := Steps{}, map[string]bool{}
	for _, r := range readings {
		for _, f := range r.Fields {
			step, ok := shownStep(f.Quantity)
			if !ok || mixed[f.Path] {
				continue
			}
			have, known := steps[f.Path]
			switch {
			case known && have.Unit() != step.Unit():
				mixed[f.Path] = true
				delete(steps, f.Path)
			case !known || step.Cmp(have) < 0:
				steps[f.Path] = step
			}
		}
	}
	return steps
}

// shownStep is the last place of a number as it was written: 0.01 bar for 0.40 bar. A fraction has none.
func shownStep(v quantity.Value) (quantity.Value, bool) {
	number, _, _ := strings.Cut(v.Text(), " ")
	if v.IsZero() || number == "" || strings.ContainsAny(v.Text(), "/½¼¾⅛⅜⅝⅞") {
		return quantity.Value{}, false
	}
	step := "1"
	if _, decimals, ok := strings.Cut(number, "."); ok && decimals != "" {
		step = "0." + strings.Repeat("0", len(decimals)-1) + "1"
	}
	out, err := quantity.Parse(v.Dimension(), step+" "+v.Unit())
	return out, err == nil
}

// ReadSteps reads the steps that a machine profile declares, and puts them over those given. The error names the member.
func (s Steps) ReadSteps(declared schema.Table[string], dimension func(path string) (quantity.Dimension, bool)) error {
	for _, row := range declared {
		path := schema.FieldPath(row.Name)
		dim, ok := dimension(path)
		if !ok {
			return fmt.Errorf("export.resolution: %q is no quantity of a condition", row.Name)
		}
		v, err := quantity.Parse(dim, row.V)
		if err != nil {
			return fmt.Errorf("export.resolution.%s: %w", row.Name, err)
		}
		if v.Sign() <= 0 {
			return fmt.Errorf("export.resolution.%s: %s is no step; it must be above 0", row.Name, row.V)
		}
		s[path] = v
	}
	return nil
}

// Drift returns where a machine is not what a recipe asks for, in the order of the format: From is the recipe's, To the machine's. Only
// the members under paths are compared. A value counts as equal within half a step of the machine.
func (s Steps) Drift(want *schema.Values, r *Reading, paths []string) []history.FieldChange {
	asked := func(path string) bool {
		for _, p := range paths {
			if path == p || strings.HasPrefix(path, p+"[") || strings.HasPrefix(path, p+".") {
				return true
			}
		}
		return false
	}
	have := map[string]schema.Field{}
	for _, f := range r.Fields {
		have[f.Path] = f
	}
	continuous := want.Cut.V.Mode.V != "pulsed" && have["cut.mode"].Text != "pulsed"
	var out []history.FieldChange
	told := map[string]bool{}
	for _, f := range schema.Fields(want) {
		told[f.Path] = true
		if !Compared(f.Path) || !asked(f.Path) {
			continue
		}
		if to, ok := have[f.Path]; !ok || !s.same(f, to) {
			if !ok && idle(f, continuous) {
				continue
			}
			out = append(out, history.FieldChange{Path: f.Path, From: f, To: to})
		}
	}
	for _, f := range r.Fields {
		if told[f.Path] || !Compared(f.Path) || idle(f, continuous) {
			continue
		}
		out = append(out, history.FieldChange{Path: f.Path, To: f})
	}
	return out
}

// Compared leaves out what the id says already, and what describes a recipe and is no value of a machine.
func Compared(path string) bool {
	switch path {
	case "machine", "material", "gas", "thickness", "variant", "process", "grade", "note":
		return false
	}
	return !strings.HasPrefix(path, "quality.") && !strings.HasPrefix(path, "gas_composition")
}

// idle reports whether a value says no more than its absence does: a machine shows a mode, a duty and a frequency of every recipe, and a
// recipe for a continuous beam need not. A recipe without pierce stages and one with an empty list both start without one.
func idle(f schema.Field, continuous bool) bool {
	switch f.Path[strings.LastIndexByte(f.Path, '.')+1:] {
	case "mode":
		return f.Text == "continuous"
	case "duty":
		return f.Quantity.SI() == 1 || continuous && strings.HasPrefix(f.Path, "cut.")
	case "frequency":
		return f.Quantity.Sign() == 0 || continuous && strings.HasPrefix(f.Path, "cut.")
	}
	return f.Text == "[]"
}

// same reports whether a machine shows a value as well as it can.
func (s Steps) same(want, shown schema.Field) bool {
	if want.Same(shown) {
		return true
	}
	step, ok := s[want.Path]
	if !ok || want.Quantity.IsZero() || shown.Quantity.IsZero() || want.Quantity.Dimension() != shown.Quantity.Dimension() {
		return false
	}
	off := new(big.Rat).Sub(want.Quantity.Rat(), shown.Quantity.Rat())
	half := new(big.Rat).Quo(step.Rat(), big.NewRat(2, 1))
	return off.Abs(off).Cmp(half) <= 0
}

// Coarse reports whether the step of a path is so wide that a difference of a given share of the value would not be seen.
func (s Steps) Coarse(want schema.Field, share float64) bool {
	step, ok := s[want.Path]
	if !ok || want.Quantity.IsZero() {
		return false
	}
	value := want.Quantity.SI()
	return value != 0 && step.SI()/2 > share*max(value, -value)
}
