package schema_test

import (
	"strings"
	"testing"

	"fettle/schema"
)

const goodSet = `{
  "kind": "condition-set",
  "format": 1,
  "machine": "bay-2",
  "material": "carbon-steel",
  "grade": "S355J2",
  "gas": "oxygen",
  "conditions": [
    {
      "thickness": "3 mm",
      "variant": "pickled",
      "nozzle": {
        "form": "double",
        "orifice": "1.0 mm",
        "standoff": "1.0 mm"
      },
      "cut": {
        "power": "1.8 kW",
        "speed": "3.4 m/min",
        "pressure": "0.25 bar",
        "focus": "2 mm",
        "mode": "continuous"
      },
      "lead_in": {
        "speed": "1.5 m/min"
      },
      "pierce": [
        {
          "power": "900 W",
          "time": "0.12 s",
          "pressure": "0.6 bar",
          "focus": "3 mm",
          "standoff": "4 mm",
          "mode": "pulsed",
          "frequency": "400 Hz",
          "duty": "35 %"
        }
      ],
      "kerf": "0.30 mm",
      "note": "free text"
    }
  ]
}
`

func TestReadFileGood(t *testing.T) {
	f := schema.ReadFile("sets/bay-2/carbon-steel-oxygen.json", []byte(goodSet))
	if len(f.Problems) > 0 {
		t.Fatalf("problems in a good file: %+v", f.Problems)
	}
	set := f.Value.(*schema.ConditionSet)
	c := set.Conditions.V[0]
	if got := c.Cut.V.Speed.V.Canonical(); got != "17/300 m/s" {
		t.Errorf("speed %s", got)
	}
	line, column := f.Position(c.Cut.V.Pressure.At.Start)
	if line != 20 || column != 21 {
		t.Errorf("pressure at %d:%d, want 20:21", line, column)
	}
	if got := string(schema.Layout(f.Root())); got != goodSet {
		t.Errorf("the house layout of a file in house layout differs:\n%s", got)
	}
}

// Every case names what must be reported: rule, line:column and field. The text is the file with one fault.
func TestReadFileFaults(t *testing.T) {
	edit := func(old, new string) string {
		if !strings.Contains(goodSet, old) {
			t.Fatalf("no %q in the good set", old)
		}
		return strings.Replace(goodSet, old, new, 1)
	}
	cases := []struct{ name, data, rule, field, message, help string }{
		{"bom", "\ufeff" + goodSet, "syntax", "", "byte order mark", ""},
		{"utf16", "\xff\xfe{\x00", "syntax", "", "UTF-16", ""},
		{"binary", "\x7fELF\x00", "syntax", "", "zero byte", ""},
		{"empty", " \n", "syntax", "", "empty", ""},
		{"trailing", goodSet + "{}", "syntax", "", "after the end", ""},
		{"not utf-8", edit("S355J2", "S\xff"), "syntax", "", "not UTF-8", ""},
		{"cut off", goodSet[:300], "syntax", "", "ends before", ""},
		{"trailing comma", edit(`"mode": "continuous"`, `"mode": "continuous",`), "syntax", "", "comma before the closing", ""},
		{"comment", edit(`"grade"`, "// x\n\"grade\""), "syntax", "", "comment", "note"},
		{"conflict", edit(`  "grade"`, "<<<<<<< HEAD\n  \"grade\""), "syntax", "", "merge conflict", ""},
		{"missing comma", edit(`"1.8 kW",`, `"1.8 kW"`), "syntax", "", "comma or colon is missing", ""},
		{"nesting", strings.Repeat("[", 40), "syntax", "", "nested deeper", ""},
		{"duplicate", edit(`"grade": "S355J2",`, `"grade": "S355J2", "grade": "S235JR",`), "duplicate-key", "grade", "stands twice", ""},
		{"unknown", edit(`"standoff": "1.0 mm"`, `"standof": "1.0 mm", "standoff": "1.0 mm"`), "unknown-field", "conditions[0].nozzle.standof", `"standof" is not a member`, `Did you mean "standoff"?`},
		{"missing", edit(`"speed": "3.4 m/min",`, ``), "missing-field", "conditions[0].cut.speed", `"speed" is missing`, ""},
		{"bare", edit(`"3.4 m/min"`, `3.4`), "bare-number", "conditions[0].cut.speed", "3.4 has no unit", "m/min"},
		{"bare text", edit(`"3.4 m/min"`, `"3.4"`), "bare-number", "conditions[0].cut.speed", "without a unit", ""},
		{"unit", edit(`"3.4 m/min"`, `"3.4 m/mn"`), "unknown-unit", "conditions[0].cut.speed", "m/mn", "m/min"},
		{"dimension", edit(`"3.4 m/min"`, `"3.4 bar"`), "wrong-dimension", "conditions[0].cut.speed", "bar", ""},
		{"word", edit(`"form": "double"`, `"form": "doubel"`), "bad-value", "conditions[0].nozzle.form", `"doubel"`, `"double"`},
		{"null", edit(`"0.30 mm"`, `null`), "bad-value", "conditions[0].kerf", "found null", ""},
		{"kind", edit(`"condition-set"`, `"condition-sets"`), "bad-value", "kind", "not a kind", `"condition-set"`},
		{"format", edit(`"format": 1`, `"format": 2`), "bad-value", "format", "format 2", ""},
		{"top level", `["a"]`, "bad-value", "", "object in braces", ""},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			f := schema.ReadFile("sets/bay-2/x.json", []byte(c.data))
			for _, p := range f.Problems {
				if p.Rule == c.rule && p.Field == c.field && strings.Contains(p.Message, c.message) && strings.Contains(p.Help, c.help) {
					return
				}
			}
			t.Errorf("want %s at %q saying %q / %q, got %+v", c.rule, c.field, c.message, c.help, f.Problems)
		})
	}
}

func TestReadFileReportsEveryProblem(t *testing.T) {
	data := strings.NewReplacer(`"3.4 m/min"`, `3.4`, `"1.0 mm"`, `"1,0 mm"`, `"kerf"`, `"kref"`).Replace(goodSet)
	f := schema.ReadFile("sets/bay-2/x.json", []byte(data))
	if len(f.Problems) != 4 {
		t.Errorf("want 4 problems (two commas, a bare number, an unknown member), got %+v", f.Problems)
	}
}
