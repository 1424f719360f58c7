package history

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc32"
	"hash/fnv"
	"io"
	"maps"
	"os"
	"runtime/debug"
	"slices"
	"strings"
	"sync"

	"golang.org/x/crypto/ssh"

	"fettle/schema"
)

// An Index answers what the records of a snapshot say of a few subjects without reading the others: years of records cost a commit
// of one condition no more than a few. It is a cache in a file, made from a ledger and extended by the records that came since; it
// can be deleted at any time, and one that is damaged or of another program is not opened.
//
// What it gives is a [Ledger] that holds
//
//   - whole: every record about roster, settings, people, a machine, or about one of the subjects asked for, causes, loads and
//     escapes included; every withdrawal; every record with a problem
//   - bare, with nothing but who wrote it and what it follows: every other record that one of these follows or takes back, near or
//     far, since decisions are judged by what lies behind them
//   - of a decision on many subjects, such as the adoption, only the conditions and machines asked for
//
// [Ledger.Judge] says the same of those subjects, and of roster, settings and people, as it says with all records. Whether a
// withdrawal counts that takes back a decision on something else it does not say, since that may hang on what was decided there. That
// signatures are good and values fit their digests was found out when the index was made, or is where something hangs on them; whose keys
// they are is judged anew.
//
// A damaged index is told by its checksums. Whoever can write into the directory of the repository can also write a good one that is
// wrong, or another hook: what is checked on a PC guards against mistakes, and the gate against the rest, on a server where nobody writes
// there who only pushes.
type Index struct {
	file    *os.File
	start   int64 // of the entries
	ids     indexIDs
	offsets []byte // of each entry, and of the end
	keys    []byte // hash of the key, entry; sorted
	digests []byte // beginning of the digest, entry; sorted
	always  []byte // entries that every answer holds
	ofAny   []byte // entries about machines
	sets    []string
}

// indexIDs say what an index is of.
type indexIDs struct {
	Stamp string // of the program that made it
	Tree  string // what the caller names the set of records by
}

const (
	indexMagic = "fettle index 4\n\n"
	wordSize   = 4
	pairSize   = 12 // a hash of eight bytes and an entry
)

var errIndex = errors.New("the index of records cannot be used")

// OpenIndex opens the index in a file. It fails where there is none, or none that this program wrote whole.
func OpenIndex(file, stamp string) (*Index, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	x := &Index{file: f}
	if err := x.read(stamp); err != nil {
		f.Close()
		return nil, err
	}
	return x, nil
}

// Tree is the set of records it is of.
func (x *Index) Tree() string { return x.ids.Tree }

// Sets are those that any record about a condition is of, as machine/material/gas.
func (x *Index) Sets() []string { return x.sets }

// Close closes the file.
func (x *Index) Close() error { return x.file.Close() }

func (x *Index) read(stamp string) error {
	head := make([]byte, len(indexMagic)+8)
	if _, err := io.ReadFull(x.file, head); err != nil || string(head[:len(indexMagic)]) != indexMagic {
		return errIndex
	}
	size := binary.LittleEndian.Uint32(head[len(indexMagic):])
	sum := binary.LittleEndian.Uint32(head[len(indexMagic)+4:])
	if info, err := x.file.Stat(); err != nil || int64(size) > info.Size() {
		return errIndex
	}
	directory := make([]byte, size)
	if _, err := io.ReadFull(x.file, directory); err != nil || checksum(directory) != sum {
		return errIndex
	}
	in := &Decoder{Data: directory}
	x.ids = indexIDs{in.Text(), in.Text()}
	x.offsets, x.keys, x.digests, x.always, x.ofAny = in.Bytes(), in.Bytes(), in.Bytes(), in.Bytes(), in.Bytes()
	x.sets = in.Texts()
	if in.Bad || x.ids.Stamp != stamp || len(x.offsets) < wordSize {
		return errIndex
	}
	x.start = int64(len(head)) + int64(size)
	return nil
}

// checksum needs no table at start-up, which every command would pay for.
func checksum(data []byte) uint32 { return crc32.ChecksumIEEE(data) }

// entry is one record in the index.
type indexEntry struct {
	number  uint32
	path    string
	kind    string
	digest  schema.Digest
	library string
	at, by  string
	sound   bool
	later   bool   // nobody looked at its signature yet
	why     string // it is void, or ""
	key     string // that signed it, as SSH writes keys; "" where none
	follows []string

	rest []byte // of the entry: what is needed to read the record itself
}

func (x *Index) count() int { return len(x.offsets)/wordSize - 1 }

func (x *Index) entry(n uint32) (*indexEntry, error) {
	if int(n) >= x.count() {
		return nil, errIndex
	}
	from := binary.LittleEndian.Uint32(x.offsets[n*wordSize:])
	to := binary.LittleEndian.Uint32(x.offsets[(n+1)*wordSize:])
	if to < from+4 {
		return nil, errIndex
	}
	data := make([]byte, to-from)
	if _, err := x.file.ReadAt(data, x.start+int64(from)); err != nil {
		return nil, errIndex
	}
	body := data[:len(data)-4]
	if checksum(body) != binary.LittleEndian.Uint32(data[len(body):]) {
		return nil, errIndex
	}
	in := &Decoder{Data: body}
	e := &indexEntry{number: n, path: in.Text(), kind: in.Text(), digest: schema.Digest(in.Text()), library: in.Text(), at: in.Text(), by: in.Text()}
	looked := in.Number()
	e.sound, e.later = looked != isUnsound, looked == isSoundUnchecked
	e.why, e.key = in.Text(), in.Text()
	for range in.Number() {
		e.follows = append(e.follows, in.Text())
	}
	e.rest = in.Data
	if in.Bad {
		return nil, errIndex
	}
	return e, nil
}

// What was found out of a record when the index was made.
const (
	isUnsound = iota
	isSound
	isSoundUnchecked // its signature is looked at where something hangs on it
)

// kindPart is an entry that holds one subject of a decision on many, which is an entry of its own.
const kindPart = "part"

// record reads the record itself. Of a decision on many subjects it has those given and those that are about no condition.
func (e *indexEntry) record(parts [][]byte) (*schema.Record, error) {
	in := &Decoder{Data: e.rest}
	in.Number()
	text := slices.Clone(in.Bytes())
	for range in.Number() {
		parts = append(parts, in.Bytes())
	}
	text = append(append(text, bytes.Join(parts, []byte{','})...), in.Bytes()...)
	if in.Bad {
		return nil, errIndex
	}
	if !e.sound {
		return schema.ReadRecord(e.path, text), nil
	}
	var r *schema.Record
	if e.later {
		r = schema.ReadRecord(e.path, text)
	} else { // looked at when the index was made
		r = schema.ReadRecordKnown(e.path, text, e.digest)
	}
	if r.Body == nil || r.Digest != e.digest {
		return nil, errIndex
	}
	r.Problems = nil
	return r, nil
}

// part is the decision that the entry is a part of, and the text of that part.
func (e *indexEntry) part() (of uint32, text []byte, err error) {
	in := &Decoder{Data: e.rest}
	of, text = uint32(in.Number()), in.Bytes()
	if in.Bad || e.kind != kindPart {
		return 0, nil, errIndex
	}
	return of, text, nil
}

// subjects counts what a decision is about.
func (e *indexEntry) subjects() int {
	in := &Decoder{Data: e.rest}
	return in.Number()
}

// bare is the record with nothing but who wrote it and what lies behind it. It is about no subject.
func (e *indexEntry) bare() *schema.Record {
	c := schema.Common{Head: schema.Head{Kind: schema.Of(e.kind), Format: schema.Of(1)}, Library: schema.Of(e.library), At: schema.Of(e.at), By: schema.Of(e.by)}
	if len(e.follows) > 0 {
		c.Follows = schema.Of(e.follows)
	}
	if e.key != "" {
		c.Signature = schema.Of("") // it was checked, and is not kept
	}
	r := &schema.Record{Path: e.path, Kind: e.kind, Digest: e.digest}
	switch e.kind {
	case schema.KindApproval, schema.KindRejection, schema.KindAdoption:
		body := &schema.Decision{Common: c}
		r.Body, r.Common = body, &body.Common
	case schema.KindWaiver:
		body := &schema.Waiver{Common: c}
		r.Body, r.Common = body, &body.Common
	default:
		body := &schema.Reason{Common: c}
		r.Body, r.Common = body, &body.Common
	}
	return r
}

// Holds reports whether the index holds a sound record with this digest.
func (x *Index) Holds(digest schema.Digest) bool {
	return slices.ContainsFunc(find(x.digests, beginning(string(digest))), func(n uint32) bool {
		e, err := x.entry(n)
		return err == nil && e.sound && e.digest == digest
	})
}

// ErrOtherSubjects says that an [Index] cannot tell of the subjects asked for, since that hangs on others.
var ErrOtherSubjects = errors.New("a decision on several subjects was taken back")

// Ledger returns what the index and the records that came since say of some subjects and of all machines. What came since must not be in the
// index. It fails with [ErrOtherSubjects] where a decision was taken back that is about one of them and about others: whether that counts
// hangs on all that it decided.
func (x *Index) Ledger(subjects []SubjectKey, since []*schema.Record) (*Ledger, error) {
	return x.ledger(subjects, true, since)
}

// LedgerOf is [Index.Ledger] that says of machines no more than is asked for: there may be many.
func (x *Index) LedgerOf(subjects []SubjectKey, since []*schema.Record) (*Ledger, error) {
	return x.ledger(subjects, false, since)
}

func (x *Index) ledger(subjects []SubjectKey, machines bool, since []*schema.Record) (*Ledger, error) {
	var records []*schema.Record
	checks := map[schema.Digest]check{}
	loaded := map[uint32]bool{}
	load := func(e *indexEntry, read func() (*schema.Record, error)) (*schema.Record, error) {
		loaded[e.number] = true
		r, err := read()
		if err != nil {
			return nil, err
		}
		if e.sound && !e.later && (e.key != "" || e.why != "") {
			c := check{why: e.why}
			if e.key != "" {
				if c.key, err = ssh.ParsePublicKey([]byte(e.key)); err != nil {
					return nil, errIndex
				}
			}
			checks[e.digest] = c
		}
		records = append(records, r)
		return r, nil
	}
	taken := map[uint32]bool{}
	whole := map[uint32][][]byte{} // with the parts of decisions on many subjects
	add := func(n uint32) error {
		if taken[n] {
			return nil
		}
		taken[n] = true
		e, err := x.entry(n)
		if err != nil {
			return err
		}
		if e.kind != kindPart {
			if _, known := whole[n]; !known { // else a part of it came before
				whole[n] = nil
			}
			return nil
		}
		of, text, err := e.part()
		whole[of] = append(whole[of], text)
		return err
	}
	for _, n := range numbersIn(x.always) {
		whole[n] = nil
	}
	var wanted []uint32
	if machines {
		wanted = numbersIn(x.ofAny)
	}
	for _, key := range subjects {
		if !machines || key.Kind != schema.SubjectMachine {
			wanted = append(wanted, find(x.keys, hashOf(key))...)
		}
	}
	slices.Sort(wanted) // the parts of a decision in its own order
	for _, n := range wanted {
		if err := add(n); err != nil {
			return nil, err
		}
	}
	partial := map[schema.Digest]bool{}
	for _, n := range slices.Sorted(maps.Keys(whole)) {
		e, err := x.entry(n)
		if err != nil {
			return nil, err
		}
		r, err := load(e, func() (*schema.Record, error) { return e.record(whole[n]) })
		if err != nil {
			return nil, err
		}
		if d, ok := r.Body.(*schema.Decision); ok && len(d.Subjects.V) != e.subjects() {
			partial[r.Digest] = true
		}
	}
	known := NewLedger(slices.Concat(records, since))
	known.partial = partial
	all := make(map[SubjectKey]bool, len(subjects))
	for _, key := range subjects {
		all[key] = true
	}
	for _, w := range Bodies[*schema.Withdrawal](known) {
		if target := known.Get(schema.Digest(w.Body.Record.V)); target != nil && !known.asked(target, all, machines) {
			return nil, ErrOtherSubjects
		}
	}
	for _, queue := 0, append(slices.Clone(records), since...); len(queue) > 0; queue = queue[1:] {
		if queue[0].Common == nil {
			continue
		}
		behind := queue[0].Follows.V
		if w, ok := queue[0].Body.(*schema.Withdrawal); ok {
			behind = append(slices.Clone(behind), w.Record.V)
		}
		for _, followed := range behind {
			for _, n := range find(x.digests, beginning(followed)) {
				if loaded[n] {
					continue
				}
				e, err := x.entry(n)
				if err != nil {
					return nil, err
				}
				if !e.sound {
					loaded[n] = true
					continue
				}
				r, err := load(e, func() (*schema.Record, error) {
					if !e.later {
						return e.bare(), nil
					}
					whole, err := e.record(nil)
					if err != nil {
						return nil, err
					}
					c := known.check(whole, "")
					if c.key != nil {
						e.key = string(c.key.Marshal())
					}
					checks[e.digest] = c
					return e.bare(), nil
				})
				if err != nil {
					return nil, err
				}
				queue = append(queue, r)
			}
		}
	}
	l := NewLedger(append(records, since...))
	l.checks, l.partial = checks, partial
	return l, nil
}

// asked reports whether it can be told if a decision was taken back, as far as that matters to the subjects: all that it is about is
// among them, or it is about no more than one, or none of them.
func (l *Ledger) asked(r *schema.Record, subjects map[SubjectKey]bool, machines bool) bool {
	d, ok := r.Body.(*schema.Decision)
	if !ok {
		return true
	}
	matters, other := false, !l.Whole(r)
	for _, key := range subjectsOf(r) {
		in := !manifold(key) || machines && key.Kind == schema.SubjectMachine || subjects[key] || key.Kind == schema.SubjectCondition && subjects[ofSet(key.ID)]
		matters, other = matters || in, other || !in
	}
	return !matters || !other || l.Whole(r) && len(d.Subjects.V) == 1
}

// Whole reports whether a record has all that it is about, as a decision on many subjects does not where it came from an [Index] that was
// asked about others.
func (l *Ledger) Whole(r *schema.Record) bool { return !l.partial[r.Digest] }

// find returns the entries that a hash leads to. Two subjects may share one; what is loaded needlessly changes nothing.
func find(pairs []byte, hash uint64) []uint32 {
	n := len(pairs) / pairSize
	at := func(i int) uint64 { return binary.LittleEndian.Uint64(pairs[i*pairSize:]) }
	low, high := 0, n
	for low < high {
		if middle := (low + high) / 2; at(middle) < hash {
			low = middle + 1
		} else {
			high = middle
		}
	}
	var out []uint32
	for ; low < n && at(low) == hash; low++ {
		out = append(out, binary.LittleEndian.Uint32(pairs[low*pairSize+8:]))
	}
	return out
}

func hashOf(key SubjectKey) uint64 {
	h := fnv.New64a()
	io.WriteString(h, key.Kind)
	h.Write([]byte{0})
	io.WriteString(h, key.ID)
	return h.Sum64()
}

func beginning(digest string) uint64 {
	raw, err := hex.DecodeString(digest[:min(16, len(digest))])
	if err != nil || len(raw) < 8 {
		return 0
	}
	return binary.BigEndian.Uint64(raw)
}

// An IndexWriter makes an index.
type IndexWriter struct {
	ids     indexIDs
	held    []byte   // entries that are not in the file aside yet
	aside   *os.File // with the entries before them, once these are many; else nil
	ends    []uint32 // of the entries
	end     uint64   // of the last one
	failed  error    // why the file aside cannot be written
	keys    []pair
	digests []pair
	always  []uint32
	ofAny   []uint32
	sets    map[string]bool
}

type pair struct {
	hash  uint64
	entry uint32
}

// NewIndexWriter begins an index of the given set of records: those of another index, if there is one, to which more can be added.
func NewIndexWriter(stamp, tree string, from *Index) (*IndexWriter, error) {
	w := &IndexWriter{ids: indexIDs{stamp, tree}, sets: map[string]bool{}}
	if from == nil {
		return w, nil
	}
	for n := range from.count() {
		a, b := binary.LittleEndian.Uint32(from.offsets[n*wordSize:]), binary.LittleEndian.Uint32(from.offsets[(n+1)*wordSize:])
		if a > b {
			return nil, errIndex
		}
		data := make([]byte, b-a)
		if _, err := from.file.ReadAt(data, from.start+int64(a)); err != nil {
			return nil, err
		}
		w.put(data)
	}
	w.keys, w.digests = pairsIn(from.keys), pairsIn(from.digests)
	for _, set := range from.sets {
		w.sets[set] = true
	}
	w.always, w.ofAny = numbersIn(from.always), numbersIn(from.ofAny)
	return w, nil
}

func numbersIn(data []byte) []uint32 {
	out := make([]uint32, 0, len(data)/wordSize)
	for at := 0; at < len(data); at += wordSize {
		out = append(out, binary.LittleEndian.Uint32(data[at:]))
	}
	return out
}

func wordsOf(numbers []uint32) []byte {
	out := make([]byte, 0, len(numbers)*wordSize)
	for _, n := range numbers {
		out = binary.LittleEndian.AppendUint32(out, n)
	}
	return out
}

func pairsIn(data []byte) []pair {
	out := make([]pair, 0, len(data)/pairSize)
	for at := 0; at < len(data); at += pairSize {
		out = append(out, pair{binary.LittleEndian.Uint64(data[at:]), binary.LittleEndian.Uint32(data[at+8:])})
	}
	return out
}

// Add puts a record of a ledger into the index, with the bytes of its file. A standing, if there is one, spares a second look at
// signatures that it found good.
func (w *IndexWriter) Add(l *Ledger, st *Standing, r *schema.Record, data []byte) {
	var c check
	if Sound(r) && (r.Signature.Set() || mustBeSigned(r)) {
		if st != nil && st.keys[r.Digest] != nil {
			c.key = st.keys[r.Digest]
		} else {
			c = l.check(r, "")
		}
	}
	w.add(r, data, c, false)
}

// AddAll puts records into the index that nobody looked at yet, with the bytes of their files, and checks the signatures of those that bear on
// more than a few conditions. Those of the others, which are most, are looked at by who asks for their conditions.
func (w *IndexWriter) AddAll(records []*schema.Record, data [][]byte) {
	l := NewLedger(records) // says which are not what their names say
	checks, later := make([]check, len(records)), make([]bool, len(records))
	schema.AtOnce(len(records), func(i int) error {
		if r := records[i]; Sound(r) && (r.Signature.Set() || mustBeSigned(r)) {
			keys := subjectsOf(r)
			later[i] = len(keys) > 0 && len(keys) <= fewSubjects &&
				!slices.ContainsFunc(keys, func(key SubjectKey) bool { return key.Kind != schema.SubjectCondition })
			if !later[i] {
				checks[i] = l.check(r, "")
			}
		}
		return nil
	})
	for i, r := range records {
		w.add(r, data[i], checks[i], later[i])
	}
}

func (w *IndexWriter) add(r *schema.Record, data []byte, c check, later bool) {
	n := uint32(len(w.ends))
	e := &Encoder{Data: make([]byte, 0, len(data)+500)}
	sound := Sound(r)
	e.Text(r.Path)
	e.Text(r.Kind)
	e.Text(string(r.Digest))
	common := r.Common
	if common == nil {
		common = &schema.Common{}
	}
	e.Text(common.Library.V)
	e.Text(common.At.V)
	e.Text(common.By.V)
	switch {
	case !sound:
		e.Number(isUnsound)
	case later:
		e.Number(isSoundUnchecked)
	default:
		e.Number(isSound)
	}
	e.Text(c.why)
	if c.key != nil {
		e.Bytes(c.key.Marshal())
	} else {
		e.Bytes(nil)
	}
	e.Number(len(common.Follows.V))
	for _, f := range common.Follows.V {
		e.Text(f)
	}
	keys := subjectsOf(r)
	prefix, subjects, suffix := data, [][]byte(nil), []byte(nil)
	if d, ok := r.Body.(*schema.Decision); ok && sound {
		if prefix, subjects, suffix = partsOf(r, data); len(subjects) != len(d.Subjects.V) {
			prefix, subjects, suffix = data, nil, nil
		}
	}
	always := !sound || r.Kind == schema.KindWithdrawal
	var within [][]byte
	var apart []int
	for i, key := range keys {
		always = always || !manifold(key)
		switch {
		case manifold(key) && len(subjects) > fewSubjects:
			apart = append(apart, i)
			continue
		case manifold(key):
			w.key(key, n)
		}
		if subjects != nil {
			within = append(within, subjects[i])
		}
	}
	w.bearsOn(r, n, len(apart) > 0)
	e.Number(len(keys))
	e.Bytes(prefix)
	e.Number(len(within))
	for _, subject := range within {
		e.Bytes(subject)
	}
	e.Bytes(suffix)
	w.entry(e)
	for _, i := range apart {
		part := &Encoder{}
		part.Text("")
		part.Text(kindPart)
		for range 4 {
			part.Text("")
		}
		part.Number(0)
		part.Text("")
		part.Text("")
		part.Number(0)
		part.Number(int(n))
		part.Bytes(subjects[i])
		w.key(keys[i], uint32(len(w.ends)))
		w.ofSets(keys[i:i+1], uint32(len(w.ends)))
		w.entry(part)
	}
	if always {
		w.always = append(w.always, n)
	}
	if r.Digest != "" {
		w.digests = append(w.digests, pair{beginning(string(r.Digest)), n})
	}
}

// key leads from a subject to an entry.
func (w *IndexWriter) key(key SubjectKey, n uint32) {
	w.keys = append(w.keys, pair{hashOf(key), n})
	if key.Kind == schema.SubjectMachine {
		w.ofAny = append(w.ofAny, n)
	}
}

// manifold reports whether a subject is one of many of its kind, so that an answer holds what was asked for.
func manifold(key SubjectKey) bool {
	return key.Kind == schema.SubjectCondition || key.Kind == schema.SubjectMachine
}

// fewSubjects stay in the entry of their decision. Of more, each condition and machine is an entry of its own: one is read as fast among
// a hundred thousand as alone.
const fewSubjects = 4

func (w *IndexWriter) entry(e *Encoder) {
	w.put(binary.LittleEndian.AppendUint32(e.Data, checksum(e.Data)))
}

// mostHeld is how many bytes of entries are held before they are put aside: an index of all that a large shop adopted has hundreds of MB.
const mostHeld = 16 << 20

func (w *IndexWriter) put(entry []byte) {
	w.held = append(w.held, entry...)
	w.end += uint64(len(entry))
	w.ends = append(w.ends, uint32(w.end))
	if len(w.held) < mostHeld || w.failed != nil {
		return
	}
	if w.aside == nil {
		if w.aside, w.failed = os.CreateTemp("", "fettle-index-"); w.failed != nil {
			return
		}
		os.Remove(w.aside.Name()) // where a file can be open without a name, nothing is left behind whatever ends this program
	}
	_, w.failed = w.aside.Write(w.held)
	w.held = w.held[:0]
}

// close lets go of the file aside.
func (w *IndexWriter) close() {
	if w.aside != nil {
		w.aside.Close()
		os.Remove(w.aside.Name())
	}
}

// partsOf cuts the file of a decision into its subjects and what stands around them.
func partsOf(r *schema.Record, data []byte) (prefix []byte, subjects [][]byte, suffix []byte) {
	spans := r.SubjectsAt()
	if len(spans) == 0 {
		return data, nil, nil
	}
	for _, at := range spans {
		subjects = append(subjects, data[at.Start:at.End])
	}
	return data[:spans[0].Start], subjects, data[spans[len(spans)-1].End:]
}

// Subjects are what a record bears on as far as a verdict goes.
func Subjects(r *schema.Record) []SubjectKey { return subjectsOf(r) }

func subjectsOf(r *schema.Record) []SubjectKey {
	condition := func(id string) []SubjectKey { return []SubjectKey{{schema.SubjectCondition, id}} }
	switch body := r.Body.(type) {
	case *schema.Decision:
		out := make([]SubjectKey, len(body.Subjects.V))
		for i, s := range body.Subjects.V {
			out[i] = SubjectKey{s.Kind.V, s.ID.V}
		}
		return out
	case *schema.Reason:
		out := make([]SubjectKey, len(body.Changes.V))
		for i, c := range body.Changes.V {
			out[i] = SubjectKey{c.Kind.Or(schema.SubjectCondition), c.ID.V}
		}
		return out
	case *schema.Trial:
		return condition(body.ID.V)
	case *schema.Waiver:
		return condition(body.ID.V)
	case *schema.Permit:
		return condition(body.ID.V)
	}
	return nil
}

// bearsOn adds the keys by which an entry is found beside the subjects that a verdict hangs on: what it is shown with, and the sets of all
// conditions that it is about, unless these are entries of their own.
func (w *IndexWriter) bearsOn(r *schema.Record, n uint32, apart bool) {
	shown := shownWith(r)
	for _, key := range shown {
		w.key(key, n)
	}
	if t, ok := r.Body.(*schema.Trial); ok {
		w.key(SubjectKey{trialsOfSet, ofSet(t.ID.V).ID}, n)
	}
	if !apart {
		w.ofSets(slices.Concat(subjectsOf(r), shown), n)
	}
}

// shownWith are the conditions that screens show causes, loads and escapes with, though no verdict hangs on these.
func shownWith(r *schema.Record) (shown []SubjectKey) {
	condition := func(id string) { shown = append(shown, SubjectKey{schema.SubjectCondition, id}) }
	switch body := r.Body.(type) {
	case *schema.Cause:
		condition(body.ID.V)
	case *schema.Load:
		for _, l := range body.Loaded.V {
			condition(l.ID.V)
		}
	case *schema.Escape:
		if len(body.IDs.V) == 0 {
			return []SubjectKey{EscapesOfAll}
		}
		for _, id := range body.IDs.V {
			condition(id)
		}
	}
	return shown
}

// Bears reports whether what [Index.Ledger] says of some subjects may be other where this record came to those that are there, and none of
// those names it.
func Bears(r *schema.Record, subjects map[SubjectKey]bool) bool {
	return !Sound(r) || r.Path != r.WantPath() || r.Kind == schema.KindWithdrawal ||
		slices.ContainsFunc(slices.Concat(subjectsOf(r), shownWith(r)), func(key SubjectKey) bool {
			return !manifold(key) || key.Kind == schema.SubjectMachine || subjects[key]
		})
}

// ofSets leads from the sets of conditions to an entry.
func (w *IndexWriter) ofSets(keys []SubjectKey, n uint32) {
	known := map[SubjectKey]bool{}
	for _, key := range keys {
		if set := ofSet(key.ID); key.Kind == schema.SubjectCondition && !known[set] {
			known[set], w.sets[set.ID] = true, true
			w.key(set, n)
		}
	}
}

// Keys of an [Index] that are no subjects.
const (
	trialsOfSet  = "trials of a set"
	recordsOfSet = "records of a set"
)

// OfSet asks an [Index] for all that is on record of any condition of a set, also of those that are gone.
func OfSet(machine, material, gas string) SubjectKey {
	return SubjectKey{recordsOfSet, machine + "/" + material + "/" + gas}
}

// ofSet is [OfSet] of a condition by its id as a record has it.
func ofSet(id string) SubjectKey {
	parts := strings.SplitN(id, "/", 4)
	return SubjectKey{recordsOfSet, strings.Join(parts[:min(3, len(parts))], "/")}
}

// EscapesOfAll asks an [Index] for escapes that name no condition, and so are of all that was loaded.
var EscapesOfAll = SubjectKey{"escapes of all that was loaded", ""}

// TrialsOfSet asks an [Index] for all trials of the set of a condition, which [Ledger.ProvenUnits] looks at.
func TrialsOfSet(id schema.ID) SubjectKey {
	return SubjectKey{trialsOfSet, id.Machine + "/" + id.Material + "/" + id.Gas}
}

// Write writes the index, once. Whoever opens it must find all of it or none: see git.Repo.Remember.
func (w *IndexWriter) Write(out io.Writer) error {
	directory := &Encoder{}
	directory.Text(w.ids.Stamp)
	directory.Text(w.ids.Tree)
	defer w.close()
	if w.failed != nil {
		return w.failed
	}
	if w.end > 1<<32-1 {
		return fmt.Errorf("%w: it would have %d bytes", errIndex, w.end)
	}
	directory.Bytes(wordsOf(slices.Concat([]uint32{0}, w.ends)))
	directory.Bytes(sortedPairs(w.keys))
	directory.Bytes(sortedPairs(w.digests))
	directory.Bytes(wordsOf(w.always))
	directory.Bytes(wordsOf(w.ofAny))
	directory.Texts(slices.Sorted(maps.Keys(w.sets)))
	head := append([]byte(indexMagic), make([]byte, 0, 8)...)
	head = binary.LittleEndian.AppendUint32(head, uint32(len(directory.Data)))
	head = binary.LittleEndian.AppendUint32(head, checksum(directory.Data))
	buffered := bufio.NewWriterSize(out, 1<<16)
	for _, part := range [][]byte{head, directory.Data} {
		if _, err := buffered.Write(part); err != nil {
			return err
		}
	}
	if w.aside != nil {
		if _, err := w.aside.Seek(0, io.SeekStart); err != nil {
			return err
		}
		if _, err := io.Copy(buffered, w.aside); err != nil {
			return err
		}
	}
	if _, err := buffered.Write(w.held); err != nil {
		return err
	}
	return buffered.Flush()
}

func sortedPairs(list []pair) []byte {
	slices.SortFunc(list, func(a, b pair) int {
		if a.hash != b.hash {
			if a.hash < b.hash {
				return -1
			}
			return 1
		}
		return int(a.entry) - int(b.entry)
	})
	out := make([]byte, 0, len(list)*pairSize)
	for _, p := range list {
		out = binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint64(out, p.hash), p.entry)
	}
	return out
}

// IndexStamp names the program that runs, so that an index that another version made is not used. Programs that were unpacked with the time of
// a release may have time and size in common: what they were built from tells them apart.
var IndexStamp = sync.OnceValue(func() string {
	var b strings.Builder
	if program, err := os.Executable(); err == nil {
		if info, err := os.Stat(program); err == nil {
			fmt.Fprintf(&b, "%s %d %d", program, info.Size(), info.ModTime().UnixNano())
		}
	}
	if info, ok := debug.ReadBuildInfo(); ok {
		b.WriteString(builtFrom(info))
	}
	return strings.TrimSpace(b.String())
})

// builtFrom is the version of a program, and the commit where Go noted it.
func builtFrom(info *debug.BuildInfo) string {
	out := " " + info.Main.Version + " " + info.Main.Sum
	for _, s := range info.Settings {
		if strings.HasPrefix(s.Key, "vcs.") {
			out += " " + s.Value
		}
	}
	return out
}
