package audit_test

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"fettle/history/audit"
	"fettle/history/git"
	"fettle/schema"
)

func changesOf(entries []audit.Entry, kinds ...string) []audit.Entry {
	var out []audit.Entry
	for _, e := range entries {
		for _, k := range kinds {
			if e.Kind == k {
				out = append(out, e)
			}
		}
	}
	return out
}

func expect(t *testing.T, want string, got []audit.Entry) {
	t.Helper()
	if diff := cmp.Diff(strings.TrimPrefix(want, "\n"), tell(got)); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
}

// A change is told with its reason and with whoever approved what it led to.
func TestReasonAndApproval(t *testing.T) {
	d := newDesk(t)
	adoption := d.adopt()
	a, b, c := [2]string{"0.40 bar", "2.9 m/min"}, [2]string{"0.46 bar", "2.9 m/min"}, [2]string{"0.46 bar", "3.0 m/min"}
	d.edit(a, b, "dross")
	d.edit(b, c, "faster")
	d.approve(adoption)
	d.edit(c, [2]string{"0.50 bar", "3.0 m/min"}, "")
	trail := d.trail()
	expect(t, `
adoption `+tenMM+`
reason `+tenMM+`
changed cut.pressure 0.40 bar -> 0.46 bar because dross (quality-target) approved later by `+jonas+`
reason `+tenMM+`
changed cut.speed 2.9 m/min -> 3.0 m/min because faster (quality-target) approved by `+jonas+`
approval `+tenMM+`
changed cut.pressure 0.46 bar -> 0.50 bar
`, withoutFirst(trail.Select(audit.Filter{IDs: []schema.ID{mustID(t, tenMM)}})))
	expect(t, `
changed cut.pressure 0.40 bar -> 0.46 bar because dross (quality-target) approved later by `+jonas+`
changed cut.pressure 0.46 bar -> 0.50 bar
`, changesOf(trail.Select(audit.Filter{Field: "pressure", Unapproved: true}), audit.Changed))
	for _, e := range trail.Select(audit.Filter{Field: "speed", By: "mara lind"}) {
		if e.By.Principal != mara {
			t.Errorf("the author is %+v, and the file people knows %s", e.By, mara)
		}
	}
	if got := trail.Select(audit.Filter{By: "jonas.falk"}); len(changesOf(got, "adoption", "approval")) != len(got) || len(got) == 0 {
		t.Errorf("Jonas decided and changed nothing: %s", tell(got))
	}
}

// withoutFirst leaves out the fields of new conditions.
func withoutFirst(entries []audit.Entry) []audit.Entry {
	var out []audit.Entry
	for _, e := range entries {
		if e.Kind != audit.New {
			out = append(out, e)
		}
	}
	return out
}

func mustID(t *testing.T, s string) schema.ID {
	id, err := schema.ParseID(s)
	if err != nil {
		t.Fatal(err)
	}
	return id
}

// Squashed steps: the reasons lead from the old recipe to the new one by a recipe that was never saved.
func TestReasonsOnTheWay(t *testing.T) {
	d := newDesk(t)
	d.adopt()
	a, b, c := digest(t, "0.40 bar", "2.9 m/min"), digest(t, "0.46 bar", "2.9 m/min"), digest(t, "0.46 bar", "3.0 m/min")
	d.reason(a, b, "first")
	d.reason(b, c, "second")
	d.set("0.46 bar", "3.0 m/min")
	d.Commit("squashed")
	expect(t, `
changed cut.speed 2.9 m/min -> 3.0 m/min because first (quality-target) because second (quality-target)
changed cut.pressure 0.40 bar -> 0.46 bar because first (quality-target) because second (quality-target)
`, changesOf(d.trail().Entries(), audit.Changed))
}

// Of equal steps with a reason each, every commit gets the one that was saved with it.
func TestReasonSavedWithTheChange(t *testing.T) {
	d := newDesk(t)
	d.adopt()
	a, b := [2]string{"0.40 bar", "2.9 m/min"}, [2]string{"0.46 bar", "2.9 m/min"}
	d.edit(a, b, "first")
	d.edit(b, a, "back")
	d.edit(a, b, "again")
	expect(t, `
changed cut.pressure 0.40 bar -> 0.46 bar because first (quality-target)
changed cut.pressure 0.46 bar -> 0.40 bar because back (quality-target) approved by `+jonas+`
changed cut.pressure 0.40 bar -> 0.46 bar because again (quality-target)
`, changesOf(d.trail().Entries(), audit.Changed))
}

// What a merge throws away is told at the merge.
func TestDropped(t *testing.T) {
	d := newDesk(t)
	d.Run("checkout", "-q", "-b", "side")
	d.set("0.46 bar", "2.9 m/min")
	d.Commit("side")
	d.Run("checkout", "-q", "main")
	d.Write("README.md", "the shop")
	d.Commit("main")
	d.Run("merge", "-q", "-s", "ours", "--no-ff", "-m", "merge", "side")
	expect(t, `
changed cut.pressure 0.40 bar -> 0.46 bar
dropped cut.pressure 0.46 bar -> 0.40 bar
`, changesOf(d.trail().Entries(), audit.Changed, audit.Dropped))
}

// A clock that runs behind is said and moves nothing: order comes from the commits.
func TestClocks(t *testing.T) {
	d := newDesk(t)
	d.set("0.46 bar", "2.9 m/min")
	d.Commit("on time")
	d.Tick(-48 * time.Hour)
	d.set("0.50 bar", "2.9 m/min")
	d.Commit("a computer with a dead battery")
	changes := changesOf(d.trail().Entries(), audit.Changed)
	expect(t, `
changed cut.pressure 0.40 bar -> 0.46 bar
changed cut.pressure 0.46 bar -> 0.50 bar
`, changes)
	if changes[0].Clock != "" || changes[1].Clock == "" {
		t.Errorf("clocks: %q, %q", changes[0].Clock, changes[1].Clock)
	}
}

// In a clone without older history the oldest commit there did not make all that it holds.
func TestShallow(t *testing.T) {
	d := newDesk(t)
	d.set("0.46 bar", "2.9 m/min")
	d.Commit("second")
	d.set("0.50 bar", "2.9 m/min")
	d.Commit("third")
	trail := read(t, d.Clone("--depth", "2"), "")
	if !trail.Shallow || len(trail.Edges) != 1 {
		t.Fatalf("shallow %v, edges %v", trail.Shallow, trail.Edges)
	}
	for _, e := range trail.Entries() {
		if e.Edge != (e.Kind == audit.New || e.Kind == audit.Edited) {
			t.Errorf("%s %s: edge %v", e.Kind, e.Field, e.Edge)
		}
	}
	expect(t, "changed cut.pressure 0.46 bar -> 0.50 bar\n", changesOf(trail.Entries(), audit.Changed))
}

func TestBeforeTheFirstCommit(t *testing.T) {
	d := newDesk(t)
	d.Run("checkout", "-q", "--orphan", "empty")
	if trail := d.trail(); len(trail.Entries()) != 0 || trail.Head != "" {
		t.Errorf("%d entries at %q", len(trail.Entries()), trail.Head)
	}
	r, err := git.OpenOther(d.Dir)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if _, err := audit.Fields(r, "", audit.Options{Rev: "nowhere"}, audit.Filter{}); err == nil {
		t.Error("a revision that is not there must be an error")
	}
}

func TestParseTime(t *testing.T) {
	zone := time.FixedZone("shop", 2*3600)
	for typed, want := range map[string][2]string{
		"2026-07-01":                {"2026-07-01T00:00:00+02:00", "2026-07-01T23:59:59+02:00"},
		"2026-07-01 14:30":          {"2026-07-01T14:30:00+02:00", "2026-07-01T14:30:00+02:00"},
		"2026-07-01 6:05":           {"2026-07-01T06:05:00+02:00", "2026-07-01T06:05:00+02:00"},
		"2026-07-01T14:30:00Z":      {"2026-07-01T14:30:00Z", "2026-07-01T14:30:00Z"},
		"2026-07-01T14:30:00-05:00": {"2026-07-01T14:30:00-05:00", "2026-07-01T14:30:00-05:00"},
	} {
		for i, end := range []bool{false, true} {
			got, err := audit.ParseTime(typed, zone, end)
			if err != nil || got.Format(time.RFC3339) != want[i] {
				t.Errorf("%s, end %v: %s, %v; want %s", typed, end, got.Format(time.RFC3339), err, want[i])
			}
		}
	}
	if _, err := audit.ParseTime("1.7.2026", zone, false); err == nil {
		t.Error("1.7.2026 is January or July")
	}
}

// TestClockPutBack: the hour that a clock shows twice is the first one as a beginning and the second as an end. The moments are those of
// the rules for Europe/Berlin in the time zone database, and of Lord Howe Island, where half an hour is put back.
func TestClockPutBack(t *testing.T) {
	for _, c := range []struct{ zone, typed, first, last string }{
		{"Europe/Berlin", "2026-10-25 02:30", "2026-10-25T00:30:00Z", "2026-10-25T01:30:00Z"},
		{"Europe/Berlin", "2026-10-25 01:59", "2026-10-24T23:59:00Z", "2026-10-24T23:59:00Z"},
		{"Europe/Berlin", "2026-10-25 03:00", "2026-10-25T02:00:00Z", "2026-10-25T02:00:00Z"},
		{"Australia/Lord_Howe", "2026-04-05 01:45", "2026-04-04T14:45:00Z", "2026-04-04T15:15:00Z"},
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Skip(err)
		}
		for end, want := range map[bool]string{false: c.first, true: c.last} {
			if got, err := audit.ParseTime(c.typed, zone, end); err != nil || got.UTC().Format(time.RFC3339) != want {
				t.Errorf("%s in %s, end %v: %s %v, want %s", c.typed, c.zone, end, got.UTC().Format(time.RFC3339), err, want)
			}
		}
		if _, err := audit.ParseTime("2026-03-29 02:30", zone, false); c.zone == "Europe/Berlin" && (err == nil || !strings.Contains(err.Error(), "03:30 CEST")) {
			t.Errorf("a time that was not: %v", err)
		}
	}
}

func TestMatchField(t *testing.T) {
	for typed, paths := range map[string][2]string{
		"pressure":       {"cut.pressure", "cut.pressures"},
		"cut.pressure":   {"cut.pressure", "lead_in.pressure"},
		"pierce1.time":   {"pierce[0].time", "pierce[1].time"},
		"pierce[1].time": {"pierce[1].time", "pierce[0].time"},
		"pierce":         {"pierce[2].power", "cut.power"},
		"nozzle":         {"nozzle.orifice", "pierce[0].standoff"},
	} {
		if !audit.MatchField(paths[0], typed) || audit.MatchField(paths[1], typed) {
			t.Errorf("%s: %s %v, %s %v", typed, paths[0], audit.MatchField(paths[0], typed), paths[1], audit.MatchField(paths[1], typed))
		}
	}
}
