package main

import (
	"fmt"
	"path"
	"sort"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/history/audit"
	"fettle/history/git"
	"fettle/schema"
)

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		return &cobra.Command{Use: "verify", Short: "prove the trail: every record, name, signature, chain; nothing removed in history", Args: noArgs,
			Long: "Checks that every record is readable, named after its content and signed as it should be, that decisions chain from the adoption, that no\n" +
				"saved record was altered or removed at any time, and that every change of a recipe since the adoption has a reason. Says what cannot be proven.\n" +
				"Exit code 1 where something is broken, 2 where something cannot be read.",
			RunE: func(*cobra.Command, []string) error { return a.verify() }}
	})
}

func (a *app) verify() error {
	s, err := a.open()
	if err != nil {
		return err
	}
	anchor, err := s.anchor()
	if err != nil {
		return err
	}
	trail, err := audit.Read(s.repo, s.sub, audit.Options{Anchor: anchor, Apart: true})
	if err != nil {
		return err
	}
	report := trail.Verify(anchor)
	if err := trail.Err(); err != nil {
		return err
	}
	unsaved, err := s.unsavedBreaks()
	if err != nil {
		return err
	}
	report.Findings = append(report.Findings, unsaved...)
	if a.format == "json" {
		if err := a.json(verifyJSON(trail, report)); err != nil {
			return err
		}
	} else {
		s.printReport(trail, report)
	}
	switch {
	case report.Is(audit.UnreadableRecord):
		return errUnread
	case report.Is(audit.Broken):
		return errFound
	}
	return nil
}

// unsavedBreaks finds saved records that are altered or gone on disk, before anybody saves that.
func (s *shop) unsavedBreaks() ([]audit.Finding, error) {
	saved, err := s.takeSaved(s.sub)
	if err != nil {
		return nil, err
	}
	work, err := s.repo.WorkTree(s.sub)
	if err != nil {
		return nil, err
	}
	hashes := func(snap git.Snapshot) (map[string]string, error) {
		out := map[string]string{}
		for _, file := range snap.Files() {
			if !schema.IsRecordPath(file) || strings.HasPrefix(path.Base(file), ".") {
				continue
			}
			if out[file] = snap.Hash(file); out[file] == "" {
				if _, err := snap.Read(file); err != nil {
					return nil, err
				}
			}
		}
		return out, nil
	}
	before, err := hashes(saved)
	if err != nil {
		return nil, err
	}
	now, err := hashes(work)
	if err != nil {
		return nil, err
	}
	var out []audit.Finding
	for _, b := range history.Trail([]map[string]string{before}, now) {
		out = append(out, audit.Finding{Level: audit.Broken, Rule: b.Rule, Path: b.Path, Message: "in the files here, not saved: " + b.Message,
			Help: "Bring it back: git checkout HEAD -- " + s.forGit(b.Path)})
	}
	return out, nil
}

// printReport prints what was checked and what came of it: first what is proven, then what is not.
func (s *shop) printReport(trail *audit.Trail, r *audit.Report) {
	row := func(label, format string, args ...any) { s.say("%-11s %s", label, fmt.Sprintf(format, args...)) }
	row("records", "%d readable, whole and named after their content, of %d%s", r.Good, r.Records, kindsOf(r))
	for _, signer := range r.Signers {
		if signer.Signed > 0 {
			row("signed", "%d by %s", signer.Signed, spoken(signer.Person))
		}
	}
	if r.Anchor != nil {
		row("adoption", "on %s by %s  %s", s.day(r.Anchor.Time()), spoken(r.Anchor.By.V), r.Anchor.Digest.Short())
	}
	row("history", "%s looked through%s", counted(trail.Commits, "saved step"), s.nothingLost(r))
	if r.Anchor != nil {
		row("reasons", "%d of %d changes of a recipe since the adoption have one", r.Reasoned, r.Changes)
		row("approved", "%s", approvedLine(r))
	}
	titles := map[audit.Level]string{audit.UnreadableRecord: "cannot be read", audit.Broken: "broken", audit.Void: "does not count", audit.Unproven: "cannot be proven"}
	level := audit.Level("")
	for i, f := range r.Findings {
		if f.Level != level {
			level = f.Level
			s.say("\n%s", titles[level])
		}
		if i+1 < len(r.Findings) && r.Findings[i+1].Help == f.Help {
			f.Help = "" // once, below the last of them
		}
		s.printFinding(f)
	}
	if !r.Is(audit.Broken) && !r.Is(audit.UnreadableRecord) {
		s.say("\nnothing is broken")
	}
}

func kindsOf(r *audit.Report) string {
	var parts []string
	for kind, n := range r.Kinds {
		parts = append(parts, fmt.Sprintf("%s %d", clean(kind), n))
	}
	sort.Strings(parts)
	if len(parts) == 0 {
		return ""
	}
	return " (" + strings.Join(parts, ", ") + ")"
}

func (s *shop) nothingLost(r *audit.Report) string {
	for _, f := range r.Findings {
		if f.Rule == history.RuleRecordAltered || f.Rule == history.RuleRecordRemoved {
			return ""
		}
	}
	return "; no record was altered or removed in any of them"
}

// approvedLine lists what is not approved as it stands.
func approvedLine(r *audit.Report) string {
	var names []string
	for _, p := range r.Unapproved {
		names = append(names, fmt.Sprintf("%s (%s)", p.Name, p.Status))
	}
	for _, p := range r.Others {
		names = append(names, fmt.Sprintf("%s (%s)", strings.TrimSuffix(p.Kind+" "+p.Name, " "+p.Kind), p.Status))
	}
	if len(names) == 0 {
		return fmt.Sprintf("all %d conditions stand as they were approved", r.Conditions)
	}
	return "all but " + strings.Join(names, ", ")
}

func (s *shop) printFinding(f audit.Finding) {
	what := f.Path
	if f.ID != "" {
		what = f.ID
	}
	if what != "" {
		what = clean(what) + ": "
	}
	s.say("  %s%s [%s]", what, clean(f.Message), f.Rule)
	if f.Commit != "" {
		when := ""
		if !f.At.IsZero() {
			when = fmt.Sprintf("%s by %s, ", s.day(f.At), auditPerson(f.By))
		}
		s.say("      %s%.12s", when, f.Commit)
	}
	for line := range strings.Lines(f.Help) {
		s.say("      %s", clean(strings.TrimSpace(line)))
	}
}

func verifyJSON(trail *audit.Trail, r *audit.Report) any {
	type signer struct {
		Person  string `json:"person"`
		Signed  int    `json:"signed"`
		Claimed int    `json:"claimed"`
	}
	type finding struct {
		Level   string  `json:"level"`
		Rule    string  `json:"rule"`
		Path    *string `json:"path"`
		ID      *string `json:"id"`
		Commit  *string `json:"commit"`
		By      *string `json:"by"`
		At      *string `json:"at"`
		Message string  `json:"message"`
		Help    string  `json:"help"`
	}
	type position struct {
		Kind   string         `json:"kind"`
		ID     string         `json:"id"`
		Status history.Status `json:"status"`
	}
	out := struct {
		Format     int            `json:"format"`
		Sound      bool           `json:"sound"`
		Head       string         `json:"head"`
		Commits    int            `json:"commits"`
		Shallow    bool           `json:"older_history_missing"`
		Records    int            `json:"records"`
		Good       int            `json:"good"`
		Kinds      map[string]int `json:"kinds"`
		Signers    []signer       `json:"signers"`
		Adoption   *string        `json:"adoption"`
		Pinned     bool           `json:"pinned"`
		Changes    int            `json:"changes"`
		Reasoned   int            `json:"reasoned"`
		Findings   []finding      `json:"findings"`
		Unapproved []position     `json:"unapproved"`
	}{1, !r.Is(audit.Broken) && !r.Is(audit.UnreadableRecord), trail.Head, trail.Commits, trail.Shallow, r.Records, r.Good, r.Kinds, []signer{}, nil, r.Pinned,
		r.Changes, r.Reasoned, []finding{}, []position{}}
	if r.Anchor != nil {
		out.Adoption = some(string(r.Anchor.Digest))
	}
	for _, s := range r.Signers {
		out.Signers = append(out.Signers, signer(s))
	}
	for _, f := range r.Findings {
		j := finding{Level: string(f.Level), Rule: f.Rule, Path: some(f.Path), ID: some(f.ID), Commit: some(f.Commit), By: some(f.By.String()), Message: f.Message, Help: f.Help}
		if !f.At.IsZero() {
			j.At = some(f.At.Format(time.RFC3339))
		}
		out.Findings = append(out.Findings, j)
	}
	for _, p := range r.Unapproved {
		out.Unapproved = append(out.Unapproved, position{schema.SubjectCondition, p.Name, p.Status})
	}
	for _, p := range r.Others {
		out.Unapproved = append(out.Unapproved, position{p.Kind, p.Name, p.Status})
	}
	return out
}
