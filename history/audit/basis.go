package audit

import (
	"maps"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
)

// A Basis is what a timeline hangs on: the commit that it was told of, and for a few conditions what could make another timeline of theirs. By
// it who keeps what was told finds out whether it is still all that there is to tell, without the history before that commit.
type Basis struct {
	Head     string
	families map[family]bool             // of the sets that may hold the conditions; nil where any change of the library may matter
	subjects map[history.SubjectKey]bool // what was asked of the records
	awaited  map[schema.Digest]bool      // records that others name and that are not there
}

// Basis is what the timeline hangs on. It is false where nobody can tell: older history is missing, or nothing was saved yet.
func (t *Trail) Basis() (Basis, bool) {
	b := Basis{Head: t.Head}
	if t.Head == "" || t.Shallow || !t.kept {
		return Basis{}, false
	}
	if t.search == nil || t.asked == nil || len(t.search.spoilt) > 0 {
		return b, true
	}
	b.families, b.subjects, b.awaited = t.search.wide, t.asked, map[schema.Digest]bool{}
	for _, r := range t.Ledger.Records {
		if r.Common == nil {
			continue
		}
		named := slices.Clone(r.Follows.V)
		if w, ok := r.Body.(*schema.Withdrawal); ok {
			named = append(named, w.Record.V)
		}
		for _, digest := range named {
			if t.Ledger.Get(schema.Digest(digest)) == nil {
				b.awaited[schema.Digest(digest)] = true
			}
		}
	}
	return b, true
}

// mostSince is how many contents of files that came since are looked at, before all is told anew.
const mostSince = 256

// Holds reports whether the same is told of a later commit: what it was told of leads there, and nothing that came since bears on it. Where
// that cannot be found out it is false. The root is the directory of the library from the top of the work tree.
func (b Basis) Holds(repo *git.Repo, root, head string) bool {
	if b.Head == head {
		return head != ""
	}
	if repo = repo.AsWritten(); repo.IsShallow() {
		return false
	}
	if root = strings.Trim(root, "/"); root != "" {
		root += "/"
	}
	since := map[string]git.LogEntry{}
	for e, err := range repo.Walk(git.LogOptions{Revs: []string{head, "^" + b.Head}, Changes: true, MaxCount: fewCommits + 1}) {
		if since[e.Hash] = e; err != nil || len(since) > fewCommits {
			return false
		}
	}
	lead := map[string]bool{b.Head: true} // commits: whether what was told leads there
	var leads func(hash string) bool
	leads = func(hash string) bool {
		known, there := lead[hash]
		if !there {
			known = slices.ContainsFunc(since[hash].Parents, leads)
			lead[hash] = known
		}
		return known
	}
	if !leads(head) {
		return false
	}
	var sets, records []git.Change
	for _, e := range since {
		for i, changes := range e.Changes {
			if i < len(e.Parents) && leads(e.Hash) && !leads(e.Parents[i]) {
				continue // what that side does not have yet was told, and what it did itself is among what came since
			}
			for _, c := range changes {
				file, in := strings.CutPrefix(c.Path, root)
				odd := c.OldHash != "" && !regular(c.OldMode) || c.NewHash != "" && !regular(c.NewMode)
				switch c.Path = file; {
				case !in || !isPart(file):
				case b.families == nil || file == schema.SettingsFile || file == schema.RosterFile || file == schema.PeopleFile:
					return false
				case isSet(file):
					sets = append(sets, c)
					if odd {
						return false
					}
				case isRecord(file):
					records = append(records, c)
					if odd || c.OldHash != "" {
						return false
					}
				}
			}
		}
		if len(sets)+len(records) > mostSince {
			return false
		}
	}
	return b.without(repo, sets, records)
}

// without reports whether none of these changes of sets and none of these new records bears on what was told.
func (b Basis) without(repo *git.Repo, sets, records []git.Change) bool {
	known := &families{repo: repo, of: map[string]family{}}
	var blobs []string
	for _, c := range sets {
		blobs = append(blobs, c.OldHash, c.NewHash)
	}
	if known.read(blobs) != nil || slices.ContainsFunc(blobs, func(blob string) bool { return blob != "" && b.families[known.of[blob]] }) {
		return false
	}
	blobs = blobs[:0]
	for _, c := range records {
		blobs = append(blobs, c.NewHash)
	}
	apart := true
	err := repo.PastBlobs(blobs, func(i int, data []byte) error {
		r := schema.ReadRecord(records[i].Path, data)
		apart = apart && !b.awaited[r.Digest] && !history.Bears(r, b.subjects)
		return nil
	})
	return apart && err == nil
}

// Encode writes a basis for [DecodeBasis].
func (b Basis) Encode(e *history.Encoder) {
	e.Text(b.Head)
	e.Number(len(b.families))
	for f := range b.families {
		e.Texts([]string{f.machine, f.material, f.gas})
	}
	e.Number(len(b.subjects))
	for key := range b.subjects {
		e.Texts([]string{key.Kind, key.ID})
	}
	e.Number(len(b.awaited))
	for _, digest := range slices.Sorted(maps.Keys(b.awaited)) {
		e.Text(string(digest))
	}
}

// DecodeBasis reads what [Basis.Encode] wrote.
func DecodeBasis(in *history.Decoder) Basis {
	b := Basis{Head: in.Text()}
	list := func(each func(parts []string), size int) {
		for n := in.Number(); n > 0 && !in.Bad; n-- {
			parts := in.Texts()
			if in.Bad = in.Bad || len(parts) != size; !in.Bad {
				each(parts)
			}
		}
	}
	families, subjects, awaited := map[family]bool{}, map[history.SubjectKey]bool{}, map[schema.Digest]bool{}
	list(func(p []string) { families[family{p[0], p[1], p[2]}] = true }, 3)
	list(func(p []string) { subjects[history.SubjectKey{Kind: p[0], ID: p[1]}] = true }, 2)
	for n := in.Number(); n > 0 && !in.Bad; n-- {
		awaited[schema.Digest(in.Text())] = true
	}
	if len(families) > 0 {
		b.families, b.subjects, b.awaited = families, subjects, awaited
	}
	return b
}
