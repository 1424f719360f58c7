package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/history"
	"fettle/history/audit"
	"fettle/schema"
)

// few is how many conditions of one commit are shown one by one where they are all new or all gone.
const few = 3

// printAudit prints the timeline by day and commit, newest last.
func (s *shop) printAudit(trail *audit.Trail, entries []audit.Entry, ids []schema.ID) {
	told := map[schema.Digest]bool{} // reasons that are shown with the change they are of
	for _, e := range entries {
		if e.IsChange() {
			for _, w := range e.Why {
				told[w.Record] = true
			}
		}
	}
	entries = slices.DeleteFunc(slices.Clone(entries), func(e audit.Entry) bool {
		return e.Kind == schema.KindReason && e.Record != nil && told[e.Record.Digest]
	})
	day := ""
	for len(entries) > 0 {
		n := 1
		for n < len(entries) && entries[n].Commit == entries[0].Commit {
			n++
		}
		if today := entries[0].At.Local().Format("Monday 2 January 2006"); today != day {
			if day != "" {
				s.say("")
			}
			day = today
			s.say("%s", day)
		}
		s.printCommit(trail, entries[:n], len(ids) > 0)
		entries = entries[n:]
	}
	if day == "" {
		s.say("nothing was saved%s yet that concerns the library", map[bool]string{true: " of that, or in that time,"}[len(ids) > 0])
	}
	if trail.Shallow {
		s.say("\nThis clone does not have the older history, so this is not all. To have it: git fetch --unshallow")
	}
	s.sayUnsavedOf(ids)
}

// sayUnsavedOf tells which edits are not part of a timeline.
func (s *shop) sayUnsavedOf(ids []schema.ID) {
	work, saved, err := s.both()
	if err != nil {
		return
	}
	for _, d := range history.Compare(saved, work) {
		if ids == nil || slices.Contains(ids, d.ID) {
			s.say("unsaved   %s was edited and is not saved; that is not part of this", d.ID)
		}
	}
}

// printCommit prints what one commit changed and brought.
func (s *shop) printCommit(trail *audit.Trail, entries []audit.Entry, named bool) {
	var changes, rest []audit.Entry
	for _, e := range entries {
		if e.IsChange() {
			changes = append(changes, e)
		} else {
			rest = append(rest, e)
		}
	}
	for _, kind := range []string{audit.Changed, audit.Dropped, audit.New, audit.Removed} {
		byID := groupByID(changes, kind)
		if whole := kind == audit.New || kind == audit.Removed; whole && len(byID) > few && !named {
			s.printMany(kind, byID)
			continue
		}
		for _, group := range byID {
			s.printChange(trail, group)
		}
	}
	for len(rest) > 0 {
		n := 1
		for n < len(rest) && rest[n].Record != nil && rest[n].Record == rest[0].Record {
			n++
		}
		s.printRecord(trail, rest[:n])
		rest = rest[n:]
	}
}

// groupByID gathers the entries of one kind by condition, in their order.
func groupByID(entries []audit.Entry, kind string) [][]audit.Entry {
	at := map[string]int{}
	var out [][]audit.Entry
	for _, e := range entries {
		if e.Kind != kind {
			continue
		}
		i, known := at[e.ID]
		if !known {
			i = len(out)
			at[e.ID] = i
			out = append(out, nil)
		}
		out[i] = append(out[i], e)
	}
	return out
}

// head prints the first line of something in the timeline: when, who, what.
func (s *shop) head(e *audit.Entry, what string) {
	s.say("  %s  %s  %s", e.At.Local().Format("15:04"), auditPerson(e.By), what)
}

// line prints one more line below a head.
func (s *shop) line(label, format string, args ...any) {
	s.say("         %-11s %s", label, fmt.Sprintf(format, args...))
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

// printMany prints many conditions that one commit brought or took away in one line.
func (s *shop) printMany(kind string, groups [][]audit.Entry) {
	first := &groups[0][0]
	families := map[string]int{}
	var names []string
	for _, g := range groups {
		id, err := schema.ParseID(g[0].ID)
		if err != nil {
			continue
		}
		set := id.Machine + "/" + id.Material + "/" + id.Gas
		if families[set] == 0 {
			names = append(names, set)
		}
		families[set]++
	}
	s.head(first, fmt.Sprintf("%d conditions, %s", len(groups), kind))
	for _, n := range names {
		s.line("", "%s: %d", n, families[n])
	}
	s.tail(first)
}

// printChange prints what a commit made of one condition.
func (s *shop) printChange(trail *audit.Trail, group []audit.Entry) {
	e := &group[0]
	switch e.Kind {
	case audit.New:
		s.head(e, clean(e.ID)+"   new")
		s.line("values", "%s", s.brief(group, func(e audit.Entry) schema.Field { return e.To }))
	case audit.Removed:
		s.head(e, clean(e.ID)+"   removed")
		s.line("values", "%s", s.brief(group, func(e audit.Entry) schema.Field { return e.From }))
	case audit.Dropped:
		s.head(e, clean(e.ID)+"   a merge left this change out")
	default:
		s.head(e, clean(e.ID))
	}
	if e.Kind == audit.Changed || e.Kind == audit.Dropped {
		for _, l := range s.changeLines(fieldChanges(group)) {
			s.say("         %s", l)
		}
	}
	if e.Kind != audit.Dropped {
		s.printReasons(trail, group)
	}
	s.tail(e)
}

// brief is a recipe in a line, from what differs.
func (s *shop) brief(group []audit.Entry, side func(audit.Entry) schema.Field) string {
	prefs := s.prefs()
	var parts []string
	for _, path := range []string{"cut.power", "cut.speed", "cut.pressure", "cut.focus", "nozzle.form", "nozzle.orifice", "nozzle.standoff"} {
		for _, e := range group {
			if f := side(e); e.Field == path && f.Path != "" {
				text := clean(value(f, prefs))
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

// printReasons prints why a condition changed and who approved what it became.
func (s *shop) printReasons(trail *audit.Trail, group []audit.Entry) {
	e := &group[0]
	for _, w := range e.Why {
		who := spoken(w.By)
		if !w.Signed {
			who += ", claimed"
		}
		s.line("reason", "%s: %s (%s)", w.Cause, clean(w.Text), who)
		if len(w.RuledOut) > 0 {
			s.line("ruled out", "%s", strings.Join(w.RuledOut, ", "))
		}
	}
	note := !slices.ContainsFunc(group, func(e audit.Entry) bool { return !e.Note })
	if note || trail.Standing.Anchor == nil {
		return
	}
	if len(e.Why) == 0 && e.Kind == audit.Changed {
		s.line("reason", "none on record")
	}
	later := group[0].ApprovedLater
	for _, g := range group {
		later = slices.DeleteFunc(slices.Clone(later), func(p string) bool { return !g.Note && !slices.Contains(g.ApprovedLater, p) })
	}
	switch {
	case len(e.ApprovedBy) > 0:
		s.line("approved", "%s", auditPersons(e.ApprovedBy))
	case len(later) > 0:
		s.line("approved", "not as it stood here; %s approved a later recipe that still has it", auditPersons(later))
	default:
		s.line("approved", "by nobody")
	}
}

// tail prints what else is known of a commit: who else had a hand in it, what is odd, and where to find it.
func (s *shop) tail(e *audit.Entry) {
	if e.Committer.String() != e.By.String() && e.Record == nil {
		s.line("saved by", "%s on %s", auditPerson(e.Committer), s.day(e.Committed))
	}
	var co []string
	for _, p := range e.CoAuthors {
		co = append(co, auditPerson(p))
	}
	if len(co) > 0 {
		s.line("with", "%s", strings.Join(co, ", "))
	}
	if e.Edge {
		s.line("older", "this clone's history begins here; who made it and when may be older")
	}
	if e.Clock != "" {
		s.line("time", "%s", e.Clock)
	}
	if e.Commit != "" {
		s.line("saved as", "%.12s", e.Commit)
	}
}

// printRecord prints one record, or a file that is not as it should be.
func (s *shop) printRecord(trail *audit.Trail, entries []audit.Entry) {
	e := &entries[0]
	switch e.Kind {
	case audit.Unreadable:
		s.head(e, fmt.Sprintf("saved %s in a state that cannot be read; it counts as it was before", clean(e.Path)))
		s.tail(e)
		return
	case audit.RecordAltered, audit.RecordRemoved:
		verb := map[string]string{audit.RecordAltered: "altered", audit.RecordRemoved: "removed"}[e.Kind]
		s.head(e, fmt.Sprintf("%s the record %s", verb, clean(e.Path)))
		s.line("", "records are never edited or removed; fettle verify says what to do")
		s.tail(e)
		return
	}
	r := e.Record
	s.head(e, s.recordHead(r, aboutWhat(entries)))
	if text := clean(r.Text.V); text != "" {
		s.line("because", "%s", text)
	}
	if why := trail.Standing.Refused[r.Digest]; why != "" {
		s.line("not counted", "%s", clean(why))
	}
	if w := trail.Standing.Withdrawn[r.Digest]; w != nil {
		s.line("taken back", "on %s by %s: %s", s.day(w.Time()), spoken(w.By.V), clean(w.Text.V))
	}
	if day := e.At.Local().Format(time.DateOnly); e.Commit != "" && day != e.Committed.Local().Format(time.DateOnly) {
		s.line("saved", "on %s by %s", s.day(e.Committed), auditPerson(e.Committer))
	}
	if e.Clock != "" {
		s.line("time", "%s", e.Clock)
	}
}

// aboutWhat names what a record is about: a few conditions one by one, many by their number.
func aboutWhat(entries []audit.Entry) string {
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
