package triage

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/history"
	"fettle/history/audit"
	"fettle/schema"
)

// lookBack is how long before the bad parts a change is still a suspect.
const lookBack = 365 * 24 * time.Hour

// An Investigation is what the records and the history say of parts that got out. It is evidence, not a verdict.
type Investigation struct {
	Record   *schema.Record
	Escape   *schema.Escape
	Unit     string
	From, To time.Time
	Symptoms []string
	Held     []Held    // what was on the unit, by condition
	Findings []Finding // suspects, the first one worth the first look
	Undone   int       // changes of the year before that were taken back again before the bad parts
	Unloaded int       // recipes that were saved in that time and never loaded
	Gaps     []string  // what is not known, in words
}

// Held is what a unit held of one condition while the bad parts were cut.
type Held struct {
	ID    string
	Stays []HeldStay
}

// A HeldStay is one recipe on the unit, within the interval.
type HeldStay struct {
	audit.Stay
	Since    time.Time      // when it went on, which may be before the interval
	Values   *schema.Values // nil where they are not known
	Approved bool           // it was what was in force, or a permit let it run
	Says     string         // how it stood when it went on
}

// A Finding is a suspect with where it comes from.
type Finding struct {
	Suspect
	IDs      []string // the conditions it is about; the values are those of the first
	Entry    *audit.Entry
	Loading  *audit.Loading // that brought it onto the unit; nil where none is on record
	Older    bool           // it came with an older recipe
	Recipe   schema.Digest  // the whole recipe that it led to
	Approved []*history.Decision
	Tried    []*schema.Record
	Elsewhere
	Risk [][2]time.Time // the parts of the interval in which it was on the machine, or may have been
}

// Elsewhere is where else the same change is.
type Elsewhere struct {
	Conditions []string // changed alike in the same step, or from and to the same values within a month
	Units      []string // other machines that hold the recipe, by what was written down
}

// Investigate gathers what there is about an escape.
func (k *Knowledge) Investigate(t *audit.Trail, r *schema.Record) *Investigation {
	body := r.Body.(*schema.Escape)
	inv := &Investigation{Record: r, Escape: body, Unit: body.Unit.V, Symptoms: body.Symptom.V}
	inv.interval()
	loads := audit.Loads(t.Ledger)
	ids := body.IDs.V
	if len(ids) == 0 {
		ids = audit.LoadedIDs(loads, inv.Unit, inv.To)
		if len(ids) == 0 {
			inv.gap("no load on %s is on record before that time, so nobody knows what it held; name the conditions", inv.Unit)
		}
	}
	t.Bring(ids)
	var open []Finding
	for _, id := range ids {
		inv.Held = append(inv.Held, inv.held(t, loads, id))
		open = append(open, inv.changes(t, loads, id)...)
	}
	inv.rank(k, t, open, inv.machineEdits(t, ids))
	inv.elsewhere(t, loads)
	if t.Shallow {
		inv.gap("this clone does not have the older history, so older changes are not seen (git fetch --unshallow)")
	}
	return inv
}

func (inv *Investigation) gap(format string, args ...any) {
	if text := fmt.Sprintf(format, args...); !slices.Contains(inv.Gaps, text) {
		inv.Gaps = append(inv.Gaps, text)
	}
}

// interval works out from when to when bad parts were cut.
func (inv *Investigation) interval() {
	read := func(m schema.Member[string]) time.Time { at, _ := time.Parse(time.RFC3339, m.V); return at }
	inv.From, inv.To = read(inv.Escape.From), read(inv.Escape.To)
	if inv.To.IsZero() {
		if inv.To = read(inv.Escape.Found); inv.To.IsZero() {
			inv.To = inv.Record.Time()
		}
		inv.gap("until when bad parts were cut is not on record; %s is taken", inv.To.Local().Format("2 January 15:04"))
	}
	if inv.From.IsZero() {
		inv.From = inv.To.Add(-7 * 24 * time.Hour)
		inv.gap("from when on bad parts were cut is not on record; the week before is taken")
	}
}

// held says what a unit held of a condition over the interval.
func (inv *Investigation) held(t *audit.Trail, loads []audit.Loading, id string) Held {
	h := Held{ID: id}
	for _, stay := range audit.Stays(loads, inv.Unit, id, inv.From, inv.To) {
		s := HeldStay{Stay: stay.Within(inv.From, inv.To), Since: stay.From}
		switch {
		case len(stay.Loaded) == 0:
			s.Says = "what was on the machine is not on record"
			inv.gap("what %s held of %s from %s on is not on record", inv.Unit, id, s.From.Local().Format("2 January 15:04"))
		case stay.Digest() == "":
			s.Says = "two loads of the same moment contradict each other"
			inv.gap("two loads of %s on %s at %s contradict each other", id, inv.Unit, stay.From.Local().Format("2 January 15:04"))
		default:
			s.Values = t.Recipe(id, stay.Digest())
			s.Approved, s.Says = stood(t, inv.Unit, id, stay.Digest(), stay.From)
			if s.Values == nil {
				inv.gap("the recipe %s of %s that was loaded is not in this clone", stay.Digest().Short(), id)
			}
		}
		h.Stays = append(h.Stays, s)
	}
	return h
}

// stood says how a recipe stood at a moment.
func stood(t *audit.Trail, unit, id string, recipe schema.Digest, at time.Time) (good bool, words string) {
	then := t.StandingAt(at, id)
	parsed, err := schema.ParseID(id)
	if err != nil || then.Anchor == nil {
		return false, "nothing was adopted then"
	}
	state := then.Condition(parsed)
	inForce, any := state.Digest()
	once := state.Once(recipe)
	switch {
	case any && inForce == recipe:
		d := state.Last()
		verb := "approved"
		if d.Record.Kind == schema.KindAdoption {
			verb = "adopted"
		}
		return true, fmt.Sprintf("%s on %s by %s", verb, d.Record.Time().Local().Format("2 January 2006"), d.Person)
	case t.Ledger.Permit(id, recipe, unit, at) != nil:
		return true, "not approved; a permit let it run until " + t.Ledger.Permit(id, recipe, unit, at).Until.V
	case len(once) > 0 && any:
		return false, fmt.Sprintf("NOT what was approved then: an older recipe, approved on %s; another one was since %s", once[0].Record.Time().Local().Format("2 January 2006"),
			state.Last().Record.Time().Local().Format("2 January 2006"))
	}
	return false, "NOT APPROVED"
}

// A transition is a recipe that took the place of another one.
type transition struct {
	from, to     schema.Digest
	at           time.Time
	on           OnMachine
	loading      *audit.Loading
	before, then *schema.Values
	older        bool
}

// changes returns what changed of a condition before the last bad part, field by field.
func (inv *Investigation) changes(t *audit.Trail, loads []audit.Loading, id string) []Finding {
	var out []Finding
	parsed, err := schema.ParseID(id)
	if err != nil {
		return nil
	}
	jet := jetOf(t.Library, parsed)
	for _, tr := range inv.transitions(t, loads, id) {
		if tr.before, tr.then = t.Recipe(id, tr.from), t.Recipe(id, tr.to); tr.before == nil || tr.then == nil {
			continue
		}
		fields := Gather(history.CompareValues(tr.before, tr.then))
		for _, f := range fields {
			risk := inv.risk(t, loads, id, f, tr)
			if tr.on == Yes && len(risk) == 0 && !tr.at.After(inv.To) {
				inv.Undone++
				continue
			}
			finding := Finding{IDs: []string{id}, Loading: tr.loading, Older: tr.older, Recipe: tr.to, Risk: risk}
			finding.FieldChange, finding.At, finding.OnMachine = f, tr.at, tr.on
			for _, other := range fields {
				if other.Path != f.Path {
					finding.With = append(finding.With, other)
				}
			}
			for _, like := range []*schema.Values{tr.before, tr.then} {
				if w := Proven(t.Ledger, parsed, like, f.Path, jet, inv.From); w != nil && finding.Window == nil {
					finding.Window = w
				}
			}
			finding.Entry = entryOf(t, id, f, tr)
			inv.backing(t, parsed, &finding, tr)
			out = append(out, finding)
		}
	}
	return out
}

// backing finds who approved the recipe and what was cut with it.
func (inv *Investigation) backing(t *audit.Trail, id schema.ID, f *Finding, tr transition) {
	f.Approved = t.Standing.Condition(id).Once(tr.to)
	trials, _ := t.Ledger.Covers(id, tr.before, tr.then, jetOf(t.Library, id))
	f.Tried = trials
	f.Change.Tried = slices.ContainsFunc(trials, func(r *schema.Record) bool { return r.Time().Before(inv.From) })
}

// jetOf is what of the machine as it is now shapes the cut of a condition.
func jetOf(lib *schema.Library, id schema.ID) schema.BeamAndJet {
	if m := lib.Machine(id.Machine); m != nil {
		return m.BeamAndJet(id.Gas)
	}
	return schema.BeamAndJet{}
}

// transitions returns the steps in which the recipe of a condition changed on the unit, or, where no load says so, in the library.
func (inv *Investigation) transitions(t *audit.Trail, loads []audit.Loading, id string) []transition {
	begin := inv.From.Add(-lookBack)
	var out []transition
	versions := t.Versions(id)
	place := map[schema.Digest]int{}
	for i, v := range versions {
		place[v.Digest] = i + 1
	}
	stays := audit.Stays(loads, inv.Unit, id, begin, inv.To)
	first, last := time.Time{}, time.Time{}
	onUnit := map[schema.Digest]bool{}
	for i, s := range stays {
		for j := range s.Loaded {
			l := &s.Loaded[j]
			onUnit[l.Digest] = true
			if first.IsZero() {
				first = s.From
			}
			last = s.From
			if one := s.Loaded[0].Digest; l.Digest != one { // one of the two was on it
				tr := transition{from: one, to: l.Digest, at: s.From, on: Unknown, loading: l}
				if place[one] > place[l.Digest] {
					tr.from, tr.to, tr.loading = l.Digest, one, &s.Loaded[0]
				}
				out = append(out, tr)
			}
			if i == 0 || len(stays[i-1].Loaded) == 0 {
				continue
			}
			on := Yes
			if s.Digest() == "" || stays[i-1].Digest() == "" {
				on = Unknown
			}
			from := stays[i-1].Loaded[0].Digest
			tr := transition{from: from, to: l.Digest, at: s.From, on: on, loading: l, older: place[l.Digest] > 0 && place[l.Digest] < place[from]}
			if tr.from != tr.to {
				out = append(out, tr)
			}
		}
	}
	if first.IsZero() && len(versions) > 0 {
		inv.gap("no load of %s on %s is on record, so it is not known which recipe was on it, and when a change reached it", id, inv.Unit)
	}
	for i := 1; i < len(versions); i++ {
		v := versions[i]
		switch {
		case v.Committed.Before(begin), v.Committed.After(inv.To):
		case first.IsZero(), v.Committed.Before(first):
			tr := transition{from: versions[i-1].Digest, to: v.Digest, at: v.Committed, on: Unknown}
			if l := firstOf(stays); l != nil && l.Digest == v.Digest && first.Sub(v.Committed) < soon {
				tr.at, tr.on, tr.loading = first, Yes, l // saved, and put on the machine at once
			}
			out = append(out, tr)
		case !onUnit[v.Digest] && v.Committed.After(last):
			out = append(out, transition{from: versions[i-1].Digest, to: v.Digest, at: v.Committed, on: No})
		case !onUnit[v.Digest]:
			inv.Unloaded++
		}
	}
	slices.SortStableFunc(out, func(a, b transition) int { return a.at.Compare(b.at) })
	return out
}

// soon is how long after a change was saved a first load still counts as the one that brought it. Where loads are written down only from
// some day on, the first one says nothing of how long the recipe had been there.
const soon = 48 * time.Hour

// firstOf is the first load of a unit, where no other contradicts it.
func firstOf(stays []audit.Stay) *audit.Loading {
	for i := range stays {
		if len(stays[i].Loaded) > 0 {
			if stays[i].Digest() == "" {
				return nil
			}
			return &stays[i].Loaded[0]
		}
	}
	return nil
}

// risk returns the parts of the interval in which the value of a change was on the machine, or may have been.
func (inv *Investigation) risk(t *audit.Trail, loads []audit.Loading, id string, f history.FieldChange, tr transition) [][2]time.Time {
	if tr.on == No || !tr.at.Before(inv.To) {
		return nil
	}
	if tr.on == Unknown && tr.loading == nil {
		return [][2]time.Time{{later(inv.From, tr.at), inv.To}}
	}
	var out [][2]time.Time
	for _, s := range audit.Stays(loads, inv.Unit, id, later(inv.From, tr.at), inv.To) {
		s = s.Within(later(inv.From, tr.at), inv.To)
		has := slices.ContainsFunc(s.Loaded, func(l audit.Loading) bool {
			v := t.Recipe(id, l.Digest)
			return v != nil && sameValue(v, f)
		})
		if !has || !s.From.Before(s.To) {
			continue
		}
		if n := len(out); n > 0 && out[n-1][1].Equal(s.From) {
			out[n-1][1] = s.To
			continue
		}
		out = append(out, [2]time.Time{s.From, s.To})
	}
	return out
}

func later(a, b time.Time) time.Time {
	if a.Before(b) {
		return b
	}
	return a
}

// sameValue reports whether a recipe has what a change led to.
func sameValue(v *schema.Values, f history.FieldChange) bool {
	part, found := false, schema.Field{}
	for _, have := range schema.Fields(v) {
		if have.Path == f.Path {
			found = have
		}
		part = part || strings.HasPrefix(have.Path, f.Path+".")
	}
	switch {
	case f.To.Text == "gone" && f.To.Quantity.IsZero():
		return !part
	case f.To.Text == "new" && f.To.Quantity.IsZero():
		return part
	case f.To.Path == "":
		return found.Path == ""
	}
	return found.Path != "" && found.Same(f.To)
}

// entryOf finds the saved change that made a value: the last one that led to it, before it went onto the machine.
func entryOf(t *audit.Trail, id string, f history.FieldChange, tr transition) *audit.Entry {
	var best *audit.Entry
	for e := range t.EachOf(id) {
		if e.Kind == audit.Dropped || tr.on == Yes && e.Committed.After(tr.at.Add(5*time.Minute)) {
			continue
		}
		if e.ToDigest == tr.to && (e.Field == f.Path || strings.HasPrefix(e.Field, f.Path+".")) {
			own := *e
			return &own
		}
		if e.Field == f.Path && e.To.Path != "" && f.To.Path != "" && e.To.Same(f.To) {
			own := *e
			best = &own
		}
	}
	return best
}

// rank puts the changes in order, and takes those together that were made in one step.
func (inv *Investigation) rank(k *Knowledge, t *audit.Trail, open, machines []Finding) {
	type group struct{ origin, path string }
	at := map[group]int{}
	var list []Finding
	for _, f := range open {
		key := group{path: f.Path}
		switch {
		case f.Loading != nil:
			key.origin = string(f.Loading.Record.Digest)
		case f.Entry != nil:
			key.origin = f.Entry.Commit
		default:
			key.origin = f.IDs[0] + string(f.Recipe)
		}
		if i, ok := at[key]; ok {
			list[i].IDs = append(list[i].IDs, f.IDs...)
			continue
		}
		at[key] = len(list)
		list = append(list, f)
	}
	bySituation := map[string][]int{} // conditions differ in gas and thickness
	for i, f := range list {
		bySituation[f.IDs[0]] = append(bySituation[f.IDs[0]], i)
	}
	for id, indexes := range bySituation {
		s := Situation{Symptoms: inv.Symptoms, From: inv.From, To: inv.To, Oxygen: burns(t.Library, id)}
		if parsed, err := schema.ParseID(id); err == nil {
			if r := t.Library.Recipe(parsed); r != nil {
				s.Thickness = r.Thickness.V.SI()
			}
		}
		changes := make([]Change, len(indexes))
		for n, i := range indexes {
			changes[n] = list[i].Change
		}
		for _, ranked := range k.Rank(s, changes) {
			list[indexes[ranked.Index]].Suspect = ranked
		}
	}
	list = append(list, machines...)
	for i := range list {
		inv.formalities(t, &list[i])
	}
	slices.SortStableFunc(list, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(b.Score, a.Score), strings.Compare(a.IDs[0]+a.Path, b.IDs[0]+b.Path))
	})
	inv.Findings = list
}

// machineEdits are changes of the profile of the machine that shape beam and jet: new optics, another valve, a part that was swapped. They can do
// anything, so no direction speaks for or against them.
func (inv *Investigation) machineEdits(t *audit.Trail, ids []string) []Finding {
	var machines []string
	for _, name := range ids {
		if id, err := schema.ParseID(name); err == nil && !slices.Contains(machines, id.Machine) {
			machines = append(machines, id.Machine)
		}
	}
	var out []Finding
	if len(machines) == 0 {
		return nil
	}
	for e := range t.Each(audit.Filter{Machines: machines, Whole: true}) {
		shapes := strings.HasPrefix(e.Field, "laser.") || strings.HasPrefix(e.Field, "head.") && !strings.HasPrefix(e.Field, "head.nozzles") || strings.HasPrefix(e.Field, "gas.") || e.Field == "revision"
		if e.Kind != audit.Edited || e.Subject != schema.SubjectMachine || e.Note || !shapes || e.FromDigest == "" || e.At.Before(inv.From.Add(-lookBack)) || e.At.After(inv.To) {
			continue
		}
		f := Finding{IDs: []string{"machine " + e.ID}, Entry: e, Recipe: e.ToDigest, Approved: t.Standing.State(schema.SubjectMachine, e.ID).Once(e.ToDigest),
			Risk: [][2]time.Time{{later(inv.From, e.At), inv.To}}}
		f.FieldChange, f.At, f.OnMachine = history.FieldChange{Path: e.Field, From: e.From, To: e.To}, e.At, Yes
		f.Fit, f.Size = 0.35, 0.8
		f.For = append(f.For, "beam or jet are others since; what was proven before is not proven with it")
		f.judgeTime(Situation{From: inv.From, To: inv.To})
		f.Score = f.Fit * f.Size * f.Time
		out = append(out, f)
	}
	return out
}

// formalities say what stands behind a change: reason, approval, trial. They tell how well it was thought over, and move no suspect much.
func (inv *Investigation) formalities(t *audit.Trail, f *Finding) {
	if f.Older {
		f.For = append(f.For, "it came with an older recipe that was loaded again")
		f.Score *= 1.1
	}
	if t.Standing.Anchor == nil {
		return
	}
	approved := slices.ContainsFunc(f.Approved, func(d *history.Decision) bool { return !d.Record.Time().After(f.At.Add(5 * time.Minute)) })
	if !approved && !f.Older {
		f.For = append(f.For, map[bool]string{true: "nobody had approved the profile", false: "nobody had approved the recipe when it went on"}[strings.HasPrefix(f.IDs[0], "machine ")])
		f.Score *= 1.1
	}
	if f.Entry != nil && len(f.Entry.Why) == 0 && f.Entry.Kind == audit.Changed && !f.Older {
		f.For = append(f.For, "no reason is on record")
		f.Score *= 1.05
	}
	if !f.Change.Tried && schema.ProcessField(f.Path) && !strings.HasPrefix(f.IDs[0], "machine ") {
		f.For = append(f.For, "no good trial of the recipe before that is on record")
	}
}

// burns is [Burns] for an id as text.
func burns(lib *schema.Library, name string) bool {
	id, err := schema.ParseID(name)
	return err == nil && Burns(lib, id)
}

// Burns reports whether a condition is cut with a gas that burns iron: oxygen, or a mix that is more than half of it.
func Burns(lib *schema.Library, id schema.ID) bool {
	if id.Gas == "oxygen" {
		return true
	}
	if lib.Settings.Value != nil {
		if mix, ok := lib.Settings.Value.Gases.Get(id.Gas); ok {
			share, _ := mix.Get("oxygen")
			return share.SI() > 0.5
		}
	}
	return false
}

// elsewhere finds where else the same changes are: other conditions, and other machines that hold the recipe.
func (inv *Investigation) elsewhere(t *audit.Trail, loads []audit.Loading) {
	type change struct{ kind, field string }
	asked, known := map[change][]*Finding{}, map[*Finding]map[string]bool{}
	for i := range inv.Findings {
		f := &inv.Findings[i]
		if e := f.Entry; e != nil && e.IsChange() {
			asked[change{e.Kind, e.Field}] = append(asked[change{e.Kind, e.Field}], f)
			known[f] = map[string]bool{}
			for _, id := range slices.Concat(f.IDs, f.Conditions) {
				known[f][id] = true
			}
		}
	}
	if len(asked) > 0 {
		for e := range t.Each(audit.Filter{Whole: true}) { // what is new or gone as a whole is like nothing
			for _, f := range asked[change{e.Kind, e.Field}] {
				if known[f][e.ID] {
					continue
				}
				apart := e.Committed.Sub(f.Entry.Committed).Abs()
				alike := e.From.Path != "" && e.To.Path != "" && f.From.Path != "" && f.To.Path != "" && e.From.Same(f.From) && e.To.Same(f.To) && apart < 31*24*time.Hour
				if e.Commit == f.Entry.Commit && e.Kind == audit.Changed || alike {
					f.Conditions, known[f][e.ID] = append(f.Conditions, e.ID), true
				}
			}
		}
	}
	for i := range inv.Findings {
		f := &inv.Findings[i]
		slices.Sort(f.Conditions)
		now := map[string]schema.Digest{}
		for _, l := range loads {
			if l.Unit != inv.Unit && slices.Contains(f.IDs, l.ID) {
				now[l.Unit+" "+l.ID] = l.Digest
			}
		}
		for key, digest := range now {
			unit, _, _ := strings.Cut(key, " ")
			if digest == f.Recipe && !slices.Contains(f.Units, unit) {
				f.Units = append(f.Units, unit)
			}
		}
		slices.Sort(f.Units)
	}
}
