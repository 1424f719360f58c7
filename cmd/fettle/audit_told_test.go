package main

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/history/git/gittest"
)

// tellings are what people ask of a timeline.
var tellings = [][]string{
	{"audit"}, {"audit", "bay-2/carbon-steel/oxygen/6mm"}, {"audit", "bay-2/carbon-steel/oxygen/10mm", "bay-2/carbon-steel/oxygen/6mm"}, {"audit", "bay-2"},
	{"audit", "bay-2/carbon-steel/oxygen/6mm", "--format", "json"}, {"audit", "--format", "csv"}, {"audit", "--unapproved"}, {"audit", "--field", "pressure"},
	{"audit", "--since", "2026-03-01", "--by", "mara"},
}

// afresh is what a timeline is without anything that is kept.
func afresh(t *testing.T, repo *gittest.Repo, args []string) string {
	t.Helper()
	for _, file := range kept(repo) {
		if err := os.Remove(file); err != nil {
			t.Fatal(err)
		}
	}
	return auditRun(t, repo, exitGood, args...)
}

// kept are the timelines that are kept.
func kept(repo *gittest.Repo) []string {
	files, _ := filepath.Glob(filepath.Join(repo.Dir, ".git", "fettle", toldFile+"-*"))
	return files
}

// TestToldAgain holds what is told again to what is told for the first time, after every kind of step that may come between.
func TestToldAgain(t *testing.T) {
	repo := sampleHistory(t)
	base := repo.Run("rev-parse", "HEAD")
	set := "sets/bay-2/carbon-steel-oxygen.json"
	for _, step := range []struct {
		name string
		take func()
	}{
		{"nothing", func() {}},
		{"a file beside the library", func() { repo.Write("NOTES", "x"); repo.Commit("notes") }},
		{"a change that is not saved", func() { repo.Write(set, strings.Replace(repo.Read(set), `"0.31 bar"`, `"0.33 bar"`, 1)) }},
		{"a change", func() {
			repo.Write(set, strings.Replace(repo.Read(set), `"0.31 bar"`, `"0.33 bar"`, 1))
			repo.Commit("edit")
		}},
		{"other units", func() {
			repo.Write("fettle.json", strings.Replace(repo.Read("fettle.json"), `"m/min"`, `"mm/s"`, 1))
		}},
		{"the history taken back", func() { repo.Run("reset", "-q", "--hard", "HEAD~12") }},
		{"another zone", func() { time.Local = time.FixedZone("", -5*3600) }},
		{"another adoption pinned", func() { repo.Run("config", "fettle.anchor", strings.Repeat("a", 64)) }},
	} {
		t.Run(step.name, func(t *testing.T) {
			zone := time.Local
			defer func() { time.Local = zone }()
			repo.Run("checkout", "-q", "-f", "-B", "main", base)
			repo.Run("clean", "-q", "-f")
			for _, file := range kept(repo) {
				os.Remove(file)
			}
			for _, args := range tellings {
				auditRun(t, repo, exitGood, args...)
			}
			was := map[string][]byte{}
			for _, file := range kept(repo) {
				was[file], _ = os.ReadFile(file)
			}
			if len(was) != len(tellings) {
				t.Fatalf("%d timelines are kept, of %d", len(was), len(tellings))
			}
			step.take()
			for _, args := range tellings {
				want := afresh(t, repo, args)
				for file, data := range was {
					if err := os.WriteFile(file, data, 0o666); err != nil {
						t.Fatal(err)
					}
				}
				for range 2 {
					if got := auditRun(t, repo, exitGood, args...); got != want {
						t.Errorf("fettle %s again:\n%s\nand for the first time:\n%s", strings.Join(args, " "), got, want)
					}
				}
			}
			repo.Try("config", "--unset", "fettle.anchor")
		})
	}
}

// TestToldWrong damages what is kept: what is told stays. Only who can write a whole one with its seal is believed, as whoever can write
// below the directory of git can do worse; and that shows that it is used at all.
func TestToldWrong(t *testing.T) {
	repo := sampleHistory(t)
	args := tellings[1]
	want := auditRun(t, repo, exitGood, args...)
	other := afresh(t, repo, tellings[2])
	file := kept(repo)[0]
	foreign, err := os.ReadFile(file)
	if err != nil || other == want {
		t.Fatal("it is the same of both", err)
	}
	afresh(t, repo, args)
	file = kept(repo)[0]
	good, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	middle := bytes.Index(good, []byte("dross"))
	flipped := slices.Clone(good)
	flipped[middle] ^= 1
	for name, bad := range map[string][]byte{"flipped": flipped, "cut": good[:len(good)/2], "empty": {}, "longer": append(slices.Clone(good), 0), "of another": foreign} {
		if err := os.WriteFile(file, bad, 0o666); err != nil {
			t.Fatal(err)
		}
		if got := auditRun(t, repo, exitGood, args...); got != want {
			t.Errorf("%s:\n%s", name, got)
		}
	}
	if err := os.WriteFile(file, good, 0o666); err != nil {
		t.Fatal(err)
	}
	s, err := (&app{dir: repo.Dir}).open()
	if err != nil {
		t.Fatal(err)
	}
	defer s.repo.Close()
	body, ok := s.repo.Recall(filepath.Base(file), toldSeal())
	if !ok {
		t.Fatal("what is kept is not sealed")
	}
	if err := s.repo.RememberSealed(filepath.Base(file), toldSeal(), bytes.ReplaceAll(body, []byte("dross"), []byte("gross"))); err != nil {
		t.Fatal(err)
	}
	if got := auditRun(t, repo, exitGood, args...); got != strings.ReplaceAll(want, "dross", "gross") {
		t.Errorf("what is kept is not used:\n%s", got)
	}
	for n := range 20 { // none makes it stumble
		if err := s.repo.RememberSealed(filepath.Base(file), toldSeal(), body[:len(body)*n/20]); err != nil {
			t.Fatal(err)
		}
		if got := auditRun(t, repo, exitGood, args...); got != want {
			t.Fatalf("a beginning of it is taken for the whole:\n%s", got)
		}
	}
}

// TestToldIsBounded: a large one is not kept.
func TestToldIsBounded(t *testing.T) {
	c := &capped{}
	for range 3 {
		if n, err := c.Write(make([]byte, toldBytes/2)); n != toldBytes/2 || err != nil {
			t.Fatal(n, err)
		}
	}
	if !c.full || c.text != nil {
		t.Errorf("%d bytes are held", len(c.text))
	}
}
