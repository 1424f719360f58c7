package hooks_test

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"fettle/history"
	"fettle/history/git"
	"fettle/history/git/gittest"
	"fettle/history/signature"
	"fettle/hooks"
	"fettle/lint"
	"fettle/schema"
)

// actVariable makes the test binary act as the program that hooks call.
const actVariable = "FETTLE_HOOKS_TEST_ACT"

func TestMain(m *testing.M) {
	if watch := os.Getenv(actVariable); watch != "" {
		os.Exit(watched(watch, func() int { return act(os.Args[1:]) }))
	}
	gittest.Isolate()
	// A fettle that happens to be in the PATH of the machine must not stand in for the one under test.
	var dirs []string
	for _, dir := range filepath.SplitList(os.Getenv("PATH")) {
		if _, err := os.Stat(filepath.Join(dir, "fettle")); err != nil {
			dirs = append(dirs, dir)
		}
	}
	os.Setenv("PATH", strings.Join(dirs, string(os.PathListSeparator)))
	code := m.Run()
	if templateDir != "" {
		os.RemoveAll(templateDir)
	}
	os.Exit(code)
}

// raced is set where the race detector slows every hook down, which starts a process of its own and shares nothing.
var raced bool

// brief reports whether the long tests are to take a sample of their cases.
func brief() bool { return testing.Short() || raced }

// act is what `fettle hook NAME` does, with findings in one line.
func act(args []string) int {
	if len(args) < 2 || args[0] != "hook" {
		fmt.Fprintln(os.Stderr, "called as", args)
		return 99
	}
	repo, err := git.Open(".")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 2
	}
	defer repo.Close()
	stopped, err := hooks.Run(repo, hooks.Call{Hook: args[1], Args: args[2:], In: os.Stdin, Out: os.Stderr, At: gittest.Start.Add(time.Hour), Render: render})
	switch {
	case err != nil:
		fmt.Fprintln(os.Stderr, err)
		return 2
	case stopped:
		return 1
	}
	return 0
}

func render(w io.Writer, f lint.Finding) {
	fmt.Fprintf(w, "%s:%d: %s: %s %s [%s]\n", f.Path, f.Line, f.Severity, f.ID, f.Message, f.Rule)
}

// Persons of the shop. Their keys follow from their names.
const (
	mara  = gittest.Email
	jonas = "jonas.falk@northgate.example"
)

// A shop is a repository with an adopted library and our hooks.
type shop struct {
	*gittest.Repo
	t    testing.TB
	root string // of the library, "" or with a final slash
	keys string
	now  time.Time
}

const (
	oxygenSet   = "sets/bay-2/carbon-steel-oxygen.json"
	oxygen3     = "bay-2/carbon-steel/oxygen/3mm"
	oxygen6     = "bay-2/carbon-steel/oxygen/6mm"
	libraryDir  = "../cmd/fettle/demo/library"
	libraryName = "7f3c1e9a5b2d48069c4ae1d07b86f25d"
)

var (
	templateOnce sync.Once
	templateDir  string
)

// newShop copies a repository that is made once: the conditions of the demo, adopted by Mara Lind.
func newShop(t testing.TB) *shop {
	t.Helper()
	templateOnce.Do(func() {
		var err error
		if templateDir, err = os.MkdirTemp("", "fettle-hooks-test-"); err != nil {
			t.Fatal(err)
		}
		makeShop(t, filepath.Join(templateDir, "shop"), "")
	})
	dir := filepath.Join(gittest.Dir(t), "shop")
	if err := os.CopyFS(dir, os.DirFS(filepath.Join(templateDir, "shop"))); err != nil {
		t.Fatal(err)
	}
	return openShop(t, dir, "")
}

func openShop(t testing.TB, dir, root string) *shop {
	t.Helper()
	s := &shop{Repo: gittest.At(t, dir), t: t, root: root, keys: filepath.Join(templateDir, "keys"), now: gittest.Start.Add(time.Hour)}
	s.install()
	return s
}

func makeShop(t testing.TB, dir, root string) *shop {
	t.Helper()
	if err := os.MkdirAll(filepath.Join(dir, root), 0o777); err != nil {
		t.Fatal(err)
	}
	g := gittest.At(t, dir)
	g.Run("init", "-q", "-b", "main")
	for _, setting := range [][2]string{{"user.name", gittest.Author}, {"user.email", mara}, {"gc.auto", "0"}, {"maintenance.auto", "false"}} {
		g.Run("config", setting[0], setting[1])
	}
	s := &shop{Repo: g, t: t, root: root, keys: filepath.Join(templateDir, "keys"), now: gittest.Start}
	if err := os.CopyFS(filepath.Join(dir, root), os.DirFS(libraryDir)); err != nil {
		t.Fatal(err)
	}
	var lines string
	for _, person := range []string{mara, jonas} {
		line, err := signature.FormatLine(person, s.key(person).PublicKey(), "")
		if err != nil {
			t.Fatal(err)
		}
		lines += line + "\n"
	}
	s.Write(root+"approvers", lines)
	g.Commit("the library")
	s.add(s.record(&schema.Decision{Common: s.common(schema.KindAdoption, mara), Subjects: schema.Of(history.CurrentSubjects(s.disk().Lib))}, mara))
	g.Commit("adopted")
	return s
}

func (s *shop) key(person string) signature.Signer {
	s.t.Helper()
	path := filepath.Join(s.keys, person)
	if _, err := os.Stat(path); err == nil {
		key, err := signature.Load(path)
		if err != nil {
			s.t.Fatal(err)
		}
		return key
	}
	var seed [32]byte
	copy(seed[:], person)
	key, err := signature.GenerateFrom(seed, path, person)
	if err != nil {
		s.t.Fatal(err)
	}
	return key
}

// install puts hooks in place that call this test binary.
func (s *shop) install() []string {
	s.t.Helper()
	report, err := hooks.InstallWith(s.open(), hooks.InstallOptions{Program: program(s.t)})
	if err != nil {
		s.t.Fatal(err)
	}
	return report
}

// program is a script that runs the test binary as the program that hooks call. It writes each call into the file calls beside it.
func program(t testing.TB) string {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(gittest.Dir(t), "it's a program", "fettle") // with a blank and a quote
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte("#!/bin/sh\necho \"$2\" >>\"${0%/*}/calls\"\n"+actVariable+"=1 exec '"+self+"' \"$@\"\n"), 0o777); err != nil {
		t.Fatal(err)
	}
	return path
}

func (s *shop) open() *git.Repo {
	s.t.Helper()
	repo, err := git.Open(s.Dir)
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(func() { repo.Close() })
	return repo
}

// disk reads the library as it lies on disk.
func (s *shop) disk() hooks.Side {
	s.t.Helper()
	return s.side(func(r *git.Repo, root string) (git.Snapshot, error) { return r.WorkTree(root) })
}

func (s *shop) saved(rev string) hooks.Side {
	s.t.Helper()
	return s.side(func(r *git.Repo, root string) (git.Snapshot, error) { return r.Commit(rev, root) })
}

func (s *shop) side(take func(*git.Repo, string) (git.Snapshot, error)) hooks.Side {
	s.t.Helper()
	snap, err := take(s.open(), strings.TrimSuffix(s.root, "/"))
	if err != nil {
		s.t.Fatal(err)
	}
	side, err := hooks.ReadSide(snap)
	if err != nil {
		s.t.Fatal(err)
	}
	return side
}

func (s *shop) common(kind, by string) schema.Common {
	s.now = s.now.Add(time.Second)
	return schema.Common{Head: schema.Head{Kind: schema.Of(kind), Format: schema.Of(1)}, Library: schema.Of(libraryName),
		At: schema.Of(s.now.Format(time.RFC3339)), By: schema.Of(by)}
}

// record makes a record, signed where a person is named.
func (s *shop) record(body schema.Body, signer string) *schema.Record {
	s.t.Helper()
	r := schema.NewRecord(body)
	if signer != "" {
		armored, err := s.key(signer).Sign(r.Message)
		if err != nil {
			s.t.Fatal(err)
		}
		r.Common.Signature = schema.Of(armored)
		r = schema.NewRecord(body)
	}
	return r
}

// add writes a record to disk and returns its path from the top.
func (s *shop) add(r *schema.Record) string {
	s.t.Helper()
	s.Write(s.root+r.Path, string(r.Bytes()))
	return s.root + r.Path
}

// reason writes why the edits on disk were made, against the last commit or the one given, and returns the path of the record.
func (s *shop) reason(against ...string) string {
	s.t.Helper()
	before := s.saved(append(against, "HEAD")[0])
	var changes []schema.Change
	for _, d := range history.Compare(before.Lib, s.disk().Lib) {
		from, to := d.Digests()
		changes = append(changes, schema.Change{ID: schema.Of(d.ID.String()), From: schema.Of(string(from)), To: schema.Of(string(to))})
	}
	if len(changes) == 0 {
		s.t.Fatal("there is no edit to give a reason for")
	}
	return s.add(s.record(&schema.Reason{Common: s.common(schema.KindReason, mara), Changes: schema.Of(changes), Cause: schema.Of("trial-result")}, ""))
}

// try writes that a condition was cut with the values that lie on disk, and how it came out.
func (s *shop) try(id, outcome string) string {
	s.t.Helper()
	return s.tryOn("", id, outcome)
}

// tryOn is try on a real machine.
func (s *shop) tryOn(unit, id, outcome string) string {
	s.t.Helper()
	parsed, _ := schema.ParseID(id)
	lib := s.disk().Lib
	values := lib.Recipe(parsed).Values()
	common := s.common(schema.KindTrial, mara)
	if unit != "" {
		common.Unit = schema.Of(unit)
	}
	return s.add(s.record(&schema.Trial{Common: common, ID: schema.Of(id), Digest: schema.Of(string(values.Digest())), Values: schema.Of(*values),
		MachineValues: schema.Of(lib.Machine(parsed.Machine).BeamAndJet(parsed.Gas)), Steps: schema.Of([]schema.Step{{Outcome: schema.Of(outcome)}})}, ""))
}

// approve writes an approval of a condition as it lies on disk, and the trial that the policy asks for.
func (s *shop) approve(id, by string) string {
	s.t.Helper()
	s.try(id, "good")
	return s.approveUntried(id, by)
}

// approveSubject writes an approval of a machine or the like as it lies on disk.
func (s *shop) approveSubject(kind, name, by string) string {
	s.t.Helper()
	side := s.disk()
	i := slices.IndexFunc(history.CurrentSubjects(side.Lib), func(x schema.Subject) bool { return x.Kind.V == kind && x.ID.V == name })
	d := &schema.Decision{Common: s.common(schema.KindApproval, by), Subjects: schema.Of(history.CurrentSubjects(side.Lib)[i : i+1])}
	for _, head := range side.Ledger.Judge(libraryName, "").State(kind, name).Heads {
		d.Follows = schema.Of([]string{string(head.Record.Digest)})
	}
	return s.add(s.record(d, by))
}

// approveUntried writes an approval of a condition as it lies on disk.
func (s *shop) approveUntried(id, by string) string {
	s.t.Helper()
	side := s.disk()
	parsed, err := schema.ParseID(id)
	if err != nil {
		s.t.Fatal(err)
	}
	d := &schema.Decision{Common: s.common(schema.KindApproval, by), Subjects: schema.Of([]schema.Subject{history.ConditionSubject(side.Lib, side.Lib.Recipe(parsed))})}
	var follows []string
	standing := side.Ledger.Judge(libraryName, "")
	for _, state := range []*history.State{standing.Condition(parsed), standing.State(schema.SubjectSettings, schema.SubjectSettings)} {
		for _, head := range state.Heads {
			follows = append(follows, string(head.Record.Digest))
		}
	}
	slices.Sort(follows)
	d.Follows = schema.Of(slices.Compact(follows))
	return s.add(s.record(d, by))
}

// edit replaces the pressure of a condition of the oxygen set on disk.
func (s *shop) edit(id, pressure string) {
	s.t.Helper()
	s.replace(id, `"pressure": "`, pressure)
}

// replace sets the value behind the first occurrence of a member inside of cut of a condition of the oxygen set.
func (s *shop) replace(id, member, value string) {
	s.t.Helper()
	path := s.root + oxygenSet
	text := s.Read(path)
	thickness := strings.TrimSuffix(id[strings.LastIndex(id, "/")+1:], "mm") + " mm"
	start := strings.Index(text, `"thickness": "`+thickness+`"`)
	if start < 0 {
		s.t.Fatalf("no %s in the set", thickness)
	}
	start += strings.Index(text[start:], `"cut"`)
	start += strings.Index(text[start:], member) + len(member)
	end := start + strings.IndexByte(text[start:], '"')
	s.Write(path, text[:start]+value+text[end:])
}

// pressure is that of a condition in a commit, as git shows the file.
func (s *shop) pressure(rev, id string) string {
	s.t.Helper()
	parsed, _ := schema.ParseID(id)
	r := s.saved(rev).Lib.Recipe(parsed)
	if r == nil {
		return "none"
	}
	return r.Cut.V.Pressure.V.Text()
}

// commit runs git commit with these arguments and returns what it printed and its exit code.
func (s *shop) commit(args ...string) (out string, code int) {
	s.t.Helper()
	return s.git(append([]string{"commit", "-q", "-m", "an edit"}, args...)...)
}

func (s *shop) git(args ...string) (out string, code int) {
	s.t.Helper()
	cmd := s.Command(args...)
	text, err := cmd.CombinedOutput()
	if exit := (*exec.ExitError)(nil); err != nil && !asExit(err, &exit) {
		s.t.Fatal(err)
	}
	return string(text), cmd.ProcessState.ExitCode()
}

func asExit(err error, exit **exec.ExitError) bool {
	e, ok := err.(*exec.ExitError)
	*exit = e
	return ok
}

// wantStopped runs git commit, and checks that it was stopped with these words and that nothing moved.
func (s *shop) wantStopped(args []string, words ...string) string {
	s.t.Helper()
	head, before := s.head(), s.fingerprint()
	out, code := s.commit(args...)
	if code != 1 {
		s.t.Errorf("git commit %v ended with %d, want 1:\n%s", args, code, out)
	}
	s.wantWords(out, words...)
	if s.head() != head {
		s.t.Errorf("there is a new commit:\n%s", out)
	}
	if after := s.fingerprint(); after != before {
		s.t.Errorf("index or work tree are not what they were:\n%s\n%s", before, after)
	}
	return out
}

// wantPassed runs git commit and checks that it made a commit.
func (s *shop) wantPassed(args []string, words ...string) string {
	s.t.Helper()
	head := s.head()
	out, code := s.commit(args...)
	if code != 0 || s.head() == head {
		s.t.Errorf("git commit %v ended with %d:\n%s", args, code, out)
	}
	s.wantWords(out, words...)
	return out
}

func (s *shop) wantWords(out string, words ...string) {
	s.t.Helper()
	for _, w := range words {
		if !strings.Contains(out, w) {
			s.t.Errorf("want %q in:\n%s", w, out)
		}
	}
}

func (s *shop) head() string {
	out, err := s.Try("rev-parse", "-q", "--verify", "HEAD")
	if err != nil {
		return ""
	}
	return strings.TrimSpace(out)
}

// fingerprint is what git says of the index, and the files on disk.
func (s *shop) fingerprint() string {
	s.t.Helper()
	staged, err := s.Try("ls-files", "-s", "-t")
	if err != nil {
		s.t.Fatal(staged)
	}
	return hashOf(staged) + " " + treeHash(s.t, s.Dir, func(p string) bool { return !strings.HasPrefix(p, ".git/") })
}
