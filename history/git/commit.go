package git

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"
)

// CommitOptions say more about a commit. The zero value is the person and the time that git would use.
type CommitOptions struct {
	Author   string    // "Name <mail>", where the author is not who commits
	Date     time.Time // of author and committer; the zero time is now
	NoVerify bool      // skip the hooks that may refuse
	Env      []string  // more environment, for instance GIT_COMMITTER_NAME
	Output   io.Writer // gets what hooks print, as they print it, whether they refuse or not; may be nil
}

var authorForm = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[^<>\x00-\x1f]+ <[^<>\x00-\x1f]*>$`) })

// CommitPaths saves exactly these files, as they are on disk, and returns the id of the commit. Files that are new to git
// are taken in; what else is staged stays staged and is not saved, and a conflict in another file stays as it is. If the
// commit fails, or its context ends, the index is as it was before and git's locks are gone.
//
// While git is in the middle of a merge, a cherry-pick, a revert, a rebase or patches from mail, a commit of some files
// would end or disturb that work. Then the files are only staged, and the error is of kind [ErrStagedOnly]: the commit that
// ends the work will save them.
//
// Other kinds: [ErrRefused] by a hook; what it printed, all of it, went to Output, and is in the [CommandError] inside the
// error too, where only the middle of a very long text is missing. [ErrNothingToCommit]; [ErrIgnored]; [ErrNoSuchFile] for a
// path that is neither on disk nor known to git; [ErrUnmerged] where one of these files has a conflict that nobody settled;
// [ErrIrregular] for another repository among them; [ErrNoIdentity]; [ErrBusy]; [ErrReadOnly]. With [ErrIndexBehind], and
// with that kind only, the files were saved, and the id is returned too.
func (r *Repo) CommitPaths(message string, paths []string, options CommitOptions) (hash string, err error) {
	if strings.TrimSpace(message) == "" || strings.ContainsRune(message, 0) {
		return "", errors.New("a commit needs a message, without NUL")
	}
	if options.Author != "" && !authorForm().MatchString(options.Author) {
		return "", fmt.Errorf("%q is not of the form Name <mail>", options.Author)
	}
	clean, err := r.writable(paths)
	if err != nil {
		return "", err
	}
	found, err := r.look(clean)
	if err != nil {
		return "", err
	}
	if len(found.unmerged) > 0 {
		// git would take the files as they are, marks of the conflict and all, and call it settled.
		return "", unmergedError(found.unmerged)
	}
	state, err := r.State()
	if err != nil {
		return "", err
	}
	if state != StateNone && state != StateBisect {
		if err := r.add(clean); err != nil {
			return "", err
		}
		return "", &Error{Kind: ErrStagedOnly, What: fmt.Sprintf("git is in the middle of %s, so %s was staged and not saved yet", state.words(), list(clean)),
			Help: "it will be saved when that is finished", Paths: clean}
	}
	before, err := r.head()
	if err != nil {
		return "", err
	}
	if len(found.fresh) > 0 {
		err = r.add(found.fresh)
	}
	if err == nil {
		err = r.commitOnly(message, clean, options)
	}
	if err != nil {
		return r.afterFailure(before, clean, found.fresh, err)
	}
	return r.Resolve("HEAD")
}

func (r *Repo) commitOnly(message string, clean []string, options CommitOptions) error {
	// How the message is cleaned up and which encoding it is in are fixed: settings of the user might take lines that begin
	// with "#" for comments, and UTF-8 for something else.
	args := []string{"-c", "i18n.commitEncoding=UTF-8", "commit", "-q", "--only", "--cleanup=whitespace"}
	if options.NoVerify {
		args = append(args, "--no-verify")
	}
	if options.Author != "" {
		args = append(args, "--author="+options.Author)
	}
	// What is too long for a command line goes by a file and never by a pipe: git reads the message only after the first hook,
	// and if this program were killed by then, git would save half a message and call it whole.
	if long := "--message=" + message; len(long) <= argSpace {
		args = append(args, long)
	} else {
		file, err := temporary(message)
		if err != nil {
			return fmt.Errorf("cannot write down the message: %w", err)
		}
		defer os.Remove(file)
		args = append(args, "--file="+file)
	}
	specs := literal(clean)
	if size(specs) <= argSpace {
		args = append(append(args, "--"), specs...)
	} else {
		file, err := temporary(nulList(specs))
		if err != nil {
			return fmt.Errorf("cannot write down the files to save: %w", err)
		}
		defer os.Remove(file)
		args = append(args, "--pathspec-from-file="+file, "--pathspec-file-nul")
	}
	cmd := r.writer(args...)
	if !options.Date.IsZero() {
		date := options.Date.Format(time.RFC3339)
		cmd.Env = append(cmd.Env, "GIT_AUTHOR_DATE="+date, "GIT_COMMITTER_DATE="+date)
	}
	cmd.Env = append(cmd.Env, options.Env...)
	_, err := finished(output(r.ctx, cmd, "", options.Output))
	if exitCode(err) != 1 {
		return err
	}
	// Status 1 is a hook that refused, or that there is nothing to save, of which -q says nothing.
	if same, diffErr := r.sameAsHead(clean); diffErr == nil && same {
		return &Error{Kind: ErrNothingToCommit, What: list(clean) + " is as it was saved before", Paths: clean, Err: err}
	}
	return &Error{Kind: ErrRefused, What: "the commit was refused; nothing was saved", Paths: clean, Err: err}
}

// afterFailure brings the index back to where it was, or forward where git had made the commit already and failed only
// after that.
func (r *Repo) afterFailure(before head, clean, fresh []string, err error) (string, error) {
	r = r.WithContext(context.WithoutCancel(r.ctx))
	if hash, askErr := r.savedSince(before, clean); askErr == nil && hash != "" {
		if r.reset(clean) == nil {
			return hash, nil
		}
		return hash, &Error{Kind: ErrIndexBehind, What: list(clean) + " was saved, but git could not note it in its list of staged files",
			Help: "see that the disk is not full, then git reset -q -- with these files; until then a plain git commit would take the change back", Paths: clean, Err: err}
	}
	if len(fresh) > 0 {
		if undo := r.forget(fresh); undo != nil && !errors.Is(err, ErrBusy) && !errors.Is(err, ErrReadOnly) {
			err = errors.Join(err, undo)
		}
	}
	return "", err
}

// savedSince is the commit that HEAD has moved on to, where it is one that changes these files and no others.
func (r *Repo) savedSince(before head, clean scope) (string, error) {
	now, err := r.head()
	if err != nil || now.commit == before.commit {
		return "", err
	}
	commit, err := r.commit(now.commit)
	if err != nil || len(commit.parents) > 1 || !slices.Equal(commit.parents, nonEmpty(before.commit)) {
		return "", err
	}
	changes, err := r.ChangedPaths(before.commit, now.commit)
	if err != nil || slices.ContainsFunc(changes, func(c Change) bool { return !clean.holds(c.Path) }) {
		return "", err
	}
	return now.commit, nil
}

func nonEmpty(s string) []string {
	if s == "" {
		return nil
	}
	return []string{s}
}

// sameAsHead says whether files on disk are as they were saved last, whatever is staged of them.
func (r *Repo) sameAsHead(clean []string) (bool, error) {
	head, err := r.head()
	if err != nil {
		return false, err
	}
	tree := head.commit
	if head.unborn {
		tree = r.emptyTree()
	}
	for specs := range batches(literal(clean)) {
		_, err := r.read(append([]string{"diff", "--quiet", "--no-ext-diff", "--no-textconv", "--no-renames", "--ignore-submodules=none", tree, "--"}, specs...)...)
		if err != nil {
			if exitCode(err) == 1 {
				err = nil
			}
			return false, err
		}
	}
	return true, nil
}

// temporary writes a file that only this user can read; the caller removes it.
func temporary(content string) (string, error) {
	f, err := os.CreateTemp("", "fettle-*")
	if err != nil {
		return "", err
	}
	_, err = f.WriteString(content)
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		os.Remove(f.Name())
		return "", err
	}
	return f.Name(), nil
}
