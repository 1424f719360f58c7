package git

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

// A place is where a repository lies and what it is made of, as far as it was found without a child: `git rev-parse` takes as long as the rest
// of what a hook does.
type place struct {
	top, gitDir string // as in Repo, without symbolic links
	hashLen     int
}

// elsewhere are the variables with which git looks in another place, or by other rules, than that of the directory it is in.
var elsewhere = []string{"GIT_WORK_TREE", "GIT_COMMON_DIR", "GIT_IMPLICIT_WORK_TREE", "GIT_CONFIG", "GIT_CONFIG_PARAMETERS", "GIT_CONFIG_COUNT", "GIT_SHALLOW_FILE",
	"GIT_CEILING_DIRECTORIES", "GIT_DISCOVERY_ACROSS_FILESYSTEM", "GIT_TEST_ASSUME_DIFFERENT_OWNER", "GIT_NAMESPACE"}

// discover finds a plain repository as git would, by gitrepository-layout and git-config of its documentation: a directory .git here or further
// up, or a bare repository that GIT_DIR names. It is false wherever git may see it another way, and where git would refuse: a linked work tree,
// a submodule, files of somebody else, a border between file systems, an extension, a shallow history. Then git is asked, which knows why.
func discover(target string, env []string) (place, bool) {
	if _, err := exec.LookPath("git"); err != nil {
		return place{}, false
	}
	for _, name := range elsewhere {
		if given(env, name) {
			return place{}, false
		}
	}
	if dir := variable(env, "GIT_DIR"); dir != "" {
		return bare(dir)
	}
	dir, err := filepath.EvalSymlinks(target)
	if err != nil {
		return place{}, false
	}
	first, ok := lyingIn(dir)
	if !ok {
		return place{}, false
	}
	for {
		here, ok := lyingIn(dir)
		if !ok || here.device != first.device {
			return place{}, false
		}
		git := filepath.Join(dir, ".git")
		if info, err := os.Lstat(git); err == nil {
			inside, ok := lyingIn(git)
			mine := uint32(os.Geteuid())
			if !info.IsDir() || !ok || here.owner != mine || inside.owner != mine {
				return place{}, false
			}
			p := place{top: dir, gitDir: git}
			return p, p.plain(false)
		} else if !os.IsNotExist(err) || isGitDir(dir) {
			return place{}, false
		}
		up := filepath.Dir(dir)
		if up == dir {
			return place{}, false
		}
		dir = up
	}
}

// bare is a repository without a work tree that was named. Whose it is makes no difference then.
func bare(dir string) (place, bool) {
	dir, err := filepath.EvalSymlinks(dir)
	if err != nil {
		return place{}, false
	}
	p := place{gitDir: dir}
	return p, p.plain(true)
}

// lying is where a directory lies and whose it is.
type lying struct {
	device uint64
	owner  uint32
}

func lyingIn(dir string) (lying, bool) {
	info, err := os.Stat(dir)
	if err != nil || !info.IsDir() {
		return lying{}, false
	}
	return lyingOf(info)
}

// isGitDir reports whether a directory looks like a repository of git.
func isGitDir(dir string) bool {
	for _, name := range []string{"objects", "refs"} {
		if info, err := os.Stat(filepath.Join(dir, name)); err != nil || !info.IsDir() {
			return false
		}
	}
	info, err := os.Lstat(filepath.Join(dir, "HEAD"))
	return err == nil && info.Mode().IsRegular()
}

// plain reports whether a repository is of the ordinary form, with or without a work tree, and finds out how its objects are named.
func (p *place) plain(bare bool) bool {
	if !isGitDir(p.gitDir) {
		return false
	}
	head, err := os.ReadFile(filepath.Join(p.gitDir, "HEAD"))
	if text := strings.TrimSuffix(string(head), "\n"); err != nil || !strings.HasPrefix(text, "ref: refs/") && !(len(text) >= 40 && isHex(text)) || strings.Contains(text, ".invalid") {
		return false
	}
	for _, name := range []string{"commondir", "shallow", "config.worktree"} {
		if _, err := os.Lstat(filepath.Join(p.gitDir, name)); !os.IsNotExist(err) {
			return false
		}
	}
	data, err := os.ReadFile(filepath.Join(p.gitDir, "config"))
	if err != nil {
		return false
	}
	form, ok := formOf(data)
	if !ok || form.bare != bare {
		return false
	}
	p.hashLen = form.hashLen
	return true
}

// form is what the settings of a repository say of how it is made.
type form struct {
	bare    bool
	hashLen int
}

// formOf reads it from a file of settings in which every line is a section, a comment, or a name with a value that ends with the line. It is
// false for any other, and for a repository of a form that is not known here.
func formOf(data []byte) (form, bool) {
	out := form{hashLen: 40}
	section, version, extended := "", "", false
	for line := range bytes.Lines(data) {
		text := strings.TrimSpace(string(line))
		switch {
		case text == "" || text[0] == '#' || text[0] == ';':
			continue
		case text[0] == '[':
			if section = strings.ToLower(strings.TrimSuffix(text[1:], "]")); !strings.HasSuffix(text, "]") || strings.ContainsAny(section, "]\\") {
				return form{}, false
			}
			continue
		case section == "":
			return form{}, false
		}
		name, value, given := strings.Cut(text, "=")
		name, value = strings.ToLower(strings.TrimSpace(name)), strings.TrimSpace(value)
		if slashes := len(value) - len(strings.TrimRight(value, `\`)); !isName(name) || slashes%2 == 1 { // it goes on in the next line
			return form{}, false
		}
		switch key := section + "." + name; {
		case strings.HasPrefix(section, "include"):
			return form{}, false
		case key == "core.repositoryformatversion":
			version = value
		case key == "core.bare":
			if !given || value != "true" && value != "false" {
				return form{}, false
			}
			out.bare = value == "true"
		case key == "core.worktree":
			return form{}, false
		case key == "extensions.objectformat" && (value == "sha1" || value == "sha256"):
			extended = true
			if out.hashLen = 40; value == "sha256" {
				out.hashLen = 64
			}
		case section == "extensions":
			return form{}, false
		}
	}
	return out, version == "1" || !extended && slices.Contains([]string{"", "0"}, version)
}

// isName reports whether a word is the name of a setting, in lower case.
func isName(s string) bool {
	return s != "" && !strings.ContainsFunc(s, func(c rune) bool { return (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' })
}
