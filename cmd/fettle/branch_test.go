package main

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"fettle/history/signature"
	"fettle/schema"
)

// Somebody at a terminal walks what waits on a branch, card by card, with its name typed short; nothing that is checked out moves.
func TestQueueOfABranchAtATerminal(t *testing.T) {
	dir, run := seatedShop(t)
	home := t.TempDir()
	config := filepath.Join(dir, ".git", "config")
	var lines string
	for _, name := range []string{"mara", "jonas"} {
		_, key, err := personKey(home, name)
		if err != nil {
			t.Fatal(err)
		}
		line, err := signature.FormatLine(persons[name][1], key.PublicKey(), "")
		if err != nil {
			t.Fatal(err)
		}
		lines += line + "\n"
	}
	if err := os.WriteFile(filepath.Join(dir, "approvers"), []byte(lines), 0o666); err != nil {
		t.Fatal(err)
	}
	settings, err := os.ReadFile(filepath.Join(dir, "fettle.json"))
	if err != nil {
		t.Fatal(err)
	}
	lax := strings.Replace(string(settings), `"trial": "require"`, `"trial": "off", "stale_together": "allow"`, 1)
	if err := os.WriteFile(filepath.Join(dir, "fettle.json"), []byte(lax), 0o666); err != nil {
		t.Fatal(err)
	}
	good := func(typed string, args ...string) string {
		t.Helper()
		out, code := run(typed, args...)
		if code != 0 {
			t.Fatalf("fettle %v ended with %d:\n%s", args, code, out)
		}
		return out
	}
	sit := func(name string) {
		if err := seat(config, home, name); err != nil {
			t.Fatal(err)
		}
	}
	sit("mara")
	gitIn(t, dir, "add", "-A")
	gitIn(t, dir, "commit", "-q", "-m", "Who may")
	gitIn(t, dir, "branch", "-M", "main")
	good("", "adopt", "--because", "what we cut with today")
	gitIn(t, dir, "checkout", "-q", "-b", "waiting/mara-lind-2026-07-14")
	for _, id := range []string{"10mm", "12mm", "15mm"} {
		good("", "set", "bay-2/carbon-steel/oxygen/"+id, "kerf=0.41mm")
	}
	good("", "save", "--cause", "trial-result", "--because", "measured again")
	gitIn(t, dir, "checkout", "-q", "main")
	sit("jonas")
	before := gitIn(t, dir, "rev-parse", "HEAD") + gitIn(t, dir, "status", "--porcelain")

	out := good("a\nr\ntoo wide\ns\n", "approve", "--branch", "mara")
	for _, want := range []string{"1 of 3: approve, reject, skip or quit?", "approved  bay-2/carbon-steel/oxygen/10mm", "rejected  bay-2/carbon-steel/oxygen/12mm", "3 of 3"} {
		if !strings.Contains(out, want) {
			t.Errorf("want %q in\n%s", want, out)
		}
	}
	if now := gitIn(t, dir, "rev-parse", "HEAD") + gitIn(t, dir, "status", "--porcelain"); now != before {
		t.Errorf("here it was\n%s\nand is\n%s", before, now)
	}
	if log := gitIn(t, dir, "log", "--format=%an %s", "-2", "waiting/mara-lind-2026-07-14"); log != "Jonas Falk Rejected bay-2/carbon-steel/oxygen/12mm\nJonas Falk Approved bay-2/carbon-steel/oxygen/10mm\n" {
		t.Errorf("the branch holds\n%s", log)
	}
	// ssh-keygen agrees with the signature of the record that only stands on the branch.
	path := strings.TrimSpace(gitIn(t, dir, "show", "--format=", "--name-only", "waiting/mara-lind-2026-07-14~1"))
	record := schema.ReadRecord(path, []byte(gitIn(t, dir, "show", "waiting/mara-lind-2026-07-14:"+path)))
	if record.Kind != schema.KindApproval || len(record.Problems) > 0 {
		t.Fatalf("%s is %q, %v", path, record.Kind, record.Problems)
	}
	signed := filepath.Join(home, "signature")
	if err := os.WriteFile(signed, []byte(record.Signature.V), 0o600); err != nil {
		t.Fatal(err)
	}
	check := exec.Command("ssh-keygen", "-Y", "verify", "-f", filepath.Join(dir, "approvers"), "-I", persons["jonas"][1], "-n", "fettle", "-s", signed,
		"-Overify-time="+record.Time().UTC().Format("20060102150405Z"))
	check.Stdin = bytes.NewReader(record.Message)
	if out, err := check.CombinedOutput(); err != nil {
		t.Errorf("ssh-keygen: %v: %s", err, out)
	}
	out = good("", "review")
	if want := "10mm approved, bay-2/carbon-steel/oxygen/12mm rejected, bay-2/carbon-steel/oxygen/15mm changed"; !strings.Contains(out, want) {
		t.Errorf("want %q in\n%s", want, out)
	}
	// Where one name could be two, both are named and nothing is guessed.
	gitIn(t, dir, "branch", "waiting/mara-2")
	if out, code := run("", "approve", "--branch", "mara"); code != 2 || out != "" {
		t.Errorf("ended with %d: %s", code, out)
	}

	// What is stale is listed and asked about before it is approved together.
	profile := filepath.Join(dir, "machines", "bay-2.json")
	data, err := os.ReadFile(profile)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(profile, []byte(strings.Replace(string(data), `"core_diameter": "0.1 mm"`, `"core_diameter": "0.15 mm"`, 1)), 0o666); err != nil {
		t.Fatal(err)
	}
	sit("mara")
	good("", "save")
	sit("jonas")
	good("", "approve", "machine", "bay-2")
	stale := []string{"approve", "--stale", "bay-2/carbon-steel/oxygen/", "--because", "new lens, focus test good"}
	head := gitIn(t, dir, "rev-parse", "HEAD")
	if out := good("n\n", stale...); !strings.Contains(out, "Approve 18 conditions again? [y/N]") || !strings.Contains(out, "nothing was decided") || gitIn(t, dir, "rev-parse", "HEAD") != head {
		t.Errorf("asked:\n%s", out)
	}
	if out := good("y\n", stale...); !strings.Contains(out, "approved  18 conditions again") {
		t.Errorf("approved:\n%s", out)
	}
	if subject := gitIn(t, dir, "log", "-1", "--format=%s"); subject != "Approved 18 conditions\n" {
		t.Errorf("saved as %s", subject)
	}
}

// What is printed to be typed for git push is no option of it, and one word of the shell.
func TestBranchIsTypedAsABranch(t *testing.T) {
	for name, want := range map[string]string{"waiting/mara": "waiting/mara", "-x": "refs/heads/-x", "--mirror": "refs/heads/--mirror", "a b": "'a b'"} {
		if got := (&line{name: name}).typed(); got != want {
			t.Errorf("%s: %s, want %s", name, got, want)
		}
	}
}
