package history

import (
	"fmt"

	"golang.org/x/crypto/ssh"

	"fettle/history/signature"
	"fettle/schema"
)

// checkSignatures checks what every signed record says of itself: that its signature is over its content, that its values fit
// their digests, that it belongs to this library. Whose key it is comes later.
func (s *Standing) checkSignatures(library string) {
	var signed []*schema.Record
	for _, r := range s.Ledger.Records {
		if mayBeSigned(r) {
			signed = append(signed, r)
		}
	}
	verdicts := make([]check, len(signed))
	schema.AtOnce(len(signed), func(i int) error {
		verdicts[i] = s.Ledger.check(signed[i], library)
		return nil
	})
	for i, r := range signed {
		if verdicts[i].why != "" {
			s.refuse(r, verdicts[i].why)
			continue
		}
		s.keys[r.Digest] = verdicts[i].key
	}
}

// A check is what a signed record says of itself: the key that signed it, or why it is void.
type check struct {
	key ssh.PublicKey
	why string
}

// check checks a record, or takes what is known of it from the index that it came from.
func (l *Ledger) check(r *schema.Record, library string) check {
	known, ok := l.checks[r.Digest]
	if !ok {
		key, why := checkRecord(r, library)
		return check{key, why}
	}
	if library != "" && r.Library.V != library {
		return check{why: otherLibrary}
	}
	return known
}

const otherLibrary = "it is of another library"

// mayBeSigned reports whether it has to be found out if a record is signed.
func mayBeSigned(r *schema.Record) bool { return Sound(r) && (r.Signature.Set() || mustBeSigned(r)) }

func mustBeSigned(r *schema.Record) bool {
	switch r.Body.(type) {
	case *schema.Decision, *schema.Waiver:
		return true
	}
	return false
}

func checkRecord(r *schema.Record, library string) (ssh.PublicKey, string) {
	if library != "" && r.Library.V != library {
		return nil, otherLibrary
	}
	if d, ok := r.Body.(*schema.Decision); ok {
		decided := map[SubjectKey]bool{}
		for i := range d.Subjects.V {
			subject := &d.Subjects.V[i]
			if why := checkSubject(subject); why != "" {
				return nil, why
			}
			key := SubjectKey{subject.Kind.V, subject.ID.V}
			if decided[key] {
				return nil, fmt.Sprintf("it decides on %s twice", subject.ID.V)
			}
			decided[key] = true
		}
	}
	if !r.Signature.Set() {
		return nil, "it is not signed"
	}
	key, err := signature.Check(r.Message, r.Signature.V)
	if err != nil {
		return nil, err.Error()
	}
	return key, ""
}

// signer returns the person of a roster who signed r, or why there is none.
func (s *Standing) signer(r *schema.Record, roster *signature.Roster) (person, why string) {
	key := s.keys[r.Digest]
	if key == nil {
		return "", "it is not signed"
	}
	person, err := roster.Find(key, r.Time())
	if err != nil {
		return "", err.Error()
	}
	if !samePerson(person, r.By.V) {
		return "", fmt.Sprintf("it says it is by %s and is signed by %s", r.By.V, person)
	}
	return person, ""
}
