package history_test

import (
	"testing"

	"fettle/schema"
)

func TestAdoptionPutsInForceWhatStands(t *testing.T) {
	s, _ := adopted(t, 2, "refuse", "Mara", "Jonas")
	st := s.judge()
	s.wantCond(st, "0.40 bar by Mara") // one person, though the policy asks for two
	s.wantRoster(st, "Mara+Jonas by Mara")
	s.wantSettings(st, "2 refuse by Mara")
	if st.Trouble != "" || len(st.Refused) > 0 {
		t.Errorf("trouble %q, refused %v", st.Trouble, st.Refused)
	}
}

func TestNothingCountsBeforeTheAdoption(t *testing.T) {
	s := newShop(t)
	s.approve("Mara", s.cond("0.40 bar"))
	st := s.judge()
	s.wantCond(st, "undecided")
	if st.Anchor != nil || st.Roster != nil || st.Settings != nil {
		t.Error("something is in force without an adoption")
	}
	if _, err := st.Person(signer("Mara").PublicKey(), s.now); err == nil {
		t.Error("somebody may decide without an adoption")
	}
}

func TestApprovalReplacesWhatItFollows(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	b := s.approve("Jonas", s.cond("0.46 bar"), follow(a))
	s.wantCond(s.judge(), "0.46 bar by Jonas")
	s.approve("Mara", s.cond("0.50 bar"), follow(b))
	st := s.judge()
	s.wantCond(st, "0.50 bar by Mara")
	state := st.State(schema.SubjectCondition, id6)
	if len(state.Heads) != 1 || len(state.Once(schema.Digest(s.cond("0.46 bar").Digest.V))) != 1 {
		t.Errorf("heads %d; the one before was in force once", len(state.Heads))
	}
}

func TestTwoPersons(t *testing.T) {
	s, a := adopted(t, 2, "allow", "Mara", "Mara#2", "Jonas", "Petra")
	s.approve("Mara", s.cond("0.46 bar"), follow(a))
	s.wantCond(s.judge(), "0.40 bar by Mara; waits: 0.46 bar by Mara")
	s.approve("Mara", s.cond("0.46 bar"), follow(a), keyOf("Mara#2"))
	s.wantCond(s.judge(), "0.40 bar by Mara; waits: 0.46 bar by Mara, 0.46 bar by Mara") // two keys, one person
	s.approve("Jonas", s.cond("0.50 bar"), follow(a))
	s.wantCond(s.judge(), "0.40 bar by Mara; waits: 0.46 bar by Mara, 0.46 bar by Mara, 0.50 bar by Jonas")
	s.approve("Petra", s.cond("0.46 bar"), follow(a))
	// Jonas' approval was of another recipe instead of the adopted one, so it can never be completed.
	s.wantCond(s.judge(), "0.46 bar by Mara, 0.46 bar by Mara, 0.46 bar by Petra")
}

func TestCoApprovalsShareTheirPredecessors(t *testing.T) {
	s, a := adopted(t, 2, "allow", "Mara", "Jonas", "Petra")
	b := s.approve("Mara", s.cond("0.46 bar"), follow(a))
	s.approve("Jonas", s.cond("0.46 bar"), follow(b)) // follows the other approval instead of what that follows
	s.wantCond(s.judge(), "0.40 bar by Mara; waits: 0.46 bar by Mara")
}

// A rejection of one proposal must not come between two approvals of another.
func TestRejectionOfSomethingElseDoesNotPartCoApprovals(t *testing.T) {
	s, a := adopted(t, 2, "allow", "Mara", "Jonas", "Petra")
	other := s.approve("Petra", s.cond("0.60 bar"), follow(a))
	s.approve("Mara", s.cond("0.46 bar"), follow(a))
	no := s.reject("Petra", s.cond("0.60 bar"), follow(other))
	s.approve("Jonas", s.cond("0.46 bar"), follow(a, no))
	s.wantCond(s.judge(), "0.46 bar by Jonas, 0.46 bar by Mara")
}

func TestRejectionEndsWhatWaits(t *testing.T) {
	s, a := adopted(t, 2, "allow", "Mara", "Jonas", "Petra")
	p := s.approve("Mara", s.cond("0.46 bar"), follow(a))
	no := s.reject("Petra", s.cond("0.46 bar"), follow(p))
	s.wantCond(s.judge(), "0.40 bar by Mara")
	s.approve("Jonas", s.cond("0.46 bar"), follow(a, no)) // Mara approved without knowing of the rejection
	s.wantCond(s.judge(), "0.40 bar by Mara; waits: 0.46 bar by Jonas")
	s.approve("Mara", s.cond("0.46 bar"), follow(a, no))
	s.wantCond(s.judge(), "0.46 bar by Jonas, 0.46 bar by Mara")
}

func TestRejectionOfAProposalLeavesTheRecipeInForce(t *testing.T) {
	for name, follows := range map[string]bool{"following what is in force": true, "following nothing": false} {
		t.Run(name, func(t *testing.T) {
			s, a := adopted(t, 1, "allow", "Mara", "Jonas")
			var how []how
			if follows {
				how = append(how, follow(a))
			}
			no := s.reject("Jonas", s.cond("0.46 bar"), how...)
			st := s.judge()
			s.wantCond(st, "0.40 bar by Mara")
			if st.State(schema.SubjectCondition, id6).Rejection(schema.Digest(s.cond("0.46 bar").Digest.V)) == nil {
				t.Error("the rejection is forgotten")
			}
			s.approve("Mara", s.cond("0.46 bar"), follow(a, no))
			s.wantCond(s.judge(), "0.46 bar by Mara")
		})
	}
}

// An approval that follows a rejection was made in sight of everything that the rejection was.
func TestApprovalSeesThroughARejection(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	no := s.reject("Jonas", s.cond("0.46 bar"), follow(a))
	s.approve("Mara", s.cond("0.50 bar"), follow(no))
	s.wantCond(s.judge(), "0.50 bar by Mara")
}

func TestRejectionOfTheRecipeInForce(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	no := s.reject("Jonas", s.cond("0.40 bar"), follow(a))
	s.wantCond(s.judge(), "nothing")
	s.approve("Mara", s.cond("0.38 bar"), follow(no))
	s.wantCond(s.judge(), "0.38 bar by Mara")
}

func TestContestedUntilADecisionFollowsBoth(t *testing.T) {
	branches := func(t *testing.T) (*shop, *schema.Record, *schema.Record) {
		s, a := adopted(t, 1, "allow", "Mara", "Jonas")
		b := s.approve("Mara", s.cond("0.46 bar"), follow(a))
		c := s.approve("Jonas", s.cond("0.50 bar"), follow(a))
		s.wantCond(s.judge(), "contested: 0.46 bar by Mara, 0.50 bar by Jonas")
		return s, b, c
	}
	t.Run("one side only does not end it", func(t *testing.T) {
		s, b, _ := branches(t)
		s.approve("Mara", s.cond("0.48 bar"), follow(b))
		s.wantCond(s.judge(), "contested: 0.48 bar by Mara, 0.50 bar by Jonas")
	})
	t.Run("an approval of a third", func(t *testing.T) {
		s, b, c := branches(t)
		s.approve("Mara", s.cond("0.48 bar"), follow(b, c))
		s.wantCond(s.judge(), "0.48 bar by Mara")
	})
	t.Run("a rejection of one leaves the other", func(t *testing.T) {
		s, b, c := branches(t)
		s.reject("Mara", s.cond("0.50 bar"), follow(b, c))
		s.wantCond(s.judge(), "0.46 bar by Mara")
	})
	t.Run("the same recipe on both is none", func(t *testing.T) {
		s, a := adopted(t, 1, "allow", "Mara", "Jonas")
		s.approve("Mara", s.cond("0.46 bar"), follow(a))
		s.approve("Jonas", s.cond("0.46 bar"), follow(a))
		s.wantCond(s.judge(), "0.46 bar by Jonas, 0.46 bar by Mara")
	})
}

func TestApprovedHereAndRejectedThere(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	yes := s.approve("Mara", s.cond("0.46 bar"), follow(a))
	no := s.reject("Jonas", s.cond("0.46 bar"), follow(a))
	s.wantCond(s.judge(), "contested: 0.46 bar by Mara, not 0.46 bar by Jonas")
	s.approve("Jonas", s.cond("0.46 bar"), follow(yes, no))
	s.wantCond(s.judge(), "0.46 bar by Jonas")
}

func TestGoingBackIsAChangeThatNeedsANewApproval(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	b := s.approve("Mara", s.cond("0.46 bar"), follow(a))
	s.wantCond(s.judge(), "0.46 bar by Mara") // whatever the library holds, the old approval does not come back
	s.approve("Mara", s.cond("0.40 bar"), follow(b))
	s.wantCond(s.judge(), "0.40 bar by Mara")
}

func TestRemovalIsDecided(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara")
	gone := s.approve("Mara", removal(), follow(a))
	s.wantCond(s.judge(), "removed by Mara")
	s.approve("Mara", s.cond("0.40 bar"), follow(gone))
	s.wantCond(s.judge(), "0.40 bar by Mara")
}

func TestOneRecordDecidesOnSeveralSubjects(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	three, eight := s.condOf("3 mm", "0.30 bar"), s.condOf("8 mm", "0.60 bar")
	both := s.decide(schema.KindApproval, "Jonas", []schema.Subject{three, eight})
	s.approve("Mara", s.condOf("3 mm", "0.31 bar"), follow(both))
	st := s.judge()
	s.want(st, schema.SubjectCondition, three.ID.V, "0.31 bar by Mara")
	s.want(st, schema.SubjectCondition, eight.ID.V, "0.60 bar by Jonas")
	s.wantCond(st, "0.40 bar by Mara")
	_ = a
}

// Follows lead through records that do not count, so that a decision in sight of one is not cut off from what came before.
func TestFollowsLeadThroughWhatDoesNotCount(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	b := s.approve("Jonas", s.cond("0.46 bar"), follow(a))
	s.withdraw("Jonas", b)
	s.approve("Mara", s.cond("0.50 bar"), follow(b))
	s.wantCond(s.judge(), "0.50 bar by Mara")
}

func TestMachineAndPeopleAreDecidedToo(t *testing.T) {
	s := newShop(t)
	a := s.adopt("Mara", s.roster("Mara"), s.settings(1, "allow"), s.people("Mara", "Ove"), s.machine("6 kW"))
	st := s.judge()
	s.want(st, schema.SubjectMachine, "bay-2", "6 kW by Mara")
	if got := st.People.Principals(); len(got) != 2 || got[1] != "Ove" {
		t.Errorf("people in force: %v", got)
	}
	s.approve("Mara", s.machine("8 kW"), follow(a))
	s.approve("Mara", s.people("Mara"), follow(a))
	st = s.judge()
	s.want(st, schema.SubjectMachine, "bay-2", "8 kW by Mara")
	if got := st.People.Principals(); len(got) != 1 {
		t.Errorf("people in force: %v", got)
	}
}
