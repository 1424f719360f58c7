package signature

import (
	"crypto/ed25519"
	"crypto/sha256"
	"strings"
	"testing"

	"golang.org/x/crypto/ssh"
)

func TestSignatureVerdictsOfOpenSSH(t *testing.T) {
	needKeygen(t)
	a := NewSigner(seeded(1))
	good := mustSign(t, a, testMessage)
	w := takeApart(t, good)
	change := func(f func(w *wire)) string {
		c := w
		c.Key, c.Signature = append([]byte(nil), w.Key...), append([]byte(nil), w.Signature...)
		f(&c)
		return c.armored()
	}
	inner := func(f func(format string, blob []byte) (string, []byte, []byte)) string {
		return w.inner(t, f).armored()
	}
	body := strings.TrimSuffix(strings.TrimPrefix(good, armorHead+"\n"), "\n"+armorFoot+"\n")
	oneLine := strings.ReplaceAll(body, "\n", "")
	framed := func(body string) string { return armorHead + "\n" + body + "\n" + armorFoot + "\n" }
	lines := "mara {a}\njonas {b}\n"
	for _, v := range []verdict{
		{name: "as made", armored: good},
		{name: "in one line", armored: framed(oneLine)},
		{name: "in narrow lines", armored: framed(oneLine[:10] + "\n" + oneLine[10:64] + "\n\n" + oneLine[64:])},
		{name: "no final newline", armored: strings.TrimSuffix(good, "\n")},
		{name: "nothing", armored: "\n", want: ErrMalformed},
		{name: "cut off in the middle", armored: good[:len(good)/2], want: ErrMalformed},
		{name: "cut off before the foot", armored: strings.TrimSuffix(good, armorFoot+"\n"), want: ErrMalformed},
		{name: "a line lost", armored: framed(body[armorWidth+1:]), want: ErrMalformed},
		{name: "no head", armored: body + "\n" + armorFoot + "\n", want: ErrMalformed},
		{name: "nothing between head and foot", armored: armorHead + "\n" + armorFoot + "\n", want: ErrMalformed},
		{name: "a blank line between head and foot", armored: framed(""), want: ErrMalformed},
		{name: "blank line in front", armored: "\n" + good, want: ErrMalformed},
		{name: "text in front", armored: "signed:\n" + good, want: ErrMalformed},
		{name: "text behind", armored: good + "and so on\n", want: ErrMalformed, stricter: "after the armor"},
		{name: "text behind the foot", armored: strings.TrimSuffix(good, "\n") + "x\n", want: ErrMalformed, stricter: "after the armor"},
		{name: "another signature behind", armored: good + good, want: ErrMalformed, stricter: "after the armor"},
		{name: "CR LF", armored: strings.ReplaceAll(good, "\n", "\r\n"), want: ErrMalformed, stricter: "carriage returns", versions: true},
		{name: "CR LF within", armored: framed(strings.ReplaceAll(body, "\n", "\r\n")), want: ErrMalformed, stricter: "carriage returns"},
		{name: "a blank within", armored: framed(oneLine[:20] + " " + oneLine[20:]), want: ErrMalformed, stricter: "other characters"},
		{name: "a header as in PEM", armored: framed("Comment: approved\n\n" + body), want: ErrMalformed},
		{name: "base64 of URLs", armored: framed("-_" + oneLine[2:]), want: ErrMalformed},
		{name: "head of a key", armored: strings.ReplaceAll(good, "SSH SIGNATURE", "OPENSSH PRIVATE KEY"), want: ErrMalformed},

		{name: "another magic", armored: change(func(w *wire) { w.Magic[5] = 'X' }), want: ErrMalformed},
		{name: "version 2", armored: change(func(w *wire) { w.Version = 2 }), want: ErrMalformed},
		{name: "version 0", armored: change(func(w *wire) { w.Version = 0 }), want: ErrMalformed, stricter: "version 0"},
		{name: "reserved used", armored: change(func(w *wire) { w.Reserved = "x" }), want: ErrMalformed, stricter: "reserved"},
		{name: "bytes behind", armored: change(func(w *wire) { w.Rest = []byte{0} }), want: ErrMalformed},
		{name: "bytes behind the inner signature", armored: inner(func(f string, b []byte) (string, []byte, []byte) { return f, b, []byte{0} }), want: ErrMalformed},
		{name: "another namespace by hand", armored: change(func(w *wire) { w.Namespace = "git" }), want: ErrWrongNamespace},
		{name: "namespace with NUL", armored: change(func(w *wire) { w.Namespace = "fettle\x00git" }), want: ErrWrongNamespace},
		{name: "no namespace", armored: change(func(w *wire) { w.Namespace = "" }), want: ErrWrongNamespace},
		{name: "another hash by hand", armored: change(func(w *wire) { w.Hash = "sha256" }), want: ErrBadSignature},
		{name: "a hash that is broken", armored: change(func(w *wire) { w.Hash = "sha1" }), want: ErrMalformed},
		{name: "list of hashes", armored: change(func(w *wire) { w.Hash = "sha512,sha256" }), want: ErrMalformed},
		{name: "the key of another", roster: lines, principal: "jonas", armored: change(func(w *wire) { w.Key = NewSigner(seeded(2)).PublicKey().Marshal() }), want: ErrBadSignature},
		{name: "no key", armored: change(func(w *wire) { w.Key = nil }), want: ErrMalformed},
		{name: "a key of zeros", armored: change(func(w *wire) { clear(w.Key[len(w.Key)-32:]) }), want: ErrBadSignature},
		{name: "key too short", armored: change(func(w *wire) { w.Key = w.Key[:len(w.Key)-1] }), want: ErrMalformed},
		{name: "no inner signature", armored: change(func(w *wire) { w.Signature = nil }), want: ErrMalformed},
		{name: "a bit turned over", armored: inner(func(f string, b []byte) (string, []byte, []byte) { b[5] ^= 1; return f, b, nil }), want: ErrBadSignature},
		{name: "all zeros", armored: inner(func(f string, b []byte) (string, []byte, []byte) { return f, make([]byte, 64), nil }), want: ErrBadSignature},
		{name: "one byte short", armored: inner(func(f string, b []byte) (string, []byte, []byte) { return f, b[:63], nil }), want: ErrBadSignature},
		{name: "another algorithm named", armored: inner(func(f string, b []byte) (string, []byte, []byte) { return "ssh-rsa", b, nil }), want: ErrBadSignature},
		{name: "second form", armored: inner(func(f string, b []byte) (string, []byte, []byte) { return f, addOrder(b), nil }), want: ErrBadSignature, stricter: "second form", versions: true},
		{name: "for another text", armored: mustSign(t, a, append([]byte(" "), testMessage...)), want: ErrBadSignature},
		{name: "by somebody else", armored: mustSign(t, NewSigner(seeded(2)), testMessage), want: ErrNotInRoster},
		{name: "by a namesake", roster: lines, principal: "jonas", armored: mustSign(t, NewSigner(seeded(2)), testMessage)},
		{name: "with SHA-256", armored: bySHA256(t, seeded(1))},
	} {
		if v.roster == "" {
			v.roster = "mara {a}\n"
		}
		t.Run(v.name, func(t *testing.T) {
			t.Parallel()
			v.run(t)
		})
	}
}

func bySHA256(t testing.TB, key ed25519.PrivateKey) string {
	sum := sha256.Sum256(testMessage)
	return build(t, NewSigner(key).PublicKey(), "sha256", ssh.KeyAlgoED25519, ed25519.Sign(key, signed("sha256", sum[:])), nil)
}

// build puts a signature together from its parts.
func build(t testing.TB, key ssh.PublicKey, hash, format string, blob, rest []byte) string {
	t.Helper()
	return wire{Magic: [6]byte{'S', 'S', 'H', 'S', 'I', 'G'}, Version: 1, Key: key.Marshal(), Namespace: Namespace, Hash: hash}.
		withInner(format, blob, rest).armored()
}

func (w wire) withInner(format string, blob, rest []byte) wire {
	w.Signature = append(ssh.Marshal(struct {
		Format string
		Blob   []byte
	}{format, blob}), rest...)
	return w
}
