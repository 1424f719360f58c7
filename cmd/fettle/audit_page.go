package main

import (
	"bufio"

	"fettle/cmd/fettle/view"
)

// pageFormats are the formats of a command that writes a page, beside json.
var pageFormats = []string{"text", "json", "markdown", "html"}

// writePage writes a page in the format that was asked for.
func (s *shop) writePage(p *view.Page) error {
	switch s.format {
	case "markdown":
		return p.Markdown(s.out)
	case "html":
		return p.HTML(s.out)
	}
	if s.quiet {
		return nil
	}
	out := bufio.NewWriterSize(s.out, 1<<16)
	width := columns(s.out)
	p.Text(func(line string) { tellLines(out, width, line) })
	return out.Flush()
}
