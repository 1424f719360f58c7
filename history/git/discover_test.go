package git_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// counted puts a program named git on the PATH, and nothing else, that notes its calls in the file that is returned and passes them on.
func counted(t *testing.T) (calls string) {
	t.Helper()
	dir := t.TempDir()
	calls = filepath.Join(dir, "calls")
	script := "#!/bin/sh\necho \"$*\" >>'" + calls + "'\nPATH='" + os.Getenv("PATH") + "' exec git \"$@\"\n"
	if err := os.WriteFile(filepath.Join(dir, "git"), []byte(script), 0o777); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PATH", dir)
	return calls
}

// Where a repository is plain it is found without git, and as git finds it; in all others git is asked. A variable that changes nothing
// here makes fettle ask in any case.
func TestDiscoverAgainstGit(t *testing.T) {
	g := gittest.New(t)
	g.Write("plant/sets/a.json", "{}\n")
	g.Commit("one")
	config := func(lines string) func(*testing.T) string {
		return func(t *testing.T) string {
			r := gittest.New(t)
			r.Commit("one")
			r.Write(".git/config", r.Read(".git/config")+lines)
			return r.Dir
		}
	}
	for name, at := range map[string]struct {
		dir   func(t *testing.T) string
		plain bool
	}{
		"top":   {func(t *testing.T) string { return g.Dir }, true},
		"below": {func(t *testing.T) string { return g.Path("plant/sets") }, true},
		"link": {func(t *testing.T) string {
			link := filepath.Join(gittest.Dir(t), "link")
			if err := os.Symlink(g.Path("plant"), link); err != nil {
				t.Skip(err)
			}
			return link
		}, true},
		"sha256": {func(t *testing.T) string { return gittest.New(t, "--object-format=sha256").Dir }, true},
		"unborn": {func(t *testing.T) string { return gittest.New(t).Dir }, true},
		"detached": {func(t *testing.T) string {
			r := gittest.New(t)
			r.Run("checkout", "-q", "--detach", r.Commit("one"))
			return r.Dir
		}, true},
		"packed references": {func(t *testing.T) string {
			r := gittest.New(t)
			r.Commit("one")
			r.Run("pack-refs", "--all")
			return r.Dir
		}, true},
		"quotes and comments": {config("# [core]\n[merge \"a b\"]\n\tdriver = \"x \\\"y\\\" %A\" ; z\n"), true},
		"a line that goes on": {config("[alias]\n\tx = a \\\n[core]\n\tbare = true\n"), false},
		"line in a section":   {config("[core] bare = true\n"), false},
		"bare after all":      {config("[Core]\n\tBARE=true\n"), false},
		"bare in words":       {config("[core]\n\tbare = no\n"), false},
		"work tree elsewhere": {config("[core]\n\tworktree = ../..\n"), false},
		"other subsection":    {config("[core \"x\"]\n\tbare = true\n"), true},
		"include":             {config("[include]\n\tpath = more\n"), false},
		"extension":           {config("[extensions]\n\tpreciousObjects = true\n"), false},
		"own settings of a work tree": {func(t *testing.T) string {
			r := gittest.New(t)
			r.Run("config", "extensions.worktreeConfig", "true")
			r.Run("config", "--worktree", "core.bare", "false")
			return r.Dir
		}, false},
		"bare":                  {func(t *testing.T) string { return g.Clone("--bare").Dir }, false},
		"inside the repository": {func(t *testing.T) string { return g.Path(".git/refs") }, false},
		"linked work tree": {func(t *testing.T) string {
			dir := filepath.Join(gittest.Dir(t), "linked")
			g.Run("worktree", "add", "-q", "--detach", dir)
			return dir
		}, false},
		"shallow": {func(t *testing.T) string {
			r := gittest.New(t)
			r.Commit("one")
			r.Commit("two")
			return r.Clone("--depth=1").Dir
		}, false},
		"no repository, but called one": {func(t *testing.T) string {
			r := gittest.New(t)
			r.Write("x/.git/objects/a", "")
			return r.Path("x")
		}, false},
	} {
		t.Run(name, func(t *testing.T) {
			dir := at.dir(t)
			calls := counted(t)
			got, wrong := git.Open(dir)
			asked, _ := os.ReadFile(calls)
			t.Setenv("GIT_CEILING_DIRECTORIES", "/nowhere")
			want, failed := git.Open(dir)
			if (wrong == nil) != (failed == nil) {
				t.Fatalf("got %v, asked with git %v", wrong, failed)
			}
			if plain := len(asked) == 0; plain != at.plain {
				t.Errorf("git was asked: %q", asked)
			}
			if all, _ := os.ReadFile(calls); len(all) == len(asked) {
				t.Fatal("git was not asked for what it is held to")
			}
			if wrong != nil {
				return
			}
			defer got.Close()
			defer want.Close()
			if got.Dir != want.Dir || got.GitDir != want.GitDir || got.Prefix != want.Prefix || got.IsBare() != want.IsBare() || got.IsShallow() != want.IsShallow() {
				t.Errorf("got %+v, git says %+v", got, want)
			}
			hooks, wants := must(got.HooksDir())(t), must(want.HooksDir())(t)
			diff(t, hooks, wants)
			a, _, _, _, errA := got.Head()
			b, _, _, _, errB := want.Head()
			if a != b || (errA == nil) != (errB == nil) {
				t.Errorf("HEAD is %s, %v; git says %s, %v", a, errA, b, errB)
			}
		})
	}
	t.Run("bare, named", func(t *testing.T) {
		t.Setenv("GIT_DIR", g.Clone("--bare").Dir)
		calls := counted(t)
		repo := open(t, "")
		if asked, _ := os.ReadFile(calls); len(asked) > 0 || !repo.IsBare() || repo.Dir != "" {
			t.Errorf("%+v, git was asked: %q", repo, asked)
		}
	})
}

// Settings are kept as long as no file is touched that they come from or could come from.
func TestSettingsAreKept(t *testing.T) {
	global := filepath.Join(t.TempDir(), "gitconfig")
	t.Setenv("GIT_CONFIG_GLOBAL", global)
	g := gittest.New(t)
	g.Run("config", "fettle.anchor", "one")
	kept := g.Path(".git/fettle/settings")
	let := func(file string) { // as if it had been written a while ago: the time of its change cannot be set back, so that is waited for
		t.Helper()
		if err := os.Chtimes(file, time.Time{}, time.Now().Add(-time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	calls := counted(t)
	ask := func(want string, children int) {
		t.Helper()
		if err := os.WriteFile(calls, nil, 0o666); err != nil {
			t.Fatal(err)
		}
		repo := must(git.Open(g.Dir))(t)
		defer repo.Close()
		if value, _, err := repo.Config("fettle.anchor"); value != want || err != nil {
			t.Errorf("got %q, %v; want %q", value, err, want)
		}
		if asked, _ := os.ReadFile(calls); strings.Count(string(asked), "\n") != children {
			t.Errorf("git was asked %q, want %d times", asked, children)
		}
	}
	let(g.Path(".git/config"))
	ask("one", 1) // its change is too young to tell
	if _, err := os.Stat(kept); err == nil {
		t.Error("kept what may change without a trace")
	}
	const wait = 2100 * time.Millisecond
	time.Sleep(wait)
	ask("one", 1)
	ask("one", 0)
	g.Run("config", "fettle.anchor", "two")
	ask("two", 1)
	time.Sleep(wait)
	ask("two", 1)
	ask("two", 0)
	if err := os.WriteFile(global, []byte("[fettle]\n\tother = 1\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	ask("two", 1) // a file came up that was not there
	t.Setenv("GIT_CONFIG_COUNT", "1")
	t.Setenv("GIT_CONFIG_KEY_0", "fettle.anchor")
	t.Setenv("GIT_CONFIG_VALUE_0", "three")
	if err := os.WriteFile(calls, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	repo := must(git.Open(g.Dir))(t)
	defer repo.Close()
	if value, _, _ := repo.Config("fettle.anchor"); value != "three" {
		t.Errorf("got %q", value)
	}
	if asked, _ := os.ReadFile(calls); !strings.Contains(string(asked), "config --list") {
		t.Errorf("git was asked %q", asked)
	}
}
