package table

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
)

// A grid is the sheet as cells.
type grid struct {
	separator rune
	rows      []gridRow
}

// A gridRow is one row with the number that a spreadsheet shows for it.
type gridRow struct {
	number int
	cells  []string
}

// cell returns the text in a column, from 0; "" beyond the end.
func (r gridRow) cell(col int) string {
	if col < len(r.cells) {
		return r.cells[col]
	}
	return ""
}

func (r gridRow) empty() bool {
	for _, c := range r.cells {
		if trim(c) != "" {
			return false
		}
	}
	return true
}

// separators in the order in which they win a tie.
var separators = []rune{';', '\t', ','}

// separatorName names a separator for people.
func separatorName(r rune) string {
	switch r {
	case ';':
		return "semicolon"
	case '\t':
		return "tab"
	}
	return "comma"
}

// cut splits text into cells. Some spreadsheet programs write a first line "sep=;", which they do not show as a row.
func cut(text string, as renames) (*grid, *Problem) {
	if !strings.Contains(text, "\n") {
		text = strings.ReplaceAll(text, "\r", "\n")
	}
	first, rest, _ := strings.Cut(text, "\n")
	first = strings.Trim(first, "\r\"")
	if said, ok := strings.CutPrefix(strings.ToLower(first), "sep="); ok && len(said) == 1 && strings.Contains(";,\t", said) {
		return split(rest, rune(said[0]))
	}
	var best *grid
	var bad *Problem
	bestScore := -1
	for _, sep := range separators {
		g, err := split(text, sep)
		if err != nil {
			if bad == nil || strings.ContainsRune(first, sep) {
				bad = err
			}
			continue
		}
		if _, score := findHeader(g, as); score > bestScore {
			best, bestScore = g, score
		}
	}
	if best == nil || bad != nil && bestScore < 2 { // no header either way: the quotation mark is what is wrong
		return nil, bad
	}
	return best, nil
}

// split reads text as CSV with one separator. A quotation mark inside a cell that does not begin with one is kept: 1/4".
func split(text string, sep rune) (*grid, *Problem) {
	g, err := splitStrict(text, sep, false)
	if errors.Is(err, csv.ErrBareQuote) {
		g, err = splitStrict(text, sep, true)
	}
	if err == nil {
		return g, nil
	}
	var at *csv.ParseError
	if errors.As(err, &at) {
		what := "a quotation mark inside a quoted cell; it must be doubled"
		if errors.Is(at.Err, csv.ErrQuote) && at.StartLine != at.Line {
			what = "a quotation mark that is never closed"
		}
		return nil, &Problem{At: Place{}, Message: fmt.Sprintf("line %d of the file, character %d: %s", at.Line, at.Column, what),
			Help: "Open it in a spreadsheet program and save it as CSV again."}
	}
	return nil, &Problem{Message: err.Error()}
}

func splitStrict(text string, sep rune, lazy bool) (*grid, error) {
	r := csv.NewReader(strings.NewReader(text))
	r.Comma, r.FieldsPerRecord, r.LazyQuotes = sep, -1, lazy
	g := &grid{separator: sep}
	number, line, offset := 0, 1, int64(0) // of the row before; the line and byte where the next one may begin
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			return g, nil
		}
		if err != nil {
			return nil, err
		}
		start, _ := r.FieldPos(0)
		number += 1 + start - line // lines left out by the reader are empty rows in a spreadsheet
		line += strings.Count(text[offset:r.InputOffset()], "\n")
		offset = r.InputOffset()
		g.rows = append(g.rows, gridRow{number: number, cells: cells})
	}
}

// trim takes blanks of every kind off both ends; spreadsheets are full of no-break spaces.
func trim(s string) string {
	return strings.TrimSpace(strings.Trim(s, " \t\u00a0\u2007\u202f\u2009\ufeff"))
}
