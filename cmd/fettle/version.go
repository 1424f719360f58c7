package main

import (
	"fmt"
	"runtime/debug"

	"github.com/spf13/cobra"
)

func init() {
	alone["version"] = func(a *app) *cobra.Command {
		return &cobra.Command{Use: "version", Short: "which fettle this is", Args: noArgs, RunE: func(*cobra.Command, []string) error {
			v := version()
			if a.format == "json" {
				return a.json(map[string]any{"format": 1, "version": v, "file_format": 1, "canon": 1})
			}
			fmt.Fprintf(a.out, "fettle %s (file format 1, canonical form 1)\n", v)
			return nil
		}}
	}
}

// version is the module version or commit that Go stamped into the program.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	v := info.Main.Version
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && (v == "" || v == "(devel)") {
			v = s.Value[:12]
		}
	}
	if v == "" {
		v = "(devel)"
	}
	return v
}
