package hooks_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fettle/history/git/gittest"
	"fettle/hooks"
)

func states(t *testing.T, s *shop) string {
	t.Helper()
	all, err := hooks.StatusOf(s.open())
	if err != nil {
		t.Fatal(err)
	}
	// The others are in one state, mostly: "pre-commit, pre-merge-commit, the others".
	out := []string{string(all[0].State), string(all[1].State)}
	for _, h := range all[2:] {
		if !slices.Contains(out[2:], string(h.State)) {
			out = append(out, string(h.State))
		}
	}
	return strings.Join(out, " ")
}

func bare(t *testing.T) *shop { return &shop{Repo: gittest.New(t), t: t} }

func TestInstallAndRemove(t *testing.T) {
	s := bare(t)
	before := treeHash(t, s.Dir, func(string) bool { return true })
	if got := states(t, s); got != "missing missing missing" {
		t.Errorf("before: %s", got)
	}
	if missing, err := hooks.Missing(s.open()); err != nil || strings.Join(missing, " ") != "pre-commit pre-merge-commit prepare-commit-msg pre-applypatch pre-push" {
		t.Errorf("missing: %v, %v", missing, err)
	}
	p := program(t)
	for _, want := range []string{"pre-commit installed", "pre-commit is in place"} {
		report, err := hooks.InstallWith(s.open(), hooks.InstallOptions{Program: p})
		if err != nil || report[0] != want {
			t.Errorf("got %v, %v, want %s", report, err, want)
		}
		if got := states(t, s); got != "installed installed installed" {
			t.Errorf("after: %s", got)
		}
	}
	if _, err := hooks.Remove(s.open(), false); err != nil {
		t.Fatal(err)
	}
	if after := treeHash(t, s.Dir, func(string) bool { return true }); after != before {
		t.Error("remove left something behind")
	}
	report, err := hooks.Remove(s.open(), false)
	if err != nil || report[0] != "pre-commit was not there" {
		t.Errorf("got %v, %v", report, err)
	}
}

func TestForeignHookStays(t *testing.T) {
	s := newShop(t)
	foreign := "#!/bin/sh\n# ours\necho checked by somebody else\n"
	path := s.Path(".git/hooks/pre-commit")
	if err := os.WriteFile(path, []byte(foreign), 0o755); err != nil {
		t.Fatal(err)
	}
	if got := states(t, s); got != "foreign installed installed" {
		t.Errorf("got %s", got)
	}
	report := s.install()
	if _, err := hooks.Remove(s.open(), false); err != nil {
		t.Fatal(err)
	}
	if data, _ := os.ReadFile(path); string(data) != foreign {
		t.Fatalf("the foreign hook was touched: %s", data)
	}
	// The line that the report gives makes both run.
	_, line, ok := strings.Cut(report[0], "\n")
	if !ok {
		t.Fatalf("no line to add: %q", report[0])
	}
	if err := os.WriteFile(path, []byte("#!/bin/sh\n"+line+"\necho checked by somebody else\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	s.install()
	if got := states(t, s); got != "chained installed installed" {
		t.Errorf("got %s", got)
	}
	s.edit(oxygen3, "27 bar")
	s.wantStopped([]string{"-a"}, "pressure-over-line")
	s.edit(oxygen3, "0.27 bar")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil, "checked by somebody else")
}

func TestForeignLinkStays(t *testing.T) {
	s := bare(t)
	if err := os.MkdirAll(s.Path(".git/hooks"), 0o777); err != nil {
		t.Fatal(err)
	}
	theirs := filepath.Join(gittest.Dir(t), "theirs")
	if err := os.WriteFile(theirs, []byte("#!/bin/sh\n"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(theirs, s.Path(".git/hooks/pre-commit")); err != nil {
		t.Skip(err)
	}
	s.install()
	if data, _ := os.ReadFile(theirs); string(data) != "#!/bin/sh\n" {
		t.Errorf("written through a link: %s", data)
	}
	if got := states(t, s); got != "foreign installed installed" {
		t.Errorf("got %s", got)
	}
	if err := os.Remove(theirs); err != nil {
		t.Fatal(err)
	}
	if got := states(t, s); got != "foreign installed installed" { // a link to nothing is still somebody's
		t.Errorf("got %s", got)
	}
}

func TestOldAndDisabled(t *testing.T) {
	s := newShop(t)
	path := s.Path(".git/hooks/pre-commit")
	data, _ := os.ReadFile(path)
	if err := os.WriteFile(path, []byte(strings.Replace(string(data), "# fettle hook ", "# fettle hook 0", 1)), 0o755); err != nil {
		t.Fatal(err)
	}
	if got := states(t, s); got != "old installed installed" {
		t.Errorf("got %s", got)
	}
	s.install()
	if err := os.Chmod(path, 0o644); err != nil {
		t.Fatal(err)
	}
	if got := states(t, s); got != "disabled installed installed" {
		t.Errorf("got %s", got)
	}
	s.install()
	if got := states(t, s); got != "installed installed installed" {
		t.Errorf("got %s", got)
	}
}

func TestProgramGone(t *testing.T) {
	s := newShop(t)
	all, err := hooks.StatusOf(s.open())
	if err != nil {
		t.Fatal(err)
	}
	home := filepath.Dir(all[0].Program)
	if err := os.Rename(home, home+" moved"); err != nil {
		t.Fatal(err)
	}
	if got := states(t, s); got != "moved moved moved" {
		t.Errorf("got %s", got)
	}
	if missing, _ := hooks.Missing(s.open()); len(missing) != 5 {
		t.Errorf("missing %v", missing)
	}
	s.Write("notes.txt", "x")
	s.Run("add", "-A")
	s.wantStopped(nil, "is gone", all[0].Program, "fettle hooks install", "git config fettle.missing-tool pass")
	t.Run("another in the PATH", func(t *testing.T) {
		t.Setenv("PATH", home+" moved"+string(os.PathListSeparator)+os.Getenv("PATH"))
		if got := states(t, s); got != "installed installed installed" {
			t.Errorf("got %s", got)
		}
		s.edit(oxygen3, "27 bar")
		s.wantStopped([]string{"-a"}, "pressure-over-line")
		s.Run("checkout", "-q", oxygenSet)
	})
	t.Run("this PC lets pass", func(t *testing.T) {
		s.Run("config", "fettle.missing-tool", "pass")
		s.wantPassed(nil, "nothing was checked")
	})
	t.Run("the shop lets pass", func(t *testing.T) {
		s.Run("config", "--unset", "fettle.missing-tool")
		s.Write("fettle.json", strings.Replace(s.Read("fettle.json"), `"policy": {`, `"policy": { "missing_tool": "pass",`, 1))
		s.wantStopped([]string{"-a"}, "is gone") // not before it is saved
		s.Run("commit", "-q", "-a", "--no-verify", "-m", "the policy")
		s.Write("notes.txt", "y")
		s.wantPassed([]string{"-a"}, "nothing was checked")
		s.Run("config", "fettle.missing-tool", "block")
		s.Write("notes.txt", "z")
		s.wantStopped([]string{"-a"}, "is gone")
	})
	t.Run("no library, nothing to check", func(t *testing.T) {
		s.Run("rm", "-q", "-r", "fettle.json")
		if out := s.wantPassed(nil); out != "" {
			t.Errorf("said %q", out)
		}
	})
}

func TestHooksPath(t *testing.T) {
	t.Run("of the repository, relative", func(t *testing.T) {
		s := newShop(t)
		s.Run("config", "core.hooksPath", ".hooks")
		report := s.install()
		if !strings.Contains(report[0], s.Path(".hooks")) {
			t.Errorf("not said: %v", report)
		}
		if _, err := os.Stat(s.Path(".hooks/pre-commit")); err != nil {
			t.Error(err)
		}
		s.edit(oxygen3, "27 bar")
		s.wantStopped([]string{oxygenSet}, "pressure-over-line")
	})
	t.Run("seen from a directory below", func(t *testing.T) {
		s := newShop(t)
		s.Run("config", "core.hooksPath", ".hooks")
		t.Chdir(s.Path("sets"))
		s.install()
		if _, err := os.Stat(s.Path(".hooks/pre-commit")); err != nil {
			t.Error(err)
		}
	})
	t.Run("of the user", func(t *testing.T) {
		s := newShop(t)
		shared := filepath.Join(gittest.Dir(t), "for all")
		config := filepath.Join(gittest.Dir(t), "config")
		if err := os.WriteFile(config, []byte("[core]\n\thooksPath = "+filepath.ToSlash(shared)+"\n"), 0o666); err != nil {
			t.Fatal(err)
		}
		t.Setenv("GIT_CONFIG_GLOBAL", config)
		report := strings.Join(s.install(), "\n")
		s.wantWords(report, "all your repositories", config, "not installed", "--shared", "git config core.hooksPath")
		if _, err := os.Stat(shared); err == nil {
			t.Error("written without being asked")
		}
		if got := states(t, s); got != "missing missing missing" {
			t.Errorf("got %s", got)
		}
		if _, err := hooks.InstallWith(s.open(), hooks.InstallOptions{Program: program(t), Shared: true}); err != nil {
			t.Fatal(err)
		}
		s.edit(oxygen3, "27 bar")
		s.wantStopped([]string{"-a"}, "pressure-over-line")
		report2, err := hooks.Remove(s.open(), false)
		if err != nil || states(t, s) != "installed installed installed" {
			t.Errorf("removed for all: %v %v", report2, err)
		}
		if _, err := hooks.Remove(s.open(), true); err != nil || states(t, s) != "missing missing missing" {
			t.Errorf("not removed: %v", err)
		}
	})
	t.Run("set while it is open", func(t *testing.T) {
		s := newShop(t)
		repo := s.open()
		if err := repo.ConfigSet("core.hooksPath", ".hooks"); err != nil {
			t.Fatal(err)
		}
		if _, err := hooks.InstallWith(repo, hooks.InstallOptions{Program: program(t)}); err != nil {
			t.Fatal(err)
		}
		if _, err := os.Stat(s.Path(".hooks/pre-commit")); err != nil {
			t.Error(err)
		}
	})
	t.Run("empty", func(t *testing.T) {
		s := newShop(t)
		s.Run("config", "core.hooksPath", "")
		if _, err := hooks.Install(s.open()); err == nil || !strings.Contains(err.Error(), "core.hooksPath is empty") {
			t.Errorf("got %v", err)
		}
	})
	t.Run("nowhere", func(t *testing.T) {
		s := newShop(t)
		s.Run("config", "core.hooksPath", os.DevNull)
		if _, err := hooks.Install(s.open()); err == nil || !strings.Contains(err.Error(), os.DevNull) {
			t.Errorf("got %v", err)
		}
	})
}

func TestReadOnlyHooks(t *testing.T) {
	if os.Getuid() == 0 {
		t.Skip("root may write anywhere")
	}
	s := bare(t)
	dir := s.Path(".git/hooks")
	if err := os.MkdirAll(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(dir, 0o555); err != nil {
		t.Fatal(err)
	}
	defer os.Chmod(dir, 0o755)
	if _, err := hooks.Install(s.open()); err == nil || !strings.Contains(err.Error(), "pre-commit") {
		t.Errorf("got %v", err)
	}
}

// The stub is a script of the POSIX shell: dash, bash and the shell of Git for Windows read it.
func TestStubSyntax(t *testing.T) {
	s := bare(t)
	s.install()
	for _, hook := range hooks.Installed {
		cmd := s.Command()
		cmd.Path, cmd.Args = "/bin/sh", []string{"sh", "-n", s.Path(".git/hooks/" + hook)}
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("%s: %v %s", hook, err, out)
		}
	}
}

// A path of Windows is written as the shell of Git for Windows reads it, and found again.
func TestProgramOfWindows(t *testing.T) {
	for path, want := range map[string]string{
		`C:\Program Files\fettle\fettle.exe`: `C:/Program Files/fettle/fettle.exe`,
		`d:/tools\fettle.exe`:                `d:/tools/fettle.exe`,
		`\\server\it's here\fettle.exe`:      `//server/it'\''s here/fettle.exe`,
		`/opt/odd\name/fettle`:               `/opt/odd\name/fettle`, // elsewhere a backslash is part of a name
	} {
		s := bare(t)
		if _, err := hooks.InstallWith(s.open(), hooks.InstallOptions{Program: path}); err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(s.Path(".git/hooks/pre-commit"))
		if err != nil || !strings.Contains(string(data), "program='"+want+"'\n") {
			t.Errorf("%s: %v\n%s", path, err, data)
		}
		if got := states(t, s); got != "moved moved moved" { // it is not on this machine
			t.Errorf("%s: %s", path, got)
		}
	}
}

// The README names every hook.
func TestReadme(t *testing.T) {
	data, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, hook := range hooks.Installed {
		if !strings.Contains(string(data), "| `"+hook+"` |") {
			t.Errorf("README.md does not say what %s does", hook)
		}
	}
}
