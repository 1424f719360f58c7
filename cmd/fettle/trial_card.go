package main

import (
	"fmt"
	"slices"
	"strings"

	"fettle/history"
	"fettle/hooks"
	"fettle/schema"
)

// tryCard gathers what the trials on record say of a card.
func (s *shop) tryCard(c *card, st *state) {
	machine := st.lib.Machine(c.ID.Machine)
	from := c.base
	if c.Status == history.Stale {
		from = nil // the recipe is the same; on the changed machine all of it has to be shown again
	}
	to := valuesOf(c.Now)
	c.tried = hooks.Try(st.ledger, c.ID, from, to, machine)
	c.covering, c.missing = c.tried.Covering, c.tried.Missing
	for _, cut := range c.tried.Evidence.Cuts {
		if n := st.ledger.HotCuts(cut.Record); n > 0 && !slices.Contains(c.hot, cut.Record) {
			c.hot = append(c.hot, cut.Record)
		}
	}
	asked := slices.ContainsFunc(history.CompareValues(from, to), func(f history.FieldChange) bool { return schema.ProcessField(f.Path) })
	if machine == nil || to == nil || !asked || len(machine.UnitNames()) < 2 {
		return
	}
	proven := st.ledger.ProvenUnits(c.ID, machine.BeamAndJet(c.ID.Gas))
	for _, unit := range machine.UnitNames() {
		if !proven[unit] {
			c.unproven = append(c.unproven, unit)
		}
	}
}

// windowNote says how a changed value lies to what trials showed, or nothing where they say nothing of it. One good step is no window.
func (s *shop) windowNote(c *card, path string) string {
	if a, ok := c.along(path); ok && a.Window.Steps > 1 {
		return s.windowWords(a)
	}
	return ""
}

// along is what is known along one of the changed values.
func (c *card) along(path string) (hooks.Along, bool) {
	i := slices.IndexFunc(c.tried.Windows, func(a hooks.Along) bool { return a.Path == path })
	if i < 0 {
		return hooks.Along{}, false
	}
	return c.tried.Windows[i], true
}

func (s *shop) windowWords(a hooks.Along) string {
	show := onStepOf(a.Step, s.prefs())
	place := a.Window.Place(a.Value)
	window := span(show(a.Window.Low), show(a.Window.High))
	switch {
	case a.Window.Steps == 1 && place.Inside:
		return "the only step that was shown good"
	case a.Window.Steps == 1:
		return "only " + show(a.Window.Low) + " was shown good"
	case place.Inside:
		return "inside the proven window " + window + ", " + place.Words()
	}
	side, _, _ := strings.Cut(place.Words(), " ")
	return side + " the proven window " + window
}

// span writes two values with their unit once, where it is one: 0.36 to 0.52 bar.
func span(low, high string) string {
	if _, unit, ok := strings.Cut(high, " "); ok && strings.HasSuffix(low, " "+unit) {
		low = strings.TrimSuffix(low, " "+unit)
	}
	return low + " to " + high
}

// withNote puts a note behind a line.
func withNote(line, note string) string {
	if note == "" {
		return line
	}
	return line + "   " + note
}

// printTrials says which trials stand behind a card, and what they leave open.
func (s *shop) printTrials(c *card, line func(string, string, ...any)) {
	for _, t := range c.covering {
		line("trials", "%s", s.trialLine(t))
		if along := c.alongWhat(t); along != "" {
			line("", "%s", along)
		}
	}
	switch against := c.tried.Against(); {
	case against != "":
		line("trials", "these values came out %s", against)
	case len(c.covering) == 0 && c.Now != nil:
		line("trials", "none with these values")
	}
	if len(c.covering) > 0 && len(c.missing) > 0 {
		line("not tried", "%s", strings.Join(spokenPaths(c.missing), ", "))
	}
	const most = 3
	aside := c.tried.Evidence.Aside
	for i, a := range slices.Backward(aside) {
		if len(aside)-i > most {
			line("", "and %d more that do not count", i+1)
			break
		}
		line("not counted", "%s: %s", s.trialLine(a.Record), clean(a.Why))
	}
	for _, unit := range c.unproven {
		line("not proven", "on %s: no good cut of this set is on record there", unit)
	}
	for _, t := range c.hot {
		line("caution", "the nozzle was hot in the trial of %s (%s): look first at alignment and a reflecting plate, then focus, spatter, optics, pierce", s.day(t.Time()), t.Digest.Short())
		line("", "say what it was: fettle triage %s --symptom hot-nozzle --found WORD", c.ID)
	}
}

// alongWhat names the changed values that a trial says something of, where there are several to tell apart.
func (c *card) alongWhat(trial *schema.Record) string {
	var paths []string
	for _, a := range c.tried.Windows {
		if slices.Contains(a.Trials(), trial) {
			paths = append(paths, schema.SpokenPath(a.Path))
		}
	}
	if len(c.tried.Windows) < 2 || len(paths) == 0 {
		return ""
	}
	return "along " + strings.Join(paths, ", ")
}

func spokenPaths(changes []history.FieldChange) []string {
	var out []string
	for _, m := range changes {
		out = append(out, schema.SpokenPath(m.Path))
	}
	return out
}

// untried says which process values no good trial covers, where the policy asks for one: what is missing, and how it is come by.
func (s *shop) untried(c *card) (why, help string) {
	if why, help = s.lacksTrial(c); why != "" && s.line != nil { // a trial is of the values at hand, and is saved beside them
		help = "Go to that branch first: git switch " + hooks.Quote(clean(s.line.name)) + "\n" + help
	}
	return why, help
}

func (s *shop) lacksTrial(c *card) (why, help string) {
	if c.Now == nil {
		return "", ""
	}
	record := "Cut it and record what came out: fettle trial record " + c.ID.String() + " --good --unit UNIT"
	against := c.tried.Against()
	switch {
	case c.Status == history.Stale && len(c.covering) == 0 && against == "":
		return "the machine changed since it was proven, and no trial since shows that it still cuts well",
			"Cut it once and record it: fettle trial record " + c.ID.String() + " --good --unit UNIT"
	case against != "" && len(c.covering) == 0:
		return "a trial with these values came out " + against,
			"What was tried: fettle trial show " + c.ID.String() + "\nIf something else was at fault then, cut it again: fettle trial record " + c.ID.String() + " --good --unit UNIT"
	case len(c.missing) > 0 && c.Status != history.Stale:
		return "no good trial covers " + strings.Join(spokenPaths(c.missing), ", "), strings.Join(append(s.missingLines(c), record,
			"Or plan a ladder: fettle trial plan "+c.ID.String()+" --vary "+schema.SpokenPath(c.missing[0].Path)), "\n")
	case len(c.unproven) > 0:
		return "nothing shows that it cuts well on " + strings.Join(c.unproven, ", "),
			"One good cut of this set on each will do: fettle trial record " + c.ID.String() + " --good --unit " + c.unproven[0]
	}
	return "", ""
}

// missingLines says of every value that is not covered what is known of it.
func (s *shop) missingLines(c *card) []string {
	var out []string
	for _, m := range c.missing {
		to := value(m.To, s.prefs())
		if m.To.Path == "" {
			to = "gone"
		}
		note := "not cut so far, all else as it is here"
		if a, ok := c.along(m.Path); ok {
			note = s.windowWords(a)
		}
		out = append(out, fmt.Sprintf("  %-14s %s: %s", schema.SpokenPath(m.Path), to, note))
	}
	for _, a := range c.tried.Evidence.Aside {
		out = append(out, fmt.Sprintf("  the trial of %s (%s) does not count: %s", s.day(a.Record.Time()), a.Record.Digest.Short(), a.Why))
	}
	return out
}

// Trials on a card, for programs.
type (
	jsonWindow struct {
		Field  string   `json:"field"`
		Low    string   `json:"low"`
		High   string   `json:"high"`
		Steps  int      `json:"steps"`
		Cuts   int      `json:"cuts"`
		Inside bool     `json:"inside"`
		Place  string   `json:"place"`
		Trials []string `json:"trials"`
	}
	jsonAside struct {
		Record string `json:"record"`
		Why    string `json:"why"`
	}
	jsonTried struct {
		Windows  []jsonWindow `json:"windows"`
		Against  string       `json:"against"`
		Aside    []jsonAside  `json:"not_counted"`
		Unproven []string     `json:"unproven_units"`
		Hot      []string     `json:"hot_nozzle"`
	}
)

func (c *card) triedJSON() jsonTried {
	j := jsonTried{Windows: []jsonWindow{}, Aside: []jsonAside{}, Unproven: append([]string{}, c.unproven...), Hot: []string{}, Against: c.tried.Against()}
	for _, a := range c.tried.Windows {
		place := a.Window.Place(a.Value)
		w := jsonWindow{Field: a.Path, Low: a.Window.Low.Text(), High: a.Window.High.Text(), Steps: a.Window.Steps, Cuts: a.Window.Cuts, Inside: place.Inside,
			Place: place.Words(), Trials: []string{}}
		for _, r := range a.Trials() {
			w.Trials = append(w.Trials, string(r.Digest))
		}
		j.Windows = append(j.Windows, w)
	}
	for _, a := range c.tried.Evidence.Aside {
		j.Aside = append(j.Aside, jsonAside{string(a.Record.Digest), a.Why})
	}
	for _, r := range c.hot {
		j.Hot = append(j.Hot, string(r.Digest))
	}
	return j
}
