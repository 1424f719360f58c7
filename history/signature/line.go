package signature

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

const longestPrincipal = 255

// A lineScanner takes one line of a roster apart as OpenSSH does (sshsig.c, parse_principals_key_and_options), but reports each
// thing it will not have instead of passing over the line.
type lineScanner struct {
	text  string
	pos   int // in bytes
	start int // where the principal starts
	keyAt int // where the type of the key starts
	add   func(offset int, f *fault)
}

// scan reads the line. It is not ok where the line is blank, a comment, or too broken to go on.
func (s *lineScanner) scan() (l Line, ok bool) {
	if !s.printable() {
		return l, false
	}
	s.blanks()
	if s.pos == len(s.text) || s.text[s.pos] == '#' {
		return l, false
	}
	l.Text, s.start = s.text, s.pos
	if l.Principal, ok = s.principal(); !ok {
		return l, false
	}
	word, _ := cutWord(s.text[s.pos:])
	if !isKeyWord(word) && !s.options(&l) {
		return l, false
	}
	return l, s.key(&l)
}

// printable refuses what an editor may hide from the person who reads the line.
func (s *lineScanner) printable() bool {
	if strings.HasPrefix(s.text, "\ufeff") {
		s.add(0, &fault{"a byte order mark stands at the start", "save the file as UTF-8 without BOM"})
		return false
	}
	for i, r := range s.text {
		switch {
		case r == utf8.RuneError && !strings.HasPrefix(s.text[i:], "\ufffd"):
			s.add(i, &fault{"not UTF-8", "save the file as UTF-8"})
			return false
		case r == '\r':
			s.add(i, &fault{"a carriage return within the line", "save the file with ordinary line ends (LF or CR LF)"})
			return false
		case unicode.IsControl(r) && r != '\t':
			s.add(i, &fault{"the control character " + quote(string(r)), "remove it"})
			return false
		}
	}
	return true
}

func (s *lineScanner) blanks() {
	for s.pos < len(s.text) && (s.text[s.pos] == ' ' || s.text[s.pos] == '\t') {
		s.pos++
	}
}

// principal reads up to the first blank. A quoted part may hold blanks; it ends the field, as in OpenSSH, whatever follows it.
func (s *lineScanner) principal() (name string, ok bool) {
	const order = "a line is: person, options, type of key, key"
	rest := s.text[s.pos:]
	if word, _ := cutWord(rest); isKeyWord(word) {
		s.add(s.pos, &fault{"the line starts with a key and names nobody", "put the person in front of it, in quotes if the name has blanks"})
		return "", false
	}
	end := strings.IndexAny(rest, " \t\"")
	switch {
	case end < 0:
		s.add(len(s.text), &fault{"the key is missing", order})
		return "", false
	case rest[end] == '"':
		inner := rest[end+1:]
		n := strings.IndexByte(inner, '"')
		if n < 0 {
			s.add(s.pos+end, &fault{"the quote is not closed", `write the name as "Mara Lind"`})
			return "", false
		}
		name = rest[:end] + inner[:n]
		s.pos += end + n + 2
	default:
		name = rest[:end]
		s.pos += end
	}
	s.blanks()
	if f := principalFault(name); f != nil {
		s.add(s.start, f)
	}
	if s.pos == len(s.text) {
		s.add(s.pos, &fault{"the key is missing", order})
		return "", false
	}
	return name, true
}

// principalFault says why a name is not one person's, or nil.
func principalFault(name string) *fault {
	switch {
	case name == "":
		return &fault{"the name is empty", "write who the key belongs to"}
	case len(name) > longestPrincipal:
		return &fault{"the name is too long", "at most 255 bytes"}
	case strings.ContainsAny(name, "*?!"):
		return &fault{quote(name) + " is a pattern, not a person: * ? and ! are refused", "write one line for each person, with the name in full"}
	case strings.Contains(name, ","):
		return &fault{quote(name) + " is several names to OpenSSH", "write one line for each person, without commas in the name"}
	case strings.TrimSpace(name) != name:
		return &fault{quote(name) + " has a blank at an end", "remove it"}
	}
	for _, r := range name {
		if r != ' ' && !unicode.IsPrint(r) {
			return &fault{quote(name) + " has a character that cannot be seen", "type the name anew"}
		}
	}
	return nil
}

// key reads type, base64 and comment.
func (s *lineScanner) key(l *Line) bool {
	s.blanks()
	s.keyAt = s.pos
	name, rest := cutWord(s.text[s.pos:])
	encoded, comment := cutWord(rest)
	if encoded == "" {
		s.add(s.pos, &fault{"the key is missing", "put the line of the .pub file behind the name"})
		return false
	}
	key, f := readKey(name, encoded)
	if f != nil {
		s.add(s.pos, f)
		return false
	}
	l.Key, l.Comment = key, strings.TrimRight(comment, " \t")
	return true
}
