package hooks

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"sync"

	"fettle/history/git"
)

// A State says how a hook stands.
type State string

// The states of a hook. It does its work in the first three.
const (
	StateInstalled State = "installed"
	StateChained   State = "chained"  // a foreign hook that calls ours
	StateOld       State = "old"      // ours, of another fettle or edited; it works, and install writes it anew
	StateMissing   State = "missing"  // there is no such hook
	StateForeign   State = "foreign"  // a hook of somebody else that does not call ours
	StateMoved     State = "moved"    // ours, and the program that it calls is gone
	StateOff       State = "disabled" // ours, and not executable, so git passes it over
)

// Judges reports whether a hook in this state does its work.
func (s State) Judges() bool {
	return s == StateInstalled || s == StateChained || s == StateOld
}

// A Status is one hook of a repository.
type Status struct {
	Hook    string // pre-commit …
	Path    string // of its file, absolute
	State   State
	Program string // that it calls, where it is ours
	Help    string // what to do; "" where nothing is
}

// InstallOptions say how to install. The zero value is this program, in hook directories of this repository only.
type InstallOptions struct {
	Program string // that the hooks call; this one if ""
	Shared  bool   // also into a directory that the user or the system set for all repositories (core.hooksPath)
}

// place is where the hooks of a repository lie.
type place struct {
	dir    string
	path   git.Setting // core.hooksPath
	set    bool
	shared bool // set for more than this repository
}

func placeOf(repo *git.Repo) (place, error) {
	var p place
	var err error
	if p.dir, err = repo.HooksDir(); err != nil {
		return p, err
	}
	if p.path, p.set, err = repo.HooksPath(); err != nil {
		return p, err
	}
	p.shared = p.set && (p.path.Scope == git.ScopeGlobal || p.path.Scope == git.ScopeSystem)
	if info, err := os.Stat(p.dir); err == nil && !info.IsDir() {
		return p, &git.Error{Kind: git.ErrIrregular, What: "git is told to look for hooks in " + p.dir + ", which is no directory, so it runs none",
			Help: "git config --show-origin core.hooksPath says where that is set; take it out there", Paths: []string{p.dir}}
	}
	return p, nil
}

// words say whose the directory is where it is not the ordinary one of the repository, or nothing.
func (p place) words() string {
	switch {
	case !p.set:
		return ""
	case p.path.Scope == git.ScopeGlobal:
		return "git takes hooks for all your repositories from " + p.dir + " (core.hooksPath, " + origin(p.path) + ")"
	case p.path.Scope == git.ScopeSystem:
		return "git takes hooks for everybody on this PC from " + p.dir + " (core.hooksPath, " + origin(p.path) + ")"
	}
	return "git takes the hooks of this repository from " + p.dir + " (core.hooksPath)"
}

func origin(s git.Setting) string { return strings.TrimPrefix(s.Origin, "file:") }

// Program is the path of this program, as hooks call it.
func Program() (string, error) {
	p, err := os.Executable()
	if err != nil {
		return "", fmt.Errorf("cannot find where this program lies: %w", err)
	}
	return p, nil
}

// StatusOf says how the hooks of a repository stand.
func StatusOf(repo *git.Repo) ([]Status, error) {
	p, err := placeOf(repo)
	if err != nil {
		return nil, err
	}
	program, err := Program()
	if err != nil {
		return nil, err
	}
	var out []Status
	for _, hook := range Installed {
		s, err := statusOf(repo, p.dir, hook, program)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, nil
}

func statusOf(repo *git.Repo, dir, hook, program string) (Status, error) {
	s := Status{Hook: hook, Path: filepath.Join(dir, hook), State: StateMissing, Help: "fettle hooks install"}
	info, err := os.Lstat(s.Path)
	if errors.Is(err, fs.ErrNotExist) {
		return s, nil
	}
	if err != nil {
		return s, err
	}
	data, err := os.ReadFile(s.Path)
	if err != nil && info.Mode()&fs.ModeSymlink == 0 {
		return s, fmt.Errorf("the hook %s cannot be read: %w", s.Path, err)
	}
	text := string(data)
	executable := runtime.GOOS == "windows" || info.Mode().Perm()&0o111 != 0
	switch {
	case info.Mode()&fs.ModeSymlink != 0 || !isStub(text): // a link leads to a file that belongs to whoever made the link
		s.State = StateForeign
		s.Help = "a hook that fettle did not write; it stays as it is. To have both, put this line below its first one:\n" + chainLine(hook, program)
		m := managerOf(text)
		if m != nil {
			s.Help = m.help(hook)
		}
		if chains(text, hook) || m != nil && m.calls(repo, hook) {
			s.State, s.Help = StateChained, ""
		}
		return s, nil
	}
	s.Program = stubProgram(text)
	switch {
	case !executable:
		s.State, s.Help = StateOff, "the file is not executable, so git passes it over: fettle hooks install"
	case !runs(s.Program) && !inPath():
		s.State, s.Help = StateMoved, "it calls "+s.Program+", which is gone: fettle hooks install"
	case text != stub(hook, s.Program):
		s.State, s.Help = StateOld, "of another fettle, or edited: fettle hooks install"
	default:
		s.State, s.Help = StateInstalled, ""
		if !runs(s.Program) {
			s.Help = "it calls the fettle in the PATH, since " + s.Program + " is gone"
		}
	}
	return s, nil
}

func runs(program string) bool {
	info, err := os.Stat(filepath.FromSlash(program))
	return err == nil && info.Mode().IsRegular() && (runtime.GOOS == "windows" || info.Mode().Perm()&0o111 != 0)
}

func inPath() bool {
	_, err := exec.LookPath("fettle")
	return err == nil
}

// Missing names the hooks without which something goes unchecked here.
func Missing(repo *git.Repo) ([]string, error) {
	all, err := StatusOf(repo)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, s := range all {
		if !s.State.Judges() && !OnlyReports(s.Hook) {
			out = append(out, s.Hook)
		}
	}
	return out, nil
}

// Install is [InstallWith] without options.
func Install(repo *git.Repo) (report []string, err error) {
	return InstallWith(repo, InstallOptions{})
}

// inTree reports whether a directory is part of what the repository saves.
func inTree(repo *git.Repo, dir string) bool {
	in := func(top string) bool {
		rel, err := filepath.Rel(top, dir)
		return err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
	}
	return repo.Dir != "" && in(repo.Dir) && !in(repo.CommonDir)
}

// cached is the name of a directory in Go's build cache that holds a program (go help run; cmd/go/internal/cache).
var cached = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[0-9a-f]{64}-d$`) })

// Passing reports whether a program lies where go run puts it: in a directory that is cleared away when it ends, or from the second
// time on in the build cache, which drops what was not used for some days. Hooks must not call such a one.
func Passing(program string) bool {
	dir := filepath.Dir(program)
	return filepath.Base(dir) == "exe" && strings.Contains(filepath.ToSlash(dir), "/go-build") || cached().MatchString(filepath.Base(dir))
}

// ErrPassing is why no hook is installed that would call a program which is gone soon.
var ErrPassing = errors.New("this fettle was started by go run and is gone when it ends, so hooks cannot call it")

// lasting is the program that hooks are to call: this one, or the one in the PATH where this one does not stay.
func lasting() (program string, inPath bool, err error) {
	if program, err = Program(); err != nil || !Passing(program) {
		return program, false, err
	}
	if program, err = exec.LookPath("fettle"); err == nil {
		if program, err = filepath.Abs(program); err == nil && !Passing(program) {
			return program, true, nil
		}
	}
	return "", false, &git.Error{Kind: ErrPassing, What: ErrPassing.Error(), Help: "go install ./cmd/fettle, see that fettle is in the PATH, then: fettle hooks install"}
}

// InstallWith puts our hooks into the directory where git looks for them, and says line by line what it did. A hook that somebody
// else wrote is never touched: the report says how to chain. Where git takes hooks from a directory that other repositories share,
// nothing is written unless that is asked for.
func InstallWith(repo *git.Repo, o InstallOptions) (report []string, err error) {
	p, err := placeOf(repo)
	if err != nil {
		return nil, err
	}
	if p.set {
		report = append(report, p.words())
	}
	if inTree(repo, p.dir) {
		report = append(report, "that directory is saved with the files, so others get these hooks too; they need fettle in the PATH")
	}
	if o.Program == "" {
		inPath := false
		if o.Program, inPath, err = lasting(); err != nil {
			return report, err
		}
		if inPath {
			report = append(report, "this fettle was started by go run and is gone when it ends, so the hooks call "+o.Program)
		}
	}
	for _, hook := range Installed {
		s, err := statusOf(repo, p.dir, hook, o.Program)
		if err != nil {
			return report, err
		}
		line, err := p.install(repo, s, o)
		if err != nil {
			return report, err
		}
		report = append(report, line)
	}
	if p.shared && !o.Shared && slices.ContainsFunc(report, func(l string) bool { return strings.Contains(l, notShared) }) {
		report = append(report, "for this repository alone: git config core.hooksPath "+Quote(filepath.ToSlash(filepath.Join(repo.CommonDir, "hooks")))+", then fettle hooks install",
			"for all of them (where there is no library the hooks do nothing): fettle hooks install --shared")
	}
	return report, nil
}

const notShared = "not installed: other repositories take their hooks from the same directory"

func (p place) install(repo *git.Repo, s Status, o InstallOptions) (string, error) {
	want := stub(s.Hook, o.Program)
	switch {
	case s.State == StateForeign:
		return s.Hook + " not installed: " + s.Help, nil
	case s.State == StateChained:
		return s.Hook + " is called by the hook that is there", nil
	case s.State == StateMissing && p.shared && !o.Shared:
		return s.Hook + " " + notShared, nil
	}
	if data, err := os.ReadFile(s.Path); err == nil && string(data) == want && s.State != StateOff {
		return s.Hook + " is in place", nil
	}
	if err := os.MkdirAll(p.dir, 0o777); err != nil {
		return "", cannot("installed", s.Hook, err)
	}
	if err := repo.ReplaceProgram(s.Path, []byte(want)); err != nil {
		return "", cannot("installed", s.Hook, err)
	}
	if s.State == StateMissing {
		return s.Hook + " installed", nil
	}
	return s.Hook + " written anew", nil
}

func cannot(done, hook string, err error) error {
	return fmt.Errorf("the hook %s could not be %s: %w", hook, done, err)
}

// Remove takes away our own hooks and says line by line what it did. One that somebody else wrote stays, and so do all in a
// directory that other repositories share, unless that is asked for.
func Remove(repo *git.Repo, shared bool) (report []string, err error) {
	p, err := placeOf(repo)
	if err != nil {
		return nil, err
	}
	all, err := StatusOf(repo)
	if err != nil {
		return nil, err
	}
	if p.set {
		report = append(report, p.words())
	}
	for _, s := range all {
		switch {
		case s.State == StateMissing:
			report = append(report, s.Hook+" was not there")
		case s.State == StateForeign:
			report = append(report, s.Hook+" stays: fettle did not write it")
		case s.State == StateChained:
			report = append(report, s.Hook+" stays: fettle did not write it. It calls fettle; take that line out of "+s.Path)
		case p.shared && !shared:
			report = append(report, s.Hook+" stays: other repositories take it from the same directory. To remove it for all: fettle hooks remove --shared")
		default:
			if err := os.Remove(s.Path); err != nil {
				return report, cannot("removed", s.Hook, err)
			}
			report = append(report, s.Hook+" removed")
		}
	}
	return report, nil
}

// Whose says whose directory the hooks lie in where it is not the ordinary one of the repository, or nothing.
func Whose(repo *git.Repo) (string, error) {
	p, err := placeOf(repo)
	return p.words(), err
}
