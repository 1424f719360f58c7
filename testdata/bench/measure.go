package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"time"
)

// A row is one line of the table: what fettle does, and what it is held against.
type row struct {
	name    string
	target  string
	runs    int
	prepare func() error // before each pair, not timed; may be nil
	ours    []string
	peer    []string
	dir     string
	undo    func() error
	fails   bool // ours may end with 1: it found something
}

// bench is what rows share.
type bench struct {
	dir, program string
}

func (b *bench) library(size string) string { return filepath.Join(b.dir, size) }

func measure(dir string, only []string) error {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return err
	}
	b := &bench{dir: dir, program: filepath.Join(dir, "fettle")}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	built := exec.Command("go", "build", "-o", b.program+".built", "./cmd/fettle")
	built.Env = append(os.Environ(), "CGO_ENABLED=0") // as the README says
	if out, err := built.CombinedOutput(); err != nil {
		return fmt.Errorf("go build: %w\n%s", err, out)
	}
	// A copy lies in the memory of the system as a file does that was read from disk. What the linker leaves there is slower to start.
	program, err := os.ReadFile(b.program + ".built")
	if err != nil {
		return err
	}
	if err := os.WriteFile(b.program, program, 0o777); err != nil {
		return err
	}
	for _, z := range sizes {
		if z.name != "S" && z.name != "L" && z.name != "M" {
			continue
		}
		if _, err := os.Stat(b.library(z.name)); errors.Is(err, os.ErrNotExist) {
			fmt.Fprintf(os.Stderr, "making %s\n", z.name)
			if err := makeSize(z.name, b.library(z.name)); err != nil {
				return err
			}
		}
	}
	fmt.Printf("%s, %d cores, %s, %s\n\n", cpu(), runtime.NumCPU(), version("git", "version"), runtime.Version())
	fmt.Println("| work | fettle, ms | against | ms | ratio | more, ms | peak, MB | target |")
	fmt.Println("|---|---:|---|---:|---:|---:|---:|---|")
	for _, r := range b.rows() {
		if len(only) > 0 && !slices.ContainsFunc(only, func(part string) bool { return strings.Contains(r.name, part) }) {
			continue
		}
		if err := r.run(); err != nil {
			fmt.Printf("| %s | %s | | | | | | %s |\n", r.name, strings.ReplaceAll(strings.SplitN(err.Error(), "\n", 2)[0], "|", "/"), r.target)
		}
	}
	return nil
}

// rows are the targets. Commits are taken back after each run, so that every run does the same.
func (b *bench) rows() []row {
	idle := filepath.Join(b.dir, "idle-hooks")
	var rows []row
	add := func(r row) { rows = append(rows, r) }
	add(row{name: "start-up", target: "ratio ≤ 3", runs: 50, dir: b.dir, ours: []string{b.program, "version"}, peer: []string{"git", "version"}})
	for _, size := range []string{"S", "L", "M"} {
		dir, target := b.library(size), "≤ 20 ms more"
		if size == "M" {
			target = "≤ 60 ms more"
		}
		commit := []string{"commit", "-q", "-m", "timing"}
		add(row{name: "commit of one changed condition, " + size, target: target, runs: 20, dir: dir,
			prepare: func() error { return b.edited(dir, idle) }, undo: func() error { return git(dir, nil, "reset", "-q", "--soft", "HEAD~1") },
			ours: append([]string{"git"}, commit...), peer: append([]string{"git", "-c", "core.hooksPath=" + idle}, commit...)})
	}
	s, l := b.library("S"), b.library("L")
	id := "bay-001/carbon-steel/oxygen/3mm"
	file := "sets/bay-001/carbon-steel-oxygen.json"
	add(row{name: "lint of everything, L", target: "≤ 1 × ajv on the same files", runs: 3, dir: l, ours: []string{b.program, "lint", "--quiet"}, peer: []string{"git", "status"}, fails: true})
	add(row{name: "audit of one condition, S", target: "ratio ≤ 1.5 at first, ≤ 3 × git log -1 again", runs: 5, dir: s, ours: []string{b.program, "audit", id}, peer: []string{"git", "log", "-p", "--", file}})
	add(row{name: "audit of everything, S", target: "ratio ≤ 1", runs: 3, dir: s, ours: []string{b.program, "audit"}, peer: []string{"git", "log", "--raw"}})
	add(row{name: "review of one condition, S", target: "ratio ≤ 3", runs: 5, dir: s, ours: []string{b.program, "review", id}, peer: []string{"git", "diff", "HEAD"}})
	add(row{name: "review of one condition, L", target: "ratio ≤ 3", runs: 3, dir: l, ours: []string{b.program, "review", id}, peer: []string{"git", "diff", "HEAD"}})
	return rows
}

// edited leaves one changed condition with its reason staged, and hooks in place: ours, and idle ones in a directory of their own.
func (b *bench) edited(dir, idle string) error {
	if err := os.MkdirAll(idle, 0o777); err != nil {
		return err
	}
	for _, hook := range []string{"pre-commit", "prepare-commit-msg"} {
		if err := os.WriteFile(filepath.Join(idle, hook), []byte("#!/bin/sh\nexit 0\n"), 0o777); err != nil {
			return err
		}
	}
	staged := exec.Command("git", "diff", "--cached", "--quiet")
	staged.Dir = dir
	if staged.Run() != nil {
		return nil // as the last run left it
	}
	library := dir
	if strings.HasSuffix(dir, "M") {
		library = filepath.Join(dir, "cutting")
	}
	for _, args := range [][]string{{"hooks", "install"}, {"set", "bay-001/carbon-steel/oxygen/3mm", "cut.pressure=1.07bar"},
		{"reason", "bay-001/carbon-steel/oxygen/3mm", "--cause", "trial-result", "--because", "timing"}} {
		cmd := exec.Command(b.program, args...)
		cmd.Dir = library
		if out, err := cmd.CombinedOutput(); err != nil {
			return fmt.Errorf("fettle %v: %w\n%s", args, err, out)
		}
	}
	return git(dir, nil, "add", "-A")
}

// run times both commands in turn and prints the line.
func (r *row) run() error {
	var ours, peers []time.Duration
	peak := int64(0)
	for i := range r.runs + 1 { // the first pair warms up
		for _, side := range []struct {
			args []string
			into *[]time.Duration
			mine bool
		}{{r.ours, &ours, true}, {r.peer, &peers, false}} {
			if r.prepare != nil {
				if err := r.prepare(); err != nil {
					return err
				}
			}
			took, memory, err := timed(r.dir, side.args, side.mine && r.fails)
			if err != nil {
				return err
			}
			if r.undo != nil {
				if err := r.undo(); err != nil {
					return err
				}
			}
			if i > 0 {
				*side.into = append(*side.into, took)
			}
			if side.mine {
				peak = max(peak, memory)
			}
		}
	}
	a, b := median(ours), median(peers)
	fmt.Printf("| %s | %.1f | `%s` | %.1f | %.2f | %+.1f | %d | %s |\n", r.name, ms(a), strings.Join(short(r.peer), " "), ms(b), float64(a)/float64(b), ms(a-b), peak>>20, r.target)
	return nil
}

func timed(dir string, args []string, mayFind bool) (time.Duration, int64, error) {
	cmd := exec.Command(args[0], args[1:]...)
	cmd.Dir = dir
	var wrong bytes.Buffer
	cmd.Stderr = &wrong
	start := time.Now()
	err := cmd.Run()
	took := time.Since(start)
	if exit := (*exec.ExitError)(nil); errors.As(err, &exit) && exit.ExitCode() == 1 && mayFind {
		err = nil
	}
	if err != nil {
		return 0, 0, fmt.Errorf("%s: %w: %s", strings.Join(args, " "), err, wrong.String())
	}
	memory := int64(0)
	if usage, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
		memory = usage.Maxrss << 10
	}
	return took, memory, nil
}

func median(list []time.Duration) time.Duration {
	slices.Sort(list)
	return list[len(list)/2]
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// short leaves paths of this machine out.
func short(args []string) []string {
	out := slices.Clone(args)
	for i, a := range out {
		if strings.HasPrefix(a, "core.hooksPath=") {
			out[i] = "core.hooksPath=idle"
		}
	}
	return out
}

func version(args ...string) string {
	out, _ := exec.Command(args[0], args[1:]...).Output()
	return strings.TrimSpace(string(out))
}

func cpu() string {
	data, _ := os.ReadFile("/proc/cpuinfo")
	for line := range strings.Lines(string(data)) {
		if name, value, ok := strings.Cut(line, ":"); ok && strings.TrimSpace(name) == "model name" {
			return strings.TrimSpace(value)
		}
	}
	return runtime.GOARCH
}
