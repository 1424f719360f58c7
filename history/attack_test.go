package history_test

import (
	"fmt"
	"strings"
	"testing"

	"fettle/history"
	"fettle/schema"
)

const oxygenSet = "sets/bay-2/carbon-steel-oxygen.json"

// snapshotOf is a snapshot of a library with the 6 mm condition at a pressure and machine bay-2, and what its records put in force.
func snapshotOf(t *testing.T, pressure string) memory {
	t.Helper()
	return memory{
		schema.SettingsFile:   fmt.Appendf(nil, `{"kind":"library","format":1,"id":%q,"name":"Northgate plate shop","policy":{"approvals":1,"own_change":"allow"}}`, northgate),
		"machines/bay-2.json": fmt.Appendf(nil, machineText, "6 kW"),
		oxygenSet: fmt.Appendf(nil, `{"kind":"condition-set","format":1,"machine":"bay-2","material":"carbon-steel","gas":"oxygen","conditions":[
			{"thickness":"6 mm","nozzle":{"form":"double","orifice":"1.2 mm","standoff":"1 mm"},"cut":{"power":"2.2 kW","speed":"2.9 m/min","pressure":%q,"focus":"3 mm"}}]}`, pressure),
	}
}

// Nothing stands as approved where more is written than its digest says: another reader may take the other of two members.
func TestHiddenContentIsNotApproved(t *testing.T) {
	edit := func(path, old, new string) func(memory) {
		return func(m memory) {
			if !strings.Contains(string(m[path]), old) {
				t.Fatalf("%s does not hold %q", path, old)
			}
			m[path] = []byte(strings.Replace(string(m[path]), old, new, 1))
		}
	}
	cases := []struct {
		name string
		edit func(memory)
		want string // what does not stand as it was approved
	}{
		{"nothing", func(memory) {}, ""},
		{"a member twice", edit(oxygenSet, `"focus":"3 mm"`, `"focus":"3 mm","focus":"-9 mm"`), id6},
		{"an unknown member", edit(oxygenSet, `"focus":"3 mm"`, `"focus":"3 mm","overdrive":"9 kW"`), id6},
		{"an unreadable member", edit(oxygenSet, `"focus":"3 mm"`, `"focus":"3 mm","duty":"40"`), id6},
		{"a member of the set twice", edit(oxygenSet, `"gas":"oxygen"`, `"gas":"oxygen","gas":"nitrogen"`), id6},
		{"the same id in an earlier file", func(m memory) {
			m["sets/bay-2/a.json"] = m[oxygenSet]
			edit(oxygenSet, `"0.40 bar"`, `"3.1 bar"`)(m)
		}, id6},
		{"a limit of the machine twice", edit("machines/bay-2.json", `"rated_power":"6 kW"`, `"rated_power":"6 kW","rated_power":"60 kW"`), "bay-2"},
		{"the machine in an earlier file", func(m memory) {
			m["machines/a.json"] = m["machines/bay-2.json"]
			edit("machines/bay-2.json", `"6 kW"`, `"60 kW"`)(m)
		}, "bay-2"},
		{"the policy twice", edit(schema.SettingsFile, `"policy":{`, `"policy":{"approvals":1,`), schema.SubjectSettings},
		{"a policy that cannot be read", edit(schema.SettingsFile, `"policy":{`, `"policy":{"trial":"requird",`), schema.SubjectSettings},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			s := newShop(t)
			m := snapshotOf(t, "0.40 bar")
			lib := readLibrary(t, m)
			s.adopt("Mara", append(history.CurrentSubjects(lib), s.roster("Mara"))...)
			c.edit(m)
			lib = readLibrary(t, m)
			st := s.judge()
			var got []string
			for _, p := range append(st.Positions(lib), st.Others(lib)...) {
				if p.Status != history.Approved && p.Kind != schema.SubjectRoster { // this snapshot has no such file
					got = append(got, p.Name)
				}
				if p.Name == c.want && (p.Status != history.Changed || len(p.Unread) == 0) {
					t.Errorf("%s is %s, unread %v", p.Name, p.Status, p.Unread)
				}
			}
			if strings.Join(got, " ") != c.want {
				t.Errorf("not approved: %v, want %q", got, c.want)
			}
		})
	}
}

func readLibrary(t *testing.T, src schema.Source) *schema.Library {
	t.Helper()
	lib, err := schema.ReadLibrary(src)
	if err != nil {
		t.Fatal(err)
	}
	return lib
}

