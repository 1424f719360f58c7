package lint

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fettle/schema"
)

// physicsOf applies an edit to the example library and lists what physics makes of it, as "severity rule field".
func physicsOf(t *testing.T, edit string) ([]string, []Finding) {
	t.Helper()
	e, err := (Rule{Family: "physics"}).Example(edit)
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	var findings []Finding
	for _, f := range e.Findings() {
		if f.isPhysics() {
			out = append(out, fmt.Sprintf("%s %s %s", f.Severity, f.Rule, f.Field))
			findings = append(findings, f)
		}
	}
	slices.Sort(out)
	return slices.Compact(out), findings
}

func judgePhysics(t *testing.T, cases []judgement) {
	t.Helper()
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got, findings := physicsOf(t, c.edit)
			slices.Sort(c.want)
			if !slices.Equal(got, c.want) {
				t.Errorf("%s\n got %q\nwant %q", c.edit, got, c.want)
				for _, f := range findings {
					t.Logf("%s: %s | %s", f.Field, f.Message, f.Help)
				}
				return
			}
			if c.says != "" && !slices.ContainsFunc(findings, func(f Finding) bool { return strings.Contains(f.Message+" | "+f.Help, c.says) }) {
				t.Errorf("%s: nothing says %q: %q | %q", c.edit, c.says, findings[0].Message, findings[0].Help)
			}
		})
	}
}

// What keeps physics quiet on ordinary practice, line by line. Reference: common practice, no source.
func TestPhysicsStaysQuiet(t *testing.T) {
	judgePhysics(t, []judgement{
		quiet("marking spends next to nothing, far off and wide", `process=mark; cut.power=210 W; cut.speed=20 m/min; cut.focus=20 mm; nozzle.standoff=8 mm; kerf=3 mm; pierce[0].power=0 W`),
		quiet("vaporising a film likewise", `process=vaporise; cut.power=300 W; cut.speed=20 m/min; cut.pressure=0.01 bar`),
		quiet("marking with nitrogen needs no jet", `inert:process=mark; inert:cut.pressure=0.3 bar`),
		quiet("continuous with a duty of 100 % and any frequency", `cut.duty=100 %; cut.frequency=5 kHz`),
		quiet("pulses are counted with their duty", `cut.mode=pulsed; cut.duty=60 %; cut.frequency=1 kHz; cut.power=3.8 kW`),
		quiet("a duty that nobody says is not guessed at", `cut.mode=pulsed; cut.frequency=1 kHz`),
		quiet("a kerf narrower than the spot", `inert:kerf=0.13 mm`),
		quiet("a wide kerf in thick plate", `12mm:kerf=0.7 mm`),
		quiet("oxygen at a third of what would burn it all", `cut.pressure=0.12 bar`),
		quiet("more oxygen than there is iron", `cut.pressure=1.5 bar`),
		quiet("thin plate with much more", `2mm:cut.pressure=3 bar`),
		quiet("a nozzle that nearly touches", `nozzle.standoff=0.3 mm`),
		quiet("a pierce from far above", `pierce[0].standoff=10 mm; pierce[0].focus=8 mm`),
		quiet("oxygen is slow on purpose", `cut.pressure=0.15 bar`),
		quiet("a start from the edge", `pierce:=[]`),
		quiet("no word of the pierce", `pierce=`),
		quiet("a stage that only blows", `pierce:=[{"power": "1.5 kW", "time": "0.3 s", "pressure": "0.8 bar"}, {"power": "0 W", "time": "0.5 s", "pressure": "3 bar"}]`),
		quiet("a pierce with nitrogen before a cut with oxygen", `pierce[0].gas=nitrogen; pierce[0].pressure=8 bar`),
		quiet("a slow lead-in", `lead_in.speed=0.8 m/min`),
		quiet("a lead-in that only names its length", `lead_in.length=4 mm`),
		quiet("a small hole, slow and pulsed", `contours:=[{"name": "small", "max_size": "6 mm", "speed": "0.7 m/min", "mode": "pulsed", "frequency": "300 Hz", "duty": "45 %", "pressure": "0.2 bar"}]`),
		quiet("a corner that falls to little", `corner.min_power=200 W; corner.min_duty=10 %`),
		quiet("focus deep below the plate, through a wide orifice", `inert:cut.focus=-6 mm; inert:nozzle.orifice=2.5 mm`),
		quiet("a material of the shop's own", `settings:materials.weathering-steel.base=carbon-steel; set:material=weathering-steel`),
		quiet("a laser of another colour on copper", `machine:laser.wavelength=0.52 um; set:material=copper`),
		quiet("1/8 in hot-rolled at 135 in/min and 3 psi, the line at 50 psi", `machine:gas.oxygen.line_pressure=50 psi; cut.power=1.8 kW; cut.speed=135 in/min; cut.pressure=3 psi; cut.focus=2 mm; nozzle.orifice=1.0 mm; kerf=0.012 in; thickness=1/8 in`),
		quiet("1/4 in hot-rolled at 90 in/min and 3.5 psi, the line at 50 psi", `machine:gas.oxygen.line_pressure=50 psi; cut.power=2.5 kW; cut.speed=90 in/min; cut.pressure=3.5 psi; cut.focus=3 mm; nozzle.orifice=1.2 mm; kerf=0.014 in; thickness=1/4 in`),
		quiet("25 mm of stainless steel at 0.2 m/min with 6 kW", `inert:cut.power=6 kW; inert:cut.speed=0.2 m/min; inert:cut.pressure=18 bar; inert:cut.focus=-15 mm; inert:nozzle.orifice=2.5 mm; inert:kerf=0.6 mm; inert:pierce:=[]; inert:thickness=25 mm`),
		quiet("no profile of the machine", `without:machines/bay-2.json; cut.power=1.8 kW`),
	})
}

// Each limit from both sides, with the number, the limit and the reason in the message.
func TestPhysicsLimits(t *testing.T) {
	judgePhysics(t, []judgement{
		loud("nitrogen cannot melt it", `inert:cut.power=200 W; inert:kerf=0.2 mm`, "200 W of laser cannot melt the kerf: 0.12 mm wide in 3 mm at 8.4 m/min takes", "error energy-short cut.power"),
		loud("the kerf as stated is the bound where it is the narrower", `inert:cut.power=400 W; inert:kerf=0.09 mm`, "", "warning energy-short cut.power", "warning kerf-beam kerf"),
		loud("two slips: the first of them", `inert:cut.speed=119 m/min; inert:cut.power=3 kW`, "cannot melt the kerf", "error energy-short cut.power"),
		loud("half of the power", `inert:cut.power=1.4 kW`, "usual is up to 50 %: too little is left for what the plate reflects", "warning energy-short cut.power"),
		quiet("just below the half", `inert:kerf=0.15 mm; inert:cut.power=2.6 kW`),
		loud("heat runs off", `inert:cut.speed=2 m/min; inert:cut.power=400 W`, "heat that runs off beside it take", "warning energy-short cut.power"),
		loud("oxygen brings its own heat, and yet", `cut.power=250 W`, "% of the 250 W of the laser, and usual is up to 100 %", "warning energy-short cut.power"),
		loud("no oxygen, no heat of it", `cut.power=250 W; cut.pressure=0 bar`, "cannot melt", "error energy-short cut.power", "warning oxygen-short cut.pressure"),
		loud("a thin edge in oxygen", `2mm:cut.speed=16 m/min`, "", "warning energy-short cut.speed"),
		loud("slow", `cut.speed=0.4 m/min`, "55 J on each mm2 of the edge, and usual is up to 40: corners melt off", "warning energy-excess cut.speed"),
		loud("slow and inert", `inert:cut.speed=0.7 m/min`, "143 J on each mm2 of the edge, and usual is up to 130", "warning energy-excess cut.speed"),
		quiet("slow and inert, nearly", `inert:cut.speed=0.8 m/min`),
		quiet("the limit is a multiple", `settings:rules.energy-excess.limit=1.2; inert:cut.speed=0.7 m/min`),
		loud("a flood of oxygen", `3mm:cut.pressure=3.4 bar; 3mm:nozzle.orifice=1.7 mm`, "times the oxygen that would burn the whole kerf, and usual is below 4: the plate burns beside the kerf", "warning energy-excess cut.pressure"),
		loud("starved", `cut.pressure=0.02 bar`, "% of the oxygen that would burn the whole kerf, and usual is above 15 %: the cut starves", "warning oxygen-short cut.pressure"),
		loud("starved by speed, and cold", `cut.speed=12 m/min`, "the cut starves", "warning oxygen-short cut.speed", "warning energy-short cut.speed"),
		quiet("its limit is set", `settings:rules.oxygen-short.limit=10 %; cut.pressure=0.02 bar`),
		loud("a narrow kerf", `kerf=0.1 mm`, "mm that this beam makes at the least", "warning kerf-beam kerf"),
		loud("a wide kerf", `kerf=2.9 mm`, "mm that this beam makes at the most with the focus at 3 mm: parts come out large", "warning kerf-beam kerf"),
		loud("a focus that no kerf of this width goes with", `cut.focus=-15 mm; nozzle.orifice=1.7 mm`, "", "warning kerf-beam cut.focus"),
		loud("the edge of the beam meets the nozzle", `cut.focus=-17 mm; kerf=`, "at the tip and the orifice 1.2 mm: its edge heats the nozzle", "warning beam-clips-nozzle cut.focus"),
		loud("the beam meets the nozzle", `cut.focus=-22 mm; kerf=`, "cannot pass the orifice of 1.2 mm", "error beam-clips-nozzle cut.focus"),
		loud("the orifice is the slip", `inert:nozzle.orifice=1.0 mm; inert:cut.focus=-15 mm; inert:kerf=`, "", "warning beam-clips-nozzle cut.focus"),
		loud("in a stage of the pierce", `pierce[0].focus=25 mm; pierce[0].standoff=2 mm`, "", "error beam-clips-nozzle pierce[0].focus"),
		quiet("a stage, where nobody says from where the focus counts", `machine:head.focus_zero=; pierce[0].focus=24 mm`),
		quiet("a focus that moves with the head stays in the nozzle", `machine:head.focus_zero=nozzle; pierce[0].focus=14 mm; pierce[0].standoff=1 mm`),
		loud("too far off", `nozzle.standoff=3.2 mm`, "2.7 times the orifice of 1.2 mm, and usual is up to 2.5: air mixes into the jet", "warning standoff-orifice nozzle.standoff"),
		quiet("not yet too far off", `nozzle.standoff=3 mm`),
		loud("an orifice that is too small for its standoff", `10mm:nozzle.orifice=0.4 mm`, "", "warning standoff-orifice nozzle.orifice", "warning oxygen-short nozzle.orifice"),
		loud("nothing to pierce with", `pierce[0].power=0 W`, "the pierce brings 0 J", "error pierce-energy pierce[0].power"),
		loud("milliseconds", `pierce[0].time=0.3 ms`, "usual is from 10 times on: it may not come through", "warning pierce-energy pierce[0].time"),
		loud("milliseconds with nitrogen", `inert:pierce[0].time=0.02 ms`, "at the very least", "error pierce-energy pierce[0].time"),
		loud("a duty of next to nothing", `pierce[0].duty=0.1 %`, "", "warning pierce-energy pierce[0].duty"),
		quiet("its limit is set", `settings:rules.pierce-energy.limit=0.1; pierce[0].time=0.3 ms`),
		loud("no jet", `inert:cut.pressure=1.4 bar`, "1.4 bar of nitrogen drives no melt out of the kerf; an inert cut takes 1.5 bar and more", "warning jet cut.pressure"),
		quiet("a jet", `inert:cut.pressure=1.5 bar`),
		loud("the valve is too small by far", `machine:gas.nitrogen.valve.conductance=0.3 dm3/(s.bar)`, "the nitrogen valve holds", "error valve-cannot-feed cut.pressure", "error valve-cannot-feed pierce[0].pressure"),
		quiet("line and pressure are one: a gauge is not that good", `machine:gas.nitrogen.line_pressure=16 bar`),
		quiet("close above the plate less gets out", `machine:gas.nitrogen.valve.conductance=1.2 dm3/(s.bar); inert:nozzle.standoff=0.2 mm`),
	})
}

// A cut that a limit of the machine calls impossible is not called so twice.
func TestPhysicsDoesNotRepeatOthers(t *testing.T) {
	judgePhysics(t, []judgement{
		quiet("power over the rating", `cut.power=22 kW`),
		quiet("a speed that no axis has", `inert:cut.speed=500 m/min`),
		quiet("no speed at all", `cut.speed=0 m/min`),
		quiet("pressure over the line", `inert:cut.pressure=40 bar`),
		quiet("a focus beyond the lens", `cut.focus=40 mm`),
		quiet("no orifice", `nozzle.orifice=0 mm`),
	})
}

// What a machine does not say puts the checks that need it to sleep, with one note a machine.
func TestPhysicsSleeps(t *testing.T) {
	e, err := (Rule{}).Example(`machine:laser.core_diameter=; machine:laser.beam_parameter_product=; machine:head.focus_zero=; machine:gas.oxygen.valve=; inert:cut.power=200 W; inert:kerf=`)
	if err != nil {
		t.Fatal(err)
	}
	notes := 0
	for _, f := range Run(e.After, Options{}).Findings {
		switch {
		case f.Rule == "sleeping":
			notes++
			for _, part := range []string{"laser.core_diameter would wake", "pierce-energy", "beam-clips-nozzle", "kerf-beam", "energy-short", "gas.oxygen.valve.conductance would wake valve-cannot-feed", "gas.oxygen.valve.critical_ratio", "laser.beam_parameter_product would wake"} {
				if !strings.Contains(f.Message, part) {
					t.Errorf("the note does not say %q: %s", part, f.Message)
				}
			}
			if f.Path != "machines/bay-2.json" {
				t.Errorf("the note stands at %s", f.Path)
			}
		case f.Severity > Note && f.ID == "bay-2/stainless-steel/nitrogen/3mm" && f.isPhysics():
			t.Errorf("without a spot and a kerf nothing is known: %s", f.Message)
		}
	}
	if notes != 1 {
		t.Errorf("%d notes for one machine", notes)
	}
}

// The member that was touched is blamed; where all of it is new, the one that leaves its family.
func TestBlame(t *testing.T) {
	for _, c := range []struct{ edit, field string }{
		{`inert:cut.speed=84 m/min`, "cut.speed"},
		{`inert:cut.power=0.4 kW`, "cut.power"},
		{`pierce[0].time=0.1 ms`, "pierce[0].time"},
		{`inert:nozzle.orifice=1.0 mm; inert:cut.focus=-15 mm; inert:kerf=`, "cut.focus"},
	} {
		e, err := (Rule{}).Example(c.edit)
		if err != nil {
			t.Fatal(err)
		}
		for _, base := range []*schema.Library{e.Before, nil} {
			found := false
			for _, f := range Run(e.After, Options{Base: base}).Findings {
				if f.isPhysics() && !f.Old {
					if found = true; f.Field != c.field {
						t.Errorf("%s (base %v): %s is blamed: %s", c.edit, base != nil, f.Field, f.Message)
					}
				}
			}
			if !found {
				t.Errorf("%s: nothing found", c.edit)
			}
		}
	}
}

// A finding that stood before stays old when a neighbour changes and with it whom the family would blame.
func TestBlameDoesNotMakeNews(t *testing.T) {
	e, err := (Rule{}).Example(`inert:cut.speed=30 m/min`)
	if err != nil {
		t.Fatal(err)
	}
	files := exampleSource()
	if err := edit(files, "inert", "cut.speed", "30 m/min"); err != nil {
		t.Fatal(err)
	}
	path := "sets/bay-2/stainless-steel-nitrogen.json"
	thin := strings.Index(string(files[path]), "3 mm")
	text := string(files[path][:thin])
	text = strings.ReplaceAll(strings.ReplaceAll(text, `"speed": "13 m/min"`, `"speed": "10 m/min"`), `"speed": "24 m/min"`, `"speed": "10 m/min"`)
	files[path] = []byte(text + string(files[path][thin:]))
	now, err := schema.ReadLibrary(files)
	if err != nil {
		t.Fatal(err)
	}
	old := 0
	for _, f := range Run(now, Options{Base: e.After}).Findings {
		if f.ID != "bay-2/stainless-steel/nitrogen/3mm" || !f.isPhysics() || f.Severity < Warning {
			continue
		}
		if old++; !f.Old {
			t.Errorf("%s at %s is news: %s", f.Rule, f.Field, f.Message)
		}
	}
	if old == 0 {
		t.Error("nothing was found to begin with")
	}
}

// Numbers that a recipe cannot have, and ones far beyond what anything has: of each something is said, and nothing that is said is NaN,
// infinite or in the notation of programs; nothing panics.
func TestHostileNumbers(t *testing.T) {
	fields := []string{"thickness", "nozzle.orifice", "nozzle.standoff", "cut.power", "cut.speed", "cut.pressure", "kerf", "pierce[0].power", "pierce[0].time", "pierce[0].pressure", "pierce[0].standoff", "cut.spot", "lead_in.power", "lead_in.speed"}
	unit := map[string]string{"power": "kW", "speed": "m/min", "pressure": "bar", "time": "s"}
	numbers := []string{"0", "-1", "-0.000001", "0.000000000000000001", "0.000001", "999999999999999999", "123456789", "-999999999999999999"}
	mayBeNothing := []string{"cut.pressure", "pierce[0].power", "pierce[0].time", "pierce[0].pressure"}
	rapid.Check(t, func(t *rapid.T) {
		files := exampleSource()
		change := rapid.SliceOfNDistinct(rapid.SampledFrom(fields), 1, 5, func(s string) string { return s }).Draw(t, "fields")
		slices.SortFunc(change, func(a, b string) int { // the thickness last, since conditions are found by it
			return strings.Compare(strings.TrimPrefix(b, "thickness"), strings.TrimPrefix(a, "thickness"))
		})
		impossible := false
		for _, field := range change {
			number := rapid.SampledFrom(numbers).Draw(t, field)
			u := unit[field[strings.LastIndexByte(field, '.')+1:]]
			if u == "" {
				u = "mm"
			}
			prefix := rapid.SampledFrom([]string{"", "inert"}).Draw(t, "set")
			if field == "thickness" {
				prefix = ""
			}
			if err := edit(files, prefix, field, number+" "+u); err != nil {
				t.Fatal(err)
			}
			impossible = impossible || number[0] == '-' || number == "0" && !slices.Contains(mayBeNothing, field) || len(number) > 8 && number[0] != '0'
		}
		if rapid.Bool().Draw(t, "machine") {
			member := rapid.SampledFrom([]string{"laser.core_diameter", "head.collimation", "head.focal_length", "laser.rated_power"}).Draw(t, "member")
			u := "mm"
			if strings.HasSuffix(member, "power") {
				u = "kW"
			}
			if err := edit(files, "machine", member, rapid.SampledFrom(numbers).Draw(t, member)+" "+u); err != nil {
				t.Fatal(err)
			}
		}
		lib, err := schema.ReadLibrary(files)
		if err != nil {
			t.Fatal(err)
		}
		spoken := false
		for _, f := range Run(lib, Options{Base: exampleLibrary()}).Findings {
			spoken = spoken || f.Severity >= Warning
			for _, bad := range []string{"NaN", "Inf", "e+", "%!", "  "} {
				if strings.Contains(f.Message, bad) {
					t.Fatalf("%s: %s", f.Rule, f.Message)
				}
			}
			if f.isPhysics() && len(f.Message) > 400 {
				t.Fatalf("%s: %s", f.Rule, f.Message)
			}
		}
		if impossible && !spoken {
			t.Fatalf("%v: nothing is said", change)
		}
	})
}
