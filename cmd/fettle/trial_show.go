package main

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/schema"
)

func (a *app) trialShowCommand() *cobra.Command {
	return &cobra.Command{Use: "show [ID...]", Short: "the trials on record", ValidArgsFunction: a.complete(savedIDs),
		RunE: func(cmd *cobra.Command, args []string) error { return a.showTrials(args) }}
}

func (a *app) showTrials(typed []string) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	work, saved, err := s.both()
	if err != nil {
		return err
	}
	ids, err := a.resolve(typed, idsOf(work, saved))
	if err != nil {
		return err
	}
	count := 0
	for _, t := range history.Bodies[*schema.Trial](s.unsaved.ledger) {
		if len(ids) > 0 && !slices.ContainsFunc(ids, func(id schema.ID) bool { return id.String() == t.Body.ID.V }) {
			continue
		}
		count++
		s.say("%s  %s", t.Body.ID.V, s.trialLine(t.Record))
		for _, step := range t.Body.Steps.V {
			line := step.Outcome.V
			for _, c := range step.Changed {
				line += "  " + schema.SpokenPath(c.Name) + " " + c.V
			}
			if len(step.Observed.V) > 0 {
				line += "  seen: " + strings.Join(step.Observed.V, ", ")
			}
			s.say("    %s", clean(line))
		}
	}
	if count == 0 {
		s.say("no trial is on record%s; to record one: fettle trial record ID --good", map[bool]string{true: " for it"}[len(ids) > 0])
	}
	return nil
}
