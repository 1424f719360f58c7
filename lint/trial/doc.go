// Package trial works out what trial cuts show and what they do not. It is pure: numbers in, numbers and sentences out.
//
//	[Levels], [Windows]        cuts along one value → steps → the runs of steps that all came out good, with what failed beside them
//	[Window.Recommend]         the value furthest from trouble
//	[Wilson]                   what a count of good cuts says of the next ones
//	[Welch], [MannWhitney]     old against new, with how large the difference is
//	[Respond]                  a measured figure over the value: straight or curved, with its interval
//	[Mean]                     the ISO 9013 range of a coupon and of a lot
//	[Ladder], [Factorial], [Composite], [Order]   what to cut, and in which order
//
// Everything that is called an interval is one of 95 %.
package trial

// Confidence is that of every interval here.
const Confidence = 0.95
