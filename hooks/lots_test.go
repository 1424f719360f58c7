package hooks_test

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"fettle/hooks"
	"fettle/schema"
)

// Commits of every kind, judged by one set after the other: each verdict is held to the one that all of them come to together, see inLots in
// quick_test.go.
func TestCommitsInLots(t *testing.T) {
	s := newShop(t)
	file := filepath.Join(t.TempDir(), "lots")
	t.Setenv(hooks.CountLotsVariable, file)
	kerf := regexp.MustCompile(`"kerf": "[^"]*"`)
	both := func(pressure, width string) {
		const other = "sets/bay-2/stainless-steel-nitrogen.json"
		s.edit(oxygen3, pressure)
		data, err := os.ReadFile(filepath.Join(s.Dir, filepath.FromSlash(other)))
		if err != nil {
			t.Fatal(err)
		}
		at := kerf.FindIndex(data)
		s.Write(other, string(data[:at[0]])+`"kerf": "`+width+`"`+string(data[at[1]:]))
	}
	back := func() {
		s.Run("reset", "-q", "--hard")
		s.Run("clean", "-fdq")
	}
	held := 0
	holds := func(what string) {
		t.Helper()
		data, _ := os.ReadFile(file)
		if now := strings.Count(string(data), "\n"); now > held {
			held = now
		} else {
			t.Errorf("%s: not judged in lots", what)
		}
	}
	both("0.27 bar", "0.31 mm")
	s.Run("add", "-A")
	s.wantStopped(nil, "no reason for")
	holds("no reasons")
	record := s.reason()
	s.wantStopped([]string{"-m", "half"}, "is written and not part of this commit")
	holds("a reason left out")
	s.Run("add", record)
	s.wantPassed(nil)
	holds("with a reason")
	both("0.28 bar", "0.32 mm")
	s.Run("add", "-A")
	s.wantStopped([]string{"--amend", "-m", "again"}, "no reason for")
	holds("amended")
	s.edit(oxygen3, "35 bar")
	s.Run("add", "-A")
	s.wantStopped(nil, "35 bar")
	holds("an error")
	s.Write(oxygenSet, "{\"kind\": \"condition-set\",")
	s.Run("add", "-A")
	s.wantStopped(nil, "syntax")
	s.Run("rm", "-q", "-f", oxygenSet)
	s.wantStopped(nil, "no reason for")
	// which change the families that there are, and only all sets can tell of these where the settings name some
	back()
	s.approve(oxygen3, mara)
	s.Run("add", "-A")
	s.wantStopped(nil, "own-approval")
	holds("an approval of one's own")
	back()
	s.approve(oxygen3, jonas)
	both("0.27 bar", "0.33 mm")
	s.Run("add", "-A")
	s.wantStopped(nil, "no reason for")
	holds("an approval beside a change")
	back()
	s.approveSubject(schema.SubjectMachine, "bay-2", jonas)
	both("0.29 bar", "0.31 mm")
	s.reason()
	s.Run("add", "-A")
	s.wantPassed(nil)
	holds("a decision on a machine")
}
