package history_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fettle/history"
	"fettle/schema"
)

// indexed makes an index of records and opens it.
// indexed makes an index, of records that somebody has looked at or, raw, of those that nobody has.
func indexed(t testing.TB, file string, raw bool, records []*schema.Record) *history.Index {
	t.Helper()
	w, err := history.NewIndexWriter("test", "tree", nil)
	if err != nil {
		t.Fatal(err)
	}
	ledger := history.NewLedger(records)
	if raw {
		data := make([][]byte, len(records))
		for i, r := range records {
			data[i] = r.Bytes()
		}
		w.AddAll(records, data)
	} else {
		for _, r := range ledger.Records {
			w.Add(ledger, nil, r, r.Bytes())
		}
	}
	if err := writeIndex(file, w); err != nil {
		t.Fatal(err)
	}
	x, err := history.OpenIndex(file, "test")
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func condition(id string) history.SubjectKey {
	return history.SubjectKey{Kind: schema.SubjectCondition, ID: id}
}

const (
	id8  = "bay-2/carbon-steel/oxygen/8mm"
	id10 = "bay-2/carbon-steel/oxygen/10mm"
)

// randomYears draws the records of a shop with three conditions, decisions on all kinds of subjects, reasons, trials and withdrawals,
// each in sight of any earlier ones.
func randomYears(t *rapid.T, s *shop, most int) {
	thickness := map[string]string{id6: "6 mm", id8: "8 mm", id10: "10 mm"}
	ids := []string{id6, id8, id10}
	persons := slices.Concat(crew, outsiders)
	for i := range rapid.IntRange(0, most).Draw(t, "records") {
		by := rapid.SampledFrom(persons).Draw(t, "by")
		var behind []*schema.Record
		for _, r := range s.records {
			if rapid.IntRange(0, 2).Draw(t, fmt.Sprint("follows ", i)) == 0 {
				behind = append(behind, r)
			}
		}
		id := rapid.SampledFrom(ids).Draw(t, "id")
		content := s.condOf(thickness[id], rapid.SampledFrom(pressures).Draw(t, "pressure"))
		switch rapid.IntRange(0, 10).Draw(t, "kind") {
		case 10:
			s.decide(schema.KindApproval, by, []schema.Subject{s.cond("0.46 bar"), s.condOf("8 mm", "0.46 bar")}, follow(behind...))
		case 0:
			s.reject(by, content, follow(behind...))
		case 1:
			s.withdraw(by, s.records[rapid.IntRange(0, len(s.records)-1).Draw(t, "target")])
		case 2:
			s.approve(by, s.machine(rapid.SampledFrom([]string{"6 kW", "8 kW"}).Draw(t, "power")), follow(behind...))
		case 3:
			s.approve(by, s.settings(rapid.IntRange(1, 3).Draw(t, "approvals"), rapid.SampledFrom([]string{"allow", "refuse"}).Draw(t, "own")), follow(behind...))
		case 4:
			names := rapid.SliceOfNDistinct(rapid.SampledFrom(persons), 1, 4, rapid.ID[string]).Draw(t, "names")
			slices.Sort(names)
			s.approve(by, s.roster(names...), follow(behind...))
		case 5, 6:
			from := s.condOf(thickness[id], rapid.SampledFrom(pressures).Draw(t, "from"))
			if from.Digest.V != content.Digest.V {
				r := &schema.Reason{Cause: schema.Of("trial-result"), Changes: schema.Of([]schema.Change{{ID: schema.Of(id), From: from.Digest, To: content.Digest}})}
				how := unsigned
				if rapid.Bool().Draw(t, "signed") {
					how = func(*draft) {}
				}
				s.write(r, &r.Common, schema.KindReason, by, how, follow(behind...))
			}
		default:
			signed := func(*draft) {}
			switch rapid.IntRange(0, 7).Draw(t, "signed") {
			case 0:
				signed = unsigned
			case 1:
				signed = forged
			}
			s.approve(by, content, follow(behind...), signed)
		}
	}
}

// stands writes down what a standing says of some conditions and machines, and of roster and settings.
func (s *shop) stands(l *history.Ledger, st *history.Standing, ids []string) string {
	var b strings.Builder
	keys := [][2]string{{schema.SubjectRoster, schema.SubjectRoster}, {schema.SubjectSettings, schema.SubjectSettings}}
	for _, id := range ids {
		kind := schema.SubjectCondition
		if !strings.Contains(id, "/") {
			kind = schema.SubjectMachine
		}
		keys = append(keys, [2]string{kind, id})
	}
	for _, k := range keys {
		state := st.State(k[0], k[1])
		var heads []string
		if state != nil {
			for _, h := range state.Heads {
				heads = append(heads, h.Record.Digest.Short())
			}
		}
		fmt.Fprintln(&b, k[1], s.says(state), heads)
		for _, e := range l.Edges(k[0], k[1]) {
			fmt.Fprintln(&b, "  reason", e.Record.Digest.Short(), e.From.Short(), e.To.Short())
		}
	}
	for _, r := range s.records {
		d, ok := r.Body.(*schema.Decision)
		if !ok || among(d, ids) && len(d.Subjects.V) == 1 {
			if _, isReason := r.Body.(*schema.Reason); !isReason && !s.takesBackAnother(r, ids) {
				fmt.Fprintln(&b, r.Kind, r.Digest.Short(), st.Refused[r.Digest], st.Withdrawn[r.Digest] != nil)
			}
		}
	}
	fmt.Fprintln(&b, st.Roster.Principals(), st.Settings.Policy.V.ApprovalsNeeded(), st.Settings.Policy.V.OwnChangeAllowed(), st.Trouble)
	return b.String()
}

// among reports whether a decision is about something of which an index says what is in force.
func among(d *schema.Decision, ids []string) bool {
	return slices.ContainsFunc(d.Subjects.V, func(sub schema.Subject) bool {
		return sub.Kind.V != schema.SubjectCondition && sub.Kind.V != schema.SubjectMachine || slices.Contains(ids, sub.ID.V)
	})
}

// takesBackAnother reports whether a record takes back a decision on nothing but conditions and machines that were not asked for: an index
// does not say whether that counts.
func (s *shop) takesBackAnother(r *schema.Record, ids []string) bool {
	w, ok := r.Body.(*schema.Withdrawal)
	if !ok {
		return false
	}
	for _, target := range s.records {
		if d, ok := target.Body.(*schema.Decision); ok && string(target.Digest) == w.Record.V {
			return !among(d, ids)
		}
	}
	return false
}

// Of the subjects asked for an index says what all records say, wherever the line between old and new records runs.
func TestIndexSaysWhatAllRecordsSay(t *testing.T) {
	file := filepath.Join(t.TempDir(), "index")
	rapid.Check(t, func(rt *rapid.T) {
		s := newShop(t)
		first := []schema.Subject{s.roster(crew...), s.settings(rapid.IntRange(1, 2).Draw(rt, "approvals"), rapid.SampledFrom([]string{"allow", "refuse"}).Draw(rt, "own")),
			s.machine("6 kW"), s.cond("0.40 bar"), s.condOf("8 mm", "0.40 bar"), s.condOf("10 mm", "0.40 bar")} // enough to be kept apart
		s.adopt(crew[0], first...)
		randomYears(rt, s, 14)
		all := s.ledger()
		ids := rapid.SliceOfNDistinct(rapid.SampledFrom([]string{id6, id8, id10}), 1, 3, rapid.ID[string]).Draw(rt, "ids")
		machine, machines := rapid.Bool().Draw(rt, "machine"), rapid.Bool().Draw(rt, "machines")
		everything := len(ids) == 3 && (machine || machines)
		if machine || machines {
			ids = append(ids, "bay-2")
		}
		want := s.stands(all, all.Judge(northgate, ""), ids)
		cut := rapid.IntRange(0, len(s.records)).Draw(rt, "cut")
		x := indexed(t, file, rapid.Bool().Draw(rt, "raw"), s.records[:cut])
		defer x.Close()
		var keys []history.SubjectKey
		for _, id := range ids {
			if strings.Contains(id, "/") {
				keys = append(keys, condition(id))
			} else if machine {
				keys = append(keys, history.SubjectKey{Kind: schema.SubjectMachine, ID: id})
			}
		}
		ask := x.LedgerOf
		if machines {
			ask = x.Ledger
		}
		part, err := ask(keys, s.records[cut:])
		if err != nil {
			if several := func(r *schema.Record) bool {
				w, ok := r.Body.(*schema.Withdrawal)
				if !ok {
					return false
				}
				d, ok := all.Get(schema.Digest(w.Record.V)).Body.(*schema.Decision)
				return ok && len(d.Subjects.V) > 1
			}; errors.Is(err, history.ErrOtherSubjects) && !everything && slices.ContainsFunc(s.records, several) {
				return
			}
			rt.Fatal(err)
		}
		if got := s.stands(part, part.Judge(northgate, ""), ids); got != want {
			rt.Fatalf("of %v from %d of %d records:\n%s\ninstead of\n%s", ids, cut, len(s.records), got, want)
		}
	})
}

// What is near a condition says of it what all records say, at any time.
func TestNearSaysWhatAllRecordsSay(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := newShop(t)
		s.adopt(crew[0], s.roster(crew...), s.settings(rapid.IntRange(1, 2).Draw(rt, "approvals"), rapid.SampledFrom([]string{"allow", "refuse"}).Draw(rt, "own")),
			s.machine("6 kW"), s.cond("0.40 bar"), s.condOf("8 mm", "0.40 bar"), s.condOf("10 mm", "0.40 bar"))
		randomYears(rt, s, 14)
		all, ids := s.ledger(), []string{rapid.SampledFrom([]string{id6, id8, id10}).Draw(rt, "id"), "bay-2"}
		near := all.Near(condition(ids[0]))
		if got, want := s.stands(near, near.Judge(northgate, ""), ids), s.stands(all, all.Judge(northgate, ""), ids); got != want {
			rt.Fatalf("near %s:\n%s\ninstead of\n%s", ids[0], got, want)
		}
		then := s.records[rapid.IntRange(0, len(s.records)-1).Draw(rt, "then")].Time()
		until := func(l *history.Ledger) *history.Standing {
			return l.Of(slices.DeleteFunc(slices.Clone(l.Records), func(r *schema.Record) bool { return r.Time().After(then) })).Judge(northgate, "")
		}
		got, want := until(near).State(schema.SubjectCondition, ids[0]), until(all).State(schema.SubjectCondition, ids[0])
		if s.says(got) != s.says(want) {
			rt.Fatalf("near %s at %s:\n%s\ninstead of\n%s", ids[0], then, s.says(got), s.says(want))
		}
	})
}

// An index that more records were added to is one made of them all.
func TestIndexGrows(t *testing.T) {
	s, _ := adopted(t, 1, "allow", crew...)
	s.approve(crew[1], s.cond("0.46 bar"), follow(s.records...))
	dir := t.TempDir()
	x := indexed(t, filepath.Join(dir, "a"), false, s.records)
	s.approve(crew[2], s.cond("0.50 bar"), follow(s.records...))
	w, err := history.NewIndexWriter("test", "later", x)
	if err != nil {
		t.Fatal(err)
	}
	last := s.records[len(s.records)-1]
	w.Add(history.NewLedger(s.records), nil, last, last.Bytes())
	if err := writeIndex(filepath.Join(dir, "b"), w); err != nil {
		t.Fatal(err)
	}
	x.Close()
	y, err := history.OpenIndex(filepath.Join(dir, "b"), "test")
	if err != nil {
		t.Fatal(err)
	}
	defer y.Close()
	l, err := y.Ledger([]history.SubjectKey{condition(id6)}, nil)
	if err != nil || y.Tree() != "later" {
		t.Fatal(err, y.Tree())
	}
	s.wantCond(l.Judge(northgate, ""), "0.50 bar by "+crew[2])
}

// Whatever happens to its bytes, an index gives what it gave before or nothing.
func TestDamagedIndexGivesNothingElse(t *testing.T) {
	s, _ := adopted(t, 1, "allow", crew...)
	s.approve(crew[1], s.cond("0.46 bar"), follow(s.records...))
	s.reason("Mara", id6, [][2]string{{"0.40 bar", "0.46 bar"}})
	dir := t.TempDir()
	whole := filepath.Join(dir, "whole")
	x := indexed(t, whole, false, s.records)
	keys := []history.SubjectKey{condition(id6)}
	says := func(x *history.Index) (string, error) {
		l, err := x.Ledger(keys, nil)
		if err != nil {
			return "", err
		}
		return s.stands(l, l.Judge(northgate, ""), []string{id6}), nil
	}
	want, err := says(x)
	if err != nil {
		t.Fatal(err)
	}
	x.Close()
	good, err := os.ReadFile(whole)
	if err != nil {
		t.Fatal(err)
	}
	try := func(data []byte) {
		file := filepath.Join(dir, "damaged")
		if err := os.WriteFile(file, data, 0o666); err != nil {
			t.Fatal(err)
		}
		x, err := history.OpenIndex(file, "test")
		if err != nil {
			return
		}
		defer x.Close()
		if got, err := says(x); err == nil && got != want {
			t.Fatalf("a damaged index says\n%s\ninstead of\n%s", got, want)
		}
	}
	for i := range good {
		data := bytes.Clone(good)
		data[i] ^= 1 << (i % 8)
		try(data)
	}
	for n := 0; n < len(good); n += 7 {
		try(good[:n])
	}
	if _, err := history.OpenIndex(whole, "another program"); err == nil {
		t.Error("the index of another program was opened")
	}
}

func writeIndex(file string, w *history.IndexWriter) error {
	out, err := os.Create(file)
	if err != nil {
		return err
	}
	return errors.Join(w.Write(out), out.Close())
}
