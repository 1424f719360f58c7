package audit

import (
	"iter"
	"maps"
	"slices"
	"strings"
	"weak"

	"fettle/history/git"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A state says which version of each file of the library a commit holds. A file that cannot be read is held in its last version
// that could be.
type state struct {
	sets     shelf           // by path of the library
	settings string          // id of the content of the settings, "" where there are none
	bad      map[string]bool // files that are there and cannot be read
}

// A shelf is the ids of contents by path. Most commits change one of many, so shelves share what they do not differ in.
type shelf struct {
	base map[string]string // shared, never changed
	over map[string]string // where it differs from that; "" is not there
}

func (s shelf) at(path string) string {
	if blob, ok := s.over[path]; ok {
		return blob
	}
	return s.base[path]
}

// another is a shelf with the same contents that can be changed.
func (s shelf) another() shelf {
	const many = 32
	if len(s.over) < many {
		out := shelf{s.base, make(map[string]string, len(s.over)+1)}
		maps.Copy(out.over, s.over)
		return out
	}
	out := shelf{make(map[string]string, len(s.base)), map[string]string{}}
	for path, blob := range s.all() {
		out.base[path] = blob
	}
	return out
}

func (s shelf) put(path, blob string) { s.over[path] = blob }

func (s shelf) all() iter.Seq2[string, string] {
	return func(yield func(path, blob string) bool) {
		for path, blob := range s.base {
			if _, other := s.over[path]; !other && !yield(path, blob) {
				return
			}
		}
		for path, blob := range s.over {
			if blob != "" && !yield(path, blob) {
				return
			}
		}
	}
}

// An edit is what a commit made of one file of the state that it builds upon first.
type edit struct {
	path, blob string // "" where it is gone
	bad        bool
}

// with is the state after some edits.
func (s *state) with(edits []edit) *state {
	if len(edits) == 0 {
		return s
	}
	out := &state{sets: s.sets.another(), settings: s.settings, bad: maps.Clone(s.bad)}
	for _, e := range edits {
		if e.path == schema.SettingsFile {
			out.settings = e.blob
		} else {
			out.sets.put(e.path, e.blob)
		}
		out.mark(e.path, e.bad)
	}
	return out
}

// mark notes whether a file cannot be read.
func (s *state) mark(path string, bad bool) {
	if !bad {
		delete(s.bad, path)
		return
	}
	if s.bad == nil {
		s.bad = map[string]bool{}
	}
	s.bad[path] = true
}

// holds is the content that a state holds of a file, "" for none.
func (s *state) holds(path string) string {
	if path == schema.SettingsFile {
		return s.settings
	}
	return s.sets.at(path)
}

var nothing = &state{}

// before returns the state of one of the commits that a commit builds upon, an empty one where there is none.
func (c *commit) before(i int) *state {
	if i < len(c.parents) {
		return c.parents[i].held()
	}
	return nothing
}

// held is the state of a commit. Of one whose changes were kept it is worked out from those.
func (c *commit) held() *state {
	var way []*commit
	from := nothing
	for at := c; ; at = at.parents[0] {
		if at.state != nil {
			from = at.state
			break
		}
		if way = append(way, at); len(at.parents) == 0 {
			break
		}
	}
	var edits []edit
	for _, at := range slices.Backward(way) {
		edits = append(edits, at.edits...)
	}
	c.state = from.with(edits)
	return c.state
}

// A walker goes through the history once, parents first.
type walker struct {
	*files
	root       string // with a final slash, or ""
	paths      whereabouts
	remembered map[string]weak.Pointer[schema.ID] // by path, the first of the ids that were remembered last, which is not held for that
	versionsOf map[string]*other                  // versions of what is no set, by path and id of the content
	trail      *Trail
}

// isSet reports whether a file of the library lies where condition sets do.
func isSet(path string) bool {
	return strings.HasPrefix(path, "sets/") && strings.HasSuffix(path, ".json")
}

// step works out the state of a commit from those it builds upon, and gives the files that could not be read.
func (w *walker) step(c *commit) (unreadable []git.Change, err error) {
	first := c.before(0)
	c.state = first
	if c.entry == nil {
		return nil, nil
	}
	changed := w.relevant(c.entry.Changes[0])
	if len(changed) == 0 && (len(first.bad) == 0 || len(c.parents) < 2) {
		return nil, nil
	}
	c.state = &state{sets: first.sets.another(), settings: first.settings, bad: maps.Clone(first.bad)}
	for path := range first.bad { // a merge may know an older version of it from another side
		w.keep(c, path)
	}
	for _, change := range changed {
		c.state.mark(change.Path, false)
		ok, err := w.take(c, change)
		if err != nil {
			return nil, err
		}
		if !ok {
			unreadable = append(unreadable, change)
		}
	}
	for path := range first.bad {
		changed = append(changed, git.Change{Path: path})
	}
	for _, change := range changed {
		c.edits = append(c.edits, edit{change.Path, c.state.holds(change.Path), c.state.bad[change.Path]})
	}
	return unreadable, nil
}

// ahead is for how many commits the sets are asked for at once: one question to git costs more than one set.
const ahead = 128

// setsOf are the contents of sets that some commits changed, before and after; some are "".
func setsOf(commits []*commit, root string) (blobs []string) {
	if root != "" {
		root = strings.Trim(root, "/") + "/"
	}
	for _, c := range commits {
		if c.entry == nil {
			continue
		}
		for _, changes := range c.entry.Changes {
			for _, change := range changes {
				if isSet(strings.TrimPrefix(change.Path, root)) {
					blobs = append(blobs, regularBlob(change.OldMode, change.OldHash), regularBlob(change.NewMode, change.NewHash))
				}
			}
		}
	}
	return blobs
}

// readAhead reads the sets that the next commits brought.
func (w *walker) readAhead(commits []*commit) error {
	var versions []version
	for _, c := range commits {
		if c.entry == nil {
			continue
		}
		for _, change := range w.relevant(c.entry.Changes[0]) {
			if isSet(change.Path) && regular(change.NewMode) && len(versions) < keepAhead {
				versions = append(versions, version{change.NewHash, change.OldHash})
			}
		}
	}
	return w.read(versions)
}

// regularBlob is the content of an ordinary file, "" of anything else.
func regularBlob(mode, hash string) string {
	if regular(mode) {
		return hash
	}
	return ""
}

// relevant are the changes of sets and settings, with paths of the library.
func (w *walker) relevant(changes []git.Change) []git.Change {
	var out []git.Change
	for _, change := range changes {
		change.Path = strings.TrimPrefix(change.Path, w.root)
		if change.OldHash != change.NewHash && (isSet(change.Path) && w.trail.search.bears(change) || change.Path == schema.SettingsFile) {
			out = append(out, change)
		}
	}
	return out
}

func regular(mode string) bool { return mode == git.ModeFile || mode == git.ModeExecutable }

// take enters one changed file into the state of its commit. It is false where the file cannot be read.
func (w *walker) take(c *commit, change git.Change) (bool, error) {
	settings := change.Path == schema.SettingsFile
	if settings {
		c.state.settings = ""
	} else {
		c.state.sets.put(change.Path, "")
	}
	if change.NewHash == "" {
		return true, nil
	}
	if regular(change.NewMode) {
		ok, err := w.enter(c, change.Path, change.NewHash)
		if ok || err != nil {
			return ok, err
		}
	}
	c.state.mark(change.Path, true)
	w.keep(c, change.Path)
	if s := w.trail.search; s != nil {
		s.spoilt[change.Path] = true
	}
	return false, nil
}

// enter puts a version of a file into the state of a commit, if it can be read.
func (w *walker) enter(c *commit, path, blob string) (bool, error) {
	if path == schema.SettingsFile {
		m, err := w.gases(blob)
		if m != nil {
			c.state.settings = blob
		}
		return m != nil, err
	}
	s, err := w.set(blob)
	if s == nil {
		return false, err
	}
	c.state.sets.put(path, blob)
	w.remember(path, s)
	return true, nil
}

// partlyRead tells the sets of a commit in which more is written than could be read, where none of the commits before had that. What
// the rest says is no value of a condition, and yet another program may have cut with it.
func (w *walker) partlyRead(c *commit) error {
	if c.entry == nil {
		return nil
	}
	for _, change := range w.relevant(c.entry.Changes[0]) {
		if c.state.sets.at(change.Path) != change.NewHash || change.NewHash == "" {
			continue
		}
		fresh := true
		for i := -1; i < len(c.parents) && fresh; i++ {
			blob := change.NewHash
			if i >= 0 {
				blob = c.before(i).sets.at(change.Path)
			}
			if blob == "" {
				continue
			}
			s, err := w.set(blob)
			if err != nil {
				return err
			}
			fresh = s.hides == (i < 0)
		}
		if fresh {
			e := w.trail.entry(c, PartlyRead)
			e.Path = change.Path
			w.trail.add(c, e)
		}
	}
	return nil
}

// keep gives a file that cannot be read what the first of the commits before holds in its place.
func (w *walker) keep(c *commit, path string) {
	for i := range c.parents {
		before := c.before(i)
		if path == schema.SettingsFile && before.settings != "" {
			c.state.settings = before.settings
			return
		}
		if blob := before.sets.at(path); blob != "" {
			c.state.sets.put(path, blob)
			return
		}
	}
}

// whereabouts say in which files each condition ever stood, by its id in words, which takes a third of the room of an id. Several files stand
// in order, with a byte between them that no path holds.
type whereabouts map[string]string

const betweenPaths = "\x00"

func (p whereabouts) add(name, path string) {
	known := p[name]
	if known == "" {
		p[name] = path
		return
	}
	paths := strings.Split(known, betweenPaths)
	if at, there := slices.BinarySearch(paths, path); !there {
		p[name] = strings.Join(slices.Insert(paths, at, path), betweenPaths)
	}
}

// of are the files that a condition ever stood in.
func (p whereabouts) of(id schema.ID) iter.Seq[string] {
	known := p[id.String()]
	if known == "" {
		return func(func(string) bool) {}
	}
	return strings.SplitSeq(known, betweenPaths)
}

// several reports whether a condition stood in more than one file.
func (p whereabouts) several(id schema.ID) bool {
	return strings.Contains(p[id.String()], betweenPaths)
}

// remember keeps where a condition ever stood: looking it up in a state asks no other file.
func (w *walker) remember(path string, s *set) {
	if len(s.ids) == 0 {
		return
	}
	first := weak.Make(&s.ids[0])
	if w.remembered[path] == first { // as most versions of a file
		return
	}
	w.remembered[path] = first
	for _, id := range s.ids {
		w.paths.add(id.String(), path)
	}
}

// find returns the set that a state holds a condition in, nil where it does not. Of two with one id the one in the first file counts, as in
// every snapshot.
func (w *walker) find(s *state, id schema.ID) (*set, error) {
	for path := range w.paths.of(id) {
		blob := s.sets.at(path)
		if blob == "" {
			continue
		}
		set, err := w.set(blob)
		if err != nil {
			return nil, err
		}
		if set.has(id) {
			return set, nil
		}
	}
	return nil, nil
}

// mix returns what a gas of the shop's own consists of in a state; nil for others.
func (w *walker) mix(s *state, gas string) (schema.Table[quantity.Ratio], error) {
	if s.settings == "" {
		return nil, nil
	}
	m, err := w.gases(s.settings)
	if err != nil || m == nil {
		return nil, err
	}
	mix, _ := m.Get(gas)
	return mix, nil
}

// values returns all that makes up a condition in a state, nil where the state does not hold it.
func (w *walker) values(s *state, id schema.ID) (*schema.Values, error) {
	in, err := w.find(s, id)
	if err != nil || in == nil {
		return nil, err
	}
	v := w.recipe(in, id).Values()
	v.Composition, err = w.mix(s, id.Gas)
	return v, err
}
