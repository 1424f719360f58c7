package history

import (
	"time"

	"fettle/schema"
)

// LongestPermit is how long a recipe may run at most before somebody decides on it.
const LongestPermit = 72 * time.Hour

// Permit returns the permit that lets a recipe run at a moment before it is decided, the one that ends last; nil for none. A permit for
// one unit says nothing of another; an empty unit asks for any. One that was taken back counts no more.
func (l *Ledger) Permit(id string, recipe schema.Digest, unit string, at time.Time) *schema.Permit {
	l.index()
	var found *schema.Permit
	var last time.Time
	for _, p := range l.permits[id] {
		ends, ok := PermitEnds(p)
		if ok && p.Digest.V == string(recipe) && (!p.Unit.Set() || unit == "" || p.Unit.V == unit) && !at.Before(p.Time()) && at.Before(ends) && ends.After(last) {
			found, last = p, ends
		}
	}
	return found
}

// PermitEnds is when a permit counts no more. It is false where the record says no time that can be read, or claims more than
// [LongestPermit]: that is no permit.
func PermitEnds(p *schema.Permit) (time.Time, bool) {
	until, err := time.Parse(time.RFC3339, p.Until.V)
	return until, err == nil && until.Sub(p.Time()) <= LongestPermit
}
