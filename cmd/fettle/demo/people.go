package demo

import (
	"crypto/ed25519"
	"crypto/sha256"
	"path/filepath"
	"strings"

	"fettle/history/signature"
)

// A Person of the story.
type Person struct {
	Principal string // as approvers and people name them, and their mail address
	Name      string
	Role      string
	Approver  bool
}

// seed is what a person's key follows from.
func (p Person) seed() [32]byte {
	return sha256.Sum256([]byte("fettle demo, public key pair of " + p.Principal))
}

func (p Person) signer() signature.Signer {
	seed := p.seed()
	return signature.NewSigner(ed25519.NewKeyFromSeed(seed[:]))
}

// keyFile is the name of the person's private key: jonas-falk.
func (p Person) keyFile() string { return strings.ToLower(strings.ReplaceAll(p.Name, " ", "-")) }

// rosters are the files approvers and people.
func (s *Story) rosters() (approvers, people []byte, err error) {
	for _, p := range s.People {
		line, err := signature.FormatLine(p.Principal, p.signer().PublicKey(), "")
		if err != nil {
			return nil, nil, err
		}
		people = append(people, line+"\n"...)
		if p.Approver {
			approvers = append(approvers, line+"\n"...)
		}
	}
	return approvers, people, nil
}

// writeKeys puts the private keys of all persons into a directory.
func (s *Story) writeKeys(dir string) error {
	for _, p := range s.People {
		if _, err := signature.GenerateFrom(p.seed(), filepath.Join(dir, p.keyFile()), p.Principal); err != nil {
			return err
		}
	}
	return nil
}
