package history

import (
	"cmp"
	"slices"
	"strings"

	"fettle/schema"
)

// A SubjectKey names one thing that decisions are about.
type SubjectKey struct{ Kind, ID string }

func (k SubjectKey) compare(other SubjectKey) int {
	return cmp.Or(strings.Compare(k.Kind, other.Kind), strings.Compare(k.ID, other.ID))
}

// A Decision is one verified approval, rejection or adoption of one subject.
type Decision struct {
	Record  *schema.Record
	Body    *schema.Decision
	Subject *schema.Subject // as the body has it; nil of a withdrawal
	Person  string          // principal whose key signed
	Own     bool            // by somebody who wrote the change; counts where the policy allows it
	need    int             // persons that the policy it was made under asks for
}

// Digest is the content that was decided on, "" for a removal.
func (d *Decision) Digest() schema.Digest {
	if d.Subject == nil {
		return ""
	}
	return schema.Digest(d.Subject.Digest.V)
}

func (d *Decision) rejects() bool { return d.Record.Kind == schema.KindRejection }
func (d *Decision) adopts() bool  { return d.Record.Kind == schema.KindAdoption }

// A State is what the fold says of one subject.
type State struct {
	InForce   []*Decision                   // the approvals that put the recipe in force, by time; nil where none is
	Contested []*Decision                   // heads that contradict each other
	Pending   []*Decision                   // approvals that wait for more persons, and that the next approval would add up with
	Heads     []*Decision                   // what a new decision must follow
	once      map[schema.Digest][]*Decision // everything that was in force at some time
	rejected  map[schema.Digest]*Decision   // unfollowed rejections
	behind    *ancestry                     // of the decisions that count
	speaking  []*Decision                   // InForce, or those whose content all binds while nothing is; see [ancestry.speaking]
}

// Decided reports whether any decision about the subject counts.
func (s *State) Decided() bool { return s != nil && (len(s.Heads) > 0 || len(s.Pending) > 0) }

// Digest is the content in force, and whether there is any.
func (s *State) Digest() (schema.Digest, bool) {
	if s == nil || len(s.InForce) == 0 {
		return "", false
	}
	return s.InForce[0].Digest(), true
}

// Last returns the newest decision that is in force, or nil.
func (s *State) Last() *Decision {
	if s == nil || len(s.InForce) == 0 {
		return nil
	}
	return s.InForce[len(s.InForce)-1]
}

// Rejection returns the unfollowed rejection of this content, or nil.
func (s *State) Rejection(d schema.Digest) *Decision {
	if s == nil {
		return nil
	}
	return s.rejected[d]
}

// Once returns the approvals of content that was in force at some time, or nil.
func (s *State) Once(d schema.Digest) []*Decision {
	if s == nil {
		return nil
	}
	return s.once[d]
}

// fold works out the state of one subject from its verified decisions. Withdrawn decisions are left out by the caller, so that
// the state before them returns.
//
//   - approvals of one content that follow the same predecessors add up by person; below the number needed they are pending and
//     leave things as they were
//   - an approval follows everything it was made in sight of; a rejection follows decisions on its own content only
//   - a decision that nothing follows is a head; one head in force is the plain case
//   - heads of different content, or approval and rejection of one content, contradict each other until a decision follows both
//
// The result does not depend on the order of the decisions given.
func fold(l *Ledger, decisions []*Decision) *State {
	s := &State{once: map[schema.Digest][]*Decision{}, rejected: map[schema.Digest]*Decision{}}
	decisions = slices.Clone(decisions)
	sortByTime(decisions)
	everything := newAncestry(l, decisions)
	full, pending := quorum(everything, decisions)
	var counted []*Decision
	for _, d := range decisions {
		switch {
		case d.rejects():
			counted = append(counted, d)
		case full[d]:
			counted = append(counted, d)
			s.once[d.Digest()] = append(s.once[d.Digest()], d)
		}
	}
	behind := newAncestry(l, counted)
	followed := map[*Decision]bool{}
	for _, d := range counted {
		for _, p := range behind.sees(d.Record) {
			if !d.rejects() || p.Digest() == d.Digest() {
				followed[p] = true
			}
		}
	}
	approved := map[schema.Digest][]*Decision{}
	for _, d := range counted {
		if followed[d] {
			continue
		}
		s.Heads = append(s.Heads, d)
		if d.rejects() {
			s.rejected[d.Digest()] = d
		} else {
			approved[d.Digest()] = append(approved[d.Digest()], d)
		}
	}
	s.settle(approved)
	s.behind = behind
	for _, d := range pending {
		if everything.group(d.Digest(), everything.sees(d.Record)) == everything.group(d.Digest(), everything.through(s.Heads)) {
			s.Pending = append(s.Pending, d)
		}
	}
	if s.speaking = s.InForce; len(s.InForce) == 0 {
		s.speaking = behind.speaking(s.Heads)
	}
	return s
}

func (s *State) settle(approved map[schema.Digest][]*Decision) {
	for digest, group := range approved {
		if s.rejected[digest] != nil {
			s.Contested = append(append(s.Contested, group...), s.rejected[digest])
		}
	}
	if len(approved) > 1 {
		for _, group := range approved {
			for _, d := range group {
				s.Contested = appendNew(s.Contested, d)
			}
		}
	}
	sortByTime(s.Contested)
	if len(s.Contested) > 0 {
		return
	}
	for _, group := range approved { // one at most
		s.InForce = group
	}
}

// sortByTime orders decisions for screens. What counts never depends on it.
func sortByTime(list []*Decision) {
	slices.SortFunc(list, func(a, b *Decision) int { return strings.Compare(a.Record.Path, b.Record.Path) })
}

// quorum parts approvals in those that enough persons gave and those that wait for more. Each was made under a policy of its
// own: a number of persons is reached where so many of those who ask for no more agree.
func quorum(all *ancestry, decisions []*Decision) (full map[*Decision]bool, pending []*Decision) {
	groups := map[string][]*Decision{}
	for _, d := range decisions {
		if !d.rejects() {
			key := all.group(d.Digest(), all.sees(d.Record))
			groups[key] = append(groups[key], d)
		}
	}
	full = map[*Decision]bool{}
	for _, members := range groups {
		if !slices.ContainsFunc(members, func(d *Decision) bool { return persons(members, d.need) >= d.need }) {
			continue
		}
		for _, d := range members {
			full[d] = true
		}
	}
	for _, d := range decisions {
		if !d.rejects() && !full[d] {
			pending = append(pending, d)
		}
	}
	return full, pending
}

// persons counts who is behind the decisions that ask for no more than need persons.
func persons(decisions []*Decision, need int) int {
	who := map[string]bool{}
	for _, d := range decisions {
		if d.need <= need {
			who[strings.ToLower(d.Person)] = true
		}
	}
	return len(who)
}
