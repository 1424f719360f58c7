package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/history"
	"fettle/history/audit"
	"fettle/hooks"
	"fettle/lint"
	"fettle/schema"
)

// A card is all that a lead needs to decide on one condition: what differs from the recipe in force, why, what was tried, what
// lint says.
type card struct {
	history.Position
	base     *schema.Values // what it is compared with, nil for a new one
	decision *history.Decision
	changes  []history.FieldChange
	reasons  []history.Edge
	covering []*schema.Record      // good trials of the values
	missing  []history.FieldChange // process values that no good trial covers
	tried    hooks.Tried           // all that trials say of it
	unproven []string              // real machines on which nothing of its set was shown to cut well
	hot      []*schema.Record      // trials with a hot nozzle that nobody explained
	effects  []lint.Effect         // what the changes do to what a cut spends
	findings []lint.Finding
	unsaved  bool // edited on disk, too: not decided on
	stepped  bool // no reasons lead to it in one line, so that the history tells which do
}

// reasoned are the cards of the given conditions in a state with no more than what changed and why.
func (s *shop) reasoned(st *state, positions []history.Position) []card {
	out := make([]card, len(positions))
	var stepwise []int // cards of what no reasons lead to in one line
	for i, p := range positions {
		c := &out[i]
		c.Position = p
		c.base, c.decision = p.Base()
		c.changes = history.CompareValues(c.base, valuesOf(p.Now))
		edges := st.ledger.Edges(schema.SubjectCondition, p.ID.String())
		c.reasons = history.Path(edges, []schema.Digest{c.since()}, p.Digest)
		if c.reasons == nil && len(c.changes) > 0 && len(edges) > 0 {
			stepwise = append(stepwise, i)
		}
	}
	s.reasonsByStep(out, stepwise, st)
	return out
}

// cards makes the cards of the given conditions in a state, against what is in force there.
func (s *shop) cards(st *state, positions []history.Position) []card {
	standing := s.standing(st)
	out := s.reasoned(st, positions)
	at := make(map[string]int, len(positions))
	for i := range out {
		c := &out[i]
		at[c.ID.String()] = i
		if len(c.changes) > 0 {
			c.effects = lint.EffectsOf(st.lib, c.base, valuesOf(c.Now))
		}
		s.tryCard(c, st)
		c.unsaved = s.editedOnDisk(st, c.Position)
	}
	var changes []lint.Change
	for i := range out {
		if c := &out[i]; len(c.changes) > 0 && c.base != nil {
			changes = append(changes, c.change())
		}
	}
	result := lint.Run(st.lib, lint.Options{Accepted: hooks.Accepted(standing, st.ledger, s.now()), InForce: hooks.InForce(standing, st.lib), Changes: changes, Only: onlyOf(out)})
	for _, f := range result.Findings {
		if i, ok := at[f.ID]; ok {
			out[i].findings = append(out[i].findings, f)
		}
	}
	return out
}

// since is the recipe from which reasons have to lead here.
func (c *card) since() schema.Digest {
	if c.decision == nil {
		return ""
	}
	return c.decision.Digest()
}

// reasonsByStep gives some cards the reasons of every saved step since the recipe in force, where no reasons lead from there in one line: a
// merge put the recipe together, or a rebase made steps again. On a branch that parted before that recipe was approved, they count from the
// one that was before. A card gets none where a step has none.
func (s *shop) reasonsByStep(cards []card, which []int, st *state) {
	if len(which) == 0 {
		return
	}
	positions := make([]history.Position, len(which))
	for i, n := range which {
		positions[i] = cards[n].Position
	}
	trail, err := s.trailAbout(positions, s.decidedOn())
	if err != nil {
		return
	}
	entries := map[string][]*audit.Entry{}
	for i := range trail.Entries() {
		if e := &trail.Entries()[i]; e.IsChange() {
			entries[e.ID] = append(entries[e.ID], e)
		}
	}
	for _, n := range which {
		c := &cards[n]
		if told := explainedSteps(&c.Position, c.since(), entries[c.ID.String()]); told != nil {
			edges := st.ledger.Edges(schema.SubjectCondition, c.ID.String())
			c.reasons = slices.DeleteFunc(slices.Clone(edges), func(e history.Edge) bool { return !told[e.Record.Digest] })
		}
	}
}

// explainedSteps are the records of the reasons of every step of a condition since a recipe; nil where one has none.
func explainedSteps(p *history.Position, since schema.Digest, entries []*audit.Entry) map[schema.Digest]bool {
	parted := !slices.ContainsFunc(entries, func(e *audit.Entry) bool { return e.ToDigest == since })
	told := map[schema.Digest]bool{}
	for _, e := range slices.Backward(entries) {
		if e.Note || e.Kind == audit.Dropped {
			continue
		}
		if e.ToDigest == since || parted && p.State.Once(e.ToDigest) != nil {
			break
		}
		if len(e.Why) == 0 {
			return nil
		}
		for _, w := range e.Why {
			told[w.Record] = true
		}
	}
	return told
}

// trailAbout is the history of some conditions up to a revision, and of others where it is at hand.
func (s *shop) trailAbout(positions []history.Position, rev string) (*audit.Trail, error) {
	past := s.pastOf[rev]
	switch {
	case past != nil:
		return past()
	case s.walked != nil:
		return s.trail(rev)
	}
	ids := make([]schema.ID, len(positions))
	for i, p := range positions {
		ids[i] = p.ID
	}
	if rev == "HEAD" {
		rev = ""
	}
	return s.toldTrail(rev, ids)
}

// onlyOf restricts a run of the rules to what cards show. What is gone has no recipe to be found by, so with it everything is looked at.
func onlyOf(cards []card) func(*schema.Recipe) bool {
	of := map[schema.ID]bool{}
	for i := range cards {
		if cards[i].Now == nil {
			return nil
		}
		of[cards[i].ID] = true
	}
	return func(r *schema.Recipe) bool { return of[r.ID] }
}

// change is the whole way from the recipe in force to this one, for the rules that judge a change. What reasons and approvals lack
// is said elsewhere on the card.
func (c *card) change() lint.Change {
	change := lint.Change{ID: c.ID, Before: c.base, After: valuesOf(c.Now), Approved: c.base, Reasoned: true}
	c.tried.Tell(&change)
	for _, e := range c.reasons {
		change.Cause = e.Reason.Cause.V
		change.RuledOut = append(change.RuledOut, e.Reason.RuledOut.V...)
	}
	return change
}

// isAboutReasons tells findings on what a change lacks of a reason or an approval, which have their own place on screens.
func isAboutReasons(f lint.Finding) bool {
	switch f.Rule {
	case "no-reason", "nothing-ruled-out", "unapproved", "stale-approval", "own-approval", "no-trial":
		return true
	}
	return false
}

// editedOnDisk reports whether the work tree holds another recipe than the state under review.
func (s *shop) editedOnDisk(st *state, p history.Position) bool {
	if st != &s.committed {
		return false
	}
	work, err := s.work()
	if err != nil {
		return false
	}
	now := schema.Digest("")
	if r := work.Recipe(p.ID); r != nil {
		now = r.Digest()
	}
	return now != p.Digest
}

// authors are the persons behind the way from the recipe in force to this one, as reasons name them.
func (c *card) authors() []string {
	var out []string
	for _, e := range c.reasons {
		if !contains(out, e.Reason.By.V) {
			out = append(out, e.Reason.By.V)
		}
	}
	return out
}

// deciders names who put the recipe that the card compares with in force: several where the policy asks for several.
func (c *card) deciders() string {
	names := []string{}
	if slices.Contains(c.State.InForce, c.decision) {
		for _, d := range c.State.InForce {
			if name := spoken(d.Person); !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	if len(names) < 2 {
		return spoken(c.decision.Person)
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

// headline says how the condition stands, in one line.
func (s *shop) headline(c *card) string {
	text := s.standsAs(c)
	if c.Now != nil && c.Status != history.Approved {
		if permit := s.committed.ledger.Permit(c.ID.String(), c.Digest, "", s.now()); permit != nil {
			ends, _ := history.PermitEnds(permit)
			text += "; provisional until " + ends.Local().Format("Monday 15:04")
			if permit.Lot.Set() {
				text += ", for lot " + clean(permit.Lot.V)
			}
		}
	}
	return text
}

func (s *shop) standsAs(c *card) string {
	since := ""
	if c.decision != nil {
		verb := "approved"
		if c.decision.Record.Kind == schema.KindAdoption {
			verb = "adopted"
		}
		since = fmt.Sprintf("%s on %s by %s", verb, s.day(c.decision.Record.Time()), c.deciders())
	}
	switch c.Status {
	case history.Approved:
		if c.Now == nil {
			return "is not there, and nothing in force asks for it"
		}
		return "unchanged since it was " + since
	case history.Changed:
		if len(c.changes) == 0 && len(c.Unread) > 0 {
			return "holds what cannot be read, or twice, since it was " + since
		}
		return "changed since it was " + since
	case history.New:
		if c.State.Decided() && len(c.State.Pending) > 0 {
			return "new; " + s.pendingText(c)
		}
		return "new: nothing was approved yet"
	case history.Removed:
		return "removed; it was " + since
	case history.Rejected:
		return s.rejectedText(c.Position)
	case history.Stale:
		return "stale: the machine changed since it was " + since
	case history.Contested:
		return "contested: decisions contradict each other"
	case history.Superseded:
		return "an earlier approved recipe is back; in force is the one " + since
	}
	return string(c.Status)
}

func (s *shop) rejectedText(p history.Position) string {
	r := p.State.Rejection(p.Digest)
	return fmt.Sprintf("rejected on %s by %s: %s", s.day(r.Record.Time()), spoken(r.Person), clean(r.Record.Text.V))
}

func (s *shop) pendingText(c *card) string {
	var names []string
	for _, d := range pendingOf(c.State) {
		if name := spoken(d.Person); d.Digest() == c.Digest && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	if len(names) == 0 {
		return "no approval yet"
	}
	text := "approved by " + strings.Join(names, ", ")
	if more := s.moreNeeded(len(names)); more != "" {
		text += "; " + more
	}
	return text
}

// moreNeeded says how many persons are needed beside those who approved already; "" where that is nobody.
func (s *shop) moreNeeded(have int) string {
	switch more := s.standing(&s.committed).Policy(s.committed.lib.Policy()).ApprovalsNeeded() - have; {
	case more < 1:
		return ""
	case more == 1:
		return "one more person is needed"
	default:
		return fmt.Sprintf("%d more persons are needed", more)
	}
}

// day is a date as people say it: 14 July, with the year where it is another one.
func (s *shop) day(t time.Time) string {
	t = t.Local()
	if t.Year() == s.now().Local().Year() {
		return t.Format("2 January")
	}
	return t.Format("2 January 2006")
}

// printCard prints a card as a lead reads it standing up.
func (s *shop) printCard(c *card) {
	s.tell("%s    %s", c.ID, s.headline(c))
	line := func(label, format string, args ...any) {
		s.tell("    %-11s %s", label, fmt.Sprintf(format, args...))
	}
	if c.Now != nil && c.base != nil || c.Status == history.Removed {
		for i, l := range s.changeLines(c.changes) {
			s.tell("    %s", withNote(l, s.windowNote(c, c.changes[i].Path)))
		}
	}
	if c.Now != nil && c.base == nil {
		line("values", "%s", s.oneLine(c.Now.Values()))
	}
	for i, l := range s.effectLines(c) {
		line(label(i, "effect"), "%s", l)
	}
	for _, d := range c.Drifted {
		line("machine", "%s", s.changeLines([]history.FieldChange{d})[0])
	}
	for _, d := range contestedOf(c.State) {
		line("decision", "%s on %s by %s  %s", d.Record.Kind, s.day(d.Record.Time()), spoken(d.Person), d.Digest().Short())
	}
	if c.Status == history.Approved && len(c.changes) == 0 {
		return
	}
	s.printWhy(c, line)
}

func (s *shop) printWhy(c *card, line func(string, string, ...any)) {
	s.printReasons(c, line)
	s.printTrials(c, line)
	s.printSaid(c, line)
	s.printPending(c, line)
	if c.Status == history.Rejected {
		s.afterRejection(c, line)
	} else if c.Status != history.Approved {
		line("to decide", "fettle approve%s %s", s.branchFlag(), c.ID)
		line("", "fettle reject%s %s --because \"...\"", s.branchFlag(), c.ID)
	}
}

// printReasons says why, and what was ruled out first.
func (s *shop) printReasons(c *card, line func(string, string, ...any)) {
	for _, e := range c.reasons {
		who := spoken(e.Reason.By.V)
		if !e.Record.Signature.Set() && s.claimed(e.Reason.By.V) {
			who += ", claimed"
		}
		line("reason", "%s: %s (%s, %s)", e.Reason.Cause.V, clean(e.Reason.Text.V), who, s.day(e.Record.Time()))
		if len(e.Reason.RuledOut.V) > 0 {
			line("ruled out", "%s", strings.Join(e.Reason.RuledOut.V, ", "))
		}
	}
	if len(c.reasons) == 0 && c.Status != history.Stale && c.Status != history.Contested && len(c.changes) > 0 {
		line("reason", "none on record")
	}
}

// printSaid says what the rules say of a card.
func (s *shop) printSaid(c *card, line func(string, string, ...any)) {
	for i, p := range c.Unread {
		if i == 5 {
			line("error", "and %d more: fettle lint", len(c.Unread)-i)
			break
		}
		if !slices.ContainsFunc(c.findings, func(f lint.Finding) bool { return f.Rule == p.Rule && f.Message == p.Message }) {
			line("error", "%s [%s]", clean(p.Message), p.Rule) // of the file around it
		}
	}
	if len(c.findings)+len(c.Unread) == 0 {
		line("findings", "none")
	}
	for _, f := range c.findings {
		line(f.Severity.String(), "%s [%s]", clean(f.Message), f.Rule)
	}
}

// printPending says which approvals wait for more, and what is no part of the card.
func (s *shop) printPending(c *card, line func(string, string, ...any)) {
	if len(pendingOf(c.State)) > 0 {
		line("approvals", "%s", s.pendingText(c))
	}
	if c.unsaved {
		line("unsaved", "there are newer edits that are not saved; they are not part of this")
	}
}

// afterRejection says what whoever made the change does next.
func (s *shop) afterRejection(c *card, line func(string, string, ...any)) {
	if c.base != nil {
		line("next", "fettle put-back %s", c.ID)
	}
	line(map[bool]string{true: "or", false: "next"}[c.base != nil], "fettle set %s FIELD=VALUE", c.ID)
}

// claimed reports whether nobody vouches that a name is who it says: it is in neither file of persons.
func (s *shop) claimed(principal string) bool {
	lib := s.committed.lib
	if lib == nil {
		lib = s.unsaved.lib
	}
	return lib != nil && lib.People != nil && !contains(rosterNames(lib), principal)
}

// oneLine is a recipe in a line: 2.2 kW, 2.9 m/min, 0.31 bar, focus 3 mm, double 1.2 mm at 1.0 mm.
func (s *shop) oneLine(v *schema.Values) string {
	prefs := s.prefs()
	return fmt.Sprintf("%s, %s, %s, focus %s, %s %s at %s", v.Cut.V.Power.V.Format(prefs), v.Cut.V.Speed.V.Format(prefs), v.Cut.V.Pressure.V.Format(prefs),
		v.Cut.V.Focus.V.Format(prefs), v.Nozzle.V.Form.V, v.Nozzle.V.Orifice.V.Format(prefs), v.Nozzle.V.Standoff.V.Format(prefs))
}

// trialLine says a trial in a line: 2 November on bay-2: 5 steps, good 3, marginal 1, bad 1.
func (s *shop) trialLine(r *schema.Record) string {
	t := r.Body.(*schema.Trial)
	count := map[string]int{}
	for _, step := range t.Steps.V {
		count[step.Outcome.V]++
	}
	var parts []string
	for _, o := range schema.Outcomes {
		if count[o] > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", count[o], o))
		}
	}
	steps := "1 step"
	if n := len(t.Steps.V); n != 1 {
		steps = fmt.Sprintf("%d steps", n)
	}
	return fmt.Sprintf("%s on %s by %s: %s, %s  (%s)", s.day(r.Time()), t.Unit.V, spoken(t.By.V), steps, strings.Join(parts, ", "), r.Digest.Short())
}

func contestedOf(s *history.State) []*history.Decision {
	if s == nil {
		return nil
	}
	return s.Contested
}

func pendingOf(s *history.State) []*history.Decision {
	if s == nil {
		return nil
	}
	return s.Pending
}
