package history_test

import (
	"testing"
	"time"

	"fettle/history"
	"fettle/schema"
)

func TestNobodyAddsThemselves(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara")
	r := s.approve("Ove", s.roster("Mara", "Ove"), follow(a))
	c := s.approve("Ove", s.cond("0.60 bar"), follow(a, r))
	st := s.judge()
	s.wantRoster(st, "Mara by Mara")
	s.wantCond(st, "0.40 bar by Mara")
	s.wantRefused(st, r, "is not in it")
	s.wantRefused(st, c, "is not in it")
}

func TestRosterIsApprovedByItsPredecessor(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara")
	b := s.approve("Mara", s.roster("Mara", "Jonas"), follow(a))
	c := s.approve("Jonas", s.roster("Jonas", "Petra"), follow(b))
	s.approve("Petra", s.cond("0.46 bar"), follow(a))
	st := s.judge()
	s.wantRoster(st, "Jonas+Petra by Jonas")
	s.wantCond(st, "0.46 bar by Petra")
	late := s.approve("Mara", s.roster("Mara"), follow(c)) // dropped
	back := s.approve("Jonas", s.roster("Mara", "Jonas"), follow(c))
	st = s.judge()
	s.wantRefused(st, late, "is not in it")
	s.wantRoster(st, "Mara+Jonas by Jonas") // an old roster put back is a change like any other
	_ = back
}

// The dropped person dates a roster back, so that it is read before the one that dropped them.
func TestDroppedPersonCannotGetInByTheClock(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Ove")
	early := s.now.Add(-24 * time.Hour)
	b := s.approve("Mara", s.roster("Mara"), follow(a))
	forged := s.approve("Ove", s.roster("Ove"), follow(b), at(early))
	st := s.judge()
	s.wantRoster(st, "Mara by Mara")
	s.wantRefused(st, forged, "is not in it")
}

func TestTwoPersonsForARoster(t *testing.T) {
	s, a := adopted(t, 2, "allow", "Mara", "Jonas")
	alone := s.approve("Mara", s.roster("Mara", "Jonas", "Ove", "Ulf"), follow(a))
	// Voters of a roster that waits have no vote, also where they are many.
	one := s.approve("Ove", s.roster("Ove", "Ulf"), follow(alone))
	s.approve("Ulf", s.roster("Ove", "Ulf"), follow(alone))
	st := s.judge()
	s.wantRoster(st, "Mara+Jonas by Mara; waits: Mara+Jonas+Ove+Ulf by Mara")
	s.wantRefused(st, one, "is not in it")
	s.approve("Jonas", s.roster("Mara", "Jonas", "Ove", "Ulf"), follow(a))
	s.wantRoster(s.judge(), "Mara+Jonas+Ove+Ulf by Jonas, Mara+Jonas+Ove+Ulf by Mara")
}

func TestDecisionsOfADroppedPersonCountWhereKept(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	old := s.approve("Jonas", s.cond("0.46 bar"), follow(a))
	lost := s.approve("Jonas", s.condOf("8 mm", "0.60 bar"))
	b := s.approve("Mara", s.roster("Mara"), follow(a), keeps(old))
	backdated := s.approve("Jonas", s.cond("0.50 bar"), follow(old), at(s.now.Add(-time.Hour)))
	st := s.judge()
	s.wantCond(st, "0.46 bar by Jonas")
	s.want(st, schema.SubjectCondition, "bay-2/carbon-steel/oxygen/8mm", "nothing")
	s.wantRefused(st, old, "")
	s.wantRefused(st, lost, "is not in it")
	s.wantRefused(st, backdated, "is not in it")

	c := s.approve("Mara", s.roster("Mara", "Petra"), follow(b)) // the next roster need not list it again
	s.wantCond(s.judge(), "0.46 bar by Jonas")
	d := s.approve("Mara", s.roster("Mara", "Jonas"), follow(c)) // back again, all counts
	s.wantCond(s.judge(), "0.50 bar by Jonas")
	s.approve("Mara", s.roster("Mara", "Petra", "Ulf"), follow(d)) // dropped again, and nothing kept this time
	s.wantCond(s.judge(), "0.40 bar by Mara")
}

// Keeps names everything that would stop counting, so that a change of the roster changes nothing else.
func TestKeepsListsWhatWouldBeLost(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	b := s.approve("Jonas", s.cond("0.46 bar"), follow(a))
	c := s.approve("Jonas", s.cond("0.50 bar"), follow(b))
	w := s.withdraw("Jonas", c)
	s.approve("Mara", s.condOf("8 mm", "0.60 bar"))
	s.approve("Ove", s.condOf("3 mm", "0.30 bar"))
	before := s.judge()
	got := before.Keeps(roster("Mara"))
	if want := []string{string(b.Digest), string(w.Digest)}; len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("keeps %v, want %v", got, want)
	}
	s.wantCond(before, "0.46 bar by Jonas")
	s.approve("Mara", s.roster("Mara"), follow(a), func(d *draft) { d.decision.Keeps = schema.Of(got) })
	s.wantCond(s.judge(), "0.46 bar by Jonas") // and the withdrawal still holds
}

func TestWithdrawalByADroppedPersonEndsWhereNotKept(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	b := s.approve("Mara", s.cond("0.46 bar"), follow(a))
	s.withdraw("Jonas", b)
	s.wantCond(s.judge(), "0.40 bar by Mara")
	s.approve("Mara", s.roster("Mara"), follow(a))
	s.wantCond(s.judge(), "0.46 bar by Mara")
}

func TestKeepingTakesAsManyPersonsAsTheRoster(t *testing.T) {
	s, a := adopted(t, 2, "allow", "Mara", "Jonas", "Petra")
	s.approve("Mara", s.cond("0.46 bar"), follow(a))
	old := s.approve("Petra", s.cond("0.46 bar"), follow(a))
	s.approve("Mara", s.roster("Mara", "Jonas"), follow(a), keeps(old))
	s.approve("Jonas", s.roster("Mara", "Jonas"), follow(a))
	s.wantCond(s.judge(), "0.40 bar by Mara; waits: 0.46 bar by Mara") // only one of two kept it
	s.approve("Jonas", s.roster("Mara", "Jonas"), follow(a), keeps(old))
	s.wantCond(s.judge(), "0.46 bar by Mara, 0.46 bar by Petra")
}

func TestAdopterMayLeave(t *testing.T) {
	s, a := adopted(t, 2, "refuse", "Mara", "Jonas", "Petra")
	s.approve("Jonas", s.roster("Jonas", "Petra"), follow(a))
	s.approve("Petra", s.roster("Jonas", "Petra"), follow(a))
	st := s.judge()
	s.wantRoster(st, "Jonas+Petra by Jonas, Jonas+Petra by Petra")
	s.wantSettings(st, "2 refuse by Mara")
	s.wantCond(st, "0.40 bar by Mara")
	if got := st.Keeps(roster("Jonas")); len(got) != 1 || got[0] == string(a.Digest) {
		t.Errorf("a next roster keeps %v, and the adoption needs no keeping", got)
	}
}

func TestKeyThatHadExpired(t *testing.T) {
	s := newShop(t)
	a := s.adopt("Mara", s.roster("Mara", `Jonas valid-before="20260801Z"`), s.settings(1, "allow"), s.cond("0.40 bar"))
	in := s.approve("Jonas", s.cond("0.46 bar"), follow(a), at(time.Date(2026, 7, 31, 23, 0, 0, 0, time.UTC)))
	out := s.approve("Jonas", s.cond("0.50 bar"), follow(in), at(time.Date(2026, 8, 2, 0, 0, 0, 0, time.UTC)))
	st := s.judge()
	s.wantCond(st, "0.46 bar by Jonas")
	s.wantRefused(st, out, "valid until")
}

func TestRostersThatContradictEachOther(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	b := s.approve("Mara", s.roster("Mara", "Jonas", "Petra"), follow(a))
	c := s.approve("Jonas", s.roster("Mara", "Ove"), follow(a))
	petra := s.approve("Petra", s.condOf("8 mm", "0.60 bar"))
	jonas := s.approve("Jonas", s.condOf("3 mm", "0.30 bar"))
	s.approve("Mara", s.cond("0.46 bar"), follow(a))
	st := s.judge()
	s.wantRoster(st, "contested: Mara+Jonas+Petra by Mara, Mara+Ove by Jonas")
	s.wantCond(st, "0.46 bar by Mara") // she stands in both
	s.wantRefused(st, petra, "is not in it")
	s.wantRefused(st, jonas, "is not in it")
	if got := st.Roster.Principals(); len(got) != 1 || got[0] != "Mara" || st.Trouble == "" {
		t.Errorf("roster %v, trouble %q", got, st.Trouble)
	}
	if _, err := st.Person(signer("Jonas").PublicKey(), s.now); err == nil {
		t.Error("Jonas stands in one of two rosters and may decide")
	}
	if p, err := st.Person(signer("Mara").PublicKey(), s.now); err != nil || p != "Mara" {
		t.Errorf("Mara: %q, %v", p, err)
	}
	wrong := s.approve("Jonas", s.roster("Jonas"), follow(b, c))
	st = s.judge()
	s.wantRefused(st, wrong, "is not in it")
	s.approve("Mara", s.roster("Mara", "Jonas"), follow(b, c))
	st = s.judge()
	s.wantRoster(st, "Mara+Jonas by Mara")
	s.want(st, schema.SubjectCondition, "bay-2/carbon-steel/oxygen/3mm", "0.30 bar by Jonas")
}

// A rejected proposal says nothing of who may decide next: Mara is not in it, and goes on.
func TestRejectedRosterDoesNotJudge(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	no := s.reject("Mara", s.roster("Jonas", "Ove"), follow(a))
	s.wantRoster(s.judge(), "Mara+Jonas by Mara")
	s.approve("Mara", s.roster("Mara", "Petra"), follow(a, no))
	s.wantRoster(s.judge(), "Mara+Petra by Mara")
}

// After the roster in force was rejected only those may decide who stood in the one before, too.
func TestRejectionOfTheRosterInForce(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	b := s.approve("Mara", s.roster("Mara", "Ove"), follow(a))
	no := s.reject("Mara", s.roster("Mara", "Ove"), follow(b))
	ove := s.approve("Ove", s.roster("Ove"), follow(no))
	st := s.judge()
	s.wantRoster(st, "nothing")
	s.wantRefused(st, ove, "is not in it")
	if got := st.Roster.Principals(); len(got) != 1 || got[0] != "Mara" || st.Trouble == "" {
		t.Errorf("roster %v, trouble %q", got, st.Trouble)
	}
	s.approve("Mara", s.roster("Mara", "Jonas"), follow(no))
	s.wantRoster(s.judge(), "Mara+Jonas by Mara")
}

func TestRosterThatCannotBeRead(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara")
	bad := schema.List([]string{"* ssh-ed25519 AAAA"})
	subject := schema.Subject{Kind: schema.Of(schema.SubjectRoster), ID: schema.Of(schema.SubjectRoster), Values: schema.Of(bad),
		Digest: schema.Of(string(schema.DigestLines(schema.SubjectRoster, []string{"* ssh-ed25519 AAAA"})))}
	r := s.approve("Mara", subject, follow(a))
	st := s.judge()
	s.wantRoster(st, "Mara by Mara")
	s.wantRefused(st, r, "cannot be read")
}

// A roster without values was made by hand. It must be refused and not end the program.
func TestRosterThatIsGone(t *testing.T) {
	for _, values := range []schema.Member[*schema.Node]{{}, schema.Of(&schema.Node{Kind: schema.Object})} {
		s, a := adopted(t, 1, "allow", "Mara")
		r := s.decide(schema.KindAdoption, "Mara", []schema.Subject{{Kind: schema.Of(schema.SubjectRoster), ID: schema.Of(schema.SubjectRoster), Digest: schema.Of(""), Values: values}})
		q := s.approve("Mara", schema.Subject{Kind: schema.Of(schema.SubjectRoster), ID: schema.Of(schema.SubjectRoster), Digest: schema.Of(string(a.Digest)), Values: values}, follow(a))
		st := s.judge()
		s.wantRoster(st, "Mara by Mara")
		if st.Refused[r.Digest] == "" || st.Refused[q.Digest] == "" {
			t.Errorf("refused: %v", st.Refused)
		}
	}
}

func TestFollow(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	b := s.approve("Mara", s.cond("0.46 bar"), follow(a))
	c := s.approve("Mara", s.roster("Mara", "Jonas", "Petra"), follow(a))
	s.condOf("6 mm", "0.50 bar")
	st := s.judge()
	check := func(what string, subject schema.Subject, want ...*schema.Record) {
		t.Helper()
		got := st.Follow(schema.KindApproval, []schema.Subject{subject})
		in := map[string]bool{}
		for _, d := range got {
			in[d] = true
		}
		for _, r := range want {
			if !in[string(r.Digest)] {
				t.Errorf("%s does not follow the %s of %s", what, r.Kind, r.At.V)
			}
		}
		if len(got) != len(want) {
			t.Errorf("%s follows %d records, want %d", what, len(got), len(want))
		}
	}
	check("a condition", s.cond("0.50 bar"), a, b, c)                         // the settings are still those adopted
	check("another condition", s.condOf("8 mm", "1 bar"), a, c)               // nothing was decided on it
	check("the settings", s.settings(2, "refuse"), a, b, c)                   // everything
	check("the roster", s.roster("Mara"), a, b, c)                            // everything
	for content, want := range map[string]int{"0.46 bar": 3, "0.50 bar": 2} { // its own content, roster and settings
		if got := st.Follow(schema.KindRejection, []schema.Subject{s.cond(content)}); len(got) != want {
			t.Errorf("a rejection of %s follows %d records, want %d", content, len(got), want)
		}
	}
	why := s.reason("Jonas", id6, [][2]string{{"0.46 bar", "0.50 bar"}})
	s.reason("Jonas", id6, [][2]string{{"0.50 bar", "0.46 bar"}})
	st = s.judge()
	check("what has a reason", s.cond("0.50 bar"), a, b, c, why)
	if got := (&history.Standing{}).Follow(schema.KindApproval, []schema.Subject{s.cond("0.50 bar")}); len(got) != 0 {
		t.Errorf("before any decision: %v", got)
	}
}
