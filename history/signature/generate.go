package signature

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"encoding/binary"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/crypto/ssh"
)

// Generate makes a new Ed25519 key without passphrase: the private half in path (OpenSSH's format, mode 0600), the public half in
// path.pub (0644), in a directory that it makes with mode 0700 if need be. It never overwrites: where one of the files exists
// nothing is changed and the error matches fs.ErrExist.
func Generate(path, comment string) (Signer, error) {
	_, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, err
	}
	return store(key, path, comment)
}

// GenerateFrom is [Generate] for a key that follows from seed, so the files are the same bytes every time. Whoever knows the seed
// has the key: it is for demonstrations and tests.
func GenerateFrom(seed [32]byte, path, comment string) (Signer, error) {
	return store(ed25519.NewKeyFromSeed(seed[:]), path, comment)
}

func store(key ed25519.PrivateKey, path, comment string) (Signer, error) {
	if path == "" {
		return nil, errors.New("a new key needs the name of its file")
	}
	comment = strings.Join(strings.Fields(comment), " ")
	for _, p := range []string{path, path + ".pub"} {
		if _, err := os.Lstat(p); err == nil {
			return nil, fmt.Errorf("%s is there already and stays as it is; choose another name, or use that key: %w", p, fs.ErrExist)
		}
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, err
	}
	signer := NewSigner(key).(*direct)
	signer.place = "file " + path
	public := publicText(signer.PublicKey())
	if comment != "" {
		public += " " + comment
	}
	if err := create(path, marshalPrivate(key, comment), 0o600); err != nil {
		return nil, err
	}
	if err := create(path+".pub", []byte(public+"\n"), 0o644); err != nil {
		return nil, errors.Join(err, os.Remove(path))
	}
	return signer, nil
}

// link is os.Link but in the test of file systems that have none.
var link = os.Link

// create writes a file that must not exist yet: whole, or not at all.
func create(path string, data []byte, mode fs.FileMode) error {
	tmp, err := os.CreateTemp(filepath.Dir(path), ".new-key-*") // has mode 0600
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name())
	_, err = tmp.Write(data)
	err = errors.Join(err, tmp.Chmod(mode), tmp.Sync(), tmp.Close())
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	// A link fails where the name is taken, a rename would replace what is there.
	if err = link(tmp.Name(), path); err == nil {
		return nil
	} else if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s was made by somebody else just now and stays as it is: %w", path, fs.ErrExist)
	}
	// Some file systems have no links (FAT, some network shares).
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return errors.Join(fmt.Errorf("%s: %w", path, err), os.Remove(path))
	}
	return nil
}

// OpenSSH's format of private keys (PROTOCOL.key). It is written here, not by a library, because the libraries put random numbers
// into it, and a demonstration must be the same bytes every time.
const (
	privateMagic = "openssh-key-v1\x00"
	privateType  = "OPENSSH PRIVATE KEY"
	privateBlock = 8 // bytes that the private part is padded to when it is not encrypted
)

type privateHead struct {
	Cipher, KDF, KDFOptions string
	Keys                    uint32
	PublicKey               []byte
	Private                 []byte
}

func marshalPrivate(key ed25519.PrivateKey, comment string) []byte {
	public := []byte(key.Public().(ed25519.PublicKey))
	// The two check numbers only have to be equal: they show whether a passphrase was right, and there is none.
	sum := sha256.Sum256(public)
	check := binary.BigEndian.Uint32(sum[:])
	private := ssh.Marshal(struct {
		Check1, Check2  uint32
		Type            string
		Public, Private []byte
		Comment         string
	}{check, check, ssh.KeyAlgoED25519, public, key, comment})
	for i := byte(1); len(private)%privateBlock != 0; i++ {
		private = append(private, i)
	}
	body := ssh.Marshal(privateHead{"none", "none", "", 1, ssh.Marshal(struct {
		Type   string
		Public []byte
	}{ssh.KeyAlgoED25519, public}), private})
	return pem.EncodeToMemory(&pem.Block{Type: privateType, Bytes: append([]byte(privateMagic), body...)})
}
