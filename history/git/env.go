package git

import (
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
)

// localVariables tie a process to one repository. git prints its own list with `git rev-parse --local-env-vars`; a test
// holds that list inside this one. A child that works on another repository must not inherit them.
var localVariables = []string{
	"GIT_ALTERNATE_OBJECT_DIRECTORIES", "GIT_CONFIG", "GIT_CONFIG_PARAMETERS", "GIT_CONFIG_COUNT", "GIT_OBJECT_DIRECTORY",
	"GIT_DIR", "GIT_WORK_TREE", "GIT_IMPLICIT_WORK_TREE", "GIT_GRAFT_FILE", "GIT_INDEX_FILE", "GIT_NO_REPLACE_OBJECTS",
	"GIT_REPLACE_REF_BASE", "GIT_PREFIX", "GIT_INTERNAL_SUPER_PREFIX", "GIT_SHALLOW_FILE", "GIT_COMMON_DIR",
	// Not in git's list: set for the hooks of a push, and for whoever chose another source of attributes.
	"GIT_QUARANTINE_PATH", "GIT_ATTR_SOURCE",
}

// confusing variables change what a command means or where its output goes. `git --literal-pathspecs commit X` hands
// GIT_LITERAL_PATHSPECS to its hooks, for one, and then no path written here would match anything.
var confusing = []string{
	"GIT_LITERAL_PATHSPECS", "GIT_GLOB_PATHSPECS", "GIT_NOGLOB_PATHSPECS", "GIT_ICASE_PATHSPECS",
	"GIT_EXTERNAL_DIFF", "GIT_DIFF_OPTS", "GIT_REDIRECT_STDIN", "GIT_REDIRECT_STDOUT", "GIT_REDIRECT_STDERR",
	"GIT_FLUSH", "GIT_OPTIONAL_LOCKS", "LANGUAGE",
}

// environment is what every child gets, made from that of this process. Names of directories that are relative in it are
// relative to where this process runs; children may run elsewhere, so these become absolute. GIT_INDEX_FILE stays as it
// is: git reads it from the top of the work tree, and that is where children run.
func environment(base []string, cwd string, other bool) []string {
	drop := map[string]bool{"LC_ALL": true}
	for _, name := range confusing {
		drop[name] = true
	}
	if other {
		for _, name := range localVariables {
			drop[name] = true
		}
	}
	env := make([]string, 0, len(base)+4)
	for _, entry := range base {
		name, value, _ := strings.Cut(entry, "=")
		if runtime.GOOS == "windows" {
			name = strings.ToUpper(name)
		}
		switch {
		case drop[name],
			other && (strings.HasPrefix(name, "GIT_CONFIG_KEY_") || strings.HasPrefix(name, "GIT_CONFIG_VALUE_") || strings.HasPrefix(name, "GITHEAD_")):
			continue
		case name == "GIT_DIR" || name == "GIT_WORK_TREE" || name == "GIT_COMMON_DIR" || name == "GIT_OBJECT_DIRECTORY" || name == "GIT_SHALLOW_FILE":
			entry = name + "=" + absolute(cwd, value)
		case name == "GIT_ALTERNATE_OBJECT_DIRECTORIES":
			entry = name + "=" + absoluteList(cwd, value)
		}
		env = append(env, entry)
	}
	return append(env, "LC_ALL=C")
}

func absolute(cwd, path string) string {
	if path == "" || filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(cwd, path)
}

// absoluteList leaves entries that git quotes (they begin with a double quote) alone: git writes these absolute itself.
func absoluteList(cwd, list string) string {
	if strings.Contains(list, `"`) {
		return list
	}
	parts := filepath.SplitList(list)
	for i := range parts {
		parts[i] = absolute(cwd, parts[i])
	}
	return strings.Join(parts, string(os.PathListSeparator))
}

// variable looks a name up in an environment; the last entry counts, as in os/exec.
func variable(env []string, name string) string {
	for i := len(env) - 1; i >= 0; i-- {
		if value, ok := strings.CutPrefix(env[i], name+"="); ok {
			return value
		}
	}
	return ""
}

// given says whether a name is in an environment, be it empty.
func given(env []string, name string) bool {
	return slices.ContainsFunc(env, func(entry string) bool { return strings.HasPrefix(entry, name+"=") })
}
