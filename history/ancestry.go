package history

import (
	"slices"
	"strings"

	"fettle/schema"
)

// An ancestry answers which decisions of a set lie behind a record, along follows. It looks through decisions that are not in
// the set, but not through reasons: whoever decides names those that they read, and anybody may have written what these follow.
// A record can only name what was there before it, since it names digests, so there are no circles.
type ancestry struct {
	ledger *Ledger
	in     map[schema.Digest]*Decision
	memo   map[schema.Digest][]*Decision
}

func newAncestry(l *Ledger, decisions []*Decision) *ancestry {
	a := &ancestry{ledger: l, in: make(map[schema.Digest]*Decision, len(decisions)), memo: map[schema.Digest][]*Decision{}}
	for _, d := range decisions {
		a.in[d.Record.Digest] = d
	}
	return a
}

// of returns the nearest decisions of the set behind a record, none of them behind another, ordered by digest.
func (a *ancestry) of(r *schema.Record) []*Decision {
	if known, ok := a.memo[r.Digest]; ok {
		return known
	}
	a.memo[r.Digest] = nil
	var out []*Decision
	for _, followed := range r.Follows.V {
		digest := schema.Digest(followed)
		if d := a.in[digest]; d != nil {
			out = appendNew(out, d)
			continue
		}
		if through := a.ledger.Get(digest); isDecision(through) {
			for _, d := range a.of(through) {
				out = appendNew(out, d)
			}
		}
	}
	out = a.foremost(out)
	slices.SortFunc(out, byDigest)
	a.memo[r.Digest] = out
	return out
}

// foremost leaves out what lies behind another one of the list: whoever names a decision and the one before it, or a settings
// change that knew both, has not seen more than who names the later one.
func (a *ancestry) foremost(list []*Decision) []*Decision {
	if len(list) < 2 {
		return list
	}
	behind := map[*Decision]bool{}
	var queue []*Decision
	for _, d := range list {
		queue = append(queue, a.of(d.Record)...)
	}
	for ; len(queue) > 0; queue = queue[1:] {
		if d := queue[0]; !behind[d] {
			behind[d] = true
			queue = append(queue, a.of(d.Record)...)
		}
	}
	return slices.DeleteFunc(list, func(d *Decision) bool { return behind[d] })
}

// sees returns the decisions of the set that a record was made in sight of: the nearest approvals, and all rejections before them.
func (a *ancestry) sees(r *schema.Record) []*Decision { return a.through(a.of(r)) }

// through returns the given decisions and, behind rejections among them, what those were made in sight of.
func (a *ancestry) through(list []*Decision) []*Decision {
	out := slices.Clone(list)
	for i := 0; i < len(out); i++ {
		if out[i].rejects() {
			for _, d := range a.of(out[i].Record) {
				out = appendNew(out, d)
			}
		}
	}
	return out
}

// group names the approvals that add up with each other: of one content, in sight of the same approvals and of the same
// rejections of that content. Rejections of something else do not come between them, and what was rejected gives way to what it
// had followed.
func (a *ancestry) group(content schema.Digest, seen []*Decision) string {
	var approvals []*Decision
	var parts []string
	for i := 0; i < len(seen); i++ {
		switch d := seen[i]; {
		case d.rejects() && d.Digest() == content:
			parts = append(parts, string(d.Record.Digest))
		case d.rejects():
		case a.rejected(d, seen):
			for _, before := range a.sees(d.Record) {
				seen = appendNew(seen, before)
			}
		default:
			approvals = append(approvals, d)
		}
	}
	for _, d := range a.foremost(approvals) {
		parts = append(parts, string(d.Record.Digest))
	}
	slices.Sort(parts)
	return string(content) + ":" + strings.Join(parts, ",")
}

// rejected reports whether one of the rejections seen follows the approval and is of its content.
func (a *ancestry) rejected(d *Decision, seen []*Decision) bool {
	return slices.ContainsFunc(seen, func(r *Decision) bool {
		return r.rejects() && r.Digest() == d.Digest() && slices.Contains(a.sees(r.Record), d)
	})
}

// speaking returns the approvals whose content binds while no single one is in force: those that contradict each other, and
// after a rejection of what was in force, that and what it had replaced. Who stands in all of them is beyond dispute.
func (a *ancestry) speaking(heads []*Decision) []*Decision {
	var out []*Decision
	known := map[*Decision]bool{} // heads that were looked at: many ways may lead to one
	for queue := slices.Clone(heads); len(queue) > 0; queue = queue[1:] {
		h := queue[0]
		if known[h] {
			continue
		}
		known[h] = true
		if !h.rejects() {
			out = appendNew(out, h)
			continue
		}
		for _, p := range a.sees(h.Record) {
			if p.rejects() {
				continue
			}
			out = appendNew(out, p)
			if p.Digest() == h.Digest() {
				queue = append(queue, a.sees(p.Record)...)
			}
		}
	}
	sortByTime(out)
	return out
}

func isDecision(r *schema.Record) bool {
	if r == nil {
		return false
	}
	_, ok := r.Body.(*schema.Decision)
	return ok
}

func appendNew(list []*Decision, d *Decision) []*Decision {
	if slices.Contains(list, d) {
		return list
	}
	return append(list, d)
}

func byDigest(a, b *Decision) int {
	return strings.Compare(string(a.Record.Digest), string(b.Record.Digest))
}
