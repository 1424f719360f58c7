package git

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"os/exec"
	"runtime"
	"strings"
	"syscall"
	"time"
)

// killDelay is how long a child that was told to stop may take to do so, and one that ended to close its pipes.
const killDelay = 2 * time.Second

// Readers must not take locks: git would otherwise refresh the index on the way and hold its lock while it does.
const noLocks = "GIT_OPTIONAL_LOCKS=0"

// command prepares a child at the top of the work tree, or in the repository where there is none.
func (r *Repo) command(args ...string) *exec.Cmd {
	if r.shared.plain {
		args = append([]string{"-c", "core.commitGraph=false"}, args...)
	}
	return command(r.ctx, r.shared.home, r.shared.env, args...)
}

func command(ctx context.Context, dir string, env []string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, "git", args...)
	cmd.Dir = dir
	// A full slice expression: two commands that extend the environment must not share its spare room.
	cmd.Env = env[:len(env):len(env)]
	cmd.WaitDelay = killDelay
	return cmd
}

// read runs a command that only reads and returns its output.
func (r *Repo) read(args ...string) ([]byte, error) { return r.readInput("", args...) }

func (r *Repo) readInput(stdin string, args ...string) ([]byte, error) {
	cmd := r.command(args...)
	cmd.Env = append(cmd.Env, noLocks)
	return output(r.ctx, cmd, stdin, nil)
}

// write runs a command that changes the repository.
func (r *Repo) write(stdin string, args ...string) ([]byte, error) {
	return finished(output(r.ctx, r.writer(args...), stdin, nil))
}

// writer prepares a child that changes the repository. When the context ends it is asked to stop, so that it takes its
// locks away; a child that is killed leaves them for a person to find.
func (r *Repo) writer(args ...string) *exec.Cmd {
	cmd := r.command(args...)
	if runtime.GOOS != "windows" { // where a process can only be killed
		cmd.Cancel = func() error { return cmd.Process.Signal(syscall.SIGTERM) }
	}
	return cmd
}

// finished takes a write for done when git itself ended well, though a program that one of its hooks left running still
// holds its output open.
func finished(out []byte, err error) ([]byte, error) {
	if errors.Is(err, exec.ErrWaitDelay) {
		err = nil
	}
	return out, err
}

// output runs the command. What it prints on standard error goes into the error, and to live as it comes when that is
// not nil. On failure the output so far is returned too. ctx is that of the command.
func output(ctx context.Context, cmd *exec.Cmd, stdin string, live io.Writer) ([]byte, error) {
	if stdin != "" {
		cmd.Stdin = strings.NewReader(stdin)
	}
	stderr := &tail{live: live}
	var stdout bytes.Buffer
	cmd.Stdout, cmd.Stderr = &stdout, stderr
	if err := cmd.Run(); err != nil {
		if ctx.Err() != nil {
			err = ctx.Err() // more to the point than "signal: killed"
		}
		return stdout.Bytes(), commandError(cmd.Args[1:], stderr.String(), err)
	}
	return stdout.Bytes(), nil
}

// tail keeps the first and the last part of what a child complains about: enough for a message, and bounded.
type tail struct {
	first, last []byte
	dropped     int // bytes between the two
	live        io.Writer
}

const tailSize = 32 << 10

func (t *tail) Write(p []byte) (int, error) {
	if t.live != nil {
		// A reader that went away must not kill the child.
		_, _ = t.live.Write(p)
	}
	n := len(p)
	if room := tailSize - len(t.first); room > 0 {
		k := min(room, len(p))
		t.first = append(t.first, p[:k]...)
		p = p[k:]
	}
	t.last = append(t.last, p...)
	if over := len(t.last) - tailSize; over > tailSize {
		t.last = append(t.last[:0], t.last[over:]...)
		t.dropped += over
	}
	return n, nil
}

func (t *tail) String() string {
	if t.dropped == 0 {
		return string(t.first) + string(t.last)
	}
	return fmt.Sprintf("%s\n(%d bytes left out)\n%s", t.first, t.dropped, t.last)
}

// argSpace is how many bytes of paths, and how many of a message, go on one command line: Windows takes 32 KiB in all.
const argSpace = 12 << 10

// size is how much room arguments take on a command line.
func size(args []string) int {
	n := 0
	for _, arg := range args {
		n += len(arg) + 1
	}
	return n
}

// batches cuts a list of paths into pieces that fit a command line each.
func batches(specs []string) iter.Seq[[]string] {
	return func(yield func([]string) bool) {
		for len(specs) > 0 {
			end, room := 0, argSpace
			for end < len(specs) && (end == 0 || len(specs[end]) < room) {
				room -= len(specs[end]) + 1
				end++
			}
			if !yield(specs[:end]) {
				return
			}
			specs = specs[end:]
		}
	}
}

// nulList ends every item with a NUL.
func nulList(items []string) string {
	var b strings.Builder
	for _, item := range items {
		b.WriteString(item)
		b.WriteByte(0)
	}
	return b.String()
}

// fields splits output that ends every item with a NUL.
func fields(out []byte) []string {
	text := strings.TrimSuffix(string(out), "\x00")
	if text == "" {
		return nil
	}
	return strings.Split(text, "\x00")
}

// exitCode is the exit status inside an error, 0 where there is none.
func exitCode(err error) int {
	var failed *CommandError
	if errors.As(err, &failed) {
		return failed.Code
	}
	return 0
}
