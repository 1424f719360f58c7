// Package table reads cut conditions out of the spreadsheets that shops keep, and writes them back into one.
//
// Bytes go in, conditions come out, and nothing touches a disk:
//
//	[Read]    a CSV file and the library it is for → an [Import]: what was assumed, what cannot be read, which conditions are
//	          new, updated (old → new) or unchanged, and the set files that would hold them
//	[Export]  conditions → CSV that Read takes back exactly
//
// A spreadsheet is read as it is found (separator, encoding, decimal comma, units in the header or in the cells, names of the
// trade), but never guessed at. Where a cell can mean two things, it is a [Problem] with its row, its column and both readings:
// a fraction that became a date, a comma that may part thousands, a focus whose sign nobody explained. Every problem of the file
// is reported, and a sheet with problems gives no files to write.
//
// Each step is one file: decode.go (bytes to text), grid.go (text to cells), header.go and words.go (what a header means),
// columns.go (what the columns of this sheet are), decimal.go (comma or point), cell.go, thickness.go, nozzle.go and gauge.go
// (what a cell says), read.go (rows to conditions), plan.go (conditions to set files).
package table
