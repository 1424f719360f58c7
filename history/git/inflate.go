package git

import (
	"cmp"
	"compress/zlib"
	"errors"
	"io"
	"sync"
)

// An inflater unpacks pieces of files that hold objects. It is used again for the next piece.
type inflater struct {
	in  window
	out io.ReadCloser // nil until the first use
}

var inflaters = sync.Pool{New: func() any { return new(inflater) }}

// at begins at a place of a file.
func (z *inflater) at(file *io.SectionReader, from, to int64) { z.in.move(file, from, to) }

// open begins with what is packed from here on.
func (z *inflater) open() (err error) {
	if z.out == nil {
		z.out, err = zlib.NewReader(&z.in)
		return err
	}
	return z.out.(zlib.Resetter).Reset(&z.in, nil)
}

// A window reads a piece of a file, some of it at a time. The next piece is often near: then it is there already.
type window struct {
	file *io.SectionReader
	from int64 // where in the file the part begins that is held
	held int   // bytes
	next int   // of these, the one to read
	end  int64 // of the piece
	room [8 << 10]byte
}

func (w *window) move(file *io.SectionReader, from, end int64) {
	if at := from - w.from; file == w.file && end == w.end && at >= 0 && at < int64(w.held) {
		w.next = int(at)
		return
	}
	w.file, w.from, w.held, w.next, w.end = file, from, 0, 0, end
}

// left is how many bytes of the piece are to come.
func (w *window) left() int64 { return w.end - w.from - int64(w.next) }

// fill reads on, behind what is held.
func (w *window) fill() error {
	from := w.from + int64(w.held)
	n, err := w.file.ReadAt(w.room[:max(0, min(int64(len(w.room)), w.end-from))], from)
	if n == 0 {
		return cmp.Or(err, io.EOF)
	}
	w.from, w.held, w.next = from, n, 0
	return nil
}

func (w *window) ReadByte() (byte, error) {
	if w.next == w.held {
		if err := w.fill(); err != nil {
			return 0, err
		}
	}
	w.next++
	return w.room[w.next-1], nil
}

func (w *window) Read(to []byte) (int, error) {
	if w.next == w.held && len(to) > 0 {
		if err := w.fill(); err != nil {
			return 0, err
		}
	}
	n := copy(to, w.room[w.next:w.held])
	w.next += n
	return n, nil
}

var errOddObject = errors.New("an object is not as git writes it")

// mostRatio is how often its own size a piece can unpack to, and a little more; zlib reaches 1032.
const mostRatio = 1040

// first unpacks the first bytes of what follows.
func (z *inflater) first(n int64) ([]byte, error) {
	if n/mostRatio > z.in.left() { // nothing is taken for an object that cannot be there
		return nil, errOddObject
	}
	if err := z.open(); err != nil {
		return nil, err
	}
	data := make([]byte, n)
	_, err := io.ReadFull(z.out, data)
	return data, err
}

// all unpacks what follows, which has to be as large as is said.
func (z *inflater) all(size int64) ([]byte, error) {
	data, err := z.first(size)
	if err == nil {
		err = z.end()
	}
	return data, err
}

// end makes sure that nothing more is packed, and that the checksum is right.
func (z *inflater) end() error {
	var more [1]byte
	if n, err := z.out.Read(more[:]); n > 0 || err != io.EOF {
		return errors.Join(errOddObject, err)
	}
	return nil
}
