package git_test

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// probeVariable makes the test binary act as a hook: it opens the repository it was started in, writes what it sees to
// the file that the variable names, and exits.
const probeVariable = "FETTLE_GIT_PROBE"

func TestMain(m *testing.M) {
	if file := os.Getenv(probeVariable); file != "" {
		os.Exit(runProbe(file))
	}
	if dir := os.Getenv(saveVariable); dir != "" {
		os.Exit(runSave(dir, os.Args[1:]))
	}
	gittest.Isolate()
	// Every repository would get a dozen sample hooks, which takes longer than most tests.
	os.Setenv("GIT_TEMPLATE_DIR", "")
	os.Exit(m.Run())
}

// probe is what a hook saw.
type probe struct {
	Dir, GitDir, CommonDir, Prefix string
	Bare                           bool
	Head, Branch                   string
	Unborn                         bool
	State                          git.State
	MergeHeads                     []string
	Index                          []git.Entry
	Contents                       map[string]string // of the index
	Changed                        []git.Change      // index against HEAD
	Author                         string
	Hooks                          string

	// In a hook of a push, which has no index: what was pushed.
	Pushed         []git.Entry
	PushedContents map[string]string
	PushedLog      []string

	// Other is the name of the first branch that OpenOther saw in the repository that FETTLE_GIT_OTHER names.
	Other string
}

// hookScript is the body of a hook that runs the probe after saving what git itself lists beside it.
func hookScript(t *testing.T, out string) string {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("git ls-files -s -z > '%[1]s.index'\ngit diff-index --cached --raw --no-abbrev --no-renames -z HEAD > '%[1]s.changed' 2>/dev/null\n%[2]s='%[1]s' exec '%[3]s'",
		out, probeVariable, self)
}

// seen reads what the probe wrote.
func seen(t *testing.T, file string) probe {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatalf("the hook did not run: %v", err)
	}
	os.Remove(file)
	var p probe
	if err := json.Unmarshal(data, &p); err != nil {
		t.Fatal(err)
	}
	return p
}

func runProbe(file string) int {
	p, err := look()
	if err != nil {
		fmt.Fprintln(os.Stderr, "probe:", err)
		return 1
	}
	data, err := json.Marshal(p)
	if err == nil {
		err = os.WriteFile(file, data, 0o666)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "probe:", err)
		return 1
	}
	return 0
}

func look() (p probe, err error) {
	repo, err := git.Open(".")
	if err != nil {
		return p, err
	}
	defer repo.Close()
	p.Dir, p.GitDir, p.CommonDir, p.Prefix, p.Bare = repo.Dir, repo.GitDir, repo.CommonDir, repo.Prefix, repo.IsBare()
	if p.Head, p.Branch, p.Unborn, _, err = repo.Head(); err != nil {
		return p, err
	}
	if other := os.Getenv("FETTLE_GIT_OTHER"); other != "" {
		elsewhere, err := git.OpenOther(other)
		if err != nil {
			return p, err
		}
		defer elsewhere.Close()
		if _, p.Other, _, _, err = elsewhere.Head(); err != nil {
			return p, err
		}
	}
	if repo.Dir == "" {
		return p, p.lookAtPush(repo)
	}
	if p.State, err = repo.State(); err != nil {
		return p, err
	}
	if p.MergeHeads, err = repo.MergeHeads(); err != nil {
		return p, err
	}
	if p.Index, err = repo.IndexFiles(); err != nil {
		return p, err
	}
	if p.Contents, err = contents(repo, p.Index); err != nil {
		return p, err
	}
	if !p.Unborn {
		if p.Changed, err = repo.IndexChanged("HEAD"); err != nil {
			return p, err
		}
	}
	name, email, err := repo.Identity()
	if err != nil {
		return p, err
	}
	p.Author = name + " <" + email + ">"
	p.Hooks, err = repo.HooksDir()
	return p, err
}

func contents(repo *git.Repo, entries []git.Entry) (map[string]string, error) {
	all := map[string]string{}
	for _, e := range entries {
		if e.Mode == git.ModeSubmodule {
			continue
		}
		data, err := repo.Blob(e.Hash)
		if err != nil {
			return nil, err
		}
		all[e.Path] = string(data)
	}
	return all, nil
}

// lookAtPush reads "OLD NEW REF" from standard input, as pre-receive gets it.
func (p *probe) lookAtPush(repo *git.Repo) error {
	lines := bufio.NewScanner(os.Stdin)
	for lines.Scan() {
		parts := strings.Fields(lines.Text())
		if len(parts) != 3 {
			return errors.New("pre-receive got " + lines.Text())
		}
		var err error
		if p.Pushed, err = repo.TreeFiles(parts[1]); err != nil {
			return err
		}
		if p.PushedContents, err = contents(repo, p.Pushed); err != nil {
			return err
		}
		revs := []string{parts[1]}
		if strings.Trim(parts[0], "0") != "" {
			revs = append(revs, "^"+parts[0])
		}
		log, err := repo.Log(git.LogOptions{Revs: revs, Changes: true})
		if err != nil {
			return err
		}
		for _, entry := range log {
			p.PushedLog = append(p.PushedLog, entry.Hash)
		}
	}
	return lines.Err()
}

// open opens a repository and closes it with the test.
func open(t testing.TB, dir string, options ...git.Option) *git.Repo {
	t.Helper()
	repo, err := git.Open(dir, options...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { repo.Close() })
	return repo
}

// must fails the test on an error.
func must[T any](value T, err error) func(t testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return value
	}
}

// wantKind checks the kind of an error and that it tells what to do, or at least what happened.
func wantKind(t testing.TB, err, kind error) *git.Error {
	t.Helper()
	if !errors.Is(err, kind) {
		t.Fatalf("got %v, want an error of kind %q", err, kind)
	}
	var full *git.Error
	if !errors.As(err, &full) || full.What == "" {
		t.Fatalf("%v is no *git.Error with words", err)
	}
	return full
}

// split takes NUL-separated output of git apart.
func split(out string) []string {
	out = strings.TrimSuffix(out, "\x00")
	if out == "" {
		return nil
	}
	return strings.Split(out, "\x00")
}

// lsEntries reads the output of `git ls-tree -r -z` or `git ls-files -s -z`.
func lsEntries(out string) []git.Entry {
	var entries []git.Entry
	for _, line := range split(out) {
		facts, path, _ := strings.Cut(line, "\t")
		parts := strings.Fields(facts)
		hash := parts[1]
		if parts[1] == "blob" || parts[1] == "commit" {
			hash = parts[2]
		}
		entries = append(entries, git.Entry{Path: path, Hash: hash, Mode: parts[0]})
	}
	return entries
}

// rawChanges reads the output of `git diff-tree --raw -z` and its kin, ordered by path.
func rawChanges(out string) []git.Change {
	var changes []git.Change
	items := split(out)
	for ; len(items) >= 2; items = items[2:] {
		parts := strings.Fields(strings.TrimPrefix(items[0], ":"))
		c := git.Change{Path: items[1]}
		if parts[0] != "000000" {
			c.OldMode, c.OldHash = parts[0], parts[2]
		}
		if parts[1] != "000000" {
			c.NewMode, c.NewHash = parts[1], parts[3]
		}
		changes = append(changes, c)
	}
	slices.SortFunc(changes, func(a, b git.Change) int { return strings.Compare(a.Path, b.Path) })
	return changes
}
