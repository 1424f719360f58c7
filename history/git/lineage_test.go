package git_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// lineageAsInGit holds what is read without git to what git log tells of the same commits.
func lineageAsInGit(t *testing.T, g *gittest.Repo, head string, paths ...string) {
	t.Helper()
	repo := open(t, g.Dir).AsWritten()
	list, ok := repo.Lineage(head, paths)
	if !ok {
		t.Fatal("git has to be asked")
	}
	got := map[string]*git.Ancestor{}
	for _, a := range list {
		got[a.Hash] = a
	}
	if len(got) != len(list) {
		t.Errorf("%d commits, %d of them different ones", len(list), len(got))
	}
	var hashes []string
	var said []git.LogEntry
	for _, e := range must(repo.Log(git.LogOptions{Revs: []string{head}, Changes: true}))(t) {
		a := got[e.Hash]
		if a == nil {
			t.Errorf("%s is missing", e.Hash)
			continue
		}
		delete(got, e.Hash)
		var parents []string
		for _, p := range a.Parents {
			parents = append(parents, p.Hash)
		}
		diff(t, append([]string{}, parents...), append([]string{}, e.Parents...))
		if !a.When.Equal(e.Committer.When) {
			t.Errorf("%s: %v, in git %v", a.Hash, a.When, e.Committer.When)
		}
		some := false
		for i := range e.Changes {
			e.Changes[i] = slices.DeleteFunc(e.Changes[i], func(c git.Change) bool {
				return len(paths) > 0 && !slices.ContainsFunc(paths, func(p string) bool { return c.Path == p || strings.HasPrefix(c.Path, p+"/") })
			})
			some = some || len(e.Changes[i]) > 0
		}
		if some != (a.Changes != nil) {
			t.Errorf("%s: changes %v, in git %v", a.Hash, a.Changes, e.Changes)
		}
		for i := range a.Changes {
			diff(t, append([]git.Change{}, a.Changes[i]...), append([]git.Change{}, e.Changes[i]...))
		}
		e.Changes = nil
		hashes, said = append(hashes, e.Hash), append(said, e)
	}
	if len(got) > 0 {
		t.Errorf("%d commits that do not lead there", len(got))
	}
	n := 0
	if err := repo.Said(hashes, func(i int, e git.LogEntry) {
		n++
		e.Changes = nil
		diff(t, e, said[i])
	}); err != nil || n != len(hashes) {
		t.Errorf("%d of %d commits say something: %v", n, len(hashes), err)
	}
}

func TestLineageOverMerges(t *testing.T) {
	t.Parallel()
	for seed := range uint64(2) {
		h := makeUp(t, seed, 150)
		head := h.ids[len(h.ids)-1]
		check := func(how string) {
			t.Run(fmt.Sprint(seed, " ", how), func(t *testing.T) {
				lineageAsInGit(t, h.Repo, head)
				lineageAsInGit(t, h.Repo, head, "sets", "records")
				lineageAsInGit(t, h.Repo, h.ids[70], "records/2026", "other")
			})
		}
		check("loose")
		h.Run("repack", "-q", "-a", "-d", "-f", "--depth=100", "--window=50")
		check("packed")
		h.Run("commit-graph", "write", "--reachable")
		check("with a commit graph")
		h.Run("gc", "-q")
		h.Run("update-ref", "refs/heads/more", h.Run("commit-tree", "-p", head, "-m", "more", h.ids[30]+"^{tree}"))
		head = h.Run("rev-parse", "more")
		check("with what came after the commit graph")
	}
}

// What the commit graph of git says is taken for no more than a hint.
func TestLineageAndFalseCommitGraph(t *testing.T) {
	t.Parallel()
	h := makeUp(t, 9, 40)
	head := h.ids[39]
	h.Run("commit-graph", "write", "--reachable")
	file := h.Path(".git/objects/info/commit-graph")
	good, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(1, 2))
	if err := os.Chmod(file, 0o666); err != nil {
		t.Fatal(err)
	}
	for i := range 30 {
		bad := slices.Clone(good)
		switch {
		case i < 10:
			bad = bad[:random.IntN(len(bad))]
		case i < 20:
			for range 1 + random.IntN(30) {
				bad[random.IntN(len(bad))] ^= byte(1 + random.IntN(255))
			}
		default: // the table of chunks
			bad[random.IntN(80)] ^= byte(1 + random.IntN(255))
		}
		if err := os.WriteFile(file, bad, 0o666); err != nil {
			t.Fatal(err)
		}
		lineageAsInGit(t, h.Repo, head, "sets")
	}
}

// Files of all kinds, and what becomes of them.
func TestLineageOfOddFiles(t *testing.T) {
	t.Parallel()
	for _, format := range []string{"sha1", "sha256"} {
		g := gittest.New(t, "--object-format="+format)
		empty := g.Input("", "hash-object", "-w", "--stdin")
		kinds := map[string]string{"100644": empty, "100755": empty, "120000": g.Input("x", "hash-object", "-w", "--stdin"), "160000": strings.Repeat("1", len(empty))}
		random := rand.New(rand.NewPCG(3, 4))
		names := []string{"sets", "sets/a", "sets/a/b", "sets/a.b", "sets/a-b", "sets/a0", "sets.x", "sets-x", "s", "sets/Ä ö"}
		modes := slices.Sorted(maps.Keys(kinds))
		head := ""
		for range 80 {
			g.Run("read-tree", "--empty")
			var used []string
			var index strings.Builder
			for _, name := range names {
				clash := slices.ContainsFunc(used, func(u string) bool { return strings.HasPrefix(name, u+"/") })
				if mode := modes[random.IntN(len(modes))]; random.IntN(3) > 0 && !clash {
					used = append(used, name)
					fmt.Fprintf(&index, "%s %s\t%s\n", mode, kinds[mode], name)
				}
			}
			g.Input(index.String(), "update-index", "--index-info")
			args := []string{"commit-tree", "-m", "x", g.Run("write-tree", "--missing-ok")}
			if head != "" {
				args = append(args, "-p", head)
			}
			head = g.Run(args...)
		}
		g.Run("update-ref", "refs/heads/main", head)
		lineageAsInGit(t, g, head)
		lineageAsInGit(t, g, head, "sets")
		lineageAsInGit(t, g, head, "sets/a", "s")
		g.Run("repack", "-q", "-a", "-d", "-f")
		lineageAsInGit(t, g, head, "sets/a.b", "sets/a")
	}
}

// Where only git can tell, it is asked: nothing is told that may be wrong.
func TestLineageLeftToGit(t *testing.T) {
	t.Parallel()
	make := func(t *testing.T) (*gittest.Repo, string) {
		g := gittest.New(t)
		g.Write("sets/a.json", "1\n")
		g.Commit("one")
		g.Write("sets/a.json", "2\n")
		return g, g.Commit("two")
	}
	for name, odd := range map[string]func(g *gittest.Repo, head string) string{
		"a shallow clone": func(g *gittest.Repo, head string) string {
			dir := t.TempDir() + "/clone"
			g.Run("clone", "-q", "--depth=1", "file://"+g.Dir, dir)
			g.Dir = dir
			return head
		},
		"no commit":        func(g *gittest.Repo, head string) string { return strings.Repeat("1", 40) },
		"not a commit":     func(g *gittest.Repo, head string) string { return g.Run("rev-parse", head+"^{tree}") },
		"a missing tree":   func(g *gittest.Repo, head string) string { return dropped(g, head, head+":sets") },
		"a missing commit": func(g *gittest.Repo, head string) string { return dropped(g, head, head+"~1") },
		"one parent twice": func(g *gittest.Repo, head string) string {
			return written(g, head, head, "committer x <x@y> 1786000000 +0000")
		},
		"a date too far": func(g *gittest.Repo, head string) string {
			return written(g, head, "", "committer x <x@y> 99999999999 +0000")
		},
		"no date":           func(g *gittest.Repo, head string) string { return written(g, head, "", "committer x <x@y>") },
		"a tree with twins": func(g *gittest.Repo, head string) string { return twins(g, head) },
	} {
		t.Run(name, func(t *testing.T) {
			g, head := make(t)
			head = odd(g, head)
			if _, ok := open(t, g.Dir).AsWritten().Lineage(head, nil); ok {
				t.Error("it is told without git")
			}
		})
	}
}

// dropped takes an object away.
func dropped(g *gittest.Repo, head, object string) string {
	id := g.Run("rev-parse", object)
	g.Remove(".git/objects/" + id[:2] + "/" + id[2:])
	return head
}

// written makes a commit by hand.
func written(g *gittest.Repo, head, twice, committer string) string {
	text := "tree " + g.Run("rev-parse", head+"^{tree}") + "\nparent " + head + "\n"
	if twice != "" {
		text += "parent " + twice + "\n"
	}
	text += "author x <x@y> 1786000000 +0000\n" + committer + "\n\nx\n"
	return g.Input(text, "hash-object", "-t", "commit", "-w", "--literally", "--stdin")
}

// twins makes a commit of a tree with two files of one name.
func twins(g *gittest.Repo, head string) string {
	line := "100644 blob " + g.Run("rev-parse", head+":sets/a.json") + "\ta\n"
	tree := g.Input(line+line, "mktree")
	return g.Run("commit-tree", "-p", head, "-m", "twins", tree)
}

// TestHeadsAtOnce reads the beginnings of many versions of files, as git packs them and one by one, against what they are.
func TestHeadsAtOnce(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	random := rand.New(rand.NewPCG(7, 8))
	var stream strings.Builder
	var contents []string
	var lines []string
	for i := range 700 {
		line := fmt.Sprintf("%d %x", i, random.Uint64())
		switch at := random.IntN(len(lines) + 1); {
		case len(lines) < 40 || i%3 == 0:
			lines = slices.Insert(lines, at, line)
		case at < len(lines):
			lines[at] = line
		default:
			lines = lines[:len(lines)-1]
		}
		contents = append(contents, strings.Join(lines, "\n"))
		fmt.Fprintf(&stream, "blob\nmark :%d\ndata %d\n%s\ncommit refs/heads/main\ncommitter x <x@y> %d +0000\ndata 1\nx\nM 100644 :%d a\n", i+1, len(contents[i]), contents[i], 1786000000+i, i+1)
	}
	marks := g.Path("marks")
	g.Input(stream.String(), "fast-import", "--quiet", "--export-marks="+marks)
	byMark := map[string]string{}
	for line := range strings.Lines(g.Read("marks")) {
		mark, id, _ := strings.Cut(strings.TrimSpace(line), " ")
		byMark[mark] = id
	}
	ids := make([]string, len(contents))
	for i := range ids {
		ids[i] = byMark[fmt.Sprintf(":%d", i+1)]
	}
	for _, how := range []string{"as imported", "packed", "loose"} {
		switch how {
		case "packed":
			g.Run("repack", "-q", "-a", "-d", "-f", "--depth=100", "--window=50")
		case "loose":
			packs, err := os.ReadDir(g.Path(".git/objects/pack"))
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range packs {
				if strings.HasSuffix(f.Name(), ".pack") {
					data := g.Read(".git/objects/pack/" + f.Name())
					g.Remove(".git/objects/pack")
					g.Input(data, "unpack-objects", "-q")
				}
			}
		}
		repo := open(t, g.Dir)
		for _, n := range []int{1, 40, 256, 5000} {
			next := 0
			if err := repo.PastHeads(ids, n, func(i int, head []byte) error {
				if want := contents[i][:min(n, len(contents[i]))]; i != next || string(head) != want {
					return fmt.Errorf("%s: head %d of %d bytes: %q, want %q", how, i, n, head, want)
				}
				next++
				return nil
			}); err != nil || next != len(ids) {
				t.Errorf("%d of %d: %v", next, len(ids), err)
			}
		}
	}
}
