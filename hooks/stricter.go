package hooks

import (
	"fettle/history"
	"fettle/lint"
	"fettle/schema"
)

// stricter keeps a change of the settings from letting through what it comes with: until somebody approves it, the policy and
// the severities in force hold beside the new ones. It returns the library to judge and the severities that are not those of its
// settings. Nothing ever softens the rules about saved records.
func stricter(standing *history.Standing, lib *schema.Library) (*schema.Library, map[string]lint.Severity) {
	severity := map[string]lint.Severity{history.RuleRecordAltered: lint.Error, history.RuleRecordRemoved: lint.Error}
	if standing.Settings == nil || lib.Settings.Value == nil {
		return lib, severity
	}
	for _, r := range lint.Rules() {
		if r.Family != "change" || r.Severity != lint.Error {
			continue
		}
		severity[r.Name] = max(severityIn(standing.Settings, r), severityIn(lib.Settings.Value, r), severity[r.Name])
	}
	held, now := standing.Settings.Policy.V, lib.Settings.Value.Policy.V
	if now.ReasonRequired() == held.ReasonRequired() && now.OwnChangeAllowed() == held.OwnChangeAllowed() {
		return lib, severity
	}
	settings := *lib.Settings.Value
	if held.ReasonRequired() {
		settings.Policy.V.Reason = held.Reason
	}
	if !held.OwnChangeAllowed() {
		settings.Policy.V.OwnChange = held.OwnChange
	}
	strict := *lib
	strict.Settings.Value = &settings
	return &strict, severity
}

func severityIn(settings *schema.Settings, r lint.Rule) lint.Severity {
	if own, ok := settings.Rules.Get(r.Name); ok && own.Severity.Set() {
		if severity, ok := lint.SeverityNamed(own.Severity.V); ok {
			return severity
		}
	}
	return r.Severity
}
