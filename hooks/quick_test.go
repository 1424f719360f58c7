package hooks

import (
	"bytes"
	"crypto/sha256"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"fettle/history"
	"fettle/lint"
	"fettle/schema"
	"fettle/schema/quantity"
)

// Every verdict that is come to quickly, in any test of this package, is held to the one from the whole library: the same words, and
// that nothing stops the commit.
func init() {
	afterQuick = func(r *running, quick *verdict) {
		say := func(r running, v *verdict) string {
			var out bytes.Buffer
			r.Out = &out
			v.running = &r
			stopped := r.show([]*verdict{v})
			return fmt.Sprint(out.String(), stopped)
		}
		full := running{Call: r.Call, act: r.act, repo: r.repo, store: newStore(r.repo), head: r.head, heads: r.heads, changes: r.changes}
		libraries, err := full.libraries([]string{quick.root})
		if err != nil || len(libraries) != 1 {
			panic(fmt.Sprint("the whole library cannot be read: ", err))
		}
		v, err := full.judge(libraries[0], quick.Anchor)
		if err != nil {
			panic(err)
		}
		if got, want := say(*r, quick), say(full, v); got != want {
			panic("judged quickly:\n" + got + "\nfrom the whole library:\n" + want)
		}
		count(filepath.Base(quick.root))
	}
	afterGate = func(full *Ruling) {
		if full.gate.Memory || full.gate.partsFrom == 1 || flag.Parsed() && testing.Short() && os.Getenv(countVariable) == "" {
			return
		}
		printed := func(r *Ruling) string {
			var out bytes.Buffer
			r.Print(&out)
			fmt.Fprintln(&out, len(r.verdicts))
			for _, v := range r.verdicts {
				waiting := slices.Clone(v.waiting())
				if slices.Sort(waiting); r.Protected { // there they are told one by one
					waiting = nil
				}
				fmt.Fprintln(&out, waiting, v.mayApprove())
			}
			return fmt.Sprint(out.String(), r.Refused(), r.Protected, r.Commits, r.Base, r.Notes())
		}
		say := func(r *Ruling) string {
			var out bytes.Buffer
			for _, c := range r.Charges() {
				fmt.Fprintf(&out, "%+v %s %s\n", c.Message, c.Commit, c.Path)
			}
			return printed(r) + out.String()
		}
		for _, v := range full.verdicts {
			makes := *v.running
			makes.makes = true
			makes.quick(v.root, func(func(schema.Digest) bool) (string, error) { return "", nil }, nil)
		}
		options := full.gate.GateOptions
		options.Memory = true
		again := NewGate(full.gate.repo, options)
		again.known, again.fallback = full.gate.known, full.gate.fallback
		r, err := again.Judge(full.Move)
		if err != nil {
			panic(err)
		}
		if got, want := say(r), say(full); got != want {
			panic(fmt.Sprint("judged from memory: ", r.quick, "\n", got, "\nfrom the whole library:\n", want))
		}
		if r.quick {
			count("gate")
		}
		for _, brief := range []bool{false, true} {
			again = NewGate(full.gate.repo, full.gate.GateOptions)
			again.known, again.fallback = full.gate.known, full.gate.fallback
			again.partsFrom, again.Brief = 1, brief
			if brief {
				say = printed
			}
			if r, err = again.Judge(full.Move); err != nil {
				panic(err)
			}
			if got, want := say(r), say(full); got != want {
				panic(fmt.Sprint("judged in parts:\n", got, "\nin one go:\n", want))
			}
			if !r.Refused() {
				break
			}
		}
		if slices.ContainsFunc(r.verdicts, func(v *verdict) bool { return v.rest != nil }) {
			count("parts")
		}
	}
}

// Quick reports whether a ruling rests on what was remembered.
func (r *Ruling) Quick() bool { return r.quick }

// count adds a line to the file that [countVariable] names.
func count(what string) { countIn(countVariable, what) }

func countIn(variable, what string) {
	file := os.Getenv(variable)
	if file == "" {
		return
	}
	f, err := os.OpenFile(file, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o666)
	if err != nil {
		panic(err)
	}
	defer f.Close()
	fmt.Fprintln(f, what)
}

// countVariable names a file that gets a line for every verdict that is come to quickly.
const countVariable = "FETTLE_TEST_COUNT_QUICK"

// Every verdict from the sets that bear on a commit or a push is held to the one from all sets: the same words, the same changes.
func init() {
	afterNarrow = func(r *running, narrow *verdict) {
		say := func(v *verdict) string {
			var out bytes.Buffer
			mine := *r
			mine.Out = &out
			if mine.Render == nil {
				mine.Render = func(w io.Writer, f lint.Finding) {
					fmt.Fprintln(w, f.Path, f.Line, f.Column, f.Rule, f.Message, f.Help)
				}
			}
			stopped := mine.show([]*verdict{v})
			fmt.Fprintln(&out, stopped, mine.summarize([]*verdict{v}))
			for _, f := range v.New().Findings {
				fmt.Fprintln(&out, f.Path, f.Line, f.Column, f.Rule, f.Severity, f.Message, f.Help)
			}
			for _, c := range v.Report.Changes {
				fmt.Fprintln(&out, c.ID, c.Status, c.Reasoned, c.Cause, c.RuledOut, c.Authors, c.MayApprove)
			}
			return out.String()
		}
		whole := *narrow.library
		whole.bearing, whole.parents = nil, slices.Clone(whole.parents)
		full := running{Call: r.Call, act: r.act, repo: r.repo, store: newStore(r.repo), head: r.head, heads: r.heads, changes: r.changes, pushed: r.pushed}
		for _, t := range append([]**tree{&whole.before, &whole.now}, pointers(whole.parents)...) {
			*t = &tree{full.store, (*t).ids}
		}
		v, err := full.judgeRead(&whole, narrow.Anchor)
		if err != nil {
			panic(err)
		}
		if got, want := say(narrow), say(v); got != want {
			panic("judged by the sets that bear on it:\n" + got + "\nby all sets:\n" + want)
		}
		inLots(r, narrow)
		if some, err := narrow.bearing.only(narrow.now); err == nil && len(some.ids) < len(withoutRecords(narrow.now).ids) {
			count("narrow")
		}
	}
}

// inLots holds every such verdict, where a test asks for it, to the one that is come to by one set after the other, where that tells.
func inLots(r *running, narrow *verdict) {
	say := func(v *verdict) string {
		var out bytes.Buffer
		mine := *r
		mine.Out = &out
		if mine.Summarize == nil {
			mine.Summarize = func(differences []history.Difference, reasons []*schema.Reason, _ quantity.Prefs) (s Summary) {
				for _, d := range differences {
					s.Title += fmt.Sprint(d.ID, d.Before == nil, d.After == nil, len(d.Fields), d.NoteOnly, "\n")
				}
				for _, reason := range reasons {
					s.Body += reason.Text.V + "\n"
				}
				return s
			}
		}
		mine.Render = func(w io.Writer, f lint.Finding) {
			fmt.Fprintln(w, f.Path, f.Line, f.Column, f.Rule, f.Message, f.Help)
			if f.File != nil {
				fmt.Fprintf(w, "%s %x\n", f.File.Path, sha256.Sum256(f.File.Data))
			}
		}
		v.running = &mine
		defer func() { v.running = r }()
		fmt.Fprintln(&out, mine.show([]*verdict{v}), mine.summarize([]*verdict{v}))
		for _, f := range v.New().Findings {
			if f.Severity >= lint.Warning {
				fmt.Fprintln(&out, f.Path, f.Line, f.Column, f.Rule, f.Severity, f.Message, f.Help)
			}
		}
		for _, c := range v.Report.Changes {
			fmt.Fprintln(&out, c.ID, c.Status, c.Reasoned, c.Approved != nil)
		}
		return out.String()
	}
	again := running{Call: r.Call, act: r.act, repo: r.repo, store: newStore(r.repo), head: r.head, heads: r.heads, changes: r.changes, pushed: r.pushed}
	l := *narrow.library
	l.bearing, l.parents = nil, nil
	l.before, l.now = &tree{again.store, l.before.ids}, &tree{again.store, l.now.ids}
	if len(narrow.parents) > 0 || os.Getenv(CountLotsVariable) == "" {
		return
	}
	if err := again.store.fill(settings, l.before, l.now); err != nil {
		panic(err)
	}
	var err error
	if l.bearing, err = again.narrow(&l); err != nil {
		panic(err)
	}
	v, err := again.inLots(&l, narrow.Anchor, -1, 1)
	if err != nil {
		panic(err)
	}
	if v == nil {
		return
	}
	if got, want := say(v), say(narrow); got != want {
		panic("judged one set after the other:\n" + got + "\ntogether:\n" + want)
	}
	countIn(CountLotsVariable, "lots")
}

// CountLotsVariable names a file that gets a line for every verdict that one by lots was held to.
const CountLotsVariable = "FETTLE_TEST_COUNT_LOTS"

func pointers[T any](list []T) (out []*T) {
	for i := range list {
		out = append(out, &list[i])
	}
	return out
}
