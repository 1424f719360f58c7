package demo

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"time"

	"fettle/schema"
)

//go:embed story.json
var storyFile []byte

// A Story is who did what to the library.
type Story struct {
	Library string
	People  []Person
	Events  []*Event
}

// Kinds of events.
const (
	Import   = "import"
	Adopt    = "adopt"
	Changed  = "change"
	PutBack  = "put-back"
	Approve  = "approve"
	Reject   = "reject"
	Withdraw = "withdraw"
	Cause    = "cause"
	Escape   = "escape"
	Blocked  = "blocked"
)

// An Event is one thing that happened.
type Event struct {
	N    int
	At   time.Time
	By   string // principal
	Kind string
	Text string
	ID   string // of the condition
	Of   int    // number of the event that this one is about

	Changes  []Change
	New      json.RawMessage // a whole condition that is added
	After    string          // thickness behind which it goes
	Cause    string
	RuledOut []string `json:"ruled_out"`
	Trial    *Trial
	Permit   *Permit
	Load     *Load

	Record string // of a withdrawal: the kind of record that it takes back
	Rule   string // of a blocked edit: what stopped it

	Unit, Job, Lot string // of a cause or an escape
	Symptom        []string
	From, To       string
	Found          string // of a cause a word, of an escape a time

	Waiting       bool // nobody decided on it yet
	NeverApproved bool `json:"never_approved"`
}

// A Change is one edited value, as texts of the file; an empty From or To is a member that was not there.
type Change struct{ Field, From, To string }

// A Trial is a ladder of cuts.
type Trial struct {
	At         time.Time
	By, Unit   string
	Values     string // "before" or "after" the edit of the event
	Plate, Lot string
	Text       string
	Steps      []json.RawMessage // as records hold them
}

// A Permit lets a recipe run before the lead can decide.
type Permit struct {
	Until time.Time
	Text  string
	Lot   string
}

// A Load is a recipe that went onto a machine.
type Load struct {
	At   time.Time
	Unit string
}

// Northgate is the embedded story.
func Northgate() (*Story, error) {
	d := json.NewDecoder(bytes.NewReader(storyFile))
	d.DisallowUnknownFields()
	var s Story
	if err := d.Decode(&s); err != nil {
		return nil, fmt.Errorf("story.json: %w", err)
	}
	for i, e := range s.Events {
		switch {
		case e.N != i+1:
			return nil, fmt.Errorf("story.json: event %d stands in place %d", e.N, i+1)
		case i > 0 && e.At.Before(s.Events[i-1].At):
			return nil, fmt.Errorf("story.json: event %d is earlier than the one before it", e.N)
		case e.Of >= e.N:
			return nil, fmt.Errorf("story.json: event %d is about event %d, which was not yet", e.N, e.Of)
		}
		if _, err := s.person(e.By); err != nil {
			return nil, fmt.Errorf("story.json: event %d: %w", e.N, err)
		}
	}
	return &s, nil
}

func (s *Story) person(principal string) (Person, error) {
	for _, p := range s.People {
		if p.Principal == principal {
			return p, nil
		}
	}
	return Person{}, fmt.Errorf("%s is none of the people", principal)
}

// Edits reports whether the event changes files of the library.
func (e *Event) Edits() bool { return e.Kind == Changed || e.Kind == PutBack }

// node reads one object of the story as files of a library are read.
func node(raw json.RawMessage) (*schema.Node, error) {
	f := schema.ReadFile("", raw)
	if !f.IsObject() {
		return nil, fmt.Errorf("%s", f.Problems[0].Message)
	}
	return f.Root(), nil
}

// bind reads one object of the story into a struct of a record.
func bind(raw json.RawMessage, into any) error {
	n, err := node(raw)
	if err != nil {
		return err
	}
	if problems := schema.Bind(n, into); len(problems) > 0 {
		return fmt.Errorf("%s: %s", problems[0].Field, problems[0].Message)
	}
	return nil
}
