// Package triage says what to look at when a cut goes bad, and how well a change of a recipe explains what was seen.
//
//	k, err := triage.Read(extra)          // what the trade knows, in one readable file, with what a library adds
//	verdict := triage.Judge(case)          // does the recipe stand as it was approved, tried, loaded? yes, no or unknown
//	checks := k.Checks(symptoms, causes)   // what to check before the recipe is touched, in order
//	advice := k.Advise(case)               // then, and only then, one step of one parameter
//	suspects := k.Rank(situation, changes) // which change explains the parts that got out
//
// What it knows stands in knowledge.txt, a line each, marked as common practice or with its source. Nothing here is a verdict: it is what
// speaks for and against, in the order in which it is worth a look.
package triage
