package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"fettle/cmd/fettle/view"
	"fettle/history"
	"fettle/history/audit"
	"fettle/hooks"
	"fettle/lint"
	"fettle/schema"
	"fettle/schema/quantity"
)

// reviewDocument makes the document that cards are decided by. Before is the library that a range starts at, nil without one: what moved
// since then to another file and is the same is said in a line.
func (s *shop) reviewDocument(st *state, rev, from string, before *schema.Library, cards []card) (*view.Review, error) {
	return s.documentOf(st, rev, from, before, cards, true, true)
}

// documentOf is reviewDocument with or without who saved what, for which the whole history is read, and with or without the curves of families.
func (s *shop) documentOf(st *state, rev, from string, before *schema.Library, cards []card, saved, curves bool) (*view.Review, error) {
	doc := s.documentHead(st, rev, from)
	page := pageCards{shop: s, st: st, was: s.findingsInForce(st, cards)}
	if len(cards) > 0 && saved {
		positions := make([]history.Position, len(cards))
		for i := range cards {
			positions[i] = cards[i].Position
		}
		var err error
		if page.trail, err = s.trailAbout(positions, rev); err != nil {
			return nil, err
		}
	}
	sets := page.sets(cards, curves)
	slices.SortFunc(sets, func(a, b weighedSet) int { return a.compare(&b.setTally) })
	tallies := make([]setTally, len(sets))
	for i, set := range sets {
		doc.Sets, tallies[i] = append(doc.Sets, set.ReviewSet), set.setTally
	}
	if before != nil {
		doc.Moved = movedOnly(before, st.lib)
	}
	doc.Summary = reviewSummary(tallies)
	return doc, nil
}

// documentHead is a document without the cards and what is said of them.
func (s *shop) documentHead(st *state, rev, from string) *view.Review {
	doc := &view.Review{Title: "What waits for a decision", Facts: []view.Row{{Label: "library", Text: s.libraryName(st.lib)}}}
	head, err := s.repo.Resolve(rev)
	if err != nil {
		head = ""
	}
	if from != "" {
		doc.Title = "What changed"
		doc.Facts = append(doc.Facts, view.Row{Label: "range", Text: from + " to " + rev})
	}
	if head != "" {
		doc.Facts = append(doc.Facts, view.Row{Label: "saved as", Text: fmt.Sprintf("%.12s", head)})
	}
	doc.Facts = append(doc.Facts, view.Row{Label: "made", Text: s.now().Local().Format("2 January 2006 15:04")})
	doc.Foot = []string{"An approval is no release of a part, and it does not replace the machine maker's instructions."}
	return doc
}

// A weighedSet is a set of a document with what tells its place.
type weighedSet struct {
	view.ReviewSet
	setTally
}

// A setTally is what the head of a document says of a set.
type setTally struct {
	name    string
	weight  float64 // the biggest effect of any card
	counts  map[string]int
	errors  int    // cards that cannot be approved as they stand
	biggest string // the first effect that is told
}

// compare puts what weighs more first.
func (t *setTally) compare(other *setTally) int {
	return cmp.Or(cmp.Compare(other.weight, t.weight), cmp.Compare(t.name, other.name))
}

// sets are the cards of each set, the biggest effect first.
func (p *pageCards) sets(cards []card, curves bool) (out []weighedSet) {
	byID := map[string]float64{}
	at := map[string]int{}
	for i := range cards {
		c := &cards[i]
		name := c.ID.Machine + "/" + c.ID.Material + "/" + c.ID.Gas
		if _, known := at[name]; !known {
			at[name] = len(out)
			out = append(out, weighedSet{view.ReviewSet{Name: name}, setTally{name: name, counts: map[string]int{}}})
		}
		set := &out[at[name]]
		v, weight := p.card(c)
		byID[v.ID] = weight
		set.weight = max(set.weight, weight)
		set.Cards = append(set.Cards, v)
	}
	for i := range out {
		set := &out[i]
		slices.SortStableFunc(set.Cards, func(a, b view.ReviewCard) int { return cmp.Compare(byID[b.ID], byID[a.ID]) })
		if curves {
			set.Plots = p.plots(set.Name, cards)
		}
		set.count()
	}
	return out
}

func (set *weighedSet) count() {
	for k := range set.Cards {
		c := &set.Cards[k]
		set.counts[c.Status]++
		if c.Status == string(history.Rejected) {
			continue
		}
		if slices.ContainsFunc(c.Findings, func(f view.ReviewFinding) bool {
			return f.Severity == lint.Error.String() && f.Age != view.FindingGone
		}) {
			set.errors++
		}
		if set.biggest == "" && c.Biggest != "" {
			set.biggest = c.ID + ": " + c.Biggest
		}
	}
}

// reviewSummary says in a line or two what needs a decision.
func reviewSummary(sets []setTally) []string {
	counts := map[string]int{}
	errors, cards := 0, 0
	biggest := ""
	for _, set := range sets {
		for status, n := range set.counts {
			counts[status] += n
			cards += n
		}
		errors += set.errors
		if biggest == "" {
			biggest = set.biggest
		}
	}
	rejected := counts[string(history.Rejected)] // that is decided, and waits for another change
	n := cards - counts[string(history.Approved)] - rejected
	var lines []string
	switch n {
	case 0:
		lines = []string{"No condition waits for a decision."}
	default:
		var parts []string
		for _, status := range []history.Status{history.Contested, history.Changed, history.New, history.Removed, history.Stale, history.Superseded} {
			if counts[string(status)] > 0 {
				parts = append(parts, fmt.Sprintf("%d %s", counts[string(status)], status))
			}
		}
		lines = []string{fmt.Sprintf("%s wait for a decision: %s.", counted(n, "condition"), strings.Join(parts, ", "))}
		if n == 1 {
			lines[0] = fmt.Sprintf("1 condition waits for a decision: %s.", strings.TrimPrefix(parts[0], "1 "))
		}
	}
	switch {
	case rejected == 1:
		lines = append(lines, "1 was rejected and waits for another change, or for the recipe in force to be put back.")
	case rejected > 1:
		lines = append(lines, fmt.Sprintf("%d were rejected and wait for other changes, or for the recipes in force to be put back.", rejected))
	}
	if errors > 0 {
		line := "1 condition cannot be approved as it stands: an error speaks against it."
		if errors > 1 {
			line = fmt.Sprintf("%d conditions cannot be approved as they stand: errors speak against them.", errors)
		}
		lines = append(lines, line)
	}
	if biggest != "" && n > 1 {
		lines = append(lines, "The biggest effect: "+biggest+".")
	}
	return lines
}

// movedOnly names the conditions that lie in another file and are the same.
func movedOnly(before, now *schema.Library) (ids []string) {
	for _, r := range now.Recipes {
		if was := before.Recipe(r.ID); was != nil && was.File.Path != r.File.Path && was.Digest() == r.Digest() {
			ids = append(ids, r.ID.String())
		}
	}
	return ids
}

// pageCards turns cards into what a page shows of them.
type pageCards struct {
	*shop
	st    *state
	was   map[findingKey]lint.Finding // of the recipes in force
	trail *audit.Trail
}

// card returns a card for a page, with how much it weighs: the larger, the earlier it is read.
func (p *pageCards) card(c *card) (view.ReviewCard, float64) {
	out := view.ReviewCard{ID: c.ID.String(), Status: string(c.Status), Headline: p.headline(c), Effects: arrows(p.effectLines(c))}
	if c.Now != nil && c.base != nil || c.Status == history.Removed {
		for _, f := range c.changes {
			out.Changes = append(out.Changes, p.change(c, f))
		}
	}
	for _, f := range c.Drifted {
		x := p.change(c, f)
		x.Field, x.Window = "machine: "+x.Field, "the approval was for the machine as it was"
		out.Changes = append(out.Changes, x)
	}
	if c.Now != nil && c.base == nil {
		out.Values = clean(p.oneLine(c.Now.Values()))
	}
	var weight float64
	out.Biggest, weight = p.biggest(c)
	out.Biggest = arrow(out.Biggest)
	out.Findings = p.findings(c)
	for _, f := range out.Findings {
		if f.Severity == lint.Error.String() && f.Age != view.FindingGone {
			weight += 1000 // what blocks comes first
			break
		}
	}
	out.Rows = labelled(func(line func(string, string, ...any)) {
		for _, d := range contestedOf(c.State) {
			line("decision", "%s on %s by %s  %s", d.Record.Kind, p.day(d.Record.Time()), spoken(d.Person), d.Digest().Short())
		}
		p.printReasons(c, line)
		p.printTrials(c, line)
		p.printPending(c, line)
		p.savedBy(c, line)
		if c.Status == history.Rejected {
			p.afterRejection(c, line)
		}
	})
	if c.Status != history.Approved && c.Status != history.Rejected {
		out.Decide = []string{"fettle approve" + p.branchFlag() + " " + c.ID.String(), "fettle reject" + p.branchFlag() + " " + c.ID.String() + ` --because "..."`}
	}
	return out, weight
}

// arrow writes a line as pages do, which have a sign that a terminal may lack.
func arrow(line string) string { return strings.ReplaceAll(line, " -> ", " → ") }

func arrows(lines []string) (out []string) {
	for _, l := range lines {
		out = append(out, arrow(l))
	}
	return out
}

// change is one field of a card.
func (p *pageCards) change(c *card, f history.FieldChange) view.ReviewChange {
	v := show(f, p.prefs())
	out := view.ReviewChange{Field: v.field, From: clean(v.from), To: clean(v.to), Percent: v.percent}
	if f.From.Note && f.To.Note {
		out.Text = words(f.From.Text, f.To.Text)
		return out
	}
	out.Window = p.windowNote(c, f.Path)
	if a, ok := c.along(f.Path); ok && a.Window.Steps > 1 {
		out.Gauge = p.gauge(a, f.From.Quantity)
	}
	return out
}

// gauge is where two values lie to a proven window, in SI.
func (p *pageCards) gauge(a hooks.Along, from quantity.Value) *view.ReviewGauge {
	g := &view.ReviewGauge{Low: a.Window.Low.SI(), High: a.Window.High.SI(), From: math.NaN(), To: a.Value.SI(),
		LowText: a.Window.Low.Format(p.prefs()), HighText: a.Window.High.Format(p.prefs())}
	if !from.IsZero() {
		g.From = from.SI()
	}
	for _, l := range a.Levels {
		if !l.Acceptable() {
			g.Fails = append(g.Fails, l.Value.SI())
		}
	}
	return g
}

// biggest is the effect that changes most, on a scale of ratios, and how much. Without one the values count that changed; what is new or
// gone comes after what changed.
func (s *shop) biggest(c *card) (text string, weight float64) {
	ratio := func(from, to float64) float64 {
		if from <= 0 || to <= 0 || math.IsNaN(from) || math.IsNaN(to) {
			return 0
		}
		return math.Abs(math.Log(to / from))
	}
	if c.base == nil || c.Now == nil {
		return "", 0
	}
	for _, e := range c.effects {
		if e.From == nil || e.To == nil || !told(e) {
			continue
		}
		if w := ratio(*e.From, *e.To); w > weight {
			text, weight = effectLine(e, s.prefs()), w
		}
	}
	if weight > 0 {
		return text, weight
	}
	for _, f := range c.changes {
		if percent, ok := f.Percent(); ok {
			weight = max(weight, ratio(1, 1+percent/100))
		}
	}
	return "", weight
}

// savedBy names who saved what since the recipe in force, the newest first, with the name that git has for it.
func (p *pageCards) savedBy(c *card, line func(string, string, ...any)) {
	if p.trail == nil || c.Status == history.Approved {
		return
	}
	inForce := schema.Digest("")
	if c.decision != nil {
		inForce = c.decision.Digest()
	}
	const most = 4
	n := 0
	for _, v := range slices.Backward(p.trail.Versions(c.ID.String())) {
		if v.Digest == inForce {
			break
		}
		if n++; n > most {
			line("", "and more before")
			break
		}
		line([]string{"saved", ""}[min(n-1, 1)], "%s by %s  (%.12s)", p.day(v.Committed), auditPerson(v.By), v.Commit)
	}
}

// findings are what the rules say of a card, each new, old or gone against the recipe in force.
func (p *pageCards) findings(c *card) (out []view.ReviewFinding) {
	for _, problem := range c.Unread {
		if !slices.ContainsFunc(c.findings, func(f lint.Finding) bool { return f.Rule == problem.Rule && f.Message == problem.Message }) {
			out = append(out, view.ReviewFinding{Severity: lint.Error.String(), Message: clean(problem.Message), Rule: problem.Rule})
		}
	}
	compared := c.base != nil && c.Now != nil
	said := map[findingKey]bool{}
	for _, f := range c.findings {
		k := keyOf(f)
		said[k] = true
		age := ""
		if compared {
			age = view.FindingNew
			if _, old := p.was[k]; old {
				age = view.FindingOld
			}
		}
		out = append(out, view.ReviewFinding{Severity: f.Severity.String(), Message: clean(f.Message), Rule: f.Rule, Age: age})
	}
	if !compared {
		return out
	}
	for k, f := range p.was {
		if k.id == c.ID.String() && !said[k] {
			out = append(out, view.ReviewFinding{Severity: f.Severity.String(), Message: clean(f.Message), Rule: f.Rule, Age: view.FindingGone})
		}
	}
	rank := func(f view.ReviewFinding) int { return map[bool]int{true: 1}[f.Age == view.FindingGone] }
	slices.SortStableFunc(out, func(a, b view.ReviewFinding) int {
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(rank(a)*strings.Compare(a.Message, b.Message), 0))
	})
	return out
}

// A findingKey tells whether two findings on two versions of a condition are one.
type findingKey struct{ id, rule, field string }

func keyOf(f lint.Finding) findingKey { return findingKey{f.ID, f.Rule, f.Field} }

// findingsInForce is what the rules say of the same library with the recipes in force in place of those of the cards.
func (s *shop) findingsInForce(st *state, cards []card) map[findingKey]lint.Finding {
	near := map[string]bool{} // machine/material/gas: no rule looks at more at once
	place := func(id schema.ID) string { return id.Machine + "/" + id.Material + "/" + id.Gas }
	for i := range cards {
		near[place(cards[i].ID)] = true
	}
	files := memory{}
	for _, f := range st.lib.Files {
		if !schema.IsSetPath(f.Path) {
			files[f.Path] = f.Data
		}
	}
	for _, r := range st.lib.Recipes {
		if near[place(r.ID)] {
			files[r.File.Path] = r.File.Data
		}
	}
	roots := map[*schema.File]*schema.Node{}
	of := map[string]bool{}
	for i := range cards {
		c := &cards[i]
		if c.Now == nil || c.base == nil || len(c.changes) == 0 {
			continue
		}
		of[c.ID.String()] = true
		if roots[c.Now.File] == nil {
			roots[c.Now.File] = c.Now.File.Root()
		}
		condition := c.base.Condition
		roots[c.Now.File].Get("conditions").Kids[c.Now.Index] = schema.Encode(&condition)
	}
	if len(of) == 0 {
		return nil
	}
	for f, root := range roots {
		files[f.Path] = schema.Layout(root)
	}
	lib, err := schema.ReadLibrary(files)
	if err != nil {
		return nil // it comes of what was read already
	}
	was := map[findingKey]lint.Finding{}
	result := lint.Run(lib, lint.Options{Accepted: hooks.Accepted(s.standing(st), st.ledger, s.now()), InForce: hooks.InForce(s.standing(st), st.lib),
		Only: func(r *schema.Recipe) bool { return of[r.ID.String()] }})
	for _, f := range result.Findings {
		if of[f.ID] && f.Severity > lint.Note {
			was[keyOf(f)] = f
		}
	}
	return was
}

// plots are the curves of the families of a set in which a value changed that runs over thickness, with the recipes in force beside.
func (p *pageCards) plots(set string, cards []card) (out []view.ReviewPlot) {
	changed := map[string][]string{} // family → quantities
	for i := range cards {
		c := &cards[i]
		if c.Now == nil || !strings.HasPrefix(c.ID.Family()+"/", set+"/") {
			continue
		}
		for _, name := range trendNames {
			differs := c.base == nil
			if !differs {
				old, now := lint.Measured(name, &schema.Recipe{ID: c.ID, Condition: &c.base.Condition}), lint.Measured(name, c.Now)
				differs = old.IsZero() != now.IsZero() || !old.IsZero() && !old.Equal(now)
			}
			if family := c.ID.Family(); differs && !slices.Contains(changed[family], name) {
				changed[family] = append(changed[family], name)
			}
		}
	}
	names, members := families(p.st.lib)
	for _, name := range names {
		if len(changed[name]) == 0 || len(members[name]) < 2 {
			continue
		}
		family := familyCurves{name, lint.Curves(p.st.lib, nil, members[name]), p.statesIn(p.st, members[name])}
		if chart := p.chart(family, changed[name], true); len(chart.Panels) > 0 {
			out = append(out, view.ReviewPlot{Chart: chart})
		}
	}
	return out
}
