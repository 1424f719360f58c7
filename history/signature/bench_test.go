package signature

import (
	"strings"
	"testing"
)

func BenchmarkParseRoster(b *testing.B) {
	var text strings.Builder
	for n := byte(1); n <= 50; n++ {
		text.WriteString("\"Person " + strings.Repeat("i", int(n)) + "\" namespaces=\"fettle\",valid-before=\"20301231Z\" " + seededText(n) + " bench PC\n")
	}
	data := []byte(text.String())
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if r, problems := ParseRoster("approvers", data); len(r.Lines) != 50 {
			b.Fatal(problems)
		}
	}
}

func BenchmarkVerify(b *testing.B) {
	r := mustRoster(b, "mara "+seededText(1)+"\n")
	armored := mustSign(b, NewSigner(seeded(1)), testMessage)
	for b.Loop() {
		if _, err := Verify(r, testMessage, armored, signedAt); err != nil {
			b.Fatal(err)
		}
	}
}
