package signature

import (
	"bytes"
	"crypto/ed25519"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/crypto/ssh"
)

// keyKinds are the keys that ssh-keygen makes without a device, and what it makes them with.
var keyKinds = map[string][]string{
	"ed25519":       {"-t", "ed25519"},
	"ecdsa-256":     {"-t", "ecdsa", "-b", "256"},
	"ecdsa-384":     {"-t", "ecdsa", "-b", "384"},
	"ecdsa-521":     {"-t", "ecdsa", "-b", "521"},
	"rsa-2048":      {"-t", "rsa", "-b", "2048"},
	"rsa-3072, PEM": {"-t", "rsa", "-b", "3072", "-m", "PEM"},
	"ecdsa, PKCS8":  {"-t", "ecdsa", "-m", "PKCS8"},
}

func TestSignaturesPassBothWays(t *testing.T) {
	needKeygen(t)
	for name, args := range keyKinds {
		t.Run(name, func(t *testing.T) {
			path := newKey(t, args...)
			roster := "mara " + strings.TrimSpace(contents(t, path+".pub")) + "\n"
			r := mustRoster(t, roster)
			s, err := Load(path)
			if err != nil {
				t.Fatal(err)
			}
			if !sameKey(s.PublicKey(), publicOf(t, path)) {
				t.Errorf("loaded the key %s", Fingerprint(s.PublicKey()))
			}
			if want := Fingerprint(s.PublicKey()); !strings.Contains(s.Describe(), want) || !strings.Contains(s.Describe(), path) {
				t.Errorf("described as %q, want %s and %s in it", s.Describe(), want, path)
			}
			for _, message := range [][]byte{testMessage, nil, {0}, []byte("\r\n"), bytes.Repeat([]byte("0123456789abcdef"), 20_000)} {
				ours := mustSign(t, s, message)
				if err := opensshVerify(t, roster, "mara", message, ours, signedAt); err != nil {
					t.Errorf("ssh-keygen refuses our signature of %d bytes: %v", len(message), err)
				}
				for _, hash := range []string{"sha512", "sha256"} {
					theirs := opensshSign(t, path, Namespace, message, "hashalg="+hash)
					who, err := Verify(r, message, theirs, signedAt)
					if err != nil || who.Principal != "mara" || !sameKey(who.Key, s.PublicKey()) || who.Fingerprint != Fingerprint(who.Key) {
						t.Errorf("signed with ssh-keygen over %d bytes, %s: %+v, %v", len(message), hash, who, err)
					}
					if hash == "sha512" && !strings.HasPrefix(name, "ecdsa") && ours != theirs {
						t.Errorf("the signatures differ:\n%s%s", ours, theirs)
					}
					if err := sameOtherText(message, theirs); err != nil {
						t.Error(err)
					}
				}
			}
			if _, err := Verify(r, testMessage, opensshSign(t, path, "git", testMessage), signedAt); !errors.Is(err, ErrWrongNamespace) {
				t.Errorf("a signature made for git: %v", err)
			}
		})
	}
}

// sameOtherText tries a signature on a text that differs in one byte.
func sameOtherText(message []byte, armored string) error {
	if len(message) == 0 {
		return nil
	}
	other := bytes.Clone(message)
	other[len(other)/2] ^= 1
	if _, err := Check(other, armored); !errors.Is(err, ErrBadSignature) {
		return errors.Join(errors.New("accepted for another text"), err)
	}
	return nil
}

func TestFingerprintIsOpenSSHs(t *testing.T) {
	needKeygen(t)
	path := newKey(t, "-t", "ed25519")
	out, err := keygen(t, nil, "-l", "-f", path)
	if err != nil {
		t.Fatal(err)
	}
	if got := Fingerprint(publicOf(t, path)); got != strings.Fields(out)[1] {
		t.Errorf("%s, ssh-keygen -l says %s", got, out)
	}
	if Fingerprint(nil) != "" {
		t.Error("no key has a fingerprint")
	}
}

func TestNewSignerIsDeterministic(t *testing.T) {
	a, b := mustSign(t, NewSigner(seeded(3)), testMessage), mustSign(t, NewSigner(seeded(3)), testMessage)
	if a != b {
		t.Errorf("two signatures of one text differ:\n%s%s", a, b)
	}
	key, err := Check(testMessage, a)
	if err != nil || !sameKey(key, NewSigner(seeded(3)).PublicKey()) {
		t.Errorf("Check says %v, %v", key, err)
	}
}

// A faulty agent or device must not bring a bad signature into a record.
func TestAFreshSignatureIsChecked(t *testing.T) {
	good, err := ssh.NewSignerFromKey(seeded(1))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := signWith(liar{good, NewSigner(seeded(2)).PublicKey()}, testMessage); !errors.Is(err, ErrBadSignature) {
		t.Errorf("signed with another key than said: %v", err)
	}
	armored := mustSign(t, NewSigner(seeded(1)), testMessage)
	if _, err := accept(testMessage, armored, NewSigner(seeded(2)).PublicKey()); err == nil || !strings.Contains(err.Error(), "instead of") {
		t.Errorf("a good signature by another key: %v", err)
	}
}

type liar struct {
	ssh.Signer
	key ssh.PublicKey
}

func (l liar) PublicKey() ssh.PublicKey { return l.key }

func TestGenerate(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new", ".ssh")
	path := filepath.Join(dir, "fettle")
	s, err := Generate(path, "mara\nat the bench")
	if err != nil {
		t.Fatal(err)
	}
	for file, want := range map[string]os.FileMode{dir: 0o700 | os.ModeDir, path: 0o600, path + ".pub": 0o644} {
		info, err := os.Stat(file)
		if err != nil {
			t.Fatal(err)
		}
		if info.Mode() != want {
			t.Errorf("%s has mode %v, want %v", file, info.Mode(), want)
		}
	}
	if entries, _ := os.ReadDir(dir); len(entries) != 2 {
		t.Errorf("%d files made, want 2: %v", len(entries), entries)
	}
	if got, want := contents(t, path+".pub"), publicText(s.PublicKey())+" mara at the bench\n"; got != want {
		t.Errorf("public half %q, want %q", got, want)
	}
	loaded, err := Load(path)
	if err != nil || !sameKey(loaded.PublicKey(), s.PublicKey()) || loaded.Describe() != s.Describe() {
		t.Errorf("loaded %v, %v", loaded, err)
	}

	before := contents(t, path)
	for _, taken := range []string{path, path + ".pub"} {
		other := taken + ".kept"
		if err := os.Rename(map[string]string{path: path + ".pub", path + ".pub": path}[taken], other); err != nil {
			t.Fatal(err)
		}
		if _, err := Generate(path, ""); !errors.Is(err, os.ErrExist) {
			t.Errorf("where %s exists: %v", taken, err)
		}
		if err := os.Rename(other, map[string]string{path: path + ".pub", path + ".pub": path}[taken]); err != nil {
			t.Fatal(err)
		}
	}
	if entries, _ := os.ReadDir(dir); contents(t, path) != before || len(entries) != 2 {
		t.Errorf("a refused Generate changed something: %v", entries)
	}
	if err := create(path, []byte("x"), 0o600); !errors.Is(err, os.ErrExist) || contents(t, path) != before {
		t.Errorf("create over a file says %v", err)
	}
	if _, err := Generate("", ""); err == nil {
		t.Error("made a key without a name")
	}
}

// Some file systems have no links, and still nothing may be overwritten.
func TestGenerateWithoutLinks(t *testing.T) {
	link = func(string, string) error { return os.ErrInvalid }
	t.Cleanup(func() { link = os.Link })
	path := filepath.Join(t.TempDir(), "key")
	s, err := Generate(path, "")
	if err != nil {
		t.Fatal(err)
	}
	if loaded, err := Load(path); err != nil || !sameKey(loaded.PublicKey(), s.PublicKey()) {
		t.Errorf("loaded %v, %v", loaded, err)
	}
	before := contents(t, path)
	if err := create(path, []byte("x"), 0o600); !errors.Is(err, os.ErrExist) || contents(t, path) != before {
		t.Errorf("create over a file says %v", err)
	}
	if entries, _ := os.ReadDir(filepath.Dir(path)); len(entries) != 2 {
		t.Errorf("left behind: %v", entries)
	}
}

func TestGenerateLeavesNothingHalfDone(t *testing.T) {
	path := filepath.Join(t.TempDir(), "key")
	link = func(from, to string) error {
		if strings.HasSuffix(to, ".pub") {
			return os.ErrExist // as if somebody had made it in this moment
		}
		return os.Link(from, to)
	}
	t.Cleanup(func() { link = os.Link })
	if _, err := Generate(path, ""); !errors.Is(err, os.ErrExist) {
		t.Errorf("says %v", err)
	}
	if entries, _ := os.ReadDir(filepath.Dir(path)); len(entries) != 0 {
		t.Errorf("left behind: %v", entries)
	}
	file := filepath.Join(filepath.Dir(path), "file")
	write(t, file, "")
	if _, err := Generate(filepath.Join(file, "key"), ""); err == nil {
		t.Error("made a key within a file")
	}
}

func TestPanicsOfLibrariesAreErrors(t *testing.T) {
	err := func() (err error) {
		defer guard(&err)
		var none []byte
		_ = none[len(none)]
		return nil
	}()
	if err == nil || !strings.Contains(err.Error(), "unreadable") {
		t.Errorf("says %v", err)
	}
}

func TestGeneratedKeyIsOpenSSHs(t *testing.T) {
	needKeygen(t)
	for _, comment := range []string{"", "a", "ab", "mara at the bench"} { // every padding counts
		path := filepath.Join(t.TempDir(), "key")
		if _, err := Generate(path, comment); err != nil {
			t.Fatal(err)
		}
		out, err := keygen(t, nil, "-y", "-f", path)
		if err != nil || out != contents(t, path+".pub") {
			t.Errorf("ssh-keygen reads %q, %v; the public half is %q", out, err, contents(t, path+".pub"))
		}
	}
}

func TestGenerateFromIsTheSameEveryTime(t *testing.T) {
	var seed [32]byte
	copy(seed[:], "Northgate plate shop")
	dir := t.TempDir()
	a, err := GenerateFrom(seed, filepath.Join(dir, "a"), "demo")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := GenerateFrom(seed, filepath.Join(dir, "b"), "demo"); err != nil {
		t.Fatal(err)
	}
	if contents(t, filepath.Join(dir, "a")) != contents(t, filepath.Join(dir, "b")) || contents(t, filepath.Join(dir, "a.pub")) != contents(t, filepath.Join(dir, "b.pub")) {
		t.Error("the files differ")
	}
	if want := NewSigner(ed25519.NewKeyFromSeed(seed[:])).PublicKey(); !sameKey(a.PublicKey(), want) {
		t.Error("the key does not follow from the seed")
	}
}
