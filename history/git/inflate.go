package git

import (
	"bufio"
	"compress/zlib"
	"errors"
	"io"
	"sync"
)

// An inflater unpacks pieces of files that hold objects. It is used again for the next piece.
type inflater struct {
	piece *io.SectionReader
	in    *bufio.Reader
	out   io.ReadCloser // nil until the first use
}

var inflaters = sync.Pool{New: func() any { return &inflater{in: bufio.NewReaderSize(nil, 4<<10)} }}

// at begins at a place of a file.
func (z *inflater) at(file *io.SectionReader, from, to int64) {
	z.piece = io.NewSectionReader(file, from, to-from)
	z.in.Reset(z.piece)
}

// open begins with what is packed from here on.
func (z *inflater) open() (err error) {
	if z.out == nil {
		z.out, err = zlib.NewReader(z.in)
		return err
	}
	return z.out.(zlib.Resetter).Reset(z.in, nil)
}

var errOddObject = errors.New("an object is not as git writes it")

// mostRatio is how often its own size a piece can unpack to, and a little more; zlib reaches 1032.
const mostRatio = 1040

// first unpacks the first bytes of what follows.
func (z *inflater) first(n int64) ([]byte, error) {
	if n/mostRatio > z.piece.Size() { // nothing is taken for an object that cannot be there
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
