package git

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"time"
)

// Add stages files as they are on disk, removed ones too. A file that git is told to ignore is an error of kind
// [ErrIgnored], and then nothing is staged.
func (r *Repo) Add(paths ...string) error {
	clean, err := r.writable(paths)
	if err != nil {
		return err
	}
	if _, err := r.newFiles(clean); err != nil {
		return err
	}
	return r.add(clean)
}

func (r *Repo) add(clean []string) error {
	_, err := r.write(nulList(literal(clean)), "add", "--all", "--pathspec-from-file=-", "--pathspec-file-nul")
	if err != nil && strings.Contains(err.Error(), "sparse") {
		return &Error{Kind: ErrIgnored, What: "git leaves " + list(clean) + " out of this work tree (sparse checkout)", Paths: clean,
			Help: "git sparse-checkout add, with the directory of the library", Err: err}
	}
	return err
}

// Unstage takes files out of what the next commit would save; on disk they stay as they are.
func (r *Repo) Unstage(paths ...string) error {
	clean, err := r.writable(paths)
	if err != nil {
		return err
	}
	head, err := r.head()
	if err != nil {
		return err
	}
	if head.unborn {
		_, err = r.write("", append([]string{"rm", "-q", "-r", "--cached", "--ignore-unmatch", "--"}, literal(clean)...)...)
		return err
	}
	_, err = r.write(nulList(literal(clean)), "reset", "-q", "--pathspec-from-file=-", "--pathspec-file-nul")
	return err
}

// CommitOptions say more about a commit. The zero value is the person and the time that git would use.
type CommitOptions struct {
	Author   string    // "Name <mail>", where the author is not who commits
	Date     time.Time // of author and committer; the zero time is now
	NoVerify bool      // skip the hooks that may refuse
	Env      []string  // more environment, for instance GIT_COMMITTER_NAME
	Output   io.Writer // gets what hooks print, as they print it; may be nil
}

var authorForm = regexp.MustCompile(`^[^<>\x00-\x1f]+ <[^<>\x00-\x1f]*>$`)

// CommitPaths saves exactly these files, as they are on disk, and returns the id of the commit. Files that are new to git
// are taken in; what else is staged stays staged and is not saved. If the commit fails the index is as it was before.
//
// While git is in the middle of a merge, a cherry-pick, a revert, a rebase or patches from mail, a commit of some files
// would end or disturb that work. Then the files are only staged, and the error is of kind [ErrStagedOnly]: the commit that ends the work will
// save them.
//
// Other kinds: [ErrRefused] by a hook, whose words are in the [CommandError]; [ErrNothingToCommit]; [ErrIgnored];
// [ErrNoSuchFile] for a path that is neither on disk nor known to git; [ErrUnmerged]; [ErrNoIdentity]; [ErrBusy].
func (r *Repo) CommitPaths(message string, paths []string, options CommitOptions) (hash string, err error) {
	if strings.TrimSpace(message) == "" || strings.ContainsRune(message, 0) {
		return "", errors.New("a commit needs a message, without NUL")
	}
	if options.Author != "" && !authorForm.MatchString(options.Author) {
		return "", fmt.Errorf("%q is not of the form Name <mail>", options.Author)
	}
	clean, err := r.writable(paths)
	if err != nil {
		return "", err
	}
	fresh, err := r.newFiles(clean)
	if err != nil {
		return "", err
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
	if len(fresh) > 0 {
		if err := r.add(fresh); err != nil {
			r.forget(fresh)
			return "", err
		}
	}
	if err := r.commitOnly(message, clean, options); err != nil {
		if len(fresh) > 0 {
			err = errors.Join(err, r.forget(fresh))
		}
		return "", err
	}
	return r.Resolve("HEAD")
}

func (r *Repo) commitOnly(message string, clean []string, options CommitOptions) error {
	// The paths go by standard input, where their number has no limit; the message is an argument. Clean-up is fixed:
	// a setting of the user might take lines that begin with "#" for comments.
	args := []string{"commit", "-q", "--only", "--cleanup=whitespace", "--message=" + message, "--pathspec-from-file=-", "--pathspec-file-nul"}
	if options.NoVerify {
		args = append(args, "--no-verify")
	}
	if options.Author != "" {
		args = append(args, "--author="+options.Author)
	}
	cmd := r.command(args...)
	if !options.Date.IsZero() {
		date := options.Date.Format(time.RFC3339)
		cmd.Env = append(cmd.Env, "GIT_AUTHOR_DATE="+date, "GIT_COMMITTER_DATE="+date)
	}
	cmd.Env = append(cmd.Env, options.Env...)
	_, err := output(r.ctx, cmd, nulList(literal(clean)), options.Output)
	if exitCode(err) != 1 {
		return commitProblem(err)
	}
	// Status 1 is a hook that refused, or that there is nothing to save, of which -q says nothing.
	same, diffErr := r.sameAsHead(clean)
	if diffErr == nil && same {
		return &Error{Kind: ErrNothingToCommit, What: list(clean) + " is as it was saved before", Paths: clean, Err: err}
	}
	return &Error{Kind: ErrRefused, What: "the commit was refused; nothing was saved", Paths: clean, Err: err}
}

// commitProblem names the failures that only a commit has.
func commitProblem(err error) error {
	var failed *CommandError
	if errors.As(err, &failed) && strings.Contains(failed.Stderr, "unmerged files") {
		return &Error{Kind: ErrUnmerged, What: "a merge left conflicts, so nothing can be saved", Help: "settle them in the files, then git add them", Err: err}
	}
	return err
}

// sameAsHead says whether files on disk are as they were saved last.
func (r *Repo) sameAsHead(clean []string) (bool, error) {
	head, err := r.head()
	if err != nil || head.unborn {
		return false, err
	}
	status, err := r.Status(clean...)
	return len(status) == 0, err
}

// writable checks the paths of a command that changes something.
func (r *Repo) writable(paths []string) (scope, error) {
	if err := r.needTree("cannot save"); err != nil {
		return nil, err
	}
	if len(paths) == 0 {
		return nil, errorf(ErrBadPath, "no file was named")
	}
	clean, err := newScope(paths)
	if err == nil && len(clean) == 0 {
		err = errorf(ErrBadPath, "name files; the whole work tree is never saved at once")
	}
	return clean, err
}

// newFiles are the files at and below the paths that git does not know yet. A path that leads to nothing and a file that
// is ignored are errors.
func (r *Repo) newFiles(clean []string) ([]string, error) {
	out, err := r.read(append([]string{"ls-files", "-z", "-t", "--cached", "--others", "--exclude-standard", "--"}, literal(clean)...)...)
	if err != nil {
		return nil, err
	}
	var fresh, known []string
	for _, item := range fields(out) {
		tag, file, _ := strings.Cut(item, " ")
		if known = append(known, file); tag == "?" {
			fresh = append(fresh, file)
		}
	}
	for _, p := range clean {
		found := false
		for _, file := range known {
			found = found || within(file, p)
		}
		if found {
			continue
		}
		info, err := os.Lstat(filepath.Join(r.Dir, filepath.FromSlash(p)))
		switch {
		case err != nil:
			// A file that was removed and unstaged already may still be in the last commit.
			inHead, headErr := r.inHead(p)
			if headErr != nil {
				return nil, headErr
			}
			if !inHead {
				return nil, &Error{Kind: ErrNoSuchFile, What: "there is no file " + p, Paths: []string{p}, Err: err}
			}
		case info.IsDir():
			return nil, &Error{Kind: ErrNoSuchFile, What: "there is nothing to save in the directory " + p, Paths: []string{p}}
		default:
			return nil, &Error{Kind: ErrIgnored, What: "git is told to ignore " + p, Paths: []string{p},
				Help: "git check-ignore -v " + p + " says where; change that line of .gitignore"}
		}
	}
	return fresh, nil
}

func (r *Repo) inHead(p string) (bool, error) {
	head, err := r.head()
	if err != nil || head.unborn {
		return false, err
	}
	files, err := r.TreeFiles(head.commit, p)
	return len(files) > 0, err
}

// forget takes files out of the index that were put there for a commit that then failed.
func (r *Repo) forget(fresh []string) error {
	_, err := r.write(nulList(fresh), "update-index", "--force-remove", "-z", "--stdin")
	return err
}

// nulList ends every item with a NUL.
func nulList(items []string) string {
	var b strings.Builder
	for _, item := range items {
		b.WriteString(item)
		b.WriteByte(0)
	}
	return b.String()
}
