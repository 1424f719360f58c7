package table

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"fettle/schema"
)

var update = flag.Bool("update", false, "write the expected previews anew; read them before they are committed")

// dir reads a library from a directory, without git.
type dir string

func (d dir) Files() []string {
	var out []string
	filepath.WalkDir(string(d), func(p string, e os.DirEntry, err error) error {
		if err == nil && !e.IsDir() {
			rel, _ := filepath.Rel(string(d), p)
			out = append(out, filepath.ToSlash(rel))
		}
		return err
	})
	return out
}

func (d dir) Read(p string) ([]byte, error) { return os.ReadFile(filepath.Join(string(d), p)) }

// files is a library in memory.
type files map[string][]byte

func (f files) Files() []string {
	var out []string
	for p := range f {
		out = append(out, p)
	}
	return out
}

func (f files) Read(p string) ([]byte, error) { return f[p], nil }

func shop(t testing.TB) *schema.Library {
	t.Helper()
	return library(t, dir("../demo/library"))
}

func library(t testing.TB, src schema.Source) *schema.Library {
	t.Helper()
	lib, err := schema.ReadLibrary(src)
	if err != nil {
		t.Fatal(err)
	}
	if lib.Settings.Value == nil || len(lib.Machines) == 0 {
		t.Fatal("the library was not found")
	}
	return lib
}

// Sheets as shops have them, against the sample library: what is read, what is asked, what is refused. The expected screens
// stand beside the sheets.
func TestSheets(t *testing.T) {
	for _, c := range []struct {
		sheet, want string
		opt         Options
	}{
		{"bay-2-oxygen.csv", "bay-2-oxygen.txt", Options{Machine: "bay-2"}},
		{"bay-2-oxygen.csv", "bay-2-oxygen-no-machine.txt", Options{}},
		{"stainless-bom.csv", "stainless-bom.txt", Options{Machine: "bay-5"}},
		{"inch-unicode.txt", "inch-unicode-asks.txt", Options{Machine: "bay-2"}},
		{"inch-unicode.txt", "inch-unicode-down.txt", Options{Machine: "bay-2", Focus: "down"}},
		{"two-row-header.csv", "two-row-header.txt", Options{Machine: "bay-5", Material: "aluminum", Focus: "up"}},
		{"eaten.csv", "eaten.txt", Options{Machine: "bay-2", Material: "ms", Gas: "o2", Focus: "up"}},
		{"mess.csv", "mess.txt", Options{Machine: "bay-9"}},
		{"mixed-decimals.csv", "mixed-decimals.txt", Options{Machine: "bay-2", Material: "carbon-steel", Gas: "oxygen"}},
		{"second-round.csv", "second-round.txt", Options{}},
	} {
		t.Run(strings.TrimSuffix(c.want, ".txt"), func(t *testing.T) {
			const tables = "../../../testdata/tables/"
			data, err := os.ReadFile(tables + c.sheet)
			if err != nil {
				t.Fatal(err)
			}
			lib := shop(t)
			imp := Read(data, lib, c.opt)
			got := imp.Preview(lib.Prefs())
			path := tables + "want/" + c.want
			if *update {
				if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(string(want), got); diff != "" {
				t.Errorf("-want +got\n%s", diff)
			}
			if len(imp.Problems) > 0 && len(imp.Files) > 0 {
				t.Error("a sheet with problems gives files to write")
			}
		})
	}
}
