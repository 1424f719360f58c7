package trial

import (
	"math/big"
	"slices"

	"fettle/schema/quantity"
)

// An Outcome is how a cut came out.
type Outcome uint8

// The outcomes, from the worst up. The zero Outcome is bad, so that one that was left out proves nothing.
const (
	Bad Outcome = iota
	Marginal
	Good
)

// OutcomeNamed returns the outcome of a word of the format.
func OutcomeNamed(word string) Outcome {
	switch word {
	case "good":
		return Good
	case "marginal":
		return Marginal
	}
	return Bad
}

// String returns the word of the format.
func (o Outcome) String() string { return [...]string{"bad", "marginal", "good"}[o] }

// A Cut is one trial cut where one value was varied and all else was equal.
type Cut struct {
	Value    quantity.Value
	Outcome  Outcome
	Symptoms []string
}

// A Level is one step of a ladder: all cuts with one value.
type Level struct {
	Value               quantity.Value
	Good, Marginal, Bad int
	Symptoms            []string // seen there, each once
}

// Cuts is how many there were.
func (l Level) Cuts() int { return l.Good + l.Marginal + l.Bad }

// Acceptable reports whether every cut there came out good. One that did not is reason enough to stay away.
func (l Level) Acceptable() bool { return l.Good > 0 && l.Marginal+l.Bad == 0 }

// Worst is the worst outcome there.
func (l Level) Worst() Outcome {
	switch {
	case l.Bad > 0:
		return Bad
	case l.Marginal > 0:
		return Marginal
	}
	return Good
}

// Levels groups cuts by value, rising. 0.4 bar and 40 kPa are one value.
func Levels(cuts []Cut) []Level {
	var out []Level
	for _, c := range cuts {
		i, found := slices.BinarySearchFunc(out, c.Value, func(l Level, v quantity.Value) int { return l.Value.Cmp(v) })
		if !found {
			out = slices.Insert(out, i, Level{Value: c.Value})
		}
		l := &out[i]
		switch c.Outcome {
		case Good:
			l.Good++
		case Marginal:
			l.Marginal++
		default:
			l.Bad++
		}
		for _, s := range c.Symptoms {
			if !slices.Contains(l.Symptoms, s) {
				l.Symptoms = append(l.Symptoms, s)
			}
		}
	}
	return out
}

// A Window is a run of steps, one beside the other, that were all acceptable: a proven window of one value.
type Window struct {
	Low, High quantity.Value // the first and the last good step
	Steps     int
	Cuts      int    // all of them good
	Below     *Level // the nearest step below that was not acceptable; nil where nothing lower was cut
	Above     *Level // the same above
}

// Windows returns all runs, rising. A window ends where a step failed, and where the ladder does.
func Windows(levels []Level) []Window {
	var out []Window
	var below *Level
	open := false
	for i := range levels {
		l := &levels[i]
		if !l.Acceptable() {
			if open {
				out[len(out)-1].Above = l
			}
			below, open = l, false
			continue
		}
		if !open {
			out = append(out, Window{Low: l.Value, Below: below})
			open = true
		}
		w := &out[len(out)-1]
		w.High = l.Value
		w.Steps++
		w.Cuts += l.Cuts()
	}
	return out
}

// Longest returns the run with the most steps; of two, the one with more cuts, and then the wider.
func Longest(windows []Window) (Window, bool) {
	if len(windows) == 0 {
		return Window{}, false
	}
	return slices.MaxFunc(windows, func(a, b Window) int {
		if a.Steps != b.Steps {
			return a.Steps - b.Steps
		}
		if a.Cuts != b.Cuts {
			return a.Cuts - b.Cuts
		}
		return a.High.Sub(a.Low).Cmp(b.High.Sub(b.Low))
	}), true
}

// Around returns the window that holds a value, or else the longest: the two differ where a good step stands alone.
func Around(windows []Window, at quantity.Value) (Window, bool) {
	for _, w := range windows {
		if w.Holds(at) {
			return w, true
		}
	}
	return Longest(windows)
}

// Holds reports whether a value lies in the window, its edges included.
func (w Window) Holds(v quantity.Value) bool {
	return v.Dimension() == w.Low.Dimension() && v.Cmp(w.Low) >= 0 && v.Cmp(w.High) <= 0
}

// Place says how a value lies to a window.
type Place struct {
	Inside        bool
	Share         float64        // 0 at the low edge, 1 at the high edge; 0.5 where both are one
	ToLow, ToHigh quantity.Value // distance to the edges; negative where the value lies beyond
}

// Place returns how a value lies to the window.
func (w Window) Place(v quantity.Value) Place {
	p := Place{Inside: w.Holds(v), Share: 0.5, ToLow: v.Sub(w.Low), ToHigh: w.High.Sub(v)}
	if width := w.High.Sub(w.Low).SI(); width > 0 {
		p.Share = p.ToLow.SI() / width
	}
	return p
}

// Words says it for a card: "near its middle", "towards its low edge", "at its high edge", "below it".
func (p Place) Words() string {
	switch {
	case !p.Inside && p.ToLow.Sign() < 0:
		return "below it"
	case !p.Inside:
		return "above it"
	case p.ToLow.Sign() == 0 && p.ToHigh.Sign() == 0:
		return "the only step that was shown good"
	case p.Share <= 0.1:
		return "at its low edge"
	case p.Share < 0.35:
		return "towards its low edge"
	case p.Share <= 0.65:
		return "near its middle"
	case p.Share < 0.9:
		return "towards its high edge"
	}
	return "at its high edge"
}

// Recommend returns the value to go on with, on a whole number of steps of the machine. Where both sides are known to fail, each edge is
// guessed half way between the last good step and the first that failed, and the value is the middle between these two: so it keeps
// away from the nearer failure. Where nothing failed on a side, nobody knows how much room there is, and it is the middle of the
// window. It never leaves the window.
func (w Window) Recommend(step quantity.Value) quantity.Value {
	low, high := w.Low.Rat(), w.High.Rat()
	at := new(big.Rat).Add(low, high)
	at.Mul(at, big.NewRat(1, 2))
	if w.Below != nil && w.Above != nil {
		room := new(big.Rat).Sub(w.Above.Value.Rat(), high)
		room.Sub(room, new(big.Rat).Sub(low, w.Below.Value.Rat()))
		at.Add(at, room.Mul(room, big.NewRat(1, 4)))
	}
	at = clamp(at, low, high)
	if on := onGrid(at, step); on.Cmp(low) >= 0 && on.Cmp(high) <= 0 {
		at = on
	}
	return inUnit(at, w.Low)
}

func clamp(x, low, high *big.Rat) *big.Rat {
	switch {
	case x.Cmp(low) < 0:
		return low
	case x.Cmp(high) > 0:
		return high
	}
	return x
}

// onGrid is the nearest whole number of steps; halves go up.
func onGrid(x *big.Rat, step quantity.Value) *big.Rat {
	if step.Sign() <= 0 {
		return x
	}
	n := new(big.Rat).Quo(x, step.Rat())
	n.Add(n, big.NewRat(1, 2))
	whole := new(big.Int).Div(n.Num(), n.Denom()) // rounds down for negative numbers too
	return new(big.Rat).Mul(new(big.Rat).SetInt(whole), step.Rat())
}

func inUnit(x *big.Rat, like quantity.Value) quantity.Value {
	v, err := quantity.FromRat(like.Dimension(), x, like.Unit())
	if err != nil {
		return quantity.Value{} // like is no value
	}
	return v
}
