package hooks

import (
	"bytes"
	"crypto/sha1"
	"encoding/hex"
	"fmt"
	"io/fs"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"fettle/history/git"
	"fettle/history/git/gittest"
	"fettle/lint"
)

// held is a snapshot in memory.
type held map[string][]byte

func (h held) Name() string    { return "held" }
func (h held) Files() []string { return slices.Sorted(maps.Keys(h)) }
func (h held) Read(p string) ([]byte, error) {
	if data, ok := h[p]; ok {
		return data, nil
	}
	return nil, fs.ErrNotExist
}
func (h held) Hash(p string) string {
	if _, ok := h[p]; !ok {
		return ""
	}
	sum := sha1.Sum(h[p])
	return hex.EncodeToString(sum[:])
}

// sampleShop is the library of the demo.
func sampleShop(t testing.TB) held {
	t.Helper()
	h := held{}
	root := os.DirFS("../cmd/fettle/demo/library")
	err := fs.WalkDir(root, ".", func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		h[p], err = fs.ReadFile(root, p)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return h
}

var (
	aNumber = regexp.MustCompile(`"-?[0-9.]+ [a-z/%]+"`)
	aName   = regexp.MustCompile(`"(machine|material|gas|thickness|variant)": "[^"]*"`)
	aMember = regexp.MustCompile(`(?m)^ *"[a-z_]+": [^\n{\[]*,\n`)
)

// spoil makes an edit as people and programs make them: values, names, lost lines, moved files, files cut off, other limits.
func spoil(h held, r *rand.Rand) held {
	out := maps.Clone(h)
	files := out.Files()
	p := files[r.IntN(len(files))]
	data := out[p]
	swap := func(of *regexp.Regexp, to func(old []byte) string) {
		if at := of.FindAllIndex(data, -1); len(at) > 0 {
			m := at[r.IntN(len(at))]
			out[p] = slices.Concat(data[:m[0]], []byte(to(data[m[0]:m[1]])), data[m[1]:])
		}
	}
	switch r.IntN(12) {
	case 0, 1, 2:
		swap(aNumber, func(old []byte) string {
			_, unit, _ := strings.Cut(strings.Trim(string(old), `"`), " ")
			return fmt.Sprintf(`"%.3g %s"`, []float64{0, 0.02, 1.7, 3, 12, 250}[r.IntN(6)], unit)
		})
	case 3:
		swap(aName, func(old []byte) string {
			name, _, _ := strings.Cut(string(old), ": ")
			return name + `: "` + []string{"bay-2", "bay-5", "bay-9", "oxygen", "nitrogen", "air", "copper", "stainless-steel", "3 mm", "12 mm", ""}[r.IntN(11)] + `"`
		})
	case 4, 5:
		swap(aMember, func([]byte) string { return "" })
	case 6:
		delete(out, p)
	case 7:
		out[strings.TrimSuffix(p, ".json")+"-2.json"] = data
	case 8:
		out[p] = data[:r.IntN(len(data)+1)]
	case 9:
		out["fettle.json"] = bytes.Replace(out["fettle.json"], []byte(`"display"`), []byte(`"rules": {"speed-off-curve": {"severity": "error", "limit": "1 %"}, "fume": {"severity": "off"}},`+"\n"+`  "trend": {"bay-9/copper/air": {"speed": "rising"}}, "display"`), 1)
	case 10:
		swap(aMember, func(old []byte) string { return string(old) + string(old) })
	default:
		to := strings.Replace(p, "bay-2", "bay-5", 1)
		delete(out, p)
		out[to] = data
	}
	return out
}

func told(list []lint.Finding) string {
	var b strings.Builder
	for _, f := range list {
		fmt.Fprintf(&b, "%s:%d:%d+%d %s %s %s old=%v %s | %s\n", f.Path, f.Line, f.Column, f.Width, f.Severity, f.Rule, f.ID+" "+f.Field, f.Old, f.Message, f.Help)
	}
	return b.String()
}

// A survey says what the whole library says: cold, from what it remembered, of another state in between, and where what is remembered
// was damaged in any place or is that of another program.
func TestSurveySaysWhatExamineSays(t *testing.T) {
	g := gittest.New(t)
	repo, err := git.Open(g.Dir)
	if err != nil {
		t.Fatal(err)
	}
	defer repo.Close()
	at := time.Date(2026, 11, 2, 6, 0, 0, 0, time.UTC)
	start := sampleShop(t)
	rounds := 300
	if testing.Short() {
		rounds = 40
	}
	file := repo.ScratchFile(git.ScratchName("verdicts", ""))
	found, remembered, damaged := 0, 0, 0
	for seed := range rounds {
		r := rand.New(rand.NewPCG(7, uint64(seed)))
		before, now := start, start
		for range r.IntN(3) {
			before = spoil(before, r)
		}
		now = before
		for range r.IntN(4) {
			now = spoil(now, r)
		}
		a, err := ReadSide(before)
		if err != nil {
			t.Fatal(err)
		}
		b, err := ReadSide(now)
		if err != nil {
			t.Fatal(err)
		}
		whole := Examine(Case{Before: a, Now: b, At: at, Full: true})
		want := told(whole.Findings)
		found += len(whole.Findings)
		for pass, forgetful := range []bool{true, false, false, false} {
			s := &Survey{Repo: repo, Before: before, Now: now, At: at, Forgetful: forgetful}
			if pass == 3 { // something is wrong with what is remembered
				data, err := os.ReadFile(file)
				if err != nil {
					t.Fatal(err)
				}
				switch r.IntN(3) {
				case 0:
					data = data[:r.IntN(len(data))]
				case 1:
					data[r.IntN(len(data))] ^= byte(1 + r.IntN(255))
				default:
					data = bytes.Replace(data, []byte("speed"), []byte("feeds"), 1)
				}
				damaged++
				if err := os.WriteFile(file, data, 0o666); err != nil {
					t.Fatal(err)
				}
			}
			got, err := s.Run()
			if err != nil {
				t.Fatal(err)
			}
			if pass == 2 {
				for key := range s.cache.used {
					if _, ok := s.cache.parts[key]; ok && !s.cache.grown {
						remembered++
					}
				}
			}
			if text := told(got.Findings); text != want {
				t.Fatalf("seed %d, pass %d: the survey says\n%s\nand the whole library\n%s", seed, pass, text, want)
			}
			if got.Files != whole.Files || got.Conditions != whole.Conditions || got.Accepted != whole.Accepted || fmt.Sprint(got.Sleeping) != fmt.Sprint(whole.Sleeping) {
				t.Fatalf("seed %d, pass %d: %d files, %d conditions, %v; whole %d, %d, %v", seed, pass, got.Files, got.Conditions, got.Sleeping, whole.Files, whole.Conditions, whole.Sleeping)
			}
			if len(got.Changes) != len(whole.Changes) || len(got.Differences) != len(whole.Differences) {
				t.Fatalf("seed %d, pass %d: %d changes, %d differences; whole %d, %d", seed, pass, len(got.Changes), len(got.Differences), len(whole.Changes), len(whole.Differences))
			}
		}
	}
	if found == 0 || remembered == 0 || damaged == 0 {
		t.Errorf("%d findings, %d verdicts remembered, %d times damaged: the test compares nothing", found, remembered, damaged)
	}
}

// Surveys at once write one file, and each comes to its own verdict.
func TestSurveysAtOnce(t *testing.T) {
	g := gittest.New(t)
	repo, err := git.Open(g.Dir)
	if err != nil {
		t.Fatal(err)
	}
	defer repo.Close()
	start := sampleShop(t)
	var wait sync.WaitGroup
	for n := range 8 {
		wait.Go(func() {
			r := rand.New(rand.NewPCG(9, uint64(n)))
			now := spoil(spoil(start, r), r)
			run := func(forgetful bool) string {
				got, err := (&Survey{Repo: repo, Before: start, Now: now, Forgetful: forgetful}).Run()
				if err != nil {
					t.Error(err)
				}
				return told(got.Findings)
			}
			want := run(true)
			for range 3 {
				if got := run(false); got != want {
					t.Errorf("%d: found\n%s\nwant\n%s", n, got, want)
				}
			}
		})
	}
	wait.Wait()
	if left, _ := filepath.Glob(repo.ScratchFile("new-*")); len(left) > 0 {
		t.Errorf("left behind: %q", left)
	}
}
