package audit

import (
	"cmp"
	"time"

	"fettle/history"
	"fettle/schema"
)

// StandingAt returns what decisions had put in force of a condition at a moment, by the times that they carry themselves. What was saved later
// counts as of its own time; [AsOf] tells what the library held. Of other conditions it does not say.
func (t *Trail) StandingAt(at time.Time, id string) *history.Standing {
	if t.near == nil || t.nearTo != id { // one condition after another is asked about
		t.near, t.nearTo, t.stood = t.Ledger.Near(history.SubjectKey{Kind: schema.SubjectCondition, ID: id}), id, map[int64]*history.Standing{}
	}
	key := at.Unix()
	if s := t.stood[key]; s != nil {
		return s
	}
	var then []*schema.Record
	for _, r := range t.near.Records {
		if history.Sound(r) && !r.Time().After(at) {
			then = append(then, r)
		}
	}
	s := t.near.Of(then).Judge(t.libraryID(), t.anchor)
	t.stood[key] = s
	return s
}

// Bring reads the sets into the Library that may hold some conditions, where they were left out of it. See [Trail.Err].
func (t *Trail) Bring(names []string) {
	if t.apart == nil {
		return
	}
	var ids []schema.ID
	for _, name := range names {
		if id, err := schema.ParseID(name); err == nil {
			ids = append(ids, id)
		}
	}
	sets, err := newPartedSets(t.apart)
	if err == nil {
		var lib *schema.Library
		if lib, err = sets.holding(t.Library, ids); err == nil {
			t.Library = lib
		}
	}
	t.wrong = cmp.Or(t.wrong, err)
}
