package history

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"fettle/schema"
	"fettle/schema/quantity"
)

func plainValues(t *rapid.T, name string) *schema.Values {
	pick := func(label string, texts ...string) string { return rapid.SampledFrom(texts).Draw(t, name+" "+label) }
	var v schema.Values
	v.Machine, v.Material, v.Gas = schema.Of("bay-2"), schema.Of("carbon-steel"), schema.Of("oxygen")
	v.Thickness = schema.Of(quantity.MustParseOf[quantity.Length]("10 mm"))
	v.Nozzle = schema.Of(schema.Nozzle{Form: schema.Of(pick("form", "single", "double")), Orifice: schema.Of(quantity.MustParseOf[quantity.Length]("1.4 mm")),
		Standoff: schema.Of(quantity.MustParseOf[quantity.Length](pick("standoff", "1 mm", "1.2 mm")))})
	v.Cut = schema.Of(schema.Cut{Power: schema.Of(quantity.MustParseOf[quantity.Power]("4 kW")), Speed: schema.Of(quantity.MustParseOf[quantity.Speed](pick("speed", "2 m/min", "2.2 m/min"))),
		Pressure: schema.Of(quantity.MustParseOf[quantity.Pressure](pick("pressure", "0.40 bar", "40 kPa", "0.46 bar"))), Focus: schema.Of(quantity.MustParseOf[quantity.Length](pick("focus", "0 mm", "3 mm")))})
	if pick("pierce", "yes", "no") == "yes" {
		v.Pierce = schema.Of([]schema.Stage{{Time: schema.Of(quantity.MustParseOf[quantity.Duration](pick("time", "0.2 s", "200 ms")))}})
	}
	if pick("kerf", "yes", "no") == "yes" {
		v.Kerf = schema.Of(quantity.MustParseOf[quantity.Length]("0.3 mm"))
	}
	return &v
}

// The short way to tell where a step differs says what the long one does, wherever it says anything.
func TestPlainStepsAreTheLongWay(t *testing.T) {
	drawn, short := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		drawn++
		base, to := plainValues(t, "base"), plainValues(t, "to")
		var step schema.Step
		for _, row := range rapid.SliceOfN(rapid.SampledFrom([][2]string{{"cut.pressure", "0.46 bar"}, {"cut.pressure", "40 kPa"}, {"cut.speed", "2.2 m/min"}, {"cut.focus", "0 mm"}, {"cut.mode", "pulsed"},
			{"nozzle.form", "single"}, {"nozzle.standoff", "1.2 mm"}, {"pierce[0].time", "0.2 s"}, {"pierce[0].power", "1 kW"}, {"kerf", "0.3 mm"}, {"thickness", "8 mm"}, {"grade", "S235JR"}, {"cut.presure", "1 bar"}, {"cut.focus", "much"}}), 0, 3).Draw(t, "changed") {
			if !slices.ContainsFunc(step.Changed, func(r schema.Row[string]) bool { return r.Name == row[0] }) {
				step.Changed = append(step.Changed, schema.Row[string]{Name: row[0], V: row[1], At: schema.Made})
			}
		}
		e := &Evidence{to: to, at: fieldsAt(to)}
		plain := newPlainSteps(base, e)
		got, ok := plain.off(&step)
		if !ok {
			return
		}
		short++
		values, ok := stepValues(base, &step)
		if !ok {
			t.Fatalf("%v is taken, and cannot be read", step.Changed)
		}
		words := func(list []FieldChange) (out []string) {
			for _, c := range list {
				if asksForTrial(c.Path) {
					out = append(out, fmt.Sprintf("%s %s%s -> %s%s", c.Path, c.From.Quantity.Canonical(), c.From.Text, c.To.Quantity.Canonical(), c.To.Text))
				}
			}
			slices.Sort(out)
			return out
		}
		if a, b := words(got), words(CompareValues(values, to)); !slices.Equal(a, b) {
			t.Fatalf("the short way says %q, the long one %q", a, b)
		}
	})
	if 5*short < drawn {
		t.Errorf("only %d of %d steps went the short way", short, drawn)
	}
}
