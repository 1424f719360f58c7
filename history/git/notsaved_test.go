package git_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

func TestNotSaved(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	g.Write("sets/a.json", "a\n")
	g.Write("sets/new.json", "new\n")
	g.Commit("one")
	repo := open(t, g.Dir)
	unchanged := func(t *testing.T, kind error, paths ...string) *git.Error {
		t.Helper()
		return wantUnchanged(t, g, kind, git.CommitOptions{}, paths...)
	}
	t.Run("nothing to save", func(t *testing.T) {
		g.Write("sets/free.json", "free\n")
		g.Run("add", "sets/free.json")
		unchanged(t, git.ErrNothingToCommit, "sets/new.json")
		// Staged another way, but on disk as it was saved; a file that came and went; one that was only taken out of the index;
		// a directory with an ignored file.
		g.Write("sets/a.json", "staged\n")
		g.Write("sets/gone.json", "x\n")
		g.Run("add", "sets/a.json", "sets/gone.json")
		g.Run("rm", "-q", "--cached", "sets/new.json")
		g.Write("sets/a.json", "a\n")
		g.Remove("sets/gone.json")
		g.Write(".git/info/exclude", "*.tmp\n")
		g.Write("deep/x.tmp", "x\n")
		g.Write("deep/y.json", "y\n")
		g.Run("add", "deep/y.json")
		g.Run("commit", "-q", "-m", "deep", "deep/y.json")
		for _, path := range []string{"sets/a.json", "sets/gone.json", "sets/new.json", "deep"} {
			unchanged(t, git.ErrNothingToCommit, path)
		}
		// A hook that prints does not make it a refusal.
		g.Hook("pre-commit", "echo checked")
		unchanged(t, git.ErrNothingToCommit, "sets/a.json", "sets/new.json")
		g.Remove(".git/hooks/pre-commit")
		g.Run("reset", "-q")

		bare := gittest.New(t)
		bare.Write("sets/gone.json", "x\n")
		bare.Run("add", "-A")
		bare.Remove("sets/gone.json")
		wantUnchanged(t, bare, git.ErrNothingToCommit, git.CommitOptions{}, "sets/gone.json")
	})
	t.Run("removed file, refused", func(t *testing.T) {
		g.Hook("pre-commit", "exit 1")
		g.Remove("sets/a.json")
		unchanged(t, git.ErrRefused, "sets/a.json")
		unchanged(t, git.ErrRefused, "sets/a.json", "sets/new.json")
		g.Remove(".git/hooks/pre-commit")
		g.Write("sets/a.json", "a\n")
	})
	t.Run("another repository", func(t *testing.T) {
		g.Run("init", "-q", "sets/inner")
		g.Run("-C", "sets/inner", "-c", "user.name=x", "-c", "user.email=x@y", "commit", "-q", "--allow-empty", "-m", "x")
		g.Write("sets/b.json", "b\n")
		for _, path := range []string{"sets", "sets/inner"} {
			if e := unchanged(t, git.ErrIrregular, path); len(e.Paths) != 1 || e.Paths[0] != "sets/inner" {
				t.Errorf("%v", e.Paths)
			}
		}
		g.Remove("sets/inner")
		g.Remove("sets/b.json")
	})
	t.Run("no such file", func(t *testing.T) { unchanged(t, git.ErrNoSuchFile, "sets/nowhere.json") })
	t.Run("no path", func(t *testing.T) { unchanged(t, git.ErrBadPath); unchanged(t, git.ErrBadPath, ".") })
	t.Run("ignored", func(t *testing.T) {
		g.Write(".gitignore", "secret*\n")
		g.Write("sets/secret.json", "s\n")
		g.Write("sets/ordinary.json", "o\n")
		unchanged(t, git.ErrIgnored, "sets/ordinary.json", "sets/secret.json")
		wantKind(t, repo.Add("sets/ordinary.json", "sets/secret.json"), git.ErrIgnored)
		// One that git knows is saved even so.
		g.Write("sets/known-secret.json", "k\n")
		g.Write(".gitignore", "*secret*\n")
		g.Run("add", "-f", "sets/known-secret.json")
		g.Run("commit", "-q", "-m", "k", "sets/known-secret.json")
		g.Write("sets/known-secret.json", "k2\n")
		if _, err := repo.CommitPaths("x", []string{"sets/known-secret.json"}, git.CommitOptions{}); err != nil {
			t.Error(err)
		}
	})
	t.Run("directory of the records ignored", func(t *testing.T) {
		for _, rule := range []string{"records/", "*-approval-*", "/records/2026"} {
			g.Write(".gitignore", rule+"\n")
			g.Write("records/2026/08/20260801T060000Z-approval-x.json", "{}\n")
			for _, path := range []string{"records/2026/08/20260801T060000Z-approval-x.json", "records"} {
				e := unchanged(t, git.ErrIgnored, path, "sets/ordinary.json")
				// The command that the person is told to type names the line.
				command, _, _ := strings.Cut(e.Help, " says")
				if got, err := g.Try(strings.Fields(command)[1:]...); err != nil || !strings.Contains(got, ".gitignore:1:"+rule) {
					t.Errorf("%s: %s %v", e.Help, got, err)
				}
			}
		}
		g.Remove(".gitignore")
		g.Remove("records")
	})
	t.Run("locked", func(t *testing.T) {
		g.Write("sets/locked.json", "l\n")
		g.Write("sets/a.json", "locked\n")
		g.Write(".git/index.lock", "")
		before := g.Read(".git/index")
		for _, path := range []string{"sets/locked.json", "sets/a.json"} {
			_, err := repo.CommitPaths("x", []string{path}, git.CommitOptions{})
			if e := wantKind(t, err, git.ErrBusy); !strings.Contains(e.What, "index.lock") {
				t.Errorf("%v does not name the lock", e)
			}
		}
		g.Remove(".git/index.lock")
		if g.Read(".git/index") != before {
			t.Error("the index was written under somebody else's lock")
		}
		// Found only once the hooks are through.
		for _, lock := range []string{".git/HEAD.lock", ".git/refs/heads/main.lock"} {
			before := state(g)
			g.Write(lock, "")
			_, err := repo.CommitPaths("x", []string{"sets/locked.json", "sets/a.json"}, git.CommitOptions{})
			if e := wantKind(t, err, git.ErrBusy); !strings.Contains(e.What, lock) {
				t.Errorf("%v does not name the lock", e)
			}
			g.Remove(lock)
			if after := state(g); after != before {
				t.Errorf("left its mark:\n%s\nbefore:\n%s", after, before)
			}
		}
	})
	t.Run("nobody is known", func(t *testing.T) {
		g.Run("config", "--unset", "user.name")
		g.Run("config", "user.useConfigOnly", "true")
		for _, author := range []string{"", "Jonas Falk <jonas@northgate.example>"} {
			e := wantUnchanged(t, g, git.ErrNoIdentity, git.CommitOptions{Author: author}, "sets/locked.json", "sets/a.json")
			if !strings.Contains(e.Help, "git config --global user.name") {
				t.Errorf("help %q", e.Help)
			}
		}
		g.Run("config", "user.name", gittest.Author)
	})
	t.Run("message, author", func(t *testing.T) {
		for _, message := range []string{"", " \n", "a\x00b"} {
			if _, err := repo.CommitPaths(message, []string{"sets/a.json"}, git.CommitOptions{}); err == nil {
				t.Errorf("message %q accepted", message)
			}
		}
		for _, author := range []string{"Jonas", "Jonas <a> <b>", "<a>", "A\nB <c>"} {
			if _, err := repo.CommitPaths("x", []string{"sets/a.json"}, git.CommitOptions{Author: author}); err == nil {
				t.Errorf("author %q accepted", author)
			}
		}
	})
	t.Run("bare", func(t *testing.T) {
		_, err := open(t, g.Clone("--bare").Dir).CommitPaths("x", []string{"a"}, git.CommitOptions{})
		wantKind(t, err, git.ErrNoWorkTree)
	})
}

// The messages are those of git on a disk that is read-only or full, or that belongs to somebody else.
func TestReadOnly(t *testing.T) {
	t.Parallel()
	if os.Geteuid() == 0 {
		t.Skip("nothing is read-only to root")
	}
	t.Parallel()
	for _, dirs := range [][]string{{".git"}, {".git/objects"}, {".git/refs/heads", ".git/logs"}} {
		t.Run(strings.Join(dirs, ", "), func(t *testing.T) {
			g := gittest.New(t)
			g.Write("sets/a.json", "1\n")
			g.Commit("one")
			g.Write("sets/a.json", "2\n")
			g.Write("sets/new.json", "2\n")
			mode := func(dir string, mode os.FileMode) {
				err := filepath.WalkDir(g.Path(dir), func(name string, entry fs.DirEntry, err error) error {
					if err == nil && entry.IsDir() {
						err = os.Chmod(name, mode)
					}
					return err
				})
				if err != nil {
					t.Fatal(err)
				}
			}
			before := state(g)
			for _, dir := range dirs {
				mode(dir, 0o555)
				defer mode(dir, 0o777)
			}
			for _, paths := range [][]string{{"sets/a.json"}, {"sets/new.json", "sets/a.json"}} {
				hash, err := open(t, g.Dir).CommitPaths("x", paths, git.CommitOptions{})
				if e := wantKind(t, err, git.ErrReadOnly); !strings.Contains(e.Error(), "ermission") || hash != "" {
					t.Errorf("%q %v", hash, e)
				}
				if after := state(g); after != before {
					t.Errorf("left its mark:\n%s\nbefore:\n%s", after, before)
				}
				wantNoLock(t, g)
			}
		})
	}
}
