package check

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v5"
	"pgregory.net/rapid"

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

// A validator is somebody else's program that says whether a value keeps to the published schema of a kind.
type validator func(t *testing.T, kind string, value any) bool

var validators = map[string]validator{
	"jsonschema-go": func(t *testing.T, kind string, value any) bool {
		published, err := resolve(kind)
		if err != nil {
			t.Fatal(err)
		}
		return published.Validate(value) == nil
	},
	"santhosh-tekuri/jsonschema": func(t *testing.T, kind string, value any) bool { return refusal(t, kind, value) == nil },
}

var (
	compiledMu sync.Mutex
	compiled   = map[string]*jsonschema.Schema{}
)

// compile makes a published schema ready for the validator of the tests, which holds it to the meta-schema as it does.
func compile(kind string) (*jsonschema.Schema, error) {
	compiledMu.Lock()
	defer compiledMu.Unlock()
	if known := compiled[kind]; known != nil {
		return known, nil
	}
	text, _ := schema.Published(kind)
	compiler := jsonschema.NewCompiler()
	compiler.Draft = jsonschema.Draft2020
	compiler.LoadURL = func(url string) (io.ReadCloser, error) { return nil, fmt.Errorf("%s is not embedded", url) }
	if err := compiler.AddResource(kind+".json", bytes.NewReader(text)); err != nil {
		return nil, err
	}
	known, err := compiler.Compile(kind + ".json")
	if err == nil {
		compiled[kind] = known
	}
	return known, err
}

// refusal is what the validator of the tests has against a value, as a tree with places.
func refusal(t rapid.TB, kind string, value any) *jsonschema.ValidationError {
	t.Helper()
	published, err := compile(kind)
	if err != nil {
		t.Fatal(err)
	}
	var invalid *jsonschema.ValidationError
	if err := published.Validate(value); err != nil && !errors.As(err, &invalid) {
		t.Fatal(err)
	}
	return invalid
}

// independent is the verdict of a validator on bytes that encoding/json has read: nothing of fettle but the schema itself.
func independent(t *testing.T, valid validator, data []byte) bool {
	t.Helper()
	decoder := json.NewDecoder(bytes.NewReader(data))
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
	return valid(t, kind, floats(value))
}

// floats makes a float of each number, also of one that encoding/json finds too great for that.
func floats(value any) any {
	switch value := value.(type) {
	case map[string]any:
		for name := range value {
			value[name] = floats(value[name])
		}
	case []any:
		for i := range value {
			value[i] = floats(value[i])
		}
	case json.Number:
		return float(value.String())
	}
	return value
}

// Four unrelated readers come to one verdict on every file: fettle's own, two Go validators, and ajv, whose verdicts stand in a
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
			for program, valid := range validators {
				if got := independent(t, valid, data); got != want {
					t.Errorf("%s: %s says good: %v, want %v", name, program, got, want)
				}
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
