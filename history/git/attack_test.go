package git_test

import (
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// forgedCommit writes a commit object that git itself would not make.
func forgedCommit(g *gittest.Repo, lines ...string) string {
	return g.Input(strings.Join(lines, "\n")+"\n", "hash-object", "-t", "commit", "-w", "--stdin", "--literally")
}

// A commit says its tree once, first of all. One that says another further down shows git the first, and so it must show us.
func TestCommitWithMoreThanOneTree(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "good\n")
	head := g.Commit("good")
	good := g.Run("rev-parse", "HEAD^{tree}")
	g.Write("sets/a.json", "bad\n")
	g.Commit("bad")
	bad := g.Run("rev-parse", "HEAD^{tree}")
	who := "author Mara Lind <mara@northgate.example> 1784008800 +0000\ncommitter Mara Lind <mara@northgate.example> 1784008800 +0000"
	for name, lines := range map[string][]string{
		"a tree behind the author":  {"tree " + bad, "parent " + head, who, "tree " + good, "", "x"},
		"a tree behind the parents": {"tree " + bad, "parent " + head, "tree " + good, who, "", "x"},
		"a parent further down":     {"tree " + bad, who, "parent " + head, "", "x"},
	} {
		commit := forgedCommit(g, lines...)
		want, err := g.Try("ls-tree", "-r", "-z", "--full-tree", commit, "--")
		got, errOurs := open(t, g.Dir).TreeFiles(commit)
		if err != nil || errOurs != nil {
			if errOurs == nil {
				t.Errorf("%s: git refuses it (%v) and we do not", name, err)
			}
			continue
		}
		diff(t, got, lsEntries(want))
		parents, err := open(t, g.Dir).Parents(commit)
		if err != nil {
			t.Fatal(err)
		}
		if want := strings.Fields(g.Run("rev-list", "--no-walk", "--parents", commit))[1:]; strings.Join(parents, " ") != strings.Join(want, " ") {
			t.Errorf("%s: parents %v, want %v", name, parents, want)
		}
	}
}

// Of a tree that no git makes, programs show different files. It is refused, not guessed.
func TestTreesThatNoGitMakes(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "good\n")
	head := g.Commit("good")
	raw := func(id string) string {
		b, err := hex.DecodeString(id)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	sets := raw(g.Run("rev-parse", "HEAD:sets"))
	other := raw(strings.TrimSpace(g.Input("100644 a.json\x00"+raw(g.Input("bad\n", "hash-object", "-w", "--stdin")), "hash-object", "-t", "tree", "-w", "--stdin", "--literally")))
	blob := raw(g.Run("rev-parse", "HEAD:sets/a.json"))
	for name, tree := range map[string]string{
		"a directory twice":               "40000 sets\x00" + other + "40000 sets\x00" + sets,
		"a file twice":                    "100644 fettle.json\x00" + blob + "100644 fettle.json\x00" + other,
		"a file and a directory":          "100644 sets\x00" + blob + "40000 sets\x00" + sets,
		"a path for a name":               "100644 sets/a.json\x00" + blob,
		"a way up":                        "40000 ..\x00" + sets,
		"where it is":                     "40000 .\x00" + sets,
		"a repository in it":              "40000 .git\x00" + sets,
		"a repository in it, in capitals": "40000 .GIT\x00" + sets,
		"cut off":                         "40000 sets\x00" + sets[:10],
	} {
		id := g.Input(tree, "hash-object", "-t", "tree", "-w", "--stdin", "--literally")
		commit := forgedCommit(g, "tree "+id, "parent "+head, "author M <m@x> 1784008800 +0000", "committer M <m@x> 1784008800 +0000", "", "x")
		if files, err := open(t, g.Dir).TreeFiles(commit); !errors.Is(err, git.ErrCorrupt) {
			t.Errorf("%s: %v, %v", name, files, err)
		}
		if changes, err := open(t, g.Dir).ChangedPaths(head, commit); !errors.Is(err, git.ErrCorrupt) {
			t.Errorf("%s, against a good one: %v, %v", name, changes, err)
		}
		// The same in both, before and behind what differs.
		for _, twin := range [][2]string{{tree + "100644 zz\x00" + blob, tree + "100644 zz\x00" + other}, {"100644 aa\x00" + blob + tree, "100644 aa\x00" + other + tree}} {
			var ids [2]string
			for i, tree := range twin {
				id := g.Input(tree, "hash-object", "-t", "tree", "-w", "--stdin", "--literally")
				ids[i] = forgedCommit(g, "tree "+id, "author M <m@x> 1784008800 +0000", "committer M <m@x> 1784008800 +0000", "", "x")
			}
			if changes, err := open(t, g.Dir).ChangedPaths(ids[0], ids[1]); !errors.Is(err, git.ErrCorrupt) {
				t.Errorf("%s, in both: %v, %v", name, changes, err)
			}
		}
	}
}

// Directories that stand in one another ten times over, nine levels deep, are a billion files in ten small objects; one that stands in itself
// under a long name, as deep as anybody likes, has a name of any length.
func TestDirectoriesInOneAnother(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "good\n")
	head := g.Commit("good")
	mktree := func(lines ...string) string {
		return strings.TrimSpace(g.Input(strings.Join(lines, "\n")+"\n", "mktree"))
	}
	wide := g.Run("rev-parse", "HEAD:sets")
	for range 9 {
		var lines []string
		for i := range 10 {
			lines = append(lines, fmt.Sprintf("040000 tree %s\td%d", wide, i))
		}
		wide = mktree(lines...)
	}
	deep := g.Run("rev-parse", "HEAD:sets")
	for range 100 {
		deep = mktree("040000 tree " + deep + "\t" + strings.Repeat("x", 200))
	}
	for name, tree := range map[string]string{"wide": wide, "deep": deep} {
		commit := strings.TrimSpace(g.Input("x", "commit-tree", "-p", head, mktree("040000 tree "+tree+"\tsets")))
		r := open(t, g.Dir)
		if files, err := r.TreeFiles(commit); !errors.Is(err, git.ErrTooLarge) {
			t.Errorf("%s: %d files, %v", name, len(files), err)
		}
		if _, err := r.Commit(commit, ""); !errors.Is(err, git.ErrTooLarge) {
			t.Errorf("%s: the library could be listed: %v", name, err)
		}
		for _, pair := range [][2]string{{head, commit}, {commit, head}, {"", commit}} {
			if changes, err := r.ChangedPaths(pair[0], pair[1]); !errors.Is(err, git.ErrTooLarge) {
				t.Errorf("%s: %d changes, %v", name, len(changes), err)
			}
		}
		if log, err := r.Log(git.LogOptions{Revs: []string{commit, "^" + head}, Changes: true}); !errors.Is(err, git.ErrTooLarge) {
			t.Errorf("%s: %d commits are told, %v", name, len(log), err)
		}
		if files, err := r.TreeFiles(commit, "machines"); err != nil || len(files) > 0 {
			t.Errorf("%s: where nobody looks, %v, %v", name, files, err)
		}
	}
}

// One directory of many files under very many names, all in one directory, is more than is listed here, too.
func TestOneDirectoryUnderManyNames(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "good\n")
	head := g.Commit("good")
	blob := g.Run("rev-parse", "HEAD:sets/a.json")
	var files, dirs strings.Builder
	for i := range 1100 {
		fmt.Fprintf(&files, "100644 blob %s\tf%04d\n", blob, i)
	}
	tree := strings.TrimSpace(g.Input(files.String(), "mktree"))
	for i := range 1000 {
		fmt.Fprintf(&dirs, "040000 tree %s\td%04d\n", tree, i)
	}
	tree = strings.TrimSpace(g.Input(dirs.String(), "mktree"))
	commit := strings.TrimSpace(g.Input("x", "commit-tree", "-p", head, strings.TrimSpace(g.Input("040000 tree "+tree+"\tsets\n", "mktree"))))
	r := open(t, g.Dir)
	if list, ok := r.Lineage(commit, []string{"sets"}); ok {
		t.Errorf("%d commits are told, the first with %d changes", len(list), len(list[0].Changes[0]))
	}
	if list, ok := r.Lineage(commit, []string{"records"}); !ok || len(list) != 2 {
		t.Errorf("where nobody looks, %d commits are told: %t", len(list), ok)
	}
}

// A commit says of itself as much as whoever pushed it wanted. Of what is held of every commit no more is kept than a person reads.
func TestCommitsThatSayTooMuch(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "good\n")
	first := g.Commit("good")
	tree := g.Run("rev-parse", "HEAD^{tree}")
	long := strings.Repeat("x", 1<<20)
	last := first
	for _, lines := range [][]string{
		{"author M <m@x> 1784008800 +0000", "committer M <m@x> 1784008800 +0000", "", "subject " + long, "", "body"},
		{"author " + long + " <m@x> 1784008800 +0000", "committer M <" + long + "@x> 1784008800 +0000", "", "name"},
		{"author M <m@x> 1784008800 +0000", "committer M <m@x> 1784008800 +0000", "", "with others", "", strings.Repeat("Co-authored-by: "+long[:1000]+" <m@x>\n", 200)},
	} {
		last = forgedCommit(g, append([]string{"tree " + tree, "parent " + last}, lines...)...)
	}
	r := open(t, g.Dir)
	log, err := r.Log(git.LogOptions{Revs: []string{last, "^" + first}, Changes: true})
	if err != nil || len(log) != 3 {
		t.Fatalf("%d commits, %v", len(log), err)
	}
	for _, e := range log {
		held := len(e.Subject) + len(e.Author.Name) + len(e.Author.Email) + len(e.Committer.Name) + len(e.Committer.Email)
		for _, who := range e.CoAuthors {
			held += len(who)
		}
		if held > 80<<10 {
			t.Errorf("%.20s: %d bytes are held of it beside its message", e.Subject, held)
		}
	}
	if !strings.HasPrefix(log[2].Subject, "subject xxx") || !strings.HasSuffix(log[2].Message, "body\n") || log[1].Committer.Name != "M" || len(log[0].CoAuthors) == 0 {
		t.Error("what a person reads of them is missing")
	}
	odd := g.Input("100644 "+long+"\x00"+strings.Repeat("a", 20), "hash-object", "-t", "tree", "-w", "--stdin", "--literally")
	commit := forgedCommit(g, "tree "+odd, "parent "+last, "author M <m@x> 1784008800 +0000", "committer M <m@x> 1784008800 +0000", "", "x")
	if _, err := r.TreeFiles(commit); !errors.Is(err, git.ErrCorrupt) || len(err.Error()) > 1000 {
		t.Errorf("a name of a million letters: %.200v", err)
	}
	if _, err := r.Log(git.LogOptions{Revs: []string{commit, "^" + first}, Changes: true}); !errors.Is(err, git.ErrTooLarge) {
		t.Errorf("a name of a million letters in a history: %.200v", err)
	}
}

// Modes that git takes for those it writes itself show the same files.
func TestModesAsInGit(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "good\n")
	head := g.Commit("good")
	raw, err := hex.DecodeString(g.Run("rev-parse", "HEAD:sets"))
	blob, wrong := hex.DecodeString(g.Run("rev-parse", "HEAD:sets/a.json"))
	if err != nil || wrong != nil {
		t.Fatal(err, wrong)
	}
	for _, mode := range []string{"40000", "040000", "0040000", "40755", "20000040000", "100644", "0100644", "100664", "100700", "100010", "120000", "120777", "160000", "160755", "10000", "60000", "140000", "644"} {
		id := string(blob)
		if strings.Contains(mode, "40") && mode != "140000" {
			id = string(raw)
		}
		tree := g.Input(mode+" x\x00"+id, "hash-object", "-t", "tree", "-w", "--stdin", "--literally")
		commit := forgedCommit(g, "tree "+tree, "parent "+head, "author M <m@x> 1784008800 +0000", "committer M <m@x> 1784008800 +0000", "", "x")
		files, err := open(t, g.Dir).TreeFiles(commit)
		if err != nil {
			t.Errorf("%s: %v", mode, err)
		}
		var got []string
		for _, f := range files {
			got = append(got, f.Mode+" "+f.Path)
		}
		var want []string
		for line := range strings.Lines(g.Run("ls-tree", "-r", commit)) {
			what, name, _ := strings.Cut(strings.TrimSpace(line), "\t")
			want = append(want, what[:6]+" "+name)
		}
		if diff(t, got, want); t.Failed() {
			t.Fatalf("of mode %s", mode)
		}
	}
}

// What somebody put beside the history in one clone does not change what it says.
func TestAsWritten(t *testing.T) {
	t.Parallel()
	var commits []string
	make := func(t *testing.T) *gittest.Repo {
		g := gittest.New(t)
		commits = nil
		for _, text := range []string{"one", "two", "three"} {
			g.Write("sets/a.json", text+"\n")
			commits = append(commits, g.Commit(text))
		}
		return g
	}
	for name, hide := range map[string]func(g *gittest.Repo){
		"nothing":     func(g *gittest.Repo) {},
		"a commit":    func(g *gittest.Repo) { g.Run("replace", "--graft", commits[2], commits[0]) },
		"its content": func(g *gittest.Repo) { g.Run("replace", commits[1], commits[0]) },
		"by a graft": func(g *gittest.Repo) {
			g.Write(".git/info/grafts", commits[2]+" "+commits[0]+"\n")
		},
		"by a graft in a commit graph": func(g *gittest.Repo) {
			g.Run("replace", "--graft", commits[2], commits[0])
			g.Run("commit-graph", "write", "--reachable")
		},
		"all before":          func(g *gittest.Repo) { g.Write(".git/shallow", commits[2]+"\n") },
		"all before, in part": func(g *gittest.Repo) { g.Write(".git/shallow", commits[1]+"\n") },
	} {
		g := make(t)
		hide(g)
		repo := open(t, g.Dir)
		view := repo.AsWritten()
		var got []string
		for e, err := range view.Walk(git.LogOptions{Reverse: true, Paths: []string{"sets"}, Changes: true}) {
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, e.Hash)
		}
		diff(t, got, commits)
		if view.IsShallow() {
			t.Errorf("%s: older history is said to be missing", name)
		}
		if parents, err := view.Parents("HEAD"); err != nil || len(parents) != 1 || parents[0] != commits[1] {
			t.Errorf("%s: parents %v, %v", name, parents, err)
		}
	}
	t.Run("what is missing indeed", func(t *testing.T) {
		g := make(t)
		dir := t.TempDir() + "/clone"
		g.Run("clone", "-q", "--depth=1", "file://"+g.Dir, dir)
		repo := open(t, dir)
		if view := repo.AsWritten(); !view.IsShallow() {
			t.Error("nobody says that older history is missing")
		}
		if err := repo.Close(); err != nil {
			t.Error(err)
		}
		if _, err := repo.AsWritten().TreeFiles("HEAD"); err == nil {
			t.Error("a closed repository is read")
		}
	})
}
