package git_test

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// awkward are file names that break a reader that splits at blanks or lines, or that lets git take them for patterns.
var awkward = []string{
	"sets/with blank.json", "sets/größe µ.json", "sets/line\nfeed.json", "sets/tab\tquote\".json", "sets/*.json", "sets/[ab].json",
	"sets/:(top)x.json", "sets/-n.json", "sets/back\\slash.json", "sets/\x01control.json", "sets/bay-2/b.json", "sets.json", "sets-old/c.json", "-n",
}

func writeAwkward(g *gittest.Repo) {
	for _, name := range awkward {
		g.Write(name, "content of "+name+"\n")
	}
}

// checkIndex holds the listing of the index against that of git, whole and in part.
func checkIndex(t *testing.T, g *gittest.Repo) []git.Entry {
	t.Helper()
	repo := open(t, g.Dir)
	all := lsEntries(g.Run("ls-files", "-s", "-z"))
	diff(t, must(repo.IndexFiles())(t), all)
	diff(t, must(repo.IndexFiles(""))(t), all)
	diff(t, must(repo.IndexFiles("."))(t), all)
	diff(t, must(repo.IndexFiles("sets", "sets/bay-2"))(t), lsEntries(g.Run("ls-files", "-s", "-z", "sets")))
	diff(t, must(repo.IndexFiles(awkward...))(t), lsEntries(g.Run(append([]string{"--literal-pathspecs", "ls-files", "-s", "-z", "--"}, awkward...)...)))
	for _, base := range []string{"HEAD", "HEAD^"} {
		diff(t, must(repo.IndexChanged(base))(t), rawChanges(g.Run("diff-index", "--cached", "--raw", "--no-abbrev", "--no-renames", "-z", base)))
		diff(t, must(repo.IndexChanged(base, "sets/bay-2"))(t),
			rawChanges(g.Run("diff-index", "--cached", "--raw", "--no-abbrev", "--no-renames", "-z", base, "--", "sets/bay-2")))
	}
	var ids, contents strings.Builder
	for _, e := range all {
		data := must(repo.Blob(e.Hash))(t)
		fmt.Fprintln(&ids, e.Hash)
		fmt.Fprintf(&contents, "%s blob %d\n%s\n", e.Hash, len(data), data)
	}
	diff(t, contents.String(), g.Input(ids.String(), "cat-file", "--batch")+"\n")
	return all
}

func TestIndexForms(t *testing.T) {
	t.Parallel()
	// The forms of gitformat-index(5), and the settings that choose them.
	for name, settings := range map[string][]string{
		"version 2":       {"index.version=2"},
		"version 3":       {"index.version=3"},
		"version 4":       {"index.version=4"},
		"split":           {"core.splitIndex=true", "splitIndex.maxPercentChange=100"},
		"untracked cache": {"core.untrackedCache=true"},
		"threads, offset": {"index.threads=2"},
		"no hash":         {"index.skipHash=true"},
		"abbreviating":    {"core.abbrev=4", "core.quotePath=true", "diff.renames=copies", "diff.noprefix=true", "diff.relative=true", "color.ui=always"},
	} {
		t.Run(name, func(t *testing.T) {
			g := gittest.New(t)
			for _, s := range settings {
				key, value := cut(s)
				g.Run("config", key, value)
			}
			writeAwkward(g)
			g.Commit("one")
			g.Write("sets/bay-2/b.json", "changed\n")
			g.Remove("sets/with blank.json")
			g.Commit("two")
			g.Run("mv", "sets/bay-2/b.json", "sets/bay-2/moved.json")
			if err := os.Chmod(g.Path("sets.json"), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.Symlink("sets.json", g.Path("link")); err != nil {
				t.Skip(err)
			}
			g.Run("add", "-A")
			if name == "version 3" {
				// Version 3 is what version 2 becomes with an extended flag, such as skip-worktree.
				g.Run("update-index", "--skip-worktree", "sets-old/c.json")
			}
			if name == "split" {
				g.Run("update-index", "--split-index")
				g.Write("sets/bay-2/moved.json", "on top of the shared part\n")
				g.Run("add", "-A")
				g.Run("rm", "-q", "--cached", "sets/[ab].json")
			}
			all := checkIndex(t, g)
			before := g.Read(".git/index")
			g.Run("write-tree") // notes the tree in the index, as git does before it calls a hook
			checkIndex(t, g)
			if noted := git.IndexTree(open(t, g.Dir)); name != "split" && noted != g.Run("write-tree") || g.Read(".git/index") == before {
				t.Errorf("the tree %q is noted", noted)
			}
			if name != "version 2" {
				return
			}
			repo := open(t, g.Dir)
			for _, name := range awkward {
				want := slices.DeleteFunc(slices.Clone(all), func(e git.Entry) bool { return e.Path != name })
				diff(t, must(repo.IndexFiles(name))(t), want)
				diff(t, lsEntries(g.Run("--literal-pathspecs", "ls-files", "-s", "-z", "--", name)), want)
			}
		})
	}
}

func cut(setting string) (key, value string) {
	for i := range setting {
		if setting[i] == '=' {
			return setting[:i], setting[i+1:]
		}
	}
	return setting, ""
}

// In a sparse index a directory outside the checkout is one entry; a commit holds all of its files.
func TestSparseIndex(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/bay-2/a.json", "a\n")
	g.Write("sets/bay-7/b.json", "b\n")
	g.Write("office/deep/c.json", "c\n")
	g.Commit("one")
	g.Write("office/deep/c.json", "c2\n")
	g.Commit("two")
	g.Run("sparse-checkout", "set", "--cone", "--sparse-index", "sets/bay-2")
	if out := g.Run("ls-files", "--sparse", "-s", "office"); out[:6] != "040000" {
		t.Skipf("this git made no sparse index: %s", out)
	}
	checkIndex(t, g)
	diff(t, must(open(t, g.Dir).Index(""))(t).Files(), []string{"sets/bay-2/a.json", "sets/bay-7/b.json"})
}

// Only announced is not staged: `git add -N` puts an entry into the index that no commit saves.
func TestAnnouncedFiles(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "a\n")
	g.Commit("one")
	g.Write("sets/later.json", "later\n")
	g.Write("sets/empty.json", "")
	g.Run("add", "-N", "sets/later.json")
	g.Run("add", "sets/empty.json")
	repo := open(t, g.Dir)
	g.Run("write-tree")
	got := must(repo.IndexFiles())(t)
	changed := must(repo.IndexChanged("HEAD"))(t)
	g.Run("commit", "-q", "-m", "two")
	diff(t, got, lsEntries(g.Run("ls-tree", "-r", "-z", "HEAD")))
	diff(t, changed, rawChanges(g.Run("diff-tree", "-r", "-z", "HEAD^", "HEAD")))
}

func TestIndexWithoutCommits(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{nil, {"--object-format=sha256"}} {
		g := gittest.New(t, args...)
		writeAwkward(g)
		g.Run("add", "-A")
		repo := open(t, g.Dir)
		diff(t, must(repo.IndexFiles())(t), lsEntries(g.Run("ls-files", "-s", "-z")))
		diff(t, len(must(repo.IndexChanged(""))(t)), len(awkward))
	}
}

func TestIndexIsNotTouched(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "a\n")
	g.Commit("one")
	// A file whose time changed and whose content did not is what makes git rewrite the index when it may.
	g.Write("sets/a.json", "a\n")
	g.Write(".git/index.lock", "")
	before := g.Read(".git/index")
	repo := open(t, g.Dir)
	must(repo.Index(""))(t)
	must(repo.WorkTree(""))(t)
	if status := must(repo.Status())(t); len(status) != 0 {
		t.Errorf("status %v", status)
	}
	must(repo.IndexChanged("HEAD"))(t)
	if g.Read(".git/index") != before {
		t.Error("a reader wrote the index")
	}
	wantKind(t, repo.Add("sets/a.json"), git.ErrBusy)
}

func TestUnreadableIndex(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "a\n")
	g.Commit("one")
	for name, content := range map[string]string{
		"garbage": "this is not an index, but it is long enough to be taken for one",
		"short":   "DIRC",
	} {
		t.Run(name, func(t *testing.T) {
			g.Write(".git/index", content)
			_, err := open(t, g.Dir).Index("")
			wantKind(t, err, git.ErrCorrupt)
		})
	}
}

func TestBadPaths(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Commit("one")
	repo := open(t, g.Dir)
	for _, p := range []string{"/etc/passwd", "..", "../x", "sets/../../x", ".git/config", "sets/.GIT/x", "a\x00b"} {
		_, err := repo.IndexFiles(p)
		wantKind(t, err, git.ErrBadPath)
		_, err = repo.TreeFiles("HEAD", p)
		wantKind(t, err, git.ErrBadPath)
		_, err = repo.CommitPaths("x", []string{p}, git.CommitOptions{})
		wantKind(t, err, git.ErrBadPath)
		_, err = repo.WorkTree(p)
		wantKind(t, err, git.ErrBadPath)
	}
}
