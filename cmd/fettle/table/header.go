package table

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"

	"fettle/schema"
	"fettle/schema/quantity"
)

// A column is what a header says of the cells below it.
type column struct {
	index    int    // from 0
	header   string // as it stands in the sheet
	path     string // of the member, or one of the col constants; "" where the header is not understood
	leaf     leaf   // of the member
	unit     string // from the header, plain; "" where it has none, unitGauge for gauge numbers
	up       sign   // of a focus
	complain *Problem
	skip     bool
	asked    bool // for a unit
}

// unitGauge in a thickness column: its numbers are gauge numbers.
const unitGauge = "ga"

// A sign says which way a focus counts.
type sign uint8

const (
	unsaid sign = iota
	up          // positive above the surface, as in the library
	down        // positive into the plate
)

// headerRows is how many rows are looked through for the header; titles and dates stand above it.
const headerRows = 20

// longestHeader is how many bytes a header may have; what is longer is a remark.
const longestHeader = 120

// findHeader returns the index of the row with the most known columns, and how many these are.
func findHeader(g *grid, as renames) (at, score int) {
	at = -1
	for i := range min(len(g.rows), headerRows) {
		known := 0
		for c, cell := range g.rows[i].cells {
			if named, ok := as[plain(cell)]; ok && named == "" || readHeader(c, as.of(cell)).path != "" {
				known++
			}
		}
		if known > score {
			at, score = i, known
		}
	}
	return at, score
}

// renames are headers that somebody named beforehand, each by its plain form with the header it stands for.
type renames map[string]string

func renaming(columns map[string]string) renames {
	as := renames{}
	for header, named := range columns {
		as[plain(header)] = named
	}
	return as
}

// of returns the header that a cell stands for: what somebody named it, else itself.
func (as renames) of(cell string) string {
	if named, ok := as[plain(cell)]; ok {
		return named
	}
	return cell
}

// readHeader reads one header cell. The unit may stand in brackets, behind "in", a comma or a slash, or just behind the name.
func readHeader(index int, cell string) column {
	c := column{index: index, header: trim(cell)}
	if len(cell) > longestHeader {
		return c
	}
	text := trim(strings.Join(strings.Fields(cell), " "))
	if name, ok := strings.CutPrefix(text, "extra."); ok && name != "" {
		c.path = text
		c.leaf, _ = leafOf(text)
		return c
	}
	text = listIndex().ReplaceAllStringFunc(text, func(m string) string { // pierce[0].time is pierce1.time
		n, err := strconv.Atoi(strings.Trim(m, "[]"))
		if err != nil {
			return m
		}
		return strconv.Itoa(n + 1)
	})
	name, asides := takeAsides(text)
	name = c.takeSign(name, asides)
	if c.path = lookup(name, ""); c.path == "" {
		var unit string
		if name, unit = takeUnit(name); unit != "" {
			asides = append(asides, unit)
			name = c.takeSign(name, nil)
			c.path = lookup(name, unit)
		}
	}
	if c.path == "" {
		for _, aside := range asides { // "P [kW]" is a power and "p [bar]" a pressure
			if c.path = lookup(name, aside); c.path != "" {
				break
			}
		}
	}
	if c.path == "" {
		return c
	}
	c.leaf, _ = leafOf(c.path)
	c.readAsides(asides, plain(name))
	return c
}

var aside = pattern(`[\[(]((?:[^\[\]()]|\([^()]*\))*)[\])]`)

// takeAsides takes what stands in brackets out of a header. Brackets inside a unit, as in bar(g), stay together.
func takeAsides(text string) (name string, asides []string) {
	name = aside().ReplaceAllStringFunc(text, func(m string) string {
		if inside := trim(m[1 : len(m)-1]); inside != "" {
			asides = append(asides, inside)
		}
		return " "
	})
	return strings.Join(strings.Fields(name), " "), asides
}

var (
	signWords = pattern(`(?i)^(?:(?:\+|positive|pos\.?)?\s*(?:=|is)?\s*)(up|upwards?|above|down|downwards?|below)(?:\s+(?:the\s+)?(?:surface|plate|sheet))?$`)
	signEnd   = pattern(`(?i)^(.*\S)[\s,]+((?:\+|positive|pos\.?)?\s*(?:=|is)?\s*(?:up|upwards?|above|down|downwards?|below)(?:\s+(?:the\s+)?(?:surface|plate|sheet))?)$`)
)

func signOf(text string) sign {
	m := signWords().FindStringSubmatch(text)
	if m == nil {
		return unsaid
	}
	switch strings.ToLower(m[1])[0] {
	case 'u', 'a':
		return up
	}
	return down
}

// takeSign reads which way a focus counts, from a bracket or from the end of the name.
func (c *column) takeSign(name string, asides []string) string {
	for i, a := range asides {
		if s := signOf(a); s != unsaid {
			c.up, asides[i] = s, ""
		}
	}
	if m := signEnd().FindStringSubmatch(name); m != nil && lookup(name, "") == "" {
		c.up, name = signOf(m[2]), m[1]
	}
	return name
}

// lookup returns the path that a name of a column means, or "". The unit tells apart names that need it.
func lookup(name, unit string) string {
	p := plain(name)
	if path, ok := names()[p]; ok {
		return path
	}
	if m := stageName().FindStringSubmatch(p); m != nil {
		n, group := 1, "pierce"
		if m[1] == "contour" || m[1] == "contours" {
			group = "contours"
		}
		if m[2] != "" {
			n, _ = strconv.Atoi(m[2])
		}
		if path, ok := names()[group+"[] "+member(m[3])]; ok && n >= 1 && n <= 99 {
			return strings.Replace(path, "[]", "["+strconv.Itoa(n-1)+"]", 1)
		}
	}
	dim, _ := quantity.UnitDimension(unit)
	switch {
	case p == "p" && dim == quantity.DimPower:
		return "cut.power"
	case p == "p" && dim == quantity.DimPressure:
		return "cut.pressure"
	case p == "f" && dim == quantity.DimFrequency:
		return "cut.frequency"
	case p == "f" && dim == quantity.DimSpeed:
		return "cut.speed"
	}
	return ""
}

var stageName = pattern(`^(pierce|piercing|contours?) ?(?:stage ?)?([0-9]{0,2}) (.+)$`)

// member returns the plain name of a member of a group.
func member(name string) string {
	if other, ok := members[name]; ok {
		return other
	}
	return name
}

// names are all plain names of columns: every path as it is, what the tables of words add, members of cut and nozzle alone.
var names = sync.OnceValue(func() map[string]string {
	all := map[string]string{}
	for path := range leaves() {
		switch {
		case path == "extra":
		case strings.Contains(path, "[]."):
			group, name, _ := strings.Cut(path, ".")
			all[group+" "+plain(name)] = path
		default:
			all[plain(path)] = path
			for _, group := range []string{"cut.", "nozzle."} {
				if name, ok := strings.CutPrefix(path, group); ok {
					all[plain(name)] = path
				}
			}
		}
	}
	for other, name := range members {
		for _, group := range []string{"lead in ", "corner ", "cut ", "nozzle "} {
			if path, ok := all[group+name]; ok {
				all[group+other] = path
				all[strings.Replace(group, "lead in", "leadin", 1)+other] = path
			}
		}
		if path, ok := all[name]; ok && other != "height" && other != "size" {
			all[other] = path
		}
	}
	for name, path := range all {
		if rest, ok := strings.CutPrefix(name, "lead in "); ok {
			all["leadin "+rest] = path
		}
	}
	for name, path := range columns {
		all[name] = path
	}
	return all
})

// takeUnit finds a unit at the end of a name: "speed m/min", "thickness in mm", "Druck / bar", "Power, kW".
func takeUnit(text string) (name, unit string) {
	for i, r := range text {
		if !strings.ContainsRune(" ,/_", r) {
			continue
		}
		left, right := strings.TrimRight(text[:i], " ,/_"), strings.TrimLeft(text[i:], " ,/_")
		if lookup(left, right) == "" {
			left = strings.TrimSuffix(left, " in")
		}
		if lookup(left, right) == "" && !signEnd().MatchString(left) {
			continue
		}
		if _, ok := unitName(quantity.DimNone, right); ok || isShare(right) || isGauge(right) {
			return left, right
		}
	}
	return text, ""
}

// unitName returns the plain name of a unit as headers spell it: "inch", "ipm", "sec". A dimension narrows what it may be.
func unitName(dim quantity.Dimension, text string) (string, bool) {
	text = trim(text)
	if d, ok := quantity.UnitDimension(text); ok && (dim == quantity.DimNone || d == dim) {
		v, err := quantity.Parse(d, "1 "+text)
		return v.Unit(), err == nil
	}
	for d := quantity.DimLength; d <= quantity.DimRatio; d++ {
		if dim != quantity.DimNone && d != dim {
			continue
		}
		_, err := quantity.Parse(d, "1 "+strings.TrimSuffix(text, "."))
		var bad *quantity.Error
		if errors.As(err, &bad) && bad.Kind == quantity.UnknownUnit && bad.Fix != "" {
			v, err := quantity.Parse(d, bad.Fix)
			return v.Unit(), err == nil
		}
	}
	return "", false
}

// isShare reports whether a unit says that powers are shares of the rating.
func isShare(unit string) bool {
	switch plain(unit) {
	case "%", "percent", "pct", "% of rating", "% of rated", "% of rated power", "% rated", "% of max", "% of maximum", "% max", "% of nominal":
		return true
	}
	return false
}

func isGauge(unit string) bool {
	switch plain(unit) {
	case "ga", "gauge", "gage":
		return true
	}
	return false
}

// harmless asides say what is so anyway.
var harmless = map[string]bool{"gauge": true, "g": true, "nominal": true, "peak": true, "tip to plate": true, "at the head": true, "iso 9013": true}

// readAsides takes the unit out of what stood in brackets or behind the name.
func (c *column) readAsides(asides []string, name string) {
	if name == "gauge" || name == "gage" {
		c.unit = unitGauge
	}
	dim := c.leaf.dim
	if c.path == colNozzle {
		dim = quantity.DimLength
	}
	for _, a := range asides {
		switch unit, ok := unitName(dim, a); {
		case a == "":
		case dim == quantity.DimPower && isShare(a):
			c.unit = "%"
		case c.path == colThick && isGauge(a):
			c.unit = unitGauge
		case dim != quantity.DimNone && ok:
			c.unit = unit
		case harmless[plain(a)]:
		case dim == quantity.DimNone && c.leaf.kind != isQuantity:
			// "gas (assist)", "note (free text)": nothing hangs on it
		default:
			c.complain = c.badAside(dim, a)
		}
	}
}

func (c *column) badAside(dim quantity.Dimension, a string) *Problem {
	p := &Problem{Column: c.header, Help: fmt.Sprintf("Write the unit in brackets behind the name, such as %q; leave other remarks out of the header.", headerExample(c.path, dim))}
	_, err := quantity.Parse(dim, "1 "+a)
	var bad *quantity.Error
	if errors.As(err, &bad) {
		switch bad.Kind {
		case quantity.WrongDimension:
			other, _ := quantity.UnitDimension(a)
			p.Message = fmt.Sprintf("%s is the unit of %s; this column needs that of %s", quote(a), other, dim)
		case quantity.AbsolutePressure:
			p.Message = fmt.Sprintf("%s is an absolute pressure; pressures here are gauge, at the cutting head", quote(a))
			p.Help = "Take off the air pressure (about 1.013 bar or 14.7 psi), or correct the header where the values are gauge."
		}
	}
	if p.Message == "" {
		p.Message = fmt.Sprintf("%s is no unit of %s that is known here", quote(a), dim)
	}
	return p
}

// headerExample is how to write a header with a unit.
func headerExample(path string, dim quantity.Dimension) string {
	unit := map[quantity.Dimension]string{quantity.DimLength: "mm", quantity.DimSpeed: "m/min", quantity.DimPressure: "bar", quantity.DimPower: "kW",
		quantity.DimTime: "s", quantity.DimFrequency: "Hz", quantity.DimRatio: "%"}[dim]
	name := schema.SpokenPath(path)
	if rest, ok := strings.CutPrefix(name, "cut."); ok {
		name = rest
	}
	if rest, ok := strings.CutPrefix(name, "nozzle."); ok {
		name = rest
	}
	return name + " [" + unit + "]"
}

// suggest names the known column that a header is most likely a slip of.
func suggest(header string) string {
	name, _ := takeAsides(header)
	all := make([]string, 0, len(names()))
	for n := range names() {
		if !strings.Contains(n, "[]") {
			all = append(all, n)
		}
	}
	slices.Sort(all)
	return schema.Nearest(plain(name), all)
}
