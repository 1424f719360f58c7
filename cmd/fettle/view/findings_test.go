package view

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/santhosh-tekuri/jsonschema/v5"
	"pgregory.net/rapid"

	"fettle/lint"
	"fettle/schema"
)

var update = flag.Bool("update", false, "write golden files")

func example(t *testing.T, rule string) lint.Result {
	t.Helper()
	r, _, ok := lint.RuleNamed(rule)
	if !ok {
		t.Fatalf("no rule %s", rule)
	}
	e, err := r.Example(r.Bad)
	if err != nil {
		t.Fatal(err)
	}
	return lint.Run(e.After, e.Options)
}

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.MkdirAll("testdata", 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s differs (-update writes it):\n%s", path, got)
	}
}

func TestFindingsText(t *testing.T) {
	for _, rule := range []string{"pressure-over-line", "not-formatted", "record-removed", "sleeping"} {
		t.Run(rule, func(t *testing.T) {
			var b bytes.Buffer
			if err := Findings(&b, example(t, rule), FindingsOptions{}); err != nil {
				t.Fatal(err)
			}
			golden(t, "findings-"+rule+".txt", b.Bytes())
		})
	}
	var b bytes.Buffer
	if err := Findings(&b, lint.Result{Files: 1, Conditions: 2}, FindingsOptions{}); err != nil {
		t.Fatal(err)
	}
	if b.String() != "nothing found in 2 conditions of 1 file\n" {
		t.Errorf("nothing found reads %q", b.String())
	}
}

func TestFindingsColor(t *testing.T) {
	var plain, color bytes.Buffer
	r := example(t, "pressure-over-line")
	if err := Findings(&plain, r, FindingsOptions{}); err != nil {
		t.Fatal(err)
	}
	if err := Findings(&color, r, FindingsOptions{Color: true}); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(plain.String(), "\x1b") || !strings.Contains(color.String(), "\x1b[31merror:\x1b[0m") {
		t.Error("colour where none was asked for, or none where it was")
	}
	stripped := color.String()
	for _, code := range []string{sgrBold, sgrReset, severityColor[lint.Error], severityColor[lint.Warning], severityColor[lint.Note]} {
		stripped = strings.ReplaceAll(stripped, code, "")
	}
	if stripped != plain.String() {
		t.Error("colour changes the text")
	}
}

// pointed returns the source line and the caret line of a finding on the given line of text.
func pointed(t *testing.T, line string, column, width, screenWidth int) (source, caret string) {
	t.Helper()
	f := lint.Finding{Rule: "r", Severity: lint.Error, Path: "p", Line: 1, Column: column, Width: width, Message: "m", File: &schema.File{Path: "p", Data: []byte(line + "\n")}}
	var b bytes.Buffer
	if err := Finding(&b, f, FindingsOptions{Width: screenWidth}); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(b.String(), "\n")
	if len(lines) < 3 {
		t.Fatalf("no source line in %q", b.String())
	}
	return strings.TrimPrefix(lines[1], "    1 | "), strings.TrimPrefix(lines[2], "      | ")
}

func TestCaret(t *testing.T) {
	cases := []struct {
		name, line          string
		column, width, wide int
		source, caret       string
	}{
		{"plain", `  "a": "35 bar",`, 8, 8, 100, `  "a": "35 bar",`, `       ^~~~~~~~`},
		{"tabs", "\t\t\"a\": 1", 8, 1, 100, `        "a": 1`, `             ^`},
		{"tab after text", "ab\tc", 4, 1, 100, `ab  c`, `    ^`},
		{"wide before", `"鋼板": "3 mm"`, 7, 6, 100, `"鋼板": "3 mm"`, `        ^~~~~~`},
		{"wide inside", `"鋼": 1`, 1, 3, 100, `"鋼": 1`, `^~~~`},
		{"combining", "\"e\u0301\": 1", 7, 1, 100, "\"e\u0301\": 1", `     ^`},
		{"escape code", "\"\x1b[2J\": 1", 9, 1, 100, `"\u001b[2J": 1`, `             ^`},
		{"turned writing", "\"\u202eab\": 1", 8, 1, 100, `"\u202eab": 1`, `            ^`},
		{"no break space", "\"3\u00a0mm\"", 1, 6, 100, `"3\u00a0mm"`, `^~~~~~~~~~~`},
		{"not utf-8", "\"a\xff\"", 3, 1, 100, `"a\xff"`, `  ^~~~`},
		{"behind the end", `ab`, 9, 4, 100, `ab`, `  ^`},
		{"long, at the start", "abc" + strings.Repeat("x", 100), 1, 3, 40, "abc" + strings.Repeat("x", 27) + "…", `^~~`},
		{"long, in the middle", strings.Repeat("x", 100) + "abc" + strings.Repeat("y", 100), 101, 3, 40, "…" + "xxxxxxxxxx" + "abc" + strings.Repeat("y", 17) + "…", `           ^~~`},
		{"behind the end of a line that just fits", strings.Repeat("x", 32), 33, 0, 40, "…" + strings.Repeat("x", 30), `                               ^`},
		{"long, at the end", strings.Repeat("x", 100) + "abc", 101, 3, 40, "…" + strings.Repeat("x", 27) + "abc", `                            ^~~`},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			source, caret := pointed(t, c.line, c.column, c.width, c.wide)
			if source != c.source || caret != c.caret {
				t.Errorf("got\n%q\n%q\nwant\n%q\n%q", source, caret, c.source, c.caret)
			}
		})
	}
}

// Whatever a file holds and wherever a finding points: nothing reaches the terminal that steers it, the line fits, and the caret is below
// what is shown.
func TestFindingIsSafe(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		line := strings.ReplaceAll(rapid.String().Draw(rt, "line"), "\n", "")
		if rapid.Bool().Draw(rt, "broken") {
			line += string(rapid.SliceOfN(rapid.Byte(), 1, 10).Draw(rt, "bytes"))
			line = strings.ReplaceAll(line, "\n", "")
		}
		f := lint.Finding{Rule: "r", Severity: lint.Error, Path: rapid.String().Draw(rt, "path"), Line: 1, Column: rapid.IntRange(-3, 400).Draw(rt, "column"),
			Width: rapid.IntRange(-3, 400).Draw(rt, "width"), Message: rapid.String().Draw(rt, "message"), Help: rapid.String().Draw(rt, "help"),
			ID: rapid.String().Draw(rt, "id"), File: &schema.File{Data: []byte(line)}}
		width := rapid.IntRange(40, 120).Draw(rt, "screen")
		var b bytes.Buffer
		if err := Finding(&b, f, FindingsOptions{Width: width}); err != nil {
			rt.Fatal(err)
		}
		if !utf8.Valid(b.Bytes()) {
			rt.Fatalf("not UTF-8: %q", b.String())
		}
		for _, r := range b.String() {
			if r != '\n' && !unicode.IsPrint(r) {
				rt.Fatalf("%U on the screen: %q", r, b.String())
			}
		}
		lines := strings.Split(b.String(), "\n")
		for i, l := range lines[1:] {
			if strings.HasPrefix(l, "    1 | ") || strings.HasPrefix(l, "      | ") && i == 1 {
				if columns(l) > width {
					rt.Fatalf("%d columns on a screen of %d: %q", columns(l), width, l)
				}
			}
		}
	})
}

func TestFindingsJSON(t *testing.T) {
	var b bytes.Buffer
	if err := FindingsJSON(&b, example(t, "pressure-over-line")); err != nil {
		t.Fatal(err)
	}
	golden(t, "findings-pressure-over-line.json", b.Bytes())
	b.Reset()
	if err := FindingsJSON(&b, lint.Result{}); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(b.String(), `"findings": []`) {
		t.Errorf("no findings are an empty list, not %s", b.String())
	}
}

// What programs may rely on, as a JSON Schema.
const findingsShape = `{"type":"object","additionalProperties":false,"required":["format","findings","summary"],"properties":{
 "format":{"const":1},
 "findings":{"type":"array","items":{"type":"object","additionalProperties":false,"required":["rule","severity","path","line","column","id","field","message","help"],
  "properties":{"rule":{"type":"string","minLength":1},"severity":{"enum":["error","warning","note"]},"path":{"type":"string"},"line":{"type":"integer","minimum":1},
   "column":{"type":"integer","minimum":1},"id":{"type":"string"},"field":{"type":"string"},"message":{"type":"string","minLength":1},"help":{"type":"string"},"old":{"const":true}}}},
 "summary":{"type":"object","required":["files","conditions","errors","warnings","notes"],"additionalProperties":{"type":"integer"}}}}`

func TestFindingsJSONShape(t *testing.T) {
	sch := jsonschema.MustCompileString("findings.json", findingsShape)
	for _, r := range lint.Rules() {
		var b bytes.Buffer
		if err := FindingsJSON(&b, example(t, r.Name)); err != nil {
			t.Fatal(err)
		}
		var v any
		if err := json.Unmarshal(b.Bytes(), &v); err != nil {
			t.Fatalf("%s: %v", r.Name, err)
		}
		if err := sch.Validate(v); err != nil {
			t.Errorf("%s: %v", r.Name, err)
		}
	}
}

// Escapes must not change what a program reads.
func TestFindingsJSONEscapes(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		message := rapid.String().Draw(rt, "message") + "\u202e\u009b2J\x1b\U000e0001"
		var b bytes.Buffer
		if err := FindingsJSON(&b, lint.Result{Findings: []lint.Finding{{Message: message}}}); err != nil {
			rt.Fatal(err)
		}
		for _, r := range b.String() {
			if r != '\n' && !unicode.IsPrint(r) {
				rt.Fatalf("%U on the screen", r)
			}
		}
		var back findingsJSON
		if err := json.Unmarshal(b.Bytes(), &back); err != nil {
			rt.Fatal(err)
		}
		if back.Findings[0].Message != message {
			rt.Fatalf("%q became %q", message, back.Findings[0].Message)
		}
	})
}

// TestFindingsSummary: what was judged without reading whole files says nothing of files.
func TestFindingsSummary(t *testing.T) {
	for want, r := range map[string]lint.Result{
		"nothing found in 1 condition":              {Conditions: 1},
		"nothing found in 14 conditions of 6 files": {Conditions: 14, Files: 6},
		"1 error in 1 condition of 1 file":          {Conditions: 1, Files: 1, Findings: []lint.Finding{{Severity: lint.Error}}},
	} {
		if got := FindingsSummary(r); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
