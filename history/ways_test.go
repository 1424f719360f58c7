package history_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fettle/history"
	"fettle/schema"
)

// plainSets are the condition sets of the sample library as encoding/json reads them.
func plainSets(t *testing.T) []map[string]any {
	t.Helper()
	files, err := filepath.Glob("../cmd/fettle/demo/library/sets/*/*.json")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	var out []map[string]any
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		var set map[string]any
		if err := json.Unmarshal(data, &set); err != nil {
			t.Fatal(err)
		}
		out = append(out, set)
	}
	return out
}

// valuesOf reads a condition of a plain set by the rules of the format.
func valuesOf(t *testing.T, set, condition map[string]any) *schema.Values {
	t.Helper()
	whole := maps.Clone(set)
	whole["conditions"] = []any{condition}
	data, err := json.Marshal(whole)
	if err != nil {
		t.Fatal(err)
	}
	f := schema.ReadFile("sets/a.json", data)
	s, ok := f.Value.(*schema.ConditionSet)
	if !ok || len(f.Problems) > 0 {
		t.Fatalf("%s: %v", data, f.Problems)
	}
	return &schema.Values{Machine: s.Machine, Material: s.Material, Grade: s.Grade, Gas: s.Gas, Condition: s.Conditions.V[0]}
}

// A plainEdit changes one condition as encoding/json holds it.
type plainEdit struct {
	name string
	do   func(condition map[string]any)
}

func part(c map[string]any, name string) map[string]any {
	p, ok := c[name].(map[string]any)
	if !ok {
		p = map[string]any{}
		c[name] = p
	}
	return p
}

// plainEdits touch one value each; some touch the same.
var plainEdits = []plainEdit{
	{"power", func(c map[string]any) { part(c, "cut")["power"] = "1.234 kW" }},
	{"speed", func(c map[string]any) { part(c, "cut")["speed"] = "1.234 m/min" }},
	{"pressure", func(c map[string]any) { part(c, "cut")["pressure"] = "1234 mbar" }},
	{"focus", func(c map[string]any) { part(c, "cut")["focus"] = "-1.234 mm" }},
	{"orifice", func(c map[string]any) { part(c, "nozzle")["orifice"] = "1.234 mm" }},
	{"standoff", func(c map[string]any) { part(c, "nozzle")["standoff"] = "0.0123 cm" }},
	{"kerf", func(c map[string]any) { c["kerf"] = "0.1234 mm" }},
	{"quality", func(c map[string]any) { part(c, "quality")["roughness_range"] = 4 }},
	{"lead_in", func(c map[string]any) { part(c, "lead_in")["speed"] = "1.234 m/min" }},
	{"extra", func(c map[string]any) { part(c, "extra")["my.own"] = "soft" }},
	{"pierce", func(c map[string]any) {
		if stages, _ := c["pierce"].([]any); len(stages) > 0 {
			stages[len(stages)-1].(map[string]any)["time"] = "1.234 s"
		} else {
			c["pierce"] = []any{map[string]any{"power": "1 kW", "time": "1.234 s"}}
		}
	}},
	{"corner", func(c map[string]any) { part(c, "corner")["min_power"] = "123 W" }},
	{"other speed", func(c map[string]any) { part(c, "cut")["speed"] = "2.345 m/min" }},
	{"other kerf", func(c map[string]any) { c["kerf"] = "0.2345 mm" }},
	{"no kerf", func(c map[string]any) { delete(c, "kerf") }},
	{"no corner", func(c map[string]any) { delete(c, "corner") }},
	{"no mode", func(c map[string]any) { delete(part(c, "cut"), "mode") }},
}

func copied(t *testing.T, c map[string]any) map[string]any {
	t.Helper()
	data, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	var out map[string]any
	if err := json.Unmarshal(data, &out); err != nil {
		t.Fatal(err)
	}
	return out
}

func spellChanges(changes []history.FieldChange) string {
	var b strings.Builder
	for _, c := range changes {
		fmt.Fprintf(&b, "%s %s -> %s; ", c.Path, c.From.Text, c.To.Text)
	}
	return b.String()
}

// TestAgain: what a step makes of another recipe is what plain JSON makes of it, or nothing where it would be another step.
func TestAgain(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	sets := plainSets(t)
	made, refused := 0, 0
	for range 600 {
		set := sets[r.IntN(len(sets))]
		list := set["conditions"].([]any)
		base := list[r.IntN(len(list))].(map[string]any)
		order := r.Perm(len(plainEdits))
		step, other := plainEdits[order[0]], plainEdits[order[1]]
		p, q, d, c := copied(t, base), copied(t, base), copied(t, base), copied(t, base)
		step.do(q)
		other.do(d)
		other.do(c)
		step.do(c)
		vp, vq, vd, vc := valuesOf(t, set, p), valuesOf(t, set, q), valuesOf(t, set, d), valuesOf(t, set, c)
		got := history.Again(history.CompareValues(vd, vc), vc, vp)
		// The two edits touch one thing where the step makes something else of what the other one left.
		apart := spellChanges(history.CompareValues(vp, vq)) == spellChanges(history.CompareValues(vd, vc))
		switch {
		case apart && (got == nil || got.Digest() != vq.Digest()):
			t.Errorf("%s on %s: %v", step.name, other.name, got)
		case apart:
			made++
		case got != nil && got.Digest() == vq.Digest():
			t.Errorf("%s on %s is another step, and is taken for the same", step.name, other.name)
		default:
			refused++
		}
	}
	if made < 300 || refused == 0 {
		t.Errorf("%d made, %d refused", made, refused)
	}
	t.Logf("%d made, %d refused", made, refused)
}

// TestWays: recipes that are called by what differs in them; reasons that came before and with what is judged, merges, steps.
func TestWays(t *testing.T) {
	sets := plainSets(t)
	set := sets[slices.IndexFunc(sets, func(s map[string]any) bool { return len(s["conditions"].([]any)) > 0 })]
	recipe := func(edits ...string) *schema.Values {
		c := copied(t, set["conditions"].([]any)[0].(map[string]any))
		for _, name := range edits {
			plainEdits[slices.IndexFunc(plainEdits, func(e plainEdit) bool { return e.name == name })].do(c)
		}
		return valuesOf(t, set, c)
	}
	a := recipe()
	edge := func(from, to *schema.Values) history.Edge { return history.Edge{From: from.Digest(), To: to.Digest()} }
	known := edge(recipe("kerf"), a) // one that came before
	for _, c := range []struct {
		name   string
		starts []*schema.Values
		edges  []history.Edge
		merges []history.Joint
		steps  []history.Step
		end    *schema.Values
		want   bool
	}{
		{name: "one reason", starts: []*schema.Values{a}, edges: []history.Edge{edge(a, recipe("power"))}, end: recipe("power"), want: true},
		{name: "none", starts: []*schema.Values{a}, end: recipe("power")},
		{name: "only one that came before", starts: []*schema.Values{recipe("kerf")}, edges: []history.Edge{known}, end: a},
		{name: "as it was", starts: []*schema.Values{a}, end: a, want: true},
		{name: "a merge of two explained sides", starts: []*schema.Values{a},
			edges:  []history.Edge{edge(a, recipe("power")), edge(a, recipe("speed"))},
			merges: []history.Joint{{To: recipe("power", "speed"), Sides: []*schema.Values{recipe("power"), recipe("speed")}}},
			end:    recipe("power", "speed"), want: true},
		{name: "a merge with a side that nobody explained", starts: []*schema.Values{a},
			edges:  []history.Edge{edge(a, recipe("power"))},
			merges: []history.Joint{{To: recipe("power", "speed"), Sides: []*schema.Values{recipe("power"), recipe("speed")}}},
			end:    recipe("power", "speed")},
		{name: "a merge with a value of neither side", starts: []*schema.Values{a},
			edges:  []history.Edge{edge(a, recipe("power")), edge(a, recipe("speed"))},
			merges: []history.Joint{{To: recipe("power", "speed", "kerf"), Sides: []*schema.Values{recipe("power"), recipe("speed")}}},
			end:    recipe("power", "speed", "kerf")},
		{name: "a merge that leaves out what both have", starts: []*schema.Values{a},
			edges:  []history.Edge{edge(a, recipe("power")), edge(a, recipe("speed"))},
			merges: []history.Joint{{To: recipe("power", "speed", "no mode"), Sides: []*schema.Values{recipe("power"), recipe("speed")}}},
			end:    recipe("power", "speed", "no mode")},
		{name: "a reason from what a merge made", starts: []*schema.Values{a},
			edges:  []history.Edge{edge(a, recipe("power")), edge(a, recipe("speed")), edge(recipe("power", "speed"), recipe("power", "speed", "focus"))},
			merges: []history.Joint{{To: recipe("power", "speed"), Sides: []*schema.Values{recipe("power"), recipe("speed")}}},
			end:    recipe("power", "speed", "focus"), want: true},
		{name: "a step made again on another recipe", starts: []*schema.Values{recipe("speed")},
			edges: []history.Edge{edge(a, recipe("power"))}, steps: []history.Step{{From: a, To: recipe("speed")}}, end: recipe("speed", "power"), want: true},
		{name: "two steps made again, one by one", starts: []*schema.Values{recipe("speed")},
			edges: []history.Edge{edge(a, recipe("power")), edge(recipe("power"), recipe("power", "focus"))},
			steps: []history.Step{{From: a, To: recipe("speed")}, {From: recipe("speed"), To: recipe("speed", "power")}}, end: recipe("speed", "power", "focus"), want: true},
		{name: "the second of two steps alone", starts: []*schema.Values{recipe("speed")},
			edges: []history.Edge{edge(a, recipe("power")), edge(recipe("power"), recipe("power", "focus"))},
			steps: []history.Step{{From: a, To: recipe("speed")}}, end: recipe("speed", "focus")},
		{name: "a step made again with more in it", starts: []*schema.Values{recipe("speed")},
			edges: []history.Edge{edge(a, recipe("power"))}, steps: []history.Step{{From: a, To: recipe("speed")}}, end: recipe("speed", "power", "kerf")},
		{name: "a step made again whose reason came before", starts: []*schema.Values{recipe("speed")},
			edges: []history.Edge{edge(recipe("kerf"), a)}, steps: []history.Step{{From: recipe("kerf"), To: a}, {From: a, To: recipe("speed")}}, end: recipe("speed", "kerf")},
	} {
		t.Run(c.name, func(t *testing.T) {
			var starts []schema.Digest
			for _, s := range c.starts {
				starts = append(starts, s.Digest())
			}
			w := history.Ways{Edges: c.edges, Starts: starts, Fresh: func(e history.Edge) bool { return e.From != known.From || e.To != known.To },
				Merges: func() ([]history.Joint, error) { return c.merges, nil }, Steps: func() ([]history.Step, error) { return c.steps, nil }}
			if got, err := w.Lead(c.end, c.end.Digest()); err != nil || got != c.want {
				t.Errorf("%v %v", got, err)
			}
		})
	}
}
