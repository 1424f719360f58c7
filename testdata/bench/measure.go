package main

import (
	"bytes"
	"errors"
	"fmt"
	"math"
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
	if err := b.build("S", "L", "M"); err != nil {
		return err
	}
	fmt.Printf("%s, %d cores, %s, %s\n\n", cpu(), runtime.NumCPU(), version("git", "version"), runtime.Version())
	fmt.Println("| work | fettle, ms | processor | against | ms | processor | ratio | of processor | more, ms | peak, MB | target |")
	fmt.Println("|---|---:|---:|---|---:|---:|---:|---:|---:|---:|---|")
	for _, r := range b.rows() {
		if len(only) > 0 && !slices.ContainsFunc(only, func(part string) bool { return strings.Contains(r.name, part) }) {
			continue
		}
		if err := r.run(); err != nil {
			fmt.Printf("| %s | %s | | | | | | | | | %s |\n", r.name, strings.ReplaceAll(strings.SplitN(err.Error(), "\n", 2)[0], "|", "/"), r.target)
		}
	}
	return nil
}

// build makes the program, and the libraries that are missing.
func (b *bench) build(names ...string) error {
	if err := os.MkdirAll(b.dir, 0o777); err != nil {
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
	for _, name := range names {
		if _, err := os.Stat(b.library(name)); errors.Is(err, os.ErrNotExist) {
			fmt.Fprintf(os.Stderr, "making %s\n", name)
			if err := makeSize(name, b.library(name)); err != nil {
				return err
			}
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
	schemas, _ := filepath.Abs("schema/published/condition-set.json")
	validate := []string{"git", "status"}
	if ajv := os.Getenv("AJV"); ajv != "" { // the program of the npm package ajv-cli
		validate = []string{"node", ajv, "validate", "--spec=draft2020", "--strict=false", "-s", schemas, "-d", "sets/**/*.json"}
	}
	lint := []string{b.program, "lint", "--quiet"}
	changed := filepath.Join(l, "sets", "bay-100", "aluminium-air.json")
	edit := func() error {
		data, err := os.ReadFile(changed)
		if err != nil {
			return err
		}
		return os.WriteFile(changed, bytes.Replace(data, []byte(`"power": "12 kW"`), []byte(`"power": "11.9 kW"`), 1), 0o666)
	}
	put := func() error { return git(l, nil, "checkout", "-q", "sets") }
	add(row{name: "lint of everything, L, nothing remembered", target: "ratio ≤ 1", runs: 3, dir: l, prepare: func() error { return forget(l) }, ours: lint, peer: validate, fails: true})
	add(row{name: "lint of everything, L, one file changed", target: "ratio ≤ 2", runs: 9, dir: l, prepare: edit, undo: put, ours: lint, peer: []string{"git", "status"}, fails: true})
	add(row{name: "audit of one condition, S, first", target: "ratio ≤ 1.5", runs: 5, dir: s, prepare: func() error { return forget(s) }, ours: []string{b.program, "audit", id}, peer: []string{"git", "log", "-p", "--", file}})
	add(row{name: "audit of one condition, S, again", target: "ratio ≤ 3", runs: 5, dir: s, ours: []string{b.program, "audit", id}, peer: []string{"git", "log", "-1"}})
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
	var ours, peers, work, peerWork []time.Duration
	peak := int64(0)
	for i := range r.runs + 1 { // the first pair warms up
		for _, side := range []struct {
			args       []string
			into, busy *[]time.Duration
			mine       bool
		}{{r.ours, &ours, &work, true}, {r.peer, &peers, &peerWork, false}} {
			if r.prepare != nil {
				if err := r.prepare(); err != nil {
					return err
				}
			}
			took, busy, memory, err := timed(r.dir, side.args, side.mine && r.fails)
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
				*side.busy = append(*side.busy, busy)
			}
			if side.mine {
				peak = max(peak, memory)
			}
		}
	}
	a, b, x, y := median(ours), median(peers), median(work), median(peerWork)
	fmt.Printf("| %s | %.1f | %.1f | `%s` | %.1f | %.1f | %.2f | %.2f | %+.1f | %d | %s |\n", r.name, ms(a), ms(x), strings.Join(short(r.peer), " "), ms(b), ms(y),
		float64(a)/float64(b), float64(x)/float64(max(y, time.Microsecond)), ms(a-b), peak>>20, r.target)
	return nil
}

// forget removes what fettle remembers of a library.
func forget(dir string) error { return os.RemoveAll(filepath.Join(dir, ".git", "fettle")) }

// timed runs a command and says how long it took, how long processors worked for it and its children, and its largest memory in bytes.
func timed(dir string, args []string, mayFind bool) (took, busy time.Duration, memory int64, err error) {
	cmd := exec.Command(args[0], args[1:]...)
	cmd.Dir = dir
	var wrong bytes.Buffer
	cmd.Stderr = &wrong
	start := time.Now()
	err = cmd.Run()
	took = time.Since(start)
	if exit := (*exec.ExitError)(nil); errors.As(err, &exit) && exit.ExitCode() == 1 && mayFind {
		err = nil
	}
	if err != nil {
		return 0, 0, 0, fmt.Errorf("%s: %w: %s", strings.Join(args, " "), err, wrong.String())
	}
	if usage, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
		memory = usage.Maxrss << 10
	}
	return took, cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime(), memory, nil
}

// grow measures how the work of some commands grows with their input: at a sixteenth, a quarter and the whole, and the exponent e of
// input^e from the smallest to the largest.
func grow(dir string) error {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return err
	}
	b := &bench{dir: dir, program: filepath.Join(dir, "fettle")}
	if err := b.build("S16", "S4", "S", "L16", "L4", "L"); err != nil {
		return err
	}
	fmt.Println("| processor time of | library | 1/16, ms | 1/4, ms | 1, ms | exponent |")
	fmt.Println("|---|---|---:|---:|---:|---:|")
	id := "bay-001/carbon-steel/oxygen/3mm"
	for _, r := range []struct {
		name, of string
		cold     bool
		args     []string
	}{
		{"lint, nothing remembered", "L", true, []string{"lint", "--quiet"}},
		{"lint again", "L", false, []string{"lint", "--quiet"}},
		{"review of one condition", "L", false, []string{"review", id}},
		{"audit of one condition, first", "S", true, []string{"audit", id}},
		{"audit of one condition, again", "S", false, []string{"audit", id}},
		{"audit of everything", "S", false, []string{"audit"}},
	} {
		var took, inputs []float64
		for _, part := range []string{"16", "4", ""} {
			lib := b.library(r.of + part)
			z := sizes[slices.IndexFunc(sizes, func(z size) bool { return z.name == r.of+part })]
			input := z.commits
			if r.of == "L" {
				input = z.machines * len(processes) * z.points
			}
			var busy []time.Duration
			for i := range 4 { // the first warms up
				if r.cold {
					if err := forget(lib); err != nil {
						return err
					}
				}
				_, work, _, err := timed(lib, append([]string{b.program}, r.args...), true)
				if err != nil {
					return err
				}
				if i > 0 {
					busy = append(busy, work)
				}
			}
			took, inputs = append(took, ms(median(busy))), append(inputs, float64(input))
		}
		fmt.Printf("| %s | %s | %.0f | %.0f | %.0f | %.2f |\n", r.name, r.of, took[0], took[1], took[2], math.Log(took[2]/took[0])/math.Log(inputs[2]/inputs[0]))
	}
	return nil
}

func median(list []time.Duration) time.Duration {
	slices.Sort(list)
	return list[len(list)/2]
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// short leaves paths of this machine out.
func short(args []string) []string {
	if args[0] == "node" {
		return []string{"ajv", "validate"}
	}
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
