package git

import (
	"errors"
	"fmt"
	"os/exec"
	"strings"
	"unicode"
)

// Kinds of failure, for errors.Is. Every one that this package returns comes inside an [Error] that says more.
var (
	ErrNoGit           = errors.New("the git program is missing")
	ErrNotRepository   = errors.New("not in a git repository")
	ErrUnsafe          = errors.New("git does not trust this repository")
	ErrUnsupported     = errors.New("this repository needs another version of git")
	ErrNoWorkTree      = errors.New("the repository has no files on disk")
	ErrUnknownRevision = errors.New("no such commit")
	ErrUnborn          = errors.New("nothing has been saved yet")
	ErrMissing         = errors.New("an object is missing from the repository")
	ErrCorrupt         = errors.New("the repository is damaged")
	ErrTooLarge        = errors.New("a file is too large")
	ErrIrregular       = errors.New("not an ordinary file")
	ErrUnreadable      = errors.New("a file cannot be read")
	ErrUnmerged        = errors.New("a merge left conflicts")
	ErrNoIdentity      = errors.New("git does not know who you are")
	ErrIgnored         = errors.New("git is told to ignore a file")
	ErrNoSuchFile      = errors.New("no such file")
	ErrBadPath         = errors.New("not a path inside the work tree")
	ErrBusy            = errors.New("another git program is at work in this repository")
	ErrRefused         = errors.New("the commit was refused")
	ErrNothingToCommit = errors.New("nothing to save")
	ErrStagedOnly      = errors.New("staged but not saved")
	ErrIndexBehind     = errors.New("saved, but still listed as unsaved")
	ErrReadOnly        = errors.New("git cannot write into this repository")
	ErrClosed          = errors.New("the repository was closed")
)

// Error is a failure in words for the person at the screen.
type Error struct {
	Kind  error    // one of the Err values of this package
	What  string   // what happened, one line
	Help  string   // what to do about it; may be empty, may have several lines
	Paths []string // the files concerned, from the top of the work tree; may be empty
	Err   error    // the cause, often a *CommandError; may be nil
}

// Error is What and Help.
func (e *Error) Error() string {
	var b strings.Builder
	b.WriteString(Printable(e.What))
	if e.Help != "" {
		b.WriteString("; ")
		b.WriteString(Printable(e.Help))
	}
	return b.String()
}

// Unwrap gives the kind and the cause to errors.Is and errors.As.
func (e *Error) Unwrap() []error {
	if e.Err == nil {
		return []error{e.Kind}
	}
	return []error{e.Kind, e.Err}
}

// CommandError is a git command that failed.
type CommandError struct {
	Args   []string // without "git" itself
	Code   int      // exit status, -1 when it was killed or did not start
	Stderr string   // as git printed it
	Err    error    // from os/exec
}

// Error names the command and the first line in which git says what is wrong.
func (e *CommandError) Error() string {
	name := ""
	for _, arg := range e.Args {
		if !strings.HasPrefix(arg, "-") && !strings.Contains(arg, "=") {
			name = " " + arg
			break
		}
	}
	reason := firstComplaint(e.Stderr)
	if reason == "" && e.Err != nil {
		reason = e.Err.Error()
	}
	return "git" + name + ": " + Printable(reason)
}

func (e *CommandError) Unwrap() error { return e.Err }

// firstComplaint is the first line of stderr that git marks as an error, or else its first line.
func firstComplaint(stderr string) string {
	first := ""
	for line := range strings.Lines(stderr) {
		line = strings.TrimSpace(line)
		for _, mark := range []string{"fatal: ", "error: "} {
			if rest, ok := strings.CutPrefix(line, mark); ok {
				return rest
			}
		}
		if first == "" {
			first = line
		}
	}
	return first
}

// unknownExtension is the complaint with the names that git puts on lines of their own.
func unknownExtension(stderr string) string {
	first := firstComplaint(stderr)
	if !strings.HasSuffix(first, ":") {
		return first
	}
	_, names, _ := strings.Cut(stderr, first)
	return first + " " + strings.Join(strings.Fields(names), ", ")
}

// commandError turns the error of os/exec into one that says what git said, and into an [Error] where the cause is known.
func commandError(args []string, stderr string, err error) error {
	failed := &CommandError{Args: args, Code: -1, Stderr: stderr, Err: err}
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		failed.Code = exit.ExitCode()
	}
	// Below 128 the status is an answer, or a hook's; what a hook printed is not git's own word.
	if failed.Code < 0 || failed.Code >= 128 {
		if known := diagnose(failed); known != nil {
			return known
		}
	}
	return failed
}

// diagnose recognises the failures that any command may run into. The messages are git's own, in English because every
// child runs in the C locale.
func diagnose(e *CommandError) error {
	has := func(parts ...string) bool {
		for _, part := range parts {
			if strings.Contains(e.Stderr, part) {
				return true
			}
		}
		return false
	}
	known := func(kind error, what, help string) error { return &Error{Kind: kind, What: what, Help: help, Err: e} }
	switch {
	case errors.Is(e.Err, exec.ErrNotFound):
		return known(ErrNoGit, "the git program was not found", "install git (version 2.31 or newer) and see that it is on the PATH")
	case has("detected dubious ownership", "unsafe repository"):
		return known(ErrUnsafe, "git does not trust this repository because its files belong to another user",
			"if you trust them: "+safeDirectory(e.Stderr))
	case has("cannot use bare repository"):
		return known(ErrUnsafe, "git is told not to use a bare repository that it only came across (safe.bareRepository)",
			"name the repository: set GIT_DIR to it")
	case has("not a git repository", "Not a git repository"):
		return known(ErrNotRepository, "this directory is not in a git repository",
			"go to the directory of the library, or start one there with: fettle init")
	case has("unknown repository extension", "Expected git repo version", "unknown repository storage", "unknown ref storage", "unknown hash algorithm"):
		return known(ErrUnsupported, "this repository uses something that the installed git does not know: "+unknownExtension(e.Stderr), "update git; what it calls refstorage (reftable) needs 2.45 or newer")
	case has("unrecognized argument", "unknown option", "ambiguous argument '--"):
		return known(ErrUnsupported, "the installed git does not know an option that fettle needs: "+firstComplaint(e.Stderr), "update git to 2.31 or newer")
	case has(".lock': File exists", "Another git process seems to be running"):
		return known(ErrBusy, "another git program is at work in this repository ("+firstComplaint(e.Stderr)+")",
			"wait until it has finished and try again; if none is running, a program died here: remove the .lock file it names")
	case has("Read-only file system", "insufficient permission", "No space left on device", "Out of diskspace", "Disk quota exceeded") ||
		has("Permission denied") && has("Unable to create", "unable to create", "could not lock", "cannot lock", "unable to write"):
		return known(ErrReadOnly, "git cannot write into this repository ("+firstComplaint(e.Stderr)+")",
			"see that the disk is neither full nor read-only, and that the files under .git belong to you")
	case has("Please tell me who you are", "empty ident name", "no email was given", "no name was given", "consists only of disallowed", "unable to auto-detect"):
		return noIdentity(e)
	case has("Out of memory, ", "out of memory"):
		return known(ErrTooLarge, "git ran out of memory: a commit holds files without end, or a message as long as a library of books, or this computer is short of it", "git log --format=%h tells which commits there are")
	case has("is corrupt", "unable to unpack", "inflate: data stream error", "bad tree object", "index file corrupt", "bad signature 0x", "index file smaller than expected", "bad index file"):
		return known(ErrCorrupt, "the repository is damaged: "+firstComplaint(e.Stderr), "run git fsck, and fetch the missing parts from another copy")
	}
	return nil
}

func noIdentity(cause error) error {
	return &Error{Kind: ErrNoIdentity, What: "git does not know your name and mail address",
		Help: "tell it once:\n  git config --global user.name \"Your Name\"\n  git config --global user.email you@shop.example", Err: cause}
}

// safeDirectory is the command that git itself proposes, or its general form.
func safeDirectory(stderr string) string {
	for line := range strings.Lines(stderr) {
		if line = strings.TrimSpace(line); strings.HasPrefix(line, "git config --global --add safe.directory") {
			return line
		}
	}
	return "git config --global --add safe.directory DIRECTORY"
}

// Printable replaces what a terminal acts on or does not show (controls, marks of direction, joiners and tags; line feed and tab stay),
// so that text of unknown origin, such as a path, a note or a message of a hook, neither commands a terminal nor reads as another.
func Printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' || r < unicode.MaxASCII && r >= ' ' || !unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp, unicode.Co) {
			return r
		}
		return '\uFFFD'
	}, s)
}

func errorf(kind error, format string, args ...any) error {
	return &Error{Kind: kind, What: fmt.Sprintf(format, args...)}
}
