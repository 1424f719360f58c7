package schema_test

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fettle/schema"
)

// Every case is a file that somebody could hand to a program to make it fall over or take the wrong one of two values.
func TestHostileFiles(t *testing.T) {
	record := func(rest string) string {
		return `{"kind": "load", "format": 1, "library": "` + strings.Repeat("7f", 16) + `", "at": "2026-07-14T09:12:05Z", "by": "mara", "loaded": []` + rest + `}`
	}
	cases := []struct{ name, data, rule, field string }{
		{"one name twice in a record", record(`, "by": "jonas"`), "duplicate-key", "by"},
		{"an empty name", `{"kind": "library", "display": {"": 1}}`, "unknown-field", "display."},
		{"an empty name at the root", `{"": {}, "kind": "library"}`, "unknown-field", ""},
		{"a name that looks like a list", `{"kind": "library", "display": {"[": 1}}`, "unknown-field", "display.["},
		{"a number beyond all numbers", record(`, "text": 1e400`), "bad-value", "text"},
		{"half of a surrogate pair", record(`, "text": "\ud83d"`), "syntax", ""},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			r := schema.ReadRecord("records/2026/07/x.json", []byte(c.data))
			for _, p := range r.Problems {
				if p.Rule == c.rule && p.Field == c.field {
					return
				}
			}
			t.Errorf("want %s at %q, got %+v", c.rule, c.field, r.Problems)
		})
	}
}

// Every duplicate is reported, where it stands, and the first value counts, in structs, in tables and in what is taken as it is.
func TestEveryDuplicateIsReported(t *testing.T) {
	set := strings.NewReplacer(`"gas": "oxygen",`, `"gas": "oxygen", "gas": "nitrogen",`,
		`"focus": "2 mm",`, `"focus": "2 mm", "focus": "3 mm", "focus": "4 mm",`,
		`"kerf": "0.30 mm",`, `"kerf": "0.30 mm", "extra": {"µ": "1", "µ": "2"},`).Replace(goodSet)
	f := schema.ReadFile("sets/bay-2/x.json", []byte(set))
	var got []string
	for _, p := range f.Problems {
		line, column := f.Position(p.At.Start)
		got = append(got, fmt.Sprintf("%d:%d %s %s", line, column, p.Rule, p.Field))
	}
	want := "7:20 duplicate-key gas\n21:26 duplicate-key conditions[0].cut.focus\n21:43 duplicate-key conditions[0].cut.focus\n" +
		"39:46 duplicate-key conditions[0].extra.µ"
	if strings.Join(got, "\n") != want {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), want)
	}
	r := recipe(t, set)
	if v, _ := r.Extra.Get("µ"); len(r.Extra) != 1 || v != "1" || r.Cut.V.Focus.V.Text() != "2 mm" {
		t.Errorf("the first value does not count: %+v, focus %s", r.Extra, r.Cut.V.Focus.V.Text())
	}
	if r.Digest() == "" {
		t.Error("no digest")
	}
}

// An object with very many names is read in a time that grows with its length, and its duplicates are still found.
func TestDuplicatesAmongManyMembers(t *testing.T) {
	var b strings.Builder
	b.WriteString(`{"kind": "library"`)
	for i := range 200 {
		fmt.Fprintf(&b, `, "a%d": 0`, i%150)
	}
	b.WriteString(`}`)
	duplicates := 0
	for _, p := range schema.ReadFile("fettle.json", []byte(b.String())).Problems {
		if p.Rule == "duplicate-key" {
			duplicates++
		}
	}
	if duplicates != 50 {
		t.Errorf("%d duplicates found of 50", duplicates)
	}
}

// The depth at which reading stops is the documented one, for objects as for lists, and it is no matter how deep a file goes on.
func TestDepth(t *testing.T) {
	for _, open := range []string{`[`, `{"a":`} {
		for depth, want := range map[int]bool{schema.MaxDepth - 1: true, schema.MaxDepth: false, schema.MaxDepth + 1: false, 1 << 20: false} {
			data := `{"kind": "library", "x": ` + strings.Repeat(open, depth) + strings.Repeat(" ", 3)
			f := schema.ReadFile("fettle.json", []byte(data))
			deep := strings.Contains(f.Problems[0].Message, "nested deeper than 16 levels")
			if deep == want {
				t.Errorf("%d times %s below the root: %+v", depth, open, f.Problems[0])
			}
		}
	}
}

// Columns count code points, behind text of one, two, three and four bytes a point and behind a line end of either kind.
func TestPositionsOnMultiByteText(t *testing.T) {
	f := schema.ReadFile("fettle.json", []byte("{\"kind\": \"library\",\r\n  \"µ\": \"ä\", \"日本\": \"𝄞𝄞\", \"x\": 1,\n\"ü\": 2}"))
	places := map[string]string{"µ": "2:3", "日本": "2:13", "x": "2:25", "ü": "3:1"}
	for _, p := range f.Problems {
		if want, ok := places[p.Field]; ok {
			line, column := f.Position(p.At.Start)
			if got := fmt.Sprintf("%d:%d", line, column); got != want {
				t.Errorf("%q at %s, want %s", p.Field, got, want)
			}
			if text := string(f.Data[p.At.Start:p.At.End]); text != `"`+p.Field+`"` {
				t.Errorf("%q: the span holds %s", p.Field, text)
			}
			delete(places, p.Field)
		}
	}
	if len(places) > 0 {
		t.Errorf("not reported: %v", places)
	}
	if got := f.Line(2); got != `  "µ": "ä", "日本": "𝄞𝄞", "x": 1,` {
		t.Errorf("line 2 is %q", got)
	}
	// A file that is cut off within such text is cut off at a whole character.
	f = schema.ReadFile("fettle.json", []byte("{\n  \"µ𝄞"))
	if line, column := f.Position(f.Problems[0].At.Start); line != 2 || column != 5 {
		t.Errorf("the file ends at %d:%d, want 2:5", line, column)
	}
	// A syntax error behind such text, too.
	f = schema.ReadFile("fettle.json", []byte(`{"ä日𝄞": "µ",}`))
	if line, column := f.Position(f.Problems[0].At.Start); line != 1 || column != 12 {
		t.Errorf("the comma stands at %d:%d, want 1:12", line, column)
	}
}

// Whatever is read as an id is written back as it was; its pattern in the published schemas takes the same texts.
func TestIDs(t *testing.T) {
	part := rapid.SampledFrom([]string{"bay-2", "a", "cut", "mark", "vaporise", "x-cut", "3mm", "0.5mm", "0mm", "10mm", "1.50mm", "03mm", "3.mm", "", "-", "A"})
	rapid.Check(t, func(t *rapid.T) {
		parts := rapid.SliceOfN(part, 3, 7).Draw(t, "parts")
		if len(parts) > 3 && rapid.Bool().Draw(t, "thickness") {
			parts[3] = "3.175mm"
		}
		text := strings.Join(parts, "/")
		id, err := schema.ParseID(text)
		if err == nil && id.String() != text {
			t.Fatalf("%q is read as %s", text, id)
		}
		permit := schema.Permit{}
		refused := false
		for _, p := range schema.Bind(&schema.Node{Kind: schema.Object, Kids: []*schema.Node{{Kind: schema.String, Key: "id", Text: text}}}, &permit) {
			refused = refused || p.Field == "id"
		}
		if refused != (err != nil) {
			t.Fatalf("%q: a record refuses it: %v; ParseID: %v", text, refused, err)
		}
	})
}
