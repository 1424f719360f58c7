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
	data, err := json.MarshalIndent(all, "", "  ")
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(r.draftFile()), 0o777); err != nil {
		return cannotWrite(r.draftFile(), err)
	}
	if err := r.repo.ReplaceFile(r.draftFile(), data); err != nil {
		return cannotWrite(r.draftFile(), err)
	}
	r.say("ruled out %s", strings.Join(ruledOut, ", "))
	r.say("          kept for the next reason of %s on this PC, for a week", r.c.ID)
	return nil
}

// fromTriage fills in what was ruled out in a walk since the condition was last explained, where nobody says otherwise.
func (s *shop) fromTriage(w *why, differences []history.Difference) {
	if len(w.ruledOut) > 0 || w.cause != "" && !schema.FaultCauses[w.cause] || len(differences) == 0 {
		return
	}
	if _, err := os.Stat(s.draftFile()); errors.Is(err, os.ErrNotExist) {
		return
	}
	all := s.drafts()
	for _, d := range differences {
		found, ok := all[d.ID.String()]
		if !ok || slices.ContainsFunc(s.committed.ledger.Edges(schema.SubjectCondition, d.ID.String()), func(e history.Edge) bool { return e.Record.Time().After(found.At) }) {
			continue
		}
		for _, word := range found.RuledOut {
			if slices.Contains(schema.RuledOut, word) && !slices.Contains(w.ruledOut, word) {
				w.ruledOut = append(w.ruledOut, word)
			}
		}
		s.say("ruled out on %s, in the walk through the checks: %s", s.day(found.At), strings.Join(found.RuledOut, ", "))
	}
}
