package history

import (
	"slices"
	"strings"

	"fettle/schema"
)

// A Broken is one record that does not stand as it was saved.
type Broken struct {
	Path    string // from the root of the library
	Rule    string // [RuleRecordAltered] or [RuleRecordRemoved]
	Message string
	Help    string
}

// Trail holds the records of a new state against those of every state that it follows: one parent for an ordinary commit, more
// for a merge, none for the first. Each map leads from the path of a record to a hash of its bytes. A record that any parent
// holds must stand in the new state byte by byte. One that no parent holds is not saved yet and may be replaced or removed.
//
// The result is ordered by path, with one entry a record.
func Trail(parents []map[string]string, now map[string]string) []Broken {
	found := map[string]Broken{}
	for _, parent := range parents {
		for path, was := range parent {
			if !schema.IsRecordPath(path) {
				continue
			}
			is, there := now[path]
			switch {
			case !there:
				found[path] = Broken{Path: path, Rule: RuleRecordRemoved, Message: "the record was saved and is gone",
					Help: "Records stay, also those that turned out wrong: put it back, then take it back with fettle withdraw."}
			case is != was:
				found[path] = Broken{Path: path, Rule: RuleRecordAltered, Message: "the record was saved and is another one now",
					Help: "Records are never edited: put it back as it was, and write a new one beside it."}
			}
		}
	}
	out := make([]Broken, 0, len(found))
	for _, b := range found {
		out = append(out, b)
	}
	slices.SortFunc(out, func(a, b Broken) int { return strings.Compare(a.Path, b.Path) })
	return out
}
