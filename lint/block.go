package lint

import (
	"fmt"
	"iter"
	"slices"

	"fettle/schema"
	"fettle/schema/quantity"
)

type blockKind uint8

const (
	cutBlock blockKind = iota
	leadInBlock
	contourBlock
	pierceBlock
	cornerBlock
)

// A block is one moment of a recipe with its own beam and jet: the cut, the lead-in, a kind of small contour, a stage of the
// pierce, a corner. Every limit of the machine holds in each of them.
type block struct {
	kind  blockKind
	path  string            // cut, lead_in, contours[0], pierce[1], corner
	own   *schema.CutValues // what stands in the file
	whole *schema.CutValues // with what it takes over from the cut; a stage of the pierce takes nothing over
	stage *schema.Stage     // of a pierce
}

// field is the path of one of its values. A corner calls its own least values.
func (b *block) field(name string) string {
	if b.kind == cornerBlock {
		return b.path + ".min_" + name
	}
	return b.path + "." + name
}

// pulsed reports whether the beam is pulsed: where it says so, and where it says nothing but has a duty below one.
func (b *block) pulsed() bool {
	return isPulsed(&b.whole.Mode, &b.whole.Duty)
}

func isPulsed(mode *schema.Member[string], duty *schema.Member[quantity.Ratio]) bool {
	if mode.Set() {
		return mode.V == "pulsed"
	}
	return duty.Set() && duty.V.Sign() > 0 && duty.V.Below(allOfIt)
}

var allOfIt = quantity.MustParseOf[quantity.Ratio]("100 %")

// powers are the powers that stand in the file, with their fields.
func (b *block) powers() iter.Seq[placed[quantity.Power]] {
	return func(yield func(placed[quantity.Power]) bool) {
		if b.own.Power.Set() && !yield(placed[quantity.Power]{b, "power", &b.own.Power}) {
			return
		}
		if b.stage != nil && b.stage.EndPower.Set() {
			yield(placed[quantity.Power]{b, "end_power", &b.stage.EndPower})
		}
	}
}

// placed is a member with its name in a block.
type placed[T any] struct {
	block *block
	name  string
	*schema.Member[T]
}

func (m placed[T]) field() string { return m.block.field(m.name) }
func (m placed[T]) place() Place  { return Place{m.field(), m.At} }

// blocks are those of the condition. Nearly every rule asks for them in turn, so they are kept until another condition is asked for: then
// these are no longer good.
func (p *Pass) blocks() []*block {
	s := &p.state.condition
	if s.of != p.Recipe.Condition {
		s.of, s.cuts = p.Recipe.Condition, false
		s.read(p.Recipe.Condition)
	}
	return s.blocks
}

// A blocked is a condition in blocks. Its room is used again for the next one.
type blocked struct {
	of     *schema.Condition
	blocks []*block
	all    []block
	stages []schema.CutValues // of the pierce

	cuts    bool // cutting is of the condition, too
	cutting cutting
	moments []moment
	lists   []*moment
}

// read lists the blocks of a condition in the order of the file.
func (s *blocked) read(c *schema.Condition) {
	cut := (*schema.CutValues)(&c.Cut.V)
	all := append(s.all[:0], block{kind: cutBlock, path: "cut", own: cut, whole: cut})
	if c.LeadIn.Set() {
		own := &c.LeadIn.V.CutValues
		all = append(all, block{kind: leadInBlock, path: "lead_in", own: own, whole: over(cut, own)})
	}
	if c.Corner.Set() {
		own := &schema.CutValues{Power: c.Corner.V.MinPower, Frequency: c.Corner.V.MinFrequency, Duty: c.Corner.V.MinDuty}
		all = append(all, block{kind: cornerBlock, path: "corner", own: own, whole: over(cut, own)})
	}
	for i := range c.Contours.V {
		own := &c.Contours.V[i].CutValues
		all = append(all, block{kind: contourBlock, path: numbered("contours", i), own: own, whole: over(cut, own)})
	}
	s.stages = slices.Grow(s.stages[:0], len(c.Pierce.V))[:len(c.Pierce.V)]
	for i := range c.Pierce.V {
		p, own := &c.Pierce.V[i], &s.stages[i] // whose speed is never set
		own.Power, own.Pressure, own.Focus, own.Spot, own.Mode, own.Frequency, own.Duty = p.Power, p.Pressure, p.Focus, p.Spot, p.Mode, p.Frequency, p.Duty
		all = append(all, block{kind: pierceBlock, path: numbered("pierce", i), own: own, whole: own, stage: p})
	}
	s.all, s.blocks = all, s.blocks[:0]
	for i := range all {
		s.blocks = append(s.blocks, &all[i])
	}
}

// numbered is the path of an item of a list. The first ones are what there mostly is.
func numbered(list string, i int) string {
	switch {
	case i == 0 && list == "pierce":
		return "pierce[0]"
	case i == 1 && list == "pierce":
		return "pierce[1]"
	}
	return fmt.Sprintf("%s[%d]", list, i)
}

// over puts what own has over what cut has.
func over(cut, own *schema.CutValues) *schema.CutValues {
	return &schema.CutValues{
		Power: pick(own.Power, cut.Power), Speed: pick(own.Speed, cut.Speed), Pressure: pick(own.Pressure, cut.Pressure),
		Focus: pick(own.Focus, cut.Focus), Spot: pick(own.Spot, cut.Spot), Mode: pick(own.Mode, cut.Mode),
		Frequency: pick(own.Frequency, cut.Frequency), Duty: pick(own.Duty, cut.Duty),
	}
}

func pick[T any](own, cut schema.Member[T]) schema.Member[T] {
	if own.Set() {
		return own
	}
	return cut
}

// gasOf is the gas of a block: its own, or that of the set.
func (p *Pass) gasOf(b *block) string {
	if b.stage != nil && b.stage.Gas.Set() {
		return b.stage.Gas.V
	}
	return p.Gas
}

// ownGas reports whether the block names a gas itself; else the set does, outside of the condition.
func (b *block) ownGas() bool { return b.stage != nil && b.stage.Gas.Set() }
