package main

import (
	"encoding/base32"
	"encoding/hex"
	"strings"
	"testing"

	"pgregory.net/rapid"

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
