package schema_test

import (
	"encoding/json"
	"strings"
	"testing"

	"fettle/schema"
)

// source is a library held in memory.
type source map[string]string

func (s source) Files() (paths []string) {
	for p := range s {
		paths = append(paths, p)
	}
	return paths
}

func (s source) Read(path string) ([]byte, error) { return []byte(s[path]), nil }

func recipe(t *testing.T, set string) *schema.Recipe {
	t.Helper()
	lib, err := schema.ReadLibrary(source{"sets/bay-2/carbon-steel-oxygen.json": set})
	if err != nil || len(lib.Recipes) != 1 {
		t.Fatalf("%v, %d recipes, %+v", err, len(lib.Recipes), lib.Files[0].Problems)
	}
	return lib.Recipes[0]
}

func TestDigestIsOfTheMeaning(t *testing.T) {
	base := recipe(t, goodSet)
	if got := base.ID.String(); got != "bay-2/carbon-steel/oxygen/3mm/pickled" {
		t.Errorf("id %s", got)
	}
	for _, same := range [][2]string{{`"2 mm"`, `"0.2 cm"`}, {`"2 mm"`, `"2.0 mm"`}, {"free text", "other text"}, {`"3.4 m/min"`, `"3400 mm/min"`},
		{`"variant": "pickled",`, `"process": "cut", "variant": "pickled",`}} {
		if got := recipe(t, strings.Replace(goodSet, same[0], same[1], 1)); got.Digest() != base.Digest() {
			t.Errorf("%s for %s changes the digest", same[1], same[0])
		}
	}
	for _, other := range [][2]string{{`"2 mm"`, `"2.1 mm"`}, {"S355J2", "S235JR"}, {`"kerf": "0.30 mm",`, ``}, {`"double"`, `"single"`}, {`"35 %"`, `"36 %"`}} {
		if got := recipe(t, strings.Replace(goodSet, other[0], other[1], 1)); got.Digest() == base.Digest() {
			t.Errorf("%s for %s keeps the digest", other[1], other[0])
		}
	}
}

func TestCanonicalForm(t *testing.T) {
	const want = `{"canon":1,"cut":{"focus":"1/500 m","mode":"continuous","power":"1800 W","pressure":"25000 Pa","speed":"17/300 m/s"},` +
		`"gas":"oxygen","grade":"S355J2","kerf":"3/10000 m","lead_in":{"speed":"1/40 m/s"},"machine":"bay-2","material":"carbon-steel",` +
		`"nozzle":{"form":"double","orifice":"1/1000 m","standoff":"1/1000 m"},"pierce":[{"duty":"7/20","focus":"3/1000 m","frequency":"400 Hz",` +
		`"mode":"pulsed","power":"900 W","pressure":"60000 Pa","standoff":"1/250 m","time":"3/25 s"}],"thickness":"3/1000 m","variant":"pickled"}`
	got := string(recipe(t, goodSet).Values().Canonical())
	if got != want {
		t.Errorf("canonical form\n%s\nwant\n%s", got, want)
	}
	// encoding/json sorts the keys of a map as RFC 8785 does for ASCII names, and these values need no escape.
	var any map[string]any
	if err := json.Unmarshal([]byte(got), &any); err != nil {
		t.Fatal(err)
	}
	again, _ := json.Marshal(any)
	if string(again) != got {
		t.Errorf("encoding/json orders it otherwise: %s", again)
	}
}

func TestEncodeAndReadBackKeepsTheDigest(t *testing.T) {
	base := recipe(t, goodSet)
	v := base.Values()
	var back schema.Values
	if problems := schema.Bind(schema.Encode(v), &back); len(problems) > 0 {
		t.Fatal(problems)
	}
	if back.Digest() != base.Digest() {
		t.Error("values written and read back have another digest")
	}
}

func TestRecordNameAndMessage(t *testing.T) {
	reason := &schema.Reason{Common: schema.Common{Head: schema.Head{Kind: schema.Of("reason"), Format: schema.Of(1)},
		Library: schema.Of(strings.Repeat("7f", 16)), At: schema.Of("2026-07-14T09:12:05Z"), By: schema.Of("mara.lind@northgate.example"), Text: schema.Of("dross on the back edge")},
		Changes: schema.Of([]schema.Change{{ID: schema.Of("bay-2/carbon-steel/oxygen/3mm"), From: schema.Of(""), To: schema.Of(strings.Repeat("0a", 32))}}),
		Cause:   schema.Of("quality-target")}
	r := schema.NewRecord(reason)
	if !strings.HasPrefix(r.Path, "records/2026/07/20260714T091205Z-reason-"+r.Digest.Short()) {
		t.Errorf("path %s for digest %s", r.Path, r.Digest)
	}
	if !strings.Contains(string(r.Bytes()), `"from": null`) {
		t.Errorf("a new condition has no digest before:\n%s", r.Bytes())
	}
	reason.Signature = schema.Of("-----BEGIN SSH SIGNATURE-----\nx\n")
	if signed := schema.NewRecord(reason); signed.Digest != r.Digest {
		t.Error("the signature is part of the digest")
	}
	back := schema.ReadRecord(r.Path, r.Bytes())
	if back.Digest != r.Digest || back.WantPath() != r.Path || len(back.Problems) > 0 {
		t.Errorf("read back: %s %s %+v", back.Digest, back.WantPath(), back.Problems)
	}
}

func TestSetPath(t *testing.T) {
	f := schema.ReadFile("sets/bay-2/x.json", []byte(goodSet))
	root := f.Root()
	c := root.Get("conditions").Kids[0]
	for path, value := range map[string]*schema.Node{"cut.pressure": schema.Text("0.30 bar"), schema.FieldPath("pierce1.time"): schema.Text("0.2 s"),
		"corner.min_power": schema.Text("500 W"), "note": nil} {
		if err := c.SetPath(path, value); err != nil {
			t.Fatal(err)
		}
	}
	out := string(schema.Layout(root))
	want := strings.NewReplacer(`"0.25 bar"`, `"0.30 bar"`, `"0.12 s"`, `"0.2 s"`, `"kerf": "0.30 mm",
      "note": "free text"`, `"kerf": "0.30 mm"`, `      "pierce": [`, `      "corner": {
        "min_power": "500 W"
      },
      "pierce": [`).Replace(goodSet)
	if out != want {
		t.Errorf("got\n%s", out)
	}
	if err := c.SetPath("pierce[5].time", schema.Text("1 s")); err == nil {
		t.Error("a sixth stage behind one was made")
	}
}

// Names of members of the machine's own are taken as they are: a controller's table may call one anything.
func TestOwnMembers(t *testing.T) {
	for _, name := range []string{"aux.gas", "lens[2]", "a.b[0].c", "pierce1", "half["} {
		c := schema.ReadFile("sets/bay-2/x.json", []byte(goodSet)).Root().Get("conditions").Kids[0]
		typed := "extra." + name
		path := schema.FieldPath(typed)
		if err := c.SetPath(path, schema.Text("7")); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if got := c.Get("extra").Str(name); got != "7" {
			t.Errorf("%s holds %q", name, got)
		}
		if got := schema.SpokenPath(path); got != typed {
			t.Errorf("%s is spoken of as %q", typed, got)
		}
		if err := c.SetPath(path, nil); err != nil || c.Get("extra") != nil {
			t.Errorf("%s was not taken away: %v", name, err)
		}
	}
	for _, odd := range []string{"cut.x[", "cut.x]", "cut.x[y]", "[", "]["} {
		if got := schema.SpokenPath(odd); got != odd {
			t.Errorf("%q is spoken of as %q", odd, got)
		}
	}
}
