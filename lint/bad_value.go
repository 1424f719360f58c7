package lint

import (
	"fmt"

	"fettle/schema"
	"fettle/schema/quantity"
)

// badValue passes on what the reader found, and looks for quantities that no recipe, machine or setting can have.
func badValue(p *Pass) {
	switch {
	case p.Settings != nil:
		badSettings(p)
	case p.Recipe != nil:
		badRecipe(p)
	case p.Machine != nil:
		badMachine(p)
	default:
		problems(p)
	}
}

// above reports a quantity that is not above zero. The sentence says what such a value would mean.
func (p *Pass) above(at Place, v quantity.Value, means string) {
	if !v.IsZero() && v.Sign() <= 0 {
		p.Report(at, "%s %s", v, means).Help = p.context(at.Field, v)
	}
}

// notBelow reports a negative quantity.
func (p *Pass) notBelow(at Place, v quantity.Value, means string) {
	if v.Sign() < 0 {
		p.Report(at, "%s %s", v, means).Help = p.context(at.Field, v)
	}
}

// far is beyond anything that a cutting laser does today, by a wide margin. Trade judgement, no source; it only warns.
var far = struct {
	thickness, standoff, orifice, focus, spot, kerf quantity.Length
	power                                           quantity.Power
	speed                                           quantity.Speed
	pressure                                        quantity.Pressure
	time                                            quantity.Duration
	frequency                                       quantity.Frequency
}{
	thickness: length("200 mm"), standoff: length("100 mm"), orifice: length("20 mm"), focus: length("300 mm"), spot: length("5 mm"), kerf: length("10 mm"),
	power:     quantity.MustParseOf[quantity.Power]("200 kW"),
	speed:     quantity.MustParseOf[quantity.Speed]("600 m/min"),
	pressure:  quantity.MustParseOf[quantity.Pressure]("60 bar"),
	time:      quantity.MustParseOf[quantity.Duration]("120 s"),
	frequency: quantity.MustParseOf[quantity.Frequency]("500 kHz"),
}

func length(text string) quantity.Length { return quantity.MustParseOf[quantity.Length](text) }

// beyond reports whether a value, or a length without its sign, is more than another.
func beyond(v, most *quantity.Value) bool {
	switch sign := v.Sign(); {
	case sign > 0:
		return v.Dimension() == most.Dimension() && v.Cmp(*most) > 0
	case sign < 0:
		return v.Dimension() == quantity.DimLength && v.Scale(-1, 1).Cmp(*most) > 0
	}
	return false
}

func (p *Pass) far(at Place, v, most quantity.Value) {
	if beyond(&v, &most) {
		p.ReportAs(Warning, at, "%s is far beyond what a cutting laser does (%s)", v, most).Help = p.context(at.Field, v)
	}
}

func badRecipe(p *Pass) {
	c := p.Recipe.Condition
	p.within(nil, "thickness", c.Thickness.At, &c.Thickness.V.Value, bound{open: true}, &far.thickness.Value)
	n := &c.Nozzle.V
	p.within(nil, "nozzle.orifice", n.Orifice.At, &n.Orifice.V.Value, bound{means: "is no orifice: nothing flows through it"}, &far.orifice.Value)
	p.within(nil, "nozzle.standoff", n.Standoff.At, &n.Standoff.V.Value, bound{means: "is no standoff: the nozzle would touch the plate"}, &far.standoff.Value)
	for _, b := range p.blocks() {
		badBlock(p, b)
	}
	p.within(nil, "kerf", c.Kerf.At, &c.Kerf.V.Value, bound{means: "is no kerf: a cut takes metal away"}, &far.kerf.Value)
	p.notBelow(At("lead_in.length", c.LeadIn.V.Length), c.LeadIn.V.Length.V.Value, "is no length of a lead-in")
	for i := range c.Contours.V {
		size := c.Contours.V[i].MaxSize
		p.above(At(fmt.Sprintf("contours[%d].max_size", i), size), size.V.Value, "is no size of a contour")
	}
	q := c.Quality.V
	p.notBelow(At("quality.max_dross", q.MaxDross), q.MaxDross.V.Value, "is no height of dross")
	p.inRange("quality.perpendicularity_range", q.PerpendicularityRange, 5)
	p.inRange("quality.roughness_range", q.RoughnessRange, 4)
}

// inRange: ISO 9013:2017 has ranges 1 to 5 of perpendicularity or angularity tolerance and 1 to 4 of mean height of the profile.
func (p *Pass) inRange(field string, m schema.Member[int], last int) {
	if m.Set() && (m.V < 1 || m.V > last) {
		p.Report(At(field, m), "%d is no range of ISO 9013, which has 1 to %d here", m.V, last)
	}
}

// A bound is the end of what can be for a value of a block.
type bound struct {
	open  bool   // nothing is below it
	zero  bool   // zero can be, too
	means string // what a value below would mean
}

// within reports a value of a block, or of the condition itself where there is none, that is below its bound, or far beyond what there is.
func (p *Pass) within(b *block, name string, at schema.Span, v *quantity.Value, least bound, most *quantity.Value) {
	sign := v.Sign()
	if v.IsZero() || (least.open || sign > 0 || sign == 0 && least.zero) && !beyond(v, most) {
		return
	}
	place := Place{name, at}
	if b != nil {
		place.Field = b.field(name)
	}
	switch {
	case least.open:
	case least.zero:
		p.notBelow(place, *v, least.means)
	default:
		p.above(place, *v, least.means)
	}
	p.far(place, *v, *most)
}

func badBlock(p *Pass, b *block) {
	power := bound{means: "is no power to cut with"}
	if b.kind == pierceBlock || b.kind == cornerBlock { // a stage of 0 W is a blow, a corner may fall to nothing
		power = bound{zero: true, means: "is no power"}
	}
	for m := range b.powers() {
		p.within(b, m.name, m.At, &m.V.Value, power, &far.power.Value)
	}
	v := b.own
	p.within(b, "speed", v.Speed.At, &v.Speed.V.Value, bound{means: "is no speed: the head would stand or go backwards"}, &far.speed.Value)
	p.within(b, "pressure", v.Pressure.At, &v.Pressure.V.Value, bound{zero: true, means: "is no pressure at the head: pressures are gauge, above the air around"}, &far.pressure.Value)
	p.within(b, "focus", v.Focus.At, &v.Focus.V.Value, bound{open: true}, &far.focus.Value)
	p.within(b, "spot", v.Spot.At, &v.Spot.V.Value, bound{means: "is no diameter of a spot"}, &far.spot.Value)
	frequency := bound{means: "is no frequency of pulses"}
	if b.whole.Mode.V == "continuous" { // tables write 0 Hz there
		frequency = bound{zero: true, means: "is no frequency"}
	}
	p.within(b, "frequency", v.Frequency.At, &v.Frequency.V.Value, frequency, &far.frequency.Value)
	if s := b.stage; s != nil {
		p.within(b, "time", s.Time.At, &s.Time.V.Value, bound{zero: true, means: "is no time"}, &far.time.Value)
		p.within(b, "standoff", s.Standoff.At, &s.Standoff.V.Value, bound{means: "is no standoff: the nozzle would touch the plate"}, &far.standoff.Value)
	}
}

func badMachine(p *Pass) {
	m := p.Machine
	l, o := m.Laser.V, m.Optics.V
	for _, v := range []struct {
		field string
		value quantity.Value
		at    schema.Span
	}{
		{"laser.rated_power", l.RatedPower.V.Value, l.RatedPower.At},
		{"laser.peak_power", l.PeakPower.V.Value, l.PeakPower.At},
		{"laser.wavelength", l.Wavelength.V.Value, l.Wavelength.At},
		{"laser.beam_parameter_product", l.BeamParameterProduct.V.Value, l.BeamParameterProduct.At},
		{"laser.core_diameter", l.CoreDiameter.V.Value, l.CoreDiameter.At},
		{"laser.max_frequency", l.MaxFrequency.V.Value, l.MaxFrequency.At},
		{"head.collimation", o.Collimation.V.Value, o.Collimation.At},
		{"head.focal_length", o.FocalLength.V.Value, o.FocalLength.At},
		{"axes.max_speed", m.Axes.V.MaxSpeed.V.Value, m.Axes.V.MaxSpeed.At},
	} {
		p.above(Place{v.field, v.at}, v.value, "is nothing that a machine can have")
	}
	p.notBelow(At("laser.min_power", l.MinPower), l.MinPower.V.Value, "is no power")
	if l.MinPower.V.Above(l.RatedPower.V) {
		p.Report(At("laser.min_power", l.MinPower), "%s is above the rated %s", l.MinPower.V, l.RatedPower.V)
	}
	if l.PeakPower.V.Below(l.RatedPower.V) {
		p.Report(At("laser.peak_power", l.PeakPower), "%s is below the rated %s: a peak is at least that", l.PeakPower.V, l.RatedPower.V)
	}
	p.ordered("head.focus_range", o.FocusRange)
	p.ordered("head.standoff_range", o.StandoffRange)
	if r := o.StandoffRange; len(r.V) == 2 {
		p.notBelow(At("head.standoff_range", r), r.V[0].Value, "is no standoff")
	}
	for i, n := range o.Nozzles.V {
		p.above(At(fmt.Sprintf("head.nozzles[%d].orifice", i), n.Orifice), n.Orifice.V.Value, "is no orifice")
	}
	for _, s := range m.Gas {
		badSupply(p, "gas."+s.Name+".", s.V)
	}
}

func badSupply(p *Pass, prefix string, s schema.Supply) {
	p.above(At(prefix+"line_pressure", s.LinePressure), s.LinePressure.V.Value, "is no pressure of a line: pressures are gauge")
	p.far(At(prefix+"line_pressure", s.LinePressure), s.LinePressure.V.Value, quantity.MustParse(quantity.DimPressure, "400 bar"))
	p.share(At(prefix+"purity", s.Purity), s.Purity.V)
	v := s.Valve.V
	p.above(At(prefix+"valve.conductance", v.Conductance), v.Conductance.V.Value, "is no conductance: nothing would flow")
	p.above(At(prefix+"valve.max_pressure", v.MaxPressure), v.MaxPressure.V.Value, "is no pressure to set")
	if b := v.CriticalRatio; b.Set() && b.V.Float >= 1 {
		p.Report(At(prefix+"valve.critical_ratio", b), "%s is no critical pressure ratio, which lies between 0 and 1 (ISO 6358)", b.V.Text)
	}
}

// share reports a share by volume outside of 0 to 100 %.
func (p *Pass) share(at Place, v quantity.Ratio) {
	if v.IsZero() {
		return
	}
	if v.Sign() <= 0 || v.Above(allOfIt) {
		p.Report(at, "%s is no share by volume", v)
	}
}

func (p *Pass) ordered(field string, r schema.Member[[]quantity.Length]) {
	if len(r.V) == 2 && !r.V[0].IsZero() && !r.V[1].IsZero() && !r.V[0].Below(r.V[1]) {
		p.Report(At(field, r), "the range starts at %s and ends at %s: the lower end comes first", r.V[0], r.V[1])
	}
}

// badSettings looks at limits that no rule can read, mixes that do not add up, and trends of families that are not there.
func badSettings(p *Pass) {
	for _, row := range p.Settings.Rules {
		rule, _, ok := RuleNamed(row.Name)
		if !ok || !row.V.Limit.Set() {
			continue
		}
		if _, err := rule.readLimit(row.V.Limit.V); err != nil {
			f := p.Report(At("rules."+row.Name+".limit", row.V.Limit), "%v", err)
			if rule.Limit != "" {
				f.Help = fmt.Sprintf("Until it can be read, %s keeps its own limit of %s.", rule.Name, rule.Limit)
			}
		}
	}
	for _, mix := range p.Settings.Gases {
		sum := quantity.Ratio{}.Rat()
		for _, part := range mix.V {
			p.share(Place{"gases." + mix.Name + "." + part.Name, part.At}, part.V)
			sum.Add(sum, part.V.Rat())
		}
		if sum.Cmp(allOfIt.Rat()) != 0 {
			total, _ := quantity.FromRat(quantity.DimRatio, sum, "%")
			p.Report(Place{"gases." + mix.Name, mix.NameAt}, "the shares add up to %s, not to 100 %%", total)
		}
	}
	families := p.Library.FamilyNames()
	for _, row := range p.Settings.Trend {
		known := false
		for _, name := range families {
			known = known || name == row.Name
		}
		if !known {
			p.ReportAs(Warning, Place{"trend." + row.Name, row.NameAt}, "there is no family %q", row.Name).
				Help = didYouMean(row.Name, families, "A family is machine/material/gas, with variant and process where it has them.")
		}
	}
}
