package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/lint"
	"fettle/schema"
	"fettle/schema/quantity"
)

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		return &cobra.Command{Use: "show ID or CODE", Short: "one condition with its state, its values and what follows from them", Args: cobra.ExactArgs(1),
			Annotations: map[string]string{"formats": "own"},
			Long: "Shows a condition as it lies on disk: whether it is approved, all its values, what it spends and needs, and where each figure sits among\n" +
				"what is usual or what the machine has. Gas is counted at 20 degC and 1 bar (ISO 8778). Figures are balances and envelopes: they find what\n" +
				"cannot be and what is odd, and none of them is a release of a part.\n\n" +
				"--format html is a sheet of A4 to hang at the machine: what is approved, by whom and since when, and a code. With that code, show says whether\n" +
				"the sheet is out of date; then it ends with 1.",
			Example:           "  fettle show bay-2/carbon-steel/oxygen/10mm\n  fettle show bay-2/carbon-steel/oxygen/10mm --format html >card.html\n  fettle show 7KQ2-M9TD",
			ValidArgsFunction: a.complete(inFiles),
			RunE:              func(cmd *cobra.Command, args []string) error { return a.show(args[0]) }}
	})
}

// A shownCondition is all that show knows of a condition.
type shownCondition struct {
	recipe   *schema.Recipe
	card     card // of the saved state
	saved    bool // there is a saved recipe of this id
	edited   bool // the files hold another one
	figures  []lint.Figure
	findings []lint.Finding
	sleeping []string // members of the profile that checks and figures wait for
}

func (a *app) show(typed string) error {
	if err := a.oneOf("text", "json", "html"); err != nil {
		return err
	}
	s, err := a.open()
	if err != nil {
		return err
	}
	if code, ok := readCardCode(typed); ok {
		named, err := s.aboutCard(code, typed)
		if err != nil {
			return err
		}
		if !named {
			return s.showCode(code)
		}
	}
	s.meant([]string{typed}, unsaved|machines, inFiles|inSaved)
	work, saved, err := s.both()
	if err != nil {
		return err
	}
	ids, err := s.resolve([]string{typed}, s.ids(inFiles|inSaved))
	if err != nil {
		return err
	}
	if len(ids) != 1 {
		return troublef(list(ids, 12), "%q is %d conditions; show takes one at a time", typed, len(ids))
	}
	if a.format == "html" {
		card, err := s.machineCard(ids[0])
		if err != nil {
			return err
		}
		return card.HTML(a.out)
	}
	c := shownCondition{card: card{Position: s.standing(&s.committed).Position(saved, ids[0])}}
	c.card.base, c.card.decision = c.card.Base()
	if c.recipe = work.Recipe(ids[0]); c.recipe == nil {
		return refusef("To bring it back: fettle put-back "+ids[0].String()+"\nWhat it was: fettle audit "+ids[0].String(), "%s is saved and no longer in the files", ids[0])
	}
	before := saved.Recipe(ids[0])
	c.saved, c.edited = before != nil, before != nil && before.Digest() != c.recipe.Digest()
	c.figures = lint.Figures(work, c.recipe.Values())
	report, err := s.examineWork()
	if err != nil {
		return err
	}
	for _, f := range report.Findings {
		if f.ID == ids[0].String() && !isAboutReasons(f) { // what a reason or an approval lacks is of the change
			c.findings = append(c.findings, f)
		}
	}
	for _, x := range report.Sleeping {
		if x.Machine == ids[0].Machine {
			c.sleeping = append(c.sleeping, x.Member)
		}
	}
	if a.format == "json" {
		return s.shownJSON(&c)
	}
	s.printShown(&c)
	return nil
}

// state says in a line how the condition stands.
func (s *shop) state(c *shownCondition) string {
	switch {
	case !c.saved:
		return "new, and not saved yet: nothing was approved"
	case c.edited:
		return "edited and not saved; what is saved is " + s.headline(&c.card)
	}
	return s.headline(&c.card)
}

func (s *shop) printShown(c *shownCondition) {
	fmt.Fprintf(s.out, "%s\n", c.recipe.ID)
	s.labelled("  ", "state", 11, s.state(c))
	for _, row := range s.valueRows(c.recipe) {
		s.labelled("  ", row[0], 11, row[1])
	}
	block := ""
	for _, f := range c.figures {
		if f.Block != block {
			block = f.Block
			fmt.Fprintf(s.out, "\n%s\n", schema.SpokenPath(block))
		}
		fmt.Fprintf(s.out, "%s\n", clean(strings.TrimRight(figureLine(inUnits(f, s.prefs())), " ")))
	}
	fmt.Fprintln(s.out)
	if len(c.figures) == 0 {
		s.labelled("  ", "figures", 11, "none: the machine has no profile, or too little is said")
	}
	if len(c.findings) == 0 {
		s.labelled("  ", "findings", 11, "none")
	}
	for _, f := range c.findings {
		s.labelled("  ", f.Severity.String(), 11, f.Message+" ["+f.Rule+"]")
	}
	if len(c.sleeping) > 0 {
		s.labelled("  ", "not known", 11, "machines/"+c.recipe.ID.Machine+".json does not say "+strings.Join(c.sleeping, ", "))
	}
	why := "energy-short"
	for _, f := range c.findings {
		if rule, _, ok := lint.RuleNamed(f.Rule); ok && rule.Family == "physics" {
			why = f.Rule
		}
	}
	if c.recipe.Severs() {
		s.labelled("  ", "worked out", 11, "fettle explain "+why+" --on "+c.recipe.ID.String())
	}
}

// valueRows are all values of a recipe, a row a block: what is said of the plate, the nozzle, the cut, each stage of the pierce.
func (s *shop) valueRows(r *schema.Recipe) [][2]string {
	prefs := s.prefs()
	var rows [][2]string
	add := func(label, text string) {
		if n := len(rows); n > 0 && rows[n-1][0] == label {
			rows[n-1][1] += ", " + text
			return
		}
		rows = append(rows, [2]string{label, text})
	}
	if grade := r.Set.Grade.V; grade != "" {
		add("grade", grade)
	}
	for _, f := range schema.Fields(r.Condition) {
		path := schema.SpokenPath(f.Path)
		label, name, nested := strings.Cut(path, ".")
		switch {
		case path == "thickness" || path == "variant" || path == "process": // the id says them
		case !nested:
			add(label, value(f, prefs))
		default:
			add(label, strings.ReplaceAll(name, "_", " ")+" "+value(f, prefs))
		}
	}
	return rows
}

// figureLine is a figure in 80 columns: name, value, and where it sits between what is usual.
//
//	energy per area         7.59 J/mm2   3 [....*.....] 40
func figureLine(f lint.Figure) string {
	line := fmt.Sprintf("  %-24s %9s %-6s ", f.Name, lint.Digits(f.Value), f.Unit)
	low, high := lint.Digits(f.Low), lint.Digits(f.High)
	share, ranged := f.Share()
	switch sits := f.Sits(); {
	case sits == "":
		return line + " " + f.Note
	case ranged:
		line += fmt.Sprintf("%7s %s %s", low, bar(share), high)
		if sits == "below" || sits == "above" {
			line += "  " + sits
		}
	case math.IsNaN(f.High):
		line += fmt.Sprintf("%7s and more", low)
		if sits == "below" {
			line += "  below"
		}
	default:
		line += fmt.Sprintf("%7s up to %s", "", high)
		if sits == "above" {
			line += "  above"
		}
	}
	if f.Note != "" && len(line)+2+len(f.Note) <= 80 {
		line += "  " + f.Note
	}
	return line
}

// inUnits turns a figure into the unit that the library shows, where it has one of its own.
func inUnits(f lint.Figure, prefs quantity.Prefs) lint.Figure {
	d, ok := quantity.UnitDimension(f.Unit)
	if !ok || prefs[d] == "" || d == quantity.DimRatio || f.Unit == "um" { // roughness is in µm everywhere
		return f
	}
	one, err := quantity.MustParse(d, "1 "+f.Unit).Number(prefs[d])
	if err != nil {
		return f
	}
	f.Value, f.Low, f.High, f.Unit = f.Value*one, f.Low*one, f.High*one, prefs[d]
	return f
}

// bar shows where a share lies between 0 and 1, in ten places and one beyond each end.
func bar(share float64) string {
	const places = 10
	at := int(math.Floor(share * places))
	switch {
	case share < 0:
		return "*[" + strings.Repeat(".", places) + "] "
	case share > 1+1e-9:
		return " [" + strings.Repeat(".", places) + "]*"
	}
	at = min(at, places-1)
	return " [" + strings.Repeat(".", at) + "*" + strings.Repeat(".", places-1-at) + "] "
}

// ended is an end of a range for programs, nil where there is none.
func ended(x float64) *float64 {
	if math.IsNaN(x) {
		return nil
	}
	return &x
}

func (s *shop) shownJSON(c *shownCondition) error {
	type figure struct {
		Block string   `json:"block"`
		Key   string   `json:"key"`
		Name  string   `json:"name"`
		Value float64  `json:"value"`
		Unit  string   `json:"unit"`
		Low   *float64 `json:"low"`
		High  *float64 `json:"high"`
		Sits  string   `json:"sits,omitempty"`
		Rule  string   `json:"rule,omitempty"`
		Note  string   `json:"note,omitempty"`
	}
	type finding struct {
		Rule     string `json:"rule"`
		Severity string `json:"severity"`
		Field    string `json:"field"`
		Message  string `json:"message"`
	}
	type decided struct {
		Digest schema.Digest `json:"digest"`
		At     string        `json:"at"`
		By     string        `json:"by"`
		Kind   string        `json:"kind"`
	}
	type valueJSON struct {
		Field string `json:"field"`
		Value string `json:"value"`
	}
	out := struct {
		Format   int            `json:"format"`
		ID       string         `json:"id"`
		Status   history.Status `json:"status"`
		State    string         `json:"state"`
		Approved *decided       `json:"approved"`
		Unsaved  bool           `json:"unsaved"`
		Digest   schema.Digest  `json:"digest"`
		Values   []valueJSON    `json:"values"`
		Figures  []figure       `json:"figures"`
		Findings []finding      `json:"findings"`
		Sleeping []string       `json:"sleeping"`
	}{1, c.recipe.ID.String(), c.card.Status, s.state(c), nil, c.edited || !c.saved, c.recipe.Digest(), []valueJSON{}, []figure{}, []finding{}, append([]string{}, c.sleeping...)}
	if !c.saved {
		out.Status = history.New
	}
	if d := c.card.decision; d != nil {
		out.Approved = &decided{d.Digest(), d.Record.At.V, d.Person, d.Record.Kind}
	}
	for _, f := range schema.Fields(c.recipe.Condition) {
		out.Values = append(out.Values, valueJSON{f.Path, f.Text})
	}
	for _, f := range c.figures {
		out.Figures = append(out.Figures, figure{f.Block, f.Key, f.Name, f.Value, f.Unit, ended(f.Low), ended(f.High), f.Sits(), f.Rule, f.Note})
	}
	for _, f := range c.findings {
		out.Findings = append(out.Findings, finding{f.Rule, f.Severity.String(), f.Field, f.Message})
	}
	slices.Sort(out.Sleeping)
	return s.json(out)
}
