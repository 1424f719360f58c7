package hooks

import (
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
)

// WroteOn is who a commit names as its authors: by name and by mail address, co-authors too. Who committed it may have done no more than
// that.
func WroteOn(entry git.LogEntry) []string {
	out := []string{entry.Author.Name, entry.Author.Email}
	for _, co := range entry.CoAuthors {
		name, mail, _ := strings.Cut(strings.TrimSuffix(strings.TrimSpace(co), ">"), "<")
		out = append(out, strings.TrimSpace(name), mail)
	}
	return slices.DeleteFunc(out, func(who string) bool { return who == "" })
}

// wrote are the authors of the commits on the way that made a condition what a recipe of it is, back to the last one that was decided on
// before. A merge writes nothing: what it took has an author.
func (w *way) wrote(l *library, c *Case, standing *history.Standing, id schema.ID, recipe schema.Digest) []string {
	now := c.Now.Lib.Recipe(id)
	if now == nil || w == nil {
		return nil
	}
	w.much = w.much || c.about != nil
	full, state := l.full(now.File.Path), standing.Condition(id)
	digest := func(blob string) schema.Digest { return w.digestIn(blob, full, id, now) }
	decided := func(d schema.Digest) bool { return d != recipe && state.Once(d) != nil }
	var queue []string
	for _, s := range w.touching(full) { // the newest first
		if change := s.changed[full]; digest(change.NewHash) == recipe && digest(change.OldHash) != recipe {
			queue = append(queue, s.hash)
			break
		}
	}
	var out []string
	seen := map[string]bool{}
	for ; len(queue) > 0; queue = queue[1:] {
		s := w.by[queue[0]]
		if s == nil || seen[s.hash] {
			continue
		}
		seen[s.hash] = true
		if change, ok := s.changed[full]; ok {
			before, after := digest(change.OldHash), digest(change.NewHash)
			switch {
			case before == after:
			case decided(after):
				continue
			case len(s.parents) < 2:
				out = append(out, s.wrote...)
				if decided(before) {
					continue
				}
			}
		}
		queue = append(queue, s.parents...)
	}
	return out
}
