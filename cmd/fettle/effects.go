package main

import (
	"fmt"
	"math"
	"strconv"

	"fettle/lint"
	"fettle/schema"
	"fettle/schema/quantity"
)

// leastEffect is the change in percent from which a person is told of an effect. The figures rest on a model and on values that no shop
// knows better; programs get them all.
const leastEffect = 0.5

// told reports whether an effect is large enough to be told.
func told(e lint.Effect) bool {
	p, ok := e.Percent()
	return !ok || math.Abs(p) >= leastEffect
}

// effectLines says what a change does to what a cut spends, a line each: oxygen 1.42 -> 1.52 m3/h, +7 %. Figures that stay, or nearly so,
// are left out, and a new or a removed condition has none to compare with: fettle show has its figures.
func (s *shop) effectLines(c *card) []string {
	if c.base == nil || c.Now == nil {
		return nil
	}
	var lines []string
	ofCut := map[string]bool{}
	for _, e := range c.effects {
		ofCut[e.Key] = ofCut[e.Key] || e.Block == "cut"
	}
	for _, e := range c.effects {
		if e.Block == "cut" || !ofCut[e.Key] { // a lead-in takes over most of what the cut has
			if told(e) {
				lines = append(lines, effectLine(e, s.prefs()))
			}
		}
	}
	if len(lines) == 0 && len(c.effects) > 0 {
		return []string{fmt.Sprintf("every figure stays within %g %%", leastEffect)}
	}
	return lines
}

func effectLine(e lint.Effect, prefs quantity.Prefs) string {
	name := e.Name
	if e.Block != "cut" && e.Block != "pierce" {
		name = schema.SpokenPath(e.Block) + ": " + name
	}
	unit := e.Unit
	in := func(x float64) float64 {
		f := inUnits(lint.Figure{Value: x, Unit: e.Unit}, prefs)
		unit = f.Unit
		return f.Value
	}
	from, to := "—", "—"
	switch {
	case e.From != nil && e.To != nil:
		from, to = sideBySide(in(*e.From), in(*e.To))
	case e.From != nil:
		from = lint.Digits(in(*e.From))
	case e.To != nil:
		to = lint.Digits(in(*e.To))
	}
	line := fmt.Sprintf("%s %s -> %s", name, from, to)
	if unit != "" {
		line += " " + unit
	}
	if p, ok := e.Percent(); ok {
		line += ", " + percent(p)
	}
	return line
}

// sideBySide writes two numbers with equal decimals, three digits for the larger and as many as it takes to tell them apart.
func sideBySide(a, b float64) (string, string) {
	decimals := 0
	if most := math.Max(math.Abs(a), math.Abs(b)); most > 0 {
		decimals = max(0, 2-int(math.Floor(math.Log10(most))))
	}
	for ; ; decimals++ {
		x, y := strconv.FormatFloat(a, 'f', decimals, 64), strconv.FormatFloat(b, 'f', decimals, 64)
		if x != y || a == b || decimals > 12 {
			return x, y
		}
	}
}

// effectJSON is an effect for programs, in fixed units.
type effectJSON struct {
	Block   string   `json:"block"`
	Key     string   `json:"key"`
	Name    string   `json:"name"`
	From    *float64 `json:"from"`
	To      *float64 `json:"to"`
	Unit    string   `json:"unit"`
	Percent *float64 `json:"percent"`
}

func effectsJSON(effects []lint.Effect) []effectJSON {
	out := []effectJSON{}
	for _, e := range effects {
		j := effectJSON{Block: e.Block, Key: e.Key, Name: e.Name, From: e.From, To: e.To, Unit: e.Unit}
		if p, ok := e.Percent(); ok {
			j.Percent = &p
		}
		out = append(out, j)
	}
	return out
}
