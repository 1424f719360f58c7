package git_test

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// state is everything that a failed commit must leave alone.
func state(g *gittest.Repo) string {
	head, _ := g.Try("rev-parse", "-q", "--verify", "HEAD")
	return head + g.Run("ls-files", "-s", "-t") + "\n" + g.Run("status", "--porcelain=v2", "--ignored", "-uall")
}

// changedBy lists what a commit changed.
func changedBy(g *gittest.Repo, id string) string {
	return g.Run("diff-tree", "--root", "--no-commit-id", "--name-status", "--no-renames", "-r", id)
}

func TestCommitPaths(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "a1\n")
	g.Write("sets/b.json", "b1\n")
	g.Write("sets/gone.json", "x\n")
	repo := open(t, g.Dir)
	date := time.Date(2026, 8, 1, 6, 0, 0, 0, time.FixedZone("", 2*3600))
	commit := func(t *testing.T, message string, options git.CommitOptions, paths ...string) string {
		t.Helper()
		id, err := repo.CommitPaths(message, paths, options)
		if err != nil {
			t.Fatal(err)
		}
		if head := g.Run("rev-parse", "HEAD"); head != id {
			t.Errorf("id %s, HEAD %s", id, head)
		}
		return id
	}
	t.Run("first commit, new files", func(t *testing.T) {
		id := commit(t, "first\n\n# not a comment\n", git.CommitOptions{}, "sets/a.json", "sets/gone.json")
		if got := changedBy(g, id); got != "A\tsets/a.json\nA\tsets/gone.json" {
			t.Errorf("changed %q", got)
		}
		if got := g.Run("log", "-1", "--format=%B"); got != "first\n\n# not a comment\n" {
			t.Errorf("message %q", got)
		}
		if got := g.Run("status", "--porcelain", "-uall"); got != "?? sets/b.json" {
			t.Errorf("status %q", got)
		}
	})
	t.Run("what else is staged stays so", func(t *testing.T) {
		g.Write("sets/b.json", "staged\n")
		g.Run("add", "sets/b.json")
		g.Write("sets/b.json", "and edited\n")
		g.Write("sets/a.json", "a2\n")
		g.Write("records/2026/08/r.json", "r\n")
		id := commit(t, "two", git.CommitOptions{}, "sets/a.json", "records/2026/08/r.json")
		if got := changedBy(g, id); got != "A\trecords/2026/08/r.json\nM\tsets/a.json" {
			t.Errorf("changed %q", got)
		}
		if got := g.Run("status", "--porcelain"); got != "AM sets/b.json" || g.Run("show", ":sets/b.json") != "staged" {
			t.Errorf("status %q", got)
		}
	})
	t.Run("staged differently from the disk", func(t *testing.T) {
		commit(t, "three", git.CommitOptions{}, "sets/b.json")
		if got := g.Run("show", "HEAD:sets/b.json"); got != "and edited" {
			t.Errorf("saved %q", got)
		}
	})
	t.Run("removed files", func(t *testing.T) {
		g.Remove("sets/gone.json")
		id := commit(t, "four", git.CommitOptions{}, "sets/gone.json")
		if got := changedBy(g, id); got != "D\tsets/gone.json" {
			t.Errorf("changed %q", got)
		}
		g.Run("rm", "-q", "--cached", "sets/b.json")
		g.Remove("sets/b.json")
		id = commit(t, "five", git.CommitOptions{}, "sets/b.json")
		if got := changedBy(g, id); got != "D\tsets/b.json" {
			t.Errorf("changed %q", got)
		}
	})
	t.Run("announced file", func(t *testing.T) {
		g.Write("sets/later.json", "later\n")
		g.Run("add", "-N", "sets/later.json")
		id := commit(t, "six", git.CommitOptions{}, "sets/later.json")
		if got := changedBy(g, id); got != "A\tsets/later.json" {
			t.Errorf("changed %q", got)
		}
	})
	t.Run("awkward names, a directory", func(t *testing.T) {
		writeAwkward(g)
		g.Write("sets/bay-2/swap.tmp", "ignored\n")
		g.Write(".gitignore", "*.tmp\n")
		commit(t, "seven", git.CommitOptions{}, "sets", "-n", "sets.json")
		if got := g.Run("status", "--porcelain", "-uall"); got != "?? .gitignore\n?? sets-old/c.json" {
			t.Errorf("status %q", got)
		}
		// A pattern is a name here.
		g.Write("sets/*.json", "star\n")
		g.Write("sets/a.json", "not this one\n")
		id := commit(t, "eight", git.CommitOptions{}, "sets/*.json")
		if got := changedBy(g, id); got != "M\tsets/*.json" {
			t.Errorf("changed %q", got)
		}
	})
	t.Run("author, date, environment", func(t *testing.T) {
		g.Write("sets/a.json", "a9\n")
		commit(t, "-m looks like an option", git.CommitOptions{Author: "Jonas Falk <jonas@northgate.example>", Date: date, Env: []string{"GIT_COMMITTER_NAME=The Office"}}, "sets/a.json")
		want := "Jonas Falk <jonas@northgate.example> 2026-08-01T06:00:00+02:00|The Office <" + gittest.Email + "> 2026-08-01T06:00:00+02:00|-m looks like an option"
		if got := g.Run("log", "-1", "--format=%an <%ae> %aI|%cn <%ce> %cI|%s"); got != want {
			t.Errorf("got  %s\nwant %s", got, want)
		}
	})
	t.Run("long message in another encoding than the settings say", func(t *testing.T) {
		// One argument holds 128 KiB on Linux.
		g.Run("config", "i18n.commitEncoding", "ISO-8859-1")
		g.Run("config", "core.commentChar", "G")
		g.Write("sets/a.json", "long\n")
		message := "Größe\n\n" + strings.Repeat("Grund: 0,36 µm, größer als zuvor\n", 10000)
		id := commit(t, message, git.CommitOptions{}, "sets/a.json")
		g.Run("config", "--unset", "i18n.commitEncoding")
		if got := g.Run("log", "-1", "--format=%B"); got != message {
			t.Errorf("%d bytes of message became %d: %.40q", len(message), len(got), got)
		}
		if entry := must(repo.Log(git.LogOptions{Revs: []string{id}, MaxCount: 1}))(t)[0]; entry.Message != message || entry.Subject != "Größe" {
			t.Errorf("read back %.40q", entry.Message)
		}
	})
	t.Run("detached", func(t *testing.T) {
		g.Run("checkout", "-q", "--detach")
		g.Write("sets/a.json", "detached\n")
		commit(t, "ten", git.CommitOptions{}, "sets/a.json")
		g.Run("checkout", "-q", "main")
	})
}

// More paths than a command line holds, with a message longer than one argument may be, and nothing left behind in the
// directory for temporary files.
func TestCommitManyFiles(t *testing.T) {
	g := gittest.New(t)
	g.Write("sets/a.json", "a\n")
	g.Commit("one")
	g.Remove("sets/a.json")
	var paths []string
	for i := range 300 {
		paths = append(paths, fmt.Sprintf("records/2026/09/%s-%04d.json", strings.Repeat("long", 20), i))
		g.Write(paths[i], "{}\n")
	}
	temporary := t.TempDir()
	t.Setenv("TMPDIR", temporary)
	message := "two\n\n" + strings.Repeat("why\n", 50000)
	id, err := open(t, g.Dir).CommitPaths(message, append(paths, "sets/a.json"), git.CommitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := changedBy(g, id), "A\t"+strings.Join(paths, "\nA\t")+"\nD\tsets/a.json"; got != want {
		t.Errorf("%d files saved", strings.Count(got, "\n")+1)
	}
	if got := g.Run("log", "-1", "--format=%B"); got != message {
		t.Errorf("message of %d bytes", len(got))
	}
	if left, err := os.ReadDir(temporary); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v %v", left, err)
	}
}
