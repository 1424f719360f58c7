package hooks_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fettle/hooks"
)

// calls are the hooks for which fettle was started since it was asked last.
func (s *shop) calls() string {
	s.t.Helper()
	all, err := hooks.StatusOf(s.open())
	if err != nil {
		s.t.Fatal(err)
	}
	path := filepath.Join(filepath.Dir(all[0].Program), "calls")
	data, err := os.ReadFile(path)
	if err != nil && !os.IsNotExist(err) {
		s.t.Fatal(err)
	}
	os.Remove(path)
	return strings.Join(strings.Fields(string(data)), " ")
}

// wantCode runs git and checks its exit code and words.
func (s *shop) wantCode(code int, args []string, words ...string) string {
	s.t.Helper()
	out, got := s.git(args...)
	if got != code {
		s.t.Errorf("git %v ended with %d, want %d:\n%s", args, got, code, out)
	}
	s.wantWords(out, words...)
	return out
}

// One process of fettle for every commit, however it is made.
func TestOneProcessForACommit(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	s.calls()
	step := func(want string, args ...string) {
		t.Helper()
		out, code := s.git(args...)
		if got := s.calls(); got != want || code != 0 {
			t.Errorf("git %v (%d) started fettle for %q, want %q\n%s", args, code, got, want, out)
		}
	}
	good := func(pressure string) {
		s.edit(oxygen3, pressure)
		s.reason()
		s.Run("add", "-A")
	}
	good("0.27 bar")
	step("pre-commit", "commit", "-m", "as staged")
	good("0.28 bar")
	s.Run("reset", "-q")
	s.Run("add", "records")
	step("pre-commit", "commit", "-am", "all")
	good("0.27 bar")
	step("pre-commit", "commit", "-m", "named", oxygenSet, "records")
	step("pre-commit", "commit", "--amend", "-m", "said better")
	s.Write("notes.txt", "x")
	s.Run("add", "-A")
	step("pre-commit", "commit", "-m", "no library")
	step("pre-commit", "commit", "--allow-empty", "-m", "empty")
	good("0.28 bar")
	step("prepare-commit-msg", "commit", "--no-verify", "-m", "unchecked")
	s.Run("checkout", "-q", "-b", "side", "HEAD~3")
	s.edit(oxygen6, "0.33 bar")
	s.reason()
	s.Run("add", "-A")
	step("pre-commit", "commit", "-m", "side")
	s.Run("checkout", "-q", "main")
	step("pre-merge-commit", "merge", "--no-edit", "side")
	s.Run("reset", "-q", "--hard", "HEAD~1")
	step("prepare-commit-msg", "cherry-pick", "side")
	s.Run("reset", "-q", "--hard", "HEAD~1")
	s.Run("checkout", "-q", "side")
	step("prepare-commit-msg post-rewrite", "rebase", "main")
	s.Run("checkout", "-q", "main")
	step("post-merge", "merge", "--ff-only", "side")
	// The index of a sha256 repository ends otherwise, an index without a checksum says nothing: then fettle looks twice.
	if marks, _ := filepath.Glob(s.Path(".git/fettle/judged-*")); len(marks) != 1 {
		t.Errorf("marks left: %v", marks)
	}
}

// A hook of somebody else that changes what is committed, after ours has passed it, does not get that past the check.
func TestChangedBehindTheCheck(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	path := s.Path(".git/hooks/pre-commit")
	ours, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path+".ours", ours, 0o755); err != nil {
		t.Fatal(err)
	}
	meddle := "#!/bin/sh\n\"$0.ours\" || exit 1\nsed -i 's/\"0.27 bar\"/\"27 bar\"/' " + oxygenSet + "\ngit add " + oxygenSet + "\n"
	if err := os.WriteFile(path, []byte(meddle), 0o755); err != nil {
		t.Fatal(err)
	}
	s.edit(oxygen3, "0.27 bar")
	s.reason()
	s.Run("add", "-A")
	head := s.head()
	if out, code := s.commit(); code == 0 || s.head() != head {
		t.Errorf("saved %s: %s", s.pressure("HEAD", oxygen3), out)
	}
}

// git commit --no-verify is a choice: it is told what it skipped, and saved.
func TestNoVerify(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	s.edit(oxygen3, "27 bar")
	s.wantPassed([]string{"-a", "--no-verify"}, "pressure-over-line", "no-reason", "saved all the same", "fettle audit --unapproved")
	s.Write("notes.txt", "x")
	s.Run("add", "-A")
	if out := s.wantPassed([]string{"--no-verify"}); out != "" {
		t.Errorf("nothing speaks against it, and it says %q", out)
	}
	s.branch("side", func() { s.edit(oxygen6, "35 bar") })
	s.Write("more.txt", "x")
	s.Run("add", "-A")
	s.wantPassed(nil)
	s.wantCode(0, []string{"merge", "--no-edit", "--no-verify", "side"}, "pressure-over-line", "saved all the same")
}

// Where the other hooks are not ours nothing was skipped on purpose, so the last hook does the work.
func TestOnlyTheLastHook(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	if err := os.WriteFile(s.Path(".git/hooks/pre-commit"), []byte("#!/bin/sh\nexit 0\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	s.edit(oxygen3, "27 bar")
	s.wantStopped([]string{"-a"}, "pressure-over-line", "the commit is stopped")
}

func TestCherryPick(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	s.branch("bad", func() { s.edit(oxygen3, "27 bar"); s.reason() })
	s.branch("unreasoned", func() { s.edit(oxygen3, "0.27 bar") })
	s.branch("good", func() { s.edit(oxygen6, "0.33 bar"); s.reason() })
	head := s.head()
	s.wantCode(0, []string{"cherry-pick", "good"})
	s.Run("reset", "-q", "--hard", head)
	out := s.wantCode(128, []string{"cherry-pick", "bad"}, "pressure-over-line", "the cherry-pick is stopped", "git cherry-pick --abort")
	if strings.Contains(out, "--no-verify") {
		t.Errorf("nobody skipped anything:\n%s", out)
	}
	s.Run("cherry-pick", "--abort")
	if s.head() != head || s.Run("status", "--porcelain") != "" {
		t.Error("what gives up does not")
	}
	// Mended, it goes on as it says.
	s.wantCode(128, []string{"cherry-pick", "unreasoned"}, "no-reason", "git cherry-pick --continue", "fettle reason "+oxygen3)
	s.reason()
	s.Run("add", "-A")
	s.wantCode(0, []string{"cherry-pick", "--continue"})
	if got := s.pressure("HEAD", oxygen3); got != "0.27 bar" {
		t.Errorf("saved %s", got)
	}
	// Several, the second of them bad.
	s.Run("reset", "-q", "--hard", head)
	s.wantCode(128, []string{"cherry-pick", "good", "bad"}, "pressure-over-line")
	s.Run("cherry-pick", "--abort")
	if s.head() != head {
		t.Error("not back where it began")
	}
}

func TestRevert(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	s.edit(oxygen3, "0.27 bar")
	record := s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	head := s.head()
	// Taking a commit back would take its reason out of the history.
	s.wantCode(128, []string{"revert", "--no-edit", "HEAD"}, "record-removed", "the revert is stopped", "git checkout HEAD -- "+record, "git reset --merge")
	if s.head() != head {
		t.Fatal("reverted")
	}
	// What the revert left behind is stopped as well, and what is printed mends it.
	s.wantStopped(nil, "record-removed")
	s.Run("checkout", "HEAD", "--", record)
	s.wantPassed(nil)
	if got := s.pressure("HEAD", oxygen3); got != "0.25 bar" {
		t.Errorf("saved %s", got)
	}
	s.wantCode(128, []string{"revert", "--no-edit", "HEAD"}, "no-reason") // forth again is a change
	s.Run("reset", "-q", "--merge")
	if s.Run("status", "--porcelain") != "" {
		t.Error("what gives up does not")
	}
	// The editor makes no difference, and neither does a list of commits.
	s.wantCode(128, []string{"revert", "HEAD~1"}, "record-removed")
	s.Run("reset", "-q", "--merge")
	before := s.head()
	s.wantCode(128, []string{"revert", "--no-edit", "HEAD", "HEAD~1"}, "no-reason", "git revert --abort")
	s.Run("revert", "--abort")
	if s.head() != before || s.Run("status", "--porcelain") != "" {
		t.Error("what gives up does not")
	}
}

func TestRebase(t *testing.T) {
	t.Parallel()
	for _, how := range []string{"--merge", "--apply"} {
		t.Run(how, func(t *testing.T) {
			s := newShop(t)
			s.branch("bad", func() { s.edit(oxygen3, "27 bar"); s.reason() })
			s.branch("good", func() { s.edit(oxygen3, "0.27 bar"); s.reason() })
			s.Write("notes.txt", "x")
			s.Run("add", "-A")
			s.wantPassed(nil)
			s.Run("checkout", "-q", "good")
			s.wantCode(0, []string{"rebase", "-q", how, "main"})
			if got := s.pressure("HEAD", oxygen3); got != "0.27 bar" {
				t.Errorf("rebased to %s", got)
			}
			s.Run("checkout", "-q", "bad")
			s.wantCode(1, []string{"rebase", "-q", how, "main"}, "pressure-over-line", "the rebase stops here", "git rebase --continue", "git rebase --abort")
			s.wantCode(1, []string{"rebase", "--continue"}, "pressure-over-line")
			s.edit(oxygen3, "0.28 bar")
			s.reason()
			s.Run("add", "-A")
			if how == "--apply" {
				s.wantCode(0, []string{"rebase", "--continue"})
			} else {
				s.wantCode(1, []string{"rebase", "--continue"}, "CONFLICT") // the same step again
				s.wantCode(0, []string{"rebase", "--skip"})
			}
			if got := s.pressure("HEAD", oxygen3); got != "0.28 bar" {
				t.Errorf("rebased to %s", got)
			}
		})
	}
}

func TestRebaseInteractive(t *testing.T) {
	s := newShop(t)
	base := s.head()
	for _, p := range []string{"0.26 bar", "0.27 bar", "0.28 bar"} {
		s.edit(oxygen3, p)
		s.reason()
		s.Run("add", "-A")
		s.wantPassed([]string{"-m", p})
	}
	tip := s.head()
	todo := func(sed string) {
		t.Helper()
		s.Run("reset", "-q", "--hard", tip)
		t.Setenv("GIT_SEQUENCE_EDITOR", "sed -i -e '"+sed+"'")
		s.wantCode(0, []string{"rebase", "-i", base})
		if s.Run("diff", tip) != "" {
			t.Errorf("%s: not the same at the end", sed)
		}
	}
	todo("2s/pick/reword/")
	todo("2s/pick/squash/;3s/pick/fixup/")
	todo("2s/pick/fixup/")
}

// A commit that a rebase drops takes its record along. Nothing stops that here, so it is said, with the way back. Of a rebase that
// makes no commit anew git tells nobody; the gate sees that one.
func TestRebaseDropsRecords(t *testing.T) {
	s := newShop(t)
	base := s.head()
	for _, id := range []string{oxygen3, oxygen6} {
		s.edit(id, "0.28 bar")
		s.reason()
		s.Run("add", "-A")
		s.wantPassed(nil)
	}
	tip := s.head()
	t.Setenv("GIT_SEQUENCE_EDITOR", "sed -i -e 1d")
	out := s.wantCode(0, []string{"rebase", "-i", base}, "left saved records behind")
	for line := range strings.Lines(out) {
		if args := strings.Fields(line); len(args) > 3 && args[0] == "git" && args[1] == "checkout" {
			s.Run(args[1:]...)
		}
	}
	s.wantPassed(nil)
	if out := s.Run("diff", "--stat", tip, "--", "records"); out != "" {
		t.Errorf("records still differ:\n%s", out)
	}
}

func TestAutosquash(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	base := s.head()
	s.edit(oxygen3, "0.26 bar")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	s.edit(oxygen6, "0.33 bar")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	s.edit(oxygen3, "0.27 bar")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed([]string{"--fixup", "HEAD~1"})
	s.wantCode(0, []string{"-c", "sequence.editor=:", "rebase", "-i", "--autosquash", base})
	if got := s.pressure("HEAD~1", oxygen3) + " " + s.pressure("HEAD", oxygen6); got != "0.27 bar 0.33 bar" {
		t.Errorf("saved %s", got)
	}
}

// A rebase that keeps merges makes them anew.
func TestRebaseMerges(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	s.Run("checkout", "-q", "-b", "topic")
	s.Run("checkout", "-q", "-b", "side")
	s.edit(oxygen3, "0.27 bar")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	s.Run("checkout", "-q", "topic")
	s.edit(oxygen6, "0.33 bar")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	s.wantCode(0, []string{"merge", "--no-edit", "side"})
	s.Run("checkout", "-q", "main")
	s.Write("notes.txt", "x")
	s.Run("add", "-A")
	s.wantPassed(nil)
	s.Run("checkout", "-q", "topic")
	s.wantCode(0, []string{"rebase", "-q", "--rebase-merges", "main"})
	if got := s.pressure("HEAD", oxygen3) + " " + s.pressure("HEAD", oxygen6); got != "0.27 bar 0.33 bar" {
		t.Errorf("saved %s", got)
	}
}

func TestApplyPatches(t *testing.T) {
	t.Parallel()
	for name, how := range map[string][]string{"plain": {"am", "-q"}, "three-way": {"am", "-q", "-3"}} {
		t.Run(name, func(t *testing.T) {
			s := newShop(t)
			s.branch("bad", func() { s.edit(oxygen3, "27 bar"); s.reason() })
			s.branch("good", func() { s.edit(oxygen3, "0.27 bar"); s.reason() })
			s.Run("format-patch", "-q", "-1", "good", "-o", s.Path(".git/good"))
			s.Run("format-patch", "-q", "-1", "bad", "-o", s.Path(".git/bad"))
			s.Write("notes.txt", "x")
			s.Run("add", "-A")
			s.wantPassed(nil)
			head := s.head()
			patch := func(of string) string {
				names, _ := filepath.Glob(s.Path(".git/" + of + "/*"))
				return names[0]
			}
			s.wantCode(1, append(how, patch("bad")), "pressure-over-line", "the patch is stopped", "git am --abort")
			s.wantCode(1, []string{"am", "--continue"}, "pressure-over-line")
			s.Run("am", "--abort")
			if s.head() != head || s.Run("status", "--porcelain") != "" {
				t.Error("what gives up does not")
			}
			s.wantCode(0, append(how, patch("good")))
			if got := s.pressure("HEAD", oxygen3); got != "0.27 bar" {
				t.Errorf("saved %s", got)
			}
		})
	}
}
