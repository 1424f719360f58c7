package signature

import (
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha1"
	"crypto/sha512"
	"encoding/base64"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/crypto/ssh"
)

func TestOtherKeyVerdictsOfOpenSSH(t *testing.T) {
	needKeygen(t)
	sum := sha512.Sum512(testMessage)
	data := signed("sha512", sum[:])
	var cases []verdict
	add := func(v verdict, key ssh.PublicKey) {
		v.roster = "mara " + publicText(key) + "\n"
		cases = append(cases, v)
	}

	// RSA: which hash the signature may have, and how long the key must be.
	for _, bits := range []int{1024, 2048} {
		t.Setenv("GODEBUG", "rsa1024min=0")
		key, err := rsa.GenerateKey(rand.Reader, bits)
		if err != nil {
			t.Fatal(err)
		}
		s, err := ssh.NewSignerFromKey(key)
		if err != nil {
			t.Fatal(err)
		}
		for _, algo := range []string{ssh.KeyAlgoRSASHA512, ssh.KeyAlgoRSASHA256, ssh.KeyAlgoRSA} {
			sig, err := s.(ssh.AlgorithmSigner).SignWithAlgorithm(rand.Reader, data, algo)
			if err != nil {
				t.Fatal(err)
			}
			v := verdict{name: algo, armored: build(t, s.PublicKey(), "sha512", sig.Format, sig.Blob, nil)}
			switch {
			case bits < leastRSABits && algo == ssh.KeyAlgoRSA:
				v.name, v.want = "short RSA key, SHA-1", errProblems
			case bits < leastRSABits:
				v.name, v.want, v.stricter, v.versions = "short RSA key, "+algo, errProblems, "under 2048 bits", true
			case algo == ssh.KeyAlgoRSA:
				v.want = ErrMalformed
			}
			add(v, s.PublicKey())
		}
	}

	// ECDSA on each curve, and with the numbers of the signature negative or in excess.
	for _, curve := range []elliptic.Curve{elliptic.P256(), elliptic.P384(), elliptic.P521()} {
		key, err := ecdsa.GenerateKey(curve, rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		s, err := ssh.NewSignerFromKey(key)
		if err != nil {
			t.Fatal(err)
		}
		sig, err := s.Sign(rand.Reader, data)
		if err != nil {
			t.Fatal(err)
		}
		add(verdict{name: sig.Format, armored: build(t, s.PublicKey(), "sha512", sig.Format, sig.Blob, nil)}, s.PublicKey())
		add(verdict{name: sig.Format + " with a byte more", armored: build(t, s.PublicKey(), "sha512", sig.Format, append(sig.Blob, 0), nil), want: ErrBadSignature}, s.PublicKey())
		add(verdict{name: sig.Format + " of nothing", armored: build(t, s.PublicKey(), "sha512", sig.Format, []byte{0, 0, 0, 0, 0, 0, 0, 0}, nil), want: ErrBadSignature}, s.PublicKey())
		add(verdict{name: sig.Format + " negative", armored: build(t, s.PublicKey(), "sha512", sig.Format, []byte{0, 0, 0, 1, 0x80, 0, 0, 0, 1, 0x80}, nil), want: ErrBadSignature}, s.PublicKey())
	}

	// A security key, played by an ordinary one (PROTOCOL.u2f, "Signature formats"): touched, not touched, and with a byte too many.
	device := securityKey(t)
	add(verdict{name: "security key", armored: bySecurityKey(t, 1)}, device)
	add(verdict{name: "security key, person verified", armored: bySecurityKey(t, 5)}, device)
	add(verdict{name: "security key, not touched", armored: bySecurityKey(t, 0), want: ErrBadSignature, stricter: "not touched"}, device)
	add(verdict{name: "security key, a byte more", armored: bySecurityKey(t, 1, 0), want: ErrBadSignature}, device)
	curve := newECDSADevice(t)
	add(verdict{name: "security key on P-256", armored: curve.armored(t, 1)}, curve.key)
	add(verdict{name: "security key on P-256, not touched", armored: curve.armored(t, 0), want: ErrBadSignature, stricter: "not touched"}, curve.key)
	add(verdict{name: "security key on P-256, for another application", armored: curve.forApplication("ssh:other").armored(t, 1), want: ErrBadSignature}, curve.key)

	// An RSA key written with a leading zero too many.
	key, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	s, err := ssh.NewSignerFromKey(key)
	if err != nil {
		t.Fatal(err)
	}
	long := ssh.Marshal(struct {
		Type string
		E, N []byte
	}{ssh.KeyAlgoRSA, []byte{0, 1, 0, 1}, append([]byte{0}, key.N.Bytes()...)})
	cases = append(cases, verdict{name: "key in a longer form", roster: "mara ssh-rsa " + base64.StdEncoding.EncodeToString(long) + "\n",
		armored: mustSign(t, &direct{signer: s}, testMessage), want: errProblems, stricter: "longer form"})

	for _, v := range cases {
		t.Run(v.name, func(t *testing.T) { v.run(t) })
	}

	t.Run("sha1 is not made here", func(t *testing.T) {
		sum := sha1.Sum(testMessage)
		v := verdict{roster: "mara {a}\n", want: ErrMalformed,
			armored: build(t, NewSigner(seeded(1)).PublicKey(), "sha1", ssh.KeyAlgoED25519, ed25519.Sign(seeded(1), signed("sha1", sum[:])), nil)}
		v.run(t)
	})
}

// A certificate passes with ssh-keygen where its authority is in the roster; here neither is taken.
func TestCertificateVerdictsOfOpenSSH(t *testing.T) {
	needKeygen(t)
	authority, user := newKey(t, "-t", "ed25519"), newKey(t, "-t", "ed25519")
	if _, err := keygen(t, nil, "-q", "-s", authority, "-I", "test", "-n", "mara", user+".pub"); err != nil {
		t.Fatal(err)
	}
	byCertificate := opensshSign(t, user+"-cert.pub", Namespace, testMessage)
	verdict{roster: "mara cert-authority " + publicText(publicOf(t, authority)) + "\n", armored: byCertificate,
		want: errProblems, stricter: "certificate authorities"}.run(t)
	verdict{roster: "mara " + publicText(publicOf(t, user)) + "\n", armored: byCertificate, want: ErrMalformed}.run(t)
	verdict{roster: "mara " + strings.TrimSpace(contents(t, user+"-cert.pub")) + "\n", armored: byCertificate,
		want: errProblems, stricter: "certificates"}.run(t)
	if _, err := Load(user + "-cert.pub"); err == nil || !strings.Contains(err.Error(), "certificate") {
		t.Errorf("Load of a certificate says %v", err)
	}
}

func TestDSAVerdictOfOpenSSH(t *testing.T) {
	needKeygen(t)
	path := filepath.Join(t.TempDir(), "dsa")
	if _, err := keygen(t, nil, "-q", "-t", "dsa", "-N", "", "-f", path); err != nil {
		t.Skipf("this ssh-keygen makes no DSA keys any more: %v", err)
	}
	verdict{roster: "mara " + strings.TrimSpace(contents(t, path+".pub")) + "\n", armored: opensshSign(t, path, Namespace, testMessage),
		want: errProblems, stricter: "DSA"}.run(t)
	if _, err := Load(path); err == nil || !strings.Contains(err.Error(), "DSA") {
		t.Errorf("Load of a DSA key says %v", err)
	}
}
