package git_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

func lsTree(g *gittest.Repo, rev string, paths ...string) []git.Entry {
	return lsEntries(g.Run(append([]string{"--literal-pathspecs", "ls-tree", "-r", "-z", "--full-tree", rev, "--"}, paths...)...))
}

func diffTree(g *gittest.Repo, a, b string, paths ...string) []git.Change {
	return rawChanges(g.Run(append([]string{"--literal-pathspecs", "diff-tree", "-r", "-z", "--raw", "--no-renames", a, b, "--"}, paths...)...))
}

const emptyTree = "4b825dc642cb6eb9a060e54bf8d69288fbee4904" // git hash-object -t tree /dev/null

// A random history with files that become directories, links, submodules and executables: every commit is listed and every
// pair of commits compared as git does it.
func TestTreesAgainstGit(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	random := rand.New(rand.NewPCG(1, 2))
	names := append([]string{"sets/x", "sets/x/y", "sets/x/y/z", "records/2026/07/a", "records/2026/08/b", "a", "a.b", "a/b", "a0", "a-b"}, awkward...)
	var commits []string
	for i := range 10 {
		for range 5 {
			name := names[random.IntN(len(names))]
			for parent := filepath.Dir(name); parent != "."; parent = filepath.Dir(parent) {
				if info, err := os.Lstat(g.Path(parent)); err == nil && !info.IsDir() {
					g.Remove(parent)
				}
			}
			g.Remove(name)
			switch random.IntN(6) {
			case 0: // stays away
			case 1:
				if err := os.MkdirAll(filepath.Dir(g.Path(name)), 0o777); err != nil {
					t.Fatal(err)
				}
				if err := os.Symlink(fmt.Sprint("to ", i), g.Path(name)); err != nil {
					t.Fatal(err)
				}
			case 2:
				g.Write(name, "run\n")
				if err := os.Chmod(g.Path(name), 0o755); err != nil {
					t.Fatal(err)
				}
			default:
				g.Write(name, fmt.Sprint("content ", random.IntN(3)))
			}
		}
		if i == 6 {
			g.Run("add", "-A")
			g.Run("update-index", "--add", "--cacheinfo", "160000,"+commits[0]+",nested")
			g.Run("commit", "-q", "-m", "a submodule")
			commits = append(commits, g.Run("rev-parse", "HEAD"))
			g.Run("rm", "-q", "--cached", "nested")
			continue
		}
		commits = append(commits, g.Commit(fmt.Sprint("commit ", i)))
	}
	repo := open(t, g.Dir)
	files, changes := map[string][]git.Entry{}, map[string][]git.Change{} // what git said, to ask it once
	check := func(t *testing.T) {
		isTree := func(c string, got []git.Entry, paths ...string) {
			key := fmt.Sprint(c, paths)
			if _, ok := files[key]; !ok {
				files[key] = lsTree(g, c, paths...)
			}
			diff(t, got, files[key])
		}
		isDiff := func(a, b string, got []git.Change, paths ...string) {
			key := fmt.Sprint(a, b, paths)
			if _, ok := changes[key]; !ok {
				changes[key] = diffTree(g, a, b, paths...)
			}
			diff(t, got, changes[key])
		}
		for i, c := range commits {
			isTree(c, must(repo.TreeFiles(c))(t))
			isTree(c, must(repo.TreeFiles(c, "sets", "a/b", "sets/x"))(t), "sets", "a/b")
			isDiff(emptyTree, c, must(repo.ChangedPaths("", c))(t))
			isDiff(c, emptyTree, must(repo.ChangedPaths(c, ""))(t))
			for _, d := range commits[max(0, i-2):] {
				isDiff(c, d, must(repo.ChangedPaths(c, d))(t))
				isDiff(c, d, must(repo.ChangedPaths(c, d, "sets/x", "a"))(t), "sets/x", "a")
			}
		}
	}
	check(t)
	// Everything in a pack now; the child that reads objects is still the same.
	g.Run("gc", "-q", "--prune=now")
	t.Run("packed", check)
}

// The tree of an old program may hold modes that git writes no more; git reads them as the two that it knows.
func TestOldModes(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	blob := g.Input("x\n", "hash-object", "-w", "--stdin")
	raw := ""
	for _, e := range []string{"100664 a", "100755 b", "100777 c"} {
		raw += e + "\x00"
		for i := 0; i < len(blob); i += 2 {
			var c byte
			fmt.Sscanf(blob[i:i+2], "%02x", &c)
			raw += string([]byte{c})
		}
	}
	tree := g.Input(raw, "hash-object", "-t", "tree", "-w", "--stdin", "--literally")
	commit := g.Run("commit-tree", "-m", "old", tree)
	diff(t, must(open(t, g.Dir).TreeFiles(commit))(t), lsTree(g, commit))
}

func TestResolve(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("v1", "a file that is called like a tag\n")
	g.Commit("one")
	g.Run("tag", "-a", "-m", "first", "v1")
	g.Commit("two: with a colon")
	g.Run("branch", "feature/x")
	g.Run("branch", "HEAD2")
	g.Commit("three")
	g.Run("pack-refs", "--all")
	repo := open(t, g.Dir)
	for _, rev := range []string{"HEAD", "HEAD~1", "main", "refs/heads/main", "v1", "feature/x", "main^{/two: }", "HEAD@{1}", "@", "HEAD2",
		g.Run("rev-parse", "HEAD")[:8], g.Run("rev-parse", "HEAD")} {
		if got, err := repo.Resolve(rev); err != nil || got != g.Run("rev-parse", "--verify", rev+"^{commit}") {
			t.Errorf("%s: got %s, %v", rev, got, err)
		}
	}
	for _, rev := range []string{"", "nowhere", "-n", "--all", "--output=x", "main..HEAD", "^main", "HEAD\nmain", "HEAD:v1", ":/two", ":v1", "main main",
		g.Run("rev-parse", "HEAD:v1"), strings.Repeat("0", 40), "HEAD~99", "a\x00b"} {
		_, err := repo.Resolve(rev)
		wantKind(t, err, git.ErrUnknownRevision)
	}
	for _, rev := range []string{"HEAD", "HEAD~2", "v1"} {
		want := strings.Fields(g.Run("rev-list", "--no-walk", "--parents", rev, "--"))[1:]
		if got := must(repo.Parents(rev))(t); strings.Join(got, " ") != strings.Join(want, " ") {
			t.Errorf("parents of %s: %v, git says %v", rev, got, want)
		}
	}
	if ok := must(repo.IsAncestor("v1", "HEAD"))(t); !ok {
		t.Error("v1 leads to HEAD")
	}
	if ok := must(repo.IsAncestor("HEAD", "v1"))(t); ok {
		t.Error("HEAD does not lead to v1")
	}
	if _, err := repo.IsAncestor("HEAD", "nowhere"); err == nil {
		t.Error("an unknown commit is no answer")
	}
	if base := must(repo.MergeBase("HEAD", "feature/x"))(t); base != g.Run("merge-base", "HEAD", "feature/x") {
		t.Errorf("base %s", base)
	}
	refs := must(repo.Refs("refs/heads/", "refs/tags/v1"))(t)
	var lines []string
	for _, ref := range refs {
		lines = append(lines, ref.Hash+" "+ref.Name)
	}
	diff(t, strings.Join(lines, "\n"), g.Run("for-each-ref", "--format=%(objectname) %(refname)"))
}

func TestShallow(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	for i := range 4 {
		g.Write("sets/a.json", fmt.Sprint(i))
		g.Commit(fmt.Sprint(i))
	}
	full := open(t, g.Dir)
	clone := g.Clone("--depth=2")
	repo := open(t, clone.Dir)
	if full.IsShallow() || !repo.IsShallow() {
		t.Errorf("shallow: full %v, clone %v", full.IsShallow(), repo.IsShallow())
	}
	if got := must(repo.Parents("HEAD"))(t); len(got) != 1 {
		t.Errorf("parents %v", got)
	}
	if got := must(repo.Parents("HEAD^"))(t); len(got) != 0 {
		t.Errorf("parents at the edge %v", got)
	}
	log := must(repo.Log(git.LogOptions{Changes: true}))(t)
	if len(log) != 2 || len(log[1].Parents) != 0 || len(log[1].Changes) != 1 || log[1].Changes[0][0].OldHash != "" {
		t.Errorf("history %+v", log)
	}
}

func TestReplacedObjects(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "true\n")
	head := g.Commit("one")
	old := g.Run("rev-parse", "HEAD:sets/a.json")
	forged := g.Input("forged\n", "hash-object", "-w", "--stdin")
	g.Run("replace", old, forged)
	if got := string(must(open(t, g.Dir).Blob(old))(t)); got != g.Run("cat-file", "blob", old)+"\n" || got != "forged\n" {
		t.Errorf("got %q", got)
	}
	plain := open(t, g.Dir, git.NoReplace())
	if got := string(must(plain.Blob(old))(t)); got != "true\n" {
		t.Errorf("got %q", got)
	}
	g.Write("sets/a.json", "second\n")
	second := g.Commit("two")
	g.Run("replace", second, head)
	repo := open(t, g.Dir)
	if got := must(repo.Resolve("HEAD"))(t); got != g.Run("rev-parse", "HEAD") {
		t.Errorf("HEAD is %s", got)
	}
	diff(t, must(repo.TreeFiles("HEAD"))(t), lsTree(g, "HEAD"))
	diff(t, must(repo.Parents("HEAD"))(t), []string(nil))
	diff(t, must(plain.Parents("HEAD"))(t), []string{head})
}

func TestAlternates(t *testing.T) {
	g := gittest.New(t)
	g.Write("sets/a.json", "a\n")
	g.Commit("one")
	borrower := filepath.Join(gittest.Dir(t), "borrower")
	g.Run("clone", "-q", "--shared", g.Dir, borrower)
	repo := open(t, borrower)
	diff(t, must(repo.TreeFiles("HEAD"))(t), lsTree(g, "HEAD"))
	snap := must(repo.Commit("HEAD", ""))(t)
	if data := must(snap.Read("sets/a.json"))(t); string(data) != "a\n" {
		t.Errorf("got %q", data)
	}
	t.Run("by environment, relative", func(t *testing.T) {
		other := gittest.New(t)
		t.Chdir(other.Dir)
		rel, err := filepath.Rel(other.Dir, g.Path(".git/objects"))
		if err != nil {
			t.Fatal(err)
		}
		t.Setenv("GIT_ALTERNATE_OBJECT_DIRECTORIES", rel)
		repo := open(t, ".")
		if got := string(must(repo.Blob(snap.Hash("sets/a.json")))(t)); got != "a\n" {
			t.Errorf("got %q", got)
		}
	})
}

// A partial clone fetches what it lacks when it is read.
func TestPartialClone(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Run("config", "uploadpack.allowFilter", "true")
	g.Run("config", "uploadpack.allowAnySHA1InWant", "true")
	g.Write("sets/a.json", "old\n")
	old := g.Commit("one")
	g.Write("sets/a.json", "new\n")
	g.Commit("two")
	for _, filter := range []string{"blob:none", "tree:0"} {
		t.Run(filter, func(t *testing.T) {
			clone := g.Clone("--filter="+filter, "--no-checkout")
			repo := open(t, clone.Dir)
			snap := must(repo.Commit(old, ""))(t)
			if data := must(snap.Read("sets/a.json"))(t); string(data) != "old\n" {
				t.Errorf("got %q", data)
			}
			diff(t, must(repo.ChangedPaths(old, "HEAD"))(t), diffTree(g, old, "HEAD"))
		})
	}
}
