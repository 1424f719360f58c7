package audit

import (
	"slices"
	"time"

	"fettle/schema"
)

// Kinds of entries that come from commits. The others are the kinds of records, schema.KindReason and so on.
const (
	Changed    = "changed"     // a field of a condition
	New        = "new"         // a field of a condition that was not there before
	Removed    = "removed"     // a field of a condition that is gone
	Dropped    = "dropped"     // a field that one side of a merge had changed and that the merge threw away
	Edited     = "edited"      // a value of a machine, of the settings or of a roster
	Unreadable = "unreadable"  // a file that could not be read; it counts as it was before
	PartlyRead = "partly-read" // a file in which more was written than could be read: members twice, unknown or unreadable

	RecordAltered = "record-altered" // a record is not what was saved first
	RecordRemoved = "record-removed" // a record is gone
)

// A Person is somebody as a commit or a record names them.
type Person struct {
	Name      string // as the commit says it, "" in a record
	Email     string // likewise
	Principal string // as the files approvers and people name them; "" where they do not know them
}

// String is the person in one word where the library knows them, else as the commit names them.
func (p Person) String() string {
	switch {
	case p.Principal != "":
		return p.Principal
	case p.Email == "":
		return p.Name
	case p.Name == "":
		return p.Email
	}
	return p.Name + " <" + p.Email + ">"
}

// An Entry is one line of the timeline: a field that a commit changed, or a record.
type Entry struct {
	Kind      string
	At        time.Time // of a change when its author says they made it, of a record what the record says
	By        Person
	CoAuthors []Person  // of a commit
	Commit    string    // that made the change, or brought the record; "" of a record that no commit of this clone brought
	Committer Person    // who saved it, often the author
	Committed time.Time // when it was saved
	Merge     bool      // the commit is a merge
	Edge      bool      // older history is missing here: who made it and when may be older than the commit
	Clock     string    // what is odd about the time, or ""

	ID      string // of the condition, name of the machine; "" where a record is about none
	Subject string // what it is about, schema.SubjectCondition and so on
	Path    string // the file, where the entry is about a file

	Field                string         // dotted: cut.speed; "" of a whole condition, see [Filter.Whole]
	From, To             schema.Field   // the zero Field where there was no value
	Others               []schema.Field // what the other sides of a merge had
	Note                 bool           // free text that is no part of the recipe
	FromDigest, ToDigest schema.Digest  // of the whole recipe, "" where it was not there

	Why        []Why
	ApprovedBy []string // whose decision put the resulting recipe in force; see also ApprovedLater

	Record *schema.Record  // what it came from, or the record that was altered or removed
	pos    int             // of the commit, in the order of history
	starts []schema.Digest // the recipes of all commits before
	at     int             // where in the timeline
	trail  *Trail          // of a change of a recipe
}

// A Why is what a reason says of a change.
type Why struct {
	Cause, Text string
	By          string // as the reason names them
	At          time.Time
	RuledOut    []string
	Signed      bool
	Record      schema.Digest
}

// IsChange reports whether the entry is about a field of a condition.
func (e *Entry) IsChange() bool {
	return slices.Contains([]string{Changed, New, Removed, Dropped}, e.Kind)
}

// Unapproved reports whether the entry is a change of a recipe, a machine, the settings or a roster, and nobody ever approved what it led to.
func (e *Entry) Unapproved() bool {
	return (e.IsChange() || e.Kind == Edited) && !e.Note && len(e.ApprovedBy) == 0
}
