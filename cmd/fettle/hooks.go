package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/fettle/view"
	"fettle/history/audit"
	"fettle/history/git"
	"fettle/hooks"
	"fettle/lint"
)

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		cmd := &cobra.Command{Use: "hooks", Short: "have git check every commit before it is made: install, remove, status", Args: noArgs,
			RunE: func(*cobra.Command, []string) error { return a.hooksStatus() }}
		var shared bool
		install := &cobra.Command{Use: "install", Short: "put the hooks in place; a hook of somebody else stays as it is", Args: noArgs,
			RunE: func(*cobra.Command, []string) error { return a.hooksInstall(shared) }}
		install.Flags().BoolVar(&shared, "shared", false, "also into a directory from which other repositories take their hooks")
		remove := &cobra.Command{Use: "remove", Short: "take the hooks of fettle away, and no other", Args: noArgs,
			RunE: func(*cobra.Command, []string) error { return a.hooksRemove(shared) }}
		remove.Flags().BoolVar(&shared, "shared", false, "also from a directory from which other repositories take their hooks")
		status := &cobra.Command{Use: "status", Short: "how the hooks stand; exit code 1 where a commit would go unchecked", Args: noArgs,
			RunE: func(*cobra.Command, []string) error { return a.hooksStatus() }}
		cmd.AddCommand(install, remove, status)
		return cmd
	})
	alone["hook"] = func(a *app) *cobra.Command {
		cmd := &cobra.Command{Use: "hook NAME [ARG...]", Short: "what git calls: before it makes a commit, before it pushes, after a merge", Hidden: true, Args: cobra.MinimumNArgs(1),
			RunE: func(cmd *cobra.Command, args []string) error { return a.hook(args[0], args[1:]) }}
		cmd.Flags().SetInterspersed(false) // what follows the name is git's
		return cmd
	}
}

// askedByFettle is set for the hooks of a commit that fettle makes: it says itself what comes next, so a hook that stops nothing is silent.
const askedByFettle = "FETTLE_SAVES"

// hook is one call by git. Everything goes to standard error, where git shows what hooks say.
func (a *app) hook(name string, args []string) error {
	keepGarbage()
	repo, err := git.Open(a.dir)
	if err != nil {
		return err
	}
	defer repo.Close()
	width := columns(a.err)
	options := view.FindingsOptions{Color: a.color == "always", Width: width, Screen: width > 0}
	var said bytes.Buffer
	call := hooks.Call{Hook: name, Args: args, In: a.in, Out: &said, At: a.now(), Render: func(w io.Writer, f lint.Finding) { view.Finding(w, f, options) }}
	if os.Getenv(askedByFettle) == "" { // else the message says it already
		call.Summarize = summarize
	}
	stopped, err := hooks.Run(repo, call)
	if stopped || err != nil || os.Getenv(askedByFettle) == "" {
		for line := range strings.Lines(said.String()) {
			fmt.Fprintln(a.err, view.Fold(strings.TrimSuffix(line, "\n"), width))
		}
	}
	if err != nil {
		what := "commit"
		if name == hooks.PrePush {
			what = "push"
		}
		return &trouble{fmt.Errorf("the %s could not be checked, so it is stopped: %w", what, err), ""}
	}
	if stopped {
		return errFound
	}
	return nil
}

func (a *app) hooksInstall(shared bool) error {
	defer a.remember()
	return a.changeHooks(func(repo *git.Repo) ([]string, error) {
		report, err := hooks.InstallWith(repo, hooks.InstallOptions{Shared: shared})
		if err != nil {
			return report, err
		}
		drivers, err := hooks.InstallDrivers(repo, "")
		if report = append(report, drivers...); err != nil {
			return report, err
		}
		missing, err := hooks.Missing(repo)
		if err == nil && len(missing) > 0 {
			err = refusef("fettle hooks status shows how they stand.", "commits are not checked yet: no %s", strings.Join(missing, ", no "))
		}
		return report, err
	})
}

// remember reads the library at hand and its history once, so that the first commit and the first audit do not have to. There need not be one.
func (a *app) remember() {
	s, err := a.open()
	if err != nil {
		return
	}
	defer s.repo.Close()
	if known, err := hooks.OpenLookup(s.repo, s.sub); err == nil {
		known.Close()
	}
	_ = audit.Prepare(s.repo, s.sub)
}

func (a *app) hooksRemove(shared bool) error {
	return a.changeHooks(func(repo *git.Repo) ([]string, error) {
		report, err := hooks.Remove(repo, shared)
		if err != nil {
			return report, err
		}
		drivers, err := hooks.RemoveDrivers(repo)
		return append(report, drivers...), err
	})
}

func (a *app) changeHooks(change func(*git.Repo) ([]string, error)) error {
	repo, err := git.Open(a.dir)
	if err != nil {
		return err
	}
	defer repo.Close()
	report, err := change(repo)
	for _, line := range report {
		a.say("%s", clean(line))
	}
	return err
}

// hookJSON is a hook for programs.
type hookJSON struct {
	Hook    string `json:"hook"`
	Path    string `json:"path"`
	State   string `json:"state"`
	Program string `json:"program"`
	Checks  bool   `json:"checks"`
	Help    string `json:"help"`
}

func (a *app) hooksStatus() error {
	if err := a.oneOf("text", "json"); err != nil {
		return err
	}
	repo, err := git.Open(a.dir)
	if err != nil {
		return err
	}
	defer repo.Close()
	all, err := hooks.StatusOf(repo)
	if err != nil {
		return err
	}
	missing := false
	out := []hookJSON{}
	for _, s := range all {
		missing = missing || !s.State.Judges() && !hooks.OnlyReports(s.Hook)
		out = append(out, hookJSON{s.Hook, s.Path, string(s.State), s.Program, s.State.Judges(), s.Help})
	}
	drivers, err := hooks.DriversOf(repo)
	if err != nil {
		return err
	}
	if a.format == "json" {
		if err := a.json(map[string]any{"format": 1, "hooks": out, "drivers": drivers.Complete()}); err != nil {
			return err
		}
	} else {
		if whose, err := hooks.Whose(repo); err == nil && whose != "" {
			a.say("%s", clean(whose))
		}
		for _, h := range out {
			a.say("%-18s %-10s %s", h.Hook, h.State, clean(h.Path))
			for _, line := range strings.Split(h.Help, "\n") {
				if line != "" {
					a.say("%29s %s", "", clean(line))
				}
			}
		}
	}
	a.sayDrivers(drivers)
	if missing {
		return errFound
	}
	return nil
}

// sayDrivers says how merges and diffs stand. Where the drivers are missing nothing goes unchecked, and git merges by line.
func (a *app) sayDrivers(s hooks.DriverStatus) {
	if a.format == "json" || len(s.Libraries) == 0 {
		return
	}
	switch {
	case s.Complete():
		a.say("%-18s %-10s", "merge and diff", "value by value")
	case !s.Configured:
		a.say("%-18s %-10s %s", "merge and diff", "by line", "fettle hooks install makes git merge and show them value by value")
	default:
		a.say("%-18s %-10s %s", "merge and diff", "by line", "no line in "+clean(path.Join(s.Unlisted[0], hooks.AttributesFile))+": fettle hooks install")
	}
}
