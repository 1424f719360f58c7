package table

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// A Place is a cell of a sheet. Row and Col count from 1 as a spreadsheet shows them; 0 means the whole of it.
type Place struct{ Row, Col int }

// String returns the place as a spreadsheet names it: "C7"; "row 7" or "column C" where one of the two is 0, "" where both are.
func (p Place) String() string {
	switch {
	case p.Row == 0 && p.Col == 0:
		return ""
	case p.Col == 0:
		return fmt.Sprintf("row %d", p.Row)
	case p.Row == 0:
		return "column " + columnName(p.Col)
	}
	return columnName(p.Col) + fmt.Sprint(p.Row)
}

// columnName counts as a spreadsheet does: A to Z, AA, AB …
func columnName(col int) string {
	name := ""
	for ; col > 0; col = (col - 1) / 26 {
		name = string(rune('A'+(col-1)%26)) + name
	}
	return name
}

// A Problem is something in a sheet that cannot be read, or can be read in more than one way.
type Problem struct {
	At      Place
	Column  string // the header of the column, as it stands in the sheet
	Message string // what was found and what was expected
	Help    string // what to do; may be empty
}

// String returns place, column and message in one line: `C7 (row 7, column C "Speed"): …`.
func (p Problem) String() string {
	if where := p.Where(); where != "" {
		return where + ": " + p.Message
	}
	return p.Message
}

// Where says where the problem is, in the words of a spreadsheet and as row and column.
func (p Problem) Where() string {
	at := p.At.String()
	if p.At.Row > 0 && p.At.Col > 0 {
		at += fmt.Sprintf(" (row %d, column %s", p.At.Row, columnName(p.At.Col))
		if p.Column != "" {
			at += " " + quote(p.Column)
		}
		at += ")"
	} else if p.Column != "" {
		at += " (" + quote(p.Column) + ")"
	}
	return at
}

// A Note is something that was read in a way worth knowing: a word taken for a name of the library, a percentage turned into
// watts.
type Note struct {
	At    Place // the first cell
	Cells int   // how many cells
	Text  string
}

// findings collects problems and notes while a sheet is read.
type findings struct {
	problems []Problem
	notes    []Note
	cells    map[Place]bool // that have a problem
	said     map[string]int // notes by text
}

// problem reports a problem; the first one of a cell is enough.
func (f *findings) problem(at Place, column, help, format string, args ...any) {
	if f.cells == nil {
		f.cells = map[Place]bool{}
	}
	if at.Row > 0 && at.Col > 0 && f.cells[at] {
		return
	}
	f.cells[at] = true
	f.problems = append(f.problems, Problem{At: at, Column: column, Message: fmt.Sprintf(format, args...), Help: help})
}

// note says something once, and counts the cells it is true of.
func (f *findings) note(at Place, format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	if i, ok := f.said[text]; ok {
		f.notes[i].Cells++
		return
	}
	if f.said == nil {
		f.said = map[string]int{}
	}
	f.said[text] = len(f.notes)
	f.notes = append(f.notes, Note{At: at, Cells: 1, Text: text})
}

// sorted orders problems by row and column, those of the whole file first.
func (f *findings) sorted() []Problem {
	slices.SortStableFunc(f.problems, func(a, b Problem) int {
		if a.At.Row != b.At.Row {
			return a.At.Row - b.At.Row
		}
		return a.At.Col - b.At.Col
	})
	return f.problems
}

// quote puts the text of a cell in quotation marks, cut where it is long, with what cannot be printed made visible.
func quote(s string) string {
	const most = 40
	if utf8.RuneCountInString(s) > most {
		s = string([]rune(s)[:most]) + "…"
	}
	return quoteAll(s)
}

// quoteAll is quote without the cut.
func quoteAll(s string) string {
	s = strings.Map(func(r rune) rune {
		if r == '\n' || r == '\r' || r == '\t' {
			return ' '
		}
		if !unicode.IsPrint(r) {
			return '\ufffd'
		}
		return r
	}, s)
	if strings.Contains(s, `"`) {
		return "'" + s + "'"
	}
	return `"` + s + `"`
}
