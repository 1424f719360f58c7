package history_test

import (
	"fmt"
	"testing"

	"fettle/history"
	"fettle/schema"
)

func TestSettingsAreApprovedByThePolicyBefore(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	b := s.approve("Mara", s.settings(2, "refuse"), follow(a)) // growing stricter takes one
	st := s.judge()
	s.wantSettings(st, "2 refuse by Mara")
	s.approve("Mara", s.settings(1, "allow"), follow(b)) // growing lax takes two
	s.wantSettings(s.judge(), "2 refuse by Mara; waits: 1 allow by Mara")
	s.approve("Jonas", s.settings(1, "allow"), follow(b))
	st = s.judge()
	s.wantSettings(st, "1 allow by Jonas, 1 allow by Mara")
	if n := st.Settings.Policy.V.ApprovalsNeeded(); n != 1 {
		t.Errorf("policy in force asks for %d persons", n)
	}
}

// A shop that asks for a second person from now on keeps what one approved before, if the new settings follow it.
func TestStricterPolicyLeavesOldApprovalsAlone(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	old := s.approve("Jonas", s.cond("0.46 bar"), follow(a))
	b := s.decide(schema.KindApproval, "Mara", []schema.Subject{s.settings(2, "refuse")}, func(d *draft) {
		d.common.Follows = schema.Of(s.judge().Follow(schema.KindApproval, []schema.Subject{s.settings(2, "refuse")}))
	})
	s.wantCond(s.judge(), "0.46 bar by Jonas")
	s.approve("Jonas", s.cond("0.50 bar"), follow(old, b))
	s.wantCond(s.judge(), "0.46 bar by Jonas; waits: 0.50 bar by Jonas")
	s.approve("Mara", s.cond("0.50 bar"), follow(old)) // in sight of the same, though it does not name the settings
	s.wantCond(s.judge(), "0.50 bar by Jonas, 0.50 bar by Mara")
}

// Whoever pretends not to know of the stricter policy is held to it all the same.
func TestOldPolicyCannotBeCalledUpon(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas", "Petra")
	b := s.approve("Mara", s.settings(2, "refuse"), follow(a))
	s.approve("Jonas", s.cond("0.46 bar"), follow(a))
	st := s.judge()
	s.wantCond(st, "0.40 bar by Mara; waits: 0.46 bar by Jonas")
	t.Run("nor to throw a colleague out", func(t *testing.T) {
		s.approve("Jonas", s.roster("Jonas"), follow(a))
		s.wantRoster(s.judge(), "Mara+Jonas+Petra by Mara; waits: Jonas by Jonas")
		s.wantSettings(s.judge(), "2 refuse by Mara")
	})
	t.Run("nor to make the policy lax: then both stand, and the stricter counts", func(t *testing.T) {
		s.approve("Jonas", s.settings(1, "allow"), follow(a))
		st := s.judge()
		s.wantSettings(st, "contested: 1 allow by Jonas, 2 refuse by Mara")
		if p := st.Settings.Policy.V; p.ApprovalsNeeded() != 2 || p.OwnChangeAllowed() {
			t.Errorf("policy in force: %d, own %v", p.ApprovalsNeeded(), p.OwnChangeAllowed())
		}
		s.wantCond(st, "0.40 bar by Mara; waits: 0.46 bar by Jonas")
		s.wantRoster(st, "Mara+Jonas+Petra by Mara; waits: Jonas by Jonas")
	})
	_ = b
}

// Two hands of one key, far from what two persons decided: a roster, its own voter, a lax policy by that voter.
func TestForkOfTheCharterGainsNothing(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	strict := s.approve("Mara", s.settings(2, "refuse"), follow(a))
	in := s.approve("Jonas", s.roster("Jonas", "Ulf"), follow(a))
	s.approve("Ulf", s.settings(1, "allow"), follow(in))
	s.approve("Ulf", s.cond("0.60 bar"), follow(a, in))
	st := s.judge()
	s.wantRoster(st, "Mara+Jonas by Mara; waits: Jonas+Ulf by Jonas")
	s.wantSettings(st, "2 refuse by Mara")
	s.wantCond(st, "0.40 bar by Mara")
	_ = strict
}

func TestRaisedNumberDoesNotUndoItself(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	b := s.approve("Mara", s.settings(2, "allow"), follow(a))
	c := s.approve("Jonas", s.roster("Mara", "Jonas", "Petra"), follow(a, b))
	st := s.judge()
	s.wantSettings(st, "2 allow by Mara")
	s.wantRoster(st, "Mara+Jonas by Mara; waits: Mara+Jonas+Petra by Jonas")
	_ = c
}

// A roster that drops whoever decided on the settings says so by keeping or not keeping the decision; both take two here.
func TestSettingsOfADroppedPerson(t *testing.T) {
	for _, kept := range []bool{true, false} {
		s, a := adopted(t, 1, "allow", "Mara", "Jonas", "Petra")
		b := s.approve("Petra", s.settings(2, "refuse"), follow(a))
		var opts []how
		if opts = append(opts, follow(a, b)); kept {
			opts = append(opts, keeps(b))
		}
		s.approve("Mara", s.roster("Mara", "Jonas"), opts...)
		s.wantSettings(s.judge(), "2 refuse by Petra")
		s.approve("Jonas", s.roster("Mara", "Jonas"), opts...)
		st := s.judge()
		s.wantRoster(st, "Mara+Jonas by Jonas, Mara+Jonas by Mara")
		if kept {
			s.wantSettings(st, "2 refuse by Petra")
		} else {
			s.wantSettings(st, "1 allow by Mara")
		}
	}
}

func TestRejectedSettings(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	b := s.approve("Mara", s.settings(2, "allow"), follow(a))
	s.reject("Jonas", s.settings(2, "allow"), follow(b))
	st := s.judge()
	s.wantSettings(st, "nothing")
	if p := st.Settings.Policy.V; p.ApprovalsNeeded() != 2 { // until somebody decides, the stricter of the two
		t.Errorf("policy in force asks for %d persons", p.ApprovalsNeeded())
	}
}

func TestOwnChange(t *testing.T) {
	for _, policy := range []string{"refuse", "allow"} {
		t.Run(policy, func(t *testing.T) {
			s, a := adopted(t, 1, policy, "Mara", "Jonas")
			s.cond("0.46 bar")
			s.reason("mara", id6, [][2]string{{"0.40 bar", "0.46 bar"}}) // names are compared as people read them
			own := s.approve("Mara", s.cond("0.46 bar"), follow(a))
			st := s.judge()
			if policy == "allow" {
				s.wantCond(st, "0.46 bar by Mara")
				if !st.State(schema.SubjectCondition, id6).Last().Own {
					t.Error("the approval does not say that it is by the author")
				}
				return
			}
			s.wantCond(st, "0.40 bar by Mara")
			s.wantRefused(st, own, "Mara wrote the change themselves")
			s.approve("Jonas", s.cond("0.46 bar"), follow(a))
			s.wantCond(s.judge(), "0.46 bar by Jonas")
		})
	}
}

func TestOwnChangeCountsFromTheLastApprovalOn(t *testing.T) {
	s, a := adopted(t, 1, "refuse", "Mara", "Jonas", "Petra")
	s.cond("0.46 bar")
	s.cond("0.50 bar")
	s.cond("0.52 bar")
	s.reason("Mara", id6, [][2]string{{"0.40 bar", "0.46 bar"}})
	b := s.approve("Jonas", s.cond("0.46 bar"), follow(a))
	s.reason("Jonas", id6, [][2]string{{"0.46 bar", "0.50 bar"}})
	s.reason("Petra", id6, [][2]string{{"0.50 bar", "0.52 bar"}})
	for person, ok := range map[string]bool{"Jonas": false, "Petra": false, "Mara": true} {
		before := s.records
		r := s.approve(person, s.cond("0.52 bar"), follow(b))
		if refused := s.judge().Refused[r.Digest] != ""; refused == ok {
			t.Errorf("%s may approve: %v", person, !refused)
		}
		s.records = before
	}
}

// Back and forth between two recipes: who wrote a step in spring is not the author of the same step in autumn, where each approval
// says which reasons it was made in sight of.
func TestOwnChangeOfLongAgo(t *testing.T) {
	for _, sign := range []bool{false, true} {
		t.Run(fmt.Sprintf("signed %v", sign), func(t *testing.T) {
			s, a := adopted(t, 1, "refuse", "Mara", "Jonas")
			s.cond("0.46 bar")
			reason := func(by, from, to string, after *schema.Record) *schema.Record {
				hows := []how{follow(after)}
				if sign {
					hows = append(hows, keyOf(by))
				}
				return s.reason(by, id6, [][2]string{{from, to}}, hows...)
			}
			b := s.approve("Jonas", s.cond("0.46 bar"), follow(a, reason("Mara", "0.40 bar", "0.46 bar", a)))
			c := s.approve("Mara", s.cond("0.40 bar"), follow(b, reason("Jonas", "0.46 bar", "0.40 bar", b)))
			d := s.approve("Mara", s.cond("0.46 bar"), follow(c, reason("Jonas", "0.40 bar", "0.46 bar", c)))
			st := s.judge()
			s.wantRefused(st, b, "")
			s.wantRefused(st, c, "")
			s.wantRefused(st, d, "")
			s.wantCond(st, "0.46 bar by Mara")
		})
	}
}

// An approval that one person of two gave is no approval yet, so it does not hide who wrote what came before it.
func TestOwnChangeBehindAnApprovalThatWaits(t *testing.T) {
	s, a := adopted(t, 2, "refuse", "Mara", "Jonas", "Petra", "Ulf")
	s.cond("0.46 bar")
	s.cond("0.50 bar")
	s.reason("Mara", id6, [][2]string{{"0.40 bar", "0.46 bar"}})
	waits := s.approve("Jonas", s.cond("0.46 bar"), follow(a))
	s.reason("Petra", id6, [][2]string{{"0.46 bar", "0.50 bar"}})
	s.approve("Ulf", s.cond("0.50 bar"), follow(waits))
	mara := s.approve("Mara", s.cond("0.50 bar"), follow(waits))
	st := s.judge()
	s.wantRefused(st, mara, "wrote the change")
	s.wantCond(st, "0.40 bar by Mara; waits: 0.46 bar by Jonas")
}

func TestOwnChangeWithoutAWayFromTheLastApproval(t *testing.T) {
	s, a := adopted(t, 1, "refuse", "Mara", "Jonas")
	s.cond("0.43 bar")
	s.cond("0.46 bar")
	s.reason("Mara", id6, [][2]string{{"0.43 bar", "0.46 bar"}}) // nobody explained 0.40 to 0.43
	r := s.approve("Mara", s.cond("0.46 bar"), follow(a))
	s.wantRefused(s.judge(), r, "wrote the change")
}

func TestOwnChangeBySignatureOfTheReason(t *testing.T) {
	s, a := adopted(t, 1, "refuse", "Mara", "Jonas")
	s.cond("0.46 bar")
	s.reason("Ove", id6, [][2]string{{"0.40 bar", "0.46 bar"}}, keyOf("Mara")) // in another's name, by her key
	r := s.approve("Mara", s.cond("0.46 bar"), follow(a))
	s.wantRefused(s.judge(), r, "wrote the change")
}

func TestOwnChangeOfTheSettings(t *testing.T) {
	s, a := adopted(t, 1, "refuse", "Mara", "Jonas")
	s.settings(1, "allow")
	s.reason("Mara", schema.SubjectSettings, [][2]string{{"1 refuse", "1 allow"}})
	r := s.approve("Mara", s.settings(1, "allow"), follow(a))
	st := s.judge()
	s.wantSettings(st, "1 refuse by Mara")
	s.wantRefused(st, r, "wrote the change")
	s.approve("Jonas", s.settings(1, "allow"), follow(a))
	s.wantSettings(s.judge(), "1 allow by Jonas")
}

// An approval of several subjects, one of them written by the approver, counts for the others, whichever comes first.
func TestOwnChangeOfOneSubjectOfThree(t *testing.T) {
	s, _ := adopted(t, 1, "refuse", "Mara", "Jonas")
	three, six, eight := s.condOf("3 mm", "0.30 bar"), s.cond("0.46 bar"), s.condOf("8 mm", "0.60 bar")
	s.reason("Mara", id6, [][2]string{{"0.40 bar", "0.46 bar"}})
	r := s.decide(schema.KindApproval, "Mara", []schema.Subject{three, six, eight}, follow(s.records[0]))
	st := s.judge()
	s.wantRefused(st, r, "wrote the change")
	s.want(st, schema.SubjectCondition, three.ID.V, "0.30 bar by Mara")
	s.wantCond(st, "0.40 bar by Mara")
	s.want(st, schema.SubjectCondition, eight.ID.V, "0.60 bar by Mara")
}

// A policy that grows lax does not complete what waits: whoever approved under the stricter one counted on a second person.
func TestLaxPolicyDoesNotCompleteWhatWaits(t *testing.T) {
	s, a := adopted(t, 2, "refuse", "Mara", "Jonas")
	b := s.approve("Mara", s.cond("0.46 bar"), follow(a))
	s.approve("Mara", s.settings(1, "allow"), follow(a))
	s.approve("Jonas", s.settings(1, "allow"), follow(a))
	st := s.judge()
	s.wantSettings(st, "1 allow by Jonas, 1 allow by Mara")
	s.wantCond(st, "0.40 bar by Mara; waits: 0.46 bar by Mara")
	s.decide(schema.KindApproval, "Mara", []schema.Subject{s.cond("0.46 bar")}, func(d *draft) {
		d.common.Follows = schema.Of(st.Follow(schema.KindApproval, []schema.Subject{s.cond("0.46 bar")}))
	})
	s.wantCond(s.judge(), "0.46 bar by Mara, 0.46 bar by Mara")
	_ = b
}

func TestSettingsCannotBeRemoved(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara")
	r := s.approve("Mara", schema.Subject{Kind: schema.Of(schema.SubjectSettings), ID: schema.Of(schema.SubjectSettings), Digest: schema.Of("")}, follow(a))
	st := s.judge()
	s.wantSettings(st, "1 allow by Mara")
	s.wantRefused(st, r, "cannot be removed")
}

// Settings that contradict each other leave what either of them refuses refused: to approve what is stale together, for one.
func TestStaleTogetherOfContestedSettings(t *testing.T) {
	with := func(s *shop, stale string) schema.Subject {
		f := schema.ReadFile(schema.SettingsFile, fmt.Appendf(nil, `{"kind":"library","format":1,"id":%q,"name":"Northgate plate shop",
			"policy":{"approvals":1,"own_change":"allow","stale_together":%q}}`, northgate, stale))
		return s.name(history.SettingsSubject(f.Value.(*schema.Settings)), stale)
	}
	for _, other := range []string{"allow", "refuse"} {
		s, a := adopted(t, 1, "allow", "Mara", "Jonas")
		s.approve("Mara", with(s, "allow"), follow(a))
		if !s.judge().Policy(schema.Policy{}).StaleTogether() {
			t.Error("it was allowed, and is not")
		}
		s.approve("Jonas", with(s, other), follow(a))
		if got := s.judge().Policy(schema.Policy{}).StaleTogether(); got != (other == "allow") {
			t.Errorf("allowed by one and %sd by another: %v", other, got)
		}
	}
}
