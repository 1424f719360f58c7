package signature

import (
	"slices"
	"strings"
)

// options reads the comma-separated options up to the first blank outside quotes. It is not ok where the rest of the line cannot be read.
func (s *lineScanner) options(l *Line) (ok bool) {
	from := s.pos
	end, closed := optionsEnd(s.text, from)
	if !closed {
		s.add(from, &fault{"a quote in the options is not closed", `write them as namespaces="fettle",valid-before="20271231Z"`})
		return false
	}
	s.pos = end
	seen := map[string]bool{}
	for at := from; ; {
		next := s.option(l, at, end, seen)
		if next < 0 || next == end {
			break
		}
		if s.text[next] != ',' {
			s.add(next, &fault{"a comma should stand here", "options are separated by commas, without blanks"})
			break
		}
		if at = next + 1; at == end {
			s.add(next, &fault{"nothing follows the comma", "remove the comma, or the blank behind it"})
			break
		}
	}
	if !l.ValidAfter.IsZero() && !l.ValidBefore.IsZero() && !l.ValidBefore.After(l.ValidAfter) {
		s.add(from, &fault{"valid-before is not after valid-after, so the key is never good", "exchange the times"})
	}
	return true
}

// optionsEnd finds the first blank outside quotes. A backslash makes a quote an ordinary character, within quotes and without.
func optionsEnd(text string, i int) (end int, closed bool) {
	quoted := false
	for ; i < len(text) && (quoted || (text[i] != ' ' && text[i] != '\t')); i++ {
		switch {
		case text[i] == '\\' && i+1 < len(text) && text[i+1] == '"':
			i++
		case text[i] == '"':
			quoted = !quoted
		}
	}
	return i, !quoted
}

// option reads one option in text[at:end] and gives where it ends, or -1 where its end cannot be told.
func (s *lineScanner) option(l *Line, at, end int, seen map[string]bool) (next int) {
	word := s.text[at:end]
	stop := strings.IndexAny(word, "=,")
	hasValue := stop >= 0 && word[stop] == '='
	if stop < 0 {
		stop = len(word)
	}
	name := strings.ToLower(word[:stop])
	if hasValue && name != "cert-authority" {
		value, n, f := dequote(word[stop+1:])
		if f != nil {
			s.add(at, f)
			return -1
		}
		if seen[name] {
			s.add(at, &fault{name + " stands twice", "leave one of them"})
		} else if f := l.set(name, value); f != nil {
			s.add(at, f)
		}
		seen[name] = true
		return at + stop + 1 + n
	}
	switch name {
	case "cert-authority":
		s.add(at, &fault{"certificate authorities are refused: the roster must name everyone itself", "write one line for each person with their own key"})
		if hasValue {
			return -1
		}
	case "":
		s.add(at, &fault{"an option is missing here", "remove the comma"})
	case "namespaces", "valid-after", "valid-before":
		s.add(at, &fault{name + " has no value", "write it as " + name + `="…"`})
	default:
		s.add(at, &fault{quote(word[:stop]) + " is neither an option nor a type of key", "options are namespaces, valid-after and valid-before"})
	}
	return at + stop
}

// dequote reads a value in double quotes and how many bytes it takes.
func dequote(s string) (value string, n int, f *fault) {
	if !strings.HasPrefix(s, `"`) {
		return "", 0, &fault{"the value is not in quotes", `write it as namespaces="fettle"`}
	}
	var b strings.Builder
	for i := 1; i < len(s); i++ {
		switch {
		case s[i] == '"':
			return b.String(), i + 1, nil
		case s[i] == '\\' && i+1 < len(s) && s[i+1] == '"':
			i++
		}
		b.WriteByte(s[i])
	}
	return "", 0, &fault{"the quote is not closed", `write it as namespaces="fettle"`}
}

// set takes the value of one option.
func (l *Line) set(name, value string) (f *fault) {
	switch name {
	case "namespaces":
		l.Namespaces = strings.Split(value, ",")
		if slices.Contains(l.Namespaces, "") {
			return &fault{"a namespace is empty", `write namespaces="fettle", or leave the option out`}
		}
	case "valid-after":
		l.ValidAfter, f = readTime(value)
	case "valid-before":
		l.ValidBefore, f = readTime(value)
	default:
		return &fault{quote(name) + " is not an option of a roster", "options are namespaces, valid-after and valid-before"}
	}
	return f
}
