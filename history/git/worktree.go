package git

import (
	"crypto/sha1"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
)

// disk is a snapshot of the files on disk: the list is taken once, a file is read when it is first asked for and kept.
type disk struct {
	repo  *Repo
	root  string   // directory of the library from the top of the work tree; "" at the top
	dir   *os.Root // the directory of the library; nothing outside it can be opened through it
	files []string
	eol   *eol
	infos map[string]fs.FileInfo // as they were listed
	stood func() *stood

	mu      sync.Mutex
	content map[string]*diskFile
}

type diskFile struct {
	once sync.Once
	kept atomic.Bool
	data []byte
	err  error
}

// WorkTree is the library on disk, with unsaved edits and with files that git ignores. Line endings are those that git
// would save: a file written with CRLF equals the saved one where the settings and attributes of git say so. With parts of [Parts] it is
// only those.
func (r *Repo) WorkTree(root string, parts ...string) (Snapshot, error) {
	if err := r.needTree("cannot read the files of the library"); err != nil {
		return nil, err
	}
	clean, err := cleanPath(root)
	if err != nil {
		return nil, err
	}
	dir, err := r.openDir(clean)
	if err != nil {
		return nil, err
	}
	d := &disk{repo: r, root: clean, dir: dir, content: map[string]*diskFile{}, eol: &eol{repo: r, root: clean}, infos: map[string]fs.FileInfo{},
		stood: sync.OnceValue(r.readStood)}
	if len(parts) == 0 {
		parts = Parts
	}
	for _, part := range parts {
		if err := d.list(part); err != nil {
			dir.Close()
			return nil, err
		}
	}
	slices.Sort(d.files)
	for _, file := range d.files {
		d.content[file] = &diskFile{}
		d.eol.paths = append(d.eol.paths, path.Join(clean, file))
	}
	return d, nil
}

// openDir opens a directory of the work tree. A symbolic link on the way is refused: git does not follow it either.
func (r *Repo) openDir(clean string) (*os.Root, error) {
	missing := func(err error) error {
		return &Error{Kind: ErrNoSuchFile, What: "there is no directory " + filepath.Join(r.Dir, filepath.FromSlash(clean)), Err: err, Paths: []string{clean}}
	}
	top, err := os.OpenRoot(r.Dir)
	if err != nil {
		return nil, missing(err)
	}
	if clean == "" {
		return top, nil
	}
	defer top.Close()
	at := ""
	for part := range strings.SplitSeq(clean, "/") {
		at = path.Join(at, part)
		if info, err := top.Lstat(filepath.FromSlash(at)); err != nil {
			return nil, missing(err)
		} else if info.Mode()&fs.ModeSymlink != 0 {
			return nil, irregular(at, "a symbolic link")
		}
	}
	dir, err := top.OpenRoot(filepath.FromSlash(clean))
	if err != nil {
		return nil, missing(err)
	}
	return dir, nil
}

// list adds a file, or the files below a directory.
func (d *disk) list(name string) error {
	info, err := d.dir.Lstat(filepath.FromSlash(name))
	if os.IsNotExist(err) {
		return nil
	}
	if err != nil {
		return d.unreadable(name, err)
	}
	return d.add(name, info)
}

// add adds what was found under a name.
func (d *disk) add(name string, info fs.FileInfo) error {
	switch mode := info.Mode(); {
	case mode.IsRegular():
		d.files = append(d.files, name)
		d.infos[name] = info
		return nil
	case mode.IsDir():
	case mode&fs.ModeSymlink != 0:
		return irregular(path.Join(d.root, name), "a symbolic link")
	default:
		return irregular(path.Join(d.root, name), "a device, a pipe or something of the kind")
	}
	opened, err := d.dir.Open(filepath.FromSlash(name))
	if err != nil {
		return d.unreadable(name, err)
	}
	found, err := opened.Readdir(-1) // with what stat says, as seen from the open directory; what is gone by then is left out
	opened.Close()
	if err != nil {
		return d.unreadable(name, err)
	}
	for _, child := range found {
		if strings.EqualFold(child.Name(), ".git") {
			return irregular(path.Join(d.root, name), "another repository")
		}
		if err := d.add(path.Join(name, child.Name()), child); err != nil {
			return err
		}
	}
	return nil
}

func (d *disk) unreadable(name string, err error) error {
	full := path.Join(d.root, name)
	unreadable := &Error{Kind: ErrUnreadable, What: full + " cannot be read", Paths: []string{full}, Err: err}
	var failed *fs.PathError
	if errors.As(err, &failed) {
		unreadable.What += ": " + failed.Err.Error()
	}
	if errors.Is(err, fs.ErrPermission) {
		unreadable.What, unreadable.Help = full+" is closed to you", "ask whoever keeps this PC for the right to read it"
	}
	return unreadable
}

func (d *disk) Name() string    { return "on disk" }
func (d *disk) Files() []string { return slices.Clone(d.files) }

func (d *disk) Read(p string) ([]byte, error) {
	file := d.load(p)
	if file == nil {
		return nil, noSuchFile(p, d.Name())
	}
	return slices.Clone(file.data), file.err
}

// Hash asks what git noted of a file that nobody touched since, so that most need not be read.
func (d *disk) Hash(p string) string {
	if info := d.infos[p]; info != nil {
		if id := d.stood().unchanged(path.Join(d.root, p), info); id != "" {
			return id
		}
	}
	file := d.load(p)
	if file == nil || file.err != nil {
		return ""
	}
	return d.repo.blobID(file.data)
}

// ReadOnce is Read for who asks for a file once: it is not kept.
func (d *disk) ReadOnce(p string) ([]byte, error) {
	d.mu.Lock()
	file, ok := d.content[p]
	d.mu.Unlock()
	if !ok {
		return nil, noSuchFile(p, d.Name())
	}
	if file.kept.Load() {
		return d.Read(p)
	}
	return d.readSaved(p)
}

func (d *disk) load(p string) *diskFile {
	d.mu.Lock()
	file := d.content[p]
	d.mu.Unlock()
	if file == nil {
		return nil
	}
	file.once.Do(func() {
		file.data, file.err = d.readSaved(p)
		file.kept.Store(true)
	})
	return file
}

// readSaved reads a file as it would be saved. Where git noted its id and it was written since it was listed, another content would go by
// that id, here and in the last commit: that is refused.
func (d *disk) readSaved(p string) ([]byte, error) {
	full := path.Join(d.root, p)
	data, info, err := d.readFile(p)
	if err == nil {
		data, err = d.eol.toSaved(full, data)
	}
	if err != nil {
		return nil, err
	}
	if id := d.stood().unchanged(full, d.infos[p]); id != "" && d.stood().unchanged(full, info) != id && d.repo.blobID(data) != id {
		return nil, &Error{Kind: ErrUnreadable, What: full + " was written while it was read", Help: "do the same again", Paths: []string{full}}
	}
	return data, nil
}

// readFile reads a file, and says what it was when all of it was read.
func (d *disk) readFile(p string) ([]byte, fs.FileInfo, error) {
	f, err := d.dir.Open(filepath.FromSlash(p))
	if err != nil {
		return nil, nil, d.unreadable(p, err)
	}
	defer f.Close()
	// It was an ordinary file when it was listed; a pipe put in its place would be waited for without end.
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		return nil, nil, irregular(path.Join(d.root, p), "no ordinary file any more")
	}
	data, err := io.ReadAll(io.LimitReader(f, MaxBlob+1))
	if err != nil {
		return nil, nil, d.unreadable(p, err)
	}
	if len(data) > MaxBlob {
		return nil, nil, &Error{Kind: ErrTooLarge, What: fmt.Sprintf("%s is larger than the %d MB that fettle reads", p, int64(MaxBlob)>>20), Paths: []string{p}}
	}
	info, err := f.Stat()
	if err != nil {
		return nil, nil, d.unreadable(p, err)
	}
	return data, info, nil
}

// blobID is the id that git gives to a content.
func (r *Repo) blobID(data []byte) string {
	var h hash.Hash
	if r.shared.hashLen == 64 {
		h = sha256.New()
	} else {
		h = sha1.New()
	}
	fmt.Fprintf(h, "blob %d\x00", len(data))
	h.Write(data)
	return hex.EncodeToString(h.Sum(nil))
}
