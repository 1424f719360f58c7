package hooks_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fettle/hooks"
	"fettle/schema"
)

// set is a condition set with as many conditions of 3, 6, 10 mm … as there are texts; each text replaces the cut.
func set(members ...string) string {
	return `{"kind": "condition-set", "format": 1, "machine": "bay-2", "material": "carbon-steel", "gas": "oxygen", "conditions": [` + strings.Join(members, ", ") + `]}`
}

func condition(thickness string, more string) string {
	return `{"thickness": "` + thickness + `", "nozzle": {"form": "double", "orifice": "1.2 mm", "standoff": "1.0 mm"},
		"cut": {"power": "2 kW", "speed": "3 m/min", "pressure": "0.3 bar", "focus": "2 mm"}` + more + `}`
}

func TestMergeFile(t *testing.T) {
	three, six, ten := condition("3 mm", ""), condition("6 mm", ""), condition("10 mm", "")
	with := func(text string, pairs ...string) string { return strings.NewReplacer(pairs...).Replace(text) }
	stages := func(times ...string) string {
		var list []string
		for _, time := range times {
			list = append(list, `{"time": "`+time+`"}`)
		}
		return `, "pierce": [` + strings.Join(list, ", ") + `]`
	}
	machine := `{"kind": "machine", "format": 1, "name": "bay-2", "units": ["bay-2", "bay-3"], "laser": {"rated_power": "6 kW"}, "head": {"focus_range": ["-5 mm", "5 mm"],
		"nozzles": [{"form": "double", "orifice": "1.2 mm"}]}, "gas": {"oxygen": {"line_pressure": "3.5 bar"}}}`
	settings := `{"kind": "library", "format": 1, "id": "7f3c1e9a5b2d48069c4ae1d07b86f25d", "name": "Shop", "gases": {"mix": {"nitrogen": "95 %", "hydrogen": "5 %"}},
		"policy": {"protected": ["main"]}}`
	for _, c := range []struct {
		name              string
		base, here, there string
		want              string // "" where there is a clash
		clash             string
	}{
		{"two values of one condition", set(three), with(set(three), `"2 kW"`, `"2.1 kW"`), with(set(three), `"3 m/min"`, `"3.1 m/min"`), with(set(three), `"2 kW"`, `"2.1 kW"`, `"3 m/min"`, `"3.1 m/min"`), ""},
		{"one value on both sides", set(three), with(set(three), `"2 kW"`, `"2.1 kW"`), with(set(three), `"2 kW"`, `"2.2 kW"`), "", "bay-2/carbon-steel/oxygen/3mm cut.power"},
		{"the same on both sides", set(three), with(set(three), `"2 kW"`, `"2.1 kW"`), with(set(three), `"2 kW"`, `"2.1 kW"`), with(set(three), `"2 kW"`, `"2.1 kW"`), ""},
		{"the same in other units", set(three), with(set(three), `"2 kW"`, `"2.1 kW"`), with(set(three), `"2 kW"`, `"2100 W"`), with(set(three), `"2 kW"`, `"2.1 kW"`), ""},
		{"another unit is no change", set(three), with(set(three), `"2 kW"`, `"2000 W"`), with(set(three), `"2 kW"`, `"2.2 kW"`), with(set(three), `"2 kW"`, `"2.2 kW"`), ""},
		{"another unit alone stays", set(three), with(set(three), `"2 kW"`, `"2000 W"`), set(three), with(set(three), `"2 kW"`, `"2000 W"`), ""},
		{"thickness in other units", set(six), with(set(six), `"6 mm"`, `"0.6 cm"`), with(set(six), `"2 kW"`, `"2.2 kW"`), with(set(six), `"6 mm"`, `"0.6 cm"`, `"2 kW"`, `"2.2 kW"`), ""},
		{"both added a condition", set(three), set(three, six), set(three, ten), set(three, six, ten), ""},
		{"both added it in one place", set(ten), set(three, ten), set(six, ten), set(three, six, ten), ""},
		{"both added the same", set(three), set(three, six), set(three, six), set(three, six), ""},
		{"both added it and differ", set(three), set(three, six), set(three, with(six, `"2 kW"`, `"2.1 kW"`)), "", "bay-2/carbon-steel/oxygen/6mm cut.power"},
		{"removed and untouched", set(three, six), set(three), set(three, six), set(three), ""},
		{"removed and changed", set(three, six), set(three), set(three, with(six, `"2 kW"`, `"2.1 kW"`)), "", "bay-2/carbon-steel/oxygen/6mm "},
		{"removed here, another changed there", set(three, six), set(six), set(three, with(six, `"2 kW"`, `"2.1 kW"`)), set(with(six, `"2 kW"`, `"2.1 kW"`)), ""},
		{"sorted and changed", set(three, six), set(six, three), set(three, with(six, `"2 kW"`, `"2.1 kW"`)), set(with(six, `"2 kW"`, `"2.1 kW"`), three), ""},
		{"a variant is another condition", set(three), set(three, with(three, `"thickness"`, `"variant": "pickled", "thickness"`)), with(set(three), `"2 kW"`, `"2.1 kW"`),
			set(with(three, `"2 kW"`, `"2.1 kW"`), with(three, `"thickness"`, `"variant": "pickled", "thickness"`)), ""},
		{"an object on one side, its neighbour on the other", set(three), set(condition("3 mm", `, "kerf": "0.3 mm"`)), set(condition("3 mm", `, "quality": {"max_dross": "0.1 mm"}`)),
			set(condition("3 mm", `, "kerf": "0.3 mm", "quality": {"max_dross": "0.1 mm"}`)), ""},
		{"different stages", set(condition("3 mm", stages("1 s", "2 s"))), set(condition("3 mm", stages("1.1 s", "2 s"))), set(condition("3 mm", stages("1 s", "2.2 s"))), set(condition("3 mm", stages("1.1 s", "2.2 s"))), ""},
		{"one stage", set(condition("3 mm", stages("1 s"))), set(condition("3 mm", stages("1.1 s"))), set(condition("3 mm", stages("1.2 s"))), "", "bay-2/carbon-steel/oxygen/3mm pierce[0].time"},
		{"another number of stages", set(condition("3 mm", stages("1 s"))), set(condition("3 mm", stages("1.1 s"))), set(condition("3 mm", stages("1 s", "2 s"))), "", "bay-2/carbon-steel/oxygen/3mm pierce"},
		{"members of the set", set(three), with(set(three), `"gas"`, `"grade": "S355J2", "gas"`), with(set(three), `"2 kW"`, `"2.1 kW"`), with(set(three), `"gas"`, `"grade": "S355J2", "gas"`, `"2 kW"`, `"2.1 kW"`), ""},
		{"what the format does not know", set(three), with(set(three), `"format": 1`, `"format": 1, "colour": "red"`), with(set(three), `"2 kW"`, `"2.1 kW"`), with(set(three), `"format": 1`, `"format": 1, "colour": "red"`, `"2 kW"`, `"2.1 kW"`), ""},
		{"made on both sides", "", set(three), set(six), set(three, six), ""},
		{"nozzles and units of a machine", machine, with(machine, `"1.2 mm"}`, `"1.2 mm"}, {"form": "single", "orifice": "1.5 mm"}`, `"bay-2", "bay-3"`, `"bay-2"`),
			with(machine, `"1.2 mm"}`, `"1.2 mm"}, {"form": "single", "orifice": "2.0 mm"}`, `"bay-3"]`, `"bay-3", "bay-4"]`),
			with(machine, `"1.2 mm"}`, `"1.2 mm"}, {"form": "single", "orifice": "1.5 mm"}, {"form": "single", "orifice": "2.0 mm"}`, `"bay-2", "bay-3"`, `"bay-2", "bay-4"`), ""},
		{"a range is one value", machine, with(machine, `"-5 mm", "5 mm"`, `"-6 mm", "5 mm"`), with(machine, `"-5 mm", "5 mm"`, `"-5 mm", "6 mm"`), "", " head.focus_range"},
		{"profiles of two gases", machine, with(machine, `"gas": {`, `"gas": {"nitrogen": {"line_pressure": "20 bar"}, `), with(machine, `"3.5 bar"`, `"4 bar"`),
			with(machine, `"gas": {`, `"gas": {"nitrogen": {"line_pressure": "20 bar"}, `, `"3.5 bar"`, `"4 bar"`), ""},
		{"settings", settings, with(settings, `["main"]`, `["main", "release/*"]`), with(settings, `"Shop"`, `"Plate shop"`), with(settings, `["main"]`, `["main", "release/*"]`, `"Shop"`, `"Plate shop"`), ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, swapped := range []bool{false, true} {
				here, there := c.here, c.there
				if swapped {
					here, there = there, here
				}
				m, ok := hooks.MergeFile("x.json", []byte(c.base), []byte(here), []byte(there))
				if !ok {
					t.Fatal("not merged")
				}
				if c.want == "" {
					if len(m.Clashes) != 1 || m.Clashes[0].ID+" "+m.Clashes[0].Field != c.clash {
						t.Errorf("clashes %+v, want %s", m.Clashes, c.clash)
					}
					continue
				}
				if len(m.Clashes) > 0 {
					t.Fatalf("clashes %+v", m.Clashes)
				}
				if got, want := string(m.Text(0)), layout(t, c.want); got != want {
					t.Errorf("swapped %v: got\n%s\nwant\n%s", swapped, got, want)
				}
			}
		})
	}
	for name, sides := range map[string][3]string{
		"no JSON":             {set(three), set(three)[1:], set(three)},
		"a member twice":      {set(three), with(set(three), `"format": 1`, `"format": 1, "gas": "air"`), set(three)},
		"another kind":        {set(three), set(three), machine},
		"another kind before": {machine, set(three), set(six)},
		"no kind":             {set(three), set(three), "{}"},
	} {
		if _, ok := hooks.MergeFile("x.json", []byte(sides[0]), []byte(sides[1]), []byte(sides[2])); ok {
			t.Errorf("%s: merged", name)
		}
	}
	// Twice the same thickness: which is which cannot be told, so the list is one value.
	m, ok := hooks.MergeFile("x.json", []byte(set(three)), []byte(set(three, three)), []byte(set(with(three, `"2 kW"`, `"2.1 kW"`))))
	if !ok || len(m.Clashes) != 1 || m.Clashes[0].Field != "conditions" {
		t.Errorf("a duplicate condition: %+v", m.Clashes)
	}
}

func layout(t testing.TB, text string) string {
	t.Helper()
	f := schema.ReadFile("x.json", []byte(text))
	if f.Root() == nil {
		t.Fatal(f.Problems)
	}
	return string(schema.Layout(f.Root()))
}

// What a clash looks like in the file.
func TestMergeText(t *testing.T) {
	base := set(condition("3 mm", `, "kerf": "0.3 mm"`), condition("6 mm", ""))
	here := strings.NewReplacer(`, "kerf": "0.3 mm"`, ``, `"2 kW"`, `"2.1 kW"`).Replace(base)
	there := strings.NewReplacer(`"0.3 mm"`, `"0.4 mm"`, `"2 kW"`, `"2.2 kW"`).Replace(base)
	m, ok := hooks.MergeFile("x.json", []byte(base), []byte(here), []byte(there))
	if !ok || len(m.Clashes) != 3 {
		t.Fatalf("%v %+v", ok, m.Clashes)
	}
	m.Clashes[0].HereWhy = "quality-target: dross (mara)"
	got := string(m.Text(9))
	_, got, _ = strings.Cut(got, `"cut": {`+"\n")
	got, _, _ = strings.Cut(got, "\n    {")
	const want = `<<<<<<<<< here: quality-target: dross (mara)
        "power": "2.1 kW",
||||||||| before
        "power": "2 kW",
=========
        "power": "2.2 kW",
>>>>>>>>> there
        "speed": "3 m/min",
        "pressure": "0.3 bar",
        "focus": "2 mm"
<<<<<<<<< here
      }
||||||||| before
      },
      "kerf": "0.3 mm"
=========
      },
      "kerf": "0.4 mm"
>>>>>>>>> there
    },`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// flat is a file as plain JSON gives it: path → value, with conditions told apart by their thickness and variant.
type flat map[string]string

func flatten(t rapidT, text []byte) flat {
	var root map[string]any
	if err := json.Unmarshal(text, &root); err != nil {
		t.Fatalf("no JSON: %v\n%s", err, text)
	}
	out := flat{}
	var walk func(path string, v any)
	walk = func(path string, v any) {
		switch v := v.(type) {
		case map[string]any:
			for name, kid := range v {
				walk(path+"."+name, kid)
			}
		case []any:
			for i, kid := range v {
				if c, ok := kid.(map[string]any); ok && path == ".conditions" {
					walk(fmt.Sprint(c["thickness"], " ", c["variant"]), kid)
				} else {
					walk(fmt.Sprintf("%s[%d]", path, i), kid)
				}
			}
		default:
			out[path] = fmt.Sprintf("%T %v", v, v)
		}
	}
	walk("", root)
	return out
}

type rapidT interface{ Fatalf(string, ...any) }

// edits are changes of a set made on plain text trees, without the code under test.
type edits map[string]string // condition and member → value, "" to remove it

// apply makes the edits on a set and writes it as plain JSON does.
func (e edits) apply(t rapidT, text []byte) []byte {
	var root map[string]any
	if err := json.Unmarshal(text, &root); err != nil {
		t.Fatalf("%v", err)
	}
	var conditions []any
	for _, item := range root["conditions"].([]any) {
		c := item.(map[string]any)
		name := fmt.Sprint(c["thickness"], " ", c["variant"])
		if _, removed := e[name]; removed {
			continue
		}
		for _, key := range slices.Sorted(maps.Keys(e)) {
			of, member, ok := strings.Cut(key, "|")
			if !ok || of != name {
				continue
			}
			at := c
			parts := strings.Split(member, ".")
			for _, part := range parts[:len(parts)-1] {
				next, ok := at[part].(map[string]any)
				if !ok {
					next = map[string]any{}
					if e[key] != "" { // nothing is to be taken out of what is not there
						at[part] = next
					}
				}
				at = next
			}
			if last := parts[len(parts)-1]; e[key] == "" {
				delete(at, last)
			} else {
				at[last] = e[key]
			}
		}
		conditions = append(conditions, c)
	}
	root["conditions"] = conditions
	out, err := json.Marshal(root)
	if err != nil {
		t.Fatalf("%v", err)
	}
	return out
}

var mergeMembers = []string{"cut.power", "cut.speed", "cut.pressure", "cut.focus", "cut.spot", "nozzle.orifice", "nozzle.standoff", "kerf", "quality.max_dross", "note", "lead_in.length", "corner.min_power"}

func drawEdits(t *rapid.T, label string, names []string) edits {
	e := edits{}
	for range rapid.IntRange(0, 6).Draw(t, label) {
		name := rapid.SampledFrom(names).Draw(t, "condition")
		member := rapid.SampledFrom(mergeMembers).Draw(t, "member")
		value := rapid.SampledFrom([]string{"1.5 mm", "7 W", "free text", ""}).Draw(t, "value")
		if strings.Contains(member, "cut.") && value == "" && member != "cut.spot" {
			value = "8 mm"
		}
		e[name+"|"+member] = value
	}
	if rapid.IntRange(0, 5).Draw(t, "removes") == 0 {
		name := rapid.SampledFrom(names).Draw(t, "removed")
		maps.DeleteFunc(e, func(key, _ string) bool { return strings.HasPrefix(key, name+"|") })
		e[name] = ""
	}
	return e
}

// Random edits on both sides, against a merge of flat lists of values that plain JSON gives: what one side changed is taken, what both
// changed differently clashes and nothing else does, both orders come to the same, and with the lines of one side kept everywhere
// the file is JSON and holds that side's values.
func TestMergeAgainstPlainJSON(t *testing.T) {
	base, err := os.ReadFile(filepath.Join(libraryDir, oxygenSet))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	var root map[string]any
	if err := json.Unmarshal(base, &root); err != nil {
		t.Fatal(err)
	}
	few := root["conditions"].([]any)[:4]
	for _, c := range few {
		names = append(names, fmt.Sprint(c.(map[string]any)["thickness"], " ", c.(map[string]any)["variant"]))
	}
	root["conditions"] = few
	if base, err = json.Marshal(root); err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawEdits(t, "here", names), drawEdits(t, "there", names)
		here, there := a.apply(t, base), b.apply(t, base)
		m, ok := hooks.MergeFile("x.json", base, here, there)
		if !ok {
			t.Fatalf("not merged")
		}
		want := [2]flat{{}, {}} // with clashes settled for here, for there
		clashes := map[string]bool{}
		fb, fh, ft := flatten(t, base), flatten(t, here), flatten(t, there)
		changed := func(side flat, name string) bool {
			for _, f := range []flat{fb, side} {
				for path := range f {
					if strings.HasPrefix(path, name+".") && fb[path] != side[path] {
						return true
					}
				}
			}
			return false
		}
		whole := map[string]bool{}
		for _, name := range names {
			_, goneA := a[name]
			_, goneB := b[name]
			if goneA != goneB && (goneA && changed(ft, name) || goneB && changed(fh, name)) {
				whole[name] = true
				clashes[name] = true
			}
		}
		all := map[string]bool{}
		for _, f := range []flat{fb, fh, ft} {
			for path := range f {
				all[path] = true
			}
		}
		for path := range all {
			vb, vh, vt := fb[path], fh[path], ft[path]
			choose := [2]string{vh, vt}
			name, _, _ := strings.Cut(path, ".")
			switch {
			case whole[name]:
			case vh == vb:
				choose[0] = vt
			case vt == vb:
				choose[1] = vh
			case vh != vt:
				clashes[path] = true
			}
			for i, v := range choose {
				if v != "" {
					want[i][path] = v
				}
			}
		}
		got := map[string]bool{}
		for _, c := range m.Clashes {
			id, err := schema.ParseID(c.ID)
			if err != nil {
				t.Fatalf("clash in %q", c.ID)
			}
			variant := "<nil>"
			if id.Variant != "" {
				variant = id.Variant
			}
			key := strings.TrimSuffix(id.Thickness+" mm "+variant+"."+c.Field, ".")
			got[key] = true
		}
		// Where one side removed an object that the other put a first member in, the clash is the object's.
		if !reflect.DeepEqual(got, clashes) {
			t.Fatalf("clashes %v, want %v", got, clashes)
		}
		text := m.Text(0)
		for i := range want {
			if side := flatten(t, keepSide(text, i)); !reflect.DeepEqual(side, want[i]) {
				t.Fatalf("side %d: got %v\nwant %v\n%s", i, side, want[i], text)
			}
		}
		again, ok := hooks.MergeFile("x.json", base, there, here)
		if !ok || len(again.Clashes) != len(m.Clashes) {
			t.Fatalf("swapped: %v %d clashes, want %d", ok, len(again.Clashes), len(m.Clashes))
		}
		if len(m.Clashes) == 0 && string(again.Text(0)) != string(text) {
			t.Fatalf("swapped:\n%s\nwant\n%s", again.Text(0), text)
		}
		// merge(x, x, y) = y = merge(x, y, x).
		for _, sides := range [][3][]byte{{base, base, there}, {base, there, base}, {there, here, there}} {
			m, ok := hooks.MergeFile("x.json", sides[0], sides[1], sides[2])
			want := sides[1]
			if string(sides[1]) == string(sides[0]) {
				want = sides[2]
			}
			if file := schema.ReadFile("x.json", want); !ok || len(m.Clashes) > 0 || string(m.Text(0)) != string(schema.Layout(file.Root())) {
				t.Fatalf("one side alone changed: %v %+v\n%s", ok, m.Clashes, m.Text(0))
			}
		}
	})
}

// keepSide settles every conflict for one side, 0 here, 1 there, as a person does who deletes the other lines.
func keepSide(text []byte, side int) []byte {
	var out strings.Builder
	part := -1
	for line := range strings.Lines(string(text)) {
		switch {
		case strings.HasPrefix(line, "<<<<<<< "):
			part = 0
		case strings.HasPrefix(line, "||||||| "):
			part = 2
		case strings.HasPrefix(line, "======="):
			part = 1
		case strings.HasPrefix(line, ">>>>>>> "):
			part = -1
		case part < 0 || part == side:
			out.WriteString(line)
		}
	}
	return []byte(out.String())
}
