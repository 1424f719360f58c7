package history

import (
	"fmt"
	"maps"
	pathpkg "path"
	"slices"
	"strings"
	"sync"

	"golang.org/x/crypto/ssh"

	"fettle/history/signature"
	"fettle/schema"
)

// A Ledger is all records of one snapshot.
type Ledger struct {
	Records  []*schema.Record // by path, that is by time
	byDigest map[schema.Digest]*schema.Record
	checks   map[schema.Digest]check // of records that came from an [Index], or were read sparingly
	partial  map[schema.Digest]bool  // decisions of which an [Index] gave no more than what was asked for

	once      sync.Once // for what follows
	withdrawn map[schema.Digest]*schema.Record
	reasons   map[SubjectKey][]Edge    // also those that were taken back
	trials    map[string][]trialRecord // by id
	permits   map[string][]*schema.Permit
}

// ReadLedger reads the records of a snapshot, a few at a time. The error is about reading; what is wrong with a record is in its
// Problems, and a record with problems counts for nothing.
func ReadLedger(src schema.Source) (*Ledger, error) {
	paths := recordPaths(src)
	records := make([]*schema.Record, len(paths))
	err := schema.AtOnce(len(paths), func(i int) (err error) {
		if records[i], err = schema.ReadRecordFrom(src, paths[i]); err != nil {
			return fmt.Errorf("%s: %w", paths[i], err)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return NewLedger(records), nil
}

func recordPaths(src schema.Source) (paths []string) {
	for _, path := range src.Files() {
		if schema.IsRecordPath(path) && !strings.HasPrefix(pathpkg.Base(path), ".") { // .gitkeep and its like are no records
			paths = append(paths, path)
		}
	}
	slices.Sort(paths)
	return paths
}

// ReadLedgerSparing is [ReadLedger] for who holds all records of years while the history is read, too: they take a third of the room.
func ReadLedgerSparing(src schema.Source) (*Ledger, error) {
	return NewSparing().Read(src, func(string) string { return "" })
}

// Sparing holds the records of one or several snapshots in little room, each once. Signatures are checked while they are at hand, and then
// neither they nor what they are over are kept.
type Sparing struct {
	spare *schema.Sparing
	mu    sync.Mutex
	known map[recordAt]spared
	keys  map[string]ssh.PublicKey // few persons sign many records
}

type recordAt struct{ path, id string }

type spared struct {
	record *schema.Record
	check  *check // nil where there was nothing to check
}

// NewSparing holds no records yet.
func NewSparing() *Sparing {
	return &Sparing{spare: schema.NewSparing(), known: map[recordAt]spared{}, keys: map[string]ssh.PublicKey{}}
}

// Add reads a record; what it was read from is called by an id, "" where it has none. It may be called by several goroutines.
func (k *Sparing) Add(path, id string, data []byte) {
	one := spared{record: k.spare.ReadRecord(path, data)}
	if mayBeSigned(one.record) {
		key, why := checkRecord(one.record, "")
		one.check = &check{key, why}
		one.record.Signature.V = ""
	}
	one.record.Message = nil
	k.mu.Lock()
	defer k.mu.Unlock()
	if c := one.check; c != nil && c.key != nil {
		name := string(c.key.Marshal())
		if k.keys[name] == nil {
			k.keys[name] = c.key
		}
		c.key = k.keys[name]
	}
	k.known[recordAt{path, id}] = one
}

// Holds reports whether a record was added.
func (k *Sparing) Holds(path, id string) bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.known[recordAt{path, id}].record != nil
}

// Read reads the records of a snapshot, but for those that are held already. The id is that of what stands at a path. A snapshot that would keep
// what it read is asked not to.
func (k *Sparing) Read(src schema.Source, id func(path string) string) (*Ledger, error) {
	read := src.Read
	if s, ok := src.(interface {
		ReadOnce(path string) ([]byte, error)
	}); ok {
		read = s.ReadOnce
	}
	paths := recordPaths(src)
	ids := make(map[string]string, len(paths))
	for _, p := range paths {
		ids[p] = id(p)
	}
	if err := schema.AtOnce(len(paths), func(i int) error {
		p := paths[i]
		if k.Holds(p, ids[p]) {
			return nil
		}
		data, err := read(p)
		if err != nil {
			return fmt.Errorf("%s: %w", p, err)
		}
		k.Add(p, ids[p], data)
		return nil
	}); err != nil {
		return nil, err
	}
	return k.Ledger(ids), nil
}

// Ledger is the ledger of the records with these paths and ids, which were added.
func (k *Sparing) Ledger(ids map[string]string) *Ledger {
	k.mu.Lock()
	defer k.mu.Unlock()
	records := make([]*schema.Record, 0, len(ids))
	for p, id := range ids {
		records = append(records, k.known[recordAt{p, id}].record)
	}
	l := NewLedger(records)
	l.checks = make(map[schema.Digest]check, len(records))
	for _, r := range records {
		if c := k.known[recordAt{r.Path, ids[r.Path]}].check; c != nil && Sound(r) { // a copy under another name has the digest of the record itself
			l.checks[r.Digest] = *c
		}
	}
	return l
}

// Of is a ledger of some of the records, with what is known of their signatures.
func (l *Ledger) Of(records []*schema.Record) *Ledger {
	out := NewLedger(records)
	out.checks, out.partial = l.checks, l.partial
	return out
}

// Near is what of a ledger bears on one condition: [Ledger.Judge] says the same of it, of roster, settings, people and machines as it says with
// all records, of which there may be those of years. Of decisions on many subjects it has no more than that, as a ledger from an [Index]. All of
// the ledger is near where a decision was taken back that is about the condition and about others, too.
func (l *Ledger) Near(key SubjectKey) *Ledger {
	matters := func(k SubjectKey) bool { return !manifold(k) || k.Kind == schema.SubjectMachine || k == key }
	taken := map[schema.Digest]bool{}
	var records []*schema.Record
	partial := map[schema.Digest]bool{}
	take := func(r *schema.Record) {
		taken[r.Digest] = taken[r.Digest] || Sound(r)
		if d, ok := r.Body.(*schema.Decision); ok && Sound(r) && len(d.Subjects.V) > fewSubjects {
			some := slices.DeleteFunc(slices.Clone(d.Subjects.V), func(s schema.Subject) bool { return !matters(SubjectKey{s.Kind.V, s.ID.V}) })
			if len(some) < len(d.Subjects.V) {
				body, own := *d, *r
				body.Subjects.V = slices.Clip(some)
				own.Body, own.Common = &body, &body.Common
				r, partial[r.Digest] = &own, true
			}
		}
		records = append(records, r)
	}
	for _, r := range l.Records {
		if !Sound(r) || r.Kind == schema.KindWithdrawal || slices.ContainsFunc(subjectsOf(r), matters) {
			take(r)
		}
	}
	for i := 0; i < len(records); i++ { // what lies behind these, near or far
		if !Sound(records[i]) {
			continue
		}
		behind := records[i].Follows.V
		if w, ok := records[i].Body.(*schema.Withdrawal); ok {
			behind = append(slices.Clip(behind), w.Record.V)
		}
		for _, digest := range behind {
			if r := l.Get(schema.Digest(digest)); r != nil && !taken[r.Digest] {
				take(r)
			}
		}
	}
	out := l.Of(records)
	if out.partial = partial; len(l.partial) > 0 {
		out.partial = maps.Clone(l.partial)
		maps.Copy(out.partial, partial)
	}
	for _, w := range Bodies[*schema.Withdrawal](out) {
		if target := out.Get(schema.Digest(w.Body.Record.V)); target != nil && !out.asked(target, map[SubjectKey]bool{key: true}, true) {
			return l
		}
	}
	return out
}

// SignedBy returns the key that a sound record is signed with, nil where the signature is missing or no good, or the record is void by itself.
func (l *Ledger) SignedBy(r *schema.Record) ssh.PublicKey {
	if known, ok := l.checks[r.Digest]; ok {
		return known.key
	}
	if !r.Signature.Set() {
		return nil
	}
	key, err := signature.Check(r.Message, r.Signature.V)
	if err != nil {
		return nil
	}
	return key
}

// NewLedger makes a ledger of records that were read already, in any order. What it finds wrong with a record it adds to the
// record's Problems.
func NewLedger(records []*schema.Record) *Ledger {
	records = slices.Clone(records)
	slices.SortFunc(records, func(a, b *schema.Record) int { return strings.Compare(a.Path, b.Path) })
	l := &Ledger{Records: records, byDigest: make(map[schema.Digest]*schema.Record, len(records))}
	for _, r := range records {
		switch {
		case r.Body == nil && len(r.Problems) == 0:
			r.Problems = append(r.Problems, schema.Problem{Rule: schema.RuleMisplacedFile, Message: "the file is no record; only records belong below records/",
				Help: "Move it out of there."})
		case r.Body == nil:
		case r.Path != r.WantPath():
			if !slices.ContainsFunc(r.Problems, func(p schema.Problem) bool { return p.Rule == RuleRecordAltered }) {
				r.Problems = append(r.Problems, schema.Problem{Rule: RuleRecordAltered, Message: "the name of the record does not fit its content; its content asks for " + r.WantPath(),
					Help: "Somebody edited or renamed it. The version that was saved: git log -- " + r.Path})
			}
		default:
			l.byDigest[r.Digest] = r
		}
	}
	return l
}

// With returns the ledger with more records. They must not be in it yet.
func (l *Ledger) With(more []*schema.Record) *Ledger {
	return l.Of(slices.Concat(l.Records, more))
}

// Without is the ledger without some records, and with all that is known of the others.
func (l *Ledger) Without(some func(*schema.Record) bool) *Ledger {
	out := NewLedger(slices.DeleteFunc(slices.Clone(l.Records), some))
	out.checks, out.partial = l.checks, l.partial
	return out
}

// Rules about the trail itself.
const (
	RuleRecordAltered = "record-altered"
	RuleRecordRemoved = "record-removed"
)

// Sound reports whether a record can count at all: readable, without a problem, named after its content.
func Sound(r *schema.Record) bool { return r != nil && r.Body != nil && len(r.Problems) == 0 }

// Get returns the sound record with this digest, or nil.
func (l *Ledger) Get(digest schema.Digest) *schema.Record {
	if r := l.byDigest[digest]; Sound(r) {
		return r
	}
	return nil
}

// Find resolves what a person types for a record: its digest or the beginning of it, from 4 hex digits on, or its file name.
func (l *Ledger) Find(typed string) (*schema.Record, error) {
	typed = strings.TrimSuffix(typed[strings.LastIndex(typed, "/")+1:], ".json")
	prefix := typed[strings.LastIndex(typed, "-")+1:]
	if len(prefix) < 4 || strings.Trim(prefix, "0123456789abcdef") != "" {
		return nil, fmt.Errorf("%q names no record: give 4 or more of its hex digits, or its file name", typed)
	}
	var found []*schema.Record
	for digest, r := range l.byDigest {
		if strings.HasPrefix(string(digest), prefix) {
			found = append(found, r)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return nil, fmt.Errorf("there is no record %s here", prefix)
	}
	return nil, fmt.Errorf("%d records begin with %s; give more digits", len(found), prefix)
}

// Bodies returns the sound records of one body type with their records, in order of time.
func Bodies[B schema.Body](l *Ledger) []struct {
	Record *schema.Record
	Body   B
} {
	var out []struct {
		Record *schema.Record
		Body   B
	}
	for _, r := range l.Records {
		if body, ok := r.Body.(B); ok && Sound(r) {
			out = append(out, struct {
				Record *schema.Record
				Body   B
			}{r, body})
		}
	}
	return out
}
