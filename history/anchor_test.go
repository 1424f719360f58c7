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

// What comes after the beginning is adopted without a reason or a trial, but not past the policy: else one person could put in force
// whatever they wrote, under a new name.
func TestLaterAdoption(t *testing.T) {
	for _, c := range []struct {
		name      string
		approvals int
		own       string
		attack    func(s *shop, a *schema.Record, eight schema.Subject)
		want      string
	}{
		{"by one", 1, "refuse", func(s *shop, a *schema.Record, eight schema.Subject) {
			s.decide(schema.KindAdoption, "Jonas", []schema.Subject{eight}, follow(a))
		}, "0.60 bar by Jonas"},
		{"by an outsider", 1, "allow", func(s *shop, a *schema.Record, eight schema.Subject) {
			s.decide(schema.KindAdoption, "Ove", []schema.Subject{eight}, follow(a))
		}, "undecided"},
		{"by one of two", 2, "allow", func(s *shop, a *schema.Record, eight schema.Subject) {
			s.decide(schema.KindAdoption, "Jonas", []schema.Subject{eight}, follow(a))
		}, "nothing; waits: 0.60 bar by Jonas"},
		{"by one, and approved by the other", 2, "allow", func(s *shop, a *schema.Record, eight schema.Subject) {
			s.decide(schema.KindAdoption, "Jonas", []schema.Subject{eight}, follow(a))
			s.approve("Mara", eight, follow(a))
		}, "0.60 bar by Jonas, 0.60 bar by Mara"},
		{"by who wrote it", 1, "refuse", func(s *shop, a *schema.Record, eight schema.Subject) {
			s.reason("Jonas", eight.ID.V, [][2]string{{"", "0.60 bar"}})
			s.decide(schema.KindAdoption, "Jonas", []schema.Subject{eight}, follow(a))
		}, "nothing"},
		{"by who wrote it, where that is allowed", 1, "allow", func(s *shop, a *schema.Record, eight schema.Subject) {
			s.reason("Jonas", eight.ID.V, [][2]string{{"", "0.60 bar"}})
			s.decide(schema.KindAdoption, "Jonas", []schema.Subject{eight}, follow(a))
		}, "0.60 bar by Jonas"},
		{"beside what is in force, unseen", 2, "allow", func(s *shop, a *schema.Record, eight schema.Subject) {
			s.decide(schema.KindAdoption, "Jonas", []schema.Subject{eight}, follow(a))
			s.approve("Mara", eight, follow(a))
			s.decide(schema.KindAdoption, "Jonas", []schema.Subject{s.condOf("8 mm", "0.70 bar")})
		}, "0.60 bar by Jonas, 0.60 bar by Mara"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, a := adopted(t, c.approvals, c.own, "Mara", "Jonas")
			eight := s.condOf("8 mm", "0.60 bar")
			c.attack(s, a, eight)
			s.want(s.judge(), schema.SubjectCondition, eight.ID.V, c.want)
		})
	}
}

// An adoption needs no reason and no trial, so it must not do for an approval.
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
	s, _ := adopted(t, 1, "refuse", "Mara", "Jonas")
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
