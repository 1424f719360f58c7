package main

import (
	"strings"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/schema"
)

func init() {
	commands = append(commands,
		func(a *app) *cobra.Command {
			var d decisionFlags
			cmd := &cobra.Command{Use: "withdraw RECORD", Short: "take a saved record back; what stood before it stands again", Args: cobra.ExactArgs(1), ValidArgsFunction: a.completeRecords,
				RunE: func(cmd *cobra.Command, args []string) error { return a.withdraw(args[0], d) }}
			d.add(cmd)
			return cmd
		},
		func(a *app) *cobra.Command {
			return &cobra.Command{Use: "undo", Short: "take back the newest record that is not saved yet", Args: noArgs,
				RunE: func(cmd *cobra.Command, args []string) error { return a.undo() }}
		})
}

func (a *app) withdraw(typed string, flags decisionFlags) error {
	if strings.TrimSpace(flags.text) == "" {
		return refusef("Add --because \"...\".", "taking a record back needs a reason")
	}
	s, err := a.open()
	if err != nil {
		return err
	}
	s.onlyRecords(0)
	if _, _, err := s.both(); err != nil {
		return err
	}
	target, err := s.committed.ledger.Find(typed)
	if err != nil {
		if unsaved, e := s.unsaved.ledger.Find(typed); e == nil {
			return refusef("fettle undo takes back what is not saved yet.", "%s is not saved yet", unsaved.Path)
		}
		return troublef("fettle audit lists them.", "%w", err)
	}
	if target.Kind == schema.KindWithdrawal {
		return refusef("Decide again instead: approve, reject, or write the record anew.", "a withdrawal cannot be taken back")
	}
	if by := s.standing(&s.committed).Withdrawn[target.Digest]; by != nil {
		return refusef("", "%s was taken back already, by %s on %s", target.Path, spoken(by.By.V), s.day(by.Time()))
	}
	common, err := s.common(s.committed.lib, schema.KindWithdrawal, flags.text)
	if err != nil {
		return err
	}
	if s.waitsFor(target, common.By.V) {
		return refusef("Who else can: "+people(s.others(common.By.V)), "you took it back already, and the policy asks for another person, too")
	}
	common.Follows = schema.Of([]string{string(target.Digest)})
	w := &schema.Withdrawal{Common: common, Record: schema.Of(string(target.Digest))}
	r := schema.NewRecord(w)
	if target.Signature.Set() {
		if _, err := s.decider(); err != nil {
			return err
		}
		if r, err = s.sign(w); err != nil {
			return err
		}
	}
	if err := s.put(r, "Take back the "+target.Kind+" "+target.Digest.Short()+"\n\n"+clean(flags.text)+"\n", flags.noCommit); err != nil {
		return err
	}
	s.advanced()
	s.onlyRecords(0)
	if _, err := s.saved(); err != nil {
		return err
	}
	if s.waitsFor(target, common.By.V) {
		s.say("it still counts until another person takes it back, too: the %s of %s by %s", target.Kind, s.day(target.Time()), spoken(target.By.V))
		return nil
	}
	s.say("taken back: the %s of %s by %s", target.Kind, s.day(target.Time()), spoken(target.By.V))
	return nil
}

// waitsFor reports whether a person took a record back and more persons are needed for that to count.
func (s *shop) waitsFor(target *schema.Record, person string) bool {
	if s.standing(&s.committed).Withdrawn[target.Digest] != nil {
		return false
	}
	for _, w := range history.Bodies[*schema.Withdrawal](s.committed.ledger) {
		if w.Body.Record.V == string(target.Digest) && strings.EqualFold(w.Body.By.V, person) {
			return true
		}
	}
	return false
}

func (a *app) undo() error {
	s, err := a.open()
	if err != nil {
		return err
	}
	s.apart()
	records, err := s.newRecords()
	if err != nil {
		return err
	}
	var newest *schema.Record
	for _, r := range records {
		if newest == nil || r.Path > newest.Path {
			newest = r
		}
	}
	if newest == nil {
		return refusef("A saved one is taken back by: fettle withdraw RECORD --because \"...\"", "there is no record that is not saved yet")
	}
	if err := s.remove(newest.Path); err != nil {
		return err
	}
	s.say("removed  %s (%s by %s); it was not saved", newest.Path, newest.Kind, spoken(byOf(newest)))
	return nil
}

func byOf(r *schema.Record) string {
	if r.Common == nil {
		return "?"
	}
	return r.By.V
}
