package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/history/git"
	"fettle/history/triage"
	"fettle/hooks"
	"fettle/lint"
	"fettle/schema"
	"fettle/schema/quantity"
)

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		var w why
		cmd := &cobra.Command{Use: "save [ID...]", Short: "check, give the reason, and save edits and reason together",
			Example:           "  fettle save 10mm --cause quality-target --because 'dross on the back edge' --ruled-out nozzle-wear,nozzle-centring",
			ValidArgsFunction: a.complete(inFiles),
			RunE:              func(cmd *cobra.Command, args []string) error { return a.save(args, w) }}
		w.flags(cmd)
		return cmd
	})
}

// remove deletes a record that is not saved yet, from what is staged and then from disk: git may fail, and then nothing is lost.
func (s *shop) remove(path string) error {
	if err := s.repo.Unstage(s.path(path)); err != nil {
		return err
	}
	if err := os.Remove(filepath.Join(s.root, filepath.FromSlash(path))); err != nil {
		return cannotWrite(path, err)
	}
	s.rewritten()
	_, err := s.work()
	return err
}

func (a *app) save(typed []string, w why) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	if err := s.aboutUnsaved(typed); err != nil {
		return err
	}
	differences, err := s.unsavedChanges(typed)
	if err != nil {
		return err
	}
	paths, others, err := s.pathsToSave(typed, differences)
	if err != nil {
		return err
	}
	if len(paths) == 0 {
		return refusef("fettle status shows how things stand.", "there is nothing to save")
	}
	if len(others) > 0 {
		return refusef("Save them together (name them too), or put them back first.", "the same file holds unsaved changes of %s", strings.Join(others, ", "))
	}
	if _, _, err := s.repo.Identity(); err != nil && s.by == "" {
		return err
	}
	if err := s.blockedBefore(paths); err != nil {
		return err
	}
	record, err := s.reasonToSave(typed, differences, w)
	if err != nil {
		return err
	}
	if err := s.formatFiles(paths); err != nil {
		return err
	}
	message := s.saveMessage(differences, record, paths)
	files := slices.Clone(paths)
	if record != nil {
		if paths, _, err = s.pathsToSave(typed, differences); err != nil { // a reason that this one replaces is gone
			return err
		}
		if !slices.Contains(paths, record.Path) {
			paths = append(paths, record.Path)
		}
	}
	full := make([]string, len(paths))
	for i, p := range paths {
		full[i] = s.path(p)
	}
	if err := s.settled(full); err != nil {
		return err
	}
	_, err = s.repo.CommitPaths(message, full, s.commitOptions(record))
	switch {
	case errors.Is(err, git.ErrStagedOnly):
		s.sayStaged("these edits")
		return nil
	case err != nil:
		return fmt.Errorf("nothing was saved; your edits%s are still there: %w", map[bool]string{true: " and the reason"}[record != nil], err)
	}
	s.advanced()
	s.narrow(onRecord, func(o *origin) *part { return o.of(history.Touched(differences), onRecord) })
	return s.sayedSaved(differences, files)
}

// settled tells git that what a merge left open in these files is settled: no marks of a conflict are in them any more.
func (s *shop) settled(full []string) error {
	changed, err := s.repo.Status(full...)
	if err != nil {
		return err
	}
	var open []string
	for _, f := range changed {
		if f.Unmerged {
			open = append(open, f.Path)
		}
	}
	if len(open) == 0 {
		return nil
	}
	return s.repo.Add(open...)
}

func (s *shop) sayedSaved(differences []history.Difference, files []string) error {
	s.saySaved(differences)
	if len(differences) == 0 {
		for _, p := range files {
			s.say("saved    %s", p)
		}
	}
	if _, err := s.saved(); err != nil {
		return err
	}
	standing := s.standing(&s.committed)
	waits := slices.ContainsFunc(differences, func(d history.Difference) bool {
		return standing.Position(s.committed.lib, d.ID).Status != history.Approved
	}) || len(differences) == 0 && len(standing.Others(s.committed.lib)) > 0
	s.sayShared(waits && standing.Anchor != nil)
	switch {
	case !s.holdsAny():
		s.say("next     fettle import FILE   (a spreadsheet saved as CSV; fettle import --template shows one)")
	case standing.Anchor == nil:
		s.say("next     fettle adopt --because \"...\"   (once it is as the shop cuts)")
	case waits:
		s.say("next     fettle review   (it waits for a decision)")
	case len(differences) > 0:
		s.say("         approved as it stands; nothing is left to decide")
	}
	return nil
}

// saySaved lists what was saved. New and removed conditions are counted by their family where there are many.
func (s *shop) saySaved(differences []history.Difference) {
	const most = 8
	count, families := map[string]int{}, []string{}
	for _, d := range differences {
		if word := newOrGone(d); word != "" {
			key := d.ID.Family() + "   " + word
			if count[key]++; count[key] == 1 {
				families = append(families, key)
			}
		}
	}
	if len(differences) > most {
		for _, key := range families {
			family, word, _ := strings.Cut(key, "   ")
			s.say("saved    %s: %d %s", family, count[key], word)
		}
	}
	shown := 0
	for _, d := range differences {
		switch word := newOrGone(d); {
		case word != "" && len(differences) > most:
		case word != "":
			s.say("saved    %s   %s", d.ID, word)
		case shown == most:
			s.say("         and more; fettle review shows them")
			return
		default:
			shown++
			s.say("saved    %s", d.ID)
			s.printChanges(d.Fields)
		}
	}
}

func newOrGone(d history.Difference) string {
	switch {
	case d.Before == nil:
		return "new"
	case d.After == nil:
		return "removed"
	}
	return ""
}

// pathsToSave returns the files of the library that go into the commit, and ids that would go with them without having been named.
func (s *shop) pathsToSave(typed []string, differences []history.Difference) (paths, others []string, err error) {
	changed, err := s.repo.Status(s.libraryPaths()...)
	if err != nil {
		return nil, nil, err
	}
	wanted := map[string]bool{}
	for _, d := range differences {
		for _, r := range []*schema.Recipe{d.Before, d.After} {
			if r != nil {
				wanted[r.File.Path] = true
			}
		}
	}
	for _, file := range changed {
		p := s.fromTop(file.Path)
		if len(typed) == 0 && (!schema.IsRecordPath(p) || !file.Untracked || strings.Contains(p, "-reason-") || strings.Contains(p, "-trial-")) || wanted[p] {
			paths = append(paths, p) // a saved record that was altered too: the check says how it comes back
		}
	}
	if len(typed) == 0 {
		return paths, nil, nil
	}
	all, err := s.unsavedChanges(nil)
	if err != nil {
		return nil, nil, err
	}
	for _, d := range all {
		named := slices.ContainsFunc(differences, func(n history.Difference) bool { return n.ID == d.ID })
		r := d.After
		if r == nil {
			r = d.Before
		}
		if !named && wanted[r.File.Path] {
			others = append(others, d.ID.String())
		}
	}
	return paths, others, nil
}

// libraryPaths are the files and directories that make up the library.
func (s *shop) libraryPaths() []string {
	var out []string
	for _, p := range []string{schema.SettingsFile, "machines", "sets", "trials", "records", schema.RosterFile, schema.PeopleFile, hooks.AttributesFile, triage.LibraryFile} {
		out = append(out, s.path(p))
	}
	return out
}

// formatFiles brings the files that are to be saved into the house layout.
func (s *shop) formatFiles(paths []string) error {
	for _, p := range paths {
		if !strings.HasSuffix(p, ".json") || schema.IsRecordPath(p) {
			continue
		}
		data, err := os.ReadFile(filepath.Join(s.root, filepath.FromSlash(p)))
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		if err != nil {
			return cannotRead(p, err)
		}
		f := schema.ReadFile(p, data)
		if !f.IsObject() {
			continue // lint says what is wrong
		}
		if laid := schema.Layout(f.Root()); string(laid) != string(data) {
			if err := s.write(p, laid); err != nil {
				return err
			}
		}
	}
	return nil
}

func cannotRead(path string, err error) error {
	return troublef("", "%s could not be read: %w", path, err)
}

// blockedBefore shows warnings, and errors that stop the save of these files, before anything is asked or written. What is wrong in others is not
// part of it; what is missing of a reason comes later.
func (s *shop) blockedBefore(paths []string) error {
	coming, err := s.coming(paths)
	if err != nil {
		return err
	}
	report, err := s.examineState(coming, false)
	if err != nil {
		return err
	}
	report.Findings = slices.DeleteFunc(report.Findings, isAboutReasons)
	if len(report.Blocking()) == 0 {
		s.printEach(slices.DeleteFunc(slices.Clone(report.New().Findings), func(f lint.Finding) bool { return f.Severity != lint.Warning }))
		return nil
	}
	s.printEach(report.Blocking())
	s.say("nothing was saved; the edits are still in the file")
	for _, f := range report.Blocking() {
		if f.Rule == history.RuleRecordAltered || f.Rule == history.RuleRecordRemoved {
			s.say("next     git checkout HEAD -- %s", s.forGit(f.Path))
		}
	}
	return errFound
}

// examine judges the unsaved state against the last commit, as the hook will.
func (s *shop) examine(full bool) (hooks.Report, error) {
	if _, _, err := s.both(); err != nil {
		return hooks.Report{}, err
	}
	return s.examineState(&s.unsaved, full)
}

func (s *shop) examineState(now *state, full bool) (hooks.Report, error) {
	anchor, _, err := s.repo.Config("fettle.anchor")
	if err != nil {
		return hooks.Report{}, err
	}
	before := s.side(&s.committed)
	for _, r := range now.ledger.Records { // a part may know less of what is saved beside it
		if hash := s.committed.snap.Hash(r.Path); hash != "" {
			before.Hashes[r.Path] = hash
		}
	}
	return hooks.Examine(hooks.Case{Before: before, Now: s.side(now), Anchor: anchor, At: s.now(), Full: full}), nil
}

func (s *shop) side(st *state) hooks.Side {
	side := hooks.Side{Lib: st.lib, Ledger: st.ledger, Hashes: map[string]string{}}
	for _, r := range st.ledger.Records {
		side.Hashes[r.Path] = st.snap.Hash(r.Path)
	}
	return side
}

// reasonToSave writes the reason where one is needed and none explains the changes yet.
func (s *shop) reasonToSave(typed []string, differences []history.Difference, w why) (*schema.Record, error) {
	report, err := s.examine(false)
	if err != nil {
		return nil, err
	}
	var open []string
	for _, c := range report.Changes {
		named := slices.ContainsFunc(differences, func(d history.Difference) bool { return d.ID == c.ID })
		if named && (!c.Reasoned || w.cause != "" && s.standing(&s.unsaved).Anchor != nil) {
			open = append(open, c.ID.String())
		}
	}
	if len(open) > 0 {
		return s.writeReason(open, w)
	}
	// A reason that lies there and is not saved yet goes along.
	if _, err := s.work(); err != nil {
		return nil, err
	}
	for _, r := range history.Bodies[*schema.Reason](s.unsaved.ledger) {
		if s.committed.ledger.Get(r.Record.Digest) != nil {
			continue
		}
		for _, c := range r.Body.Changes.V {
			if slices.ContainsFunc(differences, func(d history.Difference) bool { return d.ID.String() == c.ID.V }) {
				return r.Record, nil
			}
		}
	}
	return nil, nil
}

// saveMessage is the commit message: what changed and why, for people who read the log.
func (s *shop) saveMessage(differences []history.Difference, r *schema.Record, paths []string) string {
	switch {
	case len(differences) > 0:
	case len(paths) > 3:
		return fmt.Sprintf("Change %d files\n\n    %s\n", len(paths), strings.Join(paths[:min(len(paths), 40)], "\n    "))
	default:
		return "Change " + strings.Join(paths, ", ") + "\n"
	}
	var reasons []*schema.Reason
	if r != nil {
		reasons = append(reasons, r.Body.(*schema.Reason))
	}
	m := summarize(differences, reasons, s.prefs())
	return strings.TrimRight(m.Title+"\n\n"+m.Body, "\n") + "\n"
}

// summarize is what the message of a commit says of conditions that change by it, and why.
func summarize(differences []history.Difference, reasons []*schema.Reason, prefs quantity.Prefs) hooks.Summary {
	m := hooks.Summary{}
	verb := "Change"
	switch {
	case !slices.ContainsFunc(differences, func(d history.Difference) bool { return d.Before != nil }):
		verb = "Add"
	case !slices.ContainsFunc(differences, func(d history.Difference) bool { return d.After != nil }):
		verb = "Remove"
	}
	m.Title = fmt.Sprintf("%s %d conditions", verb, len(differences))
	if len(differences) == 1 {
		m.Title = fmt.Sprintf("%s %s", verb, differences[0].ID)
	}
	var b strings.Builder
	const most = 40 // conditions that a message lists; the records hold the rest
	for i, d := range differences {
		if i == most {
			fmt.Fprintf(&b, "and %d more\n", len(differences)-most)
			break
		}
		if word := newOrGone(d); len(differences) > 1 && word != "" {
			fmt.Fprintf(&b, "%s   %s\n", d.ID, word)
		} else if len(differences) > 1 {
			fmt.Fprintf(&b, "%s\n", d.ID)
		}
		if d.Before != nil && d.After != nil {
			for _, line := range changeLines(d.Fields, prefs) {
				fmt.Fprintf(&b, "    %s\n", line)
			}
		}
	}
	for i, reason := range reasons {
		if i == most {
			fmt.Fprintf(&b, "and %d more reasons\n", len(reasons)-most)
			break
		}
		if i == 0 && b.Len() > 0 {
			b.WriteString("\n")
		}
		fmt.Fprintf(&b, "%s: %s\n", reason.Cause.V, strings.ReplaceAll(clean(reason.Text.V), "\n", "\n    ")) // indented, no line is a comment
	}
	m.Body = b.String()
	return m
}
