package lint

import (
	"regexp"
	"strings"
	"testing"

	"fettle/schema"
)

// The library of the examples has to be one in which nobody is told anything but notes.
func TestExampleLibraryIsQuiet(t *testing.T) {
	for _, f := range Run(exampleLibrary(), Options{}).Findings {
		if f.Severity > Note || f.Rule == "sleeping" {
			t.Errorf("%s:%d %s: %s [%s]", f.Path, f.Line, f.Severity, f.Message, f.Rule)
		}
	}
}

// Every Bad is reported by its own rule at its own member and by no other rule; no Good is.
func TestExamples(t *testing.T) {
	for _, r := range Rules() {
		t.Run(r.Name, func(t *testing.T) {
			bad, err := r.Example(r.Bad)
			if err != nil {
				t.Fatal(err)
			}
			at := false
			for _, f := range bad.Findings() {
				switch {
				case f.Rule == r.Name:
					at = at || f.Field == bad.Field || strings.HasSuffix(f.Field, "."+bad.Field)
					if f.Line < 1 || f.Column < 1 || f.Width < 1 || f.Path == "" || f.Message == "" {
						t.Errorf("incomplete: %+v", f)
					}
				case f.Severity > Note:
					t.Errorf("%s is reported as well: %s at %s: %s", r.Bad, f.Rule, f.Field, f.Message)
				}
			}
			if !at {
				t.Errorf("%s: not reported at %q: %+v", r.Bad, bad.Field, bad.Findings())
			}
			good, err := r.Example(r.Good)
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range good.Findings() {
				if f.Rule == r.Name {
					t.Errorf("%s is reported: %s", r.Good, f.Message)
				}
			}
		})
	}
}

func TestRulesAreComplete(t *testing.T) {
	name := regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`)
	seen := map[string]bool{}
	for _, r := range Rules() {
		if seen[r.Name] || !name.MatchString(r.Name) {
			t.Errorf("%q: twice, or not words with hyphens", r.Name)
		}
		seen[r.Name] = true
		if r.Title == "" || r.Why == "" || r.Source == "" || r.Bad == "" || r.Good == "" || r.Severity == Off || r.Family == "" {
			t.Errorf("%s: title, why, source, severity, bad or good is missing", r.Name)
		}
		if (r.Check == nil || r.Scope == 0) && r.Name != "sleeping" {
			t.Errorf("%s checks nothing", r.Name)
		}
		if r.Limit != "" {
			if _, err := r.readLimit(r.Limit); err != nil {
				t.Errorf("the default limit of %s: %v", r.Name, err)
			}
		}
		if strings.HasSuffix(r.Title, ".") || !strings.HasSuffix(r.Why, ".") {
			t.Errorf("%s: a title has no full stop, a reason has one", r.Name)
		}
	}
	for _, reader := range []string{schema.RuleSyntax, schema.RuleDuplicateKey, schema.RuleUnknownField, schema.RuleMissingField, schema.RuleBareNumber,
		schema.RuleUnknownUnit, schema.RuleWrongDimension, schema.RuleBadValue, schema.RuleMisplacedFile, schema.RuleDuplicateID} {
		if !seen[reader] {
			t.Errorf("no rule passes on what the reader calls %s", reader)
		}
	}
}

func TestRuleNamed(t *testing.T) {
	if r, _, ok := RuleNamed("large-step"); !ok || r.Family != "change" {
		t.Errorf("large-step: %v %+v", ok, r)
	}
	if _, near, ok := RuleNamed("larg-step"); ok || near != "large-step" {
		t.Errorf("larg-step: %v, near %q", ok, near)
	}
	if _, near, ok := RuleNamed("banana"); ok || near != "" {
		t.Errorf("banana: %v, near %q", ok, near)
	}
}
