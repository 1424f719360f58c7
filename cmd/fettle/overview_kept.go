package main

import (
	"slices"
	"time"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
)

// Where every condition stands is remembered in one file below the directory of git, for the next command.
//
// It is sealed by a hash of itself and by the program that wrote it: one that is damaged, cut or of another program counts as none. It is put
// in place as a whole; of two commands at once the later one counts. It says what it is of: the contents of every set, saved and on disk, the
// directory of records, the settings, machines and rosters, the pinned adoption and the history. A section of which anything is another is
// worked out again, so an old file, or one of another clone, costs time and nothing else.

const (
	overviewMagic = "fettle overview 2\n"
	mostOverview  = 64 << 20 // bytes; a larger one is not remembered
)

func (s *shop) overviewFile() (name, seal string) {
	return git.ScratchName("overview", s.sub), overviewMagic + history.IndexStamp() + "\n"
}

// standings are all statuses; a file names them by where they stand here.
var standings = []history.Status{"", history.Approved, history.Changed, history.New, history.Removed, history.Rejected, history.Stale, history.Contested, history.Superseded}

// What a row and a section say of themselves beside texts.
const (
	rowSaved = 1 << iota
	rowOnDisk
	rowUnexplained
	rowWords // it has others than the row before
	rowKind  // it has a variant or a process
)

// keepOverview remembers an overview. What cannot be written costs time and nothing else.
func (s *shop) keepOverview(t *overview) {
	w := &history.Encoder{}
	w.Texts([]string{t.beside, t.records, t.anchor, t.past})
	w.Number(len(t.order))
	for _, set := range t.order {
		x := t.sets[set]
		w.Texts(set[:])
		w.Text(x.contents)
		w.Texts(x.past)
		w.Number(len(x.rows))
		words := ""
		for i := range x.rows {
			r := &x.rows[i]
			flags := 0
			mark := func(flag int, on bool) {
				if on {
					flags |= flag
				}
			}
			mark(rowSaved, r.saved)
			mark(rowOnDisk, r.onDisk)
			mark(rowUnexplained, r.unexplained)
			mark(rowWords, r.words != words)
			mark(rowKind, r.id.Variant+r.id.Process != "")
			w.Number(flags)
			w.Number(slices.Index(standings, r.status))
			w.Text(r.id.Thickness)
			if flags&rowKind != 0 {
				w.Text(r.id.Variant)
				w.Text(r.id.Process)
			}
			if flags&rowWords != 0 {
				w.Text(r.words)
				words = r.words
			}
		}
		w.Number(len(x.codes))
		for _, bits := range x.codes { // of 40 bits, see cardCode
			w.Number(int(bits >> 20))
			w.Number(int(bits & (1<<20 - 1)))
		}
		w.Number(len(x.ends))
		for _, end := range x.ends {
			w.Text(end.Format(time.RFC3339))
		}
	}
	if len(w.Data) <= mostOverview {
		name, seal := s.overviewFile()
		_ = s.repo.RememberSealed(name, seal, w.Data)
	}
}

// recallOverview is the overview that was remembered last, nil where there is none.
func (s *shop) recallOverview() *overview {
	name, seal := s.overviewFile()
	body, ok := s.repo.Recall(name, seal)
	if !ok {
		return nil
	}
	in := &history.Decoder{Data: body}
	head := in.Texts()
	if len(head) != 4 {
		return nil
	}
	t := &overview{beside: head[0], records: head[1], anchor: head[2], past: head[3], sets: map[[3]string]*section{}}
	seen := map[string]string{} // most texts stand there many times
	text := func() string {
		raw := in.Bytes()
		known, ok := seen[string(raw)]
		if !ok {
			known = string(raw)
			seen[known] = known
		}
		return known
	}
	for n := in.Number(); n > 0 && !in.Bad; n-- {
		if in.Number() != 3 {
			return nil
		}
		set := [3]string{text(), text(), text()}
		x := &section{contents: in.Text(), past: in.Texts()}
		words := ""
		for n := in.Number(); n > 0 && !in.Bad; n-- {
			flags, status := in.Number(), in.Number()
			if status >= len(standings) {
				return nil
			}
			r := row{id: schema.ID{Machine: set[0], Material: set[1], Gas: set[2], Thickness: text()}, status: standings[status],
				saved: flags&rowSaved != 0, onDisk: flags&rowOnDisk != 0, unexplained: flags&rowUnexplained != 0}
			if flags&rowKind != 0 {
				r.id.Variant, r.id.Process = text(), text()
			}
			if flags&rowWords != 0 {
				words = text()
			}
			r.words = words
			x.rows = append(x.rows, r)
		}
		for n := in.Number(); n > 0 && !in.Bad; n-- {
			x.codes = append(x.codes, uint64(in.Number())<<20|uint64(in.Number()))
		}
		for n := in.Number(); n > 0 && !in.Bad; n-- {
			end, err := time.Parse(time.RFC3339, in.Text())
			if err != nil {
				return nil
			}
			x.ends = append(x.ends, end)
		}
		t.sets[set] = x
		t.order = append(t.order, set)
	}
	if in.Bad || len(in.Data) > 0 || len(t.sets) != len(t.order) {
		return nil
	}
	return t
}
