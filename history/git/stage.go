package git

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Add stages files as they are on disk, removed ones too; one with a conflict counts as settled then. A file that git is
// told to ignore is an error of kind [ErrIgnored], and then nothing is staged.
func (r *Repo) Add(paths ...string) error {
	clean, err := r.writable(paths)
	if err != nil {
		return err
	}
	if _, err := r.look(clean); err != nil {
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
	if !head.unborn {
		return r.reset(clean)
	}
	for specs := range batches(literal(clean)) {
		if _, err := r.write("", append([]string{"rm", "-q", "-r", "--cached", "--ignore-unmatch", "--"}, specs...)...); err != nil {
			return err
		}
	}
	return nil
}

// reset makes the index hold of these files what the last commit does.
func (r *Repo) reset(clean []string) error {
	_, err := r.write(nulList(literal(clean)), "reset", "-q", "--pathspec-from-file=-", "--pathspec-file-nul")
	return err
}

// forget takes files out of the index that were put there for a commit that then failed.
func (r *Repo) forget(fresh []string) error {
	_, err := r.write(nulList(fresh), "update-index", "--force-remove", "-z", "--stdin")
	return err
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

// found is what git knows of some paths and what lies below them.
type found struct {
	fresh    []string // on disk and not known to git yet
	unmerged []string // in conflict
}

// look asks git about paths that are to be saved. A path that leads to nothing, a file that is ignored and a repository in
// the repository are errors.
func (r *Repo) look(clean []string) (found, error) {
	var f found
	var all []string
	for specs := range batches(literal(clean)) {
		out, err := r.read(append([]string{"ls-files", "-z", "-t", "--cached", "--others", "--exclude-standard", "--"}, specs...)...)
		if err != nil {
			return found{}, err
		}
		for _, item := range fields(out) {
			tag, file, _ := strings.Cut(item, " ")
			all = append(all, file)
			switch {
			case tag == "?" && strings.HasSuffix(file, "/"):
				return found{}, irregular(strings.TrimSuffix(file, "/"), "another repository")
			case tag == "?":
				f.fresh = append(f.fresh, file)
			case tag == "M" && !slices.Contains(f.unmerged, file): // once for every side of the conflict
				f.unmerged = append(f.unmerged, file)
			}
		}
	}
	for _, p := range clean {
		if !slices.ContainsFunc(all, func(file string) bool { return within(file, p) }) {
			if err := r.whyUnknown(p); err != nil {
				return found{}, err
			}
		}
	}
	return f, nil
}

// whyUnknown says why git has nothing at a path, or nil where it is a file that was removed and is in the last commit.
func (r *Repo) whyUnknown(p string) error {
	info, err := os.Lstat(filepath.Join(r.Dir, filepath.FromSlash(p)))
	switch {
	case err != nil:
		saved, headErr := r.inHead(p)
		if headErr != nil {
			return headErr
		}
		if !saved {
			return &Error{Kind: ErrNoSuchFile, What: "there is no file " + p, Paths: []string{p}, Err: err}
		}
		return nil
	case info.IsDir():
		out, err := r.read("ls-files", "-z", "--others", "--ignored", "--exclude-standard", "--", literal([]string{p})[0])
		if err != nil {
			return err
		}
		below := fields(out)
		if len(below) == 0 {
			return &Error{Kind: ErrNoSuchFile, What: "there is nothing to save in the directory " + p, Paths: []string{p}}
		}
		p = below[0]
	}
	return &Error{Kind: ErrIgnored, What: "git is told to ignore " + p, Paths: []string{p},
		Help: "git check-ignore -v " + p + " says where; take that line out"}
}

func (r *Repo) inHead(p string) (bool, error) {
	head, err := r.head()
	if err != nil || head.unborn {
		return false, err
	}
	files, err := r.TreeFiles(head.commit, p)
	return len(files) > 0, err
}
