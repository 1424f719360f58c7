package main

import (
	"bytes"
	"encoding/pem"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"

	"golang.org/x/crypto/ssh"
)

// A memoryRow is a command whose largest memory is measured. Lines are of fettle, or of git where they begin with it.
type memoryRow struct {
	command string
	before  []string     // lines that are run before, not measured
	prepare func() error // what no line does; may be nil
}

// memory prints the largest memory of every command that reads a library, or of those with one of the parts of names in only, with
// nothing remembered. What a command writes is taken back.
func (b *bench) memory(size string, only []string) error {
	dir := b.library(size)
	head, err := exec.Command("git", "-C", dir, "rev-parse", "HEAD").Output()
	if err != nil {
		return err
	}
	base := strings.TrimSpace(string(head))
	tidy, err := b.signing(dir)
	if err != nil {
		return err
	}
	defer tidy()
	scratch, err := os.MkdirTemp(b.dir, "memory-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(scratch)
	fmt.Println("\n| command, nothing remembered, " + size + " | peak, MB | seconds |")
	fmt.Println("|---|---:|---:|")
	for _, row := range b.memoryRows(dir, scratch) {
		asked := func(part string) bool { return strings.Contains(row.command, strings.TrimPrefix(part, ofMemory)) }
		if len(only) > 0 && !slices.ContainsFunc(only, asked) {
			continue
		}
		took, peak, err := b.peakOf(dir, row)
		name := strings.ReplaceAll(row.command, scratch+string(filepath.Separator), "")
		if err != nil {
			fmt.Printf("| `%s` | %s | |\n", name, strings.ReplaceAll(strings.SplitN(err.Error(), "\n", 2)[0], "|", "/"))
		} else {
			fmt.Printf("| `%s` | %d | %.1f |\n", name, peak>>20, took)
		}
		if err := restore(dir, base); err != nil {
			return err
		}
	}
	return nil
}

func (b *bench) peakOf(dir string, row memoryRow) (seconds float64, peak int64, err error) {
	if row.prepare != nil {
		if err := row.prepare(); err != nil {
			return 0, 0, err
		}
	}
	for _, line := range row.before {
		if _, _, _, err := timed(dir, b.words(line), true); err != nil {
			return 0, 0, err
		}
	}
	args := b.words(row.command)
	if args[0] == "git" && args[1] == "commit" {
		if err := git(dir, nil, "add", "-A"); err != nil {
			return 0, 0, err
		}
	}
	if err := forget(dir); err != nil {
		return 0, 0, err
	}
	took, _, peak, err := timed(dir, args, true)
	if exit := (*exec.ExitError)(nil); errors.As(err, &exit) && slices.Contains(notKnown, row.command) {
		err = nil
	}
	return took.Seconds(), peak, err
}

// notKnown are commands about what is not there, or might be several: they end with 2.
var notKnown = []string{"lint 3mm", "lint nonsense", "show 7KQ2-M9TD", "show " + codeOnce, "review bay-1/carbon-stell/oxygen/3mm"}

// codeOnce is of a recipe that the first commit of L held, and that nobody decided on.
const codeOnce = "VGQ0-DDX5"

// words are the arguments of a line.
func (b *bench) words(line string) []string {
	args := strings.Fields(line)
	for i := range args {
		if args[i] == theEscape {
			args[i] = b.escape
		}
	}
	if args[0] != "git" {
		args = append([]string{b.program}, args...)
	}
	return args
}

// theEscape stands in a line for the record that escapes wrote.
const theEscape = "ESCAPE"

// escapes loads all that a unit has, and writes down that bad parts of it got out.
func (b *bench) escapes(dir string) func() error {
	return func() error {
		for _, line := range []string{"load bay-001/ --current --unit bay-001 --at 2019-03-12T10:00", "escape --unit bay-001 --from 2019-03-15T10:00 --to 2019-03-17T10:00 --symptom dross"} {
			if _, _, _, err := timed(dir, b.words(line), false); err != nil {
				return err
			}
		}
		files, err := filepath.Glob(filepath.Join(dir, "records", "*", "*", "*-escape-*.json"))
		if err != nil || len(files) == 0 {
			return fmt.Errorf("no escape was written: %w", err)
		}
		b.escape = strings.TrimSuffix(filepath.Base(files[len(files)-1]), ".json")
		return nil
	}
}

// restore takes back what a command did to a library.
func restore(dir, base string) error {
	for _, args := range [][]string{{"checkout", "-q", "-f", "main"}, {"reset", "-q", "--hard", base}, {"clean", "-fdq"}} {
		if err := git(dir, nil, args...); err != nil {
			return err
		}
	}
	refs, err := exec.Command("git", "-C", dir, "for-each-ref", "--format=%(refname)", "refs/heads/waiting", "refs/remotes").Output()
	if err != nil {
		return err
	}
	for _, ref := range strings.Fields(string(refs)) {
		if err := git(dir, nil, "update-ref", "-d", ref); err != nil {
			return err
		}
	}
	if exec.Command("git", "-C", dir, "config", "remote.origin.url").Run() == nil {
		return git(dir, nil, "remote", "remove", "origin")
	}
	return nil
}

// signing gives the lead a key at this computer, and returns what takes it away again.
func (b *bench) signing(dir string) (func(), error) {
	block, err := ssh.MarshalPrivateKey(key(lead), lead)
	if err != nil {
		return nil, err
	}
	file, setting := filepath.Join(b.dir, "key-of-lead"), "fettle."+lead+".signingkey"
	if err := os.WriteFile(file, pem.EncodeToMemory(block), 0o600); err != nil {
		return nil, err
	}
	return func() {
		_ = git(dir, nil, "config", "--unset", setting)
		_ = os.Remove(file)
	}, git(dir, nil, "config", setting, file)
}

// replaced writes files of a library anew with another text in place of one.
func replaced(dir, pattern, from, to string) func() error {
	return func() error {
		files, err := filepath.Glob(filepath.Join(dir, filepath.FromSlash(pattern)))
		if err != nil || len(files) == 0 {
			return fmt.Errorf("no file %s: %w", pattern, err)
		}
		for _, file := range files {
			data, err := os.ReadFile(file)
			if err != nil {
				return err
			}
			if err := os.WriteFile(file, bytes.ReplaceAll(data, []byte(from), []byte(to)), 0o666); err != nil {
				return err
			}
		}
		return nil
	}
}

func (b *bench) memoryRows(dir, scratch string) []memoryRow {
	const id = "bay-001/carbon-steel/oxygen/3mm"
	const why = " --cause trial-result --because timing"
	const by = " --by " + lead
	const past = "git -c core.hooksPath=/dev/null commit -q -a -m past"
	edit, reason, hooks := "set "+id+" cut.pressure=1.07bar", "reason "+id+why, "hooks install"
	prices := replaced(dir, "fettle.json", `"oxygen_m3": 0.9`, `"oxygen_m3": 0.95`)
	supply := replaced(dir, "machines/bay-001.json", `"line_pressure": "20 bar"`, `"line_pressure": "20.1 bar"`)
	notes := replaced(dir, "sets/*/*.json", `"format": 1,`, "\"format\": 1,\n  \"note\": \"seen\",")
	spaces := replaced(dir, "sets/*/*.json", `"format": 1,`, `"format":  1,`)
	roster := replaced(dir, "approvers", lead+" ssh-", lead+` valid-after="20190101Z" ssh-`)
	persons := replaced(dir, "people", lead+" ssh-", lead+` valid-after="20190101Z" ssh-`)
	kerfs := replaced(dir, "sets/*/*.json", `"kerf": "0.3`, `"kerf": "0.5`)
	saved := []string{edit, reason, "git add -A", past}
	sent := append([]string{"git checkout -q -b waiting/x"}, append(saved, "git checkout -q main")...)
	sheet, server := filepath.Join(scratch, "sheet.csv"), filepath.Join(scratch, "server.git")
	exported := func(what string) func() error {
		return func() error {
			cmd := exec.Command(b.program, strings.Fields("export --current "+what)...)
			cmd.Dir = dir
			out, err := cmd.Output()
			if err != nil {
				return err
			}
			return os.WriteFile(sheet, bytes.ReplaceAll(out, []byte(",0.33,"), []byte(",0.34,")), 0o666)
		}
	}
	shared := func(args ...string) func() error {
		return func() error {
			if err := os.RemoveAll(server); err != nil {
				return err
			}
			if err := git(dir, nil, append(args, server)...); err != nil {
				return err
			}
			script := "#!/bin/sh\nexec '" + b.program + "' gate pre-receive\n"
			if err := os.MkdirAll(filepath.Join(server, "hooks"), 0o777); err != nil {
				return err
			}
			return os.WriteFile(filepath.Join(server, "hooks", "pre-receive"), []byte(script), 0o777)
		}
	}
	const set = "sets/bay-001/carbon-steel-oxygen.json"
	base, here, there := filepath.Join(scratch, "base"), filepath.Join(scratch, "here"), filepath.Join(scratch, "there")
	sides := func() error {
		data, err := os.ReadFile(filepath.Join(dir, set))
		return errors.Join(err, os.WriteFile(base, data, 0o666), os.WriteFile(here, bytes.Replace(data, []byte(`"kerf": "0.33`), []byte(`"kerf": "0.34`), 1), 0o666),
			os.WriteFile(there, bytes.Replace(data, []byte(`"focus": "1.8`), []byte(`"focus": "1.9`), 1), 0o666))
	}
	whole := shared("clone", "-q", "--bare", "--shared", dir)
	var rows []memoryRow
	add := func(command string, prepare func() error, before ...string) {
		rows = append(rows, memoryRow{command, before, prepare})
	}
	for _, command := range []string{"status", "lint --quiet", "lint " + id, "lint --staged --quiet", "lint 3mm", "lint nonsense", "review " + id, "review", "review --format json", "review --format markdown", "review --format html",
		"review --range HEAD~3..HEAD", "review --range HEAD~3..HEAD --format html", "review --range HEAD~150..HEAD~100", "audit " + id, "audit", "audit --format json", "audit bay-001", "audit bay-001 --format json",
		"audit --unapproved", "audit --since 2019-03-10", "audit " + id + " --as-of 2026-01-01", "audit --as-of 2026-01-01", "audit --as-of 2026-01-01 --format json", "verify --format json",
		"show " + id, "show " + id + " --format html", "show 7KQ2-M9TD", "review bay-1/carbon-stell/oxygen/3mm", "verify", "trend bay-001/carbon-steel/oxygen", "trend bay-001", "trend bay-001 --format html", "suggest bay-001/carbon-steel/oxygen/3.1mm",
		"explain energy-short --on " + id, "export", "export --format json", "export --current", "export --current --format json", "export bay-001/carbon-steel/", "compare --range HEAD~1..HEAD", "compare bay-001 bay-002", "escape",
		edit, "copy " + id + " 3.07mm", "copy bay-001 bay-new", "reason" + why, "load " + id + " --current", "load bay-001/ --current --unit bay-001", "triage " + id + " --symptom dross",
		"trial plan " + id + " --vary cut.pressure", "trial record " + id + " --good", "trial show", "rules", "format --check", "schema check sets/bay-001/carbon-steel-oxygen.json", "hooks install",
		"permit bay-006/aluminium/air/2mm --until 24h --because timing", "waive standoff-orifice " + id + " --until 2099-01-01 --because timing" + by,
		"adopt bay-002/aluminium/air/ --because timing" + by, "adopt --because timing" + by, "approve" + by, "gate --range HEAD~5..HEAD --ref main"} {
		add(command, nil)
	}
	add("audit --escape "+theEscape, b.escapes(dir))
	add("audit --escape "+theEscape+" --format json", b.escapes(dir))
	add("reason"+why, nil, edit)
	add("put-back "+id, nil, edit)
	add("undo", nil, edit, reason)
	add("save"+why, nil, edit)
	add("lint --quiet", prices)
	for _, format := range []string{"json"} {
		add("lint --format "+format, nil)
	}
	for _, command := range []string{"lint --against HEAD~3 --quiet", "lint --rev HEAD~3 --quiet", "show " + id + " --format json", "show " + codeOnce, "trial show --format json", "trial show " + id, "trial show " + id + " --format html",
		"triage " + id + " --symptom dross --format json", "triage " + id + " --symptom dross --found nozzle-wear --because worn", "escape " + id + " --unit bay-001 --from 2019-03-15 --to 2019-03-16 --symptom dross --job 4711 --lot H-7 --because late",
		"escape --unit bay-001 --from 2019-03-15 --to 2019-03-16 --symptom dross", "load bay-001/ --approved --unit bay-001", "load " + id + " --unit bay-001 --recipe 794c", "permit " + id + " --until 24h --lot H-7 --unit bay-001 --because timing",
		"explain energy-short", "rules --format json", "schema", "export --current bay-001/", "trend bay-001 --format json", "status --format json", "textconv " + set,
		"__complete show bay-001/", "__complete show 3", "__complete approve b", "__complete withdraw 1"} {
		add(command, nil)
	}
	if records, _ := filepath.Glob(filepath.Join(dir, "records", "*", "*", "*-reason-*.json")); len(records) > 0 {
		name := strings.TrimSuffix(filepath.Base(records[0]), ".json")
		add("withdraw "+name[strings.LastIndex(name, "-")+1:]+" --because timing", nil)
	}
	add("format", spaces)
	add("format --check", spaces)
	add("approve roster"+by, roster, past)
	add("approve people"+by, persons, past)
	add("merge "+base+" "+here+" "+there+" "+set+" 7", sides)
	add("compare "+sheet+" --unit bay-001 --take "+id, exported("bay-001/"))
	add("compare "+sheet+" --unit bay-001 --format json", exported("bay-001/"))
	add("approve "+id+by, nil, saved...)
	add("reject "+id+" --because timing"+by, nil, saved...)
	add("approve settings"+by, prices, past)
	add("approve machine bay-001"+by, supply, past)
	add("review --branch x", nil, sent...)
	add("review --branch x --format json", nil, sent...)
	add("review --branch x --format html", nil, sent...)
	add("approve --branch x "+id+by, nil, sent...)
	add("approve --branch x"+by, nil, sent...)
	add("send x", whole, append([]string{"git remote add origin " + server, "git fetch -q origin"}, saved...)...)
	add("import "+sheet, exported("bay-001/"))
	add("import "+sheet+" --write", exported("bay-001/"))
	add("import "+sheet, exported(""))
	add("import "+sheet+" --write", exported(""))
	add("compare "+sheet+" --unit bay-001", exported("bay-001/"))
	add("git commit -q -m taken", nil, hooks, edit, reason)
	add("git commit -q -m refused", nil, hooks, edit)
	add("git commit -q -m prices", prices, hooks)
	add("git commit -q -m machine", supply, hooks)
	add("git commit -q -m notes-in-all-sets", notes, hooks)
	add("git commit -q -m all-sets-refused", kerfs, hooks)
	add("git push -q "+server+" main", shared("init", "-q", "--bare"))
	add("git push -q "+server+" main:side", whole)
	add("git push -q "+server+" main:side", whole, saved...)
	add("git push -q "+server+" main:main", whole, append(saved, "approve "+id+by)...)
	return rows
}
