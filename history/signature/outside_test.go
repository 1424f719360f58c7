package signature

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/binary"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/crypto/ssh"
)

// The program of OpenSSH is what these tests check against: whatever it says of a roster and a signature is right.

var signedAt = time.Date(2026, 7, 14, 9, 12, 5, 0, time.UTC)

var testMessage = []byte(`{"kind":"approval","text":"0,42 bar an 10 mm, längs gut"}`)

func needKeygen(t testing.TB) {
	t.Helper()
	if _, err := exec.LookPath("ssh-keygen"); err != nil {
		t.Skip("ssh-keygen is not installed, so there is nothing to compare with: install OpenSSH's client")
	}
}

// keygen runs ssh-keygen and gives its standard output.
func keygen(t testing.TB, stdin []byte, args ...string) (string, error) {
	t.Helper()
	cmd := exec.Command("ssh-keygen", args...)
	cmd.Env = append(os.Environ(), "TZ=UTC", "LC_ALL=C")
	var stdout, stderr bytes.Buffer
	cmd.Stdin, cmd.Stdout, cmd.Stderr = bytes.NewReader(stdin), &stdout, &stderr
	err := cmd.Run()
	var exit *exec.ExitError
	if err != nil && !errors.As(err, &exit) {
		t.Fatalf("ssh-keygen did not run: %v", err)
	}
	if err != nil {
		err = errors.New(strings.TrimSpace(stdout.String() + stderr.String()))
	}
	return stdout.String(), err
}

// opensshVerify is the verdict of ssh-keygen -Y verify.
func opensshVerify(t testing.TB, roster, principal string, message []byte, armored string, at time.Time) error {
	t.Helper()
	dir := t.TempDir()
	write(t, filepath.Join(dir, "roster"), roster)
	write(t, filepath.Join(dir, "sig"), armored)
	_, err := keygen(t, message, "-Y", "verify", "-n", Namespace, "-f", filepath.Join(dir, "roster"), "-I", principal,
		"-s", filepath.Join(dir, "sig"), "-O", "verify-time="+at.UTC().Format("20060102150405Z"))
	return err
}

// opensshPrincipals is what ssh-keygen -Y find-principals prints.
func opensshPrincipals(t testing.TB, roster, armored string, at time.Time) ([]string, error) {
	t.Helper()
	dir := t.TempDir()
	write(t, filepath.Join(dir, "roster"), roster)
	write(t, filepath.Join(dir, "sig"), armored)
	out, err := keygen(t, nil, "-Y", "find-principals", "-f", filepath.Join(dir, "roster"), "-s", filepath.Join(dir, "sig"),
		"-O", "verify-time="+at.UTC().Format("20060102150405Z"))
	if err != nil {
		return nil, err
	}
	return strings.Split(strings.TrimSuffix(out, "\n"), "\n"), nil
}

// opensshSign signs with ssh-keygen -Y sign.
func opensshSign(t testing.TB, path, namespace string, message []byte, options ...string) string {
	t.Helper()
	args := []string{"-Y", "sign", "-n", namespace, "-f", path}
	for _, o := range options {
		args = append(args, "-O", o)
	}
	out, err := keygen(t, message, args...)
	if err != nil {
		t.Fatalf("ssh-keygen -Y sign: %v", err)
	}
	return out
}

// newKey makes a key with ssh-keygen and gives its path.
func newKey(t testing.TB, args ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "key")
	if _, err := keygen(t, nil, append([]string{"-q", "-N", "", "-C", "test", "-f", path}, args...)...); err != nil {
		t.Fatalf("ssh-keygen %v: %v", args, err)
	}
	return path
}

func publicOf(t testing.TB, path string) ssh.PublicKey {
	t.Helper()
	key, _, err := ParseKey(contents(t, path+".pub"))
	if err != nil {
		t.Fatal(err)
	}
	return key
}

func contents(t testing.TB, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func write(t testing.TB, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// seeded is an Ed25519 key that is the same in every run.
func seeded(n byte) ed25519.PrivateKey {
	return ed25519.NewKeyFromSeed(bytes.Repeat([]byte{n}, ed25519.SeedSize))
}

func seededText(n byte) string { return publicText(NewSigner(seeded(n)).PublicKey()) }

func mustSign(t testing.TB, s Signer, message []byte) string {
	t.Helper()
	armored, err := s.Sign(message)
	if err != nil {
		t.Fatal(err)
	}
	return armored
}

func mustRoster(t testing.TB, text string) *Roster {
	t.Helper()
	r, problems := ParseRoster("approvers", []byte(text))
	for _, p := range problems {
		t.Errorf("unexpected: %v", p)
	}
	if t.Failed() {
		t.FailNow()
	}
	return r
}

// wire is a signature in the wire format of OpenSSH's PROTOCOL.sshsig, every part of which can be set wrong.
type wire struct {
	Magic     [6]byte
	Version   uint32
	Key       []byte
	Namespace string
	Reserved  string
	Hash      string
	Signature []byte
	Rest      []byte `ssh:"rest"`
}

func takeApart(t testing.TB, armored string) wire {
	t.Helper()
	raw, err := unarmor(armored)
	if err != nil {
		t.Fatal(err)
	}
	var w wire
	if err := ssh.Unmarshal(raw, &w); err != nil {
		t.Fatal(err)
	}
	return w
}

func (w wire) armored() string { return armor(ssh.Marshal(w)) }

// inner takes the SSH signature in w apart and puts it together again.
func (w wire) inner(t testing.TB, change func(format string, blob []byte) (string, []byte, []byte)) wire {
	t.Helper()
	var s struct {
		Format string
		Blob   []byte
		Rest   []byte `ssh:"rest"`
	}
	if err := ssh.Unmarshal(w.Signature, &s); err != nil {
		t.Fatal(err)
	}
	s.Format, s.Blob, s.Rest = change(s.Format, s.Blob)
	w.Signature = ssh.Marshal(s)
	return w
}

// signed is what the key of a signature signs: PROTOCOL.sshsig, "Signed Data".
func signed(hash string, sum []byte) []byte {
	return append([]byte("SSHSIG"), ssh.Marshal(struct {
		Namespace, Reserved, Hash string
		Sum                       []byte
	}{Namespace, "", hash, sum})...)
}

// securityKey is the public half of a security key that an ordinary key plays.
func securityKey(t testing.TB) ssh.PublicKey {
	t.Helper()
	key, err := ssh.ParsePublicKey(ssh.Marshal(struct {
		Type        string
		Public      []byte
		Application string
	}{ssh.KeyAlgoSKED25519, seeded(9).Public().(ed25519.PublicKey), "ssh:"}))
	if err != nil {
		t.Fatal(err)
	}
	return key
}

// bySecurityKey signs the test message as PROTOCOL.u2f of OpenSSH has it ("SSH U2F Signatures"). Flag 1 says that somebody touched it.
func bySecurityKey(t testing.TB, flags byte, rest ...byte) string {
	t.Helper()
	sum := sha512.Sum512(testMessage)
	application, message := sha256.Sum256([]byte("ssh:")), sha256.Sum256(signed("sha512", sum[:]))
	state := []byte{flags, 0, 0, 0, 7}
	text := append(append(application[:], state...), message[:]...)
	return build(t, securityKey(t), "sha512", ssh.KeyAlgoSKED25519, ed25519.Sign(seeded(9), text), append(state, rest...))
}

// addOrder adds the order of the Ed25519 group to the second half of a signature (RFC 8032, section 5.1): the same equation holds for it.
func addOrder(sig []byte) []byte {
	order := [32]byte{0xed, 0xd3, 0xf5, 0x5c, 0x1a, 0x63, 0x12, 0x58, 0xd6, 0x9c, 0xf7, 0xa2, 0xde, 0xf9, 0xde, 0x14, 31: 0x10}
	out := append([]byte(nil), sig...)
	carry := uint64(0)
	for i := 0; i < 32; i += 8 {
		s, o := binary.LittleEndian.Uint64(out[32+i:]), binary.LittleEndian.Uint64(order[i:])
		sum := s + o + carry
		if sum < s || (carry == 1 && sum == s) {
			carry = 1
		} else {
			carry = 0
		}
		binary.LittleEndian.PutUint64(out[32+i:], sum)
	}
	return out
}
