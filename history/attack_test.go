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

// Whoever wrote a change and may not approve it alone does not get there by way of records that cost them nothing.
func TestOwnChangeCannotBeLaundered(t *testing.T) {
	step := [][2]string{{"0.40 bar", "0.46 bar"}}
	cases := []struct {
		name   string
		attack func(s *shop, a *schema.Record) []*schema.Record // what own approval follows
	}{
		{"by taking the reason back", func(s *shop, a *schema.Record) []*schema.Record {
			s.withdraw("Mara", s.reason("Mara", id6, step))
			return []*schema.Record{a}
		}},
		{"by taking the reason back without a signature", func(s *shop, a *schema.Record) []*schema.Record {
			s.withdraw("Ove", s.reason("Mara", id6, step), unsigned)
			return []*schema.Record{a}
		}},
		{"by taking a signed reason back and claiming another", func(s *shop, a *schema.Record) []*schema.Record {
			s.withdraw("Mara", s.reason("Mara", id6, step, keyOf("Mara")))
			s.reason("Jonas", id6, step)
			return []*schema.Record{a}
		}},
		{"by approving what is in force once more, and claiming a later reason", func(s *shop, a *schema.Record) []*schema.Record {
			s.reason("Mara", id6, step)
			b := s.approve("Mara", s.cond("0.40 bar"), follow(a))
			s.reason("Jonas", id6, step)
			return []*schema.Record{b}
		}},
		{"by approving that long after the reason, in two steps", func(s *shop, a *schema.Record) []*schema.Record {
			s.reason("Mara", id6, step)
			b := s.approve("Mara", s.cond("0.40 bar"), follow(a), at(s.now.AddDate(1, 0, 0)))
			c := s.approve("Mara", s.cond("0.40 bar"), follow(b), at(s.now.AddDate(2, 0, 0)))
			s.reason("Jonas", id6, step, at(s.now.AddDate(3, 0, 0)))
			return []*schema.Record{c}
		}},
		{"by a way around", func(s *shop, a *schema.Record) []*schema.Record {
			s.cond("0.43 bar")
			s.reason("Mara", id6, step)
			s.reason("Jonas", id6, [][2]string{{"0.40 bar", "0.43 bar"}, {"0.43 bar", "0.46 bar"}})
			return []*schema.Record{a}
		}},
		{"by an approval of hers that does not count", func(s *shop, a *schema.Record) []*schema.Record {
			s.reason("Mara", id6, step)
			b := s.approve("Mara", s.cond("0.46 bar"), follow(a))
			s.reason("Jonas", id6, step)
			return []*schema.Record{b}
		}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			s, a := adopted(t, 1, "refuse", "Mara", "Jonas")
			s.cond("0.46 bar")
			own := s.approve("Mara", s.cond("0.46 bar"), follow(c.attack(s, a)...))
			st := s.judge()
			s.wantRefused(st, own, "wrote the change")
			if got, _ := st.State(schema.SubjectCondition, id6).Digest(); string(got) != s.cond("0.40 bar").Digest.V {
				t.Errorf("in force: %s", s.says(st.State(schema.SubjectCondition, id6)))
			}
		})
	}
}

// A reason in the name of whoever approved, written afterwards by anybody, does not make the approval one of their own change.
func TestApprovalIsNotVoidedByAReasonInItsName(t *testing.T) {
	step := [][2]string{{"0.40 bar", "0.46 bar"}}
	cases := []struct {
		name   string
		attack func(s *shop)
	}{
		{"later", func(s *shop) { s.reason("Jonas", id6, step) }},
		{"dated back", func(s *shop) { s.reason("Jonas", id6, step, at(s.now.AddDate(0, 0, -1))) }},
		{"by a way around", func(s *shop) {
			s.cond("0.43 bar")
			s.reason("Jonas", id6, [][2]string{{"0.40 bar", "0.43 bar"}, {"0.43 bar", "0.46 bar"}})
		}},
		{"signed by an outsider", func(s *shop) { s.reason("Jonas", id6, step, keyOf("Ove")) }},
		{"signed by himself, for the same step once more", func(s *shop) {
			s.reason("Jonas", id6, step, keyOf("Jonas"), follow(s.records[len(s.records)-1]))
		}},
		{"signed by a colleague", func(s *shop) { s.reason("Jonas", id6, step, keyOf("Mara")) }},
		{"while the reason is taken back", func(s *shop) {
			s.withdraw("Ove", s.records[len(s.records)-2], unsigned)
			s.reason("Jonas", id6, step)
		}},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			s, a := adopted(t, 1, "refuse", "Mara", "Jonas")
			s.cond("0.46 bar")
			r := s.approve("Jonas", s.cond("0.46 bar"), follow(a, s.reason("Mara", id6, step)))
			c.attack(s)
			st := s.judge()
			s.wantRefused(st, r, "")
			s.wantCond(st, "0.46 bar by Jonas")
		})
	}
}

// Whoever decides follows the reasons that they read. What these claim to follow is not in sight of the decision: else anybody could
// make it replace a decision that nobody saw.
func TestReasonLendsNoSight(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara", "Jonas")
	s.cond("0.46 bar")
	elsewhere := s.approve("Mara", s.cond("0.50 bar"), follow(a)) // on a branch that Jonas does not have
	bait := s.reason("Ove", id6, [][2]string{{"0.40 bar", "0.46 bar"}}, follow(elsewhere))
	s.approve("Jonas", s.cond("0.46 bar"), follow(a, bait))
	s.wantCond(s.judge(), "contested: 0.46 bar by Jonas, 0.50 bar by Mara")
}

// What two persons put in force, one of them does not undo alone: the recipe before it would be in force again, which two gave up.
func TestOneOfTwoDoesNotBringTheRecipeBeforeBack(t *testing.T) {
	s, a := adopted(t, 2, "allow", "Mara", "Jonas")
	mine := s.approve("Jonas", s.cond("0.46 bar"), follow(a))
	early := s.withdraw("Jonas", mine)
	s.wantCond(s.judge(), "0.40 bar by Mara") // it waited for a second person, so it is his own affair
	s.wantRefused(s.judge(), early, "")

	s.records = s.records[:len(s.records)-1]
	s.approve("Mara", s.cond("0.46 bar"), follow(a))
	s.wantCond(s.judge(), "0.46 bar by Jonas, 0.46 bar by Mara")
	w := s.withdraw("Jonas", mine)
	st := s.judge()
	s.wantCond(st, "0.46 bar by Jonas, 0.46 bar by Mara")
	s.wantRefused(st, w, "2 persons")
	s.withdraw("Mara", mine)
	s.wantCond(s.judge(), "0.40 bar by Mara; waits: 0.46 bar by Mara")
	s.withdraw("Mara", s.records[len(s.records)-3]) // hers waits again, so that is her own affair
	s.wantCond(s.judge(), "0.40 bar by Mara")
	s.records = s.records[:len(s.records)-1]
	no := s.reject("Jonas", s.cond("0.40 bar"), follow(a)) // nobody needs a second person to stop something
	s.wantCond(s.judge(), "nothing")
	s.withdraw("Jonas", no)
	s.wantCond(s.judge(), "0.40 bar by Mara; waits: 0.46 bar by Mara")
}

// Decisions may lead back to each other on more ways than anybody can walk. Forty steps with two ways each would never end.
func TestManyWaysToOneDecision(t *testing.T) {
	const steps = 40
	t.Run("of rejections", func(t *testing.T) {
		s, a := adopted(t, 1, "allow", "Mara", "Jonas")
		last := []*schema.Record{a}
		for i := range steps {
			content := s.cond(fmt.Sprintf("0.%d bar", 41+i))
			p := s.approve("Mara", content, follow(last...))
			last = []*schema.Record{s.reject("Mara", content, follow(p)), s.reject("Jonas", content, follow(p))}
		}
		s.wantCond(s.judge(), "nothing")
	})
	t.Run("of rosters", func(t *testing.T) {
		s, a := adopted(t, 1, "allow", "Mara", "Jonas")
		last := []*schema.Record{a}
		for i := range steps {
			last = []*schema.Record{s.approve("Mara", s.roster("Mara", "Jonas", fmt.Sprint("x", i)), follow(last...)),
				s.approve("Jonas", s.roster("Mara", "Jonas", fmt.Sprint("y", i)), follow(last...))}
		}
		s.approve("Mara", s.roster("Mara"), follow(last...), keeps(last[1]))
		s.wantRoster(s.judge(), "Mara by Mara")
	})
}

// Whoever raises a revision that nobody had written yet wants recipes proven again, no less than who raises a written one.
func TestRevisionCountsFromOne(t *testing.T) {
	text := func(revision string) string {
		return `{"kind":"machine","format":1,"name":"bay-2",` + revision + `"laser":{"rated_power":"6 kW"},"head":{"nozzles":[]},"gas":{"oxygen":{"line_pressure":"6 bar"}}}`
	}
	for _, c := range []struct {
		was, now string
		want     history.Status
	}{
		{``, ``, history.Approved},
		{``, `"revision":1,`, history.Approved},
		{`"revision":1,`, ``, history.Approved},
		{``, `"revision":2,`, history.Stale},
		{`"revision":2,`, ``, history.Stale},
		{`"revision":2,`, `"revision":3,`, history.Stale},
	} {
		s := newShop(t)
		lib := libraryOf(t, "0.40 bar", text(c.was))
		s.adopt("Mara", append(history.CurrentSubjects(lib), s.roster("Mara"))...)
		if p := s.judge().Position(libraryOf(t, "0.40 bar", text(c.now)), idOf(t, id6)); p.Status != c.want {
			t.Errorf("%q to %q: %s, want %s", c.was, c.now, p.Status, c.want)
		}
	}
}
