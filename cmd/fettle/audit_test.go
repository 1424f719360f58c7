package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"fettle/cmd/fettle/demo"
	"fettle/history"
	"fettle/history/audit"
	"fettle/history/git"
	"fettle/history/git/gittest"
	"fettle/hooks"
	"fettle/schema"
)

// sampleHistory is the sample library with its history.
func sampleHistory(t *testing.T) *gittest.Repo {
	t.Helper()
	gittest.Isolate()
	story, err := demo.Northgate()
	if err != nil {
		t.Fatal(err)
	}
	built, err := story.Build(filepath.Join(gittest.Dir(t), "shop"))
	if err != nil {
		t.Fatal(err)
	}
	return gittest.At(t, built.Dir)
}

func auditRun(t *testing.T, repo *gittest.Repo, want int, args ...string) string {
	t.Helper()
	var out, errOut bytes.Buffer
	if code := run(append([]string{"-C", repo.Dir}, args...), strings.NewReader(""), &out, &errOut); code != want {
		t.Fatalf("fettle %s ended with %d, not %d:\n%s%s", strings.Join(args, " "), code, want, out.String(), errOut.String())
	}
	return out.String()
}

// TestAuditText: what a lead reads of one condition.
func TestAuditText(t *testing.T) {
	repo := sampleHistory(t)
	got := auditRun(t, repo, exitGood, "audit", "bay-2/carbon-steel/oxygen/6mm", "--since", "2026-03-02", "--until", "2026-03-03")
	lines := strings.Split(got, "\n")
	for i, l := range lines {
		if strings.Contains(l, "saved as") {
			lines[i] = strings.TrimRight(l[:strings.Index(l, "saved as")]+"saved as", " ")
		}
	}
	want := `Monday 2 March 2026
  13:10  Mara Lind  tried bay-2/carbon-steel/oxygen/6mm on bay-2: 5 steps, 3 good, 2 marginal  (359dc4d82ec3)
         because     Pressure up in steps of 0.02, one bracket each.
  14:25  Mara Lind  bay-2/carbon-steel/oxygen/6mm
         cut.pressure 0.29 -> 0.31 bar   +6.9 %
         reason      quality-target: A thread of dross on the exit side of long cuts. A touch more oxygen clears it, corners stay sharp. (Mara Lind, claimed)
         ruled out   nozzle-wear, nozzle-centring, line-pressure, gas-purity
         approved    Jonas Falk
         saved as

Tuesday 3 March 2026
  06:48  Jonas Falk  approved bay-2/carbon-steel/oxygen/6mm  (a31e444ec74e)
         because     Fine. Everyday plate, so tell both shifts.
`
	if diff := cmp.Diff(want, strings.Join(lines, "\n")); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	if got := auditRun(t, repo, exitGood, "audit", "--by", "nobody at all"); got != "nothing that is saved here fits\n" {
		t.Errorf("an empty answer says so: %q", got)
	}
	auditRun(t, repo, exitTrouble, "audit", "--since", "last week")
	auditRun(t, repo, exitTrouble, "audit", "bay-2/carbon-steel/oxygen/999mm")
}

// TestAuditOfOne holds what is told of each condition alone, by what is kept, to what is told of it among all.
func TestAuditOfOne(t *testing.T) {
	sample := sampleHistory(t)
	repo, err := git.Open(sample.Dir)
	if err != nil {
		t.Fatal(err)
	}
	defer repo.Close()
	whole, err := audit.Read(repo, "", audit.Options{})
	if err != nil {
		t.Fatal(err)
	}
	told := func(trail *audit.Trail, id schema.ID) string {
		var out bytes.Buffer
		if err := auditJSON(&out, trail, audit.Filter{IDs: []schema.ID{id}}); err != nil {
			t.Fatal(err)
		}
		return out.String()
	}
	lookup, err := hooks.OpenLookup(repo, "")
	if err != nil {
		t.Fatal(err)
	}
	defer lookup.Close()
	records := func(keys []history.SubjectKey) (*history.Ledger, error) { return lookup.Ledger(keys, nil) }
	for _, id := range everNamed(whole) {
		for range 2 {
			one, err := audit.Read(repo, "", audit.Options{IDs: []schema.ID{id}, Kept: true, Records: records})
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(told(whole, id), told(one, id)); diff != "" {
				t.Errorf("%s (-among all +alone)\n%s", id, diff)
			}
			if one.Library.Recipe(id) != nil {
				t.Errorf("the whole library was read for %s", id)
			}
		}
	}
}

// TestAuditJSON: the members that programs rely on, for one change.
func TestAuditJSON(t *testing.T) {
	repo := sampleHistory(t)
	var out struct {
		Format  int
		Entries []map[string]any
	}
	text := auditRun(t, repo, exitGood, "audit", "bay-2/carbon-steel/oxygen/10mm", "--field", "pressure", "--since", "2026-01-01", "--format", "json")
	if err := json.Unmarshal([]byte(text), &out); err != nil {
		t.Fatal(err)
	}
	if out.Format != 1 || len(out.Entries) != 1 {
		t.Fatalf("format %d, %d entries", out.Format, len(out.Entries))
	}
	e := out.Entries[0]
	got := map[string]any{}
	for _, member := range []string{"by", "id", "field", "from", "to", "why", "approved_by", "kind"} {
		got[member] = e[member]
	}
	want := map[string]any{"by": "mara.lind@northgate.example", "id": "bay-2/carbon-steel/oxygen/10mm", "field": "cut.pressure", "from": "0.40 bar", "to": "0.46 bar",
		"why": "quality-target: dross on the back edge", "approved_by": []any{}, "kind": "changed"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got)\n%s", diff)
	}
	if commit, _ := e["commit"].(string); repo.Run("cat-file", "-t", commit) != "commit" {
		t.Errorf("commit %q is none", commit)
	}
	at, err := time.Parse(time.RFC3339, e["at"].(string))
	written, _ := time.Parse(time.RFC3339, repo.Run("show", "-s", "--format=%aI", e["commit"].(string)))
	if err != nil || !at.Equal(written) {
		t.Errorf("at %v is not the time of the author", e["at"])
	}
}

// TestVerify: the sample is sound; each kind of damage has its exit code and names its file.
func TestVerify(t *testing.T) {
	repo := sampleHistory(t)
	if got := auditRun(t, repo, exitGood, "verify"); !strings.Contains(got, "nothing is broken") || !strings.Contains(got, "no record was altered or removed") {
		t.Errorf("the sample should be sound:\n%s", got)
	}
	record := strings.Fields(repo.Run("ls-files", "--", "records"))[3]
	text := repo.Read(record)

	repo.Remove(record)
	if got := auditRun(t, repo, exitFound, "verify"); !strings.Contains(got, record) || !strings.Contains(got, "not saved") {
		t.Errorf("a record that is gone on disk:\n%s", got)
	}
	repo.Write(record, strings.Replace(text, "2", "3", 1))
	repo.Run("commit", "-q", "--no-verify", "-m", "alter", "--", record)
	if got := auditRun(t, repo, exitFound, "verify"); !strings.Contains(got, record) || !strings.Contains(got, "record-altered") || strings.Contains(got, "nothing is broken") {
		t.Errorf("an altered record:\n%s", got)
	}
	repo.Write(record, "{")
	repo.Run("commit", "-q", "--no-verify", "-m", "spoil", "--", record)
	var out struct {
		Sound    bool
		Findings []struct{ Level, Rule, Path, Commit string }
	}
	if err := json.Unmarshal([]byte(auditRun(t, repo, exitTrouble, "verify", "--format", "json")), &out); err != nil {
		t.Fatal(err)
	}
	if f := out.Findings[0]; out.Sound || f.Level != "unreadable" || f.Path != record || f.Rule != "record-unreadable" {
		t.Errorf("a spoiled record: sound %v, %+v", out.Sound, f)
	}
	if _, err := os.Stat(repo.Path(".git/index.lock")); err == nil {
		t.Error("the lock of the index was left")
	}
}
