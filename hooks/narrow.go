package hooks

import (
	"maps"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
)

// A narrowing says which sets bear on a commit or a push, so that no others need be read: those of every machine, material and gas of which
// a file comes out otherwise, that a record that comes along is about, or whose machine changes. All records are read in any case.
type narrowing struct {
	store    *store
	families map[family]bool
	machines map[string]bool
	of       map[string]family // what a content of a file says of all its conditions, by id

	borne     []borne // of each record that comes along, in the order of paths
	takesBack bool    // one of these takes back another
}

// narrow is nil where all sets bear on the commit: the settings change, or the library is new.
func (r *running) narrow(l *library) (*narrowing, error) {
	if settings := l.before.ids[schema.SettingsFile]; settings == "" || settings != l.now.ids[schema.SettingsFile] {
		return nil, nil
	}
	n := &narrowing{store: r.store, families: map[family]bool{}, machines: map[string]bool{}, of: map[string]family{}}
	if err := n.learn(l.before, l.now); err != nil {
		return nil, err
	}
	differ := map[string][]string{} // paths by id of the content
	for _, t := range []*tree{l.before, l.now} {
		for p, id := range t.ids {
			switch {
			case l.before.ids[p] == l.now.ids[p]:
			case isSet(p):
				n.families[n.of[id]] = true
			case t == l.now || !schema.IsRecordPath(p):
				differ[id] = append(differ[id], p)
			}
		}
	}
	ids := slices.Sorted(maps.Keys(differ))
	if err := r.store.repo.PastBlobs(ids, func(i int, data []byte) error { // of records on many conditions nothing is kept
		for _, p := range differ[ids[i]] {
			n.bears(p, data)
		}
		return nil
	}); err != nil {
		return nil, err
	}
	slices.SortFunc(n.borne, func(a, b borne) int { return strings.Compare(a.path, b.path) })
	return n, nil
}

// bears adds what a machine profile or a record bears on.
func (n *narrowing) bears(path string, data []byte) {
	if !schema.IsRecordPath(path) {
		if m, ok := schema.ReadFile(path, data).Value.(*schema.Machine); ok {
			n.machines[m.Name.V] = true
		}
		return
	}
	r := schema.ReadRecord(path, data)
	b := borne{path: path, families: map[family]bool{}, more: !history.Sound(r) || r.Path != r.WantPath()}
	if r.Body != nil {
		n.takesBack = n.takesBack || r.Kind == schema.KindWithdrawal
		keys := history.Subjects(r)
		b.more = b.more || len(keys) == 0
		for _, subject := range keys {
			id, err := schema.ParseID(subject.ID)
			if err != nil {
				b.more = true
			} else if !b.families[familyOf(id)] {
				f := familyOf(id.Apart())
				n.families[f], b.families[f] = true, true
			}
		}
	}
	n.borne = append(n.borne, b)
}

// learn finds out what the sets of some trees are of.
func (n *narrowing) learn(trees ...*tree) error {
	open := map[string]bool{}
	for _, t := range trees {
		for p, id := range t.ids {
			if _, known := n.of[id]; isSet(p) && !known {
				open[id] = true
			}
		}
	}
	// Not by their beginnings, which are not held against their ids: a verdict hangs on it.
	ids := slices.Sorted(maps.Keys(open))
	return n.store.repo.PastBlobs(ids, func(i int, data []byte) error {
		if n.of[ids[i]] = familyIn(data); data == nil {
			n.families[family{}] = true // it is too large to be read, which is found out where it is tried
		}
		return nil
	})
}

// only is a tree without the sets that do not bear on the commit, and without records; the receiver may be nil.
func (n *narrowing) only(t *tree) (*tree, error) {
	if n == nil {
		return withoutRecords(t), nil
	}
	if err := n.learn(t); err != nil {
		return nil, err
	}
	out := withoutRecords(t)
	maps.DeleteFunc(out.ids, func(p, id string) bool { return isSet(p) && !n.bearsOn(n.of[id]) })
	return out, nil
}

func (n *narrowing) bearsOn(of family) bool { return n.families[of] || n.machines[of.machine] }

// suffices reports whether what was found in a part of a library is what is found in all of it. Not where all conditions are judged since a
// file cannot be read whole, and that by settings in force which are others; nor where the names of families in the settings are looked up
// among those that there are, and these change.
func (n *narrowing) suffices(c *Case) bool {
	now := c.Now.Lib
	return (readable(c.Before.Lib, now) || InForce(c.standing, now) == nil) &&
		(now.Settings.Value == nil || len(now.Settings.Value.Trend) == 0 || slices.Equal(c.Before.Lib.FamilyNames(), now.FamilyNames()))
}

// onDisk is a snapshot of the work tree without the sets that do not bear on the commit.
func (n *narrowing) onDisk(disk schema.Snapshot) (schema.Snapshot, error) {
	if n == nil {
		return disk, nil
	}
	out := &someOf{Snapshot: disk}
	for _, p := range disk.Files() {
		if isSet(p) {
			of, known := n.of[disk.Hash(p)]
			if !known {
				data, err := disk.Read(p)
				if err != nil {
					return nil, err
				}
				of = familyIn(data)
			}
			if !n.bearsOn(of) {
				continue
			}
		}
		out.files = append(out.files, p)
	}
	return out, nil
}

// someOf is a snapshot of which only some files are looked at.
type someOf struct {
	schema.Snapshot
	files []string
}

func (s *someOf) Files() []string { return s.files }

func (s *someOf) ReadOnce(p string) ([]byte, error) {
	if snap, ok := s.Snapshot.(git.Snapshot); ok {
		return git.ReadOnce(snap, p)
	}
	return s.Read(p)
}
