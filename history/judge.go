package history

import (
	"errors"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"strings"
	"sync"
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
	Settings  *schema.Settings                 // in force; nil before adoption
	Refused   map[schema.Digest]string         // decisions and withdrawals that count for nothing, and why
	Withdrawn map[schema.Digest]*schema.Record // records taken back, each with the withdrawal
	Trouble   string                           // why there is no anchor although somebody adopted, or ""
	states    map[SubjectKey]*State
	keys      map[schema.Digest]ssh.PublicKey
	kept      map[schema.Digest]bool
}

// Judge folds the decisions of the ledger. The library id guards against records of another library; "" takes any. The anchor
// pins the adoption by its digest, as a server does; "" trusts the only one there is.
func (l *Ledger) Judge(library, anchor string) *Standing {
	s := &Standing{Ledger: l, Refused: map[schema.Digest]string{}, states: map[SubjectKey]*State{}, keys: map[schema.Digest]ssh.PublicKey{},
		kept: map[schema.Digest]bool{}}
	s.Withdrawn = l.Withdrawn()
	s.checkSignatures(library)
	s.chooseAnchor(anchor)
	if s.Anchor == nil {
		return s
	}
	needed := 1
	if p := s.settingsIn(s.Anchor); p != nil {
		needed = p.Policy.V.ApprovalsNeeded()
	}
	refused, withdrawn := maps.Clone(s.Refused), maps.Clone(s.Withdrawn)
	for range 2 { // a second time where the settings in force ask for another number of persons than those adopted
		s.Refused, s.Withdrawn = maps.Clone(refused), maps.Clone(withdrawn)
		s.foldRoster(needed)
		s.applyWithdrawals()
		s.foldRoster(needed)
		s.foldSettings(needed)
		if s.Settings == nil || s.Settings.Policy.V.ApprovalsNeeded() == needed {
			break
		}
		needed = s.Settings.Policy.V.ApprovalsNeeded()
	}
	s.foldRest(needed)
	return s
}

func (s *Standing) refuse(r *schema.Record, why string) { s.Refused[r.Digest] = why }

// checkSignatures checks what every signed record says of itself: that its signature is over its content, that its values fit
// their digests, that it belongs to this library. Whose key it is comes later.
func (s *Standing) checkSignatures(library string) {
	type verdict struct {
		key ssh.PublicKey
		why string
	}
	var signed []*schema.Record
	for _, r := range s.Ledger.Records {
		if !Sound(r) {
			continue
		}
		switch r.Body.(type) {
		case *schema.Decision, *schema.Withdrawal, *schema.Waiver:
			signed = append(signed, r)
		}
	}
	verdicts := make([]verdict, len(signed))
	var wait sync.WaitGroup
	next := make(chan int)
	for range min(runtime.GOMAXPROCS(0), len(signed)) {
		wait.Go(func() {
			for i := range next {
				key, why := checkRecord(signed[i], library)
				verdicts[i] = verdict{key, why}
			}
		})
	}
	for i := range signed {
		next <- i
	}
	close(next)
	wait.Wait()
	for i, r := range signed {
		if verdicts[i].why != "" {
			s.refuse(r, verdicts[i].why)
			continue
		}
		s.keys[r.Digest] = verdicts[i].key
	}
}

func checkRecord(r *schema.Record, library string) (ssh.PublicKey, string) {
	if library != "" && r.Library.V != library {
		return nil, "it is of another library"
	}
	if d, ok := r.Body.(*schema.Decision); ok {
		for i := range d.Subjects.V {
			if why := checkSubject(&d.Subjects.V[i]); why != "" {
				return nil, why
			}
		}
	}
	if !r.Signature.Set() {
		if r.Kind == schema.KindWithdrawal {
			return nil, "" // it may take back an unsigned record
		}
		return nil, "it is not signed"
	}
	key, err := signature.Check(r.Message, r.Signature.V)
	if err != nil {
		return nil, err.Error()
	}
	return key, ""
}

// signer returns the person of a roster who signed r, or why there is none.
func (s *Standing) signer(r *schema.Record, roster *signature.Roster) (string, string) {
	key := s.keys[r.Digest]
	if key == nil {
		return "", "it is not signed"
	}
	person, err := roster.Find(key, r.Time())
	if err != nil {
		return "", err.Error()
	}
	if !strings.EqualFold(person, r.By.V) {
		return "", fmt.Sprintf("it says it is by %s and is signed by %s", r.By.V, person)
	}
	return person, ""
}

// chooseAnchor finds the adoption that brought the first roster. Any other one must be pinned by whoever runs this clone: else
// one forged file could hand the library to another roster.
func (s *Standing) chooseAnchor(pin string) {
	var candidates []*schema.Record
	for _, d := range Bodies[*schema.Decision](s.Ledger) {
		if d.Record.Kind != schema.KindAdoption || s.Refused[d.Record.Digest] != "" {
			continue
		}
		if subject := subjectOf(d.Body, schema.SubjectRoster, schema.SubjectRoster); subject != nil {
			roster, why := rosterOf(subject)
			if why == "" {
				_, why = s.signer(d.Record, roster)
			}
			if why != "" {
				s.refuse(d.Record, why)
				continue
			}
			candidates = append(candidates, d.Record)
		}
	}
	if pin != "" {
		for _, r := range candidates {
			if string(r.Digest) == pin {
				s.Anchor = r
			}
		}
		if s.Anchor == nil {
			s.Trouble = "the adoption that fettle.anchor pins (" + schema.Digest(pin).Short() + ") is not among the records"
		}
	} else {
		var roots []*schema.Record
		for _, r := range candidates {
			if len(r.Follows.V) == 0 {
				roots = append(roots, r)
			}
		}
		switch len(roots) {
		case 0:
		case 1:
			s.Anchor = roots[0]
		default:
			s.Trouble = "there are two adoptions that know nothing of each other; pin the right one: git config fettle.anchor DIGEST"
		}
	}
	for _, r := range candidates {
		if r != s.Anchor && s.Trouble == "" {
			s.refuse(r, "it is a second adoption of the roster; to accept it, pin it in this clone: git config fettle.anchor "+string(r.Digest))
		}
	}
}

func subjectOf(d *schema.Decision, kind, id string) *schema.Subject {
	for i := range d.Subjects.V {
		if s := &d.Subjects.V[i]; s.Kind.V == kind && s.ID.V == id {
			return s
		}
	}
	return nil
}

func (s *Standing) settingsIn(r *schema.Record) *schema.Settings {
	d, ok := r.Body.(*schema.Decision)
	if !ok {
		return nil
	}
	subject := subjectOf(d, schema.SubjectSettings, schema.SubjectSettings)
	if subject == nil {
		return nil
	}
	return settingsOf(subject)
}

func settingsOf(subject *schema.Subject) *schema.Settings {
	var set schema.Settings
	if !subject.Values.Set() || len(schema.Bind(subject.Values.V, &set)) > 0 {
		return nil
	}
	return &set
}

// counts reports whether a record is neither refused nor taken back.
func (s *Standing) counts(r *schema.Record) bool {
	return s.Refused[r.Digest] == "" && (s.Withdrawn[r.Digest] == nil || r == s.Anchor)
}

// foldRoster chains rosters from the anchor: each is approved by persons of the one before it.
func (s *Standing) foldRoster(needed int) {
	key := SubjectKey{schema.SubjectRoster, schema.SubjectRoster}
	valid := map[schema.Digest]*Decision{}
	chain := &ancestry{ledger: s.Ledger, in: valid, memo: map[schema.Digest][]*Decision{}}
	var open []*schema.Record
	for _, d := range Bodies[*schema.Decision](s.Ledger) {
		subject := subjectOf(d.Body, key.Kind, key.ID)
		if subject == nil || !s.counts(d.Record) {
			continue
		}
		if d.Record == s.Anchor {
			valid[d.Record.Digest] = &Decision{Record: d.Record, Body: d.Body, Subject: *subject, Person: d.Record.By.V}
			continue
		}
		open = append(open, d.Record)
	}
	whyNot := map[schema.Digest]string{}
	for grew := true; grew; {
		grew = false
		for _, r := range open {
			if valid[r.Digest] != nil {
				continue
			}
			clear(chain.memo)
			d, why := s.rosterStep(r, chain.of(r), key)
			if whyNot[r.Digest] = why; why == "" {
				valid[r.Digest], grew = d, true
			}
		}
	}
	for digest, why := range whyNot {
		if why != "" {
			s.Refused[digest] = why
		}
	}
	state := fold(s.Ledger, sorted(valid), needed)
	s.states[key] = state
	clear(s.kept)
	s.Roster = nil
	current := state.Last()
	if current == nil {
		s.Trouble = "rosters contradict each other; a new decision must follow both: fettle approve roster"
		for _, d := range state.Heads { // until then nobody new gets in: the last roster before the contradiction judges
			for _, p := range chain.of(d.Record) {
				current = p
			}
		}
	}
	if current != nil {
		s.Roster, _ = rosterOf(&current.Subject)
		s.keep(current, chain)
	}
}

// rosterStep judges one roster decision by the rosters that it follows.
func (s *Standing) rosterStep(r *schema.Record, behind []*Decision, key SubjectKey) (*Decision, string) {
	if len(behind) == 0 {
		return nil, "it follows no roster that was in force"
	}
	body := r.Body.(*schema.Decision)
	d := &Decision{Record: r, Body: body, Subject: *subjectOf(body, key.Kind, key.ID)}
	for _, b := range behind {
		roster, why := rosterOf(&b.Subject)
		if why == "" {
			d.Person, why = s.signer(r, roster)
		}
		if why != "" {
			return nil, why
		}
	}
	if !d.rejects() {
		if _, why := rosterOf(&d.Subject); why != "" {
			return nil, why
		}
	}
	return d, ""
}

// keep gathers the decisions of dropped persons that the rosters up to this one keep.
func (s *Standing) keep(d *Decision, chain *ancestry) {
	for _, digest := range d.Body.Keeps.V {
		s.kept[schema.Digest(digest)] = true
	}
	for _, before := range chain.of(d.Record) {
		s.keep(before, chain)
	}
}

// applyWithdrawals takes back what persons of the roster in force took back.
func (s *Standing) applyWithdrawals() {
	for _, w := range Bodies[*schema.Withdrawal](s.Ledger) {
		target := s.Ledger.Get(schema.Digest(w.Body.Record.V))
		if target == nil || !target.Signature.Set() || s.Refused[w.Record.Digest] != "" {
			continue
		}
		switch _, why := s.signer(w.Record, s.Roster); {
		case s.Roster == nil:
			s.refuse(w.Record, "nobody may take back a decision before there is a roster")
		case why != "":
			s.refuse(w.Record, why)
		case target == s.Anchor || target.Kind == schema.KindWithdrawal:
			s.refuse(w.Record, "an adoption of the roster and a withdrawal cannot be taken back")
		default:
			s.Withdrawn[target.Digest] = w.Record
		}
	}
}

func sorted(valid map[schema.Digest]*Decision) []*Decision {
	out := make([]*Decision, 0, len(valid))
	for _, d := range valid {
		out = append(out, d)
	}
	slices.SortFunc(out, byDigest)
	return out
}

// verified returns the decisions on one subject that count, and notes why others do not.
func (s *Standing) verified(key SubjectKey) []*Decision {
	var out []*Decision
	for _, c := range s.bySubject()[key] {
		if !s.counts(c.Record) {
			continue
		}
		person, why := s.signer(c.Record, s.Roster)
		if why != "" && s.kept[c.Record.Digest] {
			person, why = c.Record.By.V, ""
		}
		if why != "" {
			s.refuse(c.Record, why)
			continue
		}
		d := c
		d.Person = person
		out = append(out, &d)
	}
	return out
}

// bySubject sorts the decisions of the ledger by subject.
func (s *Standing) bySubject() map[SubjectKey][]Decision {
	out := map[SubjectKey][]Decision{}
	for _, d := range Bodies[*schema.Decision](s.Ledger) {
		for _, subject := range d.Body.Subjects.V {
			key := SubjectKey{subject.Kind.V, subject.ID.V}
			out[key] = append(out[key], Decision{Record: d.Record, Body: d.Body, Subject: subject})
		}
	}
	return out
}

func (s *Standing) foldSettings(needed int) {
	s.Settings = nil
	if s.Roster == nil {
		return
	}
	key := SubjectKey{schema.SubjectSettings, schema.SubjectSettings}
	state := fold(s.Ledger, s.verified(key), needed)
	s.states[key] = state
	if last := state.Last(); last != nil {
		s.Settings = settingsOf(&last.Subject)
	}
	if s.Settings == nil { // contested or rejected: what was adopted is the last that all agreed on
		s.Settings = s.settingsIn(s.Anchor)
	}
}

func (s *Standing) foldRest(needed int) {
	if s.Roster == nil {
		return
	}
	all := s.bySubject()
	for key := range all {
		if key.Kind == schema.SubjectRoster || key.Kind == schema.SubjectSettings {
			continue
		}
		decisions := s.verified(key)
		if key.Kind == schema.SubjectCondition {
			decisions = s.withoutOwn(key, decisions)
		}
		s.states[key] = fold(s.Ledger, decisions, needed)
	}
	people := s.states[SubjectKey{schema.SubjectPeople, schema.SubjectPeople}]
	if last := people.Last(); last != nil && last.Subject.Values.Set() {
		s.People, _ = rosterOf(&last.Subject)
	}
}

// withoutOwn leaves out approvals by persons who wrote the change themselves, where the policy refuses those. The policy is the
// one that the approval followed, so that a shop that grows stricter keeps what it approved before.
func (s *Standing) withoutOwn(key SubjectKey, decisions []*Decision) []*Decision {
	behind := newAncestry(s.Ledger, decisions)
	settings := newAncestry(s.Ledger, s.verified(SubjectKey{schema.SubjectSettings, schema.SubjectSettings}))
	edges := s.Ledger.Edges(key.Kind, key.ID)
	var out []*Decision
	for _, d := range decisions {
		if d.rejects() || d.adopts() {
			out = append(out, d)
			continue
		}
		starts := []schema.Digest{""}
		for _, b := range behind.of(d.Record) {
			starts = append(starts, b.Digest())
		}
		for _, e := range Path(edges, starts, d.Digest()) {
			d.Own = d.Own || strings.EqualFold(e.Reason.By.V, d.Person)
		}
		if d.Own && !s.ownAllowed(settings.of(d.Record)) {
			s.refuse(d.Record, d.Person+" wrote the change themselves")
			continue
		}
		out = append(out, d)
	}
	return out
}

func (s *Standing) ownAllowed(followed []*Decision) bool {
	if len(followed) == 0 {
		return s.Settings != nil && s.Settings.Policy.V.OwnChangeAllowed()
	}
	for _, d := range followed {
		if set := settingsOf(&d.Subject); set == nil || !set.Policy.V.OwnChangeAllowed() {
			return false
		}
	}
	return true
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
	if s.Roster == nil {
		return "", errors.New("nothing is adopted yet, so nobody may approve")
	}
	return s.Roster.Find(key, at)
}

// Vouched reports whether a signed record that is no decision (a waiver) is by a person of the roster in force and was not
// taken back.
func (s *Standing) Vouched(r *schema.Record) bool {
	if s.Roster == nil || !s.counts(r) {
		return false
	}
	_, why := s.signer(r, s.Roster)
	return why == "" || s.kept[r.Digest]
}
