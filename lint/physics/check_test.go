package physics

import (
	"fmt"
	"math"
	"testing"
)

// Isentropic flow. Reference: tables of NACA Report 1135, γ = 1.4.
func TestNACATables(t *testing.T) {
	near(t, "p*/p0", must(t)(CriticalRatio(1.4)), 0.52828, 1e-5)
	near(t, "p/p0 at M 2", must(t)(PressureRatio(2, 1.4)), 0.1278, 2e-4)
	near(t, "A/A* at M 2", must(t)(AreaRatio(2, 1.4)), 1.6875, 2e-5)
	near(t, "A/A* at M 1", must(t)(AreaRatio(1, 1.4)), 1, 1e-12)
	near(t, "M at 0.1278", must(t)(MachNumber(0.12780, 1.4)), 2, 2e-4)
}

// Reference: worked by hand, Cd 0.9, 20 °C.
func TestOrificesByHand(t *testing.T) {
	for _, c := range []struct {
		gas                       string
		diameter, gauge           float64
		grams, cubicMetres, share float64
		choked                    bool
	}{
		{"oxygen", 1.0e-3, 0.207e5, 0.165, 0.45, 0.01, false},
		{"nitrogen", 2.0e-3, 12e5, 8.5, 27, 0.015, true},
	} {
		g := gas(t, c.gas)
		flow, ok := Nozzle{c.diameter, 0.9}.Flow(g, Absolute(c.gauge), Atmosphere, Room)
		if !ok || flow.Choked != c.choked {
			t.Errorf("%s: choked %v, ok %v", c.gas, flow.Choked, ok)
		}
		near(t, c.gas+" g/s", flow.Mass*1e3, c.grams, c.share)
		near(t, c.gas+" m3/h ANR", must(t)(ANR.Volume(g, flow.Mass))*Hour, c.cubicMetres, c.share)
	}
}

// Reference: worked by hand from the gas law: what is 20 °C and 100 kPa in ANR is 273.15/293.15·100/101.325 of it in DIN 1343.
func TestVolumeAtOtherReferences(t *testing.T) {
	g := gas(t, "nitrogen")
	anr, normal := must(t)(ANR.Volume(g, 1)), must(t)(DIN1343.Volume(g, 1))
	near(t, "normal over ANR", normal/anr, 273.15/293.15*100/101.325, 1e-12)
	near(t, "kg of nitrogen in m3 normal", 1/normal, 1.2498, 1e-3) // 28.013/22.414, from memory
	zero, ok := ReferenceAt(273.15)
	if !ok || zero != DIN1343 {
		t.Errorf("0 °C is counted at %v", zero)
	}
	if twenty, ok := ReferenceAt(Room); !ok || twenty != ANR {
		t.Errorf("20 °C is counted at %v", twenty)
	}
}

// Reference: Dalton's law worked by hand; molar mass of dry air 28.9647 g/mol (ISO 2533) from its parts.
func TestMixes(t *testing.T) {
	air := gas(t, "air")
	made, ok := Mix(map[string]float64{"nitrogen": 0.78084, "oxygen": 0.20948, "argon": 0.00934, "carbon-dioxide": 0.00034})
	if !ok {
		t.Fatal("air cannot be mixed")
	}
	near(t, "mass of air", made.MolarMass, air.MolarMass, 2e-4)
	near(t, "heat ratio of air", made.HeatRatio, air.HeatRatio, 2e-4)
	near(t, "oxygen in air", made.Oxygen, air.Oxygen, 1e-3)
	near(t, "oxygen by mass", air.OxygenMass(), 0.2314, 1e-3) // from memory
	near(t, "R of air", air.Constant(), 287.05, 1e-4)         // ISO 2533

	forming, ok := Mix(map[string]float64{"nitrogen": 0.95, "hydrogen": 0.05})
	if !ok {
		t.Fatal("forming gas cannot be mixed")
	}
	near(t, "forming gas", forming.MolarMass, 26.7141e-3, 1e-6)
	for _, bad := range []map[string]float64{nil, {"nitrogen": 0.5}, {"nitrogen": 0.6, "oxygen": 0.6}, {"neon": 1}, {"nitrogen": 1.5, "oxygen": -0.5}, {"oxygen": math.NaN()}} {
		if g, ok := Mix(bad); ok || g != (Gas{}) {
			t.Errorf("Mix(%v) = %v, %v", bad, g, ok)
		}
	}
}

// Reference: ISO 6358-1: choked flow C·ρ0·p1 at T0, by hand; the ellipse meets it at b.
func TestValve(t *testing.T) {
	v := Valve{4.2e-8, 0.32}
	air := gas(t, "air")
	choked, _ := v.Flow(air, 4.5e5, 1e5, Room)
	near(t, "choked air", choked.Mass, 4.2e-8*1.185*4.5e5, 1e-12)
	if !choked.Choked {
		t.Error("not choked below b")
	}
	below, _ := v.Flow(air, 4.5e5, 4.5e5*0.32*(1-1e-9), Room)
	above, _ := v.Flow(air, 4.5e5, 4.5e5*0.32*(1+1e-9), Room)
	near(t, "flow at b from both sides", above.Mass, below.Mass, 1e-12)
	half, _ := v.Flow(air, 4.5e5, 4.5e5*0.66, Room) // half way between b and 1: √(1 − ¼)
	near(t, "flow half way up", half.Mass, choked.Mass*math.Sqrt(0.75), 1e-12)
	if at, ok := v.Flow(air, 1e5, 0.32e5, Room); !ok || !at.Choked {
		t.Errorf("not choked at b: %+v, %v", at, ok)
	}
	if none, ok := v.Flow(air, 4.5e5, 4.5e5, Room); !ok || none.Mass != 0 {
		t.Errorf("no difference of pressure passes %v, %v", none, ok)
	}
	if _, ok := v.Flow(air, 1e5, 4.5e5, Room); ok {
		t.Error("flows uphill")
	}
	// Through one throat helium goes in volume as the speed of sound allows: √(R_He/R_air)·Ψ_He/Ψ_air = 2.69·1.06, by hand.
	helium, _ := v.Flow(gas(t, "helium"), 4.5e5, 1e5, Room)
	volume, _ := ANR.Volume(gas(t, "helium"), helium.Mass)
	anr, _ := ANR.Volume(air, choked.Mass)
	near(t, "helium over air", volume/anr, 2.690*0.726/0.6847, 2e-3)
}

// Hot gas is thin: at four times the absolute temperature half the mass passes valve and nozzle. Reference: √(T0/T1), ISO 6358-1 and by hand.
func TestHotGas(t *testing.T) {
	g := gas(t, "nitrogen")
	for what, flow := range map[string]func(temperature float64) (Flow, bool){
		"valve":          func(k float64) (Flow, bool) { return Valve{4.2e-8, 0.32}.Flow(g, 4e5, 3e5, k) },
		"nozzle":         func(k float64) (Flow, bool) { return Nozzle{1e-3, 0.9}.Flow(g, 1.2e5, 1e5, k) },
		"nozzle, choked": func(k float64) (Flow, bool) { return Nozzle{1e-3, 0.9}.Flow(g, 9e5, 1e5, k) },
	} {
		cold, ok := flow(250)
		hot, ok2 := flow(1000)
		if !ok || !ok2 {
			t.Errorf("%s: no flow", what)
		}
		near(t, what, hot.Mass, cold.Mass/2, 1e-12)
	}
}

// What the valve holds must pass alike through valve and nozzle.
func TestValveHolds(t *testing.T) {
	oxygen := gas(t, "oxygen")
	v, n := Valve{4.2e-8, 0.32}, Nozzle{1.5e-3, 0.9}
	line := Absolute(3.5e5)
	p := must(t)(v.Holds(oxygen, line, n, Atmosphere, Room))
	in, _ := v.Flow(oxygen, line, p, Room)
	out, _ := n.Flow(oxygen, p, Atmosphere, Room)
	near(t, "valve against nozzle", in.Mass, out.Mass, 1e-9)
	if p <= Atmosphere || p >= line {
		t.Errorf("holds %g", p)
	}
	wide := must(t)(v.Holds(oxygen, line, Nozzle{3e-3, 0.9}, Atmosphere, Room))
	if wide >= p {
		t.Errorf("a wider nozzle leaves more pressure: %g, then %g", p, wide)
	}
	if _, ok := v.Holds(oxygen, Atmosphere, n, Atmosphere, Room); ok {
		t.Error("an empty line holds something")
	}
}

// Reference: worked by hand from ISO 11146-1.
func TestBeamByHand(t *testing.T) {
	near(t, "M² = 1 at 1.07 µm", must(t)(TimesDiffraction(0.3406e-6, 1.07e-6)), 1, 1e-4)
	near(t, "spot", must(t)(Spot(0.1e-3, 200e-3, 100e-3)), 0.2e-3, 1e-12)
	b := Beam{0.2e-3, 3.5e-6}
	rayleigh := must(t)(b.Rayleigh())
	near(t, "Rayleigh length", rayleigh, 0.2e-3*0.2e-3/(4*3.5e-6), 1e-12) // 2.857 mm
	near(t, "one Rayleigh length out", must(t)(b.Diameter(rayleigh)), math.Sqrt2*0.2e-3, 1e-12)
	near(t, "as far on the other side", must(t)(b.Diameter(-rayleigh)), math.Sqrt2*0.2e-3, 1e-12)
	near(t, "half angle", must(t)(b.HalfAngle()), 0.035, 1e-12)
	near(t, "far away", must(t)(b.Diameter(10)), 2*0.035*10, 1e-6)
	near(t, "at the tip of the nozzle", must(t)(b.At(1e-3, 1e-3-rayleigh)), math.Sqrt2*0.2e-3, 1e-12)

	inside, ok := b.Inside(-2e-3, 10e-3)
	if !ok || inside.Smallest != 0.2e-3 || inside.Largest != inside.Bottom || inside.Top >= inside.Bottom {
		t.Errorf("focus in the plate: %+v", inside)
	}
	outside, ok := b.Inside(2e-3, 10e-3)
	if !ok || outside.Smallest != outside.Top || outside.Top <= 0.2e-3 || outside.Largest != outside.Bottom {
		t.Errorf("focus above the plate: %+v", outside)
	}
	below, ok := b.Inside(-12e-3, 10e-3)
	if !ok || below.Smallest != below.Bottom || below.Bottom <= 0.2e-3 || below.Largest != below.Top {
		t.Errorf("focus below the plate: %+v", below)
	}
	near(t, "Gauss through a hole of his own size", must(t)(ClippedShare(1e-3, 1e-3)), 0.1353, 1e-3)
	near(t, "intensity", must(t)(Intensity(math.Pi, 2)), 1, 1e-12)
}

// Reference: NIST-JANAF as the tables print it (iron 298 K to liquid about 1.3 MJ/kg; FeO −272 kJ/mol), and stoichiometry by hand.
func TestIron(t *testing.T) {
	steel := named(t, "carbon-steel")
	near(t, "enthalpy", steel.Enthalpy().Value, 1.3e6, 0.01)
	near(t, "melt energy", steel.MeltEnergy().Value, 10.3e9, 0.01)
	near(t, "oxygen per iron", steel.Oxide.Oxygen, 15.999/55.845, 1e-3)
	near(t, "heat per iron", steel.Oxide.Heat*steel.Oxide.Oxygen, 4.87e6, 1e-3)
	near(t, "heat per mole", steel.Oxide.Heat*15.999e-3, 272e3, 1e-3)
}

// Reference: orders of magnitude worked by hand; the one of stainless steel with the constants of iron, hence its margin.
func TestMeltPowerByHand(t *testing.T) {
	near(t, "stainless 10 mm", must(t)(MeltPower(named(t, "stainless-steel"), 0.35e-3, 10e-3, 2.0/60)), 1.2e3, 0.15)
	steel := named(t, "carbon-steel")
	near(t, "steel 3.175 mm", must(t)(MeltPower(steel, 0.30e-3, 3.175e-3, 3.43/60)), 0.56e3, 0.01)
	near(t, "its oxygen", must(t)(OxygenNeeded(steel, 0.30e-3, 3.175e-3, 3.43/60)), 0.12e-3, 0.03)
	// 16 mm carbon steel with air, 30 kW, 7.5 m/min: 0.38 of the laser's power, for the kerf of 0.55 mm that this number implies.
	near(t, "steel 16 mm over 30 kW", must(t)(MeltPower(steel, 0.55e-3, 16e-3, 7.5/60))/30e3, 0.38, 0.02)
}

// Reference: worked by hand.
func TestEnergyPerArea(t *testing.T) {
	near(t, "25 mm stainless, 6 kW, 0.2 m/min", must(t)(EnergyPerArea(6e3, 25e-3, 0.2/60)), 72e6, 0.001)
	near(t, "8 mm copper, 6 kW, 0.8 m/min", must(t)(EnergyPerArea(6e3, 8e-3, 0.8/60)), 56e6, 0.005)
	near(t, "along the cut", must(t)(EnergyPerLength(6e3, 3.0/60)), 120e3, 1e-12)
	near(t, "mean of pulses", must(t)(MeanPower(900, 0.35)), 315, 1e-12)
}

// Reference: worked by hand: 4w/(πd) of the jet, and common practice for thin plate (about half of it could burn).
func TestKerfBalance(t *testing.T) {
	near(t, "share of the jet", must(t)(KerfShare(0.3e-3, 1e-3)), 0.38197, 1e-4)
	near(t, "a kerf wider than the jet", must(t)(KerfShare(2e-3, 1e-3)), 1, 0)
	oxygen := gas(t, "oxygen")
	flow, _ := Nozzle{1e-3, 0.9}.Flow(oxygen, Absolute(0.207e5), Atmosphere, Room)
	k := Kerf{named(t, "carbon-steel"), 0.30e-3, 3.175e-3, 3.43 / 60, 1800, oxygen, flow.Mass, 1e-3}
	b, ok := k.Balance()
	if !ok {
		t.Fatal("no balance")
	}
	near(t, "burnt", must(t)(b.Burnt()), 0.51, 0.03)
	near(t, "oxidation", b.Oxidation, 0.382*0.165e-3*17.0e6, 0.01)
	used := must(t)(b.Used())
	near(t, "used", used, 560/(1800+1072.0), 0.02)

	rich := k
	rich.GasFlow *= 100 // far more than there is iron for: no more heat than 4.87 MJ/kg gives
	full, _ := rich.Balance()
	near(t, "all iron burnt", full.Oxidation, b.OxygenNeeded*17.0e6, 1e-12)

	inert := k
	inert.Gas = gas(t, "nitrogen")
	if b, ok := inert.Balance(); !ok || b.Oxidation != 0 || b.OxygenSupplied != 0 {
		t.Errorf("nitrogen burns: %+v", b)
	}
	still := k
	still.GasFlow, still.Orifice, still.Gas = 0, 0, Gas{}
	if b, ok := still.Balance(); !ok || b.Oxidation != 0 {
		t.Errorf("no gas burns: %+v, %v", b, ok)
	}
}

// Reference: worked by hand.
func TestPierce(t *testing.T) {
	h := Hole{named(t, "carbon-steel"), 0.2e-3, 10e-3}
	near(t, "hole", must(t)(h.Energy()), 10.21e9*math.Pi/4*0.04e-6*10e-3, 0.01) // 3.2 J
	stages := []Stage{
		{Power: 900, EndPower: 900, Duty: 0.35, Time: 0.12},
		{Time: 0.2, Oxygen: 1e-3}, // blows: no heat
		{Power: 1000, EndPower: 3000, Duty: 1, Time: 0.5, Oxygen: 1e-7},
	}
	b, ok := h.Pierce(stages)
	if !ok {
		t.Fatal("no balance")
	}
	near(t, "laser", b.Laser, 900*0.35*0.12+2000*0.5, 1e-12)
	near(t, "time", b.Time, 0.82, 1e-12)
	near(t, "oxidation", b.Oxidation, 0.5e-7*17.0e6, 1e-9)
	near(t, "excess", must(t)(b.Excess()), (b.Laser+b.Oxidation)/b.Needed, 1e-12)
	stages[2].Oxygen = 1
	rich, _ := h.Pierce(stages)
	near(t, "no more than the iron of the hole", rich.Oxidation, 7850*math.Pi/4*0.04e-6*10e-3*4.87e6, 1e-3)
	if none, ok := h.Pierce(nil); !ok || none.Laser != 0 || none.Needed <= 0 {
		t.Errorf("start at the edge: %+v, %v", none, ok)
	}
}

// Reference: Swift-Hook and Gick (1973); 0.4839 is √(2/(π e)).
func TestFastLineSource(t *testing.T) {
	near(t, "limit", FastEfficiency, 0.4839, 1e-4)
	near(t, "limit as a root", FastEfficiency, math.Sqrt(2/(math.Pi*math.E)), 1e-15)
	s := named(t, "stainless-steel").LineSource()
	const power, speed = 1e9, 1.0
	width := must(t)(s.Width(power, speed))
	near(t, "v w/κ", speed*width/s.Diffusivity, FastEfficiency*power/(s.Conductivity*s.Rise), 1e-3)
	if w, ok := s.Width(1e-3, speed); !ok || w != 0 {
		t.Errorf("next to no power melts %g, %v", w, ok)
	}
}

// Reference: worked by hand.
func TestCost(t *testing.T) {
	r := Rates{Machine: 85.0 / Hour, Gas: 0.35}
	c, ok := r.PerMetre(3.0/60, 27.0/Hour)
	if !ok {
		t.Fatal("no cost")
	}
	near(t, "machine", c.Machine, 85.0/180, 1e-12)
	near(t, "gas", c.Gas, 27*0.35/180, 1e-12)
	near(t, "total", c.Total(), 85.0/180+27*0.35/180, 1e-12)
	near(t, "gas along the cut", must(t)(GasPerMetre(27.0/Hour, 3.0/60)), 0.15, 1e-12)
	p, _ := r.ForTime(2, 0)
	near(t, "pierce", p.Total(), 170.0/Hour, 1e-12)
}

// Reference: the formulas of ISO 9013:2017, tables 4 and 5, as printed there (from memory), in mm and µm.
func TestISO9013(t *testing.T) {
	u := []func(a float64) float64{
		func(a float64) float64 { return 0.05 + 0.003*a }, func(a float64) float64 { return 0.15 + 0.007*a },
		func(a float64) float64 { return 0.4 + 0.01*a }, func(a float64) float64 { return 0.8 + 0.02*a },
		func(a float64) float64 { return 1.2 + 0.035*a },
	}
	rz := []func(a float64) float64{
		func(a float64) float64 { return 10 + 0.6*a }, func(a float64) float64 { return 40 + 0.8*a },
		func(a float64) float64 { return 70 + 1.2*a }, func(a float64) float64 { return 110 + 1.8*a },
	}
	for _, a := range []float64{0.5, 1, 3, 3.175, 10, 20, 32} {
		check := func(what string, borders []func(float64) float64, unit float64, limit func(int, float64) (float64, bool), grade func(float64, float64) (int, bool)) {
			for i, f := range borders {
				border := f(a) / unit
				near(t, fmt.Sprintf("%s %d at %g mm", what, i+1, a), must(t)(limit(i+1, a/1e3)), border, 1e-12)
				if n, ok := grade(border, a/1e3); !ok || n != i+1 {
					t.Errorf("%s on the border of %d at %g mm is %d", what, i+1, a, n)
				}
				worse := i + 2
				if worse > len(borders) {
					worse = 0
				}
				if n, ok := grade(border*1.0001, a/1e3); !ok || n != worse {
					t.Errorf("%s past the border of %d at %g mm is %d, want %d", what, i+1, a, n, worse)
				}
			}
		}
		check("u", u, 1e3, PerpendicularityLimit, PerpendicularityRange)
		check("Rz5", rz, 1e6, RoughnessLimit, RoughnessRange)
	}
	for thickness, in := range map[float64]bool{0.4e-3: false, 0.5e-3: true, 32e-3: true, 33e-3: false} {
		if LaserScope(thickness) != in {
			t.Errorf("%g m in the scope of laser cuts: %v", thickness, !in)
		}
	}
}

// Reference: EN 1090-2:2018+A1, table 9 (from memory).
func TestExecutionClass(t *testing.T) {
	for class, want := range map[int][2]int{2: {5, 4}, 3: {4, 4}, 4: {4, 4}} {
		u, rz, ok := ExecutionClass(class)
		if !ok || [2]int{u, rz} != want {
			t.Errorf("EXC%d is %d and %d, %v", class, u, rz, ok)
		}
	}
	for _, class := range []int{-1, 0, 1, 5} {
		if _, _, ok := ExecutionClass(class); ok {
			t.Errorf("EXC%d asks for something", class)
		}
	}
}

// Every material has every constant, with where it comes from and how far it may be off.
func TestMaterialsAreWhole(t *testing.T) {
	want := []string{"carbon-steel", "galvanized-steel", "stainless-steel", "aluminium", "copper", "brass", "titanium", "magnesium"}
	all := Materials()
	if len(all) != len(want) {
		t.Errorf("%d materials, want %d", len(all), len(want))
	}
	for _, name := range want {
		m := named(t, name)
		for what, c := range map[string]Constant{"density": m.Density, "melting": m.Melting, "heat": m.Heat, "fusion": m.Fusion, "conductivity": m.Conductivity} {
			if !positive(c.Value, c.Spread) || c.Spread > 0.5 || c.Source == "" || c.Low() >= c.High() {
				t.Errorf("%s, %s: %+v", name, what, c)
			}
		}
		if a := m.Absorptivity; a.Low <= 0 || a.High >= 1 || a.Low >= a.High || a.Source == "" {
			t.Errorf("%s, absorptivity: %+v", name, a)
		}
		if m.Reflectance.String() == "unknown" || m.Oxide.Formula == "" || m.Oxide.Source == "" || !positive(m.Oxide.Heat, m.Oxide.Oxygen) {
			t.Errorf("%s: %v, %+v", name, m.Reflectance, m.Oxide)
		}
	}
	if _, ok := MaterialNamed("mithril"); ok {
		t.Error("knows mithril")
	}
	// Diffusivity at a mean temperature, m²/s: handbook values from memory, which differ over the range by more than the margin taken.
	for name, want := range map[string]float64{"carbon-steel": 6e-6, "stainless-steel": 5e-6, "aluminium": 60e-6, "copper": 90e-6, "titanium": 6e-6} {
		near(t, name+" diffusivity", named(t, name).Diffusivity(), want, 0.2)
	}
}

// The jet. Fully expanded Mach number from NACA Report 1135 (M = 2 at p/p0 = 0.1278); under-expansion worked by hand.
func TestJet(t *testing.T) {
	g := Gas{MolarMass: 28.97e-3, HeatRatio: 1.4}
	j, ok := JetOf(g, 1e5/0.1278, 1e5)
	if !ok || !j.Choked || j.ExitMach != 1 {
		t.Errorf("%+v, %v", j, ok)
	}
	near(t, "Mach", j.Mach, 2, 2e-4)
	near(t, "under-expansion", j.UnderExpansion, 0.52828/0.1278, 1e-4)
	near(t, "spread", j.Spread, math.Sqrt(1.6875), 1e-4)
	near(t, "cell", j.Cell, 1.306*math.Sqrt(3)*math.Sqrt(1.6875), 1e-3)
	near(t, "disk", j.Disk, 0.67*math.Sqrt(1/0.1278), 1e-3)
	slow, ok := JetOf(g, 1.2e5, 1e5)
	if !ok || slow.Choked || slow.UnderExpansion != 1 || slow.Cell != 0 || slow.Mach != slow.ExitMach || slow.Mach >= 1 {
		t.Errorf("slow jet %+v, %v", slow, ok)
	}
}
