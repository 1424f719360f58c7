package audit

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"strings"
	"unsafe"

	"fettle/history/git"
	"fettle/schema"
)

// A family is the machine, material and gas of a set: what all its conditions have in common.
type family struct{ machine, material, gas string }

// whole is the family, the zero family where a part is missing: it may be any.
func (f family) whole() family {
	if f.machine == "" || f.material == "" || f.gas == "" {
		return family{}
	}
	return f
}

// families know which family each version of a set is of, by the id of its content: what a content says never changes, so what was read
// once stays true whatever becomes of the history. They are kept in a file below the directory of git, which ends with a hash of itself
// and can be deleted at any time. Where it says nothing, the content is read.
type families struct {
	repo *git.Repo
	of   map[string]family
	late map[string]bool // those that do not say it at the beginning
	come int             // that were read since
}

func newFamilies(repo *git.Repo) *families {
	return &families{repo: repo, of: map[string]family{}, late: map[string]bool{}}
}

const (
	familiesFile = "families"
	mostFamilies = 1 << 20 // contents; more than are kept are forgotten all at once
	familyHead   = 256     // bytes, in which most files say it
	saidLate     = "late"
)

// recall reads what is kept, as far as it can be read.
func (f *families) recall() {
	body, ok := f.repo.Recall(familiesFile, sealOf(familiesFile))
	for ok && len(body) > 0 { // a family with its contents after one another
		head, rest, whole := bytes.Cut(body, []byte("\n"))
		parts := strings.Split(string(head), "\t")
		late := len(parts) == 4 && parts[3] == saidLate
		if !whole || len(parts) != 3 && !late || len(rest) < 5 {
			return
		}
		n, size := int(binary.LittleEndian.Uint32(rest)), int(rest[4])
		rest = rest[5:]
		if n*size > len(rest) {
			return
		}
		for i := range n {
			blob := hex.EncodeToString(rest[i*size : (i+1)*size])
			if f.of[blob] = (family{parts[0], parts[1], parts[2]}); late {
				f.late[blob] = true
			}
		}
		body = rest[n*size:]
	}
}

// keep writes down what was read. What cannot be written costs time and nothing else.
func (f *families) keep() {
	if f.come <= min(fewCommits, len(f.of)/2) || len(f.of) > mostFamilies {
		return
	}
	by := map[string][]byte{}
	size := 0
	for blob, of := range f.of {
		raw, err := hex.DecodeString(blob)
		if err != nil || strings.ContainsAny(of.machine+of.material+of.gas, "\t\n") {
			continue
		}
		size = len(raw)
		head := of.machine + "\t" + of.material + "\t" + of.gas
		if f.late[blob] {
			head += "\t" + saidLate
		}
		by[head] = append(by[head], raw...)
	}
	var body []byte
	for head, raw := range by {
		body = append(body, head+"\n"...)
		body = append(binary.LittleEndian.AppendUint32(body, uint32(len(raw)/size)), byte(size))
		body = append(body, raw...)
	}
	_ = f.repo.RememberSealed(familiesFile, sealOf(familiesFile), body)
}

// read makes sure that the families of these contents are known.
func (f *families) read(blobs []string) error {
	var missing []string
	for _, blob := range blobs {
		if _, ok := f.of[blob]; !ok && blob != "" {
			f.of[blob] = family{}
			missing = append(missing, blob)
		}
	}
	if len(missing) == 0 {
		return nil
	}
	f.come += len(missing)
	var long []string
	type begin struct {
		at  *byte
		len int
	}
	read := map[begin]family{} // many versions begin with the very same bytes
	if err := f.repo.PastHeads(missing, familyHead, func(i int, data []byte) error {
		at := begin{unsafe.SliceData(data), len(data)}
		of, known := read[at]
		if !known {
			of.machine, of.material, of.gas = schema.FamilyOf(data)
			read[at] = of
		}
		if of.machine == "" || of.material == "" || of.gas == "" {
			if f.late[missing[i]] = true; len(data) == familyHead {
				long = append(long, missing[i])
			}
		}
		f.of[missing[i]] = of.whole()
		return nil
	}); err != nil {
		return err
	}
	return f.repo.PastBlobs(long, func(i int, data []byte) error {
		machine, material, gas := schema.FamilyOf(data)
		f.of[long[i]] = family{machine, material, gas}.whole()
		return nil
	})
}

// A search is for the history of a few conditions: other sets than those that may hold them are not read.
type search struct {
	*families
	ids   map[schema.ID]bool
	names map[string]bool // the same as records write them
	wide  map[family]bool

	spoilt map[string]bool // files that could not be read at some time, and counted as they were before
}

func newSearch(repo *git.Repo, ids []schema.ID) *search {
	if len(ids) == 0 {
		return nil
	}
	s := &search{families: newFamilies(repo), ids: map[schema.ID]bool{}, names: map[string]bool{}, wide: map[family]bool{{}: true}, spoilt: map[string]bool{}}
	for _, id := range ids {
		s.ids[id], s.names[id.String()] = true, true
		s.wide[family{id.Machine, id.Material, id.Gas}] = true
	}
	return s
}

// wants reports whether a condition is looked for.
func (s *search) wants(id schema.ID) bool { return s == nil || s.ids[id] }

// about reports whether a topic is a condition that is looked for.
func (s *search) about(a topic) bool { return a.kind == schema.SubjectCondition && s.names[a.id] }

// bears reports whether a change of a set, with the path of the library, may be one of a condition that is looked for.
func (s *search) bears(change git.Change) bool {
	return s == nil || s.spoilt[change.Path] || change.OldHash != "" && s.wide[s.of[change.OldHash]] || change.NewHash != "" && s.wide[s.of[change.NewHash]]
}
