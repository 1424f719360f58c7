package signature

import (
	"encoding/base64"
	"errors"
	"strings"
	"testing"
	"time"
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
