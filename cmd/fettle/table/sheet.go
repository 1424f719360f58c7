package table

import (
	"maps"
	"slices"

	"fettle/schema"
)

// A Sheet is a sheet of conditions that was read, before it is held against the library: all at once, or some sets after the other, so that
// of a library of a hundred thousand conditions only a few are held. What a row gives is read again when the turn of its set comes.
type Sheet struct {
	*reader
	reading Import
	frame   *schema.Library    // settings and machines
	missing map[string][]int   // members that new conditions need and no column gives, with the rows
	unread  map[string]Problem // files that cannot be read
	first   int                // how many problems there were before anything was planned
	unsound findings           // files that would not be good ones
}

// Open reads a sheet. Of the library only settings and machines are looked at.
func Open(data []byte, lib *schema.Library, opt Options) *Sheet {
	x := &Sheet{reader: &reader{lib: lib, opt: opt, sparing: true}, frame: lib, missing: map[string][]int{}, unread: map[string]Problem{}}
	x.read(data, &x.reading)
	x.first = len(x.problems)
	return x
}

// Sets are those that the sheet holds conditions of, as machine, material and gas.
func (x *Sheet) Sets() [][3]string {
	sets := map[[3]string]bool{}
	var out [][3]string
	for _, e := range x.entries {
		if set := setOf(e); !sets[set] {
			sets[set] = true
			out = append(out, set)
		}
	}
	return out
}

func setOf(e *entry) [3]string { return [3]string{e.id.Machine, e.id.Material, e.id.Gas} }

// HouseFile is where a set stands that is in no other file.
func HouseFile(set [3]string) string { return "sets/" + set[0] + "/" + set[1] + "-" + set[2] + ".json" }

// Plan holds the conditions of some sets, or of all where sets is nil, against a library that holds these: what it does to each, and the
// files to write. Each set has its turn once. What is wrong is told by [Sheet.Done], and what Plan gave is good only where nothing is.
func (x *Sheet) Plan(lib *schema.Library, sets [][3]string) *Import {
	out := &Import{}
	if len(x.problems) > 0 && len(x.entries) == 0 {
		return out
	}
	wanted := map[[3]string]bool{}
	for _, set := range sets {
		wanted[set] = true
	}
	var entries []*entry
	for _, e := range x.entries {
		if sets == nil || wanted[setOf(e)] {
			entries = append(entries, x.again(e))
		}
	}
	x.lib = lib
	x.plan(entries, out)
	x.lib = x.frame
	return out
}

// again is an entry as it was, with all that its row gives.
func (x *Sheet) again(e *entry) *entry {
	if e.bad {
		return e
	}
	said := x.findings
	x.findings = findings{}
	out := x.entry(x.rows[e.at])
	x.findings = said
	out.at = e.at
	return out
}

// Done is how the sheet was read, and all that is wrong, once all sets had their turn.
func (x *Sheet) Done() *Import {
	x.missingColumns()
	for i, file := range slices.Sorted(maps.Keys(x.unread)) {
		x.problems = slices.Insert(x.problems, x.first+i, x.unread[file])
	}
	if len(x.problems) == 0 {
		x.problems = x.unsound.problems
	}
	out := x.reading
	out.Rows, out.Notes, out.Problems = len(x.entries), x.notes, x.sorted()
	return &out
}
