package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"

	"github.com/google/renameio/v2/maybe"
	"github.com/spf13/cobra"

	"fettle/cmd/fettle/demo"
	"fettle/history/git"
	"fettle/hooks"
)

func init() {
	commands = append(commands, func(a *app) *cobra.Command {
		return &cobra.Command{Use: "demo [DIR]", Short: "a sample library with a real history, and a walk through the main job on it", Args: cobra.MaximumNArgs(1),
			Long: "Makes the library of an invented plate shop in DIR (fettle-demo if you name none): two machines, fourteen months of changes, trials and\n" +
				"decisions by five invented people. Then it walks through the main job on it, each command as you would type it, with what it says.",
			RunE: func(cmd *cobra.Command, args []string) error {
				dir := "fettle-demo"
				if len(args) == 1 {
					dir = args[0]
				}
				return a.demo(dir)
			}}
	})
}

func (a *app) demo(dir string) error {
	if err := a.oneOf("text"); err != nil {
		return err
	}
	for _, name := range []string{"GIT_DIR", "GIT_WORK_TREE", "GIT_INDEX_FILE", "GIT_OBJECT_DIRECTORY"} {
		if os.Getenv(name) != "" {
			return troublef("Unset it: unset "+name, "%s is set, so git would work on another repository than the sample", name)
		}
	}
	full := dir
	if !filepath.IsAbs(dir) {
		full = filepath.Join(a.dir, dir)
	}
	full, err := filepath.Abs(full)
	if err != nil {
		return err
	}
	story, err := demo.Northgate()
	if err != nil {
		return err
	}
	made, err := story.Build(full)
	if errors.Is(err, demo.ErrNotEmpty) {
		return refusef("Name another: fettle demo DIR\nOr remove it first, if it is an old sample.", "%s is there already and not empty; nothing was changed", full)
	}
	if err != nil {
		return fmt.Errorf("the sample could not be made in %s: %w", full, err)
	}
	w := &walk{app: a, shop: made, typed: dir}
	if err := w.ready(); err != nil {
		return err
	}
	if a.quiet {
		return nil
	}
	w.introduce()
	for _, s := range walkSteps {
		if err := w.step(s); err != nil {
			return err
		}
	}
	w.end()
	return nil
}

// walk shows the main job on a sample that was just built.
type walk struct {
	*app
	shop   *demo.Shop
	typed  string // the directory as the person named it
	bin    string // directory of the copy of this program; "" where none was needed
	report []string
}

// A walkStep is one command as a person would type it, after a line that says what it is for.
type walkStep struct {
	about string
	args  []string
	code  int // exit code that it must have
	most  int // lines that are shown, besides the last
}

const (
	walkEdited  = "bay-2/carbon-steel/oxygen/3mm"
	walkWaiting = "bay-2/carbon-steel/oxygen/10mm"
	walkEscaped = "bay-5/aluminium/nitrogen/6mm"
)

var walkSteps = []walkStep{
	{"What does the check say of all conditions?", []string{"fettle", "lint"}, exitGood, 4},
	{"Somebody means 0.35 bar and types 35.", []string{"fettle", "set", walkEdited, "cut.pressure=35bar"}, exitFound, 20},
	{"They save it all the same, with plain git.", []string{"git", "commit", "-am", "More oxygen for 3 mm"}, exitFound, 20},
	{"Nothing was saved. The approved recipe comes back:", []string{"fettle", "put-back", walkEdited}, exitGood, 12},
	{"One change waits for a decision. What is it, against the last approved version?", []string{"fettle", "review"}, exitGood, 24},
	{"What happened to that condition before?", []string{"fettle", "audit", walkWaiting}, exitGood, 30},
	{"And how does everything stand?", []string{"fettle", "status"}, exitGood, 14},
}

// nextSteps are what the walk ends with. They work in this order.
var nextSteps = []walkStep{
	{"decide on what waits; you are Jonas Falk here, who leads the shop", []string{"fettle", "approve", walkWaiting, "--because", "Looked at the flanges, clean"}, exitGood, 0},
	{"bad parts got out in August: who changed what before", []string{"fettle", "audit", walkEscaped}, exitGood, 0},
	{"a change of your own, checked at once", []string{"fettle", "set", "bay-2/carbon-steel/oxygen/6mm", "cut.focus=3.2mm"}, exitGood, 0},
	{"save it with its reason; a second person has to approve it", []string{"fettle", "save", "--cause", "quality-target", "--ruled-out", "nozzle-wear", "--because", "Trying it out"}, exitGood, 0},
	{"why 35 bar was stopped", []string{"fettle", "explain", "pressure-over-line"}, exitGood, 0},
	{"hold every record and signature to the history", []string{"fettle", "verify"}, exitGood, 0},
}

// ready puts the hooks in place. A program that go run made is gone when it ends, so the sample gets a copy that stays.
func (w *walk) ready() error {
	program, err := hooks.Program()
	if err != nil {
		return err
	}
	if hooks.Passing(program) {
		w.bin = filepath.Join(w.shop.Dir, ".git", "fettle-demo-program")
		if program, err = copyProgram(program, w.bin); err != nil {
			return err
		}
	}
	if err := ownHooks(w.shop.Dir); err != nil {
		return err
	}
	repo, err := git.Open(w.shop.Dir)
	if err != nil {
		return err
	}
	defer repo.Close()
	w.report, err = hooks.InstallWith(repo, hooks.InstallOptions{Program: program})
	return err
}

// ownHooks gives the sample a hook directory of its own where the user or the system set one for all repositories: the sample must
// not put anything there.
func ownHooks(dir string) error {
	repo, err := git.Open(dir)
	if err != nil {
		return err
	}
	defer repo.Close()
	where, set, err := repo.HooksPath()
	if err != nil || !set || where.Scope != git.ScopeGlobal && where.Scope != git.ScopeSystem {
		return err
	}
	return repo.ConfigSet("core.hooksPath", filepath.ToSlash(filepath.Join(dir, ".git", "hooks")))
}

func copyProgram(from, dir string) (string, error) {
	data, err := os.ReadFile(from)
	if err != nil {
		return "", err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return "", cannotWrite(dir, err)
	}
	to := filepath.Join(dir, "fettle")
	if runtime.GOOS == "windows" {
		to += ".exe"
	}
	if err := maybe.WriteFile(to, data, 0o755); err != nil {
		return "", cannotWrite(to, err)
	}
	return to, nil
}

func (w *walk) introduce() {
	w.say("made     %s", clean(w.shop.Dir))
	w.say("         an invented plate shop: two machines, five people, %d saved steps from %s to %s", w.shop.Commits, w.shop.From.Format("2 January 2006"), w.shop.To.Format("2 January 2006"))
	w.say("         here you are %s, who leads it. The keys of all five lie in %s; anybody can work", w.shop.Lead.Name, filepath.ToSlash(filepath.Join(".git", demo.KeysDir)))
	w.say("         them out, so they are good for this sample and nothing else")
	for _, line := range w.report {
		w.say("hook     %s", clean(line))
	}
	w.say("\nThe main job on it, command by command.\n")
	w.say("$ cd %s", quotedArg(w.typed))
}

// step shows a command and what it says, and stops the walk where it ends otherwise than it should.
func (w *walk) step(s walkStep) error {
	w.say("\n%s\n$ %s", s.about, asTyped(s.args))
	var out bytes.Buffer
	code, err := w.carryOut(s.args, &out)
	if err != nil {
		return err
	}
	w.say("%s", shortened(out.String(), s.most))
	if code != s.code {
		return fmt.Errorf("the walk stops here: %q ended with exit code %d and should end with %d", asTyped(s.args), code, s.code)
	}
	return nil
}

// shortened leaves lines out of the middle of a long output, says how many, and keeps the last one, which sums up.
func shortened(out string, most int) string {
	lines := strings.Split(strings.TrimRight(out, "\n"), "\n")
	left := len(lines) - most - 1
	if left < 2 {
		return strings.Join(lines, "\n")
	}
	return strings.Join(lines[:most], "\n") + fmt.Sprintf("\n… %d more lines: run it to see them\n", left) + lines[len(lines)-1]
}

// carryOut runs a command in the sample: fettle in this process, git as the program that it is.
func (w *walk) carryOut(args []string, out io.Writer) (code int, err error) {
	if args[0] == "fettle" {
		color := "never"
		if w.colored() {
			color = "always"
		}
		return run(append([]string{"-C", w.shop.Dir, "--color", color}, args[1:]...), strings.NewReader(""), out, out), nil
	}
	cmd := exec.Command(args[0], args[1:]...)
	cmd.Dir, cmd.Stdout, cmd.Stderr = w.shop.Dir, out, out
	var failed *exec.ExitError
	if err = cmd.Run(); errors.As(err, &failed) {
		return failed.ExitCode(), nil
	}
	return 0, err
}

func (w *walk) end() {
	w.say("\nTo try next, in %s:", clean(w.typed))
	for _, s := range nextSteps {
		w.say("  %s\n      %s", asTyped(s.args), s.about)
	}
	w.say("  %s\n      be the deputy, who may decide on what Jonas changed", w.deputy())
	if _, err := exec.LookPath("fettle"); err != nil {
		dir := w.bin
		if dir == "" {
			if program, err := hooks.Program(); err == nil {
				dir = filepath.Dir(program)
			}
		}
		set := "export PATH=" + quotedArg(dir) + ":\"$PATH\""
		if runtime.GOOS == "windows" {
			set = "set PATH=" + dir + ";%PATH%"
		}
		w.say("\nThe shell does not find fettle yet. For this terminal:\n  %s", set)
	}
	w.say("\nThe values are invented. Never cut with them: a recipe is proven on the machine itself, by its maker's instructions and local rules.")
}

// deputy are the commands that hand the sample to the other person who may approve.
func (w *walk) deputy() string {
	return "git config user.name 'Ines Okafor' && git config user.email ines.okafor@northgate.example && git config fettle.signingKey " +
		quotedArg(filepath.Join(w.shop.Keys, "ines-okafor"))
}

// asTyped is a command as a person types it.
func asTyped(args []string) string {
	out := make([]string, len(args))
	for i, arg := range args {
		out[i] = quotedArg(arg)
	}
	return strings.Join(out, " ")
}

func quotedArg(arg string) string {
	flag := arg[:len(arg)-len(strings.TrimLeft(arg, "-"))]
	if flag == arg && arg != "" {
		return arg
	}
	return flag + hooks.Quote(arg[len(flag):])
}
