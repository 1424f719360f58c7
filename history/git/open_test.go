package git_test

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// facts asks git what Open answers, one question at a time.
func facts(t *testing.T, dir string) (top, gitDir, common, prefix string) {
	t.Helper()
	g := gittest.At(t, dir)
	abs := func(p string) string {
		if !filepath.IsAbs(p) {
			p = filepath.Join(dir, p)
		}
		return p
	}
	if out, err := g.Command("rev-parse", "--show-toplevel").Output(); err == nil {
		top = strings.TrimSuffix(string(out), "\n")
	}
	return top, g.Run("rev-parse", "--absolute-git-dir"), abs(g.Run("rev-parse", "--git-common-dir")), g.Run("rev-parse", "--show-prefix")
}

func checkOpen(t *testing.T, dir string) *git.Repo {
	t.Helper()
	repo := open(t, dir)
	top, gitDir, common, prefix := facts(t, dir)
	if repo.Dir != top || repo.GitDir != gitDir || repo.CommonDir != common || repo.Prefix != prefix {
		t.Errorf("Open(%s) = %q %q %q %q, git says %q %q %q %q", dir, repo.Dir, repo.GitDir, repo.CommonDir, repo.Prefix, top, gitDir, common, prefix)
	}
	g := gittest.At(t, dir)
	if head, _ := g.Try("rev-parse", "-q", "--verify", "HEAD"); head != "" {
		got, branch, unborn, detached, err := repo.Head()
		symbolic, failed := g.Try("symbolic-ref", "-q", "--short", "HEAD")
		if err != nil || got != strings.TrimSpace(head) || branch != strings.TrimSpace(symbolic) || unborn || detached != (failed != nil) {
			t.Errorf("Head() = %s %q %v %v, %v; git says %s %q", got, branch, unborn, detached, err, head, symbolic)
		}
	}
	return repo
}

func TestOpenPlaces(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("plant/fettle.json", "{}\n")
	g.Write("plant/sets/bay-2/a.json", "{}\n")
	head := g.Commit("one")

	t.Run("top", func(t *testing.T) { checkOpen(t, g.Dir) })
	t.Run("below", func(t *testing.T) {
		if repo := checkOpen(t, g.Path("plant/sets")); repo.Prefix != "plant/sets/" {
			t.Errorf("prefix %q", repo.Prefix)
		}
	})
	t.Run("through a symbolic link", func(t *testing.T) {
		link := filepath.Join(gittest.Dir(t), "link")
		if err := os.Symlink(g.Path("plant"), link); err != nil {
			t.Skip(err)
		}
		repo := open(t, link)
		if repo.Dir != g.Dir || repo.Prefix != "plant/" {
			t.Errorf("got %q %q", repo.Dir, repo.Prefix)
		}
	})
	t.Run("inside the repository", func(t *testing.T) {
		repo := open(t, g.Path(".git"))
		if repo.Dir != "" || repo.GitDir != g.Path(".git") || repo.IsBare() {
			t.Errorf("got %q %q %v", repo.Dir, repo.GitDir, repo.IsBare())
		}
		if got, err := repo.Resolve("main"); err != nil || got != head {
			t.Errorf("got %s, %v", got, err)
		}
	})
	t.Run("linked work tree", func(t *testing.T) {
		dir := filepath.Join(gittest.Dir(t), "night shift")
		g.Run("worktree", "add", "-q", "-b", "night", dir)
		linked := gittest.At(t, dir)
		linked.Write("only-here", "x\n")
		linked.Commit("in the linked tree")
		repo := checkOpen(t, filepath.Join(dir, "plant"))
		if repo.CommonDir != g.Path(".git") || repo.GitDir == repo.CommonDir {
			t.Errorf("got %q %q", repo.GitDir, repo.CommonDir)
		}
		if got := must(repo.IndexFiles("only-here"))(t); len(got) != 1 {
			t.Errorf("the index of the linked work tree has %v", got)
		}
		if dir := must(repo.HooksDir())(t); dir != g.Path(".git/hooks") {
			t.Errorf("hooks in %q", dir)
		}
	})
	t.Run("detached", func(t *testing.T) {
		dir := filepath.Join(gittest.Dir(t), "old")
		g.Run("worktree", "add", "-q", "--detach", dir, head)
		checkOpen(t, dir)
	})
	t.Run("submodule", func(t *testing.T) {
		outer := gittest.New(t)
		outer.Run("-c", "protocol.file.allow=always", "submodule", "--quiet", "add", "file://"+filepath.ToSlash(g.Dir), "library")
		outer.Commit("with a submodule")
		repo := checkOpen(t, outer.Path("library/plant"))
		if repo.Dir != outer.Path("library") || repo.Prefix != "plant/" {
			t.Errorf("got %q %q", repo.Dir, repo.Prefix)
		}
		// Seen from outside, the submodule is one entry.
		got := must(open(t, outer.Dir).TreeFiles("HEAD"))(t)
		want := lsEntries(outer.Run("ls-tree", "-r", "-z", "--full-tree", "HEAD"))
		diff(t, got, want)
	})
	t.Run("bare", func(t *testing.T) {
		bare := g.Clone("--bare")
		repo := checkOpen(t, bare.Dir)
		if !repo.IsBare() || repo.Dir != "" {
			t.Errorf("bare %v, dir %q", repo.IsBare(), repo.Dir)
		}
		_, err := repo.WorkTree("")
		wantKind(t, err, git.ErrNoWorkTree)
		snap := must(repo.Commit("HEAD", "plant"))(t)
		diff(t, snap.Files(), []string{"fettle.json", "sets/bay-2/a.json"})
	})
	t.Run("separate git dir", func(t *testing.T) {
		store := filepath.Join(gittest.Dir(t), "store")
		apart := gittest.New(t, "--separate-git-dir="+store)
		apart.Commit("one")
		if repo := checkOpen(t, apart.Dir); repo.GitDir != store {
			t.Errorf("git dir %q", repo.GitDir)
		}
	})
	t.Run("line feed in the name", func(t *testing.T) {
		dir := filepath.Join(gittest.Dir(t), "a\nb --then\nc")
		if err := os.Mkdir(dir, 0o777); err != nil {
			t.Skip(err)
		}
		repo := must(git.Init(dir, "main"))(t)
		defer repo.Close()
		if repo.Dir != dir || repo.GitDir != filepath.Join(dir, ".git") {
			t.Errorf("got %q %q", repo.Dir, repo.GitDir)
		}
	})
	t.Run("sha256", func(t *testing.T) {
		long := gittest.New(t, "--object-format=sha256")
		long.Write("sets/a.json", "{}\n")
		long.Commit("one")
		repo := checkOpen(t, long.Dir)
		diff(t, must(repo.TreeFiles("HEAD"))(t), lsEntries(long.Run("ls-tree", "-r", "-z", "HEAD")))
		diff(t, must(repo.IndexFiles())(t), lsEntries(long.Run("ls-files", "-s", "-z")))
		saved, disk := must(repo.Commit("HEAD", ""))(t), must(repo.WorkTree(""))(t)
		if changes := git.Compare(saved, disk); len(changes) > 0 || len(saved.Hash("sets/a.json")) != 64 {
			t.Errorf("changes %v, id %q", changes, saved.Hash("sets/a.json"))
		}
	})
	t.Run("reftable", func(t *testing.T) {
		dir := gittest.Dir(t)
		if out, err := gittest.At(t, dir).Try("init", "-q", "-b", "main", "--ref-format=reftable"); err != nil {
			t.Skipf("this git has no reftable: %s", out)
		}
		table := gittest.At(t, dir)
		repo := open(t, dir)
		if _, branch, unborn, _, err := repo.Head(); err != nil || branch != "main" || !unborn {
			t.Errorf("got %q %v %v", branch, unborn, err)
		}
		table.Run("-c", "user.name=a", "-c", "user.email=b", "commit", "-q", "--allow-empty", "-m", "one")
		checkOpen(t, dir)
	})
}

func TestOpenFromHere(t *testing.T) {
	g := gittest.New(t)
	g.Write("plant/fettle.json", "{}\n")
	g.Write("plant/sets/bay-2/a.json", "{}\n")
	head := g.Commit("one")
	t.Run("current directory", func(t *testing.T) {
		t.Chdir(g.Path("plant"))
		for _, dir := range []string{"", "."} {
			if repo := open(t, dir); repo.Dir != g.Dir || repo.Prefix != "plant/" {
				t.Errorf("Open(%q): got %q %q", dir, repo.Dir, repo.Prefix)
			}
		}
		if repo := open(t, "sets"); repo.Prefix != "plant/sets/" {
			t.Errorf("got %q", repo.Prefix)
		}
	})
	t.Run("GIT_DIR and GIT_WORK_TREE", func(t *testing.T) {
		t.Chdir(g.Path("plant"))
		t.Setenv("GIT_DIR", "../.git")
		t.Setenv("GIT_WORK_TREE", "..")
		repo := open(t, "sets")
		if repo.Dir != g.Dir || repo.Prefix != "plant/sets/" {
			t.Errorf("got %q %q", repo.Dir, repo.Prefix)
		}
		if got := must(repo.Resolve("HEAD"))(t); got != head {
			t.Errorf("HEAD is %s", got)
		}
	})
	t.Run("GIT_DIR of a hook, library below", func(t *testing.T) {
		t.Chdir(g.Dir)
		t.Setenv("GIT_DIR", ".git")
		t.Setenv("GIT_INDEX_FILE", ".git/index")
		repo := open(t, "plant")
		if repo.Dir != g.Dir || repo.Prefix != "plant/" {
			t.Errorf("got %q %q", repo.Dir, repo.Prefix)
		}
		if got := must(repo.IndexFiles())(t); len(got) != 2 {
			t.Errorf("index: %v", got)
		}
		_, err := git.Open(gittest.New(t).Dir)
		wantKind(t, err, git.ErrNotRepository)
	})
}

func TestOpenRefusals(t *testing.T) {
	g := gittest.New(t)
	g.Write("a", "1\n")
	g.Commit("one")
	t.Run("no repository", func(t *testing.T) {
		dir := gittest.Dir(t)
		_, err := git.Open(dir)
		if e := wantKind(t, err, git.ErrNotRepository); !strings.Contains(e.What, dir) || !strings.Contains(e.Help, "fettle init") {
			t.Errorf("%v", err)
		}
	})
	t.Run("no directory", func(t *testing.T) {
		_, err := git.Open(g.Path("nowhere"))
		wantKind(t, err, git.ErrNoSuchFile)
		_, err = git.Open(g.Path("a"))
		wantKind(t, err, git.ErrNoSuchFile)
	})
	t.Run("owner", func(t *testing.T) {
		// git's own tests use this variable to play a repository of somebody else.
		t.Setenv("GIT_TEST_ASSUME_DIFFERENT_OWNER", "1")
		_, err := git.Open(g.Dir)
		if e := wantKind(t, err, git.ErrUnsafe); !strings.Contains(e.Help, "safe.directory "+g.Dir) {
			t.Errorf("%v", err)
		}
	})
	t.Run("bare repository not allowed", func(t *testing.T) {
		bare := g.Clone("--bare")
		config := filepath.Join(t.TempDir(), "config")
		if err := os.WriteFile(config, []byte("[safe]\n\tbareRepository = explicit\n"), 0o666); err != nil {
			t.Fatal(err)
		}
		t.Setenv("GIT_CONFIG_GLOBAL", config)
		_, err := git.Open(bare.Dir)
		wantKind(t, err, git.ErrUnsafe)
	})
	t.Run("unknown extension", func(t *testing.T) {
		future := gittest.New(t)
		future.Run("config", "core.repositoryFormatVersion", "1")
		future.Run("config", "extensions.fromTheFuture", "true")
		_, err := git.Open(future.Dir)
		wantKind(t, err, git.ErrUnsupported)
	})
	// A git without reftable says so; one that has it reads it, see TestOpenPlaces. Either way it is no repository without commits.
	t.Run("reftable that git does not know", func(t *testing.T) {
		table := gittest.New(t)
		table.Write("a", "1\n")
		table.Commit("one")
		table.Run("config", "core.repositoryFormatVersion", "1")
		table.Run("config", "extensions.refStorage", "no-such-storage")
		_, err := git.Open(table.Dir)
		if e := wantKind(t, err, git.ErrUnsupported); !strings.Contains(strings.ToLower(e.What), "storage") || !strings.Contains(e.Help, "2.45") {
			t.Errorf("%v", err)
		}
	})
	t.Run("unknown version", func(t *testing.T) {
		future := gittest.New(t)
		future.Run("config", "core.repositoryFormatVersion", "99")
		_, err := git.Open(future.Dir)
		wantKind(t, err, git.ErrUnsupported)
	})
	t.Run("no git", func(t *testing.T) {
		t.Setenv("PATH", t.TempDir())
		_, err := git.Open(g.Dir)
		if e := wantKind(t, err, git.ErrNoGit); !strings.Contains(e.Help, "install git") {
			t.Errorf("%v", err)
		}
	})
	t.Run("GIT_DIR that is none", func(t *testing.T) {
		t.Setenv("GIT_DIR", t.TempDir())
		_, err := git.Open(g.Dir)
		if e := wantKind(t, err, git.ErrNotRepository); !strings.Contains(e.Help, "GIT_DIR") {
			t.Errorf("%v", err)
		}
	})
	t.Run("broken configuration", func(t *testing.T) {
		broken := gittest.New(t)
		broken.Write(".git/config", "[core\n")
		if _, err := git.Open(broken.Dir); err == nil || !strings.Contains(err.Error(), "bad config line") {
			t.Errorf("got %v", err)
		}
	})
	t.Run("cancelled", func(t *testing.T) {
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		if _, err := git.Open(g.Dir, git.WithContext(ctx)); !errors.Is(err, context.Canceled) {
			t.Errorf("got %v", err)
		}
	})
}

// A damaged reference must not look like a branch without commits: that would judge a library as if it had no past.
func TestUnbornAndDamaged(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	repo := open(t, g.Dir)
	head, branch, unborn, detached, err := repo.Head()
	if head != "" || branch != "main" || !unborn || detached || err != nil {
		t.Errorf("new repository: %q %q %v %v %v", head, branch, unborn, detached, err)
	}
	_, err = repo.Resolve("HEAD")
	wantKind(t, err, git.ErrUnborn)
	if log, err := repo.Log(git.LogOptions{}); len(log) > 0 || err != nil {
		t.Errorf("history of nothing: %v %v", log, err)
	}

	g.Write("a", "1\n")
	first := g.Commit("one")
	for name, damage := range map[string]func(){
		"empty reference":      func() { g.Write(".git/refs/heads/main", "") },
		"reference to nothing": func() { g.Write(".git/refs/heads/main", strings.Repeat("a", 40)+"\n") },
		"packed ref to nothing": func() {
			g.Remove(".git/refs/heads/main")
			g.Write(".git/packed-refs", strings.Repeat("a", 40)+" refs/heads/main\n")
		},
		"detached at nothing": func() { g.Write(".git/HEAD", strings.Repeat("b", 40)+"\n") },
	} {
		t.Run(name, func(t *testing.T) {
			defer func() {
				g.Write(".git/HEAD", "ref: refs/heads/main\n")
				g.Write(".git/refs/heads/main", first+"\n")
				g.Remove(".git/packed-refs")
			}()
			damage()
			_, _, unborn, _, err := repo.Head()
			if unborn {
				t.Fatal("taken for a repository without commits")
			}
			wantKind(t, err, git.ErrCorrupt)
		})
	}
}

// The environment variables that git ties to one repository, as the installed git lists them, are all kept from the
// children of OpenOther.
func TestOpenOther(t *testing.T) {
	g, other := gittest.New(t), gittest.New(t)
	g.Commit("one")
	other.Run("checkout", "-q", "-b", "elsewhere")
	want := other.Commit("two")
	list, err := exec.Command("git", "rev-parse", "--local-env-vars").Output()
	if err != nil {
		t.Fatal(err)
	}
	names := strings.Fields(string(list))
	if len(names) < 10 {
		t.Fatalf("git lists %v", names)
	}
	for _, name := range names {
		t.Setenv(name, "no such thing")
	}
	t.Setenv("GIT_DIR", g.Path(".git"))
	t.Setenv("GIT_CONFIG_COUNT", "1")
	t.Setenv("GIT_CONFIG_KEY_0", "core.bare")
	t.Setenv("GIT_CONFIG_VALUE_0", "true")
	repo, err := git.OpenOther(other.Dir)
	if err != nil {
		t.Fatal(err)
	}
	defer repo.Close()
	got, branch, _, _, err := repo.Head()
	if err != nil || got != want || branch != "elsewhere" || repo.IsBare() {
		t.Errorf("got %s %s %v", got, branch, err)
	}
	if files, err := repo.IndexFiles(); err != nil || len(files) != 0 {
		t.Errorf("index: %v %v", files, err)
	}
}

// git --literal-pathspecs hands its meaning on to hooks, where it would make every path miss.
func TestPathspecVariables(t *testing.T) {
	g := gittest.New(t)
	g.Write("sets/a.json", "1\n")
	g.Write("b", "1\n")
	g.Commit("one")
	for _, name := range []string{"GIT_LITERAL_PATHSPECS", "GIT_ICASE_PATHSPECS", "GIT_NOGLOB_PATHSPECS", "GIT_GLOB_PATHSPECS"} {
		t.Run(name, func(t *testing.T) {
			t.Setenv(name, "1")
			if got := must(open(t, g.Dir).IndexFiles("sets"))(t); len(got) != 1 {
				t.Errorf("got %v", got)
			}
		})
	}
}
