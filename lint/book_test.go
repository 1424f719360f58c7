package lint

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"fettle/schema/quantity"
)

var update = flag.Bool("update", false, "write README.md")

const bookHead = `# The rule book

Made from the rules of this folder by ` + "`go test ./lint -run RuleBook -update`" + `; edit the rules, not this page. Each rule is one value in one of the
files ` + "`rules_*.go`" + ` and holds what is written here, so that this page, ` + "`fettle explain RULE`" + ` and the checks cannot drift apart.

An **error** is something that cannot be: a limit of physics or of the machine, a file that cannot be read, or a promise about records that was
broken. A **warning** is outside of what is usual, and somebody should look. A **note** is good to know. What stood there before a change is shown
as old and does not block it. No finding, and no lack of one, is a release of a part.

Severity and, where a rule has one, its limit are set in ` + "`fettle.json`" + `:

` + "```json" + `
"rules": {"large-step": {"severity": "error", "limit": "15 %"}, "fume": {"severity": "off"}}
` + "```" + `

Limits of a machine are compared in the cut, the lead-in, contours, corners and every stage of the pierce. A limit that the machine profile does not
have cannot be checked: the check sleeps, and one note for each machine says so.

The examples are edits of the small library in ` + "`example/`" + `, of its condition ` + "`" + exampleID + "`" + ` where they say nothing else; ` + "`machine:`, `set:`,\n`settings:`, a thickness and `inert:` (3 mm stainless steel with nitrogen)" + ` name other places, ` + "`change:`" + ` says what the history knows of the change. A test runs each of them: the bad one
must be reported by its rule and no other, the good one must not.
`

// The page is a golden file: read it before it is committed.
func TestRuleBook(t *testing.T) {
	if testing.Short() {
		t.Skip("its last part is the calibration, which takes thousands of families")
	}
	want := book(t)
	if *update {
		if err := os.WriteFile("README.md", want, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Error("README.md is not what the rules say; go test ./lint -run RuleBook -update, and read it")
	}
}

var familyWords = map[string]string{
	"file":     "Can the file be read, does it say what the format asks for, do its names mean something.",
	"slip":     "Values that look as if a hand slipped, judged by their neighbours.",
	"machine":  "Can this machine do it at all.",
	"material": "Do gas, plate and nozzle go together, and what is there to beware of.",
	"physics":  "Can beam, jet and plate do this at all, and is it near what they do every day. Processes that do not sever are not judged.",
	"trend":    "Does a value run on with those of the other thicknesses: the recipes of one set, variant and process. Never an error.",
	"change":   "Was the change made as the shop agreed. These cannot be waived.",
}

func book(t *testing.T) []byte {
	var b strings.Builder
	b.WriteString(bookHead)
	family := ""
	for _, r := range Rules() {
		if r.Family != family {
			family = r.Family
			if familyWords[family] == "" {
				t.Errorf("the family %s has no introduction in the book", family)
			}
			fmt.Fprintf(&b, "\n## %s\n\n%s\n\n| rule | says | severity | limit |\n|---|---|---|---|\n", family, familyWords[family])
			for _, row := range Rules() {
				if row.Family == family {
					fmt.Fprintf(&b, "| [%s](#%s) | %s | %s | %s |\n", row.Name, row.Name, row.Title, row.Severity, row.Limit)
				}
			}
		}
		fmt.Fprintf(&b, "\n### %s\n\n%s, %s. %s\n", r.Name, strings.ToUpper(r.Severity.String()[:1])+r.Severity.String()[1:], r.Title, r.Why)
		if r.Limit != "" {
			kind := "a plain number"
			if r.Of != quantity.DimNone {
				kind = r.Of.String()
			}
			fmt.Fprintf(&b, "\nLimit: %s unless the settings say otherwise (%s).\n", r.Limit, kind)
		}
		fmt.Fprintf(&b, "\nSource: %s.\n\n", r.Source)
		bad, err := r.Example(r.Bad)
		if err != nil {
			t.Fatal(err)
		}
		good, err := r.Example(r.Good)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "```\nbad   %s\n", bad.Edit)
		for _, f := range bad.Findings() {
			if f.Rule != r.Name {
				continue
			}
			fmt.Fprintf(&b, "      %s:%d:%d: %s: %s\n", f.Path, f.Line, f.Column, f.Severity, f.Message)
			if f.Help != "" {
				fmt.Fprintf(&b, "      %s\n", f.Help)
			}
			break
		}
		fmt.Fprintf(&b, "good  %s\n```\n", good.Edit)
	}
	b.WriteString(calibrationBook(t))
	b.WriteString(calibrationPage(t))
	return []byte(b.String())
}
