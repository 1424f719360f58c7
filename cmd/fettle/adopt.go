package main

import (
	"cmp"
	"fmt"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/history/git"
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
				"needed, and the first time no second person. Errors still block; warnings of today are kept as known and stay quiet until that condition changes.\n" +
				"More than 2,000 conditions are signed by several records, in one commit.",
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
	s.apart()
	x, err := s.toAdopt(typed)
	if err != nil {
		return err
	}
	count := len(x.others) + len(x.ids)
	if count == 0 {
		return refusef("What changed since is decided by: fettle review, fettle approve", "everything here was decided on already; there is nothing left to adopt")
	}
	standing := s.standing(&s.committed)
	if err := s.mayAdopt(s.committed.lib, standing); err != nil {
		return err
	}
	if x.own != nil {
		return x.own
	}
	if errors := len(x.result.Findings); errors > 0 {
		s.printFindings(x.result)
		return refusef("Mend them, save, and adopt then.", "%s in the way; an adoption does not override an error", counted(errors, "error"))
	}
	records, err := s.signAdoption(x, flags.text)
	if err != nil {
		return err
	}
	s.say("adopted   %s and %s of the library, by %s", counted(len(x.ids), "condition"), counted(len(x.others), "other part"), spoken(records[0].By.V))
	if more := s.moreNeeded(1); standing.Anchor != nil && more != "" {
		s.say("          not in force yet: %s (fettle approve)", more)
	}
	if x.known > 0 {
		s.say("          known from today and quiet until their condition changes: %s (fettle lint --all shows them)", counted(x.known, "warning"))
	}
	names := []string{records[0].Path}
	if last := len(records) - 1; last > 0 {
		names[0] += fmt.Sprintf(" to %s: %d records", path.Base(records[last].Path), len(records))
	}
	return s.savePlaced(records, names, fmt.Sprintf("Adopt %s\n\n%s\n", counted(len(x.ids), "condition"), clean(flags.text)), flags.noCommit)
}

// An adopted is what is to be adopted.
type adopted struct {
	others []schema.Subject    // what is no condition
	ids    []schema.ID         // the conditions, in order
	rules  map[string][]string // by id: whose findings are known from today
	known  int                 // warnings
	result lint.Result         // errors, of all there is
	own    error               // why the person may not adopt all of it, or nil
}

// toAdopt looks through the saved library, some sets at a time, for what nobody decided on, and refuses where that cannot be the baseline.
func (s *shop) toAdopt(typed []string) (*adopted, error) {
	if s.part != nil && !s.part.lookup.Sound() { // errors are everywhere then
		s.wholly()
	}
	_, saved, err := s.both()
	if err != nil {
		return nil, err
	}
	standing := s.standing(&s.committed)
	if standing.Trouble != "" {
		return nil, refusef("fettle verify tells more.", "%s", standing.Trouble)
	}
	if err := s.adoptable(saved); err != nil {
		return nil, err
	}
	saved, standing = s.committed.lib, s.standing(&s.committed) // of the whole library, where only that can tell
	var only []schema.ID
	if len(typed) > 0 {
		if s.part != nil {
			if err := s.nameMeant(typed, inSaved); err != nil {
				return nil, err
			}
		}
		if only, err = s.resolve(typed, s.ids(inSaved)); err != nil {
			return nil, err
		}
	}
	x := &adopted{rules: map[string][]string{}}
	for _, subject := range history.OtherSubjects(saved) {
		if !standing.State(subject.Kind.V, subject.ID.V).Decided() {
			x.others = append(x.others, subject)
		}
	}
	person := ""
	if standing.Anchor != nil && !standing.Policy(saved.Policy()).OwnChangeAllowed() {
		person, _ = s.decider() // else it is refused anyway
	}
	meant := func(id schema.ID) bool { return len(typed) == 0 || slices.Contains(only, id) }
	var parts []lint.Part
	var families []string
	err = s.eachSets(true, func(q *shop, in func(schema.ID) bool) error {
		part := lint.RunPart(q.committed.lib, lint.Options{})
		families = append(families, part.Families...)
		accepts := hooks.Acceptance(q.standing(&q.committed), q.committed.ledger, s.now())
		var positions []history.Position
		own := map[string]bool{}
		for _, r := range q.committed.lib.Recipes {
			if !in(r.ID) || !meant(r.ID) || q.standing(&q.committed).Condition(r.ID).Decided() {
				continue
			}
			id := r.ID.Apart()
			x.ids, own[id.String()] = append(x.ids, id), true
			if person != "" && x.own == nil {
				positions = append(positions, q.standing(&q.committed).Position(q.committed.lib, r.ID))
			}
		}
		part.Findings = slices.DeleteFunc(part.Findings, func(f lint.PartFinding) bool {
			if f.MayBeAccepted() && accepts(f.Rule, f.Severity, f.Recipe, func() schema.Digest { return f.Digest }) {
				return true
			}
			if own[f.ID] && f.Severity < lint.Error && !isAboutReasons(f.Finding) {
				if x.rules[f.ID] = unique(append(x.rules[f.ID], f.Rule)); f.Severity == lint.Warning {
					x.known++
				}
			}
			return f.Severity < lint.Error
		})
		parts = append(parts, part)
		x.own = cmp.Or(x.own, q.notOwn(person, positions))
		return nil
	})
	if err != nil && s.part != nil { // only the whole library can tell
		s.wholly()
		return s.toAdopt(typed)
	}
	if err != nil {
		return nil, err
	}
	conditions := 0
	files := map[string]bool{}
	for _, part := range parts {
		for p, n := range part.Conditions {
			files[p] = true
			conditions += n
		}
	}
	if conditions == 0 {
		return nil, errNothingToAdopt()
	}
	frame := saved
	if s.part == nil {
		if frame, err = schema.ReadFrame(s.known.Of(s.committed.snap)); err != nil {
			return nil, err
		}
	}
	slices.Sort(families)
	x.result = lint.Join(frame.Named(families), lint.Options{}, parts, nil)
	for _, f := range frame.Files {
		files[f.Path] = true
	}
	x.result.Files, x.result.Findings = len(files), x.result.Blocking()
	return x, nil
}

func errNothingToAdopt() error {
	return refusef("Read a spreadsheet in: fettle import FILE", "the library holds no conditions yet")
}

// mostAdopted is how many conditions one record signs for. Whoever looks at any of them later reads all of it, and of a few hundred thousand
// it could not be read at all; see [git.MaxBlob].
var mostAdopted = 2000

// signAdoption writes the records of an adoption, without saving them, and returns them without what they are about. One record holds all of
// it where that is not much. Else what is no condition stands in the first, and conditions in the others, by whole sets, which follow it.
func (s *shop) signAdoption(x *adopted, text string) (records []*schema.Record, err error) {
	defer func() {
		if err != nil {
			for _, r := range records {
				_ = os.Remove(filepath.Join(s.root, filepath.FromSlash(r.Path)))
			}
			s.rewritten()
		}
	}()
	lots, err := s.adoptionLots(x)
	if err != nil {
		return nil, err
	}
	standing := s.standing(&s.committed)
	for i, lot := range lots {
		if len(lots) > 1 {
			s.bar.doing("signing")
			s.bar.tell(i, len(lots))
		}
		common, err := s.common(s.committed.lib, schema.KindAdoption, text)
		if err != nil {
			return records, err
		}
		q, subjects := s, []schema.Subject(nil)
		if i == 0 {
			subjects = append(subjects, x.others...)
		}
		if len(lot) > 0 {
			if q, err = s.holding(lot); err != nil {
				return records, err
			}
			for _, id := range lot {
				subject := history.ConditionSubject(q.committed.lib, q.committed.lib.Recipe(id))
				if rules := x.rules[id.String()]; len(rules) > 0 {
					subject.Known = schema.Of(rules)
				}
				subjects = append(subjects, subject)
			}
		}
		d := &schema.Decision{Common: common, Subjects: schema.Of(subjects)}
		switch {
		case standing.Anchor != nil:
			q.follow(d, schema.KindAdoption)
		case i > 0:
			d.Follows = schema.Of([]string{string(records[0].Digest)})
		}
		r, err := s.sign(d)
		if err != nil {
			return records, err
		}
		data := r.Bytes()
		if len(data) > git.MaxBlob {
			return records, refusef("Adopt with \"approvals\": 1 in fettle.json, and raise that later: fettle approve settings",
				"the record would have %d MB, and nothing above %d MB can be read again", len(data)>>20, git.MaxBlob>>20)
		}
		if err := s.place(r.Path, data); err != nil {
			return records, err
		}
		records = append(records, &schema.Record{Path: r.Path, Kind: r.Kind, Digest: r.Digest, Common: &schema.Common{Head: common.Head, By: common.By, At: common.At}})
	}
	s.rewritten()
	return records, nil
}

// adoptionLots parts conditions by the records that are to sign for them: whole sets, as far as these go into one.
//
// The first adoption counts by one signature, whatever the policy asks for. What follows it is held to the policy, so it is one record, too,
// where that asks for more persons, or where reasons are on record, which might say that who adopts wrote what they adopt.
func (s *shop) adoptionLots(x *adopted) ([][]schema.ID, error) {
	if len(x.ids) <= mostAdopted {
		return [][]schema.ID{x.ids}, nil
	}
	var lots [][]schema.ID
	if s.standing(&s.committed).Anchor == nil {
		policy := s.committed.lib.Policy()
		reasons, err := s.anyReason()
		if err != nil {
			return nil, err
		}
		if policy.ApprovalsNeeded() > 1 || reasons && !policy.OwnChangeAllowed() {
			return [][]schema.ID{x.ids}, nil
		}
	}
	if len(x.others) > 0 {
		lots = append(lots, nil)
	}
	var lot []schema.ID
	for from := 0; from < len(x.ids); {
		to := from
		for to < len(x.ids) && to-from < mostAdopted && setOf(x.ids[to]) == setOf(x.ids[from]) {
			to++
		}
		if len(lot)+to-from > mostAdopted {
			lots, lot = append(lots, lot), nil
		}
		lot = append(lot, x.ids[from:to]...)
		from = to
	}
	return append(lots, lot), nil
}

// anyReason reports whether any reason is saved.
func (s *shop) anyReason() (bool, error) {
	snap, err := s.takeSaved(s.sub)
	if err != nil {
		return false, err
	}
	return slices.ContainsFunc(snap.Files(), func(p string) bool {
		return schema.IsRecordPath(p) && schema.NamesKind(p, schema.KindReason)
	}), nil
}

// holding is the shop with the sets of some conditions as they are saved, and all that is on record of them.
func (s *shop) holding(ids []schema.ID) (*shop, error) {
	if s.part == nil {
		return s, nil
	}
	var sets [][3]string
	for _, id := range ids {
		if set := setOf(id); len(sets) == 0 || sets[len(sets)-1] != set {
			sets = append(sets, set)
		}
	}
	q := s.within(s.part.quietly().ofSets(sets))
	_, err := q.saved()
	return q, err
}

// notOwn refuses to adopt what the person wrote since the beginning, where the policy asks for somebody else.
func (s *shop) notOwn(person string, positions []history.Position) error {
	for _, c := range s.reasoned(&s.committed, positions) {
		if contains(c.authors(), person) { // of what was saved before the beginning there are none
			policy := s.standing(&s.committed).Policy(s.committed.lib.Policy())
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
	if s.part == nil && len(saved.Recipes) == 0 {
		return errNothingToAdopt()
	}
	differences, err := s.unsavedNow()
	if err != nil {
		return err
	}
	if len(differences) > 0 {
		if s.part != nil && !slices.ContainsFunc(differences, func(d history.Difference) bool { return d.Before != nil }) { // is there anything beside?
			s.wholly()
			saved, err := s.saved()
			if err != nil {
				return err
			}
			return s.adoptable(saved)
		}
		return refusef("Save them first (fettle save) or put them back.", "there are edits that are not saved, of %s; %s is one of them", counted(len(differences), "condition"), differences[0].ID)
	}
	return nil
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
