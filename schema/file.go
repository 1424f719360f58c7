package schema

import (
	"bytes"
	"fmt"
	"reflect"
	"sort"
	"strconv"
	"strings"
	"unicode/utf8"
)

// A File is one file of a library as it was read. Value is nil where the file is no JSON object or its kind is not known.
type File struct {
	Path     string // from the root of the library, with slashes
	Data     []byte
	Kind     string
	Value    any // *Settings, *Machine, *ConditionSet, *TrialPlan, *TrialSheet or a record [Body]
	Problems []Problem
	items    []Span // of "conditions", whatever they are; nil where there is no such member
	object   bool   // it is one, whatever is in it
	scanned  bool   // and without a name twice
	laidOut  *bool  // nil where nobody looked
	lines    []int  // offsets of line starts, made when first asked for
}

// ReadFile reads one JSON file of a library. It never fails: what is wrong is in Problems, what could be read is in Value.
func ReadFile(path string, data []byte) *File {
	f := &File{Path: path, Data: data}
	s := scanners.Get().(*scanner)
	defer s.release()
	f.read(s)
	return f
}

// ReadFileAndLayout is [ReadFile] for who asks [File.LaidOut] afterwards: that is found out while the tree is at hand.
func ReadFileAndLayout(path string, data []byte) *File {
	f := &File{Path: path, Data: data}
	s := scanners.Get().(*scanner)
	defer s.release()
	root := f.read(s)
	is := f.scanned && laidOut(root, data)
	f.laidOut = &is
	return f
}

// read reads the file with a scanner and returns the tree, nil where it is no JSON object. The tree is good while the scanner is not
// used again.
func (f *File) read(s *scanner) *Node {
	errs := &problems{lately: &s.lately, spare: s.spare}
	defer func() { f.Problems = errs.sorted() }()
	root := s.scan(string(f.Data))
	scanned := root != nil
	if scanned {
		errs.file = s.text
	} else if root = parse(f.Data, errs); root == nil {
		return nil
	}
	if root.Kind != Object {
		errs.add(RuleBadValue, root.At, "", fmt.Sprintf("found %s; a file of a library is an object in braces", root.Kind.Words()), "")
		return nil
	}
	f.object, f.scanned = true, scanned
	f.items = itemsOf(root.Get("conditions"))
	f.Kind = errs.spare.own(root.Str("kind"))
	t, ok := structOf(f.Kind)
	if !ok {
		unknownKind(root, errs)
		return root
	}
	into := reflect.New(t)
	errs.bind(root, into.Interface())
	f.Value = into.Interface()
	if n := root.Get("format"); n != nil && n.Kind == Digits && !isOne(n.Text) {
		errs.add(RuleBadValue, n.At, "format", fmt.Sprintf("format %s is not known; this fettle reads format 1", n.Text), "The file may be of a newer fettle: fettle version")
	}
	return root
}

// IsObject reports whether the file is a JSON object, whatever is in it.
func (f *File) IsObject() bool { return f.object }

// Items says where the conditions of a set stand, whatever they are; nil where there is no such list.
func (f *File) Items() []Span { return f.items }

// Root is the tree of the file, read anew at each call: it takes many times the space of the file, and few ask for it. Ask once for a
// file, and not for each condition in it. It is nil where the file is no JSON object.
func (f *File) Root() *Node {
	if !f.object {
		return nil
	}
	if n := scan(f.Data); n != nil {
		return n
	}
	return parse(f.Data, &problems{})
}

func isOne(number string) bool {
	float, err := strconv.ParseFloat(number, 64)
	return err == nil && float == 1
}

func unknownKind(root *Node, errs *problems) {
	n := root.Get("kind")
	if n == nil {
		errs.add(RuleMissingField, Span{root.At.Start, root.At.Start + 1}, "kind", `"kind" is missing`, `It says what the file is, such as "condition-set".`)
		return
	}
	kinds := []string{"library", "machine", "condition-set", KindTrialPlan, KindTrialSheet}
	for kind := range recordTypes {
		kinds = append(kinds, kind)
	}
	sort.Strings(kinds)
	help := "One of: " + strings.Join(kinds, ", ") + "."
	if near := Nearest(n.Text, kinds); near != "" {
		help = fmt.Sprintf("Did you mean %q? ", near) + help
	}
	errs.add(RuleBadValue, n.At, "kind", fmt.Sprintf("%s is not a kind of file known here", found(n)), help)
}

// Position returns line and column of a byte offset, both from 1; columns count code points.
func (f *File) Position(offset int) (line, column int) {
	if f.lines == nil {
		f.lines = make([]int, 1, 2+bytes.Count(f.Data, []byte{'\n'}))
		for i, c := range f.Data {
			if c == '\n' {
				f.lines = append(f.lines, i+1)
			}
		}
	}
	offset = min(max(offset, 0), len(f.Data))
	line = sort.SearchInts(f.lines, offset+1)
	return line, utf8.RuneCount(f.Data[f.lines[line-1]:offset]) + 1
}

// Line returns the text of a line, from 1, without its end.
func (f *File) Line(line int) string {
	f.Position(0)
	if line < 1 || line > len(f.lines) {
		return ""
	}
	end := len(f.Data)
	if line < len(f.lines) {
		end = f.lines[line] - 1
	}
	return strings.TrimSuffix(string(f.Data[f.lines[line-1]:end]), "\r")
}

// canonicalNode writes a tree as RFC 8785 does.
func canonicalNode(n *Node) []byte { return appendCanonicalNode(nil, n) }

// DigestLines is the digest of a roster or people file: of its normalised lines, as the signature package gives them.
func DigestLines(kind string, lines []string) Digest {
	return DigestOf(canonicalNode(&Node{Kind: Object, Kids: []*Node{
		{Kind: Digits, Key: "canon", Text: "1"}, {Kind: String, Key: "kind", Text: kind}, withKey("lines", List(lines))}}))
}

// List makes a list of strings.
func List(items []string) *Node {
	n := &Node{Kind: Array}
	for _, item := range items {
		n.Kids = append(n.Kids, Text(item))
	}
	return n
}

func withKey(key string, n *Node) *Node { n.Key = key; return n }

// Digest returns the digest of the settings: of all that is no note.
func (s *Settings) Digest() Digest { return DigestOf(canonical(s)) }

// Digest returns the digest of the whole machine profile, limits and rack included.
func (m *Machine) Digest() Digest { return DigestOf(canonical(m)) }
