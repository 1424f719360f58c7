package hooks_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fettle/history/git/gittest"
)

// server is a repository that everybody pushes to, which checks nothing itself.
func (s *shop) server() {
	s.t.Helper()
	dir := filepath.Join(gittest.Dir(s.t), "server.git")
	s.Run("init", "-q", "--bare", "-b", "main", dir)
	s.Run("remote", "add", "origin", dir)
	s.Run("push", "-q", "-u", "origin", "main")
}

func (s *shop) shared(branch string) string {
	out, err := s.Try("ls-remote", "origin", "refs/heads/"+branch)
	if err != nil {
		s.t.Fatal(out)
	}
	id, _, _ := strings.Cut(out, "\t")
	return id
}

func TestPush(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	s.server()
	before := s.shared("main")
	good := func(pressure string, since ...string) {
		s.edit(oxygen3, pressure)
		s.reason(since...)
		s.Run("add", "-A")
		s.wantPassed(nil)
	}
	// Without a reason, and then without an approval, main does not take it; a branch of its own does, so that somebody can approve it.
	s.edit(oxygen3, "0.26 bar")
	s.wantPassed([]string{"-a", "--no-verify"})
	s.wantCode(1, []string{"push", "-q"}, "1 change has no reason", oxygen3, "fettle reason --cause WORD --because")
	good("0.265 bar") // explains the step from there on, and not the one before it
	s.wantCode(1, []string{"push", "-q"}, "1 change has no reason")
	good("0.27 bar", "HEAD~2")
	out := s.wantCode(1, []string{"push", "-q"}, "1 change is not approved", oxygen3, "fettle send", "there "+jonas+" looks at it and approves")
	if strings.Contains(out, "no reason") {
		t.Errorf("it has a reason by now:\n%s", out)
	}
	if s.shared("main") != before {
		t.Fatal("shared")
	}
	s.wantCode(0, []string{"push", "-q", "origin", "HEAD:waiting/mara"})
	s.approve(oxygen3, jonas)
	s.Run("add", "-A")
	s.wantPassed(nil)
	s.wantCode(0, []string{"push", "-q"})
	if s.shared("main") == before {
		t.Fatal("not shared")
	}
	before = s.shared("main")
	// What got past the other hooks is stopped here.
	s.edit(oxygen6, "35 bar")
	s.wantPassed([]string{"-a", "--no-verify"})
	s.wantCode(1, []string{"push", "-q"}, "main cannot take this", "pressure-over-line")
	s.wantCode(1, []string{"push", "-q", "origin", "HEAD:main"}, "pressure-over-line")
	s.wantCode(1, []string{"push", "-q", "--force"}, "pressure-over-line")
	if s.shared("main") != before {
		t.Fatal("shared")
	}
	// A branch of one's own takes it, and so does a push that is told not to ask.
	s.wantCode(0, []string{"push", "-q", "origin", "HEAD:waiting/night"})
	s.wantCode(0, []string{"push", "-q", "origin", "HEAD:refs/tags/night"})
	s.wantCode(0, []string{"push", "-q", "--no-verify", "--dry-run"})
	s.wantCode(1, []string{"push", "-q", "origin", "main@{1 second ago}:main", "HEAD:main2"}, "pressure-over-line")
	// An error that a later commit mends is no error of the push.
	s.edit(oxygen6, "0.31 bar")
	s.wantPassed([]string{"-a"})
	s.wantCode(0, []string{"push", "-q"})
	// A record that was saved and shared cannot be pushed away.
	s.Run("rm", "-q", "-r", "records")
	s.wantPassed([]string{"--no-verify"})
	s.wantCode(1, []string{"push", "-q"}, "record")
	s.Run("reset", "-q", "--hard", "HEAD~1")
	// Nothing new, another branch of the same state, a branch removed: nothing to say.
	for _, args := range [][]string{{"push"}, {"push", "origin", "main:other"}, {"push", "origin", ":other"}, {"push", "--tags"}} {
		if out, code := s.git(append(args, "-q")...); code != 0 || out != "" {
			t.Errorf("%v: %d %s", args, code, out)
		}
	}
}

// The protection of the state that is shared counts too, so a push cannot take it away first.
func TestPushTakesProtectionAway(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	s.server()
	settings := s.Read("fettle.json")
	open := strings.Replace(settings, `"protected": ["main"]`, `"protected": ["other"]`, 1)
	if open == settings {
		t.Fatal("the sample protects no branch")
	}
	s.Write("fettle.json", open)
	s.edit(oxygen6, "35 bar")
	s.wantPassed([]string{"-a", "--no-verify"})
	s.wantCode(1, []string{"push", "-q"}, "pressure-over-line")
}

// Where others pushed in between, git says so; this hook does not fail for it.
func TestPushBehind(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	s.server()
	other := *s
	other.Repo = gittest.At(t, filepath.Join(gittest.Dir(t), "other"))
	s.Run("clone", "-q", s.Run("remote", "get-url", "origin"), other.Dir)
	other.Write("notes.txt", "x")
	other.Run("add", "-A")
	other.Run("-c", "user.name=x", "-c", "user.email=x@y", "commit", "-q", "-m", "theirs")
	other.Run("push", "-q")
	s.Write("more.txt", "x")
	s.Run("add", "-A")
	s.wantPassed(nil)
	s.wantCode(1, []string{"push"}, "fetch first")
	s.Run("pull", "-q", "--no-rebase")
	s.wantCode(0, []string{"push", "-q"})
}

// The first push of all, to an empty server.
func TestFirstPush(t *testing.T) {
	t.Parallel()
	for _, bad := range []bool{false, true} {
		s := newShop(t)
		dir := filepath.Join(gittest.Dir(t), "server.git")
		s.Run("init", "-q", "--bare", dir)
		s.edit(oxygen6, "0.33 bar")
		if bad {
			s.edit(oxygen6, "35 bar")
		}
		s.reason() // and no approval
		s.Run("add", "-A")
		s.Run("commit", "-q", "--no-verify", "-m", "x")
		out, code := s.git("push", "-q", dir, "main")
		if (code == 1) != bad || strings.Contains(out, "pressure-over-line") != bad {
			t.Errorf("bad %v: %d\n%s", bad, code, out)
		}
	}
}

// A protected branch that is new takes from the others what they hold, and nothing that nobody approved.
func TestPushToNewProtectedBranch(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	s.server()
	s.Write("fettle.json", strings.Replace(s.Read("fettle.json"), `"protected": ["main"]`, `"protected": ["main", "release/*"]`, 1))
	s.edit(oxygen3, "0.27 bar")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	s.wantCode(1, []string{"push", "-q", "origin", "HEAD:release/2"}, "release/2 cannot take this", oxygen3)
	s.wantCode(0, []string{"push", "-q", "origin", "origin/main:refs/heads/release/1", "HEAD:waiting/mara"})
}

// Managers of hooks that read what git sends hand the branch on in the environment.
func TestPushByManager(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	s.server()
	old := s.head()
	s.edit(oxygen6, "35 bar")
	s.wantPassed([]string{"-a", "--no-verify"})
	cmd := s.Command()
	cmd.Path, cmd.Args = "/bin/sh", []string{"sh", s.Path(".git/hooks/pre-push"), "origin", "url"}
	cmd.Env = append(cmd.Env, "PRE_COMMIT_FROM_REF="+old, "PRE_COMMIT_TO_REF="+s.head(), "PRE_COMMIT_REMOTE_BRANCH=refs/heads/main")
	out, _ := cmd.CombinedOutput()
	if cmd.ProcessState.ExitCode() != 1 || !strings.Contains(string(out), "pressure-over-line") {
		t.Errorf("%d: %s", cmd.ProcessState.ExitCode(), out)
	}
}

// A foreign hook with our line in it still gets what git sends.
func TestPushChained(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	s.server()
	path := s.Path(".git/hooks/pre-push")
	if err := os.WriteFile(path, []byte("#!/bin/sh\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	var line string
	for _, l := range s.install() {
		if _, rest, ok := strings.Cut(l, "\n"); ok && strings.HasPrefix(l, "pre-push") {
			line = rest
		}
	}
	if err := os.WriteFile(path, []byte("#!/bin/sh\n"+line+"\nwhile read a b c d; do echo \"theirs saw $c\"; done\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	if got := states(t, s); got != "installed installed installed chained" {
		t.Errorf("states %s", got)
	}
	s.Write("notes.txt", "x")
	s.Run("add", "-A")
	s.wantPassed(nil)
	s.wantCode(0, []string{"push"}, "theirs saw refs/heads/main")
	s.edit(oxygen6, "35 bar")
	s.wantPassed([]string{"-a", "--no-verify"})
	if out := s.wantCode(1, []string{"push"}, "pressure-over-line"); strings.Contains(out, "theirs") {
		t.Errorf("theirs ran all the same: %s", out)
	}
}

// A branch that only moves forward asks no hook before. What came in is told, and not held up.
func TestPull(t *testing.T) {
	t.Parallel()
	s := newShop(t)
	s.server()
	other := *s
	other.Repo = gittest.At(t, filepath.Join(gittest.Dir(t), "other"))
	s.Run("clone", "-q", s.Run("remote", "get-url", "origin"), other.Dir)
	other.install()
	s.edit(oxygen3, "0.27 bar")
	s.reason()
	s.approve(oxygen3, jonas)
	s.Run("add", "-A")
	s.wantPassed(nil)
	s.Run("push", "-q")
	if out := other.wantCode(0, []string{"pull", "-q", "--ff-only"}); strings.Contains(out, "fettle") {
		t.Errorf("nothing is wrong, and it says %s", out)
	}
	s.edit(oxygen6, "35 bar")
	s.wantPassed([]string{"-a", "--no-verify"})
	s.Run("push", "-q", "--no-verify")
	tip := s.head()
	other.wantCode(0, []string{"pull", "-q", "--ff-only"}, "pressure-over-line", "no-reason", "an edit", gittest.Author, "came in past the check")
	if other.head() != tip {
		t.Error("held up")
	}
}
