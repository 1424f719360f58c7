package history

import (
	"slices"

	"fettle/schema"
)

// A SubjectKey names one thing that decisions are about.
type SubjectKey struct{ Kind, ID string }

// A Decision is one verified approval, rejection or adoption of one subject.
type Decision struct {
	Record  *schema.Record
	Body    *schema.Decision
	Subject schema.Subject
	Person  string // principal whose key signed
	Own     bool   // by somebody who wrote the change; counts where the policy allows it
}

// Digest is the content that was decided on, "" for a removal.
func (d *Decision) Digest() schema.Digest { return schema.Digest(d.Subject.Digest.V) }

func (d *Decision) rejects() bool { return d.Record.Kind == schema.KindRejection }
func (d *Decision) adopts() bool  { return d.Record.Kind == schema.KindAdoption }

// A State is what the fold says of one subject.
type State struct {
	InForce   []*Decision                   // the approvals that put the recipe in force, by person; nil where none is
	Contested []*Decision                   // heads that contradict each other
	Pending   []*Decision                   // approvals that are not enough persons yet
	Heads     []*Decision                   // what a new decision must follow
	once      map[schema.Digest][]*Decision // everything that was in force at some time
	rejected  map[schema.Digest]*Decision   // unfollowed rejections
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

// ancestry answers which decisions of a set lie nearest behind a record, along follows, through records that do not count.
type ancestry struct {
	ledger *Ledger
	in     map[schema.Digest]*Decision
	memo   map[schema.Digest][]*Decision
}

func (a *ancestry) of(r *schema.Record) []*Decision {
	if known, ok := a.memo[r.Digest]; ok {
		return known
	}
	a.memo[r.Digest] = nil
	var out []*Decision
	for _, followed := range r.Follows.V {
		digest := schema.Digest(followed)
		if d := a.in[digest]; d != nil {
			out = appendNew(out, d)
			continue
		}
		if through := a.ledger.Get(digest); through != nil {
			for _, d := range a.of(through) {
				out = appendNew(out, d)
			}
		}
	}
	slices.SortFunc(out, byDigest)
	a.memo[r.Digest] = out
	return out
}

func appendNew(list []*Decision, d *Decision) []*Decision {
	if slices.Contains(list, d) {
		return list
	}
	return append(list, d)
}

func byDigest(a, b *Decision) int {
	if a.Record.Digest < b.Record.Digest {
		return -1
	}
	if a.Record.Digest > b.Record.Digest {
		return 1
	}
	return 0
}

func newAncestry(l *Ledger, decisions []*Decision) *ancestry {
	a := &ancestry{ledger: l, in: map[schema.Digest]*Decision{}, memo: map[schema.Digest][]*Decision{}}
	for _, d := range decisions {
		a.in[d.Record.Digest] = d
	}
	return a
}

// fold works out the state of one subject from its verified decisions. Withdrawn decisions are left out by the caller, so that
// the state before them returns.
//
//   - approvals of one content that follow the same predecessors add up by person; below the number needed they are pending and
//     leave things as they were
//   - a decision that nothing follows is a head; one head in force is the plain case
//   - heads of different content, or approval and rejection of one content, contradict each other until a decision follows both
func fold(l *Ledger, decisions []*Decision, needed int) *State {
	s := &State{once: map[schema.Digest][]*Decision{}, rejected: map[schema.Digest]*Decision{}}
	full, pending := quorum(l, decisions, needed)
	s.Pending = pending
	counted := slices.Clone(full)
	for _, d := range decisions {
		if d.rejects() {
			counted = append(counted, d)
		} else if slices.Contains(full, d) {
			s.once[d.Digest()] = append(s.once[d.Digest()], d)
		}
	}
	behind := newAncestry(l, counted)
	followed := map[*Decision]bool{}
	for _, d := range counted {
		for _, p := range behind.of(d.Record) {
			if !d.rejects() || p.Digest() == d.Digest() { // a rejection speaks of its own content only
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
	sortByTime(s.Heads)
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
	for _, group := range approved {
		s.InForce = group
	}
	sortByTime(s.InForce)
}

// sortByTime orders decisions for screens. What counts never depends on it.
func sortByTime(list []*Decision) {
	slices.SortFunc(list, func(a, b *Decision) int {
		if a.Record.Path < b.Record.Path {
			return -1
		}
		if a.Record.Path > b.Record.Path {
			return 1
		}
		return 0
	})
}

// quorum parts approvals in those that enough persons gave and those that wait for more. An adoption needs no second person.
func quorum(l *Ledger, decisions []*Decision, needed int) (full, pending []*Decision) {
	behind := newAncestry(l, decisions)
	type group struct {
		digest schema.Digest
		behind string
	}
	groups := map[group][]*Decision{}
	for _, d := range decisions {
		if d.rejects() {
			continue
		}
		key := group{digest: d.Digest()}
		for _, p := range behind.of(d.Record) {
			key.behind += string(p.Record.Digest)
		}
		groups[key] = append(groups[key], d)
	}
	for _, members := range groups {
		persons := map[string]bool{}
		enough := false
		for _, d := range members {
			persons[d.Person] = true
			enough = enough || d.adopts()
		}
		if enough || len(persons) >= needed {
			full = append(full, members...)
		} else {
			pending = append(pending, members...)
		}
	}
	slices.SortFunc(full, byDigest)
	slices.SortFunc(pending, byDigest)
	return full, pending
}
