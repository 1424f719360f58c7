package trial

import (
	"fmt"
	"slices"
)

// A Basis is what a window rests on, as far as doubts need it.
type Basis struct {
	Levels  []Level
	Window  Window
	Found   bool // there is a window
	Trials  int
	Plates  []string // plates and lots, as far as they were named; equal ones count once
	Lots    []string
	Rising  bool // the steps were cut in the order of their value
	HotCuts int  // cuts after which the nozzle was hot
}

// Doubts says in plain words what the cuts do not show, the weightiest first.
func (b Basis) Doubts() []string {
	var out []string
	add := func(when bool, format string, args ...any) {
		if when {
			out = append(out, fmt.Sprintf(format, args...))
		}
	}
	cuts := 0
	repeated := false
	for _, l := range b.Levels {
		cuts += l.Cuts()
		repeated = repeated || l.Cuts() > 1
	}
	add(b.HotCuts > 0, "the nozzle was hot after %s; until somebody says why, the cause may be the head and not the value", count(b.HotCuts, "cut"))
	if !b.Found {
		add(true, "no step came out good every time, so there is no proven window")
	} else {
		add(b.Window.Steps == 1, "one good step is a point and not a window: how far it may drift is not known")
		add(b.Window.Steps == 2, "two good steps: what lies between them was not cut")
		add(b.Window.Below == nil, "nothing lower was cut: the low edge may be further down")
		add(b.Window.Above == nil, "nothing higher was cut: the high edge may be further up")
		add(len(Windows(b.Levels)) > 1, "good and failed steps alternate, so something else than this value was at work")
	}
	add(!repeated && cuts > 0, "every step was cut once: how much the cut scatters is not known")
	if low, _, ok := Wilson(b.Window.Cuts, b.Window.Cuts, Confidence); ok && b.Found && low < 0.7 {
		add(true, "%d of %d good are few: as many as %.0f in 100 of the next cuts may still fail", b.Window.Cuts, b.Window.Cuts, 100*(1-low))
	}
	add(b.Rising && len(b.Levels) > 2, "the steps were cut in the order of their value, so a drift over time looks like an effect")
	add(one(b.Lots), "all on one lot of plate: another lot may ask for something else")
	add(len(b.Lots) == 0, "no lot of plate is named")
	add(one(b.Plates) && len(b.Lots) > 1, "all on one plate")
	add(b.Trials == 1, "all in one trial, on one day")
	return out
}

func one(names []string) bool {
	return len(names) > 0 && !slices.ContainsFunc(names, func(n string) bool { return n != names[0] })
}

func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
