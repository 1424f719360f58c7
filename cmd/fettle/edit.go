package main

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/schema"
)

func init() {
	commands = append(commands,
		func(a *app) *cobra.Command {
			return &cobra.Command{Use: "set ID FIELD=VALUE...", Short: "change values of a condition, with old and new shown at once",
				Example: "  fettle set bay-2/carbon-steel/oxygen/10mm cut.pressure=0.46bar\n  fettle set 10mm pierce1.time='0.4 s' note=",
				Args:    cobra.MinimumNArgs(2), ValidArgsFunction: a.complete(unsavedIDs),
				RunE: func(cmd *cobra.Command, args []string) error { return a.set(args[0], args[1:]) }}
		},
		func(a *app) *cobra.Command {
			return &cobra.Command{Use: "put-back ID...", Short: "restore the approved recipe of a condition",
				Args: cobra.MinimumNArgs(1), ValidArgsFunction: a.complete(unsavedIDs),
				RunE: func(cmd *cobra.Command, args []string) error { return a.putBack(args) }}
		},
		func(a *app) *cobra.Command {
			return &cobra.Command{Use: "copy FROM TO", Short: "copy a condition, or all of a machine; approvals do not come along",
				Example: "  fettle copy bay-2/carbon-steel/oxygen/10mm bay-2/carbon-steel/oxygen/11mm\n  fettle copy bay-2 bay-3",
				Args:    cobra.ExactArgs(2), ValidArgsFunction: a.complete(unsavedIDs),
				RunE: func(cmd *cobra.Command, args []string) error { return a.copy(args[0], args[1]) }}
		})
}

// edit changes one set file: the tree goes to change, and what it wrote is read again. An edit that cannot be read is refused
// and nothing is written.
func (s *shop) edit(f *schema.File, change func(root *schema.Node) error) error {
	again := schema.ReadFile(f.Path, f.Data) // a tree of its own: a refused edit leaves no trace in what others hold
	if again.Root == nil {
		return troublef("fettle lint "+f.Path, "%s cannot be read, so it cannot be edited", f.Path)
	}
	if err := change(again.Root); err != nil {
		return err
	}
	data := schema.Layout(again.Root)
	known := map[string]bool{}
	for _, p := range f.Problems {
		known[p.Rule+p.Field] = true
	}
	for _, p := range schema.ReadFile(f.Path, data).Problems {
		if !known[p.Rule+p.Field] {
			return troublef(p.Help, "%s: %s; nothing was changed", schema.SpokenPath(insideCondition(p.Field)), p.Message)
		}
	}
	return s.write(f.Path, data)
}

// insideCondition drops conditions[N]. from a path.
func insideCondition(field string) string {
	if rest, ok := strings.CutPrefix(field, "conditions["); ok {
		if _, inside, ok := strings.Cut(rest, "]."); ok {
			return inside
		}
	}
	return field
}

func (a *app) set(typed string, assignments []string) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	lib, err := s.work()
	if err != nil {
		return err
	}
	ids, err := a.resolve([]string{typed}, idsOf(lib))
	if err != nil {
		return err
	}
	before := lib
	for _, id := range ids {
		if lib, err = s.work(); err != nil {
			return err
		}
		r := lib.Recipe(id)
		err := s.edit(r.File, func(root *schema.Node) error {
			condition := root.Get("conditions").Kids[r.Index]
			for _, text := range assignments {
				if err := assign(condition, text); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
	}
	return s.sayEdit(before, ids)
}

// tightUnit is a number with its unit right behind it, as people type on a command line; files have a space between.
var tightUnit = regexp.MustCompile(`^(-?[0-9](?:[0-9./ ]*[0-9./])?) *([a-zA-Zµμ%].*)$`)

// assign carries out one FIELD=VALUE; an empty value takes the member away.
func assign(condition *schema.Node, text string) error {
	field, value, ok := strings.Cut(text, "=")
	field = schema.FieldPath(strings.TrimSpace(field))
	if !ok || field == "" {
		return troublef("Write it like cut.pressure=0.46bar, or note= to take a member away.", "%q is no FIELD=VALUE", text)
	}
	for _, fixed := range []string{"thickness", "variant", "process", "conditions"} {
		if field == fixed {
			return troublef("Copy the condition and remove the old one: fettle copy ID TO", "%s is part of the id of a condition; it cannot be set", field)
		}
	}
	var n *schema.Node
	switch value = strings.TrimSpace(value); {
	case value == "":
	case strings.HasPrefix(field, "quality.") && strings.HasSuffix(field, "_range"):
		n = &schema.Node{Kind: schema.Digits, Text: value}
	default:
		n = schema.Text(tightUnit.ReplaceAllString(value, "$1 $2"))
	}
	return condition.SetPath(field, n)
}

// sayEdit shows what an edit changed, old → new, with what lint says of it.
func (s *shop) sayEdit(before *schema.Library, ids []schema.ID) error {
	lib, err := s.work()
	if err != nil {
		return err
	}
	for _, id := range ids {
		r := lib.Recipe(id)
		if r == nil {
			continue
		}
		s.say("%s", id)
		changes := history.CompareValues(valuesOf(before.Recipe(id)), r.Values())
		if len(changes) == 0 {
			s.say("    it was so already")
		}
		s.printChanges(changes)
	}
	return s.lintEdit(ids)
}

func valuesOf(r *schema.Recipe) *schema.Values {
	if r == nil {
		return nil
	}
	return r.Values()
}

func (a *app) putBack(typed []string) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	work, saved, err := s.both()
	if err != nil {
		return err
	}
	standing := s.standing(&s.committed)
	candidates := idsOf(work, saved)
	for _, p := range standing.Positions(saved) {
		if work.Recipe(p.ID) == nil && saved.Recipe(p.ID) == nil {
			candidates = append(candidates, p.ID)
		}
	}
	ids, err := a.resolve(typed, candidates)
	if err != nil {
		return err
	}
	for _, id := range ids {
		approved := history.ValuesOf(standing.Condition(id).Last())
		if approved == nil {
			return refusef("fettle review "+id.String()+" shows how it stands.", "%s has no approved recipe to put back", id)
		}
		lib, err := s.work()
		if err != nil {
			return err
		}
		if err := s.replace(lib, id, approved); err != nil {
			return err
		}
	}
	if err := s.sayEdit(work, ids); err != nil {
		return err
	}
	return s.sayPutBack(ids)
}

// sayPutBack says what is left to do: nothing, where the approved recipe is what was saved last.
func (s *shop) sayPutBack(ids []schema.ID) error {
	differences, err := s.unsavedChanges(nil)
	if err != nil {
		return err
	}
	for _, d := range differences {
		if slices.Contains(ids, d.ID) {
			s.say("next     fettle save %s --cause put-back --because \"...\"", d.ID)
			return nil
		}
	}
	s.say("         as it was saved last; there is nothing to save")
	return nil
}

// replace puts a recipe where the library holds this id, keeping its note, or at its place by thickness in its set.
func (s *shop) replace(lib *schema.Library, id schema.ID, v *schema.Values) error {
	recipe := v.Condition
	if r := lib.Recipe(id); r != nil {
		if r.Set.Grade.V != v.Grade.V {
			s.say("note     the approved recipe is for grade %q, the set says %q", v.Grade.V, r.Set.Grade.V)
		}
		recipe.Note = r.Note
		return s.edit(r.File, func(root *schema.Node) error {
			root.Get("conditions").Kids[r.Index] = schema.Encode(&recipe)
			return nil
		})
	}
	return s.insert(lib, v, recipe)
}

// insert adds a condition to the set of its machine, material and gas, by thickness, and makes the set where there is none.
func (s *shop) insert(lib *schema.Library, v *schema.Values, c schema.Condition) error {
	for _, set := range lib.Sets {
		if set.Value.Machine.V != v.Machine.V || set.Value.Material.V != v.Material.V || set.Value.Gas.V != v.Gas.V {
			continue
		}
		at := len(set.Value.Conditions.V)
		for i := range set.Value.Conditions.V {
			if c.Thickness.V.Below(set.Value.Conditions.V[i].Thickness.V) {
				at = i
				break
			}
		}
		return s.edit(set.File, func(root *schema.Node) error {
			list := root.Get("conditions")
			if list == nil {
				return troublef("", "%s has no list of conditions", set.File.Path)
			}
			list.Kids = append(list.Kids[:at:at], append([]*schema.Node{schema.Encode(&c)}, list.Kids[at:]...)...)
			return nil
		})
	}
	set := schema.ConditionSet{Head: schema.Head{Kind: schema.Of("condition-set"), Format: schema.Of(1)}, Machine: v.Machine, Material: v.Material,
		Grade: v.Grade, Gas: v.Gas, Conditions: schema.Of([]schema.Condition{c})}
	path := fmt.Sprintf("sets/%s/%s-%s.json", v.Machine.V, v.Material.V, v.Gas.V)
	return s.write(path, schema.Layout(schema.Encode(&set)))
}

func (a *app) copy(from, to string) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	lib, err := s.work()
	if err != nil {
		return err
	}
	if lib.Machine(from) != nil {
		return s.copyMachine(lib, from, to)
	}
	ids, err := a.resolve([]string{from}, idsOf(lib))
	if err != nil {
		return err
	}
	if len(ids) != 1 {
		return troublef("", "%s is %d conditions; copy one, or a machine", from, len(ids))
	}
	target, err := schema.ParseID(to)
	if err != nil {
		return troublef("Write the whole id, such as "+ids[0].String(), "%w", err)
	}
	if lib.Recipe(target) != nil {
		return refusef("Change it: fettle set "+to+" FIELD=VALUE", "%s is there already", target)
	}
	v := lib.Recipe(ids[0]).Values()
	v.Machine, v.Material, v.Gas = schema.Of(target.Machine), schema.Of(target.Material), schema.Of(target.Gas)
	if target.Material != ids[0].Material {
		v.Grade = schema.Member[string]{}
	}
	c := v.Condition
	if err := c.Thickness.V.Set(target.Thickness + " mm"); err != nil {
		return err
	}
	c.Thickness.At = schema.Made
	c.Variant, c.Process = named(target.Variant), named(target.Process)
	if err := s.insert(lib, v, c); err != nil {
		return err
	}
	if err := s.sayEdit(lib, []schema.ID{target}); err != nil {
		return err
	}
	s.say("copied from %s; it is new and not approved", ids[0])
	return nil
}

func named(s string) schema.Member[string] {
	if s == "" {
		return schema.Member[string]{}
	}
	return schema.Of(s)
}

// copyMachine copies a profile and all its sets to a machine that does not exist yet.
func (s *shop) copyMachine(lib *schema.Library, from, to string) error {
	if lib.Machine(to) != nil {
		return refusef("Copy single conditions: fettle copy ID TO", "machine %s is there already", to)
	}
	profile := schema.ReadFile("", lib.Machines[from].File.Data).Root
	profile.SetPath("name", schema.Text(to))
	profile.SetPath("units", schema.List([]string{to}))
	files := map[string][]byte{"machines/" + to + ".json": schema.Layout(profile)}
	count := 0
	for _, set := range lib.Sets {
		if set.Value.Machine.V != from {
			continue
		}
		root := schema.ReadFile("", set.File.Data).Root
		root.SetPath("machine", schema.Text(to))
		files[strings.Replace(set.File.Path, "sets/"+from+"/", "sets/"+to+"/", 1)] = schema.Layout(root)
		count += len(set.Value.Conditions.V)
	}
	for path, data := range files {
		if f := schema.ReadFile(path, data); len(f.Problems) > 0 {
			return troublef(f.Problems[0].Help, "%s would not be readable: %s", path, f.Problems[0].Message)
		}
	}
	for path, data := range files {
		if err := s.write(path, data); err != nil {
			return err
		}
	}
	s.say("copied machine %s to %s with %d conditions; all are new and not approved", from, to, count)
	s.say("next     check machines/%s.json, then: fettle save --cause copied --because \"...\"", to)
	return nil
}
