package hooks_test

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"fettle/history/git/gittest"
	"fettle/hooks"
)

// TestTorture holds the hooks to an oracle: every way in which git makes a commit, in every kind of repository, with good and bad
// edits. Each case runs twice. Without hooks it shows what git makes of it, and the oracle, which reads that commit with git show and
// plain JSON and knows nothing of fettle, says whether it is bad. With hooks the bad one must not come about, or must be told where
// nothing can stop it, and the good one must come out the same. A hook must leave index and files to the byte as they were, and git
// fsck must find nothing.
func TestTorture(t *testing.T) {
	prepareTorture(t)
	type tally struct{ good, bad int }
	var mu sync.Mutex
	tallies := map[string]*tally{}
	ran := 0
	slots := make(chan struct{}, 3)
	t.Run("cases", func(t *testing.T) {
		for i, e := range environments {
			for j, f := range flows {
				for k, edit := range editNames {
					if f.only != nil && !slices.Contains(f.only, edit) || slices.ContainsFunc(e.not, func(begins string) bool { return strings.HasPrefix(f.name, begins) }) || !chosen(i, j, k, edit) {
						continue
					}
					t.Run(e.name+"/"+f.name+"/"+edit, func(t *testing.T) {
						t.Parallel()
						slots <- struct{}{}
						defer func() { <-slots }()
						bad := torture(t, e, f, edit)
						mu.Lock()
						defer mu.Unlock()
						ran++
						for _, name := range []string{e.name, f.name, edit} {
							if tallies[name] == nil {
								tallies[name] = &tally{}
							}
							if bad {
								tallies[name].bad++
							} else {
								tallies[name].good++
							}
						}
					})
				}
			}
		}
	})
	t.Logf("%d cases", ran)
	if brief() || ran < 200 {
		if !brief() && !strings.Contains(flagValue("test.run"), "/") {
			t.Errorf("%d cases are too few", ran)
		}
		return
	}
	for _, e := range environments {
		if c := tallies[e.name]; c == nil || c.good == 0 || c.bad == 0 {
			t.Errorf("%s was not tried with good and bad: %+v", e.name, c)
		}
	}
	for _, f := range flows {
		if c := tallies[f.name]; c == nil || !f.harmless && c.bad == 0 || c.good == 0 {
			t.Errorf("%s was not tried with good and bad: %+v", f.name, c)
		}
	}
	for _, edit := range editNames {
		if c := tallies[edit]; c == nil || edit == "good" && c.bad > 0 || edit != "good" && c.bad == 0 {
			t.Errorf("the oracle does not know a %s edit: %+v", edit, c)
		}
	}
}

// chosen takes every flow in a plain repository, with good and bad edits, and in each of the others some flows, so that they all meet
// over the matrix.
func chosen(env, flow, k int, edit string) bool {
	switch {
	case brief():
		return env%3 == 0 && (env+flow)%13 == 0 && (edit == "good" || k == 1+(env+flow)%(len(editNames)-1))
	case env == 0:
		return flow == 0 || edit == "good" || edit == "value" || k == 2+flow%(len(editNames)-2)
	case (env*3+flow)%10 != 0:
		return false
	}
	return edit == "good" || edit == "value" || k == 2+env%(len(editNames)-2) && flow%2 == 0
}

func flagValue(name string) string {
	for _, arg := range os.Args {
		if value, ok := strings.CutPrefix(arg, "-"+name+"="); ok {
			return value
		}
	}
	return ""
}

// An edit is what lies on disk when somebody commits: contents of files, "" where the file is removed.
type edit map[string]string

var (
	tortureOnce  sync.Once
	tortureBase  string // a repository with hooks, to be copied
	tortureFiles map[string]edit
	editNames    = []string{"good", "value", "silent", "syntax", "removed", "altered"}
	watchFile    string
)

// prepareTorture makes the repository that all cases begin with, and the edits.
func prepareTorture(t *testing.T) {
	t.Helper()
	newShop(t) // makes the template and the keys
	tortureOnce.Do(func() {
		dir := filepath.Join(templateDir, "torture")
		watchFile = filepath.Join(dir, "touched")
		tortureBase = filepath.Join(dir, "shop")
		s := makeShop(t, tortureBase, "")
		program := filepath.Join(dir, "fettle")
		self, err := os.Executable()
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(program, []byte("#!/bin/sh\n"+actVariable+"="+watchFile+" exec '"+self+"' \"$@\"\n"), 0o777); err != nil {
			t.Fatal(err)
		}
		if _, err := hooks.InstallWith(s.open(), hooks.InstallOptions{Program: program}); err != nil {
			t.Fatal(err)
		}
		s.edit(oxygen6, "0.33 bar")
		saved := s.reason()
		s.Write("notes.txt", "first\n")
		s.Write("elsewhere/far/away.txt", "x\n")
		s.Run("add", "-A")
		s.wantPassed([]string{"-m", "6 mm"}) // through the hook, which remembers what it read
		clean := s.Read(oxygenSet)
		take := func(pressure string) (set, record, text string) {
			s.Write(oxygenSet, clean)
			s.edit(oxygen3, pressure)
			record = s.reason()
			set, text = s.Read(oxygenSet), s.Read(record)
			s.Remove(record)
			return set, record, text
		}
		good, goodRecord, goodText := take("0.27 bar")
		bad, badRecord, badText := take("27 bar")
		s.Write(oxygenSet, clean)
		s.Run("add", "-A")
		tortureFiles = map[string]edit{
			"good":    {oxygenSet: good, goodRecord: goodText},
			"value":   {oxygenSet: bad, badRecord: badText},
			"silent":  {oxygenSet: good},
			"syntax":  {oxygenSet: good[:len(good)/2], goodRecord: goodText},
			"removed": {saved: ""},
			"altered": {saved: strings.Replace(s.Read(saved), "trial-result", "quality-target", 1)},
		}
		if tortureFiles["altered"][saved] == s.Read(saved) {
			t.Fatal("nothing was altered")
		}
	})
	if tortureFiles == nil {
		t.Fatal("the repository could not be made")
	}
}

// A tortured is one repository of one case.
type tortured struct {
	t       *testing.T
	dir     string   // the work tree
	cwd     string   // where git is called, from dir
	root    string   // of the library, with a final slash
	env     []string // more environment
	config  []string // -c settings of every call
	before  string   // HEAD before the last step
	known   []string // commits before it
	noIndex bool     // git fsck is not to look at the index
	out     string   // what the last step printed
	code    int
}

func (c *tortured) run(args ...string) (string, int) {
	c.t.Helper()
	cmd := exec.Command("git", append(slices.Clone(c.config), args...)...)
	cmd.Dir = filepath.Join(c.dir, c.cwd)
	cmd.Env = append(os.Environ(), "GIT_AUTHOR_DATE=2026-07-15T08:00:00Z", "GIT_COMMITTER_DATE=2026-07-15T08:00:00Z",
		"GIT_AUTHOR_NAME="+gittest.Author, "GIT_AUTHOR_EMAIL="+mara, "GIT_COMMITTER_NAME="+gittest.Author, "GIT_COMMITTER_EMAIL="+mara)
	cmd.Env = append(cmd.Env, c.env...)
	out, err := cmd.CombinedOutput()
	if cmd.ProcessState == nil {
		c.t.Fatalf("git %v: %v", args, err)
	}
	return string(out), cmd.ProcessState.ExitCode()
}

// must runs a step that prepares.
func (c *tortured) must(args ...string) string {
	c.t.Helper()
	out, code := c.run(args...)
	if code != 0 {
		c.t.Fatalf("git %v ended with %d:\n%s", args, code, out)
	}
	return strings.TrimSpace(out)
}

// unchecked runs a step of the past, which no hook saw.
func (c *tortured) unchecked(args ...string) string {
	c.t.Helper()
	return c.must(append([]string{"-c", "core.hooksPath=/dev/null"}, args...)...)
}

// last runs the step that is judged. What follows if it worked out well so far is skipped otherwise.
func (c *tortured) last(args ...string) {
	c.t.Helper()
	if c.code == 0 {
		out, code := c.run(args...)
		c.out, c.code = c.out+out, code
	}
}

func (c *tortured) write(p, text string) {
	c.t.Helper()
	full := filepath.Join(c.dir, filepath.FromSlash(p))
	if text == "" {
		if err := os.Remove(full); err != nil {
			c.t.Fatal(err)
		}
		return
	}
	if err := os.MkdirAll(filepath.Dir(full), 0o777); err != nil {
		c.t.Fatal(err)
	}
	if err := os.WriteFile(full, []byte(text), 0o666); err != nil {
		c.t.Fatal(err)
	}
}

// apply puts an edit on disk and returns its paths.
func (c *tortured) apply(name string) []string {
	c.t.Helper()
	var paths []string
	for p, text := range tortureFiles[name] {
		c.write(c.root+p, text)
		paths = append(paths, ":(top)"+c.root+p)
	}
	slices.Sort(paths)
	return paths
}

func (c *tortured) stage(name string) {
	c.must(append([]string{"add", "-A", "--"}, c.apply(name)...)...)
}

// branch puts an edit on a branch of its own, which no hook saw, and comes back.
func (c *tortured) branch(name, edit string) {
	c.must("checkout", "-q", "-b", name)
	c.stage(edit)
	c.unchecked("commit", "-q", "-m", "on "+name)
	c.must("checkout", "-q", "-")
}

// aside saves something harmless, so that a branch does not just move forward.
func (c *tortured) aside() {
	c.write("aside.txt", "so that branches part\n")
	c.must("add", ":(top)aside.txt")
	c.unchecked("commit", "-q", "-m", "aside")
}

// A flow is one way in which git makes commits.
type flow struct {
	name     string
	only     []string // edits that it is tried with; nil is all
	told     bool     // nothing can stop it, so what is bad is only told
	harmless bool     // the edit is not part of what is committed
	do       func(c *tortured, edit string)
}

var flows = []flow{
	{name: "commit", do: func(c *tortured, edit string) { c.stage(edit); c.begin(); c.last("commit", "-q", "-m", "x") }},
	{name: "commit -a", do: func(c *tortured, edit string) {
		for _, p := range c.apply(edit) {
			if strings.Contains(p, "records/") { // a new file is no part of commit -a
				c.must("add", "-A", "--", p)
			}
		}
		c.begin()
		c.last("commit", "-q", "-a", "-m", "x")
	}},
	{name: "commit PATH", do: func(c *tortured, edit string) {
		paths := c.apply(edit)
		c.must(append([]string{"add", "-A", "--"}, paths...)...)
		c.begin()
		c.last(append([]string{"commit", "-q", "-m", "x", "--"}, paths...)...)
	}},
	{name: "commit -p", do: func(c *tortured, edit string) {
		for _, p := range c.apply(edit) {
			if strings.Contains(p, "records/") { // likewise
				c.must("add", "-A", "--", p)
			}
		}
		c.begin()
		c.last("-c", "alias.pieces=!yes | git commit -q -p -m x", "pieces")
	}},
	{name: "commit another PATH", harmless: true, do: func(c *tortured, edit string) {
		c.stage(edit)
		c.write("notes.txt", "second\n")
		c.begin()
		c.last("commit", "-q", "-m", "x", "--", ":(top)notes.txt")
	}},
	{name: "commit --include", do: func(c *tortured, edit string) {
		c.stage(edit)
		c.write("notes.txt", "second\n")
		c.begin()
		c.last("commit", "-q", "-m", "x", "--include", "--", ":(top)notes.txt")
	}},
	{name: "commit --allow-empty", harmless: true, do: func(c *tortured, edit string) {
		c.apply(edit)
		c.must("reset", "-q")
		c.begin()
		c.last("commit", "-q", "--allow-empty", "-m", "x")
	}},
	{name: "commit --amend", do: func(c *tortured, edit string) {
		c.aside()
		c.stage(edit)
		c.begin()
		c.last("commit", "-q", "--amend", "--no-edit")
	}},
	{name: "commit --no-verify", told: true, do: func(c *tortured, edit string) {
		c.stage(edit)
		c.begin()
		c.last("commit", "-q", "--no-verify", "-m", "x")
	}},
	{name: "first commit", only: []string{"good", "value", "syntax"}, do: func(c *tortured, edit string) {
		c.must("checkout", "-q", "--orphan", "fresh")
		c.stage(edit)
		c.begin()
		c.last("commit", "-q", "-m", "x")
	}},
	{name: "detached", do: func(c *tortured, edit string) {
		c.must("checkout", "-q", "--detach")
		c.stage(edit)
		c.begin()
		c.last("commit", "-q", "-m", "x")
	}},
	{name: "stash pop", do: func(c *tortured, edit string) {
		c.stage(edit)
		c.must("stash", "-q")
		c.aside()
		c.must("stash", "pop", "-q", "--index")
		c.begin()
		c.last("commit", "-q", "-m", "x")
	}},
	{name: "merge", do: func(c *tortured, edit string) {
		c.branch("side", edit)
		c.aside()
		c.begin()
		c.last("merge", "-q", "--no-edit", "side")
	}},
	{name: "merge --no-ff", do: func(c *tortured, edit string) {
		c.branch("side", edit)
		c.begin()
		c.last("merge", "-q", "--no-ff", "--no-edit", "side")
	}},
	{name: "merge --ff", told: true, do: func(c *tortured, edit string) {
		c.branch("side", edit)
		c.begin()
		c.last("merge", "-q", "side")
	}},
	{name: "merge --squash", do: func(c *tortured, edit string) {
		c.branch("side", edit)
		c.aside()
		c.begin()
		c.last("merge", "-q", "--squash", "side")
		c.last("commit", "-q", "-m", "x")
	}},
	{name: "octopus", do: func(c *tortured, edit string) {
		c.branch("side", edit)
		c.must("checkout", "-q", "-b", "other")
		c.write("other.txt", "x\n")
		c.must("add", ":(top)other.txt")
		c.unchecked("commit", "-q", "-m", "other")
		c.must("checkout", "-q", "-")
		c.aside()
		c.begin()
		c.last("merge", "-q", "--no-edit", "side", "other")
	}},
	{name: "merge with conflict", do: func(c *tortured, edit string) {
		c.must("checkout", "-q", "-b", "side")
		c.write("notes.txt", "of the side\n")
		c.unchecked("commit", "-q", "-a", "-m", "side")
		c.must("checkout", "-q", "-")
		c.write("notes.txt", "of main\n")
		c.unchecked("commit", "-q", "-a", "-m", "main")
		c.run("merge", "-q", "side")
		c.write("notes.txt", "of both\n")
		c.must("add", ":(top)notes.txt")
		c.stage(edit)
		c.begin()
		c.last("commit", "-q", "--no-edit")
	}},
	{name: "cherry-pick", do: func(c *tortured, edit string) {
		c.branch("side", edit)
		c.aside()
		c.begin()
		c.last("cherry-pick", "side")
	}},
	{name: "cherry-pick --no-commit", do: func(c *tortured, edit string) {
		c.branch("side", edit)
		c.aside()
		c.begin()
		c.last("cherry-pick", "-n", "side")
		c.last("commit", "-q", "-m", "x")
	}},
	{name: "revert", only: []string{"good", "value", "syntax", "silent"}, do: func(c *tortured, edit string) {
		// The edit came without its record and was taken back; now that is taken back.
		set := tortureFiles[edit][oxygenSet]
		if edit == "good" { // what was taken back is the edit, so the approved value returns
			set = tortureFiles["silent"][oxygenSet]
		}
		clean, _ := os.ReadFile(filepath.Join(c.dir, filepath.FromSlash(c.root+oxygenSet)))
		c.write(c.root+oxygenSet, set)
		c.unchecked("commit", "-q", "-a", "-m", "there")
		if edit != "good" {
			c.write(c.root+oxygenSet, string(clean))
			c.unchecked("commit", "-q", "-a", "-m", "and back")
		}
		c.begin()
		c.last("revert", "--no-edit", "HEAD")
	}},
	{name: "rebase", do: func(c *tortured, edit string) { c.rebase(edit, "rebase", "-q") }},
	{name: "rebase --apply", do: func(c *tortured, edit string) { c.rebase(edit, "rebase", "-q", "--apply") }},
	{name: "rebase reword", do: func(c *tortured, edit string) {
		c.env = append(c.env, "GIT_SEQUENCE_EDITOR=sed -i -e s/pick/reword/")
		c.rebase(edit, "rebase", "-q", "-i")
	}},
	{name: "rebase --autosquash", do: func(c *tortured, edit string) {
		c.must("checkout", "-q", "-b", "topic")
		c.write("more.txt", "x\n")
		c.must("add", ":(top)more.txt")
		c.unchecked("commit", "-q", "-m", "more")
		c.stage(edit)
		c.unchecked("commit", "-q", "--fixup", "HEAD")
		c.must("checkout", "-q", "-")
		c.aside()
		onto := c.must("rev-parse", "HEAD")
		c.must("checkout", "-q", "topic")
		c.env = append(c.env, "GIT_SEQUENCE_EDITOR=:")
		c.begin()
		c.last("rebase", "-q", "-i", "--autosquash", onto)
	}},
	{name: "rebase --root", do: func(c *tortured, edit string) {
		c.must("checkout", "-q", "-b", "topic")
		c.stage(edit)
		c.unchecked("commit", "-q", "-m", "on topic")
		c.must("hash-object", "-w", "-t", "tree", os.DevNull) // git names the empty tree there and does not keep it
		c.begin()
		c.last("rebase", "-q", "--root", "--no-ff")
	}},
	{name: "am", do: func(c *tortured, edit string) {
		c.branch("side", edit)
		patch := c.must("format-patch", "-1", "side", "-o", c.t.TempDir())
		c.aside()
		c.begin()
		c.last("am", "-q", patch)
	}},
	{name: "am -3", do: func(c *tortured, edit string) {
		c.branch("side", edit)
		patch := c.must("format-patch", "-1", "side", "-o", c.t.TempDir())
		c.aside()
		c.begin()
		c.last("am", "-q", "-3", patch)
	}},
	{name: "pull", told: true, only: []string{"good", "value", "silent"}, do: func(c *tortured, edit string) {
		dir := filepath.Join(gittest.Dir(c.t), "theirs")
		c.branch("side", edit)
		c.must("clone", "-q", "--bare", "--no-local", c.must("rev-parse", "--absolute-git-dir"), dir)
		c.must("branch", "-q", "-D", "side")
		c.begin()
		c.last("pull", "-q", "--ff-only", dir, "side")
	}},
}

// rebase puts an edit on a branch and moves that onto what happened beside it.
func (c *tortured) rebase(edit string, args ...string) {
	c.must("checkout", "-q", "-b", "topic")
	c.stage(edit)
	c.unchecked("commit", "-q", "-m", "on topic")
	c.must("checkout", "-q", "-")
	c.aside()
	onto := c.must("rev-parse", "HEAD")
	c.must("checkout", "-q", "topic")
	c.begin()
	c.last(append(args, onto)...)
}

// begin is where what is judged begins.
func (c *tortured) begin() {
	out, code := c.run("rev-parse", "-q", "--verify", "HEAD")
	if c.before = ""; code == 0 {
		c.before = strings.TrimSpace(out)
	}
	c.known = strings.Fields(c.must("rev-list", "--all"))
}

// landed are the commits that the branch has now and had not before: those that git made, and with the others those that it only
// took in.
func (c *tortured) landed(others bool) []string {
	out, code := c.run("rev-parse", "-q", "--verify", "HEAD")
	if code != 0 {
		return nil
	}
	args := []string{"rev-list", strings.TrimSpace(out)}
	if c.before != "" {
		args = append(args, "^"+c.before)
	}
	return slices.DeleteFunc(strings.Fields(c.must(args...)), func(commit string) bool { return !others && slices.Contains(c.known, commit) })
}

// torture runs one case and reports whether the oracle finds it bad.
func torture(t *testing.T, e environment, f flow, edit string) (bad bool) {
	why, tree := "", ""
	if edit != "good" || e.make == nil {
		free := enter(t, e, false)
		f.do(free, edit)
		if free.code != 0 {
			t.Fatalf("without hooks git fails: %d\n%s", free.code, free.out)
		}
		why, tree = free.judge(f), free.must("rev-parse", "HEAD^{tree}")
	}
	c := enter(t, e, true)
	f.do(c, edit)
	saved := c.judge(f)
	switch {
	case saved != "" && !f.told:
		t.Errorf("saved, and %s:\n%s", saved, c.out)
	case f.told && c.code != 0:
		t.Errorf("stopped, where that helps nobody:\n%s", c.out)
	case why != "" && !f.told && c.code == 0:
		t.Errorf("not stopped, although %s:\n%s", why, c.out)
	case why != "" && !strings.Contains(c.out, "fettle:"):
		t.Errorf("nobody is told that %s:\n%s", why, c.out)
	case why != "":
	case c.code != 0:
		t.Errorf("nothing is wrong, and it was stopped:\n%s", c.out)
	case strings.Contains(c.out, "error:"):
		t.Errorf("nothing is wrong, and it says:\n%s", c.out)
	case tree != "":
		if got := c.must("rev-parse", "HEAD^{tree}"); got != tree {
			t.Errorf("the tree %s was saved, and without hooks %s", got, tree)
		}
	default:
		want := 0.27
		if f.harmless || f.name == "revert" {
			want = 0.25
		}
		if got, err := c.pressure("HEAD"); err != nil || got != want {
			t.Errorf("%g bar was saved, %v:\n%s", got, err, c.out)
		}
	}
	c.wantWhole()
	return why != ""
}

// judge says what is wrong with what landed.
func (c *tortured) judge(f flow) (why string) {
	for _, commit := range c.landed(f.told) {
		if verdict := c.oracle(commit); verdict != "" {
			why = verdict
		}
	}
	return why
}

// wantWhole checks that no hook touched anything, and that git finds nothing wrong.
func (c *tortured) wantWhole() {
	c.t.Helper()
	if data, err := os.ReadFile(watchFile); err == nil && strings.Contains(string(data), c.dir+"\n") {
		c.t.Errorf("a hook changed the index or a file:\n%s", data)
	}
	if c.noIndex { // git 2.39 lets a sparse index name trees that it did not write, if any hook refuses the commit: "exit 1" does it
		c.env = append(c.env, "GIT_INDEX_FILE="+c.beside("none"))
	}
	if out, code := c.run("fsck", "--no-dangling", "--no-progress"); code != 0 {
		c.t.Errorf("git fsck: %s", out)
	}
}

// oracle says what is wrong with a commit, "" where nothing is. It reads git's own words and plain JSON.
func (c *tortured) oracle(commit string) string {
	c.t.Helper()
	parents := strings.Fields(c.must("show", "-s", "--format=%P", commit))
	records := c.records(commit)
	fresh := map[string]bool{}
	for p := range records {
		fresh[p] = true
	}
	for _, parent := range parents {
		for p, id := range c.records(parent) {
			fresh[p] = false
			switch records[p] {
			case id:
			case "":
				return p + " is gone"
			default:
				return p + " was altered"
			}
		}
	}
	pressure, err := c.pressure(commit)
	if err != nil {
		return err.Error()
	}
	if line := c.line(commit); pressure > line {
		return fmt.Sprintf("%g bar is more than the %g of the line", pressure, line)
	}
	const approved = 0.25 // in the sample, which was adopted as it stands
	if pressure == approved || len(parents) == 0 {
		return ""
	}
	for _, parent := range parents {
		if was, err := c.pressure(parent); err == nil && was == pressure {
			return ""
		}
	}
	for p := range records {
		if fresh[p] && strings.Contains(p, "-reason-") && c.explains(commit, p) {
			return ""
		}
	}
	return fmt.Sprintf("nobody says why it is %g bar", pressure)
}

// told are answers of git about commits, which are the same in every copy of a repository.
var told sync.Map

func (c *tortured) ask(args ...string) (string, int) {
	type answer struct {
		out  string
		code int
	}
	key := strings.Join(args, "\x00")
	if known, ok := told.Load(key); ok {
		return known.(answer).out, known.(answer).code
	}
	out, code := c.run(args...)
	if !strings.Contains(key, "HEAD") {
		told.Store(key, answer{out, code})
	}
	return out, code
}

// records are the ids of the records of a commit.
func (c *tortured) records(commit string) map[string]string {
	list, code := c.ask("ls-tree", "-r", "-z", "--full-tree", commit, c.root+"records/")
	if code != 0 {
		c.t.Fatal(list)
	}
	out := map[string]string{}
	for entry := range strings.SplitSeq(strings.TrimSuffix(list, "\x00"), "\x00") {
		facts, p, ok := strings.Cut(entry, "\t")
		if !ok {
			continue // there is none
		}
		out[p] = strings.Fields(facts)[2]
	}
	return out
}

func (c *tortured) json(commit, p string, into any) error {
	out, code := c.ask("show", commit+":"+c.root+p)
	if code != 0 {
		return fmt.Errorf("%s is gone", p)
	}
	if err := json.Unmarshal([]byte(out), into); err != nil {
		return fmt.Errorf("%s is no JSON: %v", p, err)
	}
	return nil
}

// pressure is that of 3 mm, in bar.
func (c *tortured) pressure(commit string) (float64, error) {
	var set struct {
		Conditions []struct {
			Thickness string
			Variant   string
			Cut       struct{ Pressure string }
		}
	}
	if err := c.json(commit, oxygenSet, &set); err != nil {
		return 0, err
	}
	for _, condition := range set.Conditions {
		if condition.Thickness == "3 mm" && condition.Variant == "" {
			return bar(condition.Cut.Pressure)
		}
	}
	return 0, fmt.Errorf("there is no 3 mm")
}

// line is the pressure of the oxygen line, in bar.
func (c *tortured) line(commit string) float64 {
	var machine struct {
		Gas map[string]struct {
			Line string `json:"line_pressure"`
		}
	}
	if err := c.json(commit, "machines/bay-2.json", &machine); err != nil {
		c.t.Fatal(err)
	}
	line, err := bar(machine.Gas["oxygen"].Line)
	if err != nil {
		c.t.Fatal(err)
	}
	return line
}

func bar(text string) (float64, error) {
	number, unit, _ := strings.Cut(text, " ")
	if unit != "bar" {
		return 0, fmt.Errorf("%q is not in bar", text)
	}
	return strconv.ParseFloat(number, 64)
}

// explains reports whether a record gives a reason for 3 mm.
func (c *tortured) explains(commit, p string) bool {
	var record struct {
		Changes []struct{ ID string }
	}
	if err := c.json(commit, strings.TrimPrefix(p, c.root), &record); err != nil {
		return false
	}
	return slices.ContainsFunc(record.Changes, func(change struct{ ID string }) bool { return change.ID == oxygen3 })
}
