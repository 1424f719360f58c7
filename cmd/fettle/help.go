package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/cmd/fettle/view"
)

// shelves are where help puts the commands, in the order of the work.
var shelves = []struct {
	title string
	names []string
}{
	{"To begin", []string{"demo", "init", "import", "adopt"}},
	{"To change a recipe", []string{"set", "copy", "put-back", "reason", "save"}},
	{"To try it", []string{"trial", "suggest", "trend"}},
	{"To decide", []string{"review", "approve", "reject", "send", "withdraw", "undo", "permit", "waive"}},
	{"To look", []string{"status", "show", "audit", "verify", "export", "serve"}},
	{"When a cut goes bad", []string{"triage", "load", "compare", "escape"}},
	{"To check", []string{"lint", "explain", "rules", "format"}},
	{"For this PC and for programs", []string{"hooks", "gate", "lsp", "schema", "completion", "man", "version"}},
}

// helpWidth is what help is fitted to: the screen, but no line so long that it is hard to read.
func (a *app) helpWidth() int {
	if width := columns(a.out); width > 0 {
		return min(width, 100)
	}
	return 80
}

// foldHelp fits help to the screen, and puts the commands of the program on their shelves.
func (a *app) foldHelp(root *cobra.Command) {
	show := root.HelpFunc()
	root.SetHelpFunc(func(cmd *cobra.Command, args []string) {
		if cmd == root {
			a.rootHelp(root)
			return
		}
		width := a.helpWidth()
		cmd.Long = view.Paragraphs(cmd.Long, width)
		usage := cmd.UsageTemplate()
		for _, flags := range []string{".LocalFlags.FlagUsages", ".InheritedFlags.FlagUsages"} {
			usage = strings.ReplaceAll(usage, flags+" ", fmt.Sprintf("%sWrapped %d ", flags, width))
		}
		cmd.SetUsageTemplate(usage)
		show(cmd, args)
	})
}

func (a *app) rootHelp(root *cobra.Command) {
	width := a.helpWidth()
	line := func(format string, args ...any) { fmt.Fprintln(a.out, view.Fold(fmt.Sprintf(format, args...), width)) }
	line("%s", view.Paragraphs(root.Long, width))
	rest := slices.DeleteFunc(slices.Clone(root.Commands()), func(c *cobra.Command) bool { return !c.IsAvailableCommand() || c.Name() == "help" })
	for _, shelf := range shelves {
		titled := false
		for _, name := range shelf.names {
			i := slices.IndexFunc(rest, func(c *cobra.Command) bool { return c.Name() == name })
			if i < 0 {
				continue
			}
			if !titled {
				line("\n%s", shelf.title)
				titled = true
			}
			line("  %-11s  %s", name, rest[i].Short)
			rest = slices.Delete(rest, i, i+1)
		}
	}
	if len(rest) > 0 {
		line("\nMore")
	}
	for _, c := range rest {
		line("  %-11s  %s", c.Name(), c.Short)
	}
	fmt.Fprintf(a.out, "\nWith every command\n%s", root.PersistentFlags().FlagUsagesWrapped(width))
	line("\nMore about one of them: fettle COMMAND --help")
}
