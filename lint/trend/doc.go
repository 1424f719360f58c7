// Package trend says how a family of numbers runs over thickness and which of them does not belong: pure functions on slices of
// float64 that know nothing of plates and lasers.
//
// [Isotonic] and [OddOnes] take an order that values should keep and say what it would cost: the nearest curve in that order, and
// the fewest points that break it. [Direction] reads the order from the values themselves. [TheilSen] and [RepeatedMedians] lay a
// line through points of which some may be wrong, [Scale] says how far points scatter when some may be wrong. A [Curve] predicts
// each point from all the others, with an interval: that is what a single value is held against.
//
// Quantities that run as a power of thickness are given as logarithms. Nothing here allocates more than a few slices, and a family
// of a dozen points takes some microseconds.
package trend
