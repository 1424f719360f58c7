package git

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os/exec"
	"strings"
	"time"
)

// killDelay is how long a cancelled child may take to close its pipes before they are closed for it.
const killDelay = 2 * time.Second

// Readers must not take locks: git would otherwise refresh the index on the way and hold its lock while it does.
const noLocks = "GIT_OPTIONAL_LOCKS=0"

// command prepares a child at the top of the work tree, or in the repository where there is none.
func (r *Repo) command(args ...string) *exec.Cmd {
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
	return output(r.ctx, r.command(args...), stdin, nil)
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
	}
	return n, nil
}

func (t *tail) String() string { return string(t.first) + string(t.last) }

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
