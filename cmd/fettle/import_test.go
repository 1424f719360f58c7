package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fettle/history/git/gittest"
)

// sampleShop is a repository that holds the sample library, saved and not adopted.
func sampleShop(t *testing.T) *gittest.Repo {
	t.Helper()
	repo := gittest.New(t)
	if err := os.CopyFS(repo.Dir, os.DirFS("demo/library")); err != nil {
		t.Fatal(err)
	}
	repo.Run("add", ".")
	repo.Run("commit", "-qm", "What both bays cut with")
	return repo
}

// typed runs fettle as somebody would in a directory, and returns what it said and its exit code.
func typed(dir, input string, args ...string) (out string, code int) {
	var b bytes.Buffer
	code = run(append([]string{"-C", dir}, args...), strings.NewReader(input), &b, &b)
	return b.String(), code
}

func TestImportPreviewsAndWrites(t *testing.T) {
	repo := sampleShop(t)
	const sheet = "thickness [mm];speed [m/min]\n3;3,5\n4;3,4\n"
	args := []string{"import", "-", "--machine", "bay-2", "--material", "mild steel", "--gas", "O2"}
	out, code := typed(repo.Dir, sheet, args...)
	if code != 0 || !strings.Contains(out, "3.8 m/min -> 3.5 m/min") || !strings.Contains(out, "nothing is written yet") {
		t.Fatalf("%d\n%s", code, out)
	}
	if status := repo.Run("status", "--porcelain"); status != "" {
		t.Fatalf("a preview wrote: %s", status)
	}
	out, code = typed(repo.Dir, sheet, append(args, "--write")...)
	if code != 0 || !strings.Contains(out, "written  sets/bay-2/carbon-steel-oxygen.json") || !strings.Contains(out, "fettle adopt") {
		t.Fatalf("%d\n%s", code, out)
	}
	if diff := repo.Run("diff", "--numstat"); !strings.HasPrefix(diff, "1\t1\tsets/bay-2/carbon-steel-oxygen.json") {
		t.Errorf("one value was changed, and git sees %s", diff)
	}
	out, code = typed(repo.Dir, sheet, append(args, "--write")...)
	if code != 0 || !strings.Contains(out, "nothing to write") {
		t.Errorf("a second time: %d\n%s", code, out)
	}
}

func TestImportWritesNothingOfABadSheet(t *testing.T) {
	repo := sampleShop(t)
	const sheet = "thickness [mm],speed [m/min]\n3,3.5\n01-Aug,3.4\n"
	args := []string{"import", "-", "--machine", "bay-2", "--material", "ms", "--gas", "O2", "--write"}
	out, code := typed(repo.Dir, sheet, args...)
	if code != 1 || !strings.Contains(out, `A3 (row 3, column A "thickness [mm]")`) || !strings.Contains(out, "1/8 in") {
		t.Errorf("%d\n%s", code, out)
	}
	if status := repo.Run("status", "--porcelain"); status != "" {
		t.Errorf("it wrote: %s", status)
	}
	out, code = typed(repo.Dir, sheet, append(args, "--format", "json")...)
	var report importReport
	if err := json.Unmarshal([]byte(out), &report); err != nil || code != 1 {
		t.Fatalf("%d %v\n%s", code, err, out)
	}
	if len(report.Problems) != 1 || report.Problems[0].Row != 3 || report.Problems[0].Column != 1 || report.Problems[0].Cell != "A3" || report.Written || len(report.Files) > 0 {
		t.Errorf("%+v", report)
	}
	for name, c := range map[string]struct {
		input string
		args  []string
		want  string
	}{
		"no such file":  {"", []string{"import", filepath.Join(repo.Dir, "none.csv")}, "cannot be read"},
		"a directory":   {"", []string{"import", repo.Dir}, "is a directory"},
		"a workbook":    {"PK\x03\x04", []string{"import", "-"}, "workbook"},
		"no file named": {"", []string{"import"}, "one file is needed"},
	} {
		if out, code := typed(repo.Dir, c.input, c.args...); code != 2 || !strings.Contains(out, c.want) {
			t.Errorf("%s: %d\n%s", name, code, out)
		}
	}
}

// A file that cannot be written takes the others back with it.
func TestImportWritesAllOrNothing(t *testing.T) {
	repo := sampleShop(t)
	outside := t.TempDir()
	if err := os.Symlink(outside, repo.Path("sets/bay-9")); err != nil {
		t.Skip("no symbolic links here")
	}
	machine := strings.Replace(repo.Read("machines/bay-2.json"), `"bay-2"`, `"bay-9"`, 2)
	repo.Write("machines/bay-9.json", machine)
	const sheet = "machine,thickness [mm],nozzle,standoff [mm],power [kW],speed [m/min],pressure [bar],focus up [mm]\n" +
		"bay-2,3,D1.0,1,1.8,3.5,0.25,2\nbay-2,7,D1.2,1,2.4,2.6,0.38,3\nbay-9,3,D1.0,1,1.8,3.5,0.25,2\n"
	out, code := typed(repo.Dir, sheet, "import", "-", "--material", "ms", "--gas", "O2", "--write")
	if code != 2 || !strings.Contains(out, "symbolic link") {
		t.Fatalf("%d\n%s", code, out)
	}
	if diff := repo.Run("diff", "--stat"); diff != "" {
		t.Errorf("half was written: %s", diff)
	}
	if left, _ := os.ReadDir(outside); len(left) > 0 {
		t.Error("it wrote through the link")
	}
}

// Before an adoption nothing is approved: export says so, and marks every row of --current. What it writes, import takes back.
func TestExportMarksWhatIsNotApproved(t *testing.T) {
	repo := sampleShop(t)
	if out, code := typed(repo.Dir, "", "export"); code != 1 || !strings.Contains(out, "no condition is approved") {
		t.Errorf("%d\n%s", code, out)
	}
	sheet, code := typed(repo.Dir, "", "export", "--current", "bay-2/carbon-steel/oxygen/")
	if code != 0 {
		t.Fatalf("%d\n%s", code, sheet)
	}
	rows, err := csv.NewReader(strings.NewReader(sheet)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		if row[0] != "bay-2" || row[len(row)-1] != notApproved {
			t.Errorf("row %v", row)
		}
	}
	if out, code := typed(repo.Dir, sheet, "import", "-"); code != 0 || !strings.Contains(out, "nothing to write") {
		t.Errorf("%d\n%s", code, out)
	}
	marked, code := typed(repo.Dir, "", "export", "--current", "--bom")
	if code != 0 || !strings.HasPrefix(marked, "\ufeffmachine,") {
		t.Errorf("%d %.40q", code, marked)
	}
	if out, code := typed(repo.Dir, "", "export", "--current", "--format", "json"); code != 0 || !json.Valid([]byte(out)) || !strings.Contains(out, `"status": "NOT APPROVED"`) {
		t.Errorf("%d\n%.300s", code, out)
	}
}

func TestImportTemplate(t *testing.T) {
	repo := sampleShop(t)
	sheet, code := typed(repo.Dir, "", "import", "--template")
	if code != 0 || !strings.Contains(sheet, "thickness [mm]") || !strings.Contains(sheet, "\nbay-2,") {
		t.Fatalf("%d\n%s", code, sheet)
	}
	if out, code := typed(repo.Dir, sheet, "import", "-"); code != 0 || !strings.Contains(out, "updated  bay-2/carbon-steel/oxygen/3mm") {
		t.Errorf("%d\n%s", code, out)
	}
	if out, code := typed(t.TempDir(), "", "import", "--template"); code != 0 || !strings.Contains(out, "\nbay-1,") {
		t.Errorf("outside of a library: %d\n%s", code, out)
	}
}
