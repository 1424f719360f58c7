package schema

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/go-json-experiment/json/jsontext"
)

// Limits of a file that [Parse] accepts. Real libraries stay far below; what is above is a mistake or an attack.
const (
	MaxFileSize = 64 << 20 // bytes
	MaxDepth    = 16       // nested objects and arrays
)

// A Span is where something stands in a file, in byte offsets, end excluded. The zero Span means "not in a file".
type Span struct{ Start, End int }

// IsZero reports whether s points nowhere.
func (s Span) IsZero() bool { return s == Span{} }

// Kind is the JSON kind of a [Node], as the first byte of its text: one of { [ " 0 t f n.
type Kind byte

// The kinds of JSON values.
const (
	Object Kind = '{'
	Array  Kind = '['
	String Kind = '"'
	Digits Kind = '0'
	True   Kind = 't'
	False  Kind = 'f'
	Null   Kind = 'n'
)

// Words names k for a message: "an object", "a string".
func (k Kind) Words() string {
	switch k {
	case Object:
		return "an object"
	case Array:
		return "a list"
	case String:
		return "a string"
	case Digits:
		return "a bare number"
	case True, False:
		return "true or false"
	case Null:
		return "null"
	}
	return "nothing"
}

// A Node is one JSON value with its place.
type Node struct {
	Kind  Kind
	Key   string // its name, where it is a member of an object
	KeyAt Span
	At    Span
	Text  string  // of a string: decoded; of a number: as written
	Kids  []*Node // members of an object or items of a list, in file order
	again bool    // a member whose name stood before in the same object; the first one counts
}

// Get returns the member name of an object, or nil.
func (n *Node) Get(name string) *Node {
	if n == nil || n.Kind != Object {
		return nil
	}
	for _, kid := range n.Kids {
		if kid.Key == name {
			return kid
		}
	}
	return nil
}

// Str returns the text of the string member name, or "".
func (n *Node) Str(name string) string {
	if kid := n.Get(name); kid != nil && kid.Kind == String {
		return kid.Text
	}
	return ""
}

// parser reads one file. Nodes come out of slabs so that a big set costs few allocations.
type parser struct {
	data []byte
	text string // the same bytes; strings without escapes are cut from it
	dec  *jsontext.Decoder
	slab []Node
	errs *problems
	// trail leads from the root to what is being read.
	trail []place
}

func (p *parser) node() *Node {
	if len(p.slab) == 0 {
		const bytesPerNode = 24 // of a file in the house layout
		p.slab = make([]Node, min(128, 8+(len(p.data)-int(p.dec.InputOffset()))/bytesPerNode))
	}
	n := &p.slab[0]
	p.slab = p.slab[1:]
	return n
}

// parse reads strict JSON (RFC 8259, with the duplicate-name rule of RFC 7493). It reports every duplicate key and goes on;
// a syntax error ends the reading, since nothing behind it can be trusted. The result is nil after a syntax error.
func parse(data []byte, errs *problems) *Node {
	syntax := func(at Span, message, help string) *Node {
		errs.add(RuleSyntax, at, "", message, help)
		return nil
	}
	switch {
	case len(data) > MaxFileSize:
		return syntax(Span{0, 1}, fmt.Sprintf("the file has %d bytes; at most %d are read", len(data), MaxFileSize), "Split the set into several files.")
	case bytes.HasPrefix(data, []byte("\xef\xbb\xbf")):
		return syntax(Span{0, 3}, "the file starts with a byte order mark", "Save it as UTF-8 without BOM, or run: fettle format")
	case bytes.HasPrefix(data, []byte("\xff\xfe")), bytes.HasPrefix(data, []byte("\xfe\xff")):
		return syntax(Span{0, 2}, "the file is UTF-16", "Save it as UTF-8.")
	case bytes.IndexByte(data, 0) >= 0:
		at := bytes.IndexByte(data, 0)
		return syntax(Span{at, at + 1}, "the file holds a zero byte: it is not a text file", "Was it saved by another program, or cut off?")
	case len(bytes.TrimSpace(data)) == 0:
		return syntax(Span{0, 0}, "the file is empty", "")
	}
	p := &parser{data: data, text: string(data), errs: errs}
	p.dec = jsontext.NewDecoder(bytes.NewBuffer(data), jsontext.AllowDuplicateNames(true))
	root, err := p.value(1)
	if err == nil {
		var rest error
		if _, rest = p.dec.ReadToken(); rest == nil {
			at := int(p.dec.InputOffset())
			return syntax(Span{at - 1, at}, "there is text after the end of the JSON value", "Keep one object in a file; delete what follows its last brace.")
		}
		if !errors.Is(rest, io.EOF) {
			err = rest
		}
	}
	if err != nil {
		at, message, help := p.explain(err)
		return syntax(at, message, help)
	}
	return root
}

var errTooDeep = errors.New("too deep")

func (p *parser) value(depth int) (*Node, error) {
	kind := p.dec.PeekKind()
	switch kind {
	case '{', '[':
		if depth > MaxDepth {
			return nil, errTooDeep
		}
		return p.container(Kind(kind), depth)
	}
	raw, err := p.dec.ReadValue()
	if err != nil {
		return nil, err
	}
	n := p.node()
	end := int(p.dec.InputOffset())
	n.Kind, n.At = Kind(kind), Span{end - len(raw), end}
	switch n.Kind {
	case String:
		n.Text, err = p.unquote(n.At)
	case Digits:
		n.Text = p.text[n.At.Start:n.At.End]
		if _, huge := strconv.ParseFloat(n.Text, 64); huge != nil {
			p.errs.add(RuleBadValue, n.At, p.field(), n.Text+" is more than any number in a file may be", "")
		}
	}
	return n, err
}

func (p *parser) container(kind Kind, depth int) (*Node, error) {
	if _, err := p.dec.ReadToken(); err != nil {
		return nil, err
	}
	n := p.node()
	n.Kind = kind
	n.At.Start = int(p.dec.InputOffset()) - 1
	var names map[string]bool // where the object has so many members that looking them through takes time
	closing := jsontext.Kind('}')
	if kind == Array {
		closing = ']'
	}
	for p.dec.PeekKind() != closing {
		var key string
		var keyAt Span
		again := false
		at := place{index: -1}
		if kind == Array {
			at.index = len(n.Kids)
		}
		if kind == Object {
			raw, err := p.dec.ReadValue()
			if err != nil {
				return nil, err
			}
			end := int(p.dec.InputOffset())
			keyAt = Span{end - len(raw), end}
			if key, err = p.unquote(keyAt); err != nil {
				return nil, err
			}
			at.key = key
			if again = stands(n, &names, key); again {
				p.trail = append(p.trail, at)
				p.errs.add(RuleDuplicateKey, keyAt, p.field(), fmt.Sprintf("%q stands twice in one object", key), "Keep one; readers differ in which of the two they take.")
				p.trail = p.trail[:len(p.trail)-1]
			}
		}
		p.trail = append(p.trail, at)
		kid, err := p.value(depth + 1)
		p.trail = p.trail[:len(p.trail)-1]
		if err != nil {
			return nil, err
		}
		kid.Key, kid.KeyAt, kid.again = key, keyAt, again
		n.Kids = append(n.Kids, kid)
	}
	if _, err := p.dec.ReadToken(); err != nil {
		return nil, err
	}
	n.At.End = int(p.dec.InputOffset())
	return n, nil
}

// stands reports whether n has a member called key already.
func stands(n *Node, names *map[string]bool, key string) bool {
	const few = 32
	if len(n.Kids) < few {
		return n.Get(key) != nil
	}
	if *names == nil {
		*names = make(map[string]bool, 2*few)
		for _, kid := range n.Kids {
			(*names)[kid.Key] = true
		}
	}
	again := (*names)[key]
	(*names)[key] = true
	return again
}

// field is the dotted path of what is being read.
func (p *parser) field() string { return fieldPath(p.trail) }

func (p *parser) unquote(at Span) (string, error) {
	inner := p.text[at.Start+1 : at.End-1]
	if strings.IndexByte(inner, '\\') < 0 {
		return inner, nil
	}
	raw, err := jsontext.AppendUnquote(nil, p.data[at.Start:at.End])
	return string(raw), err
}

// explain turns a reader's error into a place, a sentence and a way out.
func (p *parser) explain(err error) (at Span, message, help string) {
	offset := int(p.dec.InputOffset())
	var syn *jsontext.SyntacticError
	if errors.As(err, &syn) {
		offset = int(syn.ByteOffset)
	}
	if offset > len(p.data) {
		offset = len(p.data)
	}
	if errors.Is(err, errTooDeep) {
		for offset < len(p.data) && p.data[offset] != '{' && p.data[offset] != '[' {
			offset++
		}
		return Span{offset, offset + 1}, fmt.Sprintf("nested deeper than %d levels", MaxDepth), "No file of a library needs that."
	}
	rest := p.data[offset:]
	for len(rest) > 0 && strings.IndexByte(" \t\r\n", rest[0]) >= 0 {
		rest, offset = rest[1:], offset+1
	}
	before := bytes.TrimRight(p.data[:offset], " \t\r\n")
	if len(rest) == 0 {
		end := len(before)
		_, size := utf8.DecodeLastRune(before)
		return Span{end - size, end}, "the file ends before its last brace or bracket is closed", "Was it cut off? The last saved version: git show HEAD:FILE"
	}
	found, size := utf8.DecodeRune(rest)
	at = Span{offset, offset + size}
	next := bytes.TrimLeft(rest[size:], " \t\r\n")
	last := byte(0)
	if len(before) > 0 {
		last = before[len(before)-1]
	}
	switch {
	case found == utf8.RuneError && size <= 1:
		return at, "this is not UTF-8 text", "Save the file as UTF-8."
	case found == ',' && len(next) > 0 && (next[0] == '}' || next[0] == ']'):
		return at, fmt.Sprintf("a comma before the closing %q", next[0]), "Delete the comma."
	case bytes.HasPrefix(rest, []byte("//")), bytes.HasPrefix(rest, []byte("/*")):
		return at, "a comment", `JSON has none; use a "note" member.`
	case bytes.HasPrefix(rest, []byte("<<<<<<<")), bytes.HasPrefix(rest, []byte("=======")), bytes.HasPrefix(rest, []byte(">>>>>>>")):
		return Span{offset, offset + 7}, "a merge conflict is left in the file", "Keep one side and delete the marker lines."
	case found == '\'' || found == '“' || found == '”':
		return at, fmt.Sprintf("found %q where a straight double quote belongs", found), ""
	case (last == '"' || last == '}' || last == ']') && (found == '"' || found == '{' || found == '['):
		return at, fmt.Sprintf("found %q: a comma or colon is missing before it", found), ""
	case found < 0x20:
		return at, fmt.Sprintf("a control character (U+%04X) inside a string", found), "Write it as an escape, or delete it."
	}
	return at, fmt.Sprintf("found %q, which JSON does not allow here", found), ""
}
