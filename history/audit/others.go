package audit

import (
	"maps"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/history/signature"
	"fettle/schema"
)

// An other is what one version of a file holds that is no condition set: a machine profile, the settings, a roster.
type other struct {
	subject, id string
	digest      schema.Digest
	fields      []schema.Field
}

// isOther reports whether a file of the library holds such a thing.
func isOther(path string) bool {
	return strings.HasPrefix(path, "machines/") && strings.HasSuffix(path, ".json") || path == schema.SettingsFile || path == schema.RosterFile || path == schema.PeopleFile
}

// others tells what a commit changed of machines, settings and rosters: values that none of the commits before has.
func (w *walker) others(c *commit) error {
	before := func(i int) map[string]string {
		if i < len(c.parents) {
			return c.parents[i].others
		}
		return nil
	}
	c.others = before(0)
	if c.entry == nil || w.trail.search != nil { // a search is for conditions
		return nil
	}
	var changed []git.Change
	for _, change := range c.entry.Changes[0] {
		if change.Path = strings.TrimPrefix(change.Path, w.root); isOther(change.Path) && change.OldHash != change.NewHash {
			changed = append(changed, change)
		}
	}
	if len(changed) == 0 {
		return nil
	}
	if c.others = maps.Clone(c.others); c.others == nil {
		c.others = map[string]string{}
	}
	for _, change := range changed {
		if change.NewHash == "" {
			delete(c.others, change.Path)
			continue
		}
		now, err := w.other(change)
		if err != nil {
			return err
		}
		if now != nil {
			c.others[change.Path] = change.NewHash
			continue
		}
		for i := range c.parents { // it counts as it was before
			if hash := before(i)[change.Path]; hash != "" {
				c.others[change.Path] = hash
				break
			}
		}
		if change.Path != schema.SettingsFile { // those are told with the sets
			e := w.trail.entry(c, Unreadable)
			e.Path = change.Path
			w.trail.add(c, e)
		}
	}
	for _, change := range changed {
		w.edited(c, change.Path, before)
	}
	return nil
}

// other reads a version of a file; nil where it cannot be read as what its place asks for.
func (w *walker) other(change git.Change) (*other, error) {
	key := change.Path + " " + change.NewHash
	if o, ok := w.versionsOf[key]; ok {
		return o, nil
	}
	var o *other
	if regular(change.NewMode) {
		data, err := w.repo.PastBlob(change.NewHash)
		if err != nil {
			return nil, err
		}
		o = parseOther(change.Path, data)
	}
	w.versionsOf[key] = o
	return o, nil
}

func parseOther(path string, data []byte) *other {
	switch v := schema.ReadFile(path, data).Value.(type) {
	case *schema.Machine:
		if v.Name.Set() && path != schema.SettingsFile {
			return &other{schema.SubjectMachine, v.Name.V, v.Digest(), schema.Fields(v)}
		}
	case *schema.Settings:
		if path == schema.SettingsFile {
			return &other{schema.SubjectSettings, schema.SubjectSettings, v.Digest(), schema.Fields(v)}
		}
	}
	if path != schema.RosterFile && path != schema.PeopleFile {
		return nil
	}
	kind := map[string]string{schema.RosterFile: schema.SubjectRoster, schema.PeopleFile: schema.SubjectPeople}[path]
	roster, problems := signature.ParseRoster(path, data)
	if len(problems) > 0 {
		return nil
	}
	o := &other{subject: kind, id: kind, digest: schema.DigestLines(kind, roster.Canonical())}
	for _, l := range roster.Lines {
		text := signature.Fingerprint(l.Key)
		if !l.ValidAfter.IsZero() {
			text += " from " + l.ValidAfter.Format("2006-01-02")
		}
		if !l.ValidBefore.IsZero() {
			text += " until " + l.ValidBefore.Format("2006-01-02")
		}
		path := l.Principal
		for n := 2; slices.ContainsFunc(o.fields, func(f schema.Field) bool { return f.Path == path }); n++ {
			path = l.Principal + " " + string(rune('0'+min(n, 9)))
		}
		o.fields = append(o.fields, schema.Field{Path: path, Text: text, At: schema.Made})
	}
	return o
}

// edited makes the entries of one file.
func (w *walker) edited(c *commit, path string, before func(int) map[string]string) {
	hold := func(files map[string]string) *other {
		if hash := files[path]; hash != "" {
			return w.versionsOf[path+" "+hash]
		}
		return nil
	}
	now := hold(c.others)
	sides := []*other{hold(before(0))}
	for i := 1; i < len(c.parents); i++ {
		sides = append(sides, hold(before(i)))
	}
	if slices.Contains(sides, now) {
		return // as on one side of a merge, or unreadable and kept as it was
	}
	var changes []history.FieldChange
	for i, side := range sides {
		list := history.CompareFields(fieldsOf(side), fieldsOf(now))
		if i == 0 {
			changes = list
			continue
		}
		changes = slices.DeleteFunc(changes, func(f history.FieldChange) bool {
			return !slices.ContainsFunc(list, func(g history.FieldChange) bool { return g.Path == f.Path })
		})
	}
	about := now
	if about == nil {
		about = sides[0]
	}
	for _, f := range changes {
		e := w.trail.entry(c, Edited)
		e.Subject, e.ID, e.Path, e.Field, e.From, e.To = about.subject, about.id, path, f.Path, f.From, f.To
		e.Note = (f.From.Path == "" || f.From.Note) && (f.To.Path == "" || f.To.Note)
		if sides[0] != nil {
			e.FromDigest = sides[0].digest
		}
		if now != nil {
			e.ToDigest = now.digest
		}
		w.trail.add(c, e)
	}
}

func fieldsOf(o *other) []schema.Field {
	if o == nil {
		return nil
	}
	return o.fields
}

// explainOthers fills in who approved what a machine, the settings or a roster became, and why it was changed.
func (t *Trail) explainOthers() {
	for _, told := range t.told {
		e := told.entry()
		if e == nil || e.Kind != Edited {
			continue
		}
		if !e.Note {
			for _, d := range t.Standing.State(e.Subject, e.ID).Once(e.ToDigest) {
				if !slices.Contains(e.ApprovedBy, d.Person) {
					e.ApprovedBy = append(e.ApprovedBy, d.Person)
				}
			}
		}
		edges := t.Ledger.Edges(e.Subject, e.ID)
		e.Why = whys(history.Path(edges, []schema.Digest{e.FromDigest}, e.ToDigest))
	}
}
