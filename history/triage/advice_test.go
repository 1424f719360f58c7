package triage

import (
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/history"
	"fettle/schema"
	"fettle/schema/quantity"
)

// sample reads the conditions of the sample shop.
type sample string

func (d sample) Files() []string {
	var out []string
	filepath.WalkDir(string(d), func(p string, e fs.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			rel, _ := filepath.Rel(string(d), p)
			out = append(out, filepath.ToSlash(rel))
		}
		return err
	})
	return out
}

func (d sample) Read(p string) ([]byte, error) { return os.ReadFile(filepath.Join(string(d), p)) }

func sampleCase(t *testing.T) Case {
	t.Helper()
	lib, err := schema.ReadLibrary(sample("../../cmd/fettle/demo/library"))
	if err != nil || len(lib.Recipes) < 50 {
		t.Fatal(err, len(lib.Recipes))
	}
	return Case{Library: lib, Standing: history.NewLedger(nil).Judge("", ""), Now: time.Date(2026, 11, 16, 6, 0, 0, 0, time.UTC), Unit: "bay-2"}
}

// TestAdviceIsOneSmallStep: whatever is wrong with whatever condition of the sample, the advice is a known remedy for the gas, goes its way,
// is small, and stays within what the machine can do.
func TestAdviceIsOneSmallStep(t *testing.T) {
	c := sampleCase(t)
	given := 0
	for _, r := range c.Library.Recipes {
		for _, symptom := range schema.Symptoms {
			c.ID, c.Symptoms = r.ID, []string{symptom}
			v := Judge(c)
			a, _ := Common().Advise(c, &v)
			if a == nil {
				continue
			}
			given++
			oxygen := Burns(c.Library, r.ID)
			change := direction(a.Change())
			if !slices.ContainsFunc(Common().Symptom(symptom).Tries, func(f Fit) bool {
				return f.Field == general(a.Field) && f.Change == change && (f.Gas == "any" || (f.Gas == Oxygen) == oxygen)
			}) {
				t.Errorf("%s, %s: %s %s is no known remedy", r.ID, symptom, a.Field, change)
			}
			if fit, _ := Common().fit(symptom, general(a.Field), change, oxygen); fit != nil && fit.Strength != Weak {
				t.Errorf("%s, %s: %s %s brings it about", r.ID, symptom, a.Field, change)
			}
			from, to := a.From.SI(), a.To.SI()
			if share := (to - from) / from; a.From.Dimension() != quantity.DimLength && (share > 0.15 || share < -0.15) {
				t.Errorf("%s, %s: %s from %s to %s is no small step", r.ID, symptom, a.Field, a.From.Text(), a.To.Text())
			}
			if limit := beyond(c.Library.Machine(r.ID.Machine), r.ID.Gas, a.Field, a.To); limit != "" {
				t.Errorf("%s, %s: %s is beyond %s", r.ID, symptom, a.To.Text(), limit)
			}
			if a.Cut.Text == "" || a.Why.Text == "" {
				t.Errorf("%s, %s: why, or what to cut, is missing", r.ID, symptom)
			}
		}
	}
	if given < 300 {
		t.Errorf("advice was given %d times only", given)
	}
}

// TestNoRoom: a step that the line, the rating or the travel does not allow is passed by and named; the next remedy is taken.
func TestNoRoom(t *testing.T) {
	c := sampleCase(t)
	id, err := schema.ParseID("bay-2/stainless-steel/nitrogen/10mm")
	if err != nil {
		t.Fatal(err)
	}
	c.ID, c.Symptoms = id, []string{"dross"}
	v := Judge(c)
	a, _ := Common().Advise(c, &v)
	if a == nil || a.Field != "cut.pressure" {
		t.Fatalf("%+v", a)
	}
	supply := c.Library.Machine("bay-2").Gas
	for i := range supply {
		if supply[i].Name == "nitrogen" {
			now := c.Library.Recipe(id).Cut.V.Pressure.V
			supply[i].V.LinePressure = schema.Of(now)
		}
	}
	a, passed := Common().Advise(c, &v)
	if len(passed) != 1 || !strings.Contains(passed[0], "beyond the line") || a == nil || a.Field == "cut.pressure" {
		t.Errorf("passed %q, advice %+v", passed, a)
	}
}

// TestStepped: a step ends on a number that the machine can be set to.
func TestStepped(t *testing.T) {
	five := quantity.MustParse(quantity.DimRatio, "5 %")
	for _, c := range []struct{ from, change, machine, want string }{
		{"0.46 bar", Up, "", "0.48 bar"},
		{"0.46 bar", Down, "", "0.44 bar"},
		{"14 bar", Up, "", "14.7 bar"},   // the last place would be too coarse
		{"14.0 bar", Up, "", "14.7 bar"}, // typed more finely
		{"14 bar", Up, "0.5 bar", "14.5 bar"},
		{"0.21 bar", Up, "0.05 bar", ""}, // the machine cannot take so small a step
	} {
		machine := quantity.Value{}
		if c.machine != "" {
			machine = quantity.MustParse(quantity.DimPressure, c.machine)
		}
		got := stepped(quantity.MustParse(quantity.DimPressure, c.from), five, c.change, machine)
		if c.want == "" && got.IsZero() {
			continue
		}
		if !got.Equal(quantity.MustParse(quantity.DimPressure, c.want)) {
			t.Errorf("%s %s in steps of %q: %s, want %s", c.from, c.change, c.machine, got.Text(), c.want)
		}
	}
	if got := stepped(quantity.MustParse(quantity.DimLength, "-3 mm"), quantity.MustParse(quantity.DimLength, "0.3 mm"), Down, quantity.Value{}); got.Text() != "-3.3 mm" {
		t.Errorf("focus one step down: %s", got.Text())
	}
}

// TestOrderOfChecks: frequent causes of the machine first, then what the symptoms ask for, every check once.
func TestOrderOfChecks(t *testing.T) {
	words := func(tasks []Task) (out []string) {
		for _, t := range tasks {
			out = append(out, t.Word)
		}
		return out
	}
	k := Common()
	all := words(k.Checks([]string{"dross"}, nil))
	if len(all) != len(schema.RuledOut) || len(slices.Compact(slices.Sorted(slices.Values(all)))) != len(all) {
		t.Errorf("every check once: %v", all)
	}
	for name, c := range map[string]struct {
		symptoms []string
		found    []Found
		want     []string
	}{
		"dross":                      {[]string{"dross"}, nil, []string{"loaded-condition", "nozzle-wear"}},
		"one-sided dross":            {[]string{"dross", "one-sided"}, nil, []string{"nozzle-centring", "nozzle-wear", "beam-alignment"}},
		"hot nozzle":                 {[]string{"hot-nozzle"}, nil, []string{"beam-alignment", "nozzle-centring", "plate-surface", "plate-grade", "focus-calibration"}},
		"found once":                 {[]string{"dross"}, []Found{{Word: "slats", Times: 1}}, []string{"loaded-condition", "nozzle-wear"}},
		"found often":                {[]string{"dross"}, []Found{{Word: "slats", Times: 3}, {Word: "lens", Times: 2}}, []string{"slats", "lens", "loaded-condition"}},
		"no symptom":                 {nil, nil, []string{"loaded-condition", "nozzle-wear"}},
		"two symptoms take turns":    {[]string{"dross", "discoloured-edge"}, nil, []string{"loaded-condition", "gas-purity", "nozzle-wear"}},
		"hot nozzle before the rest": {[]string{"dross", "hot-nozzle"}, nil, []string{"beam-alignment"}},
	} {
		if got := words(k.Checks(c.symptoms, c.found)); !slices.Equal(got[:len(c.want)], c.want) {
			t.Errorf("%s: %v, want %v", name, got[:len(c.want)], c.want)
		}
	}
}
