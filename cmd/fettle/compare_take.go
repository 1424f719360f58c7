package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/cmd/fettle/table"
	"fettle/history/audit"
	"fettle/schema"
)

// takeFrom brings the values of a machine into the files, as edits that are not saved. What differs by less than a step stays.
func (s *shop) takeFrom(t *machineTable, typed []string) error {
	ids := make([]schema.ID, len(t.readings))
	for i, r := range t.readings {
		ids[i] = r.ID
	}
	wanted, err := s.resolve(typed, ids)
	if err != nil {
		return err
	}
	before := s.unsaved.lib
	for _, id := range wanted {
		r := &t.readings[slices.Index(ids, id)]
		if err := s.takeOne(t, r); err != nil {
			return err
		}
		if _, err := s.work(); err != nil {
			return err
		}
	}
	if err := s.sayEdit(before, wanted); err != nil {
		return err
	}
	s.say("taken from row %s of %s; not saved yet", rowsOf(t, wanted), clean(t.file))
	s.say("next     fettle save %s --cause correction --because \"...\"", wanted[0])
	return nil
}

func rowsOf(t *machineTable, ids []schema.ID) string {
	var rows []string
	for _, r := range t.readings {
		if slices.Contains(ids, r.ID) {
			rows = append(rows, fmt.Sprint(r.Row))
		}
	}
	return strings.Join(rows, ", ")
}

func (s *shop) takeOne(t *machineTable, r *audit.Reading) error {
	lib := s.unsaved.lib
	recipe := lib.Recipe(r.ID)
	if recipe == nil {
		return s.takeNew(lib, r)
	}
	changes := t.steps.Drift(recipe.Values(), r, t.scanned.Paths)
	return s.edit(recipe.File, func(root *schema.Node) error {
		condition := root.Get("conditions").Kids[recipe.Index]
		for _, c := range changes {
			if c.To.Path == "" {
				continue // an empty cell does not say that the machine has none
			}
			if err := condition.SetPath(c.Path, nodeOf(c.To)); err != nil {
				return troublef("Take it over by hand: fettle set "+r.ID.String()+" ...", "%s cannot be taken: %w", schema.SpokenPath(c.Path), err)
			}
		}
		return nil
	})
}

// takeNew adds a condition that only the machine has.
func (s *shop) takeNew(lib *schema.Library, r *audit.Reading) error {
	n := &schema.Node{Kind: schema.Object}
	for _, f := range r.Fields {
		if f.Path == "machine" || f.Path == "material" || f.Path == "gas" || f.Path == "grade" {
			continue
		}
		if err := n.SetPath(f.Path, nodeOf(f)); err != nil {
			return troublef("", "%s cannot be taken: %w", schema.SpokenPath(f.Path), err)
		}
	}
	var c schema.Condition
	if problems := schema.Bind(n, &c); len(problems) > 0 {
		return refusef("Add it by hand or by fettle import; then compare again.", "%s is not in the library, and the table does not hold all that a new condition needs: %s: %s",
			r.ID, schema.SpokenPath(problems[0].Field), problems[0].Message)
	}
	v := &schema.Values{Machine: schema.Of(r.ID.Machine), Material: schema.Of(r.ID.Material), Gas: schema.Of(r.ID.Gas), Condition: c}
	return s.insert(lib, v, c)
}

// nodeOf is a field as a set file holds it.
func nodeOf(f schema.Field) *schema.Node {
	switch {
	case f.Text == "[]":
		return &schema.Node{Kind: schema.Array}
	case strings.HasPrefix(f.Path, "quality.") && f.Quantity.IsZero():
		return &schema.Node{Kind: schema.Digits, Text: f.Text}
	}
	return schema.Text(f.Text)
}

// planScan works out what of a machine's table is a recipe that is known here.
func (s *shop) planScan(f loadFlags, at time.Time) ([]plannedLoad, error) {
	t, err := s.readTable(f.scan, f.unit, table.Options{})
	if err != nil {
		return nil, err
	}
	drifts, err := s.driftsOf(t)
	if err != nil {
		return nil, err
	}
	var plan []plannedLoad
	for _, d := range drifts {
		switch {
		case d.status == driftMissing:
		case d.recipe == "":
			s.say("not written down: %s (row %d) is no recipe that was ever saved here; fettle compare shows where it differs", d.id, d.row)
		default:
			p := plannedLoad{unit: f.unit, at: at, id: d.id, recipe: d.recipe}
			p.notes = s.loadNotes(&p, s.standing(&s.committed).Position(s.committed.lib, d.id), f)
			plan = append(plan, p)
		}
	}
	if len(plan) == 0 {
		return nil, refusef("fettle compare "+f.scan+" --unit "+f.unit+" shows where they differ.", "no row of %s is a recipe that was ever saved here", f.scan)
	}
	return plan, nil
}
