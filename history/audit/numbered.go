package audit

import (
	"encoding/hex"
	"strings"

	"fettle/history"
)

// numbered are texts by number, in the order in which they were first met: what is kept names most of them many times.
type numbered struct {
	of   map[string]int
	list []string
}

func (n *numbered) number(text string) int {
	if i, known := n.of[text]; known {
		return i
	}
	if n.of == nil {
		n.of = map[string]int{}
	}
	n.of[text] = len(n.list)
	n.list = append(n.list, text)
	return len(n.list) - 1
}

// text is the text of a number that was read.
func (n *numbered) text(in *history.Decoder) string {
	i := in.Number()
	if i >= len(n.list) {
		in.Bad = true
		return ""
	}
	return n.list[i]
}

// encodeIDs writes texts that are ids of objects or digests, in hexadecimal and of one length, or "".
func (n *numbered) encodeIDs(e *history.Encoder) {
	var raw []byte
	size := 0
	for _, id := range n.list {
		if id != "" {
			size = len(id) / 2
		}
	}
	for _, id := range n.list {
		b, err := hex.DecodeString(id)
		if err != nil || len(b) != size {
			b = make([]byte, size) // "", which is no id of anything
		}
		raw = append(raw, b...)
	}
	e.Number(len(n.list))
	e.Bytes(raw)
}

func (n *numbered) decodeIDs(in *history.Decoder) {
	count, raw := in.Number(), in.Bytes()
	if count == 0 || in.Bad {
		return
	}
	size := len(raw) / count
	if size*count != len(raw) {
		in.Bad = true
		return
	}
	text, none := hex.EncodeToString(raw), strings.Repeat("0", 2*size)
	n.list = make([]string, count)
	for i := range n.list {
		if id := text[2*size*i : 2*size*(i+1)]; id != none {
			n.list[i] = id
		}
	}
}

// sealOf is what a kept file begins with: what another version of the program wrote is not read.
func sealOf(kind string) string { return "fettle " + kind + " 1\n" + history.IndexStamp() + "\n" }
