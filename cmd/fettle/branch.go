package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/history/git"
	"fettle/hooks"
	"fettle/lint"
	"fettle/schema"
)

// waitingPrefix is what the names of branches begin with that were sent for a decision.
const waitingPrefix = "waiting/"

// A line is a branch under one name, here and where it was fetched from.
type line struct {
	name     string
	tip      string // commit that counts: of the two the one that holds the other
	local    string // commit of the branch here, "" where there is none
	remote   string // other repository that has it, "" where none does
	shared   string // commit that it stood at there when it was fetched last
	worktree string // directory that it is checked out in, "" where in none
}

// typed is the branch as it is typed for git push, which takes a name that begins with a hyphen for an option.
func (l *line) typed() string {
	name := clean(l.name)
	if strings.HasPrefix(name, "-") {
		name = "refs/heads/" + name
	}
	return hooks.Quote(name)
}

// lineNamed finds a branch by what was typed: its whole name, without waiting/, or with the other repository before it; on a terminal
// also the beginning of a name that waits, where one fits. It is nil where no branch is called that.
func (s *shop) lineNamed(typed string) (*line, error) {
	branches, err := s.repo.Branches()
	if err != nil {
		return nil, err
	}
	typed = strings.TrimPrefix(strings.TrimPrefix(typed, "refs/heads/"), "refs/remotes/")
	names := map[string]string{} // name, with the other repository where that was typed
	for _, b := range branches {
		full := b.Name
		if b.Remote != "" {
			full = b.Remote + "/" + b.Name
		}
		switch typed {
		case b.Name, strings.TrimPrefix(b.Name, waitingPrefix):
			names[b.Name] = ""
		case full, strings.Replace(full, "/"+waitingPrefix, "/", 1):
			if b.Remote != "" {
				names[b.Name] = b.Remote
			}
		}
	}
	if _, exact := names[typed]; exact {
		names = map[string]string{typed: ""}
	}
	if len(names) == 0 && s.terminal && typed != "" {
		for _, b := range branches {
			if rest, waits := strings.CutPrefix(b.Name, waitingPrefix); waits && (strings.HasPrefix(rest, typed) || strings.HasPrefix(b.Name, typed)) {
				names[b.Name] = ""
			}
		}
	}
	switch len(names) {
	case 0:
		return nil, nil
	case 1:
		for name, remote := range names {
			return s.lineOf(branches, name, remote)
		}
	}
	var list []string
	for name := range names {
		list = append(list, "  "+name)
	}
	slices.Sort(list)
	return nil, troublef("It could be:\n"+strings.Join(list, "\n"), "%q fits %d branches", typed, len(list))
}

// lineOf puts together what is known of a branch. Of remote repositories the one that was typed counts, or the only one that has it.
func (s *shop) lineOf(branches []git.Branch, name, remote string) (*line, error) {
	l := &line{name: name}
	var elsewhere []string
	for _, b := range branches {
		switch {
		case b.Name != name:
		case b.Remote == "":
			l.local, l.worktree = b.Hash, b.Worktree
		case remote == "" || remote == b.Remote:
			elsewhere = append(elsewhere, b.Remote)
			l.remote, l.shared = b.Remote, b.Hash
		}
	}
	if len(elsewhere) > 1 {
		for i := range elsewhere {
			elsewhere[i] = "  " + elsewhere[i] + "/" + name
		}
		return nil, troublef("Say which:\n"+strings.Join(elsewhere, "\n"), "%s is in %d repositories", name, len(elsewhere))
	}
	switch l.tip = l.local; {
	case l.local == "":
		l.tip = l.shared
	case l.shared != "" && l.shared != l.local:
		ahead, err := s.repo.IsAncestor(l.shared, l.local)
		if err != nil || ahead {
			return l, err
		}
		behind, err := s.repo.IsAncestor(l.local, l.shared)
		if err != nil {
			return nil, err
		}
		if !behind {
			return l, &partedLine{l}
		}
		l.tip = l.shared
	}
	return l, nil
}

// partedLine is the error of a branch that went one way here and another elsewhere.
type partedLine struct{ *line }

func (p *partedLine) Error() string {
	return fmt.Sprintf("%s went one way here and another on %s, so nobody can tell which one counts", p.name, p.remote)
}

// revision is what a review of a branch looks at: that branch, or whatever else git knows by that name, which has no line.
func (s *shop) revision(typed string) (rev string, l *line, err error) {
	l, err = s.lineNamed(typed)
	var p *partedLine
	switch {
	case errors.As(err, &p) && strings.HasPrefix(strings.TrimPrefix(typed, "refs/remotes/"), p.remote+"/"):
		return p.shared, nil, nil // that one was asked for
	case errors.As(err, &p):
		return "", nil, s.refuseParted(p)
	case err != nil:
		return "", nil, err
	case l == nil:
		_, err := s.repo.Resolve(typed)
		if errors.Is(err, git.ErrUnknownRevision) {
			err = s.noBranch(typed)
		}
		return typed, nil, err
	}
	_, here, _, _, err := s.repo.Head()
	if l.name == here && l.local == l.tip {
		return l.tip, nil, err // it is decided on without naming it
	}
	return l.tip, l, err
}

func (s *shop) refuseParted(p *partedLine) error {
	return refusef("What is there: fettle review --branch "+hooks.Quote(clean(p.remote+"/"+p.name))+"\nTo keep yours under another name, and go on with that one: git branch -m "+
		hooks.Quote(p.name)+" "+hooks.Quote(p.name+"-here"), "%s", p.Error())
}

// noBranch refuses a name that no branch has, with those that it could be.
func (s *shop) noBranch(typed string) error {
	help := "What was shared since: git fetch"
	if branches, err := s.repo.Branches(); err == nil {
		var names []string
		for _, b := range branches {
			names = append(names, b.Name)
		}
		if near := schema.Nearest(typed, unique(names)); near != "" {
			help = "Did you mean " + clean(near) + " ?\n" + help
		}
	}
	return troublef(help, "there is no branch %q here", typed)
}

// completeBranches offers branches, those first that were sent for a decision.
func (a *app) completeBranches(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
	s, err := a.open()
	if err != nil {
		return nil, wholeWords
	}
	branches, err := s.repo.Branches()
	if err != nil {
		return nil, wholeWords
	}
	var waiting, others []string
	for _, b := range branches {
		switch {
		case !strings.HasPrefix(b.Name, typed):
		case strings.HasPrefix(b.Name, waitingPrefix):
			waiting = append(waiting, b.Name)
		default:
			others = append(others, b.Name)
		}
	}
	return append(unique(waiting), unique(others)...), wholeWords | cobra.ShellCompDirectiveKeepOrder
}

// on makes the shop work on a branch that is not checked out: what is saved is what stands there, and a decision is saved there. Files,
// index and HEAD have no part in it.
func (s *shop) on(typed string) error {
	s.apart()
	if _, err := s.saved(); err != nil {
		return err
	}
	l, err := s.lineNamed(typed)
	var p *partedLine
	switch {
	case errors.As(err, &p):
		return s.refuseParted(p)
	case err != nil:
		return err
	case l == nil:
		return s.noBranch(typed)
	}
	_, here, _, _, err := s.repo.Head()
	if err != nil {
		return err
	}
	switch {
	case l.name == here && l.local != "":
		return refusef("Without --branch it is about what is saved here.", "%s is the branch that is at work here", l.name)
	case l.worktree != "":
		return refusef("Decide there: fettle -C "+hooks.Quote(l.worktree)+" approve", "%s is at work in another directory, %s", l.name, l.worktree)
	case s.repo.Rebased() == l.name:
		return refusef("End that first: git rebase --continue", "%s is in the middle of a rebase", l.name)
	}
	ours := s.committed.lib.Settings.Value
	there := s.partThere(l.tip)
	s.line, s.onLine, s.part, s.unsaved, s.committed = l, true, there, state{}, state{}
	if _, _, err = s.both(); err != nil && there != nil {
		s.part = nil
		_, _, err = s.both()
	}
	if err != nil {
		return err
	}
	st := &s.committed
	if set := st.lib.Settings.Value; set == nil || ours != nil && set.ID.V != ours.ID.V {
		return refusef("fettle review --branch "+hooks.Quote(clean(l.name)), "%s holds another library, or one whose %s cannot be read", l.name, schema.SettingsFile)
	}
	if len(st.lost) > 0 {
		return refusef("It has to keep every record that was saved before. What is broken: fettle review --branch "+hooks.Quote(clean(l.name)),
			"%s: %s: %s [%s]; nothing was decided", l.name, st.lost[0].Path, st.lost[0].Message, st.lost[0].Rule)
	}
	s.merged = []git.Snapshot{st.snap}
	return nil
}

// branchFlag is what commands say behind their name about the branch at hand.
func (s *shop) branchFlag() string {
	if s.line == nil {
		return ""
	}
	return " --branch " + hooks.Quote(clean(s.line.name))
}

// putOnBranch saves records on the branch at hand, by the verdict that the hook would come to. What was decided is told once it is.
func (s *shop) putOnBranch(records []*schema.Record, message string, send bool, tell func()) error {
	files := map[string][]byte{}
	var names []string
	was, now := s.side(&s.committed), s.side(&s.committed)
	for _, side := range []hooks.Side{was, now} { // what is saved here and not there counts, and does not come with this
		for p, hash := range side.Hashes {
			if hash == "" {
				side.Hashes[p] = "here"
			}
		}
	}
	for _, r := range records {
		files[s.path(r.Path)] = r.Bytes()
		names = append(names, r.Path)
		now.Hashes[r.Path] = "new"
	}
	all := s.committed.ledger.With(records)
	now.Ledger = all
	report := hooks.Examine(hooks.Case{Before: was, Now: now, Anchor: s.committed.anchor, At: s.now()})
	if blocking := report.Blocking(); len(blocking) > 0 {
		s.printEach(blocking)
		return refusef("", "nothing was saved on %s", s.line.name)
	}
	l := s.line
	now.Ledger = all.Without(func(r *schema.Record) bool { return now.Hashes[r.Path] == "here" })
	report = hooks.Examine(hooks.Case{Before: was, Now: now, Anchor: s.committed.anchor, At: s.now()})
	if slices.ContainsFunc(report.Blocking(), func(f lint.Finding) bool { return f.Rule == "no-trial" }) {
		name := hooks.Quote(clean(l.name))
		return refusef("Bring in there what is saved here, and decide there: git switch "+name+", git merge -, fettle approve, git push",
			"the trial that shows it is saved here and not on %s, so whoever takes that branch would not find it; nothing was decided", l.name)
	}
	options := s.commitOptions(records[0])
	before := *l
	hash, err := s.repo.CommitOn(l.name, l.tip, l.local, message, files, options)
	if err != nil {
		return fmt.Errorf("nothing was decided: %w", err)
	}
	l.tip, l.local = hash, hash
	var notShared error
	if send {
		if notShared = s.push(l); errors.Is(notShared, git.ErrBehind) { // what was decided did not have in sight what is there by now
			return s.takeBackOn(&before, l, notShared)
		}
	}
	s.committed.ledger = all
	s.committed.stand = s.judged(&s.committed)
	tell()
	for _, name := range names {
		s.say("saved    %s", name)
	}
	s.say("         on %s; the files here are as they were", l.name)
	switch {
	case notShared != nil:
		return notShared
	case send:
		s.say("shared   %s on %s", l.name, l.remote)
	default:
		s.sayUnsent(l)
	}
	return nil
}

// takeBackOn puts a branch back where it stood before a decision that could not be shared, since more is there than was looked at.
func (s *shop) takeBackOn(before, l *line, why error) error {
	if err := s.repo.MoveBranch(l.name, before.local, l.local); err != nil {
		return errors.Join(why, err)
	}
	*l = *before
	return refusef("git fetch, then look again: fettle review --branch "+hooks.Quote(clean(l.name)), "somebody shared more on %s meanwhile; nothing was decided", l.name)
}

// judged is the standing of a branch, chained from what is known here.
func (s *shop) judged(st *state) *history.Standing {
	id := ""
	if set := st.lib.Settings.Value; set != nil {
		id = set.ID.V
	}
	return st.ledger.Judge(id, st.anchor)
}

// sayUnsent says how a branch that is only here is shared.
func (s *shop) sayUnsent(l *line) {
	remote, err := s.remoteFor(l)
	if err != nil {
		s.say("         only on this PC so far; to share it: git remote add origin ADDRESS, then git push origin %s", l.typed())
		return
	}
	s.say("         not shared yet; to share it: git push %s %s", clean(remote), l.typed())
}

// remoteFor is the other repository that a branch is shared with.
func (s *shop) remoteFor(l *line) (string, error) {
	if l != nil && l.remote != "" {
		return l.remote, nil
	}
	return s.remote()
}

// remote is the other repository that this shop shares with: that of the branch at work, or the only one there is, or origin.
func (s *shop) remote() (string, error) {
	_, branch, _, _, err := s.repo.Head()
	if err != nil {
		return "", err
	}
	names, err := s.repo.Remotes()
	if err != nil {
		return "", err
	}
	if branch != "" {
		if name, ok, err := s.repo.Config("branch." + branch + ".remote"); err == nil && ok && slices.Contains(names, name) {
			return name, nil
		}
	}
	switch {
	case len(names) == 1, slices.Contains(names, "origin"):
		if slices.Contains(names, "origin") {
			return "origin", nil
		}
		return names[0], nil
	case len(names) == 0:
		return "", refusef("Where the shop keeps it: git remote add origin ADDRESS", "there is no other repository to share with yet")
	}
	return "", refusef("Say which one is the shop's: git config branch."+hooks.Quote(branch)+".remote NAME\nKnown here: "+clean(strings.Join(names, ", ")),
		"there are %d other repositories, and nothing says which one this branch is shared with", len(names))
}

// push shares a branch as it stands here.
func (s *shop) push(l *line) error {
	remote, err := s.remoteFor(l)
	if err != nil {
		return err
	}
	if err := s.repo.Push(remote, l.tip, l.name, &heard{to: s.err}); err != nil {
		return notPushed(err)
	}
	l.remote, l.shared = remote, l.tip
	return nil
}

// notPushed says what it means that something was not shared. The record is saved here all the same.
func notPushed(err error) error {
	var g *git.Error
	if errors.As(err, &g) && errors.Is(err, git.ErrNotTaken) {
		return &refusal{g.What, "It is saved here, and nothing of it is lost. What was said against it stands above."}
	}
	if errors.As(err, &g) && errors.Is(err, git.ErrUnreached) {
		return &trouble{errors.New(g.What), g.Help + "\nIt is saved here, and nothing of it is lost."}
	}
	return err
}

// heard passes on what a server and hooks say of a push, without what git says around it.
type heard struct {
	to   io.Writer
	rest string
}

func (h *heard) Write(p []byte) (int, error) {
	h.rest += string(p)
	for {
		text, rest, whole := strings.Cut(h.rest, "\n")
		if !whole {
			return len(p), nil
		}
		h.rest = rest
		text = strings.TrimRight(text, " \r")
		if noise := strings.HasPrefix(text, "error: failed to push") || strings.HasPrefix(text, "hint: ") || strings.HasPrefix(text, "fatal: ") ||
			text == "remote:" || text == ""; !noise {
			fmt.Fprintln(h.to, clean(text))
		}
	}
}
