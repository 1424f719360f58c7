package hooks

import (
	"strings"
	"testing"
	"time"

	"fettle/history"
	"fettle/lint"
	"fettle/schema"
	"fettle/schema/quantity"
)

// tried makes values of a 10 mm condition at a pressure, and records of trials over them: "good 0.36 bar; bad 0.30 bar dross".
func triedValues(pressure string) *schema.Values {
	var v schema.Values
	v.Machine, v.Material, v.Gas = schema.Of("bay-2"), schema.Of("carbon-steel"), schema.Of("oxygen")
	v.Thickness = schema.Of(quantity.MustParseOf[quantity.Length]("10 mm"))
	v.Nozzle = schema.Of(schema.Nozzle{Form: schema.Of("double"), Orifice: schema.Of(quantity.MustParseOf[quantity.Length]("1.4 mm")),
		Standoff: schema.Of(quantity.MustParseOf[quantity.Length]("1 mm"))})
	v.Cut = schema.Of(schema.Cut{Power: schema.Of(quantity.MustParseOf[quantity.Power]("4 kW")), Speed: schema.Of(quantity.MustParseOf[quantity.Speed]("2 m/min")),
		Pressure: schema.Of(quantity.MustParseOf[quantity.Pressure](pressure)), Focus: schema.Of(quantity.MustParseOf[quantity.Length]("3 mm"))})
	return &v
}

func triedLedger(trials ...string) *history.Ledger {
	var records []*schema.Record
	for i, text := range trials {
		base := triedValues("0.40 bar")
		t := &schema.Trial{ID: schema.Of("bay-2/carbon-steel/oxygen/10mm"), Values: schema.Of(*base), Digest: schema.Of(string(base.Digest()))}
		t.Head = schema.Head{Kind: schema.Of(schema.KindTrial), Format: schema.Of(1)}
		t.Library, t.By, t.Unit = schema.Of(strings.Repeat("7", 32)), schema.Of("mara"), schema.Of("bay-2")
		t.At = schema.Of(time.Date(2026, 11, 2+i, 12, 0, 0, 0, time.UTC).Format(time.RFC3339))
		var steps []schema.Step
		for _, part := range strings.Split(text, "; ") {
			words := strings.Fields(part)
			step := schema.Step{Outcome: schema.Of(words[0]), Changed: schema.Table[string]{{Name: "cut.pressure", V: words[1] + " " + words[2], At: schema.Made}}}
			if len(words) > 3 {
				step.Observed = schema.Of(words[3:])
			}
			steps = append(steps, step)
		}
		t.Steps = schema.Of(steps)
		records = append(records, schema.NewRecord(t))
	}
	return history.NewLedger(records)
}

// What trials say reaches the rules: coverage, the window along a changed value, and the last word against it.
func TestTry(t *testing.T) {
	id, err := schema.ParseID("bay-2/carbon-steel/oxygen/10mm")
	if err != nil {
		t.Fatal(err)
	}
	ladder := "bad 0.30 bar dross; good 0.36 bar; good 0.44 bar; good 0.52 bar; bad 0.60 bar coarse-striation"
	for _, c := range []struct {
		name, to string
		trials   []string
		covers   bool
		window   string
		against  string
	}{
		{"inside", "0.46 bar", []string{ladder}, true, "0.36 bar to 0.52 bar in 3 steps", ""},
		{"beyond", "0.56 bar", []string{ladder}, false, "0.36 bar to 0.52 bar in 3 steps", ""},
		{"two trials make one window", "0.50 bar", []string{"good 0.36 bar; good 0.44 bar", "good 0.52 bar"}, false, "0.36 bar to 0.52 bar in 3 steps", ""},
		{"cut badly since", "0.44 bar", []string{ladder, "marginal 0.44 bar dross; bad 0.44 bar lost-cut"}, false, "0.36 bar to 0.36 bar in 1 steps", "bad on 3 November 2026 on bay-2 (lost-cut)"},
		{"cut well since", "0.44 bar", []string{"good 0.40 bar; bad 0.44 bar dross; good 0.52 bar", "good 0.44 bar"}, true, "0.40 bar to 0.52 bar in 3 steps", ""},
		{"well once and badly once since", "0.52 bar", []string{"good 0.40 bar; bad 0.44 bar dross; good 0.52 bar", "good 0.44 bar; bad 0.44 bar"}, true, "0.52 bar to 0.52 bar in 1 steps", ""},
		{"nothing tried", "0.44 bar", nil, false, "", ""},
		{"nothing good", "0.44 bar", []string{"bad 0.42 bar"}, false, "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			var change lint.Change
			tried := Try(triedLedger(c.trials...), id, triedValues("0.40 bar"), triedValues(c.to), nil)
			tried.Tell(&change)
			window := ""
			for _, w := range change.Windows {
				window = w.Low.String() + " to " + w.High.String() + " in " + string(rune('0'+w.Steps)) + " steps"
			}
			if change.TrialCovers != c.covers || window != c.window || change.Against != c.against {
				t.Errorf("covers %v, window %q, against %q; want %v, %q, %q", change.TrialCovers, window, change.Against, c.covers, c.window, c.against)
			}
		})
	}
	if tried := Try(triedLedger(ladder), id, triedValues("0.40 bar"), nil, nil); len(tried.Covering)+len(tried.Missing)+len(tried.Windows) > 0 {
		t.Error("a removal is tried")
	}
}

// BenchmarkTry is what a save pays for the trials of one changed condition: a hundred trials of ten cuts on record.
func BenchmarkTry(b *testing.B) {
	id, err := schema.ParseID("bay-2/carbon-steel/oxygen/10mm")
	if err != nil {
		b.Fatal(err)
	}
	var trials []string
	for range 100 {
		trials = append(trials, strings.TrimSuffix(strings.Repeat("good 0.36 bar; bad 0.30 bar dross; good 0.44 bar; good 0.52 bar; bad 0.60 bar; ", 2), "; "))
	}
	ledger := triedLedger(trials...)
	from, to := triedValues("0.40 bar"), triedValues("0.46 bar")
	for b.Loop() {
		Try(ledger, id, from, to, nil)
	}
}
