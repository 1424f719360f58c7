package lint

import (
	"bytes"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fettle/schema"
)

// library applies edits to the files of the example: prefix, field and value each.
func library(t *testing.T, edits ...[3]string) *schema.Library {
	t.Helper()
	files := exampleSource()
	for _, e := range edits {
		if err := edit(files, e[0], e[1], e[2]); err != nil {
			t.Fatal(err)
		}
	}
	lib, err := schema.ReadLibrary(files)
	if err != nil {
		t.Fatal(err)
	}
	return lib
}

// oldOnes lists findings above notes as "id rule old".
func oldOnes(r Result) []string {
	var out []string
	for _, f := range r.Findings {
		if f.Severity > Note {
			out = append(out, fmt.Sprintf("%s %s %v", f.ID, f.Rule, f.Old))
		}
	}
	return out
}

func TestOldAndNew(t *testing.T) {
	const six, eight = "bay-2/carbon-steel/oxygen/6mm", "bay-2/carbon-steel/oxygen/8mm"
	high := [3]string{"", "cut.pressure", "35 bar"}
	cases := []struct {
		name      string
		base, now [][3]string
		want      []string
	}{
		{"it stood in an untouched condition", [][3]string{high}, [][3]string{high, {"8mm", "cut.speed", "2.5 m/min"}}, []string{six + " pressure-over-line true"}},
		{"the condition was touched", [][3]string{high}, [][3]string{high, {"", "cut.speed", "3 m/min"}}, []string{six + " pressure-over-line false"}},
		{"another value of the same field", [][3]string{high}, [][3]string{{"", "cut.pressure", "36 bar"}}, []string{six + " pressure-over-line false"}},
		{"the same value in another unit", [][3]string{high}, [][3]string{{"", "cut.pressure", "3.5 MPa"}}, []string{six + " pressure-over-line true"}},
		{"other units for screens", [][3]string{high}, [][3]string{high, {"settings", "display.pressure", "psi"}}, []string{six + " pressure-over-line true"}},
		{"the machine lost what it needs", nil, [][3]string{{"machine", "laser.rated_power", "4 kW"}, {"machine", "note", "x"}}, []string{
			"bay-2/carbon-steel/oxygen/12mm power-over-rating false", "bay-2/stainless-steel/nitrogen/3mm power-over-rating false",
			"bay-2/stainless-steel/nitrogen/4mm power-over-rating false", "bay-2/stainless-steel/nitrogen/6mm power-over-rating false"}},
		{"a neighbour was copied onto an untouched one", nil, [][3]string{{"8mm", "all", "6mm"}}, []string{eight + " copied-neighbour false"}},
		{"a stricter rule stops nobody", [][3]string{{"10mm", "all", "12mm"}}, [][3]string{{"10mm", "all", "12mm"}, {"settings", "rules.copied-neighbour.limit", "1.1"}, {"settings", "rules.copied-neighbour.severity", "error"}},
			[]string{"bay-2/carbon-steel/oxygen/12mm copied-neighbour true"}},
		{"a slip in the file itself", [][3]string{{"", "cut.presure", "1 bar"}}, [][3]string{{"", "cut.presure", "1 bar"}, {"8mm", "cut.speed", "2.5 m/min"}}, []string{six + " unknown-field true"}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			result := Run(library(t, c.now...), Options{Base: library(t, c.base...)})
			if got := oldOnes(result); !slices.Equal(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
			blocking := 0
			for _, f := range result.Findings {
				if f.Severity == Error && !f.Old {
					blocking++
				}
			}
			if len(result.Blocking()) != blocking {
				t.Errorf("%d block, want %d", len(result.Blocking()), blocking)
			}
		})
	}
}

// A syntax slip says the same wherever it is: only a file that nobody touched has the old one.
func TestOldSyntax(t *testing.T) {
	path := "sets/bay-2/carbon-steel-oxygen.json"
	broken := func(at string) *schema.Library {
		files := exampleSource()
		files[path] = bytes.Replace(files[path], []byte(at+`,`), []byte(at+`,,`), 1)
		lib, err := schema.ReadLibrary(files)
		if err != nil {
			t.Fatal(err)
		}
		return lib
	}
	for _, c := range []struct {
		base, now *schema.Library
		want      bool
	}{{broken(`"1.5 kW"`), broken(`"1.5 kW"`), true}, {broken(`"1.5 kW"`), broken(`"1.8 kW"`), false}} {
		for _, f := range Run(c.now, Options{Base: c.base}).Findings {
			if f.Rule == "syntax" && f.Old != c.want {
				t.Errorf("old %v, want %v: %+v", f.Old, c.want, f)
			}
		}
	}
}

func TestOnly(t *testing.T) {
	lib := library(t, [3]string{"", "cut.pressure", "35 bar"}, [3]string{"8mm", "cut.pressure", "36 bar"}, [3]string{"machine", "axes", ""})
	only := func(name string) func(*schema.Recipe) bool {
		return func(r *schema.Recipe) bool { return strings.HasPrefix(r.ID.String(), name) }
	}
	r := Run(lib, Options{Only: only("bay-2/carbon-steel/oxygen/8mm")})
	if r.Conditions != 1 || len(r.Findings) != 2 || r.Findings[0].Rule != "sleeping" || r.Findings[1].ID != "bay-2/carbon-steel/oxygen/8mm" {
		t.Errorf("%d conditions, %+v", r.Conditions, r.Findings)
	}
	if r := Run(lib, Options{Only: only("bay-1/")}); r.Conditions != 0 || len(r.Findings) != 0 {
		t.Errorf("nothing is asked for, and found is %+v", r.Findings)
	}
	// the family is judged as a whole also where one of it is asked for
	lib = library(t, [3]string{"8mm", "all", "6mm"})
	if r := Run(lib, Options{Only: only("bay-2/carbon-steel/oxygen/8mm")}); len(r.Findings) != 1 || r.Findings[0].Rule != "copied-neighbour" {
		t.Errorf("%+v", r.Findings)
	}
}

func TestSeverityOfTheSettings(t *testing.T) {
	set := func(rule, severity string) *schema.Library {
		return library(t, [3]string{"", "cut.duty", "80 %"}, [3]string{"", "cut.pressure", "35 bar"}, [3]string{"settings", "rules." + rule + ".severity", severity})
	}
	got := func(lib *schema.Library, rule string, opts Options) Severity {
		for _, f := range Run(lib, opts).Findings {
			if f.Rule == rule {
				return f.Severity
			}
		}
		return Off
	}
	for _, c := range []struct {
		rule, severity string
		want           Severity
	}{
		{"pressure-over-line", "warning", Warning}, {"pressure-over-line", "off", Off}, {"pressure-over-line", "error", Error},
		{"duty-mode", "note", Note},     // a rule of two levels: its softer one gets no harder than what is set
		{"duty-mode", "error", Warning}, // and not harder than it is
	} {
		if s := got(set(c.rule, c.severity), c.rule, Options{}); s != c.want {
			t.Errorf("%s set to %s: %s, want %s", c.rule, c.severity, s, c.want)
		}
	}
	if s := got(set("pressure-over-line", "note"), "pressure-over-line", Options{Severity: map[string]Severity{"pressure-over-line": Error}}); s != Error {
		t.Errorf("the caller has the last word, got %s", s)
	}
}

func TestAccepted(t *testing.T) {
	lib := library(t, [3]string{"8mm", "all", "6mm"}, [3]string{"", "cut.presure", "1 bar"})
	asked := map[string]bool{}
	r := Run(lib, Options{
		Changes: []Change{{ID: id(t, exampleID), After: lib.Recipe(id(t, exampleID)).Values()}},
		Accepted: func(rule string, severity Severity, r *schema.Recipe) bool {
			asked[fmt.Sprintf("%s %s %s", rule, severity, r.ID)] = true
			return true
		},
	})
	if !reflect.DeepEqual(asked, map[string]bool{"copied-neighbour warning bay-2/carbon-steel/oxygen/8mm": true}) {
		t.Errorf("asked for %v; rules about files and changes are not accepted", asked)
	}
	if r.Accepted != 1 || len(r.Blocking()) != 2 {
		t.Errorf("%d accepted, %+v", r.Accepted, r.Findings)
	}
}

func TestInForce(t *testing.T) {
	over := [3]string{"", "cut.power", "6.5 kW"}
	loosened := library(t, over, [3]string{"machine", "laser.rated_power", "8 kW"})
	if r := Run(loosened, Options{}); len(r.Blocking()) != 0 {
		t.Fatalf("8 kW bear 6.5 kW: %+v", r.Blocking())
	}
	r := Run(loosened, Options{InForce: library(t)})
	if b := r.Blocking(); len(b) != 1 || b[0].Rule != "power-over-rating" || !contains(b[0].Message, "rated 6 kW") || !contains(b[0].Help, "waits for approval") {
		t.Errorf("the approved rating counts until the new one is approved: %+v", b)
	}
	// the other way round the new one is the stricter and says it once
	tightened := library(t, [3]string{"", "cut.power", "5.5 kW"}, [3]string{"machine", "laser.rated_power", "5 kW"})
	count := 0
	for _, f := range Run(tightened, Options{InForce: library(t)}).Findings {
		if f.Rule == "power-over-rating" && f.ID == exampleID {
			count++
		}
	}
	if count != 1 {
		t.Errorf("%d findings for one value", count)
	}
	// a material that is new is no loosening
	added := library(t, [3]string{"settings", "materials.corten.base", "carbon-steel"}, [3]string{"set", "material", "corten"})
	if b := Run(added, Options{InForce: library(t)}).Blocking(); len(b) != 0 {
		t.Errorf("a new material: %+v", b)
	}
	// a rule that was turned off stays on until that is approved
	off := library(t, over, [3]string{"settings", "rules.power-over-rating.severity", "off"})
	if b := Run(off, Options{InForce: library(t)}).Blocking(); len(b) != 1 {
		t.Errorf("turned off without approval: %+v", b)
	}
}

func TestFindingsAreSortedAndSteady(t *testing.T) {
	lib := library(t, [3]string{"", "cut.pressure", "35 bar"}, [3]string{"", "cut.power", "8 kW"}, [3]string{"2mm", "cut.speed", "0 m/min"}, [3]string{"8mm", "all", "6mm"})
	first := Run(lib, Options{Base: exampleLibrary()}).Findings
	for range 20 {
		again := Run(lib, Options{Base: exampleLibrary()}).Findings
		if len(again) != len(first) {
			t.Fatal("the number of findings changes")
		}
		for i := range again {
			if again[i].Message != first[i].Message || again[i].Help != first[i].Help {
				t.Fatalf("%+v and %+v", again[i], first[i])
			}
		}
	}
	for i := 1; i < len(first); i++ {
		a, b := first[i-1], first[i]
		if a.Path > b.Path || a.Path == b.Path && (a.Line > b.Line || a.Line == b.Line && a.Column > b.Column) {
			t.Errorf("%s:%d:%d before %s:%d:%d", a.Path, a.Line, a.Column, b.Path, b.Line, b.Column)
		}
	}
}

// quantityFields are fields of a condition with values that nothing can have, and values far beyond.
var quantityFields = map[string]struct{ impossible, absurd []string }{
	"thickness":           {[]string{"0 mm", "-3 mm"}, []string{"90 m", "1000000 in"}},
	"nozzle.orifice":      {[]string{"0 mm", "-1 mm"}, []string{"1 m"}},
	"nozzle.standoff":     {[]string{"0 mm", "-1 mm"}, []string{"7 m", "100000000000 um"}},
	"cut.power":           {[]string{"0 W", "-2 kW"}, []string{"999999 kW"}},
	"cut.speed":           {[]string{"0 m/min", "-1 mm/s"}, []string{"99999 m/s"}},
	"cut.pressure":        {[]string{"-1 bar"}, []string{"9999 MPa"}},
	"cut.focus":           {nil, []string{"3 m", "-3 m"}},
	"cut.spot":            {[]string{"0 mm", "-1 mm"}, []string{"1 m"}},
	"lead_in.power":       {[]string{"0 W", "-1 W"}, []string{"1000 kW"}},
	"lead_in.speed":       {[]string{"0 m/min"}, []string{"9999 m/s"}},
	"pierce[0].power":     {[]string{"-1 W"}, []string{"999 kW"}},
	"pierce[0].time":      {[]string{"-1 s"}, []string{"999999 min"}},
	"pierce[0].pressure":  {[]string{"-1 psi"}, []string{"99999 psi"}},
	"pierce[0].duty":      {[]string{"0 %", "-5 %", "101 %"}, nil},
	"pierce[0].standoff":  {[]string{"0 mm"}, []string{"10 m"}},
	"pierce[0].frequency": {[]string{"0 Hz", "-1 Hz"}, []string{"999999 kHz"}},
	"kerf":                {[]string{"0 mm", "-0.1 mm"}, []string{"10 m"}},
	"corner.min_duty":     {[]string{"-1 %", "200 %"}, nil},
	"corner.min_power":    {[]string{"-1 W"}, []string{"1000 kW"}},
}

// Nothing that cannot be passes, on a machine that says little as well as on one that says all.
func TestImpossibleAndAbsurdValues(t *testing.T) {
	bare := [][3]string{{"machine", "axes", ""}, {"machine", "head.focus_range", ""}, {"machine", "head.standoff_range", ""}, {"machine", "laser.max_frequency", ""}, {"machine", "laser.min_power", ""}}
	for field, values := range quantityFields {
		for _, edits := range [][][3]string{nil, bare} {
			for _, v := range values.impossible {
				r := Run(library(t, append(slices.Clone(edits), [3]string{"", field, v})...), Options{Base: exampleLibrary()})
				if len(r.Blocking()) == 0 {
					t.Errorf("%s=%s is no error: %+v", field, v, r.New().Findings)
				}
			}
			for _, v := range values.absurd {
				r := Run(library(t, append(slices.Clone(edits), [3]string{"", field, v})...), Options{Base: exampleLibrary()}).New()
				if errors, warnings, _ := r.Count(); errors+warnings == 0 {
					t.Errorf("%s=%s passes", field, v)
				}
			}
		}
	}
}

// Whatever stands in the files: a judgement and no panic, and every finding has its place.
func TestRunNeverPanics(t *testing.T) {
	fields := []string{"thickness", "variant", "process", "nozzle", "nozzle.form", "cut", "cut.mode", "cut.frequency", "cut.duty", "lead_in", "lead_in.mode", "corner", "contours", "pierce", "quality",
		"extra", "kerf", "note", "unknown", "contours[0].speed", "pierce[0].gas", "pierce[1].power"}
	for field := range quantityFields {
		fields = append(fields, field)
	}
	slices.Sort(fields)
	units := []string{"mm", "in", "bar", "psi", "kW", "W", "m/min", "mm/s", "s", "Hz", "%", "", "furlong"}
	raw := []string{"null", "true", "{}", "[]", "3", `[{}]`, `{"a": 1}`, `""`, `[[]]`}
	others := []struct {
		prefix string
		fields []string
	}{
		{"machine", []string{"laser", "head", "axes", "gas", "gas.oxygen", "gas.oxygen.valve", "head.nozzles", "head.focus_range", "laser.rated_power", "laser.peak_power", "name", "extra"}},
		{"set", []string{"machine", "material", "gas", "conditions", "grade"}},
		{"settings", []string{"rules", "gases", "materials", "trend", "policy", "display", "rules.large-step", "rules.large-step.limit", "gases.air", "materials.x.base"}},
	}
	rapid.Check(t, func(rt *rapid.T) {
		files, before := exampleSource(), exampleSource()
		for range rapid.IntRange(1, 6).Draw(rt, "edits") {
			value := ""
			switch rapid.IntRange(0, 3).Draw(rt, "kind") {
			case 0:
				value = fmt.Sprintf("%g %s", rapid.Float64Range(-1e6, 1e6).Draw(rt, "number"), rapid.SampledFrom(units).Draw(rt, "unit"))
			case 1:
				value = fmt.Sprintf("%d %s", rapid.IntRange(-5, 40).Draw(rt, "small"), rapid.SampledFrom(units).Draw(rt, "unit"))
			case 2:
				value = rapid.SampledFrom([]string{"", "pulsed", "continuous", "mark", "vaporise", "cut", "oxygen", "argon", "xenon", "titanium", "copper", "bay-9", "single", "double", "a-b"}).Draw(rt, "word")
			}
			prefix, field := rapid.SampledFrom([]string{"", "8mm", "12mm", "2mm"}).Draw(rt, "at"), rapid.SampledFrom(fields).Draw(rt, "field")
			if rapid.IntRange(0, 3).Draw(rt, "elsewhere") == 0 {
				other := rapid.SampledFrom(others).Draw(rt, "file")
				prefix, field = other.prefix, rapid.SampledFrom(other.fields).Draw(rt, "member")
			}
			if value == "" && rapid.Bool().Draw(rt, "raw") {
				field, value = field+":", rapid.SampledFrom(raw).Draw(rt, "json")
			}
			_ = edit(files, prefix, field, value) // an edit that does not fit is none
		}
		lib, err := schema.ReadLibrary(files)
		if err != nil {
			rt.Fatal(err)
		}
		base, err := schema.ReadLibrary(before)
		if err != nil {
			rt.Fatal(err)
		}
		var changes []Change
		for _, r := range lib.Recipes {
			c := Change{ID: r.ID, After: r.Values(), Reasoned: rapid.Bool().Draw(rt, "reasoned"), Status: rapid.SampledFrom([]string{"", "new", "changed", "stale", "nonsense"}).Draw(rt, "status")}
			if was := base.Recipe(r.ID); was != nil {
				c.Before, c.Approved = was.Values(), was.Values()
			}
			changes = append(changes, c)
		}
		result := Run(lib, Options{Base: base, InForce: base, Changes: changes, Records: []RecordChange{{Path: "records/x.json"}}})
		for _, f := range result.Findings {
			if f.Rule == "" || f.Message == "" || f.Line < 1 || f.Column < 1 || f.Width < 1 || f.Path == "" || f.Severity == Off || strings.Contains(f.Message+f.Help, "%!") || strings.Contains(f.Message, "\n") {
				rt.Fatalf("incomplete: %+v", f)
			}
			if _, _, ok := RuleNamed(f.Rule); !ok {
				rt.Fatalf("no rule %s", f.Rule)
			}
			if f.File != nil {
				line := f.File.Line(f.Line)
				if f.Column > len([]rune(line))+1 {
					rt.Fatalf("column %d of a line of %d: %+v", f.Column, len([]rune(line)), f)
				}
			}
		}
	})
}

func TestEmptyLibrary(t *testing.T) {
	lib, err := schema.ReadLibrary(memory{})
	if err != nil {
		t.Fatal(err)
	}
	if r := Run(lib, Options{Base: lib, InForce: lib}); len(r.Findings) != 0 || r.Files != 0 {
		t.Errorf("%+v", r)
	}
}

func BenchmarkRun(b *testing.B) {
	lib := exampleLibrary()
	b.ReportAllocs()
	for b.Loop() {
		Run(lib, Options{Base: lib})
	}
}
