// Package lint judges the conditions of a library: whether a file can be read, whether the machine can do what a recipe asks,
// whether gas, plate and nozzle go together, whether a value looks like a slip, and whether a change was made as the shop agreed.
//
// [Run] takes a [schema.Library], which is one snapshot, and returns every [Finding] with its place in a file:
//
//	result := lint.Run(library, lint.Options{Base: saved})
//	for _, f := range result.Blocking() { … }
//
// What is judged is a [Rule]: one value that holds its name, severity, title, reason, source, limit, a bad and a good example,
// and the check itself. The rule book README.md, the command explain and the tests all come from these values. The rules of one
// family stand in one file: rules_file.go, rules_machine.go and so on.
//
// Three things keep the findings worth reading. An error is something that cannot be: a limit of physics or of the machine, or a
// promise about records that was broken; what is only unusual is a warning. A check whose data are missing sleeps, and one note
// for each machine says what would wake it. And with a base to compare against, what stood there before is marked old, so that
// nobody is stopped by what somebody else left behind.
//
// The package imports nothing of the project but schema. What the history of a library knows about a change comes in as plain
// data, a [Change], that the caller fills.
package lint
