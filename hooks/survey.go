package hooks

import (
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"fettle/history"
	"fettle/history/git"
	"fettle/lint"
	"fettle/schema"
)

// A Survey examines a whole library part by part, sets of one machine, material and gas at a time, so that one of a hundred thousand
// conditions needs no more memory than the largest part of it. What it says is what [Examine] says of the same case with Full.
//
// What it finds in a part is remembered below the directory of git, by the contents that the part is made of and all else that its verdict
// hangs on, and is not worked out again while these stay; see verdicts. Records are looked up in a [history.Index]. Both can be
// deleted at any time, and neither is used at the gate.
type Survey struct {
	Repo        *git.Repo
	Root        string       // directory of the library from the top of the tree
	Before, Now git.Snapshot // the last commit, and what is looked at
	Head        string       // the last commit by its id, "" before the first
	Anchor      string
	At          time.Time
	Everything  bool                // report what somebody took responsibility for, too
	Forgetful   bool                // remember nothing and use nothing that was remembered
	Progress    func(done, all int) // told after each part; may be nil

	stamp  string
	frames [2]*schema.Library // before, now: all but sets
	known  *schema.Known      // of what is in the frames
	ids    [2]contents
	trail  ledgers
	cache  *verdicts
	inTerm *schema.Library // settings and machines in force, where they differ
}

// Surveyed is what a survey says.
type Surveyed struct {
	Report
	Unread map[string]bool // sets that changed and cannot be read whole
	InFile map[string]int  // how many conditions each file holds
}

// A section is the part of a library that is judged together.
type section struct {
	paths    []string    // of sets, on either side
	ids      [2][]string // of their contents, "" where there is none
	machines []string
	changed  bool // differences in its conditions are possible
	key      [32]byte
	part     lint.Part
	recalled bool
	libs     [2]*schema.Library // where it changed
	compared []history.Difference
	emptied  map[[2]string]*schema.File // see [inParts.without]
}

// Run makes the survey. The error is about reading.
func (s *Survey) Run() (Surveyed, error) {
	var out Surveyed
	if err := s.open(); err != nil {
		return out, err
	}
	defer s.trail.close()
	sections, err := s.sections()
	if err != nil {
		return out, err
	}
	if err := s.compare(sections); err != nil {
		return out, err
	}
	subjects := s.trail.subjects()
	s.recall(sections) // as where nothing waits to be approved, which is mostly so
	for _, x := range sections {
		for _, d := range x.compared {
			subjects[history.SubjectKey{Kind: schema.SubjectCondition, ID: d.ID.String()}] = true
		}
		about(x.part.Findings, subjects)
	}
	if out.Standing, err = s.trail.judge(s, subjects); err != nil {
		return out, err
	}
	asked := len(subjects)
	if s.inTerm = InForce(out.Standing, s.frames[1]); s.inTerm != nil {
		s.recall(sections)
	}
	if err := s.judgeUnchanged(sections); err != nil {
		return out, err
	}
	out.Unread = map[string]bool{}
	for _, x := range sections {
		if x.changed {
			s.judgeChanged(x, out.Standing, &out)
		}
		about(x.part.Findings, subjects)
	}
	if len(subjects) > asked { // of other conditions than those that changed: what was accepted of them is not known yet
		if out.Standing, err = s.trail.judge(s, subjects); err != nil {
			return out, err
		}
	}
	s.join(sections, &out)
	s.cache.write(s, sections)
	return out, nil
}

// about adds the conditions that findings are on and that somebody may have accepted.
func about(findings []lint.PartFinding, subjects map[history.SubjectKey]bool) {
	for i := range findings {
		if findings[i].MayBeAccepted() {
			subjects[history.SubjectKey{Kind: schema.SubjectCondition, ID: findings[i].Recipe.String()}] = true
		}
	}
}

// open reads all but sets and records.
func (s *Survey) open() error {
	s.stamp = history.IndexStamp()
	s.known = schema.NewKnown()
	remembered := make(chan *verdicts, 1)
	go func() { remembered <- readVerdicts(s) }()
	for side, snap := range slices.Backward([]git.Snapshot{s.Before, s.Now}) { // a file is read faster than an object, and is then known
		lib, err := schema.ReadFrame(s.known.Of(snap))
		if err != nil {
			return err
		}
		s.frames[side] = lib
	}
	if err := s.hashes(); err != nil {
		return err
	}
	s.cache = <-remembered
	return s.trail.open(s)
}

// contents are files in the order of their paths, with the ids of what is in them.
type contents struct{ paths, ids []string }

// of is the id of a file, "" where there is none.
func (c contents) of(p string) string {
	if i, ok := slices.BinarySearch(c.paths, p); ok {
		return c.ids[i]
	}
	return ""
}

// within are those whose path starts with a prefix.
func (c contents) within(prefix string) contents {
	from, _ := slices.BinarySearch(c.paths, prefix)
	to := from
	for to < len(c.paths) && strings.HasPrefix(c.paths[to], prefix) {
		to++
	}
	return contents{c.paths[from:to], c.ids[from:to]}
}

// hashes notes the ids of all files of both sides, a few at a time: those that were touched have to be read for it.
func (s *Survey) hashes() error {
	for side, snap := range []git.Snapshot{s.Before, s.Now} {
		files, known := git.Hashes(snap)
		c := contents{files, known} // they are not ours to change
		if slices.ContainsFunc(files, func(p string) bool { return !needed(p) }) {
			c = contents{make([]string, 0, len(files)), make([]string, 0, len(files))}
			for i, p := range files {
				if needed(p) {
					c.paths, c.ids = append(c.paths, p), append(c.ids, known[i])
				}
			}
		}
		var touched []int
		for i, id := range c.ids {
			if id == "" {
				touched = append(touched, i)
			}
		}
		if len(touched) > 0 {
			c.ids = slices.Clone(c.ids)
		}
		if err := schema.AtOnce(len(touched), func(i int) (err error) {
			at := touched[i]
			if c.ids[at] = snap.Hash(c.paths[at]); c.ids[at] == "" { // it cannot be read, and that is an error of its own
				_, err = snap.Read(c.paths[at])
			}
			return err
		}); err != nil {
			return err
		}
		s.ids[side] = c
	}
	return nil
}

// sections sorts the sets into what is judged together: those of one machine, material and gas, on either side.
func (s *Survey) sections() ([]*section, error) {
	var sorted []string
	for _, c := range s.ids {
		for _, p := range c.within("sets/").paths {
			if schema.IsSetPath(p) {
				sorted = append(sorted, p)
			}
		}
	}
	slices.Sort(sorted)
	sorted = slices.Compact(sorted)
	var ids [2][]string
	for side, c := range s.ids {
		ids[side] = make([]string, len(sorted))
		for i, p := range sorted {
			ids[side][i] = c.of(p)
		}
	}
	listed, err := s.list(sorted, ids)
	if err != nil {
		return nil, err
	}
	leads := make([]int, len(sorted)) // of each path, and then of each family, to another of the same section, or to itself
	for i := range leads {
		leads[i] = i
	}
	end := func(i int) int {
		for leads[i] != i {
			i = leads[i]
		}
		return i
	}
	numbers := map[family]int{}
	for i := range sorted {
		for side := range ids {
			f := listed[side][i]
			if ids[side][i] == "" || f == (family{}) {
				continue
			}
			n, ok := numbers[f]
			if !ok {
				n = len(leads)
				numbers[f], leads = n, append(leads, n)
			}
			leads[end(i)] = end(n)
		}
	}
	mixed := map[string]bool{}
	at := make([]*section, len(leads))
	var out []*section
	for i, p := range sorted {
		x := at[end(i)]
		if x == nil {
			x = &section{}
			at[end(i)] = x
			out = append(out, x)
		}
		x.paths = append(x.paths, p)
		x.changed = x.changed || ids[0][i] != ids[1][i]
		for side := range ids {
			x.ids[side] = append(x.ids[side], ids[side][i])
			f := listed[side][i]
			if ids[side][i] == "" {
				continue
			}
			if f.machine != "" && !slices.Contains(x.machines, f.machine) {
				x.machines = append(x.machines, f.machine)
			}
			if _, ok := mixed[f.gas]; !ok {
				mixed[f.gas] = s.mixed(f.gas)
			}
			x.changed = x.changed || s.trail.bears[f] || mixed[f.gas]
		}
	}
	return out, nil
}

// recall finds what is remembered of the sections without a difference.
func (s *Survey) recall(sections []*section) {
	g := s.grounds(sections)
	schema.AtOnce(len(sections), func(i int) error {
		x := sections[i]
		if x.key = s.keyOf(x, g); !x.changed {
			x.part, x.recalled = s.cache.part(x.key)
		}
		return nil
	})
}

// mixed reports whether a gas is another mix than it was.
func (s *Survey) mixed(gas string) bool {
	var mixes [2]string
	for side, lib := range s.frames {
		if lib.Settings.Value == nil {
			continue
		}
		mix, _ := lib.Settings.Value.Gases.Get(gas)
		for _, part := range mix {
			mixes[side] += part.Name + " " + part.V.Canonical() + "\n"
		}
	}
	return mixes[0] != mixes[1]
}

// list tells the family of each set on both sides.
func (s *Survey) list(paths []string, ids [2][]string) ([2][]family, error) {
	var out [2][]family
	for side, snap := range []git.Snapshot{s.Before, s.Now} {
		out[side] = make([]family, len(paths))
		if err := schema.AtOnce(len(paths), func(i int) error {
			p := paths[i]
			id := ids[side][i]
			if id == "" {
				return nil
			}
			if side == 1 && ids[0][i] == id {
				out[1][i] = out[0][i]
				return nil
			}
			if f, ok := s.cache.family(p, id); ok {
				out[side][i] = f
				return nil
			}
			data, err := readOnce(snap, s.fresher(side, p), p)
			if err != nil {
				return err
			}
			machine, material, gas := schema.FamilyOf(data)
			out[side][i] = family{machine, material, gas}
			s.cache.list(p, id, out[side][i])
			return nil
		}); err != nil {
			return out, err
		}
	}
	return out, nil
}

// fresher is the snapshot on disk where it has the same content: a file is read faster than an object.
func (s *Survey) fresher(side int, p string) git.Snapshot {
	if side == 0 && s.ids[0].of(p) == s.ids[1].of(p) {
		return s.Now
	}
	return nil
}

func readOnce(snap, other git.Snapshot, p string) ([]byte, error) {
	if other != nil {
		snap = other
	}
	return git.ReadOnce(snap, p)
}

// judgeUnchanged judges the sections without a difference of which nothing is remembered.
func (s *Survey) judgeUnchanged(sections []*section) error {
	var open []*section
	done := 0
	for _, x := range sections {
		if x.changed {
			continue
		}
		if x.recalled {
			done++
			continue
		}
		open = append(open, x)
	}
	var mu sync.Mutex
	told := func() {
		if s.Progress != nil {
			mu.Lock()
			done++
			s.Progress(done, len(sections))
			mu.Unlock()
		}
	}
	return schema.AtOnce(len(open), func(i int) error {
		x := open[i]
		libs, err := s.libraries(x)
		if err != nil {
			return err
		}
		x.part = lint.RunPart(libs[1], lint.Options{Base: libs[0], InForce: s.inTerm, Same: s.same(x)})
		told()
		return nil
	})
}

// libraries reads a section on both sides. Where nothing is another they are one library.
func (s *Survey) libraries(x *section) (libs [2]*schema.Library, err error) {
	if s.same(x) {
		libs[1], err = s.library(1, x, map[string]*schema.File{})
		return [2]*schema.Library{libs[1], libs[1]}, err
	}
	read := map[string]*schema.File{}
	for side := range libs {
		if libs[side], err = s.library(side, x, read); err != nil {
			return libs, err
		}
	}
	return libs, nil
}

// library reads a section on one side. What was read already, by path and content, is not read again.
func (s *Survey) library(side int, x *section, read map[string]*schema.File) (*schema.Library, error) {
	snap := [2]git.Snapshot{s.Before, s.Now}[side]
	var files []*schema.File
	for i, p := range x.paths {
		id := x.ids[side][i]
		if id == "" {
			continue
		}
		f := read[p+id]
		if f == nil {
			data, err := readOnce(snap, s.fresher(side, p), p)
			if err != nil {
				return nil, err
			}
			f = schema.ReadFileAndLayout(p, data)
			read[p+id] = f
		}
		files = append(files, f.Copied())
	}
	return s.frames[side].With(files), nil
}

// compare looks for the differences in the sections that changed.
func (s *Survey) compare(sections []*section) (err error) {
	for _, x := range sections {
		if !x.changed {
			continue
		}
		if x.libs, err = s.libraries(x); err != nil {
			return err
		}
		x.compared = history.Compare(x.libs[0], x.libs[1])
	}
	return nil
}

// judgeChanged judges a section with its differences.
func (s *Survey) judgeChanged(x *section, standing *history.Standing, out *Surveyed) {
	c := s.trail.caseOf(s)
	c.Before.Lib, c.Now.Lib, c.standing = x.libs[0], x.libs[1], standing
	r := Report{Differences: x.compared, Standing: standing}
	for _, d := range r.Differences {
		if !d.NoteOnly {
			r.Changes = append(r.Changes, c.change(d, standing))
		}
	}
	lib, severity := stricter(standing, x.libs[1])
	elsewhere := func(change lint.Change) bool { return c.Now.Lib.Recipe(change.ID) == nil }
	changes := slices.Concat(r.Changes, c.ownApprovals(standing), slices.DeleteFunc(c.untried(standing), elsewhere))
	x.part = lint.RunPart(lib, lint.Options{Base: x.libs[0], InForce: s.inTerm, Severity: severity, Changes: changes})
	for _, f := range x.part.Findings {
		r.Findings = append(r.Findings, f.Finding)
	}
	lost := r.lost()
	x.part.Findings = slices.DeleteFunc(x.part.Findings, func(f lint.PartFinding) bool { return lost.finding(f.Finding) })
	out.Changes = append(out.Changes, slices.DeleteFunc(r.Changes, func(change lint.Change) bool { return lost[change.ID.String()] })...)
	out.Differences = append(out.Differences, r.Differences...)
	for _, f := range x.libs[1].Files {
		out.Unread[f.Path] = len(f.Problems) > 0
	}
	x.libs = [2]*schema.Library{}
}

// same reports whether nothing that a section is judged by is another than it was.
func (s *Survey) same(x *section) bool {
	if x.changed || s.ids[0].of(schema.SettingsFile) != s.ids[1].of(schema.SettingsFile) {
		return false
	}
	for _, name := range x.machines {
		if s.profile(0, name) != s.profile(1, name) {
			return false
		}
	}
	return true
}

// profile says where the profile of a machine is read from, with its id; where there is none, all that is there in its place.
func (s *Survey) profile(side int, name string) string {
	if placed, ok := s.frames[side].Machines[name]; ok {
		return placed.File.Path + " " + s.ids[side].of(placed.File.Path)
	}
	var all strings.Builder
	for _, f := range s.frames[side].Files {
		all.WriteString(f.Path + " " + s.ids[side].of(f.Path) + "\n")
	}
	return all.String()
}

// join adds what is said of settings, machines and records, and takes out what somebody took responsibility for.
func (s *Survey) join(sections []*section, out *Surveyed) {
	parts := make([]lint.Part, len(sections))
	var now, stood []string
	for i, x := range sections {
		parts[i] = x.part
		now, stood = append(now, x.part.Families...), append(stood, x.part.Stood...)
	}
	slices.Sort(now)
	slices.Sort(stood)
	c := s.trail.caseOf(s)
	c.Before.Lib, c.Now.Lib = s.frames[0].Named(slices.Compact(stood)), s.frames[1].Named(slices.Compact(now))
	lib, severity := stricter(out.Standing, c.Now.Lib)
	accepts := Acceptance(out.Standing, c.Now.Ledger, s.At)
	accepted := func(rule string, severity lint.Severity, id schema.ID, digest schema.Digest) bool {
		return !s.Everything && accepts(rule, severity, id, func() schema.Digest { return digest })
	}
	out.Result = lint.Join(lib, lint.Options{Base: c.Before.Lib, Records: c.records(), Severity: severity}, parts, accepted)
	out.InFile = map[string]int{}
	for _, f := range s.frames[1].Files {
		out.InFile[f.Path] = 0
	}
	for _, x := range sections {
		maps.Copy(out.InFile, x.part.Conditions)
	}
	out.Files = len(out.InFile)
	out.add(c.broken())
	out.add(c.untrusted(out.Standing))
}
