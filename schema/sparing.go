package schema

import (
	"strings"
	"sync"
)

// Sparing reads records of which a whole history is held at once. They say what [ReadRecord] says and take a third of the room: texts that
// many have are held once, none holds on to its file, and the content that a decision keeps stays text until [Bind] reads it. It may be
// used by several goroutines.
type Sparing struct {
	mu    sync.Mutex
	texts map[string]string
}

// NewSparing knows no texts yet.
func NewSparing() *Sparing { return &Sparing{texts: map[string]string{}} }

// ReadRecord is [ReadRecord].
func (k *Sparing) ReadRecord(path string, data []byte) *Record {
	return readRecord(path, data, k, signed)
}

// own is a text that holds on to nothing else.
func (k *Sparing) own(text string) string {
	const long = 128 // what a person wrote, or a signature
	if k == nil || text == "" {
		return text
	}
	if len(text) > long {
		return strings.Clone(text)
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	known, ok := k.texts[text]
	if !ok {
		known = strings.Clone(text)
		k.texts[known] = known
	}
	return known
}

// packed is an object as text, without the white space between its parts, in place of its tree, which takes ten times the room. Its places
// count from its own beginning.
func packed(n *Node, file string) *Node {
	var b strings.Builder
	inside := false
	for i := n.At.Start; i < n.At.End; i++ {
		c := file[i]
		switch {
		case inside && c == '\\':
			b.WriteByte(c)
			i++
			c = file[i]
		case c == '"':
			inside = !inside
		case !inside && (c == ' ' || c == '\n' || c == '\r' || c == '\t'):
			continue
		}
		b.WriteByte(c)
	}
	return &Node{Kind: n.Kind, At: n.At, Text: strings.Clone(b.String())}
}

// unpacked is the tree of a node, which is the node itself where it was not packed.
func unpacked(n *Node) *Node {
	if n == nil || n.Kind != Object || n.Text == "" {
		return n
	}
	tree := scan([]byte(n.Text))
	if tree == nil {
		return n // cannot be: it was read before
	}
	return tree
}
