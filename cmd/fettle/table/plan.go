package table

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"fettle/schema"
)

// What a sheet does to a condition.
const (
	New       = "new"
	Updated   = "updated"
	Unchanged = "unchanged"
)

// A Change is one condition of the sheet against the library.
type Change struct {
	ID     schema.ID
	Row    int
	Status string            // [New], [Updated] or [Unchanged]
	Fields []FieldChange     // what differs; of a new condition all it has
	After  *schema.Condition // as it would stand in the library
	Path   string            // of its set file
}

// A FieldChange is one member, old to new. From is the zero Field where the condition did not have it.
type FieldChange struct {
	Path     string
	From, To schema.Field
}

// A File is a set file to write.
type File struct {
	Path string
	Old  []byte // nil for a new file
	New  []byte // in the house layout
}

// A draft is a set file in the making. Nothing in it is shared with the library.
type draft struct {
	path  string
	file  *schema.File // nil for a new one
	root  *schema.Node
	list  *schema.Node // the conditions
	ids   []schema.ID  // of the conditions, in file order
	nodes map[schema.ID]*schema.Node
	dirty bool
}

// plan works entries into set files.
func (x *Sheet) plan(entries []*entry, out *Import) {
	p := &planner{reader: x.reader, drafts: map[string]*draft{}, of: map[*entry]*draft{}, missing: x.missing}
	for _, f := range p.lib.Files {
		if strings.HasPrefix(f.Path, "sets/") && f.Value == nil {
			x.unread[f.Path] = Problem{Message: f.Path + " cannot be read, so nobody knows which conditions it holds", Help: "Mend it first: fettle lint " + f.Path}
		}
	}
	slices.SortStableFunc(entries, func(a, b *entry) int { return a.id.Compare(b.id) })
	for _, e := range entries {
		if e.bad {
			continue
		}
		if d := p.draft(e); d != nil {
			p.of[e] = d
			p.apply(d, e)
		}
	}
	p.grades(entries)
	for _, d := range p.order {
		if !d.dirty {
			continue
		}
		f := File{Path: d.path, New: schema.Layout(d.root)}
		if d.file != nil {
			f.Old = d.file.Data
		}
		if len(p.problems)+len(x.unread)+len(x.unsound.problems) == 0 {
			for _, bad := range schema.ReadFile(d.path, f.New).Problems {
				x.unsound.problem(Place{}, "", bad.Help, "%s would not be a good set file: %s: %s", d.path, schema.SpokenPath(bad.Field), bad.Message)
			}
		}
		out.Files = append(out.Files, f)
	}
	slices.SortFunc(out.Files, func(a, b File) int { return strings.Compare(a.Path, b.Path) })
	out.Changes = p.changes
}

type planner struct {
	*reader
	drafts  map[string]*draft // by path; nil for a file that cannot be worked on
	order   []*draft
	of      map[*entry]*draft
	changes []Change
	missing map[string][]int // members that new conditions need and no column gives, with the rows
}

// draft returns the set file that an entry belongs to: where the condition stands, else the set of its machine, material and
// gas, else a new file. It is nil after a problem was reported.
func (p *planner) draft(e *entry) *draft {
	path := p.path(e)
	if d, known := p.drafts[path]; known {
		return d
	}
	d := p.open(path, e)
	p.drafts[path] = d
	if d != nil {
		p.order = append(p.order, d)
	}
	return d
}

// path returns the set file for an entry. Where several sets are of one machine, material and gas, the grade tells which.
func (p *planner) path(e *entry) string {
	if recipe := p.lib.Recipe(e.id); recipe != nil {
		return recipe.File.Path
	}
	house := HouseFile(setOf(e))
	best, rank := house, 0
	for _, set := range p.lib.Sets {
		s := set.Value
		if s.Machine.V != e.id.Machine || s.Material.V != e.id.Material || s.Gas.V != e.id.Gas {
			continue
		}
		r := 1
		switch {
		case e.grade.path != "" && s.Grade.V == e.grade.text:
			r = 3
		case set.File.Path == house:
			r = 2
		}
		if r > rank {
			best, rank = set.File.Path, r
		}
	}
	return best
}

// open copies a set file to work on, or begins a new one.
func (p *planner) open(path string, e *entry) *draft {
	d := &draft{path: path, nodes: map[schema.ID]*schema.Node{}}
	for _, f := range p.lib.Files {
		if f.Path == path {
			d.file = f
		}
	}
	if d.file == nil {
		d.root = object("kind", "condition-set", "machine", e.id.Machine, "material", e.id.Material, "gas", e.id.Gas)
		put(d.root, "format", &schema.Node{Kind: schema.Digits, Text: "1"})
		d.list = &schema.Node{Kind: schema.Array}
		put(d.root, "conditions", d.list)
		return d
	}
	set, _ := d.file.Value.(*schema.ConditionSet)
	switch {
	case len(d.file.Problems) > 0 || set == nil:
		p.problem(Place{}, "", "Mend it first: fettle lint "+path, "%s has problems of its own, so nothing can be written into it", path)
		return nil
	case set.Machine.V != e.id.Machine || set.Material.V != e.id.Material || set.Gas.V != e.id.Gas:
		p.problem(Place{}, "", "Rename that file so that its name says what it holds.", "%s holds another set than its name says: %s, %s, %s", path, set.Machine.V, set.Material.V, set.Gas.V)
		return nil
	}
	d.root = d.file.Root()
	d.list = d.root.Get("conditions")
	d.ids = make([]schema.ID, len(d.list.Kids))
	for _, recipe := range p.lib.Recipes {
		if recipe.File == d.file {
			d.ids[recipe.Index] = recipe.ID
			d.nodes[recipe.ID] = d.list.Kids[recipe.Index]
		}
	}
	return d
}

// apply works one entry into its set file.
func (p *planner) apply(d *draft, e *entry) {
	change := Change{ID: e.id, Row: e.row, Status: Updated, Path: d.path}
	node := d.nodes[e.id]
	before := map[string]schema.Field{}
	if node == nil {
		change.Status = New
		node = &schema.Node{Kind: schema.Object}
		put(node, "nozzle", &schema.Node{Kind: schema.Object})
		put(node, "cut", &schema.Node{Kind: schema.Object})
	} else {
		for _, f := range schema.Fields(p.lib.Recipe(e.id).Condition) {
			before[f.Path] = f
		}
	}
	first := len(p.problems)
	for _, g := range e.given {
		if old, ok := before[g.path]; ok && g.same(old) {
			continue
		}
		if g.empty && node.Get(g.path) != nil {
			p.problem(Place{e.row, g.col}, g.header, "An import deletes nothing. Take them out of "+d.path+" first if that is meant.", "the condition has %s in the library", g.path)
			continue
		}
		if err := set(node, g); err != nil {
			p.problem(Place{e.row, g.col}, g.header, "Stages are numbered from 1 on without a gap.", "%s cannot be added: %v", schema.SpokenPath(g.path), err)
		}
	}
	after := &schema.Condition{}
	for _, bad := range schema.Bind(node, after) {
		p.badMember(e, bad)
	}
	if len(p.problems) > first {
		return
	}
	change.After = after
	for _, f := range schema.Fields(after) {
		if old, ok := before[f.Path]; !ok || !f.Same(old) {
			change.Fields = append(change.Fields, FieldChange{Path: f.Path, From: old, To: f})
		}
	}
	switch {
	case change.Status == New:
		d.insert(e.id, node)
	case len(change.Fields) == 0:
		change.Status = Unchanged
	}
	d.dirty = d.dirty || len(change.Fields) > 0
	p.changes = append(p.changes, change)
}

// badMember turns what the reader of set files says into a problem of the sheet.
func (p *planner) badMember(e *entry, bad schema.Problem) {
	for _, g := range e.given {
		if g.path == bad.Field {
			p.problem(Place{e.row, g.col}, g.header, bad.Help, "%s", bad.Message)
			return
		}
	}
	if bad.Rule != schema.RuleMissingField {
		p.problem(Place{Row: e.row}, "", bad.Help, "%s: %s", schema.SpokenPath(bad.Field), bad.Message)
		return
	}
	c := p.column(bad.Field)
	if c == nil && (bad.Field == "nozzle.form" || bad.Field == "nozzle.orifice") {
		c = p.column(colNozzle)
	}
	if c == nil {
		p.missing[bad.Field] = append(p.missing[bad.Field], e.row)
		return
	}
	p.problem(Place{e.row, c.index + 1}, c.header, "Fill the cell.", "%s is a new condition and needs its %s", e.id, schema.SpokenPath(bad.Field))
}

// missingColumns reports each column that new conditions need.
func (p *Sheet) missingColumns() {
	paths := make([]string, 0, len(p.missing))
	for path := range p.missing {
		paths = append(paths, path)
	}
	slices.SortFunc(paths, comparePaths)
	for _, path := range paths {
		if slices.ContainsFunc(p.cols, func(c column) bool { return c.path == path }) {
			continue // it has a column, which was refused as a whole
		}
		l, _ := leafOf(path)
		name := schema.SpokenPath(path)
		if l.kind == isQuantity {
			name = headerExample(path, l.dim)
		}
		rows := p.missing[path]
		slices.Sort(rows)
		p.problem(Place{Row: p.header}, "", fmt.Sprintf("Add a column %q.", name), "there is no column for %s, which new conditions need (%s)", schema.SpokenPath(path), rowList(rows))
	}
}

func rowList(rows []int) string {
	const most = 6
	var b strings.Builder
	b.WriteString("row")
	if len(rows) > 1 {
		b.WriteString("s")
	}
	for i, row := range rows[:min(len(rows), most)] {
		if i > 0 {
			b.WriteString(",")
		}
		b.WriteString(" " + strconv.Itoa(row))
	}
	if len(rows) > most {
		fmt.Fprintf(&b, " and %d more", len(rows)-most)
	}
	return b.String()
}

// insert puts a new condition into the list: before the next thicker one of its family, or behind the family.
func (d *draft) insert(id schema.ID, node *schema.Node) {
	at := len(d.ids)
	for i, other := range d.ids {
		if other.Variant != id.Variant || other.Process != id.Process {
			continue
		}
		if at = i + 1; other.Compare(id) > 0 {
			at = i
			break
		}
	}
	d.ids = slices.Insert(d.ids, at, id)
	d.list.Kids = slices.Insert(d.list.Kids, at, node)
	d.nodes[id] = node
}

// same reports whether a cell says what stands in the library already. Blanks at the ends of a text and the way its lines end
// do not count: spreadsheets lose them.
func (g given) same(old schema.Field) bool {
	if g.empty {
		return old.Text == "[]"
	}
	if old.Quantity.IsZero() {
		lines := strings.NewReplacer("\r\n", "\n", "\r", "\n")
		return strings.TrimSpace(lines.Replace(g.text)) == strings.TrimSpace(lines.Replace(old.Text))
	}
	l, ok := leafOf(g.path)
	if !ok {
		return false
	}
	v, err := scale{dim: l.dim}.parse(g.text)
	return err == nil && v.Equal(old.Quantity)
}

// Equal reports whether the file would be written as it stands.
func (f File) Equal() bool { return bytes.Equal(f.Old, f.New) }
