package demo

import (
	"bytes"
	"errors"
	"io/fs"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"fettle/history"
	"fettle/history/git"
	"fettle/history/git/gittest"
	"fettle/lint"
	"fettle/schema"
)

// sample is where the library lies that tests read and none changes.
var sample string

func TestMain(m *testing.M) {
	gittest.Isolate()
	var err error
	if sample, err = os.MkdirTemp("", "fettle-demo-test"); err != nil {
		panic(err)
	}
	code := m.Run()
	os.RemoveAll(sample)
	os.Exit(code)
}

var once = sync.OnceValues(func() (*Shop, error) {
	s, err := Northgate()
	if err != nil {
		return nil, err
	}
	return s.Build(filepath.Join(sample, "shop"))
})

func shared(t *testing.T) *Shop {
	t.Helper()
	shop, err := once()
	if err != nil {
		t.Fatal(err)
	}
	return shop
}

func northgate(t *testing.T) *Story {
	t.Helper()
	s, err := Northgate()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func built(t *testing.T, dir string) *Shop {
	t.Helper()
	shop, err := northgate(t).Build(dir)
	if err != nil {
		t.Fatal(err)
	}
	return shop
}

// content is every file below a directory but those of git.
func content(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			if err == nil && d.Name() == ".git" {
				return fs.SkipDir
			}
			return err
		}
		data, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		out[filepath.ToSlash(rel)] = string(data)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestSameBytes builds twice, the second time for somebody whose settings would change what git does, in another zone.
func TestSameBytes(t *testing.T) {
	a := shared(t)

	home := t.TempDir()
	template := filepath.Join(home, "template")
	if err := os.MkdirAll(filepath.Join(template, "hooks"), 0o755); err != nil {
		t.Fatal(err)
	}
	refuse := "#!/bin/sh\necho refused by a hook of the user >&2\nexit 1\n"
	for _, hook := range []string{"pre-commit", "post-checkout", "reference-transaction"} {
		if err := os.WriteFile(filepath.Join(template, "hooks", hook), []byte(refuse), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	config := "[user]\n\tname = Somebody Else\n\temail = else@elsewhere.example\n[init]\n\tdefaultBranch = trunk\n\ttemplateDir = " + filepath.ToSlash(template) +
		"\n[core]\n\tautocrlf = true\n\teol = crlf\n\thooksPath = " + filepath.ToSlash(filepath.Join(template, "hooks")) + "\n[commit]\n\tgpgSign = true\n[i18n]\n\tcommitEncoding = ISO-8859-1\n"
	if err := os.WriteFile(filepath.Join(home, ".gitconfig"), []byte(config), 0o644); err != nil {
		t.Fatal(err)
	}
	for name, value := range map[string]string{"HOME": home, "GIT_CONFIG_GLOBAL": filepath.Join(home, ".gitconfig"), "TZ": "Pacific/Auckland",
		"GIT_AUTHOR_DATE": "2001-01-01T00:00:00Z", "GIT_DIR": filepath.Join(home, "elsewhere"), "GIT_DEFAULT_HASH": "sha256"} {
		t.Setenv(name, value)
	}
	dir := filepath.Join(t.TempDir(), "b")
	if err := os.Mkdir(dir, 0o755); err != nil { // an empty directory is as good as none
		t.Fatal(err)
	}
	b := built(t, dir)

	if a.Head != b.Head || a.Commits != b.Commits {
		t.Errorf("the last of %d commits is %s, then the last of %d is %s", a.Commits, a.Head, b.Commits, b.Head)
	}
	first, second := content(t, a.Dir), content(t, b.Dir)
	if !maps.Equal(first, second) || len(first) < 60 {
		t.Errorf("%d files, then %d, and not the same", len(first), len(second))
	}
	if !maps.Equal(content(t, a.Keys), content(t, b.Keys)) {
		t.Error("the keys are others the second time")
	}
}

// TestGitFindsNothingWrong asks git itself.
func TestGitFindsNothingWrong(t *testing.T) {
	shop := shared(t)
	r := gittest.At(t, shop.Dir)
	if out := r.Run("fsck", "--strict", "--full"); strings.TrimSpace(out) != "" {
		t.Errorf("git fsck --strict: %s", out)
	}
	if out := r.Run("status", "--porcelain", "--ignored"); out != "" {
		t.Errorf("files on disk are not those of the last commit:\n%s", out)
	}
	if out := strings.TrimSpace(r.Run("symbolic-ref", "HEAD")); out != "refs/heads/main" {
		t.Errorf("on %s", out)
	}
	if out := strings.Fields(r.Run("rev-list", "--count", "HEAD")); out[0] != "49" || shop.Commits != 49 {
		t.Errorf("%s commits, and the builder says %d", out[0], shop.Commits)
	}
}

// TestKeysAreKeptPrivate holds the private keys to what ssh asks of them, and out of every commit.
func TestKeysAreKeptPrivate(t *testing.T) {
	shop := shared(t)
	for _, p := range northgate(t).People {
		info, err := os.Stat(filepath.Join(shop.Keys, p.keyFile()))
		if err != nil {
			t.Fatal(err)
		}
		if runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
			t.Errorf("the key of %s has mode %o", p.Name, info.Mode().Perm())
		}
	}
	for path, text := range content(t, shop.Dir) {
		if strings.Contains(text, "PRIVATE KEY") {
			t.Errorf("%s holds a private key", path)
		}
	}
}

// TestEndsAsEmbedded: the story, told from its beginning, ends with the files that it was told back from.
func TestEndsAsEmbedded(t *testing.T) {
	want, err := last()
	if err != nil {
		t.Fatal(err)
	}
	got := content(t, shared(t).Dir)
	for path, data := range want {
		if got[path] != string(data) {
			t.Errorf("%s is not as it is embedded", path)
		}
		delete(got, path)
	}
	for path := range got {
		if !schema.IsRecordPath(path) && path != schema.RosterFile && path != schema.PeopleFile {
			t.Errorf("%s comes from nowhere", path)
		}
	}
}

// read is the library of the last commit.
func read(t *testing.T, dir string) (git.Snapshot, *schema.Library, *history.Ledger) {
	t.Helper()
	repo, err := git.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { repo.Close() })
	snap, err := repo.Commit("HEAD", "")
	if err != nil {
		t.Fatal(err)
	}
	lib, err := schema.ReadLibrary(snap)
	if err != nil {
		t.Fatal(err)
	}
	ledger, err := history.ReadLedger(snap)
	if err != nil {
		t.Fatal(err)
	}
	return snap, lib, ledger
}

// TestStanding: all is approved but the one change that waits, and no record is refused.
func TestStanding(t *testing.T) {
	_, lib, ledger := read(t, shared(t).Dir)
	standing := ledger.Judge(lib.Settings.Value.ID.V, "")
	if standing.Trouble != "" || standing.Anchor == nil || len(standing.Refused) != 0 {
		t.Fatalf("trouble %q, refused %v", standing.Trouble, standing.Refused)
	}
	if len(standing.Withdrawn) != 2 {
		t.Errorf("%d records are taken back, and the story takes back 2", len(standing.Withdrawn))
	}
	if others := standing.Others(lib); len(others) != 0 {
		t.Errorf("%d other parts wait: %v", len(others), others)
	}
	waiting := map[string]bool{}
	for _, e := range northgate(t).Events {
		if e.Waiting {
			waiting[e.ID] = true
		}
	}
	positions := standing.Positions(lib)
	if len(positions) != len(lib.Recipes) || len(positions) < 60 {
		t.Errorf("%d positions of %d conditions", len(positions), len(lib.Recipes))
	}
	for _, p := range positions {
		want := history.Approved
		if waiting[p.Name] {
			want = history.Changed
		}
		if p.Status != want {
			t.Errorf("%s is %s, want %s", p.Name, p.Status, want)
		}
	}
	for _, r := range ledger.Records {
		if !history.Sound(r) {
			t.Errorf("%s: %v", r.Path, r.Problems)
		}
	}
}

// TestLint: the sample has no error, and none that a save would stop.
func TestLint(t *testing.T) {
	_, lib, _ := read(t, shared(t).Dir)
	for _, f := range lint.Run(lib, lint.Options{}).Findings {
		if f.Severity == lint.Error {
			t.Errorf("%s %s: %s [%s]", f.ID, f.Field, f.Message, f.Rule)
		}
	}
}

// TestBlockedEdit: the edit that the story says was stopped is stopped by the rule that it names.
func TestBlockedEdit(t *testing.T) {
	s := northgate(t)
	found := 0
	for _, e := range s.Events {
		if e.Kind != Blocked {
			continue
		}
		found++
		f, err := last()
		if err != nil {
			t.Fatal(err)
		}
		id, err := schema.ParseID(e.ID)
		if err != nil {
			t.Fatal(err)
		}
		lib, err := f.around(id)
		if err != nil {
			t.Fatal(err)
		}
		root, err := node(f[setFile(id)])
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range e.Changes {
			if err := root.Get("conditions").Kids[lib.Recipe(id).Index].SetPath(c.Field, schema.Text(c.To)); err != nil {
				t.Fatal(err)
			}
		}
		f[setFile(id)] = schema.Layout(root)
		if lib, err = f.around(id); err != nil {
			t.Fatal(err)
		}
		if !slices.ContainsFunc(lint.Run(lib, lint.Options{}).Findings, func(x lint.Finding) bool {
			return x.Rule == e.Rule && x.ID == e.ID && x.Severity == lint.Error
		}) {
			t.Errorf("event %d: %s does not stop it", e.N, e.Rule)
		}
	}
	if found != 1 {
		t.Errorf("%d blocked edits in the story", found)
	}
}

// TestNotEmpty: a directory that holds something is refused and stays as it is.
func TestNotEmpty(t *testing.T) {
	dir := t.TempDir()
	mine := filepath.Join(dir, "mine")
	if err := os.WriteFile(mine, []byte("kept"), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := northgate(t).Build(dir); !errors.Is(err, ErrNotEmpty) {
		t.Errorf("got %v", err)
	}
	if got := content(t, dir); !maps.Equal(got, map[string]string{"mine": "kept"}) {
		t.Errorf("it holds %v", got)
	}
	if _, err := northgate(t).Build(mine); err == nil {
		t.Error("a file was taken for a directory")
	}
}

// TestNothingHalfMade: where git fails, what was made goes again.
func TestNothingHalfMade(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("the failing git is a shell script")
	}
	s := northgate(t)
	real, err := exec.LookPath("git")
	if err != nil {
		t.Fatal(err)
	}
	bin := t.TempDir()
	script := "#!/bin/sh\n[ \"$1\" = fast-import ] && { echo no room >&2; exit 1; }\nexec " + real + " \"$@\"\n"
	if err := os.WriteFile(filepath.Join(bin, "git"), []byte(script), 0o755); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PATH", bin+string(os.PathListSeparator)+os.Getenv("PATH"))
	dir := filepath.Join(t.TempDir(), "shop")
	if _, err := s.Build(dir); err == nil || !strings.Contains(err.Error(), "no room") {
		t.Errorf("got %v", err)
	}
	if _, err := os.Stat(dir); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("%s is left: %v", dir, err)
	}
	empty := t.TempDir()
	if _, err := s.Build(empty); err == nil {
		t.Error("no error")
	}
	if entries, _ := os.ReadDir(empty); len(entries) != 0 {
		t.Errorf("%d entries are left", len(entries))
	}
}

// TestStreamIsWhole: a stream that was cut off must not become a shorter history.
func TestStreamIsWhole(t *testing.T) {
	told, err := northgate(t).tell()
	if err != nil {
		t.Fatal(err)
	}
	whole := stream(told.commits)
	r := gittest.New(t)
	cmd := exec.Command("git", "fast-import", "--quiet")
	cmd.Dir = r.Dir
	cmd.Stdin = bytes.NewReader(whole[:bytes.LastIndex(whole, []byte("done\n"))])
	if err := cmd.Run(); err == nil {
		t.Error("git took a stream without its last line")
	}
}
