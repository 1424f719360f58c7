package main

import (
	"fmt"
	"slices"

	"fettle/cmd/fettle/view"
	"fettle/lint"
	"fettle/schema"
)

// screen is what findings are fitted to.
func (a *app) screen() view.FindingsOptions {
	width := columns(a.out)
	return view.FindingsOptions{Color: a.colored(), Width: width, Screen: width > 0}
}

// printFindings prints findings for people.
func (s *shop) printFindings(result lint.Result) {
	if s.format == "json" {
		s.findings = append(s.findings, result.Findings...)
		return
	}
	view.Findings(s.out, result, s.screen())
}

// printEach is printFindings without the count at the end.
func (s *shop) printEach(findings []lint.Finding) {
	if s.format == "json" {
		s.findings = append(s.findings, findings...)
		return
	}
	for _, f := range findings {
		view.Finding(s.out, f, s.screen())
		fmt.Fprintln(s.out)
	}
}

// lintEdit shows what lint says of freshly edited conditions. The edit stays in the file either way; an error ends the command
// with exit code 1 and says that it cannot be saved so.
func (s *shop) lintEdit(ids []schema.ID) error {
	report, err := s.examine(false)
	if err != nil {
		return err
	}
	touched := map[string]bool{}
	for _, id := range ids {
		touched[id.String()] = true
	}
	result := report.Result
	result.Findings = slices.DeleteFunc(slices.Clone(report.Findings), func(f lint.Finding) bool { return !touched[f.ID] || isAboutReasons(f) || f.Old })
	s.printEach(result.Findings)
	if len(result.Blocking()) > 0 {
		s.say("the edit is in the file and cannot be saved like this")
		s.say("next     fettle set %s FIELD=VALUE   (to mend it)", ids[0])
		if s.standing(&s.committed).Condition(ids[0]).Last() != nil {
			s.say("         fettle put-back %s   (the approved recipe again)", ids[0])
		}
		return errFound
	}
	return nil
}

// counted is a number with its noun: 1 condition, 2 conditions.
func counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
