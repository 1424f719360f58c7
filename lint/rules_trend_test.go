package lint

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"fettle/schema"
)

// sample is a family of the sample shop as rows that a test can change. Its curves are smooth.
func sample(t testing.TB, id string) madeFamily {
	t.Helper()
	lib := folder(t, "../cmd/fettle/demo/library")
	for _, family := range lib.Families() {
		if family[0].ID.Family() == id {
			if f, ok := made(family, lib.Machine(family[0].ID.Machine)); ok {
				return f
			}
		}
	}
	t.Fatalf("no family %s", id)
	return madeFamily{}
}

const (
	oxygenFamily   = "bay-2/carbon-steel/oxygen"
	nitrogenFamily = "bay-2/stainless-steel/nitrogen"
)

// at is the row of a thickness.
func (f madeFamily) at(thickness float64) *row {
	i := slices.IndexFunc(f.rows, func(r row) bool { return r.t == thickness })
	return &f.rows[i]
}

// set writes a member as text.
func (r *row) set(field, text string) {
	raw := map[string]string{field: text}
	for k, v := range r.raw {
		raw[k] = v
	}
	r.raw = raw
}

// trends lists what the rules of trend and slip say of a family, as "rule 6mm cut.speed".
func trends(t testing.TB, lib *schema.Library, opts Options) (out []string, findings []Finding) {
	t.Helper()
	for _, f := range Run(lib, opts).New().Findings {
		if rule, _, _ := RuleNamed(f.Rule); rule.Family == "trend" || rule.Family == "slip" {
			if f.Severity == Error {
				t.Errorf("an error: %s", f.Message)
			}
			out = append(out, fmt.Sprintf("%s %smm %s", f.Rule, f.recipe.ID.Thickness, f.Field))
			findings = append(findings, f)
		}
	}
	slices.Sort(out)
	return out, findings
}

func TestTrendsOfFamilies(t *testing.T) {
	tests := []struct {
		name   string
		family string
		change func(f madeFamily) madeFamily
		want   []string // nothing for quiet
		says   string
	}{
		// What section 7 of the design calls ordinary practice. First in each pair the quiet line, then what has to stay loud beside it.
		{"as it is", oxygenFamily, func(f madeFamily) madeFamily { return f }, nil, ""},
		{"equal neighbours", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(5).speed, f.at(5).kerf, f.at(5).power, f.at(5).stages = f.at(6).speed, f.at(6).kerf, f.at(6).power, f.at(6).stages
			return f
		}, nil, ""},
		{"a plateau at the axis limit", nitrogenFamily, func(f madeFamily) madeFamily {
			f.axes = 36
			f.at(0.8).speed, f.at(1).speed = 36, 36
			return f
		}, nil, ""},
		{"a plateau at the rating", oxygenFamily, func(f madeFamily) madeFamily {
			f.rated = 2800
			f.at(12).power, f.at(15).power, f.at(20).power = 2800, 2800, 2800
			return f
		}, nil, ""},
		{"the rating in the middle of lower powers", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(5).power = 6000
			return f
		}, []string{"power-trend 5mm cut.power"}, "6000 W is above the"},
		{"thin sheet with less than a plateau", nitrogenFamily, func(f madeFamily) madeFamily {
			f.at(0.8).power, f.at(0.8).speed = 3000, 40
			return f
		}, nil, ""},
		{"oxygen pressure like a U", oxygenFamily, func(f madeFamily) madeFamily {
			for i, p := range []float64{0.62, 0.5, 0.42, 0.37, 0.34, 0.34, 0.37, 0.4, 0.48, 0.6} {
				f.rows[i].pressure = p
			}
			return f
		}, nil, ""},
		{"oxygen pressure that falls all the way", oxygenFamily, func(f madeFamily) madeFamily {
			for i, p := range []float64{0.9, 0.85, 0.8, 0.75, 0.72, 0.66, 0.6, 0.58, 0.52, 0.48} {
				f.rows[i].pressure = p
			}
			return f
		}, nil, ""},
		{"oxygen of high pressure for thin plate", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(2).pressure, f.at(3).pressure, f.at(4).pressure = 5.5, 6, 6.5
			return f
		}, nil, ""},
		{"oxygen of high pressure for one plate among them", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(4).pressure = 6.5
			return f
		}, []string{"pressure-off-curve 4mm cut.pressure"}, ""},
		{"nitrogen pressure that falls where the orifice grows", nitrogenFamily, func(f madeFamily) madeFamily {
			for i, p := range []float64{12, 12.6, 13.4, 14, 10.5, 11.2, 12, 9.5, 10.2, 8.4} {
				f.rows[i].pressure = p
			}
			return f
		}, nil, ""},
		{"nitrogen pressure that falls through one nozzle", nitrogenFamily, func(f madeFamily) madeFamily {
			f.at(1.5).pressure = 5.8
			return f
		}, []string{"pressure-trend 1.5mm cut.pressure"}, "5.8 bar is below the 9.2 bar of 1 mm"},
		{"pulses for thin plate", oxygenFamily, func(f madeFamily) madeFamily {
			for _, t := range []float64{2, 3, 4} {
				r := f.at(t)
				r.pulsed, r.power, r.speed = true, 2*r.power, r.speed*0.55
			}
			return f
		}, nil, ""},
		{"pulses, and a pierce time that has nothing to do with them", oxygenFamily, func(f madeFamily) madeFamily {
			for _, t := range []float64{2, 3, 4} {
				r := f.at(t)
				r.pulsed, r.power, r.speed = true, 2*r.power, r.speed*0.55
			}
			f.at(3).stages = []float64{0.7}
			return f
		}, []string{"pierce-trend 3mm pierce[0].time"}, "0.7 s is above the 0.2 s of 4 mm"},
		{"speed that steps up a little with the nozzle", oxygenFamily, func(f madeFamily) madeFamily {
			for i := range f.rows[2:] {
				f.rows[i+2].speed = round(f.rows[i+2].speed*1.08, 3)
			}
			return f
		}, nil, ""},
		{"speed that turns with the nozzle", nitrogenFamily, func(f madeFamily) madeFamily {
			f.at(3).speed = 20
			return f
		}, []string{"speed-trend 3mm cut.speed"}, "20 m/min is above the 14.5 m/min of 2 mm, and the speed of this family falls with thickness"},
		{"a longer pierce with fewer stages", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(12).stages = []float64{1.3}
			f.at(15).stages = []float64{1.1, 0.7}
			return f
		}, nil, ""},
		{"a pierce that is shorter in as many stages", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(8).stages = []float64{0.2, 0.12}
			return f
		}, []string{"pierce-trend 8mm pierce[0].time"}, "the pierce time of this family rises"},
		{"a smaller nozzle is a note", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(15).orifice = 1.2
			return f
		}, []string{"orifice-trend 15mm nozzle.orifice"}, ""},
		{"two strategies of focus", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(2).focus, f.at(3).focus, f.at(4).focus = -0.5, -0.8, -1
			return f
		}, nil, ""},
		{"a neighbour less than 1.25 times as thick", oxygenFamily, func(f madeFamily) madeFamily {
			keep := *f.at(5)
			*f.at(5) = *f.at(6)
			f.rows[3].t = keep.t
			return f
		}, nil, ""},
		{"a gap of 2.0", oxygenFamily, func(f madeFamily) madeFamily {
			f.rows = slices.Concat(f.rows[1:4], f.rows[6:]) // 3 4 5 10
			return f
		}, nil, ""},
		{"a gap of 2.4", oxygenFamily, func(f madeFamily) madeFamily {
			f.rows = slices.Concat(f.rows[1:4], f.rows[7:]) // 3 4 5 12
			return f
		}, []string{"thickness-gap 12mm thickness"}, "nothing between 5 mm and 12 mm: one plate is 2.4 times as thick"},
		{"a gap of two conditions", oxygenFamily, func(f madeFamily) madeFamily {
			f.rows = []row{f.rows[0], f.rows[9]}
			return f
		}, nil, ""},
		{"half the power and half the speed, on purpose", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(2).power, f.at(2).speed = 1000, 3.35
			return f
		}, []string{"power-off-curve 2mm cut.power"}, ""}, // the speed follows from it

		// Whom it names.
		{"the odd one and not its neighbours", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(8).speed = 3.6
			return f
		}, []string{"speed-trend 8mm cut.speed"}, "The smallest correction is 2.9 m/min"},
		{"in order but off the curve", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(20).speed = 0.7
			return f
		}, []string{"speed-off-curve 20mm cut.speed"}, "below the curve of its family, which gives 1."},
		{"two odd ones", nitrogenFamily, func(f madeFamily) madeFamily {
			f.at(1.5).speed, f.at(6).speed = 10, 5.2
			return f
		}, []string{"speed-trend 1.5mm cut.speed", "speed-trend 6mm cut.speed"}, ""},
		{"a kerf", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(10).kerf = 0.28
			return f
		}, []string{"kerf-trend 10mm kerf"}, "0.28 mm is below the 0.39 mm of 8 mm"},

		// Slips of the unit and of the hand.
		{"psi written as bar", nitrogenFamily, func(f madeFamily) madeFamily {
			f.at(0.8).set("cut.pressure", "1.25 bar")
			f.at(0.8).pressure = 1.25
			return f
		}, []string{"pressure-off-curve 0.8mm cut.pressure"}, ""},
		{"bar written as psi", nitrogenFamily, func(f madeFamily) madeFamily {
			f.at(3).set("cut.pressure", "12.4 psi")
			return f
		}, []string{"unit-slip 3mm cut.pressure"}, "12.4 bar would be in line | A number in bar?"},
		{"converted twice", nitrogenFamily, func(f madeFamily) madeFamily {
			f.at(3).set("cut.pressure", "0.855 bar")
			return f
		}, []string{"unit-slip 3mm cut.pressure"}, "Was it converted between psi and bar although it was in bar already?"},
		{"mm/s written as m/min", nitrogenFamily, func(f madeFamily) madeFamily {
			f.at(10).set("cut.speed", "24 m/min")
			return f
		}, []string{"unit-slip 10mm cut.speed"}, "A number in mm/s?"},
		{"inches of focus", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(10).set("cut.focus", "0.2 mm")
			return f
		}, []string{"unit-slip 10mm cut.focus"}, "A number in in?"},
		{"milliseconds of a short stage", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(6).set("pierce[1].time", "0.15 min")
			return f
		}, []string{"unit-slip 6mm pierce[1].time"}, "A number in s?"},
		{"a tenth", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(6).set("nozzle.standoff", "10 mm")
			return f
		}, []string{"unit-slip 6mm nozzle.standoff"}, "A lost decimal point?"},
		{"a plate in inches", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(10).set("thickness", "0.39 mm")
			return f
		}, []string{"thickness-gap 2mm thickness", "unit-slip 0.39mm thickness"}, "at 9.91 mm all of it would sit on the curves"},
		{"two digits of a value that stays in order", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(20).set("kerf", "0.95 mm")
			return f
		}, []string{"unit-slip 20mm kerf"}, "0.59 mm would be in line | Two digits the wrong way round?"},
		{"two digits of one of several stages", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(20).set("pierce[1].time", "4.1 s")
			return f
		}, []string{"unit-slip 20mm pierce[1].time"}, "1.4 s would be in line | Two digits the wrong way round?"},
		{"inches of a focus on thin sheet", nitrogenFamily, func(f madeFamily) madeFamily {
			f.at(0.8).set("cut.focus", "-0.0118 mm")
			return f
		}, []string{"unit-slip 0.8mm cut.focus"}, "A number in in?"},
		{"a focus on the surface of thin sheet", nitrogenFamily, func(f madeFamily) madeFamily {
			f.at(0.8).set("cut.focus", "0 mm")
			f.at(1).set("cut.focus", "-0.1 mm")
			return f
		}, nil, ""},
		{"two digits of a value that does not", oxygenFamily, func(f madeFamily) madeFamily {
			f.at(6).set("cut.speed", "9.2 m/min")
			return f
		}, []string{"speed-trend 6mm cut.speed"}, "Two digits the wrong way round? 2.9 m/min would be in line."},
		{"two rows that changed places", oxygenFamily, func(f madeFamily) madeFamily {
			a, b := f.at(8), f.at(10)
			*a, *b = *b, *a
			a.t, b.t = 8, 10
			return f
		}, []string{"copied-neighbour 10mm thickness"}, "the rows of 8 mm and 10 mm have changed places"},

		// Families too small for a curve.
		{"one", oxygenFamily, func(f madeFamily) madeFamily {
			f.rows = f.rows[2:3]
			f.rows[0].speed = 9
			return f
		}, nil, ""},
		{"two, and nobody can say which", nitrogenFamily, func(f madeFamily) madeFamily {
			f.rows = f.rows[5:7]
			f.rows[1].speed *= 10
			return f
		}, nil, ""},
		{"three, and the middle one stands out", nitrogenFamily, func(f madeFamily) madeFamily {
			f.rows = f.rows[4:7]
			f.rows[1].speed = 55
			return f
		}, []string{"unit-slip 4mm cut.speed"}, "A lost decimal point?"},
		{"three, and a bold middle", nitrogenFamily, func(f madeFamily) madeFamily {
			f.rows = f.rows[4:7]
			f.rows[1].speed = 6.6
			return f
		}, nil, ""},
	}
	for _, c := range tests {
		t.Run(c.name, func(t *testing.T) {
			f := c.change(sample(t, c.family))
			got, findings := trends(t, f.library(t), Options{})
			if !slices.Equal(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
				for _, x := range findings {
					t.Logf("%s: %s | %s", x.ID, x.Message, x.Help)
				}
			}
			if c.says != "" && !slices.ContainsFunc(findings, func(x Finding) bool { return strings.Contains(x.Message+" | "+x.Help, c.says) }) {
				t.Errorf("nothing says %q: %+v", c.says, findings)
			}
		})
	}
}

// What the settings say of a family counts before what it says itself and before what is usual.
func TestTrendSettings(t *testing.T) {
	broken := func() madeFamily {
		f := sample(t, oxygenFamily)
		for i, p := range []float64{0.34, 0.34, 0.34, 0.34, 0.34, 0.4, 0.4, 0.36, 0.36, 0.36} { // in no direction
			f.rows[i].pressure = p
			f.rows[i].orifice = 1.2
		}
		return f
	}
	for _, c := range []struct {
		name, settings string
		family         madeFamily
		want           []string
	}{
		{"oxygen pressure has no direction", ``, broken(), nil},
		{"but the shop may know one", `"trend": {"bay-2/carbon-steel/oxygen": {"pressure": "rising"}}`, broken(), []string{"pressure-trend 10mm cut.pressure", "pressure-trend 8mm cut.pressure"}},
		{"a speed that is held to no direction", `"trend": {"bay-2/carbon-steel/oxygen": {"speed": "any"}}`, func() madeFamily {
			f := sample(t, oxygenFamily)
			f.at(8).speed = 3.4
			return f
		}(), []string{"speed-off-curve 8mm cut.speed"}},
		{"a rule that is off leaves it to the next", `"rules": {"speed-trend": {"severity": "off"}}`, func() madeFamily {
			f := sample(t, oxygenFamily)
			f.at(8).speed = 3.4
			return f
		}(), []string{"speed-off-curve 8mm cut.speed"}},
		{"wide limits", `"rules": {"speed-trend": {"limit": "40 %"}, "speed-off-curve": {"limit": "50 %"}}`, func() madeFamily {
			f := sample(t, oxygenFamily)
			f.at(8).speed = 3.4
			return f
		}(), nil},
		{"a declared direction asks for no scatter", `"trend": {"bay-2/carbon-steel/oxygen": {"speed": "falling"}}`, func() madeFamily {
			f := sample(t, oxygenFamily)
			f.at(8).speed = 3.08 // 6 % above 6 mm
			return f
		}(), []string{"speed-trend 8mm cut.speed"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.family.settings = c.settings
			got, findings := trends(t, c.family.library(t), Options{})
			if !slices.Equal(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
				for _, x := range findings {
					t.Logf("%s: %s | %s", x.ID, x.Message, x.Help)
				}
			}
		})
	}
}

// edited is the library of a family after a change, judged against what it was before.
func edited(t *testing.T, before madeFamily, change func(f madeFamily)) ([]string, []Finding, Result) {
	after := before.clone()
	change(after)
	base, now := before.library(t), after.library(t)
	got, findings := trends(t, now, Options{Base: base})
	return got, findings, Run(now, Options{Base: base})
}

// A change is blamed for what it made worse and for nothing else.
func TestTrendsBlameTheChange(t *testing.T) {
	f := sample(t, oxygenFamily)
	f.at(8).speed = 3.4 // stood before

	got, _, result := edited(t, f, func(f madeFamily) { f.at(6).kerf = 0.36 })
	if len(got) > 0 {
		t.Errorf("an edit elsewhere is blamed: %q", got)
	}
	i := slices.IndexFunc(result.Findings, func(x Finding) bool { return x.Rule == "speed-trend" })
	if i < 0 || !result.Findings[i].Old || result.Findings[i].recipe.ID.Thickness != "8" {
		t.Errorf("what stood before is not shown as old: %+v", result.Findings)
	}
	// even where the edit moves what the family gives there
	if got, _, _ := edited(t, f, func(f madeFamily) { f.at(10).speed = 2.2 }); len(got) > 0 {
		t.Errorf("a neighbour that moved a little makes an old finding new: %q", got)
	}
	if got, _, _ := edited(t, f, func(f madeFamily) { f.at(12).speed = 3.9 }); !slices.Equal(got, []string{"speed-trend 12mm cut.speed"}) {
		t.Errorf("a new slip beside an old one: %q", got)
	}
	// an edit of the value that was off, which does not help
	if got, _, _ := edited(t, f, func(f madeFamily) { f.at(8).speed = 3.5 }); !slices.Equal(got, []string{"speed-trend 8mm cut.speed"}) {
		t.Errorf("another wrong value: %q", got)
	}
	if got, _, _ := edited(t, f, func(f madeFamily) { f.at(8).speed = 2.45 }); len(got) > 0 {
		t.Errorf("a value put right: %q", got)
	}
}

// Of two values that contradict each other the one that was edited is named.
func TestTrendsNameTheEditedOne(t *testing.T) {
	pair := sample(t, nitrogenFamily)
	pair.rows = slices.Clone(pair.rows[5:7]) // 4 and 5 mm
	for i, want := range []string{"unit-slip 4mm cut.speed", "unit-slip 5mm cut.speed"} {
		got, _, _ := edited(t, pair, func(f madeFamily) { f.rows[i].speed *= 10 })
		if !slices.Equal(got, []string{want}) {
			t.Errorf("row %d edited: %q, want %q", i, got, want)
		}
	}
	// a new row between two old ones
	f := sample(t, nitrogenFamily)
	without := f.clone()
	without.rows = slices.Delete(slices.Clone(without.rows), 6, 7)
	f.at(5).speed = 5.9
	got, _ := trends(t, f.library(t), Options{Base: without.library(t)})
	if !slices.Equal(got, []string{"speed-trend 5mm cut.speed"}) {
		t.Errorf("a new row that is off: %q", got)
	}
}

// A change without a reason is told of both.
func TestTrendsBesideChanges(t *testing.T) {
	judgeAll(t, "change", []judgement{
		loud("no reason and a slip", `cut.pressure=0.033 bar; change:reasoned=no`, "0.33 bar would be in line", "error no-reason cut.pressure", "warning unit-slip cut.pressure"),
	})
	e, err := (Rule{Family: "change"}).Example(`cut.speed=3.9 m/min; change:reasoned=no`)
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(e.Findings(), func(f Finding) bool { return f.Rule == "speed-trend" }) {
		t.Errorf("the missing reason hides what the family says: %+v", e.Findings())
	}
}

// Processes that do not sever have no trend, and do not take part in that of the cuts.
func TestTrendsOfMarking(t *testing.T) {
	judgeAll(t, "trend", []judgement{
		quiet("marking beside cuts", `process=mark; cut.speed=40 m/min`),
		quiet("full duty and any frequency are continuous", `cut.duty=100 %; cut.frequency=5 kHz`),
		quiet("pulses have a level of their own", `cut.duty=50 %; cut.frequency=1 kHz; cut.mode=pulsed; cut.speed=1.6 m/min; cut.power=2.4 kW`),
	})
}

// Only the families that are asked for are judged, and what else is judged does not change what they say.
func TestTrendsOfChosenFamilies(t *testing.T) {
	lib := folder(t, "../cmd/fettle/demo/library")
	var judged []string
	for i := range registry {
		if registry[i].Name == "speed-trend" {
			check := registry[i].Check
			defer func() { registry[i].Check = check }()
			registry[i].Check = func(p *Pass) { judged = append(judged, p.Family[0].ID.Family()); check(p) }
		}
	}
	Run(lib, Options{Only: func(r *schema.Recipe) bool { return r.ID.Family() == oxygenFamily }})
	if !slices.Equal(judged, []string{oxygenFamily}) {
		t.Errorf("judged %q", judged)
	}
}

// A rule can be asked what it holds a value against, where it speaks and where it does not.
func TestTrendsExplained(t *testing.T) {
	f := sample(t, oxygenFamily)
	f.at(8).speed = 3.6
	lib := f.library(t)
	for _, r := range lib.Recipes {
		for name, verdict := range map[string]Severity{"speed-trend": Warning, "power-off-curve": Off, "kerf-trend": Off} {
			if r.ID.Thickness != "8" {
				verdict = Off
			}
			rule, _, _ := RuleNamed(name)
			e := Explain(lib, nil, rule, r, nil)
			if len(e.Worked) != 1 || e.Worked[0].Verdict != verdict || len(e.Worked[0].Out) != 3 || (len(e.Findings) > 0) != (verdict > Off) {
				t.Errorf("%s on %s: %+v", name, r.ID, e)
			}
		}
	}
	rule, _, _ := RuleNamed("speed-trend")
	e := Explain(lib, nil, rule, lib.Recipes[5], nil)
	if text := fmt.Sprint(e.Worked); !strings.Contains(text, "falling, known from the family") || !strings.Contains(text, "2.9 m/min, that of 6 mm") {
		t.Error(text)
	}
}

// A family of thousands is judged in parts, and nobody waits for it. An odd one in it is still named.
func TestTrendsOfThousands(t *testing.T) {
	f := sample(t, oxygenFamily)
	base := f.rows[4]
	f.rows = nil
	for i := range 2000 {
		r := base
		r.t = round(2+float64(i)*0.01, 6)
		r.speed = round(9/r.t, 5)
		r.power, r.kerf = round(1500+50*r.t, 5), round(0.25+0.01*r.t, 5)
		r.stages = []float64{round(0.03*r.t, 5)}
		r.pressure, r.focus = 0.4, round(0.4*r.t, 4)
		f.rows = append(f.rows, r)
	}
	f.rows[777].speed *= 3
	got, _ := trends(t, f.library(t), Options{})
	if !slices.Contains(got, fmt.Sprintf("speed-trend %smm cut.speed", decimalText(f.rows[777].t))) || len(got) > 1 {
		t.Errorf("%d findings: %q", len(got), got[:min(5, len(got))])
	}
}

// BenchmarkTrends is what the trends of one family cost: what a save of one condition waits for.
func BenchmarkTrends(b *testing.B) {
	for _, family := range []string{oxygenFamily, nitrogenFamily} {
		b.Run(family[strings.LastIndexByte(family, '/')+1:], func(b *testing.B) {
			lib := sample(b, family).library(b)
			s := newRun(lib, lib.Settings.Value, Options{})
			q := s.inSet(lib.Sets[0].File, lib.Sets[0].Value)
			q.Family = lib.Families()[0]
			for b.Loop() {
				clear(s.views)
				q.view()
			}
		})
	}
}
