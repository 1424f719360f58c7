package main

import (
	"bufio"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/hooks"
	"fettle/schema"
)

// why is what a person says of a change.
type why struct {
	text, cause string
	ruledOut    []string
	trials      []string
}

func (w *why) flags(cmd *cobra.Command) {
	cmd.Flags().StringVar(&w.text, "because", "", "why, in your own words")
	cmd.Flags().StringVar(&w.cause, "cause", "", "one of: "+strings.Join(schema.Causes, ", "))
	cmd.Flags().StringSliceVar(&w.ruledOut, "ruled-out", nil, "what was checked and found good before, from: "+strings.Join(schema.RuledOut, ", "))
	cmd.Flags().StringSliceVar(&w.trials, "trial", nil, "trial records that support it; those of the new values are found without")
	cmd.RegisterFlagCompletionFunc("cause", cobra.FixedCompletions(schema.Causes, cobra.ShellCompDirectiveNoFileComp))
	cmd.RegisterFlagCompletionFunc("ruled-out", cobra.FixedCompletions(schema.RuledOut, cobra.ShellCompDirectiveNoFileComp))
}

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		var w why
		cmd := &cobra.Command{Use: "reason [ID...]", Short: "say why the unsaved changes were made; the next commit saves it with them",
			Long: "Writes down why the unsaved changes were made and stages that. To save changes and reason in one go: fettle save.\n" +
				"Where there are none, or for a condition without one, it explains what was saved past the check.\n" +
				"Before a known condition is changed, look elsewhere first: the wrong condition loaded, nozzle worn or off centre, line pressure,\n" +
				"protective window, plate. What was checked goes into --ruled-out.",
			ValidArgsFunction: a.complete(inFiles),
			RunE: func(cmd *cobra.Command, args []string) error {
				s, err := a.open()
				if err != nil {
					return err
				}
				var many []row
				if s.meant(args, onRecord|unsaved, inFiles|inSaved); len(args) == 0 {
					if many, err = s.aboutOpen(); err != nil {
						return err
					}
				}
				var r *schema.Record
				if len(many) > 0 && len(w.trials) == 0 {
					r, err = s.reasonForMany(many, &w)
				} else {
					r, err = s.reasonForSaved(args, &w)
				}
				if r == nil && err == nil {
					r, err = s.stagedReason(args, w)
				}
				if err != nil {
					return err
				}
				if err := s.repo.Add(s.path(r.Path)); err != nil {
					return err
				}
				s.say("reason   %s is staged; save it with the change: fettle save", r.Path)
				return nil
			}}
		w.flags(cmd)
		return cmd
	})
}

// ask fills in what the flags left open, where somebody sits at the terminal.
func (s *shop) ask(w *why, differences []history.Difference) error {
	s.fromTriage(w, differences)
	if s.terminal && (w.cause == "" || w.text == "") {
		s.askWhy(w, differences)
	}
	if w.cause == "" {
		return refusef("Add --cause WORD --because \"...\", with WORD one of:\n"+strings.Join(schema.Causes, ", "), "a change needs a reason, and none was given")
	}
	if strings.TrimSpace(w.text) == "" {
		return refusef("Add --because \"...\" in your own words.", "cause %s says what kind of change it is; why it was made is missing", w.cause)
	}
	return w.check()
}

// askWhy asks on a terminal, and asks again where a word is mistyped: nothing that was typed before is lost.
func (s *shop) askWhy(w *why, differences []history.Difference) {
	q := &questions{s, bufio.NewReader(s.in)}
	for _, d := range differences {
		s.say("%s", d.ID)
		s.printChanges(d.Fields)
	}
	if w.cause == "" {
		for i, c := range schema.Causes {
			s.say("  %2d  %s", i+1, c)
		}
		q.ask("Why? (number or word)", "", func(answer string) string {
			w.cause = answer
			if n, err := strconv.Atoi(answer); err == nil && n >= 1 && n <= len(schema.Causes) {
				w.cause = schema.Causes[n-1]
			}
			if slices.Contains(schema.Causes, w.cause) {
				return ""
			}
			w.cause = ""
			if near := schema.Nearest(answer, schema.Causes); near != "" {
				return "Did you mean " + near + "?"
			}
			return "One of the words above, or its number."
		})
	}
	if w.text == "" {
		q.ask("In your own words", "", func(answer string) string {
			if w.text = answer; answer == "" {
				return "A few words are needed: why, for whoever reads it in a year."
			}
			return ""
		})
	}
	if schema.FaultCauses[w.cause] && len(w.ruledOut) == 0 {
		s.say("  %s", strings.Join(schema.RuledOut, ", "))
		q.ask("What was checked and found good before? (words; empty for nothing)", "", func(answer string) string {
			w.ruledOut = strings.FieldsFunc(answer, func(r rune) bool { return r == ',' || r == ' ' })
			for _, word := range w.ruledOut {
				if !slices.Contains(schema.RuledOut, word) {
					if near := schema.Nearest(word, schema.RuledOut); near != "" {
						return fmt.Sprintf("%q is none of these words. Did you mean %s?", word, near)
					}
					return fmt.Sprintf("%q is none of these words.", word)
				}
			}
			return ""
		})
	}
}

func (w *why) check() error {
	if !slices.Contains(schema.Causes, w.cause) {
		return troublef(didYouMean(w.cause, schema.Causes), "%q is not a cause", w.cause)
	}
	for _, word := range w.ruledOut {
		if !slices.Contains(schema.RuledOut, word) {
			return troublef(didYouMean(word, schema.RuledOut), "%q is not a word for what was ruled out", word)
		}
	}
	return nil
}

func didYouMean(word string, words []string) string {
	help := "Known: " + strings.Join(words, ", ")
	if near := schema.Nearest(word, words); near != "" {
		help = "Did you mean " + near + "?\n" + help
	}
	return help
}

func prompt(s *shop, in *bufio.Reader, question string) string {
	fmt.Fprintf(s.out, "%s: ", question)
	line, _ := in.ReadString('\n')
	return strings.TrimSpace(line)
}

// unsavedChanges returns what a commit of the edits would change, restricted to the ids where some are given.
func (s *shop) unsavedChanges(typed []string) ([]history.Difference, error) {
	work, saved, err := s.both()
	if err != nil {
		return nil, err
	}
	differences := history.Compare(saved, work)
	if len(typed) == 0 {
		return differences, nil
	}
	ids, err := s.resolve(typed, s.ids(inFiles|inSaved))
	if err != nil {
		return nil, err
	}
	var out []history.Difference
	for _, id := range ids {
		i := slices.IndexFunc(differences, func(d history.Difference) bool { return d.ID == id })
		if i >= 0 {
			out = append(out, differences[i])
		} else if len(ids) == len(typed) {
			return nil, refusef("fettle status shows what is.", "%s has no unsaved change", id)
		}
	}
	return out, nil
}

// writeReason writes the reason for the unsaved changes, in place of one for the same conditions that is not saved yet.
func (s *shop) writeReason(typed []string, w why) (*schema.Record, error) {
	differences, err := s.unsavedChanges(typed)
	if err != nil {
		return nil, err
	}
	for _, d := range differences {
		if unread(s.unsaved.lib, d) {
			return nil, s.mendFirst(d.Before.File.Path)
		}
	}
	differences = slices.DeleteFunc(differences, func(d history.Difference) bool { return d.NoteOnly })
	if len(differences) == 0 {
		return nil, refusef("fettle status shows how things stand.", "no recipe has unsaved changes, so there is nothing to give a reason for")
	}
	if err := s.ask(&w, differences); err != nil {
		return nil, err
	}
	r, err := s.makeReason(differences, w)
	if err != nil {
		return nil, err
	}
	replaced, err := s.replacedBy(r)
	if err != nil {
		return nil, err
	}
	if err := s.write(r.Path, r.Bytes()); err != nil {
		return nil, err
	}
	for _, old := range replaced {
		if err := s.remove(old.Path); err != nil {
			return nil, err
		}
		s.say("replaced the reason of %s that was not saved yet", s.day(old.Time()))
	}
	_, err = s.work()
	return r, err
}

// unexplained are the saved conditions that lack a reason.
func (s *shop) unexplained() ([]hooks.Unexplained, error) {
	if _, err := s.saved(); err != nil {
		return nil, err
	}
	out, err := hooks.UnexplainedIn(s.repo, s.sub, "HEAD", hooks.Side{Lib: s.committed.lib, Ledger: s.committed.ledger}, s.standing(&s.committed))
	if s.part != nil { // what is on record of others may be at hand, and they are not
		out = slices.DeleteFunc(out, func(u hooks.Unexplained) bool { return !s.part.where(u.ID.Machine, u.ID.Material, u.ID.Gas) })
	}
	return out, err
}

// reasonForSaved writes the reason for changes that were saved without one, past the check. It returns nil where what was named has
// unsaved changes, which come first, or nothing lacks a reason.
func (s *shop) reasonForSaved(typed []string, w *why) (*schema.Record, error) {
	work, saved, err := s.both()
	if err != nil {
		return nil, err
	}
	open, err := s.unexplained()
	if err != nil || len(open) == 0 {
		return nil, err
	}
	differences := history.Compare(saved, work)
	if len(typed) == 0 && len(differences) > 0 {
		return nil, nil
	}
	if len(typed) > 0 {
		ids, err := s.resolve(typed, s.ids(inFiles|inSaved))
		if err != nil {
			return nil, err
		}
		unsaved := slices.ContainsFunc(differences, func(d history.Difference) bool { return slices.Contains(ids, d.ID) })
		if open = slices.DeleteFunc(open, func(u hooks.Unexplained) bool { return !slices.Contains(ids, u.ID) }); unsaved || len(open) == 0 {
			return nil, nil
		}
	}
	r, err := s.reasonForOpen(open, w, nil)
	if err != nil {
		return nil, err
	}
	return r, s.write(r.Path, r.Bytes())
}

// reasonForOpen makes the reason for changes that were saved without one. follows are the decisions that it was made in sight of, nil where
// they are to be looked for.
func (s *shop) reasonForOpen(open []hooks.Unexplained, w *why, follows []string) (*schema.Record, error) {
	changes := make([]schema.Change, len(open))
	for i, u := range open {
		s.say("%s is saved without a reason", u.ID)
		changes[i] = schema.Change{ID: schema.Of(u.ID.String()), From: schema.Of(string(u.From)), To: schema.Of(string(u.To))}
	}
	if err := s.ask(w, nil); err != nil {
		return nil, err
	}
	return s.reasonFor(changes, nil, follows, *w)
}

// reasonForMany is reasonForSaved for so many conditions that their sets are read a few at a time, where no more than the frame of the library
// was read.
func (s *shop) reasonForMany(rows []row, w *why) (*schema.Record, error) {
	open := make([]hooks.Unexplained, 0, len(rows))
	follows := map[string]bool{}
	for chunk := range chunksOfSets(rows, setsAtOnce*manyInSet) {
		s.bar.tell(len(open), len(rows))
		q := s.within(s.part.origin.ofSets(setsOf(chunk)))
		if _, _, err := q.both(); err != nil {
			return s.reasonForAll(w)
		}
		more, err := q.unexplained()
		if err != nil {
			return s.reasonForAll(w)
		}
		var about []schema.Subject
		for _, u := range more {
			about = append(about, schema.Subject{Kind: schema.Of(schema.SubjectCondition), ID: schema.Of(u.ID.String())})
			open = append(open, hooks.Unexplained{ID: u.ID.Apart(), From: schema.Digest(strings.Clone(string(u.From))), To: schema.Digest(strings.Clone(string(u.To)))})
		}
		for _, digest := range q.standing(&q.unsaved).Follow(schema.KindReason, about) {
			if !follows[digest] {
				follows[strings.Clone(digest)] = true
			}
		}
	}
	s.bar.end()
	if len(open) == 0 {
		return nil, nil
	}
	r, err := s.reasonForOpen(open, w, slices.AppendSeq([]string{}, maps.Keys(follows)))
	if err != nil {
		return nil, err
	}
	return r, s.write(r.Path, r.Bytes())
}

// manyInSet is about how many conditions a large set has.
const manyInSet = 50

// reasonForAll is reasonForSaved where only the whole library can tell.
func (s *shop) reasonForAll(w *why) (*schema.Record, error) {
	s.wholly()
	return s.reasonForSaved(nil, w)
}

// stagedReason is writeReason for a commit that somebody makes with git: what is staged of the edits must be all of them.
func (s *shop) stagedReason(typed []string, w why) (*schema.Record, error) {
	differences, err := s.unsavedChanges(typed)
	if err != nil {
		return nil, err
	}
	if err := s.sameAsStaged(differences); err != nil {
		return nil, err
	}
	return s.writeReason(typed, w)
}

// sameAsStaged refuses where part of an edit is staged and part is not: then it is not clear which of the two the reason is for.
func (s *shop) sameAsStaged(differences []history.Difference) error {
	snap, err := s.repo.Index(s.sub)
	if err != nil {
		return err
	}
	// A file that is staged as it was saved holds what is saved. So of these only those are read that the edits were made in.
	read := map[string]bool{}
	for _, file := range snap.Files() {
		read[file] = !schema.IsSetPath(file) || s.committed.snap.Hash(file) != snap.Hash(file)
	}
	for _, d := range differences {
		for _, r := range []*schema.Recipe{d.Before, d.After} {
			if r != nil {
				read[r.File.Path] = true
			}
		}
	}
	staged, err := schema.ReadLibrary(only{snap, read})
	if err != nil {
		return err
	}
	for _, d := range differences {
		from, to := d.Digests()
		between := schema.Digest("")
		if r := staged.Recipe(d.ID); r != nil {
			between = r.Digest()
		}
		if between != from && between != to {
			return refusef("Stage the whole edit (git add), or save all of it: fettle save "+d.ID.String(), "of %s one edit is staged and another one lies in the file; it is not clear which the reason is for", d.ID)
		}
	}
	return nil
}

func (s *shop) makeReason(differences []history.Difference, w why) (*schema.Record, error) {
	var changes []schema.Change
	for _, d := range differences {
		from, to := d.Digests()
		changes = append(changes, schema.Change{ID: schema.Of(d.ID.String()), From: schema.Of(string(from)), To: schema.Of(string(to))})
	}
	return s.reasonFor(changes, differences, nil, w)
}

func (s *shop) reasonFor(changes []schema.Change, differences []history.Difference, follows []string, w why) (*schema.Record, error) {
	work, err := s.work()
	if err != nil {
		return nil, err
	}
	common, err := s.common(work, schema.KindReason, w.text)
	if err != nil {
		return nil, err
	}
	reason := &schema.Reason{Common: common, Cause: schema.Of(w.cause), Changes: schema.Of(changes)}
	if follows == nil {
		about := make([]schema.Subject, len(changes))
		for i, c := range changes {
			about[i] = schema.Subject{Kind: schema.Of(c.Kind.Or(schema.SubjectCondition)), ID: c.ID}
		}
		follows = s.standing(&s.unsaved).Follow(schema.KindReason, about)
	}
	if len(follows) > 0 {
		slices.Sort(follows)
		reason.Follows = schema.Of(follows)
	}
	if len(w.ruledOut) > 0 {
		reason.RuledOut = schema.Of(w.ruledOut)
	}
	trials, err := s.supporting(w.trials, differences)
	if err != nil {
		return nil, err
	}
	if len(trials) > 0 {
		reason.Trials = schema.Of(trials)
	}
	if s.standing(&s.unsaved).Policy(work.Policy()).SignedChangesRequired() {
		return s.sign(reason)
	}
	return schema.NewRecord(reason), nil
}

// supporting returns the digests of the trials named, or else of those that cover the changes.
func (s *shop) supporting(named []string, differences []history.Difference) ([]string, error) {
	ledger := s.unsaved.ledger
	var out []string
	for _, name := range named {
		r, err := ledger.Find(name)
		if err != nil {
			return nil, troublef("fettle trial show lists them.", "%w", err)
		}
		if r.Kind != schema.KindTrial {
			return nil, troublef("", "%s is a record of kind %s, no trial", name, r.Kind)
		}
		out = append(out, string(r.Digest))
	}
	if len(named) > 0 {
		return out, nil
	}
	for _, d := range differences {
		if d.After == nil {
			continue
		}
		covering, _ := ledger.Covers(d.ID, valuesOf(d.Before), d.After.Values(), s.jet(d.ID))
		for _, t := range covering {
			if !slices.Contains(out, string(t.Digest)) {
				out = append(out, string(t.Digest))
			}
		}
	}
	slices.Sort(out)
	return out, nil
}

// jet is what of the machine as it is now shapes the cut of a condition.
func (s *shop) jet(id schema.ID) schema.BeamAndJet {
	if m := s.unsaved.lib.Machine(id.Machine); m != nil {
		return m.BeamAndJet(id.Gas)
	}
	return schema.BeamAndJet{}
}

// replacedBy are the reasons that are not saved yet and whose changes the new one explains as well.
func (s *shop) replacedBy(r *schema.Record) ([]*schema.Record, error) {
	var out []*schema.Record
	for _, old := range history.Bodies[*schema.Reason](s.unsaved.ledger) {
		if saved, err := s.isSaved(old.Record.Path); err != nil {
			return nil, err
		} else if saved || old.Record.Digest == r.Digest {
			continue
		}
		covered := true
		for _, c := range old.Body.Changes.V {
			covered = covered && slices.ContainsFunc(r.Body.(*schema.Reason).Changes.V, func(n schema.Change) bool { return n.ID.V == c.ID.V })
		}
		if covered {
			out = append(out, old.Record)
		}
	}
	return out, nil
}
