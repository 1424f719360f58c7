package audit_test

import (
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"fettle/history/audit"
	"fettle/schema"
)

// found is what a report says, in short.
func found(r *audit.Report) []string {
	out := []string{}
	for _, f := range r.Findings {
		out = append(out, string(f.Level)+" "+f.Rule)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func verify(t *testing.T, d *desk, want ...string) *audit.Report {
	t.Helper()
	r := d.trail().Verify("")
	slices.Sort(want)
	if diff := cmp.Diff(want, found(r)); diff != "" {
		t.Errorf("(-want +got)\n%s%+v", diff, r.Findings)
	}
	return r
}

const (
	claimed = "unproven " + audit.RuleClaimed
	trusted = "unproven " + audit.RuleTrust
)

var a, b, c = [2]string{"0.40 bar", "2.9 m/min"}, [2]string{"0.46 bar", "2.9 m/min"}, [2]string{"0.46 bar", "3.0 m/min"}

func TestSoundTrail(t *testing.T) {
	d := newDesk(t)
	verify(t, d, "unproven "+audit.RuleNoAnchor)
	adoption := d.adopt()
	verify(t, d, trusted)
	if got := found(d.trail().Verify(string(adoption.Digest))); len(got) != 0 {
		t.Errorf("a pinned adoption leaves nothing to trust: %v", got)
	}
	d.edit(a, b, "dross")
	r := verify(t, d, trusted, claimed)
	if len(r.Unapproved) != 1 || r.Unapproved[0].Name != tenMM {
		t.Errorf("not approved: %+v", r.Unapproved)
	}
	d.approve(adoption)
	r = verify(t, d, trusted, claimed)
	if len(r.Unapproved) != 0 || r.Good != 3 || r.Changes != 1 || r.Reasoned != 1 {
		t.Errorf("%+v", r)
	}
	want := []audit.Signer{{Person: jonas, Signed: 2}, {Person: mara, Claimed: 1}}
	if diff := cmp.Diff(want, r.Signers); diff != "" {
		t.Errorf("signers (-want +got)\n%s", diff)
	}
}

func TestChangeWithoutReason(t *testing.T) {
	d := newDesk(t)
	adoption := d.adopt()
	d.edit(a, b, "")
	r := verify(t, d, trusted, "broken no-reason")
	if r.Findings[0].ID != tenMM || r.Findings[0].Commit == "" || r.Findings[0].By.Principal != mara {
		t.Errorf("%+v", r.Findings[0])
	}
	d.edit(b, c, "faster") // explains the second step, not the first
	verify(t, d, trusted, claimed, "broken no-reason")
	d.approve(adoption)
	verify(t, d, trusted, claimed, "unproven no-reason")
}

func TestTakenBackWithoutReason(t *testing.T) {
	d := newDesk(t)
	d.adopt()
	d.edit(a, b, "")
	d.edit(b, a, "")
	verify(t, d, trusted, "unproven no-reason")
}

// A reason covers the step it was given for, not the same one made again after it was undone.
func TestOldReasonForANewStep(t *testing.T) {
	d := newDesk(t)
	d.adopt()
	d.edit(a, b, "dross")
	d.edit(b, a, "it was the nozzle")
	d.edit(a, b, "")
	verify(t, d, trusted, claimed, "broken no-reason")
}

// The way from the adopted recipe is explained as a whole, though one step on it is not.
func TestReasonFromTheRecipeInForce(t *testing.T) {
	d := newDesk(t)
	d.adopt()
	d.edit(a, b, "")
	d.set(c[0], c[1])
	d.reason(digest(t, a[0], a[1]), digest(t, c[0], c[1]), "both at once")
	d.Commit("second step")
	verify(t, d, trusted, claimed, "unproven no-reason")
}

func TestAlteredAndRemovedRecords(t *testing.T) {
	d := newDesk(t)
	adoption := d.adopt()
	d.edit(a, b, "dross")
	r := d.approve(adoption)
	text := d.Read(r.Path)

	d.Write(r.Path, strings.Replace(text, "cut well", "cut fine", 1))
	d.Commit("alter")
	verify(t, d, trusted, claimed, "broken record-altered")

	d.Write(r.Path, text)
	d.Commit("as it was")
	report := verify(t, d, trusted, claimed, "broken record-altered")
	if !strings.Contains(report.Findings[0].Message, "back as it was") {
		t.Error(report.Findings[0].Message)
	}

	d.Remove(r.Path)
	commit := d.Commit("remove")
	report = verify(t, d, trusted, claimed, "broken record-altered", "broken record-removed")
	i := slices.IndexFunc(report.Findings, func(f audit.Finding) bool { return f.Rule == "record-removed" })
	if f := report.Findings[i]; f.Commit != commit || f.Path != r.Path || f.By.Principal != mara || !strings.Contains(f.Message, "approval by "+jonas) {
		t.Errorf("%+v", f)
	}
}

// A merge that leaves out what one side brought is found on the edge to that side.
func TestRecordRemovedInAMerge(t *testing.T) {
	d := newDesk(t)
	d.adopt()
	d.Run("checkout", "-q", "-b", "side")
	d.edit(a, b, "dross")
	d.Run("checkout", "-q", "main")
	d.Write("README.md", "the shop")
	d.Commit("main")
	d.Run("merge", "-q", "-s", "ours", "--no-ff", "-m", "merge", "side")
	verify(t, d, trusted, "broken record-removed", "unproven no-reason")
}

func TestBadRecords(t *testing.T) {
	for name, test := range map[string]struct {
		make func(*desk, *schema.Record)
		want string
	}{
		"no JSON": {func(d *desk, _ *schema.Record) {
			d.Write("records/2026/07/20260714T091205Z-approval-3f9a0c1b2d4e.json", "{")
		}, "unreadable record-unreadable"},
		"another name": {func(d *desk, r *schema.Record) {
			d.Write("records/2026/07/20260714T091205Z-approval-3f9a0c1b2d4e.json", d.Read(r.Path))
		}, "broken record-altered"},
		"not signed":                             {func(d *desk, r *schema.Record) { forge(d, r, "") }, "broken record-unsound"},
		"signed by a stranger":                   {func(d *desk, r *schema.Record) { forge(d, r, "nobody@elsewhere.example") }, "broken unknown-signer"},
		"signed by somebody who may not approve": {func(d *desk, r *schema.Record) { forge(d, r, mara) }, "void not-counted"},
		"of another library": {func(d *desk, r *schema.Record) {
			w := &schema.Waiver{Common: d.common(schema.KindWaiver, jonas, "no"), Rule: schema.Of("jet"), ID: schema.Of(tenMM), Digest: schema.Of(strings.Repeat("0", 64)), Until: schema.Of("2026-08-01T00:00:00Z")}
			w.Library = schema.Of(strings.Repeat("0", 32))
			d.put(w, &w.Common, jonas)
		}, "broken record-unsound"},
		"follows nothing that is here": {func(d *desk, r *schema.Record) {
			w := &schema.Waiver{Common: d.common(schema.KindWaiver, jonas, "no"), Rule: schema.Of("jet"), ID: schema.Of(tenMM), Digest: schema.Of(strings.Repeat("0", 64)), Until: schema.Of("2026-08-01T00:00:00Z")}
			w.Follows = schema.Of([]string{strings.Repeat("1", 64)})
			d.put(w, &w.Common, jonas)
		}, "unproven loose-end"},
	} {
		t.Run(name, func(t *testing.T) {
			d := newDesk(t)
			r := d.adopt()
			test.make(d, r)
			d.Commit(name)
			got := found(d.trail().Verify(""))
			if !slices.Contains(got, test.want) {
				t.Errorf("want %s, got %v", test.want, got)
			}
		})
	}
}

// forge makes an approval in the name of Jonas, or in that of who signs it.
func forge(d *desk, adoption *schema.Record, by string) {
	decision := *adoption.Body.(*schema.Decision)
	decision.Common = d.common(schema.KindApproval, jonas, "trust me")
	if by == mara {
		decision.By = schema.Of(mara)
	}
	decision.Follows = schema.Of([]string{string(adoption.Digest)})
	d.put(&decision, &decision.Common, by)
}

// TestOddTimes: a record that is dated after the commit that brought it.
func TestOddTimes(t *testing.T) {
	d := newDesk(t)
	d.now = d.now.Add(24 * time.Hour)
	d.adopt()
	verify(t, d, trusted, "unproven odd-time")
}

// TestNothingIsWritten: reading a trail changes nothing in the repository.
func TestNothingIsWritten(t *testing.T) {
	d := newDesk(t)
	d.adopt()
	before := d.Run("for-each-ref") + d.Run("status", "--porcelain")
	index, err := os.Stat(d.Path(".git/index"))
	if err != nil {
		t.Fatal(err)
	}
	d.trail().Verify("")
	after, err := os.Stat(d.Path(".git/index"))
	if err != nil || !after.ModTime().Equal(index.ModTime()) || before != d.Run("for-each-ref")+d.Run("status", "--porcelain") {
		t.Errorf("the repository was changed (%v)", err)
	}
}

// TestFindingsHaveOneOrder: two reports on one history are the same, and tell a condition whole before the next.
func TestFindingsHaveOneOrder(t *testing.T) {
	d := newDesk(t)
	var ids []string
	write := func(pressure string) {
		for _, gas := range []string{"air", "nitrogen", "oxygen"} {
			for _, machine := range []string{"bay-2", "bay-3", "bay-4"} {
				text := strings.NewReplacer(`"oxygen"`, `"`+gas+`"`, `"bay-2"`, `"`+machine+`"`).Replace(setText(pressure, "2.9 m/min"))
				d.Write("sets/"+machine+"/carbon-steel-"+gas+".json", text)
			}
		}
	}
	write("0.40 bar")
	d.Commit("more sets")
	d.adopt()
	for _, pressure := range []string{"0.41 bar", "0.42 bar"} {
		write(pressure)
		d.Commit(pressure)
	}
	for _, f := range d.trail().Verify("").Findings {
		if f.Rule == audit.RuleNoReason {
			ids = append(ids, f.ID)
		}
	}
	if len(ids) != 18 || !slices.IsSorted(ids) {
		t.Errorf("changes without a reason are told in this order: %v", ids)
	}
}

// TestStepMadeAgain: a rebase puts an explained step on another recipe. Its reason goes on counting where the step is just the same, and
// is told with it.
func TestStepMadeAgain(t *testing.T) {
	for _, test := range []struct {
		name, pressure string
		want           []string
	}{
		{"the same step", "0.46 bar", []string{trusted, claimed}},
		{"another value", "0.48 bar", []string{trusted, claimed, "broken " + audit.RuleNoReason}},
	} {
		t.Run(test.name, func(t *testing.T) {
			d := newDesk(t)
			d.adopt()
			d.edit(a, [2]string{"0.40 bar", "3.0 m/min"}, "faster")
			d.set(test.pressure, "3.0 m/min")
			d.reason(digest(t, a[0], a[1]), digest(t, b[0], b[1]), "dross") // the words of the branch that was rebased
			commit := d.Commit("rebased")
			verify(t, d, test.want...)
			trail := d.trail()
			for _, e := range trail.Entries() {
				if e.Commit != commit || !e.IsChange() {
					continue
				}
				if told := len(e.Why) == 1 && e.Why[0].Text == "dross"; told != (len(test.want) == 2) {
					t.Errorf("%s: %+v", e.Field, e.Why)
				}
			}
		})
	}
}
