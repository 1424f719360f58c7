package main

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/history/signature"
	"fettle/lint"
	"fettle/schema"
)

// decisionFlags are the flags of the commands that write a decision.
type decisionFlags struct {
	text     string
	noCommit bool
	branch   string         // decide on what it holds, and save there
	send     bool           // share that branch with the decision
	stale    string         // approve again whatever is stale there
	seen     *schema.Digest // what the person looked at, where they did so on a page (see sightOf; of what is no condition its digest): anything else is not decided on
}

func (d *decisionFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&d.text, "because", "", "why, in your own words")
	cmd.Flags().BoolVar(&d.noCommit, "no-commit", false, "only stage the record; the next commit saves it")
}

// addBranch adds the flags of those decisions that can be made on a branch that is not checked out.
func (d *decisionFlags) addBranch(cmd *cobra.Command, a *app) {
	cmd.Flags().StringVar(&d.branch, "branch", "", "decide on what this branch holds, and save that there; files here stay as they are")
	cmd.Flags().BoolVar(&d.send, "send", false, "with --branch: share the decision at once")
	cmd.RegisterFlagCompletionFunc("branch", a.completeBranches)
}

// usable refuses flags that do not go together.
func (d *decisionFlags) usable() error {
	switch {
	case d.send && d.branch == "":
		return troublef("What is decided here is shared by git push.", "--send goes with --branch")
	case d.noCommit && d.branch != "":
		return troublef("Leave one of them out.", "--no-commit stages a record here, and --branch saves one on a branch")
	}
	return nil
}

func init() {
	commands = append(commands,
		func(a *app) *cobra.Command {
			var d decisionFlags
			cmd := &cobra.Command{Use: "approve [ID...] | roster | settings | people | machine NAME", Short: "put recipes in force, signed",
				Long: "Signs that the recipes as they are saved now are the ones to cut with. Without ids it walks what waits, card by card.\n" +
					"An approval is no release of a part, and it does not replace the machine maker's instructions.\n\n" +
					"--branch decides on what was sent to a branch, and saves the decision there: nothing is checked out, and the files here stay as they are.\n" +
					"--stale approves again, together, what is stale since the machine changed, where the policy of the shop says \"stale_together\": \"allow\".",
				Example: "  fettle approve bay-2/carbon-steel/oxygen/10mm\n  fettle approve --branch waiting/mara-lind-2026-07-14 --send\n" +
					"  fettle approve --stale bay-2/ --because \"new lens, focus test good\"",
				ValidArgsFunction: a.completeSubjects(a.complete(inSaved)),
				RunE:              func(cmd *cobra.Command, args []string) error { return a.decide(schema.KindApproval, args, d) }}
			d.add(cmd)
			d.addBranch(cmd, a)
			cmd.Flags().StringVar(&d.stale, "stale", "", "approve again what is stale below this, such as bay-2/; an id for one condition")
			return cmd
		},
		func(a *app) *cobra.Command {
			var d decisionFlags
			cmd := &cobra.Command{Use: "reject ID...", Short: "turn a recipe down, signed; what is in force stays in force",
				Args: cobra.MinimumNArgs(1), ValidArgsFunction: a.complete(inSaved),
				RunE: func(cmd *cobra.Command, args []string) error {
					if strings.TrimSpace(d.text) == "" {
						return refusef("Add --because \"...\": whoever made the change has to know what to do.", "a rejection needs a reason")
					}
					return a.decide(schema.KindRejection, args, d)
				}}
			d.add(cmd)
			d.addBranch(cmd, a)
			return cmd
		})
}

func (a *app) decide(kind string, typed []string, flags decisionFlags) error {
	if err := flags.usable(); err != nil {
		return err
	}
	s, err := a.open()
	if err != nil {
		return err
	}
	if flags.branch != "" {
		if err := s.on(flags.branch); err != nil {
			return err
		}
	}
	if err := s.aboutDecision(typed, flags); err != nil {
		return err
	}
	if _, _, err := s.both(); err != nil {
		return err
	}
	standing := s.standing(&s.committed)
	if err := standingHolds(standing); err != nil {
		return err
	}
	if flags.stale != "" {
		return s.approveStale(typed, flags)
	}
	if subject, name, ok := otherSubject(typed); ok {
		return s.decideOther(kind, subject, name, flags)
	}
	if len(typed) == 0 {
		return s.walkQueue(flags)
	}
	positions, err := s.chosen(&s.committed, typed)
	if err != nil {
		return err
	}
	cards := s.cards(&s.committed, positions)
	cards = slices.DeleteFunc(cards, func(c card) bool {
		same := kind == schema.KindApproval && c.Status == history.Approved
		if same {
			s.say("%s is approved as it stands", c.ID)
		}
		return same
	})
	if len(cards) == 0 {
		return nil
	}
	return s.decideCards(kind, cards, flags)
}

// aboutDecision restricts the shop to what a decision rests on.
func (s *shop) aboutDecision(typed []string, flags decisionFlags) error {
	kind, _, other := otherSubject(typed)
	all := other && kind != schema.SubjectMachine && kind != schema.SubjectPeople // which all that is on record hangs on
	if flags.stale != "" {
		typed = []string{flags.stale}
	}
	switch {
	case !s.onLine && all:
		s.onlyRecords(0)
	case !s.onLine && (other || len(typed) == 0):
		s.apart()
	case !s.onLine:
		s.meant(typed, onRecord, onceInUse)
	case s.part == nil:
	case all:
		return s.turn(s.part.origin.of(nil, allRecords))
	case !other && len(typed) > 0:
		ids, _, err := (&survey{shop: s}).chosen(typed) // what is wrong with it is said when they are looked at
		if err != nil {
			s.part = nil
			return nil
		}
		return s.turn(s.part.origin.of(ids, onRecord))
	}
	return nil
}

// standingHolds refuses decisions before there is anything that they could be chained to.
func standingHolds(standing *history.Standing) error {
	switch {
	case standing.Trouble != "":
		return refusef("fettle verify tells more.", "%s", standing.Trouble)
	case standing.Anchor == nil:
		return refusef("When the conditions are as the shop cuts: fettle adopt --because \"...\"", "nothing is adopted yet, so there is no roster of who may decide")
	}
	return nil
}

func otherSubject(typed []string) (kind, name string, ok bool) {
	switch {
	case len(typed) == 1 && (typed[0] == schema.SubjectRoster || typed[0] == schema.SubjectSettings || typed[0] == schema.SubjectPeople):
		return typed[0], typed[0], true
	case len(typed) == 2 && typed[0] == schema.SubjectMachine:
		return schema.SubjectMachine, typed[1], true
	}
	return "", "", false
}

// waitingForDecision are the conditions that wait for a decision, ordered by id. Of a library of which no more than its frame was read it tells
// without the rest, and where only the rest can tell, reads it.
func (s *shop) waitingForDecision() (ids []schema.ID, err error) {
	waits := func(status history.Status) bool { // what was rejected is decided
		return status != history.Approved && status != history.Rejected && status != ""
	}
	if s.part != nil && s.onLine {
		v := &survey{shop: s}
		err := v.each(v.lookup().Sets(), func(x *stretch) error {
			for _, p := range x.positions {
				if waits(p.Status) {
					ids = append(ids, p.ID.Apart())
				}
			}
			return nil
		})
		return ids, err
	}
	if s.part != nil {
		if t, err := s.overview(nil, s.bar.doing); err == nil {
			for _, r := range t.rows(func(r *row) bool { return waits(r.status) }) {
				ids = append(ids, r.id)
			}
			return ids, nil
		}
		s.wholly()
		if _, _, err := s.both(); err != nil {
			return nil, err
		}
	}
	for _, p := range s.standing(&s.committed).Positions(s.committed.lib) {
		if waits(p.Status) {
			ids = append(ids, p.ID)
		}
	}
	return ids, nil
}

// cardAlone is the card of a condition, with the library as far as it bears on it.
func (s *shop) cardAlone(id schema.ID) (*shop, []card, error) {
	q := s
	if s.part != nil && s.onLine {
		part := s.part
		if part.elsewhere.rev != s.line.tip {
			var err error
			if part, err = part.advance(s); err != nil {
				return nil, nil, err
			}
			s.part = part
		}
		q = s.within(part.of([]schema.ID{id}, onRecord))
		if _, _, err := q.both(); err != nil {
			return nil, nil, err
		}
	} else if s.part != nil {
		q = &shop{app: s.app, repo: s.repo, root: s.root, sub: s.sub}
		q.about([]string{id.String()}, onRecord)
		if _, _, err := q.both(); err != nil {
			return nil, nil, err
		}
	}
	return q, q.cards(&q.committed, []history.Position{q.standing(&q.committed).Position(q.committed.lib, id)}), nil
}

// walkQueue shows what waits card by card and asks.
func (s *shop) walkQueue(flags decisionFlags) error {
	ids, err := s.waitingForDecision()
	if err != nil {
		return err
	}
	if len(ids) == 0 {
		s.reviewRest(&s.committed, 0)
		return nil
	}
	if !s.terminal {
		return refusef("Name what to approve. Waiting:\n"+list(ids, 20), "%s to decide on, and nobody sits here to look", counted(len(ids), "condition"))
	}
	in := bufio.NewReader(s.in)
	for i, id := range ids {
		quit, err := s.askAbout(in, id, fmt.Sprintf("%d of %d", i+1, len(ids)), flags)
		if err != nil || quit {
			return err
		}
	}
	s.reviewRest(&s.committed, len(ids))
	return nil
}

// askAbout shows one card and does what is answered.
func (s *shop) askAbout(in *bufio.Reader, id schema.ID, which string, flags decisionFlags) (quit bool, err error) {
	q, cards, err := s.cardAlone(id)
	if err != nil {
		return false, err
	}
	if q != s {
		defer q.wholly()
	}
	q.printCard(&cards[0])
	switch strings.ToLower(prompt(q, in, which+": approve, reject, skip or quit? [a/r/s/q]")) {
	case "a", "approve":
		if err := q.decideCards(schema.KindApproval, cards, flags); err != nil {
			q.exit(err)
		}
	case "r", "reject":
		if flags.text = prompt(q, in, "Why"); flags.text == "" {
			q.say("a rejection needs a reason; skipped")
			return false, nil
		}
		if err := q.decideCards(schema.KindRejection, cards, flags); err != nil {
			q.exit(err)
		}
	case "q", "quit":
		return true, nil
	}
	return false, nil
}

// decideCards writes one record over the cards, if nothing speaks against any of them.
func (s *shop) decideCards(kind string, cards []card, flags decisionFlags) error {
	person, err := s.decider()
	if err != nil {
		return err
	}
	lib := s.committed.lib
	var problems, helps []string
	for i := range cards {
		if flags.seen != nil && sightOf(lib, &cards[i].Position) != *flags.seen {
			return refusef("Open its page again and look at what is saved now.", "%s, or its machine, changed since you looked at it; nothing was decided", cards[i].ID)
		}
		if why, help := s.against(kind, &cards[i], person, flags.stale != ""); why != "" {
			problems = append(problems, cards[i].ID.String()+": "+why)
			if !slices.Contains(helps, help) {
				helps = append(helps, help)
			}
		}
	}
	if len(problems) > 0 {
		return refusef(strings.Join(helps, "\n"), "%s", strings.Join(problems, "\nfettle: "))
	}
	common, err := s.common(lib, kind, flags.text)
	if err != nil {
		return err
	}
	d := &schema.Decision{Common: common}
	var subjects []schema.Subject
	var trials []string
	for i := range cards {
		c := &cards[i]
		if c.Now == nil {
			subjects = append(subjects, history.RemovalSubject(c.ID))
		} else {
			subjects = append(subjects, history.ConditionSubject(lib, c.Now))
		}
		for _, t := range c.covering {
			trials = append(trials, string(t.Digest))
		}
	}
	d.Subjects = schema.Of(subjects)
	if trials = unique(trials); len(trials) > 0 && kind == schema.KindApproval {
		d.Trials = schema.Of(trials)
	}
	s.follow(d, kind)
	r, err := s.sign(d)
	if err != nil {
		return err
	}
	verb := map[string]string{schema.KindApproval: "approved", schema.KindRejection: "rejected"}[kind]
	more := make([]string, len(cards)) // asked before this one counts too
	for i := range cards {
		more[i] = s.moreNeeded(1 + s.approvedBy(&cards[i]))
	}
	return s.putDecision(r, decisionMessage(verb, cards, flags.text), flags, func() {
		for i := range cards {
			switch {
			case flags.stale == "" || len(cards) == 1:
				s.say("%-9s %s", verb, cards[i].ID)
			case i == 0: // they were listed
				s.say("%-9s %s again", verb, counted(len(cards), "condition"))
			default:
				continue
			}
			if kind == schema.KindApproval && more[i] != "" {
				s.say("          not in force yet: %s", more[i])
			}
			if kind == schema.KindApproval && contains(cards[i].authors(), person) {
				s.say("          approved by its author: the policy of this shop allows it")
			}
		}
	})
}

// sightOf is a digest of what the card of a condition shows and a decision rests on: the recipe, what of the machine shapes its cut, and the
// decision that it is held against. An approval signs the second too, and a page may lie open while it changes.
func sightOf(lib *schema.Library, p *history.Position) schema.Digest {
	h := sha256.New()
	fmt.Fprintln(h, p.Digest)
	if p.Now != nil {
		jet := history.ConditionSubject(lib, p.Now).MachineValues.V
		h.Write(schema.Layout(schema.Encode(&jet)))
	}
	if _, against := p.Base(); against != nil {
		fmt.Fprintln(h, against.Record.Digest)
	}
	return schema.Digest(hex.EncodeToString(h.Sum(nil)))
}

// putDecision saves a decision where it belongs: here, or on the branch that it is about.
func (s *shop) putDecision(r *schema.Record, message string, flags decisionFlags, tell func()) error {
	if s.line != nil {
		return s.putOnBranch([]*schema.Record{r}, message, flags.send, tell)
	}
	tell()
	return s.put(r, message, flags.noCommit)
}

// follow makes the decision follow what it was made in sight of.
func (s *shop) follow(d *schema.Decision, kind string) {
	if follows := s.standing(&s.committed).Follow(kind, d.Subjects.V); len(follows) > 0 {
		d.Follows = schema.Of(follows)
	}
}

func unique(list []string) []string {
	slices.Sort(list)
	return slices.Compact(list)
}

// decider is who is about to decide: their signing key must stand in the roster in force, under the name that acts.
func (s *shop) decider() (string, error) {
	signer, err := s.signer()
	if err != nil {
		return "", err
	}
	standing := s.standing(&s.committed)
	principal, err := standing.Person(signer.PublicKey(), s.now())
	if err != nil {
		return "", notAllowed("decide", standing.Roster, err)
	}
	by, err := s.person(s.committed.lib)
	if err != nil {
		return "", err
	}
	if !strings.EqualFold(by, principal) {
		return "", notTheirs(principal, by)
	}
	return principal, nil
}

func people(principals []string) string {
	var names []string
	for _, p := range principals {
		names = append(names, spoken(p))
	}
	return strings.Join(names, ", ")
}

// against says what speaks against a decision, with the way out, or nothing. Together says that a reason in words stands for the trial of a
// recipe that is stale, as the policy was found to allow.
func (s *shop) against(kind string, c *card, person string, together bool) (why, help string) {
	policy := s.standing(&s.committed).Policy(s.committed.lib.Policy())
	switch {
	case c.unsaved:
		return "there are edits that are not saved; a decision is about what is saved", "Save them first (fettle save " + c.ID.String() + "), or put them back."
	case kind == schema.KindRejection && c.State.Rejection(c.Digest) != nil:
		return "this recipe is rejected already", "fettle review " + c.ID.String()
	case kind == schema.KindRejection:
		return "", ""
	}
	for _, f := range c.findings {
		if f.Severity == lint.Error {
			return fmt.Sprintf("%s [%s]", f.Message, f.Rule), "An approval does not override an error. Mend it, or put the approved recipe back: fettle put-back " + c.ID.String()
		}
	}
	if len(c.Unread) > 0 {
		return "a part of it cannot be read, or stands twice, so nobody knows what would be approved: " + c.Unread[0].Message, "An approval does not override an error. Mend it: fettle lint " + c.ID.String()
	}
	for _, d := range pendingOf(c.State) {
		if d.Digest() == c.Digest && strings.EqualFold(d.Person, person) {
			return "you approved it already; another person is needed", s.whoCan(c, policy)
		}
	}
	if !policy.OwnChangeAllowed() {
		if contains(s.allAuthors(c), person) {
			return "you wrote this change yourself (" + spoken(person) + "), and the policy asks for a second person", s.whoCan(c, policy)
		}
	}
	if policy.TrialRequired() && !(together && c.tried.Against() == "") {
		if why, help := s.untried(c); why != "" {
			return why, help
		}
	}
	return "", ""
}

// whoCan names who of the roster may still approve: neither wrote the change, where that matters, nor approved it already.
func (s *shop) whoCan(c *card, policy schema.Policy) string {
	var not, may []string
	if !policy.OwnChangeAllowed() {
		not = s.allAuthors(c)
	}
	for _, d := range pendingOf(c.State) {
		if d.Digest() == c.Digest {
			not = append(not, d.Person)
		}
	}
	for _, p := range s.standing(&s.committed).Roster.Principals() {
		if !contains(not, p) {
			may = append(may, p)
		}
	}
	if len(may) == 0 {
		return "Nobody else of the roster can. A second person comes in at this PC by: fettle init --key --by ADDRESS\n" +
			"A shop of one person sets \"own_change\": \"allow\" in fettle.json, saves, and decides: fettle approve settings"
	}
	return "Who can: " + people(may)
}

// approvedBy counts the persons whose approval of this recipe waits for more.
func (s *shop) approvedBy(c *card) int {
	var who []string
	for _, d := range pendingOf(c.State) {
		if d.Digest() == c.Digest && !contains(who, d.Person) {
			who = append(who, d.Person)
		}
	}
	return len(who)
}

func (s *shop) others(person string) []string {
	return slices.DeleteFunc(s.standing(&s.committed).Roster.Principals(), func(p string) bool { return strings.EqualFold(p, person) })
}

func decisionMessage(verb string, cards []card, text string) string {
	title := strings.ToUpper(verb[:1]) + verb[1:] + " "
	if len(cards) == 1 {
		title += cards[0].ID.String()
	} else {
		title += fmt.Sprintf("%d conditions", len(cards))
	}
	var b strings.Builder
	b.WriteString(title + "\n")
	if text != "" {
		fmt.Fprintf(&b, "\n%s\n", clean(text))
	}
	if len(cards) > 1 {
		b.WriteString("\n")
		for i := range cards {
			fmt.Fprintf(&b, "    %s\n", cards[i].ID)
		}
	}
	return b.String()
}

// decideOther decides on roster, people, settings or a machine profile as it is saved.
func (s *shop) decideOther(kind, subject, name string, flags decisionFlags) error {
	person, err := s.decider()
	if err != nil {
		return err
	}
	lib := s.committed.lib
	standing := s.standing(&s.committed)
	i := slices.IndexFunc(history.CurrentSubjects(lib), func(x schema.Subject) bool { return x.Kind.V == subject && x.ID.V == name })
	if i < 0 {
		what := strings.TrimSuffix(subject+" "+name, " "+subject)
		if subject == schema.SubjectMachine && lib.Machine(name) == nil && len(lib.MachineNames()) > 0 {
			return troublef(didYouMean(name, lib.MachineNames()), "there is no machine %q in what is saved", name)
		}
		return troublef("What is not saved yet: fettle status\nWhat is wrong in the files: fettle lint", "there is no %s in what is saved", what)
	}
	content := history.CurrentSubjects(lib)[i]
	if flags.seen != nil && content.Digest.V != string(*flags.seen) {
		return refusef("Open its page again and look at what is saved now.", "%s changed since you looked at it; nothing was decided", strings.TrimSuffix(subject+" "+name, " "+subject))
	}
	state := standing.State(subject, name)
	for _, p := range standing.Others(lib) {
		if p.Kind == subject && p.Name == name && len(p.Unread) > 0 && kind == schema.KindApproval {
			return refusef("An approval does not override an error. Mend it: fettle lint", "a part of %s cannot be read, so nobody knows what would be approved: %s", subject, p.Unread[0].Message)
		}
	}
	if now, ok := state.Digest(); ok && kind == schema.KindApproval && string(now) == content.Digest.V {
		s.say("%s is approved as it stands", strings.TrimSuffix(subject+" "+name, " "+subject))
		return nil
	}
	common, err := s.common(lib, kind, flags.text)
	if err != nil {
		return err
	}
	d := &schema.Decision{Common: common, Subjects: schema.Of([]schema.Subject{content})}
	kept := 0
	if subject == schema.SubjectRoster {
		next, _ := signature.ParseRoster(schema.RosterFile, lib.Roster)
		if keeps := standing.Keeps(next); len(keeps) > 0 {
			d.Keeps = schema.Of(keeps)
			kept = len(keeps)
		}
	}
	s.follow(d, kind)
	r, err := s.sign(d)
	if err != nil {
		return err
	}
	alone := kind == schema.KindApproval && !standing.Policy(lib.Policy()).OwnChangeAllowed() && s.wroteSince(subject, name, state.Last(), person)
	verb := map[string]string{schema.KindApproval: "Approved", schema.KindRejection: "Rejected"}[kind]
	what := subject
	if subject == schema.SubjectMachine {
		what += " " + name
	}
	return s.putDecision(r, verb+" "+what+"\n", flags, func() {
		if kept > 0 {
			s.say("keeps    %s by persons or keys that the new roster drops", counted(kept, "decision"))
		}
		s.say("%s %s (%s)", strings.ToLower(verb), what, spoken(person))
		if alone {
			s.say("alone    %s saved this change, too: nobody else looked at it, and fettle verify says so", spoken(person))
		}
	})
}
