package signature

import (
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha1"
	"crypto/sha256"
	"crypto/sha512"
	"encoding/base64"
	"errors"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/crypto/ssh"
)

// A verdict is one roster and one signature of which this package and ssh-keygen must think alike.
type verdict struct {
	name      string
	roster    string // {a} and {b} stand for keys, {a64} for the base64 of the first
	principal string // to ask ssh-keygen for, "mara" if empty
	armored   string // "" for an ordinary signature by a
	at        time.Time
	want      error  // "" is no error; of a roster that is refused, errProblems
	stricter  string // why it is refused here where ssh-keygen may accept it; the package comment has the list
	versions  bool   // versions of OpenSSH differ, so it may refuse too
}

var errProblems = errors.New("the roster has problems")

func (v verdict) run(t *testing.T) {
	t.Helper()
	keyA := seededText(1)
	_, a64, _ := strings.Cut(keyA, " ")
	roster := strings.NewReplacer("{a}", keyA, "{b}", seededText(2), "{a64}", a64).Replace(v.roster)
	principal, armored, at := v.principal, v.armored, v.at
	if principal == "" {
		principal = "mara"
	}
	if armored == "" {
		armored = mustSign(t, NewSigner(seeded(1)), testMessage)
	}
	if at.IsZero() {
		at = signedAt
	}

	r, problems := ParseRoster("approvers", []byte(roster))
	who, err := Verify(r, testMessage, armored, at)
	switch {
	case len(problems) > 0 && err == nil:
		t.Fatalf("a roster with problems was trusted: %v", problems)
	case v.want == errProblems && len(problems) == 0:
		t.Fatalf("the roster was read without a problem, Verify says %v", err)
	case v.want != errProblems && len(problems) > 0:
		t.Fatalf("the roster has problems: %v", problems)
	case v.want != errProblems && !errors.Is(err, v.want):
		t.Fatalf("Verify says %v, want %v", err, v.want)
	}
	if err == nil && who.Principal != principal {
		t.Fatalf("signed by %q, want %q", who.Principal, principal)
	}

	theirs := opensshVerify(t, roster, principal, testMessage, armored, at)
	switch {
	case err == nil && theirs != nil:
		t.Fatalf("accepted here, and ssh-keygen refuses: %v", theirs)
	case err != nil && theirs == nil && v.stricter == "":
		t.Fatalf("refused here (%v %v), and ssh-keygen accepts", problems, err)
	case err != nil && theirs != nil && v.stricter != "" && !v.versions:
		t.Fatalf("said to be stricter than ssh-keygen (%s), which refuses too: %v", v.stricter, theirs)
	}

	// find-principals looks at key and time only, so it may find whom Verify refuses, never the other way round.
	found, theirs := opensshPrincipals(t, roster, armored, at)
	if err == nil && (theirs != nil || len(found) != 1 || found[0] != who.Principal) {
		t.Fatalf("signed by %q here, ssh-keygen finds %q, %v", who.Principal, found, theirs)
	}
}

func TestRosterVerdictsOfOpenSSH(t *testing.T) {
	needKeygen(t)
	long := func(n int) string { return strings.Repeat("m", n) }
	for _, v := range []verdict{
		{name: "plain", roster: "mara {a}\n"},
		{name: "with comment, no final newline", roster: "mara {a} bench PC"},
		{name: "the second line", roster: "jonas {b}\nmara {a}\n"},
		{name: "tabs and leading blanks", roster: " \tmara\t {a}\t\n"},
		{name: "comments, blank lines, CR LF", roster: "# who may\r\n\r\n   # sign\r\nmara {a}\r\n"},
		{name: "empty", roster: "", want: ErrNotInRoster},
		{name: "only others", roster: "jonas {b}\n", want: ErrNotInRoster},
		{name: "commented out", roster: "#mara {a}\n", want: ErrNotInRoster},

		{name: "quoted name", roster: "\"Mara Lind\" {a}\n", principal: "Mara Lind"},
		{name: "partly quoted name", roster: "Mara\" Lind\" {a}\n", principal: "Mara Lind"},
		{name: "closing quote without blank", roster: "\"mara\"{a}\n"},
		{name: "quoted hash", roster: "\"#mara\" {a}\n", principal: "#mara"},
		{name: "quote not closed", roster: "\"mara {a}\n", want: errProblems},
		{name: "quoted nobody", roster: "\"\" {a}\n", principal: "x", want: errProblems},
		{name: "name beyond ASCII", roster: "Åsa {a}\n", principal: "Åsa"},
		{name: "name of another case", roster: "Mara {a}\n", principal: "Mara"},
		{name: "nobody named", roster: "{a}\n", want: errProblems},
		{name: "name and no key", roster: "mara\n", want: errProblems},
		{name: "name of 1100 bytes", roster: long(1100) + " {a}\n", principal: long(1100), want: errProblems},
		{name: "name of 300 bytes", roster: long(300) + " {a}\n", principal: long(300), want: errProblems, stricter: "over 255 bytes"},

		{name: "star", roster: "* {a}\n", want: errProblems, stricter: "wildcard"},
		{name: "question mark", roster: "m?ra {a}\n", want: errProblems, stricter: "wildcard"},
		{name: "negated", roster: "!jonas,* {a}\n", want: errProblems, stricter: "wildcard"},
		{name: "negated herself", roster: "!mara,* {a}\n", want: errProblems},
		{name: "exclamation mark at the end", roster: "mara! {a}\n", principal: "mara!", want: errProblems, stricter: "wildcard"},
		{name: "two names", roster: "mara,jonas {a}\n", want: errProblems, stricter: "several principals"},
		{name: "comma within quotes", roster: "\"mara,Lind\" {a}\n", want: errProblems, stricter: "several principals"},
		{name: "one key, two names", roster: "mara {a}\njonas {a}\n", want: errProblems, stricter: "one key, one person"},
		{name: "names that look alike", roster: "mara {a}\nMARA {b}\n", want: errProblems, stricter: "look alike"},
		{name: "compatibility forms", roster: "\"ﬁnn\" {b}\nfinn {a}\n", principal: "finn", want: errProblems, stricter: "look alike"},
		{name: "blank at an end of the name", roster: "\"mara \" {a}\n", principal: "mara ", want: errProblems, stricter: "blank at an end"},
		{name: "zero width space", roster: "ma\u200bra {a}\n", principal: "ma\u200bra", want: errProblems, stricter: "invisible"},
		{name: "no-break space", roster: "mara\u00a0lind {a}\n", principal: "mara\u00a0lind", want: errProblems, stricter: "invisible"},
		{name: "right-to-left override", roster: "\u202earam {a}\n", principal: "\u202earam", want: errProblems, stricter: "invisible"},
		{name: "not UTF-8", roster: "m\xe4ra {a}\n", principal: "m\xe4ra", want: errProblems, stricter: "not UTF-8"},
		{name: "byte order mark", roster: "\ufeffmara {a}\n", want: errProblems},
		{name: "carriage return for a blank", roster: "mara\r{a}\n", want: errProblems, stricter: "control character"},
		{name: "old line ends", roster: "# who\rmara {a}\r", want: errProblems},
		{name: "NUL ends the line for C", roster: "mara {a}\x00{b}\n", want: errProblems, stricter: "control character"},
		{name: "vertical tab in the key", roster: "mara ssh-ed25519 \v{a64}\n", want: errProblems, stricter: "control character"},
		{name: "a line elsewhere that is broken", roster: "jonas ssh-ed25519 AAAA\nmara {a}\n", want: errProblems, stricter: "any problem"},

		{name: "cert-authority", roster: "mara cert-authority {a}\n", want: errProblems},
		{name: "unknown option", roster: "mara no-touch-required {a}\n", want: errProblems},
		{name: "unknown option with value", roster: "mara from=\"10.0.0.1\" {a}\n", want: errProblems},
		{name: "for the purpose", roster: "mara namespaces=\"fettle\" {a}\n"},
		{name: "for the purpose among others", roster: "mara namespaces=\"git,file,fettle\" {a}\n"},
		{name: "for all purposes by pattern", roster: "mara namespaces=\"*\" {a}\n"},
		{name: "by a pattern of some letters", roster: "mara namespaces=\"f?tt*\" {a}\n"},
		{name: "for another purpose", roster: "mara namespaces=\"git\" {a}\n", want: ErrWrongNamespace},
		{name: "another case of the purpose", roster: "mara namespaces=\"Fettle\" {a}\n", want: ErrWrongNamespace},
		{name: "all but this purpose", roster: "mara namespaces=\"*,!fettle\" {a}\n", want: ErrWrongNamespace},
		{name: "all but another purpose", roster: "mara namespaces=\"!git,*\" {a}\n"},
		{name: "only not another purpose", roster: "mara namespaces=\"!git\" {a}\n", want: ErrWrongNamespace},
		{name: "pattern too long for OpenSSH", roster: "mara namespaces=\"" + strings.Repeat("*", 1023) + ",fettle\" {a}\n", want: ErrWrongNamespace},
		{name: "pattern just short enough", roster: "mara namespaces=\"" + strings.Repeat("*", 1022) + "\" {a}\n"},
		{name: "no purpose at all", roster: "mara namespaces=\"\" {a}\n", want: errProblems},
		{name: "one purpose empty", roster: "mara namespaces=\"fettle,\" {a}\n", want: errProblems, stricter: "empty namespaces"},
		{name: "blank in the list of purposes", roster: "mara namespaces=\"git, fettle\" {a}\n", want: ErrWrongNamespace},
		{name: "quote within a purpose", roster: "mara namespaces=\"a\\\"b c,fettle\" {a}\n"},
		{name: "capitals in the option", roster: "mara NameSpaces=\"fettle\",Valid-After=\"20200101z\" {a}\n"},
		{name: "value without quotes", roster: "mara namespaces=fettle {a}\n", want: errProblems},
		{name: "value in escaped quotes", roster: "mara namespaces=\\\"fettle\\\" {a}\n", want: errProblems},
		{name: "value not closed", roster: "mara namespaces=\"fettle {a}\n", want: errProblems},
		{name: "option without value", roster: "mara namespaces {a}\n", want: errProblems},
		{name: "option twice", roster: "mara namespaces=\"fettle\",namespaces=\"fettle\" {a}\n", want: errProblems},
		{name: "time twice", roster: "mara valid-after=\"20200101Z\",valid-after=\"20200101Z\" {a}\n", want: errProblems},
		{name: "comma at the end", roster: "mara namespaces=\"fettle\", {a}\n", want: errProblems},
		{name: "two commas", roster: "mara namespaces=\"fettle\",,valid-after=\"20200101Z\" {a}\n", want: errProblems, stricter: "empty options"},
		{name: "comma in front", roster: "mara ,namespaces=\"fettle\" {a}\n", want: errProblems, stricter: "empty options"},
		{name: "no comma", roster: "mara namespaces=\"fettle\"valid-after=\"20200101Z\" {a}\n", want: errProblems},
		{name: "blank behind the comma", roster: "mara namespaces=\"fettle\", valid-after=\"20200101Z\" {a}\n", want: errProblems},
		{name: "options and no key", roster: "mara namespaces=\"fettle\"\n", want: errProblems},

		{name: "last good second", roster: "mara valid-before=\"20260714091205Z\" {a}\n"},
		{name: "a second after", roster: "mara valid-before=\"20260714091204Z\" {a}\n", want: ErrExpired},
		{name: "part of a second after", roster: "mara valid-before=\"20260714091205Z\" {a}\n", at: signedAt.Add(999 * time.Millisecond)},
		{name: "first good second", roster: "mara valid-after=\"20260714091205Z\" {a}\n"},
		{name: "a second before", roster: "mara valid-after=\"20260714091206Z\" {a}\n", want: ErrNotYetValid},
		{name: "between", roster: "mara valid-after=\"202607140912Z\",valid-before=\"202607140913Z\" {a}\n"},
		{name: "day ends at its first second", roster: "mara valid-before=\"20260714Z\" {a}\n", want: ErrExpired},
		{name: "UTC spelled out", roster: "mara valid-before=\"20270101utc\" {a}\n"},
		{name: "second line covers the time", roster: "mara valid-before=\"2025Z\" {b}\nmara {a}\n", want: errProblems, stricter: "any problem"},
		{name: "two spans of one key", roster: "mara valid-before=\"20250101Z\" {a}\nmara valid-after=\"20260101Z\" {a}\n"},
		{name: "between two spans of one key", roster: "mara valid-before=\"20250101Z\" {a}\nmara valid-after=\"20270101Z\" {a}\n", want: ErrExpired},
		{name: "one purpose, then another", roster: "mara namespaces=\"git\" {a}\nmara namespaces=\"fettle\" {a}\n"},
		{name: "ends before it starts", roster: "mara valid-after=\"20270101Z\",valid-before=\"20260101Z\" {a}\n", want: errProblems},
		{name: "ends when it starts", roster: "mara valid-after=\"20260714091205Z\",valid-before=\"20260714091205Z\" {a}\n", want: errProblems},
		{name: "local time", roster: "mara valid-before=\"20270101\" {a}\n", want: errProblems, stricter: "without Z"},
		{name: "30 February", roster: "mara valid-before=\"20270230Z\" {a}\n", want: errProblems, stricter: "no calendar"},
		{name: "second 60", roster: "mara valid-before=\"20270101000060Z\" {a}\n", want: errProblems, stricter: "no calendar"},
		{name: "month 13", roster: "mara valid-before=\"20271301Z\" {a}\n", want: errProblems},
		{name: "hour 24", roster: "mara valid-before=\"202701012400Z\" {a}\n", want: errProblems},
		{name: "blanks for digits", roster: "mara valid-before=\"2027 1 1Z\" {a}\n", want: errProblems, stricter: "no calendar"},
		{name: "the first second of 1970", roster: "mara valid-after=\"19700101Z\" {a}\n", want: errProblems},
		{name: "before 1970", roster: "mara valid-before=\"19690101Z\" {a}\n", want: errProblems, stricter: "before 1970", versions: true},
		{name: "eleven digits", roster: "mara valid-before=\"20270101000Z\" {a}\n", want: errProblems},
		{name: "with hyphens", roster: "mara valid-before=\"2027-01-01\" {a}\n", want: errProblems},
		{name: "no time", roster: "mara valid-before=\"\" {a}\n", want: errProblems},
		{name: "only Z", roster: "mara valid-before=\"Z\" {a}\n", want: errProblems},

		{name: "another type than the key is", roster: "mara ssh-rsa {a64}\n", want: errProblems},
		{name: "type in capitals", roster: "mara SSH-ED25519 {a64}\n", want: errProblems},
		{name: "short name of the type", roster: "mara ED25519 {a64}\n", want: errProblems},
		{name: "key cut off", roster: "mara ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAIIqIZ\n", want: errProblems},
		{name: "key in two pieces", roster: "mara ssh-ed25519 AAAAC3NzaC1lZDI1NTE5 AAAAIIqI\n", want: errProblems},
		{name: "padding too much", roster: "mara {a}=\n", want: errProblems},
		{name: "a byte behind the key", roster: "mara ssh-ed25519 " + longerKey(seededText(1)) + "\n", want: errProblems},
	} {
		t.Run(v.name, func(t *testing.T) {
			t.Parallel()
			v.run(t)
		})
	}
}

// longerKey adds a byte to the base64 of a key.
func longerKey(text string) string {
	_, encoded, _ := strings.Cut(text, " ")
	raw, _ := base64.StdEncoding.DecodeString(encoded)
	return base64.StdEncoding.EncodeToString(append(raw, 0))
}

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
	sk := seeded(9)
	skKey, err := ssh.ParsePublicKey(ssh.Marshal(struct {
		Type        string
		Public      []byte
		Application string
	}{ssh.KeyAlgoSKED25519, sk.Public().(ed25519.PublicKey), "ssh:"}))
	if err != nil {
		t.Fatal(err)
	}
	bySK := func(flags byte, rest ...byte) string {
		application, message := sha256.Sum256([]byte("ssh:")), sha256.Sum256(data)
		counter := []byte{0, 0, 0, 7}
		signed := append(append(append(application[:], flags), counter...), message[:]...)
		return build(t, skKey, "sha512", ssh.KeyAlgoSKED25519, ed25519.Sign(sk, signed), append(append([]byte{flags}, counter...), rest...))
	}
	add(verdict{name: "security key", armored: bySK(1)}, skKey)
	add(verdict{name: "security key, person verified", armored: bySK(5)}, skKey)
	add(verdict{name: "security key, not touched", armored: bySK(0), want: ErrBadSignature, stricter: "not touched"}, skKey)
	add(verdict{name: "security key, a byte more", armored: bySK(1, 0), want: ErrBadSignature}, skKey)

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
	verdict{roster: "mara " + strings.TrimSpace(read0(t, user+"-cert.pub")) + "\n", armored: byCertificate,
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
	verdict{roster: "mara " + strings.TrimSpace(read0(t, path+".pub")) + "\n", armored: opensshSign(t, path, Namespace, testMessage),
		want: errProblems, stricter: "DSA"}.run(t)
	if _, err := Load(path); err == nil || !strings.Contains(err.Error(), "DSA") {
		t.Errorf("Load of a DSA key says %v", err)
	}
}
