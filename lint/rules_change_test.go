package lint

import (
	"testing"

	"fettle/schema"
)

func TestChangeRules(t *testing.T) {
	judgeAll(t, "change", []judgement{
		loud("no reason", `cut.pressure=0.33 bar; change:reasoned=no`, "cut.pressure 0.31 bar -> 0.33 bar (+6.5 %)", "error no-reason cut.pressure"),
		loud("no reason for a stage", `pierce[0].time=0.32 s; change:reasoned=no`, "pierce1.time 0.3 s -> 0.32 s", "error no-reason pierce[0].time"),
		loud("kerf needs a reason", `kerf=0.33 mm; change:reasoned=no`, "", "error no-reason kerf"),
		loud("grade needs a reason", `set:grade=S235JR; change:reasoned=no`, "grade S355J2 -> S235JR", "error no-reason grade"),
		loud("a member that is gone", `kerf=; change:reasoned=no`, "kerf 0.32 mm (gone)", "error no-reason kerf"),
		quiet("a note needs none", `note=tried on Monday; change:reasoned=no`),
		quiet("another unit needs none", `cut.pressure=31 kPa; change:reasoned=no`),
		quiet("the policy asks for none", `settings:policy.reason=off; cut.pressure=0.33 bar; change:reasoned=no`),
		quiet("nothing ruled out for a trial", `cut.pressure=0.33 bar; change:cause=trial-result; change:ruled_out=`),
		loud("nothing ruled out for a lot", `cut.pressure=0.33 bar; change:cause=material-lot; change:ruled_out=`, "loaded-condition", "warning nothing-ruled-out cut.pressure"),
		loud("jet and focus", `cut.pressure=0.33 bar; cut.focus=3.5 mm`, "2 things", "warning many-at-once cut.pressure"),
		loud("three groups", `cut.power=2.3 kW; cut.pressure=0.33 bar; cut.focus=3.5 mm`, "3 things", "warning many-at-once cut.power"),
		quiet("power with speed", `cut.power=2.3 kW; cut.speed=3 m/min`),
		quiet("mode, frequency and duty", `cut.mode=pulsed; cut.frequency=1 kHz; cut.duty=90 %`),
		quiet("nozzle, standoff and pressure", `nozzle.orifice=1.4 mm; nozzle.standoff=1.2 mm; cut.pressure=0.33 bar`),
		quiet("focus and spot", `cut.focus=3.5 mm; cut.spot=0.2 mm`),
		quiet("one group and the pierce", `cut.focus=3.5 mm; pierce[0].time=0.35 s; pierce[0].pressure=0.9 bar; pierce[0].power=1.6 kW`),
		quiet("one group and the kerf", `cut.focus=3.5 mm; kerf=0.33 mm`),
		loud("the lead-in counts with its cut", `lead_in.speed=1.5 m/min; cut.focus=3.5 mm`, "", "warning many-at-once lead_in.speed"),
		quiet("many with a trial", `cut.pressure=0.33 bar; cut.focus=3.5 mm; change:trial=covers`),
		quiet("many put back", `cut.pressure=0.33 bar; cut.focus=3.5 mm; change:cause=put-back`),
		quiet("many for a nozzle", `cut.pressure=0.33 bar; cut.focus=3.5 mm; change:cause=nozzle-change`),
		quiet("many for optics", `cut.pressure=0.33 bar; cut.focus=3.5 mm; change:cause=optics-change`),
		quiet("many for the machine", `cut.pressure=0.33 bar; cut.focus=3.5 mm; change:cause=machine-change`),
		quiet("many for a correction", `cut.pressure=0.33 bar; cut.focus=3.5 mm; change:cause=correction`),
		quiet("many up to the limit", `settings:rules.many-at-once.limit=3; cut.pressure=0.33 bar; cut.focus=3.5 mm`),

		quiet("pressure by 20 %", `cut.pressure=0.372 bar`),
		loud("pressure beyond 20 %", `cut.pressure=0.373 bar`, "20 % or 0.05 bar", "warning large-step cut.pressure"),
		quiet("pressure by 0.05 bar", `2mm:cut.pressure=0.21 bar; cut.pressure=0.36 bar`),
		quiet("focus by 1 mm", `cut.focus=4 mm`),
		loud("focus beyond", `cut.focus=4.1 mm`, "1 mm or 0.15 of the thickness", "warning large-step cut.focus"),
		quiet("standoff by 0.3 mm", `nozzle.standoff=1.3 mm`),
		loud("standoff beyond", `nozzle.standoff=1.31 mm`, "30 % or 0.3 mm", "warning large-step nozzle.standoff"),
		quiet("pierce time by half", `pierce[0].time=0.45 s`),
		loud("pierce time beyond", `pierce[0].time=0.46 s`, "50 % or 0.1 s", "warning large-step pierce[0].time"),
		quiet("power by 20 %", `cut.power=2.64 kW`),
		loud("power beyond", `cut.power=2.65 kW`, "up to 20 %", "warning large-step cut.power"),
		loud("speed beyond, downwards", `cut.speed=2.3 m/min`, "", "warning large-step cut.speed"),
		quiet("duty by 10 points", `pierce[0].duty=55 %`),
		loud("duty beyond", `pierce[0].duty=56 %`, "10 points", "warning large-step pierce[0].duty"),
		quiet("two sizes of nozzle", `nozzle.orifice=1.5 mm; nozzle.form=single; 2mm:nozzle.form=double; settings:rules.nozzle-form-for-gas.severity=off`),
		loud("three sizes of nozzle", `nozzle.orifice=1.7 mm`, "3 sizes", "warning large-step nozzle.orifice"),
		quiet("a new stage moves the others", `pierce=[{"power": "800 W", "time": "2 s", "pressure": "1 bar"}, {"power": "1.5 kW", "time": "0.3 s", "pressure": "0.8 bar"}]`),
		quiet("large with a trial", `cut.pressure=0.6 bar; change:trial=covers`),
		quiet("the limit is set", `settings:rules.large-step.limit=60 %; cut.pressure=0.45 bar`),
		loud("an error says it already", `cut.pressure=35 bar`, "", "error pressure-over-line cut.pressure"),

		loud("below the window", `cut.pressure=0.27 bar; change:window=cut.pressure 0.28 bar to 0.34 bar`, "cut.pressure 0.27 bar is below the proven window 0.28 bar to 0.34 bar (6 cuts, all good)", "warning outside-window cut.pressure"),
		loud("above the window", `pierce[0].time=0.35 s; change:window=pierce[0].time 0.2 s to 0.32 s`, "fettle trial plan bay-2/carbon-steel/oxygen/6mm --vary pierce1.time", "warning outside-window pierce[0].time"),
		quiet("on the edge of the window", `cut.pressure=0.34 bar; change:window=cut.pressure 0.28 bar to 0.34 bar`),
		quiet("a window of another value", `cut.pressure=0.35 bar; change:window=cut.speed 2 m/min to 2.5 m/min`),
		quiet("beyond, with a trial of these values", `cut.pressure=0.35 bar; change:trial=covers; change:window=cut.pressure 0.28 bar to 0.34 bar`),
		loud("against a trial", `cut.pressure=0.33 bar; change:against=bad on 2 November on bay-2 (dross)`, "a trial with these values came out bad on 2 November on bay-2 (dross)", "warning against-trial cut.pressure"),

		loud("rejected", `kerf=0.33 mm; change:status=rejected`, "rejected", "note unapproved kerf"),
		loud("contested", `kerf=0.33 mm; change:status=contested`, "contested", "note unapproved kerf"),
		loud("superseded", `kerf=0.33 mm; change:status=superseded`, "not the one in force", "note unapproved kerf"),
		loud("own approval where it is allowed", `settings:policy.own_change=allow; kerf=0.33 mm; change:own_approval=Mara Lind`, "approved by its author", "note own-approval kerf"),
	})
}

// What has no before or no after still has a place and a reason to ask for.
func TestNewAndRemoved(t *testing.T) {
	base := exampleLibrary()
	files := exampleSource()
	if err := edit(files, "12mm", "thickness", "15 mm"); err != nil {
		t.Fatal(err)
	}
	lib, err := schema.ReadLibrary(files)
	if err != nil {
		t.Fatal(err)
	}
	gone, added := id(t, "bay-2/carbon-steel/oxygen/12mm"), id(t, "bay-2/carbon-steel/oxygen/15mm")
	changes := []Change{
		{ID: gone, Before: base.Recipe(gone).Values(), Status: "removed"},
		{ID: added, After: lib.Recipe(added).Values(), Status: "new", MayApprove: []string{"Jonas Falk"}},
	}
	got := map[string]Finding{}
	for _, f := range Run(lib, Options{Base: base, Changes: changes}).New().Findings {
		got[f.ID+" "+f.Rule] = f
		if f.Path != "sets/bay-2/carbon-steel-oxygen.json" || f.Line < 2 {
			t.Errorf("no place: %+v", f)
		}
	}
	for key, says := range map[string]string{
		gone.String() + " no-reason": "no reason for: removed", gone.String() + " unapproved": "removed",
		added.String() + " no-reason": "no reason for: new", added.String() + " unapproved": "never approved",
	} {
		if f, ok := got[key]; !ok || !contains(f.Message, says) {
			t.Errorf("%s: want %q, got %+v", key, says, f)
		}
	}
	if len(got) != 4 {
		t.Errorf("%d findings, want 4", len(got))
	}
	if f := got[added.String()+" unapproved"]; !contains(f.Help, "Jonas Falk") {
		t.Errorf("who may approve is not said: %q", f.Help)
	}
	// without a base there is no file to point to: the id has to do
	for _, f := range Run(lib, Options{Changes: changes[:1]}).Findings {
		if f.Rule == "no-reason" && (f.ID != gone.String() || f.Line != 1) {
			t.Errorf("%+v", f)
		}
	}
}

func TestPermit(t *testing.T) {
	lib := exampleLibrary()
	r := lib.Recipe(id(t, exampleID))
	result := Run(lib, Options{Severity: map[string]Severity{"unapproved": Error}, Changes: []Change{{ID: r.ID, Before: nil, After: r.Values(), Reasoned: true, Status: "new", Until: "Monday 06:00"}}})
	for _, f := range result.Findings {
		if f.Rule == "unapproved" {
			if f.Severity != Note || !contains(f.Message, "provisional until Monday 06:00") {
				t.Errorf("a permit lets it run: %+v", f)
			}
			return
		}
	}
	t.Error("nothing says that it is provisional")
}

func id(t *testing.T, text string) schema.ID {
	t.Helper()
	id, err := schema.ParseID(text)
	if err != nil {
		t.Fatal(err)
	}
	return id
}

// What a ladder spans by itself is what the rule large-step lets pass.
func TestUsualStep(t *testing.T) {
	lib := exampleLibrary()
	r := lib.Recipe(id(t, exampleID))
	for path, want := range map[string]string{"cut.pressure": "0.062 bar", "cut.speed": "0.58 m/min", "cut.focus": "1 mm", "pierce[0].time": "0.15 s", "nozzle.standoff": "0.3 mm"} {
		if got, ok := UsualStep(lib, r, path); !ok || got.Format(nil) != want {
			t.Errorf("%s: %s, want %s", path, got.Format(nil), want)
		}
	}
	for _, path := range []string{"cut.mode", "kerf.no", "cut.frequency"} {
		if got, ok := UsualStep(lib, r, path); ok {
			t.Errorf("%s has the usual step %s", path, got)
		}
	}
}
