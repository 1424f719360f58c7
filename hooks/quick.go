package hooks

import (
	"errors"
	"io"
	"maps"
	"os"
	"path"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
)

// A memory is what is remembered of a library between two commits, or between two pushes to a gate: an index of its records and a catalog
// of its files.
type memory struct {
	index   *history.Index
	catalog *catalog
	since   []git.Entry // records that were saved since the index was made
	grown   bool        // the catalog is another than the one written down
}

// afterQuick is for tests, which hold every such verdict to the one from the whole library.
var afterQuick func(*running, *verdict)

const fewRecords = 32 // that came since an index was made, before it is written anew

// remembered names a file of a memory. A gate has its own: a repository may take pushes and have a work tree, too.
func (r *running) remembered(kind, root string) string { return memoryOf(r.pushed, kind, root) }

func memoryOf(gate bool, kind, root string) string {
	if gate {
		kind = "gate-" + kind
	}
	return git.ScratchName(kind, root)
}

// writeCatalog and writeIndex write down what the next commit is judged from.
func (r *running) writeCatalog(root string, c *catalog, stamp string) error {
	return r.repo.Remember(r.remembered("catalog", root), func(out io.Writer) error { return c.write(out, stamp) })
}

func (r *running) writeIndex(root string, w *history.IndexWriter) error {
	return r.repo.Remember(r.remembered("index", root), w.Write)
}

// An anchoring says which adoption a library is chained from, "" for the only one there is. It is told which records there are.
type anchoring func(there func(schema.Digest) bool) (string, error)

// quick judges the plain commit or push, edits of sets with records about conditions, by reading what bears on the conditions that it
// changes and nothing else. It gives a verdict only where nothing stops it; in every other case, and wherever anything is out of the
// ordinary, the verdict is nil and [running.judge] has to come to it. So it can spare time and never changes what is refused.
//
// What it rests on: a condition is judged with the sets of its own machine, material and gas, with its machine, with the settings, and
// with the records that an [history.Index] gives for it. What bears on more is out of the ordinary: a change of settings, roster, people
// or a machine, a decision on these, and what takes a record back.
func (r *running) quick(root string, anchor anchoring, prepare func(*library) preparation) (*verdict, error) {
	l := &library{root: root, before: &tree{r.store, map[string]string{}}, now: &tree{r.store, map[string]string{}}}
	if prepare != nil {
		l.prepare = prepare(l)
	}
	var sets, records []git.Change
	others := 0
	for _, c := range r.changes {
		p, ok := inLibrary(root, c.Path)
		if !ok {
			continue
		}
		l.changed = append(l.changed, c.Path)
		switch {
		case c.NewHash != "" && !ordinary(c.NewMode), c.OldHash != "" && !ordinary(c.OldMode):
			return nil, nil
		case strings.HasPrefix(p, schema.TrialDir): // nothing is judged by what is planned
			others++
		case !needed(p):
		case isSet(p):
			c.Path = p
			sets = append(sets, c)
		case schema.IsRecordPath(p) && c.OldHash == "":
			c.Path = p
			records = append(records, c)
		default:
			return nil, nil
		}
	}
	if len(sets)+len(records)+others == 0 || !r.pushed && much(sets, records) { // see [running.inLots]
		return nil, nil
	}
	top, err := r.repo.TreeDir(r.head, root)
	if err != nil {
		return nil, err
	}
	dirs := map[string]string{}
	for _, e := range top {
		switch {
		case e.Mode == git.ModeTree:
			dirs[e.Path] = e.Hash
		case slices.Contains(git.Parts, e.Path) && !ordinary(e.Mode):
			return nil, nil
		case needed(e.Path):
			l.before.ids[e.Path], l.now.ids[e.Path] = e.Hash, e.Hash
		}
	}
	if l.before.ids[schema.SettingsFile] == "" {
		return nil, nil
	}
	m, err := r.recall(root, dirs)
	if m == nil || err != nil {
		return nil, err
	}
	defer m.index.Close()
	if len(clashes(root, r.changes, maps.Keys(m.catalog.files))) > 0 {
		return nil, nil
	}
	for _, e := range m.since {
		l.before.ids[e.Path], l.now.ids[e.Path] = e.Hash, e.Hash
	}
	for _, c := range sets {
		l.before.set(c.Path, c.OldHash)
		l.now.set(c.Path, c.NewHash)
	}
	for _, c := range records {
		l.now.set(c.Path, c.NewHash)
	}
	if err := r.store.fill(all, l.before, l.now); err != nil {
		return nil, err
	}
	since, ok := l.before.records(m.since)
	added, fine := l.now.records(entries(records))
	if !ok || !fine || slices.ContainsFunc(added, bearsOnMore) {
		return nil, nil
	}
	families, ok := l.families(sets, added)
	if !ok {
		return nil, nil
	}
	l.gather(m.catalog, sets, families)
	if err := r.store.fill(all, l.before, l.now); err != nil {
		return nil, err
	}
	v, err := r.judgeQuickly(l, m, since, added, anchor)
	if v != nil && err == nil {
		r.refresh(root, dirs["records"], m, since)
	}
	return v, err
}

func (t *tree) set(path, id string) {
	if id == "" {
		delete(t.ids, path)
	} else {
		t.ids[path] = id
	}
}

func entries(changes []git.Change) []git.Entry {
	out := make([]git.Entry, len(changes))
	for i, c := range changes {
		out[i] = git.Entry{Path: c.Path, Hash: c.NewHash}
	}
	return out
}

// records reads records; it is false where one of them is not in order.
func (t *tree) records(list []git.Entry) ([]*schema.Record, bool) {
	out := make([]*schema.Record, 0, len(list))
	for _, e := range list {
		r, err := schema.ReadRecordFrom(t.store.known.Of(t), e.Path)
		if err != nil || !history.Sound(r) || r.Path != r.WantPath() {
			return nil, false
		}
		out = append(out, r)
	}
	return out, true
}

// decides reports whether a record bears on what is in force.
func decides(r *schema.Record) bool {
	switch r.Kind {
	case schema.KindReason, schema.KindTrial, schema.KindLoad, schema.KindCause, schema.KindEscape:
		return false
	}
	return true
}

// bearsOnMore reports whether a record bears on more than the conditions that it names.
func bearsOnMore(r *schema.Record) bool {
	switch r.Kind {
	case schema.KindPermit, schema.KindWaiver, schema.KindApproval, schema.KindRejection:
	default:
		if decides(r) {
			return true
		}
	}
	return slices.ContainsFunc(history.Subjects(r), func(k history.SubjectKey) bool { return k.Kind != schema.SubjectCondition })
}

// recall reads what is remembered and what came since. Where that does not fit the last commit it is made anew. It is nil where it tells
// nothing: it cannot be made, or a file of the library cannot be read whole.
func (r *running) recall(root string, dirs map[string]string) (*memory, error) {
	m, err := r.fitting(root, dirs)
	if m == nil && err == nil && r.makes {
		l := &Lookup{repo: r.repo, root: root, stamp: history.IndexStamp(), store: newStore(r.repo), dirs: dirs, ofGate: r.pushed}
		if l.make() != nil {
			return nil, nil
		}
		l.Close()
		m, err = r.fitting(root, dirs)
	}
	if m == nil || err != nil {
		return nil, err
	}
	if !m.catalog.sound() {
		m.index.Close()
		return nil, nil
	}
	return m, nil
}

// fitting is what is remembered with what came since; nil where it is damaged, of another program, of another history or not there.
func (r *running) fitting(root string, dirs map[string]string) (*memory, error) {
	stamp := history.IndexStamp()
	m := &memory{catalog: readCatalog(r.repo.ScratchFile(r.remembered("catalog", root)), stamp)}
	if m.catalog == nil {
		return nil, nil
	}
	var err error
	if m.index, err = history.OpenIndex(r.repo.ScratchFile(r.remembered("index", root)), stamp); err != nil {
		return nil, nil
	}
	good, err := r.catchUp(m, dirs)
	if !good || err != nil {
		m.index.Close()
		return nil, err
	}
	return m, nil
}

// catchUp adds what was saved since. It is false where anything happened but that records were added and sets were edited.
func (r *running) catchUp(m *memory, dirs map[string]string) (bool, error) {
	changes := func(dir, was string) ([]git.Change, bool) {
		if was == dirs[dir] {
			return nil, true
		}
		list, err := r.repo.TreeDirChanges(was, dirs[dir])
		if err != nil { // what it was made of may be gone from the repository
			return nil, false
		}
		for i := range list {
			list[i].Path = path.Join(dir, list[i].Path)
		}
		return list, true
	}
	records, ok := changes("records", m.index.Tree())
	if !ok || len(records) > 20*fewRecords || manyAdopt(records, pathOf) {
		return false, nil
	}
	for _, c := range records {
		switch {
		case c.NewHash != "" && !ordinary(c.NewMode):
			return false, nil
		case !needed(c.Path) || path.Base(c.Path)[0] == '.':
		case c.OldHash != "":
			return false, nil
		default:
			m.since = append(m.since, git.Entry{Path: c.Path, Hash: c.NewHash})
		}
	}
	var edited []git.Change
	m.grown = m.catalog.dirs != catalogDirs(dirs)
	for i, dir := range catalogued {
		list, ok := changes(dir, m.catalog.dirs[i])
		if edited = append(edited, list...); !ok || len(edited) > 20*fewRecords {
			return false, nil
		}
	}
	if slices.ContainsFunc(edited, func(c git.Change) bool { return c.NewHash != "" && !ordinary(c.NewMode) }) {
		return false, nil
	}
	edited = slices.DeleteFunc(edited, func(c git.Change) bool { return !needed(c.Path) })
	now := &tree{r.store, map[string]string{}}
	for _, c := range edited {
		now.set(c.Path, c.NewHash)
	}
	if err := r.store.fill(all, now); err != nil {
		return false, err
	}
	for _, c := range edited {
		delete(m.catalog.files, c.Path)
		if c.NewHash == "" {
			continue
		}
		data, err := now.Read(c.Path)
		p, ok := soundListing(c.Path, c.NewHash, data)
		if err != nil || !ok {
			return false, nil
		}
		m.catalog.files[c.Path] = p
	}
	m.catalog.dirs = catalogDirs(dirs)
	return true, nil
}

// families are those that the edited sets belong to, before and after, and those of conditions that new records are about.
func (l *library) families(sets []git.Change, added []*schema.Record) (map[family]bool, bool) {
	out := map[family]bool{}
	for _, c := range sets {
		for _, t := range []*tree{l.before, l.now} {
			if t.ids[c.Path] == "" {
				continue
			}
			data, err := t.Read(c.Path)
			if err != nil {
				return nil, false
			}
			out[familyIn(data)] = true // what is wrong with the file is found where all of it is read
		}
	}
	for _, r := range added {
		for _, subject := range history.Subjects(r) {
			id, err := schema.ParseID(subject.ID)
			if err != nil {
				return nil, false
			}
			out[familyOf(id)] = true
		}
	}
	return out, true
}

// gather adds the files of families and of their machines to both sides.
func (l *library) gather(c *catalog, sets []git.Change, families map[family]bool) {
	machines := map[string]bool{}
	for f := range families {
		machines[f.machine] = true
	}
	touched := map[string]bool{}
	for _, c := range sets {
		touched[c.Path] = true
	}
	for file, at := range c.files {
		wanted := families[at.subject]
		if !isSet(file) {
			wanted = machines[at.subject.machine]
		}
		if wanted && !touched[file] {
			l.before.ids[file], l.now.ids[file] = at.id, at.id
		}
	}
}

// judgeQuickly comes to the verdict, or to none where anything stops the commit or push.
func (r *running) judgeQuickly(l *library, m *memory, since, added []*schema.Record, anchor anchoring) (*verdict, error) {
	c := Case{At: r.At}
	var err error
	for t, side := range map[*tree]*Side{l.before: &c.Before, l.now: &c.Now} {
		side.Source = t
		if side.Lib, err = schema.ReadLibrary(r.store.known.Of(withoutRecords(t))); err != nil {
			return nil, err
		}
		if slices.ContainsFunc(side.Lib.Files, func(f *schema.File) bool { return len(f.Problems) > 0 }) {
			return nil, nil
		}
	}
	asked := subjects{}
	for _, name := range append(c.Before.Lib.MachineNames(), c.Now.Lib.MachineNames()...) {
		asked.add(schema.SubjectMachine, name)
	}
	for _, d := range history.Compare(c.Before.Lib, c.Now.Lib) {
		asked.add(schema.SubjectCondition, d.ID.String())
	}
	for _, a := range added {
		for _, k := range history.Subjects(a) {
			asked.add(k.Kind, k.ID)
		}
		asked.twins(a, c.Now.Lib)
	}
	if c.Anchor, err = anchor(func(digest schema.Digest) bool {
		return m.index.Holds(digest) || slices.ContainsFunc(slices.Concat(since, added), func(r *schema.Record) bool { return r.Digest == digest })
	}); err != nil {
		return nil, err
	}
	for range 4 {
		before, err := m.index.LedgerOf(slices.Collect(maps.Keys(asked)), since)
		if err != nil {
			if !errors.Is(err, history.ErrOtherSubjects) { // it is damaged where nobody looked before
				os.Remove(r.repo.ScratchFile(r.remembered("index", l.root)))
			}
			return nil, nil
		}
		c.Before.Ledger, c.Now.Ledger = before, before.With(added)
		c.Before.Hashes, c.Now.Hashes = map[string]string{}, map[string]string{}
		for _, record := range before.Records {
			c.Before.Hashes[record.Path], c.Now.Hashes[record.Path] = "saved", "saved"
		}
		for _, record := range added {
			c.Now.Hashes[record.Path] = l.now.ids[record.Path]
		}
		c.standing = c.Now.Ledger.Judge(l.id(), c.Anchor)
		more, ok := asked.followed(added, c)
		if !ok {
			return nil, nil
		}
		if more {
			continue
		}
		if l.prepare != nil {
			if err := l.prepare(&c, c.standing); err != nil {
				return nil, err
			}
		}
		v := &verdict{library: l, running: r, Case: c, Report: Examine(c)}
		for _, f := range v.New().Findings { // of other conditions than those changed: what was accepted of them is not known yet
			more = f.ID != "" && asked.add(schema.SubjectCondition, f.ID) || more
		}
		if more {
			continue
		}
		if len(v.Blocking()) > 0 || !r.pushed && len(v.unreasoned())+len(v.strayReasons()) > 0 {
			return nil, nil
		}
		return v, nil
	}
	return nil, nil
}

// subjects are what records are asked about.
type subjects map[history.SubjectKey]bool

// add adds one, and reports whether it is new.
func (s subjects) add(kind, id string) bool {
	key := history.SubjectKey{Kind: kind, ID: id}
	was := s[key]
	s[key] = true
	return !was
}

// twins adds all conditions of the sets that an approval is of, where real machines share the profile: a trial of any of them shows what a
// twin can do.
func (s subjects) twins(approval *schema.Record, lib *schema.Library) {
	if approval.Kind != schema.KindApproval {
		return
	}
	for _, k := range history.Subjects(approval) {
		id, err := schema.ParseID(k.ID)
		if m := lib.Machine(id.Machine); err != nil || m == nil || len(m.UnitNames()) < 2 {
			continue
		}
		for _, r := range lib.Recipes {
			if familyOf(r.ID) == familyOf(id) {
				s.add(schema.SubjectCondition, r.ID.String())
			}
		}
	}
}

// followed adds what else the decisions decided that new ones follow: one that counts for nothing on one subject is no beginning on
// another, see [Case.putTogether]. It is false where that cannot be told. The adoption that all is chained from counts in any case.
func (s subjects) followed(added []*schema.Record, c Case) (more, ok bool) {
	for _, a := range added {
		if _, decides := a.Body.(*schema.Decision); !decides {
			continue
		}
		for _, digest := range a.Follows.V {
			r := c.Now.Ledger.Get(schema.Digest(digest))
			if r == nil || r == c.standing.Anchor || r.Kind != schema.KindApproval && r.Kind != schema.KindAdoption {
				continue
			}
			if !c.Now.Ledger.Whole(r) {
				return false, false
			}
			for _, k := range history.Subjects(r) {
				more = s.add(k.Kind, k.ID) || more
			}
		}
	}
	return more, true
}

// withoutRecords is a tree that holds the same library and none of its records.
func withoutRecords(t *tree) *tree {
	out := &tree{t.store, make(map[string]string, len(t.ids))}
	for p, id := range t.ids {
		if !schema.IsRecordPath(p) {
			out.ids[p] = id
		}
	}
	return out
}

// refresh writes down what came since, where that has become much. What cannot be written costs time and nothing else.
func (r *running) refresh(root, records string, m *memory, since []*schema.Record) {
	stamp := history.IndexStamp()
	if m.grown {
		_ = r.writeCatalog(root, m.catalog, stamp)
	}
	if len(since) <= fewRecords {
		return
	}
	w, err := history.NewIndexWriter(stamp, records, m.index)
	if err != nil {
		return
	}
	ledger := history.NewLedger(since)
	for i, record := range since {
		w.Add(ledger, nil, record, r.store.content[m.since[i].Hash])
	}
	_ = r.writeIndex(root, w)
}
