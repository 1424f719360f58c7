package physics

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Gases of cutting, and mixes of two.
var anyGas = rapid.Custom(func(t *rapid.T) Gas {
	names := rapid.Permutation([]string{"oxygen", "nitrogen", "air", "argon", "hydrogen", "helium"}).Draw(t, "names")
	x := rapid.Float64Range(0, 1).Draw(t, "share")
	g, ok := Mix(map[string]float64{names[0]: x, names[1]: 1 - x})
	if !ok {
		t.Fatal("cannot mix")
	}
	return g
})

func mustIn(t *rapid.T) func(float64, bool) float64 {
	return func(x float64, ok bool) float64 {
		if !ok {
			t.Fatal("no answer to an ordinary question")
		}
		return x
	}
}

// A mix lies between its parts, in mass and in heat ratio.
func TestMixLiesBetween(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := anyGas.Draw(t, "gas")
		if g.MolarMass < 2.015e-3 || g.MolarMass > 39.951e-3 || g.HeatRatio < 1.39 || g.HeatRatio > 5.0/3+1e-9 {
			t.Fatalf("%+v", g)
		}
	})
}

// More pressure passes more gas; a lower back pressure never less, and no more once choked; the two formulas meet at the critical ratio.
func TestNozzleFlowIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := anyGas.Draw(t, "gas")
		n := Nozzle{rapid.Float64Range(0.5e-3, 5e-3).Draw(t, "orifice"), rapid.Float64Range(0.6, 1).Draw(t, "discharge")}
		supply := Absolute(rapid.Float64Range(100, 30e5).Draw(t, "supply"))
		flow, ok := n.Flow(g, supply, Atmosphere, Room)
		more, ok2 := n.Flow(g, supply*1.001, Atmosphere, Room)
		if !ok || !ok2 || more.Mass <= flow.Mass {
			t.Fatalf("%g Pa passes %g, a little more %g", supply, flow.Mass, more.Mass)
		}
		vacuum, _ := n.Flow(g, supply, 1, Room)
		if flow.Choked && vacuum.Mass != flow.Mass || vacuum.Mass < flow.Mass {
			t.Fatalf("against a vacuum %g, against air %g (choked %v)", vacuum.Mass, flow.Mass, flow.Choked)
		}
		critical, _ := CriticalRatio(g.HeatRatio)
		above, _ := n.Flow(g, supply, supply*critical*(1+1e-7), Room)
		below, _ := n.Flow(g, supply, supply*critical*(1-1e-7), Room)
		if above.Choked || !below.Choked || math.Abs(above.Mass/below.Mass-1) > 1e-9 {
			t.Fatalf("at the critical ratio %g and %g", above.Mass, below.Mass)
		}
	})
}

// The pressure that a valve holds rises with the line and with the valve, falls with the orifice, and feeds the nozzle exactly.
func TestHeldPressureIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		g := anyGas.Draw(t, "gas")
		v := Valve{rapid.Float64Range(1e-9, 1e-6).Draw(t, "conductance"), rapid.Float64Range(0, 0.7).Draw(t, "critical")}
		n := Nozzle{rapid.Float64Range(0.5e-3, 5e-3).Draw(t, "orifice"), 0.9}
		line := Absolute(rapid.Float64Range(0.1e5, 35e5).Draw(t, "line"))
		held := mustIn(t)(v.Holds(g, line, n, Atmosphere, Room))
		in, ok := v.Flow(g, line, held, Room)
		out, ok2 := n.Flow(g, held, Atmosphere, Room)
		// Near the line the ellipse is steep: the last digit of the pressure is worth 1e-6 of the flow.
		if !ok || !ok2 || math.Abs(in.Mass-out.Mass) > 2e-6*out.Mass {
			t.Fatalf("valve %g, nozzle %g at %g Pa", in.Mass, out.Mass, held)
		}
		const slack = 1 + 1e-12
		if more := mustIn(t)(v.Holds(g, line*1.01, n, Atmosphere, Room)); more*slack < held {
			t.Fatalf("more in the line holds less: %g, %g", held, more)
		}
		if more := mustIn(t)(Valve{v.Conductance * 1.01, v.Critical}.Holds(g, line, n, Atmosphere, Room)); more*slack < held {
			t.Fatalf("a larger valve holds less: %g, %g", held, more)
		}
		if less := mustIn(t)(v.Holds(g, line, Nozzle{n.Diameter * 1.01, 0.9}, Atmosphere, Room)); less > held*slack {
			t.Fatalf("a larger orifice holds more: %g, %g", held, less)
		}
	})
}

// Melt width grows with power and shrinks with speed; power is its inverse; the efficiency stays below the limit of Swift-Hook and Gick.
func TestMeltWidthIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(Materials()).Draw(t, "material").LineSource()
		power := rapid.Float64Range(1e4, 1e8).Draw(t, "power")
		speed := rapid.Float64Range(1e-3, 2).Draw(t, "speed")
		width := mustIn(t)(s.Width(power, speed))
		if width == 0 {
			return
		}
		if more := mustIn(t)(s.Width(power*1.01, speed)); more <= width {
			t.Fatalf("more power melts less: %g, %g", width, more)
		}
		if less := mustIn(t)(s.Width(power, speed*1.01)); less >= width {
			t.Fatalf("more speed melts more: %g, %g", width, less)
		}
		if eta := mustIn(t)(s.Efficiency(power, width, speed)); eta <= 0 || eta > FastEfficiency*(1+1e-9) {
			t.Fatalf("efficiency %g", eta)
		}
		if width > 1e-12 {
			if back := mustIn(t)(s.Power(width, speed)); math.Abs(back/power-1) > 1e-7 {
				t.Fatalf("%g W/m melts a width that takes %g", power, back)
			}
		}
	})
}

// The bound without a search holds at every speed, and is no more than 1.8 k ΔT above what the search finds.
func TestPowerBound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.SampledFrom(Materials()).Draw(t, "material").LineSource()
		width := rapid.Float64Range(1e-5, 5e-3).Draw(t, "width")
		speed := math.Exp(rapid.Float64Range(-12, 2).Draw(t, "ln speed"))
		power := mustIn(t)(s.Power(width, speed))
		bound := mustIn(t)(s.PowerBound(width, speed))
		if power > bound || bound-power > 1.8*s.Conductivity*s.Rise {
			t.Fatalf("%g W/m, bound %g", power, bound)
		}
	})
}

// The beam is narrowest in focus, alike on both sides, and nowhere in a plate narrower or wider than the span says.
func TestBeamInsideAPlate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := Beam{rapid.Float64Range(20e-6, 1e-3).Draw(t, "waist"), rapid.Float64Range(0.34e-6, 20e-6).Draw(t, "product")}
		focus := rapid.Float64Range(-30e-3, 30e-3).Draw(t, "focus")
		thickness := rapid.Float64Range(0.5e-3, 50e-3).Draw(t, "thickness")
		span, ok := b.Inside(focus, thickness)
		if !ok {
			t.Fatal("no span")
		}
		depth := rapid.Float64Range(0, 1).Draw(t, "depth") * thickness
		d := mustIn(t)(b.At(-depth, focus))
		if d < span.Smallest*(1-1e-12) || d > span.Largest*(1+1e-12) || span.Smallest < b.Waist {
			t.Fatalf("%g at depth %g, span %+v, waist %g", d, depth, span, b.Waist)
		}
		z := math.Abs(focus)
		if one, other := mustIn(t)(b.Diameter(z)), mustIn(t)(b.Diameter(-z)); one != other {
			t.Fatalf("%g on one side, %g on the other", one, other)
		}
		if mustIn(t)(ClippedShare(d, 1e-3)) < mustIn(t)(ClippedShare(d, 1.1e-3)) {
			t.Fatal("a larger orifice stops more")
		}
	})
}

// Heat and oxygen grow with each of width, thickness and speed, and nothing burns more than there is oxygen or metal for.
func TestBalanceIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := Kerf{
			Material: rapid.SampledFrom(Materials()).Draw(t, "material"), Width: rapid.Float64Range(0.05e-3, 2e-3).Draw(t, "width"),
			Thickness: rapid.Float64Range(0.3e-3, 50e-3).Draw(t, "thickness"), Speed: rapid.Float64Range(1e-3, 2).Draw(t, "speed"),
			Power: rapid.Float64Range(0, 60e3).Draw(t, "power"), Gas: anyGas.Draw(t, "gas"),
			GasFlow: rapid.Float64Range(0, 20e-3).Draw(t, "flow"), Orifice: rapid.Float64Range(0.5e-3, 5e-3).Draw(t, "orifice"),
		}
		b, ok := k.Balance()
		faster := k
		faster.Speed *= 1.1
		f, ok2 := faster.Balance()
		if !ok || !ok2 || f.Melt <= b.Melt || f.OxygenNeeded <= b.OxygenNeeded || f.Oxidation < b.Oxidation*(1-1e-12) {
			t.Fatalf("%+v, faster %+v", b, f)
		}
		most := k.Material.Oxide.Heat * math.Min(b.OxygenNeeded, k.GasFlow)
		if b.Oxidation > most*(1+1e-12) {
			t.Fatalf("%g W of burning, %g at most", b.Oxidation, most)
		}
	})
}

// A worse measurement never gets a better range, and thicker plate may be worse.
func TestRangesAreMonotone(t *testing.T) {
	worst := func(n int) int { // beyond the last counts as the worst
		if n == 0 {
			return 9
		}
		return n
	}
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0.5e-3, 32e-3).Draw(t, "thickness")
		u := rapid.Float64Range(0, 3e-3).Draw(t, "u")
		rz := rapid.Float64Range(0, 200e-6).Draw(t, "Rz5")
		for _, f := range []struct {
			grade    func(float64, float64) (int, bool)
			measured float64
		}{{PerpendicularityRange, u}, {RoughnessRange, rz}} {
			n, _ := f.grade(f.measured, a)
			worse, _ := f.grade(f.measured*1.1, a)
			thicker, _ := f.grade(f.measured, a*1.1)
			if worst(worse) < worst(n) || worst(thicker) > worst(n) {
				t.Fatalf("range %d, measured worse %d, thicker %d", n, worse, thicker)
			}
		}
	})
}

// root stays in its bracket and finds the crossing, also where the curve is flat or steep.
func TestRoot(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := rapid.Float64Range(-10, 10).Draw(t, "at")
		power := rapid.SampledFrom([]float64{1, 1.0 / 3, 3, 9}).Draw(t, "power")
		f := func(x float64) float64 { return math.Copysign(math.Pow(math.Abs(x-at), power), x-at) }
		a, b := at-rapid.Float64Range(1e-3, 100).Draw(t, "left"), at+rapid.Float64Range(1e-3, 100).Draw(t, "right")
		if rapid.Bool().Draw(t, "turned") {
			a, b = b, a
		}
		x, ok := root(f, a, b)
		// f itself cannot tell places apart that are closer than its smallest step around nought.
		if !ok || math.Abs(x-at) > 1e-12*math.Max(1, math.Abs(at)) {
			t.Fatalf("found %g, %v, want %g", x, ok, at)
		}
	})
	if x, ok := root(math.Cos, 0, 1); ok {
		t.Errorf("cos has a root %g between 0 and 1", x)
	}
	if x, ok := root(func(float64) float64 { return math.NaN() }, 0, 1); ok {
		t.Errorf("no numbers have a root %g", x)
	}
}

func BenchmarkMeltWidth(b *testing.B) {
	m, _ := MaterialNamed("carbon-steel")
	s := m.LineSource()
	for b.Loop() {
		s.Width(1e6, 0.05)
	}
}

func BenchmarkValveHolds(b *testing.B) {
	g, _ := GasNamed("oxygen")
	for b.Loop() {
		Valve{4.2e-8, 0.32}.Holds(g, 4.5e5, Nozzle{1.5e-3, 0.9}, Atmosphere, Room)
	}
}
