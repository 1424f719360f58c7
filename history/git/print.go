package git

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/maphash"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"
)

// A Print tells a library that changed from one that did not, without reading it: where HEAD and every ref stand, all settings of git, and what
// stat(2) says of each file that belongs to the library. A file that was touched a moment before may be touched again without a trace, since
// file systems count in steps of up to two seconds; of these it has what they hold. Prints of one process can be compared.
type Print struct {
	sums    [2]uint64            // of all but the files of records
	records [2]uint64            // of these
	dirs    []string             // where these lie
	fresh   map[string][2]uint64 // what files and directories held that were touched a moment before
	many    bool                 // more than anybody reads for this
	taken   int64                // in nanoseconds
}

// settling is how long after a file was touched it may be touched again without a trace.
const settling = 2 * time.Second

// mostFresh is how many files are read for a print.
const mostFresh = 100

// Tells reports whether what was read after the print was taken is still what there is, now being a later print that was taken after this one.
func (p Print) Tells(now Print) bool {
	return p.Glanced(now) && p.records == now.records
}

// Glanced is [Print.Tells] by a print that [Repo.Glance] took.
func (p Print) Glanced(now Print) bool {
	if p.sums != now.sums || p.many {
		return false
	}
	for path, held := range p.fresh {
		if have, known := now.fresh[path]; !known || have != held {
			return false
		}
	}
	return true
}

var printSeeds = [2]maphash.Seed{maphash.MakeSeed(), maphash.MakeSeed()}

// Print takes the print of the library in the directory root. It starts two children, and looks at every file. Earlier is the print that it will
// be held against; the first one has none.
func (r *Repo) Print(root string, earlier Print) (Print, error) { return r.print(root, earlier, false) }

// Glance takes a print that leaves out what stat(2) says of the files of records, which are many: only where they lie is looked at, as it was
// when an earlier print was taken. So it tells that records came or went, and not that one was written over where it lies, as nobody does.
func (r *Repo) Glance(root string, earlier Print) (Print, error) { return r.print(root, earlier, true) }

func (r *Repo) print(root string, earlier Print, glance bool) (Print, error) {
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
	w.records = filepath.Join(top, "records")
	w.place(w.records)
	for _, part := range Parts {
		if part != "records" || !glance {
			w.file(filepath.Join(top, part))
		}
	}
	if glance {
		for _, dir := range earlier.dirs {
			w.place(dir)
		}
		w.dirs, w.Print.records = earlier.dirs, earlier.records
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
	w.hold(earlier)
	return w.Print, nil
}

// hold reads what was touched a moment before, now or when the earlier print was taken.
func (w *printing) hold(earlier Print) {
	for path := range earlier.fresh {
		w.touched = append(w.touched, path)
	}
	slices.Sort(w.touched)
	w.touched = slices.Compact(w.touched)
	if w.many = len(w.touched) > mostFresh; w.many {
		return
	}
	w.fresh = map[string][2]uint64{}
	for _, path := range w.touched {
		data, err := os.ReadFile(path)
		if names, errDir := os.ReadDir(path); errDir == nil {
			data, err = nil, nil
			for _, e := range names {
				data = append(append(data, e.Name()...), 0)
			}
		}
		var sum sum
		sum.add(fmt.Append(data, err))
		w.fresh[path] = sum.sums
	}
}

// printing is a print in the making. What is added is summed up, so that the order does not matter.
type printing struct {
	Print
	records string // the directory
	mu      sync.Mutex
	all     sync.WaitGroup
	tokens  chan struct{}
	touched []string // a moment before
}

func (w *printing) sum() sum { return sum{since: w.taken - int64(settling)} }

func (w *printing) add(text string) {
	var sum sum
	sum.add([]byte(text))
	w.take(sum)
}

func (w *printing) take(s sum) {
	w.mu.Lock()
	into := &w.sums
	if s.records {
		into = &w.Print.records
	}
	into[0] += s.sums[0]
	into[1] += s.sums[1]
	w.touched = append(w.touched, s.touched...)
	w.mu.Unlock()
}

// A sum is a part of a print that one goroutine makes.
type sum struct {
	sums    [2]uint64
	since   int64 // what was touched from then on, in nanoseconds, was so a moment before
	touched []string
	line    []byte
	records bool // of files of records
}

func (s *sum) add(line []byte) {
	s.sums[0] += maphash.Bytes(printSeeds[0], line)
	s.sums[1] += maphash.Bytes(printSeeds[1], line)
}

// stat adds what stat(2) says of a file.
func (s *sum) stat(dir, name string, info fs.FileInfo) {
	touched := info.ModTime().UnixNano()
	s.line = append(append(append(s.line[:0], dir...), 0), name...)
	numbers := [6]uint64{uint64(info.Size()), uint64(touched), uint64(info.Mode())}
	if stat, ok := statOf(info); ok {
		touched = max(touched, int64(stat.changed[0])*int64(time.Second)+int64(stat.changed[1]))
		numbers[3], numbers[4], numbers[5] = uint64(stat.changed[0]), uint64(stat.changed[1]), uint64(stat.ino)
	}
	s.line = append(s.line, 0)
	for _, n := range numbers {
		s.line = binary.LittleEndian.AppendUint64(s.line, n)
	}
	s.add(s.line)
	if touched > s.since {
		s.touched = append(s.touched, filepath.Join(dir, name))
	}
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
		sum := w.sum()
		sum.stat(path, "", info)
		w.take(sum)
	}
}

// place adds what stat(2) says of a directory of records: its time tells when something in it came or went.
func (w *printing) place(path string) {
	info, err := os.Lstat(path)
	if err != nil {
		w.add(path + "\x00" + err.Error())
		return
	}
	sum := w.sum()
	sum.stat(path, "", info)
	w.take(sum)
}

func (w *printing) dir(path string) {
	w.tokens <- struct{}{}
	defer func() { <-w.tokens }()
	sum := w.sum()
	sum.records = path == w.records || strings.HasPrefix(path, w.records+string(filepath.Separator))
	if sum.records && path != w.records {
		w.place(path) // before its files, so that what comes meanwhile is told the next time
		w.mu.Lock()
		w.dirs = append(w.dirs, path)
		w.mu.Unlock()
	}
	defer func() { w.take(sum) }()
	sum.add([]byte(path + "\x00directory"))
	opened, err := os.Open(path)
	var entries []fs.DirEntry
	if err == nil {
		entries, err = opened.ReadDir(-1)
		opened.Close()
	}
	if err != nil {
		sum.add([]byte(path + "\x00" + err.Error()))
	}
	for _, e := range entries {
		if e.IsDir() {
			w.all.Go(func() { w.dir(filepath.Join(path, e.Name())) })
			continue
		}
		info, err := e.Info()
		if err != nil { // it went while this looked
			sum.add([]byte(path + "\x00" + e.Name() + "\x00" + err.Error()))
			continue
		}
		sum.stat(path, e.Name(), info)
	}
}
