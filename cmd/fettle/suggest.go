package main

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/lint"
	"fettle/schema"
	"fettle/schema/quantity"
)

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		var write bool
		cmd := &cobra.Command{Use: "suggest ID", Short: "a first trial value for a thickness that has no condition yet",
			Long: "Reads speed, power, pressure, focus, kerf and pierce time off the curves of the family at a thickness that it does not have, with the range in\n" +
				"which about 95 of 100 would lie. Nozzle, standoff, mode and the kind of pierce are those of the nearest condition. It is a place to start a\n" +
				"ladder of trial cuts from, never an approved value. Nothing is read off farther than a quarter beyond the thinnest or thickest.",
			Example: "  fettle suggest bay-2/carbon-steel/oxygen/7mm\n  fettle suggest bay-2/carbon-steel/oxygen/7mm --write",
			Args:    cobra.ExactArgs(1), ValidArgsFunction: a.completeFamilies,
			RunE: func(cmd *cobra.Command, args []string) error { return a.suggest(args[0], write) }}
		cmd.Flags().BoolVar(&write, "write", false, "add it as an unsaved condition, with a note that says what it is")
		return cmd
	})
}

// beyondRange is how far outside of the thicknesses of a family a curve is still read.
const beyondRange = 1.25

// leastFamily is how many conditions a curve takes.
const leastFamily = 3

// A suggestion is a first trial value with what it was read off.
type suggestion struct {
	id        schema.ID
	values    *schema.Values
	like      *schema.Recipe   // whose nozzle and mode it has
	between   []*schema.Recipe // the neighbours, one or two
	rows      []suggestedRow
	beyond    bool
	unsettled []string // conditions beside it that are off themselves
}

// A suggestedRow is one quantity of a suggestion.
type suggestedRow struct {
	Name      string `json:"quantity"`
	Value     string `json:"value"`
	Low       string `json:"low"`
	High      string `json:"high"`
	Neighbour string `json:"neighbours"`
}

func (a *app) suggest(typed string, write bool) error {
	if err := a.oneOf("text", "json"); err != nil {
		return err
	}
	id, err := schema.ParseID(typed)
	if err != nil {
		return troublef("Write the whole id of the condition that is to be, such as bay-2/carbon-steel/oxygen/7mm", "%w", err)
	}
	s, err := a.open()
	if err != nil {
		return err
	}
	s.aboutFamily(id.String())
	work, saved, err := s.both()
	if err != nil {
		return err
	}
	g, err := s.suggestionFor(work, saved, id)
	if err != nil {
		return err
	}
	if a.format == "json" && !write {
		return a.json(map[string]any{"format": 1, "id": id.String(), "first_trial_value": true, "approved": false, "like": g.like.ID.String(), "beyond_range": g.beyond,
			"neighbours": namesOf(g.between), "values": g.rows, "condition": json.RawMessage(schema.Layout(schema.Encode(&g.values.Condition)))})
	}
	s.printSuggestion(g)
	if !write {
		s.say("next     fettle suggest %s --write", id)
		return nil
	}
	if err := s.insert(work, g.values, g.values.Condition); err != nil {
		return err
	}
	if err := s.lintEdit([]schema.ID{id}); err != nil {
		return err
	}
	s.say("added, unsaved and not approved")
	s.say("next     cut a ladder on scrap around it: fettle trial plan %s", id)
	return nil
}

func namesOf(list []*schema.Recipe) []string {
	out := []string{}
	for _, r := range list {
		out = append(out, r.ID.String())
	}
	return out
}

// suggestionFor reads a suggestion off the curves, or says why there is none.
func (s *shop) suggestionFor(work, saved *schema.Library, id schema.ID) (*suggestion, error) {
	if work.Recipe(id) != nil {
		return nil, refusef("How it stands in its family: fettle trend "+id.Family(), "%s is there already", id)
	}
	if id.Process != "" {
		return nil, refusef("", "%s does not sever the plate, so it has no curve over thickness", id)
	}
	_, members := families(work)
	family := members[id.Family()]
	if len(family) == 0 {
		names, _ := families(work)
		help := "The families are:\n  " + strings.Join(names[:min(12, len(names))], "\n  ")
		if near := schema.Nearest(id.Family(), names); near != "" {
			help = "Did you mean " + near + " ?"
		}
		return nil, refusef(help, "there is no family %s to read it off", id.Family())
	}
	if len(family) < leastFamily {
		return nil, refusef("Start from the nearest one: fettle copy "+family[0].ID.String()+" "+id.String(),
			"%s has %d of the %d conditions that a curve takes", id.Family(), len(family), leastFamily)
	}
	thickness, err := quantity.ParseOf[quantity.Length](id.Thickness + " mm")
	if err != nil {
		return nil, err
	}
	t, first, last := thickness.SI(), family[0].Thickness.V, family[len(family)-1].Thickness.V
	if t*beyondRange*(1+1e-9) < first.SI() || t > last.SI()*beyondRange*(1+1e-9) {
		return nil, refusef("A curve says nothing that far out. Cut trials in steps of thickness from the nearest one.", "%s lies too far from what %s has, %s to %s; it is read at most a quarter beyond",
			thickness.Format(s.prefs()), id.Family(), first.Format(s.prefs()), last.Format(s.prefs()))
	}
	g := &suggestion{id: id, beyond: t < first.SI() || t > last.SI()}
	curves := lint.Curves(work, saved, family)
	g.neighbours(family, t, curves)
	g.fill(s, work, curves, thickness)
	return g, nil
}

// neighbours finds the conditions on both sides, and the nearer of them that is not off itself to take nozzle and mode from.
func (g *suggestion) neighbours(family []*schema.Recipe, t float64, curves []lint.Curve) {
	i := 0
	for i < len(family) && family[i].Thickness.V.SI() < t {
		i++
	}
	switch {
	case i == 0:
		g.between = family[:1]
	case i == len(family):
		g.between = family[len(family)-1:]
	default:
		g.between = family[i-1 : i+1]
	}
	off := map[*schema.Recipe]bool{}
	for _, c := range curves {
		for _, pt := range c.Points {
			if pt.Rule != "" && c.Name != "orifice" && slices.Contains(g.between, pt.Recipe) && !off[pt.Recipe] {
				off[pt.Recipe] = true
				g.unsettled = append(g.unsettled, pt.Recipe.ID.String())
			}
		}
	}
	g.like = slices.MinFunc(g.between, func(a, b *schema.Recipe) int {
		distance := func(r *schema.Recipe) float64 {
			d := math.Abs(math.Log(r.Thickness.V.SI() / t))
			if off[r] {
				d += 10
			}
			return d
		}
		switch da, db := distance(a), distance(b); {
		case da < db:
			return -1
		case da > db:
			return 1
		}
		return 0
	})
}

// fill makes the condition.
func (g *suggestion) fill(s *shop, work *schema.Library, curves []lint.Curve, thickness quantity.Length) {
	v := *g.like.Values()
	c := &v.Condition
	c.Thickness = schema.Of(thickness)
	c.Note = schema.Of("first trial value, read off the curves of the family between " + g.betweenWords() + "; not cut yet")
	c.Quality = schema.Member[schema.Quality]{}
	c.LeadIn, c.Corner, c.Contours = schema.Member[schema.LeadIn]{}, schema.Member[schema.Corner]{}, schema.Member[[]schema.Contour]{}
	for _, curve := range curves {
		expect, low, high, ok := curve.Between(thickness.SI(), g.like)
		if !ok {
			continue
		}
		switch curve.Name {
		case "speed":
			expect = atMost(rounder(expect, 0.05), machineMost(work, g.id.Machine, "speed"))
			c.Cut.V.Speed = schema.Of(quantity.Speed{Value: expect})
		case "power":
			expect = atMost(rounder(expect, 0.05), machineMost(work, g.id.Machine, "power"))
			c.Cut.V.Power = schema.Of(quantity.Power{Value: expect})
		case "pressure":
			expect = rounder(expect, 0.1)
			c.Cut.V.Pressure = schema.Of(quantity.Pressure{Value: expect})
		case "focus":
			expect = rounder(expect, 0.1)
			c.Cut.V.Focus = schema.Of(quantity.Length{Value: expect})
		case "kerf":
			expect = rounder(expect, 0.1)
			c.Kerf = schema.Of(quantity.Length{Value: expect})
		case "pierce":
			expect = g.pierce(c, expect)
		default:
			continue
		}
		row := suggestedRow{Name: curve.Spoken, Value: expect.Format(s.prefs()), Low: low.Format(s.prefs()), High: high.Format(s.prefs())}
		for _, r := range g.between {
			if was := lint.Measured(curve.Name, r); !was.IsZero() {
				row.Neighbour = strings.TrimPrefix(row.Neighbour+", "+was.Format(s.prefs()), ", ")
			}
		}
		g.rows = append(g.rows, row)
	}
	g.values = &v
}

func (g *suggestion) betweenWords() string {
	var words []string
	for _, r := range g.between {
		words = append(words, r.ID.Thickness+" mm")
	}
	if len(words) == 1 {
		return words[0] + " and beyond"
	}
	return strings.Join(words, " and ")
}

// pierce stretches the stages of the pierce to the time that the curve gives, and returns what they then take.
func (g *suggestion) pierce(c *schema.Condition, total quantity.Value) quantity.Value {
	was := lint.Measured("pierce", g.like)
	if was.IsZero() || was.SI() == 0 {
		return total
	}
	stages := slices.Clone(c.Pierce.V)
	sum := 0.0
	for i := range stages {
		now := rounder(scaled(stages[i].Time.V.Value, total.SI()/was.SI()), 0.1)
		stages[i].Time = schema.Of(quantity.Duration{Value: now})
		sum += now.SI()
	}
	c.Pierce = schema.Of(stages)
	return rounder(scaled(was, sum/was.SI()), 0.01)
}

func scaled(v quantity.Value, factor float64) quantity.Value {
	out, err := quantity.FromSI(v.Dimension(), v.SI()*factor, v.Unit())
	if err != nil {
		return v
	}
	return out
}

// rounder rounds a computed value in its unit to a step that is this share of its decade: 0.1 is two digits.
func rounder(v quantity.Value, share float64) quantity.Value {
	n, err := v.Number(v.Unit())
	if err != nil || n == 0 {
		return v
	}
	step := math.Pow(10, math.Floor(math.Log10(math.Abs(n)))) * share
	text := fmt.Sprintf("%.*f %s", max(0, 2-int(math.Floor(math.Log10(math.Abs(n))))), math.Round(n/step)*step, v.Unit())
	number, unit, _ := strings.Cut(text, " ")
	if strings.Contains(number, ".") {
		number = strings.TrimRight(strings.TrimRight(number, "0"), ".")
	}
	out, err := quantity.Parse(v.Dimension(), number+" "+unit)
	if err != nil {
		return v
	}
	return out
}

// machineMost is the most that a machine has; no value where its profile does not say.
func machineMost(lib *schema.Library, name, what string) quantity.Value {
	m := lib.Machine(name)
	switch {
	case m == nil:
		return quantity.Value{}
	case what == "power":
		return m.Laser.V.RatedPower.V.Value
	}
	return m.Axes.V.MaxSpeed.V.Value
}

func atMost(v, most quantity.Value) quantity.Value {
	if !most.IsZero() && v.Cmp(most) > 0 {
		return most
	}
	return v
}

func (s *shop) printSuggestion(g *suggestion) {
	s.say("%s    a first trial value: not cut, not approved", g.id)
	s.say("")
	s.say("    %-12s %-11s %-23s %s", "", "try", "by the others, between", "beside it")
	for _, r := range g.rows {
		low, unit, _ := strings.Cut(r.Low, " ")
		high, other, _ := strings.Cut(r.High, " ")
		between := r.Low + " and " + r.High
		if unit == other {
			between = strings.Replace(evenSpan(low, high, unit), " to ", " and ", 1)
		}
		s.say("    %-12s %-11s %-23s %s", r.Name, r.Value, between, r.Neighbour)
	}
	n := g.values.Nozzle.V
	s.say("    %-12s %s %s at %s, as %s", "nozzle", n.Form.V, n.Orifice.V.Format(s.prefs()), n.Standoff.V.Format(s.prefs()), g.like.Thickness.V.Format(s.prefs()))
	s.say("")
	say := func(format string, args ...any) { s.say("    "+format, args...) }
	if len(g.between) == 2 {
		a, b := g.between[0].Nozzle.V, g.between[1].Nozzle.V
		if !a.Orifice.V.Equal(b.Orifice.V) || a.Form.V != b.Form.V {
			say("Between %s and %s the nozzle changes: try both.", g.between[0].Thickness.V.Format(s.prefs()), g.between[1].Thickness.V.Format(s.prefs()))
		}
	}
	if g.beyond {
		say("It lies beyond what the family has, so it is less sure than the range says.")
	}
	for _, id := range g.unsettled {
		say("%s beside it is off its own family; look there first: fettle trend %s", id, g.id.Family())
	}
	say("About 95 of 100 such conditions would lie in the range. Lead-in, corners, contours and quality are left out. First cuts on scrap, enclosure closed, " +
		"extraction on, by the rules of machine and site.")
}
