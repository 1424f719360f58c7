package check

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v5"

	"fettle/schema"
)

const outside = "../../testdata/outside/json"

// beyondSchema are the files that the reader refuses although the published schemas let them pass, with what a JSON Schema cannot
// say about them. Nothing else may differ. schema/README.md tells the same.
var beyondSchema = map[string]string{
	"bad/beyond-schema-duplicate-key.json":        "a name that stands twice is gone before a schema is asked",
	"bad/beyond-schema-not-utf-8.json":            "so are bytes that are no UTF-8",
	"bad/beyond-schema-half-surrogate.json":       "and escapes that are no character",
	"bad/beyond-schema-number-beyond-double.json": "a number in content that is kept as it is has no bounds",
	"bad/beyond-schema-depth.json":                "nor has its nesting",
	"bad/beyond-schema-nineteen-digits.json":      "a pattern does not count digits on both sides of a point",
	"bad/beyond-schema-sixty-five-bytes.json":     "maxLength counts characters, the reader bytes",
	"bad/beyond-schema-whole-in-fraction.json":    "a pattern does not compare numbers",
	"bad/beyond-schema-below-absolute-zero.json":  "a pattern does not compare numbers",
}

// independent is the verdict of the validator on bytes that encoding/json has read: nothing of fettle but the schema itself.
func independent(t *testing.T, data []byte) bool {
	t.Helper()
	decoder := json.NewDecoder(strings.NewReader(string(data)))
	decoder.UseNumber()
	var value any
	if decoder.Decode(&value) != nil || decoder.More() {
		return false
	}
	object, _ := value.(map[string]any)
	kind, _ := object["kind"].(string)
	if _, ok := schema.Published(kind); !ok {
		return false
	}
	s, err := compile(kind)
	if err != nil {
		t.Fatal(err)
	}
	err = s.validator.Validate(value)
	var invalid *jsonschema.ValidationError
	if err != nil && !errors.As(err, &invalid) {
		t.Fatal(err)
	}
	return err == nil
}

// Three unrelated readers come to one verdict on every file: fettle's own, the Go validator, and ajv, whose verdicts stand in a
// table that make.sh beside it makes.
func TestOneVerdict(t *testing.T) {
	table, err := os.ReadFile(filepath.Join(outside, "verdicts.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	ajv := map[string]bool{}
	for _, row := range strings.Split(strings.TrimSpace(string(table)), "\n") {
		name, verdict, _ := strings.Cut(row, "\t")
		ajv[name] = verdict == "good"
	}
	kinds, exceptions := map[string]bool{}, 0
	for _, folder := range []string{"good", "bad"} {
		paths, _ := filepath.Glob(filepath.Join(outside, folder, "*.json"))
		for _, path := range paths {
			name := folder + "/" + filepath.Base(path)
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			f := schema.ReadFile(name, data)
			if good := len(f.Problems) == 0; good != (folder == "good") {
				t.Errorf("%s: the reader says %+v", name, f.Problems)
			}
			kinds[f.Kind] = kinds[f.Kind] || folder == "good"
			want := folder == "good"
			if _, ok := beyondSchema[name]; ok {
				want = true
				exceptions++
			}
			if got := independent(t, data); got != want {
				t.Errorf("%s: the validator says good: %v, want %v", name, got, want)
			}
			if got, ok := ajv[name]; !ok || got != want {
				t.Errorf("%s: ajv says good: %v, want %v (in the table: %v); made anew by make.sh?", name, got, want, ok)
			}
			delete(ajv, name)
			problems, err := File(name, data)
			if err != nil {
				t.Errorf("%s: %v", name, err)
			}
			reported := len(problems) == 0
			if onlyStrict := strings.HasSuffix(name, "-duplicate-key.json") || f.Value == nil; !onlyStrict && reported != want || onlyStrict && reported {
				t.Errorf("%s: File reports %+v", name, problems)
			}
		}
	}
	for name := range ajv {
		t.Errorf("%s is in the table and not among the files", name)
	}
	for _, kind := range schema.PublishedKinds() {
		if !kinds[kind] {
			t.Errorf("there is no good file of kind %q", kind)
		}
	}
	if exceptions != len(beyondSchema) {
		t.Errorf("%d of %d exceptions have a file", exceptions, len(beyondSchema))
	}
}
