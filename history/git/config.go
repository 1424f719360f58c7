package git

import (
	"fmt"
	"strconv"
	"strings"
)

// Scopes of a setting, as git names them.
const (
	ScopeSystem   = "system"
	ScopeGlobal   = "global" // of the user
	ScopeLocal    = "local"  // of the repository
	ScopeWorktree = "worktree"
	ScopeCommand  = "command" // git -c, or the environment
)

// Setting is one value of git's configuration.
type Setting struct {
	Value  string // "" also where only the name was given, which means true
	Scope  string // one of the Scope values
	Origin string // where it stands, as git says it: "file:/home/x/.gitconfig", "command line:"
	bare   bool   // only the name was given
}

// config is the whole configuration, read once.
type config struct {
	values map[string][]Setting // by key, in the order in which git reads them: the last one counts
}

// settings gives the values of a key, from one child for all keys.
func (r *Repo) settings(key string) ([]Setting, error) {
	canonical, err := canonicalKey(key)
	if err != nil {
		return nil, err
	}
	r.shared.mu.Lock()
	defer r.shared.mu.Unlock()
	if r.shared.config == nil {
		out, kept := r.recallSettings()
		if !kept {
			if out, err = r.read("config", "--list", "-z", "--show-scope", "--show-origin"); err != nil {
				return nil, err
			}
			r.keepSettings(out)
		}
		items := fields(out)
		if len(items)%3 != 0 {
			return nil, errorf(ErrUnsupported, "git config answered in a form that fettle does not know; update git to 2.31 or newer")
		}
		read := &config{values: map[string][]Setting{}}
		for ; len(items) > 0; items = items[3:] {
			name, value, given := strings.Cut(items[2], "\n")
			read.values[name] = append(read.values[name], Setting{Value: value, Scope: items[0], Origin: items[1], bare: !given})
		}
		r.shared.config = read
	}
	return r.shared.config.values[canonical], nil
}

// canonicalKey writes a key as git lists it: section and name in lower case, what stands between them as it is.
func canonicalKey(key string) (string, error) {
	first, last := strings.IndexByte(key, '.'), strings.LastIndexByte(key, '.')
	if first < 1 || last == len(key)-1 || strings.ContainsAny(key, "\n\x00") {
		return "", fmt.Errorf("%q is not the name of a setting of git", key)
	}
	return strings.ToLower(key[:first]) + key[first:last] + strings.ToLower(key[last:]), nil
}

// Config is the value of a setting ("core.hooksPath", "branch.main.remote") and whether it is set. All settings are read
// with one child when the first is asked for, and kept.
func (r *Repo) Config(key string) (value string, ok bool, err error) {
	s, ok, err := r.Setting(key)
	return s.Value, ok, err
}

// Setting is [Repo.Config] that also says where the value comes from.
func (r *Repo) Setting(key string) (Setting, bool, error) {
	all, err := r.settings(key)
	if err != nil || len(all) == 0 {
		return Setting{}, false, err
	}
	return all[len(all)-1], true, nil
}

// ConfigAll gives every value of a setting that may be set more than once, the weakest first.
func (r *Repo) ConfigAll(key string) ([]string, error) {
	all, err := r.settings(key)
	var values []string
	for _, s := range all {
		values = append(values, s.Value)
	}
	return values, err
}

// ConfigBool reads a setting as git reads yes or no. A value that is neither is an error.
func (r *Repo) ConfigBool(key string) (value, ok bool, err error) {
	s, ok, err := r.Setting(key)
	if err != nil || !ok {
		return false, false, err
	}
	if s.bare {
		return true, true, nil
	}
	switch strings.ToLower(s.Value) {
	case "true", "yes", "on":
		return true, true, nil
	case "false", "no", "off", "":
		return false, true, nil
	}
	// git takes numbers too, with a unit.
	number := strings.TrimRight(strings.ToLower(s.Value), "kmg")
	if n, err := strconv.ParseInt(number, 0, 64); err == nil && len(s.Value)-len(number) <= 1 {
		return n != 0, true, nil
	}
	return false, true, fmt.Errorf("the setting %s of git is %q (%s), which is neither true nor false", key, Printable(s.Value), Printable(s.Origin))
}

// ConfigPath is a setting that names a file, with a leading "~" replaced by the home directory as git does it. A relative
// path stays relative.
func (r *Repo) ConfigPath(key string) (path string, ok bool, err error) {
	path, ok, err = r.Config(key)
	if err != nil || !ok || !strings.HasPrefix(path, "~") && !strings.HasPrefix(path, "%(") {
		return path, ok, err
	}
	out, err := r.read("config", "-z", "--type=path", "--get", key)
	return strings.TrimSuffix(string(out), "\x00"), err == nil, err
}

// ConfigSet sets a value in the configuration of the repository.
func (r *Repo) ConfigSet(key, value string) error {
	return r.changeConfig(key, "config", "--local", "--replace-all", key, value)
}

// ConfigUnset removes a setting from the configuration of the repository; one that is not set there is no error.
func (r *Repo) ConfigUnset(key string) error {
	err := r.changeConfig(key, "config", "--local", "--unset-all", key)
	if exitCode(err) == 5 {
		return nil
	}
	return err
}

func (r *Repo) changeConfig(key string, args ...string) error {
	if _, err := canonicalKey(key); err != nil {
		return err
	}
	_, err := r.write("", args...)
	r.shared.mu.Lock()
	r.shared.config, r.shared.hooks = nil, ""
	r.shared.mu.Unlock()
	return err
}
