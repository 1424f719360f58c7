package git

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// readRef is the id that HEAD or a reference that begins with refs/ names (that of the tag itself for an annotated tag), read from the files
// that Documentation/gitrepository-layout of git describes: one file each, or a line of packed-refs. It is false where these do not say it
// plainly, which does not mean that there is no such reference: another store of references, one of this work tree alone, a name that leads to
// a name that leads to a name. Then git has to be asked.
func (r *Repo) readRef(name string) (hash string, ok bool) {
	ref, hash, ok := r.refFile(name)
	if ok && ref != "" {
		ref, hash, ok = r.refFile(ref)
	}
	return hash, ok && ref == ""
}

// refFile is what a reference names: another one, or an object.
func (r *Repo) refFile(name string) (ref, hash string, ok bool) {
	file := filepath.Join(r.GitDir, "HEAD")
	if name != "HEAD" {
		if !plainRef(name) {
			return "", "", false
		}
		file = filepath.Join(r.CommonDir, filepath.FromSlash(name))
	}
	// Very old symbolic references are symbolic links. A directory may be left where other references were.
	info, err := os.Lstat(file)
	if name != "HEAD" && (errors.Is(err, fs.ErrNotExist) || err == nil && info.IsDir()) {
		hash, ok = r.packedRef(name)
		return "", hash, ok
	}
	if err != nil || !info.Mode().IsRegular() {
		return "", "", false
	}
	data, err := os.ReadFile(file)
	if err != nil {
		return "", "", false
	}
	text := strings.TrimRight(string(data), " \t\r\n")
	if ref, ok = strings.CutPrefix(text, "ref:"); ok {
		ref = strings.TrimLeft(ref, " \t")
		return ref, "", plainRef(ref)
	}
	return "", text, r.namesObject(text)
}

// packedRef looks a reference up among those that git packed into one file.
func (r *Repo) packedRef(name string) (hash string, ok bool) {
	data, err := os.ReadFile(filepath.Join(r.CommonDir, "packed-refs"))
	if err != nil {
		return "", false
	}
	at, n := bytes.Index(data, []byte(" "+name+"\n")), r.shared.hashLen
	if at < n || at > n && data[at-n-1] != '\n' {
		return "", false
	}
	hash = string(data[at-n : at])
	return hash, r.namesObject(hash)
}

// mayReplace says whether git may show another object than the one that is asked for. What replaces what is kept in references.
func (r *Repo) mayReplace() bool {
	if variable(r.shared.env, "GIT_NO_REPLACE_OBJECTS") != "" {
		return false
	}
	if _, _, ok := r.refFile("HEAD"); !ok || variable(r.shared.env, "GIT_REPLACE_REF_BASE") != "" {
		return true
	}
	entries, err := os.ReadDir(filepath.Join(r.CommonDir, "refs", "replace"))
	if len(entries) > 0 || err != nil && !errors.Is(err, fs.ErrNotExist) {
		return true
	}
	packed, err := os.ReadFile(filepath.Join(r.CommonDir, "packed-refs"))
	return bytes.Contains(packed, []byte(" refs/replace/")) || err != nil && !errors.Is(err, fs.ErrNotExist)
}

// namesObject says whether a text is the id of an object; zeros are the id of none.
func (r *Repo) namesObject(text string) bool { return r.isHash(text) && strings.Trim(text, "0") != "" }

// plainRef says whether a name is one that git gives to references, which all work trees have in common.
func plainRef(name string) bool {
	if !strings.HasPrefix(name, "refs/") || strings.ContainsAny(name, ` ~^:?*[\`+"\x7f") || strings.Contains(name, "..") || strings.Contains(name, "@{") {
		return false
	}
	for _, own := range []string{"refs/worktree/", "refs/bisect/", "refs/rewritten/"} {
		if strings.HasPrefix(name, own) {
			return false
		}
	}
	for part := range strings.SplitSeq(name, "/") {
		if part == "" || part[0] == '.' || strings.HasSuffix(part, ".") || strings.HasSuffix(part, ".lock") || strings.ContainsFunc(part, func(c rune) bool { return c < ' ' }) {
			return false
		}
	}
	return true
}
