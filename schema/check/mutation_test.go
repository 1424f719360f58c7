package check

import (
	"bytes"
	"net/url"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v5"
	"pgregory.net/rapid"

	"fettle/schema"
)

// pool is what mutations are made of: every value and every name of the good files, and some that belong nowhere.
type pool struct {
	files  [][]byte
	values []*schema.Node
	names  []string
}

func readPool(t *testing.T) *pool {
	p := &pool{names: []string{"", "x", "Speed", "gas_m3", "_m3", "argon_m3", "a/b/c", "a/b/c/d", "bay-2/carbon-steel/oxygen", "µ", "__proto__", "$ref"}}
	paths, err := filepath.Glob(filepath.Join(outside, "good", "*.json"))
	if err != nil || len(paths) == 0 {
		t.Fatal("no good files", err)
	}
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		p.files = append(p.files, data)
		p.gather(schema.ReadFile(path, data).Root())
	}
	for _, text := range []string{"", " ", "x", "3", "3 mm", "-3 mm", "3mm", " 3 mm ", "3.5 m/min", "1/3 in", "2 1/2 in", "1/0 in", "7 µm", "7 μm", "7 um", "0 W", "35 %",
		"-5 degC", "0 K", "1 barg", "1 bar(g)", "1 bara", "2 psig", "1e3 W", "1.5.2 W", "1,5 W", "400 Hz\n", "\t", "a\u0000", "é", "cut", "double", "condition",
		"2026-02-28T00:00:00Z", "2024-02-29T00:00:00Z", "2023-02-29T00:00:00Z", "2026-04-31T00:00:00Z", "2026-12-31T23:59:59Z", "0000-02-29T00:00:00Z",
		"a/b/c/3mm", "a/b/c/3mm/cut", "a/b/c/3mm/mark", "a/b/c/3mm/mark/mark", "a/b/c/3.0mm", "a/b/c", strings.Repeat("0", 64), strings.Repeat("a", 32), strings.Repeat("A", 64)} {
		p.values = append(p.values, schema.Text(text))
	}
	for _, digits := range []string{"0", "1", "2", "5", "6", "-1", "-0", "0.5", "1.5", "1e3", "1000000000", "1000000001", "1e300"} {
		p.values = append(p.values, &schema.Node{Kind: schema.Digits, Text: digits})
	}
	for _, kind := range []schema.Kind{schema.Null, schema.True, schema.False, schema.Object, schema.Array} {
		p.values = append(p.values, &schema.Node{Kind: kind})
	}
	return p
}

func (p *pool) gather(n *schema.Node) {
	p.values = append(p.values, n)
	for _, kid := range n.Kids {
		if n.Kind == schema.Object && !slices.Contains(p.names, kid.Key) {
			p.names = append(p.names, kid.Key)
		}
		p.gather(kid)
	}
}

// clone copies a tree, without its places: it stands in no file.
func clone(n *schema.Node) *schema.Node {
	c := &schema.Node{Kind: n.Kind, Key: n.Key, Text: n.Text}
	for _, kid := range n.Kids {
		c.Kids = append(c.Kids, clone(kid))
	}
	return c
}

// mutate changes one thing in a tree.
func (p *pool) mutate(t *rapid.T, root *schema.Node) {
	at := root
	for len(at.Kids) > 0 && (at == root || rapid.IntRange(0, 5).Draw(t, "deeper") > 0) {
		next := at.Kids[rapid.IntRange(0, len(at.Kids)-1).Draw(t, "kid")]
		if len(next.Kids) == 0 {
			break
		}
		at = next
	}
	value := clone(rapid.SampledFrom(p.values).Draw(t, "value"))
	add := func() {
		if at.Kind == schema.Object {
			value.Key = rapid.SampledFrom(p.names).Draw(t, "name")
			if at.Get(value.Key) != nil {
				return // two of one name are beyond a schema
			}
		}
		at.Kids = append(at.Kids, value)
	}
	if len(at.Kids) == 0 {
		add()
		return
	}
	i := rapid.IntRange(0, len(at.Kids)-1).Draw(t, "place")
	switch rapid.SampledFrom([]string{"replace", "replace", "text", "remove", "add", "rename", "swap"}).Draw(t, "mutation") {
	case "replace":
		value.Key = at.Kids[i].Key
		at.Kids[i] = value
	case "text":
		if kid := at.Kids[i]; kid.Kind == schema.String {
			runes := []rune(kid.Text)
			cut := rapid.IntRange(0, len(runes)).Draw(t, "cut")
			kid.Text = string(runes[:cut]) + rapid.SampledFrom([]string{"", " ", "-", "0", ".", "/", "a", "Z", "µ", "m", "\n", "%"}).Draw(t, "insert") + string(runes[min(len(runes), cut+rapid.IntRange(0, 2).Draw(t, "drop")):])
		}
	case "remove":
		at.Kids = slices.Delete(at.Kids, i, i+1)
	case "add":
		add()
	case "rename":
		if name := rapid.SampledFrom(p.names).Draw(t, "name"); at.Kind == schema.Object && at.Get(name) == nil {
			at.Kids[i].Key = name
		}
	case "swap":
		j := rapid.IntRange(0, len(at.Kids)-1).Draw(t, "other")
		at.Kids[i], at.Kids[j] = at.Kids[j], at.Kids[i]
	}
}

// The reader and the published schema agree on whatever becomes of a good file by a few changes. What [beyondSchema] lists is not
// made here but for two things that come of changed text, and those are told by the reader's own words.
func TestOneVerdictOnMutations(t *testing.T) {
	p := readPool(t)
	good, bad := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		root := clone(schema.ReadFile("", rapid.SampledFrom(p.files).Draw(t, "file")).Root())
		for range rapid.IntRange(1, 3).Draw(t, "mutations") {
			p.mutate(t, root)
		}
		data := schema.Layout(root)
		f := schema.ReadFile("mutated.json", data)
		problems, err := File("mutated.json", data)
		if err != nil {
			t.Fatal(err)
		}
		if len(f.Problems) == 0 {
			good++
		} else {
			bad++
		}
		if f.Value != nil && (refusal(t, f.Kind, plain(f.Root())) == nil) != (len(problems) == 0) {
			t.Fatalf("the two validators differ, one says %+v, of\n%s", problems, data)
		}
		if (len(f.Problems) == 0) == (len(problems) == 0) {
			return
		}
		for _, problem := range f.Problems {
			if !strings.Contains(problem.Message, "absolute zero") && !strings.Contains(problem.Message, "nested deeper") {
				t.Fatalf("the reader says %+v, the published schema %+v, of\n%s", f.Problems, problems, data)
			}
		}
		if len(f.Problems) == 0 {
			t.Fatalf("the reader says nothing, the published schema %+v, of\n%s", problems, data)
		}
	})
	if !t.Failed() && (good == 0 || bad == 0) {
		t.Errorf("%d mutations were good and %d bad; both belong here", good, bad)
	}
}

// The reader reports nothing but what the validator of the tests reports too, at the same place of the file.
func TestSamePlaces(t *testing.T) {
	p := readPool(t)
	rapid.Check(t, func(t *rapid.T) {
		root := clone(schema.ReadFile("", rapid.SampledFrom(p.files).Draw(t, "file")).Root())
		p.mutate(t, root)
		f := schema.ReadFile("mutated.json", schema.Layout(root))
		if f.Value == nil || len(f.Problems) == 0 || bytes.Contains(f.Data, []byte(`"":`)) {
			return // the validator loses the empty name from its places
		}
		invalid := refusal(t, f.Kind, plain(f.Root()))
		if invalid == nil {
			return // TestOneVerdictOnMutations judges that
		}
		var places []schema.Span
		collectPlaces(f.Root(), invalid, &places)
		for _, want := range f.Problems {
			if !strings.Contains(want.Message, "absolute zero") && !slices.Contains(places, want.At) {
				t.Fatalf("the reader reports %+v; the validator only %v, of\n%s", want, invalid.BasicOutput().Errors, f.Data)
			}
		}
	})
}

// collectPlaces gathers where the leaves of a refusal point to, in the places that the reader knows: a missing member is reported at
// the brace that opens its object, a member too many and a bad name at the name.
func collectPlaces(root *schema.Node, invalid *jsonschema.ValidationError, places *[]schema.Span) {
	for _, cause := range invalid.Causes {
		collectPlaces(root, cause, places)
	}
	if len(invalid.Causes) > 0 {
		return
	}
	at := locate(root, invalid.InstanceLocation)
	switch keyword := path.Base(invalid.KeywordLocation); {
	case keyword == "required":
		*places = append(*places, schema.Span{Start: at.At.Start, End: at.At.Start + 1})
	case keyword == "additionalProperties":
		for _, kid := range at.Kids {
			if strings.Contains(invalid.Message, quote(kid.Key)) {
				*places = append(*places, kid.KeyAt)
			}
		}
	case strings.Contains(invalid.KeywordLocation, "/propertyNames/"):
		*places = append(*places, at.KeyAt)
	default:
		*places = append(*places, at.At)
	}
}

// quote writes a name as the validator does in its messages.
func quote(name string) string {
	quoted := strconv.Quote(name)
	return "'" + strings.NewReplacer(`\"`, `"`, `'`, `\'`).Replace(quoted[1:len(quoted)-1]) + "'"
}

// locate follows a JSON Pointer, of which each step is escaped for a URL, into a file.
func locate(at *schema.Node, pointer string) *schema.Node {
	for _, step := range strings.Split(pointer, "/")[1:] {
		step, _ = url.PathUnescape(step)
		step = strings.NewReplacer("~1", "/", "~0", "~").Replace(step)
		if i, err := strconv.Atoi(step); err == nil && at.Kind == schema.Array {
			at = at.Kids[i]
		} else {
			at = at.Get(step)
		}
	}
	return at
}
