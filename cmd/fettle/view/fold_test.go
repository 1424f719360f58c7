package view_test

import (
	"testing"

	"fettle/cmd/fettle/view"
)

func TestFold(t *testing.T) {
	for _, c := range []struct {
		line  string
		width int
		want  string
	}{
		{"short", 20, "short"},
		{"no screen at all, so the line goes on and on", 0, "no screen at all, so the line goes on and on"},
		{"    reason      quality-target: dross on the back edge", 40, "    reason      quality-target: dross on\n                the back edge"},
		{"fettle: the sheet cannot be read: there is no such file", 40, "fettle: the sheet cannot be read: there\n        is no such file"},
		{"next     fettle save bay-2/carbon-steel/oxygen/10mm --cause put-back", 40, "next     fettle save bay-2/carbon-steel/oxygen/10mm --cause put-back"},
		{"           next: fettle save --cause WORD --because \"...\"", 40, "           next: fettle save --cause WORD --because \"...\""},
		{"        Die Düse ist außermittig, sagt die Nachtschicht", 40, "        Die Düse ist außermittig, sagt\n        die Nachtschicht"},
		{"a label so long that nothing fits behind it  text text", 30, "a label so long that nothing\nfits behind it text text"},
		{"averylongwordthatdoesnotfitanywhere", 20, "averylongwordthatdoesnotfitanywhere"},
	} {
		if got := view.Fold(c.line, c.width); got != c.want {
			t.Errorf("at %d columns\n%s\nwant\n%s", c.width, got, c.want)
		}
	}
}

func TestParagraphs(t *testing.T) {
	got := view.Paragraphs("One two\nthree four five.\n\n  fettle init\n  fettle save\n\nEnd.\n", 14)
	want := "One two three\nfour five.\n\n  fettle init\n  fettle save\n\nEnd."
	if got != want {
		t.Errorf("got\n%s", got)
	}
}
