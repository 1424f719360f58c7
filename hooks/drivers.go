package hooks

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"fettle/history/git"
	"fettle/schema"
)

// AttributesFile is where git looks which driver is for which file.
const AttributesFile = ".gitattributes"

// attributes are the lines of a library's own: they travel with it, and do nothing in a clone that has no drivers.
var attributes = []string{
	"/fettle.json merge=fettle diff=fettle",
	"/machines/** merge=fettle diff=fettle",
	"/sets/** merge=fettle diff=fettle",
	"/trials/** merge=fettle",
	"/approvers merge=fettle",
	"/people merge=fettle",
}

const attributesHead = "# fettle: merged and shown value by value; fettle hooks install sets up the rest"

// settingsFor are what git must know of the drivers in each clone. A program that is gone is looked for in the PATH; without one git
// merges by line, and shows files as they are.
func settingsFor(program string) [][2]string {
	find := "p=" + shellQuote(filepath.ToSlash(program)) + `; [ -x "$p" ] || p=$(command -v fettle)`
	return [][2]string{
		{"merge.fettle.name", "cut conditions, value by value"},
		{"merge.fettle.driver", find + `; if [ -n "$p" ]; then "$p" merge %O %A %B %P %L; else git merge-file -L here -L before -L there %A %O %B; fi`},
		{"merge.fettle.recursive", "binary"}, // what criss-cross merges have in common must stay JSON
		{"diff.fettle.textconv", `f() { ` + find + `; if [ -n "$p" ]; then "$p" textconv "$1"; else cat "$1"; fi; }; f`},
	}
}

// DriverStatus says how the drivers of a repository stand.
type DriverStatus struct {
	Configured bool     // git knows the drivers, as this program sets them up
	Libraries  []string // directories of the libraries that lie in the work tree, from its top; "" for the top
	Unlisted   []string // those of them whose .gitattributes lacks a line
}

// Complete reports whether nothing is missing.
func (s DriverStatus) Complete() bool { return s.Configured && len(s.Unlisted) == 0 }

// DriversOf says how the drivers stand in a repository.
func DriversOf(repo *git.Repo) (DriverStatus, error) {
	var s DriverStatus
	var err error
	if s.Configured, err = configured(repo, ""); err != nil {
		return s, err
	}
	if s.Libraries, err = librariesOf(repo); err != nil {
		return s, err
	}
	for _, root := range s.Libraries {
		_, missing, err := readAttributes(repo, root)
		if err != nil {
			return s, err
		}
		if len(missing) > 0 {
			s.Unlisted = append(s.Unlisted, root)
		}
	}
	return s, nil
}

// configured reports whether git knows the drivers: those of a program, or of any where program is "".
func configured(repo *git.Repo, program string) (bool, error) {
	for _, want := range settingsFor(program) {
		value, _, err := repo.Config(want[0])
		if err != nil {
			return false, err
		}
		same := value == want[1]
		if program == "" && strings.HasPrefix(want[1], "p=") || program == "" && strings.HasPrefix(want[1], "f()") {
			same = behindProgram(value) == behindProgram(want[1])
		}
		if !same {
			return false, nil
		}
	}
	return true, nil
}

// behindProgram is a command without the path of the program that it begins with.
func behindProgram(command string) string {
	_, rest, _ := strings.Cut(command, `; [ -x "$p" ]`)
	return rest
}

// librariesOf are the directories of libraries that git knows, and the one at the top.
func librariesOf(repo *git.Repo) ([]string, error) {
	if repo.Dir == "" {
		return nil, nil
	}
	files, err := repo.IndexFiles()
	if errors.Is(err, git.ErrUnmerged) {
		err = nil // in the middle of a merge only those at hand
	}
	if err != nil {
		return nil, err
	}
	var roots []string
	add := func(root string) {
		if _, err := os.Stat(filepath.Join(repo.Dir, filepath.FromSlash(root), schema.SettingsFile)); err == nil && !slices.Contains(roots, root) {
			roots = append(roots, root)
		}
	}
	for _, f := range files {
		if path.Base(f.Path) == schema.SettingsFile {
			add(strings.TrimSuffix(strings.TrimSuffix(f.Path, schema.SettingsFile), "/"))
		}
	}
	for dir := strings.TrimSuffix(repo.Prefix, "/"); ; dir = path.Dir(dir) {
		if dir == "." {
			dir = ""
		}
		add(dir)
		if dir == "" {
			break
		}
	}
	slices.Sort(roots)
	return roots, nil
}

// readAttributes reads the attributes of a library, and which of our lines are missing.
func readAttributes(repo *git.Repo, root string) (data []byte, missing []string, err error) {
	data, err = os.ReadFile(filepath.Join(repo.Dir, filepath.FromSlash(root), AttributesFile))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, nil, fmt.Errorf("%s cannot be read: %w", path.Join(root, AttributesFile), err)
	}
	have := map[string]bool{}
	for line := range strings.Lines(string(data)) {
		have[strings.Join(strings.Fields(line), " ")] = true
	}
	for _, line := range attributes {
		if !have[line] {
			missing = append(missing, line)
		}
	}
	return data, missing, nil
}

// InstallDrivers makes git merge and show the files of a library value by value: lines in the .gitattributes of each library, which
// travel with it, and settings of this clone, which do not. Lines and settings of somebody else stay. It says line by line what it
// did, and nothing where all was in place.
func InstallDrivers(repo *git.Repo, program string) (report []string, err error) {
	if program == "" {
		if program, err = Program(); err != nil {
			return nil, err
		}
	}
	roots, err := librariesOf(repo)
	if err != nil {
		return nil, err
	}
	for _, root := range roots {
		data, missing, err := readAttributes(repo, root)
		if err != nil {
			return report, err
		}
		if len(missing) == 0 {
			continue
		}
		if len(data) > 0 && !bytes.HasSuffix(data, []byte("\n")) {
			data = append(data, '\n')
		}
		if !bytes.Contains(data, []byte(attributesHead)) {
			data = append(data, attributesHead+"\n"...)
		}
		data = append(data, strings.Join(missing, "\n")+"\n"...)
		if err := writeAttributes(repo, root, data); err != nil {
			return report, err
		}
		report = append(report, path.Join(root, AttributesFile)+" tells git to merge and show recipes value by value; it is saved with the library")
	}
	if ok, err := configured(repo, program); err != nil || ok {
		return report, err
	}
	for _, want := range settingsFor(program) {
		if err := repo.ConfigSet(want[0], want[1]); err != nil {
			return report, err
		}
	}
	return append(report, "merge and diff drivers set up in this clone"), nil
}

func writeAttributes(repo *git.Repo, root string, data []byte) error {
	name := filepath.Join(repo.Dir, filepath.FromSlash(root), AttributesFile)
	if err := repo.ReplaceFile(name, data); err != nil {
		return fmt.Errorf("%s could not be written: %w", path.Join(root, AttributesFile), err)
	}
	return nil
}

// RemoveDrivers takes away what [InstallDrivers] set up in this clone, and no other line or setting. The lines in .gitattributes
// belong to the library and stay: without drivers they do nothing.
func RemoveDrivers(repo *git.Repo) (report []string, err error) {
	for _, want := range settingsFor("") {
		set, ok, err := repo.Setting(want[0])
		if err != nil {
			return report, err
		}
		ours := set.Value == want[1] || behindProgram(want[1]) != "" && behindProgram(set.Value) == behindProgram(want[1])
		if !ok || set.Scope != git.ScopeLocal || !ours {
			continue
		}
		if err := repo.ConfigUnset(want[0]); err != nil {
			return report, err
		}
		report = []string{"merge and diff drivers removed from this clone"}
	}
	return report, nil
}
