package audit

import (
	"fmt"
	"maps"
	"path"
	"slices"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
)

// mostSubjects is how many other conditions may stand in decisions on those looked for, before all records are read.
const mostSubjects = 500

// readBriefly reads what a search needs of a commit: settings, roster and people, and what is on record of the conditions. It is false where
// that is not enough, or cannot be had.
func (t *Trail) readBriefly(repo *git.Repo, root string, o Options) (enough bool, err error) {
	top, err := repo.TreeDir(t.Head, root)
	if err != nil {
		return false, err
	}
	src := &contents{repo, map[string]string{}}
	for _, e := range top {
		if e.Path == schema.SettingsFile || e.Path == schema.RosterFile || e.Path == schema.PeopleFile {
			if !regular(e.Mode) {
				return false, nil
			}
			src.ids[e.Path] = e.Hash
		}
	}
	if t.Library, err = schema.ReadLibrary(src); err != nil {
		return false, err
	}
	t.anchor = o.Anchor
	keys := map[history.SubjectKey]bool{history.EscapesOfAll: true}
	for _, id := range o.IDs {
		keys[history.SubjectKey{Kind: schema.SubjectCondition, ID: id.String()}] = true
	}
	for {
		if t.Ledger, err = o.Records(slices.Collect(maps.Keys(keys))); err != nil {
			return false, nil // it hangs on more
		}
		t.Standing = t.Ledger.Judge(t.libraryID(), o.Anchor)
		beside, err := t.beside(repo, root, o.IDs, keys)
		if err != nil || len(keys)+len(beside) > mostSubjects+len(o.IDs) {
			return false, err
		}
		if len(beside) == 0 {
			t.persons, t.asked = knownPersons(t.Library, t.Standing), keys
			return true, nil
		}
		maps.Copy(keys, beside)
	}
}

// beside are other conditions that decisions on those looked for are about: whether such a decision counts for all is told of it. What the
// adoption that all is chained from is about is not asked: it counts for all or for none.
func (t *Trail) beside(repo *git.Repo, root string, ids []schema.ID, known map[history.SubjectKey]bool) (map[history.SubjectKey]bool, error) {
	out := map[history.SubjectKey]bool{}
	for _, d := range history.Bodies[*schema.Decision](t.Ledger) {
		r := d.Record
		asked := slices.ContainsFunc(d.Body.Subjects.V, func(s schema.Subject) bool { return t.search.about(topic{kind: s.Kind.V, id: s.ID.V}) })
		if !asked || r == t.Standing.Anchor {
			continue
		}
		if !t.Ledger.Whole(r) {
			files, err := repo.TreeDir(t.Head, path.Join(root, path.Dir(r.Path)))
			if err != nil {
				return nil, err
			}
			i := slices.IndexFunc(files, func(e git.Entry) bool { return e.Path == path.Base(r.Path) })
			if i < 0 {
				return nil, fmt.Errorf("%s is on record and not among the files", r.Path)
			}
			data, err := repo.Blob(files[i].Hash)
			if err != nil {
				return nil, err
			}
			r = schema.ReadRecord(r.Path, data)
		}
		for _, key := range history.Subjects(r) {
			if key.Kind == schema.SubjectCondition && !known[key] {
				out[key] = true
			}
		}
	}
	return out, nil
}

// contents are files by the ids of their contents.
type contents struct {
	repo *git.Repo
	ids  map[string]string
}

func (c *contents) Files() []string                  { return slices.Sorted(maps.Keys(c.ids)) }
func (c *contents) Read(file string) ([]byte, error) { return c.repo.Blob(c.ids[file]) }
