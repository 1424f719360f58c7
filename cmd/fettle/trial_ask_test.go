package main

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fettle/history"
	"fettle/history/git/gittest"
	"fettle/schema"
)

// seatedShop is a copy of the sample library in a repository, and a way to run commands there as somebody at a terminal who types lines.
func seatedShop(t *testing.T) (dir string, run func(typed string, args ...string) (out string, code int)) {
	t.Helper()
	gittest.Isolate()
	dir = gittest.Dir(t)
	if err := os.CopyFS(dir, os.DirFS(sampleLibrary)); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"init", "-q"}, {"config", "user.name", "Mara Lind"}, {"config", "user.email", "mara.lind@northgate.example"}, {"add", "-A"}, {"commit", "-q", "-m", "The library"}} {
		cmd := exec.Command("git", args...)
		cmd.Dir = dir
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("git %v: %v %s", args, err, out)
		}
	}
	now := time.Date(2026, 7, 14, 6, 0, 0, 0, time.UTC)
	return dir, func(typed string, args ...string) (string, int) {
		var b bytes.Buffer
		a := &app{in: strings.NewReader(typed), out: &b, err: io.Discard, dir: dir, terminal: true, now: func() time.Time { return now }}
		now = now.Add(time.Minute)
		root := a.root(nil)
		root.SetArgs(append([]string{"-C", dir}, args...))
		root.SetOut(&b)
		root.SetErr(&b)
		code := a.exit(root.Execute())
		return b.String(), code
	}
}

func lastTrial(t *testing.T, dir string) *schema.Trial {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join(dir, "records", "*", "*", "*-trial-*.json"))
	if err != nil || len(paths) == 0 {
		t.Fatalf("no trial is on record: %v", err)
	}
	data, err := os.ReadFile(paths[len(paths)-1])
	if err != nil {
		t.Fatal(err)
	}
	r := schema.ReadRecord("", data)
	if len(r.Problems) > 0 {
		t.Fatal(r.Problems)
	}
	return r.Body.(*schema.Trial)
}

// A planned trial is asked piece by piece; a slip is said and asked again; q stops, and the next time it goes on where it was.
func TestTrialAskedStepByStep(t *testing.T) {
	dir, run := seatedShop(t)
	const id = "bay-2/carbon-steel/oxygen/10mm"
	if out, code := run("", "trial", "plan", id, "--vary", "cut.pressure=0.40..0.50bar", "--steps", "3", "--repeats", "1", "--seed", "5"); code != 0 {
		t.Fatal(out)
	}
	plans, err := filepath.Glob(filepath.Join(dir, "trials", "*.json"))
	if err != nil || len(plans) != 1 {
		t.Fatalf("%v %v", plans, err)
	}
	sheet := strings.TrimSuffix(plans[0], ".json") + "-sheet.json"

	out, code := run(strings.Join([]string{
		"P-4", "H-1187", "", "no. 12", "", // plate, lot, grade, nozzle, overrides
		"fine", "good", // a slip, and again
		"drosss", "dross", "rz5=25mm", "rz5=33 u=0.12+0.14", "warm", "a little", // seen, measured, nozzle, remark
		"b", "dross lost-cut", "", "70", "", // the second piece, with a hot nozzle
		"q",
	}, "\n"), "trial", "record", id)
	for _, says := range []string{"coupon 1 of 3", "coupon 2 of 3", "coupon 3 of 3", `"fine" is none of good, marginal, bad`, `"drosss" is no word for a symptom`, "Did you mean dross?",
		"Rz5: 25 mm is no cut edge any more", "saved    trials/"} {
		if !strings.Contains(out, says) {
			t.Errorf("nobody says %q:\n%s", says, out)
		}
	}
	if code != exitFound {
		t.Errorf("ended with %d, want %d", code, exitFound)
	}
	if _, err := os.Stat(sheet); err != nil {
		t.Fatalf("what was typed is gone: %v", err)
	}

	out, code = run("m\n\nrz5=40\ncold\n\n", "trial", "record", id)
	if code != 0 || strings.Contains(out, "coupon 1 of 3") || !strings.Contains(out, "coupon 3 of 3") {
		t.Errorf("ended with %d:\n%s", code, out)
	}
	if !strings.Contains(out, "caution  the nozzle was hot") {
		t.Errorf("nobody warns of the hot nozzle:\n%s", out)
	}
	if _, err := os.Stat(sheet); err == nil {
		t.Error("the sheet is still there")
	}
	trial := lastTrial(t, dir)
	if trial.Plate.V != "P-4" || trial.Lot.V != "H-1187" || trial.NozzleUsed.V != "no. 12" || trial.Grade.Set() || trial.Unit.V != "bay-2" || len(trial.Overrides) != 3 {
		t.Errorf("%+v", trial)
	}
	var got []string
	for _, s := range trial.Steps.V {
		got = append(got, stepWords(&s))
	}
	if s := strings.Join(got, "; "); !strings.Contains(s, "good") || !strings.Contains(s, "bad") || !strings.Contains(s, "marginal") || len(got) != 3 {
		t.Error(s)
	}
	first, second := trial.Steps.V[0], trial.Steps.V[1]
	if len(first.Measured.V.PerpendicularityPoints.V) != 2 || first.Measured.V.Roughness.V.Text() != "33 um" || first.Text.V != "a little" || first.Coupon.V != 1 {
		t.Errorf("%+v", first)
	}
	if !history.Hot(&second) || history.Hot(&first) {
		t.Error("70 degrees are hot, and warm is not")
	}
	if out, code := run("", "trial", "record", plans[0]); code != exitFound || strings.Contains(out, "coupon") {
		t.Errorf("a recorded plan is asked again, %d:\n%s", code, out)
	}
}

// One cut without a plan is asked as well; the end of the input is a quiet end.
func TestOneCutAsked(t *testing.T) {
	dir, run := seatedShop(t)
	out, code := run("good\n\nu=0.1\n\n\n", "trial", "record", "bay-2/carbon-steel/oxygen/6mm")
	if code != 0 {
		t.Fatal(out)
	}
	if trial := lastTrial(t, dir); len(trial.Steps.V) != 1 || trial.Steps.V[0].Measured.V.Perpendicularity.V.Text() != "0.1 mm" {
		t.Errorf("%+v", trial.Steps.V)
	}
	before := lastTrial(t, dir).At.V
	if out, code := run("", "trial", "record", "bay-2/carbon-steel/oxygen/6mm"); code != 0 || !strings.Contains(out, "nothing was recorded") || lastTrial(t, dir).At.V != before {
		t.Errorf("%d %s", code, out)
	}
}

// Pictures are kept by name and digest: sha256sum of the same bytes.
func TestTrialPhotos(t *testing.T) {
	dir, run := seatedShop(t)
	photo := filepath.Join(t.TempDir(), "edge.jpg")
	if err := os.WriteFile(photo, []byte("abc"), 0o666); err != nil {
		t.Fatal(err)
	}
	if out, code := run("", "trial", "record", "bay-2/carbon-steel/oxygen/6mm", "--good", "--photo", photo); code != 0 {
		t.Fatal(out)
	}
	// FIPS 180-2, appendix B.1: the digest of "abc".
	p := lastTrial(t, dir).Steps.V[0].Photos.V
	if len(p) != 1 || p[0].File.V != "edge.jpg" || p[0].Digest.V != "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" {
		t.Errorf("%+v", p)
	}
	if out, code := run("", "trial", "record", "bay-2/carbon-steel/oxygen/6mm", "--good", "--photo", photo+"x"); code != exitTrouble {
		t.Errorf("%d %s", code, out)
	}
}
