package audit_test

import (
	"strings"
	"testing"

	"fettle/history"
	"fettle/history/audit"
	"fettle/schema"
)

// commitAs saves everything as somebody else.
func (d *desk) commitAs(who string) {
	d.Run("add", "-A")
	d.Run("commit", "-q", "--author="+who+" <"+who+">", "-m", "edit")
}

// Jonas may sign what he likes with his own key, past the command that would refuse him. The history still says whose change it was.
func TestApprovalByWhoSavedTheChange(t *testing.T) {
	t.Run("without a reason", func(t *testing.T) {
		d := newDesk(t)
		adoption := d.adopt()
		d.set(b[0], b[1])
		d.commitAs(jonas)
		d.approve(adoption)
		r := verify(t, d, trusted, "broken no-reason")
		if !strings.Contains(r.Findings[0].Message, "jonas.falk@northgate.example, who saved it, approved it") {
			t.Errorf("%+v", r.Findings[0])
		}
		if len(r.Unapproved) > 0 {
			t.Errorf("the approval counts by itself: %+v", r.Unapproved)
		}
	})
	t.Run("with a reason in the name of somebody else", func(t *testing.T) {
		d := newDesk(t)
		adoption := d.adopt()
		d.set(b[0], b[1])
		why := d.reason(digest(t, a[0], a[1]), digest(t, b[0], b[1]), "dross")
		d.commitAs(jonas)
		d.approve(adoption, why)
		verify(t, d, trusted, claimed, "unproven "+audit.RuleOwn)
	})
	t.Run("as a co-author", func(t *testing.T) {
		d := newDesk(t)
		adoption := d.adopt()
		d.set(b[0], b[1])
		d.Commit("edit\n\nCo-authored-by: Jonas Falk <" + jonas + ">")
		d.approve(adoption)
		verify(t, d, trusted, "broken no-reason")
	})
	t.Run("where the policy allows it", func(t *testing.T) {
		d := newDesk(t)
		d.Write("fettle.json", strings.Replace(d.Read("fettle.json"), `"name"`, `"policy":{"own_change":"allow"},"name"`, 1))
		d.Commit("one person")
		adoption := d.adopt()
		d.set(b[0], b[1])
		d.commitAs(jonas)
		d.approve(adoption)
		verify(t, d, trusted, "unproven no-reason")
	})
	t.Run("of what was changed before the last approval", func(t *testing.T) {
		d := newDesk(t)
		adoption := d.adopt()
		d.edit(a, b, "dross")
		first := d.approve(adoption)
		d.edit(b, c, "faster")
		d.approve(first)
		verify(t, d, trusted, claimed)
	})
}

func TestWhatNeverWasARecordMayGo(t *testing.T) {
	d := newDesk(t)
	d.adopt()
	d.Write("records/2026/notes.txt", "call Jonas\n")
	d.Commit("notes")
	verify(t, d, trusted, "unreadable "+audit.RuleUnreadable)
	d.Remove("records/2026/notes.txt")
	d.Commit("no notes")
	verify(t, d, trusted)
}

// Settings, rosters and machines have no reasons, so only commits tell who wrote them.
func TestSettingsApprovedByWhoSavedThem(t *testing.T) {
	for _, c := range []struct {
		who  string
		want []string
	}{{jonas, []string{trusted, "unproven " + audit.RuleOwn}}, {mara, []string{trusted}}} {
		d := newDesk(t)
		adoption := d.adopt()
		d.Write("fettle.json", strings.Replace(d.Read("fettle.json"), `"name"`, `"policy":{"trial":"off"},"name"`, 1))
		d.commitAs(c.who)
		b := &schema.Decision{Common: d.common(schema.KindApproval, jonas, "as we work"), Subjects: schema.Of([]schema.Subject{history.SettingsSubject(d.saved().Settings.Value)})}
		b.Follows = schema.Of([]string{string(adoption.Digest)})
		d.put(b, &b.Common, jonas)
		d.Commit("approve")
		verify(t, d, c.want...)
	}
}

// Whoever signs with their own key past the command is not asked for the trial that the policy asks for. The trail says that it lacks.
func TestApprovalWithoutTheTrialAskedFor(t *testing.T) {
	for _, policy := range []string{"require", "off"} {
		d := newDesk(t)
		d.Write("fettle.json", strings.Replace(d.Read("fettle.json"), `"name"`, `"policy":{"trial":"`+policy+`"},"name"`, 1))
		d.Commit("policy")
		adoption := d.adopt()
		d.edit(a, b, "dross")
		d.approve(adoption)
		want := []string{trusted, claimed}
		if policy == "require" {
			want = append(want, "unproven "+audit.RuleNoTrial)
		}
		verify(t, d, want...)
		values := d.saved().Recipes[0].Values()
		trial := &schema.Trial{Common: d.common(schema.KindTrial, mara, "cut well"), ID: schema.Of(tenMM), Digest: schema.Of(string(values.Digest())), Values: schema.Of(*values),
			Steps: schema.Of([]schema.Step{{Outcome: schema.Of("good")}})}
		d.put(trial, &trial.Common, "")
		d.Commit("trial")
		verify(t, d, trusted, claimed)
	}
}

// A shop that asks for trials from now on keeps what it approved before; nobody goes by the old policy later, whatever they say that they
// follow. What comes out badly after an approval does not take away the trial that it was made on.
func TestTrialAskedForFromNowOn(t *testing.T) {
	d := newDesk(t)
	d.Write("fettle.json", strings.Replace(d.Read("fettle.json"), `"name"`, `"policy":{"trial":"off"},"name"`, 1))
	d.Commit("policy")
	adoption := d.adopt()
	d.edit(a, b, "dross")
	first := d.approve(adoption)
	d.Write("fettle.json", strings.Replace(d.Read("fettle.json"), `"off"`, `"require"`, 1))
	d.commitAs(mara)
	law := &schema.Decision{Common: d.common(schema.KindApproval, jonas, "trials from now on"), Subjects: schema.Of([]schema.Subject{history.SettingsSubject(d.saved().Settings.Value)})}
	law.Follows = schema.Of([]string{string(adoption.Digest), string(first.Digest)})
	d.put(law, &law.Common, jonas)
	d.Commit("approve settings")
	verify(t, d, trusted, claimed)

	d.edit(b, c, "faster")
	tried := func(outcome string) {
		values := d.saved().Recipes[0].Values()
		trial := &schema.Trial{Common: d.common(schema.KindTrial, mara, ""), ID: schema.Of(tenMM), Digest: schema.Of(string(values.Digest())), Values: schema.Of(*values),
			Steps: schema.Of([]schema.Step{{Outcome: schema.Of(outcome)}})}
		d.put(trial, &trial.Common, "")
		d.Commit("trial")
	}
	second := d.approve(first) // and not the settings
	verify(t, d, trusted, claimed, "unproven "+audit.RuleNoTrial)
	tried("good")
	verify(t, d, trusted, claimed)
	d.edit(c, a, "slower")
	tried("good")
	d.approve(second)
	tried("bad")
	verify(t, d, trusted, claimed)
}

// A value behind the one that is read, saved past the hook and taken out again, is no change of a field. The timeline tells it all the same.
func TestHiddenValueIsTold(t *testing.T) {
	d := newDesk(t)
	d.adopt()
	good := d.Read(setFile)
	d.Write(setFile, strings.Replace(good, `"focus": "3 mm"`, `"focus": "3 mm", "focus": "-9 mm"`, 1))
	hidden := d.Commit("small things")
	d.Write(setFile, strings.Replace(d.Read(setFile), `"2.2 kW"`, `"2200 W"`, 1))
	d.Commit("and more")
	d.Write(setFile, good)
	d.Commit("nothing happened")
	r := verify(t, d, trusted, "unproven "+audit.RuleGap)
	n := 0
	for _, f := range r.Findings {
		if f.Rule == audit.RuleGap {
			n++
			if f.Commit != hidden || f.Path != setFile {
				t.Errorf("%+v", f)
			}
		}
	}
	if n != 1 {
		t.Errorf("told %d times", n)
	}
}
