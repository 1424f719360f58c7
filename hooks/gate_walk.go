package hooks

import (
	"cmp"
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/lint"
	"fettle/schema"
)

// A way is the commits that a push brings, as far as a verdict needs them.
type way struct {
	gate    *Gate
	commits []*step          // newest first
	by      map[string]*step // by id
	follows map[string]bool  // every commit that one of them follows
	found   []broken
	read    map[readAt]*schema.Library
	near    *narrowing                             // to the sets of the condition that was asked about last, see around
	past    map[contentAt]map[string]schema.Digest // of contents that were read, see digestsOf
	steps   map[string][]*step                     // that changed a file, see touching
	much    bool                                   // many conditions of each content are asked about
}

// A step is one commit on the way.
type step struct {
	hash, subject, author string
	wrote                 []string // all whom it names as authors
	parents               []string
	changed               map[string]git.Change // files of libraries that differ from every parent, against the first
	recipes               bool                  // something beside records differs from a parent
}

// broken is a record that one commit altered or removed.
type broken struct {
	history.Broken // with the path from the top
	step           *step
	parent         string
}

func (b broken) finding() lint.Finding {
	return lint.Finding{Rule: b.Rule, Severity: lint.Error, Path: b.Path, Line: 1, Column: 1, Width: 1, Message: b.Message, Help: b.Help}
}

// walk reads the commits of tip that none of the others reach, with one child.
func (g *Gate) walk(tip string, hide []string) (*way, error) {
	w := &way{gate: g, by: map[string]*step{}, follows: map[string]bool{}, read: map[readAt]*schema.Library{}}
	revs := []string{tip}
	for _, h := range hide {
		revs = append(revs, "^"+h)
	}
	edges, err := g.repo.ShallowEdges()
	if err != nil {
		return nil, err
	}
	for entry, err := range g.repo.Walk(git.LogOptions{Revs: revs, Changes: true}) {
		if err != nil {
			return nil, err
		}
		if edges[entry.Hash] {
			return nil, &git.Error{Kind: git.ErrMissing, What: "this clone does not have the history before " + short(entry.Hash) + ", so what was pushed cannot be judged",
				Help: "git fetch --unshallow; in a build job, clone with the whole history"}
		}
		w.take(entry)
	}
	return w, nil
}

func (w *way) take(entry git.LogEntry) {
	s := &step{hash: entry.Hash, subject: entry.Subject, author: entry.Author.Name, wrote: WroteOn(entry), parents: entry.Parents, changed: map[string]git.Change{}}
	w.commits = append(w.commits, s)
	w.by[s.hash] = s
	for i, changes := range entry.Changes {
		parent := ""
		if i < len(s.parents) {
			parent = s.parents[i]
			w.follows[parent] = true
		}
		w.checkRecords(s, parent, changes)
		for _, c := range changes {
			if !ofLibrary(c.Path) {
				continue
			}
			s.recipes = s.recipes || !strings.Contains("/"+c.Path, "/records/")
			if i == 0 && !slices.ContainsFunc(entry.Changes[1:], func(others []git.Change) bool { return !touches(others, c.Path) }) {
				s.changed[c.Path] = c
			}
		}
	}
}

func touches(changes []git.Change, p string) bool {
	return slices.ContainsFunc(changes, func(c git.Change) bool { return c.Path == p })
}

// ofLibrary reports whether a path may be part of a library, wherever it stands.
func ofLibrary(p string) bool {
	for part := range strings.SplitSeq(p, "/") {
		if slices.Contains(git.Parts, part) {
			return true
		}
	}
	return false
}

// recordAt takes the path of a record apart: the directory of the library, and the path in it.
func recordAt(full string) (root, p string, ok bool) {
	at := strings.LastIndex("/"+full, "/records/")
	if at < 0 || !schema.IsRecordPath(full[at:]) {
		return "", "", false
	}
	return strings.TrimSuffix(full[:at], "/"), full[at:], true
}

// checkRecords holds the records of a commit against those of one parent. A record that is gone here and stands in another
// library directory with the same content moved with its library.
func (w *way) checkRecords(s *step, parent string, changes []git.Change) {
	var was, now map[string]string
	moved := map[string]bool{}
	for _, c := range changes {
		_, p, ok := recordAt(c.Path)
		if !ok {
			continue
		}
		if was == nil {
			was, now = map[string]string{}, map[string]string{}
		}
		if c.OldHash != "" {
			was[c.Path] = c.OldHash
		} else {
			moved[p+" "+c.NewHash] = true
		}
		if c.NewHash != "" {
			now[c.Path] = c.NewHash
			if !ordinary(c.NewMode) {
				now[c.Path] = "no file"
			}
		}
	}
	for p, hash := range was {
		if now[p] == "" {
			if _, in, _ := recordAt(p); moved[in+" "+hash] {
				delete(was, p)
			}
		}
	}
	if len(was) == 0 {
		return
	}
	for _, b := range trail(was, now) {
		w.found = append(w.found, broken{b, s, parent})
	}
}

// trail is [history.Trail] for paths from the top of the repository.
func trail(was, now map[string]string) []history.Broken {
	byRoot := map[string]map[string]string{}
	for full, hash := range was {
		root, p, _ := recordAt(full)
		if byRoot[root] == nil {
			byRoot[root] = map[string]string{}
		}
		byRoot[root][p] = hash
	}
	var out []history.Broken
	for root, was := range byRoot {
		here := map[string]string{}
		for p := range was {
			if hash := now[path.Join(root, p)]; hash != "" {
				here[p] = hash
			}
		}
		for _, b := range history.Trail([]map[string]string{was}, here) {
			b.Path = path.Join(root, b.Path)
			out = append(out, b)
		}
	}
	return out
}

// broken are the records that commits altered or removed, oldest first and each once, but for those that the verdict on the whole
// names already.
func (w *way) broken(verdicts []*verdict) []broken {
	seen := map[string]bool{}
	for _, v := range verdicts {
		for _, c := range v.blocking() {
			if c.Rule == history.RuleRecordAltered || c.Rule == history.RuleRecordRemoved {
				seen[v.full(c.Path)] = true
			}
		}
	}
	var out []broken
	for _, b := range slices.Backward(w.found) {
		if !seen[b.Path] {
			seen[b.Path] = true
			out = append(out, b)
		}
	}
	return out
}

// explained reports whether reasons lead from where the commits of a push begin to what they end with. It is asked where reasons alone do
// not lead from the old tip to the new one, which is so where both sides of a merge changed different values of one condition, and where
// a rebase made a step again on another recipe.
func (w *way) explained(r *Ruling, l *library, c *Case, d history.Difference) bool {
	from, to := d.Digests()
	read := l.bearing
	if read == nil {
		read = w.around(d.ID)
	}
	recipe := func(commit string) *schema.Values { return values(w.library(commit, l.root, read).Recipe(d.ID)) }
	starts := []schema.Digest{from}
	for _, s := range w.commits {
		if len(s.parents) == 0 {
			starts = append(starts, "")
		}
		for _, p := range s.parents {
			if w.by[p] == nil { // it was judged when it came
				starts = append(starts, digestIn(w.library(p, l.root, read), d.ID))
			}
		}
	}
	ways := history.Ways{Edges: c.Now.Ledger.Edges(schema.SubjectCondition, d.ID.String()), Starts: starts, Fresh: c.fresh}
	ways.Merges = func() ([]history.Joint, error) {
		var out []history.Joint
		for _, s := range slices.Backward(w.commits) {
			if len(s.parents) < 2 || !s.mixed() {
				continue
			}
			m := history.Joint{To: recipe(s.hash)}
			for _, p := range s.parents {
				m.Sides = append(m.Sides, recipe(p))
			}
			out = append(out, m)
		}
		return out, nil
	}
	if d.After != nil {
		ways.Steps = func() ([]history.Step, error) { return w.gate.store.stepsOf(r.New, l.root, d.After) }
	}
	leads, err := ways.Lead(values(d.After), to)
	return err == nil && leads
}

// mixed reports whether a set of a commit is another one than each parent has: a merge that took all of it from one side explains nothing.
func (s *step) mixed() bool {
	for p := range s.changed {
		if strings.Contains("/"+p, "/sets/") {
			return true
		}
	}
	return false
}

// readAt is which library was read, and how much of it.
type readAt struct {
	commit, root string
	narrow       *narrowing
}

// library is the one of a commit, as far as it is to be read. What cannot be read holds nothing, and so explains nothing.
func (w *way) library(commit, root string, n *narrowing) *schema.Library {
	for s := w.by[commit]; s != nil && !s.recipes && len(s.parents) > 0; s = w.by[commit] {
		commit = s.parents[0] // nothing but records changed since
	}
	key := readAt{commit, root, n}
	if lib, ok := w.read[key]; ok {
		return lib
	}
	lib := &schema.Library{}
	if n != nil && n == w.near { // others are asked about next, so nothing of it is at hand then
		if entries, err := w.gate.repo.TreeFiles(commit, path.Join(root, schema.SettingsFile), path.Join(root, "machines"), path.Join(root, "sets")); err == nil {
			lib = n.store.library(n.store.ordinary(entries, root), n)
		}
	} else if t, err := w.gate.store.saved(commit, root); err == nil {
		lib = w.gate.store.library(t, n)
	}
	w.read[key] = lib
	return lib
}

// around narrows libraries to the sets that a condition may stand in. What was read around another one is let go.
func (w *way) around(id schema.ID) *narrowing {
	of := map[string]family{}
	if w.near != nil {
		if w.near.families[familyOf(id)] {
			return w.near
		}
		of = w.near.of
		maps.DeleteFunc(w.read, func(at readAt, _ *schema.Library) bool { return at.narrow == w.near })
	}
	w.near = &narrowing{store: newStore(w.gate.repo), families: map[family]bool{familyOf(id): true}, machines: map[string]bool{}, of: of}
	return w.near
}

// touching are the commits on the way that changed a file, the newest first.
func (w *way) touching(full string) []*step {
	if w.steps == nil {
		w.steps = map[string][]*step{}
		for _, s := range w.commits {
			for p := range s.changed {
				w.steps[p] = append(w.steps[p], s)
			}
		}
	}
	return w.steps[full]
}

// contentAt is one content of a set file, with what its gas is a mix of now.
type contentAt struct{ blob, full, mix string }

// mostContents is of how many the digests are kept.
const mostContents = 2000

// digestIn is that of a condition in one content of a set file, "" where it does not stand there; now is the recipe as it is now, nil where
// there is none. The first condition asked about is looked up alone, and with the second one all of them are.
func (w *way) digestIn(blob, full string, id schema.ID, now *schema.Recipe) schema.Digest {
	if blob == "" {
		return ""
	}
	at := contentAt{blob: blob, full: full}
	if now != nil {
		for _, part := range now.Composition {
			at.mix += part.Name + " " + part.V.Canonical() + "\n"
		}
	}
	const whole = "" // the name under which it is noted that all are known
	known, name := w.past[at], id.String()
	if digest, ok := known[name]; ok {
		return digest
	}
	if _, ok := known[whole]; ok {
		return ""
	}
	data, err := w.gate.repo.PastBlob(blob)
	if err != nil {
		return ""
	}
	set, _ := schema.ReadFile(full, data).Value.(*schema.ConditionSet)
	if known == nil {
		if len(w.past) >= mostContents || w.past == nil {
			w.past = map[contentAt]map[string]schema.Digest{}
		}
		known = map[string]schema.Digest{}
		w.past[at] = known
		if !w.much {
			known[name] = ""
			if recipe := recipeOf(set, id, now); recipe != nil {
				known[name] = recipe.Digest()
			}
			return known[name]
		}
	}
	for _, recipe := range recipesOf(set, now) {
		if at, ok := recipe.ID(); ok {
			if _, twice := known[at.String()]; !twice {
				known[at.String()] = recipe.Digest()
			}
		}
	}
	known[whole] = ""
	return known[name]
}

// touched are the files of the library of a commit as far as a step changed it: machines, settings and the sets that differ, or all sets
// where something that they share differs.
func (w *way) touched(commit, root string, s *step) *tree {
	wanted := []string{path.Join(root, schema.SettingsFile), path.Join(root, "machines")}
	for full := range s.changed {
		p, ok := inLibrary(root, full)
		switch {
		case !ok || schema.IsRecordPath(p):
		case strings.HasPrefix(p, "sets/"):
			wanted = append(wanted, full)
		default:
			wanted = append(wanted, path.Join(root, "sets"))
		}
	}
	entries, err := w.gate.repo.TreeFiles(commit, wanted...)
	if err != nil {
		entries = nil // what cannot be read holds nothing
	}
	return w.gate.store.ordinary(entries, root)
}

// blame is the commit that made a finding what it is: the last one that altered its record, changed its recipe or else its file.
// It is nil where no single one did, as with a recipe that a merge put together.
func (w *way) blame(v *verdict, f lint.Finding) *step {
	full := v.full(f.Path)
	if f.Rule == history.RuleRecordAltered || f.Rule == history.RuleRecordRemoved {
		for _, b := range w.found {
			if b.Path == full {
				return b.step
			}
		}
	}
	id, err := schema.ParseID(f.ID)
	now := v.Now.Lib.Recipe(id)
	for _, s := range w.touching(full) {
		if change := s.changed[full]; err != nil || f.ID == "" || w.digestIn(change.OldHash, full, id, now) != w.digestIn(change.NewHash, full, id, now) {
			return s
		}
	}
	return nil
}

// mended are errors that a commit on the way brought and that the last one no longer has, each in one line. They stop nothing:
// what counts is what comes in. Long pushes are looked through from their end, as far as that takes no more than a moment.
func (w *way) mended(r *Ruling) []string {
	const most = 60 // files
	var out []string
	budget := most
	for i, s := range w.commits {
		if i == 0 || !s.recipes || len(s.parents) == 0 {
			continue
		}
		for _, root := range s.roots() {
			after := w.touched(s.hash, root, s)
			if budget -= len(after.ids); budget < 0 {
				return out
			}
			before, now := w.gate.store.library(w.touched(s.parents[0], root, s), nil), w.gate.store.library(after, nil)
			differences := history.Compare(before, now)
			if now.Settings.Value == nil || len(differences) == 0 {
				continue
			}
			options := lint.Options{Only: touchedFamilies(nil, differences, before, now)}
			if len(lint.Run(now, options).Blocking()) == 0 {
				continue
			}
			options.Base = before // only now does it matter what stood there before
			for _, f := range lint.Run(now, options).Blocking() {
				if !r.has(root, f) {
					where := cmp.Or(f.ID, path.Join(root, f.Path))
					out = append(out, fmt.Sprintf("commit %s held an error that is mended since:", short(s.hash)), "  "+where+" ["+f.Rule+"]")
				}
			}
		}
	}
	return out
}

// has reports whether the verdict on a library has a finding too.
func (r *Ruling) has(root string, f lint.Finding) bool {
	for _, v := range r.verdicts {
		if v.root == root && v.rest != nil && v.rest.minor[[3]string{f.Rule, f.ID, f.Field}] {
			return true
		}
		if v.root == root && slices.ContainsFunc(v.Findings, func(g lint.Finding) bool { return g.Rule == f.Rule && g.ID == f.ID && g.Field == f.Field }) {
			return true
		}
	}
	return false
}

// roots are the directories that may hold a library that a commit changed.
func (s *step) roots() []string {
	seen := map[string]bool{}
	for p := range s.changed {
		parts := strings.Split(p, "/")
		for i, part := range parts {
			if slices.Contains(git.Parts, part) {
				seen[strings.Join(parts[:i], "/")] = true
			}
		}
	}
	return slices.Sorted(maps.Keys(seen))
}
