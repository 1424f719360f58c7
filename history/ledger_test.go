package history_test

import (
	"errors"
	"io/fs"
	"slices"
	"strings"
	"testing"

	"fettle/history"
	"fettle/schema"
)

func TestReadLedger(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara")
	b := s.approve("Mara", s.cond("0.46 bar"), follow(a))
	m := s.files()
	m["records/.gitkeep"] = nil
	m["records/2026/07/notes.txt"] = []byte("call the gas supplier")
	m["records/2026/07/20260714T091205Z-approval-3f9a0c1b2d4e.json"] = []byte(`{"kind":"machine","format":1}`)
	m["sets/bay-2/carbon-steel-oxygen.json"] = []byte(`{}`)
	l := readLedger(t, m)
	var sound, odd []string
	for _, r := range l.Records {
		if history.Sound(r) {
			sound = append(sound, r.Path)
		} else {
			odd = append(odd, r.Path)
			if r.Problems[0].Message == "" {
				t.Errorf("%s: nothing says what is wrong", r.Path)
			}
		}
	}
	if want := []string{a.Path, b.Path}; !slices.Equal(sound, want) {
		t.Errorf("sound %v, want %v", sound, want)
	}
	if len(odd) != 2 || slices.Contains(odd, "records/.gitkeep") {
		t.Errorf("odd: %v", odd)
	}
	if l.Get(b.Digest) == nil || l.Get("") != nil {
		t.Error("Get finds what is there and nothing else")
	}
}

type unreadable struct{ memory }

func (unreadable) Read(path string) ([]byte, error) { return nil, fs.ErrPermission }

func TestReadLedgerThatCannotBeRead(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara")
	_, err := history.ReadLedger(unreadable{s.files()})
	if !errors.Is(err, fs.ErrPermission) || !strings.Contains(err.Error(), a.Path) {
		t.Errorf("error %v; want one that names %s", err, a.Path)
	}
}

// A ledger made twice of the same records says what is wrong with them once.
func TestNewLedgerTwice(t *testing.T) {
	s, _ := adopted(t, 1, "allow", "Mara")
	r := s.records[0]
	moved := schema.ReadRecord("records/2026/07/20260714T090000Z-adoption-000000000000.json", r.Bytes())
	history.NewLedger([]*schema.Record{moved})
	l := history.NewLedger([]*schema.Record{moved})
	if len(moved.Problems) != 1 || moved.Problems[0].Rule != history.RuleRecordAltered || !strings.Contains(moved.Problems[0].Message, r.Path) {
		t.Errorf("problems: %v", moved.Problems)
	}
	if l.Get(r.Digest) != nil {
		t.Error("a record under another name counts")
	}
}

func TestFind(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara")
	for _, typed := range []string{string(a.Digest), a.Digest.Short(), string(a.Digest[:4]), a.Path, a.Path[strings.LastIndex(a.Path, "/")+1:]} {
		if r, err := s.ledger().Find(typed); err != nil || r.Digest != a.Digest {
			t.Errorf("%q: %v, %v", typed, r, err)
		}
	}
	for typed, part := range map[string]string{"": "4 or more", "abc": "4 or more", "wxyz": "4 or more", strings.Repeat("0", 64): "there is no record"} {
		if _, err := s.ledger().Find(typed); err == nil || !strings.Contains(err.Error(), part) {
			t.Errorf("%q: %v, want %q", typed, err, part)
		}
	}
}

func TestFindWhereSeveralFit(t *testing.T) {
	s := newShop(t)
	first := map[string]bool{}
	for i := 0; ; i++ { // until two digests share their first four digits
		r := s.reason("Mara", id6, nil)
		if prefix := string(r.Digest[:4]); first[prefix] {
			_, err := s.ledger().Find(prefix)
			if err == nil || !strings.Contains(err.Error(), "2 records begin with") {
				t.Errorf("%v", err)
			}
			return
		} else {
			first[prefix] = true
		}
		if i > 5000 {
			t.Fatal("no two digests share four digits")
		}
	}
}
