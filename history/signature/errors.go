package signature

import (
	"errors"
	"fmt"
	"time"

	"golang.org/x/crypto/ssh"
)

// Why a signature does not count. Errors of [Verify], [Check] and [Roster.Find] match one of these with errors.Is.
var (
	ErrMalformed      = errors.New("not a usable signature")
	ErrBadSignature   = errors.New("the signature does not belong to this text; one of the two was altered")
	ErrWrongNamespace = errors.New("made for another purpose")
	ErrNotInRoster    = errors.New("the key is not in the roster")
	ErrNotYetValid    = errors.New("the key was not valid yet")
	ErrExpired        = errors.New("the key had expired")
	ErrUnsound        = errors.New("the roster has problems, so nobody in it is trusted until they are mended")
)

// A RosterError says why a roster does not vouch for a key: it wraps [ErrNotInRoster], [ErrNotYetValid], [ErrExpired],
// [ErrWrongNamespace] or [ErrUnsound].
type RosterError struct {
	Reason      error
	File        string // of the roster
	Line        int    // that names the key, 0 if none does
	Principal   string // that the line gives the key to, "" if none does
	Fingerprint string // of the key
	At          time.Time
	Limit       time.Time // the valid-after or valid-before that At is beyond, else zero
}

func (e *RosterError) Error() string {
	where := e.File
	if where == "" {
		where = "the roster"
	}
	if e.Line > 0 {
		where = fmt.Sprintf("%s:%d", where, e.Line)
	}
	switch e.Reason {
	case ErrNotInRoster:
		return fmt.Sprintf("%s: key %s is not in it", where, e.Fingerprint)
	case ErrNotYetValid:
		return fmt.Sprintf("%s: the key of %q is valid from %s on, this was signed on %s", where, e.Principal, stamp(e.Limit), stamp(e.At))
	case ErrExpired:
		return fmt.Sprintf("%s: the key of %q was valid until %s, this was signed on %s", where, e.Principal, stamp(e.Limit), stamp(e.At))
	case ErrWrongNamespace:
		return fmt.Sprintf("%s: the key of %q may not sign for %q, see its namespaces", where, e.Principal, Namespace)
	}
	return fmt.Sprintf("%s: %v", where, e.Reason)
}

// Unwrap gives the reason.
func (e *RosterError) Unwrap() error { return e.Reason }

func stamp(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05 UTC") }

// Fingerprint names key as ssh-keygen -l does: SHA256:… in base64 without padding. It is "" for nil.
func Fingerprint(key ssh.PublicKey) string {
	if key == nil {
		return ""
	}
	return ssh.FingerprintSHA256(key)
}
