package main

import (
	"github.com/spf13/cobra"

	"fettle/schema"
)

// unsavedIDs and savedIDs are the conditions of a state, for completion.
func unsavedIDs(s *shop) []schema.ID {
	lib, err := s.work()
	if err != nil {
		return nil
	}
	return idsOf(lib)
}

func savedIDs(s *shop) []schema.ID {
	lib, err := s.saved()
	if err != nil {
		return nil
	}
	return idsOf(lib)
}

// complete offers ids part by part: bay-2/, then bay-2/carbon-steel/ and so on.
func (a *app) complete(ids func(*shop) []schema.ID) func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return func(_ *cobra.Command, _ []string, typed string) ([]string, cobra.ShellCompDirective) {
		s, err := a.open()
		if err != nil {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return completeIDs(typed, ids(s)), cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveNoSpace
	}
}
