// Package audit tells who changed what, when, why and on whose approval, from the commits and the records of a library.
//
//	trail, err := audit.Read(repo, "", audit.Options{})
//	for _, e := range trail.Select(audit.Filter{Field: "pressure", Unapproved: true}) { ... }
//	report := trail.Verify()
//
// # Fields, not lines
//
// A change is told by the id of the condition and the field, so a file that was moved, renamed, split or laid out anew shows
// nothing, and neither does 2 mm that became 0.2 cm. Another thickness is another condition: one removed and one new. A file
// that cannot be read counts as it was before, and is said.
//
// A value that a merge took from one of its sides is told once, at the commit that made it. A value of a merge that none of the
// sides has is told at the merge. Where a merge threw away what one side had changed, that is told as well ([Dropped]): else
// the timeline would end with a value that nobody uses.
//
// # Order
//
// Entries stand in the order in which commits build upon each other, and only where that says nothing by their clocks. A clock
// that contradicts is told with the entry and moves nothing.
//
// # Cost
//
// One walk through the commits reads the condition sets that each changed and no others. Where a few conditions are looked for, what the other
// commits say of themselves is not read, and of sets of other families no more than their beginnings. [Prepare] reads beforehand what all such
// questions have in common. With [Options.Kept] the list of commits and what
// each made of conditions are kept below the directory of git, and a later walk looks only at the commits that came since. Both are told by
// the ids of the commits: where those kept do not lead to the one that is asked for, since the history was rewritten, they are made anew, and
// so they are after an update of the program or where a checksum does not fit. Entries are made when they are told, see [Trail.Each].
//
// Who keeps what was told asks the [Basis] of a timeline whether that still is all that there is to tell of a later commit.
package audit
