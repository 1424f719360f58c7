package git_test

import (
	"os"
	"path/filepath"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

func TestAddAndUnstage(t *testing.T) {
	t.Parallel()
	for _, born := range []bool{false, true} {
		g := gittest.New(t)
		if born {
			g.Commit("one")
		}
		repo := open(t, g.Dir)
		g.Write("sets/*.json", "star\n")
		g.Write("sets/a.json", "a\n")
		if err := repo.Add("sets/*.json"); err != nil {
			t.Fatal(err)
		}
		if got := g.Run("ls-files"); got != "sets/*.json" {
			t.Errorf("staged %q", got)
		}
		if err := repo.Add("sets"); err != nil {
			t.Fatal(err)
		}
		if err := repo.Unstage("sets/*.json"); err != nil {
			t.Fatal(err)
		}
		if got := g.Run("ls-files"); got != "sets/a.json" || g.Read("sets/*.json") != "star\n" {
			t.Errorf("staged %q", got)
		}
		if born {
			g.Commit("two")
			g.Remove("sets/a.json")
			if err := repo.Add("sets/a.json"); err != nil {
				t.Fatal(err)
			}
			if got := g.Run("status", "--porcelain"); got != "D  sets/a.json" {
				t.Errorf("status %q", got)
			}
		}
	}
}

func TestInit(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(gittest.Dir(t), "new", "shop")
	repo, err := git.Init(dir, "main")
	if err != nil {
		t.Fatal(err)
	}
	defer repo.Close()
	if _, branch, unborn, _, err := repo.Head(); err != nil || branch != "main" || !unborn || repo.Dir != dir {
		t.Errorf("%q %v %v", branch, unborn, err)
	}
	if err := repo.ConfigSet("fettle.x", "kept"); err != nil {
		t.Fatal(err)
	}
	again, err := git.Init(dir, "other")
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if v, _, _ := again.Config("fettle.x"); v != "kept" {
		t.Error("a second init changed the first")
	}
	if err := os.WriteFile(filepath.Join(dir, "file"), nil, 0o666); err != nil {
		t.Fatal(err)
	}
	_, err = git.Init(filepath.Join(dir, "file"), "main")
	wantKind(t, err, git.ErrNoSuchFile)
	if _, err := git.Init(filepath.Join(dir, "sub"), "--bad"); err == nil {
		t.Error("a bad name of a branch was accepted")
	}
}
