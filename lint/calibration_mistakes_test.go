package lint

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	"fettle/schema"
	"fettle/schema/quantity"
)

// A mistake is what a hand does to a recipe: it gets an ordinary condition of its own and changes it. It is false where there is
// nothing to change.
type mistake struct {
	name string
	make func(o *ordinary) bool
	// blind says why physics cannot see the mistake on a kind of cut; where it says nothing, physics has to.
	blind map[string]string
}

// Kinds of cuts, by what brings the heat and what becomes of the beam.
const (
	burning    = "steel in oxygen"
	absorbing  = "steel and titanium, inert"
	reflecting = "aluminium, copper, brass"
)

var kinds = []string{burning, absorbing, reflecting}

func (o *ordinary) kind() string {
	switch {
	case o.burns():
		return burning
	case o.material == "aluminium" || o.material == "copper" || o.material == "brass":
		return reflecting
	}
	return absorbing
}

// times multiplies the quantity at a field.
func times(field string, num, den int64) func(*ordinary) bool {
	return func(o *ordinary) bool {
		n := at(o.condition, field)
		if n == nil {
			return false
		}
		d, _ := quantity.UnitDimension(n.Text[strings.LastIndexByte(n.Text, ' ')+1:])
		v := quantity.MustParse(d, n.Text).Scale(num, den)
		if v.Sign() == 0 {
			return false
		}
		n.Text = v.Text()
		return true
	}
}

func set(field, text string) func(*ordinary) bool {
	return func(o *ordinary) bool {
		return o.condition.SetPath(field, schema.Text(text)) == nil
	}
}

func both(list ...func(*ordinary) bool) func(*ordinary) bool {
	return func(o *ordinary) bool {
		for _, f := range list {
			if !f(o) {
				return false
			}
		}
		return true
	}
}

// stages does the same to every stage of the pierce.
func stages(field string, change func(field string) func(*ordinary) bool) func(*ordinary) bool {
	return func(o *ordinary) bool {
		n := len(o.condition.Get("pierce").Kids)
		for i := range n {
			if !change(fmt.Sprintf("pierce[%d].%s", i, field))(o) {
				return false
			}
		}
		return n > 0
	}
}

// on makes a mistake of two: what happens to a cut that burns, and to another.
func on(burning, inert func(*ordinary) bool) func(*ordinary) bool {
	return func(o *ordinary) bool {
		do := inert
		if o.burns() {
			do = burning
		}
		return do != nil && do(o)
	}
}

func (o *ordinary) burns() bool {
	return o.gas == "oxygen" && strings.HasSuffix(o.material, "-steel") && o.material != "stainless-steel"
}

func at(n *schema.Node, path string) *schema.Node {
	for _, part := range strings.Split(path, ".") {
		name, index, isItem := strings.Cut(strings.TrimSuffix(part, "]"), "[")
		if n = n.Get(name); n == nil {
			return nil
		}
		if isItem {
			var i int
			fmt.Sscan(index, &i)
			n = n.Kids[i]
		}
	}
	return n
}

var mistakes = []mistake{
	{name: "power a tenth: a lost digit", make: times("cut.power", 1, 10)},
	{name: "power ten times: a digit too many", make: times("cut.power", 10, 1), blind: map[string]string{
		absorbing:  "heat per area of slow and of fast cuts differs by ten times anyway; the rating of the laser sees it",
		reflecting: "heat per area of slow and of fast cuts differs by ten times anyway; the rating of the laser sees it",
	}},
	{name: "speed three times", make: times("cut.speed", 3, 1), blind: map[string]string{
		absorbing:  "thick plate is cut at a third of what the power would do",
		reflecting: "how much of the beam is taken up differs by more than three times",
	}},
	{name: "speed ten times: a lost decimal point", make: times("cut.speed", 10, 1), blind: map[string]string{
		reflecting: "oxygen on copper brings heat, how much of the beam is taken up differs",
	}},
	{name: "speed a tenth", make: times("cut.speed", 1, 10), blind: map[string]string{
		absorbing:  "heat per area of thin and of thick plate differs by twenty times anyway",
		reflecting: "heat per area of thin and of thick plate differs by twenty times anyway",
	}},
	{name: "speed in mm/s, written as m/min", make: times("cut.speed", 50, 3)},
	{name: "speed in in/min, written as m/min", make: times("cut.speed", 10000, 254)},
	{name: "pressure in psi, written as bar", make: times("cut.pressure", 145038, 10000), blind: map[string]string{
		burning:    "brings five times the oxygen, and ordinary cuts differ by more; the line sees it",
		absorbing:  "more than the line has, which is the limit of a machine",
		reflecting: "more than the line has, which is the limit of a machine",
	}},
	{name: "pressure in MPa, written as bar", make: times("cut.pressure", 1, 10), blind: map[string]string{
		burning:    "brings a third of the oxygen, and ordinary cuts differ by more",
		absorbing:  "what was 15 bar and more is still a jet",
		reflecting: "what was 15 bar and more is still a jet",
	}},
	{name: "pressure of the other gas", make: on(set("cut.pressure", "12 bar"), set("cut.pressure", "0.5 bar")), blind: map[string]string{
		burning:    "oxygen of high pressure is how thin sheet is cut, too; the line sees it",
		reflecting: "copper in oxygen lives on its heat and is not judged by its jet",
	}},
	{name: "orifice for the other gas", make: on(set("nozzle.orifice", "4 mm"), set("nozzle.orifice", "1 mm")), blind: map[string]string{
		burning:    "shops cut with orifices that differ by three times; the rack of the machine sees it",
		absorbing:  "shops cut with orifices that differ by three times; the rack of the machine sees it",
		reflecting: "shops cut with orifices that differ by three times; the rack of the machine sees it",
	}},
	{name: "recipe for oxygen in a set for nitrogen", make: on(func(o *ordinary) bool { o.gas = "nitrogen"; return true }, nil)},
	{name: "recipe for nitrogen in a set for oxygen", make: on(nil, func(o *ordinary) bool { o.gas = "oxygen"; return strings.HasSuffix(o.material, "-steel") }), blind: map[string]string{
		absorbing: "thin sheet and stainless steel are cut with oxygen of high pressure, too; the line sees it",
	}},
	{name: "recipe for stainless steel in a set for copper", make: on(nil, func(o *ordinary) bool {
		was := o.material
		o.material = "copper"
		return was == "stainless-steel"
	}), blind: map[string]string{
		absorbing: "copper of half the thickness takes what stainless steel takes",
	}},
	{name: "focus with the wrong sign", make: times("cut.focus", -1, 1), blind: map[string]string{
		burning:    "a few millimetres change the width of the beam by little; the family sees it (sign-slip)",
		absorbing:  "a few millimetres change the width of the beam by little; the family sees it (sign-slip)",
		reflecting: "a few millimetres change the width of the beam by little; the family sees it (sign-slip)",
	}},
	{name: "focus ten times: a lost decimal point", make: times("cut.focus", 10, 1), blind: map[string]string{
		reflecting: "half a millimetre becomes five, which is the focus of thicker plate",
	}},
	{name: "standoff five times", make: times("nozzle.standoff", 5, 1), blind: map[string]string{
		burning:    "a small standoff over a wide orifice is still near",
		absorbing:  "half a millimetre becomes two and a half, which is near for a wide orifice",
		reflecting: "half a millimetre becomes two and a half, which is near for a wide orifice",
	}},
	{name: "pierce without power", make: stages("power", func(f string) func(*ordinary) bool { return set(f, "0 W") })},
	{name: "pierce time in ms, written for s", make: stages("time", func(f string) func(*ordinary) bool { return times(f, 1, 1000) })},
	{name: "pierce power a tenth", make: stages("power", func(f string) func(*ordinary) bool { return times(f, 1, 10) }), blind: map[string]string{
		burning:    "ordinary pierces spend from 100 to 8000 times what their hole takes",
		absorbing:  "ordinary pierces spend from 100 to 8000 times what their hole takes",
		reflecting: "ordinary pierces spend from 100 to 8000 times what their hole takes",
	}},
	{name: "kerf a tenth", make: times("kerf", 1, 10)},
	{name: "kerf ten times", make: times("kerf", 10, 1)},
	{name: "pulses of the pierce left on the cut", make: both(set("cut.mode", "pulsed"), set("cut.frequency", "400 Hz"), set("cut.duty", "10 %"))},
	{name: "recipe of a plate a third as thick", make: times("thickness", 3, 1), blind: map[string]string{
		reflecting: "how much of the beam is taken up differs by more than three times",
	}},
	{name: "recipe of a plate three times as thick", make: times("thickness", 1, 3), blind: map[string]string{
		burning:    "heat per area triples, and ordinary cuts differ by six times; the family sees it",
		absorbing:  "heat per area triples, and ordinary cuts differ by twenty times; the family sees it",
		reflecting: "heat per area triples, and ordinary cuts differ by twenty times; the family sees it",
	}},
}

// clone is a condition that can be changed.
func (o ordinary) clone() ordinary {
	var copied func(n *schema.Node) *schema.Node
	copied = func(n *schema.Node) *schema.Node {
		m := *n
		m.Kids = make([]*schema.Node, len(n.Kids))
		for i, kid := range n.Kids {
			m.Kids[i] = copied(kid)
		}
		return &m
	}
	o.condition = copied(o.condition)
	return o
}

// A catch is what became of one mistake on the cuts of one kind.
type catch struct {
	mistake              string
	kind                 string
	tried                int
	physics, limits, any int // how many physics finds alone, with the limits of machine and file, with all rules
	blind                string
}

// catches makes every mistake on every condition, one at a time, each among the others of its set.
var catches = sync.OnceValue(func() []catch {
	t := &testing.T{}
	all := ordinaries(t)
	family := map[string]string{}
	others := map[string]Severity{}
	for _, r := range Rules() {
		if family[r.Name] = r.Family; r.Name == "valve-cannot-feed" {
			family[r.Name] = "physics"
		}
		if family[r.Name] != "physics" {
			others[r.Name] = Off
		}
	}
	var out []catch
	for _, m := range mistakes {
		found := map[string]*catch{}
		for _, kind := range kinds {
			found[kind] = &catch{mistake: m.name, kind: kind, blind: m.blind[kind]}
		}
		for i, o := range all {
			wrong := o.clone()
			if !m.make(&wrong) {
				continue
			}
			list := []ordinary{wrong}
			for j, other := range all {
				if j != i && other.set() == o.set() && wrong.set() == o.set() && other.condition.Str("thickness") != wrong.condition.Str("thickness") {
					list = append(list, other)
				}
			}
			lib := shopOf(t, list)
			thickness := quantity.MustParseOf[quantity.Length](wrong.condition.Str("thickness"))
			only := func(r *schema.Recipe) bool { return r.Thickness.V.Equal(thickness) }
			spoken := func(opts Options) (rules []string) {
				opts.Only = only
				for _, f := range Run(lib, opts).Findings {
					if f.ID != "" && f.Severity >= Warning {
						rules = append(rules, f.Rule)
					}
				}
				return rules
			}
			c := found[o.kind()]
			c.tried++
			if len(spoken(Options{Severity: others})) > 0 {
				c.physics++
			}
			every := spoken(Options{})
			if len(every) > 0 {
				c.any++
			}
			if slices.ContainsFunc(every, func(rule string) bool {
				return family[rule] == "physics" || family[rule] == "machine" || family[rule] == "file"
			}) {
				c.limits++
			}
		}
		for _, kind := range kinds {
			if found[kind].tried > 0 {
				out = append(out, *found[kind])
			}
		}
	}
	return out
})

func shareOf(n, of int) string { return fmt.Sprintf("%.0f %%", 100*float64(n)/float64(of)) }

// What physics has to see, it sees of 95 % and more, of each mistake. Where it cannot, the mistake says why, and must not be seen nearly
// always: then it could be.
func TestMistakesAreCaught(t *testing.T) {
	seen, tried := 0, 0
	for _, c := range catches() {
		share := float64(c.physics) / float64(c.tried)
		switch {
		case c.blind == "" && share < 0.95:
			t.Errorf("%s, %s: physics sees %s of %d", c.mistake, c.kind, shareOf(c.physics, c.tried), c.tried)
		case c.blind != "" && share >= 0.95:
			t.Errorf("%s, %s: physics sees %s, so it is not blind to it", c.mistake, c.kind, shareOf(c.physics, c.tried))
		}
		if c.blind == "" {
			seen, tried = seen+c.physics, tried+c.tried
		}
		if c.physics > c.tried || c.limits > c.any {
			t.Errorf("%+v does not add up", c)
		}
	}
	if float64(seen) < 0.95*float64(tried) || tried < 1000 {
		t.Errorf("physics sees %d of %d", seen, tried)
	}
}

// calibrationBook is the page of the rule book about all this.
func calibrationBook(t *testing.T) string {
	list := ordinaries(t)
	machines, materials, gases := map[string]bool{}, map[string]bool{}, map[string]bool{}
	practice := 0
	for _, o := range list {
		machines[o.machine], materials[o.material], gases[o.gas] = true, true, true
		if o.source != "from memory" {
			practice++
		}
	}
	warned := map[string]bool{}
	for _, f := range Run(shopOf(t, list), Options{}).Findings {
		if f.isPhysics() && f.Severity >= Warning {
			warned[f.ID] = true
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, `
## What physics sees, and what it does not

The rules of physics are held to %d conditions that shops cut with every day, 0.5 to 30 mm, %d materials, %d gases, %d machines from 1 to 30 kW
([testdata/calibration](testdata/calibration/conditions.csv)). %d of them are common practice, the others from memory; none is from a published table. None of them may be called
impossible, and fewer than 2 %% unusual: it is %d of %d today.

Each of them is then spoilt in turn by the mistakes below. The columns say how many of the spoilt ones are found: by physics alone (the family physics and
valve-cannot-feed, all other rules off), with the limits of the machine and the file beside it, and with all rules, as a shop has them. Where physics
cannot see a mistake the last column says why; where it says nothing, a test asks for 95 %%.

| mistake | on | tried | physics | with limits | all rules | what it cannot see |
|---|---|---|---|---|---|---|
`, len(list), len(materials), len(gases), len(machines), practice, len(warned), len(list))
	seen, tried, any, total := 0, 0, 0, 0
	for _, c := range catches() {
		fmt.Fprintf(&b, "| %s | %s | %d | %s | %s | %s | %s |\n", c.mistake, c.kind, c.tried, shareOf(c.physics, c.tried), shareOf(c.limits, c.tried), shareOf(c.any, c.tried), c.blind)
		if c.blind == "" {
			seen, tried = seen+c.physics, tried+c.tried
		}
		any, total = any+c.any, total+c.tried
	}
	fmt.Fprintf(&b, "\nOf the %d cases that physics can see it sees %s; of all %d cases all rules together find %s.\n", tried, shareOf(seen, tried), total, shareOf(any, total))
	return b.String()
}
