package git

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"fettle/history/git/gittest"
)

// TestPrintReadsWhatIsFresh writes files over in the moment in which they were written, on a file system that keeps no trace of that: of a print
// what stat(2) says is put back.
func TestPrintReadsWhatIsFresh(t *testing.T) {
	g := gittest.New(t)
	dir, put := g.Dir, g.Write
	put("fettle.json", "one")
	put("records/2026/a.json", "one")
	repo, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer repo.Close()
	for _, test := range []struct {
		name, path, text string
		tells            bool
	}{{"a file", "fettle.json", "two", false}, {"a record", "records/2026/a.json", "two", false}, {"another record", "records/2026/b.json", "", false}, {"the same again", "fettle.json", "two", true}} {
		for _, glance := range []bool{false, true} {
			was, err := repo.Print("", Print{})
			if err != nil {
				t.Fatal(err)
			}
			old, errOld := os.ReadFile(filepath.Join(dir, test.path))
			put(test.path, test.text)
			now, err := repo.print("", was, glance)
			if err != nil {
				t.Fatal(err)
			}
			now.sums, now.records = was.sums, was.records
			if got := was.Tells(now); got != test.tells {
				t.Errorf("%s, by a glance %t: the print tells %t", test.name, glance, got)
			}
			if os.Remove(filepath.Join(dir, test.path)); errOld == nil {
				put(test.path, string(old))
			}
			if !test.tells && errOld != nil { // once more, and there is nothing to find
				os.Remove(filepath.Join(dir, test.path))
			}
			if test.name == "a file" && glance {
				put(test.path, "two")
			}
		}
	}
	// What was touched long ago is not read, nor where there is too much of it.
	now, err := repo.Print("", Print{})
	if err != nil || len(now.fresh) == 0 || now.many {
		t.Fatalf("%v, %d files are fresh", err, len(now.fresh))
	}
	for i := range mostFresh {
		put(fmt.Sprintf("sets/%d.json", i), "")
	}
	if now, err = repo.Print("", now); err != nil || !now.many || now.Tells(now) {
		t.Errorf("%v, a print of more than anybody reads tells", err)
	}
	time.Sleep(settling + 200*time.Millisecond)
	if now, err = repo.Print("", Print{}); err != nil || now.many || len(now.fresh) > 0 || !now.Tells(now) {
		t.Errorf("%v, %d files are fresh after a while", err, len(now.fresh))
	}
}
