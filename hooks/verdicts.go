package hooks

import (
	"crypto/sha256"
	"encoding/binary"
	"io"
	"os"
	"slices"
	"sync"

	"fettle/lint"
	"fettle/schema"
)

// verdicts remember what surveys found, in one file below the directory of git.
//
// A verdict is found by a hash of all that it hangs on: the program and the version of this form, the contents and places of the sets on
// both sides, the profiles of their machines, the settings, and what of these is in force. Records, the clock and the rules about changes
// are no part of it: sections that changed are never remembered. Thus an old verdict is never looked up, and need not be taken out.
//
// The file ends with a hash of itself, and one that does not fit, or is of another program, counts as none. It is put in place as a whole;
// of two surveys at once the later one counts. What the last survey did not ask for is dropped when the file has become large.
type verdicts struct {
	mu       sync.Mutex
	parts    map[[32]byte][]byte
	families map[[32]byte]family // by path and content of a set
	used     map[[32]byte]bool
	grown    bool
	off      bool
}

const (
	verdictsMagic = "fettle verdicts 1\n"
	mostVerdicts  = 16 << 20 // bytes of what is kept beyond the last survey
)

func readVerdicts(s *Survey) *verdicts {
	v := &verdicts{parts: map[[32]byte][]byte{}, families: map[[32]byte]family{}, used: map[[32]byte]bool{}, off: s.Forgetful}
	if v.off {
		return v
	}
	data, err := os.ReadFile(s.Repo.ScratchFile(memoryName("verdicts", s.Root)))
	if err != nil || len(data) < len(verdictsMagic)+sha256.Size || string(data[:len(verdictsMagic)]) != verdictsMagic {
		return v
	}
	body := data[len(verdictsMagic) : len(data)-sha256.Size]
	if sha256.Sum256(body) != [32]byte(data[len(data)-sha256.Size:]) {
		return v
	}
	in := &reader{data: body}
	if in.text() != s.stamp {
		return v
	}
	for n := in.number(); n > 0 && !in.bad; n-- {
		key := in.key()
		v.parts[key] = in.bytes()
	}
	for n := in.number(); n > 0 && !in.bad; n-- {
		key := in.key()
		v.families[key] = family{in.text(), in.text(), in.text()}
	}
	if in.bad {
		clear(v.parts)
		clear(v.families)
	}
	return v
}

// write keeps what the survey found.
func (v *verdicts) write(s *Survey, sections []*section) {
	if v.off {
		return
	}
	for _, x := range sections {
		if _, known := v.parts[x.key]; !known && !x.changed {
			v.parts[x.key], v.grown = encodePart(&x.part), true
		}
		v.used[x.key] = true
	}
	if !v.grown {
		return
	}
	others := 0
	for key, data := range v.parts {
		if !v.used[key] {
			if others += len(data) + len(key); others > mostVerdicts {
				delete(v.parts, key)
			}
		}
	}
	for key := range v.families {
		if !v.used[key] {
			if others += len(key) + 64; others > mostVerdicts {
				delete(v.families, key)
			}
		}
	}
	_ = s.Repo.Remember(memoryName("verdicts", s.Root), func(out io.Writer) error { // what cannot be written costs time and nothing else
		w := &writer{}
		w.text(s.stamp)
		w.number(len(v.parts))
		for key, data := range v.parts {
			w.data = append(w.data, key[:]...)
			w.bytes(data)
		}
		w.number(len(v.families))
		for key, f := range v.families {
			w.data = append(w.data, key[:]...)
			w.text(f.machine)
			w.text(f.material)
			w.text(f.gas)
		}
		sum := sha256.Sum256(w.data)
		_, err := out.Write(slices.Concat([]byte(verdictsMagic), w.data, sum[:]))
		return err
	})
}

func fileKey(path, id string) [32]byte { return sha256.Sum256([]byte(path + "\x00" + id)) }

// family is what the file of a set says it holds, where that is known.
func (v *verdicts) family(path, id string) (family, bool) {
	v.mu.Lock()
	defer v.mu.Unlock()
	key := fileKey(path, id)
	f, ok := v.families[key]
	v.used[key] = v.used[key] || ok
	return f, ok
}

func (v *verdicts) list(path, id string, f family) {
	v.mu.Lock()
	defer v.mu.Unlock()
	key := fileKey(path, id)
	v.families[key], v.used[key], v.grown = f, true, true
}

// part is what was found in a section.
func (v *verdicts) part(key [32]byte) (lint.Part, bool) {
	data, ok := v.parts[key]
	if !ok {
		return lint.Part{}, false
	}
	part, ok := decodePart(data)
	if !ok {
		delete(v.parts, key)
	}
	return part, ok
}

// keyOf is the hash of all that the verdict on a section hangs on.
func (s *Survey) keyOf(x *section) [32]byte {
	w := &writer{}
	w.text(s.stamp)
	for side := range s.ids {
		w.text(s.ids[side][schema.SettingsFile])
		w.number(len(x.machines))
		for _, name := range slices.Sorted(slices.Values(x.machines)) {
			w.text(name)
			w.text(s.profile(side, name))
		}
		w.number(len(x.paths))
		for _, p := range x.paths {
			w.text(p)
			w.text(s.ids[side][p])
		}
	}
	if s.inTerm != nil {
		if set := s.inTerm.Settings.Value; set != nil {
			w.text(string(set.Digest()))
		}
		for _, name := range slices.Sorted(slices.Values(x.machines)) {
			w.text(name)
			if m := s.inTerm.Machine(name); m != nil {
				w.text(string(m.Digest()))
			}
		}
	}
	return sha256.Sum256(w.data)
}

func encodePart(p *lint.Part) []byte {
	w := &writer{}
	w.number(len(p.Conditions))
	for path, n := range p.Conditions {
		w.text(path)
		w.number(n)
	}
	w.texts(p.Families)
	w.texts(p.Stood)
	for _, list := range [][]lint.Sleep{p.Asleep, p.Slept} {
		w.number(len(list))
		for _, a := range list {
			w.text(a.Machine)
			w.text(a.Member)
			w.texts(a.Rules)
		}
	}
	w.number(len(p.Findings))
	for i := range p.Findings {
		f := &p.Findings[i]
		old := 0
		if f.Old {
			old = 1
		}
		for _, n := range []int{int(f.Severity), f.Line, f.Column, f.Width, old} {
			w.number(n)
		}
		w.texts([]string{f.Rule, f.Path, f.ID, f.Field, f.Message, f.Help, string(f.Digest), f.Recipe.Machine, f.Recipe.Material, f.Recipe.Gas, f.Recipe.Thickness,
			f.Recipe.Variant, f.Recipe.Process})
	}
	return w.data
}

func decodePart(data []byte) (lint.Part, bool) {
	in := &reader{data: data}
	p := lint.Part{Conditions: map[string]int{}}
	for n := in.number(); n > 0 && !in.bad; n-- {
		path := in.text()
		p.Conditions[path] = in.number()
	}
	p.Families, p.Stood = in.texts(), in.texts()
	for _, list := range []*[]lint.Sleep{&p.Asleep, &p.Slept} {
		for n := in.number(); n > 0 && !in.bad; n-- {
			*list = append(*list, lint.Sleep{Machine: in.text(), Member: in.text(), Rules: in.texts()})
		}
	}
	for n := in.number(); n > 0 && !in.bad; n-- {
		var f lint.PartFinding
		f.Severity, f.Line, f.Column, f.Width, f.Old = lint.Severity(in.number()), in.number(), in.number(), in.number(), in.number() == 1
		t := in.texts()
		if len(t) != 13 {
			return p, false
		}
		f.Rule, f.Path, f.ID, f.Field, f.Message, f.Help, f.Digest = t[0], t[1], t[2], t[3], t[4], t[5], schema.Digest(t[6])
		f.Recipe = schema.ID{Machine: t[7], Material: t[8], Gas: t[9], Thickness: t[10], Variant: t[11], Process: t[12]}
		p.Findings = append(p.Findings, f)
	}
	return p, !in.bad && len(in.data) == 0
}

// A writer writes texts and numbers one after another, a reader reads them.
type writer struct{ data []byte }

func (w *writer) number(n int)   { w.data = binary.AppendUvarint(w.data, uint64(n)) }
func (w *writer) bytes(b []byte) { w.number(len(b)); w.data = append(w.data, b...) }
func (w *writer) text(s string)  { w.number(len(s)); w.data = append(w.data, s...) }
func (w *writer) texts(list []string) {
	w.number(len(list))
	for _, s := range list {
		w.text(s)
	}
}

type reader struct {
	data []byte
	bad  bool
}

func (r *reader) number() int {
	n, size := binary.Uvarint(r.data)
	if size <= 0 || n > 1<<31 {
		r.bad, r.data = true, nil
		return 0
	}
	r.data = r.data[size:]
	return int(n)
}

func (r *reader) bytes() []byte {
	n := r.number()
	if n > len(r.data) {
		r.bad, r.data = true, nil
		return nil
	}
	out := r.data[:n:n]
	r.data = r.data[n:]
	return out
}

func (r *reader) text() string { return string(r.bytes()) }

func (r *reader) texts() []string {
	var out []string
	for n := r.number(); n > 0 && !r.bad; n-- {
		out = append(out, r.text())
	}
	return out
}

func (r *reader) key() (key [32]byte) {
	if len(r.data) < len(key) {
		r.bad, r.data = true, nil
		return key
	}
	r.data = r.data[copy(key[:], r.data):]
	return key
}
