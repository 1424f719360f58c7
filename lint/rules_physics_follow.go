package lint

import "strings"

// A number that cannot be is not reckoned with: where a rule of another family calls one impossible, what physics makes of it would
// only repeat that in other words.

// impossibleNumbers are the fields of each condition that other families call impossible.
func impossibleNumbers(found []*Finding) map[string][]string {
	out := map[string][]string{}
	for _, f := range found {
		if f.ID == "" || f.Severity != Error && f.Rule != "bad-value" || f.Rule == "nozzle-not-fitted" {
			continue
		}
		if rule, _, _ := RuleNamed(f.Rule); rule.Family == "machine" && f.Rule != "valve-cannot-feed" || rule.Family == "file" {
			out[f.ID] = append(out[f.ID], f.Field)
		}
	}
	return out
}

// isPhysics reports whether the finding comes of a balance and not of a limit that stands somewhere.
func (f *Finding) isPhysics() bool {
	rule, _, _ := RuleNamed(f.Rule)
	return rule.Family == "physics" || f.Rule == "valve-cannot-feed"
}

// follows reports whether a finding of physics is the consequence of a field of the same condition that cannot be. Lead-in and contours
// take over what they do not say from the cut, and the kerf is judged by its focus.
func follows(f *Finding, impossible []string) bool {
	for _, field := range impossible {
		block, mine := blockPath(field), blockPath(f.Field)
		switch {
		case block == mine, field == "thickness", strings.HasPrefix(field, "nozzle."):
			return true
		case block == "cut" && (f.Field == "kerf" || mine == "lead_in" || strings.HasPrefix(mine, "contours[")):
			return true
		}
	}
	return false
}

// blockPath is the block that a field lies in: pierce[0] of pierce[0].power.
func blockPath(field string) string {
	if dot := strings.LastIndexByte(field, '.'); dot >= 0 {
		return field[:dot]
	}
	return field
}
