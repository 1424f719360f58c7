package history

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"time"

	"golang.org/x/crypto/ssh"

	"fettle/history/signature"
	"fettle/schema"
)

var (
	rosterKey   = SubjectKey{schema.SubjectRoster, schema.SubjectRoster}
	settingsKey = SubjectKey{schema.SubjectSettings, schema.SubjectSettings}
)

// A charter is who may decide and on what terms: roster and settings as a set of decisions leaves them.
//
// Each decision on roster or settings is judged by the charter that those before it make, so it is approved by its predecessor.
// The first is the adoption. That alone would let somebody pretend not to have seen a change: to drop a colleague under a
// policy that asks for one person, long after the shop decided on two. So what is in force also holds each new roster to the
// settings that contradict it or that it does not know of, and each change of the settings to the roster.
type charter struct {
	roster, settings *State
	seats            []seat // each must vouch for a signer
	terms            terms
}

// A seat is one roster with the decisions of persons it dropped that it keeps.
type seat struct {
	roster *signature.Roster
	kept   map[schema.Digest]bool
}

// A verdict says whether a decision on roster or settings is good in sight of what it follows.
type verdict struct {
	person string
	why    string // it counts for nothing, or ""
	terms  terms
}

func isLaw(d *schema.Decision) bool {
	return subjectOf(d, rosterKey) != nil || subjectOf(d, settingsKey) != nil
}

func subjectOf(d *schema.Decision, key SubjectKey) *schema.Subject {
	for i := range d.Subjects.V {
		if s := &d.Subjects.V[i]; s.Kind.V == key.Kind && s.ID.V == key.ID {
			return s
		}
	}
	return nil
}

// settle works out the charter in force, and with it Roster, Settings and Trouble.
func (s *Standing) settle() {
	s.verdicts, s.views = map[schema.Digest]*verdict{}, map[string]*charter{}
	var all []*schema.Record
	for _, d := range s.law.in {
		all = append(all, d.Record)
	}
	s.charter = s.charterOf(all, true)
	s.states[rosterKey], s.states[settingsKey] = s.charter.roster, s.charter.settings
	var rosters []*signature.Roster
	for _, seat := range s.charter.seats {
		rosters = append(rosters, seat.roster)
	}
	s.Roster = inAll(rosters)
	s.Settings = settingsIn(s.charter.settings.speaking)
	s.Trouble = ""
	switch {
	case len(s.charter.roster.Contested) > 0:
		s.Trouble = "rosters contradict each other, so only who stands in all of them may decide, until a decision follows them all: fettle approve roster"
	case len(s.charter.roster.InForce) == 0:
		s.Trouble = "the roster was rejected, so only who stood in the one before, too, may decide, until another is approved: fettle approve roster"
	}
}

// charterOf folds decisions on roster and settings. In force says that the set is all there is, and not what one decision has in
// sight: only then can anything be held to what it did not know of.
func (s *Standing) charterOf(law []*schema.Record, inForce bool) *charter {
	slices.SortFunc(law, func(a, b *schema.Record) int { return strings.Compare(a.Path, b.Path) })
	c := &charter{}
	var rosters, settings []*Decision
	for _, r := range law {
		if !s.counts(r) {
			continue
		}
		v := s.verdictOn(r)
		if v.why != "" {
			if inForce {
				s.note(r, v.why)
			}
			continue
		}
		body := r.Body.(*schema.Decision)
		if subject := subjectOf(body, rosterKey); subject != nil {
			rosters = append(rosters, &Decision{Record: r, Body: body, Subject: subject, Person: v.person, need: v.terms.persons})
		}
		if subject := subjectOf(body, settingsKey); subject != nil {
			d := &Decision{Record: r, Body: body, Subject: subject, Person: v.person, need: v.terms.persons}
			if s.settingsStep(d, v, inForce) {
				settings = append(settings, d)
			}
		}
	}
	c.settings = fold(s.Ledger, settings)
	if inForce {
		for _, d := range rosters {
			if d.Record != s.Anchor {
				d.need = max(d.need, s.unseen(d.Record, c.settings.speaking, terms{persons: 1}).persons)
			}
		}
	}
	c.roster = fold(s.Ledger, rosters)
	c.seats = s.seatsOf(c.roster)
	if inForce {
		settings = slices.DeleteFunc(settings, func(d *Decision) bool {
			_, why := s.vouch(c, d.Record)
			if why != "" {
				s.note(d.Record, why)
			}
			return why != ""
		})
		c.settings = fold(s.Ledger, settings)
	}
	c.terms = termsOf(settingsIn(c.settings.speaking))
	return c
}

// settingsStep judges what is particular to a decision on settings.
func (s *Standing) settingsStep(d *Decision, v *verdict, inForce bool) bool {
	if d.rejects() || d.Record == s.Anchor {
		return true
	}
	why := ""
	view := s.view(d.Record)
	if d.adopts() && len(view.settings.Heads) > 0 {
		why = "the settings were decided on before, so they can be approved and not adopted"
	} else if d.Own = s.wrote(view, settingsKey, view.settings.InForce, view.settings.behind, d); d.Own && !v.terms.own {
		why = d.Person + " wrote the change themselves"
	}
	if why != "" && inForce {
		s.note(d.Record, why)
	}
	return why == ""
}

// verdictOn judges a decision on roster or settings by what it has in sight.
func (s *Standing) verdictOn(r *schema.Record) *verdict {
	if known := s.verdicts[r.Digest]; known != nil {
		return known
	}
	v := &verdict{person: r.By.V, terms: terms{persons: 1}}
	if r != s.Anchor {
		view := s.view(r)
		v.person, v.why = s.vouch(view, r)
		v.terms = view.terms
	}
	if subject := subjectOf(r.Body.(*schema.Decision), rosterKey); v.why == "" && subject != nil && r.Kind != schema.KindRejection {
		_, v.why = readRoster(subject)
	}
	s.verdicts[r.Digest] = v
	return v
}

// view returns the charter that a record has in sight: what the decisions before it make. Everything has the adoption in sight.
func (s *Standing) view(r *schema.Record) *charter {
	law := []*schema.Record{s.Anchor}
	key := ""
	near := s.law.of(r)
	for _, d := range near {
		key += string(d.Record.Digest)
	}
	if known := s.views[key]; known != nil {
		return known
	}
	seen := map[schema.Digest]bool{s.Anchor.Digest: true}
	for len(near) > 0 {
		d := near[len(near)-1]
		near = near[: len(near)-1 : len(near)-1]
		if !seen[d.Record.Digest] {
			seen[d.Record.Digest] = true
			law = append(law, d.Record)
			near = append(near, s.law.of(d.Record)...)
		}
	}
	c := s.charterOf(law, false)
	s.views[key] = c
	return c
}

// seatsOf returns the rosters that speak, each with what it keeps.
func (s *Standing) seatsOf(roster *State) []seat {
	var out []seat
	known := map[string]map[schema.Digest]bool{}
	for _, group := range byContent(roster.speaking) {
		out = append(out, seat{s.rosterOf(group[0].Subject), s.kept(roster, group, known)})
	}
	return out
}

// kept returns the decisions that count although their signer is in the roster no longer: those that enough persons named when
// they approved a roster without them, and those kept before of persons who had not come back since. What is known of a group by its
// records is not worked out again, since many ways may lead to one.
func (s *Standing) kept(roster *State, group []*Decision, known map[string]map[schema.Digest]bool) map[schema.Digest]bool {
	key := ""
	for _, d := range group {
		key += string(d.Record.Digest)
	}
	if kept, ok := known[key]; ok {
		return kept
	}
	out := map[schema.Digest]bool{}
	known[key] = out
	named := map[string][]*Decision{}
	var before []*Decision
	for _, d := range group {
		for _, digest := range d.Body.Keeps.V {
			named[digest] = append(named[digest], d)
		}
		for _, p := range roster.behind.sees(d.Record) {
			if !p.rejects() {
				before = appendNew(before, p)
			}
		}
	}
	for digest, by := range named {
		if slices.ContainsFunc(by, func(d *Decision) bool { return persons(by, d.need) >= d.need }) {
			out[schema.Digest(digest)] = true
		}
	}
	for _, earlier := range byContent(before) {
		r := s.rosterOf(earlier[0].Subject)
		for digest := range s.kept(roster, earlier, known) {
			if owner(r, s.keys[digest]) == "" {
				out[digest] = true
			}
		}
	}
	return out
}

// byContent parts decisions by what they decided, each group and the groups in the order given.
func byContent(list []*Decision) [][]*Decision {
	var out [][]*Decision
	at := map[schema.Digest]int{}
	for _, d := range list {
		i, ok := at[d.Digest()]
		if !ok {
			i = len(out)
			at[d.Digest()] = i
			out = append(out, nil)
		}
		out[i] = append(out[i], d)
	}
	return out
}

// vouch returns the person who signed a record, if every roster of a charter has them or keeps the record; else why not. The
// adoption needs nobody to keep it: whoever signed it may leave, and what was in use stays in force.
func (s *Standing) vouch(c *charter, r *schema.Record) (person, why string) {
	if r == s.Anchor {
		return r.By.V, ""
	}
	for _, seat := range c.seats {
		if seat.kept[r.Digest] && s.keys[r.Digest] != nil {
			if person == "" {
				person = r.By.V
			}
			continue
		}
		if person, why = s.signer(r, seat.roster); why != "" {
			return "", why
		}
	}
	return person, ""
}

// find returns who holds a key, if every roster has them.
func (c *charter) find(key ssh.PublicKey, at time.Time) (person string, err error) {
	for _, seat := range c.seats {
		name, err := seat.roster.Find(key, at)
		if err != nil {
			return "", err
		}
		if person != "" && !samePerson(person, name) {
			return "", fmt.Errorf("the key is %s's in one roster and %s's in another, and neither is in force alone", person, name)
		}
		person = name
	}
	return person, nil
}

// rosterOf reads the roster that a decision keeps, once. One that cannot be read trusts nobody.
func (s *Standing) rosterOf(subject *schema.Subject) *signature.Roster {
	digest := schema.Digest(subject.Digest.V)
	if s.rosters[digest] == nil {
		roster, why := readRoster(subject)
		if why != "" {
			roster = &signature.Roster{}
		}
		s.rosters[digest] = roster
	}
	return s.rosters[digest]
}

// inAll returns the lines of the first roster whose key every other one gives to the same person; nil of none.
func inAll(rosters []*signature.Roster) *signature.Roster {
	if len(rosters) <= 1 {
		if len(rosters) == 0 {
			return nil
		}
		return rosters[0]
	}
	out := &signature.Roster{File: rosters[0].File}
	for _, line := range rosters[0].Lines {
		everywhere := true
		for _, r := range rosters[1:] {
			everywhere = everywhere && slices.ContainsFunc(r.Lines, func(l signature.Line) bool {
				return samePerson(l.Principal, line.Principal) && bytes.Equal(l.Key.Marshal(), line.Key.Marshal())
			})
		}
		if everywhere {
			out.Lines = append(out.Lines, line)
		}
	}
	return out
}

// owner returns whose key it is by a roster, whenever it was or is good; "" if nobody's.
func owner(r *signature.Roster, key ssh.PublicKey) string {
	if key != nil {
		for _, l := range r.Lines {
			if bytes.Equal(l.Key.Marshal(), key.Marshal()) {
				return l.Principal
			}
		}
	}
	return ""
}

func samePerson(a, b string) bool { return strings.EqualFold(a, b) }
