package git_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

func globalConfig(t *testing.T, content string) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "gitconfig")
	if err := os.WriteFile(file, []byte(content), 0o666); err != nil {
		t.Fatal(err)
	}
	t.Setenv("GIT_CONFIG_GLOBAL", file)
}

func TestConfigAgainstGit(t *testing.T) {
	globalConfig(t, "[fettle]\n\tanchor = of the user\n\tmany = 1\n[Branch \"Main/X\"]\n\tRemote = r\n")
	g := gittest.New(t)
	g.Run("config", "--add", "fettle.many", "2")
	g.Run("config", "--add", "fettle.many", "3")
	g.Run("config", "fettle.lines", "a\nb = c\n")
	g.Run("config", "fettle.empty", "")
	g.Write(".git/config", g.Read(".git/config")+"[fettle]\n\tbare\n[include]\n\tpath = more\n")
	g.Write(".git/more", "[fettle]\n\tanchor = included\n")
	t.Setenv("GIT_CONFIG_COUNT", "1")
	t.Setenv("GIT_CONFIG_KEY_0", "fettle.fromEnvironment")
	t.Setenv("GIT_CONFIG_VALUE_0", "yes")
	repo := open(t, g.Dir)
	for _, key := range []string{"fettle.anchor", "Fettle.ANCHOR", "fettle.many", "fettle.lines", "fettle.empty", "fettle.bare", "branch.Main/X.remote", "branch.main/x.remote",
		"fettle.none", "fettle.fromenvironment", "user.email"} {
		value, ok, err := repo.Config(key)
		if err != nil {
			t.Fatal(err)
		}
		out, failed := g.Command("config", "-z", "--get", key).Output()
		if want := strings.TrimSuffix(string(out), "\x00"); value != want || ok != (failed == nil) {
			t.Errorf("%s is %q %v, git says %q %v", key, value, ok, want, failed)
		}
		all := must(repo.ConfigAll(key))(t)
		out, _ = g.Command("config", "-z", "--get-all", key).Output()
		diff(t, strings.Join(all, "\x00"), strings.TrimSuffix(string(out), "\x00"))
	}
	if s, _, err := repo.Setting("fettle.anchor"); err != nil || s.Scope != git.ScopeLocal || !strings.HasSuffix(s.Origin, "more") {
		t.Errorf("%+v %v", s, err)
	}
	if s, _, _ := repo.Setting("fettle.fromenvironment"); s.Scope != git.ScopeCommand {
		t.Errorf("%+v", s)
	}
	if s, _, _ := repo.Setting("branch.Main/X.remote"); s.Scope != git.ScopeGlobal {
		t.Errorf("%+v", s)
	}
	for _, key := range []string{"", "nodot", ".x", "x.", "a.b\nc.d"} {
		if _, _, err := repo.Config(key); err == nil {
			t.Errorf("%q is no key", key)
		}
	}
}

func TestConfigBoolAgainstGit(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	values := []string{"true", "TRUE", "yes", "On", "1", "2k", "-1", "0x10", "false", "no", "OFF", "0", "", "0k", "maybe", "1kk", "t", " ", "1 "}
	for i, v := range values {
		g.Run("config", fmt.Sprintf("fettle.v%d", i), v)
	}
	g.Write(".git/config", g.Read(".git/config")+"[fettle]\n\tbare\n")
	repo := open(t, g.Dir)
	check := func(key, shown string) {
		value, ok, err := repo.ConfigBool(key)
		out, failed := g.Command("config", "--type=bool", "--get", key).Output()
		if !ok || (err != nil) != (failed != nil) || err == nil && fmt.Sprint(value) != strings.TrimSpace(string(out)) {
			t.Errorf("%q is %v %v %v, git says %q %v", shown, value, ok, err, out, failed)
		}
	}
	for i, v := range values {
		check(fmt.Sprintf("fettle.v%d", i), v)
	}
	check("fettle.bare", "(name only)")
	if _, ok, err := repo.ConfigBool("fettle.none"); ok || err != nil {
		t.Errorf("%v %v", ok, err)
	}
}

func TestConfigPathAgainstGit(t *testing.T) {
	t.Parallel()
	g := gittest.New(t)
	repo := open(t, g.Dir)
	for _, value := range []string{"~/.ssh/id", "/abs/x", "rel/x", "~", "./~x"} {
		g.Run("config", "fettle.key", value)
		repo = open(t, g.Dir)
		got, ok, err := repo.ConfigPath("fettle.key")
		if want := g.Run("config", "--type=path", "--get", "fettle.key"); err != nil || !ok || got != want {
			t.Errorf("%s: got %q %v, git says %q", value, got, err, want)
		}
	}
	if _, ok, err := repo.ConfigPath("fettle.none"); ok || err != nil {
		t.Errorf("%v %v", ok, err)
	}
}

func TestConfigSet(t *testing.T) {
	globalConfig(t, "[fettle]\n\tanchor = of the user\n")
	g := gittest.New(t)
	repo := open(t, g.Dir)
	get := func() string {
		v, _, err := repo.Config("fettle.anchor")
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	if get() != "of the user" {
		t.Errorf("got %q", get())
	}
	for _, v := range []string{"abc", "--unset", "with \"quotes\" and\nlines", ""} {
		if err := repo.ConfigSet("fettle.anchor", v); err != nil {
			t.Fatal(err)
		}
		if get() != v || g.Run("config", "--local", "--get", "fettle.anchor") != v {
			t.Errorf("set %q, got %q", v, get())
		}
	}
	for range 2 {
		if err := repo.ConfigUnset("fettle.anchor"); err != nil {
			t.Fatal(err)
		}
	}
	if get() != "of the user" {
		t.Errorf("got %q", get())
	}
	if err := repo.ConfigSet("no key", "x"); err == nil {
		t.Error("accepted")
	}
}

func TestIdentityAgainstGit(t *testing.T) {
	g := gittest.New(t)
	check := func(t *testing.T) {
		t.Helper()
		name, email, err := open(t, g.Dir).Identity()
		ident, failed := g.Command("var", "GIT_AUTHOR_IDENT").Output()
		if failed != nil {
			e := wantKind(t, err, git.ErrNoIdentity)
			if !strings.Contains(e.Help, "git config --global user.name") || !strings.Contains(e.Help, "git config --global user.email") {
				t.Errorf("help %q", e.Help)
			}
			return
		}
		if err != nil || !strings.HasPrefix(string(ident), name+" <"+email+"> ") || name == "" {
			t.Errorf("got %q %q %v, git says %q", name, email, err, ident)
		}
	}
	t.Run("settings", check)
	for i, env := range [][2]string{
		{"Jonas Falk", "jonas@northgate.example"}, {" Jonas Falk. ", "<jonas@northgate.example>"}, {"Jörg, M.", "j@x"}, {"A <B> C", "x y@z"},
		{"Jonas Falk", ""}, {"", "jonas@northgate.example"}, {"...", "x@y"}, {"X\nY", "x@y"},
	} {
		t.Run(fmt.Sprint("environment ", i), func(t *testing.T) {
			t.Setenv("GIT_AUTHOR_NAME", env[0])
			t.Setenv("GIT_AUTHOR_EMAIL", env[1])
			check(t)
		})
	}
	t.Run("unknown", func(t *testing.T) {
		g.Run("config", "--unset", "user.name")
		g.Run("config", "--unset", "user.email")
		g.Run("config", "user.useConfigOnly", "true")
		_, _, err := open(t, g.Dir).Identity()
		wantKind(t, err, git.ErrNoIdentity)
		check(t)
		g.Write("a", "1\n")
		_, err = open(t, g.Dir).CommitPaths("x", []string{"a"}, git.CommitOptions{})
		wantKind(t, err, git.ErrNoIdentity)
		if g.Run("ls-files") != "" {
			t.Error("a commit that failed left the file staged")
		}
	})
}

func TestHooksDir(t *testing.T) {
	g := gittest.New(t)
	g.Write("sub/x", "x")
	repo := open(t, g.Path("sub"))
	if dir := must(repo.HooksDir())(t); dir != g.Path(".git/hooks") {
		t.Errorf("got %q", dir)
	}
	if _, ok, err := repo.HooksPath(); ok || err != nil {
		t.Errorf("%v %v", ok, err)
	}
	g.Run("config", "core.hooksPath", "our hooks")
	repo = open(t, g.Path("sub"))
	// A relative one counts from where hooks run, githooks(5): the top of the work tree.
	if dir := must(repo.HooksDir())(t); dir != g.Path("our hooks") {
		t.Errorf("got %q", dir)
	}
	if s, ok, err := repo.HooksPath(); !ok || err != nil || s.Value != "our hooks" || s.Scope != git.ScopeLocal {
		t.Errorf("%+v %v %v", s, ok, err)
	}
	g.Run("config", "--unset", "core.hooksPath")
	globalConfig(t, "[core]\n\thooksPath = /srv/hooks\n")
	repo = open(t, g.Dir)
	if dir := must(repo.HooksDir())(t); dir != "/srv/hooks" {
		t.Errorf("got %q", dir)
	}
	if s, _, _ := repo.HooksPath(); s.Scope != git.ScopeGlobal {
		t.Errorf("%+v", s)
	}
}

// What git answered once is told again only where it would answer the same: an empty name of a file is not no name.
func TestSettingsWithAnEmptyName(t *testing.T) {
	g := gittest.New(t)
	home := t.TempDir()
	if err := os.WriteFile(filepath.Join(home, ".gitconfig"), []byte("[shop]\n\tplace = north\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	t.Setenv("HOME", home)
	t.Setenv("XDG_CONFIG_HOME", home)
	t.Setenv("GIT_CONFIG_GLOBAL", "") // to be put back as it was
	name := func() string {
		t.Helper()
		r := open(t, g.Dir)
		got, _, err := r.Config("shop.place")
		if err != nil {
			t.Fatal(err)
		}
		out, _ := g.Command("config", "shop.place").Output()
		if want := strings.TrimSpace(string(out)); got != want {
			t.Errorf("the place is %q, git says %q", got, want)
		}
		return got
	}
	os.Unsetenv("GIT_CONFIG_GLOBAL")
	time.Sleep(2100 * time.Millisecond) // what was touched of late is not kept
	with := name()
	if _, err := os.Stat(g.Path(".git/fettle/settings")); err != nil {
		t.Skip("nothing is kept here:", err)
	}
	os.Setenv("GIT_CONFIG_GLOBAL", "")
	if without := name(); with == without {
		t.Errorf("with a file and without one the place is %q", with)
	}
}
