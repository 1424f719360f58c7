package audit

import (
	"cmp"
	"fmt"
	"iter"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
)

// looseEnds are the records that a record names and that are not here.
func (t *Trail) looseEnds(r *schema.Record) []Finding {
	var out []Finding
	need := func(level Level, what string, digests []string) {
		for _, d := range digests {
			if t.Ledger.Get(schema.Digest(d)) != nil {
				continue
			}
			f := t.finding(level, RuleLoose, r)
			f.Message = fmt.Sprintf("%s %s, which is not among the records", what, schema.Digest(d).Short())
			f.Help = "Fetch what others shared: it may be there. Else it was never saved, or is on a branch that was not merged."
			out = append(out, f)
		}
	}
	// Also of a decision on a branch, made in sight of records that only the main one has: nothing is broken until they meet.
	need(Unproven, "it follows", r.Follows.V)
	switch b := r.Body.(type) {
	case *schema.Reason:
		need(Unproven, "it rests on trial", b.Trials.V)
	case *schema.Decision:
		need(Unproven, "it rests on trial", b.Trials.V)
		need(Unproven, "it keeps decision", b.Keeps.V)
	case *schema.Withdrawal:
		need(Unproven, "it takes back", []string{b.Record.V})
	}
	return out
}

// checkEntries takes from the timeline what speaks against the trail: records altered or removed, files that could not be read,
// clocks that contradict.
func (t *Trail) checkEntries(r *Report) {
	odd := map[string]bool{}
	for e := range t.Each(Filter{Whole: true}) {
		f := Finding{Level: Broken, Path: e.Path, Commit: e.Commit, By: e.By, At: e.At}
		switch e.Kind {
		case RecordAltered:
			f.Rule, f.Message = history.RuleRecordAltered, "it was saved and then altered"+t.what(e)
		case RecordRemoved:
			f.Rule, f.Message = history.RuleRecordRemoved, "it was saved and then removed"+t.what(e)
		case Unreadable:
			f.Level, f.Rule, f.Message = Unproven, RuleGap, "it could not be read as it was saved here; what it should have held is not known"
		case PartlyRead:
			f.Level, f.Rule, f.Message = Unproven, RuleGap, "as it was saved here more was written in it than could be read: members twice, unknown or without a unit"
			f.Help = "git show " + short(e.Commit) + " shows it."
		}
		if f.Rule == history.RuleRecordAltered || f.Rule == history.RuleRecordRemoved {
			if slices.ContainsFunc(t.Ledger.Records, func(have *schema.Record) bool {
				return have.Path == e.Path && e.Record != nil && have.Digest == e.Record.Digest && history.Sound(have)
			}) {
				f.Message += "; it is back as it was"
			} else {
				f.Help = "Mistakes are taken back with fettle withdraw."
				if c := t.brought[e.Path]; c != nil {
					f.Help = "Bring it back as it was: git checkout " + short(c.hash) + " -- " + e.Path + ", then git commit " + e.Path + "\n" + f.Help
				}
			}
		}
		if f.Rule != "" {
			r.Findings = append(r.Findings, f)
		}
		if key := e.Commit + e.Clock; e.Clock != "" && !odd[key] {
			odd[key] = true
			f.Level, f.Rule, f.Message, f.Help = Unproven, RuleClock, e.Clock, "The order here does not come from clocks. Set the clock of that computer."
			r.Findings = append(r.Findings, f)
		}
	}
	if t.Shallow {
		f := Finding{Level: Unproven, Rule: RuleShallow, Message: "this clone does not have the older history; what came before it cannot be checked",
			Help: "git fetch --unshallow"}
		if len(t.Edges) > 0 {
			f.Commit = t.Edges[0]
		}
		r.Findings = append(r.Findings, f)
	}
}

// what says what a record was that is not what it was.
func (t *Trail) what(e *Entry) string {
	if e.Record == nil || e.Record.Common == nil {
		return ""
	}
	return fmt.Sprintf(" (%s by %s)", e.Record.Kind, e.Record.By.V)
}

func short(commit string) string { return commit[:min(len(commit), 12)] }

// checkAnchor says what decisions are chained from.
func (t *Trail) checkAnchor(r *Report) {
	s := t.Standing
	if s.Trouble != "" {
		r.Findings = append(r.Findings, Finding{Level: Broken, Rule: RuleNoAnchor, Message: s.Trouble})
	}
	switch {
	case s.Anchor == nil && s.Trouble == "":
		r.Findings = append(r.Findings, Finding{Level: Unproven, Rule: RuleNoAnchor, Message: "nothing is adopted, so no decision counts and nothing is in force",
			Help: "When the conditions are as the shop cuts: fettle adopt --because \"...\""})
	case s.Anchor != nil && !r.Pinned:
		r.Findings = append(r.Findings, Finding{Level: Unproven, Rule: RuleTrust, Path: s.Anchor.Path,
			Message: "that this adoption is the shop's own is taken on trust: it is the only one here",
			Help:    "Compare its digest with the lead's copy, and pin it: git config fettle.anchor " + string(s.Anchor.Digest)})
	}
}

// A step is one change of one recipe by one commit: the first of its entries.
type step struct{ *Entry }

// checkReasons looks for a reason of every change of a recipe since the adoption. One that has none of its own is no gap in
// the trail where the way on from it is explained, or where somebody approved what it led to: the trail then says so much.
func (t *Trail) checkReasons(r *Report) {
	if t.Standing.Anchor == nil {
		return
	}
	steps := t.stepsSince(t.brought[t.Standing.Anchor.Path])
	level := Broken
	if !t.Standing.Policy(t.Library.Policy()).ReasonRequired() {
		level = Unproven
	}
	for id, list := range steps {
		edges := t.Ledger.Edges(schema.SubjectCondition, id)
		for i, s := range list {
			r.Changes++
			starts := slices.Concat(s.starts, t.inForceBefore(id, s.pos))
			path := history.Path(edges, starts, s.ToDigest)
			if path != nil && (len(path) == 0 || t.fresh(path, list[:i], s)) {
				r.Reasoned++
				continue
			}
			since := -1
			if i > 0 {
				since = list[i-1].pos
			}
			if t.madeAgain(s.Entry, edges, starts, since) {
				r.Reasoned++
				continue
			}
			f := Finding{Level: level, Rule: RuleNoReason, ID: id, Commit: s.Commit, By: s.By, At: s.At,
				Message: "it was changed, and no record says why", Help: "fettle audit " + id + " shows what. Decide on it: fettle review " + id}
			if how, alone := t.caughtUp(id, edges, starts, list[i:]); how != "" && !alone {
				f.Level, f.Message, f.Help = Unproven, "it was changed without a reason of its own; "+how, ""
			} else if alone {
				f.Message += "; " + how
			}
			r.Findings = append(r.Findings, f)
		}
	}
}

// madeAgain reports whether a change is a step that was explained on another recipe and made again on this one, as a rebase or a
// cherry-pick does. Its reasons must have come since a moment of the history.
func (t *Trail) madeAgain(e *Entry, edges []history.Edge, starts []schema.Digest, since int) bool {
	came := func(edge history.Edge) bool {
		saved := t.brought[edge.Record.Path]
		return saved != nil && saved.pos > since && saved.pos <= e.pos
	}
	edges = slices.DeleteFunc(slices.Clone(edges), func(edge history.Edge) bool {
		saved := t.brought[edge.Record.Path]
		return saved == nil || saved.pos > e.pos
	})
	if e.ToDigest == "" || !slices.ContainsFunc(edges, came) {
		return false
	}
	to := t.Recipe(e.ID, e.ToDigest)
	if to == nil {
		return false
	}
	ways := history.Ways{Edges: edges, Starts: starts, Fresh: came, Steps: func() ([]history.Step, error) {
		var out []history.Step
		var last *schema.Values
		for _, v := range t.Versions(e.ID) {
			if v.pos >= e.pos {
				break
			}
			now := t.Recipe(e.ID, v.Digest)
			out = append(out, history.Step{From: last, To: now})
			last = now
		}
		return out, nil
	}}
	leads, err := ways.Lead(to, e.ToDigest)
	return err == nil && leads
}

// fresh reports whether a reason is about this step, and not only about the same one that was made before and undone since.
func (t *Trail) fresh(path []history.Edge, before []step, s step) bool {
	left := -1
	for i, b := range before {
		if b.FromDigest == s.ToDigest && slices.ContainsFunc(before[:i], func(e step) bool { return e.ToDigest == s.ToDigest }) {
			left = b.pos
		}
	}
	return left < 0 || slices.ContainsFunc(path, func(e history.Edge) bool {
		saved := t.brought[e.Record.Path]
		return e.To == s.ToDigest && saved != nil && saved.pos > left
	})
}

// stepsSince returns the changes of recipes that are not older than the adoption, by condition, in the order of history.
func (t *Trail) stepsSince(anchor *commit) map[string][]step {
	older := map[string]bool{}
	if anchor != nil {
		for _, c := range only(anchor, nil) {
			older[c.hash] = true
		}
	}
	out := map[string][]step{}
	for e := range t.Each(Filter{Whole: true}) {
		if !e.IsChange() || e.Kind == Dropped || e.Note || older[e.Commit] || e.FromDigest == e.ToDigest {
			continue
		}
		if n := len(out[e.ID]); n > 0 && out[e.ID][n-1].Commit == e.Commit {
			continue // another field of the same step
		}
		first := *e
		out[e.ID] = append(out[e.ID], step{&first})
	}
	return out
}

// inForceBefore returns the recipes that were in force when a commit was made: a reason may start from any of them.
func (t *Trail) inForceBefore(id string, pos int) []schema.Digest {
	var out []schema.Digest
	for _, a := range t.approvalsOf(id) {
		if saved := t.brought[a.record.Path]; saved != nil && saved.pos < pos {
			out = append(out, a.digest)
		}
	}
	return out
}

// caughtUp says how the trail goes on from a change without a reason, "" where it does not. Alone says that all there is are decisions
// by who saved the change, where the policy asks for somebody else.
func (t *Trail) caughtUp(id string, edges []history.Edge, starts []schema.Digest, steps []step) (how string, alone bool) {
	for _, s := range steps[1:] {
		switch {
		case slices.Contains(starts, s.ToDigest):
			return "it was taken back", false
		case history.Path(edges, starts, s.ToDigest) != nil:
			return "the way from before it to the next recipe is explained", false
		}
	}
	for _, i := range t.placesOf(id) {
		if m := t.told[i].move; m.kind == Dropped && m.commit.pos > steps[0].pos && slices.Contains(starts, m.to) {
			return "a merge left it out", false
		}
	}
	for _, s := range steps {
		for _, a := range t.approvalsOf(id) {
			if a.digest != s.ToDigest {
				continue
			}
			how = fmt.Sprintf("%s decided on what came of it on %s", a.person, a.record.Time().Format("2 January 2006"))
			if alone = t.own(steps[0], a); !alone {
				return how, false
			}
			how = fmt.Sprintf("%s, who saved it, approved it on %s, and the policy asks for somebody else", a.person, a.record.Time().Format("2 January 2006"))
		}
	}
	return how, alone
}

// own reports whether a decision is by who saved a change, as far as the commit says, where the policy asks for somebody else.
func (t *Trail) own(s step, a *approval) bool {
	return a.record.Kind != schema.KindAdoption && s.by(a.person) && !t.Standing.OwnAllowed(a.record)
}

// checkOwn looks for approvals by who saved the change although its reason names somebody else: where reasons are not signed, the name
// in them is what somebody typed.
func (t *Trail) checkOwn(r *Report) {
	if t.Standing.Anchor == nil {
		return
	}
	t.checkOwnFiles(r)
	for id, steps := range t.stepsSince(t.brought[t.Standing.Anchor.Path]) {
		approvals := t.approvalsOf(id)
		for _, a := range approvals {
			saved, since := t.brought[a.record.Path], -1
			if saved == nil {
				continue
			}
			for _, b := range approvals {
				if c := t.brought[b.record.Path]; c != nil && c.pos < saved.pos {
					since = max(since, c.pos)
				}
			}
			for _, s := range steps {
				if s.pos <= since || s.pos > saved.pos || s.Merge || len(s.Why) == 0 || !t.own(s, a) {
					continue
				}
				f := t.finding(Unproven, RuleOwn, a.record)
				f.ID, f.Message = id, fmt.Sprintf("%s approved it and saved the change, too, whose reason names %s", a.person, s.Why[0].By)
				f.Help = "Ask whose change it was. Reasons that are signed tell: policy.signed_changes \"require\" in " + schema.SettingsFile + "."
				r.Findings = append(r.Findings, f)
				break
			}
		}
	}
}

// checkOwnFiles looks for approvals of roster, people, settings and machines by who saved the file: of these no reason says who wrote.
func (t *Trail) checkOwnFiles(r *Report) {
	type decided struct {
		record *schema.Record
		saved  *commit
	}
	decisions := map[string][]decided{} // by file
	for _, d := range history.Bodies[*schema.Decision](t.Ledger) {
		saved := t.brought[d.Record.Path]
		if saved == nil || d.Record.Kind == schema.KindRejection || t.Standing.Refused[d.Record.Digest] != "" {
			continue
		}
		for _, subject := range d.Body.Subjects.V {
			if file := schema.FileOf(subject.Kind.V, subject.ID.V); file != "" {
				decisions[file] = append(decisions[file], decided{d.Record, saved})
			}
		}
	}
	for file, list := range decisions {
		for _, d := range list {
			since := -1
			for _, before := range list {
				if before.saved.pos < d.saved.pos {
					since = max(since, before.saved.pos)
				}
			}
			if d.record.Kind == schema.KindAdoption || since < 0 || t.Standing.OwnAllowed(d.record) {
				continue
			}
			if c := t.savedBy(d.record.By.V, file, since, d.saved.pos); c != nil {
				f := t.finding(Unproven, RuleOwn, d.record)
				f.Message = fmt.Sprintf("%s approved %s and had saved it, too, in %s: no second person looked at it, as far as commits tell", d.record.By.V, file, short(c.hash))
				f.Help = "Look at what changed. To ask for a second person: policy.approvals 2 in " + schema.SettingsFile + "."
				r.Findings = append(r.Findings, f)
			}
		}
	}
}

// savedBy returns a commit between two places by which a person changed a file of the library, or nil.
func (t *Trail) savedBy(person, file string, since, until int) *commit {
	for _, c := range t.commits {
		if c.pos <= since || c.pos > until || c.entry == nil || len(c.parents) > 1 || !t.entry(c, "").by(person) {
			continue
		}
		if slices.ContainsFunc(c.entry.Changes[0], func(g git.Change) bool { return strings.TrimPrefix(g.Path, t.walked.root) == file }) {
			return c
		}
	}
	return nil
}

// by reports whether a commit names a person as author or co-author.
func (e Entry) by(person string) bool {
	return slices.ContainsFunc(append(slices.Clip(e.CoAuthors), e.By), func(p Person) bool {
		return strings.EqualFold(p.Principal, person) || strings.EqualFold(p.Name, person)
	})
}

// checkPositions looks at where every condition stands, and at the approvals in force that lack the good trial that the policy asked for.
func (t *Trail) checkPositions(r *Report) {
	type placed struct {
		id schema.ID
		Unapproved
	}
	var open []placed
	own := schema.Texts{}
	t.Standing.EachPosition(t.parted(), func(p history.Position) {
		if p.Now != nil {
			r.Conditions++
		}
		if t.Standing.Anchor != nil && p.Status != history.Approved {
			open = append(open, placed{own.ID(p.ID), Unapproved{p.Kind, p.Name, p.Status}})
		}
		if p.State != nil {
			t.checkTrials(r, p)
		}
	})
	slices.SortFunc(open, func(a, b placed) int { return a.id.Compare(b.id) })
	for _, p := range open {
		r.Unapproved = append(r.Unapproved, p.Unapproved)
	}
	if t.Standing.Anchor != nil {
		for _, p := range t.Standing.Others(t.Library) {
			r.Others = append(r.Others, Unapproved{p.Kind, p.Name, p.Status})
		}
	}
}

// checkTrials looks at the approvals in force of one condition.
func (t *Trail) checkTrials(r *Report, p history.Position) {
	for _, d := range p.State.InForce {
		missing, lacks := t.Standing.Untried(d.Record, d.Subject)
		if !lacks {
			continue
		}
		what := "it"
		if len(missing) > 0 {
			what = missing[0].Path
		}
		f := t.finding(Unproven, RuleNoTrial, d.Record)
		f.ID, f.Message = p.Name, fmt.Sprintf("%s approved it and no good trial shows %s, which the policy asks for", d.Person, what)
		f.Help = "Cut it and record what came out: fettle trial record " + p.Name + " --good --unit UNIT"
		r.Findings = append(r.Findings, f)
	}
}

// parted is the library, a few sets at a time where they were left out.
func (t *Trail) parted() iter.Seq[*schema.Library] {
	return func(yield func(*schema.Library) bool) {
		if t.apart == nil {
			yield(t.Library)
			return
		}
		sets, err := newPartedSets(t.apart)
		if err == nil {
			err = sets.each(t.Library, yield)
		}
		t.wrong = cmp.Or(t.wrong, err)
	}
}
