package git_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"fettle/history/git/gittest"
)

func TestReplaceFile(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	r := open(t, g.Dir)
	name := g.Path("sets/a.json")
	if err := r.ReplaceFile(name, []byte("1\n")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("there is no directory: %v", err)
	}
	g.Write("sets/a.json", "old\n")
	if err := os.Chmod(name, 0o600); err != nil {
		t.Fatal(err)
	}
	stale := filepath.Join(r.Scratch(), "new-left")
	if err := os.WriteFile(stale, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	if err := os.Chtimes(stale, time.Now().Add(-2*time.Hour), time.Now().Add(-2*time.Hour)); err != nil {
		t.Fatal(err)
	}
	if err := r.ReplaceFile(name, []byte("new\n")); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(name); err != nil || info.Mode().Perm() != 0o600 || g.Read("sets/a.json") != "new\n" {
		t.Errorf("%v %v %q", info.Mode(), err, g.Read("sets/a.json"))
	}
	if left, _ := os.ReadDir(r.Scratch()); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	// A directory in the way: nothing is lost, nothing is left.
	if err := os.Mkdir(g.Path("sets/b.json"), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := r.ReplaceFile(g.Path("sets/b.json"), []byte("x")); err == nil {
		t.Error("a directory was replaced")
	}
	if left, _ := os.ReadDir(g.Path("sets")); len(left) != 2 {
		t.Errorf("left behind: %v", left)
	}
}

// The repository may lie on another disk than the files.
func TestReplaceFileOnAnotherDisk(t *testing.T) {
	t.Parallel()
	other, err := os.MkdirTemp("/dev/shm", "fettle-test-")
	if err != nil {
		t.Skip("no second file system: ", err)
	}
	defer os.RemoveAll(other)
	g := gittest.New(t)
	r := open(t, g.Dir)
	name := filepath.Join(other, "a.json")
	for _, text := range []string{"1\n", "2\n"} {
		if err := r.ReplaceFile(name, []byte(text)); err != nil {
			t.Fatal(err)
		}
		if data, _ := os.ReadFile(name); string(data) != text {
			t.Errorf("%q", data)
		}
	}
	if left, _ := os.ReadDir(other); len(left) != 1 {
		t.Errorf("left behind: %v", left)
	}
}
