package git

import (
	"bytes"
	"crypto/sha1"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"hash"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
)

// A store reads objects from the files in which git keeps them, as Documentation/gitrepository-layout, gitformat-loose and gitformat-pack of git
// describe these: one file for each, or many in a pack. It spares the child that would read them. An object is given only after its content
// was found to be the one that its id stands for. Whatever is not there or not as expected is left to git, which knows more places and more
// forms, and says what is wrong.
type store struct {
	dirs  []string // where objects are, those of the repository first
	idLen int      // bytes of an id

	mu    sync.Mutex // of whoever lists the packs
	packs atomic.Pointer[[]*pack]
	last  atomic.Pointer[pack] // in which an object was found
	bases recent[spot]         // that objects in packs are told by their difference from
	heads headCache
}

const (
	mostPacks  = 64 // that are opened; a repository with more is about to be packed again
	mostBases  = 16 << 20
	mostHeads  = 8 << 20
	mostRaw    = 2 << 20
	mostNested = 5 // stores that name other stores, as in git
)

// newStore finds out where the objects are. Nothing is opened yet.
func newStore(own, others string, idLen int) *store {
	s := &store{idLen: idLen, bases: recent[spot]{most: mostBases}, heads: headCache{recent[spot]{most: mostHeads}, recent[spot]{most: 2 * mostHeads}}}
	s.add(own, 0)
	if !strings.Contains(others, `"`) { // git quotes what holds a separator
		for _, dir := range filepath.SplitList(others) {
			s.add(dir, 0)
		}
	}
	return s
}

// add adds a directory of objects and those that it names.
func (s *store) add(dir string, nested int) {
	if dir == "" || nested > mostNested {
		return
	}
	dir = filepath.Clean(dir)
	for _, known := range s.dirs {
		if known == dir {
			return
		}
	}
	s.dirs = append(s.dirs, dir)
	data, _ := os.ReadFile(filepath.Join(dir, "info", "alternates"))
	for line := range strings.SplitSeq(string(data), "\n") {
		if line != "" && line[0] != '#' && line[0] != '"' {
			s.add(absolute(dir, filepath.FromSlash(line)), nested+1)
		}
	}
}

// object reads a whole object of a full id that is no larger than limit. It is false where git has to be asked.
func (s *store) object(id string, limit int64) (object, bool) {
	raw, err := hex.DecodeString(id)
	if err != nil || len(raw) != s.idLen {
		return object{}, false
	}
	for {
		before := s.packs.Load()
		if p, offset := s.find(raw); p != nil {
			if kind, data, err := p.object(&s.bases, offset, limit); err == nil && s.proven(raw, kind, data) {
				return object{id, kind, int64(len(data)), data}, true
			}
		}
		if kind, data, err := s.loose(id, limit); err == nil && s.proven(raw, kind, data) {
			return object{id, kind, int64(len(data)), data}, true
		}
		if before == nil || !s.list(before) {
			return object{}, false
		}
	}
}

// head reads the beginning of an object, of n bytes or all that it has. What is only part of an object cannot be held against its id: as in git
// itself, the checksum of what is unpacked is all that tells of damage, and not even that where the rest is not looked at.
func (s *store) head(id string, n int) (object, bool) {
	raw, err := hex.DecodeString(id)
	if err != nil || len(raw) != s.idLen {
		return object{}, false
	}
	p, offset := s.find(raw)
	if p == nil {
		return s.looseHead(id, n)
	}
	head, err := p.head(&s.heads, offset, n)
	if err != nil || head.size > MaxBlob {
		return object{}, false
	}
	return object{id, head.kind, head.size, head.data[:min(n, len(head.data))]}, true
}

// alike reports whether two objects begin with the same n bytes, where one is packed as a difference from the other that says so.
func (s *store) alike(a, b string, n int64) bool {
	ids, err := hex.DecodeString(a + b)
	if err != nil || len(ids) != 2*s.idLen {
		return false
	}
	p, at := s.find(ids[:s.idLen])
	q, to := s.find(ids[s.idLen:])
	return p != nil && p == q && (p.copies(&s.heads, at, to, n) || p.copies(&s.heads, to, at, n))
}

// proven says whether an id is that of a content.
func (s *store) proven(id []byte, kind string, data []byte) bool {
	return newProver(s.idLen).proves(id, kind, data)
}

// A prover holds contents against ids, one after another.
type prover struct {
	sum  hash.Hash
	room [64]byte
}

func newProver(idLen int) *prover {
	if idLen == sha256.Size {
		return &prover{sum: sha256.New()}
	}
	return &prover{sum: sha1.New()}
}

func (p *prover) proves(id []byte, kind string, data []byte) bool {
	p.sum.Reset()
	p.sum.Write(append(strconv.AppendInt(append(append(p.room[:0], kind...), ' '), int64(len(data)), 10), 0))
	p.sum.Write(data)
	return bytes.Equal(p.sum.Sum(p.room[:0]), id)
}

// loose reads an object that has a file of its own.
func (s *store) loose(id string, limit int64) (kind string, data []byte, err error) {
	for _, dir := range s.dirs {
		var f *os.File
		if f, err = openShared(filepath.Join(dir, id[:2], id[2:])); err == nil {
			kind, data, err = looseObject(f, limit)
			f.Close()
			if err == nil {
				return kind, data, nil
			}
		}
	}
	return "", nil, errors.Join(err, fs.ErrNotExist)
}

func looseObject(f *os.File, limit int64) (kind string, data []byte, err error) {
	z := inflaters.Get().(*inflater)
	defer inflaters.Put(z)
	kind, size, err := z.looseStart(f, limit)
	if err != nil {
		return "", nil, err
	}
	data = make([]byte, size)
	if _, err := io.ReadFull(z.out, data); err != nil {
		return "", nil, err
	}
	if err := z.end(); err != nil {
		return "", nil, err
	}
	if _, err := z.in.ReadByte(); err != io.EOF {
		return "", nil, errOddObject
	}
	return kind, data, nil
}

// looseStart unpacks what stands before the content of an object that has a file of its own: "KIND SIZE" and a zero.
func (z *inflater) looseStart(f *os.File, limit int64) (kind string, size int64, err error) {
	info, err := f.Stat()
	if err != nil || !info.Mode().IsRegular() {
		return "", 0, errors.Join(errOddObject, err)
	}
	z.at(io.NewSectionReader(f, 0, info.Size()), 0, info.Size())
	if err := z.open(); err != nil {
		return "", 0, err
	}
	header := make([]byte, 0, 32)
	for len(header) == 0 || header[len(header)-1] != 0 {
		if len(header) == cap(header) {
			return "", 0, errOddObject
		}
		if _, err := io.ReadFull(z.out, header[len(header):len(header)+1]); err != nil {
			return "", 0, err
		}
		header = header[:len(header)+1]
	}
	kind, digits, _ := strings.Cut(string(header[:len(header)-1]), " ")
	size, err = strconv.ParseInt(digits, 10, 64)
	if err != nil || strconv.FormatInt(size, 10) != digits || size < 0 || size > limit || size/mostRatio > info.Size() || !isKind(kind) {
		return "", 0, errOddObject
	}
	return kind, size, nil
}

// looseHead is head of an object that has a file of its own.
func (s *store) looseHead(id string, n int) (object, bool) {
	for _, dir := range s.dirs {
		f, err := openShared(filepath.Join(dir, id[:2], id[2:]))
		if err != nil {
			continue
		}
		defer f.Close()
		z := inflaters.Get().(*inflater)
		defer inflaters.Put(z)
		kind, size, err := z.looseStart(f, MaxBlob)
		if err != nil {
			return object{}, false
		}
		data := make([]byte, min(int64(n), size))
		_, err = io.ReadFull(z.out, data)
		return object{id, kind, size, data}, err == nil
	}
	return object{}, false
}

// find looks an object up in the packs.
func (s *store) find(id []byte) (*pack, int64) {
	last := s.last.Load()
	if last != nil {
		if offset, ok := last.find(id); ok {
			return last, offset
		}
	}
	packs := s.packs.Load()
	if packs == nil {
		s.list(nil)
		packs = s.packs.Load()
	}
	for _, p := range *packs {
		if p == last {
			continue
		}
		if offset, ok := p.find(id); ok {
			s.last.Store(p)
			return p, offset
		}
	}
	return nil, 0
}

// list reads which packs there are, since another program may have packed anew. It is false where that is what was known before.
func (s *store) list(before *[]*pack) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	known := s.packs.Load()
	if known != before {
		return true
	}
	gone := map[string]*pack{}
	if known != nil {
		for _, p := range *known {
			gone[p.name] = p
		}
	}
	var packs []*pack
	changed := known == nil
	for _, dir := range s.dirs {
		files, _ := os.ReadDir(filepath.Join(dir, "pack"))
		for _, f := range files {
			name, ok := strings.CutSuffix(f.Name(), ".idx")
			if !ok || len(packs) == mostPacks {
				continue
			}
			name = filepath.Join(dir, "pack", name)
			p := gone[name]
			if p == nil {
				p, changed = newPack(name, s.idLen), true
			}
			delete(gone, name)
			packs = append(packs, p)
		}
	}
	for _, p := range gone {
		changed = true
		s.last.CompareAndSwap(p, nil)
		p.close()
	}
	if changed {
		s.packs.Store(&packs)
	}
	return changed
}

// close lets go of all files.
func (s *store) close() {
	s.mu.Lock()
	defer s.mu.Unlock()
	if packs := s.packs.Load(); packs != nil {
		for _, p := range *packs {
			p.close()
		}
	}
}

// recent keeps what was read last, up to a number of bytes and as much again.
type recent[K comparable] struct {
	most int

	mu         sync.Mutex
	young, old map[K]part
	size       int // of the young
}

// spot is where an object is.
type spot struct {
	pack   *pack
	offset int64
}

// part is an object, its beginning or its difference from another. The data must not be changed.
type part struct {
	kind string // "" of a difference
	size int64  // of the whole
	data []byte
	base int64 // of a difference: where the other one is
}

// headCache is what was read of objects of which only the beginning is wanted.
type headCache struct {
	heads  recent[spot]
	packed recent[spot] // as it is in the pack
}

func (r *recent[K]) get(at K) (part, bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	found, ok := r.young[at]
	if !ok {
		if found, ok = r.old[at]; ok {
			r.add(at, found)
		}
	}
	return found, ok
}

// put is false for what is too large to be kept.
func (r *recent[K]) put(at K, p part) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.add(at, p)
}

func (r *recent[K]) add(at K, p part) bool {
	size := len(p.data) + 128
	if size > r.most/4 {
		return false
	}
	if r.size += size; r.young == nil || r.size > r.most/2 {
		r.young, r.old, r.size = map[K]part{}, r.young, size
	}
	r.young[at] = p
	return true
}
