package triage

import (
	"time"

	"fettle/history"
	"fettle/lint/trial"
	"fettle/schema"
)

// Proven returns the interval of one value that trials before a moment showed good, all else as in the recipe: the one around its value, or
// else the longest; nil where there are not two good values beside each other.
func Proven(l *history.Ledger, id schema.ID, like *schema.Values, field string, machine schema.BeamAndJet, before time.Time) *Window {
	if like == nil {
		return nil
	}
	e := l.Evidence(id, like, machine)
	var cuts []trial.Cut
	for _, c := range e.Along(field) {
		if !c.Record.Time().After(before) {
			cuts = append(cuts, trial.Cut{Value: e.ValueOf(c, field), Outcome: trial.OutcomeNamed(c.Step.Outcome.V)})
		}
	}
	w, ok := trial.Around(trial.Windows(trial.Levels(cuts)), e.Recipe(field))
	if !ok || w.Steps < 2 {
		return nil
	}
	return &Window{w.Low, w.High}
}
