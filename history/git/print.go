package git

import (
	"errors"
	"fmt"
	"hash/maphash"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"time"
)

// A Print tells a library that changed from one that did not, without reading it: where HEAD and every ref stand, all settings of git, and what
// stat(2) says of each file that belongs to the library. Prints of one process can be compared with ==.
type Print struct {
	sums   [2]uint64
	newest int64 // when a file was last touched, in nanoseconds
	taken  int64
}

// settling is how long after a file was touched it may be touched again without a trace: file systems count in steps of up to two seconds.
const settling = 2 * time.Second

// Tells reports whether what was read after the print was taken is still what there is, now being a later print.
func (p Print) Tells(now Print) bool {
	return p.sums == now.sums && p.newest < p.taken-int64(settling)
}

var printSeeds = [2]maphash.Seed{maphash.MakeSeed(), maphash.MakeSeed()}

// Print takes the print of the library in the directory root. It starts two children, and looks at every file.
func (r *Repo) Print(root string) (Print, error) {
	clean, err := cleanPath(root)
	if err != nil {
		return Print{}, err
	}
	w := &printing{tokens: make(chan struct{}, 2*runtime.GOMAXPROCS(0))}
	w.taken = time.Now().UnixNano()
	var refs, settings []byte
	var errRefs, errSettings error
	w.all.Go(func() { refs, errRefs = r.read("show-ref", "--head") })
	w.all.Go(func() { settings, errSettings = r.read("config", "--list", "-z", "--show-origin") })
	top := filepath.Join(r.Dir, filepath.FromSlash(clean))
	for _, part := range Parts {
		w.file(filepath.Join(top, part))
	}
	// What says how line ends are saved, what is being merged, how far the history reaches.
	for _, file := range []string{filepath.Join(top, ".gitattributes"), filepath.Join(r.Dir, ".gitattributes"), filepath.Join(r.CommonDir, "info", "attributes"),
		filepath.Join(r.CommonDir, "shallow"), filepath.Join(r.GitDir, "HEAD"), filepath.Join(r.GitDir, "MERGE_HEAD")} {
		w.file(file)
	}
	w.all.Wait()
	if exitCode(errRefs) == 1 { // there is none yet
		errRefs = nil
	}
	if err := errors.Join(errRefs, errSettings); err != nil {
		return Print{}, err
	}
	w.add("refs\x00" + string(refs))
	w.add("settings\x00" + string(settings))
	return w.Print, nil
}

// printing is a print in the making. What is added is summed up, so that the order does not matter.
type printing struct {
	Print
	mu     sync.Mutex
	all    sync.WaitGroup
	tokens chan struct{}
}

func (w *printing) add(text string) {
	a, b := maphash.String(printSeeds[0], text), maphash.String(printSeeds[1], text)
	w.mu.Lock()
	w.sums[0] += a
	w.sums[1] += b
	w.mu.Unlock()
}

// file adds what there is under a name; directories are read side by side.
func (w *printing) file(path string) {
	info, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
	case err != nil:
		w.add(path + "\x00" + err.Error())
	case info.IsDir():
		w.all.Go(func() { w.dir(path) })
	default:
		w.stat(path, info)
	}
}

func (w *printing) dir(path string) {
	w.tokens <- struct{}{}
	defer func() { <-w.tokens }()
	entries, err := os.ReadDir(path)
	if err != nil {
		w.add(path + "\x00" + err.Error())
	}
	w.add(path + "\x00directory")
	for _, e := range entries {
		if e.IsDir() {
			w.all.Go(func() { w.dir(filepath.Join(path, e.Name())) })
			continue
		}
		info, err := e.Info()
		if err != nil { // it went while this looked
			w.add(path + "\x00" + e.Name() + "\x00" + err.Error())
			continue
		}
		w.stat(path+"\x00"+e.Name(), info)
	}
}

func (w *printing) stat(name string, info fs.FileInfo) {
	touched := info.ModTime().UnixNano()
	text := fmt.Sprintf("%s\x00%d %d %o", name, info.Size(), touched, info.Mode())
	if s, ok := statOf(info); ok {
		touched = max(touched, int64(s.changed[0])*int64(time.Second)+int64(s.changed[1]))
		text += fmt.Sprintf(" %d %d %d", s.changed[0], s.changed[1], s.ino)
	}
	w.add(text)
	w.mu.Lock()
	w.newest = max(w.newest, touched)
	w.mu.Unlock()
}
