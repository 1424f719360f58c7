// Package schema says what the files of a library mean.
//
// Bytes go in, typed values with their places come out. A file is read in three steps, each a file of this package:
//
//	[ReadFile]  bytes to a [Node] tree over jsontext: strict JSON, every node with its byte span
//	[Bind]    a tree to one of the structs here ([Settings], [Machine], [ConditionSet], [Record] bodies), reporting every
//	          problem it meets and not just the first
//	[Load]    all files of a snapshot to a [Library]: conditions by [ID], families, records
//
// The structs are the single source of the format: member names, order, units, vocabulary and requirements stand in their
// tags, and the reader, the house layout ([Layout]), the canonical form ([Values.Canonical]), the field walk ([Values.Fields])
// and the published JSON Schemas all come from them.
//
// The package imports nothing of the project but schema/quantity.
package schema
