package history_test

import (
	"testing"

	"fettle/history"
	"fettle/schema"
)

func TestWithdrawalBringsBackTheStateBefore(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	b := s.approve("Mara", s.cond("0.46 bar"), follow(a))
	w := s.withdraw("Mara", b)
	st := s.judge()
	s.wantCond(st, "0.40 bar by Mara")
	if st.Withdrawn[b.Digest] == nil || st.Withdrawn[b.Digest].Digest != w.Digest {
		t.Error("nothing says what took the approval back")
	}
	t.Run("of a rejection", func(t *testing.T) {
		no := s.reject("Jonas", s.cond("0.40 bar"), follow(a))
		s.wantCond(s.judge(), "nothing")
		s.withdraw("Jonas", no)
		s.wantCond(s.judge(), "0.40 bar by Mara")
	})
	t.Run("of one of two that contradict each other", func(t *testing.T) {
		c := s.approve("Mara", s.cond("0.50 bar"), follow(a))
		s.approve("Jonas", s.cond("0.52 bar"), follow(a))
		s.wantCond(s.judge(), "contested: 0.50 bar by Mara, 0.52 bar by Jonas")
		s.withdraw("Mara", c)
		s.wantCond(s.judge(), "0.52 bar by Jonas")
	})
}

func TestWithdrawalByAnOutsider(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	b := s.approve("Mara", s.cond("0.46 bar"), follow(a))
	outsider := s.withdraw("Ove", b)
	nobody := s.withdraw("Mara", b, unsigned)
	forged := s.withdraw("Mara", b, keyOf("Ove"))
	st := s.judge()
	s.wantCond(st, "0.46 bar by Mara")
	s.wantRefused(st, outsider, "is not in it")
	s.wantRefused(st, nobody, "not signed")
	s.wantRefused(st, forged, "is not in it")
}

func TestWithdrawalCannotBeTakenBack(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	b := s.approve("Mara", s.cond("0.46 bar"), follow(a))
	w := s.withdraw("Mara", b)
	again := s.withdraw("Mara", w)
	st := s.judge()
	s.wantCond(st, "0.40 bar by Mara")
	s.wantRefused(st, again, "cannot be taken back")
}

// What somebody else decided takes as many persons to take back as to decide: else one person could make a rejection go away.
func TestWithdrawalOfSomebodyElsesDecision(t *testing.T) {
	s, a := adopted(t, 2, "allow", "Mara", "Jonas", "Petra")
	no := s.reject("Mara", s.cond("0.40 bar"), follow(a))
	w := s.withdraw("Jonas", no)
	st := s.judge()
	s.wantCond(st, "nothing")
	s.wantRefused(st, w, "2 persons")
	s.withdraw("Petra", no)
	st = s.judge()
	s.wantCond(st, "0.40 bar by Mara")
	s.wantRefused(st, w, "")
}

func TestWithdrawalOfRosterAndSettings(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	b := s.approve("Mara", s.roster("Mara", "Jonas", "Petra"), follow(a))
	s.approve("Petra", s.cond("0.46 bar"), follow(a))
	s.wantCond(s.judge(), "0.46 bar by Petra")
	s.withdraw("Mara", b)
	st := s.judge()
	s.wantRoster(st, "Mara+Jonas by Mara")
	s.wantCond(st, "0.40 bar by Mara")
	s.approve("Mara", s.settings(2, "refuse"), follow(a))
	strict := s.records[len(s.records)-1]
	w := s.withdraw("Mara", strict) // her own, and yet: what asks for two is not undone by one
	st = s.judge()
	s.wantSettings(st, "2 refuse by Mara")
	s.wantRefused(st, w, "2 persons")
	s.withdraw("Jonas", strict)
	s.wantSettings(s.judge(), "1 allow by Mara")
}

func TestUnsignedRecordIsTakenBackByAnybody(t *testing.T) {
	s, _ := adopted(t, 1, "allow", "Mara")
	s.cond("0.46 bar")
	r := s.reason("Ove", id6, [][2]string{{"0.40 bar", "0.46 bar"}})
	signed := s.reason("Ove", id6, [][2]string{{"0.40 bar", "0.46 bar"}}, keyOf("Ove"))
	if got := s.ledger().Edges(schema.SubjectCondition, id6); len(got) != 2 {
		t.Fatalf("%d reasons, want 2", len(got))
	}
	s.withdraw("Ulf", r, unsigned)
	s.withdraw("Ove", signed, unsigned)
	s.withdraw("Ulf", signed)
	l := s.ledger()
	if got := l.Edges(schema.SubjectCondition, id6); len(got) != 1 || got[0].Record.Digest != signed.Digest {
		t.Errorf("%d reasons: a signed one is taken back by the key that signed it", len(got))
	}
	s.withdraw("Ove", signed)
	l = s.ledger()
	if got := l.Edges(schema.SubjectCondition, id6); len(got) != 0 {
		t.Errorf("%d reasons are left", len(got))
	}
	st := l.Judge(northgate, "")
	if st.Withdrawn[r.Digest] == nil || st.Withdrawn[signed.Digest] == nil {
		t.Error("the standing does not say that the reasons were taken back")
	}
}

func TestWaiver(t *testing.T) {
	s, _ := adopted(t, 1, "allow", "Mara", "Jonas")
	waive := func(by string, how ...how) *schema.Record {
		w := &schema.Waiver{Rule: schema.Of("speed-off-curve"), ID: schema.Of(id6), Digest: s.cond("0.40 bar").Digest, Until: schema.Of("2027-01-01T00:00:00Z")}
		return s.write(w, &w.Common, schema.KindWaiver, by, how...)
	}
	good, taken, outside, nobody := waive("Mara"), waive("Jonas"), waive("Ove"), waive("Mara", unsigned)
	s.withdraw("Jonas", taken)
	l := s.ledger()
	st := l.Judge(northgate, "")
	for r, want := range map[*schema.Record]bool{good: true, taken: false, outside: false, nobody: false} {
		if got := st.Vouched(l.Get(r.Digest)); got != want {
			t.Errorf("waiver by %s counts: %v, want %v", r.By.V, got, want)
		}
	}
	if (&history.Standing{}).Vouched(good) {
		t.Error("a waiver counts before the adoption")
	}
}
