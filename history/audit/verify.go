package audit

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/history"
	"fettle/history/signature"
	"fettle/schema"
)

// A Level says what a finding about the trail means.
type Level string

// The levels, the worst first.
const (
	UnreadableRecord Level = "unreadable" // a record cannot be read, so nothing is known of it
	Broken           Level = "broken"     // the trail is not what it should be
	Void             Level = "void"       // a record that counts for nothing, and rightly so
	Unproven         Level = "unproven"   // nothing speaks against it, and nothing proves it
)

// Rules of findings about the trail, beside history.RuleRecordAltered and history.RuleRecordRemoved.
const (
	RuleUnreadable = "record-unreadable" // no JSON, or no record
	RuleUnsound    = "record-unsound"    // its signature is not good, or its content contradicts itself
	RuleStranger   = "unknown-signer"    // signed by a key that was never an approver's
	RuleLoose      = "loose-end"         // it names a record that is not here
	RuleVoid       = "not-counted"       // somebody decided who may not, or not alone
	RuleNoReason   = "no-reason"         // a recipe changed and no record says why
	RuleOwn        = "own-approval"      // approved by who saved the change
	RuleNoTrial    = "no-trial"          // approved without a trial that the policy asks for
	RuleNoAnchor   = "no-adoption"       // nothing to chain decisions from
	RuleTrust      = "trusted-adoption"  // this clone pins none
	RuleClaimed    = "claimed-name"      // not signed
	RuleShallow    = "missing-history"   // older history is not here
	RuleClock      = "odd-time"          // a time contradicts the order of history
	RuleGap        = "unreadable-file"   // a file could not be read at some time
)

// A Finding is one thing that the trail does not prove, or that is wrong with it.
type Finding struct {
	Level   Level
	Rule    string
	Path    string    // of the file, "" if none
	ID      string    // of the condition, "" if none
	Commit  string    // where it happened, "" if in none
	By      Person    // who saved that
	At      time.Time // when; the zero time if that says nothing
	Message string
	Help    string
}

// A Signer is how many records a person made.
type Signer struct {
	Person  string
	Signed  int // with a good signature of a key that is theirs
	Claimed int // without: the name is what somebody typed
}

// A Report is what can be proven of a trail.
type Report struct {
	Records    int            // in all
	Kinds      map[string]int // by kind
	Good       int            // that are readable, whole and named after their content
	Signers    []Signer       // by name
	Anchor     *schema.Record // the adoption that all decisions are chained from, nil for none
	Pinned     bool           // this clone says which adoption that is
	Changes    int            // of recipes since the adoption
	Reasoned   int            // of these, with a reason
	Findings   []Finding      // the worst first
	Conditions int            // in the commit
	Unapproved []Unapproved
	Others     []Unapproved // roster, settings, machines that are not approved as they are
}

// An Unapproved is a subject that is not approved as it stands.
type Unapproved struct {
	Kind   string // of the subject
	Name   string // id of the condition, name of the machine
	Status history.Status
}

// Is reports whether there is a finding of a level.
func (r *Report) Is(level Level) bool {
	return slices.ContainsFunc(r.Findings, func(f Finding) bool { return f.Level == level })
}

// Verify holds the trail against what it should be. The anchor is the adoption that this clone pins, or "". See [Trail.Err].
func (t *Trail) Verify(anchor string) *Report {
	r := &Report{Records: len(t.Ledger.Records), Kinds: map[string]int{}, Anchor: t.Standing.Anchor, Pinned: anchor != ""}
	signers := map[string]*Signer{}
	for _, rec := range t.Ledger.Records {
		if rec.Kind != "" {
			r.Kinds[rec.Kind]++
		}
		if finding := t.checkRecord(rec); finding != nil {
			r.Findings = append(r.Findings, *finding)
			if finding.Level != Void {
				continue
			}
		}
		r.Good++
		s := signers[strings.ToLower(rec.By.V)]
		if s == nil {
			s = &Signer{Person: rec.By.V}
			signers[strings.ToLower(rec.By.V)] = s
		}
		if t.vouched(rec) {
			s.Signed++
		} else {
			s.Claimed++
		}
		r.Findings = append(r.Findings, t.looseEnds(rec)...)
	}
	for _, s := range signers {
		r.Signers = append(r.Signers, *s)
		if s.Claimed > 0 {
			r.Findings = append(r.Findings, Finding{Level: Unproven, Rule: RuleClaimed,
				Message: fmt.Sprintf("%s stands in %s without a signature: the name is what somebody typed", s.Person, plural(s.Claimed, "record")),
				Help:    "To have reasons signed: policy.signed_changes \"require\" in " + schema.SettingsFile + ", and the keys in the file " + schema.PeopleFile + "."})
		}
	}
	slices.SortFunc(r.Signers, func(a, b Signer) int { return strings.Compare(a.Person, b.Person) })
	t.checkEntries(r)
	t.checkAnchor(r)
	t.checkReasons(r)
	t.checkOwn(r)
	t.checkPositions(r)
	order := []Level{UnreadableRecord, Broken, Void, Unproven}
	slices.SortStableFunc(r.Findings, func(a, b Finding) int {
		if a.Level != b.Level {
			return slices.Index(order, a.Level) - slices.Index(order, b.Level)
		}
		return cmp.Or(strings.Compare(a.Rule+a.Path+a.Message, b.Rule+b.Path+b.Message), strings.Compare(a.ID, b.ID))
	})
	return r
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// finding begins a finding about a record: where it is and which commit brought it.
func (t *Trail) finding(level Level, rule string, r *schema.Record) Finding {
	f := Finding{Level: level, Rule: rule, Path: r.Path}
	if c := t.brought[r.Path]; c != nil {
		e := t.entry(c, "")
		f.Commit, f.By, f.At = c.hash, e.By, e.At
	}
	return f
}

// checkRecord says what is wrong with one record, nil for nothing.
func (t *Trail) checkRecord(r *schema.Record) *Finding {
	if r.Body == nil {
		f := t.finding(UnreadableRecord, RuleUnreadable, r)
		f.Message = "it is no record"
		if len(r.Problems) > 0 {
			f.Message, f.Help = r.Problems[0].Message, r.Problems[0].Help
		}
		return &f
	}
	if len(r.Problems) > 0 {
		p := r.Problems[0]
		f := t.finding(Broken, RuleUnsound, r)
		if p.Rule == history.RuleRecordAltered {
			f.Rule = p.Rule
		}
		f.Message, f.Help = p.Message, p.Help
		if p.Field != "" && !strings.Contains(p.Message, p.Field) {
			f.Message = p.Field + ": " + f.Message
		}
		return &f
	}
	// Alone, a record is refused only for what it is by itself: its signature, its library, values that do not fit its digests.
	alone := t.Ledger.Of([]*schema.Record{r}).Judge(t.libraryID(), "")
	if why := alone.Refused[r.Digest]; why != "" {
		f := t.finding(Broken, RuleUnsound, r)
		f.Message, f.Help = why, "It counts for nothing. Look at who saved it; a good one can be written beside it."
		return &f
	}
	why := t.Standing.Refused[r.Digest]
	if why == "" || t.Standing.Withdrawn[r.Digest] != nil {
		return nil
	}
	f := t.finding(Void, RuleVoid, r)
	f.Message = why
	if t.Standing.Anchor != nil && r.Signature.Set() && !t.everKnown(r) {
		f.Level, f.Rule = Broken, RuleStranger
		f.Help = "Whoever saved it has no right to decide here. Find out who that was."
	}
	return &f
}

func (t *Trail) libraryID() string {
	if set := t.Library.Settings.Value; set != nil {
		return set.ID.V
	}
	return ""
}

// everKnown reports whether a signature is by a key of any roster that was decided on, or that is in force.
func (t *Trail) everKnown(r *schema.Record) bool {
	key := t.Ledger.SignedBy(r)
	if key == nil {
		return false
	}
	for _, roster := range t.rosters() {
		for _, l := range roster.Lines {
			if string(l.Key.Marshal()) == string(key.Marshal()) {
				return true
			}
		}
	}
	return false
}

// rosters are those in force and all that decisions put in force at some time.
func (t *Trail) rosters() []*signature.Roster {
	if t.everInForce == nil {
		t.everInForce = t.findRosters()
	}
	return t.everInForce
}

func (t *Trail) findRosters() []*signature.Roster {
	out := []*signature.Roster{}
	for _, r := range []*signature.Roster{t.Standing.Roster, t.Standing.People} {
		if r != nil {
			out = append(out, r)
		}
	}
	for _, d := range history.Bodies[*schema.Decision](t.Ledger) {
		if t.Standing.Refused[d.Record.Digest] != "" || d.Record.Kind == schema.KindRejection {
			continue
		}
		for _, s := range d.Body.Subjects.V {
			if s.Kind.V != schema.SubjectRoster && s.Kind.V != schema.SubjectPeople || !s.Values.Set() ||
				t.Standing.State(s.Kind.V, s.ID.V).Once(schema.Digest(s.Digest.V)) == nil {
				continue
			}
			text := ""
			for _, line := range s.Values.V.Kids {
				text += line.Text + "\n"
			}
			r, _ := signature.ParseRoster("", []byte(text))
			out = append(out, r)
		}
	}
	return out
}

// vouched reports whether a record is signed by a key of the person it names.
func (t *Trail) vouched(r *schema.Record) bool {
	key := t.Ledger.SignedBy(r)
	if key == nil {
		return false
	}
	for _, roster := range t.rosters() {
		if person, err := roster.Find(key, r.Time()); err == nil && strings.EqualFold(person, r.By.V) {
			return true
		}
	}
	return false
}
