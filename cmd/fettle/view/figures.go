package view

import (
	"fmt"
	"html/template"
)

// A FigureBlock is the figures that follow from one block of a recipe.
type FigureBlock struct {
	Name    string
	Figures []Figure
}

// A Figure is one number that follows from a recipe, with where it sits.
type Figure struct {
	Name, Value string // value with its unit
	Range       string // usual, or what the machine has, in words
	Note        string
	Share       float64 // 0 to 1 inside the range
	Ranged      bool    // there is a range with both ends
}

// SVG draws where a figure sits in its range; nothing where there is none.
func (f Figure) SVG() template.HTML {
	if !f.Ranged {
		return ""
	}
	class, at := "at", 16+min(max(f.Share, 0), 1)*112
	switch {
	case f.Share < 0:
		class, at = "out", 7
	case f.Share > 1+1e-9:
		class, at = "out", 137
	}
	return template.HTML(fmt.Sprintf(`<svg class="meter" viewBox="0 0 144 12" aria-hidden="true"><rect class="rail" x="16" y="2" width="112" height="8"/><circle class="%s" cx="%.1f" cy="6" r="4.5"/></svg>`, class, at))
}
