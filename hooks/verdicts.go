package hooks

import (
	"crypto/sha256"
	"slices"
	"sync"

	"fettle/history"
	"fettle/history/git"
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
	body, ok := s.Repo.Recall(git.ScratchName("verdicts", s.Root), verdictsMagic)
	if !ok {
		return v
	}
	in := &history.Decoder{Data: body}
	if in.Text() != s.stamp {
		return v
	}
	for n := in.Number(); n > 0 && !in.Bad; n-- {
		key := hashIn(in)
		v.parts[key] = in.Bytes()
	}
	for n := in.Number(); n > 0 && !in.Bad; n-- {
		key := hashIn(in)
		v.families[key] = family{in.Text(), in.Text(), in.Text()}
	}
	if in.Bad {
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
		if !x.recalled && !x.changed {
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
	w := &history.Encoder{}
	w.Text(s.stamp)
	w.Number(len(v.parts))
	for key, data := range v.parts {
		w.Data = append(w.Data, key[:]...)
		w.Bytes(data)
	}
	w.Number(len(v.families))
	for key, f := range v.families {
		w.Data = append(w.Data, key[:]...)
		w.Text(f.machine)
		w.Text(f.material)
		w.Text(f.gas)
	}
	_ = s.Repo.RememberSealed(git.ScratchName("verdicts", s.Root), verdictsMagic, w.Data) // what cannot be written costs time and nothing else
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
	return decodePart(data)
}

// grounds is what verdicts hang on beside the sets themselves, put into words once for all sections.
type grounds struct {
	common   []byte
	machines map[string]string // by name, on both sides and in force
}

func (s *Survey) grounds(sections []*section) grounds {
	w := &history.Encoder{}
	w.Text(s.stamp)
	for side := range s.ids {
		w.Text(s.ids[side].of(schema.SettingsFile))
	}
	if s.inTerm != nil && s.inTerm.Settings.Value != nil {
		w.Text(string(s.inTerm.Settings.Value.Digest()))
	}
	g := grounds{w.Data, map[string]string{}}
	for _, x := range sections {
		for _, name := range x.machines {
			if _, ok := g.machines[name]; !ok {
				g.machines[name] = s.ground(name)
			}
		}
	}
	return g
}

func (s *Survey) ground(machine string) string {
	w := &history.Encoder{}
	w.Texts([]string{machine, s.profile(0, machine), s.profile(1, machine)})
	if s.inTerm != nil {
		if m := s.inTerm.Machine(machine); m != nil {
			w.Text(string(m.Digest()))
		}
	}
	return string(w.Data)
}

// keyOf is the hash of all that the verdict on a section hangs on.
func (s *Survey) keyOf(x *section, g grounds) [32]byte {
	w := &history.Encoder{}
	w.Bytes(g.common)
	w.Number(len(x.machines))
	for _, name := range slices.Sorted(slices.Values(x.machines)) {
		w.Text(g.machines[name])
	}
	w.Texts(x.paths)
	for side := range x.ids {
		w.Texts(x.ids[side])
	}
	return sha256.Sum256(w.Data)
}

func encodePart(p *lint.Part) []byte {
	w := &history.Encoder{}
	w.Number(len(p.Conditions))
	for path, n := range p.Conditions {
		w.Text(path)
		w.Number(n)
	}
	w.Texts(p.Families)
	w.Texts(p.Stood)
	for _, list := range [][]lint.Sleep{p.Asleep, p.Slept} {
		w.Number(len(list))
		for _, a := range list {
			w.Text(a.Machine)
			w.Text(a.Member)
			w.Texts(a.Rules)
		}
	}
	w.Number(len(p.Findings))
	for i := range p.Findings {
		f := &p.Findings[i]
		old := 0
		if f.Old {
			old = 1
		}
		for _, n := range []int{int(f.Severity), f.Line, f.Column, f.Width, old} {
			w.Number(n)
		}
		w.Texts([]string{f.Rule, f.Path, f.ID, f.Field, f.Message, f.Help, string(f.Digest), f.Recipe.Machine, f.Recipe.Material, f.Recipe.Gas, f.Recipe.Thickness,
			f.Recipe.Variant, f.Recipe.Process})
	}
	return w.Data
}

func decodePart(data []byte) (lint.Part, bool) {
	in := &history.Decoder{Data: data}
	p := lint.Part{Conditions: map[string]int{}}
	for n := in.Number(); n > 0 && !in.Bad; n-- {
		path := in.Text()
		p.Conditions[path] = in.Number()
	}
	p.Families, p.Stood = in.Texts(), in.Texts()
	for _, list := range []*[]lint.Sleep{&p.Asleep, &p.Slept} {
		for n := in.Number(); n > 0 && !in.Bad; n-- {
			*list = append(*list, lint.Sleep{Machine: in.Text(), Member: in.Text(), Rules: in.Texts()})
		}
	}
	for n := in.Number(); n > 0 && !in.Bad; n-- {
		var f lint.PartFinding
		f.Severity, f.Line, f.Column, f.Width, f.Old = lint.Severity(in.Number()), in.Number(), in.Number(), in.Number(), in.Number() == 1
		t := in.Texts()
		if len(t) != 13 {
			return p, false
		}
		f.Rule, f.Path, f.ID, f.Field, f.Message, f.Help, f.Digest = t[0], t[1], t[2], t[3], t[4], t[5], schema.Digest(t[6])
		f.Recipe = schema.ID{Machine: t[7], Material: t[8], Gas: t[9], Thickness: t[10], Variant: t[11], Process: t[12]}
		p.Findings = append(p.Findings, f)
	}
	return p, !in.Bad && len(in.Data) == 0
}

// hashIn reads a hash, which stands without its length.
func hashIn(in *history.Decoder) (key [32]byte) {
	copy(key[:], in.Take(len(key)))
	return key
}
