package demo

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"fettle/history/git"
)

// KeysDir is where the private keys of the invented persons lie, below the repository itself, so that no commit holds them.
const KeysDir = "fettle-demo-keys"

// A Shop is a sample library that was built.
type Shop struct {
	Dir     string // of the library, absolute
	Keys    string // directory of the private keys
	Lead    Person // whose name and key the repository is set to
	Head    string // id of the last commit
	Commits int
	From    time.Time // of the first commit
	To      time.Time // of the last one
}

// ErrNotEmpty says that the directory for the sample holds something already.
var ErrNotEmpty = errors.New("is not empty")

// Build makes the sample library with its history in dir, which must be empty or not there yet. Where something fails, what was
// made is taken away again. Hooks are left to the caller.
func (s *Story) Build(dir string) (*Shop, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	told, err := s.tell()
	if err != nil {
		return nil, err
	}
	fresh, err := claim(abs)
	if err != nil {
		return nil, err
	}
	shop, err := told.write(abs)
	if err != nil {
		return nil, errors.Join(err, wipe(abs, fresh))
	}
	return shop, nil
}

// claim makes the directory, or takes one that is empty.
func claim(dir string) (fresh bool, err error) {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return true, os.MkdirAll(dir, 0o777)
	case err != nil:
		if info, e := os.Stat(dir); e == nil && !info.IsDir() {
			return false, fmt.Errorf("%s is a file, not a directory", dir)
		}
		return false, err
	case len(entries) > 0:
		return false, fmt.Errorf("%s %w", dir, ErrNotEmpty)
	}
	return false, nil
}

// wipe takes away what was made in a directory that was empty before.
func wipe(dir string, fresh bool) error {
	if fresh {
		return os.RemoveAll(dir)
	}
	entries, err := os.ReadDir(dir)
	for _, e := range entries {
		err = errors.Join(err, os.RemoveAll(filepath.Join(dir, e.Name())))
	}
	return err
}

func (t *telling) write(dir string) (*Shop, error) {
	lead := t.People[0]
	g := &program{dir: dir, lead: lead, at: t.commits[len(t.commits)-1].at}
	if err := g.run(nil, "init", "-q", "--template=", "--initial-branch=main", "--object-format=sha1"); err != nil {
		return nil, err
	}
	keys := filepath.Join(dir, ".git", KeysDir)
	for _, setting := range [][2]string{
		{"user.name", lead.Name}, {"user.email", lead.Principal}, {"fettle.signingKey", filepath.Join(keys, lead.keyFile())},
		{"core.autocrlf", "false"}, {"commit.gpgSign", "false"},
	} {
		if err := g.run(nil, "config", "--local", setting[0], setting[1]); err != nil {
			return nil, err
		}
	}
	if err := g.run(stream(t.commits), "fast-import", "--quiet", "--done", "--date-format=raw"); err != nil {
		return nil, err
	}
	if err := g.run(nil, "reset", "-q", "--hard"); err != nil {
		return nil, err
	}
	if err := t.writeKeys(keys); err != nil {
		return nil, err
	}
	repo, err := git.OpenOther(dir)
	if err != nil {
		return nil, err
	}
	defer repo.Close()
	head, err := repo.Resolve("HEAD")
	return &Shop{Dir: dir, Keys: keys, Lead: lead, Head: head, Commits: len(t.commits),
		From: t.commits[0].at, To: g.at}, err
}

// program is git as it runs while the sample is built: what the user or the machine set does not count.
type program struct {
	dir  string
	lead Person
	at   time.Time
}

func (g *program) run(input []byte, args ...string) error {
	cmd := exec.Command("git", args...)
	cmd.Dir = g.dir
	for _, entry := range os.Environ() {
		if !strings.HasPrefix(strings.ToUpper(entry), "GIT_") || strings.HasPrefix(entry, "GIT_EXEC_PATH=") {
			cmd.Env = append(cmd.Env, entry)
		}
	}
	when := fmt.Sprintf("%d +0000", g.at.Unix())
	cmd.Env = append(cmd.Env, "LC_ALL=C", "GIT_CONFIG_GLOBAL="+os.DevNull, "GIT_CONFIG_NOSYSTEM=1", "GIT_DIR="+filepath.Join(g.dir, ".git"), "GIT_WORK_TREE="+g.dir,
		"GIT_AUTHOR_NAME="+g.lead.Name, "GIT_AUTHOR_EMAIL="+g.lead.Principal, "GIT_AUTHOR_DATE="+when,
		"GIT_COMMITTER_NAME="+g.lead.Name, "GIT_COMMITTER_EMAIL="+g.lead.Principal, "GIT_COMMITTER_DATE="+when)
	cmd.Stdin = bytes.NewReader(input)
	if out, err := cmd.CombinedOutput(); err != nil {
		if errors.Is(err, exec.ErrNotFound) {
			return &git.Error{Kind: git.ErrNoGit, What: "the git program was not found", Help: "install git, or put it in the PATH", Err: err}
		}
		return fmt.Errorf("git %s: %w\n%s", args[0], err, bytes.TrimSpace(out))
	}
	return nil
}
