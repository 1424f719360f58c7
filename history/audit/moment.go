package audit

import (
	"time"

	"fettle/history"
	"fettle/schema"
)

// StandingAt returns what decisions put in force at a moment, by the times that they carry themselves. What was saved later counts as of its
// own time; [Trail.AsOf] tells what the library held.
func (t *Trail) StandingAt(at time.Time) *history.Standing {
	key := at.Unix()
	if s := t.stood[key]; s != nil {
		return s
	}
	var then []*schema.Record
	for _, r := range t.Ledger.Records {
		if history.Sound(r) && !r.Time().After(at) {
			then = append(then, r)
		}
	}
	if t.stood == nil {
		t.stood = map[int64]*history.Standing{}
	}
	s := t.Ledger.Of(then).Judge(t.libraryID(), t.anchor)
	t.stood[key] = s
	return s
}
