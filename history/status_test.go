package history_test

import (
	"fmt"
	"slices"
	"testing"

	"fettle/history"
	"fettle/schema"
)

// libraryOf is a snapshot of a library with the 6 mm condition at a pressure ("" is none), and the given machine.
func libraryOf(t testing.TB, pressure, machine string) *schema.Library {
	t.Helper()
	m := memory{schema.SettingsFile: fmt.Appendf(nil, `{"kind":"library","format":1,"id":%q,"name":"Northgate plate shop","policy":{"approvals":1,"own_change":"allow"}}`, northgate)}
	if machine != "" {
		m["machines/bay-2.json"] = []byte(machine)
	}
	if pressure != "" {
		m["sets/bay-2/carbon-steel-oxygen.json"] = fmt.Appendf(nil, `{"kind":"condition-set","format":1,"machine":"bay-2","material":"carbon-steel","gas":"oxygen","conditions":[
			{"thickness":"6 mm","nozzle":{"form":"double","orifice":"1.2 mm","standoff":"1 mm"},"cut":{"power":"2.2 kW","speed":"2.9 m/min","pressure":%q,"focus":"3 mm"}}]}`, pressure)
	}
	lib, err := schema.ReadLibrary(m)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range lib.Files {
		if len(f.Problems) > 0 {
			t.Fatalf("%s: %v", f.Path, f.Problems)
		}
	}
	return lib
}

func idOf(t testing.TB, text string) schema.ID {
	t.Helper()
	id, err := schema.ParseID(text)
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func TestStatus(t *testing.T) {
	for _, c := range []struct {
		name, now string
		decide    func(s *shop, a *schema.Record)
		want      history.Status
	}{
		{"as adopted", "0.40 bar", func(*shop, *schema.Record) {}, history.Approved},
		{"as adopted, in another unit", "40 kPa", func(*shop, *schema.Record) {}, history.Approved},
		{"edited", "0.46 bar", func(*shop, *schema.Record) {}, history.Changed},
		{"gone", "", func(*shop, *schema.Record) {}, history.Removed},
		{"gone, and that is approved", "", func(s *shop, a *schema.Record) { s.approve("Mara", removal(), follow(a)) }, history.Approved},
		{"back after its removal", "0.40 bar", func(s *shop, a *schema.Record) { s.approve("Mara", removal(), follow(a)) }, history.Superseded},
		{"new after a removal", "0.46 bar", func(s *shop, a *schema.Record) { s.approve("Mara", removal(), follow(a)) }, history.New},
		{"proposal rejected", "0.46 bar", func(s *shop, a *schema.Record) { s.reject("Mara", s.cond("0.46 bar"), follow(a)) }, history.Rejected},
		{"put back after a rejected proposal", "0.40 bar", func(s *shop, a *schema.Record) { s.reject("Mara", s.cond("0.46 bar"), follow(a)) }, history.Approved},
		{"rejected in force", "0.40 bar", func(s *shop, a *schema.Record) { s.reject("Mara", s.cond("0.40 bar"), follow(a)) }, history.Rejected},
		{"edited after that", "0.46 bar", func(s *shop, a *schema.Record) { s.reject("Mara", s.cond("0.40 bar"), follow(a)) }, history.Changed},
		{"gone after that", "", func(s *shop, a *schema.Record) { s.reject("Mara", s.cond("0.40 bar"), follow(a)) }, history.Approved},
		{"put back to one before", "0.40 bar", func(s *shop, a *schema.Record) { s.approve("Mara", s.cond("0.46 bar"), follow(a)) }, history.Superseded},
		{"contested", "0.40 bar", func(s *shop, a *schema.Record) { s.approve("Mara", s.cond("0.46 bar")) }, history.Contested},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, a := adopted(t, 1, "allow", "Mara")
			c.decide(s, a)
			lib := libraryOf(t, c.now, "")
			p := s.judge().Position(lib, idOf(t, id6))
			if p.Status != c.want {
				t.Errorf("%s, want %s", p.Status, c.want)
			}
			listed := slices.ContainsFunc(s.judge().Positions(lib), func(q history.Position) bool { return q.ID == p.ID })
			if want := c.now != "" || c.want != history.Approved; listed != want {
				t.Errorf("listed: %v, want %v", listed, want)
			}
		})
	}
}

func TestPositionOfWhatNobodyDecidedOn(t *testing.T) {
	s := newShop(t)
	s.adopt("Mara", s.roster("Mara"))
	p := s.judge().Position(libraryOf(t, "0.40 bar", ""), idOf(t, id6))
	if base, by := p.Base(); p.Status != history.New || base != nil || by != nil || p.Approved() != nil {
		t.Errorf("%s, base %v by %v", p.Status, base, by)
	}
}

func TestBase(t *testing.T) {
	pressure := func(v *schema.Values) string {
		if v == nil {
			return "none"
		}
		return v.Cut.V.Pressure.V.Text()
	}
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	lib, id := libraryOf(t, "0.50 bar", ""), idOf(t, id6)
	if base, _ := s.judge().Position(lib, id).Base(); pressure(base) != "0.40 bar" {
		t.Errorf("base %s, want the one in force", pressure(base))
	}
	b := s.approve("Mara", s.cond("0.46 bar"), follow(a))
	s.approve("Jonas", s.cond("0.50 bar"), follow(a))
	p := s.judge().Position(lib, id)
	if base, by := p.Base(); pressure(base) != "0.46 bar" || by.Record.Digest != b.Digest || p.Approved() != nil {
		t.Errorf("contested: base %s, want the last that was in force and is another", pressure(base))
	}
	s, a = adopted(t, 1, "allow", "Mara")
	s.approve("Mara", removal(), follow(a))
	if base, _ := s.judge().Position(lib, id).Base(); pressure(base) != "none" {
		t.Errorf("after its removal: base %s", pressure(base))
	}
}

func TestStale(t *testing.T) {
	machineWith := func(laser, head, gas string) string {
		return `{"kind":"machine","format":1,"name":"bay-2","laser":{"rated_power":"6 kW"` + laser + `},"head":{"nozzles":[{"form":"double","orifice":"1.2 mm"}]` + head +
			`},"gas":{"nitrogen":{"line_pressure":"20 bar","purity":"99.9 %"},"oxygen":{"line_pressure":"6 bar"` + gas + `}}}`
	}
	was := machineWith(`,"core_diameter":"0.1 mm"`, "", `,"valve":{"critical_ratio":0.32}`)
	for _, c := range []struct {
		name, now string
		drifted   []string
	}{
		{"nothing changed", was, nil},
		{"the same in another unit", machineWith(`,"core_diameter":"100 um"`, "", `,"valve":{"critical_ratio":0.320}`), nil},
		{"the valve changed", machineWith(`,"core_diameter":"0.1 mm"`, "", `,"valve":{"critical_ratio":0.33}`), []string{"gas.oxygen.critical_ratio"}},
		{"a blank was filled", machineWith(`,"core_diameter":"0.1 mm"`, `,"focal_length":"200 mm"`, `,"purity":"99.95 %","valve":{"critical_ratio":0.32}`), nil},
		{"a limit changed", machineWith(`,"core_diameter":"0.1 mm","max_frequency":"5 kHz"`, `,"focus_range":["-20 mm","20 mm"]`, `,"valve":{"critical_ratio":0.32,"max_pressure":"8 bar"}`), nil},
		{"the source changed", machineWith(`,"core_diameter":"0.15 mm"`, "", `,"valve":{"critical_ratio":0.32}`), []string{"laser.core_diameter"}},
		{"a value was taken out", machineWith("", "", `,"valve":{"critical_ratio":0.32}`), []string{"laser.core_diameter"}},
		{"the machine is gone", "", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newShop(t)
			old := libraryOf(t, "0.40 bar", was)
			subject := history.ConditionSubject(old, old.Recipe(idOf(t, id6)))
			s.adopt("Mara", s.roster("Mara"), subject)
			p := s.judge().Position(libraryOf(t, "0.40 bar", c.now), idOf(t, id6))
			var drifted []string
			for _, d := range p.Drifted {
				drifted = append(drifted, d.Path)
			}
			want := history.Approved
			if len(c.drifted) > 0 {
				want = history.Stale
			}
			if p.Status != want || !slices.Equal(drifted, c.drifted) {
				t.Errorf("%s %v, want %s %v", p.Status, drifted, want, c.drifted)
			}
		})
	}
}

// A co-approval that knew the machine as it is keeps the recipe from being stale, and a new approval mends it.
func TestApprovedAgainAfterTheMachineChanged(t *testing.T) {
	s := newShop(t)
	text := `{"kind":"machine","format":1,"name":"bay-2","revision":%d,"laser":{"rated_power":"6 kW"},"head":{"nozzles":[]},"gas":{"oxygen":{"line_pressure":"6 bar"}}}`
	first, second := libraryOf(t, "0.40 bar", fmt.Sprintf(text, 1)), libraryOf(t, "0.40 bar", fmt.Sprintf(text, 2))
	id := idOf(t, id6)
	a := s.adopt("Mara", s.roster("Mara"), history.ConditionSubject(first, first.Recipe(id)))
	if p := s.judge().Position(second, id); p.Status != history.Stale || p.Drifted[0].Path != "revision" {
		t.Fatalf("%s %v", p.Status, p.Drifted)
	}
	s.approve("Mara", history.ConditionSubject(second, second.Recipe(id)), follow(a))
	if p := s.judge().Position(second, id); p.Status != history.Approved {
		t.Errorf("%s after it was proven again", p.Status)
	}
}

func TestOthers(t *testing.T) {
	s := newShop(t)
	lib := libraryOf(t, "0.40 bar", fmt.Sprintf(machineText, "6 kW"))
	lib.Roster, lib.People = []byte(line("Mara")+"\n"), []byte(line("Ove")+"\n")
	a := s.adopt("Mara", history.CurrentSubjects(lib)...)
	if got := s.judge().Others(lib); len(got) != 0 {
		t.Fatalf("as adopted: %+v", got)
	}
	lib = libraryOf(t, "0.46 bar", fmt.Sprintf(machineText, "8 kW"))
	lib.Settings.Value.Name = schema.Of("Southgate")
	lib.Roster, lib.People = []byte("no roster\n"), nil
	s.approve("Mara", s.machine("9 kW"), follow(a))
	var got []string
	for _, p := range s.judge().Others(lib) {
		got = append(got, fmt.Sprint(p.Kind, " ", p.Name, " ", p.Status))
	}
	want := []string{"machine bay-2 changed", "people people removed", "roster roster changed", "settings settings changed"}
	if !slices.Equal(got, want) {
		t.Errorf("got  %v\nwant %v", got, want)
	}
}

func TestPolicyBeforeAndAfterAdoption(t *testing.T) {
	otherwise := schema.Policy{Approvals: schema.Of(7)}
	s := newShop(t)
	if n := s.judge().Policy(otherwise).ApprovalsNeeded(); n != 7 {
		t.Errorf("before the adoption %d persons, want those of the file", n)
	}
	s, _ = adopted(t, 2, "allow", "Mara")
	if n := s.judge().Policy(otherwise).ApprovalsNeeded(); n != 2 {
		t.Errorf("%d persons, want those adopted", n)
	}
}
