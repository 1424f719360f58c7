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
	"runtime"
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
	top   *os.File // the same, for readAtOnce
	files []string
	stats []fileStat // of the files, as they were listed; nothing where the system does not say it
	eol   *eol
	stood func() *stood
	ids   []string // see hashes
	known sync.Once

	mu      sync.Mutex
	content map[string]*diskFile // of what was asked for
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
	return r.workTree(root, r.noted(root, parts), parts)
}

func (r *Repo) workTree(root string, stood func() *stood, parts []string) (Snapshot, error) {
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
	d := &disk{repo: r, root: clean, dir: dir, content: map[string]*diskFile{}, stood: stood}
	if len(parts) == 0 {
		parts = Parts
	}
	if err := d.list(parts); err != nil {
		dir.Close()
		return nil, err
	}
	if d.top, err = dir.Open("."); err != nil {
		dir.Close()
		return nil, d.unreadable("", err)
	}
	d.sort()
	d.eol = &eol{repo: r, root: clean, files: d.files}
	return d, nil
}

// sort orders the files by path. They are nearly: a file may stand before those of a directory whose name it goes on from.
func (d *disk) sort() {
	if slices.IsSorted(d.files) {
		return
	}
	order := make([]int, len(d.files))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return strings.Compare(d.files[a], d.files[b]) })
	files, stats := make([]string, len(order)), make([]fileStat, len(order))
	for to, from := range order {
		files[to], stats[to] = d.files[from], d.stats[from]
	}
	d.files, d.stats = files, stats
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

// list lists files and directories, and all that is below them. Most of the time passes in the system, which answers several at once.
func (d *disk) list(parts []string) error {
	atOnce := make(chan struct{}, runtime.GOMAXPROCS(0))
	found, err := gather(len(parts), func(i int) (listing, error) {
		info, err := d.dir.Lstat(filepath.FromSlash(parts[i]))
		if os.IsNotExist(err) {
			return listing{}, nil
		}
		if err != nil {
			return listing{}, d.unreadable(parts[i], err)
		}
		stat, _ := statOf(info)
		switch mode := info.Mode(); {
		case mode.IsRegular():
			return listing{[]string{parts[i]}, []fileStat{stat}}, nil
		case mode.IsDir():
			return d.below(parts[i], atOnce)
		default:
			return listing{}, d.irregular(parts[i], mode)
		}
	})
	d.files, d.stats = found.files, found.stats
	return err
}

// A listing is files and what the system says of them.
type listing struct {
	files []string
	stats []fileStat
}

// gather makes several listings at the same time and puts them together in their order. The error is that of the first that had one.
func gather(n int, list func(i int) (listing, error)) (listing, error) {
	lists, errs := make([]listing, n), make([]error, n)
	var wait sync.WaitGroup
	for i := range n {
		wait.Go(func() { lists[i], errs[i] = list(i) })
	}
	wait.Wait()
	size, only := 0, listing{}
	for i, l := range lists {
		if errs[i] != nil {
			return listing{}, errs[i]
		}
		if size += len(l.files); len(l.files) > 0 {
			only = l
		}
	}
	if len(only.files) == size {
		return only, nil
	}
	all := listing{make([]string, 0, size), make([]fileStat, 0, size)}
	for _, l := range lists {
		all.files, all.stats = append(all.files, l.files...), append(all.stats, l.stats...)
	}
	return all, nil
}

// A child is what there is under a name in a directory.
type child struct {
	name string
	mode fs.FileMode
	stat fileStat
}

// below lists a directory: its files, then what its directories hold. Not more directories are open than fit into a channel.
func (d *disk) below(name string, atOnce chan struct{}) (listing, error) {
	children, err := d.children(name, atOnce)
	if err != nil {
		return listing{}, err
	}
	count, size := 0, 0
	var dirs []string
	for _, c := range children {
		switch {
		case strings.EqualFold(c.name, ".git"):
			return listing{}, irregular(path.Join(d.root, name, c.name), "another repository")
		case c.mode.IsRegular():
			count, size = count+1, size+len(name)+1+len(c.name)
		case c.mode.IsDir():
			dirs = append(dirs, name+"/"+c.name)
		default:
			return listing{}, d.irregular(name+"/"+c.name, c.mode)
		}
	}
	own := listing{make([]string, 0, count), make([]fileStat, 0, count)}
	var paths strings.Builder // of all, in one piece
	paths.Grow(size)
	for _, c := range children {
		if c.mode.IsRegular() {
			from := paths.Len()
			paths.WriteString(name)
			paths.WriteByte('/')
			paths.WriteString(c.name)
			own.files, own.stats = append(own.files, paths.String()[from:]), append(own.stats, c.stat)
		}
	}
	if len(dirs) == 0 {
		return own, nil
	}
	return gather(len(dirs)+1, func(i int) (listing, error) {
		if i == 0 {
			return own, nil
		}
		return d.below(dirs[i-1], atOnce)
	})
}

// children lists a directory by name, with what stat says, as seen from the open directory; what is gone by then is left out.
func (d *disk) children(name string, atOnce chan struct{}) ([]child, error) {
	atOnce <- struct{}{}
	defer func() { <-atOnce }()
	opened, err := d.dir.Open(filepath.FromSlash(name))
	if err != nil {
		return nil, d.unreadable(name, err)
	}
	defer opened.Close()
	children, err := readDir(opened)
	if err != nil {
		return nil, d.unreadable(name, err)
	}
	return children, nil
}

func (d *disk) irregular(name string, mode fs.FileMode) error {
	what := "a device, a pipe or something of the kind"
	if mode&fs.ModeSymlink != 0 {
		what = "a symbolic link"
	}
	return irregular(path.Join(d.root, name), what)
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
	if i, ok := slices.BinarySearch(d.files, p); ok && d.hashes()[i] != "" {
		return d.ids[i]
	}
	file := d.load(p)
	if file == nil || file.err != nil {
		return ""
	}
	return d.repo.BlobID(file.data)
}

// hashes are the ids that git noted of the files, "" of those that were touched since.
func (d *disk) hashes() []string {
	d.known.Do(func() {
		prefix := d.root
		if prefix != "" {
			prefix += "/"
		}
		d.ids = d.stood().allUnchanged(prefix, d.files, d.stats)
	})
	return d.ids
}

// ReadOnce is [Snapshot.Read] for who asks for a file once: it is not kept.
func ReadOnce(s Snapshot, p string) ([]byte, error) {
	if once, ok := s.(interface{ ReadOnce(string) ([]byte, error) }); ok {
		return once.ReadOnce(p)
	}
	return s.Read(p)
}

func (d *disk) ReadOnce(p string) ([]byte, error) {
	i, ok := slices.BinarySearch(d.files, p)
	if !ok {
		return nil, noSuchFile(p, d.Name())
	}
	d.mu.Lock()
	file := d.content[p]
	d.mu.Unlock()
	if file != nil && file.kept.Load() {
		return d.Read(p)
	}
	return d.readSaved(i)
}

func (d *disk) load(p string) *diskFile {
	i, ok := slices.BinarySearch(d.files, p)
	if !ok {
		return nil
	}
	d.mu.Lock()
	file := d.content[p]
	if file == nil {
		file = &diskFile{}
		d.content[p] = file
	}
	d.mu.Unlock()
	file.once.Do(func() {
		file.data, file.err = d.readSaved(i)
		file.kept.Store(true)
	})
	return file
}

// readSaved reads a file as it would be saved. Where git noted its id and it was written since it was listed, another content would go by
// that id, here and in the last commit: that is refused.
func (d *disk) readSaved(i int) ([]byte, error) {
	full := path.Join(d.root, d.files[i])
	data, stat, err := d.readFile(d.files[i], d.stats[i].size)
	if err == nil {
		data, err = d.eol.toSaved(full, data)
	}
	if err != nil {
		return nil, err
	}
	if id := d.hashes()[i]; id != "" && stat != d.stats[i] && d.repo.BlobID(data) != id {
		return nil, &Error{Kind: ErrUnreadable, What: full + " was written while it was read", Help: "do the same again", Paths: []string{full}}
	}
	return data, nil
}

// readFile reads a file that had a size when it was listed, and says what it was when all of it was read.
func (d *disk) readFile(p string, size uint32) ([]byte, fileStat, error) {
	if data, stat, ok := readAtOnce(d.top, p, size); ok {
		return data, stat, nil
	}
	f, err := d.dir.Open(filepath.FromSlash(p))
	if err != nil {
		return nil, fileStat{}, d.unreadable(p, err)
	}
	defer f.Close()
	// It was an ordinary file when it was listed; a pipe put in its place would be waited for without end.
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() {
		return nil, fileStat{}, irregular(path.Join(d.root, p), "no ordinary file any more")
	}
	data, err := io.ReadAll(io.LimitReader(f, MaxBlob+1))
	if err != nil {
		return nil, fileStat{}, d.unreadable(p, err)
	}
	if len(data) > MaxBlob {
		return nil, fileStat{}, &Error{Kind: ErrTooLarge, What: fmt.Sprintf("%s is larger than the %d MB that fettle reads", p, int64(MaxBlob)>>20), Paths: []string{p}}
	}
	info, err := f.Stat()
	if err != nil {
		return nil, fileStat{}, d.unreadable(p, err)
	}
	stat, _ := statOf(info)
	return data, stat, nil
}

// BlobID is the id that git gives to a content.
func (r *Repo) BlobID(data []byte) string {
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
