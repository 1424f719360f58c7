package hooks

import (
	"maps"
	"path"

	"fettle/history"
	"fettle/schema"
)

// quickly judges a push from what is remembered of the library as it stood before, as [running.quick] does for a commit: nil where
// anything speaks against the push, or is out of the ordinary. Then all of it is read.
//
// On a server the memory lies below the directory of the bare repository, where nobody writes who only pushes: whoever could alter it
// could replace the hook that calls the gate. It is of a state that a protected branch stood at, never of one that is only on its way in.
func (r *Ruling) quickly(running *running, root string, wait func() error) (*verdict, error) {
	anchor := func(there func(schema.Digest) bool) (string, error) {
		pins, err := r.gate.pins()
		if err != nil || len(pins) == 0 { // no adoption comes with the push, so the one that counted is the one that counts
			return "", err
		}
		return pinned(pins, there), nil
	}
	return running.quick(root, anchor, func(l *library) preparation {
		prepare := r.prepare(l)
		return func(c *Case, standing *history.Standing) error {
			if err := wait(); err != nil {
				return err
			}
			return prepare(c, standing)
		}
	})
}

// settingsFiles are the files with settings of one state of the repository, of all its libraries. To find them takes a look into every
// directory, so those of other states are found by what differs.
type settingsFiles struct {
	tree  string            // that names the state
	ids   map[string]string // of the contents, by path
	since int               // files that differ in a state that was asked for, as far as it matters
}

// settingsName is the file that remembers them, and settingsSeal how it begins.
const (
	settingsName = "gate-settings"
	settingsSeal = "fettle gate settings 1\n"
)

// settingsIn finds the files with settings of a commit.
func (g *Gate) settingsIn(commit string) (map[string]string, error) {
	tree, err := g.repo.Tree(commit)
	if err != nil {
		return nil, err
	}
	if known := g.settings; known != nil {
		if changes, err := g.repo.TreeDirChanges(known.tree, tree); err == nil {
			ids := maps.Clone(known.ids)
			for _, c := range changes {
				if path.Base(c.Path) == schema.SettingsFile {
					delete(ids, c.Path)
					if ordinary(c.NewMode) {
						ids[c.Path] = c.NewHash
					}
				}
			}
			known.since = max(known.since, len(changes))
			return ids, nil
		}
	}
	files, err := g.repo.TreeFiles(commit) // also where a state that is remembered is gone from the repository
	if err != nil {
		return nil, err
	}
	ids := map[string]string{}
	for _, f := range files {
		if path.Base(f.Path) == schema.SettingsFile && ordinary(f.Mode) {
			ids[f.Path] = f.Hash
		}
	}
	g.settings = &settingsFiles{tree, ids, 20 * fewRecords}
	return ids, nil
}

// recallSettings returns what is remembered, nil for nothing.
func (g *Gate) recallSettings() *settingsFiles {
	body, ok := g.repo.Recall(settingsName, settingsSeal)
	if !ok {
		return nil
	}
	in := &history.Decoder{Data: body}
	out := &settingsFiles{tree: in.Text(), ids: map[string]string{}}
	for n := in.Number(); n > 0 && !in.Bad; n-- {
		p := in.Text()
		out.ids[p] = in.Text()
	}
	if in.Bad {
		return nil
	}
	return out
}

// rememberSettings remembers those of a commit that a protected branch stood at, where much changed since the last time.
func (g *Gate) rememberSettings(commit string) {
	if commit == "" || g.settings == nil || g.settings.since < 20*fewRecords {
		return
	}
	tree, err := g.repo.Tree(commit)
	ids, wrong := g.settingsIn(commit)
	if err != nil || wrong != nil {
		return
	}
	out := &history.Encoder{}
	out.Text(tree)
	out.Number(len(ids))
	for p, id := range ids {
		out.Text(p)
		out.Text(id)
	}
	_ = g.repo.RememberSealed(settingsName, settingsSeal, out.Data) // what cannot be written costs time and nothing else
}
