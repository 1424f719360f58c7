package main

import (
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"fettle/history/git/gittest"
)

// inShell runs a program as a person at a terminal would, and returns all that it prints.
func inShell(t *testing.T, dir string, args ...string) (out string, code int) {
	t.Helper()
	cmd := exec.Command(args[0], args[1:]...)
	cmd.Dir = dir
	data, err := cmd.CombinedOutput()
	var failed *exec.ExitError
	if err != nil && !errors.As(err, &failed) {
		t.Fatal(err)
	}
	return string(data), cmd.ProcessState.ExitCode()
}

func demoIn(t *testing.T, dir string) string {
	t.Helper()
	gittest.Isolate()
	out, code := inShell(t, dir, "fettle", "demo")
	if code != exitGood {
		t.Fatalf("exit code %d:\n%s", code, out)
	}
	return out
}

// TestDemoWalk holds the walk to what it is for, and carries out all that it ends with.
func TestDemoWalk(t *testing.T) {
	dir := t.TempDir()
	out := demoIn(t, dir)
	rest := out
	for _, want := range []string{
		"made     ", "fettle-demo\n", "hook     pre-commit installed",
		"$ fettle lint\n", "4 notes that stood before",
		"$ fettle set bay-2/carbon-steel/oxygen/3mm cut.pressure=35bar\n", "35 bar is above the 3.5 bar of the oxygen line [pressure-over-line]",
		"$ git commit -am", "35 bar is above the 3.5 bar of the oxygen line [pressure-over-line]", "the commit is stopped",
		"$ fettle put-back bay-2/carbon-steel/oxygen/3mm\n", "nothing to save",
		"$ fettle review\n", "bay-2/carbon-steel/oxygen/10mm    changed since it was approved", "-> 0.46 bar   +15 %", "dross on the back edge",
		"$ fettle audit bay-2/carbon-steel/oxygen/10mm\n", "optics-change",
		"$ fettle status\n", "to decide  bay-2/carbon-steel/oxygen/10mm",
		"To try next", "fettle approve", "be the deputy", "Never cut with them",
	} {
		_, after, ok := strings.Cut(rest, want)
		if !ok {
			t.Fatalf("the walk does not come to %q:\n%s", want, out)
		}
		rest = after
	}

	r := gittest.At(t, filepath.Join(dir, "fettle-demo"))
	if left := r.Run("status", "--porcelain"); left != "" {
		t.Errorf("the walk leaves edits behind:\n%s", left)
	}
	if n := r.Run("rev-list", "--count", "HEAD"); n != "49" {
		t.Errorf("%s commits: the walk saved something, or the blocked edit went through", n)
	}
	for _, s := range nextSteps {
		if !strings.Contains(out, "\n  "+asTyped(s.args)+"\n") {
			t.Errorf("%q is not offered", asTyped(s.args))
		}
		if said, code := inShell(t, r.Dir, s.args...); code != s.code {
			t.Fatalf("%s: exit code %d\n%s", asTyped(s.args), code, said)
		}
	}
	if n := r.Run("rev-list", "--count", "HEAD"); n != "51" {
		t.Errorf("%s commits after an approval and a change", n)
	}
	said, _ := inShell(t, r.Dir, "fettle", "review")
	if strings.Contains(said, "oxygen/10mm") || !strings.Contains(said, "oxygen/6mm    changed") {
		t.Errorf("after the approval review says:\n%s", said)
	}

	if runtime.GOOS == "windows" {
		return // the line is for a POSIX shell
	}
	_, line, _ := strings.Cut(out, "\n  git config user.name")
	line, _, _ = strings.Cut("git config user.name"+line, "\n")
	if said, code := inShell(t, r.Dir, "sh", "-c", line); code != 0 {
		t.Fatalf("%s: %s", line, said)
	}
	if said, code := inShell(t, filepath.Join(r.Dir, "sets"), "fettle", "reject", "bay-2/carbon-steel/oxygen/6mm", "--because", "Nothing was cut with it"); code != exitGood {
		t.Errorf("the deputy may not decide: %s", said)
	}
	if author := r.Run("log", "-1", "--format=%an <%ae>"); author != "Ines Okafor <ines.okafor@northgate.example>" {
		t.Errorf("the rejection is saved by %s", author)
	}
}

// TestDemoSaysTheSame: two runs differ in nothing but the place.
func TestDemoSaysTheSame(t *testing.T) {
	a, b := t.TempDir(), t.TempDir()
	first, second := strings.ReplaceAll(demoIn(t, a), a, "HERE"), strings.ReplaceAll(demoIn(t, b), b, "HERE")
	if first != second {
		t.Errorf("first:\n%s\nsecond:\n%s", first, second)
	}
	id := func(dir string) string {
		return gittest.At(t, filepath.Join(dir, "fettle-demo")).Run("rev-parse", "HEAD")
	}
	if id(a) != id(b) {
		t.Errorf("last commit %s, then %s", id(a), id(b))
	}
}

func TestDemoRefuses(t *testing.T) {
	gittest.Isolate()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "mine"), []byte("kept"), 0o644); err != nil {
		t.Fatal(err)
	}
	out, code := inShell(t, dir, "fettle", "demo", ".")
	if code != exitFound || !strings.Contains(out, dir+" is there already and not empty; nothing was changed") || !strings.Contains(out, "fettle demo DIR") {
		t.Errorf("exit code %d: %s", code, out)
	}
	out, code = inShell(t, dir, "fettle", "demo", "mine")
	if code != exitTrouble || !strings.Contains(out, "is a file, not a directory") {
		t.Errorf("exit code %d: %s", code, out)
	}
	out, code = inShell(t, dir, "fettle", "demo", "--format", "json")
	if code != exitTrouble {
		t.Errorf("exit code %d: %s", code, out)
	}
	t.Setenv("GIT_DIR", filepath.Join(dir, "elsewhere"))
	out, code = inShell(t, dir, "fettle", "demo")
	if code != exitTrouble || !strings.Contains(out, "unset GIT_DIR") {
		t.Errorf("exit code %d: %s", code, out)
	}
	if entries, _ := os.ReadDir(dir); len(entries) != 1 {
		t.Errorf("%d entries are there", len(entries))
	}
}

// TestDemoLeavesSharedHooksAlone: who takes the hooks of all repositories from one directory gets none of the sample's there, and
// the walk still blocks.
func TestDemoLeavesSharedHooksAlone(t *testing.T) {
	gittest.Isolate()
	home, dir := t.TempDir(), t.TempDir()
	shared := filepath.Join(home, "hooks")
	if err := os.Mkdir(shared, 0o755); err != nil {
		t.Fatal(err)
	}
	config := filepath.Join(home, ".gitconfig")
	text := "[core]\n\thooksPath = " + filepath.ToSlash(shared) + "\n\tautocrlf = true\n[commit]\n\tgpgSign = true\n[user]\n\tname = Somebody Else\n\temail = else@elsewhere.example\n\tsigningKey = nowhere\n"
	if err := os.WriteFile(config, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	t.Setenv("GIT_CONFIG_GLOBAL", config)
	demoIn(t, dir)
	if entries, _ := os.ReadDir(shared); len(entries) != 0 {
		t.Errorf("the sample put %d hooks where all repositories take theirs from", len(entries))
	}
	if out, code := inShell(t, filepath.Join(dir, "fettle-demo"), nextSteps[0].args...); code != exitGood {
		t.Errorf("with somebody else's settings: %s", out)
	}
}

// TestDemoOutlivesGoRun: go run takes the program away when it ends, and the sample must go on.
func TestDemoOutlivesGoRun(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("moves a running program")
	}
	gittest.Isolate()
	program, err := exec.LookPath("fettle")
	if err != nil {
		t.Fatal(err)
	}
	for _, sub := range []string{"go-build123/b001/exe", "cache/1a/" + strings.Repeat("1a", 32) + "-d"} {
		passing := filepath.Join(t.TempDir(), filepath.FromSlash(sub), "fettle")
		copyOf(t, program, passing)
		path := os.Getenv("PATH")
		t.Setenv("PATH", withoutFettle(path))
		dir := t.TempDir()
		out, code := inShell(t, dir, passing, "demo")
		if code != exitGood || !strings.Contains(out, "For this terminal:") || !strings.Contains(out, filepath.Join(dir, "fettle-demo", ".git", "fettle-demo-program")) {
			t.Fatalf("exit code %d:\n%s", code, out)
		}
		if err := os.Remove(passing); err != nil {
			t.Fatal(err)
		}
		shop := filepath.Join(dir, "fettle-demo")
		if out, code := inShell(t, shop, filepath.Join(shop, ".git", "fettle-demo-program", "fettle"), "set", walkEdited, "cut.pressure=35bar"); code != exitFound {
			t.Fatalf("exit code %d: %s", code, out)
		}
		if out, code := inShell(t, shop, "git", "commit", "-qam", "bad"); code == 0 || !strings.Contains(out, "pressure-over-line") {
			t.Errorf("exit code %d: %s", code, out)
		}
		t.Setenv("PATH", path)
	}
}

func withoutFettle(path string) string {
	return strings.Join(slices.DeleteFunc(filepath.SplitList(path), func(dir string) bool {
		_, err := os.Stat(filepath.Join(dir, "fettle"))
		return err == nil
	}), string(filepath.ListSeparator))
}

func copyOf(t *testing.T, from, to string) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
		t.Fatal(err)
	}
	in, err := os.Open(from)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_WRONLY, 0o755)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(out, in); err != nil {
		t.Fatal(err)
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestShortened(t *testing.T) {
	long := "1\n2\n3\n4\n5\n6\n"
	for most, want := range map[int]string{
		2: "1\n2\n… 3 more lines: run it to see them\n6",
		3: "1\n2\n3\n… 2 more lines: run it to see them\n6",
		4: "1\n2\n3\n4\n5\n6", // one line is not worth a line about it
		9: "1\n2\n3\n4\n5\n6",
	} {
		if got := shortened(long, most); got != want {
			t.Errorf("%d lines: %q, want %q", most, got, want)
		}
	}
}

func TestCommandAsTyped(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"git", "commit", "-am", "More oxygen"}, "git commit -am 'More oxygen'"},
		{[]string{"fettle", "set", "bay-2/carbon-steel/oxygen/3mm", "cut.pressure=35bar"}, "fettle set bay-2/carbon-steel/oxygen/3mm cut.pressure=35bar"},
		{[]string{"x", "", "it's", "--"}, `x '' 'it'\''s' --`},
	} {
		if got := asTyped(c.args); got != c.want {
			t.Errorf("%s, want %s", got, c.want)
		}
	}
}
