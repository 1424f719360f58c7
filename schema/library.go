package schema

import (
	"bytes"
	"fmt"
	"path"
	"runtime"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/go-json-experiment/json/jsontext"

	"fettle/schema/quantity"
)

// Names of files at the root of a library.
const (
	SettingsFile = "fettle.json"
	RosterFile   = "approvers"
	PeopleFile   = "people"
)

// A Source is a snapshot of a library: the work tree, what is about to be committed, or a commit. Paths are relative to the root
// of the library, with slashes.
type Source interface {
	Files() []string
	Read(path string) ([]byte, error)
}

// A Recipe is one condition where it stands in a library.
type Recipe struct {
	ID    ID
	File  *File
	Set   *ConditionSet
	Index int // in the conditions of the set
	*Condition
	Composition Table[quantity.Ratio]
	Unread      []Problem // what its digest does not say although it is written: members twice, unknown or unreadable, the id once more
	digest      Digest
	once        sync.Once
}

// Values returns all that makes up the recipe, as records keep it.
func (r *Recipe) Values() *Values {
	v := &Values{}
	r.fill(v)
	return v
}

func (r *Recipe) fill(v *Values) {
	*v = Values{Machine: r.Set.Machine, Material: r.Set.Material, Grade: r.Set.Grade, Gas: r.Set.Gas,
		Composition: r.Composition, Condition: *r.Condition}
}

// Digest returns the digest of the recipe.
func (r *Recipe) Digest() Digest {
	r.once.Do(func() { r.digest = digestOf(r.fill) })
	return r.digest
}

// Text is the condition as it stands in its file, which may be laid out in any way. It says nothing of what the set says for all of
// its conditions.
func (r *Recipe) Text() []byte {
	if r.Index >= len(r.File.items) {
		return nil
	}
	at := r.File.items[r.Index]
	return r.File.Data[at.Start:at.End]
}

// FieldPath turns a path inside the condition into one from the root of the file.
func (r *Recipe) FieldPath(field string) string {
	return fmt.Sprintf("conditions[%d].%s", r.Index, field)
}

// Placed is a machine profile or the settings with its file.
type Placed[T any] struct {
	File  *File
	Value *T
}

// A Library is a snapshot that was read: everything but the records.
type Library struct {
	Settings Placed[Settings]
	Machines map[string]Placed[Machine]
	Sets     []Placed[ConditionSet] // by path
	Recipes  []*Recipe              // by ID
	Files    []*File                // every JSON file outside records/, by path
	Roster   []byte                 // the file approvers, nil where there is none
	People   []byte                 // the file people, nil where there is none
	byID     map[ID]*Recipe
	again    []again
	frame    *Library // that a part was made of, see With
	families []string // see Named
}

// again is a condition whose id stands further ahead already.
type again struct {
	id      ID
	problem Problem
}

// ReadLibrary reads the snapshot. The error is about reading the source; what is wrong with the content is in the files' Problems.
func ReadLibrary(src Source) (*Library, error) {
	return readLibrary(src, IsSetPath)
}

// ReadFrame reads a library without its sets: settings, machines, rosters.
func ReadFrame(src Source) (*Library, error) {
	return readLibrary(src, func(string) bool { return false })
}

// IsSetPath reports whether a path of the library lies where condition sets do.
func IsSetPath(path string) bool {
	return strings.HasPrefix(path, "sets/") && strings.HasSuffix(path, ".json")
}

func readLibrary(src Source, isSet func(string) bool) (*Library, error) {
	lib := &Library{Machines: map[string]Placed[Machine]{}, byID: map[ID]*Recipe{}}
	var paths []string
	for _, p := range src.Files() {
		switch {
		case p == SettingsFile, strings.HasPrefix(p, "machines/") && strings.HasSuffix(p, ".json"), isSet(p):
			paths = append(paths, p)
		case p == RosterFile || p == PeopleFile:
			data, err := src.Read(p)
			if err != nil {
				return nil, unreadable(p, err)
			}
			if data == nil {
				data = []byte{}
			}
			if p == RosterFile {
				lib.Roster = data
			} else {
				lib.People = data
			}
		}
	}
	sort.Strings(paths)
	if err := lib.read(src, paths); err != nil {
		return nil, err
	}
	lib.placeAll()
	return lib, nil
}

// placeAll puts the files that were read where they belong.
func (lib *Library) placeAll() {
	for _, f := range lib.Files {
		lib.place(f)
	}
	for _, set := range lib.Sets {
		lib.placeConditions(set)
	}
	lib.noteUnread()
	slices.SortStableFunc(lib.Recipes, func(a, b *Recipe) int { return a.ID.Compare(b.ID) })
}

// With is the part of a library that some files of sets make, ordered by path, with the settings and machines of a frame. The library is
// the sum of its parts where all sets of one machine, material and gas, and all that is written in them, are in one part.
func (lib *Library) With(sets []*File) *Library {
	part := &Library{Settings: lib.Settings, Machines: lib.Machines, Roster: lib.Roster, People: lib.People, Files: sets, byID: map[ID]*Recipe{}, frame: lib}
	part.placeAll()
	return part
}

// File returns a file of the library, or of the one that it is a part of; nil where there is none.
func (lib *Library) File(path string) *File {
	for _, f := range lib.Files {
		if f.Path == path {
			return f
		}
	}
	if lib.frame != nil {
		return lib.frame.File(path)
	}
	return nil
}

// Named tells a frame the names of the families in all of its parts.
func (lib *Library) Named(families []string) *Library {
	named := *lib
	named.families = families
	return &named
}

// FamilyNames are the names of the families, sorted.
func (lib *Library) FamilyNames() []string {
	if lib.families != nil {
		return lib.families
	}
	var names []string
	for _, family := range lib.Families() {
		names = append(names, family[0].ID.Family())
	}
	slices.Sort(names)
	return names
}

// read reads all files, a few at a time.
func (lib *Library) read(src Source, paths []string) error {
	lib.Files = make([]*File, len(paths))
	return AtOnce(len(paths), func(i int) error {
		f, err := readFrom(src, paths[i])
		if err != nil {
			return unreadable(paths[i], err)
		}
		lib.Files[i] = f
		return nil
	})
}

// AtOnce calls f for 0 to n-1, as many at a time as there are processors. It returns when all have returned, with the error of the
// lowest number that had one.
func AtOnce(n int, f func(i int) error) error {
	errs := make([]error, n)
	var next atomic.Int64
	var wait sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), n) {
		wait.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				errs[i] = f(i)
			}
		})
	}
	wait.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// FamilyOf reads what a file of a set says of all its conditions, and no farther than it has to. Of a file that is no set, or cannot be
// read, it may say anything.
func FamilyOf(data []byte) (machine, material, gas string) {
	want := map[string]*string{"machine": &machine, "material": &material, "gas": &gas}
	d := jsontext.NewDecoder(bytes.NewBuffer(data), jsontext.AllowDuplicateNames(true))
	if open, err := d.ReadToken(); err != nil || open.Kind() != '{' {
		return "", "", ""
	}
	for len(want) > 0 && d.PeekKind() == '"' {
		name, err := d.ReadToken()
		if err != nil {
			break
		}
		into := want[name.String()]
		if into == nil {
			if d.SkipValue() != nil {
				break
			}
			continue
		}
		delete(want, name.String()) // of two the first counts
		value, err := d.ReadToken()
		if err != nil {
			break
		}
		switch value.Kind() {
		case '"':
			*into = value.String()
		case '{', '[':
			return "", "", ""
		}
	}
	return machine, material, gas
}

// unreadable names the file that could not be read, where the error does not do so itself.
func unreadable(path string, err error) error {
	if strings.Contains(err.Error(), path) {
		return err
	}
	return fmt.Errorf("%s: %w", path, err)
}

// place puts a file where its path says it belongs, and reports one that is of another kind.
func (lib *Library) place(f *File) {
	want := "condition-set"
	switch {
	case f.Path == SettingsFile:
		want = "library"
	case strings.HasPrefix(f.Path, "machines/"):
		want = "machine"
	}
	if f.Kind != want {
		if f.Value != nil {
			n := f.Root().Get("kind")
			f.report(RuleMisplacedFile, n.At, "kind", fmt.Sprintf("a file of kind %q here; %s holds files of kind %q", f.Kind, dirOf(f.Path), want), "Move the file to where its kind belongs.")
		}
		return
	}
	switch v := f.Value.(type) {
	case *Settings:
		lib.Settings = Placed[Settings]{f, v}
	case *Machine:
		lib.placeMachine(f, v)
	case *ConditionSet:
		lib.Sets = append(lib.Sets, Placed[ConditionSet]{f, v})
		if v.Machine.Set() && !strings.HasPrefix(f.Path, "sets/"+v.Machine.V+"/") {
			f.report(RuleMisplacedFile, v.Machine.At, "machine", fmt.Sprintf("the set is of machine %q and lies in %s", v.Machine.V, dirOf(f.Path)),
				"It belongs below sets/"+v.Machine.V+"/.")
		}
	}
}

func (lib *Library) placeMachine(f *File, m *Machine) {
	if !m.Name.Set() {
		return
	}
	if file := FileOf(SubjectMachine, m.Name.V); f.Path != file {
		f.report(RuleMisplacedFile, m.Name.At, "name", fmt.Sprintf("the machine is called %q and the file %s", m.Name.V, path.Base(f.Path)),
			"It belongs in "+file+".")
	}
	if first, ok := lib.Machines[m.Name.V]; ok {
		f.report(RuleDuplicateID, m.Name.At, "name", fmt.Sprintf("machine %q stands in %s already", m.Name.V, first.File.Path), "Keep one of the two.")
		return
	}
	lib.Machines[m.Name.V] = Placed[Machine]{f, m}
}

func (lib *Library) placeConditions(set Placed[ConditionSet]) {
	s := set.Value
	var mix Table[quantity.Ratio]
	if lib.Settings.Value != nil {
		mix, _ = lib.Settings.Value.Gases.Get(s.Gas.V)
	}
	for i := range s.Conditions.V {
		c := &s.Conditions.V[i]
		if !c.Thickness.Set() || !s.Machine.Set() || !s.Material.Set() || !s.Gas.Set() {
			continue // reported as missing or unreadable already
		}
		r := &Recipe{File: set.File, Set: s, Index: i, Condition: c, Composition: mix}
		field := "conditions[" + strconv.Itoa(i) + "]."
		id, ok := idOf(s.Machine.V, s.Material.V, s.Gas.V, c)
		switch {
		case !ok:
			set.File.report(RuleBadValue, c.Thickness.At, field+"thickness", fmt.Sprintf("%s is no finite decimal in mm, so it has no id", c.Thickness.V.Text()), "Write the thickness in mm, as it is measured.")
			continue
		case c.Thickness.V.Sign() <= 0:
			set.File.report(RuleBadValue, c.Thickness.At, field+"thickness", fmt.Sprintf("a plate of %s does not exist", c.Thickness.V.Text()), "")
			continue
		case slices.Contains(Processes, id.Variant):
			set.File.report(RuleBadValue, c.Variant.At, field+"variant", fmt.Sprintf("%q is the name of a process", id.Variant), `Use "process", or another name for the variant.`)
			continue
		}
		r.ID = id
		if first, ok := lib.byID[id]; ok {
			line, _ := first.File.Position(first.Thickness.At.Start)
			lib.again = append(lib.again, again{id, set.File.report(RuleDuplicateID, c.Thickness.At, field+"thickness", fmt.Sprintf("%s stands in %s:%d already", id, first.File.Path, line), "Keep one, or tell them apart by a variant.")})
			continue
		}
		lib.byID[id] = r
		lib.Recipes = append(lib.Recipes, r)
	}
}

// noteUnread tells every recipe what stands in its file and is not in its digest. Whoever reads the file otherwise, such as a program
// that takes the last of two members of one name, may cut with another recipe than the one that was approved.
func (lib *Library) noteUnread() {
	byFile := map[*File]map[int][]Problem{} // by condition, -1 for what is in none
	for _, set := range lib.Sets {
		for _, p := range set.File.Problems {
			if !p.Hides() || set.File.items == nil {
				continue
			}
			if byFile[set.File] == nil {
				byFile[set.File] = map[int][]Problem{}
			}
			at, inside := slices.BinarySearchFunc(set.File.items, p.At.Start, func(at Span, start int) int {
				switch {
				case at.End <= start:
					return -1
				case at.Start > start:
					return 1
				}
				return 0
			})
			if !inside {
				at = -1
			}
			byFile[set.File][at] = append(byFile[set.File][at], p)
		}
	}
	for _, r := range lib.Recipes {
		if found := byFile[r.File]; found != nil {
			r.Unread = slices.Concat(found[-1], found[r.Index])
		}
	}
	for _, twice := range lib.again {
		if first := lib.byID[twice.id]; len(first.Unread) < MaxProblems {
			first.Unread = append(first.Unread, twice.problem)
		}
	}
}

func (f *File) report(rule string, at Span, field, message, help string) Problem {
	p := Problem{Rule: rule, At: at, Field: field, Message: message, Help: help}
	if len(f.Problems) > MaxProblems {
		return p
	}
	f.Problems = append(f.Problems, p)
	if n := len(f.Problems); n > 1 && f.Problems[n-2].At.Start > at.Start {
		slices.SortStableFunc(f.Problems, func(a, b Problem) int { return a.At.Start - b.At.Start })
	}
	return p
}

func dirOf(p string) string {
	if dir := path.Dir(p); dir != "." {
		return dir + "/"
	}
	return "the root of the library"
}

// Recipe returns the condition with this id, or nil.
func (lib *Library) Recipe(id ID) *Recipe { return lib.byID[id] }

// Machine returns the profile of a machine, or nil.
func (lib *Library) Machine(name string) *Machine { return lib.Machines[name].Value }

// Policy returns what the settings ask of a change; without settings the defaults, which are the strict side.
func (lib *Library) Policy() Policy {
	if lib.Settings.Value == nil {
		return Policy{}
	}
	return lib.Settings.Value.Policy.V
}

// Prefs are the units for screens.
func (lib *Library) Prefs() quantity.Prefs {
	if lib.Settings.Value == nil {
		return nil
	}
	return lib.Settings.Value.Display.V.Prefs()
}

// BaseMaterial returns the known material that name is judged as, and whether it is known at all.
func (lib *Library) BaseMaterial(name string) (string, bool) {
	if slices.Contains(Materials, name) {
		return name, true
	}
	if lib.Settings.Value != nil {
		if own, ok := lib.Settings.Value.Materials.Get(name); ok && slices.Contains(Materials, own.Base.V) {
			return own.Base.V, true
		}
	}
	return "", false
}

// Families returns the recipes by family, each ordered by thickness, families by name.
func (lib *Library) Families() [][]*Recipe {
	var out [][]*Recipe
	for _, r := range lib.Recipes { // sorted by everything but thickness first
		if n := len(out); n > 0 && out[n-1][0].ID.SameFamily(r.ID) {
			out[n-1] = append(out[n-1], r)
			continue
		}
		out = append(out, []*Recipe{r})
	}
	return out
}

// MachineNames returns the names of the machines, sorted.
func (lib *Library) MachineNames() []string {
	names := make([]string, 0, len(lib.Machines))
	for name := range lib.Machines {
		names = append(names, name)
	}
	sort.Strings(names)
	return names
}
