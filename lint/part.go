package lint

import (
	"slices"

	"fettle/schema"
)

// A Part is what was found in the conditions of some sets, for a library that is judged in parts: one that is too large to be held at
// once, or of which much was judged before. Sets of one machine, material and gas belong into one part, since they are judged together;
// see [schema.Library.With].
type Part struct {
	Findings   []PartFinding
	Conditions map[string]int // in each file
	Families   []string       // the names of the families in it
	Stood      []string       // and in what stood before
	Asleep     []Sleep        // checks that had no data
	Slept      []Sleep        // and before, where that had to be known
}

// A PartFinding is a finding with what makes of it one on a recipe.
type PartFinding struct {
	Finding
	Recipe schema.ID     // the zero ID where it is on none
	Digest schema.Digest // of the recipe
}

// RunPart judges sets and conditions of a part of a library as [Run] does. What somebody accepted is left in; [Join] takes it out.
func RunPart(lib *schema.Library, opts Options) Part {
	opts.Accepted, opts.Records = nil, nil
	const scopes = PerFile | PerSet | PerRecipe | PerFamily | PerChange
	s := newRun(lib, lib.Settings.Value, opts)
	s.scopes(scopes)
	if opts.InForce != nil {
		s.alsoInForce()
	}
	s.selected()
	part := Part{Conditions: map[string]int{}, Families: lib.FamilyNames(), Asleep: mergedSleeps(s.asleep)}
	for _, f := range lib.Files {
		part.Conditions[f.Path] = 0
	}
	for _, r := range lib.Recipes {
		part.Conditions[r.File.Path]++
	}
	switch {
	case opts.Base == nil:
	case opts.Same && opts.InForce == nil:
		for _, f := range s.found {
			f.Old = true
		}
		part.Stood, part.Slept = part.Families, part.Asleep
	default:
		before := s.base(len(s.asleep) > 0)
		before.scopes(scopes)
		s.markFrom(before)
		part.Stood, part.Slept = opts.Base.FamilyNames(), mergedSleeps(before.asleep)
	}
	for _, f := range s.found {
		found := PartFinding{Finding: *f}
		if f.recipe != nil {
			found.Recipe, found.Digest = f.recipe.ID, f.recipe.Digest()
		}
		if f.File != nil {
			found.File = &schema.File{Path: f.File.Path, Data: f.File.Data} // not all that was read of it
		}
		found.Finding = found.Apart()
		part.Findings = append(part.Findings, found)
	}
	return part
}

// Apart is a finding that holds on to nothing of the library but its file: for who keeps it longer than that.
func (f Finding) Apart() Finding {
	f.recipe, f.mark = nil, ""
	return f
}

// Join judges what of a library is in no set, its settings, machines and records, and puts the parts together. The libraries, also those
// of the options, are without sets; they are told the names of all families (see [schema.Library.Named]).
func Join(lib *schema.Library, opts Options, parts []Part, accepted func(rule string, severity Severity, id schema.ID, digest schema.Digest) bool) Result {
	opts.Changes, opts.Accepted = nil, nil
	s := newRun(lib, lib.Settings.Value, opts)
	const scopes = PerFile | PerSettings | PerMachine | PerRecord
	s.scopes(scopes)
	var slept []Sleep
	for _, p := range parts {
		s.asleep = append(s.asleep, p.Asleep...)
		slept = append(slept, p.Slept...)
		for _, n := range p.Conditions {
			s.conditions += n
		}
	}
	s.sleeping()
	s.selected()
	if opts.Base != nil {
		before := s.base(false)
		before.scopes(scopes)
		before.asleep = slept
		before.sleeping()
		s.markFrom(before)
	}
	result := Result{Files: len(lib.Files), Conditions: s.conditions, Sleeping: s.asleep}
	for _, f := range s.found {
		result.Findings = append(result.Findings, *f)
	}
	for _, p := range parts {
		for _, f := range p.Findings {
			if accepted != nil && f.MayBeAccepted() && accepted(f.Rule, f.Severity, f.Recipe, f.Digest) {
				result.Accepted++
				continue
			}
			result.Findings = append(result.Findings, f.Finding)
		}
	}
	sortFindings(result.Findings)
	return result
}

// MayBeAccepted reports whether somebody may take responsibility for a finding: it is on a recipe, and not about a change or a file.
func (f *PartFinding) MayBeAccepted() bool {
	if f.Digest == "" {
		return false
	}
	i := slices.IndexFunc(registry, func(r Rule) bool { return r.Name == f.Rule })
	return i < 0 || registry[i].Family != "change" && registry[i].Family != "file"
}
