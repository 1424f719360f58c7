package lint

import (
	"strings"
	"testing"
)

func contains(text, part string) bool { return strings.Contains(text, part) }

// a machine with air and argon as well
const moreGases = `machine:gas.air.line_pressure=16 bar; machine:gas.argon.line_pressure=16 bar; ` +
	`machine:gas.air.valve.conductance=9 dm3/(s.bar); machine:gas.air.valve.critical_ratio:=0.3; machine:gas.argon.valve.conductance=9 dm3/(s.bar); machine:gas.argon.valve.critical_ratio:=0.3; `

func TestMaterialRules(t *testing.T) {
	judgeAll(t, "material", []judgement{
		loud("oxygen on copper is practice", `set:material=copper`, "throws most of the beam back", "note reflective material"),
		loud("oxygen on brass is practice", `set:material=brass`, "", "note fume material", "note reflective material"),
		loud("oxygen on stainless is practice", `set:material=stainless-steel`, "chromium VI", "note fume material"),
		loud("galvanized", `set:material=galvanized-steel`, "zinc", "note fume material"),
		loud("oxygen on titanium", `set:material=titanium`, "the fire does not stop", "error fire-risk gas"),
		loud("oxygen on magnesium", `set:material=magnesium`, "", "error fire-risk gas"),
		loud("air on titanium", moreGases+`set:material=titanium; set:gas=air`, "brittle", "warning gas-for-material gas"),
		loud("air on magnesium", moreGases+`set:material=magnesium; set:gas=air`, "", "warning gas-for-material gas"),
		quiet("argon on titanium", moreGases+`set:material=titanium; set:gas=argon`),
		quiet("argon on magnesium", moreGases+`set:material=magnesium; set:gas=argon`),
		loud("nitrogen on titanium", `set:material=titanium; set:gas=nitrogen`, "nitride", "note gas-for-material gas"),
		quiet("nitrogen on aluminium", `set:material=aluminium; set:gas=nitrogen`),
		quiet("air on aluminium", moreGases+`set:material=aluminium; set:gas=air`),
		quiet("air on carbon steel", moreGases+`set:gas=air`),
		loud("oxygen pierce on titanium", moreGases+`set:material=titanium; set:gas=argon; pierce[0].gas=oxygen`, "", "error fire-risk pierce[0].gas"),
		loud("own material is judged as its base", `settings:materials.ti-grade-5.base=titanium; set:material=ti-grade-5`, "oxygen on ti-grade-5: titanium burns", "error fire-risk gas"),
		loud("a mix rich in oxygen", moreGases+`settings:gases.rich={"nitrogen": "60 %", "oxygen": "40 %"}; machine:gas.rich={"line_pressure": "5 bar", "valve": {"conductance": "9 dm3/(s.bar)", "critical_ratio": 0.3}}; set:material=titanium; set:gas=rich`, "burns in 40 %", "error fire-risk gas"),
		quiet("a mix without oxygen", `settings:gases.forming={"nitrogen": "95 %", "hydrogen": "5 %"}; machine:gas.forming={"line_pressure": "15 bar", "valve": {"conductance": "9 dm3/(s.bar)", "critical_ratio": 0.3}}; set:gas=forming`),
		quiet("single below 3 mm", `2mm:nozzle.form=single`),
		loud("single from 3 mm on", `3mm:nozzle.form=single`, "usual from 3 mm on", "warning nozzle-form-for-gas nozzle.form"),
		quiet("the limit is set", `settings:rules.nozzle-form-for-gas.limit=3.5 mm; 3mm:nozzle.form=single`),
		quiet("the whole family agrees", `nozzle={"form": "single", "orifice": "1.0 mm", "standoff": "1 mm"}; 2mm:nozzle.form=single; 3mm:nozzle.form=single; 4mm:nozzle.form=single; `+
			`8mm:nozzle={"form": "single", "orifice": "1.5 mm", "standoff": "1 mm"}; 10mm:nozzle={"form": "single", "orifice": "1.5 mm", "standoff": "1 mm"}; 12mm:nozzle={"form": "single", "orifice": "1.5 mm", "standoff": "1 mm"}`),
		quiet("single with nitrogen", `set:gas=nitrogen; nozzle={"form": "single", "orifice": "1.0 mm", "standoff": "1 mm"}`),
		loud("copper at 10.6 um", `set:material=copper; machine:laser.wavelength=10.6 um`, "10.6 um (limit 5 um)", "warning reflective material"),
	})
}

func TestSlipRules(t *testing.T) {
	judgeAll(t, "slip", []judgement{
		loud("one sign turned in the middle", `cut.focus=-3 mm`, "3 mm would be in line", "warning sign-slip cut.focus"),
		loud("one sign turned at the thick end", `12mm:cut.focus=-4.5 mm`, "", "warning sign-slip cut.focus"),
		loud("two neighbours turned", `cut.focus=-3 mm; 8mm:cut.focus=-3.5 mm`, "", "warning sign-slip cut.focus"),
		quiet("a family may cross zero", `2mm:cut.focus=-0.5 mm`),
		quiet("a family may cross zero at the thick end", `12mm:cut.focus=-1 mm; 10mm:cut.focus=0 mm; 8mm:cut.focus=1 mm`),
		quiet("a family of two signs says nothing", `cut.focus=-3 mm; 8mm:cut.focus=-3.5 mm; 10mm:cut.focus=-4 mm; 12mm:cut.focus=-4.5 mm`),
		loud("lead-in turned round", `lead_in.focus=-3 mm`, "turned round", "warning sign-slip lead_in.focus"),
		quiet("a pierce may be on the other side", `pierce[0].focus=-3 mm`),
		quiet("marking may be focused as it likes", `cut.focus=-3 mm; process=mark`),
		loud("a row that was copied", `8mm:all=6mm`, "8 mm have the same recipe", "warning copied-neighbour thickness"),
		quiet("a copy within a ratio of 1.25", `10mm:all=12mm`),
		loud("the limit is set", `settings:rules.copied-neighbour.limit=1.1; 10mm:all=12mm`, "limit 1.1", "warning copied-neighbour thickness"),
		quiet("a copy that was worked on", `8mm:all=6mm; 8mm:cut.speed=2.5 m/min`),
		quiet("marking has one recipe for all", `8mm:all=6mm; 8mm:process=mark; process=mark`),
		quiet("at the limit of the axes", `without:sets/bay-2/stainless-steel-nitrogen.json; machine:axes.max_speed=4.2 m/min; 3mm:all=2mm`),
	})
	// with a base, the one that was touched is named: the thin one here
	_, findings := judge(t, "slip", `all=8mm`)
	if len(findings) != 1 || findings[0].ID != "bay-2/carbon-steel/oxygen/6mm" {
		t.Errorf("6 mm was made a copy of 8 mm, and named is %+v", findings)
	}
}
