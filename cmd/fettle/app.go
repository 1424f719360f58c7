package main

import (
	"bufio"
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"
	"time"
	"unicode/utf16"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"fettle/cmd/fettle/view"
	"fettle/history/git"
	"fettle/lint"
)

// Exit codes of every command.
const (
	exitGood    = 0 // nothing at error; a pending review is no error
	exitFound   = 1 // findings at error, or refused by policy
	exitTrouble = 2 // bad usage, or something could not be read
)

// An app is one run of the program: its streams and the flags that every command has.
type app struct {
	in       io.Reader
	out, err io.Writer
	dir      string // -C
	format   string // text, json, and what a single command adds
	color    string // auto, always, never
	by       string // who acts, on a shared PC
	quiet    bool
	messages []string       // what was said, for --format json
	findings []lint.Finding // what was found on the way, for --format json
	wrote    bool           // the command wrote its own JSON
	terminal bool           // somebody sits there and can be asked
	bar      *progress      // nil where nobody looks
	now      func() time.Time
	entire   bool // no part of a library is to stand for it, for tests
}

// refusal is an error that ends with exit code 1: not broken, but not allowed.
type refusal struct {
	message string
	help    string
}

func (r *refusal) Error() string { return r.message }

// trouble is an error that ends with exit code 2, with what to do about it.
type trouble struct {
	err  error
	help string
}

func (t *trouble) Error() string { return t.err.Error() }
func (t *trouble) Unwrap() error { return t.err }

func troublef(help, format string, args ...any) error {
	return &trouble{fmt.Errorf(format, args...), help}
}

func refusef(help, format string, args ...any) error {
	return &refusal{fmt.Sprintf(format, args...), help}
}

// errFound ends a command with exit code 1 after it has said everything itself.
var errFound = errors.New("findings at error")

// errUnread ends a command with exit code 2 after it has said everything itself.
var errUnread = errors.New("something could not be read")

func run(args []string, in io.Reader, out, errOut io.Writer) int {
	a := &app{in: in, out: out, err: errOut, now: clock, bar: newProgress(errOut)}
	defer a.bar.end()
	if a.bar != nil {
		a.out, a.err = screen{out, a.bar}, screen{errOut, a.bar}
	}
	if f, ok := in.(*os.File); ok {
		if g, ok := out.(*os.File); ok {
			a.terminal = term.IsTerminal(int(f.Fd())) && term.IsTerminal(int(g.Fd()))
		}
	}
	root := a.root(args)
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(a.out)
	root.SetErr(a.err)
	return a.exit(root.Execute())
}

// clock is the present, or the fixed time of SOURCE_DATE_EPOCH so that a run can be repeated to the byte.
func clock() time.Time {
	var seconds int64
	if n, err := fmt.Sscan(os.Getenv("SOURCE_DATE_EPOCH"), &seconds); n == 1 && err == nil {
		return time.Unix(seconds, 0).UTC()
	}
	return time.Now().UTC()
}

// exit says what went wrong, in the format that was asked for, and returns the exit code.
func (a *app) exit(err error) int {
	if err == nil || errors.Is(err, errFound) || errors.Is(err, errUnread) {
		a.finish(nil)
	}
	if err == nil {
		return exitGood
	}
	if errors.Is(err, errFound) {
		return exitFound
	}
	if errors.Is(err, errUnread) {
		return exitTrouble
	}
	code, help := exitTrouble, ""
	var r *refusal
	var t *trouble
	var g *git.Error
	message := err.Error()
	switch {
	case errors.As(err, &r):
		code, help = exitFound, r.help
	case errors.As(err, &t):
		help = t.help
	case errors.As(err, &g):
		help = g.Help
		message = strings.Replace(message, g.Error(), git.Printable(g.What), 1) // the help has lines of its own
		if errors.Is(err, git.ErrRefused) {
			code = exitFound
		}
	}
	if a.format == "json" {
		a.finish(map[string]any{"message": message, "help": help, "code": code})
		return code
	}
	a.complain(message, help)
	return code
}

// complain says what went wrong and what to do about it.
func (a *app) complain(message, help string) {
	width := columns(a.err)
	fmt.Fprintln(a.err, view.Fold("fettle: "+clean(message), width))
	for line := range strings.SplitSeq(strings.TrimRight(help, "\n"), "\n") {
		if line != "" {
			fmt.Fprintln(a.err, view.Fold("        "+clean(line), width))
		}
	}
}

// finish writes, for programs, what a command said that has no JSON of its own, and what went wrong.
func (a *app) finish(trouble map[string]any) {
	if a.format != "json" || a.wrote && trouble == nil {
		return
	}
	out := map[string]any{"format": 1, "messages": append([]string{}, a.messages...)}
	if trouble != nil {
		out["error"] = trouble
	}
	if len(a.findings) > 0 {
		var b bytes.Buffer
		view.FindingsJSON(&b, lint.Result{Findings: a.findings})
		var parsed struct {
			Findings json.RawMessage `json:"findings"`
		}
		if json.Unmarshal(b.Bytes(), &parsed) == nil {
			out["findings"] = parsed.Findings
		}
	}
	a.json(out)
}

// say prints a line for people; nothing with -q. For programs the lines are gathered, and beside a page or a table they go where errors go.
func (a *app) say(format string, args ...any) {
	switch {
	case a.format == "json":
		a.messages = append(a.messages, strings.TrimSpace(fmt.Sprintf(format, args...)))
	case a.quiet:
	case a.format == "html" || a.format == "csv" || a.format == "svg":
		aside := app{out: a.err}
		aside.tell(format, args...)
	default:
		a.tell(format, args...)
	}
}

// copyable is say for a line to be copied as it is: however long, it stays one.
func (a *app) copyable(line string) {
	if a.format == "json" || a.quiet {
		a.say("%s", line)
		return
	}
	fmt.Fprintln(a.out, clean(line))
}

// longestLine is how many bytes of one line are told: nobody reads more, and a record may hold millions.
const longestLine = 10_000

// tell prints what was asked for, also with -q, fitted to the screen where there is one.
func (a *app) tell(format string, args ...any) {
	tellLines(a.out, columns(a.out), fmt.Sprintf(format, args...))
}

func tellLines(w io.Writer, width int, text string) {
	for line := range strings.SplitSeq(clean(text), "\n") {
		if left := len(line) - longestLine; left > 0 {
			line = strings.ToValidUTF8(line[:longestLine], "") + fmt.Sprintf("… (%d bytes more)", left)
		}
		io.WriteString(w, view.Fold(line, width)+"\n")
	}
}

// columns is the width of the screen behind a stream, 0 where there is none.
func columns(w io.Writer) int {
	if f := terminalOf(w); f != nil {
		if width, _, err := term.GetSize(int(f.Fd())); err == nil {
			return max(width, 40)
		}
	}
	return 0
}

// root is the command fettle with those that args may ask for: all of them, or the one that stands first where it is in [alone].
func (a *app) root(args []string) *cobra.Command {
	root := &cobra.Command{
		Use:   "fettle",
		Short: "keep cut conditions as reviewed text in git",
		Long: "fettle keeps the laser cut conditions of a shop as reviewed text in git: it checks them, stops an implausible edit,\n" +
			"asks why, shows each change against the last approved version, and tells who changed what.",
		SilenceErrors: true, SilenceUsage: true,
		Args:                       noArgs,
		RunE:                       func(cmd *cobra.Command, args []string) error { return a.status(false) },
		CompletionOptions:          cobra.CompletionOptions{HiddenDefaultCmd: false},
		SuggestionsMinimumDistance: 2,
	}
	root.PersistentFlags().StringVarP(&a.dir, "directory", "C", "", "work on the library in this directory")
	root.PersistentFlags().StringVar(&a.format, "format", "text", "output format: text or json; some commands have more")
	root.PersistentFlags().StringVar(&a.color, "color", "auto", "colour: auto, always or never")
	root.PersistentFlags().StringVar(&a.by, "by", "", "who acts, where people share a PC: a name from the file people or approvers")
	root.RegisterFlagCompletionFunc("by", a.completePersons)
	root.RegisterFlagCompletionFunc("color", cobra.FixedCompletions([]string{"auto", "always", "never"}, wholeWords))
	root.PersistentFlags().BoolVarP(&a.quiet, "quiet", "q", false, "say only what is wrong")
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return troublef("How to use it: "+cmd.CommandPath()+" --help", "%w", err)
	})
	root.PersistentPreRunE = func(cmd *cobra.Command, _ []string) error {
		if cmd.Annotations["formats"] != "" {
			return nil // it checks its own
		}
		return a.oneOf("text", "json")
	}
	if len(args) > 0 && alone[args[0]] != nil {
		root.AddCommand(alone[args[0]](a))
		root.CompletionOptions.DisableDefaultCmd = true
	} else {
		for _, make := range slices.Concat(commands, slices.Collect(maps.Values(alone))) {
			root.AddCommand(make(a))
		}
		root.InitDefaultCompletionCmd()
	}
	for _, cmd := range root.Commands() {
		if cmd.Name() == "completion" {
			cmd.Short = "have the shell complete commands and ids: bash, zsh, fish, powershell"
		}
	}
	helpfulArgs(root)
	a.foldHelp(root)
	return root
}

// helpfulArgs makes every command say how it is used where the number of arguments is wrong.
func helpfulArgs(cmd *cobra.Command) {
	if check := cmd.Args; check != nil {
		cmd.Args = func(cmd *cobra.Command, args []string) error {
			err := check(cmd, args)
			var t *trouble
			if err == nil || errors.As(err, &t) {
				return err
			}
			help := "Use: " + cmd.Root().Name() + strings.TrimPrefix(cmd.CommandPath()+strings.TrimPrefix(cmd.Use, cmd.Name()), cmd.Root().Name())
			if cmd.Example != "" {
				help += "\n" + cmd.Example
			}
			_, takes, _ := strings.Cut(cmd.Use, " ")
			given := "nothing was given"
			if len(args) > 0 {
				given = fmt.Sprintf("%d words were given", len(args))
			}
			return troublef(help, "%s takes %s; %s", cmd.CommandPath(), takes, given)
		}
	}
	for _, sub := range cmd.Commands() {
		helpfulArgs(sub)
	}
}

// commands are all commands; each file of a command adds its own.
var commands []func(*app) *cobra.Command

// alone are the commands that git or a script waits for: where one of them is called, the rest is not made, which takes a good part
// of the time to start.
var alone = map[string]func(*app) *cobra.Command{}

func noArgs(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	help := "All commands: fettle --help"
	if near := cmd.SuggestionsFor(args[0]); len(near) > 0 {
		help = "Did you mean: fettle " + near[0] + "\n" + help
	}
	return troublef(help, "%q is not a command or argument of %s", args[0], cmd.CommandPath())
}

// colored reports whether to colour what goes to out.
func (a *app) colored() bool {
	switch a.color {
	case "always":
		return true
	case "never":
		return false
	}
	f := terminalOf(a.out)
	return f != nil && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb" && term.IsTerminal(int(f.Fd()))
}

// oneOf checks --format against what a command can do.
func (a *app) oneOf(formats ...string) error {
	for _, f := range formats {
		if a.format == f {
			return nil
		}
	}
	return troublef("This command has: "+strings.Join(formats, ", "), "--format %s is not known here", a.format)
}

// json writes a value for programs.
func (a *app) json(v any) error {
	a.wrote = true
	text, err := jsonText(v, "")
	if err == nil {
		_, err = io.WriteString(a.out, text)
	}
	return err
}

// jsonText is a value as programs read it, with what stands before each line after the first.
func jsonText(v any, indent string) (string, error) {
	var b strings.Builder
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent(indent, "  ")
	err := enc.Encode(v)
	return escaped(b.String()), err
}

// jsonItems writes what a list at the end of an object holds, one item after another, and ends both: all that is in some is more than a program
// likes to hold. What begins them, up to the bracket, was written.
func jsonItems(out *bufio.Writer, each func(add func(item any) error) error) error {
	const indent = "    "
	between, end := "\n", "]\n}\n"
	err := each(func(item any) error {
		text, err := jsonText(item, indent)
		if err != nil {
			return err
		}
		fmt.Fprint(out, between, indent, strings.TrimSuffix(text, "\n"))
		between, end = ",\n", "\n  ]\n}\n"
		return nil
	})
	out.WriteString(end)
	return cmp.Or(err, out.Flush())
}

// escaped writes what [clean] replaces as escapes of JSON, where it can only stand inside strings: somebody may look at it on a screen.
func escaped(text string) string {
	if clean(text) == text {
		return text
	}
	var b strings.Builder
	for _, r := range text {
		switch {
		case clean(string(r)) == string(r):
			b.WriteRune(r)
		case r > 0xffff:
			high, low := utf16.EncodeRune(r)
			fmt.Fprintf(&b, `\u%04x\u%04x`, high, low)
		default:
			fmt.Fprintf(&b, `\u%04x`, r)
		}
	}
	return b.String()
}

// clean makes text of a file safe for a terminal: what would steer it or turn the writing direction is shown, not sent.
func clean(s string) string { return git.Printable(s) }
