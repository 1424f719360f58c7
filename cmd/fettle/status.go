package main

import (
	"errors"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/fettle/view"
	"fettle/history"
	"fettle/history/git"
	"fettle/hooks"
	"fettle/lint"
	"fettle/schema"
)

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		return &cobra.Command{Use: "status", Short: "what is unsaved, unexplained, undecided or not shared, and the next command for each", Args: noArgs,
			RunE: func(cmd *cobra.Command, args []string) error { return a.status(true) }}
	})
}

// statusReport is status for programs.
type statusReport struct {
	Format     int      `json:"format"`
	Library    string   `json:"library"`
	Directory  string   `json:"directory"`
	Conditions int      `json:"conditions"`
	Adopted    bool     `json:"adopted"`
	Unsaved    []string `json:"unsaved"`
	Files      []string `json:"files_not_saved"`
	NoReason   []string `json:"no_reason"`
	NotSaved   []string `json:"records_not_saved"`
	Saved      int      `json:"saved_conditions"`
	Waiting    []string `json:"waiting"`
	Rejected   []string `json:"rejected"`
	Others     []string `json:"others_waiting"`
	Errors     int      `json:"errors"`
	Ahead      int      `json:"not_shared"`
	Behind     int      `json:"behind"` // saved by others and fetched, not yet taken in here
	Past       []string `json:"saved_without_reason"`
	PastErrors int      `json:"saved_errors"`
	Hooks      []string `json:"hooks_missing"`
	Trouble    string   `json:"trouble"`
	UnderWay   string   `json:"under_way"` // what git is in the middle of: merge, rebase and so on
	Conflicts  []string `json:"conflicts"` // files that hold both versions
	NoBranch   bool     `json:"no_branch"` // what is saved here is on no branch
	Trials     []string `json:"open_trials"`
	trialNext  string
	Sent       []jsonSent `json:"sent"` // branches that were sent for a decision and are not all here
	sent       []view.Row
}

// status says how things stand. Without a library and without a command it tells how to begin.
func (a *app) status(asked bool) error {
	if err := a.oneOf("text", "json"); err != nil {
		return err
	}
	s, err := a.open()
	if err != nil {
		if asked || a.format != "text" || !errors.Is(err, git.ErrNotRepository) && !errors.Is(err, errNoLibrary) {
			return err
		}
		a.say("fettle keeps the laser cut conditions of a shop as reviewed text in git.\n")
		a.say("  a sample shop with a history     fettle demo")
		a.say("  a library of your own            fettle init")
		a.say("  all commands                     fettle --help\n")
		dir, _ := filepath.Abs(a.dir)
		return troublef("", "there is no library in %s, nor above it", dir)
	}
	report, err := s.report()
	if err != nil {
		return err
	}
	if a.format == "json" {
		return a.json(report)
	}
	s.printStatus(report)
	return nil
}

func (s *shop) report() (*statusReport, error) {
	s.apart()
	work, saved, err := s.both()
	if err != nil {
		return nil, err
	}
	r := &statusReport{Format: 1, Directory: s.root, Unsaved: []string{}, Files: []string{}, NoReason: []string{}, NotSaved: []string{},
		Waiting: []string{}, Others: []string{}, Hooks: []string{}, Conflicts: []string{}, Past: []string{}, Trials: []string{}}
	if set := work.Settings.Value; set != nil {
		r.Library = set.Name.V
	}
	standing := s.standing(&s.committed)
	r.Adopted, r.Trouble = standing.Anchor != nil, standing.Trouble
	verdict, unread, err := s.verdict()
	if err != nil {
		return nil, err
	}
	r.Errors = len(slices.DeleteFunc(verdict.Blocking(), isAboutReasons)) // what lacks a reason has a line of its own
	for _, f := range verdict.Findings {
		if f.Old && f.Severity == lint.Error {
			r.PastErrors++
		}
	}
	if err := s.stands(r); err != nil {
		return nil, err
	}
	hidden := map[schema.ID]bool{}
	for _, d := range verdict.Differences {
		if hidden[d.ID] = unread(d); !hidden[d.ID] {
			r.Unsaved = append(r.Unsaved, d.ID.String())
		}
	}
	known := slices.DeleteFunc(slices.Clone(verdict.Differences), func(d history.Difference) bool { return hidden[d.ID] })
	if err := s.unsavedFiles(r, known); err != nil {
		return nil, err
	}
	for _, c := range verdict.Changes {
		if !c.Reasoned && !hidden[c.ID] {
			r.NoReason = append(r.NoReason, c.ID.String())
		}
	}
	records, err := s.newRecords()
	if err != nil {
		return nil, err
	}
	for _, rec := range records {
		r.NotSaved = append(r.NotSaved, rec.Path)
	}
	if err := s.underWay(r); err != nil {
		return nil, err
	}
	if r.Adopted {
		for _, p := range standing.Others(saved) {
			r.Others = append(r.Others, strings.TrimSuffix(p.Kind+" "+p.Name, " "+p.Kind))
		}
	}
	if ahead, behind, _, ok, err := s.repo.Upstream(); err == nil && ok {
		r.Ahead, r.Behind = ahead, behind
	}
	s.openTrials(r)
	sent, left, err := s.sentBranches()
	if err != nil {
		return nil, err
	}
	r.Sent, r.sent = jsonOfSent(sent), rowsOfSent(sent, left)
	missing, err := hooks.Missing(s.repo)
	if err != nil {
		return nil, err
	}
	r.Hooks = append(r.Hooks, missing...)
	return r, nil
}

// verdict is what the rules say of the unsaved state against the last commit, and which differences are there only because a file cannot be
// read whole as it is now.
func (s *shop) verdict() (hooks.Report, func(history.Difference) bool, error) {
	if s.part == nil {
		report, err := s.examine(true)
		return report, func(d history.Difference) bool { return unread(s.unsaved.lib, d) }, err
	}
	head, err := s.repo.Resolve("HEAD")
	if err != nil {
		return hooks.Report{}, nil, err
	}
	anchor, err := s.anchor()
	if err != nil {
		return hooks.Report{}, nil, err
	}
	found, err := (&hooks.Survey{Repo: s.repo, Root: s.sub, Before: s.part.snapshots[0], Now: s.part.snapshots[1], Head: head, Anchor: anchor, At: s.now()}).Run()
	slices.SortFunc(found.Differences, func(a, b history.Difference) int { return a.ID.Compare(b.ID) })
	slices.SortFunc(found.Changes, func(a, b lint.Change) int { return a.ID.Compare(b.ID) })
	return found.Report, func(d history.Difference) bool { return d.After == nil && found.Unread[d.Before.File.Path] }, err
}

// stands counts the conditions, and names those that wait, were rejected, or lack a reason.
func (s *shop) stands(r *statusReport) error {
	var rows []row
	if s.part != nil {
		if t, err := s.overview(nil, s.bar.doing); err == nil {
			rows = t.rows(func(*row) bool { return true })
		} else { // only the whole library can tell
			s.wholly()
		}
	}
	if s.part == nil {
		if _, _, err := s.both(); err != nil {
			return err
		}
		past, err := s.unexplained()
		if err != nil {
			return err
		}
		for _, u := range past {
			r.Past = append(r.Past, u.ID.String())
		}
		for _, p := range s.standing(&s.committed).Positions(s.committed.lib) {
			rows = append(rows, row{id: p.ID, status: p.Status})
		}
		r.Conditions, r.Saved = len(s.unsaved.lib.Recipes), len(s.committed.lib.Recipes)
	}
	for _, x := range rows {
		if x.onDisk {
			r.Conditions++
		}
		if x.saved {
			r.Saved++
		}
		if x.unexplained {
			r.Past = append(r.Past, x.id.String())
		}
		switch {
		case !r.Adopted || x.status == history.Approved || x.status == "":
		case x.status == history.Rejected:
			r.Rejected = append(r.Rejected, x.id.String())
		default:
			r.Waiting = append(r.Waiting, x.id.String())
		}
	}
	return nil
}

// unsavedFiles adds the edited files that no unsaved condition speaks for: settings, profiles, rosters, a set in another layout or one
// that cannot be read; and those in which a merge left both versions.
func (s *shop) unsavedFiles(r *statusReport, differences []history.Difference) error {
	changed, err := s.repo.Status(s.libraryPaths()...)
	if err != nil {
		return err
	}
	spokenFor := map[string]bool{}
	for _, d := range differences {
		for _, recipe := range []*schema.Recipe{d.Before, d.After} {
			if recipe != nil {
				spokenFor[recipe.File.Path] = true
			}
		}
	}
	for _, file := range changed {
		switch p := s.fromTop(file.Path); {
		case file.Unmerged:
			r.Conflicts = append(r.Conflicts, p)
		case !schema.IsRecordPath(p) && !spokenFor[p]:
			r.Files = append(r.Files, p)
		}
	}
	if i := slices.Index(r.Files, hooks.AttributesFile); i >= 0 { // nobody edits it, so it comes last
		r.Files = append(slices.Delete(r.Files, i, i+1), hooks.AttributesFile)
	}
	return nil
}

// openTrials adds the planned trials that are not recorded yet. A file of trials/ that cannot be read takes their place: what is typed in
// it may be half a day of work.
func (s *shop) openTrials(r *statusReport) {
	plans, err := s.plans()
	if err != nil {
		r.Trials = append(r.Trials, err.Error())
		r.trialNext = "mend that file, or put back its last saved version: git restore trials/"
		return
	}
	for _, p := range plans {
		if p.recorded == nil {
			r.Trials = append(r.Trials, p.ID.V+"  "+p.code()+", "+p.writtenDown())
			r.trialNext = "fettle trial record " + p.code()
		}
	}
	if len(r.Trials) > 1 {
		r.trialNext = "fettle trial record CODE"
	}
}

// underWay adds what git is in the middle of.
func (s *shop) underWay(r *statusReport) error {
	state, err := s.repo.State()
	if err != nil {
		return err
	}
	if state != git.StateBisect {
		r.UnderWay = string(state)
	}
	_, branch, _, detached, err := s.repo.Head()
	r.NoBranch = detached && branch == "" && state == git.StateNone
	return err
}

// printStatus prints a section for each thing that is not in order, with the next command.
func (s *shop) printStatus(r *statusReport) {
	name := clean(r.Library)
	if name == "" {
		name = "library without a name"
	}
	s.say("%s: %s in %s", name, counted(r.Conditions, "condition"), s.root)
	if r.Trouble != "" {
		s.say("trouble    %s", r.Trouble)
	}
	section := func(label string, items []string, next string) {
		for i, item := range items {
			if i == 8 {
				s.say("%-10s and %d more", "", len(items)-i)
				break
			}
			s.say("%-10s %s", map[bool]string{true: label}[i == 0], clean(item))
		}
		if len(items) > 0 && next != "" {
			s.say("%-10s next: %s", "", next)
		}
	}
	if r.UnderWay != "" {
		s.printUnderWay(r)
	}
	if r.NoBranch {
		s.say("%-10s what is saved here is on no branch and easily lost; next: git switch -c NAME", "no branch")
	}
	unsaved := append(slices.Clone(r.Unsaved), r.Files...)
	section("unsaved", unsaved, map[bool]string{true: "fettle save", false: "fettle lint, then fettle save"}[r.Errors == 0 && len(r.Conflicts) == 0])
	if len(r.NoReason) > 0 && slices.Equal(r.NoReason, r.Unsaved) {
		s.say("%-10s none is given yet; fettle save asks for it   (or --cause WORD --because \"...\")", "reason")
	} else {
		section("no reason", r.NoReason, "fettle save asks for it   (or --cause WORD --because \"...\")")
	}
	section("not saved", r.NotSaved, "fettle save, or fettle undo")
	if r.Errors > 0 {
		s.say("%-10s %d; next: fettle lint", "errors", r.Errors)
	}
	if r.PastErrors > 0 {
		s.say("%-10s %s in what is saved; next: fettle lint", "past check", counted(r.PastErrors, "error"))
	}
	section("past check", r.Past, "fettle reason ID says why afterwards; then fettle save   (saved without a reason)")
	section("to decide", append(slices.Clone(r.Waiting), r.Others...), "fettle review, then fettle approve or fettle reject")
	section("rejected", r.Rejected, "fettle review says why; then fettle put-back, or another value")
	section("trials", r.Trials, r.trialNext)
	if r.Conditions == 0 && r.Saved == 0 {
		s.say("%-10s no condition yet; next: fettle import FILE   (fettle import --template shows the columns)", "empty")
	}
	if !r.Adopted && r.Trouble == "" && r.Saved > 0 {
		s.say("%-10s nothing is in force yet; next: fettle adopt --because \"...\"", "adopted")
	}
	_, branch, _, _, err := s.repo.Head()
	sends := err == nil && r.Ahead > 0 && len(r.Waiting)+len(r.Others) > 0 && s.takesOnlyApproved(branch)
	sent := ""
	if sends {
		sent = s.sentAs()
	}
	switch {
	case sent != "":
		remote, name, _ := strings.Cut(sent, " ")
		s.say("%-10s %s on %s has it all; once it is approved there: git pull --no-rebase %s %s", "sent", clean(name), clean(remote), clean(remote), hooks.Quote(clean(name)))
	case sends:
		s.say("%-10s %s; next: fettle send   (%s takes only what is approved)", "not shared", counted(r.Ahead, "saved step"), clean(branch))
	case r.Ahead > 0:
		s.say("%-10s %s; next: git push", "not shared", counted(r.Ahead, "saved step"))
	}
	if r.Behind > 0 {
		s.say("%-10s %s by others; next: git pull", "behind", counted(r.Behind, "saved step"))
	}
	for _, row := range r.sent {
		s.say("%-10s %s", strings.TrimSpace(row.Label), row.Text)
	}
	section("no hook", r.Hooks, "fettle hooks install   (else a bad edit can be saved past the check)")
	if len(r.Unsaved)+len(r.Files)+len(r.NotSaved)+len(r.Waiting)+len(r.Rejected)+len(r.Others)+len(r.Hooks)+r.Ahead+r.Behind+r.Errors+r.PastErrors+len(r.Past)+len(r.sent) == 0 && r.Adopted && r.UnderWay == "" && !r.NoBranch {
		s.say("%-10s everything is saved, decided and checked", "in order")
	}
}

// printUnderWay says what git is in the middle of and how it ends.
func (s *shop) printUnderWay(r *statusReport) {
	s.say("%-10s under way; nothing is lost", r.UnderWay)
	for _, p := range r.Conflicts {
		s.say("%-10s %s holds both versions", "", clean(p))
	}
	end := endOf(git.State(r.UnderWay))
	if len(r.Conflicts) > 0 {
		end = "keep one of the two in the file and delete the marker lines; then fettle save and " + end
	}
	s.say("%-10s next: %s", "", end)
}

// allAuthors are the persons behind a change: those the reasons name, who signed them, and the authors and co-authors of the
// commits that changed the recipe since it was approved.
func (s *shop) allAuthors(c *card) []string {
	authors := c.authors()
	if c.Now == nil {
		return authors
	}
	known := rosterNames(s.committed.lib)
	for _, entry := range s.commitsOf(c) {
		for _, who := range hooks.WroteOn(entry) {
			for _, k := range known {
				if strings.EqualFold(k, who) && !contains(authors, k) {
					authors = append(authors, k)
				}
			}
		}
	}
	return authors
}

// recipeAt is the digest of a condition in a file of a commit, "" where it is not there.
func recipeAt(data []byte, path string, now *schema.Recipe) schema.Digest {
	lib, err := schema.ReadLibrary(oneFile{path, data})
	if err != nil {
		return ""
	}
	if r := lib.Recipe(now.ID); r != nil {
		r.Composition = now.Composition // of the settings, which this one file does not know
		return r.Digest()
	}
	return ""
}

type oneFile struct {
	path string
	data []byte
}

func (o oneFile) Files() []string             { return []string{o.path} }
func (o oneFile) Read(string) ([]byte, error) { return o.data, nil }
