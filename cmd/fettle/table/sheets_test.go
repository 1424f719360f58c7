package table

import (
	"flag"
	"os"
	"path/filepath"
	"slices"
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

// TestScan: a table as a machine writes it out, with headers and names of its own, members missing and the focus into the plate.
func TestScan(t *testing.T) {
	lib := shop(t)
	got := Scan([]byte("PRG;Mat;Gas1;Thk;Vc;Pg;Fz;Free\n17;ST;2;10;2,9;0,40;-3,0;x\n18;ST;2;12;2,4;abc;-3,0;y\n"), lib, Options{Machine: "bay-2", Focus: "down",
		Columns: map[string]string{"prg": "", "mat": "material", "gas1": "gas", "thk": "thickness [mm]", "Vc": "cut.speed [m/min]", "Pg": "cut.pressure [bar]", "Fz": "cut.focus [mm]", "Free": ""},
		Names:   map[string]string{"st": "carbon-steel", "2": "oxygen"}})
	if len(got.Problems) != 1 || got.Problems[0].At.String() != "F3" || got.Problems[0].Column != "Pg" {
		t.Errorf("problems: %v", got.Problems)
	}
	if len(got.Rows) != 1 || got.Rows[0].ID.String() != "bay-2/carbon-steel/oxygen/10mm" {
		t.Fatalf("rows: %+v", got.Rows)
	}
	text := ""
	for _, f := range got.Rows[0].Fields {
		text += f.Path + " " + f.Text + " " + f.Quantity.Canonical() + "\n"
	}
	if want := "thickness 10 mm 1/100 m\ncut.speed 2.9 m/min 29/600 m/s\ncut.pressure 0.40 bar 40000 Pa\ncut.focus 3.0 mm 3/1000 m\n"; text != want {
		t.Errorf("fields:\n%s", text)
	}
	if want := []string{"cut.speed", "cut.pressure", "cut.focus"}; !slices.Equal(got.Paths, want) {
		t.Errorf("columns: %v", got.Paths)
	}
}
