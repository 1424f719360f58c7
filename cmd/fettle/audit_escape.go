package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"fettle/cmd/fettle/view"
	"fettle/history"
	"fettle/history/audit"
	"fettle/history/triage"
	"fettle/schema"
)

// mostSuspects is how many suspects a page shows with all that is known of them.
const mostSuspects = 6

// knowledge is what is known of bad cuts, with what the library adds in its file triage.txt.
func (s *shop) knowledge() (*triage.Knowledge, error) {
	data, err := os.ReadFile(filepath.Join(s.root, triage.LibraryFile))
	if err != nil && !os.IsNotExist(err) {
		return nil, cannotRead(triage.LibraryFile, err)
	}
	k, err := triage.Read(string(data))
	if err != nil {
		return nil, troublef("Mend the line, or take the file away to go by what is built in.", "%w", err)
	}
	return k, nil
}

// auditEscape answers what changed before bad parts.
func (s *shop) auditEscape(typed, rev string) error {
	s.like()
	anchor, err := s.anchor()
	if err != nil {
		return err
	}
	trail, err := audit.Read(s.repo, s.sub, audit.Options{Rev: rev, Anchor: anchor, Kept: rev == "", Apart: true})
	if err != nil {
		return err
	}
	r, err := trail.Ledger.Find(typed)
	if err != nil {
		return troublef("fettle escape lists those on record.", "%w", err)
	}
	if r.Kind != schema.KindEscape || !history.Sound(r) {
		return troublef("fettle escape lists those on record.", "%s is a record of kind %s, and no escape", r.Path, r.Kind)
	}
	k, err := s.knowledge()
	if err != nil {
		return err
	}
	inv := k.Investigate(trail, r)
	if err := trail.Err(); err != nil {
		return err
	}
	if s.format == "json" {
		return s.json(s.escapeJSON(trail, inv))
	}
	return s.writePage(s.escapePage(trail, inv))
}

// local is a moment of a page, in the time of this computer; with the year where that is not the present one.
func (s *shop) local(t time.Time) string {
	if t.Local().Year() != s.now().Local().Year() {
		return t.Local().Format("Mon 2 Jan 2006 15:04")
	}
	return t.Local().Format("Mon 2 Jan 15:04")
}

func zoned(t time.Time) string {
	text := clockText(t)
	if _, offset := t.Local().Zone(); offset != 0 {
		text += t.UTC().Format(" (15:04 UTC)")
	}
	return text
}

// escapePage is one page about an escape.
func (s *shop) escapePage(trail *audit.Trail, inv *triage.Investigation) *view.Page {
	e := inv.Escape
	page := &view.Page{Title: fmt.Sprintf("Bad parts from %s", inv.Unit), Subtitle: "Evidence, not a verdict, and no release of a part."}
	t := &teller{shop: s, page: page, adopted: true}
	top := func(label, format string, args ...any) {
		page.Rows = append(page.Rows, view.Row{Label: label, Text: fmt.Sprintf(format, args...)})
	}
	top("escape", "%s, written down by %s on %s", inv.Record.Digest.Short(), spoken(e.By.V), clockText(inv.Record.Time()))
	unit := clean(inv.Unit)
	for _, more := range [][2]string{{"job", e.Job.V}, {"lot", e.Lot.V}} {
		if more[1] != "" {
			unit += ", " + more[0] + " " + clean(more[1])
		}
	}
	top("machine", "%s", unit)
	top("symptom", "%s", strings.Join(inv.Symptoms, ", "))
	top("cut from", "%s", zoned(inv.From))
	top("until", "%s, %s", zoned(inv.To), triage.Span(inv.To.Sub(inv.From)))
	if e.Text.V != "" {
		top("because", "%s", clean(e.Text.V))
	}
	if text := overridesText(e.Overrides); text != "" {
		top("override", "%s stood at the machine: that alone can do it; cut a part at 100 %% before the recipe is blamed", text)
	}
	if w := trail.Standing.Withdrawn[inv.Record.Digest]; w != nil {
		top("taken back", "on %s by %s", s.day(w.Time()), spoken(w.By.V))
	}
	t.suspects(trail, inv)
	t.heldThen(inv)
	if len(inv.Gaps) > 0 {
		t.section("What is not known")
		for _, g := range inv.Gaps {
			page.Sections[len(page.Sections)-1].Rows = append(page.Sections[len(page.Sections)-1].Rows, view.Row{Text: g})
		}
	}
	t.escapeNext(trail, inv)
	return page
}

// likely reports whether a finding explains anything of the bad parts.
func likely(f *triage.Finding) bool {
	return f.Score >= 0.05 && f.OnMachine != triage.No && f.Time > 0.05
}

// suspects tells the suspects, the first one worth the first look.
func (t *teller) suspects(trail *audit.Trail, inv *triage.Investigation) {
	var first, rest []*triage.Finding
	for i := range inv.Findings {
		f := &inv.Findings[i]
		if likely(f) && len(first) < mostSuspects {
			first = append(first, f)
		} else {
			rest = append(rest, f)
		}
	}
	if len(first) == 0 {
		t.section("Nothing changed")
		words := "no recipe that was on the machine changed in the year before, as far as records go"
		if len(rest) > 0 {
			words = "no change before it explains this; those that there were stand below"
		}
		t.row0(words)
		t.row0("look elsewhere first:")
		t.row0(triageOf(trail, inv))
	} else {
		t.section("What to look at first (evidence, not a verdict)")
	}
	for i, f := range first {
		t.suspect(trail, inv, f, i+1)
	}
	if len(rest) > 0 {
		t.section("Also changed, and unlikely to explain it")
		for i, f := range rest {
			if i == mostSuspects {
				t.row0(fmt.Sprintf("and %d more: fettle audit --since %s", len(rest)-i, inv.From.AddDate(0, -2, 0).Format(time.DateOnly)))
				break
			}
			how := ""
			if f.Older {
				how = ", with an older recipe"
			}
			t.block(fmt.Sprintf("%s   %s   %s%s", idsLine(f.IDs), t.changeText(f), t.local(f.At), how), view.Plain)
			if len(f.Against) > 0 {
				t.row("", "%s", clean(f.Against[0]))
			}
		}
	}
	if n := inv.Undone + inv.Unloaded; n > 0 {
		t.foot("%s of the year before had been taken back, or never loaded, before the first bad part", counted(n, "more change"))
	}
}

// row0 adds a line to the last section.
func (t *teller) row0(text string) {
	s := &t.page.Sections[len(t.page.Sections)-1]
	s.Rows = append(s.Rows, view.Row{Text: text})
}

func idsLine(ids []string) string {
	if len(ids) > 1 {
		return fmt.Sprintf("%s and %d more", clean(ids[0]), len(ids)-1)
	}
	return clean(ids[0])
}

// changeText is a change in a line: cut.pressure 0.40 -> 0.52 bar, +30 %.
func (t *teller) changeText(f *triage.Finding) string {
	return strings.Join(strings.Fields(t.changeLines([]history.FieldChange{f.FieldChange})[0]), " ")
}

// suspect tells one suspect: what, when, who, on whose approval and trial, what speaks for and against it, where else it is.
func (t *teller) suspect(trail *audit.Trail, inv *triage.Investigation, f *triage.Finding, n int) {
	tone := view.Plain
	if n == 1 {
		tone = view.Bad
	}
	t.block(fmt.Sprintf("%d  %s", n, t.changeText(f)), tone)
	machine := strings.HasPrefix(f.IDs[0], "machine ")
	if machine {
		t.row("profile", "%s", idsLine(f.IDs))
	} else {
		t.row("condition", "%s", idsLine(f.IDs))
	}
	when := t.local(f.At)
	switch before := inv.From.Sub(f.At); {
	case before > 0:
		when += fmt.Sprintf(", %s before the first bad part", triage.Span(before))
	case f.At.Before(inv.To):
		when += fmt.Sprintf(", %s after the first bad part", triage.Span(-before))
	default:
		when += ", after the last bad part"
	}
	if f.Loading != nil {
		verb := "went on the machine"
		if f.Older {
			verb = "went on the machine with an older recipe"
		}
		t.row("loaded", "%s; %s, written down by %s", when, verb, spoken(f.Loading.Record.By.V))
	} else {
		t.row("saved", "%s", when)
	}
	if e := f.Entry; e != nil {
		t.row("made by", "%s on %s, saved as %.12s", auditPerson(e.By), t.local(e.At), e.Commit)
		for _, w := range e.Why {
			who := spoken(w.By)
			if !w.Signed {
				who += ", claimed"
			}
			t.row("reason", "%s: %s (%s)", w.Cause, clean(w.Text), who)
		}
		if len(e.Why) == 0 && e.Kind == audit.Changed && trail.Standing.Anchor != nil {
			t.row("reason", "none on record")
		}
		if e.Clock != "" {
			t.row("time", "%s", e.Clock)
		}
	}
	t.row("approved", "%s", t.approvalText(trail, f))
	if machine {
		// a profile is not cut
	} else if len(f.Tried) > 0 {
		t.row("trial", "%s", t.trialLine(f.Tried[len(f.Tried)-1]))
	} else {
		t.row("trial", "none that shows these values good")
	}
	t.rows("for", f.For)
	t.rows("against", f.Against)
	for _, span := range f.Risk {
		words := "all of it"
		if span[0].After(inv.From) || span[1].Before(inv.To) {
			words = fmt.Sprintf("%s to %s (%s)", t.local(span[0]), t.local(span[1]), triage.Span(span[1].Sub(span[0])))
		}
		t.row("at risk", "%s", words)
	}
	if len(f.Conditions) > 0 {
		shown, more := f.Conditions, ""
		if len(shown) > 4 {
			shown, more = shown[:4], fmt.Sprintf(" and %d more", len(f.Conditions)-4)
		}
		t.row("also in", "%s%s", clean(strings.Join(shown, ", ")), more)
	}
	if len(f.Units) > 0 {
		t.row("also on", "%s", clean(strings.Join(f.Units, ", ")))
	}
}

// rows adds lines under one label.
func (t *teller) rows(label string, lines []string) {
	for _, l := range lines {
		t.row(label, "%s", clean(l))
		label = view.Same
	}
}

// approvalText says who put the recipe of a finding in force, and when that was.
func (t *teller) approvalText(trail *audit.Trail, f *triage.Finding) string {
	if trail.Standing.Anchor == nil {
		return "nothing is adopted, so nothing is approved"
	}
	if len(f.Approved) == 0 {
		return "by nobody"
	}
	d := f.Approved[0]
	verb := "by"
	if d.Record.Kind == schema.KindAdoption {
		verb = "adopted by"
	}
	text := fmt.Sprintf("%s %s on %s", verb, spoken(d.Person), t.local(d.Record.Time()))
	if d.Record.Time().After(f.At.Add(5 * time.Minute)) {
		text += ", after it went on"
	}
	if f.Older {
		text += "; it was no longer what was approved"
	}
	return text
}

// heldThen tells what was on the machine while the bad parts were cut.
func (t *teller) heldThen(inv *triage.Investigation) {
	t.section("On the machine in that time")
	const most = 12
	for i, h := range inv.Held {
		if i == most {
			t.row0(fmt.Sprintf("and %s more", counted(len(inv.Held)-i, "condition")))
			break
		}
		tone := view.Good
		if slices.ContainsFunc(h.Stays, func(s triage.HeldStay) bool { return !s.Approved }) {
			tone = view.Bad
		}
		t.block(clean(h.ID), tone)
		for _, s := range h.Stays {
			since := ""
			if len(s.Loaded) > 0 {
				since = ", loaded " + t.local(s.Since) + " by " + spoken(s.Loaded[0].Record.By.V)
			}
			t.row("", "%s to %s: %s%s", t.local(s.From), t.local(s.To), t.says(s.Says), since)
			if s.Values != nil {
				t.row("", "    %s   %s", t.oneLine(s.Values), s.Digest().Short())
			}
		}
	}
	if len(inv.Held) == 0 {
		t.row0("not on record")
	}
}

// says speaks names of persons and times in a sentence of the investigation.
func (t *teller) says(words string) string {
	fields := strings.Fields(words)
	for i, w := range fields {
		if strings.Contains(w, "@") {
			name := strings.TrimRight(w, ",;")
			fields[i] = spoken(name) + w[len(name):]
		} else if at, err := time.Parse(time.RFC3339, w); err == nil {
			fields[i] = t.local(at)
		}
	}
	return clean(strings.Join(fields, " "))
}

// triageOf is the triage to type next.
func triageOf(trail *audit.Trail, inv *triage.Investigation) string {
	id, symptoms := "ID", inv.Symptoms
	if len(inv.Held) == 1 {
		id = clean(inv.Held[0].ID)
	}
	if len(symptoms) == 0 {
		symptoms = []string{"WORD"}
	}
	return triageCommand(trail.Library, id, symptoms, clean(inv.Unit))
}

// escapeNext says what to do next.
func (t *teller) escapeNext(trail *audit.Trail, inv *triage.Investigation) {
	t.section("Next")
	t.row0("hold the parts of the times at risk back until somebody who may has decided on them")
	if len(inv.Findings) > 0 && likely(&inv.Findings[0]) {
		f := &inv.Findings[0]
		if f.Older {
			t.row0("put what is approved on the machine (fettle export gives it), and write that down:")
			t.row0("fettle load " + clean(f.IDs[0]) + " --unit " + clean(inv.Unit) + " --approved")
		} else if id, err := schema.ParseID(f.IDs[0]); err == nil && len(f.Approved) == 0 {
			if p := trail.Standing.Position(trail.Library, id); p.Status != history.Approved && p.Approved() != nil {
				t.row0("restore the approved recipe; fettle review shows what waits:")
				t.row0("fettle put-back " + clean(f.IDs[0]))
			}
		}
		t.row0("before the recipe is blamed, look elsewhere:")
		t.row0(triageOf(trail, inv))
	}
	t.row0("all of it, field by field:")
	t.row0("fettle audit --since " + inv.From.AddDate(0, -2, 0).Format(time.DateOnly) + " --until " + inv.To.Local().Format(time.DateOnly))
}

func (s *shop) escapeJSON(trail *audit.Trail, inv *triage.Investigation) any {
	type span struct {
		From string `json:"from"`
		To   string `json:"to"`
	}
	type stay struct {
		span
		Loaded   *string `json:"loaded"`
		LoadedBy *string `json:"loaded_by"`
		Recipe   *string `json:"recipe"`
		Approved bool    `json:"approved"`
		Says     string  `json:"says"`
	}
	type held struct {
		ID    string `json:"id"`
		Stays []stay `json:"stays"`
	}
	type suspect struct {
		Rank       int      `json:"rank"`
		IDs        []string `json:"ids"`
		Field      string   `json:"field"`
		From       *string  `json:"from"`
		To         *string  `json:"to"`
		At         string   `json:"at"`
		OnMachine  string   `json:"on_machine"`
		Older      bool     `json:"older_recipe"`
		By         *string  `json:"by"`
		Commit     *string  `json:"commit"`
		Why        *string  `json:"why"`
		LoadedBy   *string  `json:"loaded_by"`
		ApprovedBy []string `json:"approved_by"`
		Trials     []string `json:"trials"`
		Score      float64  `json:"score"`
		Fit        float64  `json:"fit"`
		Size       float64  `json:"size"`
		Time       float64  `json:"time"`
		For        []string `json:"for"`
		Against    []string `json:"against"`
		AtRisk     []span   `json:"at_risk"`
		AlsoIn     []string `json:"also_in"`
		AlsoOn     []string `json:"also_on"`
	}
	stamp := func(t time.Time) string { return t.UTC().Format(time.RFC3339) }
	out := struct {
		Format    int       `json:"format"`
		Escape    string    `json:"escape"`
		Unit      string    `json:"unit"`
		From      string    `json:"from"`
		To        string    `json:"to"`
		Symptom   []string  `json:"symptom"`
		Suspects  []suspect `json:"suspects"`
		OnMachine []held    `json:"on_machine"`
		Unknown   []string  `json:"not_known"`
	}{1, string(inv.Record.Digest), inv.Unit, stamp(inv.From), stamp(inv.To), append([]string{}, inv.Symptoms...), []suspect{}, []held{}, append([]string{}, inv.Gaps...)}
	for i := range inv.Findings {
		f := &inv.Findings[i]
		j := suspect{Rank: i + 1, IDs: f.IDs, Field: f.Path, From: some(f.From.Text), To: some(f.To.Text), At: stamp(f.At), OnMachine: string(f.OnMachine), Older: f.Older,
			ApprovedBy: []string{}, Trials: []string{}, Score: f.Score, Fit: f.Fit, Size: f.Size, Time: f.Time, For: append([]string{}, f.For...), Against: append([]string{}, f.Against...),
			AtRisk: []span{}, AlsoIn: append([]string{}, f.Conditions...), AlsoOn: append([]string{}, f.Units...)}
		if f.Entry != nil {
			j.By, j.Commit, j.Why = some(f.Entry.By.String()), some(f.Entry.Commit), some(whyText(f.Entry.Why))
		}
		if f.Loading != nil {
			j.LoadedBy = some(f.Loading.Record.By.V)
		}
		for _, d := range f.Approved {
			j.ApprovedBy = append(j.ApprovedBy, d.Person)
		}
		for _, r := range f.Tried {
			j.Trials = append(j.Trials, string(r.Digest))
		}
		for _, r := range f.Risk {
			j.AtRisk = append(j.AtRisk, span{stamp(r[0]), stamp(r[1])})
		}
		out.Suspects = append(out.Suspects, j)
	}
	for _, h := range inv.Held {
		j := held{h.ID, []stay{}}
		for _, s := range h.Stays {
			x := stay{span: span{stamp(s.From), stamp(s.To)}, Recipe: some(string(s.Digest())), Approved: s.Approved, Says: s.Says}
			if len(s.Loaded) > 0 {
				x.Loaded, x.LoadedBy = some(stamp(s.Since)), some(s.Loaded[0].Record.By.V)
			}
			j.Stays = append(j.Stays, x)
		}
		out.OnMachine = append(out.OnMachine, j)
	}
	return out
}
