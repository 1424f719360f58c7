package table

import (
	"bytes"
	"strings"
	"testing"

	"fettle/schema"
)

// oxygen is the set that most tests here import into.
const oxygen = "sets/bay-2/carbon-steel-oxygen.json"

func read(t *testing.T, lib *schema.Library, sheet string) *Import {
	t.Helper()
	return Read([]byte(sheet), lib, Options{Machine: "bay-2", Material: "carbon-steel", Gas: "oxygen"})
}

func refused(t *testing.T, imp *Import, parts ...string) {
	t.Helper()
	all := ""
	for _, p := range imp.Problems {
		all += p.String() + "\n" + p.Help + "\n"
	}
	for _, part := range parts {
		if !strings.Contains(all, part) {
			t.Errorf("no problem says %q:\n%s", part, all)
		}
	}
	if len(imp.Files) > 0 {
		t.Error("a sheet with problems gives files to write")
	}
}

// An update touches the lines of what differs and nothing else, and leaves the library that was read as it was.
func TestUpdateTouchesOnlyWhatItNames(t *testing.T) {
	lib := shop(t)
	imp := read(t, lib, "thickness [mm],speed [m/min],pierce2 time [s],kerf [mm]\n3,3.6,,0.30\n10,2.15,0.40,\n")
	good(t, imp)
	if len(imp.Files) != 1 || imp.Files[0].Path != oxygen || imp.Count(Updated) != 2 {
		t.Fatalf("%+v", imp)
	}
	old, fresh := strings.Split(string(imp.Files[0].Old), "\n"), strings.Split(string(imp.Files[0].New), "\n")
	if len(old) != len(fresh) {
		t.Fatalf("%d lines became %d", len(old), len(fresh))
	}
	var changed []string
	for i := range old {
		if old[i] != fresh[i] {
			changed = append(changed, strings.TrimSpace(fresh[i]))
		}
	}
	want := `"speed": "3.6 m/min", "time": "0.40 s",`
	if got := strings.Join(changed, " "); got != want {
		t.Errorf("changed lines %s, want %s", got, want)
	}
	for _, f := range lib.Files {
		if f.Path == oxygen && !bytes.Equal(schema.Layout(f.Root()), f.Data) {
			t.Error("the library that was read was changed")
		}
	}
}

// New conditions go in by thickness, inside their family; conditions the sheet does not name stay.
func TestNewConditionsGoInByThickness(t *testing.T) {
	lib := shop(t)
	const head = "thickness [mm],variant,nozzle,standoff [mm],power [kW],speed [m/min],pressure [bar],focus up [mm]\n"
	imp := read(t, lib, head+"40,,D2.5,1.2,6,0.5,0.6,12\n0.8,,D1.0,1,1,9,0.9,0\n9,,D1.5,1,2.7,2.3,0.43,4.5\n5,pickled,D1.2,1,2,3.3,0.3,3\n3,new,D1.0,1,1.8,3,0.3,2\n")
	good(t, imp)
	after := copied(t, dir("../demo/library"), imp)
	if got, want := len(after.Recipes), len(lib.Recipes)+5; got != want {
		t.Errorf("%d conditions, want %d", got, want)
	}
	order := map[string][]string{}
	for _, set := range after.Sets {
		if set.File.Path != oxygen {
			continue
		}
		for i := range set.Value.Conditions.V {
			c := &set.Value.Conditions.V[i]
			order[c.Variant.V] = append(order[c.Variant.V], c.Thickness.V.Text())
		}
	}
	for variant, want := range map[string]string{"pickled": "3 mm,4 mm,5 mm,6 mm", "new": "3 mm", "inch": "1/8 in,3/16 in,1/4 in,3/8 in,1/2 in"} {
		if got := strings.Join(order[variant], ","); got != want {
			t.Errorf("%s: %s, want %s", variant, got, want)
		}
	}
	plainOnes := strings.Join(order[""], ",")
	if !strings.HasPrefix(plainOnes, "0.8 mm,2 mm") || !strings.Contains(plainOnes, "8 mm,9 mm,10 mm") || !strings.HasSuffix(plainOnes, "20 mm,40 mm") {
		t.Errorf("order %s", plainOnes)
	}
}

// A set that does not exist yet is made, in the house layout, with its grade.
func TestNewSet(t *testing.T) {
	lib := shop(t)
	imp := Read([]byte("thickness [mm],grade,nozzle,standoff [mm],power [W],speed [m/min],pressure [bar],focus [mm],pierce\n2,CW004A,S2,0.8,6000,4,14,0,none\n"), lib,
		Options{Machine: "bay-2", Material: "Cu", Gas: "N2"})
	good(t, imp)
	const want = `{
  "kind": "condition-set",
  "format": 1,
  "machine": "bay-2",
  "material": "copper",
  "grade": "CW004A",
  "gas": "nitrogen",
  "conditions": [
    {
      "thickness": "2 mm",
      "nozzle": {
        "form": "single",
        "orifice": "2 mm",
        "standoff": "0.8 mm"
      },
      "cut": {
        "power": "6000 W",
        "speed": "4 m/min",
        "pressure": "14 bar",
        "focus": "0 mm"
      },
      "pierce": []
    }
  ]
}
`
	if len(imp.Files) != 1 || imp.Files[0].Path != "sets/bay-2/copper-nitrogen.json" || string(imp.Files[0].New) != want || imp.Files[0].Old != nil {
		t.Errorf("%+v", imp.Files)
	}
}

func TestWhatIsNotWritten(t *testing.T) {
	lib := shop(t)
	const head = "thickness [mm],nozzle,standoff [mm],power [kW],speed [m/min],pressure [bar],focus up [mm]"
	for name, c := range map[string]struct {
		sheet string
		want  []string
	}{
		"one bad row stops all":      {"thickness [mm],speed [m/min]\n3,3.6\n4,fast\n", []string{"B3 (row 3, column B"}},
		"every bad cell is said":     {"thickness [mm],speed [m/min],power [kW]\nx,y,z\n", []string{"A2", "B2", "C2"}},
		"new without a column":       {"thickness [mm],speed [m/min]\n7,3\n9,2\n", []string{`no column for nozzle.standoff, which new conditions need (rows 2, 3)`, `"standoff [mm]"`}},
		"new with an empty cell":     {head + "\n7,D1.2,,2,3,0.3,2\n", []string{"C2 (row 2, column C", "needs its nozzle.standoff"}},
		"the same twice":             {"thickness,speed [m/min]\n3 mm,3.6\n0.3 cm,3.7\n", []string{"row 3: bay-2/carbon-steel/oxygen/3mm stands in row 2 already"}},
		"two columns for one":        {"thickness [mm],speed [m/min],feed [m/min]\n3,3,3\n", []string{"C1", "column B"}},
		"a stage left out":           {"thickness [mm],pierce5 time [s]\n3,1\n", []string{"pierce5.time cannot be added"}},
		"pierce taken away":          {"thickness [mm],pierce\n3,none\n", []string{"An import deletes nothing"}},
		"an unknown word":            {"thickness [mm],mode\n3,chopped\n", []string{"B2", "continuous, pulsed"}},
		"a variant called mark":      {"thickness [mm],variant\n3,Marking\n4,mark\n", []string{"B3", "name of a process"}},
		"a range that is none":       {"thickness [mm],quality.roughness_range\n3,9\n", []string{"B2", "from 1 to 4"}},
		"an extra not declared":      {"thickness [mm],extra.delay\n3,9\n", []string{"B2", "declares no member"}},
		"grade of some of the set":   {"thickness [mm],grade\n3,S235JR\n", []string{"B2", "does not name that condition"}},
		"two grades in one set":      {"thickness [mm],grade\n3,S235JR\n4,S355J2\n", []string{"B3", "share a file and its grade"}},
		"no thickness column":        {"speed [m/min],power [kW]\n3,3\n", []string{"no column for the thickness"}},
		"a heading between rows":     {"thickness [mm],speed [m/min]\n3,3\n,Stainless\n", []string{"A3 (row 3", "thickness is missing"}},
		"a cell beyond the header":   {"thickness [mm],speed [m/min]\n3,3,5\n", []string{"C2", "without a header", "decimal comma"}},
		"no rows":                    {"thickness [mm],speed [m/min]\n", []string{"no rows"}},
		"no header":                  {"3,4,5\n6,7,8\n", []string{"no header row"}},
		"nothing":                    {" \r\n", []string{"the file is empty"}},
		"a comma that may be either": {"thickness [mm],power [W]\n3,\"1,500\"\n", []string{"--decimal comma or --decimal point"}},
		"a point that may be either": {"thickness [mm];power [W]\n3;1.500\n", []string{"--decimal comma or --decimal point"}},
		"a share with no meaning":    {"thickness [mm],duty [%]\n3,0.4\n", []string{"0.4 % or 40 %"}},
		"machine of another bay":     {"machine,thickness [mm],speed [m/min]\nbay-5,3,3\n", []string{"A2", "--machine says bay-2"}},
		"a formula":                  {"thickness [mm],speed [m/min]\n3,=B1*2\n", []string{"B2", "is a formula"}},
		"focus unsaid":               {"thickness [mm],focus [mm],pierce1 focus [mm]\n3,2,3\n", []string{"B2", "--focus up", "--focus down"}},
	} {
		t.Run(name, func(t *testing.T) { refused(t, read(t, lib, c.sheet), c.want...) })
	}
	zero := read(t, lib, "thickness [mm],focus [mm]\n3,0\n")
	good(t, zero) // no sign to ask for
	disagree := Read([]byte("thickness [mm],focus up [mm]\n3,2\n"), lib, Options{Machine: "bay-2", Material: "ms", Gas: "O2", Focus: "down"})
	refused(t, disagree, "B1", "disagree")
	wrong := Read([]byte("thickness [mm],speed [m/min]\n3,2\n"), lib, Options{Machine: "bay-2", Material: "ms", Gas: "O2", Focus: "sideways", Decimal: "dot"})
	refused(t, wrong, "--focus", "--decimal")
}

// A grade may change where the sheet names every condition of the set: it is part of all of them.
func TestGradeOfAWholeSet(t *testing.T) {
	lib := shop(t)
	sheet := "material,thickness [mm],variant,process,grade\n"
	n := 0
	for _, r := range lib.Recipes {
		if r.File.Path == "sets/bay-2/carbon-steel-air.json" {
			sheet += "cs," + r.ID.Thickness + "," + r.ID.Variant + "," + r.ID.Process + ",DC04\n"
			n++
		}
	}
	imp := Read([]byte(sheet), lib, Options{Machine: "bay-2", Gas: "air"})
	good(t, imp)
	if imp.Count(Updated) != n || len(imp.Files) != 1 || bytes.Count(imp.Files[0].New, []byte("DC04")) != 1 || imp.Changes[0].Fields[0].Path != "grade" {
		t.Errorf("%d of %d updated, %d files", imp.Count(Updated), n, len(imp.Files))
	}
}

// Where two sets are of one machine, material and gas, the grade of the row tells which; else the one named as the house does.
func TestGradeChoosesTheSet(t *testing.T) {
	src := dir("../demo/library")
	all := emptied(t, src)
	all[oxygen], _ = src.Read(oxygen)
	all["sets/bay-2/a-thin.json"] = []byte(`{"kind": "condition-set", "format": 1, "machine": "bay-2", "material": "carbon-steel", "grade": "DC01", "gas": "oxygen", "conditions": []}`)
	lib := library(t, all)
	const head = "thickness [mm],nozzle,standoff [mm],power [kW],speed [m/min],pressure [bar],focus up [mm],grade\n7,D1.2,1,2,3,0.3,2,"
	for grade, want := range map[string]string{"DC01": "sets/bay-2/a-thin.json", "": oxygen} {
		imp := read(t, lib, head+grade+"\n")
		good(t, imp)
		if len(imp.Files) != 1 || imp.Files[0].Path != want {
			t.Errorf("grade %q goes into %v", grade, imp.Files)
		}
	}
}

// A set with problems of its own is not written into.
func TestBrokenSetIsLeftAlone(t *testing.T) {
	src := dir("../demo/library")
	all := emptied(t, src)
	data, _ := src.Read(oxygen)
	all[oxygen] = bytes.Replace(data, []byte(`"speed"`), []byte(`"sped"`), 1)
	refused(t, read(t, library(t, all), "thickness [mm],speed [m/min]\n10,3.6\n"), "problems of its own", "fettle lint "+oxygen)
	all["sets/bay-2/other.json"] = []byte("{")
	refused(t, read(t, library(t, all), "thickness [mm],speed [m/min]\n10,3.6\n"), "nobody knows which conditions it holds")
}

// Columns that nobody knows are a question; --skip answers it by letter or by header.
func TestSkip(t *testing.T) {
	lib := shop(t)
	const sheet = "thickness [mm],speed [m/min],Operator,Shift\n3,3.6,M,\n"
	refused(t, read(t, lib, sheet), "C1", "--skip C")
	for _, skip := range []string{"C", "c", "operator"} {
		imp := Read([]byte(sheet), lib, Options{Machine: "bay-2", Material: "ms", Gas: "O2", Skip: []string{skip}})
		good(t, imp)
	}
}

// The only machine of a library need not be said; members of a machine's own are columns by their plain name.
func TestOneMachineWithMembersOfItsOwn(t *testing.T) {
	all := emptied(t, dir("../demo/library"))
	delete(all, "machines/bay-5.json")
	all["machines/bay-2.json"] = bytes.Replace(all["machines/bay-2.json"], []byte(`"note":`), []byte(`"extra": ["gas-delay"], "note":`), 1)
	all["machines/bay-2.json"] = bytes.Replace(all["machines/bay-2.json"], []byte(`["bay-2"]`), []byte(`["bay-2-left", "bay-2-right"]`), 1)
	lib := library(t, all)
	const rest = "thickness [mm],nozzle,standoff [mm],power [kW],speed [m/min],pressure [bar],focus up [mm],Gas delay,pierce1 gas\n"
	imp := Read([]byte(rest+"7,D1.2,1,50 %,3,0.3,2,0.2 s,N2\n"), lib, Options{Material: "ms", Gas: "O2"})
	good(t, imp)
	text := string(imp.Files[0].New)
	for _, want := range []string{`"gas-delay": "0.2 s"`, `"power": "3 kW"`, `"gas": "nitrogen"`} {
		if !strings.Contains(text, want) {
			t.Errorf("no %s in\n%s", want, text)
		}
	}
	unit := Read([]byte("machine,"+rest+"Bay 2 right,7,D1.2,1,50 %,3,0.3,2,,\n"), lib, Options{Material: "ms", Gas: "O2"})
	good(t, unit)
	if unit.Changes[0].ID.Machine != "bay-2" {
		t.Errorf("%+v", unit.Changes[0])
	}
}

// Whatever bytes come in, nothing panics, and a sheet with problems gives nothing to write.
func FuzzRead(f *testing.F) {
	src := dir("../../../testdata/tables")
	for _, p := range src.Files() {
		if data, err := src.Read(p); err == nil {
			f.Add(data)
		}
	}
	f.Add([]byte("thickness [mm],pierce[99999999999999999999].time [s]\n3,1\n"))
	f.Add([]byte("thickness [mm],pierce100 time [s],extra.\n3,1,2\n"))
	f.Add([]byte("t [mm],p [%],p [kW],focus up up [mm]\n'3,'=1,-,--1\n"))
	lib := shop(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		imp := Read(data, lib, Options{Machine: "bay-2", Material: "carbon-steel", Gas: "oxygen", Focus: "down"})
		if len(imp.Problems) > 0 && len(imp.Files) > 0 {
			t.Error("a sheet with problems gives files to write")
		}
		imp.Preview(lib.Prefs())
	})
}
