package main

import (
	"encoding/base32"
	"encoding/hex"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"fettle/history/audit"
	"fettle/schema"
)

// TestCardCode holds the code of a card to encoding/base32 of the standard library with Douglas Crockford's digits, and what people read
// off a card to the code.
func TestCardCode(t *testing.T) {
	crockford := base32.NewEncoding(cardAlphabet).WithPadding(base32.NoPadding)
	rapid.Check(t, func(t *rapid.T) {
		digest := rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "digest")
		want := crockford.EncodeToString(digest[:5])
		want = want[:4] + "-" + want[4:]
		got := cardCode(schema.Digest(hex.EncodeToString(digest)))
		if got != want {
			t.Fatalf("the code is %s, want %s", got, want)
		}
		for _, typed := range []string{got, strings.ToLower(got), strings.ReplaceAll(got, "-", ""), " " + strings.ReplaceAll(got, "-", " ") + " ",
			strings.NewReplacer("0", "O", "1", "l").Replace(got), strings.ReplaceAll(got, "1", "I")} {
			if read, ok := readCardCode(typed); !ok || read != got {
				t.Fatalf("%q is read as %q, want %s", typed, read, got)
			}
		}
	})
	for _, typed := range []string{"", "10mm", "ABCD-EFG", "ABCD-EFGU", "ABCD-EFGH-J", "bay-2/carbon-steel", "ÄBCD-EFGH"} {
		if read, ok := readCardCode(typed); ok {
			t.Errorf("%q is read as the code %s", typed, read)
		}
	}
}

// TestCardOfAnyTime: the code of every recipe that ever stood in the sample shop, of one that is only on disk and of one that nobody has, is told by
// a part of the library as by the whole, and leads to the condition that the whole timeline has it of.
func TestCardOfAnyTime(t *testing.T) {
	aFewAtOnce(t)
	t.Setenv("SOURCE_DATE_EPOCH", "1793606400")
	p := &partTest{T: t, repo: sampleHistory(t)}
	ids := p.ids()
	p.run(true, "set", ids[0].String(), "cut.pressure=0.9123bar")
	s, err := (&app{dir: p.repo.Dir, now: clock}).open()
	if err != nil {
		t.Fatal(err)
	}
	defer s.repo.Close()
	work, err := s.work()
	if err != nil {
		t.Fatal(err)
	}
	trail, err := audit.Read(s.repo, s.sub, audit.Options{})
	if err != nil {
		t.Fatal(err)
	}
	codes := map[string]string{"7KQ2-M9TD": "", cardCode(work.Recipe(ids[0]).Digest()): ids[0].String()}
	old := 0
	for _, id := range everNamed(trail) {
		for i, v := range trail.Versions(id.String()) {
			if i > 0 || len(codes) < 20 {
				codes[cardCode(v.Digest)] = id.String()
				old++
			}
		}
	}
	said := map[string]int{}
	for code, id := range codes {
		want, got := p.run(true, "show", code), p.run(false, "show", strings.ToLower(code))
		if want != got {
			t.Fatalf("show %s says by a part\n%s\nand by the whole library\n%s", code, got, want)
		}
		if first, _, _ := strings.Cut(got, "\n"); id != "" && first != code+" is a card of "+id {
			t.Errorf("%s is of %s, and what is said is: %s", code, id, first)
		}
		for _, word := range []string{"it holds", "OUT OF DATE", "no recipe that ever stood here"} {
			if strings.Contains(got, word) {
				said[word]++
			}
		}
	}
	if len(said) < 3 || old < 20 {
		t.Errorf("of %d recipes was said: %v", old, said)
	}
	for _, digits := range []string{"0000000000", "ffffffffff", "1841fac708"} {
		if got := codeDigits(cardCode(schema.Digest(digits + strings.Repeat("0", 54)))); got != digits {
			t.Errorf("the code of %s leads to %s", digits, got)
		}
	}
}
