package git

import (
	"context"
	"os"
	"path/filepath"
)

// Init makes a repository in a directory, which is made too where it is missing, and opens it. branch names the first
// branch; "" leaves it to the settings of git. In a directory that is a repository already it changes nothing.
func Init(dir, branch string, options ...Option) (*Repo, error) {
	o := opening{ctx: context.Background()}
	for _, option := range options {
		option(&o)
	}
	cwd, err := os.Getwd()
	if err != nil {
		return nil, &Error{Kind: ErrNoSuchFile, What: "the current directory cannot be found", Help: "go to a directory that exists", Err: err}
	}
	target := cwd
	if dir != "" {
		target = filepath.Clean(absolute(cwd, dir))
	}
	if err := os.MkdirAll(target, 0o777); err != nil {
		return nil, &Error{Kind: ErrNoSuchFile, What: "cannot make the directory " + target, Err: err}
	}
	args := []string{"init", "-q"}
	if branch != "" {
		if err := checkRevision(branch); err != nil {
			return nil, err
		}
		args = append(args, "--initial-branch="+branch)
	}
	if _, err := output(o.ctx, command(o.ctx, target, environment(os.Environ(), cwd, true), args...), "", nil); err != nil {
		return nil, err
	}
	return OpenOther(target, options...)
}
