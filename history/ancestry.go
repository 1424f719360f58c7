package history

import (
	"slices"
	"strings"

	"fettle/schema"
)

// An ancestry answers which decisions of a set lie behind a record, along follows. It looks through records that are not in
// the set. A record can only name what was there before it, since it names digests, so there are no circles.
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

// of returns the nearest decisions of the set behind a record, ordered by digest.
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
		if through := a.ledger.Get(digest); through != nil {
			for _, d := range a.of(through) {
				out = appendNew(out, d)
			}
		}
	}
	slices.SortFunc(out, byDigest)
	a.memo[r.Digest] = out
	return out
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
// rejections of that content. Rejections of something else, and what they rejected, do not come between them.
func (a *ancestry) group(content schema.Digest, seen []*Decision) string {
	var parts []string
	for _, d := range seen {
		if d.rejects() && d.Digest() == content || !d.rejects() && !a.rejected(d, seen) {
			parts = append(parts, string(d.Record.Digest))
		}
	}
	slices.Sort(parts)
	return string(content) + ":" + strings.Join(parts, ",")
}

// rejected reports whether one of the rejections seen follows the approval and is of its content.
func (a *ancestry) rejected(d *Decision, seen []*Decision) bool {
	for _, r := range seen {
		if r.rejects() && r.Digest() == d.Digest() && slices.Contains(a.sees(r.Record), d) {
			return true
		}
	}
	return false
}

// speaking returns the approvals whose content binds while no single one is in force: those that contradict each other, and
// after a rejection of what was in force, that and what it had replaced. Who stands in all of them is beyond dispute.
func (a *ancestry) speaking(heads []*Decision) []*Decision {
	var out []*Decision
	for _, h := range heads {
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
				for _, before := range a.speaking(a.sees(p.Record)) {
					out = appendNew(out, before)
				}
			}
		}
	}
	sortByTime(out)
	return out
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
