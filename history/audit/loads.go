package audit

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"fettle/history"
	"fettle/schema"
)

// A Loading is one recipe that went onto a real machine.
type Loading struct {
	Unit, ID string
	Digest   schema.Digest
	At       time.Time // when it went on
	Record   *schema.Record
}

// Loads returns what load records say went onto machines, oldest first. What was taken back is left out.
func Loads(l *history.Ledger) []Loading {
	withdrawn := l.Withdrawn()
	var out []Loading
	for _, r := range history.Bodies[*schema.Load](l) {
		if withdrawn[r.Record.Digest] != nil {
			continue
		}
		at := r.Record.Time()
		if since, err := time.Parse(time.RFC3339, r.Body.Since.V); err == nil {
			at = since
		}
		for _, c := range r.Body.Loaded.V {
			out = append(out, Loading{r.Body.Unit.V, c.ID.V, schema.Digest(c.Digest.V), at, r.Record})
		}
	}
	slices.SortStableFunc(out, func(a, b Loading) int {
		return cmp.Or(a.At.Compare(b.At), strings.Compare(a.Record.Path, b.Record.Path), strings.Compare(a.ID, b.ID))
	})
	return out
}

// A Stay is a time during which a unit held one recipe of a condition, as far as load records say. Where two loads of the same moment
// contradict each other it may have held either.
type Stay struct {
	Unit, ID string
	From, To time.Time // To is the zero time where it is there still
	Loaded   []Loading // what it held: one loading, several that contradict each other, none where nothing is on record
}

// Digest is the recipe that the unit held, "" where that is not on record or not clear.
func (s *Stay) Digest() schema.Digest {
	if len(s.Loaded) == 0 || slices.ContainsFunc(s.Loaded, func(l Loading) bool { return l.Digest != s.Loaded[0].Digest }) {
		return ""
	}
	return s.Loaded[0].Digest
}

// Stays returns what a unit held of a condition from one time to another, in order and without a gap. A recipe stays until another
// load of the condition. Two loads of the same recipe in a row are one stay.
func Stays(loads []Loading, unit, id string, from, to time.Time) []Stay {
	var all []Stay
	for _, l := range loads {
		if l.Unit != unit || l.ID != id {
			continue
		}
		if n := len(all); n > 0 {
			last := &all[n-1]
			if last.From.Equal(l.At) {
				last.Loaded = append(last.Loaded, l)
				continue
			}
			if last.Digest() == l.Digest {
				continue
			}
			last.To = l.At
		}
		all = append(all, Stay{Unit: unit, ID: id, From: l.At, Loaded: []Loading{l}})
	}
	if len(all) == 0 || all[0].From.After(from) {
		unknown := Stay{Unit: unit, ID: id, From: from}
		if len(all) > 0 {
			unknown.To = all[0].From
		}
		all = slices.Insert(all, 0, unknown)
	}
	return slices.DeleteFunc(all, func(s Stay) bool {
		return !s.To.IsZero() && !s.To.After(from) || !to.IsZero() && !s.From.Before(to) && !s.From.Equal(from)
	})
}

// Within is the part of a stay that lies between two times.
func (s Stay) Within(from, to time.Time) Stay {
	if s.From.Before(from) {
		s.From = from
	}
	if s.To.IsZero() || s.To.After(to) {
		s.To = to
	}
	return s
}

// LoadedIDs returns the conditions that went onto a unit before a moment, sorted. What went onto a machine stays there.
func LoadedIDs(loads []Loading, unit string, before time.Time) []string {
	var out []string
	for _, l := range loads {
		if l.Unit == unit && l.At.Before(before) && !slices.Contains(out, l.ID) {
			out = append(out, l.ID)
		}
	}
	slices.Sort(out)
	return out
}
