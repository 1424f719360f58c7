package history

import "encoding/binary"

// An Encoder writes texts and numbers one after another, for files that only this program reads.
type Encoder struct{ Data []byte }

// Number writes a number that is not negative.
func (e *Encoder) Number(n int) { e.Data = binary.AppendUvarint(e.Data, uint64(n)) }

// Bytes writes bytes with their length.
func (e *Encoder) Bytes(b []byte) { e.Number(len(b)); e.Data = append(e.Data, b...) }

// Text is Bytes of a string.
func (e *Encoder) Text(s string) { e.Number(len(s)); e.Data = append(e.Data, s...) }

// Texts writes strings with their number.
func (e *Encoder) Texts(list []string) {
	e.Number(len(list))
	for _, s := range list {
		e.Text(s)
	}
}

// A Decoder reads what an [Encoder] wrote. Bad says that something else stands there; all that is read from then on is empty.
type Decoder struct {
	Data []byte
	Bad  bool
}

func (d *Decoder) spoil() { d.Bad, d.Data = true, nil }

// Number reads a number.
func (d *Decoder) Number() int {
	n, size := binary.Uvarint(d.Data)
	if size <= 0 || n > 1<<31 {
		d.spoil()
		return 0
	}
	d.Data = d.Data[size:]
	return int(n)
}

// Bytes reads bytes with their length.
func (d *Decoder) Bytes() []byte { return d.Take(d.Number()) }

// Take reads n bytes.
func (d *Decoder) Take(n int) []byte {
	if n > len(d.Data) {
		d.spoil()
		return nil
	}
	out := d.Data[:n:n]
	d.Data = d.Data[n:]
	return out
}

// Text is Bytes as a string.
func (d *Decoder) Text() string { return string(d.Bytes()) }

// Texts reads strings with their number.
func (d *Decoder) Texts() []string {
	var out []string
	for n := d.Number(); n > 0 && !d.Bad; n-- {
		out = append(out, d.Text())
	}
	return out
}
