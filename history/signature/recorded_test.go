package signature

import (
	"bufio"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// What ssh-keygen said of signatures that it made itself, recorded by testdata/outside/ssh/make.sh.
func TestRecordedVerdictsOfOpenSSH(t *testing.T) {
	dir := filepath.Join("..", "..", "testdata", "outside", "ssh")
	message := []byte(contents(t, filepath.Join(dir, "message")))
	f, err := os.Open(filepath.Join(dir, "verdicts.tsv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	count := map[string]int{}
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		if strings.HasPrefix(lines.Text(), "#") {
			continue
		}
		row := strings.Split(lines.Text(), "\t")
		if len(row) != 6 {
			t.Fatalf("a row of %d columns: %q", len(row), row)
		}
		roster, signature, principal, verdict, found := row[0], row[1], row[3], row[4], row[5]
		at, err := time.Parse("20060102150405Z", row[2])
		if err != nil {
			t.Fatal(err)
		}
		count[verdict]++
		r := mustRoster(t, contents(t, filepath.Join(dir, "rosters", roster)))
		armored := contents(t, filepath.Join(dir, "signatures", signature))
		who, err := Verify(r, message, armored, at)
		if (err == nil) != (verdict == "good") || (err == nil && who.Principal != principal) {
			t.Errorf("%s: %q, %v here", lines.Text(), who.Principal, err)
		}
		if sig, errRead := read(armored); errRead == nil {
			// find-principals does not look at the text and the purpose.
			name, errFind := r.Find(sig.PublicKey, at)
			var refusal *RosterError
			if errors.As(errFind, &refusal) && refusal.Reason == ErrWrongNamespace {
				name = refusal.Principal
			} else if errFind != nil {
				name = "-"
			}
			if name != found {
				t.Errorf("%s: finds %q, %v here", lines.Text(), name, errFind)
			}
		}
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	if count["good"] < 50 || count["refused"] < 50 {
		t.Errorf("%v rows are too few to show anything", count)
	}
}
