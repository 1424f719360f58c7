package gittest

import (
	"os"
	"strings"
	"testing"
)

// The ids are what git computes for these commits; they hold the claim that equal steps give equal ids on any machine.
func TestEqualStepsGiveEqualIDs(t *testing.T) {
	build := func() (string, string) {
		repo := New(t)
		repo.Write("sets/bay-2/brass-nitrogen.json", "{}\n")
		first := repo.Commit("one")
		repo.Write("people", "x\n")
		return first, repo.Commit("two", "people")
	}
	a1, a2 := build()
	b1, b2 := build()
	if a1 != b1 || a2 != b2 || a1 == a2 {
		t.Fatalf("two builds gave %s %s and %s %s", a1, a2, b1, b2)
	}
}

func TestMachineSettingsAreOut(t *testing.T) {
	repo := New(t)
	for line := range strings.Lines(repo.Run("config", "--list", "--show-scope")) {
		if !strings.HasPrefix(line, "local\t") {
			t.Errorf("a setting from outside the repository: %s", line)
		}
	}
	if got := repo.Run("var", "GIT_AUTHOR_IDENT"); !strings.HasPrefix(got, Author+" <"+Email+"> ") {
		t.Errorf("author is %q", got)
	}
}

func TestHookRuns(t *testing.T) {
	repo := New(t)
	repo.Hook("pre-commit", "echo no thanks >&2; exit 1")
	out, err := repo.Try("commit", "--allow-empty", "-m", "x")
	if err == nil || !strings.Contains(out, "no thanks") {
		t.Fatalf("got %q, %v", out, err)
	}
}

func TestClone(t *testing.T) {
	repo := New(t)
	repo.Write("a", "1\n")
	head := repo.Commit("one")
	clone := repo.Clone()
	if got := clone.Run("rev-parse", "HEAD"); got != head {
		t.Fatalf("clone is at %s, not %s", got, head)
	}
	if clone.Read("a") != "1\n" {
		t.Fatal("clone lacks the file")
	}
	clone.Remove("a")
	if _, err := os.Stat(clone.Path("a")); !os.IsNotExist(err) {
		t.Fatal(err)
	}
}
