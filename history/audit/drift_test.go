package audit_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"fettle/history"
	"fettle/history/audit"
	"fettle/schema"
	"fettle/schema/quantity"
)

func valuesAt(t *testing.T, pressure, speed string) *schema.Values {
	t.Helper()
	f := schema.ReadFile(setFile, []byte(setText(pressure, speed)))
	set := f.Value.(*schema.ConditionSet)
	r := schema.Recipe{Set: set, Condition: &set.Conditions.V[0]}
	return r.Values()
}

func shown(path, text string) schema.Field {
	dim := quantity.DimPressure
	if strings.HasSuffix(path, "speed") {
		dim = quantity.DimSpeed
	}
	return schema.Field{Path: path, Text: text, Quantity: quantity.MustParse(dim, text)}
}

// TestRoundingIsNoDrift: whatever a recipe asks for, a machine that rounds it to its step and writes that out is not reported, and one
// that is a whole step off is. The rounding is that of strconv, in the unit of the machine.
func TestRoundingIsNoDrift(t *testing.T) {
	for _, unit := range []struct {
		name string
		bar  float64
	}{{"bar", 1}, {"mbar", 1000}, {"kPa", 100}, {"psi", 14.503773773}} {
		for decimals := range 3 {
			for n := 1; n < 80; n++ {
				want := valuesAt(t, fmt.Sprintf("%d.%02d bar", n/10, n*7%100), "2.9 m/min")
				value := want.Cut.V.Pressure.V.SI() / 1e5 * unit.bar
				step := math.Pow(10, -float64(decimals))
				for off, drifts := range map[float64]bool{0: false, step: true, -step: true} {
					// In the middle between two steps it is a matter of taste which one a machine shows.
					if rest := math.Abs(math.Mod(value/step, 1) - 0.5); rest < 1e-6 {
						continue
					}
					text := fmt.Sprintf("%.*f %s", decimals, math.Round(value/step)*step+off, unit.name)
					if strings.HasPrefix(text, "-") {
						continue
					}
					r := audit.Reading{Fields: []schema.Field{shown("cut.pressure", text)}}
					got := audit.ShownSteps([]audit.Reading{r}).Drift(want, &r, []string{"cut.pressure"})
					if drifts != (len(got) == 1) {
						t.Errorf("%s against %s (%d decimals): %v", want.Cut.V.Pressure.V.Text(), text, decimals, got)
					}
				}
			}
		}
	}
}

// TestSteps: a program leaves noughts away, so the finest cell of a column counts; what the profile declares goes before that.
func TestSteps(t *testing.T) {
	readings := []audit.Reading{{Fields: []schema.Field{shown("cut.pressure", "0.5 bar")}}, {Fields: []schema.Field{shown("cut.pressure", "0.46 bar")}}}
	steps := audit.ShownSteps(readings)
	if got := steps["cut.pressure"].Text(); got != "0.01 bar" {
		t.Errorf("a step of %s", got)
	}
	want := valuesAt(t, "0.48 bar", "2.9 m/min")
	if got := steps.Drift(want, &readings[0], []string{"cut.pressure"}); len(got) != 1 {
		t.Errorf("0.5 in a column of hundredths is not 0.48: %v", got)
	}
	dim := func(path string) (quantity.Dimension, bool) { return quantity.DimPressure, path == "cut.pressure" }
	table := func(name, text string) schema.Table[string] { return schema.Table[string]{{Name: name, V: text}} }
	if err := steps.ReadSteps(table("cut.pressure", "0.05 bar"), dim); err != nil {
		t.Fatal(err)
	}
	if got := steps.Drift(want, &readings[0], []string{"cut.pressure"}); len(got) != 0 {
		t.Errorf("the machine keeps steps of 0.05 bar: %v", got)
	}
	for name, text := range map[string]string{"cut.pressure": "0 bar", "cut.colour": "1 bar"} {
		if err := steps.ReadSteps(table(name, text), dim); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s %s: %v", name, text, err)
		}
	}
}

// TestStays: what a unit held over a weekend, from what was written down, with a repeated load, one that contradicts, one of another unit
// and one that was taken back.
func TestStays(t *testing.T) {
	at := func(text string) time.Time {
		when, err := time.Parse("2006-01-02 15:04", text)
		if err != nil {
			t.Fatal(err)
		}
		return when
	}
	var records []*schema.Record
	load := func(when, unit, recipe string) *schema.Record {
		l := &schema.Load{Common: schema.Common{Head: schema.Head{Kind: schema.Of(schema.KindLoad), Format: schema.Of(1)}, Library: schema.Of(northgate),
			At: schema.Of("2026-11-20T00:00:00Z"), By: schema.Of(mara), Unit: schema.Of(unit)}, Since: schema.Of(at(when).Format(time.RFC3339)),
			Loaded: schema.Of([]schema.Loaded{{ID: schema.Of(tenMM), Digest: schema.Of(strings.Repeat(recipe, 64))}})}
		r := schema.NewRecord(l)
		records = append(records, r)
		return r
	}
	load("2026-11-10 08:00", "bay-2", "a")
	load("2026-11-12 08:00", "bay-2", "a")
	load("2026-11-14 18:00", "bay-2", "b")
	load("2026-11-14 19:00", "bay-3", "c")
	wrong := load("2026-11-15 05:00", "bay-2", "d")
	load("2026-11-15 06:00", "bay-2", "a")
	load("2026-11-15 06:00", "bay-2", "e")
	records = append(records, schema.NewRecord(&schema.Withdrawal{Common: schema.Common{Head: schema.Head{Kind: schema.Of(schema.KindWithdrawal), Format: schema.Of(1)},
		Library: schema.Of(northgate), At: schema.Of("2026-11-21T00:00:00Z"), By: schema.Of(mara)}, Record: schema.Of(string(wrong.Digest))}))
	loads := audit.Loads(history.NewLedger(records))
	tell := func(stays []audit.Stay) string {
		var b strings.Builder
		for _, s := range stays {
			recipe := "?"
			if d := s.Digest(); d != "" {
				recipe = string(d[:1])
			}
			end := "now"
			if !s.To.IsZero() {
				end = s.To.Format("02 15:04")
			}
			fmt.Fprintf(&b, "%s-%s %s(%d) ", s.From.Format("02 15:04"), end, recipe, len(s.Loaded))
		}
		return strings.TrimSpace(b.String())
	}
	for _, c := range []struct{ from, to, want string }{
		{"2026-11-13 00:00", "2026-11-16 00:00", "10 08:00-14 18:00 a(1) 14 18:00-15 06:00 b(1) 15 06:00-now ?(2)"},
		{"2026-11-01 00:00", "2026-11-11 00:00", "01 00:00-10 08:00 ?(0) 10 08:00-14 18:00 a(1)"},
		{"2026-11-01 00:00", "2026-11-02 00:00", "01 00:00-10 08:00 ?(0)"},
		{"2026-11-14 18:00", "2026-11-14 18:00", "14 18:00-15 06:00 b(1)"},
	} {
		if got := tell(audit.Stays(loads, "bay-2", tenMM, at(c.from), at(c.to))); got != c.want {
			t.Errorf("%s to %s:\n got %s\nwant %s", c.from, c.to, got, c.want)
		}
	}
	if got := tell(audit.Stays(loads, "bay-9", tenMM, at("2026-11-01 00:00"), at("2026-11-02 00:00"))); got != "01 00:00-now ?(0)" {
		t.Errorf("a unit without loads: %s", got)
	}
}
