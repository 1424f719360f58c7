// Package history says how a library came to be what it is, and what of it counts.
//
// A library lives in a git work tree and its trail is in two places: the commits, and small append-only records below records/.
// This package reads the records, compares snapshots, and answers:
//
//	[Compare]          what changed between two snapshots, by condition and field, never by line
//	[ReadLedger]       the records of a snapshot: whole, named after their own digest
//	[Ledger.Judge]     what is in force: the fold over signed decisions, chained from the adoption
//	[Standing.Follow]  what a new decision must name as seen
//	[Ledger.Reasoned]  whether reasons lead from one recipe to another
//	[Ledger.Covers]    which trials show a recipe good, and what is still to be tried
//	[Trail]            whether every record stands as it was saved
//
// Everything is judged from the records of the snapshot at hand, so a clone, a server and a laptop come to the same answer.
// Order among decisions comes from what each says it was made in sight of (its follows), never from clocks.
//
// README.md tells the rules to a reader. history/git talks to git, history/signature to keys and rosters.
package history
