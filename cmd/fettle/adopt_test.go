package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"fettle/history/signature"
	"fettle/schema"
)

// adoptable is the sample library, saved, with Mara Lind as the only approver; settings are replaced as pairs say.
func adoptable(t *testing.T, replace ...string) (dir string, good func(args ...string) string) {
	t.Helper()
	dir, run := seatedShop(t)
	home := t.TempDir()
	_, key, err := personKey(home, "mara")
	if err != nil {
		t.Fatal(err)
	}
	line, err := signature.FormatLine(persons["mara"][1], key.PublicKey(), "")
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "approvers"), []byte(line+"\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	settings, err := os.ReadFile(filepath.Join(dir, "fettle.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "fettle.json"), []byte(strings.NewReplacer(replace...).Replace(string(settings))), 0o666); err != nil {
		t.Fatal(err)
	}
	if err := seat(filepath.Join(dir, ".git", "config"), home, "mara"); err != nil {
		t.Fatal(err)
	}
	gitIn(t, dir, "add", "-A")
	gitIn(t, dir, "commit", "-q", "-m", "Who may")
	gitIn(t, dir, "branch", "-M", "main")
	return dir, func(args ...string) string {
		t.Helper()
		out, code := run("", args...)
		if code != 0 {
			t.Fatalf("fettle %v ended with %d:\n%s", args, code, out)
		}
		return out
	}
}

// adoptions are the adoptions that are saved, in order.
func adoptions(t *testing.T, dir string) (out []*schema.Record) {
	t.Helper()
	for _, p := range strings.Fields(gitIn(t, dir, "ls-tree", "-r", "--name-only", "HEAD", "records")) {
		if strings.Contains(p, "-adoption-") {
			out = append(out, schema.ReadRecord(p, []byte(gitIn(t, dir, "show", "HEAD:"+p))))
		}
	}
	return out
}

// What is too much for one record is adopted by several in one commit, that say together what one would: nothing waits, each signature is
// good, the chain holds before a gate, and one of them can be taken back, and its conditions adopted anew.
func TestAdoptionInSeveralRecords(t *testing.T) {
	was := mostAdopted
	t.Cleanup(func() { mostAdopted = was })
	dir, good := adoptable(t)
	mostAdopted = 40
	begin := strings.TrimSpace(gitIn(t, dir, "rev-parse", "HEAD"))
	out := good("adopt", "--because", "what we cut with today")
	records := adoptions(t, dir)
	if want := fmt.Sprintf(": %d records", len(records)); len(records) < 3 || !strings.Contains(out, want) {
		t.Fatalf("want %q in\n%s", want, out)
	}
	if n := strings.TrimSpace(gitIn(t, dir, "rev-list", "--count", begin+"..HEAD")); n != "1" {
		t.Errorf("saved in %s commits", n)
	}
	adopted, anchor := map[string]bool{}, ""
	for _, r := range records {
		conditions := 0
		for _, subject := range r.Body.(*schema.Decision).Subjects.V {
			if adopted[subject.Kind.V+subject.ID.V] {
				t.Errorf("%s is adopted twice", subject.ID.V)
			}
			switch adopted[subject.Kind.V+subject.ID.V] = true; subject.Kind.V {
			case schema.SubjectCondition:
				conditions++
			case schema.SubjectRoster:
				anchor = string(r.Digest)
			}
		}
		if conditions > mostAdopted || len(r.Problems) > 0 {
			t.Errorf("%s holds %d conditions, %v", r.Path, conditions, r.Problems)
		}
		signed := filepath.Join(t.TempDir(), "signature") // ssh-keygen agrees with each
		if err := os.WriteFile(signed, []byte(r.Signature.V), 0o600); err != nil {
			t.Fatal(err)
		}
		check := exec.Command("ssh-keygen", "-Y", "verify", "-f", filepath.Join(dir, "approvers"), "-I", persons["mara"][1], "-n", "fettle", "-s", signed)
		check.Stdin = bytes.NewReader(r.Message)
		if out, err := check.CombinedOutput(); err != nil {
			t.Errorf("ssh-keygen: %v: %s", err, out)
		}
	}
	for _, r := range records {
		if follows := strings.Join(r.Follows.V, " "); string(r.Digest) != anchor && follows != anchor || string(r.Digest) == anchor && follows != "" {
			t.Errorf("%s follows %q", r.Path, follows)
		}
	}
	good("verify")
	good("gate", "--range", begin+"..HEAD", "--ref", "main")
	if out := good("review"); strings.Contains(out, "to decide") {
		t.Errorf("something waits:\n%s", out)
	}
	good("audit")
	last := records[len(records)-1]
	conditions := len(last.Body.(*schema.Decision).Subjects.V)
	good("withdraw", string(last.Digest)[:12], "--because", "not that bay")
	good("verify")
	if out := good("review", "--format", "json"); strings.Count(out, `"status": "new"`)+strings.Count(out, `"status":"new"`) != conditions {
		t.Errorf("want %d conditions without a decision:\n%.400s", conditions, out)
	}
	if out, want := good("adopt", "--because", "that bay, too"), fmt.Sprintf("adopted   %d conditions and 0 other parts", conditions); !strings.Contains(out, want) {
		t.Errorf("want %q in\n%s", want, out)
	}
	if out := good("review"); strings.Contains(out, "to decide") {
		t.Errorf("something waits:\n%s", out)
	}
}

// The first adoption goes without a second person. What follows it does not, so a shop that asks for two gets one record, whatever its size.
func TestFirstAdoptionUnderTwoPersons(t *testing.T) {
	was := mostAdopted
	t.Cleanup(func() { mostAdopted = was })
	dir, good := adoptable(t, `"approvals": 1`, `"approvals": 2`)
	mostAdopted = 40
	good("adopt", "--because", "what we cut with today")
	if n := len(adoptions(t, dir)); n != 1 {
		t.Errorf("adopted by %d records", n)
	}
	if out := good("review"); strings.Contains(out, "to decide") {
		t.Errorf("something waits:\n%s", out)
	}
}
