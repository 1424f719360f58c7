package git_test

import (
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

func TestCommitInTheMiddleOfAMerge(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "1\n")
	g.Commit("one")
	g.Run("checkout", "-q", "-b", "side")
	g.Write("sets/a.json", "side\n")
	g.Commit("side")
	g.Run("checkout", "-q", "main")
	g.Write("sets/a.json", "main\n")
	g.Commit("main")
	repo := open(t, g.Dir)
	for begin, end := range map[string]string{"merge side": "merge --abort", "cherry-pick side": "cherry-pick --abort", "revert HEAD^": "revert --abort", "rebase side": "rebase --abort"} {
		t.Run(begin, func(t *testing.T) {
			if out, err := g.Try(strings.Fields(begin)...); err == nil {
				t.Fatalf("no conflict: %s", out)
			}
			head := g.Run("rev-parse", "HEAD")
			g.Write("records/r.json", "r\n")
			_, err := repo.CommitPaths("x", []string{"records/r.json"}, git.CommitOptions{})
			wantKind(t, err, git.ErrStagedOnly)
			if g.Run("rev-parse", "HEAD") != head || g.Run("ls-files", "records") != "records/r.json" {
				t.Error("it should be staged and no more")
			}
			conflict := g.Run("ls-files", "-s")
			_, err = repo.CommitPaths("x", []string{"records/r.json", "sets/a.json"}, git.CommitOptions{})
			if wantKind(t, err, git.ErrUnmerged); g.Run("ls-files", "-s") != conflict {
				t.Error("a conflict that nobody settled was staged")
			}
			g.Run("rm", "-q", "-f", "records/r.json")
			g.Run(strings.Fields(end)...)
		})
	}
}

// A stash that could not be put back leaves conflicts without any work under way. git then saves other files as always,
// and so does CommitPaths; the file in conflict is refused until somebody says that it is settled, because git would take it
// with the marks of the conflict in it.
func TestCommitBesideAConflict(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "1\n")
	g.Write("sets/b.json", "1\n")
	g.Commit("one")
	g.Write("sets/a.json", "stashed\n")
	g.Run("stash", "-q")
	g.Write("sets/a.json", "other\n")
	g.Commit("other")
	if _, err := g.Try("stash", "pop"); err == nil {
		t.Fatal("no conflict")
	}
	repo := open(t, g.Dir)
	conflict := g.Run("ls-files", "-u")
	marked := g.Read("sets/a.json")
	if conflict == "" || !strings.Contains(marked, "<<<<<<<") {
		t.Fatalf("no conflict: %q %q", conflict, marked)
	}

	g.Write("records/r.json", "r\n")
	g.Write("sets/b.json", "2\n")
	for _, paths := range [][]string{{"sets/a.json"}, {"records/r.json", "sets"}} {
		before := state(g)
		_, err := repo.CommitPaths("x", paths, git.CommitOptions{})
		if e := wantKind(t, err, git.ErrUnmerged); len(e.Paths) != 1 || e.Paths[0] != "sets/a.json" || !strings.Contains(e.Help, "git add") {
			t.Errorf("%v %v", e, e.Paths)
		}
		if after := state(g); after != before {
			t.Errorf("left its mark:\n%s\nbefore:\n%s", after, before)
		}
	}
	g.Hook("pre-commit", "exit 1")
	before := state(g)
	_, err := repo.CommitPaths("x", []string{"records/r.json", "sets/b.json"}, git.CommitOptions{})
	wantKind(t, err, git.ErrRefused)
	if after := state(g); after != before {
		t.Errorf("left its mark:\n%s\nbefore:\n%s", after, before)
	}
	g.Remove(".git/hooks/pre-commit")

	id, err := repo.CommitPaths("x", []string{"records/r.json", "sets/b.json"}, git.CommitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if got := changedBy(g, id); got != "A\trecords/r.json\nM\tsets/b.json" {
		t.Errorf("changed %q", got)
	}
	if g.Run("ls-files", "-u") != conflict || g.Read("sets/a.json") != marked || g.Run("status", "--porcelain") != "UU sets/a.json" {
		t.Errorf("the conflict is not as it was: %s", g.Run("status", "--porcelain"))
	}

	g.Write("sets/a.json", "settled\n")
	if err := repo.Add("sets/a.json"); err != nil {
		t.Fatal(err)
	}
	if id, err = repo.CommitPaths("y", []string{"sets/a.json"}, git.CommitOptions{}); err != nil || changedBy(g, id) != "M\tsets/a.json" {
		t.Errorf("%s %v", id, err)
	}
}
