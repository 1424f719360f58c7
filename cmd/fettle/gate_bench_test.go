package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"fettle/cmd/fettle/demo"
	"fettle/history/git/gittest"
)

// BenchmarkGate is what a push pays for being judged, on the sample shop with its whole history: the same git push into a bare
// repository whose pre-receive is the gate, and into one whose pre-receive does nothing, in turns. Every commit of the push changes a
// condition set (a note in it), so each is looked at. It reports the median of each and of the difference, in milliseconds.
func BenchmarkGate(b *testing.B) {
	gittest.Isolate()
	work := gittest.Dir(b)
	program := filepath.Join(work, "fettle")
	if runtime.GOOS == "windows" {
		program += ".exe"
	}
	git := func(dir string, stdin []byte, args ...string) string {
		b.Helper()
		cmd := exec.Command("git", args...)
		cmd.Dir, cmd.Stdin = dir, bytes.NewReader(stdin)
		out, err := cmd.CombinedOutput()
		if err != nil {
			b.Fatalf("git %v: %v\n%s", args, err, out)
		}
		return strings.TrimSpace(string(out))
	}
	if out, err := exec.Command("go", "build", "-o", program, ".").CombinedOutput(); err != nil {
		b.Fatalf("go build: %v\n%s", err, out)
	}
	story, err := demo.Northgate()
	if err != nil {
		b.Fatal(err)
	}
	shop := filepath.Join(work, "shop")
	if _, err := story.Build(shop); err != nil {
		b.Fatal(err)
	}
	set, err := os.ReadFile(filepath.Join(shop, "sets/bay-2/carbon-steel-oxygen.json"))
	if err != nil {
		b.Fatal(err)
	}
	old := git(shop, nil, "rev-parse", "HEAD")
	branch := git(shop, nil, "symbolic-ref", "--short", "HEAD")
	servers := map[string]string{"gate": "exec '" + program + "' gate pre-receive", "idle": "exit 0"}
	for name, script := range servers {
		git(work, nil, "clone", "-q", "--bare", shop, name)
		if err := os.WriteFile(filepath.Join(work, name, "hooks", "pre-receive"), []byte("#!/bin/sh\n"+script+"\n"), 0o777); err != nil {
			b.Fatal(err)
		}
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
			git(shop, stream.Bytes(), "fast-import", "--quiet", "--force")
			push := func(server string) time.Duration {
				dir := filepath.Join(work, server)
				git(dir, nil, "update-ref", "refs/heads/"+branch, old)
				start := time.Now()
				git(shop, nil, "push", "-q", dir, "refs/heads/new:refs/heads/"+branch)
				return time.Since(start)
			}
			var with, without, difference []time.Duration
			for b.Loop() {
				w, n := push("gate"), push("idle")
				with, without, difference = append(with, w), append(without, n), append(difference, w-n)
			}
			b.ReportMetric(0, "ns/op")
			b.ReportMetric(median(with), "ms-with-gate")
			b.ReportMetric(median(without), "ms-no-op-gate")
			b.ReportMetric(median(difference), "ms-over-no-op")
		})
	}
}
