package table

import (
	"bytes"
	"fmt"
	"maps"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fettle/schema"
	"fettle/schema/quantity"
)

// every exports all conditions of a library.
func every(lib *schema.Library) []Row {
	var rows []Row
	for _, r := range lib.Recipes {
		rows = append(rows, Row{ID: r.ID, Values: r.Values()})
	}
	return rows
}

func exported(t testing.TB, rows []Row) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Export(rows, &b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// copied puts the files of an import over those of a library.
func copied(t testing.TB, src schema.Source, imp *Import) *schema.Library {
	t.Helper()
	all := files{}
	for _, p := range src.Files() {
		data, err := src.Read(p)
		if err != nil {
			t.Fatal(err)
		}
		all[p] = data
	}
	for _, f := range imp.Files {
		all[f.Path] = f.New
	}
	return library(t, all)
}

// emptied is a library without its sets.
func emptied(t testing.TB, src schema.Source) files {
	t.Helper()
	all := files{}
	for _, p := range src.Files() {
		if !strings.HasPrefix(p, "sets/") {
			data, err := src.Read(p)
			if err != nil {
				t.Fatal(err)
			}
			all[p] = data
		}
	}
	return all
}

func good(t testing.TB, imp *Import) {
	t.Helper()
	for _, p := range imp.Problems {
		t.Errorf("%s\n%s", p, p.Help)
	}
	if t.Failed() {
		t.FailNow()
	}
}

// What the sample library exports comes back as it was: into the same library without a change, into one without sets as the
// same recipes with the same notes.
func TestSampleLibraryRoundTrip(t *testing.T) {
	src := dir("../demo/library")
	lib := library(t, src)
	sheet := exported(t, every(lib))
	same := Read(sheet, lib, Options{})
	good(t, same)
	if len(same.Files) > 0 || same.Count(Unchanged) != len(lib.Recipes) {
		t.Errorf("%d files change, %d of %d conditions are unchanged", len(same.Files), same.Count(Unchanged), len(lib.Recipes))
	}
	bareShop := emptied(t, src)
	imp := Read(sheet, library(t, bareShop), Options{})
	good(t, imp)
	sameRecipes(t, lib, copied(t, bareShop, imp))
}

func sameRecipes(t interface {
	Helper()
	Errorf(string, ...any)
}, want, got *schema.Library) {
	t.Helper()
	if len(got.Recipes) != len(want.Recipes) {
		t.Errorf("%d conditions became %d", len(want.Recipes), len(got.Recipes))
	}
	for _, f := range got.Files {
		for _, p := range f.Problems {
			t.Errorf("%s: %s: %s", f.Path, p.Field, p.Message)
		}
	}
	for _, r := range want.Recipes {
		back := got.Recipe(r.ID)
		switch {
		case back == nil:
			t.Errorf("%s is gone", r.ID)
		case back.Digest() != r.Digest():
			t.Errorf("%s is another recipe:\n%s\n%s", r.ID, r.Values().Canonical(), back.Values().Canonical())
		case back.Note.V != r.Note.V:
			t.Errorf("%s: note %q became %q", r.ID, r.Note.V, back.Note.V)
		}
	}
}

// Any condition that a library can hold survives export and import: values exactly, digits as typed, texts whatever a
// spreadsheet might take them for.
func TestRoundTripOfAnything(t *testing.T) {
	base := emptied(t, dir("../demo/library"))
	base["machines/bay-2.json"] = bytes.Replace(base["machines/bay-2.json"], []byte(`"note":`), []byte(`"extra": ["gas-delay", "Table No. [x]"], "note":`), 1)
	shop := library(t, base)
	rapid.Check(t, func(rt *rapid.T) {
		all := maps.Clone(base)
		for i, gas := range []string{"oxygen", "nitrogen"} {
			set := schema.Layout(drawSet(rt, gas, i))
			if f := schema.ReadFile("sets/bay-2/x.json", set); len(f.Problems) > 0 {
				rt.Fatalf("the test made a bad set: %v\n%s", f.Problems, set)
			}
			all["sets/bay-2/carbon-steel-"+gas+".json"] = set
		}
		lib := library(t, all)
		sheet := exported(t, every(lib))
		imp := Read(sheet, shop, Options{})
		for _, p := range imp.Problems {
			rt.Fatalf("%s\n%s\n%s", p, p.Help, sheet)
		}
		back := copied(t, base, imp)
		sameRecipes(rt, lib, back)
		if again := Read(sheet, lib, Options{}); len(again.Problems) > 0 || len(again.Files) > 0 {
			rt.Fatalf("the same sheet again changes something: %v %v\n%s", again.Problems, again.Files, sheet)
		}
		for _, r := range lib.Recipes { // digits as typed
			got := map[string]schema.Field{}
			for _, f := range schema.Fields(back.Recipe(r.ID).Condition) {
				got[f.Path] = f
			}
			for _, f := range schema.Fields(r.Condition) {
				if !f.Quantity.IsZero() && numberText(f.Quantity) != numberText(got[f.Path].Quantity) {
					rt.Fatalf("%s %s: %q became %q", r.ID, f.Path, f.Text, got[f.Path].Text)
				}
			}
		}
	})
}

func drawSet(rt *rapid.T, gas string, seed int) *schema.Node {
	set := object("kind", "condition-set", "machine", "bay-2", "material", "carbon-steel", "gas", gas)
	put(set, "format", &schema.Node{Kind: schema.Digits, Text: "1"})
	if rapid.Bool().Draw(rt, "grade") {
		put(set, "grade", schema.Text(rapid.SampledFrom([]string{"S355J2", "=S235", "-x", "1.0038", "'q"}).Draw(rt, "grade")))
	}
	list := &schema.Node{Kind: schema.Array}
	put(set, "conditions", list)
	for i := range rapid.IntRange(1, 4).Draw(rt, "conditions") {
		list.Kids = append(list.Kids, drawCondition(rt, 4*seed+i))
	}
	return set
}

var text = rapid.OneOf(rapid.StringMatching(`[=+@'\-]?[ -~äöüß½µ;,"]{0,20}[!-~]`), rapid.SampledFrom([]string{"-", "'-", "''", "=1+1", "two\nlines", "+", "#REF!", "n/a", "1,5", "\ttab"}))

func drawCondition(rt *rapid.T, i int) *schema.Node {
	q := func(d quantity.Dimension) *schema.Node {
		number := rapid.StringMatching(`(0|[1-9][0-9]{0,3})(\.[0-9]{1,4})?`).Draw(rt, "number")
		if d == quantity.DimLength && rapid.IntRange(0, 5).Draw(rt, "minus") == 0 {
			number = "-" + number
		}
		unit := rapid.SampledFrom(quantity.Units(d)).Draw(rt, "unit")
		return schema.Text(number + rapid.SampledFrom([]string{" ", ""}).Draw(rt, "blank") + unit)
	}
	n := &schema.Node{Kind: schema.Object}
	thick := rapid.SampledFrom([]string{fmt.Sprintf("%d.50 mm", i+1), fmt.Sprintf("%d/16 in", 2*i+1), fmt.Sprintf("1 %d/32 in", 2*i+1), fmt.Sprintf("%d00 um", i+3)}).Draw(rt, "thickness")
	put(n, "thickness", schema.Text(thick))
	put(n, "variant", schema.Text(fmt.Sprintf("v%d", i)))
	if rapid.Bool().Draw(rt, "process") {
		put(n, "process", schema.Text(rapid.SampledFrom(schema.Processes).Draw(rt, "process")))
	}
	put(n, "nozzle", object("form", rapid.SampledFrom(schema.NozzleForms).Draw(rt, "form"), "orifice", q(quantity.DimLength).Text, "standoff", q(quantity.DimLength).Text))
	put(n, "cut", members4(q))
	set := func(path string, value *schema.Node) {
		if rapid.Bool().Draw(rt, path) {
			if err := n.SetPath(path, value); err != nil {
				rt.Fatal(err)
			}
		}
	}
	if rapid.Bool().Draw(rt, "extra") {
		put(n, "extra", object("gas-delay", trim(text.Draw(rt, "delay"))+".", "Table No. [x]", "7"))
	}
	set("cut.mode", schema.Text("pulsed"))
	set("cut.duty", q(quantity.DimRatio))
	set("lead_in.length", q(quantity.DimLength))
	set("lead_in.focus", q(quantity.DimLength))
	set("corner.min_duty", q(quantity.DimRatio))
	set("quality.roughness_range", &schema.Node{Kind: schema.Digits, Text: "3"})
	set("kerf", q(quantity.DimLength))
	set("note", schema.Text(text.Draw(rt, "note")))
	switch stages := rapid.IntRange(-1, 2).Draw(rt, "stages"); {
	case stages < 0:
		put(n, "pierce", &schema.Node{Kind: schema.Array})
	default:
		for s := range stages {
			_ = n.SetPath(fmt.Sprintf("pierce[%d].time", s), q(quantity.DimTime))
			set(fmt.Sprintf("pierce[%d].power", s), q(quantity.DimPower))
			set(fmt.Sprintf("pierce[%d].gas", s), schema.Text("air"))
			set(fmt.Sprintf("pierce[%d].focus", s), q(quantity.DimLength))
		}
	}
	if rapid.Bool().Draw(rt, "contours") {
		_ = n.SetPath("contours[0].name", schema.Text("small-hole"))
		set("contours[0].speed", q(quantity.DimSpeed))
	}
	return n
}

func members4(q func(quantity.Dimension) *schema.Node) *schema.Node {
	return object("power", q(quantity.DimPower).Text, "speed", q(quantity.DimSpeed).Text, "pressure", q(quantity.DimPressure).Text, "focus", q(quantity.DimLength).Text)
}
