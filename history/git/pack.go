package git

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"errors"
	"io"
	"os"
	"sort"
	"sync"
	"sync/atomic"
)

// A pack is a file of many objects with an index beside it, as Documentation/gitformat-pack of git describes them. Of the index only version 2
// is read, which git has written since 2007.
type pack struct {
	name  string // of the files, without .idx and .pack
	idLen int

	openIndex, openData func() bool
	mu                  sync.Mutex // of the files that are open
	files               []*os.File
	closed              bool

	index, data *io.SectionReader
	upTo        [256]uint32 // how many ids begin with this byte or one before it
	buckets     [256]atomic.Pointer[bucket]
	held        atomic.Int64 // bytes of buckets
	pages       atomic.Pointer[pages]
	probes      atomic.Int64 // see probe
	larges      atomic.Int64 // see object
}

// bucket is the part of the index that lists the ids with one first byte.
type bucket struct {
	ids     []byte // in order, one after another
	offsets []byte // four bytes for each
}

const (
	indexStart = 8 + 256*4
	mostIndex  = 32 << 20 // of the index that is kept
	mostProbes = 256
	probed     = 64 // ids
	packStart  = 12
	mostDeep   = 4096    // as git allows
	largeBase  = 4 << 10 // see object
	fewLarge   = 4
	mostPiece  = 256 << 10 // of which only the beginning is read
	mostEffort = 1 << 18   // pieces of differences, and 64 bytes unpacked, to read one beginning
)

// The kinds of entries of a pack, by number.
const (
	atOffset = 6 // a difference from what is so many bytes before
	fromID   = 7 // a difference from the object of an id
)

var kinds = [...]string{1: "commit", 2: "tree", 3: "blob", 4: "tag"}

func isKind(name string) bool {
	for _, kind := range kinds[1:] {
		if kind == name {
			return true
		}
	}
	return false
}

func newPack(name string, idLen int) *pack {
	p := &pack{name: name, idLen: idLen}
	p.openIndex = sync.OnceValue(func() bool {
		p.index = p.open(".idx")
		return p.index != nil && p.readIndex()
	})
	p.openData = sync.OnceValue(func() bool {
		p.data = p.open(".pack")
		return p.data != nil && p.fits()
	})
	return p
}

// open opens one of the two files; nil where that fails.
func (p *pack) open(ending string) *io.SectionReader {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return nil
	}
	f, err := openShared(p.name + ending)
	if err != nil {
		return nil
	}
	info, err := f.Stat()
	if err != nil || !info.Mode().IsRegular() {
		f.Close()
		return nil
	}
	p.files = append(p.files, f)
	return io.NewSectionReader(f, 0, info.Size())
}

func (p *pack) close() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.closed = true
	for _, f := range p.files {
		f.Close()
	}
}

// readIndex reads how the index begins.
func (p *pack) readIndex() bool {
	start := make([]byte, indexStart)
	if _, err := p.index.ReadAt(start, 0); err != nil || string(start[:8]) != "\xfftOc\x00\x00\x00\x02" {
		return false
	}
	before := uint32(0)
	for i := range p.upTo {
		p.upTo[i] = binary.BigEndian.Uint32(start[8+4*i:])
		if p.upTo[i] < before {
			return false
		}
		before = p.upTo[i]
	}
	return p.index.Size() >= p.largeOffsets()+int64(2*p.idLen)
}

// largeOffsets is where in the index the offsets are that take more than 31 bits. Before them are the ids, a checksum of four bytes for each
// and an offset for each.
func (p *pack) largeOffsets() int64 { return indexStart + int64(p.upTo[255])*int64(p.idLen+8) }

// fits says whether the pack is the one that the index was made for, and whole, as git does when it opens it.
func (p *pack) fits() bool {
	start, end, want := make([]byte, packStart), make([]byte, p.idLen), make([]byte, p.idLen)
	if _, err := p.data.ReadAt(start, 0); err != nil || string(start[:4]) != "PACK" || p.data.Size() < int64(packStart+p.idLen) {
		return false
	}
	if version := binary.BigEndian.Uint32(start[4:]); version != 2 && version != 3 || binary.BigEndian.Uint32(start[8:]) != p.upTo[255] {
		return false
	}
	_, err := p.data.ReadAt(end, p.data.Size()-int64(p.idLen))
	_, err2 := p.index.ReadAt(want, p.index.Size()-int64(2*p.idLen))
	return err == nil && err2 == nil && bytes.Equal(end, want)
}

// find is where in the pack an object begins.
func (p *pack) find(id []byte) (offset int64, ok bool) {
	if !p.openIndex() {
		return 0, false
	}
	word, ok, sure := p.probe(id)
	if !sure {
		b := p.bucket(id[0])
		if b == nil {
			return 0, false
		}
		var at int
		if at, ok = b.search(id); ok {
			word = binary.BigEndian.Uint32(b.offsets[4*at:])
		}
	}
	offset = int64(word)
	if !ok || offset < 1<<31 {
		return offset, ok
	}
	var large [8]byte
	at64 := p.largeOffsets() + 8*(offset&(1<<31-1))
	if at64 > p.index.Size()-int64(2*p.idLen+8) {
		return 0, false
	}
	if _, err := p.index.ReadAt(large[:], at64); err != nil {
		return 0, false
	}
	return int64(binary.BigEndian.Uint64(large[:])), true
}

// search finds an id. Ids are as good as random, so where one stands among others is all but known from its first bytes.
func (b *bucket) search(id []byte) (at int, ok bool) {
	value := func(id []byte) uint64 { return uint64(binary.BigEndian.Uint32(id[1:])) } // the first byte is that of all
	want, size := value(id), len(id)
	low, high, least, most := 0, len(b.offsets)/4, uint64(0), uint64(1)<<32
	for tries := 0; low < high; tries++ {
		at = int(uint(low+high) >> 1)
		if tries < 5 && least <= want && want < most {
			at = low + int((want-least)*uint64(high-low)/(most-least))
		}
		here := b.ids[at*size : (at+1)*size]
		switch c := bytes.Compare(id, here); {
		case c == 0:
			return at, true
		case c < 0:
			high, most = at, value(here)
		default:
			low, least = at+1, value(here)
		}
	}
	return 0, false
}

// probe looks for an id where it most likely is: who asks for a few objects need not read the bucket of each. It is not sure where the id may be
// elsewhere, and where so many were asked for that the buckets are worth their room.
func (p *pack) probe(id []byte) (offset uint32, ok, sure bool) {
	first := int64(0)
	if id[0] > 0 {
		first = int64(p.upTo[id[0]-1])
	}
	n := int64(p.upTo[id[0]]) - first
	if p.buckets[id[0]].Load() != nil || n <= probed || p.probes.Add(1) > mostProbes {
		return 0, false, false
	}
	from := max(0, min(n*int64(binary.BigEndian.Uint32(id[1:]))>>32-probed/2, n-probed))
	data := make([]byte, probed*p.idLen)
	if _, err := p.index.ReadAt(data, indexStart+(first+from)*int64(p.idLen)); err != nil {
		return 0, false, false
	}
	at, ok := sort.Find(probed, func(i int) int { return bytes.Compare(id, data[i*p.idLen:(i+1)*p.idLen]) })
	if !ok {
		return 0, false, (at > 0 || from == 0) && (at < probed || from+probed == n)
	}
	word := data[:4]
	if _, err := p.index.ReadAt(word, indexStart+int64(p.upTo[255])*int64(p.idLen+4)+4*(first+from+int64(at))); err != nil {
		return 0, false, false
	}
	return binary.BigEndian.Uint32(word), true, true
}

// bucket reads the part of the index for ids that begin with a byte; nil where that fails.
func (p *pack) bucket(first byte) *bucket {
	if b := p.buckets[first].Load(); b != nil {
		return b
	}
	from := int64(0)
	if first > 0 {
		from = int64(p.upTo[first-1])
	}
	n, all := int64(p.upTo[first])-from, int64(p.upTo[255])
	data := make([]byte, n*int64(p.idLen+4))
	b := &bucket{data[:n*int64(p.idLen)], data[n*int64(p.idLen):]}
	if _, err := p.index.ReadAt(b.ids, indexStart+from*int64(p.idLen)); err != nil {
		return nil
	}
	if _, err := p.index.ReadAt(b.offsets, indexStart+all*int64(p.idLen+4)+from*4); err != nil {
		return nil
	}
	if p.held.Add(int64(len(data))) <= mostIndex {
		p.buckets[first].Store(b)
	}
	return b
}

// entry is how an object in a pack begins.
type entry struct {
	kind string // "" of a difference
	size int64  // of what is packed: the object, or the difference
	base int64  // where the object begins that this one differs from
}

// entry reads how the entry at a place begins, and leaves the inflater at what is packed.
func (p *pack) entry(z *inflater, offset int64) (e entry, err error) {
	if !p.openData() {
		return e, os.ErrNotExist
	}
	end := p.data.Size() - int64(p.idLen)
	if offset < packStart || offset >= end {
		return e, errOddObject
	}
	z.at(p.data, offset, end)
	return p.entryIn(&z.in, offset)
}

// entryIn reads how an entry begins from what stands at its place.
func (p *pack) entryIn(in io.ByteReader, offset int64) (e entry, err error) {
	c, err := in.ReadByte()
	if err != nil {
		return e, err
	}
	kind := c >> 4 & 7
	e.size = int64(c & 15)
	for shift := 4; c&0x80 != 0; shift += 7 {
		if c, err = in.ReadByte(); err != nil {
			return e, err
		}
		if shift > 46 {
			return e, errOddObject
		}
		e.size |= int64(c&0x7f) << shift
	}
	switch kind {
	case atOffset:
		back := int64(-1)
		for c = 0x80; c&0x80 != 0; {
			if c, err = in.ReadByte(); err != nil {
				return e, err
			}
			if back++; back > 1<<46 {
				return e, errOddObject
			}
			back = back<<7 | int64(c&0x7f)
		}
		if back <= 0 || back > offset-packStart {
			return e, errOddObject
		}
		e.base = offset - back
	case fromID:
		id := make([]byte, p.idLen)
		for i := range id {
			if id[i], err = in.ReadByte(); err != nil {
				return e, err
			}
		}
		base, ok := p.find(id)
		if !ok {
			return e, errOddObject
		}
		e.base = base
	case 1, 2, 3, 4:
		e.kind = kinds[kind]
	default:
		return e, errOddObject
	}
	return e, nil
}

// object reads an object that is no larger than limit. What is made on the way to it is kept for the next; what is large only once a few were
// asked for, since memory that was never used takes longer than all else.
func (p *pack) object(bases *recent[spot], offset, limit int64) (kind string, data []byte, err error) {
	z := inflaters.Get().(*inflater)
	defer inflaters.Put(z)
	// Up from one to the next that it differs from, and down again.
	type step struct {
		offset int64
		delta  []byte
	}
	var steps []step
	var base part
	var shared bool
	for room := limit; ; {
		if base, shared = bases.get(spot{p, offset}); shared {
			break
		}
		e, err := p.entry(z, offset)
		if err != nil {
			return "", nil, err
		}
		if room -= e.size; room < 0 || len(steps) > mostDeep {
			return "", nil, errOddObject
		}
		data, err := z.all(e.size)
		if err != nil {
			return "", nil, err
		}
		if e.kind != "" {
			base = part{e.kind, e.size, data, 0}
			shared = bases.put(spot{p, offset}, base)
			break
		}
		steps = append(steps, step{offset, data})
		offset = e.base
	}
	passing := len(steps) > 1 && len(base.data) > largeBase && p.larges.Add(1) <= fewLarge
	var spare [2][]byte // what was made last, and room for the next
	for len(steps) > 0 {
		last := steps[len(steps)-1]
		steps = steps[:len(steps)-1]
		room := newBytes
		if passing = passing && len(steps) > 0; passing {
			room = func(n int64) []byte {
				if int64(cap(spare[1])) >= n {
					return spare[1][:n]
				}
				return newBytes(n)
			}
		}
		made, err := applyDelta(base.data, last.delta, limit, room)
		if err != nil {
			return "", nil, err
		}
		base = part{base.kind, int64(len(made)), made, 0}
		if passing {
			spare[0], spare[1] = made, spare[0]
		} else {
			shared = bases.put(spot{p, last.offset}, base)
		}
	}
	if base.size > limit {
		return "", nil, errOddObject
	}
	if shared { // whoever asked may write into what it gets
		base.data = bytes.Clone(base.data)
	}
	return base.kind, base.data, nil
}

var errDelta = errors.New("a difference between objects is not as git writes it")

// A delta is a difference in the form of packs: the sizes of both objects, then pieces to copy from the one and bytes to insert.
type delta struct {
	rest             []byte
	oldSize, newSize int64
}

func readDelta(data []byte) (d delta, err error) {
	d.rest = data
	if d.oldSize, err = d.number(); err == nil {
		d.newSize, err = d.number()
	}
	return d, err
}

// number reads a size, seven bits at a time with the lowest first.
func (d *delta) number() (n int64, err error) {
	for shift := 0; shift < 49 && shift/7 < len(d.rest); shift += 7 {
		c := d.rest[shift/7]
		n |= int64(c&0x7f) << shift
		if c&0x80 == 0 {
			d.rest = d.rest[shift/7+1:]
			return n, nil
		}
	}
	return 0, errDelta
}

// next is the next piece: bytes to insert, or nil and what to copy.
func (d *delta) next() (insert []byte, from, n int64, err error) {
	if len(d.rest) == 0 {
		return nil, 0, 0, errDelta
	}
	code := d.rest[0]
	d.rest = d.rest[1:]
	if code&0x80 == 0 {
		n := int(code)
		if n == 0 || n > len(d.rest) {
			return nil, 0, 0, errDelta
		}
		insert, d.rest = d.rest[:n], d.rest[n:]
		return insert, 0, 0, nil
	}
	for i := range 7 { // four bytes of the place, three of the size, of which zeros are left out
		if code>>i&1 == 0 {
			continue
		}
		if len(d.rest) == 0 {
			return nil, 0, 0, errDelta
		}
		b := int64(d.rest[0])
		d.rest = d.rest[1:]
		if i < 4 {
			from |= b << (8 * i)
		} else {
			n |= b << (8 * (i - 4))
		}
	}
	if n == 0 {
		n = 1 << 16
	}
	return nil, from, n, nil
}

func newBytes(n int64) []byte { return make([]byte, n) }

// applyDelta makes an object of no more than limit bytes out of another one and the difference, in the room that it is given.
func applyDelta(base, difference []byte, limit int64, room func(int64) []byte) ([]byte, error) {
	d, err := readDelta(difference)
	if err != nil || d.oldSize != int64(len(base)) || d.newSize > limit {
		return nil, errDelta
	}
	// A piece makes 2^24-1 bytes at most: nothing is taken for an object that cannot be made.
	if d.newSize>>24 > int64(len(d.rest)) {
		return nil, errDelta
	}
	out := room(d.newSize)[:0]
	for len(d.rest) > 0 {
		insert, from, n, err := d.next()
		if err != nil {
			return nil, err
		}
		if insert == nil {
			if from+n > int64(len(base)) {
				return nil, errDelta
			}
			insert = base[from : from+n]
		}
		if int64(len(out)+len(insert)) > d.newSize {
			return nil, errDelta
		}
		out = append(out, insert...)
	}
	if int64(len(out)) != d.newSize {
		return nil, errDelta
	}
	return out, nil
}

// head reads the first n bytes of an object, or all that it has. One that is told by its difference from another is not made for that: the
// difference says where in the other one the bytes are, most often at its beginning too. Where they are gathered from everywhere, time after
// time, it gives up: to make the whole object is quicker then, and whoever pushed it may have meant it so.
func (p *pack) head(c *headCache, offset int64, n int) (part, error) {
	return (&heading{p, c, mostEffort}).head(offset, n, 0)
}

// A heading is one beginning that is being read.
type heading struct {
	*pack
	c    *headCache
	left int // of mostEffort
}

// spend is an error where no more may be done.
func (h *heading) spend(n int) error {
	if h.left -= n; h.left < 0 {
		return errOddObject
	}
	return nil
}

func (h *heading) head(offset int64, n, deep int) (part, error) {
	c, at := h.c, spot{h.pack, offset}
	known, ok := c.heads.get(at)
	if ok && int64(len(known.data)) >= min(int64(n), known.size) {
		return known, nil
	}
	u, err := h.unpacked(offset)
	if err != nil || deep > mostDeep {
		return part{}, errors.Join(errOddObject, err)
	}
	if u.kind != "" {
		head := part{u.kind, u.size, u.data[:min(n, len(u.data))], 0}
		c.heads.put(at, head)
		return head, nil
	}
	base, err := h.head(u.base, n, deep+1)
	if err != nil {
		return part{}, err
	}
	d, err := readDelta(u.data)
	if err != nil || d.oldSize != base.size {
		return part{}, errDelta
	}
	head := part{base.kind, d.newSize, []byte{}, 0}
	for want := min(int64(n), d.newSize); int64(len(head.data)) < want; {
		insert, from, count, err := d.next()
		if err = cmp.Or(err, h.spend(1)); err != nil {
			return part{}, err
		}
		room := want - int64(len(head.data))
		switch count = min(count, room); {
		case insert == nil && from+count > int64(len(base.data)):
			if head.data, err = h.piece(head.data, u.base, from, from+count, deep+1); err != nil {
				return part{}, err
			}
			continue
		case insert == nil:
			insert = base.data[from : from+count]
		default:
			insert = insert[:min(int64(len(insert)), room)]
		}
		if len(head.data) == 0 {
			head.data = insert[:len(insert):len(insert)] // shared by all that begin alike
		} else {
			head.data = append(head.data, insert...)
		}
	}
	c.heads.put(at, head)
	return head, nil
}

// copies reports whether an object is told by its difference from the one at a base, and begins with a copy of the first n bytes of that.
func (p *pack) copies(c *headCache, offset, base, n int64) bool {
	u, err := (&heading{p, c, mostEffort}).unpacked(offset)
	if err != nil || u.kind != "" || u.base != base {
		return false
	}
	d, err := readDelta(u.data)
	if err != nil {
		return false
	}
	insert, from, count, err := d.next()
	return err == nil && insert == nil && from == 0 && count >= n
}

// piece adds some bytes of an object to others.
func (h *heading) piece(to []byte, offset, from, end int64, deep int) ([]byte, error) {
	if known, ok := h.c.heads.get(spot{h.pack, offset}); ok && end <= int64(len(known.data)) {
		return append(to, known.data[from:end]...), nil
	}
	u, err := h.unpacked(offset)
	if err != nil || deep > mostDeep {
		return nil, errors.Join(errOddObject, err)
	}
	if u.kind != "" {
		if end > int64(len(u.data)) {
			return nil, errOddObject
		}
		return append(to, u.data[from:end]...), nil
	}
	d, err := readDelta(u.data)
	if err != nil || end > d.newSize {
		return nil, errors.Join(errDelta, err)
	}
	for at := int64(0); at < end; {
		insert, old, n, err := d.next()
		if err = cmp.Or(err, h.spend(1)); err != nil {
			return nil, err
		}
		if insert != nil {
			n = int64(len(insert))
		}
		first, last := max(from-at, 0), min(end-at, n) // of these
		if at += n; first >= last {
			continue
		}
		if insert != nil {
			to = append(to, insert[first:last]...)
		} else if to, err = h.piece(to, u.base, old+first, old+last, deep+1); err != nil {
			return nil, err
		}
	}
	return to, nil
}

// unpackedAt unpacks the entry at a place.
func (p *pack) unpackedAt(offset int64) ([]byte, error) {
	z := inflaters.Get().(*inflater)
	defer inflaters.Put(z)
	e, err := p.entry(z, offset)
	if err != nil {
		return nil, err
	}
	return z.all(e.size)
}

// unpacked is what an entry holds: an object, or a difference from the one at its base.
func (h *heading) unpacked(offset int64) (part, error) {
	c, at := h.c, spot{h.pack, offset}
	if known, ok := c.packed.get(at); ok {
		return known, nil
	}
	z := inflaters.Get().(*inflater)
	defer inflaters.Put(z)
	e, err := h.entry(z, offset)
	if err != nil || e.size > mostPiece || h.spend(int(e.size/64)) != nil {
		return part{}, errors.Join(errOddObject, err)
	}
	data, err := z.all(e.size)
	if err != nil {
		return part{}, err
	}
	u := part{e.kind, e.size, data, e.base}
	c.packed.put(at, u)
	return u, nil
}
