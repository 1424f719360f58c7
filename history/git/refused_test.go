package git_test

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// wantUnchanged holds a commit to fail with an error of a kind and to leave everything as it was.
func wantUnchanged(t *testing.T, g *gittest.Repo, kind error, options git.CommitOptions, paths ...string) *git.Error {
	t.Helper()
	before := state(g)
	hash, err := open(t, g.Dir).CommitPaths("x", paths, options)
	e := wantKind(t, err, kind)
	if after := state(g); after != before || hash != "" {
		t.Errorf("%q left its mark:\n%s\nbefore:\n%s", hash, after, before)
	}
	wantNoLock(t, g)
	return e
}

func wantNoLock(t *testing.T, g *gittest.Repo) {
	t.Helper()
	if locks := locks(t, g); len(locks) > 0 {
		t.Errorf("left locks: %v", locks)
	}
}

// locks are the lock files in a repository.
func locks(t *testing.T, g *gittest.Repo) (found []string) {
	t.Helper()
	err := fs.WalkDir(os.DirFS(g.Path(".git")), ".", func(name string, _ fs.DirEntry, err error) error {
		if strings.HasSuffix(name, ".lock") {
			found = append(found, name)
		}
		if errors.Is(err, fs.ErrNotExist) {
			err = nil // git is at work
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

func TestCommitRefused(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	repo := open(t, g.Dir)
	refuse := func(t *testing.T) {
		t.Helper()
		g.Write("sets/a.json", g.Run("hash-object", "--stdin")+t.Name())
		g.Write("sets/new.json", "new\n")
		g.Write("sets/staged.json", "staged\n")
		g.Run("add", "sets/staged.json")
		before := state(g)
		var live strings.Builder
		_, err := repo.CommitPaths("x", []string{"sets/a.json", "sets/new.json"}, git.CommitOptions{Output: &live})
		e := wantKind(t, err, git.ErrRefused)
		var failed *git.CommandError
		if !errors.As(e, &failed) || !strings.Contains(failed.Stderr, "no thanks") || !strings.Contains(live.String(), "no thanks") {
			t.Errorf("the words of the hook are lost: %v, live %q", err, live.String())
		}
		if after := state(g); after != before {
			t.Errorf("a refused commit left its mark:\n%s\nbefore:\n%s", after, before)
		}
	}
	for _, hook := range []string{"pre-commit", "commit-msg", "prepare-commit-msg"} {
		g.Hook(hook, "echo no thanks >&2; exit 1")
		t.Run(hook+", first commit", refuse)
		g.Remove(".git/hooks/" + hook)
	}
	g.Write("sets/a.json", "a\n")
	g.Commit("one")
	g.Remove("sets/new.json")
	g.Commit("two")
	g.Hook("pre-commit", "echo no thanks >&2; exit 1")
	t.Run("later commit", refuse)
	t.Run("without the hook", func(t *testing.T) {
		if _, err := repo.CommitPaths("x", []string{"sets/new.json"}, git.CommitOptions{NoVerify: true}); err != nil {
			t.Fatal(err)
		}
	})
	g.Remove(".git/hooks/pre-commit")
}

// A hook speaks to the person in its own words; they must come through whole, on both of its outputs.
func TestWordsOfAHook(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "1\n")
	g.Commit("one")
	repo := open(t, g.Dir)
	const words = "printf 'sets/a.json:3:4: \\033[31merror\\033[0m: 35 bar\\n\\t| größer\\r\\n\\n'; echo 'fatal: not of git' >&2; echo \"by $GIT_AUTHOR_NAME\""
	printed := func(author string) string {
		return "sets/a.json:3:4: \x1b[31merror\x1b[0m: 35 bar\n\t| größer\r\n\nfatal: not of git\nby " + author + "\n"
	}
	options := func(live *strings.Builder) git.CommitOptions {
		return git.CommitOptions{Output: live, Author: "Jonas Falk <jonas@northgate.example>"}
	}
	t.Run("refuses", func(t *testing.T) {
		g.Hook("pre-commit", words+"; exit 1")
		g.Write("sets/a.json", "2\n")
		var live strings.Builder
		_, err := repo.CommitPaths("x", []string{"sets/a.json"}, options(&live))
		wantKind(t, err, git.ErrRefused)
		var failed *git.CommandError
		if want := printed("Jonas Falk"); live.String() != want || !errors.As(err, &failed) || failed.Stderr != want {
			t.Errorf("live %q\nerror %+v\nwant %q", live.String(), failed, want)
		}
		if strings.ContainsRune(err.Error(), 0x1b) {
			t.Errorf("the error would command a terminal: %q", err)
		}
	})
	t.Run("passes", func(t *testing.T) {
		g.Hook("pre-commit", words)
		g.Hook("post-commit", "echo after; exit 1")
		g.Write("sets/a.json", "3\n")
		var live strings.Builder
		id, err := repo.CommitPaths("x", []string{"sets/a.json"}, options(&live))
		if want := printed("Jonas Falk") + "after\n"; err != nil || live.String() != want || id != g.Run("rev-parse", "HEAD") {
			t.Errorf("%q %v live %q\nwant %q", id, err, live.String(), want)
		}
		if got := g.Run("log", "-1", "--format=%an|%cn"); got != "Jonas Falk|"+gittest.Author {
			t.Errorf("saved by %s", got)
		}
		g.Remove(".git/hooks/post-commit")
	})
	t.Run("at great length", func(t *testing.T) {
		g.Hook("pre-commit", "i=0; while [ $i -lt 20000 ]; do echo line $i; i=$((i+1)); done; exit 1")
		g.Write("sets/a.json", "4\n")
		var live, want strings.Builder
		_, err := repo.CommitPaths("x", []string{"sets/a.json"}, options(&live))
		wantKind(t, err, git.ErrRefused)
		for i := range 20000 {
			fmt.Fprintf(&want, "line %d\n", i)
		}
		if live.String() != want.String() {
			t.Errorf("%d bytes came through of %d", live.Len(), want.Len())
		}
		var failed *git.CommandError
		if !errors.As(err, &failed) || !strings.HasPrefix(failed.Stderr, "line 0\nline 1\n") || !strings.HasSuffix(failed.Stderr, "\nline 19999\n") || !strings.Contains(failed.Stderr, " bytes left out)\n") {
			t.Errorf("the error holds %d bytes", len(failed.Stderr))
		}
	})
	t.Run("is no program", func(t *testing.T) {
		g.Hook("pre-commit", "")
		g.Write(".git/hooks/pre-commit", "#!/nowhere/interpreter\n")
		var live strings.Builder
		_, err := repo.CommitPaths("x", []string{"sets/a.json"}, options(&live))
		if wantKind(t, err, git.ErrRefused); !strings.Contains(live.String(), "pre-commit") {
			t.Errorf("nothing says which hook: %q", live.String())
		}
	})
}
