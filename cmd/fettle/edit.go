package main

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"fettle/history"
	"fettle/schema"
	"fettle/schema/quantity"
)

func init() {
	commands = append(commands,
		func(a *app) *cobra.Command {
			return &cobra.Command{Use: "set ID FIELD=VALUE...", Short: "change values of a condition, with old and new shown at once",
				Example: "  fettle set bay-2/carbon-steel/oxygen/10mm cut.pressure=0.46bar\n  fettle set 10mm pierce1.time='0.4 s' note=",
				Args:    cobra.MinimumNArgs(2), ValidArgsFunction: a.completeFields(a.complete(inFiles)),
				RunE: func(cmd *cobra.Command, args []string) error { return a.set(args[0], args[1:]) }}
		},
		func(a *app) *cobra.Command {
			return &cobra.Command{Use: "put-back ID...", Short: "restore the approved recipe of a condition",
				Args: cobra.MinimumNArgs(1), ValidArgsFunction: a.complete(inFiles),
				RunE: func(cmd *cobra.Command, args []string) error { return a.putBack(args) }}
		},
		func(a *app) *cobra.Command {
			return &cobra.Command{Use: "copy FROM TO", Short: "copy a condition, or all of a machine; approvals do not come along",
				Example: "  fettle copy bay-2/carbon-steel/oxygen/10mm bay-2/carbon-steel/oxygen/11mm\n  fettle copy bay-2 bay-3",
				Args:    cobra.ExactArgs(2), ValidArgsFunction: a.complete(inFiles),
				RunE: func(cmd *cobra.Command, args []string) error { return a.copy(args[0], args[1]) }}
		})
}

// edit changes one set file: the tree goes to change, and what it wrote is read again. An edit that cannot be read is refused
// and nothing is written.
func (s *shop) edit(f *schema.File, change func(root *schema.Node) error) error {
	root := f.Root()
	if root == nil {
		return s.mendFirst(f.Path)
	}
	if err := change(root); err != nil {
		return err
	}
	data := schema.Layout(root)
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

// mendFirst refuses to write into a file that cannot be read whole: what stands in it would be lost, or stand there twice.
func (s *shop) mendFirst(path string) error {
	help := "What is wrong with it: fettle lint " + s.relative(path)
	if files, err := s.repo.Status(s.path(path)); err == nil && len(files) == 1 && files[0].Edited && !files[0].Unmerged {
		help += "\nAs it was saved last, without what was edited since: git restore " + s.forGit(path)
	}
	return troublef(help, "%s cannot be read whole, so nothing was written into it", path)
}

// named are the conditions that were typed. Each must stand in the files once: of two, nobody could say which is meant.
func (s *shop) named(lib *schema.Library, typed ...string) ([]schema.ID, error) {
	saved, err := s.saved()
	if err != nil {
		return nil, err
	}
	ids, err := s.resolve(typed, s.ids(inFiles|inSaved))
	if err != nil {
		return nil, err
	}
	for _, id := range ids {
		if lib.Recipe(id) != nil {
			continue
		}
		if path := saved.Recipe(id).File.Path; problemsIn(lib, path) {
			return nil, s.mendFirst(path)
		}
		if len(ids) == len(typed) {
			return nil, refusef("It comes back with: fettle put-back "+id.String(), "%s was taken out of the files", id)
		}
	}
	ids = slices.DeleteFunc(ids, func(id schema.ID) bool { return lib.Recipe(id) == nil })
	return ids, s.once(lib, ids)
}

func (s *shop) once(lib *schema.Library, ids []schema.ID) error {
	places := map[schema.ID][]string{}
	for _, set := range lib.Sets {
		for i := range set.Value.Conditions.V {
			c := &set.Value.Conditions.V[i]
			r := schema.Recipe{Set: set.Value, Condition: c}
			if id, ok := r.Values().ID(); ok && slices.Contains(ids, id) {
				line, _ := set.File.Position(c.Thickness.At.Start)
				places[id] = append(places[id], fmt.Sprintf("%s:%d", set.File.Path, line))
			}
		}
	}
	for _, id := range ids {
		if len(places[id]) > 1 {
			return troublef("Delete one in the file, or tell them apart by a variant. To see them: fettle lint "+s.relative(lib.Recipe(id).File.Path),
				"%s stands in the library twice, so it is not clear which is meant: %s", id, strings.Join(places[id], " and "))
		}
	}
	return nil
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
	s.meant([]string{typed}, onRecord|unsaved, inFiles|inSaved)
	lib, err := s.work()
	if err != nil {
		return err
	}
	ids, err := s.named(lib, typed)
	if err != nil {
		return err
	}
	before := lib
	err = s.whole(func() error {
		for _, id := range ids {
			if err := s.assignAll(id, assignments); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	return s.sayEdit(before, ids)
}

// assignAll carries out all assignments on one condition.
func (s *shop) assignAll(id schema.ID, assignments []string) error {
	lib, err := s.work()
	if err != nil {
		return err
	}
	r := lib.Recipe(id)
	return s.edit(r.File, func(root *schema.Node) error {
		condition := root.Get("conditions").Kids[r.Index]
		for _, text := range assignments {
			if err := assign(condition, text); err != nil {
				return err
			}
		}
		return nil
	})
}

// tightUnit is a number with its unit right behind it, as people type on a command line; files have a space between.
var tightUnit = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`^(-?[0-9](?:[0-9./ ]*[0-9./])?) *([a-zA-Zµμ%].*)$`)
})

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
	case strings.HasPrefix(field, "quality.") && strings.HasSuffix(field, "_range"), field == "quality.execution_class": // plain numbers
		n = &schema.Node{Kind: schema.Digits, Text: value}
	default:
		n = schema.Text(tightUnit().ReplaceAllString(value, "$1 $2"))
	}
	if err := condition.SetPath(field, n); err != nil {
		return troublef("Stages and contours count from 1, and a new one goes behind the last.", "%s: %w; nothing was changed", schema.SpokenPath(field), err)
	}
	return nil
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
		if before.Recipe(id) == nil {
			s.say("    new         %s", s.oneLine(r.Values()))
			continue
		}
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
	s.meant(typed, onRecord|unsaved, inFiles|inSaved|onceInUse)
	work, _, err := s.both()
	if err != nil {
		return err
	}
	standing := s.standing(&s.committed)
	ids, err := s.resolve(typed, s.ids(inFiles|inSaved|onceInUse))
	if err != nil {
		return err
	}
	if err := s.once(work, ids); err != nil {
		return err
	}
	err = s.whole(func() error {
		for _, id := range ids {
			if err := s.putBackOne(standing, id); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	if err := s.sayEdit(work, ids); err != nil {
		return err
	}
	return s.sayPutBack(ids)
}

func (s *shop) putBackOne(standing *history.Standing, id schema.ID) error {
	approved := history.ValuesOf(standing.Condition(id).Last())
	lib, err := s.work()
	if err != nil {
		return err
	}
	if approved == nil {
		help := "How it stands: fettle review " + id.String()
		if now, saved := lib.Recipe(id), s.committed.lib.Recipe(id); now != nil && saved != nil && now.Digest() != saved.Digest() {
			help = "To drop all unsaved edits of its file: git restore " + s.forGit(now.File.Path)
		}
		return refusef(help, "%s has no approved recipe to put back", id)
	}
	return s.replace(lib, id, approved)
}

// sayPutBack says what is left to do: nothing, where the approved recipe is what was saved last.
func (s *shop) sayPutBack(ids []schema.ID) error {
	differences, err := s.unsavedChanges(nil)
	if err != nil {
		return err
	}
	var open []string
	for _, d := range differences {
		if slices.Contains(ids, d.ID) && !d.NoteOnly {
			open = append(open, d.ID.String())
		}
	}
	if len(open) > 0 {
		which := strings.Join(open, " ") + " "
		if len(open) == len(differences) { // nothing else is unsaved
			which = ""
		}
		s.say("next     fettle save %s--cause put-back --because \"...\"", which)
		return nil
	}
	s.say("         the recipe is as it was saved last; there is nothing to save of it")
	return nil
}

// replace puts a recipe where the library holds this id, or at its place by thickness in its set. The note there is no part of the
// recipe and may tell more than the old one, so it stays.
func (s *shop) replace(lib *schema.Library, id schema.ID, v *schema.Values) error {
	recipe := v.Condition
	if r := lib.Recipe(id); r != nil {
		if r.Set.Grade.V != v.Grade.V {
			s.say("         the approved recipe is for grade %s and the set says %s now; that stands once for the whole set: mend it in %s",
				orNone(v.Grade.V), orNone(r.Set.Grade.V), s.relative(r.File.Path))
		}
		if r.Note.V != v.Note.V && r.Note.V != "" {
			s.say("         its note stays: %s   (to take it away: fettle set %s note=)", clean(r.Note.V), id)
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
		if len(set.File.Problems) > 0 {
			return s.mendFirst(set.File.Path) // the condition may stand there already, in a form that cannot be read
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
			list.Kids = append(list.Kids[:at:at], append([]*schema.Node{schema.Encode(&c)}, list.Kids[at:]...)...)
			return nil
		})
	}
	set := schema.ConditionSet{Head: schema.Head{Kind: schema.Of("condition-set"), Format: schema.Of(1)}, Machine: v.Machine, Material: v.Material,
		Grade: v.Grade, Gas: v.Gas, Conditions: schema.Of([]schema.Condition{c})}
	path := fmt.Sprintf("sets/%s/%s-%s.json", v.Machine.V, v.Material.V, v.Gas.V)
	if _, err := os.Lstat(filepath.Join(s.root, filepath.FromSlash(path))); !errors.Is(err, os.ErrNotExist) {
		return s.mendFirst(path) // it is there, and nobody could read these conditions in it
	}
	return s.write(path, schema.Layout(schema.Encode(&set)))
}

func (a *app) copy(from, to string) error {
	s, err := a.open()
	if err != nil {
		return err
	}
	if err := s.aboutCopy(from); err != nil {
		return err
	}
	lib, err := s.work()
	if err != nil {
		return err
	}
	if lib.Machine(from) != nil {
		return s.copyMachine(lib, from, to)
	}
	if !strings.Contains(from, "/") && len(matching(from, s.ids(inFiles))) == 0 {
		return troublef(didYouMean(from, lib.MachineNames()), "there is no condition or machine %q", from)
	}
	ids, err := s.named(lib, from)
	if err != nil {
		return err
	}
	if len(ids) != 1 {
		return troublef("", "%s is %d conditions; copy one, or a machine", from, len(ids))
	}
	if target, err := targetOf(ids[0], to); s.part != nil && err == nil { // what stands there already counts, too
		if err := s.turn(s.part.origin.of([]schema.ID{ids[0], target}, onRecord|unsaved)); err != nil {
			return err
		}
		lib = s.unsaved.lib
	}
	target, err := s.target(lib, ids[0], to)
	if err != nil {
		return err
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
	c.Variant, c.Process = optional(target.Variant), optional(target.Process)
	if err := s.insert(lib, v, c); err != nil {
		return err
	}
	s.say("copied   %s to %s; it is new and not approved", ids[0], target)
	return s.sayEdit(lib, []schema.ID{target})
}

// aboutCopy restricts the shop to what a copy is made of.
func (s *shop) aboutCopy(from string) error {
	if s.apart() && s.unsaved.lib.Machine(from) != nil {
		below, err := s.part.lookup.Below("sets/"+from+"/", s.part.snapshots[1])
		if err != nil {
			return err
		}
		all := s.part.origin.ofSets(nil)
		all.where = func(machine, material, gas string) bool {
			return machine == from || below[[3]string{machine, material, gas}]
		}
		return s.turn(all)
	}
	s.wholly()
	s.meant([]string{from}, onRecord|unsaved, inFiles|inSaved)
	return nil
}

// targetOf is where a copy goes: a whole id, or just another thickness.
func targetOf(from schema.ID, to string) (schema.ID, error) {
	if t, err := quantity.ParseOf[quantity.Length](to); err == nil {
		if mm, ok := schema.ThicknessMM(t); ok {
			from.Thickness = mm
			to = from.String()
		}
	}
	return schema.ParseID(to)
}

// target is where a copy goes. It must be free, and its machine known.
func (s *shop) target(lib *schema.Library, from schema.ID, to string) (schema.ID, error) {
	target, err := targetOf(from, to)
	if err != nil {
		return target, troublef("Write the whole id, such as "+from.String()+", or just the thickness, such as 11mm.", "%w", err)
	}
	if r := lib.Recipe(target); r != nil {
		return target, refusef("Change it: fettle set "+target.String()+" FIELD=VALUE", "%s is there already", target)
	}
	if lib.Machine(target.Machine) == nil {
		return target, troublef(didYouMean(target.Machine, lib.MachineNames())+"\nA new one like an old one: fettle copy "+from.Machine+" "+target.Machine,
			"there is no machine %q", target.Machine)
	}
	return target, nil
}

func orNone(s string) string {
	if s == "" {
		return "(none)"
	}
	return s
}

func optional(s string) schema.Member[string] {
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
	files := map[string][]byte{}
	add := func(f *schema.File, path string, rename func(root *schema.Node)) error {
		root := f.Root()
		if root == nil || f.Value == nil {
			return s.mendFirst(f.Path)
		}
		rename(root)
		files[path] = schema.Layout(root)
		if again := schema.ReadFile(path, files[path]); len(again.Problems) > 0 {
			p := again.Problems[0]
			return troublef(p.Help, "%s would not be readable: %s; nothing was copied", path, p.Message)
		}
		if _, err := os.Lstat(filepath.Join(s.root, filepath.FromSlash(path))); !errors.Is(err, os.ErrNotExist) {
			return refusef("Take it away or give the copy another name.", "%s is there already; nothing was copied", path)
		}
		return nil
	}
	err := add(lib.Machines[from].File, "machines/"+to+".json", func(root *schema.Node) {
		root.SetPath("name", schema.Text(to))
		root.SetPath("units", schema.List([]string{to}))
	})
	if err != nil {
		return err
	}
	count := 0
	for _, f := range lib.Files {
		rest, below := strings.CutPrefix(f.Path, "sets/"+from+"/")
		if !below {
			continue
		}
		if err := add(f, "sets/"+to+"/"+rest, func(root *schema.Node) { root.SetPath("machine", schema.Text(to)) }); err != nil {
			return err
		}
	}
	for _, r := range lib.Recipes {
		if r.ID.Machine == from {
			count++
		}
	}
	err = s.whole(func() error {
		for _, path := range slices.Sorted(maps.Keys(files)) {
			if err := s.write(path, files[path]); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	s.say("copied   machine %s to %s with %s; all of it is new and not approved", from, to, counted(count, "condition"))
	s.say("next     check machines/%s.json, then: fettle save --cause copied --because \"...\"", to)
	return nil
}
