package git

import (
	"path/filepath"
	"strings"
)

// HooksDir is the directory in which git looks for hooks, absolute: that of the repository, shared by all its work trees,
// or the one that core.hooksPath names. [Repo.HooksPath] says which of the two. A setting that names no directory at all,
// with which git runs no hook, is an error of kind [ErrIrregular].
func (r *Repo) HooksDir() (string, error) {
	where, set, err := r.HooksPath()
	if err != nil {
		return "", err
	}
	if set && where.Value == "" {
		return "", &Error{Kind: ErrIrregular, What: "git is told to look for hooks nowhere (core.hooksPath is empty, " + strings.TrimPrefix(where.Origin, "file:") + "), so it runs none",
			Help: "take core.hooksPath out there"}
	}
	r.shared.mu.Lock()
	defer r.shared.mu.Unlock()
	if r.shared.hooks == "" {
		out, err := r.read("rev-parse", "--git-path", "hooks")
		if err != nil {
			return "", err
		}
		r.shared.hooks = absolute(r.shared.home, filepath.FromSlash(strings.TrimSuffix(string(out), "\n")))
	}
	return r.shared.hooks, nil
}

// HooksPath is the setting core.hooksPath, with the scope it was made in, and whether it is set at all. A directory set
// for the user or the system is shared with other repositories: hooks put there would run in all of them.
func (r *Repo) HooksPath() (Setting, bool, error) { return r.Setting("core.hooksPath") }
