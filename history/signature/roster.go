package signature

import (
	"bytes"
	"fmt"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"golang.org/x/crypto/ssh"
	"golang.org/x/text/unicode/norm"
)

// longestRoster bounds what is read; a thousand keys take a tenth of it.
const longestRoster = 1 << 20

// A Line gives one key to one person.
type Line struct {
	Number      int    // in the file, from 1
	Principal   string // the person, without quotes
	Key         ssh.PublicKey
	Namespaces  []string  // patterns of purposes the key may sign for, nil for all
	ValidAfter  time.Time // the first moment the key is good, zero if always; in UTC, whole seconds
	ValidBefore time.Time // the last moment the key is good, zero if always; in UTC, whole seconds
	Text        string    // as it stands in the file, without the line end
	Comment     string
}

// A Roster says which keys are whose. The zero Roster trusts nobody.
type Roster struct {
	File  string // for messages, may be empty
	Lines []Line

	problems int
}

// A Problem is one thing wrong with a roster. Its texts hold no raw control characters of the file.
type Problem struct {
	File    string
	Line    int // from 1
	Column  int // in code points, from 1
	Message string
	Help    string // what to do, may be empty
}

func (p Problem) String() string {
	s := fmt.Sprintf("%s:%d:%d: %s", p.File, p.Line, p.Column, p.Message)
	if p.Help != "" {
		s += "; " + p.Help
	}
	return s
}

// ParseRoster reads an OpenSSH allowed_signers file by the rules of the package comment, and gives every problem in it, in the
// order of lines. A roster with problems holds the lines that are good, to be shown, but vouches for nobody ([ErrUnsound]).
// The name of the file is for messages only.
func ParseRoster(file string, data []byte) (*Roster, []Problem) {
	p := &rosterReader{file: file, owner: map[string]Line{}, looks: map[string]Line{}}
	if len(data) > longestRoster {
		p.add(1, 1, &fault{fmt.Sprintf("a file of %d bytes is no roster, at most %d are read", len(data), longestRoster), "keep one line for each key"})
		data = nil
	}
	for number := 1; len(data) > 0; number++ {
		line, rest, _ := bytes.Cut(data, []byte("\n"))
		data = rest
		p.line(number, string(bytes.TrimSuffix(line, []byte("\r"))))
	}
	return &Roster{File: file, Lines: p.lines, problems: len(p.problems)}, p.problems
}

type rosterReader struct {
	file     string
	lines    []Line
	problems []Problem
	owner    map[string]Line // by wire form of the key
	looks    map[string]Line // by how the principal looks
}

func (p *rosterReader) add(line, column int, f *fault) {
	p.problems = append(p.problems, Problem{File: p.file, Line: line, Column: column, Message: f.message, Help: f.help})
}

func (p *rosterReader) line(number int, text string) {
	s := &lineScanner{text: text, add: func(offset int, f *fault) {
		p.add(number, utf8.RuneCountInString(text[:offset])+1, f)
	}}
	before := len(p.problems)
	line, ok := s.scan()
	if !ok || len(p.problems) > before {
		return
	}
	line.Number = number
	wire := string(line.Key.Marshal())
	if first, known := p.owner[wire]; known && first.Principal != line.Principal {
		s.add(s.keyAt, &fault{fmt.Sprintf("this key is already %s's, in line %d", quote(first.Principal), first.Number), "one key belongs to one person; each makes their own"})
	} else if !known {
		p.owner[wire] = line
	}
	look := lookOf(line.Principal)
	if first, known := p.looks[look]; known && first.Principal != line.Principal {
		s.add(s.start, &fault{fmt.Sprintf("%s and %s in line %d look alike", quote(line.Principal), quote(first.Principal), first.Number), "write the name of one person in one way"})
	} else if !known {
		p.looks[look] = line
	}
	if len(p.problems) == before {
		p.lines = append(p.lines, line)
	}
}

// lookOf gives names that a person could take for one another the same text: they differ only in case (as strings.EqualFold has
// it), in compatibility forms, in blanks, or in letters of another script that look the same.
func lookOf(name string) string {
	name = foldCase(norm.NFKC.String(foldCase(name)))
	name = strings.Map(func(r rune) rune {
		if latin, ok := lookalikes[r]; ok {
			return latin
		}
		return r
	}, name)
	return strings.Join(strings.Fields(name), " ")
}

// lookalikes are Cyrillic and Greek letters that look like Latin ones in one case or both, in the form that foldCase leaves them
// (from memory; the whole list is in Unicode Technical Standard 39, confusables).
var lookalikes = map[rune]rune{
	'А': 'A', 'В': 'B', 'Е': 'E', 'К': 'K', 'М': 'M', 'Н': 'H', 'О': 'O', 'Р': 'P', 'С': 'C', 'Т': 'T', 'У': 'Y', 'Х': 'X', 'І': 'I', 'Ј': 'J', 'Ѕ': 'S',
	'Ԁ': 'D', 'Ԛ': 'Q', 'Ԝ': 'W', 'Һ': 'H', 'Ӏ': 'I', 'Ѵ': 'V', 'Ё': 'Ë', 'Ї': 'Ï',
	'Α': 'A', 'Β': 'B', 'Ε': 'E', 'Ζ': 'Z', 'Η': 'H', '\u0345': 'I', 'Κ': 'K', '\u00b5': 'M', 'Ν': 'N', 'Ο': 'O', 'Ρ': 'P', 'Τ': 'T', 'Υ': 'Y', 'Χ': 'X',
}

// foldCase puts the first letter in Unicode of all that differ in case only.
func foldCase(s string) string {
	return strings.Map(func(r rune) rune {
		first := r
		for next := unicode.SimpleFold(r); next != r; next = unicode.SimpleFold(next) {
			first = min(first, next)
		}
		return first
	}, s)
}

// Principals lists the persons, sorted, each once.
func (r *Roster) Principals() []string {
	if r == nil {
		return nil
	}
	var names []string
	for _, l := range r.Lines {
		names = append(names, l.Principal)
	}
	sort.Strings(names)
	return slices.Compact(names)
}

// Find names the person whose key it is, if it may sign for [Namespace] at the moment at (whole seconds, both ends of the validity
// included). Otherwise the error is a *[RosterError]; where several lines have the key, it is about the one that came closest.
func (r *Roster) Find(key ssh.PublicKey, at time.Time) (principal string, err error) {
	if r == nil {
		return "", &RosterError{Reason: ErrNotInRoster, Fingerprint: Fingerprint(key), At: at}
	}
	refusal := &RosterError{Reason: ErrNotInRoster, File: r.File, Fingerprint: Fingerprint(key), At: at}
	if r.problems > 0 {
		refusal.Reason = ErrUnsound
		return "", refusal
	}
	for _, l := range r.Lines {
		if !sameKey(l.Key, key) {
			continue
		}
		limit, reason := l.refuses(at)
		if reason == nil {
			return l.Principal, nil
		}
		if closeness(reason) > closeness(refusal.Reason) {
			refusal.Reason, refusal.Line, refusal.Principal, refusal.Limit = reason, l.Number, l.Principal, limit
		}
	}
	return "", refusal
}

// refuses says why the line does not vouch for its key at a moment, with the limit that was passed, or nil.
func (l *Line) refuses(at time.Time) (limit time.Time, reason error) {
	switch {
	case l.Namespaces != nil && !matchList(Namespace, l.Namespaces):
		return time.Time{}, ErrWrongNamespace
	case !l.ValidAfter.IsZero() && at.Unix() < l.ValidAfter.Unix():
		return l.ValidAfter, ErrNotYetValid
	case !l.ValidBefore.IsZero() && at.Unix() > l.ValidBefore.Unix():
		return l.ValidBefore, ErrExpired
	}
	return time.Time{}, nil
}

func closeness(reason error) int {
	return slices.Index([]error{ErrNotInRoster, ErrWrongNamespace, ErrNotYetValid, ErrExpired}, reason)
}

// quote shows a text of the file: in quotes, with what a terminal might act on spelled out.
func quote(s string) string { return strconv.Quote(s) }
