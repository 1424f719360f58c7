package history_test

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/pem"
	"strings"
	"testing"

	"github.com/hiddeco/sshsig"
	"golang.org/x/crypto/ssh"

	"fettle/history"
	"fettle/schema"
)

func TestDecisionsThatCountForNothing(t *testing.T) {
	forms := []struct {
		name, why string
		make      func(s *shop, a *schema.Record) *schema.Record
	}{
		{"not signed", "not signed", func(s *shop, a *schema.Record) *schema.Record {
			return s.approve("Mara", s.cond("0.60 bar"), follow(a), unsigned)
		}},
		{"by somebody outside the roster", "is not in it", func(s *shop, a *schema.Record) *schema.Record {
			return s.approve("Ove", s.cond("0.60 bar"), follow(a))
		}},
		{"in another's name", "it says it is by Jonas and is signed by Mara", func(s *shop, a *schema.Record) *schema.Record {
			return s.approve("Jonas", s.cond("0.60 bar"), follow(a), keyOf("Mara"))
		}},
		{"in a member's name by an outside key", "is not in it", func(s *shop, a *schema.Record) *schema.Record {
			return s.approve("Mara", s.cond("0.60 bar"), follow(a), keyOf("Ove"))
		}},
		{"of another library", "another library", func(s *shop, a *schema.Record) *schema.Record {
			return s.approve("Mara", s.cond("0.60 bar"), follow(a), of(elsewhere))
		}},
		{"signed for another purpose", "made for another purpose", func(s *shop, a *schema.Record) *schema.Record {
			return s.approve("Mara", s.cond("0.60 bar"), follow(a), func(d *draft) { d.sign = signedFor("git") })
		}},
		{"with the signature of another record", "does not belong to this text", func(s *shop, a *schema.Record) *schema.Record {
			good := s.approve("Mara", s.cond("0.40 bar"), follow(a))
			s.records = s.records[:len(s.records)-1]
			return s.approve("Mara", s.cond("0.60 bar"), follow(a), func(d *draft) { d.sign = func([]byte) string { return good.Signature.V } })
		}},
		{"with values of another recipe than its digest says", "do not fit its digest", func(s *shop, a *schema.Record) *schema.Record {
			subject := s.cond("0.60 bar")
			subject.Values = schema.Of(schema.Encode(recipe("6 mm", "35 bar")))
			return s.approve("Mara", subject, follow(a))
		}},
		{"filed under another id", "it is filed under " + id6, func(s *shop, a *schema.Record) *schema.Record {
			subject := s.condOf("8 mm", "0.60 bar")
			subject.ID = schema.Of(id6)
			return s.approve("Mara", subject, follow(a))
		}},
		{"without values", "are missing", func(s *shop, a *schema.Record) *schema.Record {
			subject := s.cond("0.60 bar")
			subject.Values = schema.Member[*schema.Node]{}
			return s.approve("Mara", subject, follow(a))
		}},
		{"a removal with values", "carries values", func(s *shop, a *schema.Record) *schema.Record {
			subject := s.cond("0.60 bar")
			subject.Digest = schema.Of("")
			return s.approve("Mara", subject, follow(a))
		}},
		{"of one condition twice", "decides on " + id6 + " twice", func(s *shop, a *schema.Record) *schema.Record {
			return s.decide(schema.KindApproval, "Mara", []schema.Subject{s.cond("0.40 bar"), s.cond("0.60 bar")}, follow(a))
		}},
	}
	for _, f := range forms {
		t.Run(f.name, func(t *testing.T) {
			s, a := adopted(t, 1, "allow", "Mara", "Jonas")
			r := f.make(s, a)
			st := s.judge()
			s.wantCond(st, "0.40 bar by Mara")
			s.wantRefused(st, r, f.why)
		})
	}
}

// signedFor signs as ssh-keygen -Y sign -n NAMESPACE does, with Mara's key.
func signedFor(namespace string) func([]byte) string {
	return func(message []byte) string {
		seed := sha256.Sum256([]byte("Mara"))
		key, err := ssh.NewSignerFromKey(ed25519.NewKeyFromSeed(seed[:]))
		if err != nil {
			panic(err)
		}
		sig, err := sshsig.Sign(bytes.NewReader(message), key, sshsig.HashSHA512, namespace)
		if err != nil {
			panic(err)
		}
		return string(pem.EncodeToMemory(&pem.Block{Type: "SSH SIGNATURE", Bytes: sig.Marshal()}))
	}
}

// A signature of fettle made by that same function counts: the cases above fail for their own reason alone.
func TestSignatureForFettle(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara")
	r := s.approve("Mara", s.cond("0.46 bar"), follow(a), func(d *draft) { d.sign = signedFor("fettle") })
	st := s.judge()
	s.wantCond(st, "0.46 bar by Mara")
	s.wantRefused(st, r, "")
}

// What happens to the file of a good approval of 0.60 bar that is no longer wanted.
func TestReplayedFile(t *testing.T) {
	base := func(t *testing.T) (*shop, memory, *schema.Record) {
		s, a := adopted(t, 1, "allow", "Mara")
		b := s.approve("Mara", s.cond("0.60 bar"), follow(a))
		s.approve("Mara", s.cond("0.46 bar"), follow(b))
		return s, s.files(), b
	}
	edits := map[string]func(m memory, b *schema.Record){
		"copied to a newer name": func(m memory, b *schema.Record) {
			m[strings.Replace(b.Path, "T09", "T21", 1)] = b.Bytes()
		},
		"with follows taken out": func(m memory, b *schema.Record) {
			m[b.Path] = []byte(strings.Replace(string(b.Bytes()), `"follows"`, `"trials"`, 1))
		},
		"with another value in it": func(m memory, b *schema.Record) {
			m[b.Path] = []byte(strings.Replace(string(b.Bytes()), "0.60 bar", "0.61 bar", 1))
		},
		"with an unknown member": func(m memory, b *schema.Record) {
			m[b.Path] = []byte(strings.Replace(string(b.Bytes()), `"format": 1,`, `"format": 1, "extra": 1,`, 1))
		},
		"with a member twice": func(m memory, b *schema.Record) {
			m[b.Path] = []byte(strings.Replace(string(b.Bytes()), `"format": 1,`, `"format": 1, "format": 1,`, 1))
		},
	}
	for name, edit := range edits {
		t.Run(name, func(t *testing.T) {
			s, m, b := base(t)
			edit(m, b)
			l := readLedger(t, m)
			bad := 0
			for _, r := range l.Records {
				if !history.Sound(r) {
					bad++
				}
			}
			if bad != 1 {
				t.Errorf("%d records are found unsound, want 1", bad)
			}
			st := l.Judge(northgate, "")
			if got := s.says(st.State(schema.SubjectCondition, id6)); strings.Contains(got, "0.6") {
				t.Errorf("in force: %s", got)
			}
		})
	}
	t.Run("laid out anew", func(t *testing.T) { // the signature is over the canonical form, so a formatter does no harm
		s, m, b := base(t)
		m[b.Path] = bytes.ReplaceAll(b.Bytes(), []byte("\n"), []byte("\n   "))
		s.wantCond(readLedger(t, m).Judge(northgate, ""), "0.46 bar by Mara")
	})
	t.Run("signed anew under its name", func(t *testing.T) { // the name covers all but the signature
		s, m, b := base(t)
		d := *b.Body.(*schema.Decision)
		d.Signature = schema.Of(signedFor("fettle")(append(bytes.Clone(b.Message), ' ')))
		m[b.Path] = schema.NewRecord(&d).Bytes()
		st := readLedger(t, m).Judge(northgate, "")
		s.wantCond(st, "0.46 bar by Mara")
		if st.Refused[b.Digest] == "" {
			t.Error("a bad signature is not refused")
		}
	})
}

func TestLibraryIsNotAskedWhereUnknown(t *testing.T) {
	s, a := adopted(t, 1, "allow", "Mara")
	s.approve("Mara", s.cond("0.46 bar"), follow(a), of(elsewhere))
	s.wantCond(s.ledger().Judge("", ""), "0.46 bar by Mara")
	s.wantCond(s.judge(), "0.40 bar by Mara")
}
