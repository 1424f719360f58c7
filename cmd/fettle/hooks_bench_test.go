package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"fettle/cmd/fettle/demo"
	"fettle/history/git/gittest"
)

// BenchmarkHook is what a save pays for being judged, on the sample shop with its whole history: the same git commit with our
// hook and with a hook that does nothing, in turns so that a busy machine slows both alike. It reports the median of each and of
// the difference, in milliseconds.
func BenchmarkHook(b *testing.B) {
	gittest.Isolate()
	work := gittest.Dir(b)
	program := filepath.Join(work, "fettle")
	if runtime.GOOS == "windows" {
		program += ".exe"
	}
	must := func(dir, name string, args ...string) {
		b.Helper()
		cmd := exec.Command(name, args...)
		cmd.Dir = dir
		if out, err := cmd.CombinedOutput(); err != nil {
			b.Fatalf("%s %v: %v\n%s", name, args, err, out)
		}
	}
	must(".", "go", "build", "-o", program, ".")
	story, err := demo.Northgate()
	if err != nil {
		b.Fatal(err)
	}
	for _, c := range []struct {
		name    string
		prepare func(dir string)
	}{
		{"edit with reason", func(dir string) {
			must(dir, program, "set", "bay-2/carbon-steel/oxygen/6mm", "cut.pressure=0.32bar")
			must(dir, program, "reason", "--by", "jonas", "--cause", "trial-result", "--because", "timing")
			must(dir, "git", "add", "-A")
		}},
		{"other files", func(dir string) {
			if err := os.WriteFile(filepath.Join(dir, "notes.txt"), []byte("x\n"), 0o666); err != nil {
				b.Fatal(err)
			}
			must(dir, "git", "add", "notes.txt")
		}},
	} {
		b.Run(c.name, func(b *testing.B) {
			dir := filepath.Join(gittest.Dir(b), "shop")
			if _, err := story.Build(dir); err != nil {
				b.Fatal(err)
			}
			must(dir, program, "hooks", "install")
			idle := filepath.Join(gittest.Dir(b), "idle")
			if err := os.Mkdir(idle, 0o777); err != nil {
				b.Fatal(err)
			}
			if err := os.WriteFile(filepath.Join(idle, "pre-commit"), []byte("#!/bin/sh\nexit 0\n"), 0o777); err != nil {
				b.Fatal(err)
			}
			c.prepare(dir)
			commit := func(options ...string) time.Duration {
				start := time.Now()
				must(dir, "git", append(options, "commit", "-q", "-m", "timing")...)
				took := time.Since(start)
				must(dir, "git", "reset", "-q", "--soft", "HEAD~1")
				return took
			}
			var with, without, difference []time.Duration
			for b.Loop() {
				w, n := commit(), commit("-c", "core.hooksPath="+idle)
				with, without, difference = append(with, w), append(without, n), append(difference, w-n)
			}
			b.ReportMetric(0, "ns/op")
			b.ReportMetric(median(with), "ms-with-hook")
			b.ReportMetric(median(without), "ms-no-op-hook")
			b.ReportMetric(median(difference), "ms-over-no-op")
		})
	}
}

func median(list []time.Duration) float64 {
	slices.Sort(list)
	return float64(list[len(list)/2].Microseconds()) / 1000
}
