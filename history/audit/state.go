package audit

import (
	"maps"
	"slices"
	"strings"

	"fettle/history/git"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A state says which version of each file of the library a commit holds. A file that cannot be read is held in its last version
// that could be.
type state struct {
	sets     map[string]string // path of the library → id of its content
	settings string            // id of the content of the settings, "" where there are none
	bad      map[string]bool   // files that are there and cannot be read
}

var nothing = &state{}

// before returns the state of one of the commits that this one builds upon, an empty one where there is none.
func (c *commit) before(i int) *state {
	if i < len(c.parents) {
		return c.parents[i].state
	}
	return nothing
}

// A walker goes through the history once, parents first.
type walker struct {
	*files
	root       string // with a final slash, or ""
	paths      map[schema.ID][]string
	versionsOf map[string]*other // versions of what is no set, by path and id of the content
	trail      *Trail
}

// isSet reports whether a file of the library lies where condition sets do.
func isSet(path string) bool {
	return strings.HasPrefix(path, "sets/") && strings.HasSuffix(path, ".json")
}

// step works out the state of a commit from those it builds upon, and gives the files that could not be read.
func (w *walker) step(c *commit) (unreadable []git.Change, err error) {
	first := c.before(0)
	if c.entry == nil {
		c.state = first
		return nil, nil
	}
	changed := w.relevant(c.entry.Changes[0])
	if len(changed) == 0 && (len(first.bad) == 0 || len(c.parents) < 2) {
		c.state = first
		return nil, nil
	}
	c.state = &state{sets: maps.Clone(first.sets), settings: first.settings, bad: maps.Clone(first.bad)}
	if c.state.sets == nil {
		c.state.sets = map[string]string{}
	}
	for path := range first.bad { // a merge may know an older version of it from another side
		w.keep(c, path)
	}
	for _, change := range changed {
		delete(c.state.bad, change.Path)
		ok, err := w.take(c, change)
		if err != nil {
			return nil, err
		}
		if !ok {
			unreadable = append(unreadable, change)
		}
	}
	return unreadable, nil
}

// ahead is for how many commits the sets are asked for at once: one question to git costs more than one set.
const ahead = 128

// readAhead reads the sets that the next commits brought.
func (w *walker) readAhead(commits []*commit) error {
	if s := w.trail.search; s != nil {
		var blobs []string
		for _, c := range commits {
			if c.entry == nil {
				continue
			}
			for _, changes := range c.entry.Changes {
				for _, change := range changes {
					if isSet(strings.TrimPrefix(change.Path, w.root)) {
						blobs = append(blobs, regularBlob(change.OldMode, change.OldHash), regularBlob(change.NewMode, change.NewHash))
					}
				}
			}
		}
		if err := s.read(blobs); err != nil {
			return err
		}
	}
	var versions []version
	for _, c := range commits {
		if c.entry == nil {
			continue
		}
		for _, change := range w.relevant(c.entry.Changes[0]) {
			if isSet(change.Path) && regular(change.NewMode) && len(versions) < keep {
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
		delete(c.state.sets, change.Path)
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
	if c.state.bad == nil {
		c.state.bad = map[string]bool{}
	}
	c.state.bad[change.Path] = true
	w.keep(c, change.Path)
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
	c.state.sets[path] = blob
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
		if c.state.sets[change.Path] != change.NewHash || change.NewHash == "" {
			continue
		}
		fresh := true
		for i := -1; i < len(c.parents) && fresh; i++ {
			blob := change.NewHash
			if i >= 0 {
				blob = c.before(i).sets[change.Path]
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
		if blob, ok := before.sets[path]; ok {
			c.state.sets[path] = blob
			return
		}
	}
}

// remember keeps where a condition ever stood: looking it up in a state asks no other file.
func (w *walker) remember(path string, s *set) {
	for _, id := range s.ids {
		at, there := slices.BinarySearch(w.paths[id], path)
		if !there {
			w.paths[id] = slices.Insert(w.paths[id], at, path)
		}
	}
}

// find returns a condition as a state holds it, nil where it does not. Of two with one id the one in the first file counts, as in
// every snapshot.
func (w *walker) find(s *state, id schema.ID) (*held, error) {
	for _, path := range w.paths[id] {
		blob, ok := s.sets[path]
		if !ok {
			continue
		}
		set, err := w.set(blob)
		if err != nil {
			return nil, err
		}
		if h := set.byID[id]; h != nil {
			return h, nil
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
	h, err := w.find(s, id)
	if err != nil || h == nil {
		return nil, err
	}
	v := h.recipe.Values()
	v.Composition, err = w.mix(s, id.Gas)
	return v, err
}
