package hooks_test

import (
	"testing"

	"fettle/hooks"
)

// unexplained are the conditions of the last commit that lack a reason, as status tells them.
func (s *shop) unexplained() int {
	s.t.Helper()
	saved := s.saved("HEAD")
	open, err := hooks.UnexplainedIn(s.open(), "", "HEAD", saved, saved.Ledger.Judge(libraryName, ""))
	if err != nil {
		s.t.Fatal(err)
	}
	return len(open)
}

// fellTwice is a branch with two reasoned edits of one condition, and main with a reasoned edit of another value of it since.
func fellTwice(s *shop) (base string) {
	base = s.head()
	s.Run("checkout", "-q", "-b", "topic")
	for _, pressure := range []string{"0.26 bar", "0.27 bar"} {
		s.edit(oxygen3, pressure)
		s.reason()
		s.Run("add", "-A")
		s.wantPassed([]string{"-m", pressure})
	}
	s.Run("checkout", "-q", "main")
	s.replace(oxygen3, `"power": "`, "1.85 kW")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed([]string{"-m", "power"})
	s.Run("checkout", "-q", "topic")
	return base
}

// Steps that were explained are made again by a rebase on a recipe that changed elsewhere: each value goes from and to what its reason
// says, so nobody is asked anew. Hook, gate and status agree.
func TestRebaseOnAnotherRecipe(t *testing.T) {
	t.Parallel()
	for _, how := range []string{"--merge", "--apply"} {
		t.Run(how, func(t *testing.T) {
			t.Parallel()
			s := newShop(t)
			fellTwice(s)
			s.wantCode(0, []string{"rebase", "-q", how, "main"})
			if got := s.pressure("HEAD", oxygen3) + " " + s.pressure("HEAD~1", oxygen3); got != "0.27 bar 0.26 bar" {
				t.Fatalf("rebased to %s", got)
			}
			if n := s.unexplained(); n != 0 {
				t.Errorf("status asks for %d reasons", n)
			}
			if got := rules(s.judge(main, s.Run("rev-parse", "main"), s.head())); got != "unapproved 3mm" {
				t.Errorf("the gate says %q", got)
			}
			// Squashed on top of it, too.
			s.Run("reset", "-q", "--soft", "main")
			s.wantPassed([]string{"-m", "both"})
			if got := rules(s.judge(main, s.Run("rev-parse", "main"), s.head())); got != "unapproved 3mm" {
				t.Errorf("squashed, the gate says %q", got)
			}
			if n := s.unexplained(); n != 0 {
				t.Errorf("squashed, status asks for %d reasons", n)
			}
			// Another value than the one that was explained is another change.
			s.Run("reset", "-q", "--soft", "main")
			s.edit(oxygen3, "0.28 bar")
			s.Run("add", "-A")
			s.wantStopped(nil, "no-reason")
		})
	}
}

// A cherry-pick makes a step again as well, but for one whose value was another one before.
func TestCherryPickOnAnotherRecipe(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	fellTwice(s)
	s.Run("checkout", "-q", "main")
	s.wantCode(0, []string{"cherry-pick", "topic~1"})
	s.wantCode(0, []string{"cherry-pick", "topic"})
	if got := s.pressure("HEAD", oxygen3); got != "0.27 bar" {
		t.Fatalf("picked %s", got)
	}
	if n := s.unexplained(); n != 0 {
		t.Errorf("status asks for %d reasons", n)
	}
	// From another value than the one that a reason names it is another change.
	s.Run("reset", "-q", "--hard", "HEAD~2")
	s.edit(oxygen3, "0.24 bar")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	s.edit(oxygen6, "0.33 bar") // so that nobody can think that the one before is amended
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	s.wantCode(1, []string{"cherry-pick", "topic"}, "CONFLICT")
	s.Run("checkout", "--theirs", "--", oxygenSet)
	s.edit(oxygen3, "0.27 bar")
	s.replace(oxygen3, `"power": "`, "1.85 kW")
	s.edit(oxygen6, "0.33 bar")
	s.Run("add", "-A")
	s.wantCode(1, []string{"-c", "core.editor=:", "cherry-pick", "--continue"}, "no-reason")
}

// What got past the hook without a reason stays without one when a later edit has its own: status and gate say the same.
func TestReasonHidesNoStepBeforeIt(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	base := s.head()
	s.replace(oxygen3, `"power": "`, "1.85 kW")
	s.keep("past the hook")
	s.edit(oxygen3, "0.26 bar")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	if n := s.unexplained(); n != 1 {
		t.Errorf("status names %d conditions", n)
	}
	if got := rules(s.judge(main, base, s.head())); got != "no-reason 3mm, unapproved 3mm" {
		t.Errorf("the gate says %q", got)
	}
}

// A merge of two reasoned edits, and a reasoned edit of what came of it.
func TestEditAfterAMerge(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	base := s.head()
	s.branch("side", func() { s.edit(oxygen3, "0.27 bar"); s.reason() })
	s.replace(oxygen3, `"power": "`, "1.85 kW")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	s.wantCode(0, []string{"merge", "-q", "--no-edit", "side"})
	s.replace(oxygen3, `"speed": "`, "3.5 m/min")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	if n := s.unexplained(); n != 0 {
		t.Errorf("status asks for %d reasons", n)
	}
	if got := rules(s.judge(main, base, s.head())); got != "unapproved 3mm" {
		t.Errorf("the gate says %q", got)
	}
}
