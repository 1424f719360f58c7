package history_test

import (
	"testing"

	"fettle/schema"
)

func TestSecondAdoptionCountsOnlyWherePinned(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara")
	b := s.approve("Mara", s.cond("0.46 bar"), follow(a))
	second := s.decide(schema.KindAdoption, "Ove", []schema.Subject{s.roster("Ove"), s.settings(1, "allow"), s.cond("0.60 bar")}, follow(a, b), keeps(b))
	st := s.judge()
	s.wantCond(st, "0.46 bar by Mara")
	s.wantRoster(st, "Mara by Mara")
	s.wantRefused(st, second, "second adoption")
	s.wantRefused(st, second, "git config fettle.anchor "+string(second.Digest))

	pinned := s.ledger().Judge(northgate, string(second.Digest))
	s.wantCond(pinned, "0.60 bar by Ove")
	s.wantRoster(pinned, "Ove by Ove")
	s.wantRefused(pinned, a, "second adoption")
	s.wantRefused(pinned, b, "") // kept by the new roster

	first := s.ledger().Judge(northgate, string(a.Digest))
	s.wantCond(first, "0.46 bar by Mara")
	s.wantRefused(first, second, "second adoption")
}

func TestTwoAdoptionsThatKnowNothingOfEachOtherNeedAPin(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara")
	forged := s.adopt("Ove", s.roster("Ove"), s.cond("0.60 bar"))
	st := s.judge()
	if st.Anchor != nil || st.Trouble == "" || st.Roster != nil {
		t.Errorf("anchor %v, trouble %q", st.Anchor, st.Trouble)
	}
	s.wantCond(st, "undecided") // nothing is in force rather than the wrong thing
	pinned := s.ledger().Judge(northgate, string(a.Digest))
	s.wantCond(pinned, "0.40 bar by Mara")
	s.wantRefused(pinned, forged, "second adoption")
}

func TestPinToAnAdoptionThatIsNotThere(t *testing.T) {
	s, _ := adopted(t, 1, "allow", "Mara")
	st := s.ledger().Judge(northgate, "00000000000000000000000000000000000000000000000000000000000000aa")
	if st.Anchor != nil || st.Trouble == "" {
		t.Errorf("anchor %v, trouble %q", st.Anchor, st.Trouble)
	}
}

func TestAdoptionByNobodyOfItsRoster(t *testing.T) {
	s := newShop(t)
	r := s.adopt("Ove", s.roster("Mara"), s.cond("0.40 bar"))
	st := s.judge()
	if st.Anchor != nil {
		t.Error("somebody adopted a roster that does not hold them")
	}
	s.wantRefused(st, r, "is not in it")
}

func TestLaterAdoption(t *testing.T) {
	s, a := adopted(t, 2, "refuse", "Mara", "Jonas")
	eight := s.condOf("8 mm", "0.60 bar")
	later := s.decide(schema.KindAdoption, "Jonas", []schema.Subject{eight}, follow(a))
	outsider := s.decide(schema.KindAdoption, "Ove", []schema.Subject{s.condOf("3 mm", "0.30 bar")}, follow(a))
	st := s.judge()
	s.want(st, schema.SubjectCondition, eight.ID.V, "0.60 bar by Jonas") // no second person needed
	s.want(st, schema.SubjectCondition, "bay-2/carbon-steel/oxygen/3mm", "nothing")
	s.wantRefused(st, outsider, "is not in it")
	s.wantRefused(st, later, "")
}

// An adoption needs no second person and no reason, so it must not do for an approval.
func TestAdoptionCannotReplaceADecision(t *testing.T) {
	s, a := adopted(t, 2, "refuse", "Mara", "Jonas")
	cond := s.decide(schema.KindAdoption, "Jonas", []schema.Subject{s.cond("0.60 bar")}, follow(a))
	settings := s.decide(schema.KindAdoption, "Jonas", []schema.Subject{s.settings(1, "allow")}, follow(a))
	roster := s.decide(schema.KindAdoption, "Jonas", []schema.Subject{s.roster("Jonas")}, follow(a))
	st := s.judge()
	s.wantCond(st, "0.40 bar by Mara")
	s.wantSettings(st, "2 refuse by Mara")
	s.wantRoster(st, "Mara+Jonas by Mara")
	s.wantRefused(st, cond, "approved and not adopted")
	s.wantRefused(st, settings, "approved and not adopted")
	s.wantRefused(st, roster, "second adoption")
}

// Pretending not to have seen the decision does not help: then both stand against each other.
func TestAdoptionBesideADecisionIsContested(t *testing.T) {
	s, _ := adopted(t, 2, "refuse", "Mara", "Jonas")
	s.decide(schema.KindAdoption, "Jonas", []schema.Subject{s.cond("0.60 bar")})
	s.wantCond(s.judge(), "contested: 0.40 bar by Mara, 0.60 bar by Jonas")
}

func TestAdoptionOfTheRosterCannotBeTakenBack(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	w := s.withdraw("Mara", a)
	st := s.judge()
	s.wantCond(st, "0.40 bar by Mara")
	s.wantRefused(st, w, "cannot be taken back")
}
