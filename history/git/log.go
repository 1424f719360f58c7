package git

import (
	"bufio"
	"bytes"
	"cmp"
	"errors"
	"io"
	"iter"
	"strconv"
	"strings"
	"time"
)

// LogOptions choose the commits and what is told of them. The zero value is the history of HEAD without its changes.
type LogOptions struct {
	Revs     []string // where to begin, and "A..B" or "^A" for what to leave out; HEAD when empty
	All      bool     // begin at every reference too
	Unshared bool     // leave out what a remote repository was last seen to have
	Paths    []string // only commits in which one of these files or directories differs from a parent

	// Simplify lets git skip side branches that did not matter in the end. Without it a commit that a merge threw away is
	// told too, as an audit must.
	Simplify    bool
	FirstParent bool // follow only the branch that was merged into
	Reverse     bool // oldest first
	MaxCount    int  // at most so many, the newest; 0 is all
	Changes     bool // list the files that each commit changed, those below Paths

	only bool // of Revs themselves, and nothing that leads to them
}

// LogEntry is one commit.
type LogEntry struct {
	Hash      string
	Parents   []string // at the edge of a shallow clone there are none
	Author    Signature
	Committer Signature
	Subject   string   // first paragraph of the message, on one line
	Message   string   // all of it
	CoAuthors []string // values of the trailer Co-authored-by: "Name <mail>"
	// Changes has one list per parent, in the order of Parents, and one against the empty tree where there is none. A merge
	// that changed nothing against a parent has an empty list there. It is nil where changes were not asked for.
	Changes [][]Change
}

// Signature is who did something to a commit, and when.
type Signature struct {
	Name, Email string
	When        time.Time // with the zone that was written down
}

// Log collects what [Repo.Walk] tells.
func (r *Repo) Log(options LogOptions) ([]LogEntry, error) {
	var log []LogEntry
	for entry, err := range r.Walk(options) {
		if err != nil {
			return nil, err
		}
		log = append(log, entry)
	}
	return log, nil
}

// logFormat ends every field with a NUL, which no field can hold. Dates are asked for as they are written: git 2.39 tells none of a history
// where a clock stood before 1970, be it by the zone alone, as that of a computer does whose battery is empty, west of Greenwich.
const logFormat = "%H%x00%P%x00%an%x00%ae%x00%ad%x00%cn%x00%ce%x00%cd%x00%s%x00%(trailers:key=Co-authored-by,valueonly,unfold)%x00%B%x00"
const logFields = 11

// Walk tells commits as git finds them, newest first, with one child where they are more than a few in a line. It stops after an error. Ending
// the loop early ends the child. A repository without commits has an empty history.
func (r *Repo) Walk(options LogOptions) iter.Seq2[LogEntry, error] {
	if entries, ok, err := r.line(options); ok || err != nil {
		return func(yield func(LogEntry, error) bool) {
			if err != nil {
				yield(LogEntry{}, err)
				return
			}
			for _, e := range entries {
				if !yield(e, nil) {
					return
				}
			}
		}
	}
	if options.hidesMerges() {
		return r.narrow(options)
	}
	return r.walk(options, options.Paths)
}

// walk is Walk as git does it. Changes of merges are limited to the paths under.
func (r *Repo) walk(options LogOptions, under []string) iter.Seq2[LogEntry, error] {
	return func(yield func(LogEntry, error) bool) {
		args, err := r.logArgs(options)
		if err != nil {
			yield(LogEntry{}, err)
			return
		}
		if args == nil {
			return
		}
		cmd := r.command(args...)
		cmd.Env = append(cmd.Env, noLocks)
		stderr := &tail{}
		cmd.Stderr = stderr
		out, err := cmd.StdoutPipe()
		if err == nil {
			err = cmd.Start()
		}
		if err != nil {
			yield(LogEntry{}, commandError(args, "", err))
			return
		}
		if options.Changes {
			limitMemory(cmd.Process.Pid, mostMemory)
		}
		reader := &logReader{repo: r, in: bufio.NewReaderSize(out, 64<<10), changed: options.Changes, under: under}
		for {
			entry, err := reader.next()
			if err == io.EOF {
				break
			}
			if err != nil {
				_ = cmd.Process.Kill()
				waitErr := cmd.Wait()
				if text := stderr.String(); firstComplaint(text) != "" {
					err = commandError(args, text, waitErr)
				}
				yield(LogEntry{}, err)
				return
			}
			if !yield(entry, nil) {
				_ = cmd.Process.Kill()
				_ = cmd.Wait()
				return
			}
		}
		if err := cmd.Wait(); err != nil {
			if r.ctx.Err() != nil {
				err = r.ctx.Err()
			} else {
				err = commandError(args, stderr.String(), err)
			}
			yield(LogEntry{}, err)
		}
	}
}

// logArgs are the arguments of git log; nil where there can be no commit. Settings of the user that would change the
// output are overruled.
func (r *Repo) logArgs(o LogOptions) ([]string, error) {
	args := []string{"-c", "log.follow=false", "log", "-z", "--format=tformat:" + logFormat, "--date=raw", "--encoding=UTF-8", "--no-color", "--no-decorate",
		"--no-notes", "--no-show-signature", "--no-renames", "--no-ext-diff", "--no-textconv", "--no-relative", "--ignore-submodules=none"}
	if o.Changes {
		args = append(args, "--raw", "--no-abbrev", "--root")
	} else {
		args = append(args, "--no-patch")
	}
	for flag, on := range map[string]bool{"--all": o.All, "--first-parent": o.FirstParent, "--reverse": o.Reverse, "--full-history": len(o.Paths) > 0 && !o.Simplify} {
		if on {
			args = append(args, flag)
		}
	}
	if o.only {
		args = append(args, "--no-walk=unsorted")
	}
	if o.MaxCount > 0 {
		args = append(args, "--max-count="+strconv.Itoa(o.MaxCount))
	}
	if len(o.Revs) == 0 {
		head, err := r.head()
		if err != nil {
			return nil, err
		}
		if head.unborn && !o.All {
			return nil, nil
		}
		if !head.unborn {
			args = append(args, "HEAD")
		}
	}
	for _, rev := range o.Revs {
		if err := checkRevision(strings.TrimPrefix(rev, "^")); err != nil {
			return nil, err
		}
		args = append(args, rev)
	}
	if o.Unshared {
		args = append(args, "--not", "--remotes")
	}
	specs, err := pathspecs(o.Paths)
	if err != nil {
		return nil, err
	}
	return append(append(args, "--"), specs...), nil
}

// logReader takes the output of git log apart.
type logReader struct {
	repo    *Repo
	in      *bufio.Reader
	changed bool     // changes were asked for
	under   []string // what changes of merges are limited to
	ahead   *string  // an item read too far: the id of the next commit
}

// item reads up to the next NUL. Of a longer one it keeps no more than so many bytes: a commit is as large as whoever pushed it wanted.
func (l *logReader) item(most int) (string, error) {
	if l.ahead != nil {
		item := *l.ahead
		l.ahead = nil
		return item, nil
	}
	var kept []byte
	for {
		piece, err := l.in.ReadSlice(0)
		if kept == nil && err == nil { // nearly always
			return string(piece[:min(len(piece)-1, most)]), nil
		}
		if room := most + 1 - len(kept); room > 0 {
			kept = append(kept, piece[:min(len(piece), room)]...)
		}
		switch {
		case err == bufio.ErrBufferFull:
			continue
		case err == io.EOF && len(kept) > 0:
			return "", io.ErrUnexpectedEOF
		case err != nil:
			return "", err
		}
		kept = bytes.TrimSuffix(kept, []byte{0})
		return string(kept[:min(len(kept), most)]), nil
	}
}

// How many bytes are kept of a message, of all co-authors of a commit, and of any other field of it: subjects and names are held of every commit
// of a push. No parent may be left out.
const (
	mostMessage   = 16 << 20
	mostCoAuthors = 64 << 10
	mostField     = 4 << 10
	mostParents   = 1 << 20
)

var mostOfField = [logFields]int{1: mostParents, 9: mostCoAuthors, 10: mostMessage}

func (l *logReader) next() (LogEntry, error) {
	var parts [logFields]string
	for i := range parts {
		item, err := l.item(cmp.Or(mostOfField[i], mostField))
		if err != nil {
			if err == io.EOF && i > 0 {
				err = io.ErrUnexpectedEOF
			}
			return LogEntry{}, err
		}
		parts[i] = item
	}
	if !l.repo.isHash(parts[0]) {
		return LogEntry{}, errorf(ErrUnsupported, "git log answered %q where a commit was expected", parts[0])
	}
	if len(parts[1]) == mostParents {
		return LogEntry{}, errorf(ErrTooLarge, "the commit %s follows more others than fettle looks at", parts[0])
	}
	entry := LogEntry{
		Hash: parts[0], Parents: strings.Fields(parts[1]),
		Author:    Signature{parts[2], parts[3], parseTime(parts[4])},
		Committer: Signature{parts[5], parts[6], parseTime(parts[7])},
		Subject:   parts[8],
		Message:   parts[10],
	}
	for line := range strings.Lines(parts[9]) {
		if line = strings.TrimSpace(line); line != "" {
			entry.CoAuthors = append(entry.CoAuthors, line)
		}
	}
	changes, err := l.changes()
	if err != nil || !l.changed {
		return entry, err
	}
	if len(entry.Parents) < 2 {
		entry.Changes = [][]Change{changes}
		return entry, nil
	}
	// git shows a merge against one parent or against all at once, each in its own way; trees say it plainly.
	for _, parent := range entry.Parents {
		changes, err := l.repo.ChangedPaths(parent, entry.Hash, l.under...)
		if err != nil {
			return entry, err
		}
		entry.Changes = append(entry.Changes, changes)
	}
	return entry, nil
}

// changes reads what follows the fields of a commit: an empty item that ends them, and where the commit has changes, these;
// the first after a line feed.
func (l *logReader) changes() ([]Change, error) {
	var changes []Change
	for first := true; ; first = false {
		item, err := l.item(mostField)
		if err == io.EOF {
			return changes, nil
		}
		if err != nil {
			return nil, err
		}
		item = strings.TrimLeft(item, "\n")
		if item == "" && first {
			continue
		}
		if !strings.HasPrefix(item, ":") {
			l.ahead = &item
			return changes, nil
		}
		path, err := l.item(mostPath)
		if err != nil {
			return nil, errors.Join(errors.New("a change without a path"), err)
		}
		if len(path) == mostPath {
			return nil, errorf(ErrTooLarge, "the name of a file is longer than any computer takes: %s...", Printable(path[:60]))
		}
		change, _, err := l.repo.parseRawPair([]string{item, path})
		if err != nil {
			return nil, err
		}
		if changes = append(changes, change); len(changes) > mostChanges {
			return nil, errorf(ErrTooLarge, "one commit changes more than %d files, more than fettle looks at", mostChanges)
		}
	}
}

// How many changes are read of one commit, and how many bytes of memory git may take to tell them. See [way]: it lists all that there are before
// it tells the first.
const (
	mostChanges = 2 << 20
	mostMemory  = 1 << 30
)

// parseTime reads a date as git writes it, "SECONDS ZONE". One that is beyond what a calendar holds (git keeps whatever number was written) is
// the zero time.
func parseTime(s string) time.Time {
	when, ok := timeIn(s)
	if !ok {
		return time.Time{}
	}
	return when
}

// timeIn is parseTime that is false for a date beyond a calendar.
func timeIn(s string) (time.Time, bool) {
	seconds, zone, ok := strings.Cut(s, " ")
	if !ok || len(zone) != 5 || zone[0] != '+' && zone[0] != '-' {
		return time.Time{}, false
	}
	n, err := strconv.ParseUint(seconds, 10, 38) // as far as years have four digits
	hours, wrong := strconv.ParseUint(zone[1:3], 10, 8)
	minutes, bad := strconv.ParseUint(zone[3:], 10, 8)
	if err != nil || wrong != nil || bad != nil || hours > 24 || minutes > 59 {
		return time.Time{}, false
	}
	offset := int(hours*60+minutes) * 60
	if zone[0] == '-' {
		offset = -offset
	}
	when, err := time.Parse(time.RFC3339, time.Unix(int64(n), 0).In(time.FixedZone("", offset)).Format(time.RFC3339))
	return when, err == nil
}
