package audit

import (
	"path"
	"slices"
	"strings"
	"time"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
)

// records notes which records a commit brought, and tells those that it altered or removed: a record stays as it was saved, on
// every way to it.
func (w *walker) records(c *commit) error {
	if c.entry == nil {
		return nil
	}
	if !slices.ContainsFunc(c.entry.Changes, func(changes []git.Change) bool {
		return slices.ContainsFunc(changes, func(change git.Change) bool { return isRecord(strings.TrimPrefix(change.Path, w.root)) })
	}) {
		return nil
	}
	fresh := map[string]int{} // file → sides of the merge that did not have it
	blob, told := map[string]string{}, map[string]bool{}
	for _, changes := range c.entry.Changes {
		for _, change := range changes {
			file := strings.TrimPrefix(change.Path, w.root)
			switch {
			case !isRecord(file) || change.OldHash == change.NewHash && change.OldMode == change.NewMode:
			case change.OldHash == "":
				fresh[file]++
				blob[file] = change.NewHash
			case change.NewHash == change.OldHash && regular(change.NewMode): // only the right to run it
			case w.trail.first[file] == change.NewHash && regular(change.NewMode): // it is back as it was; told where it was altered
			case !told[file]:
				told[file] = true
				if err := w.alarm(c, file, change); err != nil {
					return err
				}
			}
		}
	}
	for file, n := range fresh {
		if _, known := w.trail.brought[file]; !known && n == len(c.entry.Changes) {
			w.trail.brought[file], w.trail.first[file] = c, blob[file]
		}
	}
	return nil
}

// isRecord leaves out files such as .gitkeep, as every reader of records does.
func isRecord(file string) bool {
	return schema.IsRecordPath(file) && !strings.HasPrefix(path.Base(file), ".")
}

// alarm makes the entry of a record that is not what it was.
func (w *walker) alarm(c *commit, file string, change git.Change) error {
	e := w.trail.entry(c, RecordAltered)
	if change.NewHash == "" {
		e.Kind = RecordRemoved
	}
	e.Path = file
	if regular(change.OldMode) {
		data, err := w.repo.PastBlob(change.OldHash)
		if err != nil {
			return err
		}
		e.Record = schema.ReadRecord(file, data)
		if e.Record.IsNone() && change.OldHash == w.trail.first[file] {
			return nil // it never was a record
		}
	}
	w.trail.add(c, e)
	return nil
}

// addRecords adds the records to the timeline, one entry for each condition or other subject that they are about.
func (t *Trail) addRecords() {
	for _, r := range t.Ledger.Records {
		if !history.Sound(r) {
			continue // verify says what is wrong with it
		}
		about := t.about(r)
		if t.search != nil {
			about = slices.DeleteFunc(about, func(a topic) bool { return !t.search.about(a) })
			if len(about) == 0 {
				continue
			}
		}
		if len(about) == 0 {
			about = []topic{{}}
		}
		pos := len(t.commits)
		if c := t.brought[r.Path]; c != nil {
			pos = c.pos
		}
		for _, a := range about {
			t.told = append(t.told, told{rest: &rest{record: &recorded{r, a, pos, r.Time()}}})
		}
	}
}

// ofRecord makes the entry of a record.
func (t *Trail) ofRecord(told *recorded) *Entry {
	r, a := told.record, told.about
	e := &Entry{Kind: r.Kind, At: told.at, By: t.persons.of("", r.By.V), Record: r, Path: r.Path, pos: told.pos, ID: a.id, Subject: a.kind, FromDigest: a.from, ToDigest: a.to}
	if e.By.Principal == "" {
		e.By.Name, e.By.Email = r.By.V, ""
	}
	if c := t.brought[r.Path]; c != nil {
		by := t.said(c).Committer
		e.Commit, e.Committed, e.Merge, e.Edge = c.hash, by.When, len(c.parents) > 1, c.edge
		e.Committer = t.persons.of(by.Name, by.Email)
	}
	e.Clock = t.recordClock(r, *e)
	e.Why = []Why{{Text: r.Text.V, By: r.By.V, At: told.at, Signed: r.Signature.Set(), Record: r.Digest}}
	if reason, ok := r.Body.(*schema.Reason); ok {
		e.Why[0].Cause, e.Why[0].RuledOut = reason.Cause.V, reason.RuledOut.V
	}
	return e
}

// recordClock says what is odd about the time of a record, or "". Clocks of two computers may be some minutes apart.
func (t *Trail) recordClock(r *schema.Record, e Entry) string {
	const apart = 5 * time.Minute
	if e.Commit != "" && r.Time().After(e.Committed.Add(apart)) {
		return "it is dated after it was saved"
	}
	for _, f := range r.Follows.V {
		if before := t.Ledger.Get(schema.Digest(f)); before != nil && r.Time().Add(apart).Before(before.Time()) {
			return "it is dated before a decision that it follows"
		}
	}
	return ""
}

// A topic is one thing that a record is about.
type topic struct {
	kind, id string
	from, to schema.Digest
}

// about returns what a record is about; nothing where it names nothing.
func (t *Trail) about(r *schema.Record) []topic {
	one := func(id string, digest string) []topic {
		return []topic{{schema.SubjectCondition, id, "", schema.Digest(digest)}}
	}
	var out []topic
	switch b := r.Body.(type) {
	case *schema.Reason:
		for _, c := range b.Changes.V {
			out = append(out, topic{c.Kind.Or(schema.SubjectCondition), c.ID.V, schema.Digest(c.From.V), schema.Digest(c.To.V)})
		}
	case *schema.Decision:
		for _, s := range b.Subjects.V {
			out = append(out, topic{s.Kind.V, s.ID.V, "", schema.Digest(s.Digest.V)})
		}
	case *schema.Trial:
		return one(b.ID.V, b.Digest.V)
	case *schema.Permit:
		return one(b.ID.V, b.Digest.V)
	case *schema.Waiver:
		return one(b.ID.V, b.Digest.V)
	case *schema.Cause:
		return one(b.ID.V, "")
	case *schema.Load:
		for _, l := range b.Loaded.V {
			out = append(out, topic{schema.SubjectCondition, l.ID.V, "", schema.Digest(l.Digest.V)})
		}
	case *schema.Escape:
		for _, id := range b.IDs.V {
			out = append(out, topic{schema.SubjectCondition, id, "", ""})
		}
		if len(b.IDs.V) == 0 {
			for _, id := range t.loadedOn(b.Unit.V) {
				out = append(out, topic{schema.SubjectCondition, id, "", ""})
			}
		}
	case *schema.Withdrawal:
		if target := t.Ledger.Get(schema.Digest(b.Record.V)); target != nil && target.Kind != schema.KindWithdrawal {
			return t.about(target)
		}
	}
	return out
}

// loadedOn returns every condition that was ever loaded on a unit.
func (t *Trail) loadedOn(unit string) []string {
	var out []string
	for _, l := range history.Bodies[*schema.Load](t.Ledger) {
		if l.Body.Unit.V != unit {
			continue
		}
		for _, c := range l.Body.Loaded.V {
			if !slices.Contains(out, c.ID.V) {
				out = append(out, c.ID.V)
			}
		}
	}
	return out
}
