package history_test

import (
	"crypto/ed25519"
	"crypto/sha256"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"fettle/history"
	"fettle/history/signature"
	"fettle/schema"
	"fettle/schema/quantity"
)

const (
	northgate = "7f3c1e9a5b2d48069c4ae1d07b86f25d"
	elsewhere = "00000000000000000000000000000001"
)

// A shop writes records the way the commands do, and judges them from their bytes.
type shop struct {
	t       testing.TB
	now     time.Time
	records []*schema.Record
	names   map[schema.Digest]string // what a test calls a content
	values  map[string]*schema.Values
}

func newShop(t testing.TB) *shop {
	return &shop{t: t, now: time.Date(2026, 7, 14, 9, 0, 0, 0, time.UTC), names: map[schema.Digest]string{"": "removed"}, values: map[string]*schema.Values{}}
}

// adopted is a shop where the named persons may decide and the first of them adopted a roster, settings and one condition.
func adopted(t testing.TB, approvals int, own string, names ...string) (*shop, *schema.Record) {
	s := newShop(t)
	return s, s.adopt(names[0], s.roster(names...), s.settings(approvals, own), s.cond("0.40 bar"))
}

func signer(name string) signature.Signer {
	seed := sha256.Sum256([]byte(name))
	return signature.NewSigner(ed25519.NewKeyFromSeed(seed[:]))
}

// line gives a key to a person. A name such as "Mara#2" stands for the second key of Mara; options may follow a blank.
func line(name string) string {
	name, options, _ := strings.Cut(name, " ")
	person, _, _ := strings.Cut(name, "#")
	text, err := signature.FormatLine(person, signer(name).PublicKey(), "")
	if err != nil {
		panic(err)
	}
	if options != "" {
		text = person + " " + options + strings.TrimPrefix(text, person)
	}
	return text
}

func roster(names ...string) *signature.Roster {
	text := ""
	for _, name := range names {
		text += line(name) + "\n"
	}
	r, problems := signature.ParseRoster("approvers", []byte(text))
	if len(problems) > 0 {
		panic(problems[0].String())
	}
	return r
}

func (s *shop) name(subject schema.Subject, name string) schema.Subject {
	s.names[schema.Digest(subject.Digest.V)] = name
	return subject
}

func (s *shop) roster(names ...string) schema.Subject {
	return s.name(history.RosterSubject(schema.SubjectRoster, roster(names...)), strings.Join(names, "+"))
}

func (s *shop) people(names ...string) schema.Subject {
	return s.name(history.RosterSubject(schema.SubjectPeople, roster(names...)), strings.Join(names, "+"))
}

func (s *shop) settings(approvals int, own string) schema.Subject {
	f := schema.ReadFile(schema.SettingsFile, fmt.Appendf(nil, `{"kind":"library","format":1,"id":%q,"name":"Northgate plate shop",
		"policy":{"approvals":%d,"own_change":%q}}`, northgate, approvals, own))
	return s.name(history.SettingsSubject(f.Value.(*schema.Settings)), fmt.Sprintf("%d %s", approvals, own))
}

const machineText = `{"kind":"machine","format":1,"name":"bay-2","revision":1,"laser":{"rated_power":%q,"wavelength":"1.07 um"},
	"head":{"nozzles":[{"form":"double","orifice":"1.2 mm"}],"focal_length":"200 mm"},"gas":{"oxygen":{"line_pressure":"6 bar"}}}`

func machine(text string, args ...any) *schema.Machine {
	f := schema.ReadFile("machines/bay-2.json", fmt.Appendf(nil, text, args...))
	if len(f.Problems) > 0 {
		panic(f.Problems[0].Message)
	}
	return f.Value.(*schema.Machine)
}

func (s *shop) machine(power string) schema.Subject {
	return s.name(history.MachineSubject(machine(machineText, power)), power)
}

const id6 = "bay-2/carbon-steel/oxygen/6mm"

// recipe makes the values of a condition of bay-2 in carbon steel with oxygen.
func recipe(thickness, pressure string) *schema.Values {
	v := &schema.Values{Machine: schema.Of("bay-2"), Material: schema.Of("carbon-steel"), Gas: schema.Of("oxygen")}
	v.Thickness = schema.Of(length(thickness))
	v.Nozzle = schema.Of(schema.Nozzle{Form: schema.Of("double"), Orifice: schema.Of(length("1.2 mm")), Standoff: schema.Of(length("1 mm"))})
	v.Cut = schema.Of(schema.Cut{Power: schema.Of(parsed[quantity.Power]("2.2 kW")), Speed: schema.Of(parsed[quantity.Speed]("2.9 m/min")),
		Pressure: schema.Of(parsed[quantity.Pressure](pressure)), Focus: schema.Of(length("3 mm"))})
	return v
}

func length(text string) quantity.Length { return parsed[quantity.Length](text) }

func parsed[T any](text string) T {
	var v T
	if err := any(&v).(quantity.Setter).Set(text); err != nil {
		panic(err)
	}
	return v
}

func subjectOf(v *schema.Values) schema.Subject {
	id, _ := v.ID()
	return schema.Subject{Kind: schema.Of(schema.SubjectCondition), ID: schema.Of(id.String()), Digest: schema.Of(string(v.Digest())), Values: schema.Of(schema.Encode(v))}
}

// cond is the 6 mm condition with a pressure, which is also its name in the tests.
func (s *shop) cond(pressure string) schema.Subject { return s.condOf("6 mm", pressure) }

func (s *shop) condOf(thickness, pressure string) schema.Subject {
	v := recipe(thickness, pressure)
	s.values[pressure] = v
	return s.name(subjectOf(v), pressure)
}

func removal() schema.Subject {
	id, err := schema.ParseID(id6)
	if err != nil {
		panic(err)
	}
	return history.RemovalSubject(id)
}

// A how changes a record before it is signed.
type how func(*draft)

type draft struct {
	common   *schema.Common
	decision *schema.Decision
	key      signature.Signer // nil leaves it unsigned
	sign     func(message []byte) string
}

func follow(records ...*schema.Record) how {
	return func(d *draft) {
		var digests []string
		for _, r := range records {
			digests = append(digests, string(r.Digest))
		}
		if len(digests) > 0 {
			d.common.Follows = schema.Of(digests)
		}
	}
}

func keeps(records ...*schema.Record) how {
	return func(d *draft) {
		var digests []string
		for _, r := range records {
			digests = append(digests, string(r.Digest))
		}
		d.decision.Keeps = schema.Of(digests)
	}
}

func keyOf(name string) how { return func(d *draft) { d.key = signer(name) } }
func unsigned(d *draft)     { d.key = nil }

// forged signs another message.
func forged(d *draft) {
	key := d.key
	d.sign = func([]byte) string { text, _ := key.Sign([]byte("another")); return text }
}

func of(library string) how { return func(d *draft) { d.common.Library = schema.Of(library) } }
func at(t time.Time) how    { return func(d *draft) { d.common.At = schema.Of(t.Format(time.RFC3339)) } }

// write makes a record of a body, signs it unless told not to, and adds it to the shop.
func (s *shop) write(body schema.Body, common *schema.Common, kind, by string, how ...how) *schema.Record {
	s.t.Helper()
	s.now = s.now.Add(time.Minute)
	common.Kind, common.Format, common.Library, common.At, common.By = schema.Of(kind), schema.Of(1), schema.Of(northgate), schema.Of(s.now.Format(time.RFC3339)), schema.Of(by)
	d := &draft{common: common, key: signer(by)}
	d.decision, _ = body.(*schema.Decision)
	for _, h := range how {
		h(d)
	}
	r := schema.NewRecord(body)
	switch {
	case d.sign != nil:
		common.Signature = schema.Of(d.sign(r.Message))
	case d.key != nil:
		armored, err := d.key.Sign(r.Message)
		if err != nil {
			s.t.Fatal(err)
		}
		common.Signature = schema.Of(armored)
	}
	r = schema.NewRecord(body)
	s.records = append(s.records, r)
	return r
}

func (s *shop) decide(kind, by string, subjects []schema.Subject, how ...how) *schema.Record {
	s.t.Helper()
	d := &schema.Decision{Subjects: schema.Of(subjects)}
	return s.write(d, &d.Common, kind, by, how...)
}

func (s *shop) adopt(by string, subjects ...schema.Subject) *schema.Record {
	s.t.Helper()
	return s.decide(schema.KindAdoption, by, subjects)
}

func (s *shop) approve(by string, subject schema.Subject, how ...how) *schema.Record {
	s.t.Helper()
	return s.decide(schema.KindApproval, by, []schema.Subject{subject}, how...)
}

func (s *shop) reject(by string, subject schema.Subject, how ...how) *schema.Record {
	s.t.Helper()
	return s.decide(schema.KindRejection, by, []schema.Subject{subject}, how...)
}

func (s *shop) withdraw(by string, target *schema.Record, how ...how) *schema.Record {
	s.t.Helper()
	w := &schema.Withdrawal{Record: schema.Of(string(target.Digest))}
	return s.write(w, &w.Common, schema.KindWithdrawal, by, how...)
}

// reason explains changes given as pairs of names of contents; "" is none.
func (s *shop) reason(by, id string, steps [][2]string, opts ...how) *schema.Record {
	s.t.Helper()
	digest := func(name string) schema.Member[string] {
		if name == "" {
			return schema.Of("")
		}
		for d, n := range s.names {
			if n == name {
				return schema.Of(string(d))
			}
		}
		s.t.Fatalf("no content is called %q", name)
		return schema.Member[string]{}
	}
	r := &schema.Reason{Cause: schema.Of("trial-result")}
	var changes []schema.Change
	for _, step := range steps {
		c := schema.Change{ID: schema.Of(id), From: digest(step[0]), To: digest(step[1])}
		if id == schema.SubjectSettings {
			c.Kind = schema.Of(schema.SubjectSettings)
		}
		changes = append(changes, c)
	}
	r.Changes = schema.Of(changes)
	return s.write(r, &r.Common, schema.KindReason, by, append([]how{unsigned}, opts...)...)
}

// A memory is a snapshot in memory.
type memory map[string][]byte

func (m memory) Files() []string { return slices.Collect(maps.Keys(m)) }

func (m memory) Read(path string) ([]byte, error) {
	if data, ok := m[path]; ok {
		return data, nil
	}
	return nil, fs.ErrNotExist
}

func (s *shop) files() memory {
	m := memory{}
	for _, r := range s.records {
		m[r.Path] = r.Bytes()
	}
	return m
}

// saidOf is all that hangs on signatures and on the values that decisions and trials keep.
func saidOf(l *history.Ledger, library string) string {
	var b strings.Builder
	st := l.Judge(library, "")
	fmt.Fprintln(&b, st.Trouble, st.Anchor != nil && l.Get(st.Anchor.Digest) == st.Anchor)
	for _, r := range l.Records {
		fmt.Fprintln(&b, r.Path, r.Kind, r.Digest, r.Problems, st.Refused[r.Digest], st.Withdrawn[r.Digest] != nil, history.Subjects(r))
		if r.Body == nil {
			continue
		}
		fmt.Fprintln(&b, r.At, r.By, r.Text, r.Unit, r.Follows, r.Library, r.Signature.At, l.SignedBy(r) != nil || st.Refused[r.Digest] != "")
		switch body := r.Body.(type) {
		case *schema.Decision:
			for _, s := range body.Subjects.V {
				fmt.Fprintln(&b, s.Kind, s.ID, s.Digest, s.Values.At, s.MachineValues, s.Known)
				if v := history.ValuesOf(&history.Decision{Subject: &s}); v != nil {
					fmt.Fprintln(&b, v.Digest(), string(schema.Layout(schema.Encode(v))))
				}
				for _, d := range st.State(s.Kind.V, s.ID.V).Once(schema.Digest(s.Digest.V)) {
					fmt.Fprintln(&b, d.Person, d.Own)
				}
			}
		default:
			kept := r.Signature
			r.Signature = schema.Member[string]{} // not kept of every record
			fmt.Fprintln(&b, string(schema.Layout(schema.Encode(r.Body))))
			r.Signature = kept
		}
	}
	return b.String()
}

func readLedger(t testing.TB, src schema.Source) *history.Ledger {
	t.Helper()
	l, err := history.ReadLedger(src)
	if err != nil {
		t.Fatal(err)
	}
	if _, ok := t.(*testing.T); ok {
		spare, err := history.ReadLedgerSparing(src)
		if err != nil {
			t.Fatal(err)
		}
		for _, library := range []string{northgate, elsewhere, ""} {
			if got, want := saidOf(spare, library), saidOf(l, library); got != want {
				t.Errorf("records read sparingly, library %q\n%s\nall of them\n%s", library, got, want)
			}
		}
	}
	return l
}

func (s *shop) ledger() *history.Ledger { return readLedger(s.t, s.files()) }

func (s *shop) judge() *history.Standing {
	s.t.Helper()
	l := s.ledger()
	for _, r := range l.Records {
		if !history.Sound(r) {
			s.t.Fatalf("%s: %v", r.Path, r.Problems)
		}
	}
	return l.Judge(northgate, "")
}

// says writes a state down for comparison: what is in force by whom, what contradicts each other, what waits.
func (s *shop) says(state *history.State) string {
	if state == nil {
		return "undecided"
	}
	name := func(d *history.Decision) string {
		what := s.names[d.Digest()]
		if d.Record.Kind == schema.KindRejection {
			what = "not " + what
		}
		return what + " by " + d.Person
	}
	list := func(decisions []*history.Decision) string {
		var out []string
		for _, d := range decisions {
			out = append(out, name(d))
		}
		slices.Sort(out)
		return strings.Join(out, ", ")
	}
	out := "nothing"
	switch {
	case len(state.Contested) > 0:
		out = "contested: " + list(state.Contested)
	case len(state.InForce) > 0:
		out = list(state.InForce)
	}
	if len(state.Pending) > 0 {
		out += "; waits: " + list(state.Pending)
	}
	return out
}

func (s *shop) want(standing *history.Standing, kind, id, want string) {
	s.t.Helper()
	if got := s.says(standing.State(kind, id)); got != want {
		s.t.Errorf("%s %s: %s; want %s", kind, id, got, want)
		for _, r := range s.records {
			if why := standing.Refused[r.Digest]; why != "" {
				s.t.Logf("refused %s by %s: %s", r.Kind, r.By.V, why)
			}
		}
	}
}

func (s *shop) wantCond(standing *history.Standing, want string) {
	s.t.Helper()
	s.want(standing, schema.SubjectCondition, id6, want)
}

func (s *shop) wantRoster(standing *history.Standing, want string) {
	s.t.Helper()
	s.want(standing, schema.SubjectRoster, schema.SubjectRoster, want)
}

func (s *shop) wantSettings(standing *history.Standing, want string) {
	s.t.Helper()
	s.want(standing, schema.SubjectSettings, schema.SubjectSettings, want)
}

func (s *shop) wantRefused(standing *history.Standing, r *schema.Record, part string) {
	s.t.Helper()
	switch why := standing.Refused[r.Digest]; {
	case part == "" && why != "":
		s.t.Errorf("%s by %s is refused: %s", r.Kind, r.By.V, why)
	case part != "" && !strings.Contains(why, part):
		s.t.Errorf("%s by %s is refused with %q; want %q in it", r.Kind, r.By.V, why, part)
	}
}
