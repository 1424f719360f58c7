package signature

import (
	"bytes"
	"crypto/ed25519"
	"fmt"

	"github.com/hiddeco/sshsig"
	"golang.org/x/crypto/ssh"
)

// A Signer signs records with one key.
type Signer interface {
	PublicKey() ssh.PublicKey
	// Sign signs message for [Namespace], and gives the signature as ssh-keygen -Y sign writes it. It may wait for a person: a
	// passphrase on the terminal, a touch of a security key.
	Sign(message []byte) (armored string, err error)
	// Describe says in a few words which key it is and where it is kept.
	Describe() string
}

// NewSigner signs with key, in this process. Its signatures of one message are always the same bytes.
func NewSigner(key ed25519.PrivateKey) Signer {
	s, err := ssh.NewSignerFromKey(key)
	if err != nil { // only for keys that are not Ed25519
		panic(fmt.Sprintf("signature.NewSigner: %v", err))
	}
	return &direct{signer: s, place: "in memory"}
}

// direct signs in this process, with a private key at hand or through an agent.
type direct struct {
	signer ssh.Signer
	place  string
}

func (d *direct) PublicKey() ssh.PublicKey { return d.signer.PublicKey() }
func (d *direct) Describe() string         { return describe(d.PublicKey(), d.place) }

func (d *direct) Sign(message []byte) (string, error) { return signWith(d.signer, message) }

// signWith makes a signature with SHA-512, which is what ssh-keygen takes by default.
func signWith(s ssh.Signer, message []byte) (armored string, err error) {
	sig, err := makeSignature(s, message)
	if err != nil {
		return "", err
	}
	return accept(message, armor(sig.Marshal()), s.PublicKey())
}

func makeSignature(s ssh.Signer, message []byte) (sig *sshsig.Signature, err error) {
	defer guard(&err)
	return sshsig.Sign(bytes.NewReader(message), s, sshsig.HashSHA512, Namespace)
}

// accept checks a fresh signature before it goes into a record, where it would stay: an agent or a device may be faulty, or hold another key.
func accept(message []byte, armored string, want ssh.PublicKey) (string, error) {
	key, err := Check(message, armored)
	if err != nil {
		return "", fmt.Errorf("the signature just made is no good: %w", err)
	}
	if !sameKey(key, want) {
		return "", fmt.Errorf("signed with the key %s instead of %s", Fingerprint(key), Fingerprint(want))
	}
	return armored, nil
}

func describe(key ssh.PublicKey, place string) string {
	return fmt.Sprintf("%s %s (%s)", key.Type(), Fingerprint(key), place)
}
