package lint

import (
	"encoding/csv"
	"fmt"
	"os"
	"strings"
	"testing"

	"fettle/schema"
)

// The calibration: conditions as shops cut with them every day, in testdata/calibration/conditions.csv, one a row, on the machines of
// the folder beside it. All of them are from memory or common practice without a source, as the last column says; the shops and
// machines are invented. They are what keeps the rules of physics honest: an error on one of them is a wrong bound.

// An ordinary condition is one row.
type ordinary struct {
	machine, material, gas string
	condition              *schema.Node
	source                 string
}

func (o ordinary) set() string { return o.machine + "/" + o.material + "-" + o.gas }

// pierce reads the stages of a pierce: "1.5 kW 45 % 400 Hz 0.3 s 0.8 bar 4 mm 5 mm", several joined by +, or "edge".
func pierce(text string) (*schema.Node, error) {
	list := &schema.Node{Kind: schema.Array}
	if text == "edge" {
		return list, nil
	}
	for _, stage := range strings.Split(text, " + ") {
		f := strings.Fields(stage)
		if len(f) != 14 {
			return nil, fmt.Errorf("the stage %q has not its seven values", stage)
		}
		n := &schema.Node{Kind: schema.Object}
		for i, name := range []string{"power", "duty", "frequency", "time", "pressure", "focus", "standoff"} {
			if err := n.SetPath(name, schema.Text(f[2*i]+" "+f[2*i+1])); err != nil {
				return nil, err
			}
		}
		if err := n.SetPath("mode", schema.Text("pulsed")); err != nil {
			return nil, err
		}
		list.Kids = append(list.Kids, n)
	}
	return list, nil
}

func ordinaries(t testing.TB) []ordinary {
	t.Helper()
	f, err := os.Open("testdata/calibration/conditions.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	var out []ordinary
	for at, row := range rows[1:] {
		cell := func(name string) string { return row[column[name]] }
		o := ordinary{machine: cell("machine"), material: cell("material"), gas: cell("gas"), condition: &schema.Node{Kind: schema.Object}, source: cell("source")}
		if o.source == "" {
			t.Errorf("row %d does not say where it is from", at+2)
		}
		for _, m := range [][2]string{{"thickness", "thickness"}, {"nozzle.form", "form"}, {"nozzle.orifice", "orifice"}, {"nozzle.standoff", "standoff"},
			{"cut.power", "power"}, {"cut.speed", "speed"}, {"cut.pressure", "pressure"}, {"cut.focus", "focus"}, {"kerf", "kerf"}} {
			if err := o.condition.SetPath(m[0], schema.Text(cell(m[1]))); err != nil {
				t.Fatal(err)
			}
		}
		if err := o.condition.SetPath("cut.mode", schema.Text("continuous")); err != nil {
			t.Fatal(err)
		}
		stages, err := pierce(cell("pierce"))
		if err != nil {
			t.Fatalf("row %d: %v", at+2, err)
		}
		if err := o.condition.SetPath("pierce", stages); err != nil {
			t.Fatal(err)
		}
		out = append(out, o)
	}
	return out
}

// shopOf is a library of these conditions.
func shopOf(t testing.TB, list []ordinary) *schema.Library {
	t.Helper()
	files := memory{schema.SettingsFile: exampleSource()[schema.SettingsFile]}
	sets := map[string]*schema.Node{}
	for _, o := range list {
		machine := "machines/" + o.machine + ".json"
		if files[machine] == nil {
			data, err := os.ReadFile("testdata/calibration/" + machine)
			if err != nil {
				t.Fatal(err)
			}
			files[machine] = data
		}
		root := sets[o.set()]
		if root == nil {
			root = schema.ReadFile("set", fmt.Appendf(nil, `{"kind": "condition-set", "format": 1, "machine": %q, "material": %q, "gas": %q, "conditions": []}`, o.machine, o.material, o.gas)).Root()
			sets[o.set()] = root
		}
		list := root.Get("conditions")
		list.Kids = append(list.Kids, o.condition)
	}
	for name, root := range sets {
		files["sets/"+name+".json"] = schema.Layout(root)
	}
	lib, err := schema.ReadLibrary(files)
	if err != nil {
		t.Fatal(err)
	}
	if len(lib.Recipes) != len(list) {
		t.Fatalf("%d conditions of %d were read", len(lib.Recipes), len(list))
	}
	return lib
}

// Nobody who cuts as shops do is told that it cannot be, and hardly anybody that it is unusual.
func TestOrdinaryConditionsAreQuiet(t *testing.T) {
	list := ordinaries(t)
	warned, gases, materials := map[string]bool{}, map[string]bool{}, map[string]bool{}
	for _, o := range list {
		gases[o.gas], materials[o.material] = true, true
	}
	if len(list) < 150 || len(gases) < 4 || len(materials) < 5 {
		t.Errorf("%d conditions, %d gases, %d materials are too few to calibrate with", len(list), len(gases), len(materials))
	}
	for _, f := range Run(shopOf(t, list), Options{}).Findings {
		switch {
		case f.Severity == Error:
			t.Errorf("%s %s: error: %s [%s]", f.ID, f.Field, f.Message, f.Rule)
		case f.Severity == Warning && f.isPhysics():
			warned[f.ID] = true
			t.Logf("%s %s: %s [%s]", f.ID, f.Field, f.Message, f.Rule)
		case f.Severity == Warning:
			t.Logf("not physics: %s %s: %s [%s]", f.ID, f.Field, f.Message, f.Rule)
		case f.Rule == "sleeping":
			t.Errorf("%s: %s", f.Path, f.Message)
		}
	}
	if share := float64(len(warned)) / float64(len(list)); share >= 0.02 {
		t.Errorf("physics warns of %d of %d ordinary conditions", len(warned), len(list))
	}
}
