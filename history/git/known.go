package git

import (
	"bytes"
	"cmp"
	"crypto/sha1"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// stood is what git noted of the files on disk when it last looked at them: an id for each, good as long as the file was not touched
// since. It is read from the index as Documentation/gitformat-index of git describes it; an index of another form tells nothing.
type stood struct {
	written time.Time
	entries []Entry // all of them, in the order of git, which is that of their paths from the top of the work tree
	noted   []noted // of each
	trees   map[string]string
}

// noted is one file as git saw it: what stat(2) said, and whether the id goes by that.
type noted struct {
	stat   fileStat
	usable bool
}

// fileStat is what tells a file that was touched from one that was not. The size is that on disk.
type fileStat struct {
	changed, modified [2]uint32 // seconds and nanoseconds
	ino, uid, gid     uint32
	size              uint32
}

// noted reads, when it is first asked for, what the index says of a library, or of parts of it.
func (r *Repo) noted(root string, of []string) func() *stood {
	return sync.OnceValue(func() *stood {
		under, err := parts(root, of...)
		if err != nil {
			return nil
		}
		scope, err := newScope(under)
		if err != nil {
			return nil
		}
		return r.readStood(scope)
	})
}

// readStood reads what the index says of some files, or of all; nil where it says nothing that can be used.
func (r *Repo) readStood(under scope) *stood {
	info, err := os.Stat(r.IndexFile())
	if err != nil {
		return nil
	}
	data, err := os.ReadFile(r.IndexFile())
	if err != nil {
		return nil
	}
	if !r.whole(data) {
		return nil
	}
	s := &stood{written: info.ModTime(), trees: map[string]string{}}
	if !s.parse(data, r.shared.hashLen/2, under) {
		return nil
	}
	return s
}

// whole checks the hash at the end of the index; git may be told to leave it out (index.skipHash).
func (r *Repo) whole(data []byte) bool {
	n := r.shared.hashLen / 2
	if len(data) < n {
		return false
	}
	body, end := data[:len(data)-n], data[len(data)-n:]
	if bytes.Equal(end, make([]byte, n)) {
		return true
	}
	if n == sha256.Size {
		sum := sha256.Sum256(body)
		return bytes.Equal(sum[:], end)
	}
	sum := sha1.Sum(body)
	return bytes.Equal(sum[:], end)
}

// Bits of the flags of an entry.
const (
	assumeValid  = 1 << 15
	isExtended   = 1 << 14
	stageBits    = 3 << 12
	skipWorktree = 1 << 14 // of the extended flags
	announced    = 1 << 13 // git add -N, likewise
)

func (s *stood) parse(data []byte, idLen int, under scope) bool {
	const header = 12
	if len(data) < header+idLen || string(data[:4]) != "DIRC" {
		return false
	}
	version, count := binary.BigEndian.Uint32(data[4:]), binary.BigEndian.Uint32(data[8:])
	if version < 2 || version > 4 {
		return false
	}
	end := len(data) - idLen                      // of all but the checksum
	var ids, names strings.Builder                // of all, put into words together
	most := min(int(count), len(data)/(40+idLen)) // what is not used of the room costs nothing
	s.entries, s.noted = make([]Entry, 0, most), make([]noted, 0, most)
	ids.Grow(2 * idLen * most)
	names.Grow(len(data))
	var hexed [2 * sha256.Size]byte
	at, previous := header, []byte(nil)
	mode, modeWord := ^uint32(0), ""
	for range count {
		fixed := 40 + idLen + 2
		if at+fixed+2 > end {
			return false
		}
		start := at
		flags := binary.BigEndian.Uint16(data[at+40+idLen:])
		if flags&isExtended != 0 {
			fixed += 2
		}
		rest := data[at+fixed : end]
		if version == 4 { // what the path shares with the one before is not written again
			strip, size := offsetNumber(rest)
			if size == 0 || strip > len(previous) {
				return false
			}
			fixed += size
			rest = rest[size:]
			previous = previous[:len(previous)-strip]
		} else {
			previous = previous[:0]
		}
		length := bytes.IndexByte(rest, 0)
		if length < 0 {
			return false
		}
		previous = append(previous, rest[:length]...)
		at += fixed + length + 1
		if version < 4 {
			at += (8 - (fixed+length+1)%8) % 8
		}
		if !under.holdsRaw(previous) {
			continue
		}
		number := func(i int) uint32 { return binary.BigEndian.Uint32(data[start+4*i:]) }
		entry := noted{stat: fileStat{changed: [2]uint32{number(0), number(1)}, modified: [2]uint32{number(2), number(3)}, ino: number(5), uid: number(7), gid: number(8),
			size: number(9)}}
		regular := number(6)>>12 == 8
		if mode != number(6) {
			mode = number(6)
			modeWord = canonicalMode(strconv.FormatUint(uint64(mode), 8))
		}
		entry.usable = regular && flags&(assumeValid|stageBits) == 0
		if flags&isExtended != 0 {
			entry.usable = entry.usable && binary.BigEndian.Uint16(data[start+40+idLen+2:])&(skipWorktree|announced) == 0
		}
		ids.Write(hexed[:hex.Encode(hexed[:], data[start+40:start+40+idLen])])
		names.Write(previous)
		names.WriteByte(0)
		s.entries = append(s.entries, Entry{Mode: modeWord})
		s.noted = append(s.noted, entry)
	}
	hashes, paths := ids.String(), names.String()
	for i := range s.entries {
		s.entries[i].Hash, hashes = hashes[:2*idLen], hashes[2*idLen:]
		s.entries[i].Path, paths, _ = strings.Cut(paths, "\x00")
	}
	for at+8 <= end {
		name, size := string(data[at:at+4]), int(binary.BigEndian.Uint32(data[at+4:]))
		at += 8
		if size > end-at {
			return false
		}
		switch {
		case name == "TREE":
			if !s.parseTrees(data[at:at+size], "", idLen, new([]byte)) {
				clear(s.trees)
			}
		case name[0] < 'A' || name[0] > 'Z': // it has to be understood, and is not: a split or sparse index
			return false
		}
		at += size
	}
	return at == end
}

// offsetNumber reads a number in the form of the offsets of packs, seven bits at a time.
func offsetNumber(data []byte) (n, size int) {
	for i, b := range data {
		if i > 4 {
			return 0, 0
		}
		n = n<<7 | int(b&0x7f)
		if b&0x80 == 0 {
			return n, i + 1
		}
		n++
	}
	return 0, 0
}

// parseTrees reads which directories of the index are as a tree of the repository.
func (s *stood) parseTrees(data []byte, dir string, idLen int, rest *[]byte) bool {
	end := bytes.IndexByte(data, 0)
	line := bytes.IndexByte(data, '\n')
	if end < 0 || line < end {
		return false
	}
	at := path.Join(dir, string(data[:end]))
	var entries, below int
	if !twoNumbers(data[end+1:line], &entries, &below) {
		return false
	}
	data = data[line+1:]
	if entries >= 0 {
		if len(data) < idLen {
			return false
		}
		s.trees[at] = hex.EncodeToString(data[:idLen])
		data = data[idLen:]
	}
	for range below {
		if !s.parseTrees(data, at, idLen, rest) {
			return false
		}
		data = *rest
	}
	*rest = data
	return true
}

func twoNumbers(text []byte, a, b *int) bool {
	first, second, ok := bytes.Cut(text, []byte(" "))
	return ok && oneNumber(first, a) && oneNumber(second, b)
}

func oneNumber(text []byte, n *int) bool {
	sign := 1
	if len(text) > 1 && text[0] == '-' {
		sign, text = -1, text[1:]
	}
	if len(text) == 0 || len(text) > 9 {
		return false
	}
	*n = 0
	for _, c := range text {
		if c < '0' || c > '9' {
			return false
		}
		*n = *n*10 + int(c-'0')
	}
	*n *= sign
	return true
}

// unchanged is the id of a file that was not touched since git looked at it, "" where that is not known. As in git, one that was
// written in the same moment as the index, or later, may have been touched again without a trace.
func (s *stood) unchanged(path string, now fileStat) string {
	if s == nil {
		return ""
	}
	i, ok := slices.BinarySearchFunc(s.entries, path, byPath)
	if !ok {
		return ""
	}
	return s.still(i, now)
}

func byPath(e Entry, path string) int { return strings.Compare(e.Path, path) }

// still is unchanged for an entry.
func (s *stood) still(i int, now fileStat) string {
	modified := time.Unix(int64(now.modified[0]), int64(now.modified[1]))
	if now.modified[1] == 0 { // its file system may count in whole seconds, whatever that of the index does
		modified = modified.Add(settling)
	}
	if !s.noted[i].usable || s.noted[i].stat != now || !modified.Before(s.written) {
		return ""
	}
	return s.entries[i].Hash
}

// allUnchanged is unchanged for files in the order of their paths, which start with a prefix.
func (s *stood) allUnchanged(prefix string, paths []string, now []fileStat) []string {
	out := make([]string, len(paths))
	if s == nil {
		return out
	}
	i, _ := slices.BinarySearchFunc(s.entries, prefix, byPath)
	for k, p := range paths {
		for i < len(s.entries) && strings.HasPrefix(s.entries[i].Path, prefix) && s.entries[i].Path[len(prefix):] < p {
			i++
		}
		if i < len(s.entries) && len(s.entries[i].Path) == len(prefix)+len(p) && s.entries[i].Path[len(prefix):] == p {
			out[k] = s.still(i, now[k])
		}
	}
	return out
}

// tree lists the files below a directory where the index holds it just as a tree of the repository is; else it is false. Git notes which
// directories are.
func (s *stood) tree(dir, hash string) ([]Entry, bool) {
	if s == nil || hash == "" || s.trees[dir] != hash {
		return nil, false
	}
	from, _ := slices.BinarySearchFunc(s.entries, dir+"/", byPath)
	to := from
	for to < len(s.entries) && strings.HasPrefix(s.entries[to].Path, dir+"/") {
		to++
	}
	return s.entries[from:to], true
}

// SavedAndWork is [Repo.Commit] and [Repo.WorkTree] of one library. Directories that git notes to be the same in both need not be listed
// twice. With parts of [Parts] it is only those.
func (r *Repo) SavedAndWork(rev, root string, parts ...string) (saved, work Snapshot, err error) {
	stood := r.noted(root, parts)
	var failed error
	done := make(chan struct{})
	go func() { // while the system says what is on disk
		defer close(done)
		saved, failed = r.savedAs(rev, root, stood, parts)
	}()
	work, err = r.workTree(root, stood, parts)
	<-done
	if err = cmp.Or(err, failed); err != nil {
		return nil, nil, err
	}
	return saved, work, nil
}

// savedAs is [Repo.Commit] with the help of what git noted of the files on disk.
func (r *Repo) savedAs(rev, root string, stood func() *stood, of []string) (Snapshot, error) {
	commit, err := r.commit(rev)
	if err != nil {
		return nil, err
	}
	under, err := parts(root, of...)
	if err != nil {
		return nil, err
	}
	scope, err := newScope(under)
	if err != nil {
		return nil, err
	}
	var files []Entry
	if err := r.walkTree(stood(), commit.tree, scope, func(more ...Entry) { files = append(files, more...) }); err != nil {
		return nil, err
	}
	return r.snapshot("saved "+commit.hash[:12], root, files)
}
