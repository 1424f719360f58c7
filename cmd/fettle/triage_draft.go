package main

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"fettle/history"
	"fettle/schema"
)

// A draft is what was ruled out in a walk through the checks, kept in this clone for the reason that may come of it.
type draft struct {
	At       time.Time `json:"at"`
	Unit     string    `json:"unit"`
	Symptoms []string  `json:"symptom"`
	RuledOut []string  `json:"ruled_out"`
}

// draftHolds is how long what was ruled out still says something of the next edit.
const draftHolds = 7 * 24 * time.Hour

func (s *shop) draftFile() string { return filepath.Join(s.repo.GitDir, "fettle", "ruled-out.json") }

// drafts reads what was ruled out, by condition. A file that cannot be read is as none: it holds nothing that is not asked for again.
func (s *shop) drafts() map[string]draft {
	out := map[string]draft{}
	data, err := os.ReadFile(s.draftFile())
	if err == nil {
		json.Unmarshal(data, &out)
	}
	for id, d := range out {
		if age := s.now().Sub(d.At); age > draftHolds || age < -time.Hour {
			delete(out, id)
		}
	}
	return out
}

// keepDraft keeps what was ruled out for the next reason of the condition.
func (r *round) keepDraft(ruledOut []string) error {
	if len(ruledOut) == 0 {
		r.say("nothing was ruled out")
		return nil
	}
	all := r.drafts()
	all[r.c.ID.String()] = draft{r.now().UTC().Truncate(time.Second), r.c.Unit, r.c.Symptoms, ruledOut}
	if err := r.writeDrafts(all); err != nil {
		return err
	}
	r.say("ruled out %s", strings.Join(ruledOut, ", "))
	r.say("          kept for the next reason of %s on this PC, for a week", r.c.ID)
	return nil
}

func (s *shop) writeDrafts(all map[string]draft) error {
	data, err := json.MarshalIndent(all, "", "  ")
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(s.draftFile()), 0o777); err != nil {
		return cannotWrite(s.draftFile(), err)
	}
	if err := s.repo.ReplaceFile(s.draftFile(), data); err != nil {
		return cannotWrite(s.draftFile(), err)
	}
	return nil
}

// dropDraft forgets what was ruled out for the condition: what it was is found, and the next reason is about something else.
func (r *round) dropDraft() error {
	all := r.drafts()
	if _, ok := all[r.c.ID.String()]; !ok {
		return nil
	}
	delete(all, r.c.ID.String())
	return r.writeDrafts(all)
}

// fromTriage fills in what was ruled out in walks since the conditions were last explained, where nobody says otherwise. One reason for
// several conditions says of each what was ruled out, so only what was ruled out for all of them is taken.
func (s *shop) fromTriage(w *why, differences []history.Difference) {
	if len(w.ruledOut) > 0 || w.cause != "" && !schema.FaultCauses[w.cause] || len(differences) == 0 {
		return
	}
	if _, err := os.Stat(s.draftFile()); errors.Is(err, os.ErrNotExist) {
		return
	}
	var words []string
	var last draft
	all := s.drafts()
	for i, d := range differences {
		found, ok := all[d.ID.String()]
		if !ok || slices.ContainsFunc(s.committed.ledger.Edges(schema.SubjectCondition, d.ID.String()), func(e history.Edge) bool { return e.Record.Time().After(found.At) }) {
			return
		}
		if i == 0 {
			words = slices.Clone(found.RuledOut)
		}
		words = slices.DeleteFunc(words, func(word string) bool {
			return !slices.Contains(schema.RuledOut, word) || !slices.Contains(found.RuledOut, word)
		})
		if found.At.After(last.At) {
			last = found
		}
	}
	if len(words) == 0 {
		return
	}
	w.ruledOut = words
	s.say("ruled out on %s, in the walk through the checks: %s", s.day(last.At), strings.Join(words, ", "))
}
