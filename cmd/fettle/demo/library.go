package demo

import (
	"embed"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"

	"fettle/history"
	"fettle/schema"
)

//go:embed library
var libraryFiles embed.FS

// files is a library in memory, by path.
type files map[string][]byte

func (f files) Files() []string { return slices.Sorted(maps.Keys(f)) }

func (f files) Read(path string) ([]byte, error) {
	data, ok := f[path]
	if !ok {
		return nil, fmt.Errorf("%s: %w", path, fs.ErrNotExist)
	}
	return data, nil
}

// last are the embedded files: the library after the last event.
func last() (files, error) {
	out := files{}
	return out, fs.WalkDir(libraryFiles, "library", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := libraryFiles.ReadFile(path)
		out[strings.TrimPrefix(path, "library/")] = data
		return err
	})
}

// first are the files with every edit of the story taken back, latest first.
func (s *Story) first() (files, error) {
	f, err := last()
	if err != nil {
		return nil, err
	}
	if f[schema.RosterFile], f[schema.PeopleFile], err = s.rosters(); err != nil {
		return nil, err
	}
	for _, e := range slices.Backward(s.Events) {
		if e.Edits() {
			if f, _, _, err = f.edit(e.back()); err != nil {
				return nil, fmt.Errorf("event %d, taken back: %w", e.N, err)
			}
		}
	}
	return f, nil
}

// back is the event the other way round.
func (e *Event) back() *edit {
	out := e.edit()
	out.removes = len(e.New) > 0
	for i, c := range out.changes {
		out.changes[i] = Change{c.Field, c.To, c.From}
	}
	return out
}

func (e *Event) edit() *edit { return &edit{event: e, changes: slices.Clone(e.Changes)} }

// An edit is what an event does to the files.
type edit struct {
	event   *Event
	changes []Change
	removes bool // the condition that the event added
}

// setFile is where a condition stands.
func setFile(id schema.ID) string {
	return "sets/" + id.Machine + "/" + id.Material + "-" + id.Gas + ".json"
}

// around reads the library as far as one condition needs it: its set, and all that is no set. Reading everything for each event
// would take most of the time.
func (f files) around(id schema.ID) (*schema.Library, error) {
	part := files{}
	for path, data := range f {
		if !strings.HasPrefix(path, "sets/") || path == setFile(id) {
			part[path] = data
		}
	}
	return schema.ReadLibrary(part)
}

// edit carries an edit out and returns the files, and the library before and after as far as the edit touches it. It holds the
// outcome to the story: what differs are the values that the story tells, from and to the texts that it tells.
func (f files) edit(e *edit) (after files, was, is *schema.Library, err error) {
	id, err := schema.ParseID(e.event.ID)
	if err != nil {
		return nil, nil, nil, err
	}
	if was, err = f.around(id); err != nil {
		return nil, nil, nil, err
	}
	path := setFile(id)
	root, err := node(f[path])
	if err != nil {
		return nil, nil, nil, fmt.Errorf("%s: %w", path, err)
	}
	if err := e.apply(root.Get("conditions"), was.Recipe(id)); err != nil {
		return nil, nil, nil, err
	}
	after = maps.Clone(f)
	after[path] = schema.Layout(root)
	if is, err = after.around(id); err != nil {
		return nil, nil, nil, err
	}
	return after, was, is, e.hold(history.Compare(was, is))
}

func (e *edit) apply(list *schema.Node, recipe *schema.Recipe) error {
	switch {
	case e.removes && recipe != nil:
		list.Kids = slices.Delete(list.Kids, recipe.Index, recipe.Index+1)
		return nil
	case len(e.event.New) > 0 && recipe == nil:
		n, err := node(e.event.New)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(list.Kids, func(k *schema.Node) bool { return k.Str("thickness") == e.event.After })
		list.Kids = slices.Insert(list.Kids, i+1, n)
		return nil
	case recipe == nil || len(e.changes) == 0:
		return fmt.Errorf("%s cannot be edited so", e.event.ID)
	}
	for _, c := range e.changes {
		var value *schema.Node
		if c.To != "" {
			value = schema.Text(c.To)
		}
		if err := list.Kids[recipe.Index].SetPath(c.Field, value); err != nil {
			return err
		}
	}
	return nil
}

// hold compares what changed with what the story says.
func (e *edit) hold(found []history.Difference) error {
	if len(found) != 1 || found[0].ID.String() != e.event.ID {
		return fmt.Errorf("it changes %d conditions and should change %s", len(found), e.event.ID)
	}
	if len(e.event.New) > 0 {
		return nil
	}
	fields := found[0].Fields
	if len(fields) != len(e.changes) {
		return fmt.Errorf("it changes %d values and should change %d", len(fields), len(e.changes))
	}
	for _, c := range e.changes {
		if !slices.ContainsFunc(fields, func(f history.FieldChange) bool {
			return f.Path == c.Field && f.From.Text == c.From && f.To.Text == c.To
		}) {
			return fmt.Errorf("%s does not go from %q to %q", c.Field, c.From, c.To)
		}
	}
	return nil
}
