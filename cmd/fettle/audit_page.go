package main

import (
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
	p.Text(func(line string) { s.say("%s", line) })
	return nil
}
