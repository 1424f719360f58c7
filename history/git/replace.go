package git

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Scratch is the directory of the repository in which fettle keeps what can be thrown away at any time. It belongs to this work
// tree alone and may not be there yet.
func (r *Repo) Scratch() string { return filepath.Join(r.GitDir, "fettle") }

// replacing begins the names of files that are written before they take the place of others.
const replacing = "new-"

// ReplaceFile puts a file in place, whole or not at all, whatever ends this program on the way. A file that is there keeps its
// permissions. What was half written by then lies in [Repo.Scratch], where git and library do not look; only where that is on
// another disk than the file does it lie beside the file, under a name that begins with a dot.
func (r *Repo) ReplaceFile(full string, data []byte) error {
	mode := fs.FileMode(0)
	if info, err := os.Lstat(full); err == nil && info.Mode().IsRegular() {
		mode = info.Mode().Perm()
	}
	return r.replace(full, data, mode)
}

// ReplaceProgram is [Repo.ReplaceFile] for a file that can be run from the moment on that it is there.
func (r *Repo) ReplaceProgram(full string, data []byte) error { return r.replace(full, data, 0o755) }

func (r *Repo) replace(full string, data []byte, mode fs.FileMode) error {
	err := r.replaceBy(r.Scratch(), replacing, full, data, mode)
	var link *os.LinkError
	if errors.As(err, &link) || errors.Is(err, fs.ErrPermission) { // another disk, or a repository that may only be read
		err = r.replaceBy(filepath.Dir(full), ".fettle-"+replacing, full, data, mode)
	}
	return err
}

// replaceBy writes a file in a directory and moves it into place, once it is on the disk. Without a mode it gets the one that the user
// gives to all files.
func (r *Repo) replaceBy(dir, prefix, full string, data []byte, mode fs.FileMode) error {
	return r.putBy(dir, prefix, full, func(f *os.File) error {
		if _, err := f.Write(data); err != nil {
			return err
		}
		if mode != 0 {
			if err := f.Chmod(mode); err != nil {
				return err
			}
		}
		return f.Sync()
	})
}

// putBy has a file written in a directory and moves it into place.
func (r *Repo) putBy(dir, prefix, full string, write func(*os.File) error) (err error) {
	if dir == r.Scratch() {
		if err := os.MkdirAll(dir, 0o777); err != nil {
			return err
		}
		sweep(dir)
	}
	f, err := create(dir, prefix)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if err := write(f); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), full)
}

// create makes a new file with the permissions that the user gives to all files.
func create(dir, prefix string) (*os.File, error) {
	for {
		// os.CreateTemp would close it to everybody else.
		name := filepath.Join(dir, prefix+time.Now().UTC().Format("150405.000000000"))
		f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
		if !errors.Is(err, fs.ErrExist) {
			return f, err
		}
	}
}

// sweep removes what programs left that were ended long ago.
func sweep(dir string) {
	entries, _ := os.ReadDir(dir)
	for _, e := range entries {
		if info, err := e.Info(); err == nil && strings.HasPrefix(e.Name(), replacing) && time.Since(info.ModTime()) > time.Hour {
			os.Remove(filepath.Join(dir, e.Name()))
		}
	}
}

// Remember puts a file that can be made again into [Repo.Scratch], whole or not at all, whatever ends this program on the way and whoever
// else writes it. It is not waited for until it is on the disk: what a cut of the power leaves has to be told by whoever reads it.
func (r *Repo) Remember(name string, write func(io.Writer) error) error {
	return r.putBy(r.Scratch(), replacing, r.ScratchFile(name), func(f *os.File) error { return write(f) })
}

// RememberSealed is [Repo.Remember] of bytes that [Repo.Recall] knows again. The seal names what they are.
func (r *Repo) RememberSealed(name, seal string, body []byte) error {
	return r.Remember(name, func(out io.Writer) error {
		sum := sha256.Sum256(body)
		_, err := out.Write(slices.Concat([]byte(seal), body, sum[:]))
		return err
	})
}

// Recall returns what [Repo.RememberSealed] put there. It is false where that is damaged, of another seal or not there.
func (r *Repo) Recall(name, seal string) ([]byte, bool) {
	data, err := os.ReadFile(r.ScratchFile(name))
	if err != nil || len(data) < len(seal)+sha256.Size || string(data[:len(seal)]) != seal {
		return nil, false
	}
	body, end := data[len(seal):len(data)-sha256.Size], data[len(data)-sha256.Size:]
	return body, sha256.Sum256(body) == [sha256.Size]byte(end)
}

// Sweep removes the oldest of the files in [Repo.Scratch] whose names begin alike, so that no more are left than so many, of no more bytes.
func (r *Repo) Sweep(prefix string, files int, bytes int64) {
	var list []fs.FileInfo
	entries, _ := os.ReadDir(r.Scratch())
	for _, e := range entries {
		if info, err := e.Info(); err == nil && strings.HasPrefix(e.Name(), prefix) {
			list = append(list, info)
		}
	}
	slices.SortFunc(list, func(a, b fs.FileInfo) int { return b.ModTime().Compare(a.ModTime()) })
	for i, info := range list {
		if bytes -= info.Size(); i >= files || bytes < 0 {
			os.Remove(r.ScratchFile(info.Name()))
		}
	}
}

// ScratchName is how such a file is called: what it holds, and what of, such as the directory of a library.
func ScratchName(kind, of string) string {
	sum := sha256.Sum256([]byte(of))
	return kind + "-" + hex.EncodeToString(sum[:6])
}

// ScratchFile is where [Repo.Remember] puts a file.
func (r *Repo) ScratchFile(name string) string { return filepath.Join(r.Scratch(), name) }
