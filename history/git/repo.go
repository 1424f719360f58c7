package git

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
)

// Repo is an open repository. Its fields are fixed when it is opened.
type Repo struct {
	Dir       string // top of the work tree, absolute; "" where there is none (bare, or inside the repository itself)
	GitDir    string // of this work tree, absolute
	CommonDir string // shared by all linked work trees; GitDir where there is one work tree only
	Prefix    string // from the top to the directory that was opened, with slashes and a final one; "" at the top

	ctx    context.Context
	shared *shared
}

// shared is what all views of one open repository have in common.
type shared struct {
	home    string   // where children run
	env     []string // what children get
	bare    bool
	shallow bool
	hashLen int // hex digits of an object id: 40, or 64 for SHA-256
	objects *objects
	files   func() *store // shared by all views
	plain   bool          // no cache of what commits say is trusted

	mu      sync.Mutex
	config  *config // nil until read
	hooks   string  // directory of the hooks as git answered, absolute; "" until asked for and after a setting was changed
	written *Repo   // see AsWritten; nil until asked for
}

// Option changes how a repository is opened.
type Option func(*opening)

type opening struct {
	ctx       context.Context
	noReplace bool
}

// WithContext ends every child of the repository when the context ends.
func WithContext(ctx context.Context) Option { return func(o *opening) { o.ctx = ctx } }

// NoReplace reads objects as they were written and ignores replacements (refs/replace) and grafts. A server that judges what others
// push needs it: a pushed replacement could show another content than the one that others will get.
func NoReplace() Option { return func(o *opening) { o.noReplace = true } }

// Open opens the repository that holds a directory ("" is the current one), as the git program would find it from there,
// GIT_DIR and its kin included. It starts no child in a plain repository, else one. Failures are of kind [ErrNotRepository], [ErrUnsafe],
// [ErrUnsupported], [ErrNoGit] or [ErrNoSuchFile].
func Open(dir string, options ...Option) (*Repo, error) { return open(dir, false, options) }

// OpenOther is [Open] for a repository that is not the one a hook runs in: what git told the hook about its own
// repository (which index, which object store) is kept from the children.
func OpenOther(dir string, options ...Option) (*Repo, error) { return open(dir, true, options) }

// mark separates the answers of rev-parse, which prints flags that it does not know: a directory may hold a line feed.
const mark = "--then"

func open(dir string, other bool, options []Option) (*Repo, error) {
	o := opening{ctx: context.Background()}
	for _, option := range options {
		option(&o)
	}
	cwd, err := os.Getwd()
	if err != nil {
		return nil, &Error{Kind: ErrNoSuchFile, What: "the current directory cannot be found", Help: "go to a directory that exists", Err: err}
	}
	target := absolute(cwd, dir)
	if dir == "" {
		target = cwd
	}
	if info, err := os.Stat(target); err != nil {
		return nil, &Error{Kind: ErrNoSuchFile, What: "there is no directory " + target, Err: err}
	} else if !info.IsDir() {
		return nil, errorf(ErrNoSuchFile, "%s is a file, not a directory", target)
	}

	env := environment(os.Environ(), cwd, other)
	if o.noReplace {
		env = append(env, asWritten...)
	}
	// With GIT_DIR alone git takes the directory it runs in for the top of the work tree, as it does in every hook.
	from := target
	if variable(env, "GIT_DIR") != "" && variable(env, "GIT_WORK_TREE") == "" {
		from = cwd
	}
	if p, ok := discover(target, env); ok && o.ctx.Err() == nil {
		return p.open(o.ctx, target, from, env)
	}
	// --show-toplevel fails where there is no work tree, so it stands last; all else is printed by then.
	cmd := command(o.ctx, from, append(env, noLocks), "rev-parse", "--is-bare-repository", "--is-shallow-repository", "--show-object-format",
		mark, "--absolute-git-dir", mark, "--git-common-dir", mark, "--git-path", "hooks", mark, "--show-toplevel")
	out, err := output(o.ctx, cmd, "", nil)
	parts := strings.Split(string(out), "\n"+mark+"\n")
	noTree := false
	if err != nil {
		var failed *CommandError
		noTree = len(parts) == 5 && errors.As(err, &failed) && strings.Contains(failed.Stderr, "must be run in a work tree")
		if !noTree {
			return nil, located(err, target)
		}
	}
	if real, err := filepath.EvalSymlinks(from); err == nil {
		from = real // "../.git" leads somewhere else from a symbolic link
	}
	facts := strings.Fields(parts[0])
	if len(parts) != 5 || len(facts) != 3 {
		return nil, errorf(ErrUnsupported, "git rev-parse answered %q, which fettle cannot read; update git to 2.31 or newer", out)
	}
	for i := range parts {
		parts[i] = filepath.FromSlash(strings.TrimSuffix(parts[i], "\n"))
	}
	r := &Repo{GitDir: parts[1], CommonDir: absolute(from, parts[2]), Dir: parts[4], ctx: o.ctx}
	r.shared = &shared{env: env, bare: facts[0] == "true", shallow: facts[1] == "true", hooks: absolute(from, parts[3])}
	switch facts[2] {
	case "sha1":
		r.shared.hashLen = 40
	case "sha256":
		r.shared.hashLen = 64
	default:
		return nil, errorf(ErrUnsupported, "objects of this repository are named by %s, which fettle does not know", facts[2])
	}
	// In a hook of a push into a repository with a work tree GIT_DIR is ".", and git takes the repository for its work tree.
	if noTree || r.Dir == r.GitDir || strings.HasPrefix(r.Dir, r.GitDir+string(filepath.Separator)) {
		r.Dir = ""
	}
	if err := r.settle(target, from); err != nil {
		return nil, err
	}
	return r, nil
}

// open is the repository that was found without a child. Where its hooks are is asked when that is wanted.
func (p place) open(ctx context.Context, target, from string, env []string) (*Repo, error) {
	r := &Repo{Dir: p.top, GitDir: p.gitDir, CommonDir: p.gitDir, ctx: ctx}
	r.shared = &shared{env: env, bare: p.top == "", hashLen: p.hashLen}
	if err := r.settle(target, from); err != nil {
		return nil, err
	}
	return r, nil
}

// settle finds out from where children run and objects are read, and the way there from the directory that was opened.
func (r *Repo) settle(target, from string) (err error) {
	r.shared.files = sync.OnceValue(r.objectFiles)
	r.shared.objects = r.newObjects(r.shared.files)
	if r.Dir == "" {
		r.shared.home = r.GitDir
		r.shared.env = pinIndex(r.shared.env, from)
		return nil
	}
	r.shared.home = r.Dir
	r.Prefix, err = prefix(r.Dir, target)
	return err
}

// located adds the directory to an answer that would read alike for any.
func located(err error, dir string) error {
	var known *Error
	if errors.As(err, &known) && known.Kind == ErrNotRepository {
		known.What = dir + " is not in a git repository"
		if variable(os.Environ(), "GIT_DIR") != "" {
			known.Help = "GIT_DIR is set and names no repository: unset it"
		}
	}
	return err
}

// prefix is the way down from the top to a directory.
func prefix(top, dir string) (string, error) {
	real, err := filepath.EvalSymlinks(dir)
	if err != nil {
		return "", &Error{Kind: ErrNoSuchFile, What: "cannot follow " + dir, Err: err}
	}
	realTop, err := filepath.EvalSymlinks(top)
	if err != nil {
		return "", &Error{Kind: ErrNoSuchFile, What: "cannot follow " + top, Err: err}
	}
	rel, err := filepath.Rel(realTop, real)
	if err != nil || rel == ".." || strings.HasPrefix(rel, ".."+string(filepath.Separator)) {
		return "", &Error{Kind: ErrNotRepository, What: dir + " is not in the work tree " + top + " that the environment (GIT_DIR, GIT_WORK_TREE) names",
			Help: "unset these variables"}
	}
	if rel == "." {
		return "", nil
	}
	return filepath.ToSlash(rel) + "/", nil
}

// pinIndex makes GIT_INDEX_FILE absolute where there is no work tree to be relative to.
func pinIndex(env []string, dir string) []string {
	if index := variable(env, "GIT_INDEX_FILE"); index != "" {
		return append(env, "GIT_INDEX_FILE="+absolute(dir, index))
	}
	return env
}

// WithContext is a view of the same repository whose children end with the context.
func (r *Repo) WithContext(ctx context.Context) *Repo {
	view := *r
	view.ctx = ctx
	return &view
}

// asWritten makes git read commits as they were written: nothing replaced, and no parents but their own.
var asWritten = []string{"GIT_NO_REPLACE_OBJECTS=1", "GIT_GRAFT_FILE=" + os.DevNull}

// AsWritten is a view of the same repository for whoever must not be misled by what somebody put beside the history: replacements,
// grafts, a commit graph that says something else, and a file shallow that hides what is here. It is closed with the repository.
func (r *Repo) AsWritten() *Repo {
	r.shared.mu.Lock()
	defer r.shared.mu.Unlock()
	if r.shared.written != nil {
		return r.shared.written
	}
	view := *r
	view.shared = &shared{home: r.shared.home, env: append(slices.Clip(r.shared.env), asWritten...), bare: r.shared.bare, shallow: r.shared.shallow,
		hashLen: r.shared.hashLen, hooks: r.shared.hooks, plain: true}
	view.shared.objects = view.newObjects(r.shared.files)
	if view.shared.shallow {
		whole := view
		whole.shared = &shared{home: r.shared.home, env: append(slices.Clip(view.shared.env), "GIT_SHALLOW_FILE="+os.DevNull), hashLen: r.shared.hashLen, plain: true}
		if _, err := whole.read("rev-list", "--count", "--all", "HEAD", "--"); err == nil { // else something is missing indeed
			view.shared.env, view.shared.shallow = whole.shared.env, false
		}
	}
	r.shared.written = &view
	return &view
}

// Close ends the children that read objects and lets go of the files of git. Views of the repository share them.
func (r *Repo) Close() error {
	r.shared.mu.Lock()
	written := r.shared.written
	r.shared.mu.Unlock()
	if written != nil {
		_ = written.shared.objects.close()
	}
	err := r.shared.objects.close()
	r.shared.files().close()
	return err
}

// IsBare says whether the repository was made without a work tree.
func (r *Repo) IsBare() bool { return r.shared.bare }

// IsShallow says whether older history was left out when the repository was cloned: what is missing cannot be audited.
func (r *Repo) IsShallow() bool { return r.shared.shallow }

// isHash says whether a string has the form of a full object id of this repository.
func (r *Repo) isHash(s string) bool { return len(s) == r.shared.hashLen && isHex(s) }

func isHex(s string) bool {
	for i := range len(s) {
		if c := s[i]; (c < '0' || c > '9') && (c < 'a' || c > 'f') {
			return false
		}
	}
	return true
}

// needTree refuses work that makes sense with files on disk only.
func (r *Repo) needTree(what string) error {
	if r.Dir != "" {
		return nil
	}
	return &Error{Kind: ErrNoWorkTree, What: what + ": " + r.GitDir + " has no files on disk", Help: "do it in a clone that has"}
}
