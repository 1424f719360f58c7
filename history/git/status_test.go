package git_test

import (
	"fmt"
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// The words of FileStatus against the two letters of the first porcelain form, which git-status(1) describes.
func TestStatusAgainstGit(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	writeAwkward(g)
	for _, f := range []string{"staged", "edited", "both", "gone", "gone-staged", "recreated"} {
		g.Write("sets/"+f, "1\n")
	}
	g.Write(".gitignore", "*.tmp\n")
	g.Commit("one")
	g.Run("config", "status.relativePaths", "true")
	g.Run("config", "status.showUntrackedFiles", "no")
	g.Run("config", "status.branch", "true")
	for _, f := range []string{"staged", "both"} {
		g.Write("sets/"+f, "2\n")
	}
	g.Write("sets/added", "2\n")
	g.Run("rm", "-q", "sets/gone-staged")
	g.Run("rm", "-q", "--cached", "sets/recreated")
	g.Run("mv", "sets/line\nfeed.json", "sets/moved\njson")
	g.Run("add", "sets/staged", "sets/both", "sets/added")
	for _, f := range []string{"edited", "both", "*.json", "deep/new", "deep/x.tmp"} {
		g.Write("sets/"+f, "3\n")
	}
	g.Remove("sets/gone")
	check := func(t *testing.T, under ...string) {
		t.Helper()
		got := map[string]string{}
		for _, s := range must(open(t, g.Dir).Status(under...))(t) {
			got[s.Path] += describe(s)
		}
		want := map[string]string{}
		args := append([]string{"--literal-pathspecs", "status", "--porcelain=v1", "-z", "-uall", "--ignored=matching", "--no-renames", "--"}, under...)
		for _, line := range split(g.Run(args...)) {
			want[line[3:]] += fromLetters(line[:2])
		}
		if len(want) == 0 {
			t.Fatal("nothing to compare")
		}
		diff(t, got, want)
	}
	check(t)
	check(t, "sets/deep", "sets/*.json")
	t.Run("conflict", func(t *testing.T) {
		g.Run("add", "-A")
		g.Run("commit", "-q", "-m", "two")
		g.Run("checkout", "-q", "-b", "side")
		g.Write("sets/edited", "side\n")
		g.Remove("sets/both")
		g.Commit("side")
		g.Run("checkout", "-q", "main")
		g.Write("sets/edited", "main\n")
		g.Write("sets/both", "main\n")
		g.Commit("main")
		if _, err := g.Try("merge", "side"); err == nil {
			t.Fatal("no conflict")
		}
		check(t)
	})
}

func describe(s git.FileStatus) string {
	return fmt.Sprintf("staged=%v edited=%v removed=%v untracked=%v ignored=%v unmerged=%v ", s.Staged, s.Edited, s.Removed, s.Untracked, s.Ignored, s.Unmerged)
}

func fromLetters(xy string) string {
	var s git.FileStatus
	switch {
	case xy == "??":
		s.Untracked = true
	case xy == "!!":
		s.Ignored = true
	case strings.Contains(xy, "U") || xy == "AA" || xy == "DD":
		s.Unmerged = true
	default:
		s.Staged, s.Edited = xy[0] != ' ', xy[1] != ' '
		s.Removed = xy == "D " || xy[1] == 'D'
	}
	return describe(s)
}

func TestIgnored(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write(".gitignore", "*.tmp\nrecords/\n")
	g.Write("sets/known.tmp", "k\n")
	g.Run("add", "-f", "sets/known.tmp")
	g.Write("sets/deep/known.tmp", "k\n")
	g.Run("add", "-f", "sets/deep/known.tmp")
	g.Write(".gitignore", "*.tmp\nrecords/\n/sets/deep\n")
	repo := open(t, g.Dir)
	// A known file that a name would match as a pattern does not make it known; a directory with a known file is.
	diff(t, must(repo.Ignored("sets/a.json", "sets/b.tmp", "sets/known.tmp", "records/r.json", "sets/*.tmp", "sets/[k]nown.tmp", ":(glob)*.tmp", ":!x.tmp", "-n.tmp", "sets/deep", "sets/deep/new.json"))(t),
		[]string{"sets/b.tmp", "records/r.json", "sets/*.tmp", "sets/[k]nown.tmp", ":(glob)*.tmp", ":!x.tmp", "-n.tmp", "sets/deep/new.json"})
	diff(t, must(repo.Ignored("sets/a.json"))(t), []string(nil))
	diff(t, must(repo.Ignored())(t), []string(nil))
}

func TestUpstream(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Commit("one")
	g.Commit("two")
	check := func(dir string, ahead, behind int, ref string, ok bool) {
		t.Helper()
		a, b, r, o, err := open(t, dir).Upstream()
		if err != nil || a != ahead || b != behind || r != ref || o != ok {
			t.Errorf("got %d %d %q %v %v, want %d %d %q %v", a, b, r, o, err, ahead, behind, ref, ok)
		}
	}
	check(g.Dir, 0, 0, "", false)
	clone := g.Clone()
	check(clone.Dir, 0, 0, "origin/main", true)
	clone.Run("reset", "-q", "--hard", "HEAD^")
	check(clone.Dir, 0, 1, "origin/main", true)
	clone.Commit("three")
	clone.Commit("four")
	check(clone.Dir, 2, 1, "origin/main", true)
	if counts := clone.Run("rev-list", "--left-right", "--count", "HEAD...@{upstream}"); counts != "2\t1" {
		t.Errorf("git counts %q", counts)
	}
	clone.Run("checkout", "-q", "-b", "gone", "--track", "origin/main")
	clone.Run("config", "branch.gone.merge", "refs/heads/nowhere")
	check(clone.Dir, 0, 0, "origin/nowhere", false)
	clone.Run("checkout", "-q", "--detach")
	check(clone.Dir, 0, 0, "", false)
	check(gittest.New(t).Dir, 0, 0, "", false)
}
