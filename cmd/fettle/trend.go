package main

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/google/renameio/v2/maybe"
	"github.com/spf13/cobra"

	"fettle/cmd/fettle/view"
	"fettle/history"
	"fettle/hooks"
	"fettle/lint"
	"fettle/schema"
	"fettle/schema/quantity"
)

// trendFlags say how curves are drawn.
type trendFlags struct {
	linear bool
	out    string
}

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		var f trendFlags
		cmd := &cobra.Command{Use: "trend FAMILY or MACHINE [QUANTITY...]", Short: "how the values of a family run over thickness, and what is off",
			Annotations: map[string]string{"formats": "own"},
			Long: "A family is all conditions of one machine, material, gas and variant. Each value is shown beside what the other thicknesses of the family\n" +
				"give for it, with the range in which about 95 of 100 would lie. Unsaved edits are included, and drawn apart from what is approved.\n\n" +
				"Without quantities: speed, power and pressure, and whatever is off. Quantities: " + strings.Join(trendNames, ", ") + ".\n" +
				"Of a machine, --format html makes one page of all its families that needs nothing else and prints on one sheet of A4, or a family a sheet.",
			Example: "  fettle trend bay-2/carbon-steel/oxygen\n  fettle trend bay-2/carbon-steel/oxygen kerf focus\n  fettle trend bay-2 --format html --out bay-2.html",
			Args:    cobra.MinimumNArgs(1), ValidArgsFunction: a.completeFamilies,
			RunE: func(cmd *cobra.Command, args []string) error { return a.trend(args[0], args[1:], f) }}
		cmd.Flags().BoolVar(&f.linear, "linear", false, "plain axes in drawings instead of logarithmic ones")
		cmd.Flags().StringVar(&f.out, "out", "", "write to this file")
		return cmd
	})
}

var trendNames = []string{"speed", "power", "pressure", "focus", "kerf", "orifice", "pierce"}

// families are those of a library that sever, by name, each in the order of thickness.
func families(lib *schema.Library) (names []string, members map[string][]*schema.Recipe) {
	members = map[string][]*schema.Recipe{}
	for _, family := range lib.Families() {
		if family[0].Severs() {
			name := family[0].ID.Family()
			names = append(names, name)
			members[name] = family
		}
	}
	return names, members
}

// familyNames are the families of some conditions that cut through the plate, in the order of the ids.
func familyNames(ids []schema.ID) []string {
	var names []string
	for _, id := range ids {
		if name := id.Family(); id.Process == "" && (len(names) == 0 || names[len(names)-1] != name) {
			names = append(names, name)
		}
	}
	return names
}

// familiesNamed turns what was typed into families: a family, a machine, a condition, everything below a slash. On a terminal parts may be
// dropped or shortened where one family fits.
func (a *app) familiesNamed(typed string, ids []schema.ID, lib *schema.Library) ([]string, error) {
	names := familyNames(ids)
	if slices.Contains(names, typed) {
		return []string{typed}, nil
	}
	var below []string
	for _, name := range names {
		if lib.Machine(typed) != nil && strings.HasPrefix(name, typed+"/") || strings.HasSuffix(typed, "/") && strings.HasPrefix(name+"/", typed) {
			below = append(below, name)
		}
	}
	if len(below) > 0 {
		return below, nil
	}
	if id, err := schema.ParseID(typed); err == nil && slices.Contains(names, id.Family()) {
		return []string{id.Family()}, nil
	}
	var fits []string
	for _, id := range matching(strings.TrimSuffix(typed, "/"), ids) {
		if name := id.Family(); slices.Contains(names, name) && !slices.Contains(fits, name) {
			fits = append(fits, name)
		}
	}
	switch {
	case len(fits) == 1 && a.terminal:
		return fits, nil
	case len(fits) == 1:
		return nil, troublef(fmt.Sprintf("Did you mean %s ? Short names work on a terminal only.", fits[0]), "%q is not a whole family", typed)
	case len(fits) > 1:
		return nil, troublef("It could be:\n  "+strings.Join(fits, "\n  "), "%q fits %d families", typed, len(fits))
	case len(names) == 0:
		return nil, troublef("Read a spreadsheet in: fettle import FILE", "the library holds no conditions yet")
	}
	help := "The families are:\n  " + strings.Join(names[:min(12, len(names))], "\n  ")
	if near := schema.Nearest(typed, names); near != "" {
		help = "Did you mean " + near + " ?"
	}
	return nil, troublef(help, "there is no family %q", typed)
}

// completeFamilies offers families, and then quantities.
func (a *app) completeFamilies(_ *cobra.Command, args []string, typed string) ([]string, cobra.ShellCompDirective) {
	if len(args) > 0 {
		return trendNames, cobra.ShellCompDirectiveNoFileComp
	}
	s, err := a.open()
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	ids, err := s.beginning(typed, inFiles)
	if err != nil {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	var out []string
	for _, name := range familyNames(ids) {
		if strings.HasPrefix(name, typed) {
			out = append(out, name)
		}
	}
	return out, cobra.ShellCompDirectiveNoFileComp
}

func (a *app) trend(typed string, quantities []string, f trendFlags) error {
	if err := a.oneOf("text", "json", "svg", "html"); err != nil {
		return err
	}
	for _, q := range quantities {
		if !slices.Contains(trendNames, q) {
			return troublef("Quantities: "+strings.Join(trendNames, ", "), "%q is no quantity that runs over thickness", q)
		}
	}
	s, err := a.open()
	if err != nil {
		return err
	}
	if s.aboutFamily(typed); s.part == nil {
		s.aboutFamilies(typed)
	}
	work, saved, err := s.both()
	if err != nil {
		return err
	}
	names, err := a.familiesNamed(typed, s.ids(inFiles), work)
	if err != nil {
		return err
	}
	_, members := families(work)
	var all []familyCurves
	for _, name := range names {
		family := members[name]
		all = append(all, familyCurves{name, lint.Curves(work, saved, family), s.states(work, family)})
	}
	var b bytes.Buffer
	switch a.format {
	case "json":
		return a.json(map[string]any{"format": 1, "families": s.trendJSON(all, quantities)})
	case "html":
		var charts []view.Chart
		for _, family := range all {
			charts = append(charts, s.chart(family, quantities, true))
		}
		view.PlotPage(&b, "How the conditions of "+strings.TrimSuffix(typed, "/")+" run over thickness", s.pageSubtitle(work), charts)
	case "svg":
		if len(all) != 1 {
			return troublef("Name one: fettle trend "+names[0]+" --format svg\nOr make a page: fettle trend "+typed+" --format html", "%q is %d families; a drawing holds one", typed, len(all))
		}
		chart := s.chart(all[0], quantities, true)
		view.PlotSVG(&b, &chart, f.linear)
	default:
		for i, family := range all {
			if i > 0 {
				fmt.Fprintln(&b)
			}
			chart := s.chart(family, quantities, false)
			chart.Text(func(line string) { fmt.Fprintln(&b, line) })
		}
	}
	if f.out == "" {
		_, err := a.out.Write(b.Bytes())
		return err
	}
	if err := maybe.WriteFile(f.out, b.Bytes(), 0o644); err != nil {
		return cannotWrite(f.out, err)
	}
	a.say("wrote %s", f.out)
	return nil
}

// familyCurves is one family with its curves and how each of its conditions stands.
type familyCurves struct {
	name   string
	curves []lint.Curve
	states map[*schema.Recipe]pointStanding
}

// pointStanding is how a condition stands, and the recipe in force.
type pointStanding struct {
	status   history.Status
	approved *schema.Recipe                                 // values only; nil where nothing is in force
	accepts  func(rule string, severity lint.Severity) bool // a finding that somebody answers for: waived, or known at adoption
}

// states looks up how the conditions of a family stand, unsaved edits included.
func (s *shop) states(lib *schema.Library, family []*schema.Recipe) map[*schema.Recipe]pointStanding {
	return s.pointStandings(s.standing(&s.committed), lib, family)
}

// statesIn is states of what a state holds.
func (s *shop) statesIn(st *state, family []*schema.Recipe) map[*schema.Recipe]pointStanding {
	return s.pointStandings(s.standing(st), st.lib, family)
}

func (s *shop) pointStandings(standing *history.Standing, lib *schema.Library, family []*schema.Recipe) map[*schema.Recipe]pointStanding {
	out := map[*schema.Recipe]pointStanding{}
	accepted := hooks.Accepted(standing, standing.Ledger, s.now())
	for _, r := range family {
		p := standing.Position(lib, r.ID)
		st := pointStanding{status: p.Status, accepts: func(rule string, severity lint.Severity) bool { return accepted(rule, severity, r) }}
		if v := p.Approved(); v != nil {
			st.approved = &schema.Recipe{ID: r.ID, Condition: &v.Condition}
		}
		out[r] = st
	}
	return out
}

// pageSubtitle says whose page it is and from when.
func (s *shop) pageSubtitle(lib *schema.Library) string {
	name := ""
	if set := lib.Settings.Value; set != nil {
		name = set.Name.V + ", "
	}
	return name + s.now().Local().Format("2 January 2006 15:04") + ", unsaved edits included"
}

// chart turns the curves of a family into what is drawn. Of no quantities in particular, a drawing has all and a terminal the three that
// are held to a curve and whatever is off.
func (s *shop) chart(f familyCurves, quantities []string, drawn bool) view.Chart {
	chart := view.Chart{Title: f.name}
	left := []string{}
	for _, c := range f.curves {
		off := slices.ContainsFunc(c.Points, func(pt lint.CurvePoint) bool {
			return pt.Rule != "" && !f.states[pt.Recipe].accepts(pt.Rule, pt.Severity)
		})
		if len(quantities) > 0 && !slices.Contains(quantities, c.Name) {
			continue
		}
		if len(quantities) == 0 && !drawn && !c.Judged() && !off {
			left = append(left, c.Name)
			continue
		}
		chart.Panels = append(chart.Panels, s.panel(c, f.states))
	}
	if n := len(f.states); n > 0 {
		thin, thick := ends(f.states)
		chart.Subtitle = fmt.Sprintf("%d conditions, %s to %s", n, thin.Format(s.prefs()), thick.Format(s.prefs()))
		if n == 1 {
			chart.Subtitle = "1 condition, " + thin.Format(s.prefs())
		}
	}
	if len(left) > 0 {
		chart.Foot = "More: fettle trend " + f.name + " " + strings.Join(left, " ")
	}
	return chart
}

func ends(states map[*schema.Recipe]pointStanding) (thin, thick quantity.Value) {
	for r := range states {
		t := r.Thickness.V.Value
		if thin.IsZero() || t.Cmp(thin) < 0 {
			thin = t
		}
		if thick.IsZero() || t.Cmp(thick) > 0 {
			thick = t
		}
	}
	return thin, thick
}

// unitOf is the unit that all values of a curve are shown in: that of the display settings, else the one of the first.
func (s *shop) unitOf(c lint.Curve) string {
	first := c.Points[0].Value
	_, unit, _ := strings.Cut(first.Format(s.prefs()), " ")
	for _, u := range quantity.Units(first.Dimension()) {
		if strings.HasSuffix(first.Format(s.prefs()), " "+u) {
			unit = u
		}
	}
	return unit
}

func (s *shop) panel(c lint.Curve, states map[*schema.Recipe]pointStanding) view.Panel {
	unit := s.unitOf(c)
	number := func(v quantity.Value) (float64, string) {
		if v.IsZero() {
			return math.NaN(), ""
		}
		n, err := v.Number(unit)
		if err != nil {
			return math.NaN(), ""
		}
		text, _ := v.In(unit)
		return n, strings.TrimSuffix(text, " "+unit)
	}
	p := view.Panel{Title: c.Spoken, Unit: unit, Caption: orderWords(c), Linear: c.Name == "focus"}
	nozzle := ""
	for _, pt := range c.Points {
		x := view.PlotPoint{Thickness: pt.Recipe.Thickness.V.SI() * 1e3, ThicknessText: pt.Recipe.Thickness.V.Format(s.prefs()), Says: clean(pt.Says), Help: clean(pt.Help)}
		x.Value, x.ValueText = number(pt.Value)
		x.Expect, x.ExpectText = number(pt.Expect)
		var low, high string
		x.Low, low = number(pt.Low)
		x.High, high = number(pt.High)
		if x.ExpectText != "" {
			x.RangeText = evenSpan(low, high, "")
			x.OffText = signed(100*pt.Off, 0) + " %"
			if c.Name == "focus" {
				x.OffText = signed(1e3*pt.Off, 1) + " mm"
			}
		}
		st := states[pt.Recipe]
		x.Approved = math.NaN()
		changedHere := true
		if st.approved != nil {
			before := lint.Measured(c.Name, st.approved)
			x.Approved, x.ApprovedText = number(before)
			changedHere = before.IsZero() || !before.Equal(pt.Value)
		}
		x.Accepted = pt.Rule != "" && st.accepts(pt.Rule, pt.Severity)
		switch {
		case pt.Rule != "" && !x.Accepted:
			x.State = view.PointFlagged
		case st.approved == nil:
			x.State = view.PointNew
		case changedHere:
			x.State = view.PointChanged
		}
		p.Points = append(p.Points, x)
		if pt.Nozzle != nozzle {
			nozzle = pt.Nozzle
			p.Regimes = append(p.Regimes, view.Regime{From: x.Thickness, Name: nozzle})
		}
	}
	p.Band = s.band(c, unit)
	return p
}

// signed writes a difference; nothing has no sign.
func signed(v float64, digits int) string {
	text := fmt.Sprintf("%+.*f", digits, v)
	if strings.Trim(text, "+-0.") == "" {
		return text[1:]
	}
	return text
}

// evenSpan writes a range with its unit once and equal decimals.
func evenSpan(low, high, unit string) string {
	decimals := func(number string) int {
		_, fraction, _ := strings.Cut(number, ".")
		return len(fraction)
	}
	even := func(number string, to int) string {
		if more := to - decimals(number); more > 0 {
			if !strings.Contains(number, ".") {
				number += "."
			}
			return number + strings.Repeat("0", more)
		}
		return number
	}
	to := max(decimals(low), decimals(high))
	return strings.TrimSpace(even(low, to) + " to " + even(high, to) + " " + unit)
}

// orderWords says which way a curve goes and how that is known.
func orderWords(c lint.Curve) string {
	if c.Order == "" {
		if c.From == "settings" {
			return "held to no direction, as fettle.json says"
		}
		return "no direction of its own"
	}
	goes := map[string]string{"rising": "rises", "falling": "falls"}[c.Order] + " with thickness, "
	switch c.From {
	case "settings":
		return goes + "as fettle.json says"
	case "family":
		if c.Sure > 0.99 {
			return goes + "as this family does (over 99 % sure)"
		}
		return goes + fmt.Sprintf("as this family does (%.0f %% sure)", 100*c.Sure)
	}
	return goes + fmt.Sprintf("as is usual (%.0f %% sure)", 100*c.Sure)
}

// bandSteps is how finely the band of a curve is drawn.
const bandSteps = 40

// band is what the curve gives between its ends, with the nozzle of the condition that is nearest.
func (s *shop) band(c lint.Curve, unit string) (out []view.BandPoint) {
	first, last := c.Points[0].Recipe.Thickness.V.SI(), c.Points[len(c.Points)-1].Recipe.Thickness.V.SI()
	one, err := quantity.Parse(c.Points[0].Value.Dimension(), "1 "+unit)
	if err != nil {
		return nil
	}
	for i := 0; i <= bandSteps && last > first; i++ {
		t := first * math.Pow(last/first, float64(i)/bandSteps)
		near := slices.MinFunc(c.Points, func(a, b lint.CurvePoint) int {
			da, db := math.Abs(math.Log(a.Recipe.Thickness.V.SI()/t)), math.Abs(math.Log(b.Recipe.Thickness.V.SI()/t))
			switch {
			case da < db:
				return -1
			case da > db:
				return 1
			}
			return 0
		})
		mid, low, high, ok := c.Band(t, near.Recipe)
		if !ok {
			return nil
		}
		out = append(out, view.BandPoint{Thickness: t * 1e3, Low: low / one.SI(), Mid: mid / one.SI(), High: high / one.SI()})
	}
	return out
}

// curvePointJSON is a point for programs.
type curvePointJSON struct {
	ID        string   `json:"id"`
	Thickness string   `json:"thickness"`
	Value     string   `json:"value"`
	Nozzle    string   `json:"nozzle"`
	Kind      string   `json:"kind,omitempty"`
	Expected  string   `json:"expected,omitempty"`
	Low       string   `json:"low,omitempty"`
	High      string   `json:"high,omitempty"`
	Off       *float64 `json:"off,omitempty"` // share of the expected value; of a focus in m
	Status    string   `json:"status"`
	Approved  string   `json:"approved,omitempty"`
	Rule      string   `json:"rule,omitempty"`
	Message   string   `json:"message,omitempty"`
	Help      string   `json:"help,omitempty"`
	Accepted  bool     `json:"accepted,omitempty"` // somebody answers for it: waived, or known at adoption
}

func (s *shop) trendJSON(all []familyCurves, quantities []string) []any {
	out := []any{}
	for _, f := range all {
		curves := []any{}
		for _, c := range f.curves {
			if len(quantities) > 0 && !slices.Contains(quantities, c.Name) {
				continue
			}
			points := []curvePointJSON{}
			for _, pt := range c.Points {
				st := f.states[pt.Recipe]
				x := curvePointJSON{ID: pt.Recipe.ID.String(), Thickness: pt.Recipe.Thickness.V.Text(), Value: pt.Value.Format(s.prefs()), Nozzle: pt.Nozzle, Kind: pt.Kind,
					Expected: pt.Expect.Format(s.prefs()), Low: pt.Low.Format(s.prefs()), High: pt.High.Format(s.prefs()), Status: string(st.status), Rule: pt.Rule,
					Message: pt.Says, Help: pt.Help, Accepted: pt.Rule != "" && st.accepts(pt.Rule, pt.Severity)}
				if !pt.Expect.IsZero() {
					off := math.Round(pt.Off*1e6) / 1e6
					x.Off = &off
				}
				if st.approved != nil {
					x.Approved = lint.Measured(c.Name, st.approved).Format(s.prefs())
				}
				points = append(points, x)
			}
			order := c.Order
			if order == "" {
				order = "any"
			}
			curves = append(curves, map[string]any{"quantity": c.Name, "order": order, "from": c.From, "confidence": math.Round(c.Sure*1e4) / 1e4, "points": points})
		}
		out = append(out, map[string]any{"family": f.name, "curves": curves})
	}
	return out
}
