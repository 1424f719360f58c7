package table

import (
	"maps"
	"slices"
	"strings"

	"fettle/schema"
)

// known is what names and words are looked for among, worked out once for all rows.
type known struct {
	profiles         []string
	units            map[string]string // a real machine that shares a profile stands for that
	materials, gases []string
	meant            map[[2]string]meaning
}

// A meaning is the name that a cell stands for, and whether it is spelt in another way there.
type meaning struct {
	name      string
	ok, other bool
}

// meaning is [resolve] of a cell of some kind.
func (r *reader) meaning(kind, cell string, known []string, trade map[string]string) (name string, ok, other bool) {
	m, there := r.names.meant[[2]string{kind, cell}]
	if !there {
		m.name, m.ok = resolve(cell, known, trade)
		m.other = plain(m.name) != plain(cell)
		if r.names.meant == nil {
			r.names.meant = map[[2]string]meaning{}
		}
		r.names.meant[[2]string{kind, cell}] = m
	}
	return m.name, m.ok, m.other
}

// machine returns the machine of a row: from its cell, from --machine, or the only one there is.
func (r *reader) machine(row gridRow) string {
	if r.names.units == nil {
		r.names.profiles, r.names.units = r.lib.MachineNames(), map[string]string{}
		for _, name := range r.names.profiles {
			for _, unit := range r.lib.Machine(name).UnitNames() {
				if plain(unit) != plain(name) {
					r.names.units[plain(unit)] = name
				}
			}
		}
	}
	profiles, units := r.names.profiles, r.names.units
	said := r.opt.Machine
	if said == "" && len(profiles) == 1 && (r.column(colMachine) == nil) {
		r.note(Place{}, "machine %s is the only one of the library", profiles[0])
		said = profiles[0]
	}
	return r.name(row, colMachine, "--machine", said, profiles, units)
}

// name returns the machine, material or gas of a row, or "" after it reported why there is none.
func (r *reader) name(row gridRow, path, flag, said string, known []string, trade map[string]string) string {
	c := r.column(path)
	cell, at, header := "", Place{}, ""
	if c != nil {
		cell, at, header = trim(row.cell(c.index)), Place{row.number, c.index + 1}, c.header
		for other, name := range r.opt.Names {
			if plain(other) == plain(cell) {
				cell = name
				break
			}
		}
	}
	if placeholders[cell] {
		return r.flagged(at, header, path, flag, said, known, trade)
	}
	name, ok, other := r.meaning(path, cell, known, trade)
	if !ok {
		r.unknown(at, header, path, cell, known, trade)
		return ""
	}
	if other {
		r.note(at, "%s %s is %s", path, quote(cell), name)
	}
	if said != "" {
		if other, ok, _ := r.meaning(path, said, known, trade); ok && other != name {
			r.problem(at, header, "Leave "+flag+" out, or correct the cell.", "the cell says %s and %s says %s", quote(cell), flag, said)
			return ""
		}
	}
	return name
}

// flagged is the name for a row whose cell says nothing.
func (r *reader) flagged(at Place, header, path, flag, said string, known []string, trade map[string]string) string {
	if said != "" {
		name, ok := resolve(said, known, trade)
		if !ok && !r.told[path] {
			r.unknown(Place{}, "", path, said, known, trade)
			r.tell(path)
		}
		return name
	}
	if at.Row > 0 {
		help := "Fill the cell in every row; cells that were joined in the spreadsheet come out empty. Or " + flag + " NAME for all of them."
		r.problem(at, header, help, "the %s is missing", path)
		return ""
	}
	if !r.told[path] {
		r.tell(path)
		help := "Add a column, or say it for the whole sheet: " + flag + " NAME"
		if len(known) > 0 {
			help += "\nKnown here: " + strings.Join(known, ", ")
		} else {
			help += "\nThe library has no " + path + " yet."
		}
		r.problem(Place{}, "", help, "which %s is the sheet for? It has no column that says so", path)
	}
	return ""
}

func (r *reader) tell(what string) {
	if r.told == nil {
		r.told = map[string]bool{}
	}
	r.told[what] = true
}

// unknown reports a name that the library does not know.
func (r *reader) unknown(at Place, header, what, cell string, known []string, trade map[string]string) {
	help := "Known here: " + strings.Join(known, ", ") + "."
	spellings := map[string]string{}
	for spelling, name := range trade {
		spellings[spelling] = name
	}
	for _, name := range known {
		spellings[plain(name)] = name
	}
	if near := schema.Nearest(plain(cell), slices.Sorted(maps.Keys(spellings))); near != "" {
		help = "Did you mean " + spellings[near] + "? " + help
	}
	switch what {
	case colMachine:
		if len(known) == 0 {
			help = "The library has no machine profile yet; each is a file machines/NAME.json."
		} else {
			help += " A new machine needs its profile machines/NAME.json first."
		}
	case colMaterial:
		if base := gradeOf(cell); base != "" {
			help = "That looks like a grade of " + base + ": write the material here and the grade into a column \"grade\".\n" + help
		}
		help += " More materials: \"materials\" in " + schema.SettingsFile + "."
	case colGas:
		help += " Mixes: \"gases\" in " + schema.SettingsFile + "."
	}
	from := ""
	if at.Row == 0 {
		from = " of --" + what
	}
	r.problem(at, header, help, "the %s %s%s is not known here", what, quote(cell), from)
}

// grades are beginnings of names of grades, by EN 10027, EN 573 and the short American numbers.
var grades = []struct{ prefix, base string }{
	{"s235", "carbon-steel"}, {"s275", "carbon-steel"}, {"s355", "carbon-steel"}, {"s420", "carbon-steel"}, {"s460", "carbon-steel"}, {"s690", "carbon-steel"},
	{"dc0", "carbon-steel"}, {"dd1", "carbon-steel"}, {"a36", "carbon-steel"}, {"1 0", "carbon-steel"}, {"dx5", "galvanized-steel"},
	{"1 4", "stainless-steel"}, {"304", "stainless-steel"}, {"316", "stainless-steel"}, {"430", "stainless-steel"}, {"v2a", "stainless-steel"}, {"v4a", "stainless-steel"},
	{"en aw", "aluminium"}, {"5754", "aluminium"}, {"5083", "aluminium"}, {"5052", "aluminium"}, {"6061", "aluminium"}, {"6082", "aluminium"}, {"almg", "aluminium"},
}

func gradeOf(cell string) string {
	p := plain(cell)
	for _, g := range grades {
		if strings.HasPrefix(p, g.prefix) {
			return g.base
		}
	}
	return ""
}

// materials are the names of materials that the library knows.
func (r *reader) materials() []string {
	if r.names.materials == nil {
		r.names.materials = slices.Clone(schema.Materials)
		if set := r.lib.Settings.Value; set != nil {
			for _, own := range set.Materials {
				r.names.materials = append(r.names.materials, own.Name)
			}
		}
	}
	return r.names.materials
}

// gases are the names of gases that the library knows.
func (r *reader) gases() []string {
	if r.names.gases == nil {
		r.names.gases = slices.Clone(schema.Gases)
		if set := r.lib.Settings.Value; set != nil {
			for _, own := range set.Gases {
				r.names.gases = append(r.names.gases, own.Name)
			}
		}
	}
	return r.names.gases
}
