package git

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Head says where the work tree stands: the id of the last commit ("" when unborn), the short name of the branch ("" when
// detached), whether nothing was committed on the branch yet, and whether the work tree is on a commit and not on a
// branch, so that what is saved there is on no branch. It starts no child beyond the one that reads objects, unless the
// repository is unborn or keeps its references in another way than in files.
func (r *Repo) Head() (commit, branch string, unborn, detached bool, err error) {
	h, err := r.head()
	return h.commit, h.branch, h.unborn, h.detached, err
}

type head struct {
	commit, branch   string
	unborn, detached bool
}

func (r *Repo) head() (head, error) {
	found, err := r.shared.objects.get(r.ctx, "HEAD", MaxBlob)
	if err != nil {
		return head{}, err
	}
	ref, err := r.headRef()
	if err != nil {
		return head{}, err
	}
	h := head{commit: found.hash, branch: strings.TrimPrefix(ref, "refs/heads/"), detached: ref == ""}
	switch found.kind {
	case "commit":
		return h, nil
	case "missing":
		return r.unborn(h, ref)
	}
	return head{}, errorf(ErrCorrupt, "HEAD names a %s, not a commit", found.kind)
}

// headRef is the full name of the branch that HEAD names, "" when it is detached.
func (r *Repo) headRef() (string, error) {
	if ref, _, ok := r.refFile("HEAD"); ok {
		return ref, nil
	}
	// References in another form than files leave a file HEAD that says nothing; very old ones have a symbolic link.
	out, err := r.read("symbolic-ref", "-q", "HEAD")
	if err != nil {
		if exitCode(err) == 1 {
			return "", nil
		}
		return "", err
	}
	return strings.TrimSuffix(string(out), "\n"), nil
}

// unborn tells a branch without a commit from one whose reference or commit is damaged. To git both are "missing", and
// taking the second for the first would judge a library as if it had no past.
func (r *Repo) unborn(h head, ref string) (head, error) {
	damaged := func(cause error) error {
		return &Error{Kind: ErrCorrupt, What: "HEAD names a commit that cannot be read", Help: "run git fsck, and fetch from another copy", Err: cause}
	}
	if ref == "" {
		return head{}, damaged(nil)
	}
	if _, err := os.Lstat(filepath.Join(r.CommonDir, filepath.FromSlash(ref))); err == nil {
		return head{}, damaged(nil)
	}
	out, err := r.read("for-each-ref", "--format=%(refname)", ref)
	if err != nil {
		return head{}, err
	}
	if len(out) > 0 {
		return head{}, damaged(nil)
	}
	h.unborn = true
	return h, nil
}

// Resolve gives the commit id that a name stands for: a branch, a tag, an id or part of one, "HEAD~2". What does not name
// one commit is an error of kind [ErrUnknownRevision]; in a repository without commits, of kind [ErrUnborn] for HEAD.
func (r *Repo) Resolve(rev string) (string, error) {
	commit, err := r.commit(rev)
	return commit.hash, err
}

// commitObject is what a commit says of itself, as far as it is needed here.
type commitObject struct {
	hash, tree string
	parents    []string
}

func (r *Repo) commit(rev string) (commitObject, error) {
	if err := checkRevision(rev); err != nil {
		return commitObject{}, err
	}
	found, err := r.shared.objects.get(r.ctx, rev+"^{commit}", MaxBlob)
	if err != nil {
		return commitObject{}, err
	}
	switch found.kind {
	case "commit":
	case "ambiguous":
		return commitObject{}, &Error{Kind: ErrUnknownRevision, What: "more than one commit begins with " + rev, Help: "give more of its digits"}
	default:
		if rev == "HEAD" {
			if h, err := r.head(); err != nil {
				return commitObject{}, err
			} else if h.unborn {
				return commitObject{}, &Error{Kind: ErrUnborn, What: "nothing has been saved on branch " + h.branch + " yet"}
			}
		}
		return commitObject{}, &Error{Kind: ErrUnknownRevision, What: `"` + rev + `" is no commit, branch or tag of this repository`, Help: "git log --oneline --all lists what there is"}
	}
	commit := commitObject{hash: found.hash}
	// The tree comes first, then the parents; git looks no further, so neither do we.
	for line := range strings.Lines(string(found.data)) {
		line = strings.TrimSuffix(line, "\n")
		kind, id, _ := strings.Cut(line, " ")
		if first := commit.tree == ""; first && kind == "tree" {
			commit.tree = id
		} else if !first && kind == "parent" {
			commit.parents = append(commit.parents, id)
		} else {
			break
		}
	}
	if !r.isHash(commit.tree) || slices.ContainsFunc(commit.parents, func(p string) bool { return !r.isHash(p) }) {
		return commitObject{}, errorf(ErrCorrupt, "commit %s cannot be read", commit.hash)
	}
	return commit, nil
}

// checkRevision refuses names that git would take for something else: an option, an exclusion, a search in messages.
func checkRevision(rev string) error {
	if rev == "" || strings.HasPrefix(rev, "-") || strings.HasPrefix(rev, ":") || strings.HasPrefix(rev, "^") ||
		strings.ContainsFunc(rev, func(c rune) bool { return c < 0x20 || c == 0x7f }) {
		return errorf(ErrUnknownRevision, "%q cannot be the name of a commit", rev)
	}
	return nil
}

// Parents are the ids of the parents of a commit as git sees them: at the edge of a shallow clone there are none.
func (r *Repo) Parents(rev string) ([]string, error) {
	commit, err := r.commit(rev)
	if err != nil || len(commit.parents) == 0 {
		return nil, err
	}
	// Only these two make git see other parents than the commit names.
	if !r.shared.shallow && !r.grafted() {
		return commit.parents, nil
	}
	out, err := r.read("rev-list", "--no-walk", "--parents", commit.hash, "--")
	if err != nil {
		return nil, err
	}
	ids := strings.Fields(string(out))
	if len(ids) == 0 || ids[0] != commit.hash {
		return nil, errorf(ErrCorrupt, "git rev-list answered %q for commit %s", out, commit.hash)
	}
	return ids[1:], nil
}

// grafted says whether a file tells git of other parents than commits name.
func (r *Repo) grafted() bool {
	file := variable(r.shared.env, "GIT_GRAFT_FILE")
	if file != "" {
		return file != os.DevNull
	}
	_, err := os.Stat(filepath.Join(r.CommonDir, "info", "grafts"))
	return err == nil
}

// IsAncestor says whether the first commit is the second or one that leads to it.
func (r *Repo) IsAncestor(ancestor, descendant string) (bool, error) {
	for _, rev := range []string{ancestor, descendant} {
		if err := checkRevision(rev); err != nil {
			return false, err
		}
	}
	_, err := r.read("merge-base", "--is-ancestor", ancestor, descendant)
	if exitCode(err) == 1 {
		return false, nil
	}
	return err == nil, err
}

// MergeBase is the commit where two lines of work parted; "" where they have nothing in common. Where there are several
// it is one of them.
func (r *Repo) MergeBase(a, b string) (string, error) {
	for _, rev := range []string{a, b} {
		if err := checkRevision(rev); err != nil {
			return "", err
		}
	}
	out, err := r.read("merge-base", a, b)
	if exitCode(err) == 1 {
		return "", nil
	}
	return strings.TrimSpace(string(out)), err
}

// Ref is a branch, a tag or another name for a commit.
type Ref struct {
	Name string // full: "refs/heads/main"
	Hash string // of what it names; of the tag itself for an annotated tag
}

// Refs lists the references below the given prefixes ("refs/heads/", "refs/heads/main"), all without any.
func (r *Repo) Refs(prefixes ...string) ([]Ref, error) {
	args := []string{"for-each-ref", "--format=%(objectname) %(refname)"}
	for _, prefix := range prefixes {
		if !strings.HasPrefix(prefix, "refs/") {
			return nil, errorf(ErrUnknownRevision, "%q does not begin with refs/", prefix)
		}
		args = append(args, prefix)
	}
	out, err := r.read(args...)
	if err != nil {
		return nil, err
	}
	var refs []Ref
	for line := range strings.Lines(string(out)) {
		hash, name, _ := strings.Cut(strings.TrimSuffix(line, "\n"), " ")
		refs = append(refs, Ref{Name: name, Hash: hash})
	}
	return refs, nil
}
