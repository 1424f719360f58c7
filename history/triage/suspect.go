package triage

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"fettle/history"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A Situation is what is known of the bad parts.
type Situation struct {
	Symptoms  []string
	Oxygen    bool // cut with a gas that burns iron
	Thickness float64
	From, To  time.Time
}

// OnMachine says whether a change was on the machine while the bad parts were cut, as far as anybody wrote that down.
type OnMachine string

// What is known of it.
const (
	Yes     OnMachine = "yes"
	No      OnMachine = "no"
	Unknown OnMachine = "unknown"
)

// A Change is one value that was another one before the bad parts, or came while they were cut.
type Change struct {
	history.FieldChange
	At        time.Time // when it went onto the machine; where that is not known, when it was saved
	OnMachine OnMachine
	Window    *Window               // what trials showed good of the field, nil for nothing
	Tried     bool                  // a trial of the new recipe cut well before the bad parts
	With      []history.FieldChange // what else changed in the same step
}

// A Window is the interval of a value that trials showed good, all else equal.
type Window struct{ Low, High quantity.Value }

// A Suspect is a change with what speaks for and against it. The score orders suspects; it is no probability.
type Suspect struct {
	Change
	Index           int // among the changes given
	Score           float64
	Fit, Size, Time float64 // what the score is made of, 0 to 1
	For, Against    []string
}

// Rank orders changes by how well they explain what was seen: whether the direction fits physically, how large the change is against what
// trials proved or against a usual step, and whether the time fits. A change that fits nothing stays in the list, at its end.
func (k *Knowledge) Rank(s Situation, changes []Change) []Suspect {
	out := make([]Suspect, len(changes))
	for i, c := range changes {
		r := &out[i]
		r.Change, r.Index = c, i
		k.judgeFit(s, r)
		r.judgeSize(s)
		r.judgeTime(s)
		r.Score = r.Fit * r.Size * r.Time
		if c.Tried {
			r.Score *= 0.6
			r.Against = append(r.Against, "a trial with the new recipe cut well before the bad parts")
		}
	}
	slices.SortStableFunc(out, func(a, b Suspect) int { return cmp.Compare(b.Score, a.Score) })
	return out
}

// How much a fit counts. What no line links to a symptom is not ruled out by that.
var strengths = map[string]float64{Strong: 0.85, Fair: 0.5, Weak: 0.25}

const (
	noLink   = 0.08
	contrary = 0.04 // a line says that the other direction brings the symptom about
	describe = 0.01 // a value that no machine works by
)

// judgeFit asks whether the direction of the change fits the symptoms.
func (k *Knowledge) judgeFit(s Situation, r *Suspect) {
	change := direction(r.FieldChange)
	field := general(r.Path)
	name := spoken(r.Path) + " " + change
	if !schema.ProcessField(r.Path) && r.Path != "kerf" {
		r.Fit = describe
		r.Against = append(r.Against, spoken(r.Path)+" describes the part and changes no cut")
		return
	}
	if len(s.Symptoms) == 0 {
		r.Fit = 0.5
		r.Against = append(r.Against, "no symptom is on record, so nothing says whether the direction fits")
		return
	}
	miss := 1.0
	for _, symptom := range s.Symptoms {
		best, opposite := k.fit(symptom, field, change, s.Oxygen)
		switch {
		case best != nil:
			miss *= 1 - strengths[best.Strength]
			r.For = append(r.For, fmt.Sprintf("%s fits %s (%s): %s", name, symptom, best.Strength, best.Why.Text))
		case opposite != nil:
			r.Against = append(r.Against, fmt.Sprintf("%s works against %s", name, symptom))
			miss *= 1 - contrary
		default:
			r.Against = append(r.Against, fmt.Sprintf("nothing known links %s to %s", name, symptom))
			miss *= 1 - noLink
		}
	}
	r.Fit = 1 - miss
	if slices.Contains(s.Symptoms, "one-sided") {
		r.Fit *= 0.4
		r.Against = append(r.Against, "a recipe cuts all sides alike, and this is bad on one side")
	}
	k.judgeHeat(r)
}

// fit returns the line that links a change to a symptom, or one that links its opposite to it.
func (k *Knowledge) fit(symptom, field, change string, oxygen bool) (best, opposite *Fit) {
	lines := k.Symptom(symptom).Fits
	for i := range lines {
		f := &lines[i]
		if f.Field != field && f.Field != part(field) || f.Gas == Oxygen && !oxygen || f.Gas == Inert && oxygen {
			continue
		}
		switch {
		case f.Change == change, f.Change == Other && f.Field == field, f.Change == Other && f.Field == part(field) && change == Other:
			if best == nil || strengths[f.Strength] > strengths[best.Strength] {
				best = f
			}
		case f.Field == field && f.Change != Other && change != Other:
			opposite = f
		}
	}
	return best, opposite
}

// judgeHeat looks whether power and speed went the same way, so that the heat for each millimetre is nearly what it was.
func (k *Knowledge) judgeHeat(r *Suspect) {
	partner := map[string]string{"cut.speed": "cut.power", "cut.power": "cut.speed"}[r.Path]
	i := slices.IndexFunc(r.With, func(c history.FieldChange) bool { return c.Path == partner })
	if partner == "" || i < 0 {
		return
	}
	own, okOwn := ratio(r.FieldChange)
	other, okOther := ratio(r.With[i])
	if !okOwn || !okOther || (own-1)*(other-1) <= 0 {
		return
	}
	if left := math.Abs(own/other - 1); left < 0.5*math.Abs(own-1) {
		r.Fit *= 0.3
		r.Against = append(r.Against, fmt.Sprintf("%s went the same way, so the heat for each millimetre changed by %.0f %% only", spoken(partner), left*100))
	}
}

// usual steps of a field, from which on a change counts as large: the limits of the rule large-step.
var usual = []struct {
	ending   string
	share    float64 // of the value
	amount   float64 // in SI, or 0
	perThick float64 // of the thickness
}{
	{"pressure", 0.20, 0.05e5, 0}, {"focus", 0, 1e-3, 0.15}, {"standoff", 0.30, 0.3e-3, 0}, {"time", 0.50, 0.1, 0}, {"power", 0.20, 0, 0}, {"speed", 0.20, 0, 0},
	{"duty", 0, 0.10, 0}, {"orifice", 0, 0.5e-3, 0}, {"frequency", 0.30, 0, 0}, {"length", 0.50, 2e-3, 0}, {"kerf", 0.15, 0.04e-3, 0}, {"spot", 0.15, 0, 0},
}

// judgeSize asks how large the change is: against the window that trials proved, or else against a usual step.
func (r *Suspect) judgeSize(s Situation) {
	from, to := r.From.Quantity, r.To.Quantity
	if from.IsZero() || to.IsZero() || from.Dimension() != to.Dimension() {
		r.Size = 0.8 // another word, or a part that came or went
		return
	}
	if w := r.Window; w != nil && w.Low.Dimension() == to.Dimension() {
		low, high, v := w.Low.SI(), w.High.SI(), to.SI()
		half := (high - low) / 2
		switch {
		case v < low || v > high:
			beyond := math.Max(low-v, v-high)
			r.Size = 0.75 + 0.25*math.Min(1, beyond/math.Max(half, 1e-12))
			r.For = append(r.For, fmt.Sprintf("%s is outside what trials showed good, %s to %s", shownValue(to), shownValue(w.Low), shownValue(w.High)))
		default:
			edge := math.Abs(v-(low+high)/2) / math.Max(half, 1e-12)
			r.Size = 0.15 + 0.25*edge
			words := "inside"
			if edge > 0.7 {
				words = "near the edge of"
			}
			r.Against = append(r.Against, fmt.Sprintf("%s is %s what trials showed good, %s to %s", shownValue(to), words, shownValue(w.Low), shownValue(w.High)))
		}
		return
	}
	steps := math.Abs(to.SI()-from.SI()) / math.Max(r.usualStep(s), 1e-12)
	r.Size = math.Min(1, 0.15+0.6*steps)
	switch {
	case steps >= 1:
		r.For = append(r.For, "it is a large step, and no trials say how far is good")
	case steps < 0.25:
		r.Against = append(r.Against, "it is a small step")
	}
}

// shownValue is a quantity as people read it, in the unit in which it was typed.
func shownValue(v quantity.Value) string { return v.Format(nil) }

func (r *Suspect) usualStep(s Situation) float64 {
	from := math.Abs(r.From.Quantity.SI())
	for _, u := range usual {
		if strings.HasSuffix(r.Path, u.ending) {
			return math.Max(math.Max(u.share*from, u.amount), u.perThick*s.Thickness)
		}
	}
	return 0.2 * from
}

// judgeTime asks whether the change was on the machine when the bad parts were cut, and how long before they began.
func (r *Suspect) judgeTime(s Situation) {
	switch before := s.From.Sub(r.At); {
	case r.OnMachine == No:
		r.Time = 0.1
		r.Against = append(r.Against, "by what was written down of loads it was not on the machine then")
	case r.At.After(s.To):
		r.Time = 0.02
		r.Against = append(r.Against, "it came after the last bad part")
	case before < 0:
		r.Time = 0.45
		r.Against = append(r.Against, fmt.Sprintf("parts were bad for %s before it; it can explain only what came after", Span(-before)))
	default:
		days := before.Hours() / 24
		r.Time = 0.25 + 0.75*math.Exp(-days/20)
		if days < 3 {
			r.For = append(r.For, fmt.Sprintf("it came %s before the first bad part", Span(before)))
		} else if days > 30 {
			r.Against = append(r.Against, fmt.Sprintf("it stood for %s before the first bad part", Span(before)))
		}
	}
	if r.OnMachine == Unknown {
		r.Time *= 0.7
		r.Against = append(r.Against, "it is not on record whether it was on the machine")
	}
}

// Span is a length of time as people say it: 40 minutes, 3 hours, 5 days.
func Span(d time.Duration) string {
	say := func(n float64, unit string) string {
		if math.Round(n) == 1 {
			return "1 " + unit
		}
		return fmt.Sprintf("%.0f %ss", n, unit)
	}
	switch {
	case d < 90*time.Minute:
		return say(d.Minutes(), "minute")
	case d < 36*time.Hour:
		return say(d.Hours(), "hour")
	case d < 60*24*time.Hour:
		return say(d.Hours()/24, "day")
	}
	return say(d.Hours()/24/30.44, "month")
}

// direction is up or down where a quantity became larger or smaller, else other.
func direction(c history.FieldChange) string {
	from, to := c.From.Quantity, c.To.Quantity
	if from.IsZero() || to.IsZero() || from.Dimension() != to.Dimension() {
		return Other
	}
	switch d := to.Cmp(from); {
	case d > 0:
		return Up
	case d < 0:
		return Down
	}
	return Other
}

func ratio(c history.FieldChange) (float64, bool) {
	from, to := c.From.Quantity, c.To.Quantity
	if from.IsZero() || to.IsZero() || from.SI() <= 0 {
		return 0, false
	}
	return to.SI() / from.SI(), true
}

// general is a path without the number of a stage or contour: pierce.time. What a small contour has of a cut counts as the cut.
func general(path string) string {
	for _, group := range []string{"pierce", "contours"} {
		if rest, ok := strings.CutPrefix(path, group+"["); ok {
			if _, member, ok := strings.Cut(rest, "]."); ok {
				if group == "contours" {
					return "cut." + member
				}
				return group + "." + member
			}
			return group
		}
	}
	return path
}

// part is what a field belongs to: pierce, corner, lead_in.
func part(field string) string {
	name, _, _ := strings.Cut(field, ".")
	if slices.Contains(parts, name) {
		return name
	}
	return ""
}

func spoken(path string) string {
	return strings.ReplaceAll(strings.TrimPrefix(schema.SpokenPath(path), "cut."), ".", " ")
}

// Gather turns the fields that differ between two recipes into changes that can be judged: a stage of a pierce that came or went is one
// change and not one for each of its members, and free text is none.
func Gather(fields []history.FieldChange) []history.FieldChange {
	var out []history.FieldChange
	stages := map[string]bool{}
	whole := func(name string, f history.FieldChange) {
		if stages[name] {
			return
		}
		stages[name] = true
		c := history.FieldChange{Path: name}
		if f.From.Path != "" {
			c.From = schema.Field{Path: name, Text: "there"}
			c.To = schema.Field{Path: name, Text: "gone"}
		} else {
			c.From = schema.Field{Path: name, Text: "none"}
			c.To = schema.Field{Path: name, Text: "new"}
		}
		out = append(out, c)
	}
	cameOrWent := func(prefix string, n *int, same func(history.FieldChange) bool) bool {
		all := true
		for _, f := range fields {
			if strings.HasPrefix(f.Path, prefix) {
				*n++
				all = all && same(f)
			}
		}
		return all
	}
	for _, f := range fields {
		if f.From.Note || f.To.Note {
			continue
		}
		if f.From.Path != "" && f.To.Path != "" {
			out = append(out, f)
			continue
		}
		name := f.Path
		if i := strings.Index(f.Path, "]."); i >= 0 {
			name = f.Path[:i+1]
		} else if p := part(f.Path); p != "" {
			name = p
		}
		n := 0
		if name != f.Path && cameOrWent(name, &n, func(g history.FieldChange) bool {
			return (g.From.Path == "") == (f.From.Path == "") && (g.From.Path == "" || g.To.Path == "")
		}) && n > 1 {
			whole(name, f)
			continue
		}
		out = append(out, f)
	}
	return out
}
