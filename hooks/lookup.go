package hooks

import (
	"errors"
	"io"
	"maps"
	"path"
	"slices"
	"strings"
	"sync"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
)

// A Lookup finds what bears on a few conditions without reading the rest of the library: the sets of their machine, material and gas by a
// catalog of what is saved, their records by a [history.Index]. Both are remembered below the directory of git, shared with the hook that
// judges a commit, brought up to the last commit, and made where they are missing or do not fit; what is missing costs time and no answer.
type Lookup struct {
	repo    *git.Repo
	root    string
	stamp   string // of the program
	store   *store
	dirs    map[string]string // directories of the library as it is saved, as git names what is in them
	frame   *tree             // what is saved beside sets and records
	framed  func() *store     // a store that holds the frame, read once
	catalog *catalog
	index   *history.Index
	since   []*schema.Record // saved since the index was made
	ofGate  bool             // a gate has its own

	elsewhere bool             // it is of another commit, see Elsewhere
	added     []*schema.Record // there, and not here
	gone      map[string]bool  // records that are here, and not there
	altered   bool             // one stands there in another way
}

// Where says which sets are wanted.
type Where func(machine, material, gas string) bool

// errNoLookup says that only the whole library can tell: it is not all ordinary files, a file is too large, or nothing is saved yet.
var errNoLookup = errors.New("no part of the library can stand for it")

// OpenLookup opens what is remembered of the last commit. Where it fails, the whole library has to be read, which says why.
func OpenLookup(repo *git.Repo, root string) (*Lookup, error) {
	l, err := lookAt(repo, root)
	if err != nil {
		return nil, err
	}
	if err := l.openCatalog(); err != nil {
		return nil, err
	}
	l.listFrame()
	if err := l.openIndex(); err != nil {
		return nil, err
	}
	return l, nil
}

// OpenRecords is [OpenLookup] for whoever asks for nothing but [Lookup.Ledger].
func OpenRecords(repo *git.Repo, root string) (*Lookup, error) {
	l, err := lookAt(repo, root)
	if err != nil {
		return nil, err
	}
	if err := l.openIndex(); err != nil {
		return nil, err
	}
	return l, nil
}

// lookAt looks at the top of the saved library.
func lookAt(repo *git.Repo, root string) (*Lookup, error) {
	head, _, unborn, _, err := repo.Head()
	if err != nil {
		return nil, err
	}
	if unborn {
		return nil, errNoLookup
	}
	l := &Lookup{repo: repo, root: root, stamp: history.IndexStamp(), store: newStore(repo), dirs: map[string]string{}}
	return l, l.openFrame(head)
}

// openFrame looks at the top of the library as a commit holds it.
func (l *Lookup) openFrame(rev string) error {
	l.frame = &tree{l.store, map[string]string{}}
	l.framed = sync.OnceValue(func() *store {
		s := newStore(l.repo)
		frame := &tree{s, l.frame.ids}
		if s.fill(all, frame) == nil {
			_, _ = schema.ReadLibrary(s.known.Of(frame)) // whoever needs it reads it, and says what is wrong
		}
		return s
	})
	top, err := l.repo.TreeDir(rev, l.root)
	if err != nil {
		return err
	}
	for _, e := range top {
		switch {
		case !slices.Contains(git.Parts, e.Path):
		case e.Mode == git.ModeTree:
			l.dirs[e.Path] = e.Hash
		case !ordinary(e.Mode):
			return errNoLookup
		case needed(e.Path):
			l.frame.ids[e.Path] = e.Hash
		}
	}
	if l.frame.ids[schema.SettingsFile] == "" {
		return errNoLookup
	}
	return nil
}

// listFrame adds what the catalog knows beside sets.
func (l *Lookup) listFrame() {
	for p, at := range l.catalog.files {
		if !isSet(p) {
			l.frame.ids[p] = at.id
		}
	}
}

// Afresh is the same, with nothing at hand that was read for others but settings, machines and rosters: what is read by it is let go with it.
func (l *Lookup) Afresh() *Lookup {
	out := *l
	framed := l.framed()
	out.store = newStore(l.repo)
	out.store.content, out.store.known = maps.Clone(framed.content), framed.known.Clone()
	out.frame = &tree{out.store, l.frame.ids}
	return &out
}

// Sets are those that the saved library holds, by files that say so, and those that anything is on record of.
func (l *Lookup) Sets() [][3]string {
	known := map[family]bool{}
	add := func(name string) {
		if parts := strings.SplitN(name, "/", 4); len(parts) > 2 {
			known[family{parts[0], parts[1], parts[2]}] = true
		}
	}
	for p, at := range l.catalog.files {
		if isSet(p) {
			known[at.subject] = true
		}
	}
	for _, name := range l.index.Sets() {
		add(name)
	}
	for _, r := range l.since {
		for _, key := range history.Subjects(r) {
			if key.Kind == schema.SubjectCondition {
				add(key.ID)
			}
		}
	}
	return namesOf(known)
}

// Close closes the index.
func (l *Lookup) Close() error { return l.index.Close() }

// openCatalog reads the catalog, and adds what was saved since.
func (l *Lookup) openCatalog() error {
	l.catalog = readCatalog(l.repo.ScratchFile(l.name("catalog")), l.stamp)
	if l.catalog != nil && l.catchUp() == nil {
		return nil
	}
	l.catalog = &catalog{files: map[string]listing{}}
	if err := l.catchUp(); err != nil {
		return err
	}
	_ = l.writeCatalog()
	return nil
}

func (l *Lookup) writeCatalog() error {
	return l.repo.Remember(l.name("catalog"), func(out io.Writer) error { return l.catalog.write(out, l.stamp) })
}

func (l *Lookup) name(kind string) string { return memoryOf(l.ofGate, kind, l.root) }

// make makes both anew.
func (l *Lookup) make() error {
	l.catalog = &catalog{files: map[string]listing{}}
	if err := l.catchUp(); err != nil {
		return err
	}
	if err := l.writeCatalog(); err != nil {
		return err
	}
	return l.extend(nil)
}

// catchUp lists what was saved since the catalog was made, a few files at a time.
func (l *Lookup) catchUp() error {
	for i, dir := range catalogued {
		changes, err := l.changes(dir, l.catalog.dirs[i])
		if err != nil {
			return err
		}
		for chunk := range slices.Chunk(changes, atOnce) {
			if err := l.list(chunk); err != nil {
				return err
			}
		}
	}
	l.catalog.dirs = catalogDirs(l.dirs)
	return nil
}

// atOnce is how many files are held at a time where all are looked at.
const atOnce = 512

// changes are the files of a directory that were saved since it was another. None may be anything but an ordinary file.
func (l *Lookup) changes(dir, was string) ([]git.Change, error) {
	if was == l.dirs[dir] {
		return nil, nil
	}
	changes, err := l.repo.TreeDirChanges(was, l.dirs[dir])
	for i := range changes {
		if c := &changes[i]; c.NewHash != "" && !ordinary(c.NewMode) {
			return nil, errNoLookup
		}
		changes[i].Path = path.Join(dir, changes[i].Path)
	}
	return slices.DeleteFunc(changes, func(c git.Change) bool { return !needed(c.Path) }), err
}

// list puts files into the catalog.
func (l *Lookup) list(changes []git.Change) error {
	var there []git.Change
	for _, c := range changes {
		if delete(l.catalog.files, c.Path); c.NewHash != "" {
			there = append(there, c)
		}
	}
	contents, err := l.contents(there)
	if err != nil {
		return err
	}
	listed := make([]listing, len(there))
	if err := schema.AtOnce(len(there), func(i int) error {
		var ok bool
		if listed[i], ok = listingOf(there[i].Path, there[i].NewHash, contents[i]); !ok {
			return errNoLookup
		}
		return nil
	}); err != nil {
		return err
	}
	for i, c := range there {
		l.catalog.files[c.Path] = listed[i]
	}
	return nil
}

// contents reads saved files.
func (l *Lookup) contents(files []git.Change) ([][]byte, error) {
	ids := make([]string, len(files))
	for i, c := range files {
		ids[i] = c.NewHash
	}
	out := make([][]byte, len(files))
	return out, l.repo.Blobs(ids, func(i int, data []byte) error { out[i] = data; return nil })
}

// openIndex opens the index of records, and makes it anew where it cannot be used.
func (l *Lookup) openIndex() error {
	x, err := history.OpenIndex(l.repo.ScratchFile(l.name("index")), l.stamp)
	if err == nil && l.extend(x) == nil {
		return nil
	}
	return l.extend(nil)
}

// extend uses an index with what was saved since; where that is much, or there is none, another is written.
func (l *Lookup) extend(x *history.Index) error {
	tree := ""
	if x != nil {
		tree = x.Tree()
		defer func() {
			if l.index != x {
				x.Close()
			}
		}()
	}
	added, err := l.addedRecords(tree)
	if err != nil {
		return err
	}
	if l.since = nil; x != nil && len(added) <= fewRecords && !manyAdopt(added, pathOf) {
		if l.since, _, err = l.records(added); err == nil {
			l.index = x
		}
		return err
	}
	w, err := history.NewIndexWriter(l.stamp, l.dirs[recordsDir], x)
	if err != nil {
		return err
	}
	for _, chunk := range chunks(added, pathOf) {
		records, contents, err := l.records(chunk)
		if err != nil {
			return err
		}
		w.AddAll(records, contents)
	}
	name := l.name("index")
	if err := l.repo.Remember(name, w.Write); err != nil {
		return err
	}
	l.index, err = history.OpenIndex(l.repo.ScratchFile(name), l.stamp)
	return err
}

// records reads saved records.
func (l *Lookup) records(files []git.Change) ([]*schema.Record, [][]byte, error) {
	contents, err := l.contents(files)
	if err != nil {
		return nil, nil, err
	}
	out := make([]*schema.Record, len(files))
	return out, contents, schema.AtOnce(len(files), func(i int) error {
		out[i] = schema.ReadRecord(files[i].Path, contents[i])
		return nil
	})
}

// addedRecords are those that were saved since the directory of records was another. An error says that others were altered or are gone.
func (l *Lookup) addedRecords(was string) ([]git.Change, error) {
	changes, err := l.changes(recordsDir, was)
	if err != nil {
		return nil, err
	}
	changes = slices.DeleteFunc(changes, func(c git.Change) bool { return strings.HasPrefix(path.Base(c.Path), ".") })
	if slices.ContainsFunc(changes, func(c git.Change) bool { return c.OldHash != "" }) {
		return nil, errNoFit
	}
	return changes, nil
}

// Saved reads the part of the saved library that the sets wanted make, with all settings, machines and rosters.
func (l *Lookup) Saved(where Where) (*schema.Library, error) {
	t := l.part(where)
	if err := l.store.fill(all, t); err != nil {
		return nil, err
	}
	return schema.ReadLibrary(l.store.known.Of(t))
}

// part is the saved files that the sets wanted make.
func (l *Lookup) part(where Where) *tree {
	t := &tree{l.store, maps.Clone(l.frame.ids)}
	for p, at := range l.catalog.files {
		if isSet(p) && where(at.subject.machine, at.subject.material, at.subject.gas) {
			t.ids[p] = at.id
		}
	}
	return t
}

// OnDisk reads the same part of the library as it lies on disk. Of the snapshot no records are looked at.
func (l *Lookup) OnDisk(disk git.Snapshot, where Where) (*schema.Library, error) {
	saved := l.part(func(_, _, _ string) bool { return false })
	files := map[string]string{}
	for _, p := range disk.Files() {
		if !needed(p) || schema.IsRecordPath(p) {
			continue
		}
		id := disk.Hash(p)
		at, listed := l.catalog.files[p]
		of := at.subject
		if isSet(p) && (!listed || at.id != id) {
			data, err := disk.Read(p)
			if err != nil {
				return nil, err
			}
			of = familyIn(data)
		}
		// What is saved in a file is missing because of what lies there now, whatever that is: it may be nothing that can be read.
		was := listed && where(at.subject.machine, at.subject.material, at.subject.gas)
		if isSet(p) && !where(of.machine, of.material, of.gas) && !was {
			continue
		}
		if files[p] = id; listed && at.id == id {
			saved.ids[p] = id
		}
	}
	if err := l.store.fill(all, saved); err != nil {
		return nil, err
	}
	return schema.ReadLibrary(l.store.known.Of(&onDisk{disk, files, saved}))
}

// An onDisk is some files on disk. Those that are as they were saved are read from there, where they may have been read already.
type onDisk struct {
	git.Snapshot
	ids   map[string]string
	saved *tree
}

func (d *onDisk) Files() []string      { return slices.Sorted(maps.Keys(d.ids)) }
func (d *onDisk) Hash(p string) string { return d.ids[p] }
func (d *onDisk) Read(p string) ([]byte, error) {
	if id := d.saved.ids[p]; id != "" && id == d.ids[p] {
		return d.saved.Read(p)
	}
	return d.Snapshot.Read(p)
}

// Ledger is what is on record of some subjects, as [history.Index.Ledger] says, with records that are not saved yet. It fails where only all
// records can tell.
func (l *Lookup) Ledger(subjects []history.SubjectKey, unsaved []*schema.Record) (*history.Ledger, error) {
	ledger, err := l.index.Ledger(subjects, slices.Concat(l.since, unsaved))
	if err == nil || errors.Is(err, history.ErrOtherSubjects) || l.elsewhere {
		return ledger, err
	}
	l.index.Close() // it is damaged where nobody looked before
	if err := l.extend(nil); err != nil {
		return nil, err
	}
	return l.index.Ledger(subjects, slices.Concat(l.since, unsaved))
}

// Unsaved names the sets in which what lies on disk may differ from what is saved: those of files that do, and where the settings mix a gas
// in another way, all that it cuts. Before and now are the two libraries as far as they are no sets.
func (l *Lookup) Unsaved(disk git.Snapshot, before, now *schema.Library) ([][3]string, error) {
	touched := map[family]bool{}
	there := map[string]bool{}
	for _, p := range disk.Files() {
		if !schema.IsSetPath(p) {
			continue
		}
		there[p] = true
		if at, listed := l.catalog.files[p]; listed && at.id == disk.Hash(p) {
			continue
		}
		data, err := disk.Read(p)
		if err != nil {
			return nil, err
		}
		touched[familyIn(data)], touched[l.catalog.files[p].subject] = true, true
	}
	mixes := (&Survey{frames: [2]*schema.Library{before, now}}).mixed
	mixed := map[string]bool{}
	for p, at := range l.catalog.files {
		if !isSet(p) {
			continue
		}
		gas := at.subject.gas
		if _, known := mixed[gas]; !known {
			mixed[gas] = mixes(gas)
		}
		if !there[p] || mixed[gas] {
			touched[at.subject] = true
		}
	}
	return namesOf(touched), nil
}

// Sound reports whether all saved files can be read whole.
func (l *Lookup) Sound() bool { return l.catalog.sound() }

// Below are the sets of all files below a directory on disk, as these say, however little that is.
func (l *Lookup) Below(dir string, disk git.Snapshot) (map[[3]string]bool, error) {
	out := map[[3]string]bool{}
	for _, p := range disk.Files() {
		if !isSet(p) || !strings.HasPrefix(p, dir) {
			continue
		}
		at, listed := l.catalog.files[p]
		of := at.subject
		if !listed || at.id != disk.Hash(p) {
			data, err := disk.Read(p)
			if err != nil {
				return nil, err
			}
			of = familyIn(data)
		}
		out[[3]string{of.machine, of.material, of.gas}] = true
	}
	return out, nil
}

// namesOf are sets in order; without those that say too little of themselves to hold a condition.
func namesOf(sets map[family]bool) [][3]string {
	out := make([][3]string, 0, len(sets))
	for set := range sets {
		if set.machine != "" && set.material != "" && set.gas != "" {
			out = append(out, [3]string{set.machine, set.material, set.gas})
		}
	}
	slices.SortFunc(out, func(a, b [3]string) int { return slices.Compare(a[:], b[:]) })
	return out
}

// Contents tells of every set which files hold it, saved and on disk, by a text that is another where anything in them is; and the same of
// all that is no set.
func (l *Lookup) Contents(disk git.Snapshot) (sets map[[3]string]string, beside string) {
	texts := map[[3]string][]string{}
	put := func(f family, text string) {
		set := [3]string{f.machine, f.material, f.gas}
		texts[set] = append(texts[set], text)
	}
	var others []string
	for p, at := range l.catalog.files {
		if isSet(p) {
			put(at.subject, p+" "+at.id+" "+disk.Hash(p))
		}
	}
	for p, id := range l.frame.ids {
		others = append(others, p+" "+id)
	}
	for _, p := range disk.Files() {
		if !needed(p) || schema.IsRecordPath(p) {
			continue
		}
		at, listed := l.catalog.files[p]
		if id := disk.Hash(p); !isSet(p) {
			others = append(others, p+" "+id)
		} else if !listed || at.id != id { // it may be of another set than what was saved there, which is told of that too
			if data, err := readOnce(disk, nil, p); err == nil {
				put(familyIn(data), p+" "+id)
			} else {
				others = append(others, p+" "+id)
			}
		}
	}
	sets = make(map[[3]string]string, len(texts))
	for set, list := range texts {
		slices.Sort(list)
		sets[set] = strings.Join(list, "\n")
	}
	slices.Sort(others)
	return sets, strings.Join(others, "\n")
}

// Records is the directory of records as it is saved.
func (l *Lookup) Records() string { return l.dirs[recordsDir] }

// Since names the sets about which anything was put on record since the saved directory of records was another. It is false where something
// happened that bears on more.
func (l *Lookup) Since(records string) (map[[3]string]bool, bool) {
	if records == l.Records() {
		return nil, true
	}
	added, err := l.addedRecords(records)
	if err != nil || records == "" {
		return nil, false
	}
	if slices.ContainsFunc(added, func(c git.Change) bool { return adopts(c.Path) }) {
		return nil, false // which bears on more
	}
	list, _, err := l.records(added)
	if err != nil {
		return nil, false
	}
	sets := map[[3]string]bool{}
	for _, r := range list {
		if !history.Sound(r) || r.Path != r.WantPath() || bearsOnMore(r) {
			return nil, false
		}
		for _, key := range history.Subjects(r) {
			parts := strings.SplitN(key.ID, "/", 4)
			if len(parts) < 4 {
				return nil, false
			}
			sets[[3]string(parts[:3])] = true
		}
	}
	return sets, true
}
