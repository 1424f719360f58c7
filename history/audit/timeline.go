package audit

import (
	"maps"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
	"fettle/schema/quantity"
)

// What a commit made of conditions hangs on it and on what lies behind it, and on nothing else. So it is kept, and stays true for every
// commit that is there again; only those that came since are looked at. Of records, machines, settings and rosters nothing is kept here:
// those are few.
//
// A kept is what the walk made of one commit.
type kept struct {
	edits []edit
	told  []told // those that a merge threw away at the end
	files []fileTold
}

// A fileTold is a file that could not be read, or not whole.
type fileTold struct{ kind, path string }

const (
	timelineFile  = "timeline"
	mostTimelines = 40 // files: that of all conditions, and those of the ones that were asked for last
)

func timelineName(root, scope string) string { return git.ScratchName(timelineFile, root+"\n"+scope) }

// scope names what is looked for, "" for everything.
func (s *search) scope() string {
	if s == nil {
		return ""
	}
	return strings.Join(slices.Sorted(maps.Keys(s.names)), "\n")
}

// tips are the commits that no other of them builds upon: they lead to all.
func tips(commits []*commit) (hashes []string) {
	below := make([]bool, len(commits))
	for _, c := range commits {
		for _, p := range c.parents {
			below[p.pos] = true
		}
	}
	for i, c := range commits {
		if !below[i] {
			hashes = append(hashes, c.hash)
		}
	}
	return hashes
}

// keepTimeline writes down what was told. What cannot be written costs time and nothing else.
func (w *walker) keepTimeline() {
	t, scope := w.trail, w.trail.search.scope()
	words, ids, digests, table, body := &numbered{}, &numbered{}, &numbered{}, &history.Encoder{}, &history.Encoder{}
	ids.number("")
	digests.number("")
	fields := map[*schema.Field]int{nil: 0}
	entries, good := 0, true
	field := func(f *schema.Field) {
		n, known := fields[f]
		if !known {
			n = len(fields)
			fields[f] = n
			table.Number(words.number(f.Path))
			table.Text(f.Text)
			table.Number(int(f.Quantity.Dimension()))
			table.Number(flag(f.Note))
			again, err := readQuantity(f.Quantity.Dimension(), f.Text)
			good = good && err == nil && again.Equal(f.Quantity)
		}
		body.Number(n)
	}
	for _, c := range t.commits {
		var groups [][]told
		var files []fileTold
		for list := t.told[c.told[0]:c.told[1]]; len(list) > 0; {
			n := 1
			if m := list[0].move; m != nil {
				for n < len(list) && list[n].move == m {
					n++
				}
				groups = append(groups, list[:n])
			} else if o := list[0].entry(); (o.Kind == Unreadable || o.Kind == PartlyRead) && (isSet(o.Path) || o.Path == schema.SettingsFile) {
				files = append(files, fileTold{o.Kind, o.Path})
			}
			list = list[n:]
		}
		if len(groups)+len(files)+len(c.edits) == 0 {
			continue
		}
		body.Number(ids.number(c.hash))
		body.Number(len(c.edits))
		for _, e := range c.edits {
			body.Number(words.number(e.path))
			body.Number(ids.number(e.blob))
			body.Number(flag(e.bad))
		}
		body.Number(len(files))
		for _, f := range files {
			body.Number(words.number(f.kind))
			body.Number(words.number(f.path))
		}
		body.Number(len(groups))
		for _, group := range groups {
			m := group[0].move
			body.Number(words.number(m.kind))
			body.Number(words.number(m.id))
			gone, mixed := m.gone()
			for _, id := range []string{m.blob, m.settings, gone, mixed} {
				body.Number(ids.number(id))
			}
			body.Number(digests.number(string(m.from)))
			body.Number(digests.number(string(m.to)))
			body.Number(len(m.starts()))
			for _, d := range m.starts() {
				body.Number(digests.number(string(d)))
			}
			if entries += len(group); group[0].whole() {
				body.Number(0)
				continue
			}
			body.Number(len(group))
			for _, e := range group {
				field(e.from)
				field(e.to)
				body.Number(len(e.others()))
				for _, f := range e.others() {
					field(t.field(f))
				}
			}
		}
	}
	places, out := &history.Encoder{}, &history.Encoder{}
	for name, paths := range w.paths {
		places.Text(name)
		places.Texts(strings.Split(paths, betweenPaths))
	}
	out.Text(w.root)
	out.Text(scope)
	out.Texts(tips(t.commits))
	out.Bytes(places.Data)
	out.Texts(words.list)
	ids.encodeIDs(out)
	digests.encodeIDs(out)
	out.Number(entries)
	out.Number(len(fields) - 1)
	if out.Data = slices.Concat(out.Data, table.Data, body.Data); !good || len(out.Data) > mostKept {
		return
	}
	if w.repo.RememberSealed(timelineName(w.root, scope), sealOf(timelineFile), out.Data) == nil {
		w.repo.Sweep(timelineFile+"-", mostTimelines, mostTimelines*mostKept)
	}
}

// recallTimeline gives the commits what is kept of them, and says which of all it covers; none where nothing is kept, or of another
// history. What is kept of all conditions serves for a few as well.
func (w *walker) recallTimeline() (covered []bool) {
	if covered = w.recallScope(w.trail.search.scope()); covered == nil && w.trail.search != nil {
		covered = w.recallScope("")
	}
	return covered
}

func (w *walker) recallScope(scope string) (covered []bool) {
	t := w.trail
	data, ok := w.repo.Recall(timelineName(w.root, scope), sealOf(timelineFile))
	if !ok {
		return nil
	}
	in := &history.Decoder{Data: data}
	if in.Text() != w.root || in.Text() != scope {
		return nil
	}
	if covered = leadTo(t.commits, in.Texts()); covered == nil {
		return nil
	}
	more := slices.Contains(covered, false)
	words, ids, digests := &numbered{}, &numbered{}, &numbered{}
	places := in.Bytes()
	words.list = in.Texts()
	ids.decodeIDs(in)
	digests.decodeIDs(in)
	entries := make([]told, 0, min(in.Number(), len(in.Data)))
	fields := make([]schema.Field, min(in.Number(), len(in.Data)))
	for i := range fields {
		f := schema.Field{Path: words.text(in), Text: in.Text(), At: schema.Made}
		q, err := readQuantity(quantity.Dimension(in.Number()), f.Text)
		f.Quantity, f.Note = q, in.Number() == 1
		if fields[i] = f; err != nil || in.Bad {
			return nil
		}
		if more {
			t.fields[f] = &fields[i]
		}
	}
	field := func() *schema.Field {
		switch n := in.Number(); {
		case n > len(fields):
			in.Bad = true
			return nil
		case n > 0:
			return &fields[n-1]
		}
		return nil
	}
	var moves []move // many at a time
	all := make([]*kept, len(t.commits))
	for at := 0; len(in.Data) > 0 && !in.Bad; at++ {
		hash := ids.text(in)
		for at < len(all) && (!covered[at] || t.commits[at].hash != hash) {
			at++
		}
		if at == len(all) {
			return nil
		}
		k := &kept{}
		all[at] = k
		for n := in.Number(); n > 0 && !in.Bad; n-- {
			e := edit{words.text(in), ids.text(in), in.Number() == 1}
			k.edits = append(k.edits, e)
			if e.bad && t.search != nil {
				t.search.spoilt[e.path] = true
			}
		}
		for n := in.Number(); n > 0 && !in.Bad; n-- {
			k.files = append(k.files, fileTold{words.text(in), words.text(in)})
		}
		first := len(entries)
		for n := in.Number(); n > 0 && !in.Bad; n-- {
			if len(moves) == cap(moves) {
				moves = make([]move, 0, 256)
			}
			moves = append(moves, move{commit: t.commits[at], kind: words.text(in), id: words.text(in), blob: ids.text(in), settings: ids.text(in)})
			m, from, rare := &moves[len(moves)-1], len(entries), rarely{gone: ids.text(in), mixed: ids.text(in)}
			m.from, m.to = schema.Digest(digests.text(in)), schema.Digest(digests.text(in))
			for n := in.Number(); n > 0 && !in.Bad; n-- {
				d := schema.Digest(digests.text(in))
				if n == 1 && rare.starts == nil && d == m.from {
					continue // as of every move but those of merges
				}
				rare.starts = append(rare.starts, d)
			}
			if rare.gone+rare.mixed != "" || rare.starts != nil {
				m.rare = &rare
			}
			count := in.Number()
			if count == 0 {
				if entries = append(entries, told{move: m}); (m.kind != New || m.blob == "") && (m.kind != Removed || rare.gone == "") {
					return nil
				}
			}
			for n := count; n > 0 && !in.Bad; n-- {
				e := told{move: m, from: field(), to: field()}
				if e.from == nil && e.to == nil {
					return nil
				}
				if n := in.Number(); n > 0 {
					e.rest = &rest{}
					for ; n > 0 && !in.Bad; n-- {
						e.rest.others = append(e.rest.others, of(field()))
					}
				}
				entries = append(entries, e)
			}
			if t.search != nil && !t.search.names[m.id] {
				moves, entries = moves[:len(moves)-1], entries[:from]
			}
		}
		k.told = entries[first:len(entries):len(entries)]
	}
	if in.Bad {
		return nil
	}
	if more && !w.readPlaces(places) {
		return nil
	}
	for i, k := range all {
		if k != nil {
			t.commits[i].kept, t.commits[i].edits = k, k.edits
		}
	}
	t.told = make([]told, 0, len(entries)+len(t.commits)/4)
	return covered
}

// readPlaces reads where each condition ever stood, which only who looks at a commit needs.
func (w *walker) readPlaces(data []byte) bool {
	in := &history.Decoder{Data: data}
	for len(in.Data) > 0 {
		name := in.Text()
		if _, err := schema.ParseID(name); err != nil {
			return false
		}
		w.paths[name] = strings.Join(in.Texts(), betweenPaths)
	}
	return !in.Bad
}

// leadTo says which of the commits lead to the given ones; nil where one of those is not there.
func leadTo(commits []*commit, tips []string) []bool {
	covered := make([]bool, len(commits))
	found := 0
	for _, c := range slices.Backward(commits) {
		if slices.Contains(tips, c.hash) {
			covered[c.pos] = true
			found++
		}
		if covered[c.pos] {
			for _, p := range c.parents {
				covered[p.pos] = true
			}
		}
	}
	if found < len(tips) || found == 0 {
		return nil
	}
	return covered
}

// readQuantity reads a value as it stands in a file; without a dimension it is none.
func readQuantity(d quantity.Dimension, text string) (quantity.Value, error) {
	if d == quantity.DimNone {
		return quantity.Value{}, nil
	}
	return quantity.Parse(d, text)
}

func flag(on bool) int {
	if on {
		return 1
	}
	return 0
}
