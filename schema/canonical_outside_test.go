package schema

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The canonical form of a file is, byte for byte, what the npm package canonicalize makes of it; its digests stand in a table that
// make.sh beside it makes. The files hold numbers that are hard to write, escapes of every sort, and names that only sort right
// by UTF-16 units.
func TestCanonicalFormIsThatOfCanonicalize(t *testing.T) {
	const outside = "../testdata/outside/json"
	table, err := os.ReadFile(filepath.Join(outside, "canonical.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	rows := strings.Split(strings.TrimSpace(string(table)), "\n")
	for _, row := range rows {
		name, want, _ := strings.Cut(row, "\t")
		data, err := os.ReadFile(filepath.Join(outside, filepath.FromSlash(name)))
		if err != nil {
			t.Fatal(err)
		}
		errs := &problems{}
		root := parse(data, errs)
		if root == nil || len(errs.list) > 0 {
			t.Errorf("%s: %+v", name, errs.list)
			continue
		}
		if got := DigestOf(canonicalNode(root)); string(got) != want {
			t.Errorf("%s: canonical form has digest %s, canonicalize %s", name, got, want)
		}
	}
	for _, folder := range []string{"good", "canonical"} {
		paths, _ := filepath.Glob(filepath.Join(outside, folder, "*.json"))
		for _, path := range paths {
			if name := folder + "/" + filepath.Base(path); !strings.Contains(string(table), name+"\t") {
				t.Errorf("%s is not in the table; run make.sh", name)
			}
		}
	}
	if len(rows) < 20 {
		t.Errorf("only %d rows", len(rows))
	}
}
