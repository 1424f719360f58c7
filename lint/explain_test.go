package lint

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"fettle/schema/quantity"
)

// amount reads the number of a term in a unit that terms of one kind share.
func amount(text string) (float64, bool) {
	number, unit, _ := strings.Cut(text, " ")
	x, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return 0, false
	}
	if d, ok := quantity.UnitDimension(unit); ok {
		if v, err := quantity.Parse(d, text); err == nil {
			return v.SI(), true
		}
	}
	return x, true
}

// led is the verdict that the written calculation leads to: every limit names the term that it is held against. near is true where
// rounding for the eye leaves it open.
func led(t *testing.T, w Worked) (verdict Severity, near bool) {
	t.Helper()
	for _, limit := range w.Against {
		symbol, rest, ok := strings.Cut(limit.Is, ", ")
		if !ok {
			continue // said in words
		}
		var value float64
		found := false
		for _, term := range append(append([]Term{}, w.Put...), w.Out...) {
			if term.Symbol == symbol || term.Symbol == "" && term.Is == symbol {
				if value, found = amount(term.Value); !found {
					t.Fatalf("%+v has no number", term)
				}
			}
		}
		border, ok := amount(limit.Value)
		if !found || !ok {
			t.Fatalf("nothing is held against %+v: %+v", limit, w)
		}
		severity := Warning
		if strings.HasPrefix(rest, "error") {
			severity = Error
		}
		near = near || math.Abs(value-border) < 0.006*math.Abs(border)
		if strings.Contains(rest, " above") && value > border || strings.Contains(rest, " below") && value < border {
			verdict = max(verdict, severity)
		}
	}
	return verdict, near
}

// Whatever the rules say of a recipe, the calculation that is shown leads there: on ordinary conditions, and on each of them spoilt in
// each way.
func TestCalculationsLeadToTheVerdict(t *testing.T) {
	all := ordinaries(t)
	var rules []Rule
	for _, r := range Rules() {
		if r.Family == "physics" || r.Name == "valve-cannot-feed" {
			rules = append(rules, r)
		}
	}
	judged, spoke := map[string]int{}, map[string]int{}
	for k, m := range append([]mistake{{name: "none", make: func(*ordinary) bool { return true }}}, mistakes...) {
		for i, o := range all {
			wrong := o.clone()
			if k > 0 && (i+k)%5 != 0 || !m.make(&wrong) {
				continue
			}
			lib := shopOf(t, []ordinary{wrong})
			for _, r := range lib.Recipes {
				for _, rule := range rules {
					e := Explain(lib, nil, rule, r, []Finding{})
					s := newRun(lib, lib.Settings.Value, Options{})
					p := s.inSet(r.File, r.Set)
					p.Recipe, p.Family, p.rule = r, s.familyOf(r), &rule
					rule.Check(&p)
					said := map[string]bool{}
					for _, w := range e.Worked {
						judged[rule.Name]++
						if w.Says != "" {
							said[w.Says] = true
						}
						verdict, near := led(t, w)
						if verdict != w.Verdict && !near {
							t.Errorf("%s, %s of %s, %s: the rule says %s, its calculation %s: %+v", m.name, w.Block, r.ID, rule.Name, w.Verdict, verdict, w)
						}
						if verdict > Off {
							spoke[rule.Name+" "+verdict.String()]++
						}
						for _, term := range append(append(append([]Term{}, w.Put...), w.Out...), w.Against...) {
							if term.Value == "" && !strings.HasPrefix(term.Is, "never") || strings.Contains(term.Value, "NaN") {
								t.Errorf("%s: %+v", rule.Name, term)
							}
						}
						for _, term := range w.From {
							if term.Source == "" {
								t.Errorf("%s: %+v says not where it is from", rule.Name, term)
							}
						}
					}
					for _, f := range s.found {
						if !said[f.Message] && f.Severity == maxOf(s.found) && len(said) == 0 {
							t.Errorf("%s, %s: nothing is worked out for %q", m.name, rule.Name, f.Message)
						}
					}
				}
			}
		}
	}
	for _, rule := range rules {
		if judged[rule.Name] < 100 {
			t.Errorf("%s was worked out %d times", rule.Name, judged[rule.Name])
		}
		if spoke[rule.Name+" warning"]+spoke[rule.Name+" error"] == 0 && rule.Name != "valve-cannot-feed" {
			t.Errorf("%s never spoke", rule.Name)
		}
	}
	t.Log(judged, spoke)
}

func maxOf(list []*Finding) Severity {
	most := Off
	for _, f := range list {
		most = max(most, f.Severity)
	}
	return most
}

// A valve that is too small, both ways.
func TestValveCalculation(t *testing.T) {
	rule, _, _ := RuleNamed("valve-cannot-feed")
	for _, c := range []struct {
		conductance string
		want        Severity
	}{{"1.1", Off}, {"0.9", Warning}, {"0.7", Error}} {
		e, err := rule.Example(fmt.Sprintf(`machine:gas.nitrogen.valve.conductance=%s dm3/(s.bar); inert:cut.pressure=19 bar`, c.conductance))
		if err != nil {
			t.Fatal(err)
		}
		x := Explain(e.After, nil, rule, e.After.Recipe(id(t, "bay-2/stainless-steel/nitrogen/3mm")), nil)
		if len(x.Worked) < 2 || x.Worked[0].Verdict != c.want {
			t.Errorf("%s: %+v", c.conductance, x.Worked)
			continue
		}
		if verdict, near := led(t, x.Worked[0]); verdict != c.want && !near {
			t.Errorf("%s: the calculation says %s: %+v", c.conductance, verdict, x.Worked[0])
		}
		if (len(x.Findings) > 0) != (c.want > Off) {
			t.Errorf("%s: findings %+v", c.conductance, x.Findings)
		}
	}
}

// Rules that only compare say what with what.
func TestComparisons(t *testing.T) {
	r := exampleLibrary().Recipe(id(t, exampleID))
	for _, c := range []struct{ rule, put, against string }{
		{"power-over-rating", "2.2 kW", "6 kW"},
		{"power-below-minimum", "2.2 kW", "200 W"},
		{"speed-over-axes", "2.9 m/min", "120 m/min"},
		{"focus-out-of-travel", "3 mm", "-25 mm"},
		{"standoff-out-of-range", "1 mm", "10 mm"},
		{"nozzle-not-fitted", "1.2 mm", "double 1 mm, double 1.2 mm"},
		{"pressure-over-line", "0.31 bar", "3.5 bar"},
		{"gas-not-plumbed", "oxygen", "oxygen, nitrogen"},
		{"duty-mode", "45 %", "100 %"},
		{"frequency-over-limit", "400 Hz", "5 kHz"},
		{"fire-risk", "oxygen", "23.5 %"},
		{"nozzle-form-for-gas", "double", "3 mm"},
		{"reflective", "carbon-steel", "5 um"},
	} {
		rule, _, ok := RuleNamed(c.rule)
		if !ok {
			t.Fatal(c.rule)
		}
		e := Explain(exampleLibrary(), nil, rule, r, nil)
		var put, against []string
		for _, w := range e.Worked {
			for _, term := range w.Put {
				put = append(put, term.Value)
			}
			for _, term := range w.Against {
				against = append(against, term.Value)
			}
		}
		if text := strings.Join(put, "; "); !strings.Contains(text, c.put) {
			t.Errorf("%s compares %s, want %s", c.rule, text, c.put)
		}
		if text := strings.Join(against, "; "); !strings.Contains(text, c.against) {
			t.Errorf("%s compares with %s, want %s", c.rule, text, c.against)
		}
		if len(e.Findings) != 0 {
			t.Errorf("%s: %+v", c.rule, e.Findings)
		}
	}
}

// A rule that has no data says what it waits for, and one that was set differently says the limit in force.
func TestExplainSleepAndLimit(t *testing.T) {
	rule, _, _ := RuleNamed("kerf-beam")
	e, err := rule.Example(`machine:laser.core_diameter=; settings:rules.standoff-orifice.limit=3`)
	if err != nil {
		t.Fatal(err)
	}
	r := e.After.Recipe(id(t, exampleID))
	if x := Explain(e.After, nil, rule, r, nil); len(x.Worked) != 0 || len(x.Sleeping) != 1 || x.Sleeping[0] != "laser.core_diameter" {
		t.Errorf("%+v", x)
	}
	standoff, _, _ := RuleNamed("standoff-orifice")
	if x := Explain(e.After, nil, standoff, r, nil); x.Limit != "3" || x.Worked[0].Against[0].Value != "3" {
		t.Errorf("%+v", x)
	}
	short, _, _ := RuleNamed("energy-short")
	if x := Explain(e.After, nil, short, r, nil); x.Limit != "50 %" {
		t.Errorf("limit %q", x.Limit)
	}
}
