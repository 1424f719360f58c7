package git_test

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"strings"
	"testing"
	"time"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// saveVariable makes the test binary save the files that its arguments name in the repository that the variable names.
const saveVariable = "FETTLE_GIT_SAVE"

// longMessage is more than a pipe holds.
var longMessage = "by the helper\n\n" + strings.Repeat("why\n", 50000)

func runSave(dir string, paths []string) int {
	repo, err := git.Open(dir)
	if err != nil {
		return 2
	}
	if _, err := repo.CommitPaths(longMessage, paths, git.CommitOptions{Output: os.Stderr}); err != nil {
		return 1
	}
	return 0
}

// interrupted is a repository with an edited, a new and a staged file, and a hook that says when it has begun and then
// waits until it is told to go on.
func interrupted(t *testing.T, then string) *gittest.Repo {
	g := gittest.New(t)
	g.Write("sets/a.json", "1\n")
	g.Commit("one")
	g.Write("sets/a.json", "2\n")
	g.Write("sets/new.json", "2\n")
	g.Write("sets/staged.json", "2\n")
	g.Run("add", "sets/staged.json")
	// The hook of a git that was stopped goes on alone: it ends with the repository too.
	g.Hook("pre-commit", ": > .git/begun; while [ -e .git/begun ] && [ ! -e .git/go ]; do sleep 0.05; done; "+then)
	return g
}

// await waits for something that another process does.
func await(t *testing.T, what string, done func() bool) {
	t.Helper()
	for range 1200 {
		if done() {
			return
		}
		time.Sleep(25 * time.Millisecond)
	}
	t.Fatalf("waited in vain until %s", what)
}

func exists(g *gittest.Repo, path string) func() bool {
	return func() bool { _, err := os.Stat(g.Path(path)); return err == nil }
}

// When this program is killed, git goes on without it and ends as it always does: no lock is left, and the commit is there
// whole or not at all.
func TestKilledWhileSaving(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		hook  string
		saved bool
	}{
		"hook passes":                    {"exit 0", true},
		"hook refuses":                   {"exit 1", false},
		"hook prints to nobody and dies": {"echo words; echo words >&2", false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			g := interrupted(t, c.hook+"\n")
			before := g.Run("rev-parse", "HEAD")
			self, err := os.Executable()
			if err != nil {
				t.Fatal(err)
			}
			helper := exec.Command(self, "sets/a.json", "sets/new.json")
			helper.Env = append(os.Environ(), saveVariable+"="+g.Dir, "TMPDIR="+t.TempDir())
			if err := helper.Start(); err != nil {
				t.Fatal(err)
			}
			await(t, "the hook begins", exists(g, ".git/begun"))
			if len(locks(t, g)) == 0 {
				t.Error("git holds no lock: the test tests nothing")
			}
			if err := helper.Process.Kill(); err != nil {
				t.Fatal(err)
			}
			_ = helper.Wait()
			g.Write(".git/go", "")
			await(t, "git has ended", func() bool { return len(locks(t, g)) == 0 })
			g.Run("fsck", "--strict")

			head := g.Run("rev-parse", "HEAD")
			if (head != before) != c.saved {
				t.Errorf("HEAD was %s and is %s", before, head)
			}
			if g.Read("sets/a.json") != "2\n" || g.Read("sets/new.json") != "2\n" || g.Run("show", ":sets/staged.json") != "2" {
				t.Error("an edit was lost")
			}
			g.Remove(".git/hooks/pre-commit")
			if c.saved && g.Run("log", "-1", "--format=%B") != longMessage {
				t.Error("part of the message was saved")
			}
			if !c.saved {
				if head, err = open(t, g.Dir).CommitPaths("again", []string{"sets/a.json", "sets/new.json"}, git.CommitOptions{}); err != nil {
					t.Fatal(err)
				}
			}
			if got := changedBy(g, head); got != "M\tsets/a.json\nA\tsets/new.json" {
				t.Errorf("changed %q", got)
			}
			if got := g.Run("status", "--porcelain"); got != "A  sets/staged.json" {
				t.Errorf("status %q", got)
			}
		})
	}
}

// A cancelled commit lets git take its locks away, and the index is as it was before.
func TestCancelledWhileSaving(t *testing.T) {
	t.Parallel()
	g := interrupted(t, "exit 0")
	before := state(g)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	go func() {
		for range 1200 {
			if exists(g, ".git/begun")() {
				break
			}
			time.Sleep(25 * time.Millisecond)
		}
		cancel()
	}()
	hash, err := open(t, g.Dir).WithContext(ctx).CommitPaths("x", []string{"sets/a.json", "sets/new.json"}, git.CommitOptions{})
	if !errors.Is(err, context.Canceled) || hash != "" {
		t.Errorf("%q %v", hash, err)
	}
	wantNoLock(t, g)
	if after := state(g); after != before {
		t.Errorf("left its mark:\n%s\nbefore:\n%s", after, before)
	}
}

// A hook may leave a program running that holds the output open. The commit was made all the same.
func TestHookLeavesAProgramBehind(t *testing.T) {
	t.Parallel()
	g := interrupted(t, "exit 0")
	g.Write(".git/go", "")
	g.Hook("post-commit", "sleep 20 & echo $! > .git/left")
	id, err := open(t, g.Dir).CommitPaths("x", []string{"sets/a.json", "sets/new.json"}, git.CommitOptions{})
	if err != nil || changedBy(g, id) != "M\tsets/a.json\nA\tsets/new.json" {
		t.Errorf("%q %v", id, err)
	}
	if got := g.Run("status", "--porcelain"); got != "A  sets/staged.json" {
		t.Errorf("status %q", got)
	}
	end := exec.Command("sh", "-c", `kill "$(cat .git/left)"`)
	end.Dir = g.Dir
	if err := end.Run(); err != nil {
		t.Error(err)
	}
}

// git moves the branch first and writes the index after that. If it cannot write it, the commit is there, and an index that
// does not know of it would take the change back with the next commit.
func TestIndexBehind(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		damage string
		kind   error
	}{
		"for a moment": {"rm -f .git/index.lock", nil},
		"for longer":   {"rm -f .git/index.lock; mkdir .git/index.lock", git.ErrIndexBehind},
	} {
		t.Run(name, func(t *testing.T) {
			g := interrupted(t, "exit 0")
			g.Write(".git/go", "")
			g.Hook("reference-transaction", `test "$1" = committed && { `+c.damage+`; }; exit 0`)
			id, err := open(t, g.Dir).CommitPaths("x", []string{"sets/a.json", "sets/new.json"}, git.CommitOptions{})
			if !errors.Is(err, c.kind) {
				t.Fatalf("%v, want %v", err, c.kind)
			}
			if id != g.Run("rev-parse", "HEAD") || changedBy(g, id) != "M\tsets/a.json\nA\tsets/new.json" {
				t.Errorf("%q", id)
			}
			if c.kind != nil {
				g.Remove(".git/index.lock")
				// What the person is told to type.
				g.Run("reset", "-q", "--", "sets/a.json", "sets/new.json")
			}
			if got := g.Run("status", "--porcelain"); got != "A  sets/staged.json" {
				t.Errorf("status %q", got)
			}
		})
	}
}
