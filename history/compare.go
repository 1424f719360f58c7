package history

import (
	"bytes"
	"slices"
	"strconv"

	"fettle/schema"
)

// A FieldChange is one value that differs. From or To is the zero Field where the member was absent.
type FieldChange struct {
	Path     string
	From, To schema.Field
}

// Percent returns the relative change of a quantity in percent, and whether it makes sense.
func (c FieldChange) Percent() (float64, bool) {
	if c.From.Quantity.IsZero() || c.To.Quantity.IsZero() {
		return 0, false
	}
	from, to := c.From.Quantity.SI(), c.To.Quantity.SI()
	if from == 0 || from*to < 0 {
		return 0, false
	}
	return (to - from) / from * 100, true
}

// A Difference is one condition that is not the same in two snapshots. Before is nil for a new one, After for a removed one.
type Difference struct {
	ID            schema.ID
	Before, After *schema.Recipe
	Fields        []FieldChange
	NoteOnly      bool // the recipe is the same, only free text differs
}

// Digests returns the digests before and after, "" where there is no recipe.
func (d Difference) Digests() (from, to schema.Digest) {
	if d.Before != nil {
		from = d.Before.Digest()
	}
	if d.After != nil {
		to = d.After.Digest()
	}
	return from, to
}

// Compare returns what differs between two snapshots by id and field, ordered by id. Files that were moved, renamed, split or
// laid out anew make no difference; a changed thickness is one condition removed and one new.
func Compare(before, after *schema.Library) []Difference { return compare(before, after, true) }

// Differing is [Compare] without the fields of conditions that are new or removed, which are all of theirs.
func Differing(before, after *schema.Library) []Difference { return compare(before, after, false) }

func compare(before, after *schema.Library, all bool) []Difference {
	var out []Difference
	i, j := 0, 0
	for i < len(before.Recipes) || j < len(after.Recipes) {
		var a, b *schema.Recipe
		switch {
		case j == len(after.Recipes):
			a = before.Recipes[i]
		case i == len(before.Recipes):
			b = after.Recipes[j]
		default:
			switch c := before.Recipes[i].ID.Compare(after.Recipes[j].ID); {
			case c < 0:
				a = before.Recipes[i]
			case c > 0:
				b = after.Recipes[j]
			default:
				a, b = before.Recipes[i], after.Recipes[j]
			}
		}
		if a != nil {
			i++
		}
		if b != nil {
			j++
		}
		if d, differs := difference(a, b, all); differs {
			out = append(out, d)
		}
	}
	return out
}

func difference(a, b *schema.Recipe, all bool) (Difference, bool) {
	d := Difference{Before: a, After: b}
	switch {
	case a == nil:
		d.ID = b.ID
		if all {
			d.Fields = CompareValues(nil, b.Values())
		}
		return d, true
	case b == nil:
		d.ID = a.ID
		if all {
			d.Fields = CompareValues(a.Values(), nil)
		}
		return d, true
	case a.Condition == b.Condition && a.Set == b.Set && slices.Equal(a.Composition, b.Composition):
		return d, false // read once for both snapshots
	case sameText(a, b):
		return d, false
	}
	d.ID = a.ID
	d.Fields = CompareValues(a.Values(), b.Values())
	d.NoteOnly = a.Digest() == b.Digest()
	return d, len(d.Fields) > 0 || !d.NoteOnly
}

// sameText reports whether two recipes are written alike, which needs no look at their values: in an edited set most are. Mixes of the
// shop's own are left to a closer look.
func sameText(a, b *schema.Recipe) bool {
	text := a.Text()
	return text != nil && bytes.Equal(text, b.Text()) && len(a.Composition)+len(b.Composition) == 0 &&
		a.Set.Machine.V == b.Set.Machine.V && a.Set.Material.V == b.Set.Material.V && a.Set.Grade.V == b.Set.Grade.V && a.Set.Gas.V == b.Set.Gas.V
}

// CompareValues returns the fields that differ, in the order of the format. Either side may be nil.
func CompareValues(a, b *schema.Values) []FieldChange {
	var before, after []schema.Field
	if a != nil {
		before = append(schema.Fields(a), hollow(a)...)
	}
	if b != nil {
		after = append(schema.Fields(b), hollow(b)...)
	}
	return CompareFields(before, after)
}

// hollow returns the objects that stand in a recipe without a member. They are part of its digest and hold no value to compare.
func hollow(v *schema.Values) []schema.Field {
	var out []schema.Field
	add := func(path string, empty bool) {
		if empty {
			out = append(out, schema.Field{Path: path, Text: "{}", At: schema.Made})
		}
	}
	add("lead_in", v.LeadIn.Set() && v.LeadIn.V == schema.LeadIn{})
	add("corner", v.Corner.Set() && v.Corner.V == schema.Corner{})
	for i, stage := range v.Pierce.V {
		add("pierce["+strconv.Itoa(i)+"]", stage == schema.Stage{})
	}
	add("quality", v.Quality.Set() && v.Quality.V == schema.Quality{})
	return out
}

// CompareFields returns the fields that differ, those that are gone at the end.
func CompareFields(before, after []schema.Field) []FieldChange {
	var out []FieldChange
	old := make(map[string]schema.Field, len(before))
	for _, f := range before {
		old[f.Path] = f
	}
	seen := make(map[string]bool, len(after))
	for _, f := range after {
		seen[f.Path] = true
		if was, ok := old[f.Path]; !ok || !was.Same(f) {
			if defaultProcess(was, f) {
				continue
			}
			out = append(out, FieldChange{f.Path, was, f})
		}
	}
	for _, f := range before {
		if !seen[f.Path] && !defaultProcess(f, schema.Field{}) {
			out = append(out, FieldChange{Path: f.Path, From: f})
		}
	}
	return out
}

// defaultProcess reports whether the pair is "process": "cut" against no process, which mean the same.
func defaultProcess(a, b schema.Field) bool {
	plain := func(f schema.Field) bool { return f.Path == "" || f.Path == "process" && f.Text == "cut" }
	return plain(a) && plain(b) && a.Path != b.Path
}

// Touched returns the ids that differ.
func Touched(differences []Difference) []schema.ID {
	ids := make([]schema.ID, len(differences))
	for i, d := range differences {
		ids[i] = d.ID
	}
	return slices.Clip(ids)
}
