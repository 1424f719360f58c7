package signature

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/sha512"
	"errors"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"golang.org/x/crypto/ssh"
	"golang.org/x/crypto/ssh/agent"
)

// An ecdsaDevice plays a security key on P-256, which OpenSSH calls sk-ecdsa-sha2-nistp256@openssh.com (PROTOCOL.u2f).
type ecdsaDevice struct {
	private     *ecdsa.PrivateKey
	key         ssh.PublicKey
	application string
}

func newECDSADevice(t testing.TB) *ecdsaDevice {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	point, err := private.PublicKey.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	key, err := ssh.ParsePublicKey(ssh.Marshal(struct {
		Type, Curve string
		Point       []byte
		Application string
	}{ssh.KeyAlgoSKECDSA256, "nistp256", point, "ssh:"}))
	if err != nil {
		t.Fatal(err)
	}
	return &ecdsaDevice{private, key, "ssh:"}
}

func (d *ecdsaDevice) forApplication(name string) *ecdsaDevice {
	other := *d
	other.application = name
	return &other
}

// sign makes what a device answers: a signature over the application, its state and the data, and the state.
func (d *ecdsaDevice) sign(data []byte, flags byte) (*ssh.Signature, error) {
	application, sum := sha256.Sum256([]byte(d.application)), sha256.Sum256(data)
	state := []byte{flags, 0, 0, 0, 7}
	text := sha256.Sum256(bytes.Join([][]byte{application[:], state, sum[:]}, nil))
	r, s, err := ecdsa.Sign(rand.Reader, d.private, text[:])
	if err != nil {
		return nil, err
	}
	return &ssh.Signature{Format: ssh.KeyAlgoSKECDSA256, Blob: ssh.Marshal(struct{ R, S *big.Int }{r, s}), Rest: state}, nil
}

func (d *ecdsaDevice) armored(t testing.TB, flags byte) string {
	t.Helper()
	sum := sha512.Sum512(testMessage)
	sig, err := d.sign(signed("sha512", sum[:]), flags)
	if err != nil {
		t.Fatal(err)
	}
	return build(t, d.key, "sha512", sig.Format, sig.Blob, sig.Rest)
}

// A deviceAgent is an ssh-agent that holds a security key, which is touched when it is asked to sign.
type deviceAgent struct {
	agent.Agent
	device *ecdsaDevice
	touch  *atomic.Uint32 // the flags that the device answers with
}

func (a deviceAgent) List() ([]*agent.Key, error) {
	return []*agent.Key{{Format: a.device.key.Type(), Blob: a.device.key.Marshal(), Comment: "bench"}}, nil
}

func (a deviceAgent) Sign(key ssh.PublicKey, data []byte) (*ssh.Signature, error) {
	if !sameKey(key, a.device.key) {
		return nil, errors.New("another key")
	}
	return a.device.sign(data, byte(a.touch.Load()))
}

// TestSecurityKeyInTheAgent signs with a security key that an agent holds, and ssh-keygen agrees; one that nobody touched makes no signature.
func TestSecurityKeyInTheAgent(t *testing.T) {
	needKeygen(t)
	device := newECDSADevice(t)
	dir, err := os.MkdirTemp("", "agent") // a socket's path must be short
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	socket := filepath.Join(dir, "s")
	l, err := net.Listen("unix", socket)
	if err != nil {
		t.Skipf("no sockets of this kind here: %v", err)
	}
	t.Cleanup(func() { l.Close() })
	held := deviceAgent{device: device, touch: new(atomic.Uint32)}
	held.touch.Store(1)
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer conn.Close()
				_ = agent.ServeAgent(held, conn)
			}()
		}
	}()
	t.Setenv("SSH_AUTH_SOCK", socket)
	s, err := Load("key::" + publicText(device.key))
	if err != nil {
		t.Fatal(err)
	}
	armored := mustSign(t, s, testMessage)
	roster := "mara " + publicText(device.key) + "\n"
	if who, err := Verify(mustRoster(t, roster), testMessage, armored, signedAt); err != nil || who.Principal != "mara" {
		t.Errorf("%+v, %v", who, err)
	}
	if err := opensshVerify(t, roster, "mara", testMessage, armored, signedAt); err != nil {
		t.Errorf("ssh-keygen refuses it: %v", err)
	}
	held.touch.Store(0)
	if armored, err := s.Sign(testMessage); err == nil || !strings.Contains(err.Error(), "the signature just made is no good") {
		t.Errorf("nobody touched it: %q, %v", armored, err)
	}
}
