package lint

import (
	"fmt"
	"strings"

	"fettle/schema"
	"fettle/schema/quantity"
)

// A Worked is the calculation behind a rule for one block of one condition: what was put in, what came of it, what it was held
// against, and what the rule makes of it.
type Worked struct {
	Block   string // cut, lead_in, pierce …; "" for the whole condition
	Put     []Term // values of the condition and the machine
	From    []Term // constants, with how far they may be off and where they stand
	Out     []Term // results, each with its formula
	Against []Term // limits
	Verdict Severity
	Says    string // the finding, "" where there is none
}

// A Term is one line of a calculation.
type Term struct {
	Symbol string // P, t, rho
	Is     string // what it is, or the formula of a result
	Value  string // with its unit
	Source string // where it stands: a field, a member of the profile, a publication
}

// An Explanation is a rule at work on one condition.
type Explanation struct {
	Rule     Rule
	ID       schema.ID
	Limit    string // the limit in force, "" where the rule has none
	Worked   []Worked
	Findings []Finding // of this rule on this condition
	Sleeping []string  // members of the machine profile that it waits for
}

// Explain works a rule out for one condition of the library. findings are what a run says of the library, where the caller has one that
// knows more than the library itself (its history); else nil, and the rule is run here.
func Explain(lib *schema.Library, base *schema.Library, rule Rule, r *schema.Recipe, findings []Finding) Explanation {
	s := newRun(lib, lib.Settings.Value, Options{Base: base, Only: func(o *schema.Recipe) bool { return o == r }})
	p := s.inSet(r.File, r.Set)
	p.Recipe, p.Family, p.rule = r, s.familyOf(r), &rule
	e := Explanation{Rule: rule, ID: r.ID}
	if rule.Limit != "" {
		if l := s.limit(&rule); l.number != nil {
			e.Limit = l.number.RatString()
			if f, exact := l.number.Float64(); exact || l.number.Denom().Int64() != 1 {
				e.Limit = digits(f, 6)
			}
		} else {
			e.Limit = l.value.Format(s.prefs)
		}
	}
	if rule.Check != nil && rule.Scope&PerRecipe != 0 && s.severity(&rule) != Off {
		rule.Check(&p)
	}
	for _, a := range s.asleep {
		e.Sleeping = append(e.Sleeping, a.Member)
	}
	if findings == nil {
		findings = Run(lib, s.opts).Findings
	}
	for _, f := range findings {
		if f.Rule == rule.Name && f.ID == r.ID.String() {
			e.Findings = append(e.Findings, f)
		}
	}
	if work := workOf(rule.Name); work != nil {
		e.Worked = work(&p)
	}
	for i := range e.Worked {
		w := &e.Worked[i]
		for _, f := range s.found {
			if f.Severity > w.Verdict && w.covers(f.Field) {
				w.Verdict, w.Says = f.Severity, f.Message
			}
		}
	}
	return e
}

// covers reports whether a finding at that field is about this block.
func (w *Worked) covers(field string) bool {
	switch w.Block {
	case "":
		return true
	case "pierce":
		return strings.HasPrefix(field, "pierce[")
	case "cut":
		return strings.HasPrefix(field, "cut.") || strings.HasPrefix(field, "nozzle.") || field == "kerf"
	}
	return strings.HasPrefix(field, w.Block+".")
}

// workOf returns what writes the calculation of a rule down; nil where there is nothing to calculate.
func workOf(rule string) func(*Pass) []Worked {
	switch rule {
	case "energy-short":
		return workEnergyShort
	case "energy-excess":
		return workEnergyExcess
	case "oxygen-short":
		return workOxygenShort
	case "kerf-beam":
		return workKerfBeam
	case "beam-clips-nozzle":
		return workBeamClips
	case "standoff-orifice":
		return workStandoff
	case "pierce-energy":
		return workPierce
	case "jet":
		return workJet
	case "valve-cannot-feed":
		return workValve
	}
	if work := workTrend(rule); work != nil {
		return work
	}
	return workLimits(rule)
}

// put adds a value of the condition or the machine.
func (w *Worked) put(p *Pass, symbol, is string, v quantity.Value, source string) {
	if !v.IsZero() {
		w.Put = append(w.Put, Term{symbol, is, p.Show(v), source})
	}
}

// word adds something that is no quantity.
func (w *Worked) word(symbol, is, value, source string) {
	w.Put = append(w.Put, Term{symbol, is, value, source})
}

func (w *Worked) out(symbol, formula, value string) {
	w.Out = append(w.Out, Term{Symbol: symbol, Is: formula, Value: value})
}

func (w *Worked) against(is, value string) {
	w.Against = append(w.Against, Term{Is: is, Value: value})
}

// number writes a plain number with its unit.
func number(x float64, unit string) string {
	return strings.TrimSpace(digits(x, 3) + " " + unit)
}

func percentText(share float64) string { return fmt.Sprintf("%s %%", digits(100*share, 3)) }
