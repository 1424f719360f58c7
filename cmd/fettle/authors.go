package main

import (
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/hooks"
	"fettle/schema"
)

// commitsOf returns the commits that changed a recipe since the one in force, newest first. It looks at the file where the
// condition stands now, and stops where the recipe in force is found.
func (s *shop) commitsOf(c *card) []git.LogEntry {
	path := s.path(c.Now.File.Path)
	until := schema.Digest("")
	if c.decision != nil {
		until = c.decision.Digest()
	}
	if c.Digest == until && until != "" {
		return nil // nobody wrote anything since
	}
	var out []git.LogEntry
	for entry, err := range s.repo.Walk(git.LogOptions{Revs: s.revs(), Paths: []string{path}, Changes: true, MaxCount: 500}) {
		if err != nil {
			return out
		}
		before, after := s.digestsIn(entry, path, c)
		if before != after {
			out = append(out, entry)
		}
		if before == until && until != "" || after == until {
			break
		}
	}
	return out
}

// revs is where the history of what is decided on begins: nothing for the last commit here.
func (s *shop) revs() []string {
	if s.line == nil || s.line.tip == "" {
		return nil
	}
	return []string{s.line.tip}
}

// decidedOn is the revision whose state is decided on.
func (s *shop) decidedOn() string {
	if revs := s.revs(); revs != nil {
		return revs[0]
	}
	return "HEAD"
}

// digestsIn returns what a commit made of the recipe: its digest in the first parent and in the commit.
func (s *shop) digestsIn(entry git.LogEntry, path string, c *card) (before, after schema.Digest) {
	for _, change := range entry.Changes[0] {
		if change.Path != path {
			continue
		}
		read := func(hash string) schema.Digest {
			data, err := s.repo.Blob(hash)
			if err != nil {
				return ""
			}
			return recipeAt(data, c.Now.File.Path, c.Now)
		}
		return read(change.OldHash), read(change.NewHash)
	}
	return "", ""
}

// wroteSince reports whether a commit since a decision names a person among the authors of roster, people, settings or a machine.
func (s *shop) wroteSince(subject, name string, last *history.Decision, person string) bool {
	if last == nil {
		return false
	}
	brought, err := s.repo.Log(git.LogOptions{Revs: []string{s.decidedOn()}, Paths: []string{s.path(last.Record.Path)}, MaxCount: 1})
	if err != nil || len(brought) == 0 {
		return false
	}
	since := []string{s.decidedOn(), "^" + brought[0].Hash}
	for entry, err := range s.repo.Walk(git.LogOptions{Revs: since, Paths: []string{s.path(schema.FileOf(subject, name))}}) {
		if err != nil {
			return false
		}
		if len(entry.Parents) < 2 && slices.ContainsFunc(hooks.WroteOn(entry), func(who string) bool { return strings.EqualFold(who, person) }) {
			return true
		}
	}
	return false
}
