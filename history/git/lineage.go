package git

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"sync/atomic"
	"time"
)

// An Ancestor is a commit on the way to another, without what it says of itself: see [Repo.Said].
type Ancestor struct {
	Hash    string
	Parents []*Ancestor
	When    time.Time  // by the clock of the committer, in UTC
	Changes [][]Change // what it changed, one list for each of its parents as in [LogEntry]; nil where it changed nothing

	tree   []byte
	before [][]byte // ids of the parents

	reached bool
}

// Lineage tells all commits that lead to one, with what each changed of some paths, as [Repo.Walk] does with LogOptions.Changes; those that
// changed nothing of them, too. It reads commits and trees itself, each held against its id, on all processors. It is false where that does not
// do: older history is left out, commits are replaced or written in an odd way, something is missing or damaged. Then git has to be asked, which
// says what is wrong.
func (r *Repo) Lineage(head string, paths []string) (list []*Ancestor, ok bool) {
	scope, err := newScope(paths)
	files := r.shared.objects.files()
	if err != nil || files == nil || r.shared.shallow || r.grafted() || !r.isHash(head) {
		return nil, false
	}
	if list, err = files.ancestors(rawOf(head)); err != nil || r.ctx.Err() != nil {
		return nil, false
	}
	// Commits that follow one another have most of their trees in common, so some in a row are looked at by one.
	const inRow = 1024
	rows := slices.Collect(slices.Chunk(list, inRow))
	return list, files.inParallel(len(rows), func(b *bulk, i int) bool {
		d := &differ{bulk: b, scope: scope, paths: map[string]string{}, inside: map[string]bool{}}
		for _, a := range rows[i] {
			if d.changes(a) != nil {
				return false
			}
		}
		return r.ctx.Err() == nil
	})
}

// ancestors reads the commits that lead to one: the newest first, as far as those are on one line.
func (s *store) ancestors(head []byte) ([]*Ancestor, error) {
	read := func(b *bulk, id []byte) (*Ancestor, error) {
		c, err := b.passing(id)
		a := &Ancestor{Hash: string(id)}
		if err != nil || c.kind != "commit" || !a.read(c.data, s.idLen) {
			return nil, errors.Join(errOddObject, err)
		}
		return a, nil
	}
	// Which commits there are the commit graph of git says, so that they can be read at once. That they are what they are said to be is not
	// left to it, nor that these are all.
	listed := s.listedCommits()
	const inRow = 512
	rows := make([][]*Ancestor, (len(listed)/s.idLen+inRow-1)/inRow)
	s.inParallel(len(rows), func(b *bulk, i int) bool {
		for id := range slices.Chunk(listed[i*inRow*s.idLen:min(len(listed), (i+1)*inRow*s.idLen)], s.idLen) {
			if a, err := read(b, id); err == nil {
				rows[i] = append(rows[i], a)
			}
		}
		return true
	})
	known := make(map[string]*Ancestor, len(listed)/s.idLen)
	for _, row := range rows {
		for _, a := range row {
			known[a.Hash] = a
		}
	}
	b := s.newBulk()
	var list []*Ancestor
	reached := func(id []byte) (a *Ancestor, err error) {
		if a = known[string(id)]; a == nil {
			if a, err = read(b, id); err != nil {
				return nil, err
			}
			known[a.Hash] = a
		}
		if !a.reached {
			a.reached = true
			list = append(list, a)
		}
		return a, nil
	}
	if _, err := reached(head); err != nil {
		return nil, err
	}
	for i := 0; i < len(list); i++ {
		for _, id := range list[i].before {
			p, err := reached(id)
			if err != nil {
				return nil, err
			}
			list[i].Parents = append(list[i].Parents, p)
		}
	}
	for _, a := range list {
		a.Hash = hex.EncodeToString([]byte(a.Hash))
	}
	return list, nil
}

// listedCommits are the ids that the commit graph lists, one after another in no special order, as Documentation/gitformat-commit-graph
// describes it; none where there is no such file, or not of that form.
func (s *store) listedCommits() []byte {
	data, err := os.ReadFile(filepath.Join(s.dirs[0], "info", "commit-graph"))
	if err != nil || len(data) < 8 || string(data[:5]) != "CGPH\x01" {
		return nil
	}
	for i := range int(data[6]) {
		at := 8 + 12*i // name of a chunk and where it begins; after them where the last one ends
		if len(data) < at+24 {
			return nil
		}
		from, to := binary.BigEndian.Uint64(data[at+4:]), binary.BigEndian.Uint64(data[at+16:])
		if string(data[at:at+4]) == "OIDL" && from <= to && to <= uint64(len(data)) && (to-from)%uint64(s.idLen) == 0 {
			return data[from:to]
		}
	}
	return nil
}

// inParallel calls f for 0 to n-1 on all processors, until it is false once, and reports whether it never was.
func (s *store) inParallel(n int, f func(b *bulk, i int) bool) bool {
	var next atomic.Int64
	var stop atomic.Bool
	var wait sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), n) {
		wait.Go(func() {
			b := s.newBulk()
			for i := int(next.Add(1)) - 1; i < n && !stop.Load(); i = int(next.Add(1)) - 1 {
				if !f(b, i) {
					stop.Store(true)
				}
			}
		})
	}
	wait.Wait()
	return !stop.Load()
}

// read reads how a commit begins: tree, parents, author and committer. It is false where git would not write it so.
func (a *Ancestor) read(data []byte, idLen int) bool {
	id := func(name string) []byte {
		line, ok := bytes.CutPrefix(data, []byte(name))
		if !ok || len(line) <= 2*idLen || line[2*idLen] != '\n' {
			return nil
		}
		raw := make([]byte, idLen)
		if _, err := hex.Decode(raw, line[:2*idLen]); err != nil {
			return nil
		}
		data = line[2*idLen+1:]
		return raw
	}
	if a.tree = id("tree "); a.tree == nil {
		return false
	}
	for p := id("parent "); p != nil; p = id("parent ") {
		if slices.ContainsFunc(a.before, func(known []byte) bool { return bytes.Equal(known, p) }) {
			return false // git counts it once
		}
		a.before = append(a.before, p)
	}
	author, rest, _ := bytes.Cut(data, []byte("\n"))
	committer, _, _ := bytes.Cut(rest, []byte("\n"))
	if !bytes.HasPrefix(author, []byte("author ")) || !bytes.HasPrefix(committer, []byte("committer ")) {
		return false
	}
	// "committer NAME <MAIL> SECONDS ZONE"
	_, date, ok := bytes.Cut(committer, []byte("> "))
	seconds, zone, split := bytes.Cut(date, []byte(" "))
	n, err := strconv.ParseUint(string(seconds), 10, 33)
	a.When = time.Unix(int64(n), 0).UTC()
	return ok && split && err == nil && len(zone) == 5
}

// Said hands over what some commits say of themselves, in any order.
func (r *Repo) Said(hashes []string, f func(i int, e LogEntry)) error {
	odd := map[string]int{}
	for i, hash := range hashes {
		if e, _, ok := r.readCommit(hash); ok {
			f(i, e)
		} else {
			odd[hash] = i
		}
	}
	const few = 500 // that go into one call
	for some := range slices.Chunk(slices.Sorted(maps.Keys(odd)), few) {
		for e, err := range r.Walk(LogOptions{Revs: some, only: true}) {
			if err != nil {
				return err
			}
			f(odd[e.Hash], e)
			delete(odd, e.Hash)
		}
	}
	for hash := range odd {
		return errorf(ErrMissing, "the commit %s is missing from this repository", hash)
	}
	return nil
}

func rawOf(hash string) []byte { raw, _ := hex.DecodeString(hash); return raw }

// A differ compares trees.
type differ struct {
	*bulk
	scope  scope
	paths  map[string]string // each once
	inside map[string]bool   // path → whether anything at or below it may be in the scope
	at     []byte
	left   int // trees that may be looked at for the commit, see [way]
}

const mostTrees = 1 << 17

// changes finds out what a commit changed.
func (d *differ) changes(a *Ancestor) error {
	lists := make([][]Change, max(1, len(a.Parents)))
	some := false
	d.left = mostTrees
	for i := range lists {
		var before []byte
		if i < len(a.Parents) {
			before = a.Parents[i].tree
		}
		if err := d.compare(before, a.tree, "", &lists[i]); err != nil {
			return err
		}
		some = some || len(lists[i]) > 0
	}
	if some {
		a.Changes = lists
	}
	return nil
}

// tree reads a tree as git makes it; nil is an empty one.
func (d *differ) tree(id []byte) ([]byte, error) {
	if id == nil {
		return nil, nil
	}
	c, err := d.object(id)
	if err != nil || c.kind != "tree" {
		return nil, errors.Join(errOddObject, err)
	}
	if !c.listed {
		var last row
		for data := c.data; len(data) > 0; {
			e, rest, ok := rowOf(data, d.idLen)
			if !ok || last.name != nil && last.compare(e) >= 0 || bytes.Equal(last.name, e.name) {
				return nil, errOddObject
			}
			last, data = e, rest
		}
		c.listed = true
	}
	return c.data, nil
}

// A row is an entry of a tree as it stands there.
type row struct {
	mode, name, id []byte
	whole          []byte
}

func (e row) isTree() bool { return string(e.mode) == ModeTree }

// rowOf takes the first entry of a tree. It is false for one that git does not make.
func rowOf(data []byte, idLen int) (e row, rest []byte, ok bool) {
	mode, name, id, rest, ok := cutEntry(data, idLen)
	if !ok || modeOf(mode) == "" || isOddName(name) {
		return e, nil, false
	}
	return row{mode, name, id, data[:len(data)-len(rest)]}, rest, true
}

// compare puts two entries in the order of git: a directory as if its name ended with a slash.
func (e row) compare(f row) int {
	n := min(len(e.name), len(f.name))
	if c := bytes.Compare(e.name[:n], f.name[:n]); c != 0 {
		return c
	}
	return int(e.after(n)) - int(f.after(n))
}

func (e row) after(n int) byte {
	switch {
	case n < len(e.name):
		return e.name[n]
	case e.isTree():
		return '/'
	}
	return 0
}

// compare adds the files that differ between two trees, in the order of their paths.
func (d *differ) compare(a, b []byte, dir string, changes *[]Change) error {
	if bytes.Equal(a, b) {
		return nil
	}
	if d.left--; d.left < 0 || len(dir) > mostPath {
		return errOddObject
	}
	before, err := d.tree(a)
	if err != nil {
		return err
	}
	after, err := d.tree(b)
	if err != nil {
		return err
	}
	var old, now row
	for len(before) > 0 || len(after) > 0 {
		if len(before) > 0 {
			old, _, _ = rowOf(before, d.idLen)
			if bytes.HasPrefix(after, old.whole) {
				before, after = before[len(old.whole):], after[len(old.whole):]
				continue
			}
		}
		if len(after) > 0 {
			now, _, _ = rowOf(after, d.idLen)
		}
		order := 0
		switch {
		case len(before) == 0:
			order = 1
		case len(after) == 0:
			order = -1
		default:
			order = old.compare(now)
		}
		var from, to row
		if order <= 0 {
			from, before = old, before[len(old.whole):]
		}
		if order >= 0 {
			to, after = now, after[len(now.whole):]
		}
		if err := d.pair(from, to, dir, changes); err != nil {
			return err
		}
	}
	return nil
}

// pair adds what differs between two entries of one name and kind; one of them may be none.
func (d *differ) pair(from, to row, dir string, changes *[]Change) error {
	e := from
	if e.name == nil {
		e = to
	}
	at := d.path(dir, e.name)
	inside, known := d.inside[at]
	if !known {
		inside = d.scope.touches(at)
		d.inside[at] = inside
	}
	switch {
	case !inside:
		return nil
	case e.isTree():
		return d.compare(from.id, to.id, at, changes)
	case !d.scope.holds(at):
		return nil
	}
	c := Change{Path: at}
	if from.name != nil {
		c.OldHash, c.OldMode = hex.EncodeToString(from.id), modeOf(from.mode)
	}
	if to.name != nil {
		c.NewHash, c.NewMode = hex.EncodeToString(to.id), modeOf(to.mode)
	}
	if c.OldHash != c.NewHash || c.OldMode != c.NewMode {
		if *changes = append(*changes, c); len(*changes) > mostAgain { // git is asked, within limits
			return errOddObject
		}
	}
	return nil
}

// path is a name in a directory.
func (d *differ) path(dir string, name []byte) string {
	d.at = append(d.at[:0], dir...)
	if dir != "" {
		d.at = append(d.at, '/')
	}
	d.at = append(d.at, name...)
	known, ok := d.paths[string(d.at)]
	if !ok {
		known = string(d.at)
		d.paths[known] = known
	}
	return known
}

// modeOf is a mode as git writes it today or wrote it in its first years; "" for any other.
func modeOf(mode []byte) string {
	switch string(mode) {
	case ModeFile, "100664":
		return ModeFile
	case ModeExecutable:
		return ModeExecutable
	case ModeTree:
		return ModeTree
	case ModeSymlink:
		return ModeSymlink
	case ModeSubmodule:
		return ModeSubmodule
	}
	return ""
}
