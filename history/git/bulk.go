package git

import (
	"bytes"
	"cmp"
	"compress/flate"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"io"
	"slices"
	"sync/atomic"
)

// A bulk reads very many objects of packs, as one walk through a long history needs them: pieces of the packs are held in memory, and
// whatever was made on the way to one object is at hand for the next. It belongs to one goroutine; several share the store. What cannot be had
// in this way is read by the store, and what that cannot read is an error: whoever walks then leaves the walk to git.
type bulk struct {
	*store
	in    bytes.Reader
	out   io.ReadCloser
	cells map[spot]*cell
	old   map[spot]*cell // those before the last of mostCells bytes
	size  int            // of the former
	room  []byte         // from which small objects are cut
	steps []bulkStep
	proof *prover
	gone  cell // see passing
}

// A cell is what is known of an object.
type cell struct {
	kind   string
	data   []byte // nil where only the beginning was read
	proven bool   // its id is that of its content
	listed bool   // it is a tree as git makes it

	head []byte // its first bytes, shared by all that begin alike
	all  int64  // how large it is, where the head is known
}

type bulkStep struct {
	offset int64
	delta  []byte
}

const (
	mostCells = 8 << 20
	roomSize  = 64 << 10
	pageSize  = 256 << 10
	pageAhead = 64 << 10 // what of the next page a page holds, too: an object that begins in it is whole there, or large
	mostPages = 128      // of one pack that are held
)

func (s *store) newBulk() *bulk {
	b := &bulk{store: s, cells: map[spot]*cell{}, proof: newProver(s.idLen)}
	b.out = flate.NewReader(&b.in)
	return b
}

// pages are pieces of a pack.
type pages struct {
	at   []atomic.Pointer[[]byte]
	held atomic.Int64
}

// page returns what of a pack begins at an offset, as far as it is at hand: at least as much as an object takes that is not large.
func (p *pack) page(offset int64) ([]byte, error) {
	end := p.data.Size() - int64(p.idLen)
	if offset < packStart || offset >= end {
		return nil, errOddObject
	}
	all := p.pages.Load()
	if all == nil || all.held.Load() >= mostPages {
		all = &pages{at: make([]atomic.Pointer[[]byte], end/pageSize+1)}
		p.pages.Store(all)
	}
	slot, from := &all.at[offset/pageSize], offset/pageSize*pageSize
	page := slot.Load()
	if page == nil {
		data := make([]byte, min(pageSize+pageAhead, end-from))
		if _, err := p.data.ReadAt(data, from); err != nil {
			return nil, err
		}
		page = &data
		slot.Store(page)
		all.held.Add(1)
	}
	return (*page)[offset-from:], nil
}

// packed reads how an entry of a pack begins, and gives what is packed after that.
func (b *bulk) packed(p *pack, offset int64) (e entry, packed []byte, err error) {
	if !p.openData() {
		return e, nil, errOddObject
	}
	data, err := p.page(offset)
	if err != nil {
		return e, nil, err
	}
	b.in.Reset(data)
	if e, err = p.entryIn(&b.in, offset); err != nil {
		return e, nil, err
	}
	// The two bytes in which zlib says how it packed.
	at := len(data) - b.in.Len() + 2
	if at > len(data) || data[at-2]&15 != 8 || binary.BigEndian.Uint16(data[at-2:])%31 != 0 || data[at-1]&0x20 != 0 {
		return e, nil, errOddObject
	}
	return e, data[at:], nil
}

// unpack gives the first n bytes of what is packed. The checksum after it is not looked at: an object is held against its id.
func (b *bulk) unpack(packed []byte, n int64) ([]byte, error) {
	if n/mostRatio > int64(len(packed)) {
		return nil, errOddObject
	}
	data := b.take(n)
	return data, b.unpackTo(packed, data)
}

func (b *bulk) unpackTo(packed, data []byte) error {
	b.in.Reset(packed)
	if err := b.out.(flate.Resetter).Reset(&b.in, nil); err != nil {
		return err
	}
	_, err := io.ReadFull(b.out, data)
	return err
}

// take is n bytes to write into.
func (b *bulk) take(n int64) []byte {
	if n > roomSize/8 {
		return make([]byte, n)
	}
	if int64(len(b.room)) < n {
		b.room = make([]byte, roomSize)
	}
	data := b.room[:n:n]
	b.room = b.room[n:]
	return data
}

// cell is what is known of the object at a place.
func (b *bulk) cell(at spot) *cell {
	c := b.cells[at]
	if c == nil {
		if c = b.old[at]; c != nil {
			b.keep(at, c)
		}
	}
	return c
}

// keep notes what is known of an object.
func (b *bulk) keep(at spot, c *cell) {
	if b.size += len(c.data) + 128; b.size > mostCells {
		b.cells, b.old, b.size = map[spot]*cell{}, b.cells, len(c.data)+128
	}
	b.cells[at] = c
}

// filled is a cell with all of its object. It is not proven to be what any id stands for.
func (b *bulk) filled(p *pack, offset int64) (*cell, error) {
	steps := b.steps[:0]
	defer func() { b.steps = steps[:0] }()
	var base *cell
	for room := int64(MaxBlob); ; {
		if base = b.cell(spot{p, offset}); base != nil && base.data != nil {
			break
		}
		e, packed, err := b.packed(p, offset)
		if room -= e.size; err != nil || room < 0 || len(steps) > mostDeep {
			return nil, errors.Join(errOddObject, err)
		}
		data, err := b.unpack(packed, e.size)
		if err == io.EOF || err == io.ErrUnexpectedEOF { // more than is at hand of the pack
			data, err = p.unpackedAt(offset)
		}
		if err != nil {
			return nil, err
		}
		if e.kind != "" {
			base = b.fill(spot{p, offset}, e.kind, data)
			break
		}
		steps = append(steps, bulkStep{offset, data})
		offset = e.base
	}
	for len(steps) > 0 {
		last := steps[len(steps)-1]
		steps = steps[:len(steps)-1]
		made, err := applyDelta(base.data, last.delta, MaxBlob, b.take)
		if err != nil {
			return nil, err
		}
		base = b.fill(spot{p, last.offset}, base.kind, made)
	}
	return base, nil
}

func (b *bulk) fill(at spot, kind string, data []byte) *cell {
	c := b.cell(at)
	if c == nil {
		c = &cell{kind: kind, data: data}
		b.keep(at, c)
		return c
	}
	b.size += len(data)
	c.kind, c.data = kind, data
	return c
}

// object reads a whole object by its id, which is held against its content. It must not be changed.
func (b *bulk) object(id []byte) (*cell, error) {
	if p, offset := b.find(id); p != nil {
		c, err := b.filled(p, offset)
		if err == nil && (c.proven || b.proof.proves(id, c.kind, c.data)) {
			c.proven = true
			return c, nil
		}
	}
	found, ok := b.store.object(hex.EncodeToString(id), MaxBlob)
	if !ok {
		return nil, errOddObject
	}
	return &cell{kind: found.kind, data: found.data, proven: true}, nil
}

// passing is [bulk.object] of what is looked at once: it is gone with the next one.
func (b *bulk) passing(id []byte) (*cell, error) {
	if p, offset := b.find(id); p != nil {
		e, packed, err := b.packed(p, offset)
		if err == nil && e.kind != "" && e.size <= roomSize {
			b.gone.kind, b.gone.data = e.kind, append(b.gone.data[:0], make([]byte, e.size)...)
			if b.unpackTo(packed, b.gone.data) == nil && b.proof.proves(id, b.gone.kind, b.gone.data) {
				return &b.gone, nil
			}
		}
	}
	return b.object(id)
}

// fewHeads are read one after another.
const fewHeads = 64

// headsAtOnce reads the beginnings of many objects on all processors; nil stands for one that cannot be had. Those that stand together in a
// pack are told by what differs between them, so they are read by one.
func (s *store) headsAtOnce(hashes []string, n int64) []*object {
	type place struct {
		i      int
		pack   *pack
		offset int64
	}
	places := make([]place, len(hashes))
	number := map[*pack]int{nil: 0}
	for i, hash := range hashes {
		p, offset := s.find(rawOf(hash))
		places[i] = place{i, p, offset}
		if _, known := number[p]; !known {
			number[p] = len(number)
		}
	}
	slices.SortFunc(places, func(a, b place) int { return cmp.Or(number[a.pack]-number[b.pack], cmp.Compare(a.offset, b.offset)) })
	out := make([]*object, len(hashes))
	const inRow = 1024
	rows := slices.Collect(slices.Chunk(places, inRow))
	s.inParallel(len(rows), func(b *bulk, row int) bool {
		for _, at := range rows[row] {
			if at.pack == nil {
				if found, ok := s.head(hashes[at.i], int(n)); ok {
					out[at.i] = &found
				}
			} else if c, err := b.headOf(at.pack, at.offset, n, 0); err == nil && c.all <= MaxBlob {
				out[at.i] = &object{hashes[at.i], c.kind, c.all, c.head[:min(n, int64(len(c.head)))]}
			}
		}
		return true
	})
	return out
}

// headOf reads the beginning of an object. What differs from another one most often begins as that one does, and says so at its own beginning.
func (b *bulk) headOf(p *pack, offset, n int64, deep int) (*cell, error) {
	at := spot{p, offset}
	c := b.cell(at)
	if c != nil && c.head != nil && int64(len(c.head)) >= min(n, c.all) {
		return c, nil
	}
	e, packed, err := b.packed(p, offset)
	if err != nil || deep > mostDeep {
		return nil, errors.Join(errOddObject, err)
	}
	if c == nil {
		c = &cell{}
		b.keep(at, c)
	}
	if e.kind != "" {
		if c.head, err = b.unpack(packed, min(n, e.size)); err == nil {
			c.kind, c.all = e.kind, e.size
			return c, nil
		}
	} else {
		base, err := b.headOf(p, e.base, n, deep+1)
		if err != nil {
			return nil, err
		}
		if c.head, c.all, err = b.headByBase(base, packed, e.size, n); err == nil {
			c.kind = base.kind
			return c, nil
		}
	}
	c.head = nil
	part, err := p.head(&b.heads, offset, int(n))
	if err != nil {
		return nil, err
	}
	c.kind, c.head, c.all = part.kind, part.data, part.size
	return c, nil
}

// headByBase makes the beginning of an object, and how large it is, out of the beginning of the one that it differs from. It fails where it
// needs more.
func (b *bulk) headByBase(base *cell, packed []byte, size, n int64) ([]byte, int64, error) {
	const few = 48 // bytes of a difference that most often say how an object begins
	data, err := b.unpack(packed, min(size, few))
	if err != nil {
		return nil, 0, err
	}
	d, err := readDelta(data)
	if err != nil || d.oldSize != base.all {
		return nil, 0, errDelta
	}
	var head []byte
	for want := min(n, d.newSize); int64(len(head)) < want; {
		insert, from, count, err := d.next()
		if err != nil {
			return nil, 0, err
		}
		room := want - int64(len(head))
		if insert == nil {
			if count = min(count, room); from+count > int64(len(base.head)) {
				return nil, 0, errDelta
			}
			insert = base.head[from : from+count]
		}
		insert = insert[:min(int64(len(insert)), room)]
		if len(head) == 0 {
			head = insert[:len(insert):len(insert)]
		} else {
			head = append(head, insert...)
		}
	}
	if head == nil {
		head = []byte{}
	}
	return head, d.newSize, nil
}
