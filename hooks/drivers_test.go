package hooks_test

import (
	"os"
	"strings"
	"testing"

	"fettle/history/git/gittest"
	"fettle/hooks"
)

func TestDrivers(t *testing.T) {
	s := newShop(t)
	const foreign = "*.pdf binary\n/sets/** text" // without a final newline
	s.Write(".gitattributes", foreign)
	report, err := hooks.InstallDrivers(s.open(), program(t))
	if err != nil || len(report) != 2 {
		t.Fatalf("%q %v", report, err)
	}
	text := s.Read(".gitattributes")
	if !strings.HasPrefix(text, foreign+"\n") || !strings.Contains(text, "/approvers merge=fettle\n") {
		t.Errorf("got\n%s", text)
	}
	// git itself says what counts for which file.
	for path, want := range map[string]string{oxygenSet: "fettle fettle set", "fettle.json": "fettle fettle unspecified", "machines/bay-2.json": "fettle fettle unspecified",
		"approvers": "fettle unspecified unspecified", "records/2026/07/x.json": "unspecified unspecified unspecified", "other/fettle.json": "unspecified unspecified unspecified"} {
		var got []string
		for line := range strings.Lines(s.Run("check-attr", "merge", "diff", "text", "--", path)) {
			got = append(got, strings.TrimSpace(line[strings.LastIndex(line, ":")+1:]))
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%s: %v, want %s", path, got, want)
		}
	}
	if again, err := hooks.InstallDrivers(s.open(), program(t)); err != nil || len(again) != 1 || s.Read(".gitattributes") != text {
		t.Errorf("again, for another program: %q %v", again, err)
	}
	status, err := hooks.DriversOf(s.open())
	if err != nil || !status.Complete() {
		t.Errorf("%+v %v", status, err)
	}
	// A line that somebody takes out is missed, and only that one is added.
	s.Write(".gitattributes", strings.Replace(text, "/people merge=fettle\n", "", 1))
	if status, err = hooks.DriversOf(s.open()); err != nil || status.Complete() || len(status.Unlisted) != 1 {
		t.Errorf("%+v %v", status, err)
	}
	if report, err := hooks.InstallDrivers(s.open(), ""); err != nil || len(report) != 2 || s.Read(".gitattributes") != text {
		t.Errorf("%q %v\n%s", report, err, s.Read(".gitattributes"))
	}
	// What somebody else set stays.
	s.Run("config", "merge.fettle.driver", "mine %A")
	if report, err := hooks.RemoveDrivers(s.open()); err != nil || len(report) != 1 {
		t.Errorf("%q %v", report, err)
	}
	if got := s.Run("config", "--get-regexp", `^(merge|diff)\.fettle`); got != "merge.fettle.driver mine %A" {
		t.Errorf("left: %s", got)
	}
	if s.Read(".gitattributes") != text {
		t.Error("the lines of the library are gone")
	}
}

// A driver whose program is gone must not leave one side's file behind as if it were merged.
func TestDriverWithoutProgram(t *testing.T) {
	s := newShop(t)
	gone := s.Path("gone")
	if _, err := hooks.InstallDrivers(s.open(), gone); err != nil {
		t.Fatal(err)
	}
	s.Run("add", "-A")
	s.Run("commit", "-q", "--no-verify", "-m", "attributes")
	s.branch("side", func() { s.edit(oxygen3, "0.27 bar"); s.reason() })
	s.edit(oxygen3, "0.23 bar")
	s.reason()
	s.keep("here")
	if out, code := s.git("merge", "side"); code == 0 {
		t.Fatalf("merged: %s", out)
	}
	text := s.Read(oxygenSet)
	for _, want := range []string{"<<<<<<< here\n", `"pressure": "0.23 bar"`, "=======\n", `"pressure": "0.27 bar"`, ">>>>>>> there\n"} {
		if !strings.Contains(text, want) {
			t.Errorf("want %q in the file", want)
		}
	}
	if out := s.Run("diff", "HEAD~1", "HEAD", "--", oxygenSet); !strings.Contains(out, `+        "pressure": "0.23 bar"`) {
		t.Errorf("without the program files are shown as they are:\n%s", out)
	}
}

// A bare repository has no files, and a repository without a library no lines.
func TestDriversElsewhere(t *testing.T) {
	newShop(t)
	empty := &shop{Repo: gittest.New(t), t: t}
	if _, err := hooks.InstallDrivers(empty.open(), ""); err != nil {
		t.Error(err)
	}
	if _, err := os.Stat(empty.Path(".gitattributes")); err == nil {
		t.Error("attributes without a library")
	}
	bare := &shop{Repo: gittest.New(t, "--bare"), t: t}
	if status, err := hooks.DriversOf(bare.open()); err != nil || len(status.Libraries) > 0 {
		t.Errorf("%+v %v", status, err)
	}
}
