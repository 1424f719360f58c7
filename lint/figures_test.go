package lint

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"fettle/schema"
)

// figuresOf are those of a condition by block and key.
func figuresOf(lib *schema.Library, v *schema.Values) map[string]Figure {
	out := map[string]Figure{}
	for _, f := range Figures(lib, v) {
		out[f.Block+" "+f.Key] = f
	}
	return out
}

// The orders of magnitude that were worked by hand, from a file to the figure that a screen shows. Reference: the balance by hand in
// the margin of each line, with the constants of lint/physics; the flows with the tables of NACA Report 1135.
func TestFiguresByHand(t *testing.T) {
	for _, c := range []struct {
		what, edit, id string
		want           map[string]float64
		within         float64
	}{
		{
			// 7900 kg/m3 * 1.134 MJ/kg * 0.35 mm * 10 mm * 33.3 mm/s; 6 kW / (10 mm * 33.3 mm/s)
			"10 mm stainless at 2 m/min, kerf 0.35 mm", `inert:cut.speed=2 m/min; inert:kerf=0.35 mm; inert:cut.power=6 kW; inert:thickness=10 mm`, "bay-2/stainless-steel/nitrogen/10mm",
			map[string]float64{"cut melt-power": 1.2, "cut energy-per-area": 18, "cut energy-per-length": 180}, 0.15,
		},
		{
			// 7850 * 1.301e6 * 0.30e-3 * 3.175e-3 * 57.2e-3; 1.0 mm at 0.207 bar passes 0.165 g/s, 0.45 m3/h, over 3.43 m/min 2.2 L/m;
			// 7850 * 0.30e-3 * 3.175e-3 * 57.2e-3 * 0.2865 = 0.1225 g/s burn all; over the kerf 4*0.3/pi of 0.165 g/s
			"1/8 in at 135 in/min", `cut.speed=135 in/min; kerf=0.30 mm; cut.pressure=0.207 bar; nozzle.orifice=1.0 mm; cut.power=1.8 kW; thickness=1/8 in`, "bay-2/carbon-steel/oxygen/3.175mm",
			map[string]float64{"cut melt-power": 0.56, "cut gas-flow": 0.45, "cut gas-per-metre": 2.2, "cut oxygen-share": 100 * 0.165 * 4 * 0.3 / math.Pi / 0.1225, "cut energy-per-area": 9.92}, 0.02,
		},
		{
			"nitrogen through 2.0 mm at 12 bar", `inert:cut.pressure=12 bar`, "bay-2/stainless-steel/nitrogen/3mm",
			map[string]float64{"cut gas-flow": 27, "cut spot": 0.2, "cut rayleigh-length": 0.2 * 0.2 / 4 / 3.5e-3, "cut beam-at-surface": math.Hypot(0.2, 0.2*2/(0.04/4/3.5e-3)), "cut jet-mach": 2.3}, 0.02,
		},
		{
			// 0.35 * 900 W * 0.12 s; hole 7850 * 1.301e6 * pi/4 * (0.2e-3)^2 * 3e-3 = 0.96 J, less the spread of the constants
			"a pierce", `3mm:cut.focus=2 mm`, "bay-2/carbon-steel/oxygen/3mm",
			map[string]float64{"pierce pierce-energy": 37.8, "pierce pierce-time": 0.12, "pierce pierce-excess": 37.8 / 0.96 * 1.05}, 0.03,
		},
	} {
		e, err := (Rule{}).Example(c.edit)
		if err != nil {
			t.Fatal(err)
		}
		got := figuresOf(e.After, e.After.Recipe(id(t, c.id)).Values())
		for key, want := range c.want {
			f, ok := got[key]
			if !ok || math.Abs(f.Value/want-1) > c.within {
				t.Errorf("%s: %s is %g %s, want %g", c.what, key, f.Value, f.Unit, want)
			}
		}
	}
}

// Cost: an hour of the machine at 85 and gas at 0.9 a cubic metre counted at 0 °C, worked by hand: 0.45 m3/h at 20 °C and 1 bar is 0.414 at
// 0 °C and 1.013 bar, so 85.37 an hour over 205.8 m/h.
func TestCostByHand(t *testing.T) {
	const prices = `settings:prices={"currency": "EUR", "gas_at": "0 degC", "oxygen_m3": 0.9, "machine_hour": 85}; `
	e, err := (Rule{}).Example(prices + `cut.speed=135 in/min; kerf=0.30 mm; cut.pressure=0.207 bar; nozzle.orifice=1.0 mm; cut.power=1.8 kW; thickness=1/8 in`)
	if err != nil {
		t.Fatal(err)
	}
	got := figuresOf(e.After, e.After.Recipe(id(t, "bay-2/carbon-steel/oxygen/3.175mm")).Values())
	if f := got["cut cost-per-metre"]; math.Abs(f.Value/(85.37/205.74)-1) > 1e-3 || f.Unit != "EUR/m" || f.Note != "" {
		t.Errorf("%+v", f)
	}
	if f := got["pierce cost-per-pierce"]; math.Abs(f.Value/(0.3/3600*(85+0.9*1.5))-1) > 0.02 || f.Unit != "EUR" {
		t.Errorf("%+v", f)
	}
	// nitrogen has no price here, and the screen has to say so
	inert := figuresOf(e.After, e.After.Recipe(id(t, "bay-2/stainless-steel/nitrogen/3mm")).Values())
	if f := inert["cut cost-per-metre"]; f.Note != "without gas: nitrogen has no price" || math.Abs(f.Value/(85/(8.4*60))-1) > 1e-9 {
		t.Errorf("%+v", f)
	}
	if plain := figuresOf(e.Before, e.Before.Recipe(id(t, exampleID)).Values()); plain["cut cost-per-metre"].Key != "" {
		t.Error("a cost without prices")
	}
}

// What does not sever has no heat of a kerf, and yet a gas that is paid for.
func TestFiguresOfMarking(t *testing.T) {
	e, err := (Rule{}).Example(`settings:prices={"currency": "EUR", "oxygen_m3": 0.9}; process=mark; pierce:=[]`)
	if err != nil {
		t.Fatal(err)
	}
	got := figuresOf(e.After, e.After.Recipe(id(t, exampleID+"/mark")).Values())
	for key, want := range map[string]bool{"cut energy-per-area": false, "cut melt-share": false, "cut kerf": false, "cut beam-at-orifice": false, "pierce pierce-time": false,
		"cut energy-per-length": true, "cut gas-flow": true, "cut cost-per-metre": true, "cut beam-at-surface": true} {
		if got[key].Key != "" != want {
			t.Errorf("%s is there: %v", key, !want)
		}
	}
	if got["cut cost-per-metre"].Note != "gas alone" {
		t.Errorf("%+v", got["cut cost-per-metre"])
	}
}

// No figure of an ordinary condition lies outside of its range.
func TestFiguresOfOrdinaryConditions(t *testing.T) {
	lib := shopOf(t, ordinaries(t))
	for _, r := range lib.Recipes {
		for _, f := range Figures(lib, r.Values()) {
			if place := f.Sits(); place == "above" || place == "below" {
				t.Errorf("%s: %s of %s is %g %s, %s %g to %g", r.ID, f.Name, f.Block, f.Value, f.Unit, place, f.Low, f.High)
			}
		}
	}
}

// The screen does not show as fine what the rules call odd, nor the other way round: a figure outside of its range has a finding of the
// rule that judges it, and where a rule has one figure alone, a finding has that figure outside.
func TestFiguresAgreeWithRules(t *testing.T) {
	alone := map[string]string{"kerf-beam": "kerf", "standoff-orifice": "standoff-orifice", "jet": "jet-pressure", "pierce-energy": "pierce-excess"}
	judged := map[string]int{}
	all := ordinaries(t)
	for k, m := range mistakes {
		for i, o := range all {
			wrong := o.clone()
			if (i+k)%7 != 0 || !m.make(&wrong) {
				continue
			}
			lib := shopOf(t, []ordinary{wrong})
			r := lib.Recipes[0]
			said := map[string]bool{}
			s := newRun(lib, lib.Settings.Value, Options{})
			for _, rule := range Rules() {
				if !(&Finding{Rule: rule.Name}).isPhysics() {
					continue
				}
				p := s.inSet(r.File, r.Set)
				p.Recipe, p.Family, p.rule = r, s.familyOf(r), &rule
				rule.Check(&p)
			}
			for _, f := range s.found {
				said[f.Rule] = true
			}
			outside := map[string]bool{}
			for _, f := range Figures(lib, r.Values()) {
				place := f.Sits()
				if outside[f.Key] = place == "above" || place == "below"; !outside[f.Key] {
					continue
				}
				rule := f.Rule
				switch {
				case f.Key == "energy-per-area" && place == "below" && !o.burns(): // few joules are few, and melting them out is judged by its own
					continue
				case f.Key == "energy-per-area" && place == "below":
					rule = "energy-short"
				case f.Key == "oxygen-share" && place == "above":
					rule = "energy-excess"
				case (&Finding{Rule: rule}).isPhysics():
				default:
					continue // limits of the machine
				}
				judged[rule]++
				if !said[rule] {
					t.Errorf("%s on %s: %s is %g, %s %g to %g, and %s says nothing", m.name, r.ID, f.Name, f.Value, place, f.Low, f.High, rule)
				}
			}
			for rule, key := range alone {
				if said[rule] && !outside[key] {
					t.Errorf("%s on %s: %s speaks, and its figure is within", m.name, r.ID, rule)
				}
			}
		}
	}
	for _, rule := range []string{"energy-short", "energy-excess", "oxygen-short", "kerf-beam", "standoff-orifice", "jet", "pierce-energy", "beam-clips-nozzle"} {
		if judged[rule] == 0 {
			t.Errorf("no figure of %s was outside", rule)
		}
	}
}

// What a change does is the difference of two sets of figures and nothing that stays the same.
func TestEffectsOf(t *testing.T) {
	e, err := (Rule{}).Example(`settings:prices={"currency": "EUR", "oxygen_m3": 0.9, "machine_hour": 85}; cut.pressure=0.46 bar`)
	if err != nil {
		t.Fatal(err)
	}
	before, after := e.Before.Recipe(id(t, exampleID)).Values(), e.After.Recipe(id(t, exampleID)).Values()
	var keys []string
	for _, x := range EffectsOf(e.After, before, after) {
		keys = append(keys, x.Key)
		p, ok := x.Percent() // the root of 0.46/0.31 is 1.218, and the gas is a little denser
		if !ok || x.Key == "gas-flow" && (math.Abs(p-21.2) > 0.6 || x.Unit != "m3/h" || x.Name != "oxygen") {
			t.Errorf("%+v: %g", x, p)
		}
	}
	if len(keys) != 3 || keys[0] != "gas-flow" || keys[1] != "gas-per-metre" || keys[2] != "cost-per-metre" {
		t.Errorf("more pressure changes %q", keys)
	}
	if same := EffectsOf(e.After, after, after); len(same) != 0 {
		t.Errorf("nothing changed, and yet %+v", same)
	}
	created := EffectsOf(e.After, nil, after)
	if len(created) < 10 {
		t.Errorf("a new recipe has %d figures", len(created))
	}
	for _, x := range created {
		if _, ok := x.Percent(); ok || x.From != nil || x.To == nil {
			t.Errorf("%+v", x)
		}
	}
}

// Figures of any recipe are numbers, wherever they sit.
func TestFiguresOfHostileNumbers(t *testing.T) {
	fields := []string{"cut.power", "cut.speed", "cut.pressure", "cut.focus", "kerf", "nozzle.orifice", "nozzle.standoff", "pierce[0].power", "pierce[0].time", "pierce[0].pressure"}
	units := []string{"kW", "m/min", "bar", "mm", "mm", "mm", "mm", "kW", "s", "bar"}
	rapid.Check(t, func(t *rapid.T) {
		files := exampleSource()
		for i, field := range fields {
			if rapid.Bool().Draw(t, "touch") {
				number := rapid.SampledFrom([]string{"0", "-1", "0.000000000000000001", "999999999999999999", "-999999999999999999", "3"}).Draw(t, field)
				if err := edit(files, "", field, number+" "+units[i]); err != nil {
					t.Fatal(err)
				}
			}
		}
		lib, err := schema.ReadLibrary(files)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range lib.Recipes {
			for _, f := range Figures(lib, r.Values()) {
				if math.IsNaN(f.Value) || math.IsInf(f.Value, 0) || f.Name == "" || f.Key == "" {
					t.Fatalf("%+v", f)
				}
				if share, ok := f.Share(); ok && math.IsNaN(share) {
					t.Fatalf("%+v sits at %g", f, share)
				}
			}
		}
	})
}
