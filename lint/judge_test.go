package lint

import (
	"fmt"
	"slices"
	"strings"
	"testing"
)

// judge applies an edit to the example library and lists what it brings, as "severity rule field".
func judge(t *testing.T, family, edit string) ([]string, []Finding) {
	t.Helper()
	e, err := (Rule{Family: family}).Example(edit)
	if err != nil {
		t.Fatal(err)
	}
	findings := e.Findings()
	var out []string
	for _, f := range findings {
		if f.isPhysics() && family != "physics" {
			continue // an edit that shows one thing need not be a cut that could be
		}
		if rule, _, _ := RuleNamed(f.Rule); rule.Family == "trend" && family != "trend" {
			continue // nor one that runs on with its family
		}
		out = append(out, fmt.Sprintf("%s %s %s", f.Severity, f.Rule, f.Field))
	}
	slices.Sort(out)
	return slices.Compact(out), findings
}

// A judgement is one edit and all that it must bring, nothing for quiet.
type judgement struct {
	name, edit string
	want       []string
	says       string // part of a message or help of the first finding
}

func quiet(name, edit string) judgement { return judgement{name: name, edit: edit} }

func loud(name, edit, says string, want ...string) judgement {
	return judgement{name: name, edit: edit, want: want, says: says}
}

func judgeAll(t *testing.T, family string, cases []judgement) {
	t.Helper()
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got, findings := judge(t, family, c.edit)
			slices.Sort(c.want)
			if !slices.Equal(got, c.want) {
				t.Errorf("%s\n got %q\nwant %q", c.edit, got, c.want)
				return
			}
			if c.says == "" {
				return
			}
			for _, f := range findings {
				if strings.Contains(f.Message+" | "+f.Help, c.says) {
					return
				}
			}
			t.Errorf("%s: no finding says %q: %q | %q", c.edit, c.says, findings[0].Message, findings[0].Help)
		})
	}
}
