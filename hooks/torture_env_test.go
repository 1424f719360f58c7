package hooks_test

import (
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"fettle/history/git"
	"fettle/history/git/gittest"
)

// watched runs a hook and writes down, in the file given, the work tree in which it changed the index or a file; "1" watches nothing.
func watched(file string, run func() int) int {
	repo, err := git.Open(".")
	if file == "1" || err != nil {
		return run()
	}
	defer repo.Close()
	before := seenBy(repo)
	code := run()
	if after := seenBy(repo); after != before {
		if f, err := os.OpenFile(file, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o666); err == nil {
			fmt.Fprintf(f, "%v in %s\n", os.Args, repo.Dir)
			f.Close()
		}
	}
	return code
}

// seenBy is the content of the index, of the one that git keeps, and of every file on disk.
func seenBy(repo *git.Repo) string {
	var b strings.Builder
	for _, index := range []string{repo.IndexFile(), filepath.Join(repo.GitDir, "index")} {
		data, _ := os.ReadFile(index)
		b.WriteString(hashOf(string(data)))
	}
	_ = filepath.WalkDir(repo.Dir, func(p string, d fs.DirEntry, err error) error {
		if err == nil && d.IsDir() && d.Name() == ".git" {
			return fs.SkipDir
		}
		if err == nil && d.Type().IsRegular() {
			data, _ := os.ReadFile(p)
			b.WriteString(p + hashOf(string(data)))
		}
		return err
	})
	return hashOf(b.String())
}

// An environment is one kind of repository.
type environment struct {
	name string
	not  []string          // flows that git itself does not do there
	make func(c *tortured) // from a copy of the plain one in c.dir
}

// enter makes the repository of a case, with hooks that are asked or not.
func enter(t *testing.T, e environment, hooked bool) *tortured {
	t.Helper()
	dir := gittest.Dir(t)
	c := &tortured{t: t, dir: filepath.Join(dir, "shop")}
	if out, err := exec.Command("cp", "-a", tortureBase, c.dir).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if e.make != nil {
		e.make(c)
	}
	if !hooked {
		c.config = []string{"-c", "core.hooksPath=/dev/null"}
	}
	return c
}

// set changes settings of the repository.
func (c *tortured) set(settings ...string) {
	for i := 0; i < len(settings); i += 2 {
		c.must("config", settings[i], settings[i+1])
	}
}

// anew checks everything out again, so that settings about line ends and filters count.
func (c *tortured) anew() {
	c.must("rm", "-q", "-r", "--cached", ".")
	c.must("reset", "-q", "--hard")
}

// attributes saves a .gitattributes file.
func (c *tortured) attributes(text string) {
	c.write(".gitattributes", text)
	c.must("add", ".gitattributes")
	c.unchecked("commit", "-q", "-m", "attributes")
}

// moveTo goes on in another repository that was made from this one, and takes the hooks along.
func (c *tortured) moveTo(dir string) {
	c.t.Helper()
	c.dir = dir
	hooks := c.must("rev-parse", "--git-path", "hooks")
	if !filepath.IsAbs(hooks) {
		hooks = filepath.Join(dir, hooks)
	}
	c.hooksInto(hooks)
}

func (c *tortured) hooksInto(dir string) {
	c.t.Helper()
	if err := os.RemoveAll(dir); err != nil {
		c.t.Fatal(err)
	}
	if err := os.CopyFS(dir, os.DirFS(filepath.Join(tortureBase, ".git", "hooks"))); err != nil {
		c.t.Fatal(err)
	}
}

// clone clones the repository and goes on there.
func (c *tortured) clone(args ...string) {
	c.t.Helper()
	dir := filepath.Join(filepath.Dir(c.dir), "clone")
	c.must(append(append([]string{"clone", "-q"}, args...), "file://"+c.dir, dir)...)
	c.moveTo(dir)
}

func (c *tortured) beside(name string) string { return filepath.Join(filepath.Dir(c.dir), name) }

func (c *tortured) file(name, text string, mode os.FileMode) string {
	c.t.Helper()
	p := c.beside(name)
	if err := os.WriteFile(p, []byte(text), mode); err != nil {
		c.t.Fatal(err)
	}
	return p
}

var environments = []environment{
	{name: "plain"},
	{name: "index 2", make: func(c *tortured) { c.set("index.version", "2"); c.must("update-index", "--index-version", "2") }},
	{name: "index 4", make: func(c *tortured) { c.set("index.version", "4"); c.must("update-index", "--index-version", "4") }},
	{name: "split index", make: func(c *tortured) { c.set("core.splitIndex", "true"); c.must("update-index", "--split-index") }},
	{name: "sparse index", make: func(c *tortured) {
		c.must("sparse-checkout", "set", "--cone", "--sparse-index", "machines", "records", "sets")
	}},
	{name: "fsmonitor", make: func(c *tortured) {
		c.set("core.untrackedCache", "true", "core.fsmonitorHookVersion", "2", "core.fsmonitor", c.file("monitor", "#!/bin/sh\nprintf 'now\\0/\\0'\n", 0o777))
		c.must("update-index", "--fsmonitor", "--untracked-cache")
		c.must("status")
	}},
	{name: "announced and skipped", not: []string{"stash", "rebase", "merge"}, make: func(c *tortured) {
		c.must("update-index", "--skip-worktree", "notes.txt", "machines/bay-5.json")
		c.write("later.txt", "later\n")
		c.must("add", "-N", "later.txt")
	}},
	{name: "linked work tree", make: func(c *tortured) {
		c.set("extensions.worktreeConfig", "true")
		dir := c.beside("night shift")
		c.must("worktree", "add", "-q", "-b", "night", dir)
		c.dir = dir
		c.must("config", "--worktree", "core.abbrev", "12")
	}},
	{name: "separate git dir", make: func(c *tortured) { c.must("init", "-q", "--separate-git-dir", c.beside("store")) }},
	{name: "submodule", make: func(c *tortured) {
		outer := c.beside("plant")
		c.must("init", "-q", outer)
		c.must("-C", outer, "-c", "protocol.file.allow=always", "submodule", "--quiet", "add", "file://"+c.dir, "the library")
		c.moveTo(filepath.Join(outer, "the library"))
	}},
	{name: "GIT_DIR", make: func(c *tortured) {
		c.env = append(c.env, "GIT_DIR="+filepath.Join(c.dir, ".git"), "GIT_WORK_TREE="+c.dir)
		c.cwd = "sets/bay-2"
	}},
	{name: "core.worktree", make: func(c *tortured) {
		store := c.beside("store")
		if err := os.Rename(filepath.Join(c.dir, ".git"), store); err != nil {
			c.t.Fatal(err)
		}
		c.env = append(c.env, "GIT_DIR="+store)
		c.set("core.worktree", c.dir)
	}},
	{name: "a directory below", make: func(c *tortured) { c.cwd = "sets" }},
	{name: "autocrlf", make: func(c *tortured) { c.set("core.autocrlf", "true", "core.safecrlf", "false"); c.anew() }},
	{name: "eol attribute", make: func(c *tortured) { c.attributes("*.json text eol=crlf\n"); c.anew() }},
	{name: "filter", make: func(c *tortured) {
		c.set("filter.tabs.clean", "sed 's/^\t/  /'", "filter.tabs.smudge", "sed 's/^  /\t/'")
		c.attributes("sets/** filter=tabs\n")
		c.anew()
	}},
	{name: "sha256", make: func(c *tortured) {
		dir := c.beside("sha256")
		c.must("init", "-q", "-b", "main", "--object-format=sha256", dir)
		script := fmt.Sprintf("git fast-export --all | git -C '%s' fast-import --quiet", dir)
		cmd := exec.Command("sh", "-c", script)
		cmd.Dir = c.dir
		if out, err := cmd.CombinedOutput(); err != nil {
			c.t.Fatalf("%v: %s", err, out)
		}
		c.moveTo(dir)
		c.must("reset", "-q", "--hard")
	}},
	{name: "alternates", make: func(c *tortured) {
		dir := c.beside("clone")
		c.must("clone", "-q", "--shared", c.dir, dir)
		c.moveTo(dir)
	}},
	{name: "partial clone", not: []string{"pull"}, make: func(c *tortured) {
		c.set("uploadpack.allowFilter", "true", "uploadpack.allowAnySHA1InWant", "true")
		c.clone("--filter=blob:none")
	}},
	{name: "shallow clone", make: func(c *tortured) { c.clone("--depth", "1") }},
	{name: "replaced", make: func(c *tortured) {
		other := c.must("commit-tree", "HEAD^{tree}", "-p", "HEAD^", "-m", "the same, said better")
		c.must("replace", "HEAD", other)
	}},
	{name: "grafts", make: func(c *tortured) {
		c.set("advice.graftFileDeprecated", "false")
		if err := os.WriteFile(filepath.Join(c.dir, ".git/info/grafts"), []byte(c.must("rev-parse", "HEAD")+"\n"), 0o666); err != nil {
			c.t.Fatal(err)
		}
	}},
	{name: "packed", make: func(c *tortured) {
		c.must("gc", "-q")
		c.must("pack-refs", "--all")
		c.must("commit-graph", "write", "--reachable")
	}},
	{name: "below the top", make: func(c *tortured) {
		c.root = "north hall/Sa\u0308ge ③/" // as a Mac writes it, and not as anybody else does
		if err := os.MkdirAll(filepath.Join(c.dir, c.root), 0o777); err != nil {
			c.t.Fatal(err)
		}
		c.must("mv", "fettle.json", "machines", "sets", "records", "approvers", c.root)
		c.unchecked("commit", "-q", "-m", "moved")
		c.cwd = "north hall"
	}},
	{name: "hooksPath", make: func(c *tortured) {
		c.set("core.hooksPath", ".githooks")
		c.hooksInto(filepath.Join(c.dir, ".githooks"))
	}},
	{name: "settings of the environment", make: func(c *tortured) {
		c.env = append(c.env, "GIT_CONFIG_COUNT=1", "GIT_CONFIG_KEY_0=core.hooksPath", "GIT_CONFIG_VALUE_0="+filepath.Join(tortureBase, ".git/hooks"))
	}},
	{name: "includeIf", make: func(c *tortured) {
		c.set("includeIf.gitdir:"+c.dir+"/.path", c.file("more", "[core]\n\thooksPath = "+filepath.Join(tortureBase, ".git/hooks")+"\n[index]\n\tthreads = 1\n", 0o666))
		if err := os.RemoveAll(filepath.Join(c.dir, ".git/hooks")); err != nil {
			c.t.Fatal(err)
		}
	}},
	{name: "ignorecase", make: func(c *tortured) {
		c.set("core.ignoreCase", "true", "core.fileMode", "false", "core.symlinks", "false", "core.quotePath", "false")
	}},
}
