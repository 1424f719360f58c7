package git

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Kinds of failure of what moves branches.
var (
	ErrMoved     = errors.New("the branch moved meanwhile")
	ErrNotTaken  = errors.New("the other repository did not take it")
	ErrBehind    = errors.New("the other repository has more than is known here")
	ErrUnreached = errors.New("the other repository was not reached")
)

const localBranches, remoteBranches = "refs/heads/", "refs/remotes/"

// A Branch is a line of work: one of this repository, or one of another as it stood when it was fetched last.
type Branch struct {
	Name     string // without what git puts before it: "waiting/mara-2026-07-14"
	Remote   string // short name of the other repository, "" for a branch of this one
	Ref      string // full name
	Hash     string // of the commit that it stands at
	Worktree string // directory of the work tree that it is checked out in, "" where in none
}

// Branches lists the branches of this repository and those fetched from others, in the order of their full names.
func (r *Repo) Branches() ([]Branch, error) {
	out, err := r.read("for-each-ref", "--format=%(objectname)%00%(refname)%00%(symref)%00%(worktreepath)", localBranches, remoteBranches)
	if err != nil {
		return nil, err
	}
	remotes, err := r.Remotes()
	if err != nil {
		return nil, err
	}
	var branches []Branch
	for line := range strings.Lines(string(out)) {
		parts := strings.Split(strings.TrimSuffix(line, "\n"), "\x00")
		if len(parts) != 4 || parts[2] != "" { // origin/HEAD only names another one
			continue
		}
		b := Branch{Hash: parts[0], Ref: parts[1], Worktree: parts[3]}
		if name, ok := strings.CutPrefix(b.Ref, localBranches); ok {
			b.Name = name
		} else {
			name = strings.TrimPrefix(b.Ref, remoteBranches)
			b.Remote, b.Name, _ = strings.Cut(name, "/")
			for _, remote := range remotes { // the name of one may hold a slash
				if rest, ok := strings.CutPrefix(name, remote+"/"); ok && len(remote) > len(b.Remote) {
					b.Remote, b.Name = remote, rest
				}
			}
		}
		branches = append(branches, b)
	}
	return branches, nil
}

// Remotes are the names of the other repositories that this one knows an address of, sorted.
func (r *Repo) Remotes() ([]string, error) {
	if _, err := r.settings("remote.origin.url"); err != nil {
		return nil, err
	}
	r.shared.mu.Lock()
	defer r.shared.mu.Unlock()
	var names []string
	for key := range maps.Keys(r.shared.config.values) {
		if name, ok := strings.CutPrefix(key, "remote."); ok && strings.HasSuffix(name, ".url") {
			names = append(names, strings.TrimSuffix(name, ".url"))
		}
	}
	slices.Sort(names)
	return names, nil
}

// CommitOn saves files on a branch of this repository that is not checked out: a commit that follows tip and adds just these, which
// must be new there. Neither the files on disk, nor the index, nor HEAD are touched, and no hook of a commit is asked: the caller
// answers for what they would have said. The branch moves from old to the new commit at once or not at all; old is "" for a branch that
// is made by this. Names of files are from the top of the work tree.
//
// Kinds of failure: [ErrMoved] where the branch stands elsewhere by now, [ErrIrregular] where a file is there already, [ErrNoIdentity],
// [ErrBusy], [ErrReadOnly]. Then the branch is as it was.
func (r *Repo) CommitOn(branch, tip, old, message string, files map[string][]byte, options CommitOptions) (hash string, err error) {
	if strings.TrimSpace(message) == "" || strings.ContainsRune(message, 0) {
		return "", errors.New("a commit needs a message, without NUL")
	}
	if options.Author != "" && !authorForm().MatchString(options.Author) {
		return "", fmt.Errorf("%q is not of the form Name <mail>", options.Author)
	}
	names, err := newScope(slices.Sorted(maps.Keys(files)))
	if err == nil && len(names) == 0 {
		err = errorf(ErrBadPath, "no file was named")
	}
	if err != nil {
		return "", err
	}
	there, err := r.TreeFiles(tip, names...)
	if err != nil {
		return "", err
	}
	if len(there) > 0 {
		return "", &Error{Kind: ErrIrregular, What: there[0].Path + " is on the branch " + branch + " already", Paths: []string{there[0].Path}}
	}
	tree, err := r.treeWith(tip, files)
	if err != nil {
		return "", err
	}
	args := []string{"-c", "i18n.commitEncoding=UTF-8", "commit-tree"}
	if sign, _, err := r.ConfigBool("commit.gpgSign"); err == nil && sign { // which git itself heeds in git commit only
		args = append(args, "-S")
	}
	cmd := r.writer(append(args, "-p", tip, "-F", "-", tree)...)
	if name, mail, ok := strings.Cut(strings.TrimSuffix(options.Author, ">"), " <"); ok {
		cmd.Env = append(cmd.Env, "GIT_AUTHOR_NAME="+name, "GIT_AUTHOR_EMAIL="+mail)
	}
	if !options.Date.IsZero() {
		date := options.Date.Format(time.RFC3339)
		cmd.Env = append(cmd.Env, "GIT_AUTHOR_DATE="+date, "GIT_COMMITTER_DATE="+date)
	}
	cmd.Env = append(cmd.Env, options.Env...)
	out, err := output(r.ctx, cmd, strings.TrimRight(message, "\n")+"\n", options.Output)
	if err != nil {
		return "", err
	}
	hash = strings.TrimSpace(string(out))
	return hash, r.MoveBranch(branch, hash, old)
}

// treeWith is the tree of a commit with files added, made in an index of its own that is gone afterwards.
func (r *Repo) treeWith(tip string, files map[string][]byte) (tree string, err error) {
	dir, err := os.MkdirTemp("", "fettle-index-")
	if err != nil {
		return "", fmt.Errorf("no place for a list of files: %w", err)
	}
	defer os.RemoveAll(dir)
	index := func(stdin string, args ...string) ([]byte, error) {
		cmd := r.writer(append([]string{"-c", "core.splitIndex=false", "-c", "index.sparse=false", "-c", "core.fsmonitor=false", "-c", "core.untrackedCache=false"}, args...)...)
		cmd.Env = append(cmd.Env, "GIT_INDEX_FILE="+filepath.Join(dir, "index"))
		return output(r.ctx, cmd, stdin, nil)
	}
	var list strings.Builder
	for _, name := range slices.Sorted(maps.Keys(files)) {
		out, err := r.write(string(files[name]), "hash-object", "-w", "--no-filters", "--stdin")
		if err != nil {
			return "", err
		}
		fmt.Fprintf(&list, "100644 %s\t%s\x00", strings.TrimSpace(string(out)), name)
	}
	if _, err := index("", "read-tree", tip); err != nil {
		return "", err
	}
	if _, err := index(list.String(), "update-index", "-z", "--index-info"); err != nil {
		return "", err
	}
	out, err := index("", "write-tree", "--missing-ok") // in a partial clone not all of them are here, nor need they be
	return strings.TrimSpace(string(out)), err
}

// MoveBranch moves a branch of this repository from one commit to another. It makes the branch where old is "", and removes it where to
// is. Where it stands elsewhere by now it stays, and the error is of kind [ErrMoved]. The caller sees to it that it is checked out nowhere.
func (r *Repo) MoveBranch(branch, to, old string) error {
	none := strings.Repeat("0", r.shared.hashLen)
	to, old = cmp.Or(to, none), cmp.Or(old, none)
	_, err := r.write("", "update-ref", "--create-reflog", "-m", "fettle", localBranches+branch, to, old)
	var failed *CommandError
	if errors.As(err, &failed) && (strings.Contains(failed.Stderr, "but expected") || strings.Contains(failed.Stderr, "reference already exists")) {
		return &Error{Kind: ErrMoved, What: "the branch " + branch + " moved meanwhile; nothing was written to it", Help: "look at it again, and then do the same", Err: err}
	}
	return err
}

// Push sends one commit to a branch of another repository, which may only go forward by it. What git, its hooks and the server say on the
// way goes to live; nil is nowhere.
//
// Kinds of failure: [ErrBehind] where the branch is there and holds what this commit does not; [ErrNotTaken] where a hook or the server
// refuses it; [ErrUnreached]. Then nothing changed there.
func (r *Repo) Push(remote, commit, branch string, live io.Writer) error {
	if err := checkRevision(remote); err != nil {
		return err
	}
	out, err := finished(output(r.ctx, r.writer("push", "--porcelain", "--no-follow-tags", remote, commit+":"+localBranches+branch), "", live))
	var failed *CommandError
	if err == nil || r.ctx.Err() != nil || !errors.As(err, &failed) {
		return err
	}
	e := &Error{Kind: ErrNotTaken, What: "it was stopped on its way to " + remote, Err: err}
	for line := range strings.Lines(string(out)) { // "!", from and to, [what] (why)
		parts := strings.Split(strings.TrimSpace(line), "\t")
		if len(parts) != 3 || parts[0] != "!" {
			continue
		}
		what, why, _ := strings.Cut(strings.TrimSuffix(parts[2], ")"), " (")
		if what == "[rejected]" && why != "" {
			e.Kind = ErrBehind
		}
		e.What = fmt.Sprintf("%s did not take it (%s)", remote, why)
		return e
	}
	return unreached(remote, failed, e)
}

// unreached tells whether git got to another repository at all.
func unreached(remote string, failed *CommandError, otherwise error) error {
	if failed.Code < 128 {
		return otherwise
	}
	return &Error{Kind: ErrUnreached, What: remote + " could not be reached: " + firstComplaint(failed.Stderr), Err: failed,
		Help: "see that the network is there, and that the address is right: git remote -v"}
}

// Containing lists the references below the given prefixes from which a commit is reached.
func (r *Repo) Containing(commit string, prefixes ...string) ([]string, error) {
	return r.refsBy("--contains=", commit, prefixes)
}

// Beyond lists the references below the given prefixes that hold what a commit does not.
func (r *Repo) Beyond(commit string, prefixes ...string) ([]string, error) {
	return r.refsBy("--no-merged=", commit, prefixes)
}

func (r *Repo) refsBy(option, commit string, prefixes []string) ([]string, error) {
	if err := checkRevision(commit); err != nil {
		return nil, err
	}
	out, err := r.read(append([]string{"for-each-ref", "--format=%(refname)", option + commit}, prefixes...)...)
	return strings.Fields(string(out)), err
}

// RemoteBranch asks another repository for the commit that one of its branches stands at; "" where it has none of that name. A failure is
// of kind [ErrUnreached].
func (r *Repo) RemoteBranch(remote, branch string) (string, error) {
	if err := checkRevision(remote); err != nil {
		return "", err
	}
	out, err := r.read("ls-remote", "--heads", remote, localBranches+branch)
	var failed *CommandError
	if errors.As(err, &failed) {
		return "", unreached(remote, failed, err)
	}
	for line := range strings.Lines(string(out)) {
		if hash, ref, _ := strings.Cut(strings.TrimSpace(line), "\t"); ref == localBranches+branch {
			return hash, err
		}
	}
	return "", err
}
