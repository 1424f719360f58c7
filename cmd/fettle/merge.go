package main

import (
	"fmt"
	"io"
	"os"
	"strconv"

	"github.com/spf13/cobra"

	"fettle/cmd/fettle/view"
	"fettle/history/git"
	"fettle/hooks"
	"fettle/lint"
)

// What git calls for files of a library where fettle hooks install set that up. See hooks/README.md.
func init() {
	alone["merge"] = func(a *app) *cobra.Command {
		return &cobra.Command{Use: "merge BASE HERE THERE PATH [MARKER-SIZE]", Short: "what git calls to merge a file of a library value by value", Hidden: true,
			Args: cobra.RangeArgs(4, 5), RunE: func(_ *cobra.Command, args []string) error { return a.mergeFile(args) }}
	}
	alone["textconv"] = func(a *app) *cobra.Command {
		return &cobra.Command{Use: "textconv FILE", Short: "a file of a library with one value on each line, as git diff shows it", Hidden: true, Args: cobra.ExactArgs(1),
			RunE: func(_ *cobra.Command, args []string) error {
				data, err := os.ReadFile(args[0])
				if err != nil {
					return cannotRead(args[0], err)
				}
				_, err = a.out.Write(hooks.Textconv(args[0], data))
				return err
			}}
	}
}

// mergeFile is one call by git. What it has to say goes to standard error, and nothing to standard output.
func (a *app) mergeFile(args []string) error {
	repo, err := git.Open(a.dir)
	if err != nil {
		return err
	}
	defer repo.Close()
	size := 0
	if len(args) == 5 {
		if size, err = strconv.Atoi(args[4]); err != nil || size < 1 {
			return troublef("git gives 7.", "%q is no size of a marker line", args[4])
		}
	}
	options := view.FindingsOptions{Color: a.color == "always", Width: 80}
	open, err := hooks.RunDriver(repo, hooks.DriverCall{Base: args[0], Here: args[1], There: args[2], Path: args[3], MarkerSize: size, Out: a.err,
		Render: func(w io.Writer, f lint.Finding) { view.Finding(w, f, options) }})
	if err != nil {
		return &trouble{fmt.Errorf("%s was not merged: %w", clean(args[3]), err), ""}
	}
	if open {
		return errFound
	}
	return nil
}
