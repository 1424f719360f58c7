package history

import (
	"errors"
	"maps"
	"slices"
	"time"

	"golang.org/x/crypto/ssh"

	"fettle/history/signature"
	"fettle/schema"
)

// A Standing is what the records of one snapshot put in force.
type Standing struct {
	Ledger    *Ledger
	Anchor    *schema.Record                   // the adoption that everything is chained from, nil before it
	Roster    *signature.Roster                // who may approve, in force; nil before adoption
	People    *signature.Roster                // who may sign a reason, in force; nil where there is no such file
	Settings  *schema.Settings                 // in force; nil before adoption. Where settings contradict each other, with the stricter policy of both
	Refused   map[schema.Digest]string         // decisions and withdrawals that count for nothing, wholly or for one subject, and why
	Withdrawn map[schema.Digest]*schema.Record // records taken back, each with the withdrawal
	Trouble   string                           // why there is no anchor although somebody adopted, or why nobody new may decide, or ""

	states   map[SubjectKey]*State
	keys     map[schema.Digest]ssh.PublicKey // of good signatures
	void     map[schema.Digest]bool          // refused as a whole
	charter  *charter                        // in force
	law      *ancestry                       // decisions on roster and settings
	subjects map[SubjectKey][]Decision       // all decisions by subject
	verdicts map[schema.Digest]*verdict
	views    map[string]*charter
	rosters  map[schema.Digest]*signature.Roster
	sights   map[schema.Digest]map[schema.Digest]bool
}

// Judge folds the decisions of the ledger. The library id guards against records of another library; "" takes any. The anchor
// pins the adoption by its digest, as a server does; "" trusts the only one there is.
//
// Who may decide, and how many it takes, is itself decided: see [charter].
func (l *Ledger) Judge(library, anchor string) *Standing {
	s := &Standing{Ledger: l, Refused: map[schema.Digest]string{}, states: map[SubjectKey]*State{}, keys: map[schema.Digest]ssh.PublicKey{},
		void: map[schema.Digest]bool{}, rosters: map[schema.Digest]*signature.Roster{}, sights: map[schema.Digest]map[schema.Digest]bool{}}
	s.Withdrawn = maps.Clone(l.Withdrawn())
	s.checkSignatures(library)
	s.chooseAnchor(anchor)
	if s.Anchor == nil {
		return s
	}
	s.refuseStrangers()
	s.sortDecisions()
	before := maps.Clone(s.Refused)
	s.settle()
	if s.takeBack(true) { // judged by those who may decide as if nothing of it had been taken back
		withdrawals := maps.Clone(s.Refused)
		maps.DeleteFunc(withdrawals, func(d schema.Digest, _ string) bool { return l.Get(d).Kind != schema.KindWithdrawal })
		s.Refused = before
		maps.Copy(s.Refused, withdrawals)
		s.settle()
	}
	s.takeBack(false)
	s.foldRest()
	return s
}

// refuse leaves a record out altogether.
func (s *Standing) refuse(r *schema.Record, why string) {
	s.void[r.Digest] = true
	s.note(r, why)
}

// note says why a record does not count for one of its subjects. The first reason stays.
func (s *Standing) note(r *schema.Record, why string) {
	if s.Refused[r.Digest] == "" {
		s.Refused[r.Digest] = why
	}
}

// counts reports whether a record is neither refused as a whole nor taken back.
func (s *Standing) counts(r *schema.Record) bool {
	return !s.void[r.Digest] && (s.Withdrawn[r.Digest] == nil || r == s.Anchor)
}

// refuseStrangers leaves out decisions by keys that never stood in a roster by somebody whose key did, back to the adoption, and that
// no such roster keeps. Nothing could make them count, and anybody may have saved any number of them.
func (s *Standing) refuseStrangers() {
	adopted := s.rosterOf(subjectOf(s.Anchor.Body.(*schema.Decision), rosterKey))
	trusted, kept := map[string]bool{}, map[string]bool{}
	add := func(r *signature.Roster) (grew bool) {
		for _, l := range r.Lines {
			key := string(l.Key.Marshal())
			grew = grew || !trusted[key]
			trusted[key] = true
		}
		return grew
	}
	add(adopted)
	decisions := Bodies[*schema.Decision](s.Ledger)
	by := func(r *schema.Record) string {
		if s.keys[r.Digest] == nil {
			return ""
		}
		return string(s.keys[r.Digest].Marshal())
	}
	for grew := true; grew; {
		grew = false
		for _, d := range decisions {
			if subject := subjectOf(d.Body, rosterKey); subject != nil && trusted[by(d.Record)] {
				grew = add(s.rosterOf(subject)) || grew
				for _, digest := range d.Body.Keeps.V {
					kept[digest] = true
				}
			}
		}
	}
	for _, d := range decisions {
		if !s.void[d.Record.Digest] && d.Record != s.Anchor && !trusted[by(d.Record)] && !kept[string(d.Record.Digest)] {
			_, why := s.signer(d.Record, adopted)
			s.refuse(d.Record, why)
		}
	}
}

// sortDecisions sorts the decisions of the ledger by subject, those on roster and settings apart.
func (s *Standing) sortDecisions() {
	s.subjects = map[SubjectKey][]Decision{}
	var law []*Decision
	for _, d := range Bodies[*schema.Decision](s.Ledger) {
		if s.void[d.Record.Digest] {
			continue
		}
		for i := range d.Body.Subjects.V {
			subject := &d.Body.Subjects.V[i]
			key := SubjectKey{subject.Kind.V, subject.ID.V}
			s.subjects[key] = append(s.subjects[key], Decision{Record: d.Record, Body: d.Body, Subject: subject})
		}
		if isLaw(d.Body) {
			law = append(law, &Decision{Record: d.Record, Body: d.Body})
		}
	}
	s.law = newAncestry(s.Ledger, law)
}

// foldRest folds what is neither roster nor settings.
func (s *Standing) foldRest() {
	for _, key := range slices.SortedFunc(maps.Keys(s.subjects), SubjectKey.compare) {
		if key != rosterKey && key != settingsKey {
			s.states[key] = fold(s.Ledger, s.withoutOwn(key, s.verified(key)))
		}
	}
	if people := s.State(schema.SubjectPeople, schema.SubjectPeople); people != nil {
		var rosters []*signature.Roster
		for _, d := range people.speaking {
			if d.Subject.Values.Set() {
				rosters = append(rosters, s.rosterOf(d.Subject))
			}
		}
		s.People = inAll(rosters)
	}
}

// verified returns the decisions on one subject that are by somebody who may decide, and notes why others do not count.
func (s *Standing) verified(key SubjectKey) []*Decision {
	var out []*Decision
	for _, c := range s.subjects[key] {
		if !s.counts(c.Record) {
			continue
		}
		d := c
		var why string
		if d.Person, why = s.vouch(s.charter, d.Record); why != "" {
			s.note(d.Record, why)
			continue
		}
		d.need = 1
		if d.Record != s.Anchor {
			d.need = s.termsFor(d.Record).persons
		}
		out = append(out, &d)
	}
	all := newAncestry(s.Ledger, out)
	return slices.DeleteFunc(out, func(d *Decision) bool {
		late := d.adopts() && d.Record != s.Anchor && len(all.of(d.Record)) > 0
		if late {
			s.note(d.Record, d.Subject.ID.V+" was decided on before, so it can be approved and not adopted")
		}
		return late
	})
}

// State returns what the fold says of a subject; nil where nothing was ever decided.
func (s *Standing) State(kind, id string) *State { return s.states[SubjectKey{kind, id}] }

// Condition returns what the fold says of a condition.
func (s *Standing) Condition(id schema.ID) *State {
	return s.State(schema.SubjectCondition, id.String())
}

// Policy is the policy in force, or the given one before adoption.
func (s *Standing) Policy(otherwise schema.Policy) schema.Policy {
	if s.Settings == nil {
		return otherwise
	}
	return s.Settings.Policy.V
}

// Person returns who of the roster in force holds a key at a time.
func (s *Standing) Person(key ssh.PublicKey, at time.Time) (string, error) {
	if s.charter == nil {
		return "", errors.New("nothing is adopted yet, so nobody may approve")
	}
	return s.charter.find(key, at)
}

// Vouched reports whether a signed record that is no decision (a waiver) is by a person of the roster in force and was not
// taken back.
func (s *Standing) Vouched(r *schema.Record) bool {
	if s.charter == nil || !s.counts(r) {
		return false
	}
	_, why := s.vouch(s.charter, r)
	return why == ""
}

// Attested reports whether a record is signed by the person that it names, as the people or the roster in force know them.
func (s *Standing) Attested(r *schema.Record) bool {
	for _, roster := range []*signature.Roster{s.People, s.Roster} {
		if roster != nil && Sound(r) {
			if _, why := s.signer(r, roster); why == "" {
				return true
			}
		}
	}
	return false
}
