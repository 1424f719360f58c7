package schema_test

import (
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"
	"testing"

	"fettle/schema"
)

// A files is a snapshot in memory.
type files map[string]string

func (f files) Files() []string { return slices.Sorted(maps.Keys(f)) }

func (f files) Read(path string) ([]byte, error) {
	if text, ok := f[path]; ok {
		return []byte(text), nil
	}
	return nil, fs.ErrNotExist
}

// What is written and is not in the digest is known of the recipe: else a file that another program reads otherwise would stand as
// approved.
func TestUnreadPartsOfARecipe(t *testing.T) {
	const path, other = "sets/bay-2/carbon-steel-oxygen.json", "sets/bay-2/carbon-steel-oxygen-2.json"
	edit := func(old, new string) files {
		if !strings.Contains(goodSet, old) {
			t.Fatalf("the set does not hold %q", old)
		}
		return files{path: strings.Replace(goodSet, old, new, 1)}
	}
	good := readLibrary(t, files{path: goodSet}).Recipes[0]
	if len(good.Unread) > 0 {
		t.Fatalf("unread in a good set: %v", good.Unread)
	}
	cases := []struct {
		name   string
		source files
		rule   string // of what is unread, "" for nothing
	}{
		{"a member twice", edit(`"focus": "2 mm",`, `"focus": "2 mm", "focus": "-9 mm",`), "duplicate-key"},
		{"a member twice, once escaped", edit(`"focus": "2 mm",`, `"focus": "2 mm", "f\u006fcus": "-9 mm",`), "duplicate-key"},
		{"the cut twice", edit(`"kerf": "0.30 mm",`, `"kerf": "0.30 mm", "cut": {"speed": "9 m/min"},`), "duplicate-key"},
		{"an unknown member", edit(`"focus": "2 mm",`, `"focus": "2 mm", "overdrive": "9 kW",`), "unknown-field"},
		{"an optional member without unit", edit(`"focus": "2 mm",`, `"focus": "2 mm", "duty": "40",`), "bare-number"},
		{"an optional member of another dimension", edit(`"focus": "2 mm",`, `"focus": "2 mm", "spot": "4 bar",`), "wrong-dimension"},
		{"the gas of the set twice", edit(`"gas": "oxygen",`, `"gas": "oxygen", "gas": "nitrogen",`), "duplicate-key"},
		{"the conditions twice", files{path: strings.TrimSuffix(strings.TrimSpace(goodSet), "}") + `, "conditions": []}`}, "duplicate-key"},
		{"another format", edit(`"format": 1`, `"format": 2`), "bad-value"},
		{"the id in a file that is no set", files{path: goodSet, other + "x": goodSet}, ""},
		{"the id in another file", files{path: goodSet, other: strings.Replace(goodSet, `"focus": "2 mm"`, `"focus": "-9 mm"`, 1)}, "duplicate-condition"},
		{"in the directory of another machine", files{strings.Replace(path, "bay-2", "bay-5", 1): goodSet}, ""},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			lib := readLibrary(t, c.source)
			r := lib.Recipe(good.ID)
			if r == nil {
				t.Fatal("the recipe is gone")
			}
			var rules []string
			for _, p := range r.Unread {
				rules = append(rules, p.Rule)
			}
			if got := strings.Join(slices.Compact(rules), " "); got != c.rule {
				t.Errorf("unread: %q, want %q", got, c.rule)
			}
		})
	}
}

// A problem in one condition casts no doubt on the others of its set.
func TestUnreadPartsOfOthers(t *testing.T) {
	two := strings.Replace(goodSet, `"conditions": [`, `"conditions": [{"thickness": "4 mm", "nozzle": {"form": "double", "orifice": "1.0 mm", "standoff": "1.0 mm"},
		"cut": {"power": "2 kW", "speed": "3 m/min", "pressure": "0.3 bar", "focus": "2 mm", "overdrive": "9 kW"}},`, 1)
	lib := readLibrary(t, files{"sets/bay-2/carbon-steel-oxygen.json": two})
	for _, r := range lib.Recipes {
		if want := r.ID.Thickness == "4"; (len(r.Unread) > 0) != want {
			t.Errorf("%s: unread %v", r.ID, r.Unread)
		}
	}
	if len(lib.Recipes) < 2 {
		t.Errorf("%d recipes", len(lib.Recipes))
	}
}

// A file made of nothing but mistakes is read in no more time than it takes to look at it, and still hides nothing.
func TestFilesOfManyProblems(t *testing.T) {
	const many = 50_000
	var b strings.Builder
	for i := range many {
		fmt.Fprintf(&b, "\"k%d\": 1, ", i)
	}
	unknown := strings.Replace(goodSet, `"gas": "oxygen",`, b.String()+`"gas": "oxygen",`, 1)
	hidden := strings.Replace(unknown, `"focus": "2 mm",`, `"focus": "2 mm", "focus": "-9 mm", "duty": "40",`, 1)
	condition := goodSet[strings.Index(goodSet, "[\n")+1 : strings.LastIndex(goodSet, "]")]
	twice := strings.Replace(goodSet, condition, condition+strings.Repeat(","+condition, many/10), 1)
	for name, text := range map[string]string{"unknown members": unknown, "a member twice behind them": hidden, "one condition over and over": twice} {
		lib := readLibrary(t, files{"sets/bay-2/carbon-steel-oxygen.json": text})
		if len(lib.Recipes) != 1 {
			t.Fatalf("%s: %d recipes", name, len(lib.Recipes))
		}
		r := lib.Recipes[0]
		if n := len(r.File.Problems); n < schema.MaxProblems || n > schema.MaxProblems+1 {
			t.Errorf("%s: %d problems are told", name, n)
		}
		if len(r.Unread) == 0 {
			t.Errorf("%s: nothing casts doubt on the recipe", name)
		}
		if r.Cut.V.Duty.Set() {
			t.Errorf("%s: a value without a unit counts behind so many problems", name)
		}
	}
	if near := schema.Nearest(strings.Repeat("speed", 2_000_000), []string{"speed"}); near != "" {
		t.Errorf("ten million letters are a slip of %q", near)
	}
}

func readLibrary(t *testing.T, src schema.Source) *schema.Library {
	t.Helper()
	lib, err := schema.ReadLibrary(src)
	if err != nil {
		t.Fatal(err)
	}
	return lib
}
