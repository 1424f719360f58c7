package lint

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"fettle/schema"
	"fettle/schema/quantity"
)

// The rules of the family change: was a change made as the shop agreed. What the history knows comes in as a [Change]. They
// cannot be waived. Their errors are promises that were broken, not values that cannot be.
var changeRules = []Rule{
	{
		Name: "no-reason", Severity: Error, Scope: PerChange, Check: noReason,
		Title:  "a change without a reason",
		Why:    "In a year nobody remembers why 0.40 became 0.46. The reason is asked for where it is still known. Off where the policy says so.",
		Source: "policy of the library, reason",
		Bad:    `cut.pressure=0.33 bar; change:reasoned=no`, Good: `cut.pressure=0.33 bar`,
	},
	{
		Name: "nothing-ruled-out", Severity: Warning, Scope: PerChange, Check: nothingRuledOut,
		Title: "a bad cut answered by an edit, and nothing checked before",
		Why: "Most cuts go bad for a worn nozzle, a wrong recipe on the machine, a dirty window or the plate. An edit then stays behind as a wrong recipe. " +
			"Asked for the causes quality-target, material-lot, gas-supply and temporary.",
		Source: "trade judgement",
		Bad:    `cut.pressure=0.33 bar; change:cause=quality-target; change:ruled_out=`, Good: `cut.pressure=0.33 bar; change:cause=quality-target; change:ruled_out=nozzle-wear`,
	},
	{
		Name: "many-at-once", Severity: Warning, Scope: PerChange, Check: manyAtOnce, Limit: "2",
		Title: "several things changed at once",
		Why: "When two things change, nobody knows which one helped. Power with speed, the values of the pulses, nozzle with standoff and pressure, and focus with spot " +
			"belong together and count as one each. Silent with a good trial of these values, for a new condition, and for causes that need several.",
		Source: "trade judgement",
		Bad:    `cut.pressure=0.33 bar; cut.focus=3.5 mm`, Good: `cut.power=2.3 kW; cut.speed=3 m/min`,
	},
	{
		Name: "large-step", Severity: Warning, Scope: PerChange, Check: largeStep, Limit: "20 %", Of: quantity.DimRatio,
		Title: "a large step from what was approved",
		Why: "A ladder of small steps shows where the cut gets bad; one large step may land beyond. Usual in one step: 20 % of power, speed and pressure (or 0.05 bar), " +
			"1 mm or 0.15 of the thickness of focus, 30 % or 0.3 mm of standoff, 50 % or 0.1 s of pierce time, 10 points of duty, two sizes of nozzle. " +
			"The limit is the share for power, speed and pressure. Silent with a good trial of these values.",
		Source: "trade judgement",
		Bad:    `nozzle.standoff=1.5 mm`, Good: `cut.pressure=0.35 bar`,
	},
	{
		Name: "outside-window", Severity: Warning, Scope: PerChange, Check: outsideWindow,
		Title: "a value beyond what trials showed to work",
		Why: "Inside the proven window a cut has room on both sides; beyond it nobody knows. Speaks where trials of at least two good steps are on record for that " +
			"value, all else equal, and no trial of the new values. A change of several values has no window: nothing else was equal.",
		Source: "records of the library",
		Bad:    `cut.pressure=0.35 bar; change:window=cut.pressure 0.28 bar to 0.34 bar`, Good: `cut.pressure=0.33 bar; change:window=cut.pressure 0.28 bar to 0.34 bar`,
	},
	{
		Name: "against-trial", Severity: Warning, Scope: PerChange, Check: againstTrial,
		Title:  "values that came out badly when they were tried",
		Why:    "The trial that cut these very values last did not find them good. If something else was at fault then, cut them again and record it; the newer trial counts.",
		Source: "records of the library",
		Bad:    `cut.pressure=0.33 bar; change:against=bad on 2 November on bay-2 (dross)`, Good: `cut.pressure=0.33 bar; change:trial=covers`,
	},
	{
		Name: "unapproved", Severity: Note, Scope: PerChange, Check: unapproved,
		Title:  "not approved yet",
		Why:    "The recipe differs from the last one that somebody answered for.",
		Source: "records of the library",
		Bad:    `cut.pressure=0.33 bar; change:status=changed`, Good: `cut.pressure=0.33 bar; change:status=approved`,
	},
	{
		Name: "stale-approval", Severity: Warning, Scope: PerChange, Check: staleApproval,
		Title:  "approved on a beam or jet that is no longer there",
		Why:    "What was proven with one core, lens or valve is not proven with another.",
		Source: "records of the library; machine profile",
		Bad:    `kerf=0.33 mm; change:status=stale; at kerf`, Good: `kerf=0.33 mm; change:status=approved`,
	},
	{
		Name: "own-approval", Severity: Error, Scope: PerChange, Check: ownApproval,
		Title:  "approved by who wrote it",
		Why:    "Nobody sees their own slip. Two persons look at a recipe before it counts. Where the policy allows it, it is a note.",
		Source: "policy of the library, own_change",
		Bad:    `cut.pressure=0.33 bar; change:own_approval=Mara Lind`, Good: `cut.pressure=0.33 bar; change:status=approved`,
	},
	{
		Name: "no-trial", Severity: Error, Scope: PerChange, Check: noTrial,
		Title: "approved without the trial that the policy asks for",
		Why: "Where the policy says \"trial\": \"require\", a changed value of cut or pierce is approved once a good trial of it is on record: of the very values, or of a step on either side. " +
			"fettle approve asks for it; this is for an approval that was written past it. It stays in force where it is, and verify says so.",
		Source: "policy of the library, trial; records of the library",
		Bad:    `cut.pressure=0.33 bar; change:untried=Jonas Falk`, Good: `cut.pressure=0.33 bar; change:trial=covers`,
	},
	{
		Name: "record-altered", Severity: Error, Scope: PerRecord, Check: recordAltered,
		Title:  "a saved record was edited",
		Why:    "Reasons, trials and approvals are what an audit stands on. They are added and never edited; what was wrong is taken back by a withdrawal.",
		Source: "history/README.md",
		Bad:    `record:altered=records/2026/07/20260714T091205Z-approval-3f9a0c1b2d4e.json; at`, Good: `kerf=0.33 mm`,
	},
	{
		Name: "record-removed", Severity: Error, Scope: PerRecord, Check: recordRemoved,
		Title:  "a saved record is gone",
		Why:    "Who removes an approval or a trial removes what the recipe rests on.",
		Source: "history/README.md",
		Bad:    `record:removed=records/2026/07/20260714T091205Z-approval-3f9a0c1b2d4e.json; at`, Good: `kerf=0.33 mm`,
	},
}

// spot is where a field of a change stands now: in the condition, in its set, or else at the thickness.
func (p *Pass) spot(path string) Place {
	if p.Recipe == nil {
		return Place{Field: path, At: schema.Made}
	}
	for _, f := range schema.Fields(p.Recipe.Condition) {
		if f.Path == path {
			return Place{path, f.At}
		}
	}
	switch {
	case path == "grade" && p.Set.Grade.Set():
		return At(path, p.Set.Grade)
	case strings.HasPrefix(path, "gas_composition"):
		return At(path, p.Set.Gas)
	}
	parent := path
	for { // a member that is gone: the object it stood in
		dot := strings.LastIndexAny(parent, ".[")
		if dot < 0 {
			return At(path, p.Recipe.Thickness)
		}
		parent = parent[:dot]
		for _, f := range schema.Fields(p.Recipe.Condition) {
			if strings.HasPrefix(f.Path, parent+".") || strings.HasPrefix(f.Path, parent+"[") {
				return Place{path, f.At}
			}
		}
	}
}

// first is the place of the first field that changed.
func (p *Pass) first() Place {
	if p.Change.After == nil || p.Change.Before == nil || len(p.Change.Fields) == 0 {
		if p.Recipe != nil {
			return At("thickness", p.Recipe.Thickness)
		}
		return Place{"thickness", schema.Made}
	}
	return p.spot(p.Change.Fields[0].Path)
}

// step says what became of a field: "cut.pressure 0.4 bar -> 0.46 bar (+15 %)".
func (p *Pass) step(d FieldChange) string {
	old, now := d.Old.Text, d.New.Text
	if !d.Old.Quantity.IsZero() && !d.New.Quantity.IsZero() {
		old, now = quantity.FormatPair(d.Old.Quantity, d.New.Quantity, p.state.prefs)
	}
	text := schema.SpokenPath(d.Path)
	switch {
	case d.Old.Path == "":
		return fmt.Sprintf("%s %s (new)", text, now)
	case d.New.Path == "":
		return fmt.Sprintf("%s %s (gone)", text, old)
	}
	text += " " + old + " -> " + now
	if percent, ok := percentOf(d); ok {
		text += " (" + percent + ")"
	}
	return text
}

// percentOf is how far a value went, where it has a zero that means nothing is there: a focus has none.
func percentOf(d FieldChange) (string, bool) {
	old, now := d.Old.Quantity, d.New.Quantity
	if old.Sign() <= 0 || now.Sign() <= 0 || old.Dimension() != now.Dimension() || strings.HasSuffix(d.Path, "focus") {
		return "", false
	}
	ratio := now.SI() / old.SI()
	percent := (ratio - 1) * 100
	switch {
	case ratio >= 4:
		return fmt.Sprintf("%.3g times", ratio), true
	case math.Abs(percent) >= 9.95 && ratio > 0.01:
		return fmt.Sprintf("%+.0f %%", percent), true
	}
	return fmt.Sprintf("%+.2g %%", percent), true
}

// all lists the steps of a change, a few of them in words.
func (p *Pass) all() string {
	switch {
	case p.Change.Before == nil && p.Change.After != nil:
		return "new"
	case p.Change.After == nil:
		return "removed"
	}
	const most = 3
	var steps []string
	for i, d := range p.Change.Fields {
		if i == most {
			steps = append(steps, fmt.Sprintf("and %d more", len(p.Change.Fields)-most))
			break
		}
		steps = append(steps, p.step(d))
	}
	return strings.Join(steps, ", ")
}

func (p *Pass) changed() bool {
	return p.Change.Before == nil || p.Change.After == nil || len(p.Change.Fields) > 0
}

func noReason(p *Pass) {
	if p.Change.Reasoned || !p.Library.Policy().ReasonRequired() || !p.changed() {
		return
	}
	p.Report(p.first(), "no reason for: %s", p.all()).
		Help = "fettle save asks why, and saves edit and reason together."
}

func nothingRuledOut(p *Pass) {
	if !p.Change.Reasoned || !schema.FaultCauses[p.Change.Cause] || len(p.Change.RuledOut) > 0 || !p.changed() {
		return
	}
	p.Report(p.first(), "changed for %s, and nothing was ruled out before", p.Change.Cause).
		Help = "Look first at " + strings.Join(schema.RuledOut[:5], ", ") + "."
}

// groups are values that are changed together: one of them calls for the others.
var groups = []struct {
	name    string
	members []string
}{
	{"power and speed", []string{"power", "speed", "min_power"}},
	{"pulses", []string{"mode", "frequency", "duty", "min_frequency", "min_duty"}},
	{"nozzle, standoff and pressure", []string{"form", "orifice", "standoff", "pressure"}},
	{"focus and spot", []string{"focus", "spot"}},
}

// severalAtOnce are causes that cannot do with one.
var severalAtOnce = []string{"put-back", "nozzle-change", "optics-change", "machine-change", "correction"}

func manyAtOnce(p *Pass) {
	c := p.Change
	if c.TrialCovers || c.Before == nil || c.After == nil || slices.Contains(severalAtOnce, c.Cause) {
		return
	}
	var touched []string
	first := ""
	for _, group := range groups {
		for _, d := range c.Fields {
			member := d.Path[strings.LastIndexByte(d.Path, '.')+1:]
			if strings.HasPrefix(d.Path, "pierce[") || !strings.Contains(d.Path, ".") || !slices.Contains(group.members, member) {
				continue
			}
			touched = append(touched, group.name)
			if first == "" {
				first = d.Path
			}
			break
		}
	}
	if n := int(p.Number()); len(touched) >= n && len(touched) > 0 {
		p.Report(p.spot(first), "%d things changed at once (%s); from %d on nobody knows which one helped", len(touched), strings.Join(touched, "; "), n).
			Help = "Change one, cut, then the next; or record the trial that these values come from."
	}
}

// outsideWindow compares with what was shown. A window of one step is a cut that went well and no limit.
func outsideWindow(p *Pass) {
	c := p.Change
	if c.TrialCovers || c.After == nil {
		return
	}
	for _, w := range c.Windows {
		i := slices.IndexFunc(c.Fields, func(d FieldChange) bool { return d.Path == w.Path })
		if i < 0 || w.Steps < 2 {
			continue
		}
		now := c.Fields[i].New.Quantity
		if now.Dimension() != w.Low.Dimension() || w.Holds(now) {
			continue
		}
		side := "below"
		if now.Cmp(w.High) > 0 {
			side = "above"
		}
		p.Report(p.spot(w.Path), "%s %s is %s the proven window %s to %s (%d cuts, all good)", schema.SpokenPath(w.Path), now, side, w.Low, w.High, w.Cuts).
			Help = "Stay inside, or show more: fettle trial plan " + c.ID.String() + " --vary " + schema.SpokenPath(w.Path)
	}
}

func againstTrial(p *Pass) {
	if p.Change.Against == "" || p.Change.After == nil || !p.changed() {
		return
	}
	p.Report(p.first(), "a trial with these values came out %s", p.Change.Against).
		Help = "If something else was at fault then, cut them again: fettle trial record " + p.Change.ID.String()
}

func unapproved(p *Pass) {
	c := p.Change
	words := map[string]string{
		"changed":    "changed since it was approved",
		"new":        "never approved",
		"removed":    "removed, which nobody has approved",
		"rejected":   "rejected",
		"contested":  "approved in one way and decided in another: contested",
		"superseded": "an earlier approved recipe, not the one in force",
	}[c.Status]
	switch {
	case words == "":
		return
	case c.Until != "":
		f := p.Report(p.first(), "provisional until %s, by permit", c.Until)
		f.Severity = min(f.Severity, Note) // also where a gate makes the rule an error: that is what a permit is for
		f.Help = "To decide: fettle review " + c.ID.String()
		return
	}
	f := p.Report(p.first(), "%s", words)
	f.Help = "To decide: fettle review " + c.ID.String()
	if len(c.MayApprove) > 0 {
		f.Help += " (" + strings.Join(c.MayApprove, ", ") + ")"
	}
}

func staleApproval(p *Pass) {
	if p.Change.Status != "stale" {
		return
	}
	because := ""
	if p.Change.StaleBecause != "" {
		because = ": " + p.Change.StaleBecause
	}
	p.Report(p.first(), "approved before the machine changed%s", because).Help = "Cut a trial, then: fettle approve " + p.Change.ID.String()
}

func ownApproval(p *Pass) {
	who := p.Change.OwnApproval
	if who == "" {
		return
	}
	if p.Library.Policy().OwnChangeAllowed() {
		p.ReportAs(Note, p.first(), "approved by its author, %s", who)
		return
	}
	f := p.Report(p.first(), "approved by %s, who wrote it", who)
	if len(p.Change.MayApprove) > 0 {
		f.Help = "Who may: " + strings.Join(p.Change.MayApprove, ", ") + "."
	}
}

func noTrial(p *Pass) {
	if p.Change.Untried == "" {
		return
	}
	where, what := p.first(), "it as it is"
	if fields := p.Change.NotShown; len(fields) > 0 {
		where, what = p.spot(fields[0]), schema.SpokenPath(fields[0])
		if len(fields) > 1 {
			what += fmt.Sprintf(" and %d more", len(fields)-1)
		}
	}
	record := "Cut it and record what came out: fettle trial record " + p.Change.ID.String() + " --good"
	if units := p.Change.Unproven; len(units) > 0 {
		p.Report(where, "approved by %s, and nothing shows that it cuts well on %s", p.Change.Untried, strings.Join(units, ", ")).Help = record + " --unit " + units[0]
		return
	}
	p.Report(where, "approved by %s, and no good trial shows %s", p.Change.Untried, what).Help = record
}

func recordAltered(p *Pass) {
	if !p.Record.Removed {
		p.Report(Place{}, "%s was edited after it was saved", p.Record.words()).Help = "Put it back as it was: fettle verify shows the saved one. To take it back: fettle withdraw"
	}
}

func recordRemoved(p *Pass) {
	if p.Record.Removed {
		p.Report(Place{}, "%s was saved and is gone", p.Record.words()).Help = "Put it back. To take it back in the open: fettle withdraw"
	}
}

// words names a record for a sentence.
func (r *RecordChange) words() string {
	what := "the record"
	if r.Kind != "" {
		what = "the " + r.Kind
	}
	if r.By != "" {
		what += " of " + r.By
	}
	if r.At != "" {
		what += " (" + r.At + ")"
	}
	return what
}
