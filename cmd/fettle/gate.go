package main

import (
	"bufio"
	"fmt"
	"io"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/fettle/view"
	"fettle/history/git"
	"fettle/hooks"
	"fettle/lint"
)

const gateHelp = `Judges what is pushed, where nobody can skip it: on the server, or in a build job.

On a server, in the bare repository, as the file hooks/pre-receive (executable):
    #!/bin/sh
    exec fettle gate pre-receive
or as hooks/update:
    exec fettle gate update "$@"

In a build job, in a clone with its whole history:
    fettle gate --range OLD..NEW --ref main      what a push to main brought
    fettle gate --base main --head HEAD          what a branch would bring to main

A protected branch (policy.protected in fettle.json; the main branch where nothing is said) takes only what is approved. Every
branch must be free of errors, of changes without a reason, and of records that were altered or removed. git config of the server:
    fettle.anchor DIGEST               the adoption that everything must be chained from; may be set more than once
    fettle.rewrite-protected refuse    no push may take commits out of a protected branch; allowed otherwise if no record is lost
    fettle.delete-protected allow      a protected branch may be removed`

// gateRange are the flags of a build job.
type gateRange struct{ span, base, head, ref string }

func init() {
	alone["gate"] = func(a *app) *cobra.Command {
		var f gateRange
		cmd := &cobra.Command{Use: "gate", Short: "judge what is pushed, on a server or in a build job", Long: gateHelp, Args: noArgs,
			RunE: func(*cobra.Command, []string) error { return a.gateJob(f) }}
		cmd.Flags().StringVar(&f.span, "range", "", "judge OLD..NEW as a push, or BASE...HEAD as a branch that left BASE")
		cmd.Flags().StringVar(&f.base, "base", "", "where the commits are to go: a branch or commit")
		cmd.Flags().StringVar(&f.head, "head", "", "the last of the commits; HEAD if only --base is given")
		cmd.Flags().StringVar(&f.ref, "ref", "", "the branch they go to; without it they are judged as for a protected one")
		cmd.AddCommand(
			&cobra.Command{Use: "pre-receive", Short: "as a pre-receive hook: reads OLD NEW REF from standard input", Args: noArgs,
				RunE: func(*cobra.Command, []string) error { return a.gatePreReceive() }},
			&cobra.Command{Use: "update REF OLD NEW", Short: "as an update hook", Args: cobra.ExactArgs(3),
				RunE: func(_ *cobra.Command, args []string) error {
					return a.gate([]hooks.Move{{Ref: args[0], Old: args[1], New: args[2]}})
				}})
		return cmd
	}
}

func (a *app) gatePreReceive() error {
	var moves []hooks.Move
	lines := bufio.NewScanner(a.in)
	for lines.Scan() {
		parts := strings.SplitN(lines.Text(), " ", 3)
		if len(parts) != 3 {
			return troublef("git calls it so for every push; by hand use: fettle gate --range OLD..NEW",
				"standard input holds %q, and not OLD NEW REF, so nothing can be judged", clean(lines.Text()))
		}
		moves = append(moves, hooks.Move{Old: parts[0], New: parts[1], Ref: parts[2]})
	}
	if err := lines.Err(); err != nil {
		return fmt.Errorf("standard input could not be read, so nothing is taken: %w", err)
	}
	return a.gate(moves)
}

// gateJob is the gate in a build job.
func (a *app) gateJob(f gateRange) error {
	repo, err := git.Open(a.dir, git.NoReplace())
	if err != nil {
		return err
	}
	defer repo.Close()
	move := hooks.Move{Ref: f.ref, New: f.head}
	parted := f.base != ""
	switch old, new, ok := strings.Cut(f.span, ".."); {
	case f.span == "" && f.base == "" && f.head == "":
		return troublef("In a build job: fettle gate --range OLD..NEW, or --base main --head HEAD\nOn a server: fettle gate pre-receive. More: fettle gate --help",
			"what is to be judged was not said")
	case f.span != "" && (f.base != "" || f.head != ""):
		return troublef("", "--range says both ends already; leave out --base and --head")
	case f.span == "":
		move.Old = f.base
	case !ok:
		return troublef("Write it as OLD..NEW.", "--range %s has one end only", f.span)
	default:
		move.Old = old
		if move.New, parted = strings.CutPrefix(new, "."); move.Old == "" {
			return troublef("Write it as OLD..NEW; for a new branch, --head NEW alone.", "--range %s does not say where it begins", f.span)
		}
	}
	if move.New == "" {
		move.New = "HEAD"
	}
	if parted && strings.Trim(move.Old, "0") != "" {
		if move.Old, err = repo.MergeBase(move.Old, move.New); err != nil {
			return err
		}
	}
	options := hooks.GateOptions{FromOld: true, Protected: f.ref == ""}
	if !strings.HasPrefix(move.Ref, "refs/") {
		move.Ref = "refs/heads/" + move.Ref
	}
	if f.ref == "" {
		move.Ref = "refs/heads/this branch"
	}
	if options.Known, err = jobBranches(repo, move.Ref); err != nil {
		return err
	}
	return a.judge(repo, options, []hooks.Move{move})
}

// jobBranches are the branches that a build job knows of: its own, and those of the server that it cloned.
func jobBranches(repo *git.Repo, but string) ([]git.Ref, error) {
	all, err := repo.Refs("refs/heads/", "refs/remotes/")
	if err != nil {
		return nil, err
	}
	out := []git.Ref{}
	for _, ref := range all {
		if rest, ok := strings.CutPrefix(ref.Name, "refs/remotes/"); ok {
			_, branch, _ := strings.Cut(rest, "/")
			ref.Name = "refs/heads/" + branch
		}
		if ref.Name != but {
			out = append(out, ref)
		}
	}
	return out, nil
}

// gate is one call by the git of a server.
func (a *app) gate(moves []hooks.Move) error {
	keepGarbage()
	debug.SetMemoryLimit(220 << 20) // a whole library takes 150, and the less is left beside them the longer it is collected
	repo, err := git.Open(a.dir, git.NoReplace())
	if err != nil {
		return err
	}
	defer repo.Close()
	return a.judge(repo, hooks.GateOptions{Memory: true}, moves)
}

// chargeJSON is one thing that speaks against a push, for programs.
type chargeJSON struct {
	Rule     string `json:"rule"`
	Severity string `json:"severity"`
	Path     string `json:"path"`
	Line     int    `json:"line"`
	Column   int    `json:"column"`
	ID       string `json:"id"`
	Field    string `json:"field"`
	Message  string `json:"message"`
	Help     string `json:"help"`
	Commit   string `json:"commit"`
}

// rulingJSON is what the gate says of a branch, for programs.
type rulingJSON struct {
	Ref       string       `json:"ref"`
	Old       string       `json:"old"`
	New       string       `json:"new"`
	Protected bool         `json:"protected"`
	Commits   int          `json:"commits"`
	Refused   bool         `json:"refused"`
	Findings  []chargeJSON `json:"findings"`
	Notes     []string     `json:"notes"`
}

func (a *app) judge(repo *git.Repo, options hooks.GateOptions, moves []hooks.Move) error {
	if err := a.oneOf("text", "json"); err != nil {
		return err
	}
	show := view.FindingsOptions{Color: a.color == "always", Width: hooks.RemoteWidth}
	options.At, options.Brief = a.now(), a.format != "json"
	options.Render = func(w io.Writer, f lint.Finding) { view.Finding(w, f, show) }
	gate := hooks.NewGate(repo, options)
	refused := false
	out := []rulingJSON{}
	for _, m := range moves {
		ruling, err := gate.Judge(m)
		if err != nil {
			return &trouble{fmt.Errorf("%s could not be judged, so it is refused: %w", clean(strings.TrimPrefix(m.Ref, "refs/heads/")), err), ""}
		}
		refused = refused || ruling.Refused()
		if a.format != "json" {
			ruling.Print(a.out)
			continue
		}
		r := rulingJSON{Ref: ruling.Ref, Old: ruling.Old, New: ruling.New, Protected: ruling.Protected, Commits: ruling.Commits, Refused: ruling.Refused(),
			Findings: []chargeJSON{}, Notes: append([]string{}, ruling.Notes()...)}
		for _, c := range ruling.Charges() {
			r.Findings = append(r.Findings, chargeJSON{c.Rule, c.Severity.String(), c.Path, c.Line, c.Column, c.ID, c.Field, c.Message, c.Help, c.Commit})
		}
		out = append(out, r)
	}
	if a.format == "json" {
		if err := a.json(map[string]any{"format": 1, "branches": out}); err != nil {
			return err
		}
	}
	if refused {
		return errFound
	}
	return nil
}
