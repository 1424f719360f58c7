package signature

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/google/go-cmp/cmp"
)

func TestParseRosterReadsEverything(t *testing.T) {
	text := "# approvers of the shop\n" +
		"\"Mara Lind\" namespaces=\"git,fettle\",valid-after=\"20260101Z\",valid-before=\"202712312359Z\" " + seededText(1) + "  bench PC \r\n" +
		"\n" +
		"jonas " + seededText(2) + "\n" +
		"\"Mara Lind\" " + seededText(3) + " her token\n"
	r := mustRoster(t, text)
	if len(r.Lines) != 3 {
		t.Fatalf("%d lines, want 3", len(r.Lines))
	}
	l := r.Lines[0]
	if l.Number != 2 || l.Principal != "Mara Lind" || l.Comment != "bench PC" || !slices.Equal(l.Namespaces, []string{"git", "fettle"}) ||
		!l.ValidAfter.Equal(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)) || !l.ValidBefore.Equal(time.Date(2027, 12, 31, 23, 59, 0, 0, time.UTC)) ||
		!sameKey(l.Key, NewSigner(seeded(1)).PublicKey()) || !strings.HasSuffix(l.Text, "bench PC ") {
		t.Errorf("read %+v", l)
	}
	if l := r.Lines[1]; l.Number != 4 || l.Namespaces != nil || !l.ValidAfter.IsZero() || !l.ValidBefore.IsZero() || l.Comment != "" {
		t.Errorf("read %+v", l)
	}
	if got := r.Principals(); !slices.Equal(got, []string{"Mara Lind", "jonas"}) {
		t.Errorf("principals %q", got)
	}
}

func TestEveryProblemIsGivenAtItsPlace(t *testing.T) {
	text := "Åsa ssh-ed25519 AAAA\n" + // 1
		"* cert-authority,from=\"x\",namespaces=\"\",valid-after=\"2026\" " + seededText(1) + "\n" + // 2
		"mara " + seededText(1) + "\n" + // 3
		"jonas  " + seededText(1) + "\n" + // 4
		"a,b ssh-dss AAAA\n" + // 5
		"\"Åsa \" namespaces=\"a\",valid-befor=\"20270101\" " + seededText(2) + "\n" + // 6
		"mara\x1b[2J x\n" + // 7
		seededText(3) + "\n" + // 8
		"  MARA " + seededText(4) + "\n" + // 9
		"mara valid-after=\"20270101Z\",valid-before=\"20260101Z\" " + seededText(1) + "\n" // 10
	_, problems := ParseRoster("approvers", []byte(text))
	var got []string
	for _, p := range problems {
		if p.Help == "" {
			t.Errorf("no advice in %v", p)
		}
		got = append(got, fmt.Sprintf("%s:%d:%d: %s", p.File, p.Line, p.Column, p.Message))
		for _, r := range p.String() {
			if r < ' ' || r == 0x7f {
				t.Errorf("control character in %q", p)
			}
		}
	}
	want := []string{
		`approvers:1:5: the key cannot be read: short read`,
		`approvers:2:1: "*" is a pattern, not a person: * ? and ! are refused`,
		`approvers:2:3: certificate authorities are refused: the roster must name everyone itself`,
		`approvers:2:18: "from" is not an option of a roster`,
		`approvers:2:27: a namespace is empty`,
		`approvers:2:41: "2026" is not a time`,
		`approvers:4:8: this key is already "mara"'s, in line 3`,
		`approvers:5:1: "a,b" is several names to OpenSSH`,
		`approvers:5:5: DSA keys are too weak to sign decisions`,
		`approvers:6:1: "Åsa " has a blank at an end`,
		`approvers:6:23: "valid-befor" is not an option of a roster`,
		`approvers:7:5: the control character "\x1b"`,
		`approvers:8:1: the line starts with a key and names nobody`,
		`approvers:9:3: "MARA" and "mara" in line 3 look alike`,
		`approvers:10:6: valid-before is not after valid-after, so the key is never good`,
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("problems (-want +got):\n%s", diff)
	}
}

func TestAnUnsoundRosterTrustsNobody(t *testing.T) {
	r, problems := ParseRoster("approvers", []byte("mara "+seededText(1)+"\njonas\n"))
	if len(problems) != 1 || len(r.Lines) != 1 {
		t.Fatalf("%d problems, %d lines", len(problems), len(r.Lines))
	}
	who, err := Verify(r, testMessage, mustSign(t, NewSigner(seeded(1)), testMessage), signedAt)
	if !errors.Is(err, ErrUnsound) || who.Principal != "" || who.Fingerprint == "" {
		t.Errorf("%+v, %v", who, err)
	}
}

func TestRosterOfNothing(t *testing.T) {
	var none *Roster
	key := NewSigner(seeded(1)).PublicKey()
	for _, r := range []*Roster{none, {}} {
		if who, err := r.Find(key, signedAt); !errors.Is(err, ErrNotInRoster) || who != "" {
			t.Errorf("found %q, %v", who, err)
		}
		if r.Principals() != nil || len(r.Canonical()) != 0 {
			t.Error("names somebody")
		}
	}
	if _, err := mustRoster(t, "mara "+seededText(1)).Find(nil, signedAt); !errors.Is(err, ErrNotInRoster) {
		t.Errorf("no key is %v", err)
	}
	if _, problems := ParseRoster("people", make([]byte, longestRoster+1)); len(problems) != 1 || !strings.Contains(problems[0].Message, "is no roster") {
		t.Errorf("of a megabyte: %v", problems)
	}
}

func TestNamesThatLookAlike(t *testing.T) {
	for _, pair := range [][2]string{{"Mara", "mARA"}, {"Åsa", "A\u030asa"}, {"Åsa", "\u212bsa"}, {"ﬁnn", "FINN"}, {"Mara Lind", "mara  lind"}, {"Σας", "σασ"}, {"ſam", "Sam"},
		{"Jonas", "J\u043enas"}, {"Mara", "М\u0430r\u0430"}, {"POSA", "\u03a1\u039f\u0405\u0410"}, {"jan", "\u0458\u0430n"}} {
		if lookOf(pair[0]) != lookOf(pair[1]) {
			t.Errorf("%q and %q are told apart", pair[0], pair[1])
		}
	}
	for _, pair := range [][2]string{{"Mara", "Maria"}, {"Åsa", "Asa"}, {"mara", "mara.lind"}, {"Mara Lind", "MaraLind"}} {
		if lookOf(pair[0]) == lookOf(pair[1]) {
			t.Errorf("%q and %q are not told apart", pair[0], pair[1])
		}
	}
	for r := range lookalikes {
		if foldCase(string(r)) != string(r) {
			t.Errorf("%q never comes out of foldCase", r)
		}
	}
	// Callers compare names with strings.EqualFold, which must never join two persons of a roster.
	for r := rune(0); r <= unicode.MaxRune; r++ {
		if next := unicode.SimpleFold(r); next != r && lookOf(string(r)) != lookOf(string(next)) {
			t.Errorf("%q and %q are told apart", r, next)
		}
	}
}

func TestRefusalsNameThePersonAndTheLimit(t *testing.T) {
	r := mustRoster(t, "jonas "+seededText(2)+"\nmara valid-after=\"20260101Z\",valid-before=\"20260630Z\" "+seededText(1)+"\nida namespaces=\"git\" "+seededText(3)+"\n")
	for _, c := range []struct {
		key  byte
		at   time.Time
		want RosterError
		text string
	}{
		{1, signedAt, RosterError{Reason: ErrExpired, Line: 2, Principal: "mara", Limit: time.Date(2026, 6, 30, 0, 0, 0, 0, time.UTC)},
			`approvers:2: the key of "mara" was valid until 2026-06-30 00:00:00 UTC, this was signed on 2026-07-14 09:12:05 UTC`},
		{1, signedAt.AddDate(-1, 0, 0), RosterError{Reason: ErrNotYetValid, Line: 2, Principal: "mara", Limit: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)},
			`approvers:2: the key of "mara" is valid from 2026-01-01 00:00:00 UTC on, this was signed on 2025-07-14 09:12:05 UTC`},
		{3, signedAt, RosterError{Reason: ErrWrongNamespace, Line: 3, Principal: "ida"}, `approvers:3: the key of "ida" may not sign for "fettle", see its namespaces`},
		{4, signedAt, RosterError{Reason: ErrNotInRoster}, "approvers: key " + Fingerprint(NewSigner(seeded(4)).PublicKey()) + " is not in it"},
	} {
		key := NewSigner(seeded(c.key)).PublicKey()
		_, err := r.Find(key, c.at)
		var got *RosterError
		if !errors.As(err, &got) {
			t.Fatalf("%v is no RosterError", err)
		}
		c.want.File, c.want.Fingerprint, c.want.At = "approvers", Fingerprint(key), c.at
		if *got != c.want {
			t.Errorf("got %+v, want %+v", *got, c.want)
		}
		if err.Error() != c.text {
			t.Errorf("says %s\nwant %s", err, c.text)
		}
	}
}

func TestCanonical(t *testing.T) {
	a := mustRoster(t, "# comment\n"+
		"\"Mara Lind\"   Valid-Before=\"20271231z\",NAMESPACES=\"git,fettle,git\" "+seededText(1)+" bench PC\r\n"+
		"jonas "+seededText(2)+"\njonas "+seededText(2)+" twice\n"+
		"\"#1\" valid-after=\"202601010000UTC\" "+seededText(3)+"\n")
	want := []string{
		`"#1" valid-after="20260101000000Z" ` + seededText(3),
		`"Mara Lind" namespaces="fettle,git",valid-before="20271231000000Z" ` + seededText(1),
		`jonas ` + seededText(2),
	}
	got := a.Canonical()
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("canonical (-want +got):\n%s", diff)
	}
	if diff := cmp.Diff(got, mustRoster(t, strings.Join(got, "\n")).Canonical()); diff != "" {
		t.Errorf("the canonical form of it differs:\n%s", diff)
	}
}

func TestFormatLine(t *testing.T) {
	key := NewSigner(seeded(1)).PublicKey()
	for _, c := range []struct{ name, comment, want string }{
		{"mara", "", "mara " + seededText(1)},
		{"Mara Lind", "bench\nPC", `"Mara Lind" ` + seededText(1) + " bench PC"},
		{"#1", "", `"#1" ` + seededText(1)},
		{"ssh-key of the shop", "", `"ssh-key of the shop" ` + seededText(1)},
		{"ssh-mara", "", `"ssh-mara" ` + seededText(1)},
		{"Åsa", "längs", "Åsa " + seededText(1) + " längs"},
	} {
		if got, err := FormatLine(c.name, key, c.comment); err != nil || got != c.want {
			t.Errorf("%q: %q, %v, want %q", c.name, got, err, c.want)
		}
	}
	for _, name := range []string{"", " mara", "mara,jonas", "m*", "ma\nra", "ma\"ra", "a\" \"b", "m\xffra", strings.Repeat("m", 256)} {
		if got, err := FormatLine(name, key, ""); err == nil {
			t.Errorf("%q: %q", name, got)
		}
	}
	if _, err := FormatLine("mara", nil, ""); err == nil {
		t.Error("a line without a key")
	}
}

func TestParseKey(t *testing.T) {
	key, comment, err := ParseKey(" " + seededText(1) + "  bench PC\r\n")
	if err != nil || comment != "bench PC" || !sameKey(key, NewSigner(seeded(1)).PublicKey()) {
		t.Errorf("%v, %q, %v", key, comment, err)
	}
}
