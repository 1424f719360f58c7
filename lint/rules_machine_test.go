package lint

import "testing"

func TestMachineRules(t *testing.T) {
	const other = `"power": "900 W", "time": "0.1 s", "pressure": "1 bar"`
	judgeAll(t, "machine", []judgement{
		quiet("rated power itself", `cut.power=6000 W`),
		loud("power of the lead-in", `lead_in.power=6.1 kW`, "6.1 kW is above the rated 6 kW", "error power-over-rating lead_in.power"),
		loud("power of a contour", `contours=[{"name": "hole", "power": "7 kW"}]`, "", "error power-over-rating contours[0].power"),
		loud("power of a corner", `corner.min_power=7 kW`, "", "error power-over-rating corner.min_power"),
		loud("power of a ramp", `pierce[0].end_power=7 kW`, "", "error power-over-rating pierce[0].end_power"),
		quiet("pulsed up to the peak", `machine:laser.peak_power=9 kW; pierce[0].power=9 kW`),
		loud("pulsed above the peak", `machine:laser.peak_power=9 kW; pierce[0].power=9.5 kW`, "above the peak 9 kW", "error power-over-rating pierce[0].power"),
		loud("pulsed and too much on average", `machine:laser.peak_power=9 kW; pierce[0].power=9 kW; pierce[0].duty=80 %`, "7.2 kW on average", "error power-over-rating pierce[0].duty"),
		loud("continuous takes no peak", `machine:laser.peak_power=9 kW; cut.power=9 kW`, "rated 6 kW", "error power-over-rating cut.power"),
		quiet("a blow of 0 W", `pierce=[{"power": "0 W", "time": "0.1 s", "pressure": "1 bar"}]`),
		loud("below the least power", `cut.power=150 W`, "below the 200 W", "error power-below-minimum cut.power"),
		loud("corner below the least power", `corner.min_power=150 W`, "", "error power-below-minimum corner.min_power"),
		quiet("corner falls to nothing", `corner.min_power=0 W`),
		loud("speed of the lead-in", `lead_in.speed=130 m/min`, "above the 120 m/min of the axes", "error speed-over-axes lead_in.speed"),
		loud("speed in another unit", `cut.speed=2001 mm/s`, "120.06 m/min is above", "error speed-over-axes cut.speed"),
		quiet("speed at the limit in another unit", `cut.speed=2 m/s`),
		loud("focus of a pierce", `pierce[0].focus=-26 mm`, "-26 mm is outside", "error focus-out-of-travel pierce[0].focus"),
		loud("focus of a contour", `contours=[{"name": "hole", "focus": "26 mm"}]`, "", "error focus-out-of-travel contours[0].focus"),
		loud("standoff too small", `nozzle.standoff=0.2 mm`, "0.3 mm to 10 mm", "error standoff-out-of-range nozzle.standoff"),
		quiet("orifice typed as a fraction of an inch that is in the rack", `machine:head.nozzles=[{"form":"double","orifice":"1/16 in"},{"form":"double","orifice":"1.0 mm"},{"form":"double","orifice":"1.4 mm"},{"form":"double","orifice":"1.2 mm"},{"form":"single","orifice":"1.5 mm"},{"form":"single","orifice":"2.0 mm"},{"form":"single","orifice":"2.5 mm"}]; nozzle.orifice=1.5875 mm`),
		loud("the other form is there", `nozzle.form=single`, "one of the other form", "error nozzle-not-fitted nozzle.orifice", "warning nozzle-form-for-gas nozzle.form"),
		loud("pressure of the pierce", `pierce[0].pressure=4 bar`, "above the 3.5 bar of the oxygen line", "error pressure-over-line pierce[0].pressure"),
		loud("pressure of the lead-in", `lead_in.pressure=4 bar`, "", "error pressure-over-line lead_in.pressure"),
		quiet("pierce with another gas at its own line", `pierce=[{"gas": "nitrogen", "power": "900 W", "time": "0.1 s", "pressure": "18 bar"}]`),
		loud("pierce with another gas above its line", `pierce=[{"gas": "nitrogen", `+other[:len(other)-len(`"1 bar"`)]+`"21 bar"}]`, "above the 20 bar of the nitrogen line", "error pressure-over-line pierce[0].pressure"),
		loud("above the valve", `machine:gas.oxygen.valve.max_pressure=0.5 bar; cut.pressure=0.6 bar; pierce:=[]; 2mm:pierce:=[]; 3mm:pierce:=[]; 4mm:pierce:=[]; 8mm:pierce:=[]; 10mm:pierce:=[]; 12mm:pierce:=[]`,
			"0.5 bar that the oxygen valve can set", "error pressure-over-line cut.pressure"),
		quiet("start at the edge", `pierce:=[]`),
		quiet("continuous at 100 % with any frequency", `cut.duty=100 %; cut.frequency=50 kHz`),
		quiet("continuous with 0 Hz", `cut.frequency=0 Hz`),
		quiet("100 % without a mode", `cut.mode=; cut.duty=100 %; cut.frequency=50 kHz`),
		loud("continuous with part duty", `cut.duty=80 %`, "which of the two", "warning duty-mode cut.duty"),
		loud("part duty without a mode", `cut.mode=; cut.duty=80 %; cut.frequency=1 kHz`, "no mode", "warning duty-mode cut.duty"),
		loud("pulsed without duty", `cut.mode=pulsed; cut.frequency=1 kHz`, "without a duty", "warning duty-mode cut.mode"),
		loud("pulsed without frequency", `cut.mode=pulsed; cut.duty=50 %`, "without a frequency", "warning duty-mode cut.mode"),
		quiet("the lead-in pulses a continuous cut", `lead_in.mode=pulsed; lead_in.duty=50 %; lead_in.frequency=1 kHz`),
		quiet("the corner pulses a continuous cut", `corner.min_duty=20 %; corner.min_frequency=100 Hz`),
		loud("negative duty", `pierce[0].duty=-5 %`, "cannot be", "error duty-mode pierce[0].duty"),
		loud("no duty at all", `pierce[0].duty=0 %`, "leaves the beam off", "error duty-mode pierce[0].duty"),
		loud("corner duty", `corner.min_duty=130 %`, "cannot be", "error duty-mode corner.min_duty"),
		loud("corner frequency", `corner.min_frequency=6 kHz`, "above the 5 kHz", "error frequency-over-limit corner.min_frequency"),
		loud("pulse frequency of the cut", `cut.mode=pulsed; cut.duty=50 %; cut.frequency=6 kHz`, "", "error frequency-over-limit cut.frequency"),
		loud("gas of the set", `set:gas=argon`, "bay-2 has no argon", "error gas-not-plumbed gas"),
		loud("a lost decimal point in psi", `set:note=x; cut.pressure=450 psi`, "31.03 bar is above the 3.5 bar of the oxygen line", "error pressure-over-line cut.pressure"),
		loud("a number in psi under bar", `cut.pressure=4.5 bar`, "A number in psi?", "error pressure-over-line cut.pressure"),
	})
}

func TestSleeping(t *testing.T) {
	got, findings := judge(t, "machine", `machine:axes=; machine:laser.min_power=; machine:head.focus_range=; machine:head.standoff_range=; machine:laser.max_frequency=`)
	if len(got) != 1 || got[0] != "note sleeping name" {
		t.Fatalf("one note for the machine, got %q", got)
	}
	for _, says := range []string{"5 checks sleep", "axes.max_speed would wake speed-over-axes", "laser.min_power would wake power-below-minimum",
		"head.focus_range", "head.standoff_range", "laser.max_frequency would wake frequency-over-limit"} {
		if !contains(findings[0].Message, says) {
			t.Errorf("the note does not say %q: %s", says, findings[0].Message)
		}
	}
	e, err := (Rule{}).Example(`machine:axes=`)
	if err != nil {
		t.Fatal(err)
	}
	if r := Run(e.After, e.Options); len(r.Sleeping) != 1 || r.Sleeping[0].Member != "axes.max_speed" || r.Sleeping[0].Machine != "bay-2" {
		t.Errorf("sleeping: %+v", r.Sleeping)
	}
	// a limit that no value asks for wakes nobody
	if got, _ := judge(t, "machine", `machine:laser.max_frequency=; without:sets/bay-2/stainless-steel-nitrogen.json; pierce:=[]; 2mm:pierce:=[]; 3mm:pierce:=[]; 4mm:pierce:=[]; 8mm:pierce:=[]; 10mm:pierce:=[]; 12mm:pierce:=[]`); len(got) != 0 {
		t.Errorf("nothing pulses, and yet %q", got)
	}
}
