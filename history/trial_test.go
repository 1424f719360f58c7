package history_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"fettle/schema"
	"fettle/schema/quantity"
)

// tryOut records a trial of the 6 mm condition at 0.40 bar. A step reads "good", or "bad cut.pressure=0.46 bar; cut.speed=3 m/min".
func (s *shop) tryOut(edit func(*schema.Trial), steps ...string) *schema.Record {
	s.t.Helper()
	v := recipe("6 mm", "0.40 bar")
	trial := &schema.Trial{ID: schema.Of(id6), Values: schema.Of(*v), Digest: schema.Of(string(v.Digest()))}
	var list []schema.Step
	for _, text := range steps {
		outcome, changed, _ := strings.Cut(text, " ")
		step := schema.Step{Outcome: schema.Of(outcome)}
		for _, pair := range strings.Split(changed, "; ") {
			if path, value, ok := strings.Cut(pair, "="); ok {
				step.Changed = append(step.Changed, schema.Row[string]{Name: path, V: value, At: schema.Made})
			}
		}
		list = append(list, step)
	}
	trial.Steps = schema.Of(list)
	if edit != nil {
		edit(trial)
	}
	return s.write(trial, &trial.Common, schema.KindTrial, "Ove", unsigned)
}

func lens(focal string) schema.BeamAndJet {
	return schema.BeamAndJet{Optics: schema.Of(schema.Lens{FocalLength: schema.Of(length(focal))})}
}

func TestCovers(t *testing.T) {
	pressure := func(text string) func(*schema.Values) {
		return func(v *schema.Values) { v.Cut.V.Pressure = schema.Of(parsed[quantity.Pressure](text)) }
	}
	speed := func(text string) func(*schema.Values) {
		return func(v *schema.Values) { v.Cut.V.Speed = schema.Of(parsed[quantity.Speed](text)) }
	}
	type edits = []func(*schema.Values)
	for _, c := range []struct {
		name    string
		edit    func(*schema.Trial)
		steps   []string
		to      edits
		machine schema.BeamAndJet
		covered bool
		missing string
	}{
		{name: "nothing changed", missing: ""},
		{name: "nothing changed, and shown to be good", steps: []string{"good"}, covered: true},
		{name: "nothing changed, and shown on another lens", machine: lens("150 mm"), edit: func(t *schema.Trial) { t.MachineValues = schema.Of(lens("200 mm")) }, steps: []string{"good"}},
		{name: "no trial", to: edits{pressure("0.46 bar")}, missing: "cut.pressure"},
		{name: "cut well with these values", steps: []string{"good cut.pressure=0.46 bar"}, to: edits{pressure("0.46 bar")}, covered: true},
		{name: "in another unit", steps: []string{"good cut.pressure=46 kPa"}, to: edits{pressure("0.46 bar")}, covered: true},
		{name: "cut badly", steps: []string{"bad cut.pressure=0.46 bar"}, to: edits{pressure("0.46 bar")}, missing: "cut.pressure"},
		{name: "cut so so", steps: []string{"marginal cut.pressure=0.46 bar"}, to: edits{pressure("0.46 bar")}, missing: "cut.pressure"},
		{name: "between two good cuts", steps: []string{"good cut.pressure=0.44 bar", "good cut.pressure=0.50 bar"}, to: edits{pressure("0.46 bar")}, covered: true},
		{name: "between, the trial's own values being one", steps: []string{"good", "good cut.pressure=0.50 bar"}, to: edits{pressure("0.46 bar")}, covered: true},
		{name: "beyond the last good cut", steps: []string{"good cut.pressure=0.42 bar", "good cut.pressure=0.45 bar"}, to: edits{pressure("0.46 bar")}, missing: "cut.pressure"},
		{name: "a bad cut between", steps: []string{"good cut.pressure=0.42 bar", "bad cut.pressure=0.45 bar", "good cut.pressure=0.50 bar"}, to: edits{pressure("0.46 bar")}, missing: "cut.pressure"},
		{name: "a bad cut between on the other side", steps: []string{"good cut.pressure=0.42 bar", "marginal cut.pressure=0.48 bar", "good cut.pressure=0.50 bar"}, to: edits{pressure("0.46 bar")}, missing: "cut.pressure"},
		{name: "a bad cut outside", steps: []string{"bad cut.pressure=0.40 bar", "good cut.pressure=0.42 bar", "good cut.pressure=0.50 bar", "bad cut.pressure=0.54 bar"}, to: edits{pressure("0.46 bar")}, covered: true},
		{name: "between, and bad right here", steps: []string{"good cut.pressure=0.42 bar", "bad cut.pressure=0.46 bar", "good cut.pressure=0.50 bar"}, to: edits{pressure("0.46 bar")}, missing: "cut.pressure"},
		{name: "one value cut twice, once badly", steps: []string{"good cut.pressure=0.42 bar", "bad cut.pressure=0.42 bar", "good cut.pressure=0.50 bar"}, to: edits{pressure("0.46 bar")}, missing: "cut.pressure"},
		{name: "between by two values at once", steps: []string{"good", "good cut.pressure=0.50 bar; cut.speed=3.2 m/min"}, to: edits{pressure("0.46 bar"), speed("3 m/min")}, missing: "cut.speed, cut.pressure"},
		{name: "both values shown", steps: []string{"good cut.pressure=0.46 bar; cut.speed=3 m/min"}, to: edits{pressure("0.46 bar"), speed("3 m/min")}, covered: true},
		{name: "one of two values shown", steps: []string{"good cut.pressure=0.46 bar", "bad cut.speed=3 m/min"}, to: edits{pressure("0.46 bar"), speed("3 m/min")}, missing: "cut.speed"},
		{name: "cut with another nozzle", steps: []string{"good cut.pressure=0.46 bar; nozzle.orifice=1.4 mm"}, to: edits{pressure("0.46 bar")}, missing: "cut.pressure"},
		{name: "a word between two cuts", steps: []string{"good nozzle.form=single"}, to: edits{pressure("0.46 bar")}, missing: "cut.pressure"},
		{name: "only what describes changed", to: edits{func(v *schema.Values) {
			v.Kerf, v.Note, v.Grade = schema.Of(length("0.3 mm")), schema.Of("cut well"), schema.Of("S355J2")
		}}, missing: ""},
		{name: "what describes need not be tried", steps: []string{"good cut.pressure=0.46 bar"}, to: edits{pressure("0.46 bar"), func(v *schema.Values) { v.Kerf = schema.Of(length("0.3 mm")) }}, covered: true},
		{name: "another grade", edit: func(t *schema.Trial) {
			t.Values.V.Grade = schema.Of("S235JR")
			t.Digest = schema.Of(string(t.Values.V.Digest()))
		}, steps: []string{"good cut.pressure=0.46 bar"}, to: edits{pressure("0.46 bar"), func(v *schema.Values) { v.Grade = schema.Of("S355J2") }}, missing: "cut.pressure"},
		{name: "a step on another grade", steps: []string{"good cut.pressure=0.46 bar; grade=S235JR"}, to: edits{pressure("0.46 bar"), func(v *schema.Values) { v.Grade = schema.Of("S355J2") }}, missing: "cut.pressure"},
		{name: "another lens", edit: func(t *schema.Trial) { t.MachineValues = schema.Of(lens("150 mm")) }, machine: lens("200 mm"),
			steps: []string{"good cut.pressure=0.46 bar"}, to: edits{pressure("0.46 bar")}, missing: "cut.pressure"},
		{name: "the same lens", edit: func(t *schema.Trial) { t.MachineValues = schema.Of(lens("200 mm")) }, machine: lens("0.2 m"),
			steps: []string{"good cut.pressure=0.46 bar"}, to: edits{pressure("0.46 bar")}, covered: true},
		{name: "a lens filled in since", machine: lens("200 mm"), steps: []string{"good cut.pressure=0.46 bar"}, to: edits{pressure("0.46 bar")}, covered: true},
		{name: "of another condition", edit: func(t *schema.Trial) { t.ID = schema.Of("bay-2/carbon-steel/oxygen/8mm") },
			steps: []string{"good cut.pressure=0.46 bar"}, to: edits{pressure("0.46 bar")}, missing: "cut.pressure"},
		{name: "with values that do not fit their digest", edit: func(t *schema.Trial) { t.Digest = schema.Of(strings.Repeat("0", 64)) },
			steps: []string{"good cut.pressure=0.46 bar"}, to: edits{pressure("0.46 bar")}, missing: "cut.pressure"},
		{name: "with a step that cannot be read", steps: []string{"good cut.pressure=0.46 bar", "bad cut.presure=0.47 bar"}, to: edits{pressure("0.46 bar")}, missing: "cut.pressure"},
		{name: "a step on another thickness", steps: []string{"good thickness=8 mm; cut.pressure=0.46 bar"}, to: edits{pressure("0.46 bar")}, missing: "cut.pressure"},
		{name: "a pierce stage", steps: []string{"good pierce[0].time=0.2 s"}, to: edits{func(v *schema.Values) {
			v.Pierce = schema.Of([]schema.Stage{{Time: schema.Of(parsed[quantity.Duration]("200 ms"))}})
		}}, covered: true},
		{name: "a pierce stage not tried", steps: []string{"good"}, to: edits{func(v *schema.Values) {
			v.Pierce = schema.Of([]schema.Stage{{Time: schema.Of(parsed[quantity.Duration]("200 ms")), Power: schema.Of(parsed[quantity.Power]("1 kW"))}})
		}}, missing: "pierce[0].power, pierce[0].time"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newShop(t)
			s.tryOut(func(trial *schema.Trial) {
				if c.edit != nil {
					c.edit(trial)
				}
			}, c.steps...)
			from, to := recipe("6 mm", "0.40 bar"), recipe("6 mm", "0.40 bar")
			for _, edit := range c.to {
				edit(to)
			}
			trials, missing := s.ledger().Covers(idOf(t, id6), from, to, c.machine)
			var paths []string
			for _, m := range missing {
				paths = append(paths, m.Path)
				if m.To.Path == "" {
					t.Errorf("%s: the new value is not said", m.Path)
				}
			}
			if got := strings.Join(paths, ", "); got != c.missing || (len(trials) > 0) != c.covered {
				t.Errorf("%d trials, missing %q; want covered %v, missing %q", len(trials), got, c.covered, c.missing)
			}
		})
	}
}

func TestCoversANewCondition(t *testing.T) {
	s := newShop(t)
	to := recipe("6 mm", "0.46 bar")
	_, missing := s.ledger().Covers(idOf(t, id6), nil, to, schema.BeamAndJet{})
	var paths []string
	for _, m := range missing {
		paths = append(paths, m.Path)
	}
	want := []string{"nozzle.form", "nozzle.orifice", "nozzle.standoff", "cut.power", "cut.speed", "cut.pressure", "cut.focus"}
	if d := cmp.Diff(want, paths); d != "" {
		t.Error(d)
	}
	s.tryOut(nil, "good")
	if _, missing = s.ledger().Covers(idOf(t, id6), nil, to, schema.BeamAndJet{}); len(missing) != 1 || missing[0].Path != "cut.pressure" {
		t.Errorf("missing %v; want what the closest good cut does not show", missing)
	}
	r := s.tryOut(nil, "good cut.pressure=0.46 bar")
	if trials, missing := s.ledger().Covers(idOf(t, id6), nil, to, schema.BeamAndJet{}); len(trials) != 1 || trials[0].Digest != r.Digest || len(missing) > 0 {
		t.Errorf("trials %v, missing %v", trials, missing)
	}
	if trials, missing := s.ledger().Covers(idOf(t, id6), to, nil, schema.BeamAndJet{}); trials != nil || missing != nil {
		t.Error("a removal asks for a trial")
	}
}

func TestCoversWithATrialTakenBack(t *testing.T) {
	s := newShop(t)
	r := s.tryOut(nil, "good cut.pressure=0.46 bar")
	s.withdraw("Ove", r, unsigned)
	if trials, missing := s.ledger().Covers(idOf(t, id6), recipe("6 mm", "0.40 bar"), recipe("6 mm", "0.46 bar"), schema.BeamAndJet{}); len(trials) > 0 || len(missing) != 1 {
		t.Errorf("%d trials", len(trials))
	}
}

// Every trial that shows the recipe is named, in order of time, whatever came between; but what was cut last has the last word.
func TestCoversNamesAllTrials(t *testing.T) {
	s := newShop(t)
	covering := func() (got []string, missing int, against int) {
		e := s.ledger().Evidence(idOf(t, id6), recipe("6 mm", "0.46 bar"), schema.BeamAndJet{})
		trials, left := e.Covers(recipe("6 mm", "0.40 bar"))
		for _, r := range trials {
			got = append(got, r.Path)
		}
		return got, len(left), len(e.Against())
	}
	first := s.tryOut(nil, "good cut.pressure=46 kPa", "good cut.pressure=0.44 bar")
	s.tryOut(nil, "good cut.pressure=48 kPa")
	s.tryOut(nil, "bad cut.pressure=0.46 bar", "good cut.pressure=0.44 bar", "good cut.pressure=0.48 bar")
	if got, missing, against := covering(); len(got) > 0 || missing != 1 || against != 1 {
		t.Errorf("cut badly since: trials %v, %d missing, %d against", got, missing, against)
	}
	last := s.tryOut(nil, "good cut.pressure=0.46 bar")
	got, missing, against := covering()
	if d := cmp.Diff([]string{first.Path, last.Path}, got); d != "" || missing > 0 || against > 0 {
		t.Error(d, missing, against)
	}
}

// Replicates: one bad cut of three with the very values is reason enough.
func TestCoversAsksForEveryCutToBeGood(t *testing.T) {
	s := newShop(t)
	s.tryOut(nil, "good cut.pressure=0.46 bar", "good cut.pressure=0.46 bar", "marginal cut.pressure=0.46 bar", "good cut.pressure=0.42 bar", "good cut.pressure=0.50 bar")
	if trials, missing := s.ledger().Covers(idOf(t, id6), recipe("6 mm", "0.40 bar"), recipe("6 mm", "0.46 bar"), schema.BeamAndJet{}); len(trials) > 0 || len(missing) != 1 {
		t.Errorf("%d trials, %d missing", len(trials), len(missing))
	}
}

// What does not count says why.
func TestSetAside(t *testing.T) {
	for _, c := range []struct {
		name    string
		edit    func(*schema.Trial)
		machine schema.BeamAndJet
		to      func(*schema.Values)
		says    string
	}{
		{name: "other optics", machine: lens("200 mm"), edit: func(t *schema.Trial) { t.MachineValues = schema.Of(lens("150 mm")) },
			says: "the machine was another one then: head.focal_length 150 mm then, 200 mm now"},
		{name: "another grade", edit: func(t *schema.Trial) { t.Grade = schema.Of("S235JR") }, to: func(v *schema.Values) { v.Grade = schema.Of("S355J2") },
			says: "cut on S235JR, and this is for S355J2"},
		{name: "an override", edit: func(t *schema.Trial) {
			t.Overrides = schema.Table[quantity.Ratio]{{Name: "feed", V: parsed[quantity.Ratio]("90 %"), At: schema.Made}}
		}, says: "cut with the feed override at 90 %, so not with the values written down"},
		{name: "values that do not fit", edit: func(t *schema.Trial) { t.Digest = schema.Of(strings.Repeat("0", 64)) }, says: "its values do not fit what it says it is of"},
		{name: "all overrides whole", edit: func(t *schema.Trial) {
			t.Overrides = schema.Table[quantity.Ratio]{{Name: "feed", V: parsed[quantity.Ratio]("100.0 %"), At: schema.Made}}
		}},
		{name: "the same grade with a blank", edit: func(t *schema.Trial) { t.Grade = schema.Of("s355j2 ") }, to: func(v *schema.Values) { v.Grade = schema.Of("S355J2") }},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newShop(t)
			s.tryOut(c.edit, "good")
			to := recipe("6 mm", "0.40 bar")
			if c.to != nil {
				c.to(to)
			}
			e := s.ledger().Evidence(idOf(t, id6), to, c.machine)
			if c.says == "" {
				if len(e.Cuts) != 1 || len(e.Aside) > 0 {
					t.Errorf("%d cuts, aside %v", len(e.Cuts), e.Aside)
				}
				return
			}
			if len(e.Cuts) > 0 || len(e.Aside) != 1 || e.Aside[0].Why != c.says {
				t.Errorf("%d cuts, aside %+v", len(e.Cuts), e.Aside)
			}
		})
	}
}

// Along one value stand the cuts where nothing else differs, whatever the trial.
func TestAlong(t *testing.T) {
	s := newShop(t)
	s.tryOut(nil, "good", "good cut.pressure=0.44 bar", "bad cut.pressure=0.50 bar", "good cut.pressure=0.44 bar; cut.speed=3 m/min", "good nozzle.form=single")
	s.tryOut(nil, "good cut.speed=3 m/min")
	e := s.ledger().Evidence(idOf(t, id6), recipe("6 mm", "0.40 bar"), schema.BeamAndJet{})
	if d := cmp.Diff([]string{"cut.speed", "cut.pressure"}, e.Varied()); d != "" {
		t.Error(d)
	}
	var got []string
	for _, c := range e.Along("cut.pressure") {
		got = append(got, e.ValueOf(c, "cut.pressure").Format(nil)+" "+c.Step.Outcome.V)
	}
	if d := cmp.Diff([]string{"0.4 bar good", "0.44 bar good", "0.5 bar bad"}, got); d != "" {
		t.Error(d)
	}
}

// A twin is proven by one good trial of any condition of the set, on the machine as it is.
func TestProvenUnits(t *testing.T) {
	s := newShop(t)
	on := func(unit string) func(*schema.Trial) { return func(t *schema.Trial) { t.Unit = schema.Of(unit) } }
	s.tryOut(on("bay-2"), "bad", "good cut.pressure=0.44 bar")
	s.tryOut(on("bay-3"), "bad", "marginal cut.pressure=0.44 bar")
	s.tryOut(func(t *schema.Trial) { on("bay-4")(t); t.MachineValues = schema.Of(lens("150 mm")) }, "good")
	id := idOf(t, "bay-2/carbon-steel/oxygen/8mm")
	if d := cmp.Diff(map[string]bool{"bay-2": true}, s.ledger().ProvenUnits(id, lens("200 mm"))); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(map[string]bool{}, s.ledger().ProvenUnits(idOf(t, "bay-2/carbon-steel/nitrogen/8mm"), lens("200 mm"))); d != "" {
		t.Error(d)
	}
}

// A hot nozzle marks a trial until somebody says what it was, of this condition, on this unit, and not before it happened.
func TestHotCuts(t *testing.T) {
	s := newShop(t)
	hot := func(t *schema.Trial) {
		t.Unit = schema.Of("bay-2")
		t.Steps.V[0].Measured = schema.Of(schema.Measured{NozzleDegrees: schema.Of(parsed[quantity.Temperature]("60 degC"))})
		t.Steps.V[1].Measured = schema.Of(schema.Measured{NozzleDegrees: schema.Of(parsed[quantity.Temperature]("59.9 degC")), NozzleHeat: schema.Of("warm")})
		t.Steps.V[2].Observed = schema.Of([]string{"spatter", "hot-nozzle"})
		t.Steps.V[3].Measured = schema.Of(schema.Measured{NozzleHeat: schema.Of("hot")})
	}
	cause := func(unit string, symptoms ...string) {
		c := &schema.Cause{ID: schema.Of(id6), Symptom: schema.Of(symptoms), Found: schema.Of("beam-alignment")}
		c.Unit = schema.Of(unit)
		s.write(c, &c.Common, schema.KindCause, "Ove", unsigned)
	}
	cause("bay-2", "hot-nozzle")
	r := s.tryOut(hot, "good", "good", "good", "good")
	cause("bay-3", "hot-nozzle")
	cause("bay-2", "spatter")
	if n := s.ledger().HotCuts(r); n != 3 {
		t.Errorf("%d hot cuts, want 3", n)
	}
	cause("bay-2", "hot-nozzle", "spatter")
	if n := s.ledger().HotCuts(r); n != 0 {
		t.Errorf("%d hot cuts after it was explained", n)
	}
	if n := s.ledger().HotCuts(s.tryOut(nil, "good")); n != 0 {
		t.Errorf("%d hot cuts in a trial without", n)
	}
}
