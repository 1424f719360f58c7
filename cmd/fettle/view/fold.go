package view

import "strings"

// Fold breaks a line at its spaces where it is wider than a screen; 0 columns is a screen without end. What follows hangs below the
// text behind the label. A line that is a command to type stays whole: broken in two it could not be copied.
//
//	approvals   approved by Mara Lind and
//	            Jonas Falk
func Fold(line string, width int) string {
	if width <= 0 || columns(line) <= width {
		return line
	}
	hang := hanging(line)
	if hang > width/2 {
		hang = len(line) - len(strings.TrimLeft(line, " "))
	}
	body := line[hang:]
	for _, program := range []string{"fettle ", "git ", "next: fettle ", "next: git ", "$ "} {
		if strings.HasPrefix(body, program) {
			return line
		}
	}
	return line[:hang] + strings.Join(wrapped(body, width-hang), "\n"+strings.Repeat(" ", hang))
}

// hanging is where the text of a line begins behind its label, which ends with two spaces or is the name of the program; where there
// is none, behind the leading spaces. Labels are plain letters, so a byte is a column.
func hanging(line string) int {
	if strings.HasPrefix(line, "fettle: ") {
		return len("fettle: ")
	}
	lead := len(line) - len(strings.TrimLeft(line, " "))
	label, rest, ok := strings.Cut(line[lead:], "  ")
	if !ok || strings.ContainsFunc(label, func(r rune) bool { return r > '~' }) {
		return lead
	}
	return len(line) - len(strings.TrimLeft(rest, " "))
}

// Paragraphs sets running text anew for a width: what is parted by single line feeds flows together, blank lines part paragraphs, and
// a paragraph with an indented line stays as it is.
func Paragraphs(text string, width int) string {
	var out []string
	for p := range strings.SplitSeq(strings.TrimSpace(text), "\n\n") {
		if strings.HasPrefix(p, " ") || strings.HasPrefix(p, "\t") || strings.Contains(p, "\n ") || strings.Contains(p, "\n\t") {
			out = append(out, p)
			continue
		}
		out = append(out, strings.Join(wrapped(p, width), "\n"))
	}
	return strings.Join(out, "\n\n")
}
