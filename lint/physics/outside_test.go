package physics

import (
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// rows reads a reference table of testdata/outside/physics: fields separated by tabs, lines with # are headings.
func rows(t *testing.T, name string) [][]string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "outside", "physics", name))
	if err != nil {
		t.Fatal(err)
	}
	var out [][]string
	for line := range strings.Lines(string(text)) {
		if line = strings.TrimSuffix(line, "\n"); line != "" && line[0] != '#' {
			out = append(out, strings.Split(line, "\t"))
		}
	}
	if len(out) == 0 {
		t.Fatalf("%s has no rows", name)
	}
	return out
}

func numbers(t *testing.T, fields []string) []float64 {
	t.Helper()
	out := make([]float64, len(fields))
	for i, f := range fields {
		var err error
		if out[i], err = strconv.ParseFloat(f, 64); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

// near fails unless got is within a share of want.
func near(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if !(math.Abs(got-want) <= share*math.Abs(want)) {
		t.Errorf("%s is %.12g, want %.12g within %g", what, got, want, share)
	}
}

// must takes an answer that has to be there.
func must(t *testing.T) func(float64, bool) float64 {
	return func(x float64, ok bool) float64 {
		t.Helper()
		if !ok {
			t.Error("no answer where there is one")
		}
		return x
	}
}

// Reference: scipy.special (Amos).
func TestBesselAgainstScipy(t *testing.T) {
	for _, row := range rows(t, "bessel.tsv") {
		v := numbers(t, row)
		k0, k1, difference := bessel(v[0])
		near(t, "K0 exp at "+row[0], k0, v[3], 2e-11)
		near(t, "K1 exp at "+row[0], k1, v[4], 2e-11)
		near(t, "K1-K0 exp at "+row[0], difference, v[4]-v[3], 1e-10*(v[3]+v[4])/(v[4]-v[3]))
		plain := must(t)(K0(v[0]))
		near(t, "K0 at "+row[0], plain, v[1], 2e-11)
	}
}

// Reference: scipy's search for the widest place of the isotherm.
func TestMeltWidthAgainstScipy(t *testing.T) {
	s := LineSource{Conductivity: 34, Diffusivity: 6e-6, Rise: 1500}
	const speed = 0.05
	for _, row := range rows(t, "line_source.tsv") {
		v := numbers(t, row)
		power := v[0] * 2 * math.Pi * s.Conductivity * s.Rise
		width := must(t)(s.Width(power, speed))
		near(t, "width at T = "+row[0], speed*width/s.Diffusivity, v[1], 1e-6)
		near(t, "efficiency at T = "+row[0], must(t)(s.Efficiency(power, width, speed)), v[2], 1e-6)
		near(t, "power back at T = "+row[0], must(t)(s.Power(width, speed)), power, 1e-9)
	}
}

// Reference: energy balance and adiabat, the throat found by scipy.
func TestIsentropicAgainstFirstPrinciples(t *testing.T) {
	for _, row := range rows(t, "isentropic.tsv") {
		v := numbers(t, row)
		gamma, ratio := v[0], v[1]
		mach := must(t)(MachNumber(ratio, gamma))
		near(t, "Mach", mach, v[2], 1e-9)
		near(t, "p/p0", must(t)(PressureRatio(mach, gamma)), ratio, 1e-9)
		near(t, "T/T0", math.Pow(ratio, (gamma-1)/gamma), v[3], 1e-9)
		near(t, "A/A*", must(t)(AreaRatio(mach, gamma)), v[4], 1e-9)
		near(t, "critical", must(t)(CriticalRatio(gamma)), v[6], 1e-9)
		psi, choked := flux(ratio, gamma)
		if choked != (ratio <= v[6]) {
			t.Errorf("choked at %g for gamma %g: %v", ratio, gamma, choked)
		}
		if choked {
			near(t, "choked flux", psi, v[4]*v[5], 1e-9) // A/A* times the flux of the expanded stream is the throat's
		} else {
			near(t, "flux", psi, v[5], 1e-9)
		}
	}
}

// Reference: complex beam parameter with ray matrices; the integral of a Gaussian profile.
func TestBeamAgainstRayMatrices(t *testing.T) {
	for _, row := range rows(t, "beam.tsv") {
		if row[0] == "clip" {
			v := numbers(t, row[1:])
			near(t, "clipped at "+row[1], must(t)(ClippedShare(2e-3, v[0]*2e-3)), v[1], 1e-9)
			continue
		}
		v := numbers(t, row)
		near(t, "diameter", must(t)(Beam{v[0], v[1]}.Diameter(v[2])), v[3], 1e-9)
	}
}

// Reference: NASA TM-4513. A constant has to agree within the spread that it claims; those of pure metals closer.
func TestConstantsAgainstNASA(t *testing.T) {
	names := map[string]string{"iron": "carbon-steel"}
	oxides := map[string]string{"FeO": "carbon-steel", "Cr2O3": "stainless-steel", "Al2O3": "aluminium", "Cu2O": "copper", "MgO": "magnesium", "TiO2": "titanium"}
	for _, row := range rows(t, "heat.tsv") {
		v := numbers(t, row[2:])
		switch row[0] {
		case "melt":
			name := row[1]
			if own, ok := names[name]; ok {
				name = own
			}
			m := named(t, name)
			near(t, name+" melting point", m.Melting.Value, v[0], m.Melting.Spread)
			near(t, name+" heat", m.Heat.Value, v[1], 0.005)
			near(t, name+" fusion", m.Fusion.Value, v[2], 0.005)
		case "gas":
			g, ok := GasNamed(row[1])
			if !ok {
				t.Errorf("no gas %s", row[1])
			}
			near(t, row[1]+" mass", g.MolarMass, v[0], 1e-6)
			near(t, row[1]+" heat ratio", g.HeatRatio, v[1], 2e-4)
		case "oxide":
			m := named(t, oxides[row[1]])
			if m.Oxide.Formula != row[1] {
				t.Errorf("%s burns to %s, not %s", m.Name, m.Oxide.Formula, row[1])
			}
			near(t, row[1]+" heat", m.Oxide.Heat, v[0], 0.005)
			if m.Name != "stainless-steel" { // chromium alone there
				near(t, row[1]+" oxygen", m.Oxide.Oxygen, v[1], 0.001)
			}
		}
	}
}

func named(t *testing.T, name string) Material {
	t.Helper()
	m, ok := MaterialNamed(name)
	if !ok {
		t.Fatalf("no material %q", name)
	}
	return m
}

func gas(t *testing.T, name string) Gas {
	t.Helper()
	g, ok := GasNamed(name)
	if !ok {
		t.Fatalf("no gas %q", name)
	}
	return g
}
