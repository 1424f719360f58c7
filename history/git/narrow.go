package git

import (
	"iter"
	"slices"
	"strings"
)

// hidesMerges says whether git would leave commits out that touch the paths. Where part of the history is left out, git
// compares a merge only with the parents that are told: one that threw away what came from the rest is then no change to
// it. An audit must see that one.
func (o LogOptions) hidesMerges() bool {
	leavesOut := o.Unshared || slices.ContainsFunc(o.Revs, func(rev string) bool { return strings.HasPrefix(rev, "^") || strings.Contains(rev, "..") })
	return leavesOut && len(o.Paths) > 0 && !o.Simplify && !o.FirstParent
}

// narrow asks git for all commits with all their changes, and tells those that touch the paths.
func (r *Repo) narrow(o LogOptions) iter.Seq2[LogEntry, error] {
	return func(yield func(LogEntry, error) bool) {
		scope, err := newScope(o.Paths)
		if err != nil {
			yield(LogEntry{}, err)
			return
		}
		all := o
		all.Paths, all.Changes, all.MaxCount = nil, true, 0
		// The newest few, oldest first: they have to be found before the first can be told.
		backwards := o.Reverse && o.MaxCount > 0
		all.Reverse = o.Reverse && !backwards
		var newest []LogEntry
		n := 0
		for entry, err := range r.walk(all, o.Paths) {
			if err != nil {
				yield(entry, err)
				return
			}
			touched := false
			for i, changes := range entry.Changes {
				entry.Changes[i] = slices.DeleteFunc(changes, func(c Change) bool { return !scope.holds(c.Path) })
				touched = touched || len(entry.Changes[i]) > 0
			}
			if !touched && len(scope) > 0 {
				continue
			}
			if !o.Changes {
				entry.Changes = nil
			}
			if backwards {
				newest = append(newest, entry)
			} else if !yield(entry, nil) {
				return
			}
			if n++; n == o.MaxCount {
				break
			}
		}
		for _, entry := range slices.Backward(newest) {
			if !yield(entry, nil) {
				return
			}
		}
	}
}
