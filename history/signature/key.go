package signature

import (
	"bytes"
	"crypto/rsa"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"

	"golang.org/x/crypto/ssh"
)

// leastRSABits is what NIST SP 800-131A still allows for signatures.
const leastRSABits = 2048

const makeKey = "make a new one: ssh-keygen -t ed25519"

// keyTypes are the names of the keys that can sign a decision.
var keyTypes = []string{
	ssh.KeyAlgoED25519, ssh.KeyAlgoSKED25519, ssh.KeyAlgoECDSA256, ssh.KeyAlgoECDSA384, ssh.KeyAlgoECDSA521, ssh.KeyAlgoSKECDSA256, ssh.KeyAlgoRSA,
}

// A fault is what is wrong with a text, and what to do about it.
type fault struct{ message, help string }

func (f *fault) Error() string {
	if f.help == "" {
		return f.message
	}
	return f.message + "; " + f.help
}

// isKeyWord says whether a word is meant as the type of a key, usable or not.
func isKeyWord(word string) bool {
	for _, prefix := range []string{"ssh-", "ecdsa-sha2-", "sk-ssh-", "sk-ecdsa-", "rsa-sha2-"} {
		if strings.HasPrefix(word, prefix) {
			return true
		}
	}
	return false
}

// typeFault says why no key of the type may sign, or nil.
func typeFault(name string) *fault {
	for _, known := range keyTypes {
		if name == known {
			return nil
		}
	}
	switch {
	case strings.Contains(name, "-cert-v0"):
		return &fault{"a certificate does not name its person in the roster", "put the plain key there, the .pub file without -cert"}
	case name == "ssh-dss":
		return &fault{"DSA keys are too weak to sign decisions", makeKey}
	}
	return &fault{fmt.Sprintf("%q is not a type of key that can be checked here", name), "one of " + strings.Join(keyTypes, ", ")}
}

// keyFault says why key may not sign, or nil.
func keyFault(key ssh.PublicKey) *fault {
	if f := typeFault(key.Type()); f != nil {
		return f
	}
	if k, ok := key.(ssh.CryptoPublicKey); ok {
		if r, ok := k.CryptoPublicKey().(*rsa.PublicKey); ok && r.N.BitLen() < leastRSABits {
			return &fault{fmt.Sprintf("an RSA key of %d bits is too weak, at least %d are needed", r.N.BitLen(), leastRSABits), makeKey}
		}
	}
	return nil
}

// readKey reads a key from the type and the base64 that stand in a line.
func readKey(name, encoded string) (ssh.PublicKey, *fault) {
	if f := typeFault(name); f != nil {
		return nil, f
	}
	const again = "paste the line of the .pub file again, whole and in one piece"
	raw, err := base64.StdEncoding.Strict().DecodeString(encoded)
	if err != nil {
		return nil, &fault{"the key is not complete base64", again}
	}
	key, err := parsePublic(raw)
	if err != nil {
		return nil, &fault{"the key cannot be read: " + strings.TrimPrefix(err.Error(), "ssh: "), again}
	}
	if key.Type() != name {
		return nil, &fault{fmt.Sprintf("the line says %s, the key in it is %s", name, key.Type()), again}
	}
	if f := keyFault(key); f != nil {
		return nil, f
	}
	return key, nil
}

// parsePublic reads a key in wire format. Numbers in a form that nothing writes (with leading zeros) are refused, so that one key has one text.
func parsePublic(raw []byte) (key ssh.PublicKey, err error) {
	defer guard(&err)
	key, err = ssh.ParsePublicKey(raw)
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(key.Marshal(), raw) {
		return nil, errors.New("it is not in its shortest form")
	}
	return key, nil
}

// ParseKey reads a public key as a .pub file has it: type, base64 and a comment, which is returned too.
// Keys that may not sign decisions (DSA, RSA under 2048 bits, certificates) are errors.
func ParseKey(text string) (key ssh.PublicKey, comment string, err error) {
	text = strings.Trim(text, " \t\r\n")
	name, rest := cutWord(text)
	encoded, comment := cutWord(rest)
	if strings.ContainsAny(text, "\r\n") {
		return nil, "", &fault{"more than one line where one public key should be", "give one key"}
	}
	if encoded == "" {
		return nil, "", &fault{"not a public key", "it starts with its type, as in: ssh-ed25519 AAAA…"}
	}
	key, f := readKey(name, encoded)
	if f != nil {
		return nil, "", f
	}
	return key, comment, nil
}

// cutWord splits off the first word, at spaces and tabs.
func cutWord(s string) (word, rest string) {
	i := strings.IndexAny(s, " \t")
	if i < 0 {
		return s, ""
	}
	return s[:i], strings.TrimLeft(s[i:], " \t")
}

// sameKey compares two keys by what they are, not by where they were read.
func sameKey(a, b ssh.PublicKey) bool {
	return a != nil && b != nil && bytes.Equal(a.Marshal(), b.Marshal())
}

// guard turns a panic in a library that reads a stranger's bytes into an error.
func guard(err *error) {
	if r := recover(); r != nil {
		*err = fmt.Errorf("unreadable: %v", r)
	}
}
