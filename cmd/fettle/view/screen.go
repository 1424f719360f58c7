package view

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/mattn/go-runewidth"
)

// screen measures text as terminals do that are not set up for East Asian text: a character of ambiguous width takes one column.
// It is fixed, so that output does not depend on the locale.
var screen = &runewidth.Condition{}

// columns is how wide text is on a screen.
func columns(text string) int { return screen.StringWidth(text) }

// printable makes text from a file or a person safe on a terminal: what would steer it, or turn the direction of writing, or could
// not be seen, is written as an escape.
func printable(text string) string {
	if !strings.ContainsFunc(text, hidden) && utf8.ValidString(text) {
		return text
	}
	var b strings.Builder
	for len(text) > 0 {
		r, size := utf8.DecodeRuneInString(text)
		b.WriteString(shownRune(r, text[:size]))
		text = text[size:]
	}
	return b.String()
}

// hidden reports whether a character is none that can be seen: controls, marks of direction, joiners, odd spaces.
func hidden(r rune) bool { return !unicode.IsPrint(r) }

func shownRune(r rune, raw string) string {
	switch {
	case r == utf8.RuneError && len(raw) == 1:
		return fmt.Sprintf(`\x%02x`, raw[0])
	case !hidden(r):
		return raw
	case r == '\n':
		return `\n`
	case r == '\t':
		return `\t`
	case r > 0xffff:
		return fmt.Sprintf(`\U%08x`, r)
	}
	return fmt.Sprintf(`\u%04x`, r)
}

// tabStop: tabs go to the next multiple of it.
const tabStop = 4

// reach is how far beyond a span a line is looked at, in code points: more than any screen shows.
const reach = 1024

// near returns the part of a line around the code points from start to end, and how many stand before it. What is far from the span is
// never shown, and a file on one line may have millions of them.
func near(line string, start, end int) (part string, cut int) {
	if len(line) <= 4*reach {
		return line, 0
	}
	from, n := 0, 0
	for i := range line {
		switch n {
		case start - reach:
			from, cut = i, n
		case end + reach:
			return line[from:i], cut
		}
		n++
	}
	return line[from:], cut
}

// window shows the part of a line around a span of code points, in at most width columns. It returns the text, how many columns
// stand before the span, and how many the span takes of what is shown.
func window(line string, start, length, width int) (text string, before, under int) {
	type cell struct {
		text string
		wide int
	}
	start, length = max(start, 0), max(length, 0)
	line, cut := near(line, start, start+length)
	start -= cut
	var cells []cell
	at := 0
	for rest := line; len(rest) > 0; {
		r, size := utf8.DecodeRuneInString(rest)
		c := cell{text: shownRune(r, rest[:size])}
		if r == '\t' {
			c.text = strings.Repeat(" ", tabStop-at%tabStop)
		}
		c.wide = columns(c.text)
		at += c.wide
		cells = append(cells, c)
		rest = rest[size:]
	}
	start = min(max(start, 0), len(cells))
	end := min(max(start+length, start), len(cells))
	tail := ""
	if start == len(cells) {
		at++ // the caret stands behind the line
	}
	if at > width {
		// a third of the screen before the span, the rest for it and what follows
		from, room := start, width/3
		for from > 0 && room >= cells[from-1].wide {
			from--
			room -= cells[from].wide
		}
		to, room := from, width-2
		for to < len(cells) && room >= cells[to].wide {
			room -= cells[to].wide
			to++
		}
		for to == len(cells) && from > 0 && room >= cells[from-1].wide { // what is left over behind goes to the front
			from--
			room -= cells[from].wide
		}
		if from+cut > 0 {
			text, before = "…", 1
		}
		if to < len(cells) {
			tail = "…"
		}
		cells, start, end = cells[from:to], start-from, min(end, to)-from
	}
	for i, c := range cells {
		text += c.text
		switch {
		case i < start:
			before += c.wide
		case i < end:
			under += c.wide
		}
	}
	return text + tail, before, max(under, 1)
}
