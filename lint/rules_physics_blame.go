package lint

import (
	"fmt"
	"strings"

	"fettle/schema/quantity"
)

// A balance hangs on several members, and a finding has to point at one. It points at the member that was touched; where nothing
// tells which that is, at the one that leaves the range of its family; else at the one that is named first.

// A suspect is a member that a finding about a balance may point at.
type suspect struct {
	Place
	value quantity.Value // no value for a word
}

// suspects are those of the named members that stand in the block itself.
func (m *moment) suspects(names ...string) []suspect {
	var out []suspect
	add := func(name string, at Place, value quantity.Value, set bool) {
		if set {
			out = append(out, suspect{at, value})
		}
	}
	for _, name := range names {
		field := m.field(name)
		switch name {
		case "power":
			add(name, At(field, m.own.Power), m.own.Power.V.Value, m.own.Power.Set())
		case "speed":
			add(name, At(field, m.own.Speed), m.own.Speed.V.Value, m.own.Speed.Set())
		case "pressure":
			add(name, At(field, m.own.Pressure), m.own.Pressure.V.Value, m.own.Pressure.Set())
		case "focus":
			add(name, At(field, m.own.Focus), m.own.Focus.V.Value, m.own.Focus.Set())
		case "spot":
			add(name, At(field, m.own.Spot), m.own.Spot.V.Value, m.own.Spot.Set())
		case "duty":
			add(name, At(field, m.own.Duty), m.own.Duty.V.Value, m.own.Duty.Set())
		case "mode":
			add(name, At(field, m.own.Mode), quantity.Value{}, m.own.Mode.Set())
		case "time":
			if m.stage != nil {
				add(name, At(field, m.stage.Time), m.stage.Time.V.Value, m.stage.Time.Set())
			}
		case "standoff":
			if m.stage != nil {
				add(name, At(field, m.stage.Standoff), m.stage.Standoff.V.Value, m.stage.Standoff.Set())
			}
		default:
			panic(fmt.Sprintf("lint: no suspect %q", name))
		}
	}
	return out
}

// nozzle adds the orifice, or the standoff, of the recipe where the block is the cut itself; other blocks share it and are not to
// blame for it.
func (c *cutting) nozzle(m *moment, list []suspect, names ...string) []suspect {
	n := c.condition.Nozzle.V
	if m.kind != cutBlock {
		return list
	}
	for _, name := range names {
		switch {
		case name == "orifice" && n.Orifice.Set():
			list = append(list, suspect{At("nozzle.orifice", n.Orifice), n.Orifice.V.Value})
		case name == "standoff" && n.Standoff.Set():
			list = append(list, suspect{At("nozzle.standoff", n.Standoff), n.Standoff.V.Value})
		}
	}
	return list
}

// blame chooses among suspects, of which there is at least one.
func (p *Pass) blame(list []suspect) suspect {
	if len(list) == 1 {
		return list[0]
	}
	if p.Base != nil {
		if before := p.Base.Recipe(p.Recipe.ID); before != nil && before.Digest() != p.Recipe.Digest() {
			for _, s := range list {
				if was, ok := valueAt(before.Condition, s.Field); !s.value.IsZero() && (!ok || !was.Equal(s.value)) {
					return s
				}
			}
		}
	}
	for _, s := range list {
		if low, high, n := p.familyRange(s.Field, s.value); n >= 2 && leaves(s.value.SI(), low.SI(), high.SI()) {
			return s
		}
	}
	return list[0]
}

// leaves reports whether a value lies outside of a range by more than the thickest or thinnest plate of a family does anyway.
func leaves(v, low, high float64) bool {
	if low > 0 {
		return v < low/1.35 || v > high*1.35
	}
	return v < low-(high-low)/3 || v > high+(high-low)/3
}

// accuse reports a finding on one of the suspects. The help says what its value was and what its family has, as far as that is known,
// and what to do where no slip of the pen explains it. Whichever is chosen, it is the same finding as before if rule, condition and
// values are.
func (p *Pass) accuse(severity Severity, list []suspect, help, format string, args ...any) {
	s := p.blame(list)
	f := p.ReportAs(severity, s.Place, format, args...)
	f.Help = help
	if known := p.context(s.Field, s.value); known != "" && !s.value.IsZero() {
		if f.Help = known; help != "" && !strings.HasSuffix(known, "?") {
			f.Help += " " + help
		}
	}
	at := f.Field
	f.Field = list[0].Field
	f.mark = mark(f, format, args)
	f.Field = at
}
