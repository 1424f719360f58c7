package git_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// TestPrintTellsEveryChange changes one thing after another, each of which a page could show, and wants another print each time; and the
// same print where nothing was done.
func TestPrintTellsEveryChange(t *testing.T) {
	gittest.Isolate()
	dir := t.TempDir()
	run := func(args ...string) {
		t.Helper()
		cmd := exec.Command("git", append([]string{"-C", dir, "-c", "user.name=x", "-c", "user.email=x@x.example"}, args...)...)
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("git %v: %v %s", args, err, out)
		}
	}
	put := func(name, text string) {
		t.Helper()
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	run("init", "-q")
	put("fettle.json", "{}")
	put("sets/bay-2/a.json", "one")
	repo, err := git.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer repo.Close()
	var last git.Print
	take := func() git.Print {
		t.Helper()
		p, err := repo.Print("", last)
		last = p
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	settled := func() git.Print { // nothing was touched of late
		t.Helper()
		old := time.Now().Add(-time.Hour)
		filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error { return os.Chtimes(path, old, old) })
		time.Sleep(2100 * time.Millisecond) // the system itself notes when that was done
		return take()
	}
	before := settled()
	if !before.Tells(take()) {
		t.Error("a print of what nobody touched tells nothing")
	}
	glance := func(was git.Print) git.Print {
		t.Helper()
		p, err := repo.Glance("", was)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	if !before.Glanced(glance(before)) {
		t.Error("a glance at what nobody touched tells nothing")
	}
	for _, change := range []struct {
		name string
		do   func()
	}{
		{"an edit", func() { put("sets/bay-2/a.json", "two") }},
		{"an edit that keeps size and time", func() {
			info, err := os.Stat(filepath.Join(dir, "sets/bay-2/a.json"))
			if err != nil {
				t.Fatal(err)
			}
			put("sets/bay-2/a.json", "six")
			os.Chtimes(filepath.Join(dir, "sets/bay-2/a.json"), info.ModTime(), info.ModTime())
		}},
		{"a new file", func() { put("sets/bay-2/b.json", "") }},
		{"a new directory", func() { os.MkdirAll(filepath.Join(dir, "records/2026"), 0o755) }},
		{"a new record", func() { put("records/2026/a.json", "") }},
		{"a new directory of records", func() { os.MkdirAll(filepath.Join(dir, "records/2026/07"), 0o755) }},
		{"a record that is gone", func() { os.Remove(filepath.Join(dir, "records/2026/a.json")) }},
		{"a file that is gone", func() { os.Remove(filepath.Join(dir, "sets/bay-2/b.json")) }},
		{"another name", func() { os.Rename(filepath.Join(dir, "sets/bay-2/a.json"), filepath.Join(dir, "sets/bay-2/c.json")) }},
		{"the right to read", func() { os.Chmod(filepath.Join(dir, "fettle.json"), 0o600) }},
		{"a commit", func() { run("add", "-A"); run("commit", "-q", "-m", "x") }},
		{"an amended commit", func() { run("commit", "-q", "--amend", "-m", "y") }},
		{"a branch", func() { run("branch", "waiting/x") }},
		{"another branch of the same commit", func() { run("switch", "-q", "waiting/x") }},
		{"a setting", func() { run("config", "user.signingkey", "/nowhere") }},
		{"attributes", func() { put(".gitattributes", "* text=auto\n") }},
	} {
		was := take()
		change.do()
		if now := take(); was.Tells(now) || before.Tells(now) {
			t.Errorf("%s: nothing is noticed", change.name)
		}
		if was.Glanced(glance(was)) {
			t.Errorf("%s: a glance notices nothing", change.name)
		}
	}
	for _, change := range []func(){
		func() { put("records/2026/07/b.json", "one") },
		func() { os.RemoveAll(filepath.Join(dir, "records")) },
		func() { put("records/2026/07/b.json", "one") },
	} {
		was := settled()
		if change(); was.Glanced(glance(was)) {
			t.Error("records come or go, and a glance notices nothing")
		}
	}
	was := settled()
	put("records/2026/07/b.json", "two")
	if was.Tells(take()) || !was.Glanced(glance(was)) {
		t.Error("a record that is written over where it lies is told by a glance, or by no print")
	}
	// What was touched just now may be touched again within the same tick of the clock: what it holds tells.
	put("fettle.json", "{ }")
	p := take()
	if !p.Tells(take()) || !p.Glanced(glance(p)) {
		t.Error("a print does not tell of a file that was touched this moment, and held the same ever since")
	}
}
