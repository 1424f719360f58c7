package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/cmd/fettle/demo"
	"fettle/history/git/gittest"
)

// A bench is the program, built as the README says, and the sample shop with its whole history, to hold against git alone in turns, so
// that a busy machine slows both alike.
type bench struct {
	b             *testing.B
	work, program string
	story         *demo.Story
}

func newBench(b *testing.B) *bench {
	gittest.Isolate()
	b.Setenv("CGO_ENABLED", "0")
	w := &bench{b: b, work: gittest.Dir(b)}
	w.program = filepath.Join(w.work, "fettle")
	if runtime.GOOS == "windows" {
		w.program += ".exe"
	}
	built := filepath.Join(w.work, "built")
	w.run(".", nil, "go", "build", "-o", built, ".")
	// A copy lies in the memory of the system as a file does that was read from disk. What the linker leaves there is slower to start.
	data, err := os.ReadFile(built)
	if err != nil {
		b.Fatal(err)
	}
	w.write(0o777, string(data), w.program)
	if w.story, err = demo.Northgate(); err != nil {
		b.Fatal(err)
	}
	return w
}

func (w *bench) run(dir string, stdin []byte, name string, args ...string) string {
	w.b.Helper()
	cmd := exec.Command(name, args...)
	cmd.Dir, cmd.Stdin = dir, bytes.NewReader(stdin)
	out, err := cmd.CombinedOutput()
	if err != nil {
		w.b.Fatalf("%s %v: %v\n%s", name, args, err, out)
	}
	return strings.TrimSpace(string(out))
}

func (w *bench) git(dir string, args ...string) string { return w.run(dir, nil, "git", args...) }

func (w *bench) write(mode os.FileMode, text string, path ...string) {
	w.b.Helper()
	if err := os.WriteFile(filepath.Join(path...), []byte(text), mode); err != nil {
		w.b.Fatal(err)
	}
}

// shop makes the sample shop anew in dir.
func (w *bench) shop(dir string) string {
	w.b.Helper()
	dir = filepath.Join(dir, "shop")
	if _, err := w.story.Build(dir); err != nil {
		w.b.Fatal(err)
	}
	return dir
}

// report runs the two in turns and reports the median of each and of what stands between them: a difference in milliseconds, or a ratio.
func report(b *testing.B, with, without func() time.Duration, names ...string) {
	var a, c, difference []time.Duration
	var ratio []float64
	for b.Loop() {
		w, n := with(), without()
		a, c, difference, ratio = append(a, w), append(c, n), append(difference, w-n), append(ratio, float64(w)/float64(n))
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(median(a).Seconds()*1000, "ms-"+names[0])
	b.ReportMetric(median(c).Seconds()*1000, "ms-"+names[1])
	b.ReportMetric(median(difference).Seconds()*1000, "ms-over")
	b.ReportMetric(median(ratio), "ratio")
}

func median[T int64 | float64 | time.Duration](list []T) T {
	slices.Sort(list)
	return list[len(list)/2]
}

// BenchmarkStart is what any call pays before it does anything: fettle version against git version.
func BenchmarkStart(b *testing.B) {
	w := newBench(b)
	timed := func(name string) func() time.Duration {
		return func() time.Duration {
			start := time.Now()
			w.run(w.work, nil, name, "version")
			return time.Since(start)
		}
	}
	report(b, timed(w.program), timed("git"), "fettle", "git")
}

// BenchmarkHook is what a save pays for being judged: the same git commit with our hook and with a hook that does nothing.
func BenchmarkHook(b *testing.B) {
	w := newBench(b)
	for _, c := range []struct {
		name    string
		prepare func(dir string)
	}{
		{"edit with reason", func(dir string) {
			w.run(dir, nil, w.program, "set", "bay-2/carbon-steel/oxygen/6mm", "cut.pressure=0.32bar")
			w.run(dir, nil, w.program, "reason", "--by", "jonas", "--cause", "trial-result", "--because", "timing")
			w.git(dir, "add", "-A")
		}},
		{"other files", func(dir string) {
			w.write(0o666, "x\n", dir, "notes.txt")
			w.git(dir, "add", "notes.txt")
		}},
	} {
		b.Run(c.name, func(b *testing.B) {
			dir := w.shop(gittest.Dir(b))
			w.run(dir, nil, w.program, "hooks", "install")
			idle := gittest.Dir(b)
			w.write(0o777, "#!/bin/sh\nexit 0\n", idle, "pre-commit")
			c.prepare(dir)
			commit := func(options ...string) func() time.Duration {
				return func() time.Duration {
					start := time.Now()
					w.git(dir, append(options, "commit", "-q", "-m", "timing")...)
					took := time.Since(start)
					w.git(dir, "reset", "-q", "--soft", "HEAD~1")
					return took
				}
			}
			report(b, commit(), commit("-c", "core.hooksPath="+idle), "with-hook", "no-op-hook")
		})
	}
}

// BenchmarkGate is what a push pays for being judged: the same git push into a bare repository whose pre-receive is the gate, and into
// one whose pre-receive does nothing. Every commit of the push changes a condition set (a note in it), so each is looked at.
func BenchmarkGate(b *testing.B) {
	w := newBench(b)
	shop := w.shop(w.work)
	set, err := os.ReadFile(filepath.Join(shop, "sets/bay-2/carbon-steel-oxygen.json"))
	if err != nil {
		b.Fatal(err)
	}
	old := w.git(shop, "rev-parse", "HEAD")
	branch := w.git(shop, "symbolic-ref", "--short", "HEAD")
	for name, script := range map[string]string{"gate": "exec '" + w.program + "' gate pre-receive", "idle": "exit 0"} {
		w.git(w.work, "clone", "-q", "--bare", shop, name)
		w.write(0o777, "#!/bin/sh\n"+script+"\n", w.work, name, "hooks", "pre-receive")
	}
	for _, n := range []int{1, 100, 1000, 5000} {
		b.Run(fmt.Sprintf("%d commits", n), func(b *testing.B) {
			var stream bytes.Buffer
			for i := range n {
				from := old
				if i > 0 {
					from = fmt.Sprintf(":%d", i)
				}
				text := bytes.Replace(set, []byte(`"kerf": "0.28 mm",`), fmt.Appendf(nil, `"kerf": "0.28 mm", "note": "seen %d times",`, i), 1)
				fmt.Fprintf(&stream, "commit refs/heads/new\nmark :%d\ncommitter A <a@b> %d +0000\ndata 1\nx\nfrom %s\nM 100644 inline sets/bay-2/carbon-steel-oxygen.json\ndata %d\n%s\n\n",
					i+1, gittest.Start.Unix()+int64(i), from, len(text), text)
			}
			w.run(shop, stream.Bytes(), "git", "fast-import", "--quiet", "--force")
			push := func(server string) func() time.Duration {
				dir := filepath.Join(w.work, server)
				return func() time.Duration {
					w.git(dir, "update-ref", "refs/heads/"+branch, old)
					start := time.Now()
					w.git(shop, "push", "-q", dir, "refs/heads/new:refs/heads/"+branch)
					return time.Since(start)
				}
			}
			report(b, push("gate"), push("idle"), "with-gate", "no-op-gate")
		})
	}
}
