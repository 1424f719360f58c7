package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/fettle/view"
	"fettle/history/git"
	"fettle/hooks"
	"fettle/lint"
	"fettle/schema"
)

// lintFlags choose what is judged and against what.
type lintFlags struct {
	staged, newOnly, all bool
	rev, against         string
}

func init() {
	commands = append(commands,
		func(a *app) *cobra.Command {
			var f lintFlags
			cmd := &cobra.Command{Use: "lint [ID or PATH...]", Short: "check conditions for what cannot be and what looks odd",
				Long: "Checks the files as they lie on disk, or another snapshot. Exit code 1 where there is an error. No finding of fettle's, and no lack of\n" +
					"one, is a release of a part.",
				ValidArgsFunction: a.complete(inFiles),
				RunE:              func(cmd *cobra.Command, args []string) error { return a.lint(args, f) }}
			fl := cmd.Flags()
			fl.BoolVar(&f.staged, "staged", false, "check what the next commit would hold")
			fl.StringVar(&f.rev, "rev", "", "check what a commit holds")
			fl.StringVar(&f.against, "against", "", "what stood in this commit is old (default: the last commit)")
			fl.BoolVar(&f.newOnly, "new-only", false, "leave out what stood before")
			fl.BoolVar(&f.all, "all", false, "show notes that stood before and findings that were accepted, too")
			return cmd
		},
		func(a *app) *cobra.Command {
			return &cobra.Command{Use: "rules", Short: "all rules in a line each", Args: noArgs, RunE: func(*cobra.Command, []string) error { return a.rules() }}
		},
		func(a *app) *cobra.Command {
			var check bool
			cmd := &cobra.Command{Use: "format [PATH...]", Short: "write files in the house layout: a change of one value is a change of one line",
				RunE: func(cmd *cobra.Command, args []string) error { return a.formatCommand(args, check) }}
			cmd.Flags().BoolVar(&check, "check", false, "write nothing; exit code 1 where a file is laid out otherwise")
			return cmd
		})
}

// lintSnapshots takes what is to be judged and what it is compared with, whose commit is "" where it is none of the last.
func (s *shop) lintSnapshots(f lintFlags) (before, now git.Snapshot, head string, err error) {
	if f.staged && f.rev != "" {
		return nil, nil, "", troublef("", "--staged and --rev are two snapshots; choose one")
	}
	if !f.staged && f.rev == "" && f.against == "" {
		if head, err = s.repo.Resolve("HEAD"); err == nil {
			before, now, err = s.repo.SavedAndWork(head, s.sub)
			return before, now, head, err
		} else if !errors.Is(err, git.ErrUnborn) {
			return nil, nil, "", err
		}
	}
	switch {
	case f.staged:
		now, err = s.repo.Index(s.sub)
	case f.rev != "":
		now, err = s.repo.Commit(f.rev, s.sub)
	default:
		now, err = s.repo.WorkTree(s.sub)
	}
	if err != nil {
		return nil, nil, "", err
	}
	if f.against != "" {
		before, err = s.repo.Commit(f.against, s.sub)
		return before, now, "", err
	}
	head, err = s.repo.Resolve("HEAD") // once: what is remembered is kept under the commit that it was read from
	if errors.Is(err, git.ErrUnborn) {
		return git.Empty(), now, "", nil
	}
	if err != nil {
		return nil, nil, "", err
	}
	if before, err = s.repo.Commit(head, s.sub); err == nil && len(before.Files()) == 0 {
		head = ""
	}
	return before, now, head, err
}

// lintReport judges the library part by part. Only to say what an id means in another snapshot than that on disk, all of it is read at once.
func (s *shop) lintReport(args []string, f lintFlags) (hooks.Report, error) {
	before, now, head, err := s.lintSnapshots(f)
	if err != nil {
		return hooks.Report{}, err
	}
	anchor, err := s.anchor()
	if err != nil {
		return hooks.Report{}, err
	}
	var typed []schema.ID // conditions, where nothing else was typed
	if !f.staged && f.rev == "" {
		if typed, err = s.lintedIDs(args); err != nil {
			return hooks.Report{}, err
		}
	}
	if typed == nil && slices.ContainsFunc(args, func(arg string) bool { return !isPath(arg) }) {
		var sides [2]state
		for i, snap := range []git.Snapshot{before, now} {
			if err := s.load(&sides[i], func(string) (git.Snapshot, error) { return snap, nil }); err != nil {
				return hooks.Report{}, err
			}
		}
		report := hooks.Examine(hooks.Case{Before: s.side(&sides[0]), Now: s.side(&sides[1]), Anchor: anchor, At: s.now(), Full: true, Everything: f.all})
		dropUnread(&report, func(path string) bool { return problemsIn(sides[1].lib, path) })
		return report, s.restrict(&report.Result, sides[1].lib, args)
	}
	s.bar.doing("checking")
	found, err := (&hooks.Survey{Repo: s.repo, Root: s.sub, Before: before, Now: now, Head: head, Anchor: anchor, At: s.now(), Everything: f.all,
		Progress: s.bar.tell}).Run()
	if err != nil {
		return hooks.Report{}, err
	}
	dropUnread(&found.Report, func(path string) bool { return found.Unread[path] })
	if typed != nil {
		if err := restrictToIDs(&found.Result, now, typed); err != nil {
			return hooks.Report{}, err
		}
	} else if len(args) > 0 {
		if err := s.restrictTo(&found, args); err != nil {
			return hooks.Report{}, err
		}
	}
	s.looked = now
	return found.Report, nil
}

func (a *app) lint(args []string, f lintFlags) error {
	if err := a.oneOf("text", "json"); err != nil {
		return err
	}
	s, err := a.open()
	if err != nil {
		return err
	}
	report, err := s.lintReport(args, f)
	if err != nil {
		return err
	}
	if f.newOnly {
		report.Result = report.New()
	}
	if a.format == "json" {
		a.wrote = true
		err = view.FindingsJSON(a.out, report.Result)
	} else {
		err = s.printLint(report.Result, len(args) > 0 || f.all)
	}
	if err != nil {
		return err
	}
	failing := report.Blocking()
	if f.against == "" && !f.newOnly {
		failing = slices.DeleteFunc(slices.Clone(report.Findings), func(x lint.Finding) bool { return x.Severity != lint.Error })
	}
	if len(failing) > 0 {
		return errFound
	}
	return nil
}

// printLint prints findings for people. Notes that stood before are only counted, unless somebody asks: they are read once.
func (s *shop) printLint(result lint.Result, all bool) error {
	if len(result.Findings) == 0 && result.Conditions == 0 {
		s.say("no condition yet; next: fettle import FILE")
		return nil
	}
	if all {
		s.showFiles(result.Findings)
		return view.Findings(s.out, result, s.screen())
	}
	shown := result
	shown.Findings = slices.DeleteFunc(slices.Clone(result.Findings), func(f lint.Finding) bool { return f.Old && f.Severity == lint.Note })
	s.showFiles(shown.Findings)
	if err := view.Findings(s.out, shown, s.screen()); err != nil {
		return err
	}
	if n := len(result.Findings) - len(shown.Findings); n > 0 {
		s.say("%s that stood before, of fumes and the like: fettle lint --all", counted(n, "note"))
	}
	return nil
}

// dropUnread leaves out what is said of conditions as removed that stand in a file that cannot be read whole: what is wrong with the
// file is said, and that is enough. Before the adoption nothing is approved, and nobody has to be told so for each condition.
func dropUnread(report *hooks.Report, unread func(path string) bool) {
	gone := map[string]bool{}
	if report.Standing.Anchor == nil {
		report.Findings = slices.DeleteFunc(report.Findings, func(f lint.Finding) bool { return f.Rule == "unapproved" })
	}
	for _, d := range report.Differences {
		if d.After == nil && unread(d.Before.File.Path) {
			gone[d.ID.String()] = true
		}
	}
	report.Findings = slices.DeleteFunc(report.Findings, func(f lint.Finding) bool { return gone[f.ID] && isAboutReasons(f) })
}

// restrict keeps the findings of the ids or files that were named.
func (s *shop) restrict(result *lint.Result, lib *schema.Library, args []string) error {
	if len(args) == 0 {
		return nil
	}
	paths := map[string]bool{}
	ids := map[string]bool{}
	for _, arg := range args {
		if !isPath(arg) {
			found, err := s.resolve([]string{arg}, idsOf(lib))
			if err != nil {
				return err
			}
			for _, id := range found {
				ids[id.String()] = true
			}
			continue
		}
		p, err := s.inLibrary(arg)
		if err != nil {
			return err
		}
		paths[p] = true
	}
	result.Findings = slices.DeleteFunc(result.Findings, func(f lint.Finding) bool { return !paths[f.Path] && !ids[f.ID] })
	result.Files, result.Conditions = 0, 0
	for _, f := range lib.Files {
		if paths[f.Path] {
			result.Files++
		}
	}
	for _, r := range lib.Recipes {
		if ids[r.ID.String()] || paths[r.File.Path] {
			result.Conditions++
		}
	}
	return nil
}

// restrictTo keeps the findings of the files that were named.
func (s *shop) restrictTo(found *hooks.Surveyed, args []string) error {
	paths := map[string]bool{}
	for _, arg := range args {
		p, err := s.inLibrary(arg)
		if err != nil {
			return err
		}
		paths[p] = true
	}
	found.Findings = slices.DeleteFunc(found.Findings, func(f lint.Finding) bool { return !paths[f.Path] })
	found.Files, found.Conditions = 0, 0
	for p := range paths {
		if n, ok := found.InFile[p]; ok {
			found.Files++
			found.Conditions += n
		}
	}
	return nil
}

// lintedIDs are the conditions on disk that were typed; nil where a file was, or only the whole library can tell.
func (s *shop) lintedIDs(args []string) ([]schema.ID, error) {
	if len(args) == 0 || slices.ContainsFunc(args, isPath) {
		return nil, nil
	}
	s.meant(args, 0, inFiles)
	if s.part == nil {
		return nil, nil
	}
	ids, err := s.resolve(args, s.ids(inFiles))
	s.wholly()
	return ids, err
}

// restrictToIDs keeps the findings of the conditions that were named.
func restrictToIDs(result *lint.Result, now git.Snapshot, ids []schema.ID) error {
	names, sets := map[string]bool{}, map[[3]string]bool{}
	for _, id := range ids {
		names[id.String()], sets[setOf(id)] = true, true
	}
	result.Findings = slices.DeleteFunc(result.Findings, func(f lint.Finding) bool { return !names[f.ID] })
	result.Files, result.Conditions = 0, 0
	theirs := map[string]bool{schema.SettingsFile: true}
	for _, p := range now.Files() {
		if !schema.IsSetPath(p) {
			continue
		}
		data, err := now.Read(p)
		if err != nil {
			return err
		}
		machine, material, gas := schema.FamilyOf(data)
		theirs[p] = sets[[3]string{machine, material, gas}]
	}
	lib, err := schema.ReadLibrary(only{now, theirs})
	if err != nil {
		return err
	}
	for _, r := range lib.Recipes {
		if names[r.ID.String()] {
			result.Conditions++
		}
	}
	return nil
}

// showFiles reads the files that findings point into, where they were not read for the verdict.
func (s *shop) showFiles(findings []lint.Finding) {
	if s.looked == nil {
		return
	}
	read := map[string]*schema.File{}
	for i := range findings {
		f := &findings[i]
		if f.File != nil || f.Line == 0 || s.looked.Hash(f.Path) == "" {
			continue
		}
		if read[f.Path] == nil {
			data, err := s.looked.Read(f.Path)
			if err != nil {
				continue
			}
			read[f.Path] = &schema.File{Path: f.Path, Data: data}
		}
		f.File = read[f.Path]
	}
}

// isPath tells a file from an id: what ends in .json or starts with ./, ../ or / is a file.
func isPath(arg string) bool {
	return strings.HasSuffix(arg, ".json") || strings.HasPrefix(arg, "./") || strings.HasPrefix(arg, "../") || filepath.IsAbs(arg) ||
		arg == schema.RosterFile || arg == schema.PeopleFile
}

// inLibrary turns a path as typed into one from the root of the library.
func (s *shop) inLibrary(arg string) (string, error) {
	full := arg
	if !filepath.IsAbs(arg) {
		full = filepath.Join(s.dir, arg)
	}
	full, err := filepath.Abs(full)
	if err != nil {
		return "", err
	}
	if real, err := filepath.EvalSymlinks(full); err == nil {
		full = real
	} else {
		return "", troublef(s.nearestFile(full), "there is no file %s", arg)
	}
	rel, err := filepath.Rel(s.root, full)
	if err != nil || strings.HasPrefix(rel, "..") {
		return "", troublef("Name a file below it, such as "+schema.SettingsFile+".", "%s lies outside the library %s", arg, s.root)
	}
	return filepath.ToSlash(rel), nil
}

// nearestFile offers the file of the library that is named most like one that is not there.
func (s *shop) nearestFile(full string) string {
	if lib, err := s.work(); err == nil {
		var names []string
		for _, f := range lib.Files {
			names = append(names, f.Path)
		}
		if rel, err := filepath.Rel(s.root, full); err == nil {
			if near := schema.Nearest(filepath.ToSlash(rel), names); near != "" {
				return "Did you mean " + s.relative(near) + " ?"
			}
		}
	}
	return "The files of the library lie below " + s.root + "; fettle lint without a name checks all of them."
}

func ruleNames() []string {
	var names []string
	for _, r := range lint.Rules() {
		names = append(names, r.Name)
	}
	return names
}

func (a *app) rules() error {
	if err := a.oneOf("text", "json"); err != nil {
		return err
	}
	if a.format == "json" {
		var all []ruleJSON
		for _, r := range lint.Rules() {
			all = append(all, ruleJSON{r.Name, r.Family, r.Severity.String(), r.Title, r.Why, r.Source, r.Limit, r.Bad, r.Good})
		}
		return a.json(map[string]any{"format": 1, "rules": all})
	}
	family := ""
	for _, r := range lint.Rules() {
		if r.Family != family {
			family = r.Family
			fmt.Fprintf(a.out, "%s\n", family)
		}
		fmt.Fprintf(a.out, "  %-20s %-8s %s\n", r.Name, r.Severity, r.Title)
	}
	return nil
}

func (a *app) formatCommand(args []string, check bool) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	disk, err := s.repo.WorkTree(s.sub)
	if err != nil {
		return err
	}
	wanted := map[string]bool{}
	for _, arg := range args {
		p, err := s.inLibrary(arg)
		if err != nil {
			return err
		}
		wanted[p] = true
	}
	count, looked := 0, 0
	var unreadable []string
	for _, p := range slices.Sorted(slices.Values(disk.Files())) {
		laidOut := p == schema.SettingsFile || strings.HasPrefix(p, "machines/") && strings.HasSuffix(p, ".json") || schema.IsSetPath(p)
		if !laidOut || len(args) > 0 && !wanted[p] {
			continue
		}
		delete(wanted, p)
		looked++
		raw, err := git.ReadOnce(disk, p)
		if err != nil {
			return cannotRead(p, err)
		}
		data, err := os.ReadFile(filepath.Join(s.root, filepath.FromSlash(p)))
		if err != nil {
			return cannotRead(p, err)
		}
		data = []byte(strings.TrimPrefix(string(data), "\ufeff"))
		again := schema.ReadFile(p, data)
		if !again.IsObject() {
			unreadable = append(unreadable, p)
			continue
		}
		if laid := schema.Layout(again.Root()); string(laid) != string(raw) {
			count++
			if check {
				fmt.Fprintf(a.out, "%s\n", s.relative(p))
				continue
			}
			if err := s.write(p, laid); err != nil {
				return err
			}
			s.say("laid out %s", s.relative(p))
		}
	}
	for p := range wanted {
		return troublef("Files of settings, machines and sets are.", "%s is no file that is laid out", p)
	}
	if len(unreadable) > 0 {
		return troublef("fettle lint says what is wrong.", "%s cannot be read, so it was left as it is", strings.Join(unreadable, ", "))
	}
	switch {
	case check && count > 0:
		return errFound
	case count == 0:
		s.say("%s looked at: all in the house layout", counted(looked, "file"))
	}
	return nil
}
