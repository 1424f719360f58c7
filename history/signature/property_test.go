package signature

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Lines are thrown together from parts of good ones, and from what could be mistaken for them.
var (
	someOptions = []string{
		"namespaces=\"fettle\"", "namespaces=\"git\"", "NAMESPACES=\"f*,!g\"", "cert-authority", "valid-before=\"20270101Z\"",
		"valid-after=\"20270101Z\"", "valid-before=\"20260714091205UTC\"", "valid-after=\"202607140912z\"",
	}
	pieces = append([]string{
		"mara", "mara", "mara", "jonas", "\"mara\"", "\"", "*", "!", "?", ",", "#", " ", " ", " ", "\t", "\\", "\r", "\n", "\n",
		"namespaces=\"", "fettle", "=", "{a}", "{a}", "{a}", "{b}", "ssh-ed25519", "AAAA",
	}, someOptions...)
)

// Whatever a roster looks like, nobody is accepted here whom ssh-keygen refuses; and where it is read without a problem, the two agree.
func TestRandomRostersJudgedByOpenSSH(t *testing.T) {
	needKeygen(t)
	armored := mustSign(t, NewSigner(seeded(1)), testMessage)
	keys := strings.NewReplacer("{a}", " "+seededText(1), "{b}", " "+seededText(2))
	accepted := 0
	rapid.Check(t, func(rt *rapid.T) {
		var text string
		if rapid.Bool().Draw(rt, "tidy") {
			name := rapid.SampledFrom([]string{"mara ", "\"mara\"", " mara\t", "jonas "}).Draw(rt, "name")
			options := rapid.SliceOfN(rapid.SampledFrom(someOptions), 0, 2).Draw(rt, "options")
			text = name + strings.Join(options, ",") + " {a}\n"
		} else {
			text = strings.Join(rapid.SliceOfN(rapid.SampledFrom(pieces), 1, 12).Draw(rt, "pieces"), "")
		}
		text = keys.Replace(text)
		r, problems := ParseRoster("approvers", []byte(text))
		who, err := Verify(r, testMessage, armored, signedAt)
		principal := who.Principal
		if principal == "" {
			principal = "mara"
		}
		theirs := opensshVerify(t, text, principal, testMessage, armored, signedAt)
		if err == nil && theirs != nil {
			rt.Fatalf("accepted here as %q, ssh-keygen says %v: %q", principal, theirs, text)
		}
		if len(problems) == 0 && err != nil && theirs == nil {
			rt.Fatalf("refused here (%v), ssh-keygen accepts: %q", err, text)
		}
		if err == nil {
			accepted++
		}
	})
	t.Logf("%d accepted by both", accepted)
	if accepted == 0 {
		t.Error("none was accepted, so nothing was compared")
	}
}

// Patterns of namespaces match what they match in OpenSSH.
func TestRandomPatternsJudgedByOpenSSH(t *testing.T) {
	needKeygen(t)
	armored := mustSign(t, NewSigner(seeded(1)), testMessage)
	rapid.Check(t, func(rt *rapid.T) {
		pattern := rapid.StringMatching(`(!?[f*?][fetl*?]{0,5}[e*?]?,){0,2}!?[f*?][fetl*?]{0,5}[e*?]?`).Draw(rt, "pattern")
		text := "mara namespaces=\"" + pattern + "\" " + seededText(1) + "\n"
		r, problems := ParseRoster("approvers", []byte(text))
		if len(problems) > 0 {
			rt.Fatal(problems)
		}
		_, ours := r.Find(NewSigner(seeded(1)).PublicKey(), signedAt)
		if theirs := opensshVerify(t, text, "mara", testMessage, armored, signedAt); (ours == nil) != (theirs == nil) {
			rt.Fatalf("%q: %v here, ssh-keygen says %v", pattern, ours, theirs)
		}
	})
}

// A roster says the same however its lines are ordered and spelled.
func TestCanonicalDoesNotSeeTheSpelling(t *testing.T) {
	lines := [][]string{ // each line in several spellings
		{"mara " + seededText(1), "\"mara\"  " + seededText(1) + " at the bench", "\tmara\t" + seededText(1) + "\r"},
		{"jonas namespaces=\"fettle,git\",valid-before=\"20270101Z\" " + seededText(2), "jonas VALID-BEFORE=\"202701010000utc\",namespaces=\"git,fettle\" " + seededText(2) + " x"},
		{"\"Ida B\" valid-after=\"20260101000000Z\" " + seededText(3), "Ida\" B\" Valid-After=\"20260101z\" " + seededText(3)},
		{"# only a comment", "", "   "},
	}
	var first []string
	for _, l := range lines {
		first = append(first, l[0])
	}
	want := mustRoster(t, strings.Join(first, "\n")).Canonical()
	if len(want) != 3 {
		t.Fatalf("%q", want)
	}
	rapid.Check(t, func(rt *rapid.T) {
		var text []string
		for _, l := range rapid.Permutation(lines).Draw(rt, "order") {
			text = append(text, rapid.SampledFrom(l).Draw(rt, "spelling"))
		}
		r, problems := ParseRoster("approvers", []byte(strings.Join(text, "\n")))
		if len(problems) > 0 || !slices.Equal(r.Canonical(), want) {
			rt.Fatalf("%q: %q, %v", text, r.Canonical(), problems)
		}
	})
}
