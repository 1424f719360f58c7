package git

// HooksDir is the directory in which git looks for hooks, absolute: that of the repository, shared by all its work trees,
// or the one that core.hooksPath names. [Repo.HooksPath] says which of the two.
func (r *Repo) HooksDir() (string, error) { return r.shared.hooks, nil }

// HooksPath is the setting core.hooksPath, with the scope it was made in, and whether it is set at all. A directory set
// for the user or the system is shared with other repositories: hooks put there would run in all of them.
func (r *Repo) HooksPath() (Setting, bool, error) { return r.Setting("core.hooksPath") }
