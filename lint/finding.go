package lint

import (
	"cmp"
	"slices"

	"fettle/schema"
)

// A Finding is one result of a rule, at a place in a file.
type Finding struct {
	Rule     string
	Severity Severity
	Path     string       // of the file, from the root of the library
	Line     int          // from 1
	Column   int          // from 1, in code points
	Width    int          // code points on that line, at least 1
	ID       string       // of the condition, "" where it is about none
	Field    string       // dotted path inside the condition (cut.pressure), or from the root of the file where ID is ""
	Message  string       // the number, the limit, the reason; one line
	Help     string       // what to do, or what to compare with; may be empty
	File     *schema.File // nil where the path cannot be read
	Old      bool         // it stood before the change

	recipe *schema.Recipe
	mark   string // what makes it the same finding as one in another snapshot
}

// A Result is what [Run] found.
type Result struct {
	Findings          []Finding // by path, line, column, rule
	Files, Conditions int       // how many were judged
	Sleeping          []Sleep   // checks that had no data, by machine; also findings of the rule sleeping
	Accepted          int       // findings that [Options.Accepted] took
}

// A Sleep is a member of a machine profile that is missing, and the rules that wait for it.
type Sleep struct {
	Machine string
	Member  string // axes.max_speed
	Rules   []string
}

// Count returns how many findings there are of each severity, old ones included.
func (r Result) Count() (errors, warnings, notes int) {
	for _, f := range r.Findings {
		switch f.Severity {
		case Error:
			errors++
		case Warning:
			warnings++
		case Note:
			notes++
		}
	}
	return errors, warnings, notes
}

// Blocking returns the errors that did not stand before.
func (r Result) Blocking() []Finding {
	var out []Finding
	for _, f := range r.Findings {
		if f.Severity == Error && !f.Old {
			out = append(out, f)
		}
	}
	return out
}

// New returns the result without what stood before.
func (r Result) New() Result {
	r.Findings = slices.DeleteFunc(slices.Clone(r.Findings), func(f Finding) bool { return f.Old })
	return r
}

// Sort puts findings in the order of a [Result].
func Sort(list []Finding) { sortFindings(list) }

func sortFindings(list []Finding) {
	slices.SortStableFunc(list, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(a.Path, b.Path), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column),
			cmp.Compare(b.Severity, a.Severity), cmp.Compare(a.Rule, b.Rule))
	})
}
