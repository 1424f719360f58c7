package check

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/jsonschema-go/jsonschema"

	"fettle/schema"
)

// What is wrong with a file that its schema refuses is said in plain words: where, what was found, what belongs there, what to do.
func TestFileSaysWhatIsWrong(t *testing.T) {
	const data = `{"kind": "condition-set", "format": 2, "machine": "Bay 2", "material": "carbon-steel", "gas": "oxygen",
"µ": 1, "grade": "", "conditions": [{"thickness": 3, "nozzle": {"form": "doubel", "standof": "1 mm"},
 "cut": {"power": "1 kW", "speed": "3 bar", "pressure": "1,2 bar", "focus": null}, "pierce": {},
 "extra": {"": "2", "b": 3}, "quality": {"roughness_range": 9, "perpendicularity_range": 0.5}, "gas": "air", "gas": "argon"}]}`
	want := []string{
		`1:37 bad-value format: format 2 is not known; this fettle reads format 1 | The file may be of a newer fettle: fettle version`,
		`1:51 bad-value machine: found "Bay 2"; expected a name of a-z, 0-9 and hyphens | Names stand in ids and file names, so they are kept plain.`,
		`2:1 unknown-field µ: "µ" is not a member here | Known here: kind, format, machine, material, grade, gas, note, conditions.`,
		`2:18 bad-value grade: found ""; expected one line of text that is not empty`,
		`2:51 bare-number conditions[0].thickness: 3 has no unit; a length is text with its unit | Write it like "1.5 mm".`,
		`2:64 missing-field conditions[0].nozzle.orifice: "orifice" is missing | bore diameter`,
		`2:64 missing-field conditions[0].nozzle.standoff: "standoff" is missing | nozzle tip to plate`,
		`2:73 bad-value conditions[0].nozzle.form: "doubel" is not a word known here | Did you mean "double"? One of: single, double.`,
		`2:83 unknown-field conditions[0].nozzle.standof: "standof" is not a member here | Did you mean "standoff"?`,
		`3:36 wrong-dimension conditions[0].cut.speed: "3 bar" is a pressure where a speed such as "3.4 m/min" is needed | Write it in one of mm/s, mm/min, m/min, m/s, in/min.`,
		`3:57 bad-value conditions[0].cut.pressure: "1,2 bar" is a number with a decimal comma | Write "1.2 bar".`,
		`3:77 bad-value conditions[0].cut.focus: found null; expected a length such as "1.5 mm"`,
		`3:94 bad-value conditions[0].pierce: found an object; expected a list`,
		`4:12 bad-value conditions[0].extra.: found the name ""; expected one line of text that is not empty`,
		`4:26 bad-value conditions[0].extra.b: found 3; expected a string`,
		`4:61 bad-value conditions[0].quality.roughness_range: found 9; expected a whole number from 1 to 4 without quotes`,
		`4:90 bad-value conditions[0].quality.perpendicularity_range: found 0.5; expected a whole number from 1 to 5 without quotes`,
		`4:96 unknown-field conditions[0].gas: "gas" is not a member here | Known here: thickness, variant, process, nozzle, cut, lead_in, corner, contours, pierce, kerf, quality, extra, note.`,
		`4:110 duplicate-key conditions[0].gas: "gas" stands twice in one object | Keep one; readers differ in which of the two they take.`,
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

// Every message about a bad file has a place and words, and none is the last resort for a file that only the schema refuses.
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
			if p.Message == "" || strings.Contains(p.Message, "published schema") || p.Line < 1 || p.Column < 1 {
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

// Every published schema keeps to the meta-schema, to which the validator of the tests holds it, and is one that the validator of
// the program takes, whose patterns are regular expressions of Go.
func TestEverySchemaIsSound(t *testing.T) {
	for _, kind := range schema.PublishedKinds() {
		if _, err := compile(kind); err != nil {
			t.Error(err)
		}
		if _, err := resolve(kind); err != nil {
			t.Error(err)
		}
	}
	if _, err := resolve("recipe"); err == nil || !strings.Contains(err.Error(), "condition-set") {
		t.Errorf("an unknown kind: %v", err)
	}
}

// A file that the schema refuses is never passed, even where the reader finds nothing wrong with it.
func TestRefusalStands(t *testing.T) {
	stricter := jsonschema.Schema{Properties: map[string]*jsonschema.Schema{"text": {MaxLength: jsonschema.Ptr(2)}}}
	published, err := stricter.Resolve(nil)
	if err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(outside, "good", "withdrawal.json"))
	if err != nil {
		t.Fatal(err)
	}
	f := schema.ReadFile("x.json", data)
	got := placed(f, judge(f, published))
	if len(f.Problems) > 0 || len(got) != 1 || got[0].Line != 1 || got[0].Column != 1 ||
		!strings.Contains(got[0].Message, `kind "withdrawal"`) || !strings.Contains(got[0].Message, "/properties/text") {
		t.Errorf("the reader says %+v, File %+v", f.Problems, got)
	}
}

// A number that no double holds is held to its bounds all the same.
func TestNumberBeyondDouble(t *testing.T) {
	for number, good := range map[string]bool{"1e3": true, "1e999": false, "-1e999": false, "1e99999999999": false} {
		data := `{"kind": "library", "format": 1, "id": "` + strings.Repeat("0", 32) + `", "name": "x", "prices": {"currency": "EUR", "machine_hour": ` + number + `}}`
		f := schema.ReadFile("fettle.json", []byte(data))
		for program, valid := range validators {
			if got := valid(t, "library", plain(f.Root())); got != good {
				t.Errorf("%s says of %s good: %v, want %v", program, number, got, good)
			}
		}
	}
}
