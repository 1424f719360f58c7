package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/fettle/view"
	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
)

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		var branch, span string
		cmd := &cobra.Command{Use: "review [ID...]", Short: "each saved change against the last approved version",
			Annotations: map[string]string{"formats": "own"},
			Long: "Shows every condition that is not approved as it stands, against the recipe in force and not against yesterday's edit. With ids: those,\nwhatever their state.\n\n" +
				"--format markdown is for a comment on a merge request, --format html one file with drawings that needs nothing else and prints on A4. Both go set\nby set, the biggest physical effect first.",
			Example:           "  fettle review\n  fettle review --range main..HEAD --format markdown\n  fettle review --format html >review.html",
			ValidArgsFunction: a.complete(inSaved),
			RunE:              func(cmd *cobra.Command, args []string) error { return a.review(args, branch, span) }}
		cmd.Flags().StringVar(&branch, "branch", "", "review what another branch holds, such as one that was sent; waiting/ may be left out")
		cmd.RegisterFlagCompletionFunc("branch", a.completeBranches)
		cmd.Flags().StringVar(&span, "range", "", "only conditions that changed from A to B: A..B")
		return cmd
	})
}

func (a *app) review(typed []string, branch, span string) error {
	if err := a.oneOf(pageFormats...); err != nil {
		return err
	}
	s, err := a.open()
	if err != nil {
		return err
	}
	if branch == "" && span == "" {
		s.meant(typed, breadthOf(a.format), onceInUse)
		if len(typed) == 0 && s.apart() {
			if done, err := s.reviewAll(); done || err != nil {
				return err
			}
			s.wholly()
		}
	} else {
		s.apart()
	}
	if _, err := s.saved(); err != nil {
		return err
	}
	st := &s.committed
	rev := "HEAD"
	if branch != "" {
		if rev, s.line, err = s.revision(branch); err != nil {
			return err
		}
	}
	var from string
	if span != "" {
		var ok bool
		if from, rev, ok = strings.Cut(span, ".."); !ok || from == "" || rev == "" {
			return troublef("Such as --range main..HEAD", "--range %s is not of the form A..B", span)
		}
	}
	if s.part != nil && (branch != "" || span != "") {
		if done, err := s.reviewInParts(typed, rev, from); done || err != nil {
			return err
		}
		s.wholly()
		if _, err := s.saved(); err != nil {
			return err
		}
	}
	if rev != "HEAD" {
		if st, err = s.elsewhere(rev); err != nil {
			return err
		}
	}
	positions, err := s.chosen(st, typed)
	if err != nil {
		return err
	}
	var base state
	if from != "" {
		if err := s.load(&base, func(root string) (git.Snapshot, error) { return s.repo.Commit(from, root) }); err != nil {
			return err
		}
		touched := history.Touched(history.Compare(base.lib, st.lib))
		positions = slices.DeleteFunc(positions, func(p history.Position) bool { return !slices.Contains(touched, p.ID) })
	}
	cards := s.cards(st, positions)
	var verdict error
	if len(st.lost) > 0 {
		verdict = errFound
	}
	if a.format == "json" {
		return errors.Join(s.reviewJSON(rev, cards, len(typed) == 0 && rev == "HEAD"), verdict)
	}
	if a.format != "text" {
		doc, err := s.reviewDocument(st, rev, from, base.lib, cards)
		if err != nil {
			return err
		}
		if len(typed) == 0 {
			doc.Others = s.rest(st, len(cards))
		}
		if a.format == "html" {
			return errors.Join(doc.HTML(a.out), verdict)
		}
		return errors.Join(doc.Markdown(a.out), verdict)
	}
	for i := range cards {
		if i > 0 {
			a.tell("")
		}
		s.printCard(&cards[i])
	}
	if len(typed) == 0 || len(st.lost) > 0 {
		s.reviewRest(st, len(cards))
	}
	return verdict
}

// breadthOf is how much a review has to know: pages show curves of whole families.
func breadthOf(format string) breadth {
	if format == "html" || format == "markdown" {
		return onRecord
	}
	return 0
}

// elsewhere reads what another revision holds. It is judged by the records saved here and its own together, chained from the adoption
// known here: else a branch that threw records away, or adopted anew, would be its own judge.
func (s *shop) elsewhere(rev string) (*state, error) {
	st := &state{}
	if err := s.load(st, func(root string) (git.Snapshot, error) { return s.repo.Commit(rev, root) }); err != nil {
		return nil, err
	}
	here := s.standing(&s.committed)
	if len(s.committed.ledger.Records) == 0 {
		return st, nil
	}
	var err error
	if st.lost, err = s.lostIn(rev, st.snap); err != nil {
		return nil, err
	}
	records := slices.Clone(s.committed.ledger.Records)
	for _, r := range st.ledger.Records {
		if s.committed.snap.Hash(r.Path) == "" {
			records = append(records, r)
		}
	}
	st.ledger = history.NewLedger(records)
	anchor, _, err := s.repo.Config("fettle.anchor")
	if err != nil {
		return nil, err
	}
	if anchor == "" && here.Anchor != nil {
		anchor = string(here.Anchor.Digest)
	}
	id, err := libraryID(s.committed.lib)
	if err != nil {
		return nil, err
	}
	st.anchor = anchor
	st.stand = st.ledger.Judge(id, anchor)
	return st, nil
}

// lostIn are the records that stood where another revision parted from what is saved here, and do not stand there as they were.
func (s *shop) lostIn(rev string, now git.Snapshot) ([]history.Broken, error) {
	base, err := s.repo.MergeBase("HEAD", rev)
	if err != nil || base == "" {
		return nil, err
	}
	snap, err := s.repo.Commit(base, s.sub)
	if err != nil {
		return nil, err
	}
	hashes := func(snap git.Snapshot) map[string]string {
		out := map[string]string{}
		for _, p := range snap.Files() {
			if schema.IsRecordPath(p) {
				out[p] = snap.Hash(p)
			}
		}
		return out
	}
	return history.Trail([]map[string]string{hashes(snap)}, hashes(now)), nil
}

// chosen returns the positions of the ids typed, or of all that is not approved.
func (s *shop) chosen(st *state, typed []string) ([]history.Position, error) {
	if ids := wholeIDs(typed); len(ids) > 0 && !slices.ContainsFunc(ids, func(id schema.ID) bool { return st.lib.Recipe(id) == nil }) {
		slices.SortFunc(ids, schema.ID.Compare) // as all are
		var out []history.Position
		for _, id := range ids {
			out = append(out, s.standing(st).Position(st.lib, id))
		}
		return out, nil
	}
	all := s.standing(st).Positions(st.lib)
	if len(typed) == 0 {
		return slices.DeleteFunc(all, func(p history.Position) bool { return p.Status == history.Approved }), nil
	}
	var candidates []schema.ID
	for _, p := range all {
		candidates = append(candidates, p.ID)
	}
	if st == &s.committed && s.names != nil {
		candidates = s.ids(onceInUse)
	}
	ids, err := s.resolve(typed, candidates)
	if err != nil {
		return nil, err
	}
	return slices.DeleteFunc(all, func(p history.Position) bool { return !slices.Contains(ids, p.ID) }), nil
}

// reviewRest says what else waits, see [shop.rest].
func (s *shop) reviewRest(st *state, cards int) {
	for _, r := range s.rest(st, cards) {
		if r.Label == "" {
			s.say("%s", r.Text)
		} else {
			s.say("%-9s %s", r.Label, r.Text)
		}
	}
}

// rest is what else waits: roster, settings, machines, unsaved edits, and what keeps everything from counting.
func (s *shop) rest(st *state, cards int) (rows []view.Row) {
	say := func(label, format string, args ...any) {
		rows = append(rows, view.Row{Label: label, Text: fmt.Sprintf(format, args...)})
	}
	standing := s.standing(st)
	for _, b := range st.lost {
		say("broken", "%s: %s [%s]", b.Path, b.Message, b.Rule)
	}
	if set := st.lib.Settings.Value; st != &s.committed && set != nil && s.committed.lib.Settings.Value != nil && set.ID.V != s.committed.lib.Settings.Value.ID.V {
		say("broken", "%s there has the id of another library", schema.SettingsFile)
	}
	if standing.Trouble != "" {
		say("trouble", "%s", standing.Trouble)
	}
	if standing.Anchor == nil && standing.Trouble == "" {
		say("", "nothing is adopted yet, so nothing is in force. When the conditions are as the shop cuts: fettle adopt --because \"...\"")
		return rows
	}
	for _, p := range standing.Others(st.lib) {
		what := p.Kind
		if p.Kind == schema.SubjectMachine {
			what += " " + p.Name
		}
		if len(p.Unread) > 0 {
			say(string(p.Status), "%s; a part of it cannot be read, or stands twice: fettle lint", what)
			continue
		}
		how := ""
		if p.Status == history.Superseded {
			how = ": an earlier approved version is back"
		}
		say(string(p.Status), "%s%s; to decide: fettle approve%s %s", what, how, s.branchFlag(), what)
	}
	if cards == 0 {
		say("", "no condition waits for a decision")
	}
	if st == &s.committed && s.line == nil {
		rows = append(rows, s.sentRows()...)
	}
	if differences, err := s.unsavedNow(); err == nil && st == &s.committed {
		const most = 8
		for i, d := range differences {
			if i == most {
				say(view.Same, "and %d more", len(differences)-most)
				break
			}
			say("unsaved", "%s", d.ID)
		}
		if len(differences) > 0 {
			say(view.Same, "what is not saved is no part of a review; next: fettle save")
		}
	}
	return rows
}

// What a review says for programs.
type (
	reviewReport struct {
		Format     int               `json:"format"`
		Base       *string           `json:"base"`
		Head       string            `json:"head"`
		Conditions []reviewCondition `json:"conditions"`
		Sent       []jsonSent        `json:"sent"` // branches that were sent for a decision
	}
	reviewChange struct {
		Field   string   `json:"field"`
		From    *string  `json:"from"`
		To      *string  `json:"to"`
		Percent *float64 `json:"percent"`
	}
	reviewDecided struct {
		Digest schema.Digest `json:"digest"`
		At     string        `json:"at"`
		By     string        `json:"by"`
		Kind   string        `json:"kind"`
	}
	reviewFinding struct {
		Rule     string `json:"rule"`
		Severity string `json:"severity"`
		Field    string `json:"field"`
		Message  string `json:"message"`
	}
	reviewReason struct {
		Cause    string   `json:"cause"`
		Text     string   `json:"text"`
		By       string   `json:"by"`
		At       string   `json:"at"`
		RuledOut []string `json:"ruled_out"`
		Record   string   `json:"record"`
	}
	reviewCondition struct {
		ID       string          `json:"id"`
		Status   history.Status  `json:"status"`
		Approved *reviewDecided  `json:"approved"`
		Digest   *schema.Digest  `json:"digest"`
		Changes  []reviewChange  `json:"changes"`
		Findings []reviewFinding `json:"findings"`
		Reasons  []reviewReason  `json:"reasons"`
		Trials   []string        `json:"trials"`
		NotTried []string        `json:"not_tried"`
		Tried    jsonTried       `json:"tried"`
		Effects  []effectJSON    `json:"effects"`
		Unsaved  bool            `json:"unsaved"`
	}
)

// reviewReport is a review of no condition.
func (s *shop) reviewReport(rev string) reviewReport {
	head, err := s.repo.Resolve(rev)
	if err != nil {
		head = ""
	}
	return reviewReport{Format: 1, Head: head, Conditions: []reviewCondition{}, Sent: []jsonSent{}}
}

func (s *shop) reviewJSON(rev string, cards []card, all bool) (err error) {
	out := s.reviewReport(rev)
	for i := range cards {
		out.Conditions = append(out.Conditions, cards[i].reviewJSON())
	}
	if all {
		if out.Sent, err = s.sentJSON(); err != nil {
			return err
		}
	}
	return s.json(out)
}

// reviewJSON is a card for programs.
func (c *card) reviewJSON() reviewCondition {
	j := reviewCondition{ID: c.ID.String(), Status: c.Status, Changes: []reviewChange{}, Findings: []reviewFinding{}, Reasons: []reviewReason{}, Trials: []string{}, NotTried: []string{}, Tried: c.triedJSON(), Effects: effectsJSON(c.effects), Unsaved: c.unsaved}
	if c.decision != nil {
		j.Approved = &reviewDecided{c.decision.Digest(), c.decision.Record.At.V, c.decision.Person, c.decision.Record.Kind}
	}
	if c.Digest != "" {
		j.Digest = &c.Digest
	}
	for _, f := range c.changes {
		entry := reviewChange{Field: f.Path}
		if f.From.Path != "" {
			entry.From = &f.From.Text
		}
		if f.To.Path != "" {
			entry.To = &f.To.Text
		}
		if p, ok := f.Percent(); ok {
			entry.Percent = &p
		}
		j.Changes = append(j.Changes, entry)
	}
	for _, f := range c.findings {
		j.Findings = append(j.Findings, reviewFinding{f.Rule, f.Severity.String(), f.Field, f.Message})
	}
	for _, e := range c.reasons {
		j.Reasons = append(j.Reasons, reviewReason{e.Reason.Cause.V, e.Reason.Text.V, e.Reason.By.V, e.Reason.At.V, append([]string{}, e.Reason.RuledOut.V...), string(e.Record.Digest)})
	}
	for _, t := range c.covering {
		j.Trials = append(j.Trials, string(t.Digest))
	}
	for _, m := range c.missing {
		j.NotTried = append(j.NotTried, m.Path)
	}
	return j
}
