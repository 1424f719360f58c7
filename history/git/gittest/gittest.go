// Package gittest makes git repositories for tests, with the real git program and nothing of the machine's own
// configuration: no system or user settings, no templates that differ, no clock of the wall.
//
// A [Repo] lives in a temporary directory of the test. Commits get an invented author and a clock that starts on
// 14 July 2026 and ticks one minute per commit, so equal steps give equal commit ids. Any step that fails ends the test.
//
//	repo := gittest.New(t)
//	repo.Write("sets/bay-2/brass-nitrogen.json", "{}\n")
//	first := repo.Commit("the first set")
//	repo.Hook("pre-commit", "exit 1")
//
// The first call changes the environment of the whole test process (see [Isolate]), because the code under test starts
// git too and must see the same settings.
package gittest

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// Author and Email are who commits in a test repository when the test does not say otherwise.
const (
	Author = "Mara Lind"
	Email  = "mara.lind@northgate.example"
)

// Start is the time of the first commit of every [Repo].
var Start = time.Date(2026, 7, 14, 8, 0, 0, 0, time.UTC)

// Repo is a git repository of a test.
type Repo struct {
	Dir string // the work tree, or the repository itself when it is bare; absolute, without symbolic links
	tb  testing.TB

	mu    sync.Mutex
	clock time.Time
}

var isolate sync.Once

// Isolate takes the settings of the machine and of its user out of the environment of this process: every GIT_ variable
// goes, HOME and XDG_CONFIG_HOME point to a place that does not exist, system and user configuration are switched off,
// messages are in English and times in UTC. It acts once. [New] and [At] call it; call it from TestMain when the code
// under test should start isolated before any repository is made.
func Isolate() {
	isolate.Do(func() {
		for _, entry := range os.Environ() {
			name, _, _ := strings.Cut(entry, "=")
			if strings.HasPrefix(name, "GIT_") || strings.HasPrefix(name, "GITHEAD_") {
				os.Unsetenv(name)
			}
		}
		nowhere := filepath.Join(os.TempDir(), "fettle-test-no-home")
		for name, value := range map[string]string{
			"HOME":                nowhere,
			"XDG_CONFIG_HOME":     filepath.Join(nowhere, ".config"),
			"GIT_CONFIG_NOSYSTEM": "1",
			"GIT_CONFIG_GLOBAL":   os.DevNull,
			"GIT_TERMINAL_PROMPT": "0",
			"GIT_EDITOR":          ":",
			"LC_ALL":              "C",
			"TZ":                  "UTC",
		} {
			os.Setenv(name, value)
		}
	})
}

// New makes an empty repository on branch main. Extra arguments go to `git init`, for instance "--bare" or
// "--object-format=sha256".
func New(tb testing.TB, initArgs ...string) *Repo {
	tb.Helper()
	Isolate()
	r := At(tb, Dir(tb))
	r.Run(append([]string{"init", "-q", "-b", "main"}, initArgs...)...)
	r.configure()
	return r
}

// At wraps a repository or directory that exists already.
func At(tb testing.TB, dir string) *Repo {
	tb.Helper()
	Isolate()
	if _, err := exec.LookPath("git"); err != nil {
		tb.Fatalf("the tests need the git program: %v", err)
	}
	return &Repo{Dir: dir, tb: tb, clock: Start}
}

// Dir is a temporary directory of the test, with symbolic links resolved so that it compares equal to what git prints.
func Dir(tb testing.TB) string {
	tb.Helper()
	dir, err := filepath.EvalSymlinks(tb.TempDir())
	if err != nil {
		tb.Fatal(err)
	}
	return dir
}

// configure writes to the file itself: a child for each setting would take most of the time that a test takes.
func (r *Repo) configure() {
	r.tb.Helper()
	file := r.Path(".git/config")
	if _, err := os.Stat(file); err != nil {
		file = r.gitPath("config") // bare, or kept elsewhere
	}
	f, err := os.OpenFile(file, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		r.tb.Fatal(err)
	}
	// No work of git in the background: it would race with the removal of the directory.
	_, err = f.WriteString("[user]\n\tname = " + Author + "\n\temail = " + Email + "\n[gc]\n\tauto = 0\n[maintenance]\n\tauto = false\n")
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		r.tb.Fatal(err)
	}
}

// gitPath is where git keeps a file of its own.
func (r *Repo) gitPath(name string) string {
	r.tb.Helper()
	path := r.Run("rev-parse", "--git-path", name)
	if !filepath.IsAbs(path) {
		path = filepath.Join(r.Dir, path)
	}
	return path
}

// Clone clones the repository into a new directory; extra arguments go to `git clone`.
func (r *Repo) Clone(args ...string) *Repo {
	r.tb.Helper()
	dir := filepath.Join(Dir(r.tb), "clone")
	all := append([]string{"clone", "-q"}, args...)
	r.Run(append(all, "--", "file://"+filepath.ToSlash(r.Dir), dir)...)
	clone := At(r.tb, dir)
	clone.configure()
	return clone
}

// Run runs git in the repository and returns its standard output without the final newline.
func (r *Repo) Run(args ...string) string {
	r.tb.Helper()
	return r.Input("", args...)
}

// Input is [Repo.Run] with text on standard input.
func (r *Repo) Input(stdin string, args ...string) string {
	r.tb.Helper()
	cmd := r.Command(args...)
	cmd.Stdin = strings.NewReader(stdin)
	var stderr strings.Builder
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		r.tb.Fatalf("git %s: %v\n%s%s", strings.Join(args, " "), err, out, stderr.String())
	}
	return strings.TrimSuffix(string(out), "\n")
}

// Try runs git and returns everything it printed and whether it failed, for steps that are meant to fail.
func (r *Repo) Try(args ...string) (string, error) {
	out, err := r.Command(args...).CombinedOutput()
	return string(out), err
}

// Command is a git command in the repository at the time of the test's clock, not started yet.
func (r *Repo) Command(args ...string) *exec.Cmd {
	r.mu.Lock()
	now := r.clock.Format(time.RFC3339)
	r.mu.Unlock()
	cmd := exec.Command("git", args...)
	cmd.Dir = r.Dir
	cmd.Env = append(os.Environ(), "GIT_AUTHOR_DATE="+now, "GIT_COMMITTER_DATE="+now)
	return cmd
}

// Commit stages the paths (all of the work tree when none are given), commits them and returns the commit id.
func (r *Repo) Commit(message string, paths ...string) string {
	r.tb.Helper()
	if len(paths) == 0 {
		r.Run("add", "-A")
	} else {
		r.Run(append([]string{"add", "--"}, paths...)...)
	}
	r.Run("commit", "-q", "--allow-empty", "-m", message)
	r.Tick(time.Minute)
	return r.Run("rev-parse", "HEAD")
}

// Tick moves the clock of the repository on.
func (r *Repo) Tick(d time.Duration) {
	r.mu.Lock()
	r.clock = r.clock.Add(d)
	r.mu.Unlock()
}

// Path is the absolute path of a file of the work tree, given with slashes.
func (r *Repo) Path(path string) string { return filepath.Join(r.Dir, filepath.FromSlash(path)) }

// Write writes a file of the work tree, and its directories.
func (r *Repo) Write(path, content string) {
	r.tb.Helper()
	full := r.Path(path)
	if err := os.MkdirAll(filepath.Dir(full), 0o777); err != nil {
		r.tb.Fatal(err)
	}
	if err := os.WriteFile(full, []byte(content), 0o666); err != nil {
		r.tb.Fatal(err)
	}
}

// Read is the content of a file of the work tree.
func (r *Repo) Read(path string) string {
	r.tb.Helper()
	data, err := os.ReadFile(r.Path(path))
	if err != nil {
		r.tb.Fatal(err)
	}
	return string(data)
}

// Remove removes a file or a directory of the work tree; git is not told.
func (r *Repo) Remove(path string) {
	r.tb.Helper()
	if err := os.RemoveAll(r.Path(path)); err != nil {
		r.tb.Fatal(err)
	}
}

// Hook installs a hook written in the POSIX shell; the first line is added.
func (r *Repo) Hook(name, script string) {
	r.tb.Helper()
	hooks := r.gitPath("hooks")
	if err := os.MkdirAll(hooks, 0o777); err != nil {
		r.tb.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(hooks, name), []byte("#!/bin/sh\n"+script+"\n"), 0o777); err != nil {
		r.tb.Fatal(err)
	}
}
