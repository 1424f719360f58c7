package git

import (
	"bytes"
	"path"
	"strings"
	"sync"
)

// eol answers how git would store the line ends of files of the work tree: as they are, or CRLF as LF. It follows the
// section "End-of-line conversion" of gitattributes(5). git is asked only once a file with CRLF turns up, which outside
// Windows is never, and then for all files at once.
type eol struct {
	repo  *Repo
	root  string   // directory of the library, from the top of the work tree
	files []string // of the library

	once  sync.Once
	err   error
	rules map[string]conversion
	saved map[string]string // ids in the index, by path
}

type conversion int

const (
	convertNever conversion = iota
	convertText             // the file is declared to be text
	convertAuto             // if it looks like text, and the saved one has no CRLF already
)

// toSaved is the content as git would save it.
func (e *eol) toSaved(full string, data []byte) ([]byte, error) {
	if !bytes.Contains(data, []byte("\r\n")) {
		return data, nil
	}
	e.once.Do(e.ask)
	if e.err != nil {
		return nil, e.err
	}
	switch e.rules[full] {
	case convertNever:
		return data, nil
	case convertAuto:
		if looksBinary(data) {
			return data, nil
		}
		if id := e.saved[full]; id != "" {
			saved, err := e.repo.Blob(id)
			if err != nil {
				return nil, err
			}
			if bytes.Contains(saved, []byte("\r\n")) && !looksBinary(saved) {
				return data, nil
			}
		}
	}
	return bytes.ReplaceAll(data, []byte("\r\n"), []byte("\n")), nil
}

func (e *eol) ask() {
	auto, err := e.autocrlf()
	if err != nil {
		e.err = err
		return
	}
	paths := make([]string, len(e.files))
	for i, p := range e.files {
		paths[i] = path.Join(e.root, p)
	}
	var input strings.Builder
	for _, p := range paths {
		input.WriteString(p)
		input.WriteByte(0)
	}
	out, err := e.repo.readInput(input.String(), "check-attr", "-z", "--stdin", "text", "crlf", "eol")
	if err != nil {
		e.err = err
		return
	}
	attributes := map[string]map[string]string{}
	for items := fields(out); len(items) >= 3; items = items[3:] {
		if attributes[items[0]] == nil {
			attributes[items[0]] = map[string]string{}
		}
		attributes[items[0]][items[1]] = items[2]
	}
	e.rules = map[string]conversion{}
	needSaved := false
	for _, p := range paths {
		e.rules[p] = rule(attributes[p], auto)
		needSaved = needSaved || e.rules[p] == convertAuto
	}
	if !needSaved {
		return
	}
	under, err := parts(e.root)
	if err != nil {
		e.err = err
		return
	}
	// Not IndexFiles: conflicts must not keep the files from being read.
	out, err = e.repo.read(append([]string{"ls-files", "-s", "-z", "--"}, literal(under)...)...)
	if err != nil {
		e.err = err
		return
	}
	e.saved = map[string]string{}
	for _, item := range fields(out) {
		facts, p, _ := strings.Cut(item, "\t")
		if parts := strings.Fields(facts); len(parts) == 3 && (parts[2] == "0" || parts[2] == "2") {
			e.saved[p] = parts[1]
		}
	}
}

// autocrlf says how files without attributes are treated.
func (e *eol) autocrlf() (conversion, error) {
	value, _, err := e.repo.Config("core.autocrlf")
	if err != nil {
		return convertNever, err
	}
	on := strings.EqualFold(value, "input")
	if !on {
		on, _, err = e.repo.ConfigBool("core.autocrlf")
	}
	if on {
		return convertAuto, err
	}
	return convertNever, err
}

// rule applies the attributes of one file. crlf is the older name of text.
func rule(attributes map[string]string, auto conversion) conversion {
	text := attributes["text"]
	if text == "unspecified" {
		text = attributes["crlf"]
	}
	set := text == "set" || text == "input"
	switch {
	case text == "unset":
		return convertNever
	case text == "auto":
		return convertAuto
	case set, attributes["eol"] == "lf", attributes["eol"] == "crlf":
		return convertText
	}
	return auto
}

// looksBinary is git's own guess: a NUL, a CR that does not end a line, or more than one control character in 128.
func looksBinary(data []byte) bool {
	if len(data) > 0 && data[len(data)-1] == 0x1a {
		data = data[:len(data)-1] // the end-of-file mark of old DOS programs
	}
	printable, odd := 0, 0
	for i, c := range data {
		switch {
		case c == 0:
			return true
		case c == '\r':
			if i+1 == len(data) || data[i+1] != '\n' {
				return true
			}
		case c == '\n':
		case c == 127, c < 32 && c != '\b' && c != '\t' && c != '\f' && c != 27:
			odd++
		default:
			printable++
		}
	}
	return printable>>7 < odd
}
