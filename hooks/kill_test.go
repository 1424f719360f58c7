//go:build unix

package hooks_test

import (
	"encoding/json"
	"errors"
	"io/fs"
	"math/rand"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"fettle/history/git/gittest"
)

var (
	builtOnce sync.Once
	built     string // the program itself
	sample    string // the sample shop, made by it
)

// builtShop makes a copy of the sample shop and gives the program that made it.
func builtShop(t testing.TB) *sampled {
	t.Helper()
	newShop(t) // makes the directory of templates
	builtOnce.Do(func() {
		program := filepath.Join(templateDir, "fettle-program")
		if out, err := exec.Command("go", "build", "-o", program, "../cmd/fettle").CombinedOutput(); err != nil {
			t.Fatalf("go build: %v\n%s", err, out)
		}
		dir := filepath.Join(templateDir, "sample")
		if out, err := exec.Command(program, "-q", "demo", dir).CombinedOutput(); err != nil {
			t.Fatalf("fettle demo: %v\n%s", err, out)
		}
		built, sample = program, dir
	})
	if built == "" {
		t.Fatal("there is no program to test")
	}
	s := &sampled{t: t, dir: filepath.Join(gittest.Dir(t), "shop")}
	if out, err := exec.Command("cp", "-a", sample, s.dir).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return s
}

// sampled is a copy of the sample shop.
type sampled struct {
	t   testing.TB
	dir string
	env []string
}

func (s *sampled) command(args ...string) *exec.Cmd {
	name := args[0]
	if name == "fettle" {
		name = built
	}
	cmd := exec.Command(name, args[1:]...)
	cmd.Dir = s.dir
	cmd.Env = append(os.Environ(), "FETTLE="+built, "SOURCE_DATE_EPOCH=1794000000", "GIT_AUTHOR_DATE=2026-11-06T20:00:00Z", "GIT_COMMITTER_DATE=2026-11-06T20:00:00Z")
	cmd.Env = append(cmd.Env, s.env...)
	return cmd
}

func (s *sampled) run(args ...string) (string, int) {
	s.t.Helper()
	cmd := s.command(args...)
	out, err := cmd.CombinedOutput()
	if cmd.ProcessState == nil {
		s.t.Fatalf("%v: %v", args, err)
	}
	return string(out), cmd.ProcessState.ExitCode()
}

func (s *sampled) must(args ...string) string {
	s.t.Helper()
	out, code := s.run(args...)
	if code != 0 {
		s.t.Fatalf("%v ended with %d:\n%s", args, code, out)
	}
	return out
}

// files are all files on disk but git's own, and what the last commit holds.
func (s *sampled) files() map[string]string {
	s.t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(s.dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			if err == nil && d.Name() == ".git" {
				return fs.SkipDir
			}
			return err
		}
		data, err := os.ReadFile(p)
		rel, _ := filepath.Rel(s.dir, p)
		out[filepath.ToSlash(rel)] = string(data)
		return err
	})
	if err != nil {
		s.t.Fatal(err)
	}
	out["HEAD"] = s.must("git", "rev-parse", "HEAD^{tree}")
	for _, hook := range []string{"pre-commit", "pre-push"} {
		data, _ := os.ReadFile(filepath.Join(s.dir, ".git/hooks", hook))
		out["hook "+hook] = string(data)
	}
	return out
}

// differ are the names under which two states differ.
func differ(a, b map[string]string) []string {
	var out []string
	for name, text := range a {
		if other, ok := b[name]; !ok || other != text {
			out = append(out, name)
		}
	}
	for name := range b {
		if _, ok := a[name]; !ok {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return out
}

// wantWhole checks that a repository and its library are whole: git finds nothing wrong, nobody's lock is left, and every file of
// JSON is one to its end.
func (s *sampled) wantWhole() {
	s.t.Helper()
	if out, code := s.run("git", "fsck", "--no-dangling", "--no-progress"); code != 0 {
		s.t.Errorf("git fsck: %s", out)
	}
	locks, _ := filepath.Glob(filepath.Join(s.dir, ".git", "*.lock"))
	if len(locks) > 0 {
		s.t.Errorf("locks are left: %v", locks)
	}
	for name, text := range s.files() {
		if strings.HasSuffix(name, ".json") && !json.Valid([]byte(text)) {
			s.t.Errorf("%s is half written:\n%s", name, text)
		}
	}
}

const (
	sampleSix     = "bay-2/carbon-steel/oxygen/6mm"
	sampleWaiting = "bay-2/carbon-steel/oxygen/10mm"
)

// writers are the commands that write, with what has to be done before.
var writers = []struct {
	name   string
	before [][]string
	args   []string
}{
	{"set", nil, []string{"fettle", "set", sampleSix, "cut.focus=3.2mm"}},
	{"put-back", [][]string{{"fettle", "set", sampleSix, "cut.focus=3.2mm"}}, []string{"fettle", "put-back", sampleSix}},
	{"copy", nil, []string{"fettle", "copy", sampleSix, "bay-2/carbon-steel/oxygen/7mm"}},
	{"reason", [][]string{{"fettle", "set", sampleSix, "cut.focus=3.2mm"}},
		[]string{"fettle", "reason", sampleSix, "--cause", "quality-target", "--ruled-out", "nozzle-wear", "--because", "cleaner edge"}},
	{"save", [][]string{{"fettle", "set", sampleSix, "cut.focus=3.2mm"}},
		[]string{"fettle", "save", "--cause", "quality-target", "--ruled-out", "nozzle-wear", "--because", "cleaner edge"}},
	{"approve", nil, []string{"fettle", "approve", sampleWaiting, "--because", "clean flanges"}},
	{"reject", nil, []string{"fettle", "reject", sampleWaiting, "--because", "dross"}},
	{"trial record", nil, []string{"fettle", "trial", "record", sampleSix, "--unit", "bay-2", "--good"}},
	{"load", nil, []string{"fettle", "load", sampleSix, "--unit", "bay-2"}},
	{"undo", [][]string{{"fettle", "set", sampleSix, "cut.focus=3.2mm"}, {"fettle", "reason", sampleSix, "--cause", "quality-target", "--ruled-out", "nozzle-wear", "--because", "x"}},
		[]string{"fettle", "undo"}},
	{"withdraw", nil, []string{"fettle", "withdraw", "c6fdeb936e53", "--because", "wrong plate"}},
	{"permit", nil, []string{"fettle", "permit", sampleWaiting, "--until", "2026-11-08 06:00", "--because", "night shift"}},
	{"escape", nil, []string{"fettle", "escape", "--unit", "bay-5", "--symptom", "dross", "--from", "2026-11-01 06:00", "--to", "2026-11-02 06:00", "--because", "edges"}},
	{"format", [][]string{{"sh", "-c", "sed -i 's/^  \"kind\"/    \"kind\"/' sets/*/*.json"}}, []string{"fettle", "format"}},
	{"import", [][]string{{"sh", "-c", "\"$FETTLE\" export bay-2/carbon-steel/ | sed 's/0.25/0.26/' >../sheet.csv"}}, []string{"fettle", "import", "../sheet.csv", "--write"}},
	{"triage --found", nil, []string{"fettle", "triage", sampleSix, "--symptom", "dross", "--unit", "bay-2", "--found", "nozzle-wear", "--because", "bore oval"}},
	{"compare --take", [][]string{{"sh", "-c", "\"$FETTLE\" export bay-2/carbon-steel/oxygen/ | sed 's/0.31/0.33/' >../sheet.csv"}},
		[]string{"fettle", "compare", "../sheet.csv", "--unit", "bay-2", "--take", sampleSix}},
	{"trial plan", nil, []string{"fettle", "trial", "plan", sampleSix, "--vary", "cut.pressure=0.29..0.33bar", "--steps", "3", "--seed", "5"}},
	{"waive", [][]string{{"fettle", "set", sampleSix, "nozzle.standoff=4mm"},
		{"fettle", "save", "--cause", "quality-target", "--ruled-out", "nozzle-wear", "--because", "x"}}, []string{"fettle", "waive", "standoff-orifice", sampleSix, "--until", "2026-12-01", "--because", "between stock sizes"}},
	{"hooks install", [][]string{{"fettle", "hooks", "remove"}}, []string{"fettle", "hooks", "install"}},
	{"hooks remove", nil, []string{"fettle", "hooks", "remove"}},
	{"git commit", [][]string{{"fettle", "set", sampleSix, "cut.focus=3.2mm"},
		{"fettle", "reason", sampleSix, "--cause", "quality-target", "--ruled-out", "nozzle-wear", "--because", "x"}, {"git", "add", "-A"}}, []string{"git", "commit", "-m", "by hand"}},
}

// A command that is killed at any moment leaves a whole repository and whole records, in the state before or the one after or on the
// way there, and run again it comes to the same end as if nothing had happened.
func TestKilledCommands(t *testing.T) {
	if !traceable() {
		t.Log("strace is not at hand or not allowed: killed at a moment of chance only")
	}
	builtShop(t)
	slots := make(chan struct{}, 3)
	t.Run("commands", func(t *testing.T) {
		for nth, w := range writers {
			if w.args[0] == "git" {
				continue // git that is killed leaves its locks, which is its way
			}
			t.Run(w.name, func(t *testing.T) {
				t.Parallel()
				slots <- struct{}{}
				defer func() { <-slots }()
				whole := builtShop(t)
				for _, step := range w.before {
					whole.must(step...)
				}
				before := whole.files()
				start := time.Now()
				whole.must(w.args...)
				took := time.Since(start)
				after := whole.files()
				if len(differ(before, after)) == 0 {
					t.Fatal("it writes nothing")
				}
				for _, m := range moments(nth, took) {
					s := builtShop(t)
					for _, step := range w.before {
						s.must(step...)
					}
					s.kill(m, w.args...)
					s.wantWhole()
					half := s.files()
					for _, name := range differ(half, before) {
						if text, ok := half[name]; ok && text != after[name] {
							t.Errorf("killed %s: %s is neither as before nor as after", m.name, name)
						}
					}
					out, code := s.run(w.args...)
					if left := differ(s.files(), after); len(left) > 0 {
						t.Errorf("killed %s and run again (%d), it is not as if nothing had happened: %v\n%s", m.name, code, left, out)
					}
					s.wantWhole()
				}
				if out, code := whole.run("fettle", "verify"); code != 0 {
					t.Errorf("fettle verify: %s", out)
				}
			})
		}
	})
}

// A moment is when a command is killed: after some time, or as it begins a call of the system.
type moment struct {
	name string
	wait time.Duration
	call []string // of strace
}

// moments are one by chance, and where strace is at hand and allowed two of those at which half of the work is done: before a file takes
// its place, and before another does, before one is removed, or before a child starts.
func moments(nth int, took time.Duration) []moment {
	wait := time.Duration(rand.Float64() * float64(took))
	out := []moment{{name: "after " + wait.String(), wait: wait}}
	if brief() || !traceable() {
		return out
	}
	half := [][2]string{{"rename,renameat,renameat2", "2"}, {"unlink,unlinkat", "1"}, {"clone,clone3,vfork", "6"}}
	for _, m := range [][2]string{{"rename,renameat,renameat2", "1"}, half[nth%len(half)]} {
		out = append(out, moment{name: "at call " + m[1] + " of " + m[0],
			call: []string{"-e", "trace=" + m[0], "-e", "inject=" + m[0] + ":signal=KILL:when=" + m[1]}})
	}
	return out
}

// traceable reports whether strace works here. It is let go of what a command starts, so that only the command is killed.
var traceable = sync.OnceValue(func() bool {
	return exec.Command("strace", "-f", "-b", "execve", "-o", os.DevNull, "-e", "trace=unlink", "true").Run() == nil
})

// kill runs a command and kills it, and only it; then it waits for what the command had started.
func (s *sampled) kill(m moment, args ...string) {
	s.t.Helper()
	cmd := s.command(args...)
	if m.call != nil {
		strace, err := exec.LookPath("strace")
		if err != nil {
			s.t.Fatal(err)
		}
		cmd.Args = append(append([]string{"strace", "-f", "-b", "execve", "-qq", "-o", os.DevNull}, m.call...), append([]string{cmd.Path}, args[1:]...)...)
		cmd.Path = strace
	}
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	if err := cmd.Start(); err != nil {
		s.t.Fatal(err)
	}
	if m.call == nil {
		time.Sleep(m.wait)
		_ = cmd.Process.Kill()
	}
	_ = cmd.Wait()
	for range 2000 {
		if err := syscall.Kill(-cmd.Process.Pid, 0); errors.Is(err, syscall.ESRCH) {
			return
		}
		time.Sleep(5 * time.Millisecond)
	}
	s.t.Fatal("what the command had started does not end")
}

// A hook that is killed stops the commit, whatever it would have said, and leaves nothing behind.
func TestKilledHook(t *testing.T) {
	for _, edit := range [][2]string{{"good", "3.2mm"}, {"bad", "90mm"}} {
		t.Run(edit[0], func(t *testing.T) {
			t.Parallel()
			for _, wait := range []string{"0", "0.005", "0.01", "0.02", "0.04"} {
				s := builtShop(t)
				hook := filepath.Join(s.dir, ".git/hooks/pre-commit")
				text, err := os.ReadFile(hook)
				if err != nil {
					t.Fatal(err)
				}
				killer := filepath.Join(gittest.Dir(t), "fettle")
				script := "#!/bin/sh\n'" + built + "' \"$@\" & one=$!\nif [ -n \"$KILL\" ]; then sleep " + wait + "; kill -9 $one; fi 2>/dev/null\nwait $one\n"
				if err := os.WriteFile(killer, []byte(script), 0o777); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(hook, []byte(strings.ReplaceAll(string(text), built, killer)), 0o777); err != nil {
					t.Fatal(err)
				}
				if !strings.Contains(string(text), built) {
					t.Fatalf("the hook does not call %s:\n%s", built, text)
				}
				s.run("fettle", "set", sampleSix, "cut.focus="+edit[1])
				s.must("fettle", "reason", sampleSix, "--cause", "quality-target", "--ruled-out", "nozzle-wear", "--because", "x")
				s.must("git", "add", "-A")
				before := s.files()
				s.env = []string{"KILL=yes"}
				out, code := s.run("git", "commit", "-q", "-m", "x")
				s.env = nil
				s.wantWhole()
				saved := s.files()["HEAD"] != before["HEAD"]
				if saved && (edit[0] == "bad" || code != 0) || !saved && code != 1 {
					t.Errorf("killed after %s s: saved %v, exit code %d\n%s", wait, saved, code, out)
				}
				delete(before, "HEAD")
				after := s.files()
				delete(after, "HEAD")
				if left := differ(after, before); len(left) > 0 {
					t.Errorf("files are not as they were: %v", left)
				}
				if out, code = s.run("git", "commit", "-q", "-m", "x"); (code == 0) != (edit[0] == "good") && !saved {
					t.Errorf("tried again it ended with %d:\n%s", code, out)
				}
				s.wantWhole()
			}
		})
	}
}
