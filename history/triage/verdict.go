package triage

import (
	"fmt"
	"time"

	"fettle/history"
	"fettle/history/audit"
	"fettle/schema"
)

// An Answer is never more than the records say.
type Answer string

// The answers.
const (
	IsSo    Answer = "yes"
	IsNotSo Answer = "no"
	NotSaid Answer = "unknown"
)

// A Verdict says whether the recipe of a condition is what it should be.
type Verdict struct {
	ID       schema.ID
	Approved Statement             // unchanged since it was approved
	Tried    Statement             // unchanged since the last good trial
	Loaded   Statement             // the unit holds what is approved, by what was written down
	Drifted  []history.FieldChange // values of the machine that changed since it was approved
	Should   *schema.Values        // what the machine should show: what is approved; nil where nothing is
	OnUnit   *schema.Values        // what it holds by what was written down, nil where that is not on record
}

// A Statement is one answer with what it rests on.
type Statement struct {
	Answer  Answer
	Says    string
	Changes []history.FieldChange // where the answer is no
}

// Innocent reports whether nothing on record speaks against the recipe.
func (v *Verdict) Innocent() bool {
	return v.Approved.Answer == IsSo && v.Loaded.Answer != IsNotSo && len(v.Drifted) == 0
}

// A Case is one condition that cuts badly.
type Case struct {
	Library  *schema.Library // as it is saved
	Standing *history.Standing
	ID       schema.ID
	Unit     string
	Symptoms []string
	Now      time.Time
	Recipe   func(id string, digest schema.Digest) *schema.Values // finds a recipe that was loaded; may be nil
}

// Judge says how the recipe stands.
func Judge(c Case) Verdict {
	v := Verdict{ID: c.ID}
	p := c.Standing.Position(c.Library, c.ID)
	v.Should = p.Approved()
	v.judgeApproved(c, p)
	v.judgeTried(c, p)
	v.judgeLoaded(c, p)
	return v
}

func day(t time.Time) string { return t.Local().Format("2 January 2006") }

func (v *Verdict) judgeApproved(c Case, p history.Position) {
	s := &v.Approved
	if c.Standing.Anchor == nil {
		s.Answer, s.Says = NotSaid, "nothing is adopted, so nothing is approved"
		if p.Now != nil {
			v.Should = p.Now.Values()
		}
		return
	}
	switch p.Status {
	case history.Approved, history.Stale:
		if p.Now == nil {
			s.Answer, s.Says = IsNotSo, "the condition is no longer in the library"
			return
		}
		d := p.State.Last()
		s.Answer, s.Says = IsSo, fmt.Sprintf("%s on %s by %s", verb(d.Record.Kind), day(d.Record.Time()), d.Person)
		if p.Status == history.Stale {
			s.Says += "; but the machine changed since"
			v.Drifted = p.Drifted
		}
	case history.New:
		s.Answer, s.Says = NotSaid, "it was never approved"
	case history.Contested:
		s.Answer, s.Says = NotSaid, "decisions contradict each other"
	default:
		s.Answer = IsNotSo
		base, d := p.Base()
		if d != nil {
			s.Says = fmt.Sprintf("%s on %s by %s, and changed since", verb(d.Record.Kind), day(d.Record.Time()), d.Person)
		}
		if p.Now != nil && base != nil {
			s.Changes = history.CompareValues(base, p.Now.Values())
		} else if p.Now == nil {
			s.Says = "the condition is no longer in the library"
		}
	}
}

func verb(kind string) string {
	if kind == schema.KindAdoption {
		return "adopted"
	}
	return "approved"
}

func (v *Verdict) judgeTried(c Case, p history.Position) {
	s := &v.Tried
	if p.Now == nil {
		s.Answer, s.Says = NotSaid, "there is no recipe to compare with"
		return
	}
	now := p.Now.Values()
	e := c.Standing.Ledger.Evidence(c.ID, now, jetOf(c.Library, c.ID))
	var last *history.TrialCut
	for i := range e.Cuts {
		cut := &e.Cuts[i]
		if cut.Good() && (c.Unit == "" || !cut.Trial.Unit.Set() || cut.Trial.Unit.V == c.Unit) && (last == nil || !cut.Record.Time().Before(last.Record.Time())) {
			if last != nil && cut.Record == last.Record && len(cut.Off) > len(last.Off) {
				continue // of one trial, the cut that comes closest
			}
			last = cut
		}
	}
	if last == nil {
		s.Answer, s.Says = NotSaid, "no good trial of it is on record"
		if c.Unit != "" {
			s.Says += " for " + c.Unit
		}
		return
	}
	s.Says = fmt.Sprintf("the last good one was on %s by %s", day(last.Record.Time()), last.Record.By.V)
	if s.Answer = IsSo; len(last.Off) > 0 {
		s.Answer, s.Changes = IsNotSo, last.Off
	}
}

func (v *Verdict) judgeLoaded(c Case, p history.Position) {
	s := &v.Loaded
	if c.Unit == "" {
		s.Answer, s.Says = NotSaid, "no machine was named"
		return
	}
	stays := audit.Stays(audit.Loads(c.Standing.Ledger), c.Unit, c.ID.String(), c.Now, c.Now)
	stay := stays[len(stays)-1]
	digest := stay.Digest()
	switch {
	case len(stay.Loaded) == 0:
		s.Answer, s.Says = NotSaid, "no load of it on "+c.Unit+" is on record"
		return
	case digest == "":
		s.Answer, s.Says = NotSaid, "two loads of the same moment contradict each other"
		return
	}
	if c.Recipe != nil {
		v.OnUnit = c.Recipe(c.ID.String(), digest)
	}
	s.Says = fmt.Sprintf("loaded on %s by %s", day(stay.From), stay.Loaded[0].Record.By.V)
	inForce, any := p.State.Digest()
	switch {
	case !any || inForce == "":
		s.Answer = NotSaid
		s.Says += "; nothing is approved to compare it with"
	case inForce == digest:
		s.Answer = IsSo
	default:
		s.Answer = IsNotSo
		s.Says += ", and it is not what is approved"
		if v.OnUnit != nil && v.Should != nil {
			s.Changes = history.CompareValues(v.Should, v.OnUnit)
		}
	}
}
