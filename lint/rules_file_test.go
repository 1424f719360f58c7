package lint

import (
	"bytes"
	"testing"

	"fettle/schema"
)

func TestFileRules(t *testing.T) {
	judgeAll(t, "file", []judgement{
		loud("bare number", `cut.power:=2200`, "no unit", "error bare-number cut.power"),
		loud("gas of the set", `set:gas=oxigen`, `Did you mean "oxygen"?`, "error unknown-gas gas"),
		loud("gas of the machine", `machine:gas.nitrogne.line_pressure=5 bar`, `"nitrogen"`, "error unknown-gas gas.nitrogne"),
		loud("base of an own material", `settings:materials.corten.base=carbonsteel; set:material=corten`, "constants of its own", "error unknown-material materials.corten.base"),
		quiet("an own material", `settings:materials.corten.base=carbon-steel; set:material=corten`),
		loud("part of a mix", `settings:gases.mix={"nitrogen": "95 %", "hydrogn": "5 %"}`, `"hydrogen"`, "error unknown-gas gases.mix.hydrogn"),
		loud("a mix that does not add up", `settings:gases.mix={"nitrogen": "95 %", "hydrogen": "4 %"}`, "add up to 99 %", "error bad-value gases.mix"),
		loud("unknown rule", `settings:rules.sign-slop.severity=off`, `Did you mean "sign-slip"?`, "error unknown-rule rules.sign-slop"),
		loud("limit of another dimension", `settings:rules.large-step.limit=3 mm`, "keeps its own limit of 20 %", "error bad-value rules.large-step.limit"),
		loud("limit below zero", `settings:rules.large-step.limit=-3 %`, "above zero", "error bad-value rules.large-step.limit"),
		loud("limit with a unit where none is taken", `settings:rules.copied-neighbour.limit=1.25 mm`, "plain number", "error bad-value rules.copied-neighbour.limit"),
		loud("limit that nobody asks for", `settings:rules.fume.limit=3`, "no limit to set", "error bad-value rules.fume.limit"),
		loud("trend of no family", `settings:trend={"bay-2/carbon-steel/oxigen": {"speed": "falling"}}`, `"bay-2/carbon-steel/oxygen"`, "warning bad-value trend.bay-2/carbon-steel/oxigen"),
		quiet("trend of a family", `settings:trend={"bay-2/carbon-steel/oxygen": {"speed": "falling"}}`),
		loud("extra not declared", `extra.air_assist=on`, "not declared by the profile of bay-2", "error unknown-field extra.air_assist"),
		quiet("extra declared", `machine:extra=["air_assist"]; extra.air_assist=on`),
		loud("negative pressure", `cut.pressure=-0.3 bar`, "gauge", "error bad-value cut.pressure"),
		loud("negative speed", `lead_in.speed=-1 m/min`, "", "error bad-value lead_in.speed"),
		loud("no power to cut with", `cut.power=0 W`, "no power to cut with", "error bad-value cut.power"),
		loud("no orifice", `nozzle.orifice=0 mm`, "", "error bad-value nozzle.orifice"),
		loud("no standoff", `nozzle.standoff=0 mm`, "touch the plate", "error bad-value nozzle.standoff"),
		loud("no kerf", `kerf=-0.3 mm`, "", "error bad-value kerf"),
		loud("far too thick", `12mm:thickness=12000 mm`, "far beyond", "warning bad-value thickness"),
		loud("a unit slip in the speed without a limit of the axes", `machine:axes=; cut.speed=2900 m/min`, "far beyond", "note sleeping name", "warning bad-value cut.speed"),
		loud("range of quality", `quality.perpendicularity_range:=6`, "1 to 5", "error bad-value quality.perpendicularity_range"),
		quiet("ranges of quality", `quality.perpendicularity_range:=5; quality.roughness_range:=4`),
		loud("a range the wrong way round", `machine:head.standoff_range=["10 mm", "0.3 mm"]`, "lower end comes first", "error bad-value head.standoff_range", "note sleeping name"),
		loud("least power above the rating", `machine:laser.min_power=7 kW; cut.power=6 kW`, "above the rated 6 kW",
			"error bad-value laser.min_power", "error power-below-minimum cut.power", "error power-below-minimum pierce[0].power"),
		loud("purity", `machine:gas.oxygen.purity=120 %`, "share by volume", "error bad-value gas.oxygen.purity"),
	})
}

func TestMachineFileThatCannotBeRead(t *testing.T) {
	files := exampleSource()
	files["machines/bay-2.json"] = []byte("{\n")
	lib, err := schema.ReadLibrary(files)
	if err != nil {
		t.Fatal(err)
	}
	said := map[string]bool{}
	for _, f := range Run(lib, Options{}).Findings {
		said[f.Rule+" "+f.Message] = true
	}
	if !said[`unknown-machine the profile of "bay-2" cannot be read`] {
		t.Errorf("got %v", said)
	}
}

func TestNotFormattedNamesTheFirstLine(t *testing.T) {
	files := exampleSource()
	path := "sets/bay-2/carbon-steel-oxygen.json"
	files[path] = bytes.ReplaceAll(files[path], []byte("\n"), []byte("\r\n"))
	lib, err := schema.ReadLibrary(files)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range Run(lib, Options{}).Findings {
		if f.Rule == "not-formatted" {
			if f.Line != 1 || !contains(f.Message, "CR LF") {
				t.Errorf("line %d: %s", f.Line, f.Message)
			}
			return
		}
	}
	t.Error("CR LF is not reported")
}
