package check

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fettle/schema"
)

// What a published schema has against a file is said in plain words: where, what was found, what belongs there.
func TestFileSaysWhatIsWrong(t *testing.T) {
	const data = `{"kind": "condition-set", "format": 2, "machine": "Bay 2", "material": "carbon-steel", "gas": "oxygen",
"µ": 1, "grade": "", "conditions": [{"thickness": 3, "nozzle": {"form": "doubel", "standof": "1 mm"},
 "cut": {"power": "1 kW", "speed": "3 bar", "pressure": "1,2 bar", "focus": null}, "pierce": {},
 "extra": {"": "2", "b": 3}, "quality": {"roughness_range": 9, "perpendicularity_range": 0.5}, "gas": "air", "gas": "argon"}]}`
	want := []string{
		`1:37 bad-value format: found 2; expected 1`,
		`1:51 bad-value machine: found "Bay 2"; expected a name of a-z, 0-9 and hyphens`,
		`2:1 unknown-field µ: "µ" is not a member here | Known here: kind, format, machine, material, grade, gas, note, conditions.`,
		`2:18 bad-value grade: found ""; expected one line of text that is not empty`,
		`2:51 bare-number conditions[0].thickness: found 3; expected a length: text with its unit | Write it like "1.5 mm".`,
		`2:64 missing-field conditions[0].nozzle.orifice: "orifice" is missing | bore diameter`,
		`2:64 missing-field conditions[0].nozzle.standoff: "standoff" is missing | nozzle tip to plate`,
		`2:73 bad-value conditions[0].nozzle.form: found "doubel"; expected one of: single, double`,
		`2:83 unknown-field conditions[0].nozzle.standof: "standof" is not a member here | Did you mean "standoff"?`,
		`3:36 bad-value conditions[0].cut.speed: found "3 bar"; expected a speed: text with its unit | Write it like "3.4 m/min".`,
		`3:57 bad-value conditions[0].cut.pressure: found "1,2 bar"; expected a pressure: text with its unit | Write it like "0.25 bar".`,
		`3:77 bad-value conditions[0].cut.focus: found null; expected a length: text with its unit | Write it like "1.5 mm".`,
		`3:94 bad-value conditions[0].pierce: found an object; expected a list`,
		`4:12 bad-value conditions[0].extra.: found the name ""; expected one line of text that is not empty`,
		`4:26 bad-value conditions[0].extra.b: found 3; expected text in quotes`,
		`4:61 bad-value conditions[0].quality.roughness_range: found 9; expected at most 4`,
		`4:90 bad-value conditions[0].quality.perpendicularity_range: found 0.5; expected a whole number`,
		`4:96 unknown-field conditions[0].gas: "gas" is not a member here | Known here: thickness, variant, process, nozzle, cut, lead_in, corner, contours, pierce, kerf, quality, extra, note.`,
		`4:110 duplicate-key conditions[0].gas: "gas" stands twice in one object | Keep one; readers differ in which of the two they take.`,
		`4:110 unknown-field conditions[0].gas: "gas" is not a member here | Known here: thickness, variant, process, nozzle, cut, lead_in, corner, contours, pierce, kerf, quality, extra, note.`,
	}
	problems, err := File("sets/bay-2/x.json", []byte(data))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, p := range problems {
		line := fmt.Sprintf("%d:%d %s %s: %s", p.Line, p.Column, p.Rule, p.Field, p.Message)
		if p.Help != "" {
			line += " | " + p.Help
		}
		got = append(got, line)
	}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// Every message about a bad file says what was found or what is missing, and none is left empty or speaks of keywords.
func TestEveryMessageIsInWords(t *testing.T) {
	paths, _ := filepath.Glob(filepath.Join(outside, "bad", "*.json"))
	seen := 0
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		problems, err := File(path, data)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range problems {
			seen++
			if strings.HasSuffix(p.Message, "expected ") || strings.Contains(p.Message, "something else") || strings.Contains(p.Message, "^") || p.Line < 1 || p.Column < 1 {
				t.Errorf("%s: %+v", path, p)
			}
		}
	}
	if seen < 200 {
		t.Errorf("only %d messages were seen", seen)
	}
}

// A file without a known kind has no schema; the reader's words say which kinds there are.
func TestFileOfNoKind(t *testing.T) {
	for data, message := range map[string]string{`{"kind": "recipe"}`: "not a kind of file", `{}`: `"kind" is missing`, `[]`: "object in braces", `{`: "ends before"} {
		problems, err := File("x.json", []byte(data))
		if err != nil || len(problems) != 1 || !strings.Contains(problems[0].Message, message) || problems[0].Line != 1 {
			t.Errorf("%s: %+v, %v", data, problems, err)
		}
	}
}

// Every published schema is itself a good one: the validator holds it against the meta-schema when it compiles it.
func TestEverySchemaCompiles(t *testing.T) {
	for _, kind := range schema.PublishedKinds() {
		if _, err := compile(kind); err != nil {
			t.Error(err)
		}
	}
	if _, err := compile("recipe"); err == nil || !strings.Contains(err.Error(), "condition-set") {
		t.Errorf("an unknown kind: %v", err)
	}
}
