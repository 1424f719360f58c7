// Package demo makes the sample library: the conditions of an invented plate shop, and fourteen months of its history.
//
//	story, err := demo.Northgate()
//	shop, err := story.Build("fettle-demo")
//
// Two things are embedded. The directory library holds the files as they stand after the last event. The file story.json holds the
// events: who did what when, with the values before and after, the trial cuts, and the words they used. The history follows from
// both: it begins with the files with every edit of the story taken back, and then each event becomes the records and commits that
// the commands would have made of it. A test in cmd/fettle plays the story with those commands and compares the trees.
//
// The same bytes and the same commit ids come out every time and everywhere: times stand in the story, keys follow from the names
// of the persons, and nothing of the user's own git settings counts while it is built.
//
// The keys are public, since anybody can work them out. They are good for this sample and for nothing else.
//
// # The story
//
// An event has a number n, a time at, a person by and a kind:
//
//	import     the files of the beginning
//	adopt      the baseline
//	change     edits with their reason; new is a whole condition, behind the one of thickness after
//	put-back   the edit that brings the recipe in force back, with its reason
//	approve, reject, withdraw   of is the number of the event that it is about; record says which record of it is withdrawn
//	cause, escape               what a bad cut turned out to be; what got out
//	blocked    an edit that never reached the library; told, not built
//
// From and to are texts as they stand in the files. Trial, permit and load are records that come with a change. The values of a
// trial say whether the recipe before or after the edit was loaded when it was cut.
package demo
