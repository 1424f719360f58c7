package hooks

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
	"maps"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
)

// A memory is what is remembered of a library between two commits: an index of its records and a catalog of its files.
type memory struct {
	index   *history.Index
	catalog *catalog
	since   []git.Entry // records that were saved since the index was made
	grown   bool        // the catalog is another than the one written down
}

// afterQuick is for tests, which hold every such verdict to the one from the whole library.
var afterQuick func(*running, *verdict)

const fewRecords = 32 // that came since an index was made, before it is written anew

func (r *running) memoryFile(kind, root string) string {
	return filepath.Join(r.repo.Scratch(), memoryName(kind, root))
}

// memoryName is how a file is called that remembers something of the library in a directory.
func memoryName(kind, root string) string {
	sum := sha256.Sum256([]byte(root))
	return kind + "-" + hex.EncodeToString(sum[:6])
}

// writeCatalog and writeIndex write down what the next commit is judged from.
func (r *running) writeCatalog(root string, c *catalog, stamp string) error {
	return r.repo.Remember(memoryName("catalog", root), func(out io.Writer) error { return c.write(out, stamp) })
}

func (r *running) writeIndex(root string, w *history.IndexWriter) error {
	return r.repo.Remember(memoryName("index", root), w.Write)
}

// quick judges the plain commit, edits of sets with records that decide nothing, by reading what bears on the conditions that it
// changes and nothing else. It gives a verdict only where nothing stops the commit; in every other case, and wherever anything is out
// of the ordinary, the verdict is nil and the whole library is to be read. So it can spare time and never changes what is refused.
//
// What it rests on: a condition is judged with the sets of its own machine, material and gas, with its machine, with the settings, and
// with the records that an [history.Index] gives for it.
func (r *running) quick(root string, anchor func() (string, error)) (*verdict, error) {
	l := &library{root: root, before: &tree{r.store, map[string]string{}}, now: &tree{r.store, map[string]string{}}}
	var sets, records []git.Change
	for _, c := range r.changes {
		p, ok := inLibrary(root, c.Path)
		if !ok {
			continue
		}
		l.changed = append(l.changed, c.Path)
		switch {
		case !needed(p):
		case c.NewHash != "" && !ordinary(c.NewMode), c.OldHash != "" && !ordinary(c.OldMode):
			return nil, nil
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
	if len(sets)+len(records) == 0 {
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
		case needed(e.Path) && !ordinary(e.Mode):
			return nil, nil
		case needed(e.Path):
			l.before.ids[e.Path], l.now.ids[e.Path] = e.Hash, e.Hash
		}
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
	if !ok || !fine || slices.ContainsFunc(added, decides) {
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

// recall reads what is remembered and what came since; nil where that does not fit the last commit.
func (r *running) recall(root string, dirs map[string]string) (*memory, error) {
	r.forgotten = true
	stamp := history.IndexStamp()
	m := &memory{catalog: readCatalog(r.memoryFile("catalog", root), stamp)}
	if m.catalog == nil {
		return nil, nil
	}
	var err error
	if m.index, err = history.OpenIndex(r.memoryFile("index", root), stamp); err != nil {
		return nil, nil
	}
	good, err := r.catchUp(m, dirs)
	if !good || err != nil {
		m.index.Close()
		return nil, err
	}
	r.forgotten = false
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
	if !ok || len(records) > 20*fewRecords {
		return false, nil
	}
	for _, c := range records {
		switch {
		case !needed(c.Path) || path.Base(c.Path)[0] == '.':
		case c.OldHash != "" || !ordinary(c.NewMode):
			return false, nil
		default:
			m.since = append(m.since, git.Entry{Path: c.Path, Hash: c.NewHash})
		}
	}
	sets, ok := changes("sets", m.catalog.sets)
	machines, fine := changes("machines", m.catalog.machines)
	if !ok || !fine || len(sets)+len(machines) > 20*fewRecords {
		return false, nil
	}
	edited := slices.DeleteFunc(append(sets, machines...), func(c git.Change) bool { return !needed(c.Path) })
	now := &tree{r.store, map[string]string{}}
	for _, c := range edited {
		if c.NewHash != "" && !ordinary(c.NewMode) {
			return false, nil
		}
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
		p, ok := listingOf(c.Path, c.NewHash, data)
		if err != nil || !ok {
			return false, nil
		}
		m.catalog.files[c.Path] = p
	}
	m.grown = m.catalog.sets != dirs["sets"] || m.catalog.machines != dirs["machines"]
	m.catalog.sets, m.catalog.machines = dirs["sets"], dirs["machines"]
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
			p, ok := listingOf(c.Path, t.ids[c.Path], data)
			if err != nil || !ok {
				return nil, false
			}
			out[p.subject] = true
		}
	}
	for _, r := range added {
		if body, ok := r.Body.(*schema.Reason); ok {
			for _, c := range body.Changes.V {
				if c.Kind.Or(schema.SubjectCondition) != schema.SubjectCondition {
					return nil, false
				}
				id, err := schema.ParseID(c.ID.V)
				if err != nil {
					return nil, false
				}
				out[familyOf(id)] = true
			}
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

// judgeQuickly comes to the verdict, or to none where anything stops the commit.
func (r *running) judgeQuickly(l *library, m *memory, since, added []*schema.Record, anchor func() (string, error)) (*verdict, error) {
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
	subjects := map[history.SubjectKey]bool{}
	for _, d := range history.Compare(c.Before.Lib, c.Now.Lib) {
		subjects[history.SubjectKey{Kind: schema.SubjectCondition, ID: d.ID.String()}] = true
	}
	for _, a := range added {
		if body, ok := a.Body.(*schema.Reason); ok {
			for _, change := range body.Changes.V {
				subjects[history.SubjectKey{Kind: schema.SubjectCondition, ID: change.ID.V}] = true
			}
		}
	}
	if c.Anchor, err = anchor(); err != nil {
		return nil, err
	}
	for range 3 {
		var keys []history.SubjectKey
		for k := range subjects {
			keys = append(keys, k)
		}
		before, err := m.index.Ledger(keys, since)
		if err != nil {
			r.forgotten = true
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
		v := &verdict{library: l, running: r, Case: c, Report: Examine(c)}
		more := false
		for _, f := range v.New().Findings { // of other conditions than those changed: what was accepted of them is not known yet
			k := history.SubjectKey{Kind: schema.SubjectCondition, ID: f.ID}
			if f.ID != "" && !subjects[k] {
				subjects[k], more = true, true
			}
		}
		if more {
			continue
		}
		if len(v.Blocking())+len(v.unreasoned())+len(v.strayReasons()) > 0 {
			return nil, nil
		}
		return v, nil
	}
	return nil, nil
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

// remember makes what the next commit is judged from. It was all read for this one.
func (r *running) remember(v *verdict) {
	if !r.forgotten || r.head == "" || len(r.heads) > 0 || v.before.ids[schema.SettingsFile] == "" {
		return
	}
	top, err := r.repo.TreeDir(r.head, v.root)
	if err != nil {
		return
	}
	dirs := map[string]string{}
	for _, e := range top {
		if e.Mode == git.ModeTree {
			dirs[e.Path] = e.Hash
		}
	}
	p := &catalog{sets: dirs["sets"], machines: dirs["machines"], files: map[string]listing{}}
	for file, id := range v.before.ids {
		if isSet(file) || strings.HasPrefix(file, "machines/") {
			data, err := v.before.Read(file)
			at, ok := listingOf(file, id, data)
			if err != nil || !ok {
				return
			}
			p.files[file] = at
		}
	}
	stamp := history.IndexStamp()
	w, err := history.NewIndexWriter(stamp, dirs["records"], nil)
	if err != nil {
		return
	}
	for _, record := range v.Case.Before.Ledger.Records {
		data, err := v.before.Read(record.Path)
		if err != nil {
			return
		}
		w.Add(v.Case.Before.Ledger, v.Standing, record, data)
	}
	if r.writeIndex(v.root, w) == nil {
		_ = r.writeCatalog(v.root, p, stamp)
	}
}
