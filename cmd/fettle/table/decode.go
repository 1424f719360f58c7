package table

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// MaxSize is how many bytes a sheet may have; a table of conditions is far below it.
const MaxSize = 16 << 20

// encodings are the names that --sheet-encoding takes.
var encodings = map[string]encoding.Encoding{
	"utf-8":        encoding.Nop,
	"utf-16le":     unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM),
	"utf-16be":     unicode.UTF16(unicode.BigEndian, unicode.IgnoreBOM),
	"windows-1250": charmap.Windows1250,
	"windows-1252": charmap.Windows1252,
	"iso-8859-1":   charmap.ISO8859_1,
	"iso-8859-15":  charmap.ISO8859_15,
	"macintosh":    charmap.Macintosh,
}

// Encodings returns the names of the encodings that a sheet can be read in.
func Encodings() []string {
	names := make([]string, 0, len(encodings))
	for name := range encodings {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// foreign are the first bytes of files that are no CSV, and what to do with each.
var foreign = []struct{ magic, what, help string }{
	{"PK\x03\x04", "a workbook (.xlsx or .ods)", "Save the sheet as CSV in the spreadsheet program and import that."},
	{"\xd0\xcf\x11\xe0", "an old workbook (.xls)", "Save the sheet as CSV in the spreadsheet program and import that."},
	{"%PDF", "a PDF", "Ask for the table as a spreadsheet, or copy it into one and save that as CSV."},
	{"\x1f\x8b", "a compressed file", "Unpack it first."},
	{"{\\rtf", "a text document (.rtf)", "Copy the table into a spreadsheet and save that as CSV."},
}

// decode turns the bytes of a sheet into text. It takes the named encoding, or finds it: a byte order mark decides; else what
// is UTF-8 is UTF-8; else it is Windows-1252, which is what spreadsheet programs of western Europe write.
func decode(data []byte, name string) (text, used string, bad *Problem) {
	refuse := func(help, format string, args ...any) (string, string, *Problem) {
		return "", "", &Problem{Message: fmt.Sprintf(format, args...), Help: help}
	}
	if len(data) > MaxSize {
		return refuse("Keep only the table of conditions in it.", "the file has %d bytes; at most %d are read", len(data), MaxSize)
	}
	for _, f := range foreign {
		if bytes.HasPrefix(data, []byte(f.magic)) {
			return refuse(f.help, "this is %s and no CSV", f.what)
		}
	}
	named := name != ""
	for _, mark := range []struct{ bytes, name string }{{"\xef\xbb\xbf", "utf-8"}, {"\xff\xfe", "utf-16le"}, {"\xfe\xff", "utf-16be"}} {
		rest, ok := bytes.CutPrefix(data, []byte(mark.bytes))
		if !ok || named && name != mark.name {
			continue
		}
		data, name = rest, mark.name
		break
	}
	switch {
	case name != "":
	case bytes.IndexByte(data, 0) >= 0:
		return refuse("If it comes from a spreadsheet as \"Unicode text\": --sheet-encoding utf-16le", "the file holds zero bytes: it is UTF-16 without its mark, or no text at all")
	case utf8.Valid(data):
		name = "utf-8"
	default:
		name = "windows-1252"
	}
	enc, ok := encodings[name]
	if !ok {
		return refuse("One of: "+strings.Join(Encodings(), ", ")+".", "the encoding %s is not known here", quote(name))
	}
	out, err := enc.NewDecoder().Bytes(data)
	text = string(out)
	switch {
	case err != nil:
		return refuse("", "the file cannot be read as %s: %v", name, err)
	case !utf8.ValidString(text):
		return refuse("Leave --sheet-encoding away to have it found, or name another.", "the file is not UTF-8")
	case strings.ContainsRune(text, 0):
		return refuse("Another encoding? --sheet-encoding takes: "+strings.Join(Encodings(), ", "), "the file holds zero bytes after it was read as %s", name)
	case !named && name == "windows-1252" && strings.ContainsAny(text, "\ufffd\u0081\u008d\u008f\u0090\u009d"):
		return refuse("Say which encoding it is: --sheet-encoding "+strings.Join(Encodings(), ", "), "the file is neither UTF-8 nor Windows-1252")
	}
	return text, name, nil
}
