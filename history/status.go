package history

import (
	"iter"
	"slices"

	"fettle/schema"
)

// A Status says how a condition stands to what is in force.
type Status string

// The statuses of a condition.
const (
	Approved   Status = "approved"
	Changed    Status = "changed"    // another recipe is in force, or was until it was rejected, or a part of what is written cannot be read
	New        Status = "new"        // nothing was ever approved, or its removal was
	Removed    Status = "removed"    // a recipe is in force and the condition is gone
	Rejected   Status = "rejected"   // this very recipe was rejected
	Stale      Status = "stale"      // approved, and a value of the machine changed since
	Contested  Status = "contested"  // decisions contradict each other
	Superseded Status = "superseded" // approved once, and another recipe since
)

// A Position is where one subject stands: its content in the library against what is in force.
type Position struct {
	Kind    string // subject kind
	Name    string // id of the condition, name of the machine
	ID      schema.ID
	Status  Status
	Now     *schema.Recipe // nil where it is removed, or no condition
	Digest  schema.Digest  // of what stands in the library, "" where it is removed
	State   *State
	Drifted []FieldChange    // of a stale one: values of the machine then and now
	Unread  []schema.Problem // what is written and was never decided on, since it cannot be read or stands twice
}

// Approved returns the recipe in force, or nil.
func (p Position) Approved() *schema.Values {
	return ValuesOf(p.State.Last())
}

// Base returns the recipe to compare with: the one in force, or, where decisions contradict each other or rejected it, the last
// that was in force; nil where nothing ever was.
func (p Position) Base() (*schema.Values, *Decision) {
	d := p.State.Last()
	if d == nil && p.State != nil {
		for _, group := range p.State.once {
			for _, c := range group {
				if c.Digest() != p.Digest && c.Digest() != "" && (d == nil || c.Record.Path > d.Record.Path) {
					d = c
				}
			}
		}
	}
	return ValuesOf(d), d
}

// ValuesOf returns the recipe that a decision keeps, or nil.
func ValuesOf(d *Decision) *schema.Values {
	if d == nil || d.Subject == nil || d.Subject.Kind.V != schema.SubjectCondition || !d.Subject.Values.Set() {
		return nil
	}
	var v schema.Values
	schema.Bind(d.Subject.Values.V, &v)
	return &v
}

// Position returns where a condition stands. Now is nil where the library does not hold it.
func (s *Standing) Position(lib *schema.Library, id schema.ID) Position {
	p := Position{Kind: schema.SubjectCondition, Name: id.String(), ID: id, State: s.Condition(id), Now: lib.Recipe(id)}
	if p.Now != nil {
		p.Digest = p.Now.Digest()
	}
	p.Status = p.State.status(p.Digest)
	if p.Status == Approved && p.Now != nil {
		if p.Drifted = s.drift(lib, id, p.State); len(p.Drifted) > 0 {
			p.Status = Stale
		}
	}
	if p.Now != nil && len(p.Now.Unread) > 0 {
		p.Unread = p.Now.Unread
		if p.Status == Approved || p.Status == Stale {
			p.Status = Changed
		}
	}
	return p
}

func (s *State) status(now schema.Digest) Status {
	inForce, any := s.Digest()
	switch {
	case s != nil && len(s.Contested) > 0:
		return Contested
	case any && inForce == now:
		return Approved
	case now == "" && any && inForce != "":
		return Removed
	case now == "":
		return Approved // gone, and nothing in force asks for it
	case s.Rejection(now) != nil:
		return Rejected
	case s.Once(now) != nil:
		return Superseded
	case any && inForce != "", !any && s != nil && len(s.once) > 0:
		return Changed
	}
	return New
}

// drift returns the values of the machine that shaped the approved cut and are others now. A blank that was filled since is none.
// A recipe approved more than once stands as long as one of its approvals knew the machine as it is.
func (s *Standing) drift(lib *schema.Library, id schema.ID, state *State) []FieldChange {
	m := lib.Machine(id.Machine)
	if m == nil {
		return nil
	}
	now := m.BeamAndJet(id.Gas)
	var drifted []FieldChange
	for _, d := range state.InForce {
		changes := machineDrift(&d.Subject.MachineValues.V, &now)
		if len(changes) == 0 {
			return nil
		}
		drifted = changes
	}
	return drifted
}

// machineDrift returns the values of a machine that are others now. A blank that was filled since is none; only the revision counts
// from 1 where nobody wrote it, since it is raised to have recipes proven again.
func machineDrift(was, now *schema.BeamAndJet) []FieldChange {
	return slices.DeleteFunc(CompareFields(schema.Fields(was), schema.Fields(now)), func(c FieldChange) bool {
		if c.Path == "revision" {
			return was.Revision.Or(1) == now.Revision.Or(1)
		}
		return c.From.Path == ""
	})
}

// Positions returns where every condition of the library or of the records stands, ordered by id.
func (s *Standing) Positions(lib *schema.Library) []Position {
	var out []Position
	s.EachPosition(slices.Values([]*schema.Library{lib}), func(p Position) { out = append(out, p) })
	slices.SortFunc(out, func(a, b Position) int { return a.ID.Compare(b.ID) })
	return out
}

// EachPosition is [Standing.Positions], in no order, of a library that is handed over in parts: each holds settings and machines, and whole
// sets with all their files. No part is needed for longer than its turn.
func (s *Standing) EachPosition(parts iter.Seq[*schema.Library], each func(Position)) {
	there := map[string]bool{} // by name: an id holds on to the file that it was read from
	var last *schema.Library
	for lib := range parts {
		last = lib
		for _, r := range lib.Recipes {
			p := s.Position(lib, r.ID)
			there[p.Name] = true
			each(p)
		}
	}
	if last != nil {
		for _, id := range s.Gone(func(name string) bool { return there[name] }) {
			each(s.Position(last, id))
		}
	}
}

// Gone are the conditions that a library does not hold, though a recipe of theirs is in force or decisions on it contradict each other: in no
// order. There says of which it holds one.
func (s *Standing) Gone(there func(name string) bool) (ids []schema.ID) {
	for key, state := range s.states {
		if key.Kind != schema.SubjectCondition {
			continue
		}
		if id, err := schema.ParseID(key.ID); err == nil && !there(id.String()) && state.status("") != Approved {
			ids = append(ids, id)
		}
	}
	return ids
}

// unreadSubjects returns what is written in settings and machine profiles and is not in their digests.
func unreadSubjects(lib *schema.Library) map[SubjectKey][]schema.Problem {
	out := map[SubjectKey][]schema.Problem{}
	for _, f := range lib.Files {
		var key SubjectKey
		switch v := f.Value.(type) {
		case *schema.Settings:
			key = settingsKey
		case *schema.Machine:
			key = SubjectKey{schema.SubjectMachine, v.Name.V}
		default:
			continue
		}
		for _, p := range f.Problems {
			if p.Hides() {
				out[key] = append(out[key], p)
			}
		}
	}
	return out
}

// Others returns where roster, people, settings and machines stand, those that are not approved as they are, ordered by kind and
// name.
func (s *Standing) Others(lib *schema.Library) []Position {
	var out []Position
	present := map[SubjectKey]bool{}
	unread := unreadSubjects(lib)
	for _, subject := range OtherSubjects(lib) {
		key := SubjectKey{subject.Kind.V, subject.ID.V}
		present[key] = true
		p := Position{Kind: key.Kind, Name: key.ID, Digest: schema.Digest(subject.Digest.V), State: s.states[key], Unread: unread[key]}
		if p.Status = p.State.status(p.Digest); p.Status == Approved && len(p.Unread) > 0 {
			p.Status = Changed
		}
		if p.Status != Approved {
			out = append(out, p)
		}
	}
	for kind, data := range map[string][]byte{schema.SubjectRoster: lib.Roster, schema.SubjectPeople: lib.People} {
		if key := (SubjectKey{kind, kind}); data != nil && !present[key] { // it cannot be read, so it is not what was approved
			present[key] = true
			out = append(out, Position{Kind: kind, Name: kind, Status: Changed, State: s.states[key]})
		}
	}
	for key, state := range s.states {
		if key.Kind != schema.SubjectCondition && !present[key] && state.status("") != Approved {
			out = append(out, Position{Kind: key.Kind, Name: key.ID, Status: state.status(""), State: state})
		}
	}
	slices.SortFunc(out, func(a, b Position) int {
		return SubjectKey{a.Kind, a.Name}.compare(SubjectKey{b.Kind, b.Name})
	})
	return out
}
