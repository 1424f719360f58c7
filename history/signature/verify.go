package signature

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	"github.com/hiddeco/sshsig"
	"golang.org/x/crypto/ssh"
)

// Verified says who made a signature.
type Verified struct {
	Principal   string // of the roster, "" if the roster does not vouch for the key
	Key         ssh.PublicKey
	Fingerprint string // SHA256:…
}

// Verify checks that armored is a signature over exactly message, for [Namespace], by a key that the roster gives to somebody at
// the moment at. The error matches one of [ErrMalformed], [ErrWrongNamespace], [ErrBadSignature] (then nothing is known of the
// signer), [ErrNotInRoster], [ErrNotYetValid], [ErrExpired], [ErrUnsound] (then Key and Fingerprint tell who did sign).
func Verify(r *Roster, message []byte, armored string, at time.Time) (Verified, error) {
	key, err := Check(message, armored)
	if err != nil {
		return Verified{}, err
	}
	v := Verified{Key: key, Fingerprint: Fingerprint(key)}
	v.Principal, err = r.Find(key, at)
	return v, err
}

// Check checks that armored is a signature over exactly message, for [Namespace], by the key that it returns, whosever that is.
// The error matches [ErrMalformed], [ErrWrongNamespace] or [ErrBadSignature].
func Check(message []byte, armored string) (key ssh.PublicKey, err error) {
	sig, err := read(armored)
	if err != nil {
		return nil, err
	}
	if sig.Namespace != Namespace {
		return nil, fmt.Errorf("%w: the signature is for %q, not for %q", ErrWrongNamespace, brief(sig.Namespace), Namespace)
	}
	if err := verify(sig, message); err != nil {
		return nil, fmt.Errorf("%w (%s)", ErrBadSignature, strings.TrimPrefix(err.Error(), "ssh: "))
	}
	return sig.PublicKey, nil
}

// read takes a signature apart. Bytes that no part of it needs are refused.
func read(armored string) (sig *sshsig.Signature, err error) {
	wire, err := unarmor(armored)
	if err != nil {
		return nil, err
	}
	sig, err = parse(wire)
	if err != nil {
		return nil, fmt.Errorf("%w: %s", ErrMalformed, strings.TrimPrefix(err.Error(), "ssh: "))
	}
	if f := keyFault(sig.PublicKey); f != nil {
		return nil, fmt.Errorf("%w: %s", ErrMalformed, f.message)
	}
	if !bytes.Equal(sig.Marshal(), wire) {
		return nil, fmt.Errorf("%w: it is not in its shortest form", ErrMalformed)
	}
	if len(sig.Signature.Rest) > 0 && !strings.HasPrefix(sig.PublicKey.Type(), "sk-") {
		return nil, fmt.Errorf("%w: bytes are left over in it", ErrMalformed)
	}
	return sig, nil
}

func parse(wire []byte) (sig *sshsig.Signature, err error) {
	defer guard(&err)
	return sshsig.ParseSignature(wire)
}

func verify(sig *sshsig.Signature, message []byte) (err error) {
	defer guard(&err)
	return sshsig.Verify(bytes.NewReader(message), sig, sig.PublicKey, sig.HashAlgorithm, Namespace)
}

// brief keeps a stranger's text from filling the screen.
func brief(s string) string {
	if len(s) > 60 {
		return s[:60] + "…"
	}
	return s
}
