package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/history/signature"
	"fettle/hooks"
	"fettle/lint"
	"fettle/schema"
)

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		var d decisionFlags
		cmd := &cobra.Command{Use: "adopt [ID...]", Short: "sign what is in use today as the baseline",
			Long: "Signs one record over all that is saved and was never decided on: conditions, machines, settings, roster. No reason or trial is\n" +
				"needed, and the first time no second person. Errors still block; warnings of today are kept as known and stay quiet until that condition changes.",
			ValidArgsFunction: a.complete(inSaved),
			RunE:              func(cmd *cobra.Command, args []string) error { return a.adopt(args, d) }}
		d.add(cmd)
		return cmd
	})
}

func (a *app) adopt(typed []string, flags decisionFlags) error {
	if strings.TrimSpace(flags.text) == "" {
		return refusef("Such as: fettle adopt --because \"what both bays cut with today\"", "an adoption says in a sentence what it takes over; add --because")
	}
	s, err := a.open()
	if err != nil {
		return err
	}
	_, saved, err := s.both()
	if err != nil {
		return err
	}
	standing := s.standing(&s.committed)
	if standing.Trouble != "" {
		return refusef("fettle verify tells more.", "%s", standing.Trouble)
	}
	if err := s.adoptable(saved); err != nil {
		return err
	}
	subjects, err := s.undecided(saved, standing, typed)
	if err != nil {
		return err
	}
	if len(subjects) == 0 {
		return refusef("What changed since is decided by: fettle review, fettle approve", "everything here was decided on already; there is nothing left to adopt")
	}
	if err := s.mayAdopt(saved, standing); err != nil {
		return err
	}
	if err := s.notOwn(saved, standing, subjects); err != nil {
		return err
	}
	known, err := s.knownWarnings(saved, subjects)
	if err != nil {
		return err
	}
	common, err := s.common(saved, schema.KindAdoption, flags.text)
	if err != nil {
		return err
	}
	d := &schema.Decision{Common: common, Subjects: schema.Of(subjects)}
	if standing.Anchor != nil {
		s.follow(d, schema.KindAdoption)
	}
	r, err := s.sign(d)
	if err != nil {
		return err
	}
	conditions := 0
	for _, subject := range subjects {
		if subject.Kind.V == schema.SubjectCondition {
			conditions++
		}
	}
	s.say("adopted   %s and %s of the library, by %s", counted(conditions, "condition"), counted(len(subjects)-conditions, "other part"), spoken(r.By.V))
	if more := s.moreNeeded(1); standing.Anchor != nil && more != "" {
		s.say("          not in force yet: %s (fettle approve)", more)
	}
	if known > 0 {
		s.say("          known from today and quiet until their condition changes: %s (fettle lint --all shows them)", counted(known, "warning"))
	}
	return s.put(r, fmt.Sprintf("Adopt %s\n\n%s\n", counted(conditions, "condition"), clean(flags.text)), flags.noCommit)
}

// notOwn refuses to adopt what the person wrote since the beginning, where the policy asks for somebody else.
func (s *shop) notOwn(saved *schema.Library, standing *history.Standing, subjects []schema.Subject) error {
	policy := standing.Policy(saved.Policy())
	if standing.Anchor == nil || policy.OwnChangeAllowed() {
		return nil
	}
	person, err := s.decider()
	if err != nil {
		return err
	}
	var positions []history.Position
	for _, subject := range subjects {
		if id, err := schema.ParseID(subject.ID.V); err == nil && subject.Kind.V == schema.SubjectCondition {
			positions = append(positions, standing.Position(saved, id))
		}
	}
	for _, c := range s.reasoned(&s.committed, positions) {
		if contains(c.authors(), person) { // of what was saved before the beginning there are none
			return refusef(s.whoCan(&c, policy), "%s: you wrote it yourself (%s), and the policy asks for a second person; only the first adoption goes without", c.ID, spoken(person))
		}
	}
	return nil
}

// adoptable refuses to adopt what is not saved or cannot be read: the baseline must be whole.
func (s *shop) adoptable(saved *schema.Library) error {
	if saved.Settings.Value == nil {
		return refusef("Save first: fettle save", "nothing is saved yet; an adoption is about what is saved")
	}
	if saved.Roster == nil {
		return refusef("fettle init --key makes a key and the file; then: fettle save", "there is no file approvers, so nobody may adopt or approve")
	}
	if _, problems := signature.ParseRoster(schema.RosterFile, saved.Roster); len(problems) > 0 {
		return refusef(problems[0].Help, "approvers:%d: %s", problems[0].Line, problems[0].Message)
	}
	if len(saved.Recipes) == 0 {
		return refusef("Read a spreadsheet in: fettle import FILE", "the library holds no conditions yet")
	}
	if differences := history.Compare(saved, s.unsaved.lib); len(differences) > 0 {
		return refusef("Save them first (fettle save) or put them back.", "there are edits that are not saved, of %s; %s is one of them", counted(len(differences), "condition"), differences[0].ID)
	}
	return nil
}

// undecided returns the subjects that no decision was ever about.
func (s *shop) undecided(saved *schema.Library, standing *history.Standing, typed []string) ([]schema.Subject, error) {
	var only []schema.ID
	if len(typed) > 0 {
		var err error
		if only, err = s.resolve(typed, idsOf(saved)); err != nil {
			return nil, err
		}
	}
	var out []schema.Subject
	for _, subject := range history.CurrentSubjects(saved) {
		condition := subject.Kind.V == schema.SubjectCondition
		if condition && len(only) > 0 && !slices.ContainsFunc(only, func(id schema.ID) bool { return id.String() == subject.ID.V }) {
			continue
		}
		if !standing.State(subject.Kind.V, subject.ID.V).Decided() {
			out = append(out, subject)
		}
	}
	return out, nil
}

// mayAdopt checks that the person's key stands in the roster: the one in force, or before the first adoption the one that is adopted.
func (s *shop) mayAdopt(saved *schema.Library, standing *history.Standing) error {
	if standing.Anchor != nil {
		_, err := s.decider()
		return err
	}
	signer, err := s.signer()
	if err != nil {
		return err
	}
	roster, _ := signature.ParseRoster(schema.RosterFile, saved.Roster)
	principal, err := roster.Find(signer.PublicKey(), s.now())
	if err != nil {
		return notAllowed("adopt", roster, err)
	}
	by, err := s.person(saved)
	if err != nil {
		return err
	}
	if !strings.EqualFold(by, principal) {
		return notTheirs(principal, by)
	}
	return nil
}

// knownWarnings notes today's warnings in the subjects, and refuses where there are errors.
func (s *shop) knownWarnings(saved *schema.Library, subjects []schema.Subject) (int, error) {
	result := lint.Run(saved, lint.Options{Accepted: hooks.Accepted(s.standing(&s.committed), s.committed.ledger, s.now())})
	if blocking := result.Blocking(); len(blocking) > 0 {
		result.Findings = blocking
		s.printFindings(result)
		return 0, refusef("Mend them, save, and adopt then.", "%s in the way; an adoption does not override an error", counted(len(blocking), "error"))
	}
	of := map[string][]lint.Finding{}
	for _, f := range result.Findings {
		if f.Severity < lint.Error && !isAboutReasons(f) {
			of[f.ID] = append(of[f.ID], f)
		}
	}
	count := 0
	for i := range subjects {
		if subjects[i].Kind.V != schema.SubjectCondition {
			continue
		}
		var rules []string
		for _, f := range of[subjects[i].ID.V] {
			rules = append(rules, f.Rule)
			if f.Severity == lint.Warning {
				count++
			}
		}
		if rules = unique(rules); len(rules) > 0 {
			subjects[i].Known = schema.Of(rules)
		}
	}
	return count, nil
}
