package physics

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Ordinary cuts come out possible, and in the ranges that the docs name. Reference: common practice, from memory; kerfs are guesses that go with the
// plate. Rules that judge conditions are held to far more of them; this is for the balance itself.
func TestOrdinaryCutsArePossible(t *testing.T) {
	const inch, psi = 25.4e-3, 6894.757
	for _, c := range []struct {
		what, material, gas                                string
		thickness, speed, power, kerf, orifice, gauge      float64
		leastUsed, mostUsed, leastPerArea, mostPerAreaJmm2 float64
	}{
		{"1/8 in mild steel", "carbon-steel", "oxygen", inch / 8, 135 * inch / 60, 1800, 0.30e-3, 1.0e-3, 3 * psi, 0.1, 0.65, 3, 40},
		{"1/4 in mild steel", "carbon-steel", "oxygen", inch / 4, 90 * inch / 60, 2500, 0.35e-3, 1.2e-3, 3.5 * psi, 0.1, 0.65, 3, 40},
		{"16 mm mild steel, air, 30 kW", "carbon-steel", "air", 16e-3, 7.5 / 60, 30e3, 0.5e-3, 3.5e-3, 10e5, 0.1, 0.4, 3, 130},
		{"2 mm stainless, 6 kW", "stainless-steel", "nitrogen", 2e-3, 30.0 / 60, 6000, 0.15e-3, 2e-3, 12e5, 0.1, 0.4, 3, 130},
		{"25 mm stainless, 6 kW", "stainless-steel", "nitrogen", 25e-3, 0.2 / 60, 6000, 0.5e-3, 4e-3, 18e5, 0.03, 0.4, 3, 130},
		{"8 mm copper, 6 kW", "copper", "oxygen", 8e-3, 0.8 / 60, 6000, 0.4e-3, 2e-3, 8e5, 0.03, 0.4, 3, 130},
		{"6 mm aluminium, 6 kW", "aluminium", "nitrogen", 6e-3, 6.0 / 60, 6000, 0.3e-3, 2.5e-3, 14e5, 0.03, 0.4, 3, 130},
	} {
		g := gas(t, c.gas)
		flow, ok := Nozzle{c.orifice, UsualDischarge}.Flow(g, Absolute(c.gauge), Atmosphere, Room)
		if !ok {
			t.Errorf("%s: no flow", c.what)
		}
		b, ok := Kerf{named(t, c.material), c.kerf, c.thickness, c.speed, c.power, g, flow.Mass, c.orifice}.Balance()
		if !ok || b.Melt >= b.Laser+b.Oxidation {
			t.Errorf("%s cannot be: %+v, %v", c.what, b, ok)
		}
		if used := b.Melt / b.Laser; used < c.leastUsed || used > c.mostUsed {
			t.Errorf("%s: melting takes %.3f of the laser's power, want %g to %g", c.what, used, c.leastUsed, c.mostUsed)
		}
		if e := must(t)(EnergyPerArea(c.power, c.thickness, c.speed)) / 1e6; e < c.leastPerArea || e > c.mostPerAreaJmm2 {
			t.Errorf("%s: %.1f J/mm2, want %g to %g", c.what, e, c.leastPerArea, c.mostPerAreaJmm2)
		}
	}
}

// The share of the jet that a kerf is credited with is never less than what lies over it. Reference: area of a disk's middle strip, by hand:
// (2/π)·(asin s + s·√(1 − s²)), s = w/d.
func TestKerfShareIsABound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := rapid.Float64Range(1e-3, 1).Draw(t, "w/d")
		strip := 2 / math.Pi * (math.Asin(s) + s*math.Sqrt(1-s*s))
		share := mustIn(t)(KerfShare(s*2e-3, 2e-3))
		if share < strip*(1-1e-12) || s <= 0.5 && share > strip*1.05 {
			t.Fatalf("credited %g, strip %g", share, strip)
		}
	})
}
