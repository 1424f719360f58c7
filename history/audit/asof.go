package audit

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
)

// A Moment is what a library was at one time. In force means three things, and they are kept apart: what stood in git, what was approved by
// the records that stood there, and what was on each machine.
type Moment struct {
	At       time.Time
	Commit   string // that stood on this branch then; "" where nothing did
	Saved    time.Time
	By       Person
	Library  *schema.Library // without its sets, see Stands
	IDs      []schema.ID     // all that it held, in order, and then those that it did not, though they were in force
	Ledger   *history.Ledger
	Standing *history.Standing
	Loads    []Loading // until then, by what is written down today

	Doubts   []string         // where clocks contradict each other, or older history is missing
	Late     []*schema.Record // that say they are older, and were saved later
	Elsewise int              // saved steps of other branches that were there by their clocks, and came here later

	records *history.Sparing // of then and of today
	sets    *partedSets
}

// AsOf returns what the library was at a moment.
//
// The branch is followed along its first parents, which is the line that was merged into. On it a step was there where its clock says so;
// where clocks contradict the order, the answer is the one that takes the fewest clocks for wrong, and says which.
func AsOf(repo *git.Repo, root string, o Options, at time.Time) (*Moment, error) {
	repo = repo.AsWritten()
	m := &Moment{At: at, records: history.NewSparing()}
	rev := o.Rev
	if rev == "" {
		rev = "HEAD"
	}
	head, err := repo.Resolve(rev)
	if errors.Is(err, git.ErrUnborn) {
		return m, m.read(git.Empty(), o.Anchor)
	}
	if err != nil {
		return nil, err
	}
	var line []git.LogEntry // newest first
	for e, err := range repo.Walk(git.LogOptions{Revs: []string{head}, FirstParent: true}) {
		if err != nil {
			return nil, err
		}
		e.Message, e.Subject = "", ""
		line = append(line, e)
	}
	slices.Reverse(line)
	n, contradict := split(line, at)
	for _, c := range contradict {
		m.Doubts = append(m.Doubts, fmt.Sprintf("the clock of %.12s (%s) contradicts the order of the steps around it", c.Hash, c.Committer.When.UTC().Format("2006-01-02 15:04 UTC")))
	}
	snap := git.Empty()
	if n > 0 {
		c := line[n-1]
		m.Commit, m.Saved = c.Hash, c.Committer.When
		if snap, err = repo.Commit(c.Hash, root); err != nil {
			return nil, err
		}
		defer func() { m.By = knownPersons(m.Library, m.Standing).of(c.Author.Name, c.Author.Email) }()
	} else if repo.IsShallow() {
		m.Doubts = append(m.Doubts, "this clone does not have the history of that time (git fetch --unshallow)")
	}
	if err := m.read(snap, o.Anchor); err != nil {
		return nil, err
	}
	return m, m.lookBack(repo, root, head, at)
}

// read reads the library of the moment, of which the sets are not held.
func (m *Moment) read(snap git.Snapshot, anchor string) (err error) {
	if m.Library, err = schema.ReadFrame(snap); err != nil {
		return err
	}
	if m.sets, err = newPartedSets(snap); err != nil {
		return err
	}
	if m.Ledger, err = m.records.Read(snap, snap.Hash); err != nil {
		return err
	}
	id := ""
	if set := m.Library.Settings.Value; set != nil {
		id = set.ID.V
	}
	m.Standing = m.Ledger.Judge(id, anchor)
	var unread []string
	note := func(lib *schema.Library) {
		for _, f := range lib.Files {
			if f.Value == nil {
				unread = append(unread, f.Path)
			}
		}
	}
	note(m.Library)
	own, there := schema.Texts{}, map[string]bool{}
	if err := m.sets.each(m.Library, func(lib *schema.Library) bool {
		if lib != m.Library {
			note(lib)
		}
		for _, r := range lib.Recipes {
			if name := r.ID.String(); !there[name] {
				there[name] = true
				m.IDs = append(m.IDs, own.ID(r.ID))
			}
		}
		return true
	}); err != nil {
		return err
	}
	slices.SortFunc(m.IDs, schema.ID.Compare)
	gone := m.Standing.Gone(func(name string) bool { return there[name] })
	slices.SortFunc(gone, schema.ID.Compare)
	m.IDs = append(m.IDs, gone...)
	slices.Sort(unread)
	for _, file := range unread {
		m.Doubts = append(m.Doubts, file+" could not be read as it stood then")
	}
	return nil
}

// Stands hands conditions over one by one, each with the library as far as it bears on that one. Neighbours are best handed over together.
func (m *Moment) Stands(ids []schema.ID, each func(lib *schema.Library, id schema.ID) error) error {
	files := map[family]int{}
	for _, f := range m.sets.of {
		files[f]++
	}
	for len(ids) > 0 {
		n, held, known := 0, 0, map[family]bool{}
		for ; n < len(ids); n++ {
			f := family{ids[n].Machine, ids[n].Material, ids[n].Gas}
			if !known[f] && n > 0 && held+files[f] > setsAtOnce {
				break
			}
			if !known[f] {
				known[f], held = true, held+files[f]
			}
		}
		lib, err := m.sets.holding(m.Library, ids[:n])
		if err != nil {
			return err
		}
		for _, id := range ids[:n] {
			if err := each(lib, id); err != nil {
				return err
			}
		}
		ids = ids[n:]
	}
	return nil
}

// lookBack adds what is known today of that time: loads, records that were saved later, steps of other branches.
func (m *Moment) lookBack(repo *git.Repo, root, head string, at time.Time) error {
	today := m.Ledger
	if m.Commit != head {
		snap, err := repo.Commit(head, root)
		if err != nil {
			return err
		}
		if today, err = m.records.Read(snap, snap.Hash); err != nil {
			return err
		}
	}
	for _, l := range Loads(today) {
		if !l.At.After(at) {
			m.Loads = append(m.Loads, l)
		}
	}
	for _, r := range today.Records {
		if history.Sound(r) && !r.Time().After(at) && m.Ledger.Get(r.Digest) == nil {
			m.Late = append(m.Late, r)
		}
	}
	revs := []string{head}
	if m.Commit != "" {
		revs = append(revs, "^"+m.Commit)
	}
	for e, err := range repo.Walk(git.LogOptions{Revs: revs, Paths: partsBelow(root)}) {
		if err != nil {
			return err
		}
		if !e.Committer.When.After(at) {
			m.Elsewise++
		}
	}
	return nil
}

// split says how many steps of a line were there at a moment, the oldest first, so that the fewest clocks are taken for wrong. Of two answers
// that are equally good it takes the earlier: clocks that run behind are the more common. It gives the steps whose clocks contradict.
func split(line []git.LogEntry, at time.Time) (n int, contradict []git.LogEntry) {
	there := func(e git.LogEntry) bool { return !e.Committer.When.After(at) }
	wrong := 0 // with no step there: each that says it was
	for _, e := range line {
		if there(e) {
			wrong++
		}
	}
	best := wrong
	for i, e := range line {
		if there(e) {
			wrong--
		} else {
			wrong++
		}
		if wrong < best {
			best, n = wrong, i+1
		}
	}
	for i, e := range line {
		if there(e) != (i < n) {
			contradict = append(contradict, e)
		}
	}
	return n, contradict
}

// OnUnit returns what a unit held of a condition at the moment, as far as loads are on record.
func (m *Moment) OnUnit(unit, id string) Stay {
	stays := Stays(m.Loads, unit, id, m.At, m.At)
	return stays[len(stays)-1]
}
