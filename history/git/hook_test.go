package git_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// hooked is a repository whose hook of a commit runs the probe.
type hooked struct {
	*gittest.Repo
	t   *testing.T
	out string
}

func newHooked(t *testing.T, g *gittest.Repo) *hooked {
	h := &hooked{g, t, filepath.Join(t.TempDir(), "probe.json")}
	for _, hook := range []string{"pre-commit", "pre-merge-commit"} {
		g.Hook(hook, hookScript(t, h.out))
	}
	return h
}

// see reads what the hook saw, holds it against what git listed in the same hook, and against the commit that came of it.
func (h *hooked) see() probe {
	h.t.Helper()
	p := seen(h.t, h.out)
	diff(h.t, p.Index, lsEntries(h.raw(".index")))
	if !p.Unborn {
		diff(h.t, p.Changed, rawChanges(h.raw(".changed")))
	}
	diff(h.t, p.Index, lsEntries(h.Run("ls-tree", "-r", "-z", "--full-tree", "HEAD")))
	return p
}

func (h *hooked) raw(suffix string) string {
	data, err := os.ReadFile(h.out + suffix)
	if err != nil {
		h.t.Fatal(err)
	}
	return string(data)
}

// What a hook sees is what the commit then holds, however the commit was made.
func TestCommitHooks(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("lib/sets/a.json", "a1\n")
	g.Write("lib/sets/b.json", "b1\n")
	h := newHooked(t, g)

	t.Run("first commit", func(t *testing.T) {
		h.t = t
		g.Run("add", "-A")
		g.Run("commit", "-q", "-m", "one")
		p := h.see()
		if !p.Unborn || p.Head != "" || p.Branch != "main" || p.Contents["lib/sets/a.json"] != "a1\n" {
			t.Errorf("%+v", p)
		}
		if p.Dir != g.Dir || p.GitDir != g.Path(".git") || p.Author != gittest.Author+" <"+gittest.Email+">" || p.Hooks != g.Path(".git/hooks") {
			t.Errorf("%+v", p)
		}
	})
	t.Run("staged only", func(t *testing.T) {
		h.t = t
		g.Write("lib/sets/a.json", "a2\n")
		g.Run("add", "-A")
		g.Write("lib/sets/a.json", "a3 not staged\n")
		g.Run("commit", "-q", "-m", "two")
		if p := h.see(); p.Contents["lib/sets/a.json"] != "a2\n" || len(p.Changed) != 1 {
			t.Errorf("%+v", p)
		}
	})
	t.Run("commit PATH", func(t *testing.T) {
		h.t = t
		g.Write("lib/sets/b.json", "b2 staged, left out\n")
		g.Run("add", "-A")
		g.Write("lib/sets/a.json", "a4\n")
		g.Run("commit", "-q", "-m", "three", "lib/sets/a.json")
		p := h.see()
		if p.Contents["lib/sets/a.json"] != "a4\n" || p.Contents["lib/sets/b.json"] != "b1\n" {
			t.Errorf("%+v", p.Contents)
		}
	})
	t.Run("commit PATH from a directory below", func(t *testing.T) {
		h.t = t
		g.Write("lib/sets/a.json", "a5\n")
		cmd := g.Command("commit", "-q", "-m", "four", "a.json")
		cmd.Dir = g.Path("lib/sets")
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("%v %s", err, out)
		}
		if p := h.see(); p.Contents["lib/sets/a.json"] != "a5\n" || p.Contents["lib/sets/b.json"] != "b1\n" {
			t.Errorf("%+v", p.Contents)
		}
	})
	t.Run("commit -a", func(t *testing.T) {
		h.t = t
		g.Write("lib/sets/b.json", "b3\n")
		g.Write("lib/sets/new.json", "untracked, left out\n")
		g.Run("commit", "-q", "-a", "-m", "five")
		p := h.see()
		if p.Contents["lib/sets/b.json"] != "b3\n" || p.Contents["lib/sets/new.json"] != "" {
			t.Errorf("%+v", p.Contents)
		}
	})
	t.Run("commit -p", func(t *testing.T) {
		h.t = t
		lines := strings.Repeat("same\n", 20)
		g.Write("lib/sets/a.json", "top\n"+lines+"end\n")
		g.Run("commit", "-q", "-m", "six", "lib/sets/a.json")
		h.see()
		g.Write("lib/sets/a.json", "TOP\n"+lines+"END\n")
		g.Input("y\nn\n", "commit", "-q", "-p", "-m", "seven")
		if p := h.see(); p.Contents["lib/sets/a.json"] != "TOP\n"+lines+"end\n" {
			t.Errorf("%q", p.Contents["lib/sets/a.json"])
		}
	})
	t.Run("commit --amend", func(t *testing.T) {
		h.t = t
		before := g.Run("rev-parse", "HEAD")
		g.Run("commit", "-q", "-a", "--amend", "-m", "seven again")
		if p := h.see(); p.Head != before {
			t.Errorf("a hook sees the commit that is amended as HEAD: got %s, want %s", p.Head, before)
		}
	})
	t.Run("another author", func(t *testing.T) {
		h.t = t
		g.Write("lib/sets/a.json", "a6\n")
		g.Run("commit", "-q", "-a", "-m", "eight", "--author=Jonas Falk <jonas.falk@northgate.example>")
		if p := h.see(); p.Author != "Jonas Falk <jonas.falk@northgate.example>" {
			t.Errorf("author %q", p.Author)
		}
	})
	t.Run("announced file", func(t *testing.T) {
		g.Write("lib/sets/later.json", "later\n")
		g.Run("add", "-N", "lib/sets/later.json")
		g.Write("lib/sets/empty.json", "")
		g.Run("add", "lib/sets/empty.json")
		g.Run("commit", "-q", "-m", "nine")
		p := seen(t, h.out)
		// ls-files lists the announced file too, so the commit is what to compare with.
		diff(t, p.Index, lsEntries(g.Run("ls-tree", "-r", "-z", "HEAD")))
		diff(t, p.Changed, rawChanges(g.Run("diff-tree", "-r", "-z", "--no-renames", "HEAD^", "HEAD")))
	})
}

func TestHookOpensAnotherRepository(t *testing.T) {
	g, other := gittest.New(t), gittest.New(t)
	other.Run("checkout", "-q", "-b", "elsewhere")
	other.Commit("one")
	h := newHooked(t, g)
	t.Setenv("FETTLE_GIT_OTHER", other.Dir)
	g.Write("lib/sets/a.json", "a7\n")
	g.Run("add", "-A")
	g.Run("commit", "-q", "-m", "ten", "lib/sets/a.json")
	if p := seen(t, h.out); p.Other != "elsewhere" || p.Branch != "main" {
		t.Errorf("other %q, own %q", p.Other, p.Branch)
	}
}

func TestCommitHookInLinkedTreeAndSubmodule(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "a1\n")
	g.Commit("one")
	t.Run("linked work tree", func(t *testing.T) {
		dir := filepath.Join(gittest.Dir(t), "linked")
		g.Run("worktree", "add", "-q", "-b", "side", dir)
		h := newHooked(t, gittest.At(t, dir))
		h.Write("sets/a.json", "a2\n")
		h.Run("commit", "-q", "-m", "two", "sets/a.json")
		p := h.see()
		if p.Dir != dir || p.Branch != "side" || p.CommonDir != g.Path(".git") || p.Contents["sets/a.json"] != "a2\n" {
			t.Errorf("%+v", p)
		}
	})
	t.Run("submodule", func(t *testing.T) {
		outer := gittest.New(t)
		outer.Run("-c", "protocol.file.allow=always", "submodule", "--quiet", "add", "file://"+filepath.ToSlash(g.Dir), "library")
		inner := gittest.At(t, outer.Path("library"))
		inner.Run("config", "user.name", gittest.Author)
		inner.Run("config", "user.email", gittest.Email)
		h := newHooked(t, inner)
		h.Write("sets/a.json", "a3\n")
		h.Run("commit", "-q", "-a", "-m", "three")
		if p := h.see(); p.Dir != inner.Dir || p.Contents["sets/a.json"] != "a3\n" {
			t.Errorf("%+v", p)
		}
	})
}

func TestMergeHooks(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "a1\n")
	g.Write("sets/b.json", "b1\n")
	g.Commit("one")
	branch := func(name, file, content string) string {
		g.Run("checkout", "-q", "-b", name, "main")
		g.Write(file, content)
		return g.Commit("on " + name)
	}
	left := branch("left", "sets/l.json", "l\n")
	right := branch("right", "sets/r.json", "r\n")
	clash := branch("clash", "sets/a.json", "a of clash\n")
	g.Run("checkout", "-q", "main")
	g.Write("sets/b.json", "b2\n")
	g.Commit("on main")
	h := newHooked(t, g)

	t.Run("clean merge", func(t *testing.T) {
		h.t = t
		g.Run("merge", "-q", "--no-edit", "left")
		p := h.see()
		diff(t, p.MergeHeads, []string{left})
		if p.State != git.StateMerge {
			t.Errorf("state %q", p.State)
		}
	})
	t.Run("merge of several", func(t *testing.T) {
		h.t = t
		g.Run("checkout", "-q", "-b", "many", "main")
		g.Run("reset", "-q", "--hard", "main^")
		g.Run("merge", "-q", "--no-edit", "left", "right")
		p := h.see()
		want := []string{left, right}
		slices.Sort(want)
		diff(t, p.MergeHeads, want)
		g.Run("checkout", "-q", "main")
	})
	t.Run("merge with conflict", func(t *testing.T) {
		h.t = t
		g.Write("sets/a.json", "a of main\n")
		g.Run("commit", "-q", "-a", "-m", "on main again")
		h.see()
		if _, err := g.Try("merge", "-q", "clash"); err == nil {
			t.Fatal("no conflict")
		}
		repo := open(t, g.Dir)
		diff(t, must(repo.MergeHeads())(t), []string{clash})
		if s := must(repo.State())(t); s != git.StateMerge {
			t.Errorf("state %q", s)
		}
		_, err := repo.Index("")
		if e := wantKind(t, err, git.ErrUnmerged); len(e.Paths) != 1 || e.Paths[0] != "sets/a.json" {
			t.Errorf("paths %v", e.Paths)
		}
		// A conflict elsewhere does not concern a question about other files.
		if got := must(repo.IndexFiles("sets/b.json"))(t); len(got) != 1 {
			t.Errorf("got %v", got)
		}
		if _, err := repo.WorkTree(""); err != nil {
			t.Errorf("files on disk can be read in a conflict: %v", err)
		}
		g.Write("sets/a.json", "a of both\n")
		g.Run("commit", "-q", "-a", "--no-edit")
		p := h.see()
		diff(t, p.MergeHeads, []string{clash})
	})
	t.Run("nothing under way", func(t *testing.T) {
		repo := open(t, g.Dir)
		if s, heads := must(repo.State())(t), must(repo.MergeHeads())(t); s != git.StateNone || len(heads) > 0 {
			t.Errorf("%q %v", s, heads)
		}
	})
}

func TestStates(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("a", "1\n")
	g.Commit("one")
	g.Run("checkout", "-q", "-b", "side")
	g.Write("a", "side\n")
	g.Commit("side")
	g.Run("format-patch", "-q", "-1", "-o", g.Path(".git"))
	g.Run("checkout", "-q", "main")
	g.Write("a", "main\n")
	g.Commit("main")
	g.Write("a", "main again\n")
	g.Commit("main again")
	for _, step := range []struct {
		begin, end []string
		want       git.State
	}{
		{[]string{"cherry-pick", "side"}, []string{"cherry-pick", "--abort"}, git.StateCherryPick},
		{[]string{"revert", "--no-edit", "HEAD^"}, []string{"revert", "--abort"}, git.StateRevert},
		{[]string{"merge", "side"}, []string{"merge", "--abort"}, git.StateMerge},
		// A rebase stopped by a conflict has a commit under way that it would pick.
		{[]string{"rebase", "side"}, []string{"rebase", "--abort"}, git.StateRebase},
		{[]string{"rebase", "--apply", "side"}, []string{"rebase", "--abort"}, git.StateRebase},
		{[]string{"am", "-q", ".git/0001-side.patch"}, []string{"am", "--abort"}, git.StateApply},
		{[]string{"bisect", "start", "HEAD", "HEAD^"}, []string{"bisect", "reset"}, git.StateBisect},
	} {
		t.Run(strings.Join(step.begin, " "), func(t *testing.T) {
			out, _ := g.Try(step.begin...)
			got, err := open(t, g.Dir).State()
			if err != nil || got != step.want {
				t.Errorf("state %q %v, want %q\n%s", got, err, step.want, out)
			}
			g.Run(step.end...)
			if got := must(open(t, g.Dir).State())(t); got != git.StateNone {
				t.Errorf("state %q after the end", got)
			}
		})
	}
}

// The hook of a push reads what is pushed from a quarantine: it is in no object store yet that others can see.
func TestPushHook(t *testing.T) {
	t.Parallel()
	for name, flag := range map[string]string{"bare": "--bare", "with a work tree": ""} {
		t.Run(name, func(t *testing.T) {
			server := gittest.New(t)
			if flag != "" {
				server = gittest.New(t, flag)
			}
			out := filepath.Join(t.TempDir(), "probe.json")
			server.Hook("pre-receive", hookScript(t, out)+"\n")
			g := gittest.New(t)
			g.Write("sets/a.json", "a1\n")
			first := g.Commit("one")
			g.Run("push", "-q", "file://"+filepath.ToSlash(server.Dir), "main:refs/heads/shared")
			p := seen(t, out)
			diff(t, p.Pushed, lsEntries(g.Run("ls-tree", "-r", "-z", "HEAD")))
			diff(t, p.PushedLog, []string{first})
			g.Write("sets/a.json", "a2\n")
			second := g.Commit("two")
			g.Run("push", "-q", "file://"+filepath.ToSlash(server.Dir), "main:refs/heads/shared")
			p = seen(t, out)
			diff(t, p.PushedLog, []string{second})
			if p.PushedContents["sets/a.json"] != "a2\n" || p.Dir != "" || p.Bare != (flag != "") {
				t.Errorf("%+v", p)
			}
			if server.Run("rev-parse", "refs/heads/shared") != second {
				t.Error("the push did not arrive")
			}
		})
	}
}
