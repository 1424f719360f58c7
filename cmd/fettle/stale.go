package main

import (
	"bufio"
	"fmt"
	"slices"
	"strings"

	"fettle/history"
	"fettle/schema"
)

// approveStale approves again, together, what went stale because the machine changed, where the policy lets one reason in words speak for
// all of it. What differs from the recipe in force in anything else is no part of it.
func (s *shop) approveStale(typed []string, flags decisionFlags) error {
	standing := s.standing(&s.committed)
	saved, held := s.committed.lib.Policy(), standing.Policy(s.committed.lib.Policy())
	switch {
	case len(typed) > 0:
		return troublef("fettle approve --stale "+typed[0]+" --because \"...\"", "--stale says itself what it is for; nothing else can be named")
	case !held.StaleTogether() && saved.StaleTogether():
		return refusef("That change of "+schema.SettingsFile+" has to be approved first: fettle approve settings", "the policy in force does not let what is stale be approved together")
	case !held.StaleTogether() || !saved.StaleTogether():
		return refusef("One by one, each with its trial: fettle approve ID\nA shop that wants it sets \"stale_together\": \"allow\" in the policy of "+schema.SettingsFile+", saves, and decides: fettle approve settings",
			"the policy does not let what is stale be approved together")
	case strings.TrimSpace(flags.text) == "":
		return refusef("Add --because \"...\": what changed on the machine, and what shows that it still cuts well.", "to approve again what is stale takes a reason")
	}
	positions, err := s.chosen(&s.committed, []string{flags.stale})
	if err != nil {
		return err
	}
	others := len(positions)
	positions = slices.DeleteFunc(positions, func(p history.Position) bool { return p.Status != history.Stale })
	others -= len(positions)
	if len(positions) == 0 {
		return refusef("How each stands: fettle review", "nothing is stale below %q", flags.stale)
	}
	cards := s.cards(&s.committed, positions)
	s.say("stale since the machine changed, and to be approved as they are:")
	var drifted []string
	for i := range cards {
		s.say("  %s    %s", cards[i].ID, s.oneLine(cards[i].Now.Values()))
		for _, l := range s.changeLines(cards[i].Drifted) {
			if l = cards[i].ID.Machine + "  " + l; !slices.Contains(drifted, l) {
				drifted = append(drifted, l)
			}
		}
	}
	for _, l := range drifted {
		s.say("machine   %s", l)
	}
	if others > 0 {
		s.say("          left out, since not stale: %s", counted(others, "condition"))
	}
	if s.terminal {
		answer := prompt(s, bufio.NewReader(s.in), fmt.Sprintf("Approve %s again? [y/N]", counted(len(cards), "condition")))
		if a := strings.ToLower(answer); a != "y" && a != "yes" {
			s.say("nothing was decided")
			return nil
		}
	}
	return s.decideCards(schema.KindApproval, cards, flags)
}
