package schema

import (
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"

	"github.com/go-json-experiment/json/jsontext"

	"fettle/schema/quantity"
)

// A scanner reads strict JSON in one pass into nodes of its own, which the next file that it reads takes again: no allocation per
// token. It takes good files only. Of any other, also one with a name twice, it says no more than that, and [parse] reads it again,
// slower, and says what is wrong where. A test holds the two to one answer on whatever a fuzzer comes up with.
type scanner struct {
	text  string
	at    int
	nodes slabs[Node]
	lists slabs[*Node]
	open  []*Node // members and items of what is not closed yet

	lately    [64]quantity.Value // see problems.last
	canonical []byte             // room for the canonical form of a file
	spare     *Sparing           // what is read now is held for long; nil where it is not
}

var scanners = sync.Pool{New: func() any {
	return &scanner{nodes: slabs[Node]{size: slabSize}, lists: slabs[*Node]{size: slabSize}}
}}

// slabs hands out pieces of large blocks, and all of them anew after reset.
type slabs[T any] struct {
	blocks [][]T
	block  int // the one that pieces are taken of
	used   int // of it
	size   int // of a new block
}

// slabSize is how many nodes a block of a scanner holds that reads many files.
const slabSize = 512

func (s *slabs[T]) take(n int) []T {
	for ; s.block < len(s.blocks); s.block, s.used = s.block+1, 0 {
		if block := s.blocks[s.block]; len(block)-s.used >= n {
			s.used += n
			return block[s.used-n : s.used : s.used]
		}
	}
	s.blocks = append(s.blocks, make([]T, max(n, s.size, slabSize/16)))
	s.used = n
	return s.blocks[s.block][:n:n]
}

func (s *slabs[T]) reset() { s.block, s.used = 0, 0 }

// scan reads a file; nil where anything is wrong with it. The nodes are good until the next call.
func (s *scanner) scan(text string) *Node {
	s.text, s.at, s.open = text, 0, s.open[:0]
	s.nodes.reset()
	s.lists.reset()
	if len(text) > MaxFileSize || !utf8.ValidString(text) {
		return nil
	}
	n := s.value(1)
	if n == nil || s.peek() != 0 || s.at < len(text) {
		return nil
	}
	return n
}

// scan reads a file into a tree that lasts; nil where anything is wrong with it.
func scan(data []byte) *Node {
	const bytesPerNode = 24 // of a file in the house layout
	size := min(slabSize, 8+len(data)/bytesPerNode)
	s := &scanner{nodes: slabs[Node]{size: size}, lists: slabs[*Node]{size: size}}
	return s.scan(string(data))
}

func itemsOf(list *Node) []Span {
	if list == nil {
		return nil
	}
	out := make([]Span, len(list.Kids))
	for i, kid := range list.Kids {
		out[i] = kid.At
	}
	return out
}

// release gives the scanner back when nothing points to its nodes any more. Those of a huge file are not kept.
func (s *scanner) release() {
	s.spare = nil
	const most = 64 // blocks
	if len(s.nodes.blocks) > most || len(s.lists.blocks) > most || cap(s.open) > most*slabSize {
		return
	}
	if cap(s.canonical) > MaxFileSize/most {
		s.canonical = nil
	}
	s.text = ""
	clear(s.lately[:])
	scanners.Put(s)
}

// peek is the next byte that is no white space, 0 at the end; a zero byte in the file is no JSON anyway.
func (s *scanner) peek() byte {
	for ; s.at < len(s.text); s.at++ {
		switch c := s.text[s.at]; c {
		case ' ', '\n', '\r', '\t':
		default:
			return c
		}
	}
	return 0
}

func (s *scanner) value(depth int) *Node {
	kind := Kind(s.peek())
	n := &s.nodes.take(1)[0]
	*n = Node{Kind: kind, At: Span{Start: s.at}}
	ok := false
	switch kind {
	case Object, Array:
		ok = depth <= MaxDepth && s.container(n, depth)
	case String:
		n.Text, ok = s.quoted()
	case True:
		ok = s.word("true")
	case False:
		ok = s.word("false")
	case Null:
		ok = s.word("null")
	default:
		n.Kind = Digits
		n.Text, ok = s.number()
	}
	if !ok {
		return nil
	}
	n.At.End = s.at
	return n
}

func (s *scanner) word(w string) bool {
	ok := strings.HasPrefix(s.text[s.at:], w)
	s.at += len(w)
	return ok
}

func (s *scanner) container(n *Node, depth int) bool {
	closing := byte(n.Kind) + 2 // } is { + 2, ] is [ + 2
	first := len(s.open)
	s.at++
	for next := s.peek(); next != closing; {
		var key string
		var keyAt Span
		if n.Kind == Object {
			if next != '"' {
				return false
			}
			keyAt.Start = s.at
			ok := false
			if key, ok = s.quoted(); !ok {
				return false
			}
			if keyAt.End = s.at; s.peek() != ':' {
				return false
			}
			s.at++
		}
		kid := s.value(depth + 1)
		if kid == nil {
			return false
		}
		kid.Key, kid.KeyAt = key, keyAt
		s.open = append(s.open, kid)
		if next = s.peek(); next == ',' {
			s.at++
			if next = s.peek(); next == closing {
				return false
			}
		} else if next != closing {
			return false
		}
	}
	s.at++
	kids := s.open[first:]
	if n.Kind == Object && repeated(kids) {
		return false
	}
	if len(kids) > 0 {
		n.Kids = s.lists.take(len(kids))
		copy(n.Kids, kids)
	}
	s.open = s.open[:first]
	return true
}

// repeated reports whether two members have one name.
func repeated(kids []*Node) bool {
	const few = 16
	if len(kids) <= few {
		var marks uint64 // of names so far: another with the same mark is compared with all
		for i, kid := range kids {
			mark := uint64(1) << (len(kid.Key) & 63)
			if len(kid.Key) > 0 {
				mark = 1 << ((len(kid.Key)*5 + int(kid.Key[0])*3 + int(kid.Key[len(kid.Key)-1])) & 63)
			}
			if marks&mark != 0 {
				for _, other := range kids[:i] {
					if kid.Key == other.Key {
						return true
					}
				}
			}
			marks |= mark
		}
		return false
	}
	names := make(map[string]bool, len(kids))
	for _, kid := range kids {
		if names[kid.Key] {
			return true
		}
		names[kid.Key] = true
	}
	return false
}

// quoted reads a string.
func (s *scanner) quoted() (string, bool) {
	start, escaped := s.at, false
	for s.at++; s.at < len(s.text); s.at++ {
		switch c := s.text[s.at]; {
		case c == '"':
			s.at++
			if !escaped {
				return s.text[start+1 : s.at-1], true
			}
			plain, err := jsontext.AppendUnquote(nil, s.text[start:s.at])
			return string(plain), err == nil
		case c == '\\':
			escaped = true
			s.at++
		case c < ' ':
			return "", false
		}
	}
	return "", false
}

// number reads a number as RFC 8259 §6 writes it.
func (s *scanner) number() (string, bool) {
	start := s.at
	digits := func() bool {
		from := s.at
		for s.at < len(s.text) && '0' <= s.text[s.at] && s.text[s.at] <= '9' {
			s.at++
		}
		return s.at > from
	}
	is := func(set string) bool {
		ok := s.at < len(s.text) && strings.IndexByte(set, s.text[s.at]) >= 0
		if ok {
			s.at++
		}
		return ok
	}
	is("-")
	if !is("0") && !digits() {
		return "", false
	}
	if is(".") && !digits() {
		return "", false
	}
	large := is("eE")
	if large {
		if is("+-"); !digits() {
			return "", false
		}
	}
	text := s.text[start:s.at]
	if large || len(text) > 300 {
		if _, err := strconv.ParseFloat(text, 64); err != nil {
			return "", false
		}
	}
	return text, true
}

// copied is a tree that lasts.
func copied(n *Node) *Node {
	nodes, kids := 0, 0
	var count func(*Node)
	count = func(n *Node) {
		nodes++
		kids += len(n.Kids)
		for _, kid := range n.Kids {
			count(kid)
		}
	}
	count(n)
	slab, list := make([]Node, nodes), make([]*Node, kids)
	var put func(*Node) *Node
	put = func(n *Node) *Node {
		out := &slab[0]
		*out, slab = *n, slab[1:]
		out.Kids, list = list[:len(n.Kids):len(n.Kids)], list[len(n.Kids):]
		for i, kid := range n.Kids {
			out.Kids[i] = put(kid)
		}
		if len(n.Kids) == 0 {
			out.Kids = nil
		}
		return out
	}
	return put(n)
}
