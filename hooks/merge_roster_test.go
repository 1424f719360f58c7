package hooks_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fettle/history/git/gittest"
	"fettle/history/signature"
	"fettle/hooks"
)

func TestMergeRoster(t *testing.T) {
	dir := gittest.Dir(t)
	line := func(person, key string) string {
		var seed [32]byte
		copy(seed[:], key)
		path := filepath.Join(dir, key)
		var signer signature.Signer
		var err error
		if _, statErr := os.Stat(path); statErr == nil {
			signer, err = signature.Load(path)
		} else {
			signer, err = signature.GenerateFrom(seed, path, key)
		}
		if err != nil {
			t.Fatal(err)
		}
		text, err := signature.FormatLine(person+"@shop.example", signer.PublicKey(), "")
		if err != nil {
			t.Fatal(err)
		}
		return text
	}
	join := func(lines ...string) string {
		if len(lines) == 0 {
			return ""
		}
		return strings.Join(lines, "\n") + "\n"
	}
	mara, jonas, jonas2, jonas3, iris, nils := line("mara", "m"), line("jonas", "j"), line("jonas", "j2"), line("jonas", "j3"), line("iris", "i"), line("nils", "n")
	nilsWithIris := line("nils", "i")
	for _, c := range []struct {
		name                    string
		base, here, there, want []string // want nil for a clash
		clashes                 []string
	}{
		{"added on both sides", []string{mara}, []string{mara, iris}, []string{mara, nils}, []string{mara, iris, nils}, nil},
		{"the same added", []string{mara}, []string{mara, iris}, []string{mara, iris}, []string{mara, iris}, nil},
		{"removed and added", []string{mara, jonas}, []string{mara}, []string{mara, jonas, nils}, []string{mara, nils}, nil},
		{"removed on both sides", []string{mara, jonas}, []string{mara}, []string{mara}, []string{mara}, nil},
		{"a new key on one side", []string{mara, jonas}, []string{mara, jonas2}, []string{mara, jonas, nils}, []string{mara, jonas2, nils}, nil},
		{"two new keys of one person", []string{mara, jonas}, []string{mara, jonas2}, []string{mara, jonas3}, nil, []string{"jonas@shop.example"}},
		{"removed and given another key", []string{mara, jonas}, []string{mara}, []string{mara, jonas2}, nil, []string{"jonas@shop.example"}},
		{"one key given to two", []string{mara}, []string{mara, iris}, []string{mara, nilsWithIris}, nil, []string{"iris@shop.example", "nils@shop.example"}},
		{"remarks", []string{"# who may", mara}, []string{"# who may", mara, iris}, []string{"# who may", "# since May", mara}, []string{"# who may", "# since May", mara, iris}, nil},
	} {
		for _, swapped := range []bool{false, true} {
			here, there := c.here, c.there
			if swapped {
				here, there = there, here
			}
			text, clashes := hooks.MergeRoster([]byte(join(c.base...)), []byte(join(here...)), []byte(join(there...)), 0)
			if !slices.Equal(clashes, c.clashes) {
				t.Errorf("%s: clashes %v, want %v", c.name, clashes, c.clashes)
			}
			if c.want != nil && string(text) != join(c.want...) {
				t.Errorf("%s: got\n%swant\n%s", c.name, text, join(c.want...))
			}
			if c.want == nil {
				// Nobody new may decide by an open conflict: it is no roster that vouches for anybody.
				if _, problems := signature.ParseRoster("approvers", text); len(problems) == 0 {
					t.Errorf("%s: the conflict is a good roster:\n%s", c.name, text)
				}
				for _, l := range slices.Concat(here, there) {
					if !strings.Contains(string(text), l) {
						t.Errorf("%s: a line is lost: %s", c.name, l)
					}
				}
			}
		}
	}
}
