package view

import (
	_ "embed"
	"html/template"
	"io"
)

// A Card is one condition on a sheet of A4 to hang at the machine: what to set, from when, on whose word, and a code that tells whether it
// is out of date.
type Card struct {
	Title    string // carbon steel, oxygen, 10 mm
	ID       string
	Library  string
	Machines string // the real machines that it is for
	Code     string
	State    string // approved on 14 July 2026 by Jonas Falk
	Until    string // of a provisional one: when it ends; "" for an approved one
	Notes    []string
	Big      []CardValue // what is set first, in large type
	Rows     []Row       // the rest of the recipe
	Stages   []CardStage // of the pierce
	Fields   []string    // names of what stages hold
	Printed  string
	Cautions []string
	Check    string // the command that tells whether it is out of date
}

// A CardValue is one value in large type.
type CardValue struct{ Name, Value string }

// A CardStage is one stage of a pierce, a value for each of the card's Fields, "" where there is none.
type CardStage struct {
	Name   string
	Values []string
}

//go:embed card.css
var cardStyle string

// HTML writes the card as one file that needs no network and no script.
func (c *Card) HTML(w io.Writer) error {
	return templates().ExecuteTemplate(w, "machine-card", struct {
		*Card
		Policy string
		Style  template.CSS
	}{c, contentPolicy(cardStyle), template.CSS(cardStyle)})
}
