package git

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"io"
	"os"
)

// indexTree is the tree that a commit of the index makes, as git notes it there before it calls a hook, and takes it from there after that. It
// is "" where git has to be asked: nothing is noted, or the index is of a form in which it does not say all. The form is that of
// Documentation/gitformat-index of git. Of a large index only a little is held at a time.
func (r *Repo) indexTree() string {
	f, err := os.Open(r.IndexFile())
	if err != nil {
		return ""
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return ""
	}
	in := &indexReader{in: bufio.NewReaderSize(f, 64<<10), left: info.Size(), idLen: r.shared.hashLen / 2}
	header := in.take(12)
	if len(header) == 0 || string(header[:4]) != "DIRC" {
		return ""
	}
	version, count := binary.BigEndian.Uint32(header[4:]), binary.BigEndian.Uint32(header[8:])
	if version < 2 || version > 4 {
		return ""
	}
	for range count {
		if !in.entry(version) {
			return ""
		}
	}
	return in.tree(int(count))
}

// indexReader reads an index from its beginning.
type indexReader struct {
	in    *bufio.Reader
	left  int64 // bytes that were not read yet
	idLen int
}

// take returns the next bytes, good until more are read; none where there are not so many.
func (x *indexReader) take(n int) []byte {
	data, err := x.in.Peek(n)
	if err != nil || !x.skip(n) {
		return nil
	}
	return data
}

func (x *indexReader) skip(n int) bool {
	skipped, err := x.in.Discard(n)
	x.left -= int64(skipped)
	return err == nil
}

// entry passes one file. It is false at one that a commit does not save as it stands: a conflict, one that is only announced, or a whole
// directory.
func (x *indexReader) entry(version uint32) bool {
	size := 40 + x.idLen + 2
	fixed := x.take(size)
	if len(fixed) == 0 || binary.BigEndian.Uint32(fixed[24:])>>12 == 4 {
		return false
	}
	flags := binary.BigEndian.Uint16(fixed[size-2:])
	if flags&stageBits != 0 {
		return false
	}
	if flags&isExtended != 0 {
		more := x.take(2)
		if size += 2; len(more) == 0 || binary.BigEndian.Uint16(more)&announced != 0 {
			return false
		}
	}
	const longName = 1<<12 - 1
	length := int(flags & longName)
	switch {
	case length == longName:
		return false
	case version < 4: // NULs fill it up to a multiple of eight
		return x.skip((size+length+8)/8*8 - size)
	}
	for { // how much the path shares with the one before, then the rest of it
		b := x.take(1)
		if len(b) == 0 {
			return false
		}
		if b[0]&0x80 == 0 {
			break
		}
	}
	rest, err := x.in.ReadSlice(0)
	x.left -= int64(len(rest))
	return err == nil
}

// tree finds the tree of all files among what follows them.
func (x *indexReader) tree(count int) (tree string) {
	for x.left > int64(x.idLen) {
		head := x.take(8)
		if len(head) == 0 {
			return ""
		}
		name, size := string(head[:4]), int64(binary.BigEndian.Uint32(head[4:]))
		if name[0] < 'A' || name[0] > 'Z' || size > x.left-int64(x.idLen) { // it has to be understood, and is not: a split or sparse index
			return ""
		}
		if name == "TREE" {
			root, err := x.in.Peek(int(min(size, 64)))
			line := bytes.IndexByte(root, '\n')
			var files, below int
			if err != nil || line < 1 || root[0] != 0 || len(root) < line+1+x.idLen || !twoNumbers(root[1:line], &files, &below) || files != count {
				return ""
			}
			tree = hex.EncodeToString(root[line+1 : line+1+x.idLen])
		}
		if _, err := io.CopyN(io.Discard, x.in, size); err != nil {
			return ""
		}
		x.left -= size
	}
	if x.left != int64(x.idLen) {
		return ""
	}
	return tree
}
