package main

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"fettle/history/signature"
)

// Stories of whole days of work, in testdata/script, one file each. They read like a session. Beside the commands of testscript
// and fettle itself they have:
//
//	library [DIR]             copies the conditions of the sample shop into DIR, this directory if none is named
//	person NAME               NAME (mara, jonas, iris) sits down: git's identity and signing key are theirs
//	approver NAME FILE        adds the line of a person to the file approvers
//	tick DURATION             lets time pass; it stands still otherwise
//	replace FILE OLD NEW      edits a file as a person would: the first OLD becomes NEW
//	exits CODE COMMAND ...    runs a command that must end with this exit code
//	newest KIND, forge FILE OLD NEW [AS], refused, json CODE COMMAND ...    see [scriptNewest], [scriptForge], [scriptRefused] and [scriptJSON]
//	plancode, fill FILE COLUMN LOW HIGH NAME=VALUE ...    see [scriptPlanCode] and [scriptFill]
var update = flag.Bool("update", false, "write what commands print into the scripts where it differs")

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"fettle": main})
}

func TestScript(t *testing.T) {
	files, err := filepath.Glob("../../testdata/script/*.txtar")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	if testing.Short() { // a sample: each step starts a program of its own, which takes long where races are looked for
		sample := files[:0]
		for i := 0; i < len(files); i += 8 {
			sample = append(sample, files[i])
		}
		files = sample
	}
	testscript.Run(t, testscript.Params{
		Files:         files,
		Setup:         setUpScript,
		UpdateScripts: *update,
		Cmds: map[string]func(*testscript.TestScript, bool, []string){
			"library":  scriptLibrary,
			"person":   scriptPerson,
			"approver": scriptApprover,
			"tick":     scriptTick,
			"replace":  scriptReplace,
			"exits":    scriptExits,
			"refused":  scriptRefused,
			"json":     scriptJSON,
			"newest":   scriptNewest,
			"forge":    scriptForge,
			"plancode": scriptPlanCode,
			"fill":     scriptFill,
		},
	})
}

// scriptStart is when every story begins.
var scriptStart = time.Date(2026, 7, 14, 6, 0, 0, 0, time.UTC)

func setUpScript(env *testscript.Env) error {
	home := filepath.Join(env.WorkDir, ".home")
	if err := os.MkdirAll(home, 0o777); err != nil {
		return err
	}
	for name, value := range map[string]string{
		"HOME": home, "USERPROFILE": home, "XDG_CONFIG_HOME": filepath.Join(home, ".config"),
		"GIT_CONFIG_NOSYSTEM": "1", "GIT_TERMINAL_PROMPT": "0", "GIT_EDITOR": ":", "GIT_PAGER": "cat",
		"TZ": "UTC", "LC_ALL": "C", "NO_COLOR": "1",
		"SSH_AUTH_SOCK": "",
	} {
		env.Setenv(name, value)
	}
	setClock(env.Setenv, scriptStart)
	config := "[init]\n\tdefaultBranch = main\n[gc]\n\tauto = 0\n[maintenance]\n\tauto = false\n[advice]\n\tdetachedHead = false\n"
	if err := os.WriteFile(filepath.Join(home, ".gitconfig"), []byte(config), 0o666); err != nil {
		return err
	}
	return seat(filepath.Join(home, ".gitconfig"), home, "mara")
}

// setClock stops all clocks: that of fettle and those of git.
func setClock(setenv func(name, value string), now time.Time) {
	setenv("SOURCE_DATE_EPOCH", strconv.FormatInt(now.Unix(), 10))
	setenv("GIT_AUTHOR_DATE", now.Format(time.RFC3339))
	setenv("GIT_COMMITTER_DATE", now.Format(time.RFC3339))
}

// persons of the stories, with the address that the roster knows them by.
var persons = map[string][2]string{
	"mara":  {"Mara Lind", "mara.lind@northgate.example"},
	"jonas": {"Jonas Falk", "jonas.falk@northgate.example"},
	"iris":  {"Iris Brandt", "iris.brandt@northgate.example"},
}

// personKey makes the key of a person, which follows from the name, or finds it.
func personKey(home, name string) (path string, key signature.Signer, err error) {
	path = filepath.Join(home, ".ssh", name)
	if _, err := os.Stat(path); err == nil {
		key, err = signature.Load(path)
		return path, key, err
	}
	var seed [32]byte
	copy(seed[:], name)
	key, err = signature.GenerateFrom(seed, path, name)
	return path, key, err
}

func seat(config, home, name string) error {
	who, ok := persons[name]
	if !ok {
		return fmt.Errorf("nobody here is called %q", name)
	}
	path, _, err := personKey(home, name)
	if err != nil {
		return err
	}
	for _, setting := range [][2]string{{"user.name", who[0]}, {"user.email", who[1]}, {"user.signingKey", path}} {
		if out, err := exec.Command("git", "config", "--file", config, setting[0], setting[1]).CombinedOutput(); err != nil {
			return fmt.Errorf("git config: %v %s", err, out)
		}
	}
	return nil
}

func scriptPerson(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: person NAME")
	}
	home := ts.Getenv("HOME")
	ts.Check(seat(filepath.Join(home, ".gitconfig"), home, args[0]))
}

func scriptApprover(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: approver NAME FILE")
	}
	who, ok := persons[args[0]]
	if !ok {
		ts.Fatalf("nobody here is called %q", args[0])
	}
	_, key, err := personKey(ts.Getenv("HOME"), args[0])
	ts.Check(err)
	line, err := signature.FormatLine(who[1], key.PublicKey(), "")
	ts.Check(err)
	f, err := os.OpenFile(ts.MkAbs(args[1]), os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o666)
	ts.Check(err)
	_, err = f.WriteString(line + "\n")
	ts.Check(errors.Join(err, f.Close()))
}

func scriptLibrary(ts *testscript.TestScript, neg bool, args []string) {
	dir := "."
	if len(args) == 1 {
		dir = args[0]
	}
	if neg || len(args) > 1 {
		ts.Fatalf("usage: library [DIR]")
	}
	ts.Check(os.CopyFS(ts.MkAbs(dir), os.DirFS(sampleLibrary)))
}

// sampleLibrary is absolute, since stories run elsewhere.
var sampleLibrary = func() string {
	dir, err := filepath.Abs(filepath.Join("demo", "library"))
	if err != nil {
		panic(err)
	}
	return dir
}()

func scriptTick(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: tick DURATION")
	}
	d, err := time.ParseDuration(args[0])
	ts.Check(err)
	seconds, err := strconv.ParseInt(ts.Getenv("SOURCE_DATE_EPOCH"), 10, 64)
	ts.Check(err)
	setClock(ts.Setenv, time.Unix(seconds, 0).UTC().Add(d))
}

func scriptReplace(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 3 {
		ts.Fatalf("usage: replace FILE OLD NEW")
	}
	text := ts.ReadFile(args[0])
	if !strings.Contains(text, args[1]) {
		ts.Fatalf("%s does not hold %q", args[0], args[1])
	}
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(strings.Replace(text, args[1], args[2], 1)), 0o666))
}

func scriptExits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE COMMAND ...")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	err = ts.Exec(args[1], args[2:]...)
	code := 0
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		code = exit.ExitCode()
	} else {
		ts.Check(err)
	}
	if code != want {
		ts.Fatalf("%s ended with %d, want %d", strings.Join(args[1:], " "), code, want)
	}
}
