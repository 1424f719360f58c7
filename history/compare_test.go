package history_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/big"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"fettle/history"
	"fettle/schema"
)

// A plate is one condition as a test writes it: its members as JSON.
type plate map[string]any

func newPlate(thickness string) plate {
	return plate{"thickness": thickness, "nozzle": plate{"form": "double", "orifice": "1.2 mm", "standoff": "1 mm"},
		"cut": plate{"power": "2.2 kW", "speed": "2.9 m/min", "pressure": "0.31 bar", "focus": "3 mm"}}
}

// with returns a copy with one member other; a nil value takes it out.
func (p plate) with(path string, value any) plate {
	out := maps.Clone(p)
	name, rest, deeper := strings.Cut(path, ".")
	switch {
	case deeper:
		below, _ := out[name].(plate)
		if below == nil {
			below = plate{}
		}
		out[name] = below.with(rest, value)
	case value == nil:
		delete(out, name)
	default:
		out[name] = value
	}
	return out
}

func setFile(grade string, plates ...plate) string {
	set := map[string]any{"kind": "condition-set", "format": 1, "machine": "bay-2", "material": "carbon-steel", "gas": "oxygen", "conditions": plates}
	if grade != "" {
		set["grade"] = grade
	}
	text, err := json.Marshal(set)
	if err != nil {
		panic(err)
	}
	return string(text)
}

func libraryWith(t testing.TB, files map[string]string) *schema.Library {
	t.Helper()
	m := memory{schema.SettingsFile: fmt.Appendf(nil, `{"kind":"library","format":1,"id":%q,"name":"Northgate plate shop"}`, northgate)}
	for path, text := range files {
		m["sets/bay-2/"+path+".json"] = []byte(text)
	}
	lib, err := schema.ReadLibrary(m)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range lib.Files {
		if len(f.Problems) > 0 {
			t.Fatalf("%s: %v\n%s", f.Path, f.Problems, f.Data)
		}
	}
	return lib
}

// spell writes differences down: id, then each field with its values.
func spell(differences []history.Difference) []string {
	var out []string
	for _, d := range differences {
		what := "changed"
		switch {
		case d.Before == nil:
			what = "new"
		case d.After == nil:
			what = "removed"
		case d.NoteOnly:
			what = "note"
		}
		text := fmt.Sprintf("%s %s", what, d.ID)
		if what != "new" && what != "removed" {
			for _, f := range d.Fields {
				text += fmt.Sprintf(" %s:%s>%s", f.Path, f.From.Text, f.To.Text)
			}
		}
		out = append(out, text)
	}
	return out
}

func TestCompare(t *testing.T) {
	three, six := newPlate("3 mm"), newPlate("6 mm")
	const id3 = "bay-2/carbon-steel/oxygen/3mm"
	stage := plate{"power": "900 W", "time": "0.12 s"}
	for _, c := range []struct {
		name          string
		before, after map[string]string
		want          []string
	}{
		{"nothing", map[string]string{"a": setFile("", three, six)}, map[string]string{"a": setFile("", three, six)}, nil},
		{"in another order", map[string]string{"a": setFile("", three, six)}, map[string]string{"a": setFile("", six, three)}, nil},
		{"file renamed", map[string]string{"a": setFile("", three, six)}, map[string]string{"b": setFile("", three, six)}, nil},
		{"file moved down", map[string]string{"a": setFile("", three)}, map[string]string{"thin/a": setFile("", three)}, nil},
		{"file split", map[string]string{"a": setFile("", three, six)}, map[string]string{"a": setFile("", three), "b": setFile("", six)}, nil},
		{"files united", map[string]string{"a": setFile("", three), "b": setFile("", six)}, map[string]string{"a": setFile("", three, six)}, nil},
		{"laid out anew", map[string]string{"a": setFile("", three)}, map[string]string{"a": strings.ReplaceAll(setFile("", three), ",", ",\n   ")}, nil},
		{"in other units", map[string]string{"a": setFile("", six)}, map[string]string{"a": setFile("", six.with("thickness", "0.6 cm").with("cut.pressure", "31 kPa").with("cut.speed", "2900 mm/min"))}, nil},
		{"the process said that was meant", map[string]string{"a": setFile("", six)}, map[string]string{"a": setFile("", six.with("process", "cut"))}, nil},
		{"one value", map[string]string{"a": setFile("", six)}, map[string]string{"a": setFile("", six.with("cut.pressure", "0.35 bar"))}, []string{"changed " + id6 + " cut.pressure:0.31 bar>0.35 bar"}},
		{"a value added and one taken out", map[string]string{"a": setFile("", six.with("kerf", "0.3 mm"))}, map[string]string{"a": setFile("", six.with("cut.mode", "continuous"))},
			[]string{"changed " + id6 + " cut.mode:>continuous kerf:0.3 mm>"}},
		{"thickness", map[string]string{"a": setFile("", six)}, map[string]string{"a": setFile("", six.with("thickness", "6.5 mm"))},
			[]string{"removed " + id6, "new bay-2/carbon-steel/oxygen/6.5mm"}},
		{"new and removed", map[string]string{"a": setFile("", six)}, map[string]string{"a": setFile("", three)}, []string{"new " + id3, "removed " + id6}},
		{"variant", map[string]string{"a": setFile("", six)}, map[string]string{"a": setFile("", six.with("variant", "pickled"))}, []string{"removed " + id6, "new " + id6 + "/pickled"}},
		{"process", map[string]string{"a": setFile("", six)}, map[string]string{"a": setFile("", six.with("process", "mark"))}, []string{"removed " + id6, "new " + id6 + "/mark"}},
		{"grade of the set", map[string]string{"a": setFile("S235JR", three, six)}, map[string]string{"a": setFile("S355J2", three, six)},
			[]string{"changed " + id3 + " grade:S235JR>S355J2", "changed " + id6 + " grade:S235JR>S355J2"}},
		{"note", map[string]string{"a": setFile("", six)}, map[string]string{"a": setFile("", six.with("note", "cut well"))}, []string{"note " + id6 + " note:>cut well"}},
		{"note and value", map[string]string{"a": setFile("", six.with("note", "old"))}, map[string]string{"a": setFile("", six.with("note", "new").with("cut.focus", "4 mm"))},
			[]string{"changed " + id6 + " cut.focus:3 mm>4 mm note:old>new"}},
		{"pierce stage added", map[string]string{"a": setFile("", six.with("pierce", []plate{stage}))}, map[string]string{"a": setFile("", six.with("pierce", []plate{stage, stage}))},
			[]string{"changed " + id6 + " pierce[1].power:>900 W pierce[1].time:>0.12 s"}},
		{"pierce stage taken out", map[string]string{"a": setFile("", six.with("pierce", []plate{stage.with("time", "1 s"), stage}))}, map[string]string{"a": setFile("", six.with("pierce", []plate{stage}))},
			[]string{"changed " + id6 + " pierce[0].time:1 s>0.12 s pierce[1].power:900 W> pierce[1].time:0.12 s>"}},
		{"start at the edge", map[string]string{"a": setFile("", six)}, map[string]string{"a": setFile("", six.with("pierce", []plate{}))}, []string{"changed " + id6 + " pierce:>[]"}},
		{"a stage that says nothing", map[string]string{"a": setFile("", six.with("pierce", []plate{stage}))}, map[string]string{"a": setFile("", six.with("pierce", []plate{stage, {}}))},
			[]string{"changed " + id6 + " pierce[1]:>{}"}},
		{"an object that says nothing", map[string]string{"a": setFile("", six)}, map[string]string{"a": setFile("", six.with("lead_in", plate{}).with("corner", plate{}).with("quality", plate{}))},
			[]string{"changed " + id6 + " lead_in:>{} corner:>{} quality:>{}"}},
		{"order by thickness", map[string]string{}, map[string]string{"a": setFile("", newPlate("10 mm"), newPlate("2 mm"))}, []string{"new bay-2/carbon-steel/oxygen/2mm", "new bay-2/carbon-steel/oxygen/10mm"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			before, after := libraryWith(t, c.before), libraryWith(t, c.after)
			if d := cmp.Diff(c.want, spell(history.Compare(before, after))); d != "" {
				t.Error(d)
			}
		})
	}
}

func TestDifference(t *testing.T) {
	six := newPlate("6 mm")
	before, after := libraryWith(t, map[string]string{"a": setFile("", six)}), libraryWith(t, map[string]string{"a": setFile("", six.with("cut.focus", "4 mm"), newPlate("8 mm"))})
	got := history.Compare(before, after)
	if ids := history.Touched(got); len(ids) != 2 || ids[0].String() != id6 {
		t.Errorf("touched %v", ids)
	}
	if from, to := got[0].Digests(); from != before.Recipes[0].Digest() || to != after.Recipes[0].Digest() {
		t.Error("digests are not those of the recipes")
	}
	if from, to := got[1].Digests(); from != "" || to != after.Recipes[1].Digest() {
		t.Error("a new one has no digest before")
	}
	if len(got[1].Fields) != len(schema.Fields(after.Recipes[1].Values())) {
		t.Error("a new one shows all its values")
	}
}

func TestPercent(t *testing.T) {
	change := func(from, to string) history.FieldChange {
		six := newPlate("6 mm")
		b, a := libraryWith(t, map[string]string{"a": setFile("", six.with("cut.focus", from))}), libraryWith(t, map[string]string{"a": setFile("", six.with("cut.focus", to))})
		return history.Compare(b, a)[0].Fields[0]
	}
	for _, c := range []struct {
		from, to string
		want     float64
		ok       bool
	}{{"2 mm", "3 mm", 50, true}, {"4 mm", "3 mm", -25, true}, {"-2 mm", "-3 mm", 50, true}, {"-2 mm", "2 mm", 0, false}, {"0 mm", "2 mm", 0, false}, {"2 mm", "0 mm", -100, true}} {
		if got, ok := change(c.from, c.to).Percent(); ok != c.ok || got-c.want > 1e-9 || c.want-got > 1e-9 {
			t.Errorf("%s to %s: %v %v, want %v %v", c.from, c.to, got, ok, c.want, c.ok)
		}
	}
	if _, ok := (history.FieldChange{}).Percent(); ok {
		t.Error("no quantities have no percent")
	}
}

// The oracle reads the files with encoding/json into maps, flattens them and multiplies numbers by its own table of units.
func TestCompareAgainstPlainMaps(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		before, after := drawSets(rt), drawSets(rt)
		got := map[string]string{}
		for _, d := range history.Compare(libraryWith(t, before), libraryWith(t, after)) {
			var paths []string
			for _, f := range d.Fields {
				paths = append(paths, f.Path)
			}
			slices.Sort(paths)
			got[d.ID.String()] = strings.Join(paths, " ")
			if d.NoteOnly != (got[d.ID.String()] == "note") {
				rt.Fatalf("%s: note only %v of %s", d.ID, d.NoteOnly, paths)
			}
		}
		want := map[string]string{}
		a, b := flatSets(before), flatSets(after)
		for _, id := range append(slices.Collect(maps.Keys(a)), slices.Collect(maps.Keys(b))...) {
			var paths []string
			for path, value := range a[id] {
				if b[id][path] != value {
					paths = append(paths, path)
				}
			}
			for path := range b[id] {
				if a[id][path] == "" {
					paths = append(paths, path)
				}
			}
			slices.Sort(paths)
			if len(paths) > 0 {
				want[id] = strings.Join(paths, " ")
			}
		}
		if d := cmp.Diff(want, got); d != "" {
			rt.Fatalf("%s\nbefore %v\nafter %v", d, before, after)
		}
	})
}

func drawSets(t *rapid.T) map[string]string {
	files := map[string][]plate{}
	grade := rapid.SampledFrom([]string{"", "S235JR", "S355J2"}).Draw(t, "grade")
	for _, thickness := range []string{"3 mm", "6 mm", "12.5 mm"} {
		if rapid.IntRange(0, 4).Draw(t, "there") == 0 {
			continue
		}
		p := newPlate(thickness)
		p = p.with("cut.pressure", rapid.SampledFrom([]string{"0.31 bar", "31 kPa", "31000 Pa", "0.4 bar"}).Draw(t, "pressure"))
		p = p.with("cut.speed", rapid.SampledFrom([]string{"2.9 m/min", "2900 mm/min", "3 m/min", "50 mm/s"}).Draw(t, "speed"))
		p = p.with("nozzle.form", rapid.SampledFrom([]string{"single", "double"}).Draw(t, "form"))
		if rapid.Bool().Draw(t, "kerf") {
			p = p.with("kerf", rapid.SampledFrom([]string{"0.3 mm", "300 um", "0.35 mm"}).Draw(t, "kerf"))
		}
		if rapid.Bool().Draw(t, "note") {
			p = p.with("note", rapid.SampledFrom([]string{"cut well", "cut badly"}).Draw(t, "note"))
		}
		if n := rapid.IntRange(-1, 2).Draw(t, "stages"); n >= 0 {
			stages := make([]plate, n)
			for i := range stages {
				stages[i] = plate{"time": rapid.SampledFrom([]string{"0.1 s", "100 ms", "0.2 s"}).Draw(t, "time")}
			}
			p = p.with("pierce", stages)
		}
		file := rapid.SampledFrom([]string{"a", "b"}).Draw(t, "file")
		files[file] = append(files[file], p)
	}
	out := map[string]string{}
	for name, plates := range files {
		out[name] = setFile(grade, plates...)
	}
	return out
}

func flatSets(files map[string]string) map[string]map[string]string {
	out := map[string]map[string]string{}
	for _, text := range files {
		var set map[string]any
		if err := json.Unmarshal([]byte(text), &set); err != nil {
			panic(err)
		}
		for _, c := range set["conditions"].([]any) {
			flat := map[string]string{"machine": "bay-2", "material": "carbon-steel", "gas": "oxygen"}
			if grade, ok := set["grade"]; ok {
				flat["grade"] = grade.(string)
			}
			flatten(flat, "", c)
			thickness := c.(map[string]any)["thickness"].(string)
			out["bay-2/carbon-steel/oxygen/"+strings.TrimSuffix(thickness, " mm")+"mm"] = flat
		}
	}
	return out
}

func flatten(into map[string]string, path string, value any) {
	switch v := value.(type) {
	case map[string]any:
		for name, below := range v {
			flatten(into, strings.TrimPrefix(path+"."+name, "."), below)
		}
	case []any:
		if len(v) == 0 {
			into[path] = "[]"
		}
		for i, below := range v {
			flatten(into, fmt.Sprintf("%s[%d]", path, i), below)
		}
	case string:
		into[path] = inBase(v)
	}
}

// inBase writes a number with a unit in the SI unit of its dimension, which a member never changes; other texts stay. The factors are those of the SI brochure.
func inBase(text string) string {
	number, unit, ok := strings.Cut(text, " ")
	factor := map[string]string{"mm": "1/1000", "um": "1/1000000", "bar": "100000", "kPa": "1000", "Pa": "1", "m/min": "1/60",
		"mm/min": "1/60000", "mm/s": "1/1000", "s": "1", "ms": "1/1000", "kW": "1000"}[unit]
	n, isNumber := new(big.Rat).SetString(number)
	f, isUnit := new(big.Rat).SetString(factor)
	if !ok || !isNumber || !isUnit {
		return text
	}
	return n.Mul(n, f).RatString()
}
