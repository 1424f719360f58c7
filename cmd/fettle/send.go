package main

import (
	"errors"
	"slices"
	"strings"
	"unicode"

	"github.com/spf13/cobra"
	"golang.org/x/text/unicode/norm"

	"fettle/history"
	"fettle/history/git"
	"fettle/hooks"
	"fettle/lint"
	"fettle/schema"
)

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		var saved bool
		cmd := &cobra.Command{Use: "send [NAME]", Short: "share what is saved here on a branch of its own, for somebody to decide on", Args: cobra.MaximumNArgs(1),
			Long: "Pushes what is saved here to the branch waiting/NAME-DATE of the other repository that this one shares with. Nothing moves here, and what others have\n" +
				"is not touched: review, approve and the local page list what was sent as soon as it was fetched. NAME is who sends where it is not given; send again on\n" +
				"the same day, and the branch goes on.",
			Example: "  fettle send\n  fettle send plate-lot-4711",
			RunE: func(cmd *cobra.Command, args []string) error {
				name := ""
				if len(args) == 1 {
					name = args[0]
				}
				return a.send(name, saved)
			}}
		cmd.Flags().BoolVar(&saved, "saved", false, "send what is saved, and leave unsaved edits out")
		return cmd
	})
}

// send shares the last commit on a branch that waits for a decision.
func (a *app) send(name string, saved bool) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	head, _, unborn, _, err := s.repo.Head()
	if err != nil {
		return err
	}
	if unborn {
		return refusef("fettle save", "nothing is saved yet, so there is nothing to send")
	}
	s.apart()
	if _, _, err := s.both(); err != nil {
		return err
	}
	if name == "" {
		person, err := s.person(s.unsaved.lib)
		if err != nil {
			return err
		}
		name = slug(spoken(person))
	} else if name != slug(name) {
		return troublef("Such as: fettle send "+slug(name), "%q is no name for what is sent: small letters, digits and hyphens", name)
	}
	if err := s.nothingUnsaved(saved); err != nil {
		return err
	}
	remote, err := s.remote()
	if err != nil {
		return err
	}
	l := &line{name: waitingPrefix + name + "-" + s.now().Local().Format("2006-01-02"), tip: head, remote: remote}
	if err := s.notThereYet(l); err != nil {
		return err
	}
	steps, err := s.repo.Log(git.LogOptions{Unshared: true})
	if err != nil {
		return err
	}
	if err := s.push(l); err != nil {
		if errors.Is(err, git.ErrBehind) {
			return s.thereAlready(l)
		}
		return err
	}
	s.say("sent     %s on %s: %s", l.name, l.remote, counted(max(1, len(steps)), "saved step"))
	return s.saySent(l)
}

// slug makes a name of a branch out of what a person is called: letters without their marks.
func slug(name string) string {
	plain := strings.NewReplacer("ß", "ss", "æ", "ae", "ø", "o", "œ", "oe", "ł", "l", "đ", "d").Replace(strings.ToLower(name))
	plain = strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Mn, r) {
			return -1
		}
		return r
	}, norm.NFKD.String(plain))
	fields := strings.FieldsFunc(plain, func(r rune) bool { return (r < 'a' || r > 'z') && (r < '0' || r > '9') })
	if len(fields) == 0 {
		return "changes"
	}
	return strings.Join(fields, "-")
}

// nothingUnsaved refuses to leave edits out that whoever sends may take for sent.
func (s *shop) nothingUnsaved(saved bool) error {
	changed, err := s.repo.Status(s.libraryPaths()...)
	if err != nil || saved {
		return err
	}
	changed = slices.DeleteFunc(changed, func(f git.FileStatus) bool { return s.fromTop(f.Path) == hooks.AttributesFile })
	if len(changed) == 0 {
		return nil
	}
	what := []string{}
	for i, f := range changed {
		if i == 4 {
			what = append(what, "and more: fettle status")
			break
		}
		what = append(what, "  "+f.Path)
	}
	return refusef(strings.Join(what, "\n")+"\nTo send them too: fettle save\nTo leave them out: fettle send --saved", "%s not saved, so nothing was sent", edits(len(changed)))
}

func edits(n int) string {
	if n == 1 {
		return "1 file is"
	}
	return counted(n, "file") + " are"
}

// notThereYet refuses what others have already, or would not get by this name.
func (s *shop) notThereYet(l *line) error {
	has, err := s.repo.Containing(l.tip, "refs/remotes/"+l.remote+"/")
	if err != nil {
		return err
	}
	_, _, upstream, _, err := s.repo.Upstream()
	if err != nil {
		return err
	}
	for _, ref := range has {
		short := strings.TrimPrefix(ref, "refs/remotes/")
		name := strings.TrimPrefix(short, l.remote+"/")
		switch {
		case strings.HasPrefix(name, waitingPrefix):
			return refusef("How it stands: fettle review --branch "+hooks.Quote(clean(name)), "there is nothing to send: %s on %s has all that is saved here", name, l.remote)
		case short == upstream, name == "main", name == "master":
			return refusef("What waits there for a decision: fettle review", "there is nothing to send: %s on %s has all that is saved here", name, l.remote)
		}
	}
	at, err := s.repo.RemoteBranch(l.remote, l.name)
	if err != nil {
		return notPushed(err)
	}
	if at == "" || at == l.tip {
		return nil
	}
	if _, err := s.repo.Resolve(at); err != nil {
		return s.thereAlready(l)
	}
	if goesOn, err := s.repo.IsAncestor(at, l.tip); err != nil || goesOn {
		return err
	}
	return s.thereAlready(l)
}

// thereAlready refuses a name under which others have something that is not part of this.
func (s *shop) thereAlready(l *line) error {
	return refusef("What is there: git fetch, then fettle review --branch "+clean(l.name)+"\nTo send beside it: fettle send ANOTHER-NAME",
		"%s is on %s already and holds what is not here; nothing was sent", l.name, l.remote)
}

// saySent lists what waits in what was sent, and says what comes next.
func (s *shop) saySent(l *line) error {
	var waiting []schema.ID
	var others []history.Position
	if s.standing(&s.committed).Anchor != nil {
		var err error
		if waiting, err = s.waitingForDecision(); err != nil {
			return err
		}
		others = s.standing(&s.committed).Others(s.committed.lib)
	}
	if len(waiting)+len(others) == 0 {
		s.say("         nothing in it waits for a decision")
		return nil
	}
	for _, o := range others {
		s.say("         %s    %s", clean(subjectWords(o.Kind, o.Name)), o.Status)
	}
	const most = 8
	if err := s.eachSent(waiting[:min(len(waiting), most)], func(c *card) {
		s.say("         %s    %s", c.ID, c.Status)
		if len(c.reasons) == 0 && len(c.changes) > 0 && s.committed.lib.Policy().ReasonRequired() {
			s.say("           no reason is on record; say why and send again: fettle reason %s, fettle save, fettle send", c.ID)
		}
		for _, f := range c.findings {
			if f.Severity == lint.Error && !isAboutReasons(f) {
				s.say("           it cannot be approved: %s [%s]", clean(f.Message), f.Rule)
				break
			}
		}
	}); err != nil {
		return err
	}
	if len(waiting) > most {
		s.say("         and %d more", len(waiting)-most)
	}
	name := hooks.Quote(l.name)
	s.say("next     whoever decides: git fetch, then fettle review lists it")
	s.say("         fettle approve --branch %s --send", name)
	s.say("then     git pull --no-rebase %s %s, then git push", clean(l.remote), name)
	return nil
}

// eachSent gives the cards of a few conditions, ordered by id.
func (s *shop) eachSent(ids []schema.ID, do func(*card)) error {
	all := func(_ *shop, cards []card) error {
		for i := range cards {
			do(&cards[i])
		}
		return nil
	}
	if s.part == nil {
		var positions []history.Position
		for _, id := range ids {
			positions = append(positions, s.standing(&s.committed).Position(s.committed.lib, id))
		}
		return all(s, s.cards(&s.committed, positions))
	}
	rows := make([]row, len(ids))
	for i, id := range ids {
		rows[i].id = id
	}
	return s.eachCards(rows, all)
}
