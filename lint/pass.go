package lint

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"fettle/schema"
	"fettle/schema/quantity"
)

// A Pass is what a check sees: the one thing that it is called for and all around it. Parts outside of its [Scope] are nil.
type Pass struct {
	Library  *schema.Library
	Base     *schema.Library // what stood before; nil where there is nothing to compare with
	File     *schema.File
	Settings *schema.Settings
	Machine  *schema.Machine // the profile; nil where the set names one that is not there
	Set      *schema.ConditionSet
	Recipe   *schema.Recipe
	Family   []*schema.Recipe // by thickness, Recipe among them
	Material string           // the known material that the plate is judged as; "" where it is not known
	Gas      string           // of the set, as named there
	Change   *Change
	Record   *RecordChange

	rule  *Rule
	state *run
}

// A Place is where a finding points.
type Place struct {
	Field string // inside the condition where there is one, else from the root of the file
	At    schema.Span
}

// At is the place of a member.
func At[T any](field string, m schema.Member[T]) Place { return Place{field, m.At} }

// On returns a pass for another condition of the family, to report there.
func (p *Pass) On(r *schema.Recipe) *Pass {
	q := *p
	q.Recipe, q.File, q.Set = r, r.File, r.Set
	return &q
}

// Report adds a finding at the severity of the rule. Quantities among the arguments are written in the units that the library
// shows. The message is one line: the number, the limit, the reason. The result may be given a Help.
func (p *Pass) Report(at Place, format string, args ...any) *Finding {
	return p.ReportAs(p.rule.Severity, at, format, args...)
}

// ReportAs is [Pass.Report] for a rule with more than one level. Where the settings give the rule a severity of its own, the
// level that the rule itself has is replaced by it and a softer one gets no harder.
func (p *Pass) ReportAs(severity Severity, at Place, format string, args ...any) *Finding {
	own := p.state.severity(p.rule)
	if severity == p.rule.Severity || severity > own {
		severity = own
	}
	f := &Finding{Rule: p.rule.Name, Severity: severity, Field: at.Field, recipe: p.Recipe,
		Message: oneLine(fmt.Sprintf(format, p.state.shown(args)...))}
	f.place(p.File, at.At)
	switch {
	case p.Recipe != nil:
		f.ID = p.Recipe.ID.String()
	case p.Change != nil:
		f.ID = p.Change.ID.String()
	case p.Record != nil:
		f.Path = p.Record.Path
	}
	f.mark = mark(f, format, args)
	p.state.found = append(p.state.found, f)
	return f
}

// Show writes a quantity in the unit that the library shows.
func (p *Pass) Show(v quantity.Value) string { return v.Format(p.state.prefs) }

// Limit is the limit of a rule that has a dimension: the default or the one of the settings.
func (p *Pass) Limit() quantity.Value { return p.state.limit(p.rule).value }

// Number is the limit of a rule that takes a plain number.
func (p *Pass) Number() float64 { return p.state.limits[p.rule.at].plain }

// Needs reports whether a member of the machine profile is there. Where it is not, the rule sleeps, and the note for the machine
// will say so. Ask only once there is a value to be judged.
func (p *Pass) Needs(member string, there bool) bool {
	if p.Machine == nil {
		return false
	}
	if !there {
		p.state.sleeps(p.Machine.Name.V, member, p.rule.Name)
	}
	return there
}

// place finds line, column and width. A width ends with the line: a caret cannot span two.
func (f *Finding) place(file *schema.File, at schema.Span) {
	f.Line, f.Column, f.Width = 1, 1, 1
	f.File = file
	if file == nil {
		return
	}
	f.Path = file.Path
	if at.Start < 0 { // a value that stands in no file
		return
	}
	f.Line, f.Column = file.Position(at.Start)
	start, end := min(at.Start, len(file.Data)), min(at.End, len(file.Data))
	if start < end {
		text, _, _ := strings.Cut(string(file.Data[start:end]), "\n")
		f.Width = max(1, utf8.RuneCountInString(strings.TrimRight(text, "\r")))
	}
}

// canonical is what quantities have for [mark].
type canonical interface {
	Format(quantity.Prefs) string
	Canonical() string
}

// shown turns quantities into text.
func (s *run) shown(args []any) []any {
	out := make([]any, len(args))
	for i, arg := range args {
		if q, ok := arg.(canonical); ok {
			out[i] = q.Format(s.prefs)
			continue
		}
		out[i] = arg
	}
	return out
}

// mark is equal for the same finding in two snapshots: the same rule, condition, field and values, however they are written and
// in whatever unit they are shown.
func mark(f *Finding, format string, args []any) string {
	var b strings.Builder
	b.WriteString(f.Rule)
	b.WriteByte(0)
	if f.ID != "" {
		b.WriteString(f.ID)
	} else {
		b.WriteString(f.Path)
	}
	b.WriteByte(0)
	b.WriteString(f.Field)
	b.WriteByte(0)
	b.WriteString(format)
	for _, arg := range args {
		b.WriteByte(0)
		if q, ok := arg.(canonical); ok {
			b.WriteString(q.Canonical())
			continue
		}
		fmt.Fprint(&b, arg)
	}
	return b.String()
}

// oneLine keeps a message on one line whatever a file holds. Escaping for a terminal is the view's.
func oneLine(s string) string {
	return strings.NewReplacer("\r\n", " ", "\n", " ", "\r", " ").Replace(s)
}
