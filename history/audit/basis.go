package audit

import (
	"bytes"
	"encoding/hex"
	"maps"
	"slices"
	"sort"
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
	clear    []byte                      // ids of sets of that commit which begin by saying that they are of another family: raw, in order
	Sets     [][]byte                    // the other sets of that commit, as far as they are few: what git has to gather from many pieces
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
	b.clear, b.Sets = t.search.setsOf(t.Head, t.walked.root)
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

// As much is kept of what makes the next answer quicker; what is left out has to be read then.
const (
	mostClear    = 64 << 10 // bytes of ids
	mostSets     = 8
	mostSetBytes = 256 << 10
)

// setsOf tells the sets of a commit that begin by saying that they may not hold what is looked for, and reads the others.
func (s *search) setsOf(head, root string) (clear []byte, sets [][]byte) {
	files, err := s.repo.TreeFiles(head, root+"sets")
	if err != nil || len(files) == 0 {
		return nil, nil
	}
	if _, ok := s.of[files[0].Hash]; !ok {
		s.recall()
	}
	var ids, others []string
	for _, f := range files {
		if of, ok := s.of[f.Hash]; ok && !s.wide[of] && !s.late[f.Hash] {
			ids = append(ids, f.Hash)
		} else if ok && s.wide[of] && regular(f.Mode) {
			others = append(others, f.Hash)
		}
	}
	slices.Sort(ids)
	if clear, err = hex.DecodeString(strings.Join(slices.Compact(ids), "")); err != nil || len(clear) > mostClear {
		clear = nil
	}
	size := 0
	if err := s.repo.PastBlobs(others[:min(len(others), mostSets)], func(_ int, data []byte) error {
		if size += len(data); size <= mostSetBytes {
			sets = append(sets, data)
		}
		return nil
	}); err != nil {
		return clear, nil
	}
	return clear, sets
}

// isClear reports whether an id is among some in order.
func isClear(ids []byte, blob string) bool {
	id, err := hex.DecodeString(blob)
	if err != nil || len(id) == 0 {
		return false
	}
	_, ok := sort.Find(len(ids)/len(id), func(i int) int { return bytes.Compare(id, ids[i*len(id):(i+1)*len(id)]) })
	return ok
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
	var order []git.LogEntry
	for e, err := range repo.Walk(git.LogOptions{Revs: []string{head, "^" + b.Head}, Changes: true, Reverse: true, MaxCount: fewCommits + 1}) {
		if since[e.Hash] = e; err != nil || len(since) > fewCommits {
			return false
		}
		order = append(order, e)
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
	for _, e := range order {
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

// without reports whether none of these changes of sets, the oldest first, and none of these new records bears on what was told.
func (b Basis) without(repo *git.Repo, sets, records []git.Change) bool {
	apart := make([]bool, 1+len(records))
	err := schema.AtOnce(len(apart), func(i int) (err error) {
		if i == 0 {
			apart[0], err = b.withoutSets(repo, sets)
			return err
		}
		c := records[i-1]
		return repo.PastBlobs([]string{c.NewHash}, func(_ int, data []byte) error {
			r := schema.ReadRecord(c.Path, data)
			apart[i] = !b.awaited[r.Digest] && !history.Bears(r, b.subjects)
			return nil
		})
	})
	return err == nil && !slices.Contains(apart, false)
}

// withoutSets is without for sets. What begins as one that was found to be of another family is of that, too: most often git keeps what was there
// before as the difference from what came, and that tells it at once.
func (b Basis) withoutSets(repo *git.Repo, sets []git.Change) (bool, error) {
	came := map[string]bool{}
	clear := func(blob string) bool { return blob == "" || came[blob] || isClear(b.clear, blob) }
	var open []string
	for _, c := range sets {
		switch {
		case !clear(c.OldHash):
			open = append(open, c.OldHash, c.NewHash)
		case clear(c.NewHash):
		case c.OldHash != "" && repo.BeginAlike(c.OldHash, c.NewHash, familyHead):
			came[c.NewHash] = true
		default:
			open = append(open, c.NewHash)
		}
	}
	known := newFamilies(repo)
	err := known.read(open)
	return !slices.ContainsFunc(open, func(blob string) bool { return blob != "" && b.families[known.of[blob]] }), err
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
	e.Bytes(b.clear)
	e.Number(len(b.Sets))
	for _, data := range b.Sets {
		e.Bytes(data)
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
	clear := in.Bytes()
	var sets [][]byte
	for n := in.Number(); n > 0 && !in.Bad; n-- {
		sets = append(sets, in.Bytes())
	}
	if len(families) > 0 {
		b.families, b.subjects, b.awaited, b.clear, b.Sets = families, subjects, awaited, clear, sets
	}
	return b
}
