package history

import (
	"fmt"

	"fettle/history/signature"
	"fettle/schema"
)

// checkSubject reports why the values that a decision keeps are not what its digest says, or "". A decision whose own values do
// not fit its digest was made by hand or was altered.
func checkSubject(s *schema.Subject) string {
	if s.Digest.V == "" {
		if s.Values.Set() {
			return fmt.Sprintf("%s is decided as removed and yet carries values", s.ID.V)
		}
		if s.Kind.V == schema.SubjectRoster || s.Kind.V == schema.SubjectSettings {
			return "the " + s.Kind.V + " cannot be removed"
		}
		return ""
	}
	if !s.Values.Set() {
		return fmt.Sprintf("the values of %s are missing", s.ID.V)
	}
	var id string
	var got schema.Digest
	switch s.Kind.V {
	case schema.SubjectCondition:
		var v schema.Values
		if p := schema.Bind(s.Values.V, &v); len(p) > 0 {
			return fmt.Sprintf("the values of %s cannot be read: %s", s.ID.V, p[0].Message)
		}
		own, ok := v.ID()
		if !ok {
			return fmt.Sprintf("the values of %s have no id", s.ID.V)
		}
		id, got = own.String(), v.Digest()
	case schema.SubjectMachine:
		var m schema.Machine
		if p := schema.Bind(s.Values.V, &m); len(p) > 0 {
			return fmt.Sprintf("the values of machine %s cannot be read: %s", s.ID.V, p[0].Message)
		}
		id, got = m.Name.V, m.Digest()
	case schema.SubjectSettings:
		var set schema.Settings
		if p := schema.Bind(s.Values.V, &set); len(p) > 0 {
			return "the settings kept in it cannot be read: " + p[0].Message
		}
		id, got = schema.SubjectSettings, set.Digest()
	default:
		lines, problem := rosterLines(s)
		if problem != "" {
			return problem
		}
		id, got = s.Kind.V, schema.DigestLines(s.Kind.V, lines)
	}
	if id != s.ID.V {
		return fmt.Sprintf("it is filed under %s and its values are of %s", s.ID.V, id)
	}
	if string(got) != s.Digest.V {
		return fmt.Sprintf("the values of %s do not fit its digest", s.ID.V)
	}
	return ""
}

func rosterLines(s *schema.Subject) (lines []string, problem string) {
	if s.Values.V == nil || s.Values.V.Kind != schema.Array {
		return nil, "the lines of the " + s.Kind.V + " are missing"
	}
	for _, kid := range s.Values.V.Kids {
		if kid.Kind != schema.String {
			return nil, "the lines of the " + s.Kind.V + " are not all text"
		}
		lines = append(lines, kid.Text)
	}
	return lines, ""
}

// readRoster reads the roster that a decision keeps.
func readRoster(s *schema.Subject) (*signature.Roster, string) {
	lines, problem := rosterLines(s)
	if problem != "" {
		return nil, problem
	}
	text := ""
	for _, line := range lines {
		text += line + "\n"
	}
	roster, problems := signature.ParseRoster(schema.RosterFile, []byte(text))
	if len(problems) > 0 {
		return nil, "the " + s.Kind.V + " kept in it cannot be read: " + problems[0].Message
	}
	return roster, ""
}

// ConditionSubject makes the subject of a recipe as it stands in a library, with what of its machine shapes beam and jet.
func ConditionSubject(lib *schema.Library, r *schema.Recipe) schema.Subject {
	s := schema.Subject{Kind: schema.Of(schema.SubjectCondition), ID: schema.Of(r.ID.String()), Digest: schema.Of(string(r.Digest())),
		Values: schema.Of(schema.Encode(r.Values()))}
	if m := lib.Machine(r.ID.Machine); m != nil {
		s.MachineValues = schema.Of(m.BeamAndJet(r.ID.Gas))
	}
	return s
}

// RemovalSubject makes the subject of a condition that is gone.
func RemovalSubject(id schema.ID) schema.Subject {
	return schema.Subject{Kind: schema.Of(schema.SubjectCondition), ID: schema.Of(id.String()), Digest: schema.Of("")}
}

// MachineSubject makes the subject of a machine profile.
func MachineSubject(m *schema.Machine) schema.Subject {
	return schema.Subject{Kind: schema.Of(schema.SubjectMachine), ID: schema.Of(m.Name.V), Digest: schema.Of(string(m.Digest())), Values: schema.Of(schema.Encode(m))}
}

// SettingsSubject makes the subject of the settings.
func SettingsSubject(s *schema.Settings) schema.Subject {
	return schema.Subject{Kind: schema.Of(schema.SubjectSettings), ID: schema.Of(schema.SubjectSettings), Digest: schema.Of(string(s.Digest())), Values: schema.Of(schema.Encode(s))}
}

// RosterSubject makes the subject of a roster: kind roster for the file approvers, kind people for the file people.
func RosterSubject(kind string, roster *signature.Roster) schema.Subject {
	lines := roster.Canonical()
	return schema.Subject{Kind: schema.Of(kind), ID: schema.Of(kind), Digest: schema.Of(string(schema.DigestLines(kind, lines))), Values: schema.Of(schema.List(lines))}
}

// CurrentSubjects returns everything of a library that can be decided on, in a fixed order: roster, people, settings, machines,
// conditions. Files that cannot be read are left out.
func CurrentSubjects(lib *schema.Library) []schema.Subject {
	out := OtherSubjects(lib)
	for _, r := range lib.Recipes {
		out = append(out, ConditionSubject(lib, r))
	}
	return out
}

// OtherSubjects returns what of a library can be decided on and is no condition, in a fixed order.
func OtherSubjects(lib *schema.Library) []schema.Subject {
	var out []schema.Subject
	add := func(kind string, data []byte) {
		if data == nil {
			return
		}
		if roster, problems := signature.ParseRoster(kind, data); len(problems) == 0 {
			out = append(out, RosterSubject(kind, roster))
		}
	}
	add(schema.SubjectRoster, lib.Roster)
	add(schema.SubjectPeople, lib.People)
	if lib.Settings.Value != nil {
		out = append(out, SettingsSubject(lib.Settings.Value))
	}
	for _, name := range lib.MachineNames() {
		out = append(out, MachineSubject(lib.Machine(name)))
	}
	return out
}
