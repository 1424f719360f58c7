package main

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"fettle/cmd/fettle/view"
	"fettle/hooks"
	"fettle/lint"
	"fettle/schema"
)

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		var on string
		cmd := &cobra.Command{Use: "explain RULE", Short: "what a rule checks, why, and where its limit comes from; the worked numbers of a condition", Args: cobra.ExactArgs(1),
			Long: "With --on: the calculation behind the rule for one condition as it lies on disk. What was put in, the constants and where they stand,\n" +
				"what came of it, and the limits that it is held against. No finding of fettle's, and no lack of one, is a release of a part.",
			Example: "  fettle explain energy-short\n  fettle explain energy-short --on bay-2/carbon-steel/oxygen/10mm",
			ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
				return ruleNames(), cobra.ShellCompDirectiveNoFileComp
			},
			RunE: func(cmd *cobra.Command, args []string) error {
				if cmd.Flags().Changed("on") {
					return a.explainOn(args[0], on)
				}
				return a.explain(args[0])
			}}
		cmd.Flags().StringVar(&on, "on", "", "work it out for this condition")
		if err := cmd.RegisterFlagCompletionFunc("on", a.complete(inFiles)); err != nil {
			panic("fettle: " + err.Error())
		}
		return cmd
	})
}

// ruleJSON is a rule for programs.
type ruleJSON struct {
	Name     string `json:"name"`
	Family   string `json:"family"`
	Severity string `json:"severity"`
	Title    string `json:"title"`
	Why      string `json:"why"`
	Source   string `json:"source"`
	Limit    string `json:"limit,omitempty"`
	Bad      string `json:"bad,omitempty"`
	Good     string `json:"good,omitempty"`
}

// ruleCalled finds a rule by its name as typed.
func ruleCalled(name string) (lint.Rule, error) {
	r, near, ok := lint.RuleNamed(name)
	if ok {
		return r, nil
	}
	help := "All rules: fettle rules"
	if near != "" {
		help = "Did you mean " + near + "?\n" + help
	}
	return lint.Rule{}, troublef(help, "there is no rule %q", name)
}

func (a *app) explain(name string) error {
	if err := a.oneOf("text", "json"); err != nil {
		return err
	}
	r, err := ruleCalled(name)
	if err != nil {
		return err
	}
	if a.format == "json" {
		return a.json(struct {
			Format int `json:"format"`
			ruleJSON
		}{1, ruleJSON{r.Name, r.Family, r.Severity.String(), r.Title, r.Why, r.Source, r.Limit, r.Bad, r.Good}})
	}
	fmt.Fprintf(a.out, "%s   %s, family %s\n\n", r.Name, r.Severity, r.Family)
	fmt.Fprintf(a.out, "  %s\n\n", r.Title)
	for _, row := range [][2]string{{"why", r.Why}, {"source", r.Source}, {"limit", r.Limit}, {"wrong", r.Bad}, {"right", r.Good}} {
		if row[1] != "" {
			a.labelled("  ", row[0], 8, row[1])
		}
	}
	fmt.Fprintf(a.out, "\n  To change how it speaks in this shop, in fettle.json:\n    \"rules\": {%q: {\"severity\": \"warning\"}}\n", r.Name)
	if r.Family == "physics" || r.Name == "valve-cannot-feed" {
		fmt.Fprintf(a.out, "  The calculation for one condition:\n    fettle explain %s --on ID\n", r.Name)
	}
	return nil
}

// labelled prints a text behind a label, set so that it fits 80 columns; a command to type stays whole.
func (a *app) labelled(indent, label string, width int, text string) {
	lead := fmt.Sprintf("%s%-*s ", indent, width, label)
	wide := utf8.RuneCountInString(lead)
	if text = clean(text); !strings.HasPrefix(text, "fettle ") {
		text = view.Paragraphs(text, 80-wide)
	}
	fmt.Fprintln(a.out, lead+strings.ReplaceAll(text, "\n", "\n"+strings.Repeat(" ", wide)))
}

// examineWork is what all rules say of the conditions as they lie on disk, with all that the history knows of them.
func (s *shop) examineWork() (hooks.Report, error) {
	if _, _, err := s.both(); err != nil {
		return hooks.Report{}, err
	}
	anchor, _, err := s.repo.Config("fettle.anchor")
	if err != nil {
		return hooks.Report{}, err
	}
	return hooks.Examine(hooks.Case{Before: s.side(&s.committed), Now: s.side(&s.unsaved), Anchor: anchor, At: s.now(), Full: true, Everything: true}), nil
}

func (a *app) explainOn(name, typed string) error {
	if err := a.oneOf("text", "json"); err != nil {
		return err
	}
	rule, err := ruleCalled(name)
	if err != nil {
		return err
	}
	s, err := a.open()
	if err != nil {
		return err
	}
	s.meant([]string{typed}, unsaved|machines, inFiles)
	work, saved, err := s.both()
	if err != nil {
		return err
	}
	ids, err := s.resolve([]string{typed}, s.ids(inFiles))
	if err != nil {
		return err
	}
	if len(ids) != 1 {
		return troublef(list(ids, 12), "%q is %d conditions, and a calculation is of one", typed, len(ids))
	}
	report, err := s.examineWork()
	if err != nil {
		return err
	}
	e := lint.Explain(work, saved, rule, work.Recipe(ids[0]), append([]lint.Finding{}, report.Findings...))
	if a.format == "json" {
		return a.explanationJSON(e)
	}
	a.explanation(e)
	return nil
}

// verdictOf is the worst that a rule says.
func verdictOf(e lint.Explanation) lint.Severity {
	worst := lint.Off
	for _, w := range e.Worked {
		worst = max(worst, w.Verdict)
	}
	for _, f := range e.Findings {
		worst = max(worst, f.Severity)
	}
	return worst
}

func severityWord(s lint.Severity) string {
	if s == lint.Off {
		return "fine"
	}
	return s.String()
}

func (a *app) explanation(e lint.Explanation) {
	verdict := severityWord(verdictOf(e))
	if len(e.Sleeping) > 0 && len(e.Worked) == 0 {
		verdict = "asleep"
	}
	fmt.Fprintf(a.out, "%s on %s: %s\n", e.Rule.Name, e.ID, verdict)
	limit := ""
	if e.Limit != "" {
		limit = "; limit " + e.Limit
	}
	a.labelled("  ", "asks", 7, e.Rule.Title+limit)
	if len(e.Sleeping) > 0 {
		a.labelled("  ", "asleep", 7, "for want of "+strings.Join(e.Sleeping, ", ")+" in machines/"+e.ID.Machine+".json")
	}
	var sources []string
	mark := func(source string) string {
		i := slices.Index(sources, source)
		if i < 0 {
			i, sources = len(sources), append(sources, source)
		}
		return fmt.Sprintf("[%d]", i+1)
	}
	var constants []lint.Term
	for _, w := range e.Worked {
		for _, t := range w.From {
			if !slices.Contains(constants, t) {
				constants = append(constants, t)
			}
		}
	}
	for _, w := range e.Worked {
		title := w.Block
		if title == "" {
			title = "condition"
		}
		fmt.Fprintf(a.out, "\n%s\n", schema.SpokenPath(title))
		a.calculation(w)
		says := severityWord(w.Verdict)
		if w.Says != "" {
			says += ": " + w.Says
		}
		a.labelled("  ", "so", 9, says)
	}
	if len(constants) > 0 {
		fmt.Fprintf(a.out, "\nwith\n")
		for _, t := range constants {
			a.line("", t.Symbol, "", fmt.Sprintf("%s: %s %s", t.Is, t.Value, mark(t.Source)))
		}
		fmt.Fprintln(a.out)
		for i, source := range sources {
			a.labelled("  ", fmt.Sprintf("[%d]", i+1), 4, source)
		}
	}
	shown := func(f lint.Finding) bool {
		return slices.ContainsFunc(e.Worked, func(w lint.Worked) bool { return w.Says == f.Message })
	}
	for _, f := range e.Findings {
		if !shown(f) {
			a.labelled("  ", f.Severity.String(), 9, f.Message)
		}
	}
	switch {
	case len(e.Worked) > 0 || len(e.Findings) > 0 || len(e.Sleeping) > 0:
	case e.Rule.Family == "physics":
		a.labelled("  ", "so", 7, "nothing in this condition is of the kind that it judges")
	default:
		a.labelled("  ", "so", 7, "it has nothing to say of this condition")
	}
}

// calculation prints the lines of one block: what was put in, what it comes to, what it is held against.
func (a *app) calculation(w lint.Worked) {
	for i, t := range w.Put {
		is := t.Is
		if t.Source != t.Is {
			is += ", " + schema.SpokenPath(t.Source)
		}
		a.line(label(i, "put in"), t.Symbol, t.Value, is)
	}
	for i, t := range w.Out {
		a.line(label(i, "comes to"), t.Symbol, t.Value, t.Is)
	}
	for i, t := range w.Against {
		colon := ":"
		if strings.Contains(t.Is, " above") || strings.Contains(t.Is, " below") || t.Value == "" {
			colon = ""
		}
		a.line(label(i, "against"), "", "", strings.TrimSpace(t.Is+colon+" "+t.Value))
	}
}

// label stands on the first of several lines.
func label(i int, text string) string {
	if i > 0 {
		return ""
	}
	return text
}

// line prints one term: its symbol, its value, what it is.
func (a *app) line(label, symbol, value, is string) {
	lead := fmt.Sprintf("  %-9s %-5s ", label, symbol)
	if value != "" {
		lead += fmt.Sprintf("%-14s ", value)
	}
	a.labelled("", strings.TrimRight(lead, " "), utf8.RuneCountInString(lead)-1, is)
}

type termJSON struct {
	Symbol string `json:"symbol,omitempty"`
	Is     string `json:"is"`
	Value  string `json:"value"`
	Source string `json:"source,omitempty"`
}

func termsJSON(list []lint.Term) []termJSON {
	out := make([]termJSON, len(list))
	for i, t := range list {
		out[i] = termJSON(t)
	}
	return out
}

func (a *app) explanationJSON(e lint.Explanation) error {
	type worked struct {
		Block     string     `json:"block"`
		PutIn     []termJSON `json:"put_in"`
		Constants []termJSON `json:"constants"`
		ComesTo   []termJSON `json:"comes_to"`
		Against   []termJSON `json:"against"`
		Verdict   string     `json:"verdict"`
		Message   string     `json:"message,omitempty"`
	}
	type finding struct {
		Severity string `json:"severity"`
		Field    string `json:"field"`
		Message  string `json:"message"`
	}
	out := struct {
		Format   int       `json:"format"`
		Rule     string    `json:"rule"`
		ID       string    `json:"id"`
		Verdict  string    `json:"verdict"`
		Limit    string    `json:"limit,omitempty"`
		Worked   []worked  `json:"worked"`
		Findings []finding `json:"findings"`
		Sleeping []string  `json:"sleeping"`
	}{1, e.Rule.Name, e.ID.String(), severityWord(verdictOf(e)), e.Limit, []worked{}, []finding{}, append([]string{}, e.Sleeping...)}
	for _, w := range e.Worked {
		out.Worked = append(out.Worked, worked{w.Block, termsJSON(w.Put), termsJSON(w.From), termsJSON(w.Out), termsJSON(w.Against), severityWord(w.Verdict), w.Says})
	}
	for _, f := range e.Findings {
		out.Findings = append(out.Findings, finding{f.Severity.String(), f.Field, f.Message})
	}
	return a.json(out)
}
