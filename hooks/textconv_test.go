package hooks_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fettle/hooks"
	"fettle/schema"
)

func TestTextconv(t *testing.T) {
	text := set(condition("6 mm", `, "pierce": [{"time": "0.3 s"}, {"power": "0 W"}], "note": "two\nlines", "lead_in": {}, "colour": 3, "contours": []`), condition("3 mm", ""))
	const want = `kind  condition-set
format  1
machine  bay-2
material  carbon-steel
gas  oxygen
bay-2/carbon-steel/oxygen/3mm  thickness  3 mm
bay-2/carbon-steel/oxygen/3mm  nozzle.form  double
bay-2/carbon-steel/oxygen/3mm  nozzle.orifice  1.2 mm
bay-2/carbon-steel/oxygen/3mm  nozzle.standoff  1.0 mm
bay-2/carbon-steel/oxygen/3mm  cut.power  2 kW
bay-2/carbon-steel/oxygen/3mm  cut.speed  3 m/min
bay-2/carbon-steel/oxygen/3mm  cut.pressure  0.3 bar
bay-2/carbon-steel/oxygen/3mm  cut.focus  2 mm
bay-2/carbon-steel/oxygen/6mm  thickness  6 mm
bay-2/carbon-steel/oxygen/6mm  nozzle.form  double
bay-2/carbon-steel/oxygen/6mm  nozzle.orifice  1.2 mm
bay-2/carbon-steel/oxygen/6mm  nozzle.standoff  1.0 mm
bay-2/carbon-steel/oxygen/6mm  cut.power  2 kW
bay-2/carbon-steel/oxygen/6mm  cut.speed  3 m/min
bay-2/carbon-steel/oxygen/6mm  cut.pressure  0.3 bar
bay-2/carbon-steel/oxygen/6mm  cut.focus  2 mm
bay-2/carbon-steel/oxygen/6mm  lead_in  {}
bay-2/carbon-steel/oxygen/6mm  contours  []
bay-2/carbon-steel/oxygen/6mm  pierce1.time  0.3 s
bay-2/carbon-steel/oxygen/6mm  pierce2.power  0 W
bay-2/carbon-steel/oxygen/6mm  note  "two\nlines"
bay-2/carbon-steel/oxygen/6mm  colour  3
`
	if got := string(hooks.Textconv("x.json", []byte(text))); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	for _, broken := range []string{"", "{", "[]", text[1:], strings.Replace(text, `"gas"`, `"gas": "air", "gas"`, 1)} {
		if got := string(hooks.Textconv("x.json", []byte(broken))); got != broken {
			t.Errorf("%q is shown as %q", broken, got)
		}
	}
}

// Two sets that plain JSON tells apart are shown differently, whatever differs; one in another layout and order is shown the same.
func TestTextconvHidesNothing(t *testing.T) {
	base, err := os.ReadFile(filepath.Join(libraryDir, oxygenSet))
	if err != nil {
		t.Fatal(err)
	}
	shown := string(hooks.Textconv("x.json", base))
	var root map[string]any
	if err := json.Unmarshal(base, &root); err != nil {
		t.Fatal(err)
	}
	reordered := func() []byte {
		conditions := slices.Clone(root["conditions"].([]any))
		slices.Reverse(conditions)
		out, err := json.Marshal(map[string]any{"kind": root["kind"], "format": root["format"], "machine": root["machine"], "material": root["material"],
			"grade": root["grade"], "gas": root["gas"], "conditions": conditions})
		if err != nil {
			t.Fatal(err)
		}
		return out
	}()
	if got := string(hooks.Textconv("x.json", reordered)); got != shown {
		t.Error("another order of members and conditions is shown")
	}
	tree := schema.ReadFile("x.json", base).Root()
	var leaves []*schema.Node
	var walk func(n *schema.Node)
	walk = func(n *schema.Node) {
		if len(n.Kids) == 0 {
			leaves = append(leaves, n)
		}
		for _, kid := range n.Kids {
			walk(kid)
		}
	}
	walk(tree)
	rapid.Check(t, func(t *rapid.T) {
		leaf := rapid.SampledFrom(leaves).Draw(t, "leaf")
		was := *leaf
		defer func() { *leaf = was }()
		*leaf = schema.Node{Kind: schema.String, Key: was.Key, Text: rapid.SampledFrom([]string{"1", "true", "null", "{}", "[]", "0.25  bar", " 0.25 bar", "a, b", "x\ny", ""}).Draw(t, "text")}
		if was.Kind == leaf.Kind && was.Text == leaf.Text || leaf.Key == "kind" {
			return
		}
		changed := schema.Layout(tree)
		if string(hooks.Textconv("x.json", changed)) == shown {
			t.Fatalf("%s from %q to %q is not shown", was.Key, was.Text, leaf.Text)
		}
	})
}
