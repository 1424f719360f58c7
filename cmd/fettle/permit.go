package main

import (
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/lint"
	"fettle/schema"
)

func init() {
	commands = append(commands,
		func(a *app) *cobra.Command {
			var f permitFlags
			cmd := &cobra.Command{Use: "permit ID... --until T --because \"...\"", Short: "let a recipe run until the lead can decide, 72 hours at most",
				Long: "Lets recipes that are saved and not approved run for a while: a night shift, or one bad lot of plate. Anybody may, and every screen says until when.\n" +
					"It never overrides an error. When it ends, the condition waits for a decision like any other.",
				Example:           "  fettle permit bay-2/carbon-steel/oxygen/10mm --until 06:00 --because \"lot 4711 leaves dross\" --lot 4711\n  fettle permit bay-2/carbon-steel/oxygen/10mm --until 48h --because \"weekend\"",
				Args:              cobra.MinimumNArgs(1),
				ValidArgsFunction: a.complete(inSaved),
				RunE:              func(cmd *cobra.Command, args []string) error { return a.permit(args, f) }}
			f.add(cmd)
			cmd.Flags().StringVar(&f.lot, "lot", "", "the plate lot it is for")
			cmd.Flags().StringVar(&f.unit, "unit", "", "the real machine it is for; any of the profile if not given")
			a.completeUnits(cmd)
			return cmd
		},
		func(a *app) *cobra.Command {
			var f permitFlags
			cmd := &cobra.Command{Use: "waive RULE ID... --until T --because \"...\"", Short: "accept a finding on a recipe for a time, signed",
				Long: "Takes responsibility for what a rule says of a recipe, by somebody of the roster and signed. It ends at the time given, and before that when the recipe\n" +
					"changes. Rules about changes and records, and files that cannot be read, cannot be waived.",
				Example: "  fettle waive standoff-orifice bay-2/stainless-steel/nitrogen/10mm --until 2026-12-31 --because \"tried, long nozzle\"",
				Args:    cobra.MinimumNArgs(2),
				RunE:    func(cmd *cobra.Command, args []string) error { return a.waive(args[0], args[1:], f) }}
			f.add(cmd)
			return cmd
		})
}

// permitFlags are the flags of permit and waive.
type permitFlags struct {
	decisionFlags
	until, lot, unit string
}

func (f *permitFlags) add(cmd *cobra.Command) {
	f.decisionFlags.add(cmd)
	cmd.Flags().StringVar(&f.until, "until", "", "when it ends: 06:00 (the next one), 2026-11-30, 2026-11-30 14:00, or 48h from now; in the time of this computer")
}

// ends reads when something ends that may last so long at most.
func (s *shop) ends(typed string, most time.Duration, spoken string) (time.Time, error) {
	now := s.now()
	if typed == "" {
		return now, refusef("Such as --until 06:00, --until 48h or --until "+now.Add(24*time.Hour).Format("2006-01-02")+".", "it has to end: add --until")
	}
	var t time.Time
	if d, err := time.ParseDuration(typed); err == nil {
		t = now.Add(d)
	} else if clock, err := time.ParseInLocation("15:04", typed, time.Local); err == nil {
		local := now.Local()
		t = time.Date(local.Year(), local.Month(), local.Day(), clock.Hour(), clock.Minute(), 0, 0, time.Local)
		if !t.After(now) {
			t = t.AddDate(0, 0, 1)
		}
	} else if t, err = moment("--until", typed, true); err != nil {
		return now, err
	}
	switch t = t.Truncate(time.Second); {
	case !t.After(now):
		return t, refusef("Here it is "+clockText(now)+".", "--until %s lies in the past", clockText(t))
	case t.After(now.Add(most)):
		return t, refusef("Longer takes another look: give a nearer time, and do it again then.", "--until %s is too far off: it lasts %s at most", clockText(t), spoken)
	}
	return t, nil
}

func (a *app) permit(typed []string, f permitFlags) error {
	if strings.TrimSpace(f.text) == "" {
		return refusef("Add --because \"...\": whoever decides later has to know.", "a permit needs a reason")
	}
	s, err := a.open()
	if err != nil {
		return err
	}
	s.meant(typed, 0, onceInUse)
	if _, _, err := s.both(); err != nil {
		return err
	}
	until, err := s.ends(f.until, history.LongestPermit, "72 hours")
	if err != nil {
		return err
	}
	positions, err := s.chosen(&s.committed, typed)
	if err != nil {
		return err
	}
	if f.unit != "" {
		if _, err := machineOf(s.committed.lib, f.unit); err != nil {
			return err
		}
	}
	var records []*schema.Record
	cards := s.cards(&s.committed, positions)
	for i := range cards {
		c := &cards[i]
		if why, help := notPermitted(c); why != "" {
			return refusef(help, "%s: %s", c.ID, why)
		}
		common, err := s.common(s.committed.lib, schema.KindPermit, f.text)
		if err != nil {
			return err
		}
		if f.unit != "" {
			common.Unit = schema.Of(f.unit)
		}
		body := &schema.Permit{Common: common, ID: schema.Of(c.ID.String()), Digest: schema.Of(string(c.Digest)), Until: schema.Of(until.UTC().Format(time.RFC3339))}
		if f.lot != "" {
			body.Lot = schema.Of(f.lot)
		}
		records = append(records, schema.NewRecord(body))
	}
	for _, c := range cards {
		s.say("%-9s %s, provisional until %s", "permitted", c.ID, clockText(until))
	}
	s.say("          it stays first in line for a decision: fettle review")
	return s.putAll(records, fmt.Sprintf("Let %s run until %s\n\n%s\n", named(cards), until.UTC().Format("2 January 15:04 UTC"), clean(f.text)), f.noCommit)
}

// notPermitted says why a recipe may not run before it is decided, with the way out, or nothing.
func notPermitted(c *card) (why, help string) {
	switch {
	case c.Now == nil:
		return "it is not there", "fettle status shows what is."
	case c.unsaved:
		return "there are edits that are not saved; a permit is for what is saved", "Save them first (fettle save " + c.ID.String() + "), or put them back."
	case c.Status == history.Approved:
		return "it is approved as it stands and needs no permit", ""
	case c.Status == history.Rejected:
		return "this recipe was rejected", "What is in force runs: fettle put-back " + c.ID.String()
	}
	for _, f := range c.findings {
		if f.Severity == lint.Error && !isAboutReasons(f) {
			return fmt.Sprintf("%s [%s]", f.Message, f.Rule), "A permit does not override an error. Mend it, or put the approved recipe back: fettle put-back " + c.ID.String()
		}
	}
	return "", ""
}

func named(cards []card) string {
	if len(cards) == 1 {
		return cards[0].ID.String()
	}
	return counted(len(cards), "condition")
}

const longestWaiver = 366 * 24 * time.Hour

func (a *app) waive(name string, typed []string, f permitFlags) error {
	rule, nearest, ok := lint.RuleNamed(name)
	switch {
	case !ok && nearest != "":
		return troublef("Did you mean "+nearest+"?", "there is no rule %q", name)
	case !ok:
		return troublef("fettle rules lists them.", "there is no rule %q", name)
	case rule.Family == "change":
		return refusef("fettle explain "+name+" tells what it asks for.", "%s cannot be waived: it is about how a change is made, not about a value", name)
	case rule.Family == "file":
		return refusef("fettle explain "+name+" tells how it is mended.", "%s cannot be waived: what cannot be read cannot be judged", name)
	case strings.TrimSpace(f.text) == "":
		return refusef("Add --because \"...\".", "to accept a finding takes a reason")
	}
	s, err := a.open()
	if err != nil {
		return err
	}
	s.meant(typed, onRecord, onceInUse)
	if _, _, err := s.both(); err != nil {
		return err
	}
	if err := standingHolds(s.standing(&s.committed)); err != nil {
		return err
	}
	until, err := s.ends(f.until, longestWaiver, "a year")
	if err != nil {
		return err
	}
	positions, err := s.chosen(&s.committed, typed)
	if err != nil {
		return err
	}
	if _, err := s.decider(); err != nil {
		return err
	}
	var records []*schema.Record
	cards := s.cards(&s.committed, positions)
	for i := range cards {
		c := &cards[i]
		found := ""
		for _, finding := range c.findings {
			if finding.Rule == name && finding.Severity > lint.Note {
				found = finding.Message
			}
		}
		switch {
		case c.unsaved:
			return refusef("Save them first (fettle save "+c.ID.String()+"), or put them back.", "%s: there are edits that are not saved; what is accepted is about what is saved", c.ID)
		case found == "":
			return refusef("fettle lint "+c.ID.String()+" shows what is found.", "%s: %s finds nothing there that could be accepted", c.ID, name)
		}
		common, err := s.common(s.committed.lib, schema.KindWaiver, f.text)
		if err != nil {
			return err
		}
		r, err := s.sign(&schema.Waiver{Common: common, Rule: schema.Of(name), ID: schema.Of(c.ID.String()), Digest: schema.Of(string(c.Digest)), Until: schema.Of(until.UTC().Format(time.RFC3339))})
		if err != nil {
			return err
		}
		records = append(records, r)
		s.say("%-9s %s: %s", "accepted", c.ID, clean(found))
	}
	s.say("          until %s, or until the recipe changes", clockText(until))
	return s.putAll(records, fmt.Sprintf("Accept %s on %s until %s\n\n%s\n", name, named(cards), until.UTC().Format("2 January 2006"), clean(f.text)), f.noCommit)
}
