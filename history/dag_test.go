package history_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fettle/history"
	"fettle/schema"
)

var (
	crew      = []string{"Mara", "Jonas", "Petra"} // in the roster
	outsiders = []string{"Ove", "Ulf"}
	pressures = []string{"0.40 bar", "0.46 bar", "0.50 bar", "0.60 bar"}
)

// randomDecisions draws decisions on one condition after the adoption, each in sight of any earlier ones.
func randomDecisions(t *rapid.T, s *shop, persons []string, most int) []*schema.Record {
	var drawn []*schema.Record
	for i := range rapid.IntRange(0, most).Draw(t, "decisions") {
		by := rapid.SampledFrom(persons).Draw(t, "by")
		subject := s.cond(rapid.SampledFrom(pressures).Draw(t, "pressure"))
		var behind []*schema.Record
		for _, r := range s.records {
			if r.Kind != schema.KindWithdrawal && rapid.IntRange(0, 2).Draw(t, fmt.Sprint("follows ", i)) == 0 {
				behind = append(behind, r)
			}
		}
		switch rapid.IntRange(0, 5).Draw(t, "kind") {
		case 0:
			drawn = append(drawn, s.reject(by, subject, follow(behind...)))
		case 1:
			drawn = append(drawn, s.withdraw(by, s.records[rapid.IntRange(0, len(s.records)-1).Draw(t, "target")]))
		default:
			drawn = append(drawn, s.approve(by, subject, follow(behind...)))
		}
	}
	return drawn
}

// everything writes a standing down: each subject, the roster, the policy.
func (s *shop) everything(st *history.Standing) string {
	var b strings.Builder
	for _, kind := range [][2]string{{schema.SubjectRoster, schema.SubjectRoster}, {schema.SubjectSettings, schema.SubjectSettings}, {schema.SubjectCondition, id6}} {
		state := st.State(kind[0], kind[1])
		var heads []string
		for _, h := range state.Heads {
			heads = append(heads, h.Record.Digest.Short())
		}
		fmt.Fprintln(&b, kind[1], s.says(state), heads)
	}
	fmt.Fprintln(&b, st.Roster.Principals(), st.Settings.Policy.V.ApprovalsNeeded(), st.Settings.Policy.V.OwnChangeAllowed(), st.Trouble)
	return b.String()
}

func randomShop(t *rapid.T, outer testing.TB) *shop {
	s, _ := adopted(outer, rapid.IntRange(1, 3).Draw(t, "approvals"), rapid.SampledFrom([]string{"allow", "refuse"}).Draw(t, "own"), crew...)
	return s
}

func TestStandingDoesNotDependOnTheOrderOfFiles(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := randomShop(rt, t)
		randomDecisions(rt, s, slices.Concat(crew, outsiders), 10)
		randomCharter(rt, s, 4)
		want := s.everything(s.judge())
		order := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 0))
		for range 3 {
			shuffled := slices.Clone(s.records)
			order.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
			if got := s.everything(history.NewLedger(shuffled).Judge(northgate, "")); got != want {
				rt.Fatalf("in another order:\n%s\ninstead of\n%s", got, want)
			}
		}
	})
}

// randomCharter draws decisions on roster and settings.
func randomCharter(t *rapid.T, s *shop, most int) {
	for range rapid.IntRange(0, most).Draw(t, "charter") {
		by := rapid.SampledFrom(slices.Concat(crew, outsiders)).Draw(t, "by")
		var subject schema.Subject
		if rapid.Bool().Draw(t, "roster") {
			names := rapid.SliceOfNDistinct(rapid.SampledFrom(slices.Concat(crew, outsiders)), 1, 4, rapid.ID[string]).Draw(t, "names")
			slices.Sort(names)
			subject = s.roster(names...)
		} else {
			subject = s.settings(rapid.IntRange(1, 3).Draw(t, "approvals"), rapid.SampledFrom([]string{"allow", "refuse"}).Draw(t, "own"))
		}
		var behind []*schema.Record
		for _, r := range s.records {
			if rapid.IntRange(0, 2).Draw(t, "follows") == 0 {
				behind = append(behind, r)
			}
		}
		if rapid.IntRange(0, 4).Draw(t, "rejects") == 0 {
			s.reject(by, subject, follow(behind...))
		} else {
			s.approve(by, subject, follow(behind...))
		}
	}
}

func TestWhatIsInForceIsOneRecipeByMembers(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := randomShop(rt, t)
		randomDecisions(rt, s, slices.Concat(crew, outsiders), 12)
		st := s.judge()
		state := st.State(schema.SubjectCondition, id6)
		who := map[string]bool{}
		adoption := false
		for _, d := range state.InForce {
			if d.Digest() != state.InForce[0].Digest() {
				rt.Fatal("two recipes in force")
			}
			if !slices.Contains(crew, d.Person) || !strings.EqualFold(d.Record.By.V, d.Person) {
				rt.Fatalf("in force by %s", d.Person)
			}
			if d.Record.Kind == schema.KindRejection || st.Refused[d.Record.Digest] != "" || st.Withdrawn[d.Record.Digest] != nil && d.Record != st.Anchor {
				rt.Fatalf("in force by a %s that does not count", d.Record.Kind)
			}
			who[d.Person] = true
			adoption = adoption || d.Record.Kind == schema.KindAdoption
		}
		if n := len(who); n > 0 && !adoption && n < st.Settings.Policy.V.ApprovalsNeeded() {
			rt.Fatalf("in force by %d persons", n)
		}
		if len(state.InForce) > 0 && len(state.Contested) > 0 {
			rt.Fatal("in force and contested")
		}
		if len(state.Heads) == 0 {
			rt.Fatal("no heads, though something was adopted")
		}
		for _, h := range slices.Concat(state.Heads, state.Pending, state.Contested) {
			if slices.Contains(outsiders, h.Person) {
				rt.Fatalf("%s has a say", h.Person)
			}
		}
	})
}

// Whatever an outsider adds, nothing moves: decisions, rosters, settings, withdrawals, adoptions that know the first one.
func TestOutsidersChangeNothing(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := randomShop(rt, t)
		randomDecisions(rt, s, crew, 8)
		want := s.everything(s.judge())
		inside := len(s.records)
		randomDecisions(rt, s, outsiders, 4)
		s.approve("Ove", s.roster("Ove"), follow(s.records...))
		s.approve("Ulf", s.settings(1, "allow"), follow(s.records...))
		s.decide(schema.KindAdoption, "Ulf", []schema.Subject{s.roster("Ulf"), s.cond("0.60 bar")}, follow(s.records[0]))
		s.approve("Mara", s.cond("0.60 bar"), follow(s.records[:inside]...), unsigned)
		s.approve("Mara", s.cond("0.60 bar"), follow(s.records[:inside]...), of(elsewhere))
		if got := s.everything(s.judge()); got != want {
			rt.Fatalf("with what counts for nothing:\n%s\nwithout\n%s", got, want)
		}
	})
}

// A decision that follows everything settles everything, if there is nobody else to ask.
func TestDecisionThatFollowsAllSettlesAll(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s, _ := adopted(t, 1, "allow", crew...)
		randomDecisions(rt, s, slices.Concat(crew, outsiders), 10)
		subject := s.cond("0.55 bar")
		s.approve("Jonas", subject, func(d *draft) {
			d.common.Follows = schema.Of(s.judge().Follow(schema.KindApproval, []schema.Subject{subject}))
		})
		s.wantCond(s.judge(), "0.55 bar by Jonas")
	})
}

// The fold against a second one, written from the words of the rule and nothing else, for one person being enough.
func TestFoldAgainstItsWords(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s, _ := adopted(t, 1, "allow", crew...)
		randomDecisions(rt, s, crew, 9)
		st := s.judge()
		taken := map[schema.Digest]bool{}
		for _, r := range s.records {
			if w, ok := r.Body.(*schema.Withdrawal); ok && w.Record.V != string(s.records[0].Digest) {
				taken[schema.Digest(w.Record.V)] = true // one person is enough for that, too
			}
		}
		var decisions []*schema.Record
		for _, r := range s.records {
			if r.Kind != schema.KindWithdrawal && !taken[r.Digest] {
				decisions = append(decisions, r)
			}
		}
		content := func(r *schema.Record) string {
			for i := range r.Body.(*schema.Decision).Subjects.V {
				if sub := r.Body.(*schema.Decision).Subjects.V[i]; sub.ID.V == id6 {
					return sub.Digest.V
				}
			}
			return "?"
		}
		// later reports whether b was made in sight of a, over any number of steps.
		var later func(b, a *schema.Record) bool
		later = func(b, a *schema.Record) bool {
			for _, f := range b.Follows.V {
				for _, r := range s.records {
					if string(r.Digest) == f && (r == a || later(r, a)) {
						return true
					}
				}
			}
			return false
		}
		yes, no := map[string]bool{}, map[string]bool{}
		for _, a := range decisions {
			answered := false
			for _, b := range decisions {
				if later(b, a) && (b.Kind != schema.KindRejection || content(b) == content(a)) {
					answered = true
				}
			}
			switch {
			case answered:
			case a.Kind == schema.KindRejection:
				no[content(a)] = true
			default:
				yes[content(a)] = true
			}
		}
		want := "nothing"
		for c := range yes {
			if want = c; len(yes) > 1 || no[c] {
				want = "contested"
				break
			}
		}
		state := st.State(schema.SubjectCondition, id6)
		got := "nothing"
		if d, ok := state.Digest(); ok {
			got = string(d)
		}
		if len(state.Contested) > 0 {
			got = "contested"
		}
		if got != want {
			rt.Fatalf("%s; by the words of the rule %s", got, want)
		}
	})
}
