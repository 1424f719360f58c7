package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"fettle/schema"
	"fettle/schema/check"
)

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		cmd := &cobra.Command{Use: "schema [KIND]", Short: "the published JSON Schemas of the files",
			Args: cobra.MaximumNArgs(1), ValidArgs: schema.PublishedKinds(),
			RunE: func(cmd *cobra.Command, args []string) error {
				if len(args) == 0 {
					for _, kind := range schema.PublishedKinds() {
						fmt.Fprintln(a.out, kind)
					}
					return nil
				}
				data, ok := schema.Published(args[0])
				if !ok {
					return troublef(didYouMean(args[0], schema.PublishedKinds()), "there is no kind of file %q", args[0])
				}
				_, err := a.out.Write(data)
				return err
			}}
		cmd.AddCommand(&cobra.Command{Use: "check FILE...", Short: "check files against the published schemas", Args: cobra.MinimumNArgs(1),
			RunE: func(cmd *cobra.Command, args []string) error { return a.schemaCheck(args) }})
		return cmd
	})
}

func (a *app) schemaCheck(files []string) error {
	bad := false
	for _, path := range files {
		data, err := os.ReadFile(filepath.Join(a.dir, path))
		if err != nil {
			return cannotRead(path, err)
		}
		problems, err := check.File(path, data)
		if err != nil {
			return err
		}
		for _, p := range problems {
			bad = true
			fmt.Fprintf(a.out, "%s:%d:%d: %s\n", path, p.Line, p.Column, clean(strings.TrimSpace(p.Field+"  "+p.Message)))
			if p.Help != "" {
				fmt.Fprintf(a.out, "      %s\n", clean(p.Help))
			}
		}
		if len(problems) == 0 {
			a.say("%s: fits its schema", path)
		}
	}
	if bad {
		return errFound
	}
	return nil
}
