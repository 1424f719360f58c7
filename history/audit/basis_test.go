package audit_test

import (
	"fmt"
	"strings"
	"testing"

	"fettle/history"
	"fettle/history/audit"
	"fettle/history/git/gittest"
	"fettle/schema"
)

// basis is what the timeline of some conditions, or of all, hangs on, after it went into a file and out again.
func (k keeper) basis(ids ...schema.ID) audit.Basis {
	k.Helper()
	b, ok := k.read(true, "", ids...).Basis()
	if !ok {
		k.Fatal("nobody can tell what it hangs on")
	}
	out := &history.Encoder{}
	b.Encode(out)
	in := &history.Decoder{Data: out.Data}
	if b = audit.DecodeBasis(in); in.Bad || len(in.Data) > 0 {
		k.Fatal("it cannot be read again")
	}
	return b
}

// TestBasis takes one step after another from one commit, and asks whether it bears on what was told of a condition.
func TestBasis(t *testing.T) {
	d := newDesk(t)
	adopted := d.adopt()
	d.edit([2]string{"0.40 bar", "2.9 m/min"}, [2]string{"0.46 bar", "2.9 m/min"}, "dross")
	d.approve(adopted)
	base := d.Run("rev-parse", "HEAD")
	id := mustID(t, tenMM)
	k := opened(t, d.Repo, "")
	b, all := k.basis(id), k.basis()
	if len(b.Sets) != 1 || string(b.Sets[0]) != d.Read(setFile) || len(all.Sets) > 0 {
		t.Errorf("the sets %q are kept", b.Sets)
	}
	other := strings.ReplaceAll(setText("9 bar", "4 m/min"), `"oxygen"`, `"nitrogen"`)
	load := func(id string) {
		body := &schema.Load{Common: d.common(schema.KindLoad, mara, ""), Loaded: schema.Of([]schema.Loaded{{ID: schema.Of(id), Digest: schema.Of(digest(t, "0.46 bar", "2.9 m/min"))}})}
		body.Unit, body.Text = schema.Of("bay-2"), schema.Member[string]{}
		d.put(body, &body.Common, "")
		d.Commit("load")
	}
	for _, c := range []struct {
		name          string
		step          func()
		holds, forAll bool
	}{
		{"nothing", func() {}, true, true},
		{"a file beside the library", func() { d.Write("NOTES", "x"); d.Commit("notes") }, true, true},
		{"another set", func() { d.Write("sets/other.json", other); d.Commit("other") }, true, false},
		{"a machine", func() { d.Write("machines/bay-9.json", "{}"); d.Commit("machine") }, true, false},
		{"its set", func() { d.set("0.5 bar", "2.9 m/min"); d.Commit("edit") }, false, false},
		{"its set and back", func() {
			d.set("0.5 bar", "2.9 m/min")
			d.Commit("edit")
			d.set("0.46 bar", "2.9 m/min")
			d.Commit("back")
		}, false, false},
		{"its set in another file", func() { d.Write("sets/again.json", d.Read(setFile)); d.Commit("again") }, false, false},
		{"a set that says nothing", func() { d.Write("sets/odd.json", "what"); d.Commit("odd") }, false, false},
		{"settings", func() { d.Write("fettle.json", d.Read("fettle.json")+"\n"); d.Commit("settings") }, false, false},
		{"who may approve", func() { d.Write("approvers", d.Read("approvers")+"\n"); d.Commit("roster") }, false, false},
		{"who may sign", func() { d.Write("people", d.Read("people")+"\n"); d.Commit("people") }, false, false},
		{"a load of it", func() { load(tenMM) }, false, false},
		{"a load of another", func() { load("bay-2/carbon-steel/nitrogen/10mm") }, true, false},
		{"an escape of all", func() {
			body := &schema.Escape{Common: d.common(schema.KindEscape, mara, "taper"), Symptom: schema.Of([]string{"taper"})}
			body.Unit = schema.Of("bay-2")
			d.put(body, &body.Common, "")
			d.Commit("escape")
		}, false, false},
		{"an escape of another", func() {
			body := &schema.Escape{Common: d.common(schema.KindEscape, mara, "taper"), Symptom: schema.Of([]string{"taper"}),
				IDs: schema.Of([]string{"bay-2/carbon-steel/nitrogen/10mm"})}
			body.Unit = schema.Of("bay-2")
			d.put(body, &body.Common, "")
			d.Commit("escape")
		}, true, false},
		{"a withdrawal", func() {
			body := &schema.Withdrawal{Common: d.common(schema.KindWithdrawal, jonas, "no"), Record: schema.Of(string(adopted.Digest))}
			d.put(body, &body.Common, jonas)
			d.Commit("withdrawal")
		}, false, false},
		{"a record that is none", func() {
			d.Write("records/2026/07/20260714T091205Z-trial-3f9a0c1b2d4e.json", "{}")
			d.Commit("odd")
		}, false, false},
		{"a record altered", func() { d.Write(adopted.Path, d.Read(adopted.Path)+"\n"); d.Commit("altered") }, false, false},
		{"the record of another altered", func() {
			load("bay-2/carbon-steel/nitrogen/10mm")
			d.Run("rm", "-q", "-r", "records")
			d.Commit("gone")
		}, false, false},
		{"the history taken back", func() { d.Run("reset", "-q", "--hard", "HEAD~1") }, false, false},
		{"the last step made again", func() { d.Run("commit", "-q", "--amend", "-m", "another") }, false, false},
		{"a branch from before without its set", func() {
			d.Run("checkout", "-q", "-b", "side", base+"~1")
			d.Write("sets/other.json", other)
			d.Commit("other")
			d.Run("checkout", "-q", "--detach", base)
			d.Run("merge", "-q", "--no-edit", "side")
		}, true, false},
		{"a branch from before with its set", func() {
			d.Run("checkout", "-q", "-b", "side2", base+"~1")
			d.set("0.5 bar", "2.9 m/min")
			d.Commit("edit")
			d.Run("checkout", "-q", "--detach", base)
			d.Run("merge", "-q", "--no-edit", "-s", "ours", "side2")
		}, false, false},
		{"more than are looked at", func() {
			for i := range 40 {
				d.Write("NOTES", fmt.Sprint(i))
				d.Commit("notes")
			}
		}, false, false},
	} {
		d.Run("checkout", "-q", "-f", "--detach", base)
		c.step()
		head := d.Run("rev-parse", "HEAD")
		if got := b.Holds(k.repo, "", head); got != c.holds {
			t.Errorf("%s: what was told of %s holds: %v", c.name, tenMM, got)
		}
		if got := all.Holds(k.repo, "", head); got != c.forAll {
			t.Errorf("%s: what was told of all holds: %v", c.name, got)
		}
		if !c.holds {
			continue
		}
		one := opened(t, d.Repo, "").read(false, "", id)
		d.Run("checkout", "-q", "-f", "--detach", base)
		alike(t, opened(t, d.Repo, "").read(false, "", id), one, id)
	}
}

// TestBasisOverRandomHistories: where it is said to hold, the same is told.
func TestBasisOverRandomHistories(t *testing.T) {
	held, left := 0, 0
	for seed := range uint64(1) {
		s := newShop(t, seed+300)
		line := strings.Fields(s.Run("rev-list", "--first-parent", "HEAD"))
		for i := 4; i < len(line); i += 4 {
			s.Run("checkout", "-q", "-f", "--detach", line[i])
			was := opened(t, s.Repo, s.dir())
			all := was.read(false, "")
			for _, id := range someIDs(all, 6) {
				before := was.read(true, "", id)
				basis, ok := before.Basis()
				if !ok {
					t.Fatal("nobody can tell what it hangs on")
				}
				for _, head := range line[max(0, i-3):i] {
					if !basis.Holds(was.repo, s.dir(), head) {
						left++
						continue
					}
					held++
					f := audit.Filter{IDs: []schema.ID{id}}
					if got, want := spell(before.Select(f)), spell(was.read(false, head, id).Select(f)); got != want {
						t.Errorf("%s: it tells\n%s\nand not\n%s", id, got, want)
					}
				}
			}
		}
	}
	if held < 10 || left < 10 {
		t.Errorf("it held %d times and did not %d times: that says little", held, left)
	}
}

// TestBasisOfPackedSets: git keeps one version of a set as its difference from another, which tells without reading it that it begins alike. That
// must not hide a set that became one of the family in question, wherever it says so.
func TestBasisOfPackedSets(t *testing.T) {
	d := newDesk(t)
	many := func(gas, note, speed string) string {
		text := strings.ReplaceAll(setText("9 bar", speed), `"oxygen"`, fmt.Sprintf("%q", gas))
		from := strings.Index(text, "    {\n      \"thickness\"")
		to := strings.Index(text, "\n  ]")
		var more strings.Builder
		for mm := range 20 {
			fmt.Fprintf(&more, ",\n%s", strings.Replace(text[from:to], "10 mm", fmt.Sprint(11+mm, " mm"), 1))
		}
		text = text[:to] + more.String() + text[to:]
		if note != "" {
			text = strings.Replace(text, `"machine"`, fmt.Sprintf("\"note\": %q,\n  \"machine\"", note), 1)
		}
		return text
	}
	long := strings.Repeat("as the shop cuts ", 30)
	d.Write("sets/other.json", many("nitrogen", "", "4 m/min"))
	d.Write("sets/late.json", many("argon", long, "4 m/min"))
	d.Commit("others")
	base := d.Run("rev-parse", "HEAD")
	d.Run("gc", "-q")
	id := mustID(t, tenMM)
	b := opened(t, d.Repo, "").basis(id)
	save := func(file, text string) { d.Write(file, text); d.Commit(file) }
	for _, c := range []struct {
		name  string
		step  func()
		holds bool
	}{
		{"another set, twice", func() {
			save("sets/other.json", many("nitrogen", "", "4.1 m/min"))
			save("sets/other.json", many("nitrogen", "", "4.2 m/min"))
		}, true},
		{"another set that says late what it is", func() { save("sets/late.json", many("argon", long, "4.1 m/min")) }, true},
		{"another set gone", func() { d.Run("rm", "-q", "sets/other.json"); d.Commit("gone") }, true},
		{"another set moved", func() { d.Run("mv", "sets/other.json", "sets/third.json"); d.Commit("moved") }, true},
		{"another set taken over", func() {
			save("sets/other.json", many("nitrogen", "", "4.1 m/min"))
			save("sets/other.json", many("oxygen", "", "4.1 m/min"))
			save("sets/other.json", many("nitrogen", "", "4.1 m/min"))
		}, false},
		{"late set taken over", func() { save("sets/late.json", many("oxygen", long, "4 m/min")) }, false},
		{"a set that says it late from now on", func() { save("sets/other.json", many("oxygen", long, "4 m/min")) }, false},
		{"a copy of its set", func() { save("sets/other.json", d.Read(setFile)) }, false},
	} {
		d.Run("checkout", "-q", "-f", "--detach", base)
		c.step()
		head := d.Run("rev-parse", "HEAD")
		for _, packed := range []bool{false, true} {
			if packed {
				d.Run("branch", "-f", "keep", head)
				d.Run("repack", "-q", "-a", "-d", "-f", "--depth=50", "--window=50")
			}
			if got := b.Holds(opened(t, d.Repo, "").repo, "", head); got != c.holds {
				t.Errorf("%s, packed %v: what was told of %s holds: %v", c.name, packed, tenMM, got)
			}
		}
	}
}

// TestSetSpoiltAndTakenOver: a file that says nothing, or something else and cannot be read, counts as it was, until it can be read again.
func TestSetSpoiltAndTakenOver(t *testing.T) {
	nitrogen := strings.ReplaceAll(setText("9 bar", "4 m/min"), `"oxygen"`, `"nitrogen"`)
	for _, spoilt := range []string{"what", `{"machine": "bay-2"`, strings.Replace(nitrogen, `"conditions"`, `"kind": "nothing", "conditions"`, 1), strings.TrimSuffix(nitrogen, "}\n")} {
		d := newDesk(t)
		d.Write(setFile, spoilt)
		d.Commit("spoilt")
		d.Write(setFile, nitrogen)
		d.Commit("another")
		k := opened(t, d.Repo, "")
		id := mustID(t, tenMM)
		alike(t, k.read(true, "", id), d.trail(), id)
		alike(t, k.read(true, "", id), d.trail(), id)
	}
}

// TestNoBasisWithoutTheOlderHistory: what a clone does not have may be anything.
func TestNoBasisWithoutTheOlderHistory(t *testing.T) {
	d := newDesk(t)
	d.edit([2]string{"0.40 bar", "2.9 m/min"}, [2]string{"0.46 bar", "2.9 m/min"}, "")
	shallow := gittest.At(t, d.Clone("--depth=1").Dir)
	if _, ok := opened(t, shallow, "").read(true, "").Basis(); ok {
		t.Error("a shallow clone has a basis")
	}
}
