package hooks

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"fettle/history"
	"fettle/lint"
	"fettle/schema"
)

// A Side is one snapshot with what was read of it.
type Side struct {
	Lib    *schema.Library
	Ledger *history.Ledger
	Hashes map[string]string // path of every record → name of its blob
	Source schema.Source     // where it was read from, for the line of a problem in a record; may be nil
}

// ReadSide reads a snapshot; those of history/git are such. Sides of one case are read faster through one [schema.Known].
func ReadSide(snap schema.Snapshot) (Side, error) {
	lib, err := schema.ReadLibrary(snap)
	if err != nil {
		return Side{}, err
	}
	ledger, err := history.ReadLedger(snap)
	if err != nil {
		return Side{}, err
	}
	return Side{lib, ledger, hashesOf(ledger, snap), snap}, nil
}

func hashesOf(ledger *history.Ledger, snap schema.Snapshot) map[string]string {
	hashes := make(map[string]string, len(ledger.Records))
	for _, r := range ledger.Records {
		hashes[r.Path] = snap.Hash(r.Path)
	}
	return hashes
}

// A Case is what is to be judged: a snapshot against those it comes from.
type Case struct {
	Before     Side   // the last commit; its libraries are empty before the first
	Parents    []Side // others that the new commit follows, of a merge
	Amended    []Side // parents of the last commit: reasons count from them too, since git tells no hook that it amends
	Now        Side
	Anchor     string // pinned adoption, or ""
	At         time.Time
	Full       bool // judge every condition, not only the families that the change touches
	Everything bool // report what somebody took responsibility for, too
	Approved   bool // what changed must be approved, as on a protected branch

	// Explained is asked about a difference to which no reasons lead in one line, where the commits between are known.
	Explained func(history.Difference) bool

	// Wrote tells whom commits name as authors of what a recipe of a condition became, where the commits between are known.
	Wrote func(schema.ID, schema.Digest) []string

	standing *history.Standing // of Now.Ledger, where it was judged already

	came  []*schema.Record     // what the commit brings, or as much of it as matters here; nil where that is to be found out
	about func(schema.ID) bool // which conditions are asked about in what it brings; nil for all
}

// A Report is the verdict.
type Report struct {
	lint.Result
	Differences []history.Difference
	Changes     []lint.Change
	Standing    *history.Standing
}

// Examine judges a case. It never fails: what cannot be read is a finding.
func Examine(c Case) Report {
	r := Report{Differences: history.Compare(c.Before.Lib, c.Now.Lib), Standing: c.standing}
	if r.Standing == nil {
		r.Standing = c.Now.Ledger.Judge(cmp.Or(libraryID(c.Before.Lib), libraryID(c.Now.Lib)), c.Anchor)
	}
	for _, d := range r.Differences {
		if !d.NoteOnly {
			r.Changes = append(r.Changes, c.change(d, r.Standing))
		}
	}
	changes := slices.Concat(r.Changes, c.ownApprovals(r.Standing), c.untried(r.Standing))
	opts := lint.Options{Base: c.Before.Lib, Changes: changes, Records: c.records(), InForce: InForce(r.Standing, c.Now.Lib),
		Accepted: Accepted(r.Standing, c.Now.Ledger, c.At)}
	if c.Everything {
		opts.Accepted = nil
	}
	if !c.Full && readable(c.Before.Lib, c.Now.Lib) {
		opts.Only = touchedFamilies(opts.Changes, r.Differences, c.Before.Lib, c.Now.Lib)
	}
	var lib *schema.Library
	lib, opts.Severity = c.heldTo(r.Standing, c.Now.Lib)
	r.Result = lint.Run(lib, opts)
	r.unread()
	r.add(c.broken())
	r.add(c.untrusted(r.Standing))
	return r
}

// unread leaves out that conditions are gone where the file that held them stops the commit because it cannot be read: nobody
// removed them.
func (r *Report) unread() {
	lost := r.lost()
	r.Changes = slices.DeleteFunc(r.Changes, func(c lint.Change) bool { return lost[c.ID.String()] })
	r.Findings = slices.DeleteFunc(r.Findings, lost.finding)
}

// lost are conditions by id.
type lost map[string]bool

// finding reports whether a finding says that one of them is gone.
func (l lost) finding(f lint.Finding) bool {
	return l[f.ID] && (f.Rule == "no-reason" || f.Rule == "unapproved")
}

func (r *Report) lost() lost {
	stops, out := map[string]bool{}, lost{}
	for _, f := range r.Blocking() {
		if f.Rule == schema.RuleSyntax {
			stops[f.Path] = true
		}
	}
	for _, d := range r.Differences {
		if d.After == nil && stops[d.Before.File.Path] {
			out[d.ID.String()] = true
		}
	}
	return out
}

func libraryID(lib *schema.Library) string {
	if lib.Settings.Value == nil {
		return ""
	}
	return lib.Settings.Value.ID.V
}

// heldTo is what a library is judged as, and by which severities: see [stricter]. Where only what is approved may come in, what is not stops it.
func (c Case) heldTo(standing *history.Standing, lib *schema.Library) (*schema.Library, map[string]lint.Severity) {
	lib, severity := stricter(standing, lib)
	if c.Approved {
		severity["unapproved"], severity["stale-approval"] = lint.Error, lint.Error
	}
	return lib, severity
}

// touchedFamilies restricts the verdict to the families that a change touches; all of them where a machine or the settings
// changed, since those are judged through every condition.
func touchedFamilies(changes []lint.Change, differences []history.Difference, before, now *schema.Library) func(*schema.Recipe) bool {
	return touchedBeside(before, now).only(changes, differences)
}

// touched is what a change touches beside sets: machines by name, and all where the settings are others.
type touched struct {
	machines map[string]bool
	all      bool
}

func touchedBeside(before, now *schema.Library) touched {
	t := touched{machines: map[string]bool{}}
	for _, name := range append(before.MachineNames(), now.MachineNames()...) {
		a, b := before.Machine(name), now.Machine(name)
		t.machines[name] = a == nil || b == nil || a.Digest() != b.Digest()
	}
	t.all = before.Settings.Value == nil || now.Settings.Value == nil || before.Settings.Value.Digest() != now.Settings.Value.Digest()
	return t
}

// only are the conditions whose machine or family a change touches.
func (t touched) only(changes []lint.Change, differences []history.Difference) func(*schema.Recipe) bool {
	families := map[string]bool{}
	for _, c := range changes {
		families[c.ID.Family()] = true
	}
	for _, d := range differences {
		families[d.ID.Family()] = true
	}
	return func(r *schema.Recipe) bool { return t.all || t.machines[r.ID.Machine] || families[r.ID.Family()] }
}

// change fills in what the history knows of one difference.
func (c Case) change(d history.Difference, standing *history.Standing) lint.Change {
	change := lint.Change{ID: d.ID, Before: values(d.Before), After: values(d.After), Reasoned: true}
	position := standing.Position(c.Now.Lib, d.ID)
	change.Approved = position.Approved()
	change.Status = string(position.Status)
	for i, f := range position.Drifted {
		if i > 0 {
			change.StaleBecause += ", "
		}
		change.StaleBecause += f.Path + " " + cmp.Or(f.From.Text, "unsaid") + " to " + cmp.Or(f.To.Text, "unsaid")
	}
	from, to := d.Digests()
	if s := position.Status; s == history.New || s == history.Changed || s == history.Superseded { // not where somebody decided against it
		if permit := c.Now.Ledger.Permit(d.ID.String(), to, "", c.At); permit != nil {
			ends, _ := history.PermitEnds(permit)
			change.Until = ends.In(c.At.Location()).Format("Monday 15:04 MST")
		}
	}
	starts := []schema.Digest{from}
	for _, p := range c.Parents {
		if r := p.Lib.Recipe(d.ID); r != nil {
			starts = append(starts, r.Digest())
		} else {
			starts = append(starts, "")
		}
	}
	if inForce, ok := position.State.Digest(); ok {
		starts = append(starts, inForce)
	}
	asked := !slices.Contains(starts[1:], to) // a put-back to what is in force, or to what a parent has, explains itself
	for _, p := range c.Amended {
		if r := p.Lib.Recipe(d.ID); r != nil {
			starts = append(starts, r.Digest())
		} else {
			starts = append(starts, "")
		}
	}
	path, _ := c.Now.Ledger.Reasoned(schema.SubjectCondition, d.ID.String(), starts, to, c.Before.Ledger)
	// A reason that was saved before explained a change before: made again, the change needs a new one.
	ok := slices.ContainsFunc(path, c.fresh)
	if len(path) > 0 {
		last := path[len(path)-1].Reason
		change.Cause, change.RuledOut = last.Cause.V, last.RuledOut.V
		for _, e := range path {
			if !slices.Contains(change.Authors, e.Reason.By.V) {
				change.Authors = append(change.Authors, e.Reason.By.V)
			}
		}
	}
	policy := standing.Policy(c.Now.Lib.Policy())
	if standing.Anchor != nil && asked && (policy.ReasonRequired() || c.Now.Lib.Policy().ReasonRequired()) {
		change.Reasoned = ok || c.takenFromParents(d) || c.Explained != nil && c.Explained(d)
		if change.Reasoned && len(path) == 0 { // put together of what several persons explained
			for _, e := range c.Now.Ledger.Edges(schema.SubjectCondition, d.ID.String()) {
				if c.fresh(e) && !slices.Contains(change.Authors, e.Reason.By.V) {
					change.Authors = append(change.Authors, e.Reason.By.V)
				}
			}
		}
	}
	if change.After != nil && c.Now.Ledger.Tried(d.ID) {
		base := change.Approved
		if base == nil {
			base = change.Before
		}
		Try(c.Now.Ledger, d.ID, base, change.After, c.Now.Lib.Machine(d.ID.Machine)).Tell(&change)
	}
	if standing.Roster != nil {
		for _, person := range standing.Roster.Principals() {
			if policy.OwnChangeAllowed() || !slices.ContainsFunc(change.Authors, func(a string) bool { return strings.EqualFold(a, person) }) {
				change.MayApprove = append(change.MayApprove, person)
			}
		}
	}
	return change
}

// fresh reports whether a reason comes with what is judged.
func (c Case) fresh(e history.Edge) bool { return c.Before.Ledger.Get(e.Record.Digest) == nil }

// takenFromParents reports whether every value of a merge result is one of a parent: then both sides gave their reasons.
func (c Case) takenFromParents(d history.Difference) bool {
	if len(c.Parents) == 0 || d.After == nil {
		return false
	}
	sides := []*schema.Values{values(c.Before.Lib.Recipe(d.ID))}
	for _, p := range c.Parents {
		sides = append(sides, values(p.Lib.Recipe(d.ID)))
	}
	return history.Taken(d.After.Values(), sides)
}

func values(r *schema.Recipe) *schema.Values {
	if r == nil {
		return nil
	}
	return r.Values()
}

// records reports records that a parent had and that are gone or other now.
func (c Case) records() []lint.RecordChange {
	var out []lint.RecordChange
	seen := map[string]bool{}
	for _, side := range append([]Side{c.Before}, c.Parents...) {
		for path, hash := range side.Hashes {
			now, there := c.Now.Hashes[path]
			if there && now == hash || seen[path] || there && mended(record(side.Ledger, path), record(c.Now.Ledger, path)) {
				continue
			}
			r := record(side.Ledger, path)
			if r != nil && r.IsNone() {
				continue // it got there past the check, and nothing is lost where it goes
			}
			seen[path] = true
			change := lint.RecordChange{Path: path, Removed: !there}
			if r != nil && r.Common != nil {
				change.Kind, change.By, change.At = r.Kind, r.By.V, r.At.V
			}
			out = append(out, change)
		}
	}
	slices.SortFunc(out, func(a, b lint.RecordChange) int { return strings.Compare(a.Path, b.Path) })
	return out
}

func record(l *history.Ledger, path string) *schema.Record {
	i, ok := slices.BinarySearchFunc(l.Records, path, func(r *schema.Record, path string) int { return strings.Compare(r.Path, path) })
	if !ok {
		return nil
	}
	return l.Records[i]
}

// mended reports whether a record that was altered past the check is put back: its name, which is made of its content, fits again.
func mended(was, now *schema.Record) bool {
	fits := func(r *schema.Record) bool { return r != nil && r.Body != nil && r.WantPath() == r.Path }
	return !fits(was) && fits(now)
}

// InForce returns settings and machines as they were last approved where those of lib differ, for the stricter of the two to
// count; nil where nothing differs or nothing is adopted.
func InForce(standing *history.Standing, lib *schema.Library) *schema.Library {
	if standing.Anchor == nil {
		return nil
	}
	old := &schema.Library{Settings: lib.Settings, Machines: map[string]schema.Placed[schema.Machine]{}}
	differs := false
	if s := standing.Settings; s != nil && lib.Settings.Value != nil && s.Digest() != lib.Settings.Value.Digest() {
		old.Settings.Value, differs = s, true
	}
	names := lib.MachineNames()
	approved := make([]*schema.Machine, len(names)) // nil where it is as it was
	schema.AtOnce(len(names), func(i int) error {
		last := standing.State(schema.SubjectMachine, names[i]).Last()
		if last != nil && last.Subject.Values.Set() && last.Digest() != lib.Machine(names[i]).Digest() {
			approved[i] = &schema.Machine{}
			schema.Bind(last.Subject.Values.V, approved[i])
		}
		return nil
	})
	for i, name := range names {
		placed := lib.Machines[name]
		if approved[i] != nil {
			placed.Value, differs = approved[i], true
		}
		old.Machines[name] = placed
	}
	if !differs {
		return nil
	}
	return old
}

// Accepted says which findings somebody took responsibility for: warnings that stood at adoption while the recipe is the one
// adopted, and whatever a signed waiver covers until it ends.
func Accepted(standing *history.Standing, ledger *history.Ledger, at time.Time) func(string, lint.Severity, *schema.Recipe) bool {
	accepts := Acceptance(standing, ledger, at)
	return func(rule string, severity lint.Severity, r *schema.Recipe) bool {
		return accepts(rule, severity, r.ID, r.Digest)
	}
}

// Acceptance is [Accepted] for who knows a recipe by its id and digest.
func Acceptance(standing *history.Standing, ledger *history.Ledger, at time.Time) func(string, lint.Severity, schema.ID, func() schema.Digest) bool {
	waived := map[[3]string]bool{}
	if standing.Roster != nil {
		for _, w := range history.Bodies[*schema.Waiver](ledger) {
			until, err := time.Parse(time.RFC3339, w.Body.Until.V)
			if err == nil && at.Before(until) && standing.Vouched(w.Record) {
				waived[[3]string{w.Body.Rule.V, w.Body.ID.V, w.Body.Digest.V}] = true
			}
		}
	}
	return func(rule string, severity lint.Severity, id schema.ID, digest func() schema.Digest) bool {
		state := standing.Condition(id)
		if len(waived) > 0 && waived[[3]string{rule, id.String(), string(digest())}] {
			return true
		}
		if last := state.Last(); last != nil && severity < lint.Error && slices.Contains(last.Subject.Known.V, rule) {
			return last.Digest() == digest()
		}
		return false
	}
}
