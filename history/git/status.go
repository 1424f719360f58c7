package git

import (
	"slices"
	"strconv"
	"strings"
)

// FileStatus is a file that is not as it was saved last. A file may be staged and edited at once.
type FileStatus struct {
	Path      string // from the top of the work tree
	Staged    bool   // the index differs from the last commit
	Edited    bool   // the disk differs from the index
	Removed   bool   // there is no such file on disk, or it was taken out of the index
	Untracked bool   // git does not know it
	Ignored   bool   // git does not know it and is told not to
	Unmerged  bool   // a merge left a conflict in it
}

// Status lists the files that are not as they were saved last, all or those at and below the given paths, ignored ones
// too. It does not refresh the index, so it can run beside any other command.
func (r *Repo) Status(under ...string) ([]FileStatus, error) {
	if err := r.needTree("cannot compare files"); err != nil {
		return nil, err
	}
	specs, err := pathspecs(under)
	if err != nil {
		return nil, err
	}
	args := append([]string{"status", "--porcelain=v2", "-z", "--untracked-files=all", "--ignored=matching", "--no-renames", "--no-ahead-behind",
		"--ignore-submodules=dirty", "--"}, specs...)
	out, err := r.read(args...)
	if err != nil {
		return nil, err
	}
	var files []FileStatus
	for _, item := range fields(out) {
		file, ok := parseStatus(item)
		if !ok {
			return nil, errorf(ErrUnsupported, "git status answered %q, which fettle cannot read", item)
		}
		files = append(files, file)
	}
	return files, nil
}

// parseStatus reads one line of the second porcelain form, described in git-status(1).
func parseStatus(item string) (FileStatus, bool) {
	kind, rest, _ := strings.Cut(item, " ")
	switch kind {
	case "?":
		return FileStatus{Path: rest, Untracked: true}, true
	case "!":
		return FileStatus{Path: rest, Ignored: true}, true
	case "1", "u":
		// "1 XY sub mH mI mW hH hI path", "u XY sub m1 m2 m3 mW h1 h2 h3 path"
		n := 8
		if kind == "u" {
			n = 10
		}
		parts := strings.SplitN(rest, " ", n)
		if len(parts) != n || len(parts[0]) != 2 {
			return FileStatus{}, false
		}
		xy := parts[0]
		file := FileStatus{Path: parts[n-1], Unmerged: kind == "u"}
		if !file.Unmerged {
			file.Staged, file.Edited = xy[0] != '.', xy[1] != '.'
			file.Removed = xy[1] == 'D' || xy[0] == 'D' && xy[1] == '.'
		}
		return file, true
	}
	return FileStatus{}, false
}

// Ignored gives those of the paths that git is told to ignore and does not know yet.
func (r *Repo) Ignored(paths ...string) ([]string, error) {
	if err := r.needTree("cannot tell what is ignored"); err != nil {
		return nil, err
	}
	clean, err := newScope(paths)
	if err != nil || len(clean) == 0 {
		return nil, err
	}
	// check-ignore takes no literal paths: the leading "./" keeps it from reading a path as more than a name, and without the
	// index it does not look for known files that a "*" in a name might match.
	dotted := make([]string, len(clean))
	for i, p := range clean {
		dotted[i] = "./" + p
	}
	out, err := r.readInput(nulList(dotted), "check-ignore", "--no-index", "-z", "--stdin")
	if exitCode(err) == 1 {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	ignored := fields(out)
	for i, p := range ignored {
		ignored[i] = strings.TrimPrefix(p, "./")
	}
	var known []string
	for specs := range batches(literal(ignored)) {
		out, err := r.read(append([]string{"ls-files", "-z", "--cached", "--"}, specs...)...)
		if err != nil {
			return nil, err
		}
		known = append(known, fields(out)...)
	}
	return slices.DeleteFunc(ignored, func(p string) bool {
		return slices.ContainsFunc(known, func(file string) bool { return within(file, p) })
	}), nil
}

// Upstream says how the current branch stands to the branch of another repository that it follows: how many commits it
// is ahead and behind, as far as is known here (nothing is fetched), and the short name of the other ("origin/main"). ok is
// false where it follows none, where the other was removed (ref still names it), and where the work tree is on no branch.
func (r *Repo) Upstream() (ahead, behind int, ref string, ok bool, err error) {
	branch, err := r.headRef()
	if err != nil || branch == "" {
		return 0, 0, "", false, err
	}
	out, err := r.read("for-each-ref", "--format=%(refname)%00%(upstream:short)%00%(upstream:track,nobracket)%00", branch)
	if err != nil {
		return 0, 0, "", false, err
	}
	for line := range strings.Lines(string(out)) {
		parts := strings.Split(line, "\x00")
		if len(parts) != 4 || parts[0] != branch || parts[1] == "" {
			continue
		}
		ref, ok = parts[1], true
		for track := range strings.SplitSeq(parts[2], ", ") {
			word, number, _ := strings.Cut(track, " ")
			n, _ := strconv.Atoi(number)
			switch word {
			case "ahead":
				ahead = n
			case "behind":
				behind = n
			case "gone":
				ok = false
			}
		}
		return ahead, behind, ref, ok, nil
	}
	return 0, 0, "", false, nil
}

// Run runs any git command that changes something, for the few steps that have no method of their own, and returns what it
// printed. The caller answers for the arguments.
func (r *Repo) Run(args ...string) ([]byte, error) { return r.write("", args...) }
