package table

import "fettle/schema"

// grades settles the grade of each set. It stands once in a file and is part of every recipe of it, so a sheet may change it
// only where it names all of them.
func (p *planner) grades(entries []*entry) {
	for _, d := range p.order {
		named := map[schema.ID]bool{}
		var said *entry
		agree := true
		for _, e := range entries {
			if p.of[e] != d {
				continue
			}
			named[e.id] = true
			switch {
			case e.grade.path == "":
			case said == nil:
				said = e
			case said.grade.text != e.grade.text:
				agree = false
				p.problem(Place{e.row, e.grade.col}, e.grade.header, "Give both one grade, or import them for two machines or materials.",
					"the grade is %s here and %s in row %d, but conditions of one material and gas share a file and its grade", quote(e.grade.text), quote(said.grade.text), said.row)
			}
		}
		if said == nil || !agree {
			continue
		}
		old := ""
		if d.file != nil {
			if old = d.root.Str("grade"); old == said.grade.text {
				continue
			}
			for _, id := range d.ids {
				if !named[id] {
					p.problem(Place{said.row, said.grade.col}, said.grade.header, "Change the grade in that file by hand, or import all its conditions.",
						"%s says grade %s, which %s shares; the sheet does not name that condition", d.path, quote(old), id)
					agree = false
					break
				}
			}
		}
		if agree {
			p.setGrade(d, old, said.grade.text, named)
		}
	}
}

func (p *planner) setGrade(d *draft, old, grade string, named map[schema.ID]bool) {
	put(d.root, "grade", schema.Text(grade))
	d.dirty = true
	for i := range p.changes {
		c := &p.changes[i]
		if !named[c.ID] || c.Path != d.path {
			continue
		}
		from := schema.Field{}
		if old != "" {
			from = schema.Field{Path: colGrade, Text: old}
		}
		c.Fields = append([]FieldChange{{Path: colGrade, From: from, To: schema.Field{Path: colGrade, Text: grade}}}, c.Fields...)
		if c.Status == Unchanged {
			c.Status = Updated
		}
	}
}
