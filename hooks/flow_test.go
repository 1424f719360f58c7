package hooks_test

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fettle/history/git/gittest"
	"fettle/hooks"
)

// branch makes a branch with one saved edit on it and goes back to main.
func (s *shop) branch(name string, edit func()) {
	s.t.Helper()
	s.Run("checkout", "-q", "-b", name)
	edit()
	s.Run("add", "-A")
	s.Run("commit", "-q", "--no-verify", "-m", "on "+name)
	s.Run("checkout", "-q", "main")
}

func TestMergeWithoutConflict(t *testing.T) {
	s := newShop(t)
	s.branch("side", func() { s.edit(oxygen3, "0.27 bar"); s.reason() })
	s.edit(oxygen6, "0.33 bar")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	out, code := s.git("merge", "--no-edit", "side")
	if code != 0 {
		t.Fatalf("both sides gave reasons, and the merge ended with %d:\n%s", code, out)
	}
	if got := s.pressure("HEAD", oxygen3) + ", " + s.pressure("HEAD", oxygen6); got != "0.27 bar, 0.33 bar" {
		t.Errorf("merged to %s", got)
	}
}

func TestMergeBringsBadValue(t *testing.T) {
	s := newShop(t)
	s.branch("side", func() { s.edit(oxygen3, "27 bar"); s.reason() })
	s.Write("notes.txt", "so that it is no fast-forward")
	s.Run("add", "-A")
	s.wantPassed(nil)
	head := s.head()
	out, code := s.git("merge", "--no-edit", "side")
	if code == 0 || s.head() != head {
		t.Errorf("merged: %s", out)
	}
	s.wantWords(out, "pressure-over-line", "the commit is stopped")
	// git leaves the merge open; finished by hand it comes before the other hook.
	s.wantStopped(nil, "pressure-over-line")
	s.edit(oxygen3, "0.28 bar")
	s.Run("add", "-A")
	s.wantStopped(nil, "no-reason", "fettle reason", "finish the merge")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
}

// A change without a reason does not get in by way of a branch.
func TestMergeBringsNoReason(t *testing.T) {
	s := newShop(t)
	s.branch("side", func() { s.edit(oxygen3, "0.27 bar") })
	s.Write("notes.txt", "x")
	s.Run("add", "-A")
	s.wantPassed(nil)
	// What the other side holds was judged there, or will be by the gate; the merge itself adds no value.
	if out, code := s.git("merge", "--no-edit", "side"); code != 0 {
		t.Errorf("%s", out)
	}
}

func TestMergeWithConflict(t *testing.T) {
	s := newShop(t)
	s.branch("side", func() { s.edit(oxygen3, "0.27 bar"); s.reason() })
	s.edit(oxygen3, "0.23 bar")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	if out, code := s.git("merge", "side"); code == 0 {
		t.Fatalf("no conflict: %s", out)
	}
	// A value of one side needs no new reason: that side gave it.
	s.Run("checkout", "-q", "--theirs", oxygenSet)
	s.Run("add", "-A")
	s.wantPassed(nil)

	s.Run("reset", "-q", "--hard", "HEAD~1")
	s.git("merge", "side")
	s.Run("checkout", "-q", "--ours", oxygenSet)
	s.edit(oxygen3, "0.25 bar")
	s.edit(oxygen3, "0.24 bar") // of neither side
	s.Run("add", "-A")
	s.wantStopped(nil, "no-reason")
	record := s.reason()
	s.wantStopped(nil, "no-reason", "git add "+record, "finish the merge")
	s.Run("add", "-A")
	s.wantPassed(nil)
}

// Leaving the other side's records out of a merge changes nothing against the last commit, and is still a loss.
func TestMergeDropsRecords(t *testing.T) {
	s := newShop(t)
	var record string
	s.branch("side", func() { s.edit(oxygen3, "0.27 bar"); record = s.reason() })
	side := strings.TrimSpace(s.Run("rev-parse", "side"))
	s.Write("notes.txt", "x")
	s.Run("add", "-A")
	s.wantPassed(nil)
	head := s.head()
	out, code := s.git("merge", "--no-edit", "-s", "ours", "side")
	if code == 0 || s.head() != head {
		t.Errorf("merged: %s", out)
	}
	s.wantWords(out, "record-removed", "git checkout "+side[:12]+" -- "+record)
	s.Run("checkout", side[:12], "--", record)
	s.wantPassed(nil)
}

func TestOctopus(t *testing.T) {
	s := newShop(t)
	s.branch("a", func() { s.edit(oxygen3, "0.27 bar"); s.reason() })
	s.branch("b", func() { s.Write("notes.txt", "b") })
	s.Write("more.txt", "x")
	s.Run("add", "-A")
	s.wantPassed(nil)
	if out, code := s.git("merge", "--no-edit", "a", "b"); code != 0 {
		t.Errorf("%d: %s", code, out)
	}
}

func TestSquash(t *testing.T) {
	s := newShop(t)
	s.branch("side", func() {
		s.edit(oxygen3, "0.26 bar")
		s.reason()
		s.Run("add", "-A")
		s.Run("commit", "-q", "-m", "first step")
		s.edit(oxygen3, "0.27 bar")
		s.reason()
	})
	s.Run("merge", "-q", "--squash", "side")
	s.wantPassed(nil) // two reasons lead from the old value to the new one
}

func TestDetachedHead(t *testing.T) {
	s := newShop(t)
	s.Run("checkout", "-q", "--detach")
	s.edit(oxygen3, "27 bar")
	s.wantStopped([]string{"-a"}, "pressure-over-line")
	s.edit(oxygen3, "0.27 bar")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil, "on no branch")
}

func TestLinkedWorkTree(t *testing.T) {
	s := newShop(t)
	dir := filepath.Join(gittest.Dir(t), "night shift")
	s.Run("worktree", "add", "-q", "-b", "night", dir)
	linked := *s
	linked.Repo = gittest.At(t, dir)
	// The edit in the first work tree is none of the second's business.
	s.edit(oxygen6, "35 bar")
	s.Run("add", "-A")
	linked.edit(oxygen3, "27 bar")
	linked.wantStopped([]string{"-a"}, "27 bar")
	linked.edit(oxygen3, "0.27 bar")
	record := linked.reason()
	linked.Run("add", record)
	linked.wantStopped([]string{oxygenSet}, "no-reason", record)
	linked.wantPassed([]string{"-a"})
	s.wantStopped(nil, "35 bar")
}

// Two libraries below the top, and files of no library beside them.
func TestLibrariesBelowTheTop(t *testing.T) {
	newShop(t) // makes the keys
	dir := gittest.Dir(t)
	s := makeShop(t, filepath.Join(dir, "plant"), "north hall/")
	other := *s
	other.root = "south/"
	if err := os.CopyFS(s.Path("south"), os.DirFS(libraryDir)); err != nil {
		t.Fatal(err)
	}
	s.Write("south/fettle.json", strings.Replace(s.Read("south/fettle.json"), libraryName, strings.Repeat("5", 32), 1))
	s.Write("sets/of/another.json", "{ no json")
	s.Run("add", "-A")
	s.install()
	s.wantPassed(nil) // no fettle.json at the top: sets/ there is no library
	s.edit(oxygen3, "27 bar")
	s.wantStopped([]string{"-a"}, "north hall/"+oxygenSet+":", "pressure-over-line", "no-reason")
	other.edit(oxygen3, "28 bar")
	s.wantStopped([]string{"-a"}, "north hall/"+oxygenSet+":", "south/"+oxygenSet+":")
	s.Run("checkout", "-q", "north hall")
	s.wantStopped([]string{"-a"}, "south/"+oxygenSet+":")
	s.Run("checkout", "-q", "south")
	// From a directory below.
	s.edit(oxygen3, "0.27 bar")
	record := s.reason()
	cmd := s.Command("commit", "-q", "-a", "-m", "from below")
	cmd.Dir = s.Path("north hall/sets")
	out, err := cmd.CombinedOutput()
	if err == nil {
		t.Errorf("passed without a reason: %s", out)
	}
	s.wantWords(string(out), "'"+record+"'")
	s.Run("add", "-A")
	s.wantPassed(nil)
}

func TestLibraryMoved(t *testing.T) {
	s := newShop(t)
	if err := os.Mkdir(s.Path("shop"), 0o777); err != nil {
		t.Fatal(err)
	}
	s.Run("mv", "fettle.json", "machines", "sets", "records", "approvers", "shop")
	s.wantPassed(nil)
	s.root = "shop/"
	s.edit(oxygen3, "0.27 bar")
	s.wantStopped([]string{"-a"}, "no-reason")
	s.Run("checkout", "-q", ".")
	s.Run("rm", "-q", "-r", "shop")
	s.wantStopped(nil, "record-removed")
}

func TestNoLibrary(t *testing.T) {
	newShop(t)
	s := &shop{Repo: gittest.New(t), t: t}
	s.install()
	s.Write("sets/list.json", "{ no json")
	s.Write("README", "x")
	s.Run("add", "-A")
	if out := s.wantPassed(nil); out != "" {
		t.Errorf("said %q", out)
	}
	s.wantPassed([]string{"--allow-empty"})
}

// A commit that touches nothing of the library is not even looked at.
func TestOtherFilesPass(t *testing.T) {
	s := newShop(t)
	s.edit(oxygen3, "27 bar")
	s.Write("notes.txt", "x")
	s.Run("add", "notes.txt")
	if out := s.wantPassed(nil); out != "" {
		t.Errorf("said %q", out)
	}
}

func TestMessageOnly(t *testing.T) {
	s := newShop(t)
	text := s.Read(oxygenSet)
	s.Write(oxygenSet, strings.Replace(text, `"kerf": "0.28 mm"`, `"kerf": "0.28 mm", "note": "runs well"`, 1))
	s.wantPassed([]string{"-a"}) // a note is no recipe
}

func TestUnknownHook(t *testing.T) {
	s := newShop(t)
	if _, err := hooks.Run(s.open(), hooks.Call{Hook: "post-office", Out: io.Discard}); err == nil || !strings.Contains(err.Error(), "post-office") {
		t.Errorf("got %v", err)
	}
}
