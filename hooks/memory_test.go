package hooks_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fettle/schema"
)

// quickly counts the verdicts that were come to without reading the whole library while f runs.
func (s *shop) quickly(f func()) int {
	s.t.Helper()
	quick, _ := s.counted(f)
	return quick
}

// counted counts those verdicts, and those for which all records were read and not all sets.
func (s *shop) counted(f func()) (quick, narrow int) {
	s.t.Helper()
	file := filepath.Join(s.t.TempDir(), "count")
	s.t.Setenv("FETTLE_TEST_COUNT_QUICK", file)
	f()
	data, err := os.ReadFile(file)
	if err != nil && !os.IsNotExist(err) {
		s.t.Fatal(err)
	}
	narrow = strings.Count(string(data), "narrow\n")
	return strings.Count(string(data), "\n") - narrow, narrow
}

// memories are the files that hold what is remembered between two commits.
func (s *shop) memories() []string {
	s.t.Helper()
	var out []string
	for _, kind := range []string{"index", "catalog"} {
		files, err := filepath.Glob(filepath.Join(s.open().GitDir, "fettle", kind+"-*"))
		if err != nil || len(files) != 1 {
			s.t.Fatal(files, err)
		}
		out = append(out, files...)
	}
	return out
}

func TestPlainCommitsAreJudgedFromMemory(t *testing.T) {
	s := newShop(t)
	change := func(pressure string) {
		t.Helper()
		s.edit(oxygen3, pressure)
		s.reason()
		s.Run("add", "-A")
		s.wantPassed(nil, oxygen3)
	}
	change("0.27 bar")
	for _, pressure := range []string{"0.28 bar", "0.29 bar", "0.28 bar"} {
		if n := s.quickly(func() { change(pressure) }); n != 1 {
			t.Errorf("%s: judged from memory %d times", pressure, n)
		}
	}
	if quick, narrow := s.counted(func() { // an error is told from all records, and the sets that bear on it
		s.edit(oxygen3, "35 bar")
		s.reason()
		s.Run("add", "-A")
		s.wantStopped(nil, "35 bar")
		s.Run("reset", "-q", "--hard")
		s.Run("clean", "-fdq")
	}); quick != 0 || narrow == 0 {
		t.Errorf("a commit that is stopped was judged from memory %d times, and %d times by a part of the sets", quick, narrow)
	}
	s.approve(oxygen3, jonas)
	s.Run("add", "-A")
	if n := s.quickly(func() { s.wantPassed(nil) }); n != 1 {
		t.Error("a decision on a condition was not judged from memory")
	}
	if n := s.quickly(func() { change("0.29 bar") }); n != 1 { // and what was decided is known to the next commit
		t.Error("the decision before was not added to what is remembered")
	}
	s.approveSubject(schema.SubjectMachine, "bay-2", jonas)
	s.Run("add", "-A")
	if n := s.quickly(func() { s.wantPassed(nil) }); n != 0 {
		t.Error("a decision on a machine was judged from memory")
	}
}

// What is remembered can be gone, cut off, altered or of another branch: the verdict is the same.
func TestBadMemory(t *testing.T) {
	s := newShop(t)
	pressures := []string{"0.27 bar", "0.28 bar", "0.29 bar"}
	n := 0
	judged := func() {
		t.Helper()
		n++
		s.edit(oxygen3, pressures[n%3])
		s.Run("add", "-A")
		s.wantStopped(nil, "no-reason")
		s.reason()
		s.Run("add", "-A")
		s.wantPassed(nil, oxygen3)
	}
	judged()
	judged()
	for i := range s.memories() {
		for _, spoil := range []func(data []byte) []byte{
			func(data []byte) []byte { return nil },
			func(data []byte) []byte { return data[:len(data)/2] },
			func(data []byte) []byte { return append(data, data...) },
			func(data []byte) []byte { data[len(data)/2] ^= 4; return data },
			func(data []byte) []byte { data[len(data)-6] ^= 1; return data },
		} {
			file := s.memories()[i]
			data, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(file, spoil(data), 0o666); err != nil {
				t.Fatal(err)
			}
			judged()
		}
		if err := os.Remove(s.memories()[i]); err != nil {
			t.Fatal(err)
		}
		judged()
	}
	s.Run("switch", "-q", "-c", "side", "HEAD~4")
	judged()
	s.Run("switch", "-q", "main")
	judged()
	s.Run("gc", "-q", "--prune=now")
	judged()
}

// Settings bear on every set, and are judged by them in turn where nothing stops the commit.
func TestSettingsAreJudgedInTurn(t *testing.T) {
	s := newShop(t)
	change := func(from, to string) {
		t.Helper()
		settings := s.Read("fettle.json")
		s.Write("fettle.json", strings.Replace(settings, from, to, 1))
		if s.Read("fettle.json") == settings {
			t.Fatalf("no %s in the settings", from)
		}
		s.Run("add", "-A")
	}
	if n := s.quickly(func() { change(`"machine_hour": `, `"machine_hour": 1`); s.wantPassed(nil) }); n != 1 {
		t.Errorf("other prices were judged in turn %d times", n)
	}
	if n := s.quickly(func() {
		change(`"policy": {`, `"rules": {"fume": {"severity": "warning"}}, "policy": {`)
		s.wantPassed(nil)
	}); n != 1 {
		t.Errorf("a stricter rule was judged in turn %d times", n)
	}
	if n := s.quickly(func() {
		change(libraryName, strings.Repeat("5", 32))
		s.wantStopped(nil, "the id of the library changed")
	}); n != 0 {
		t.Error("what stops a commit was not told by the whole library")
	}
}
