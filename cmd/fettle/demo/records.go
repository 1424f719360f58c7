package demo

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/history"
	"fettle/schema"
)

// common is what every record of an event carries.
func (t *telling) common(e *Event, kind string, at time.Time, text string) schema.Common {
	c := schema.Common{Head: schema.Head{Kind: schema.Of(kind), Format: schema.Of(1)}, Library: schema.Of(t.id),
		At: schema.Of(stamp(at)), By: schema.Of(e.By)}
	if text != "" {
		c.Text = schema.Of(text)
	}
	return c
}

func stamp(at time.Time) string { return at.UTC().Format(time.RFC3339) }

// trial is recorded while the edit that follows lies unsaved, or is not made yet.
func (t *telling) trial(e *Event, was, is *schema.Library) error {
	id, err := schema.ParseID(e.ID)
	if err != nil {
		return err
	}
	lib := was
	if e.Trial.Values == "after" {
		lib = is
	}
	recipe, machine := lib.Recipe(id), lib.Machine(id.Machine)
	if recipe == nil || machine == nil {
		return fmt.Errorf("there is nothing to try %s the edit", e.Trial.Values)
	}
	var steps []schema.Step
	for i, raw := range e.Trial.Steps {
		var step schema.Step
		if err := bind(raw, &step); err != nil {
			return fmt.Errorf("step %d: %w", i+1, err)
		}
		steps = append(steps, step)
	}
	c := t.common(e, schema.KindTrial, e.Trial.At, e.Trial.Text)
	c.Unit = schema.Of(e.Trial.Unit)
	return t.record(e, &schema.Trial{Common: c, ID: schema.Of(e.ID), Digest: schema.Of(string(recipe.Digest())), Values: schema.Of(*recipe.Values()),
		MachineValues: schema.Of(machine.BeamAndJet(id.Gas)), Plate: schema.Of(e.Trial.Plate), Lot: schema.Of(e.Trial.Lot), Steps: schema.Of(steps)},
		false, "Record a trial of "+e.ID+"\n")
}

// reason goes into the commit of the edit. It names the trials that cover the new values.
func (t *telling) reason(e *Event, lib *schema.Library, d history.Difference) (*schema.Record, error) {
	from, to := d.Digests()
	r := &schema.Reason{Common: t.common(e, schema.KindReason, e.At, e.Text), Cause: schema.Of(e.Cause),
		Changes: schema.Of([]schema.Change{{ID: schema.Of(e.ID), From: schema.Of(string(from)), To: schema.Of(string(to))}})}
	if follows := t.ledger().Judge(t.id, "").Follow(schema.KindReason, []schema.Subject{history.RemovalSubject(d.ID)}); len(follows) > 0 {
		r.Follows = schema.Of(follows)
	}
	if len(e.RuledOut) > 0 {
		r.RuledOut = schema.Of(e.RuledOut)
	}
	var before *schema.Values
	if d.Before != nil {
		before = d.Before.Values()
	}
	covering, _ := t.ledger().Covers(d.ID, before, d.After.Values(), lib.Machine(d.ID.Machine).BeamAndJet(d.ID.Gas))
	if trials := digests(covering); len(trials) > 0 {
		r.Trials = schema.Of(trials)
	}
	return t.keep(e, r, false)
}

func digests(records []*schema.Record) []string {
	var out []string
	for _, r := range records {
		out = append(out, string(r.Digest))
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// adopt signs all that stands, with the warnings of the day.
func (t *telling) adopt(e *Event) error {
	lib, err := schema.ReadLibrary(t.files)
	if err != nil {
		return err
	}
	quiet := known(lib)
	subjects := history.CurrentSubjects(lib)
	conditions := 0
	for i := range subjects {
		if subjects[i].Kind.V != schema.SubjectCondition {
			continue
		}
		conditions++
		if rules := quiet[subjects[i].ID.V]; len(rules) > 0 {
			subjects[i].Known = schema.Of(rules)
		}
	}
	d := &schema.Decision{Common: t.common(e, schema.KindAdoption, e.At, e.Text), Subjects: schema.Of(subjects)}
	return t.record(e, d, true, fmt.Sprintf("Adopt %d conditions\n\n%s\n", conditions, e.Text))
}

// decide approves or rejects a condition as it is saved.
func (t *telling) decide(e *Event, kind string) error {
	id, err := schema.ParseID(e.ID)
	if err != nil {
		return err
	}
	lib, err := t.files.around(id)
	if err != nil {
		return err
	}
	ledger := t.ledger()
	standing := ledger.Judge(t.id, "")
	p := standing.Position(lib, id)
	if p.Now == nil {
		return fmt.Errorf("there is no such condition to decide on")
	}
	d := &schema.Decision{Common: t.common(e, kind, e.At, e.Text), Subjects: schema.Of([]schema.Subject{history.ConditionSubject(lib, p.Now)})}
	verb := "Rejected "
	if kind == schema.KindApproval {
		verb = "Approved "
		base, _ := p.Base()
		covering, _ := ledger.Covers(id, base, p.Now.Values(), lib.Machine(id.Machine).BeamAndJet(id.Gas))
		if trials := digests(covering); len(trials) > 0 {
			d.Trials = schema.Of(trials)
		}
	}
	if follows := standing.Follow(kind, d.Subjects.V); len(follows) > 0 {
		d.Follows = schema.Of(follows)
	}
	return t.record(e, d, true, verb+e.ID+"\n\n"+e.Text+"\n")
}

// withdraw takes a record of an earlier event back; signed where that was.
func (t *telling) withdraw(e *Event) error {
	target := t.made[e.Of][e.Record]
	if target == nil {
		return fmt.Errorf("event %d left no %s", e.Of, e.Record)
	}
	c := t.common(e, schema.KindWithdrawal, e.At, e.Text)
	c.Follows = schema.Of([]string{string(target.Digest)})
	w := &schema.Withdrawal{Common: c, Record: schema.Of(string(target.Digest))}
	return t.record(e, w, target.Signature.Set(), "Take back the "+target.Kind+" "+target.Digest.Short()+"\n\n"+e.Text+"\n")
}

// permit and load come a little after the edit: a recipe is saved first.
func (t *telling) permit(e *Event, recipe schema.Digest) error {
	at := e.At.Add(time.Minute)
	p := &schema.Permit{Common: t.common(e, schema.KindPermit, at, e.Permit.Text), ID: schema.Of(e.ID), Digest: schema.Of(string(recipe)),
		Lot: schema.Of(e.Permit.Lot), Until: schema.Of(stamp(e.Permit.Until))}
	return t.record(e, p, false, "Let "+e.ID+" run until "+e.Permit.Until.UTC().Format("2 January 15:04")+"\n\n"+e.Permit.Text+"\n")
}

func (t *telling) load(e *Event, recipe schema.Digest) error {
	c := t.common(e, schema.KindLoad, e.Load.At, "")
	c.Unit = schema.Of(e.Load.Unit)
	l := &schema.Load{Common: c, Loaded: schema.Of([]schema.Loaded{{ID: schema.Of(e.ID), Digest: schema.Of(string(recipe))}})}
	return t.record(e, l, false, "Load "+e.ID+" on "+e.Load.Unit+"\n")
}

func (t *telling) cause(e *Event) error {
	c := t.common(e, schema.KindCause, e.At, e.Text)
	c.Unit = schema.Of(e.Unit)
	r := &schema.Cause{Common: c, ID: schema.Of(e.ID), Symptom: schema.Of(e.Symptom), Found: schema.Of(e.Found)}
	return t.record(e, r, false, "Record the cause of bad cuts with "+e.ID+": "+strings.ReplaceAll(e.Found, "-", " ")+"\n\n"+e.Text+"\n")
}

func (t *telling) escape(e *Event) error {
	c := t.common(e, schema.KindEscape, e.At, e.Text)
	c.Unit = schema.Of(e.Unit)
	r := &schema.Escape{Common: c, IDs: schema.Of([]string{e.ID}), Symptom: schema.Of(e.Symptom), From: schema.Of(e.From), To: schema.Of(e.To),
		Found: schema.Of(e.Found), Job: schema.Of(e.Job), Lot: schema.Of(e.Lot)}
	return t.record(e, r, false, "Record bad parts of "+e.ID+" that got out\n\n"+e.Text+"\n")
}
