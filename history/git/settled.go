package git

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
)

// What `git config --list` answered is kept in [Repo.Scratch], with what stat(2) says of every file that it came from or that could have said
// something and was not there. As long as all of that is the same, so is the answer. Nothing is kept of settings that come from the
// environment or from files that are included: what these are may hang on more, such as the branch. A file of the whole system that came up
// since in a place of its own, where that git was built to look and none was before, is not seen.

const (
	settledFile = "settings"
	settledSeal = "fettle settings of git 1\n"
)

// settlers are the variables that say where settings stand.
var settlers = []string{"HOME", "XDG_CONFIG_HOME", "GIT_CONFIG_NOSYSTEM", "GIT_CONFIG_SYSTEM", "GIT_CONFIG_GLOBAL"}

// settledBy tells in a text what the answer hangs on, given the files that it named. It is false where that cannot be told, or where a file was
// touched so lately that it may be touched again without a trace.
func (r *Repo) settledBy(named []string) (string, bool) {
	for _, name := range []string{"GIT_CONFIG", "GIT_CONFIG_PARAMETERS", "GIT_CONFIG_COUNT"} {
		if variable(r.shared.env, name) != "" {
			return "", false
		}
	}
	program, err := exec.LookPath("git")
	if err != nil {
		return "", false
	}
	var out strings.Builder
	for _, name := range settlers {
		if given(r.shared.env, name) { // git tells one that is empty from one that is not there
			out.WriteString(name + "=" + variable(r.shared.env, name) + "\n")
		}
	}
	home, own := variable(r.shared.env, "HOME"), variable(r.shared.env, "XDG_CONFIG_HOME")
	if own == "" {
		own = filepath.Join(home, ".config")
	}
	files := []string{program, filepath.Join(home, ".gitconfig"), filepath.Join(own, "git", "config"), "/etc/gitconfig", variable(r.shared.env, "GIT_CONFIG_SYSTEM"),
		variable(r.shared.env, "GIT_CONFIG_GLOBAL"), filepath.Join(r.CommonDir, "config"), filepath.Join(r.GitDir, "config.worktree")}
	for _, file := range append(files, named...) {
		if file == "" || file == os.DevNull {
			continue
		}
		file = absolute(r.shared.home, file)
		info, err := os.Stat(file)
		if os.IsNotExist(err) {
			out.WriteString(file + " is not there\n")
			continue
		}
		if err != nil {
			return "", false
		}
		stat, ok := statOf(info)
		if !ok || time.Since(info.ModTime()) < settling || time.Since(time.Unix(int64(stat.changed[0]), int64(stat.changed[1]))) < settling {
			return "", false
		}
		out.WriteString(file)
		for _, n := range []uint32{stat.changed[0], stat.changed[1], stat.modified[0], stat.modified[1], stat.ino, stat.uid, stat.size} {
			out.WriteString(" " + strconv.FormatUint(uint64(n), 10))
		}
		out.WriteByte('\n')
	}
	return out.String(), true
}

// recallSettings returns what is kept of the answer, where it is still true.
func (r *Repo) recallSettings() (answer []byte, ok bool) {
	body, ok := r.Recall(settledFile, settledSeal)
	if !ok {
		return nil, false
	}
	parts := strings.SplitN(string(body), "\x00\x00", 3)
	if len(parts) != 3 {
		return nil, false
	}
	now, ok := r.settledBy(fields([]byte(parts[0])))
	return []byte(parts[2]), ok && now == parts[1]
}

// keepSettings keeps an answer that was asked for when the files were as they are told. What cannot be written costs time and nothing else.
func (r *Repo) keepSettings(answer []byte) {
	named := []string{}
	items := fields(answer)
	for i := 0; i+2 < len(items); i += 3 {
		file, isFile := strings.CutPrefix(items[i+1], "file:")
		if !isFile || strings.HasPrefix(items[i+2], "include") {
			return
		}
		if !slices.Contains(named, file) {
			named = append(named, file)
		}
	}
	if by, ok := r.settledBy(named); ok {
		_ = r.RememberSealed(settledFile, settledSeal, []byte(strings.Join(named, "\x00")+"\x00\x00"+by+"\x00\x00"+string(answer)))
	}
}
