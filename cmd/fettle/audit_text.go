package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/cmd/fettle/view"
	"fettle/history"
	"fettle/history/audit"
	"fettle/history/git"
	"fettle/schema"
	"fettle/schema/quantity"
)

// few is how many conditions of one commit are shown one by one where they are all new or all gone.
const few = 3

// A teller puts what is told onto a page.
type teller struct {
	*shop
	page    *view.Page
	adopted bool // decisions count
	units   quantity.Prefs
}

// section begins a part of the page.
func (t *teller) section(title string) {
	t.page.Sections = append(t.page.Sections, view.Section{Title: title})
}

// block begins something new in the last section.
func (t *teller) block(head string, tone view.Tone) {
	s := &t.page.Sections[len(t.page.Sections)-1]
	s.Blocks = append(s.Blocks, view.Block{Head: head, Tone: tone})
}

// row adds a line to the last block; without a label it stands alone.
func (t *teller) row(label, format string, args ...any) {
	s := &t.page.Sections[len(t.page.Sections)-1]
	b := &s.Blocks[len(s.Blocks)-1]
	b.Rows = append(b.Rows, view.Row{Label: label, Text: fmt.Sprintf(format, args...)})
}

// foot adds a line at the end of the page.
func (t *teller) foot(format string, args ...any) {
	t.page.Foot = append(t.page.Foot, fmt.Sprintf(format, args...))
}

// timeline tells what passes a filter by day and commit, newest last, and what is to be said of it as a whole.
func (s *shop) timeline(trail *audit.Trail, f audit.Filter) *view.Page {
	t := s.byDay(trail, f, func(*view.Page) {})
	t.footOf(trail, f)
	return t.page
}

// byDay tells what passes a filter by day and commit, newest last. After each commit the page is handed over, for who lets go of what is told.
func (s *shop) byDay(trail *audit.Trail, f audit.Filter, sofar func(*view.Page)) *teller {
	t := &teller{s, &view.Page{Title: "What changed in " + s.libraryName(trail.Library)}, trail.Standing.Anchor != nil, s.units()}
	told := map[schema.Digest]bool{} // reasons that are shown with the change they are of
	wide := f
	wide.Whole = true
	for e := range trail.Each(wide) {
		if e.IsChange() {
			for _, w := range e.Why {
				told[w.Record] = true
			}
		}
	}
	named := len(f.IDs) > 0 && len(f.IDs) <= few
	day := ""
	var same []audit.Entry         // of one commit
	whole := map[string][]string{} // the conditions of it that are all new, or all gone
	tell := func() {
		if len(same) == 0 {
			return
		}
		if today := same[0].At.Local().Format("Monday 2 January 2006"); today != day {
			day = today
			t.section(day)
		}
		var entries []audit.Entry
		for i := range same {
			if e := &same[i]; e.Field == "" && (e.Kind == audit.New || e.Kind == audit.Removed) && (named || len(whole[e.Kind]) <= few) {
				entries = append(entries, trail.Parts(e, f)...)
			} else {
				entries = append(entries, *e)
			}
		}
		t.commit(trail, entries, whole, named)
		sofar(t.page)
		same = same[:0]
		clear(whole)
	}
	for e := range trail.Each(wide) {
		if e.Kind == schema.KindReason && e.Record != nil && told[e.Record.Digest] {
			continue
		}
		if len(same) > 0 && same[0].Commit != e.Commit {
			tell()
		}
		if e.Kind == audit.New || e.Kind == audit.Removed {
			n, ids := len(same), whole[e.Kind]
			if n == 0 || same[n-1].Kind != e.Kind || ids[len(ids)-1] != e.ID {
				ids = append(ids, e.ID)
				whole[e.Kind] = ids
			}
			if len(ids) > few && !named { // their values are not shown
				continue
			}
		}
		same = append(same, *e)
	}
	tell()
	return t
}

// footOf tells what is to be said of the timeline as a whole, and what is not part of it.
func (t *teller) footOf(trail *audit.Trail, f audit.Filter) {
	empty := len(t.page.Sections) == 0
	switch {
	case empty && trail.Any(audit.Filter{}):
		t.foot("nothing that is saved here fits")
	case empty:
		t.foot("nothing was saved yet that concerns the library")
	}
	t.zoneOf(empty)
	if trail.Shallow {
		t.foot("This clone does not have the older history, so this is not all. To have it: git fetch --unshallow")
	}
	t.unsavedOf(f.IDs)
}

// zoneOf says whose times these are.
func (t *teller) zoneOf(empty bool) {
	if zone, offset := t.now().Local().Zone(); (offset != 0 || t.format != "text") && !empty {
		t.foot("times are those of this computer (%s); json and csv have them in UTC, too", zone)
	}
}

func (s *shop) libraryName(lib *schema.Library) string {
	if lib != nil && lib.Settings.Value != nil && lib.Settings.Value.Name.Set() {
		return clean(lib.Settings.Value.Name.V)
	}
	return "the library"
}

// units are the units that the shop likes to read, from the settings alone.
func (s *shop) units() quantity.Prefs {
	if s.unsaved.lib != nil || s.part != nil {
		return s.prefs()
	}
	snap, err := s.repo.WorkTree(s.sub, schema.SettingsFile)
	if err != nil {
		return nil
	}
	lib, err := schema.ReadLibrary(snap)
	if err != nil {
		return nil
	}
	return lib.Prefs()
}

// like has the units that the shop likes to read taken from the settings, so that nothing else has to be read for them.
func (s *shop) like() {
	units := s.units()
	s.liked = &units
}

// unsavedOf tells which edits are not part of a timeline.
func (t *teller) unsavedOf(ids []schema.ID) {
	work, saved, err := t.edited()
	if err != nil {
		return
	}
	for _, d := range history.Compare(saved, work) {
		if ids == nil || slices.Contains(ids, d.ID) {
			t.foot("unsaved   %s was edited and is not saved; that is not part of this", d.ID)
		}
	}
}

// edited reads the unsaved and the saved state, as far as their sets differ.
func (t *teller) edited() (work, saved *schema.Library, err error) {
	if t.part != nil || t.unsaved.lib != nil {
		return t.both()
	}
	var e unsavedSides
	if t.edits != nil {
		e = t.edits()
	} else {
		e = t.readEdits(func() [][]byte { return nil })
	}
	if e.all {
		return t.both()
	}
	return e.work, e.saved, e.err
}

// unsavedSides are the unsaved and the saved state, as far as their sets differ.
type unsavedSides struct {
	work, saved *schema.Library
	all         bool // the whole of both has to be read, because what gases are mixed of differs
	err         error
}

// readEdits reads what teller.edited tells, and leaves the shop as it is. Where sets are at hand that may be saved so, they are not read again.
func (s *shop) readEdits(sets func() [][]byte) (e unsavedSides) {
	before, now, err := s.repo.SavedAndWork("HEAD", s.sub, schema.SettingsFile, "sets")
	if err != nil {
		return unsavedSides{err: err}
	}
	differ := map[string]bool{schema.SettingsFile: true}
	for _, c := range git.Compare(before, now) {
		if e.all = e.all || c.Path == schema.SettingsFile; e.all {
			return e
		}
		differ[c.Path] = strings.HasPrefix(c.Path, "sets/")
	}
	if len(differ) == 1 {
		return unsavedSides{work: &schema.Library{}, saved: &schema.Library{}}
	}
	sides := [2]*schema.Library{}
	e.err = schema.AtOnce(2, func(i int) (err error) {
		snap := now
		if i == 0 {
			snap = newAtHand(s.repo, before, sets())
		}
		sides[i], err = schema.ReadLibrary(only{snap, differ})
		return err
	})
	e.saved, e.work = sides[0], sides[1]
	return e
}

// atHand is a snapshot of which some contents are at hand, each by its id.
type atHand struct {
	git.Snapshot
	byID map[string][]byte
}

func newAtHand(repo *git.Repo, snap git.Snapshot, contents [][]byte) git.Snapshot {
	s := atHand{snap, map[string][]byte{}}
	for _, data := range contents {
		s.byID[repo.BlobID(data)] = data
	}
	return s
}

func (s atHand) Read(path string) ([]byte, error) {
	if data, ok := s.byID[s.Hash(path)]; ok {
		return data, nil
	}
	return s.Snapshot.Read(path)
}

// commit tells what one commit changed and brought. Whole are the conditions that are new in it or gone, by kind of entry.
func (t *teller) commit(trail *audit.Trail, entries []audit.Entry, whole map[string][]string, named bool) {
	var rest []*audit.Entry
	byKind := map[string][]*audit.Entry{}
	for i := range entries {
		if e := &entries[i]; e.IsChange() || e.Kind == audit.Edited {
			byKind[e.Kind] = append(byKind[e.Kind], e)
		} else {
			rest = append(rest, e)
		}
	}
	for _, group := range groupByID(byKind[audit.Edited]) {
		t.other(trail, group)
	}
	for _, kind := range []string{audit.Changed, audit.Dropped, audit.New, audit.Removed} {
		if len(whole[kind]) > few && !named {
			t.many(kind, byKind[kind][0], whole[kind])
			continue
		}
		for _, group := range groupByID(byKind[kind]) {
			t.change(trail, group)
		}
	}
	for len(rest) > 0 {
		n := 1
		for n < len(rest) && rest[n].Record != nil && rest[n].Record == rest[0].Record {
			n++
		}
		t.record(trail, rest[:n])
		rest = rest[n:]
	}
}

// mostValues is how many values of a new file are shown one by one.
const mostValues = 6

// other tells what a commit made of a machine, of the settings or of a roster.
func (t *teller) other(trail *audit.Trail, group []*audit.Entry) {
	e := group[0]
	name := map[string]string{schema.SubjectMachine: "machine " + clean(e.ID), schema.SubjectRoster: "who may approve", schema.SubjectPeople: "who may sign"}[e.Subject]
	if name == "" {
		name = e.Subject
	}
	fresh := !slices.ContainsFunc(group, func(e *audit.Entry) bool { return e.From.Path != "" })
	if fresh {
		name += "   new"
	}
	t.head(e, name)
	if fresh && len(group) > mostValues {
		t.row("", "%s", counted(len(group), "value"))
	} else {
		for _, l := range changeLines(fieldChanges(group), t.units) {
			t.row("", "%s", l)
		}
	}
	for _, w := range e.Why {
		t.row("reason", "%s: %s (%s)", w.Cause, clean(w.Text), spoken(w.By))
	}
	if trail.Standing.Anchor != nil {
		if len(e.ApprovedBy) > 0 {
			t.row("approved", "%s", auditPersons(e.ApprovedBy))
		} else if e.Unapproved() {
			t.row("approved", "by nobody")
		}
	}
	t.tail(e)
}

// groupByID gathers entries of one kind by what they are about, in their order.
func groupByID(entries []*audit.Entry) [][]*audit.Entry {
	type subject struct{ kind, id string }
	at := map[subject]int{}
	var out [][]*audit.Entry
	for i, e := range entries {
		if i > 0 && entries[i-1].ID == e.ID && entries[i-1].Subject == e.Subject {
			last := at[subject{e.Subject, e.ID}]
			out[last] = append(out[last], e)
			continue
		}
		n, known := at[subject{e.Subject, e.ID}]
		if !known {
			n = len(out)
			at[subject{e.Subject, e.ID}] = n
			out = append(out, nil)
		}
		out[n] = append(out[n], e)
	}
	return out
}

// head begins a block: when, who, what.
func (t *teller) head(e *audit.Entry, what string) {
	tone := view.Plain
	if e.Unapproved() && t.adopted || e.Kind == audit.RecordAltered || e.Kind == audit.RecordRemoved {
		tone = view.Bad
	}
	t.block(fmt.Sprintf("%s  %s  %s", e.At.Local().Format("15:04"), auditPerson(e.By), what), tone)
}

func auditPerson(p audit.Person) string {
	if p.Principal != "" {
		return spoken(p.Principal)
	}
	if p.Name != "" && !strings.Contains(p.Name, "@") {
		return clean(p.Name)
	}
	return spoken(p.String())
}

func auditPersons(names []string) string {
	out := make([]string, len(names))
	for i, n := range names {
		out[i] = spoken(n)
	}
	return strings.Join(out, ", ")
}

// many tells many conditions that one commit brought or took away in one line.
func (t *teller) many(kind string, first *audit.Entry, ids []string) {
	families := map[string]int{}
	var names []string
	for _, text := range ids {
		id, err := schema.ParseID(text)
		if err != nil {
			continue
		}
		set := id.Machine + "/" + id.Material + "/" + id.Gas
		if families[set] == 0 {
			names = append(names, set)
		}
		families[set]++
	}
	t.head(first, fmt.Sprintf("%d conditions, %s", len(ids), kind))
	for _, n := range names {
		t.row("", "%s: %d", n, families[n])
	}
	t.tail(first)
}

// change tells what a commit made of one condition.
func (t *teller) change(trail *audit.Trail, group []*audit.Entry) {
	e := group[0]
	switch e.Kind {
	case audit.New:
		t.head(e, clean(e.ID)+"   new")
		t.row("values", "%s", t.brief(group, func(e *audit.Entry) schema.Field { return e.To }))
	case audit.Removed:
		t.head(e, clean(e.ID)+"   removed")
		t.row("values", "%s", t.brief(group, func(e *audit.Entry) schema.Field { return e.From }))
	case audit.Dropped:
		t.head(e, clean(e.ID)+"   a merge left this change out")
	default:
		t.head(e, clean(e.ID))
	}
	if e.Kind == audit.Changed || e.Kind == audit.Dropped {
		for _, l := range changeLines(fieldChanges(group), t.units) {
			t.row("", "%s", l)
		}
	}
	if e.Kind != audit.Dropped {
		t.reasons(trail, group)
	}
	t.tail(e)
}

// brief is a recipe in a line, from what differs.
func (t *teller) brief(group []*audit.Entry, side func(*audit.Entry) schema.Field) string {
	var parts []string
	for _, path := range []string{"cut.power", "cut.speed", "cut.pressure", "cut.focus", "nozzle.form", "nozzle.orifice", "nozzle.standoff"} {
		for _, e := range group {
			if f := side(e); e.Field == path && f.Path != "" {
				text := clean(value(f, t.units))
				switch path {
				case "cut.focus":
					text = "focus " + text
				case "nozzle.standoff":
					text = "at " + text
				}
				parts = append(parts, text)
			}
		}
	}
	return strings.Join(parts, ", ")
}

// reasons tells why a condition changed and who approved what it became.
func (t *teller) reasons(trail *audit.Trail, group []*audit.Entry) {
	e := group[0]
	for _, w := range e.Why {
		who := spoken(w.By)
		if !w.Signed {
			who += ", claimed"
		}
		t.row("reason", "%s: %s (%s)", w.Cause, clean(w.Text), who)
		if len(w.RuledOut) > 0 {
			t.row("ruled out", "%s", strings.Join(w.RuledOut, ", "))
		}
	}
	note := !slices.ContainsFunc(group, func(e *audit.Entry) bool { return !e.Note })
	if note || trail.Standing.Anchor == nil {
		return
	}
	if len(e.Why) == 0 && e.Kind == audit.Changed {
		t.row("reason", "none on record")
	}
	later := e.ApprovedLater()
	for _, g := range group[1:] {
		if has := g.ApprovedLater(); !g.Note {
			later = slices.DeleteFunc(later, func(p string) bool { return !slices.Contains(has, p) })
		}
	}
	switch {
	case len(e.ApprovedBy) > 0:
		t.row("approved", "%s", auditPersons(e.ApprovedBy))
	case len(later) > 0:
		t.row("approved", "not as it stood here; %s approved a later recipe that still has it", auditPersons(later))
	default:
		t.row("approved", "by nobody")
	}
}

// tail tells what else is known of a commit: who else had a hand in it, what is odd, and where to find it.
func (t *teller) tail(e *audit.Entry) {
	if e.Committer.String() != e.By.String() && e.Record == nil {
		t.row("saved by", "%s on %s", auditPerson(e.Committer), t.day(e.Committed))
	}
	var co []string
	for _, p := range e.CoAuthors {
		co = append(co, auditPerson(p))
	}
	if len(co) > 0 {
		t.row("with", "%s", strings.Join(co, ", "))
	}
	if e.Edge {
		t.row("older", "this clone's history begins here; who made it and when may be older")
	}
	if e.Clock != "" {
		t.row("time", "%s", e.Clock)
	}
	if e.Commit != "" {
		t.row("saved as", "%.12s", e.Commit)
	}
}

// record tells one record, or a file that is not as it should be.
func (t *teller) record(trail *audit.Trail, entries []*audit.Entry) {
	e := entries[0]
	switch e.Kind {
	case audit.Unreadable:
		t.head(e, fmt.Sprintf("saved %s in a state that cannot be read; it counts as it was before", clean(e.Path)))
		t.tail(e)
		return
	case audit.PartlyRead:
		t.head(e, fmt.Sprintf("saved %s with more in it than can be read; git show %.12s shows it", clean(e.Path), e.Commit))
		t.tail(e)
		return
	case audit.RecordAltered, audit.RecordRemoved:
		verb := map[string]string{audit.RecordAltered: "altered", audit.RecordRemoved: "removed"}[e.Kind]
		t.head(e, fmt.Sprintf("%s the record %s", verb, clean(e.Path)))
		t.row("", "records are never edited or removed; fettle verify says what to do")
		t.tail(e)
		return
	}
	r := e.Record
	head := t.recordHead(r, aboutWhat(entries))
	if r.Kind != schema.KindTrial { // which says it itself
		head += "  (" + r.Digest.Short() + ")"
	}
	t.head(e, head)
	if text := clean(r.Text.V); text != "" {
		t.row("because", "%s", text)
	}
	if why := trail.Standing.Refused[r.Digest]; why != "" {
		t.row("not counted", "%s", clean(why))
	}
	if w := trail.Standing.Withdrawn[r.Digest]; w != nil {
		t.row("taken back", "on %s by %s: %s", t.day(w.Time()), spoken(w.By.V), clean(w.Text.V))
	}
	if day := e.At.Local().Format(time.DateOnly); e.Commit != "" && day != e.Committed.Local().Format(time.DateOnly) {
		t.row("saved", "on %s by %s", t.day(e.Committed), auditPerson(e.Committer))
	}
	if e.Clock != "" {
		t.row("time", "%s", e.Clock)
	}
}

// aboutWhat names what a record is about: a few conditions one by one, many by their number.
func aboutWhat(entries []*audit.Entry) string {
	var names []string
	conditions := 0
	for _, e := range entries {
		switch e.Subject {
		case "":
		case schema.SubjectCondition:
			conditions++
			names = append(names, clean(e.ID))
		case schema.SubjectMachine:
			names = append(names, "machine "+clean(e.ID))
		default:
			names = append(names, e.Subject)
		}
	}
	if conditions > few {
		names = slices.DeleteFunc(names, func(n string) bool { return strings.Contains(n, "/") })
		names = append([]string{fmt.Sprintf("%d conditions", conditions)}, names...)
	}
	return strings.Join(names, ", ")
}

// recordHead says what a record is, in a line.
func (s *shop) recordHead(r *schema.Record, about string) string {
	on := ""
	if r.Unit.Set() {
		on = " on " + clean(r.Unit.V)
	}
	switch b := r.Body.(type) {
	case *schema.Trial:
		_, steps, _ := strings.Cut(s.trialLine(r), ": ") // who and when stand before it
		return "tried " + about + on + ": " + steps
	case *schema.Reason:
		return fmt.Sprintf("reason for %s: %s", about, b.Cause.V)
	case *schema.Decision:
		verb := map[string]string{schema.KindApproval: "approved", schema.KindRejection: "rejected", schema.KindAdoption: "adopted"}[r.Kind]
		return fmt.Sprintf("%s %s", verb, about)
	case *schema.Withdrawal:
		return fmt.Sprintf("took back the record %s about %s", schema.Digest(b.Record.V).Short(), about)
	case *schema.Permit:
		return fmt.Sprintf("let %s run until %s%s", about, s.moment(b.Until.V), on)
	case *schema.Waiver:
		return fmt.Sprintf("accepted %s on %s until %s", b.Rule.V, about, s.moment(b.Until.V))
	case *schema.Load:
		return fmt.Sprintf("loaded %s%s", about, on)
	case *schema.Escape:
		if about == "" {
			about = "all that was loaded"
		}
		what := strings.Join(b.Symptom.V, ", ")
		return strings.TrimSpace(fmt.Sprintf("bad parts got out%s: %s, %s", on, about, what))
	case *schema.Cause:
		return fmt.Sprintf("found %s behind a bad cut with %s%s", b.Found.V, about, on)
	}
	return r.Kind + " " + about
}

// moment is a time of a record as people say it.
func (s *shop) moment(rfc string) string {
	t, err := time.Parse(time.RFC3339, rfc)
	if err != nil {
		return clean(rfc)
	}
	return s.day(t) + " " + t.Local().Format("15:04")
}
