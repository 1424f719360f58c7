package audit

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/schema"
)

// A Filter says which entries are wanted. The zero Filter takes all.
type Filter struct {
	Since, Until time.Time   // both ends included; the zero time is no limit
	IDs          []schema.ID // nil for all
	Machines     []string    // with IDs: machines whose profiles are wanted, too
	Field        string      // see [MatchField]
	By           string      // see [Person.Matches]
	Unapproved   bool        // only changes whose resulting recipe nobody ever approved

	// Whole has a condition that is new or gone told by one entry without a field, as far as it is so as a whole and no field is asked for. Its
	// fields are read by [Trail.Parts].
	Whole bool
}

// besideFields is the filter as far as it is not about fields.
func (f Filter) besideFields() Filter {
	f.Field, f.Unapproved = "", false
	return f
}

// Select returns the entries that pass the filter, oldest first.
func (t *Trail) Select(f Filter) []Entry {
	out := []Entry{}
	for e := range t.Each(f) {
		out = append(out, *e)
	}
	return out
}

// Any reports whether an entry passes the filter.
func (t *Trail) Any(f Filter) bool {
	f.Whole = true
	for range t.Each(f) {
		return true
	}
	return false
}

// test is what says whether an entry passes.
func (f Filter) test() func(*Entry) bool {
	ids := map[string]bool{}
	for _, id := range f.IDs {
		ids[id.String()] = true
	}
	return func(e *Entry) bool {
		switch {
		case !f.Since.IsZero() && e.At.Before(f.Since), !f.Until.IsZero() && e.At.After(f.Until):
		case (f.IDs != nil || f.Machines != nil) && !(e.Subject == schema.SubjectCondition && ids[e.ID]) && !(e.Subject == schema.SubjectMachine && slices.Contains(f.Machines, e.ID)):
		case f.Field != "" && (!e.IsChange() && e.Kind != Edited || !MatchField(e.Field, f.Field)):
		case f.By != "" && !e.By.Matches(f.By) && !slices.ContainsFunc(e.CoAuthors, func(p Person) bool { return p.Matches(f.By) }):
		case f.Unapproved && !e.Unapproved():
		default:
			return true
		}
		return false
	}
}

// MatchField reports whether a person who types a name means a field: its path or the end of it, as in files or as people count
// (cut.pressure, pressure, pierce[0].time, pierce1.time), or what it is part of (nozzle, pierce).
func MatchField(path, typed string) bool {
	typed = strings.TrimSuffix(typed, ".")
	for _, p := range []string{path, schema.SpokenPath(path)} {
		if p == typed || strings.HasSuffix(p, "."+typed) || strings.HasPrefix(p, typed+".") || strings.HasPrefix(p, typed+"[") {
			return true
		}
	}
	return false
}

// Matches reports whether a person who types a name may mean this one: the principal, the name or the address, or a part of one,
// in any case; blanks stand for the dots of an address.
func (p Person) Matches(typed string) bool {
	typed = strings.ToLower(strings.TrimSpace(typed))
	for _, known := range []string{p.Principal, p.Name, p.Email} {
		known = strings.ToLower(known)
		if known != "" && (strings.Contains(known, typed) || strings.Contains(known, strings.Join(strings.Fields(typed), "."))) {
			return true
		}
	}
	return false
}

// ParseTime reads a moment as people type it: 2026-07-01, 2026-07-01 14:30, or RFC 3339. Without a zone it is local. A day alone
// is its first moment, or with end its last; so is what the clock showed twice, in the night in which it was put back. What it never
// showed, since it was put forward, is refused.
func ParseTime(typed string, zone *time.Location, end bool) (time.Time, error) {
	typed = strings.TrimSpace(typed)
	if t, err := time.Parse(time.RFC3339, typed); err == nil {
		return t, nil
	}
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02T15:04", "2006-01-02 15:04:05", "2006-01-02T15:04:05"} {
		t, err := time.ParseInLocation(layout, typed, zone)
		if err != nil {
			continue
		}
		wall, _ := time.Parse(layout, typed) // 9:30 may be written for 09:30
		shows := func(t time.Time) bool { return t.Format(time.DateTime) == wall.Format(time.DateTime) }
		if !shows(t) {
			return time.Time{}, fmt.Errorf("no clock showed %q: it was put forward then, to %s; write the time that it showed", typed, t.Format("15:04 MST"))
		}
		for _, minutes := range []int{-120, -60, -30, 30, 60, 120} {
			other := t.Add(time.Duration(minutes) * time.Minute)
			if shows(other) && other.After(t) == end {
				t = other
			}
		}
		return t, nil
	}
	t, err := time.ParseInLocation(time.DateOnly, typed, zone)
	if err != nil {
		return time.Time{}, fmt.Errorf("%q is not a date; write it as 2026-07-01, or with a time as 2026-07-01T14:30", typed)
	}
	if end {
		t = t.AddDate(0, 0, 1).Add(-time.Nanosecond)
	}
	return t, nil
}
