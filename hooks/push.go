package hooks

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"fettle/history/git"
)

// judgePush stops a push that would bring an error, a change without a reason, one that nobody approved or an altered record to a protected
// branch, so that whoever pushes hears it here and not from the server, or not at all where that checks nothing. Every other branch takes
// anything: it is where changes are shared for others to decide on. So does the first protected branch of all take what nobody approved: it is
// how a library is shared for the first time, and there is nothing yet that it would change. What the server demands is its own affair, see
// [Gate].
func judgePush(repo *git.Repo, call Call) (stopped bool, err error) {
	moves, err := pushed(call)
	if err != nil || len(moves) == 0 {
		return false, err
	}
	gate, err := pushGate(repo, call, moves)
	if err != nil {
		return false, err
	}
	for _, m := range moves {
		if nonzero(m.New) == "" {
			continue // what may be removed the server decides
		}
		isNew := nonzero(m.Old) == ""
		if _, err := repo.Resolve(nonzero(m.Old)); m.Old != "" && errors.Is(err, git.ErrUnknownRevision) {
			m.Old = "" // others pushed what is not here yet: git refuses that itself, unless it is told not to
		}
		protects, err := gate.protects(m)
		if err != nil {
			return false, err
		}
		if !protects {
			continue
		}
		gate.Undecided = false
		if isNew {
			shared, err := gate.hasProtected()
			if err != nil {
				return false, err
			}
			gate.Undecided = !shared
		}
		ruling, err := gate.Judge(m)
		if err != nil {
			return false, err
		}
		if ruling.Refused() {
			stopped = true
			ruling.Print(call.Out)
		}
	}
	return stopped, nil
}

// pushed reads what git is about to push, a line a branch: LOCAL-REF LOCAL-ID REMOTE-REF REMOTE-ID. Hook managers that read these
// lines themselves hand on the one branch they care for in the environment.
func pushed(call Call) ([]Move, error) {
	var moves []Move
	if call.In != nil {
		lines := bufio.NewScanner(call.In)
		for lines.Scan() {
			parts := strings.Fields(lines.Text())
			if len(parts) < 4 {
				return nil, fmt.Errorf("git announced a push as %q, which fettle cannot read", git.Printable(lines.Text()))
			}
			parts = parts[len(parts)-3:] // the first is what was typed, which may hold blanks: main@{1 hour ago}
			moves = append(moves, Move{Ref: parts[1], Old: nonzero(parts[2]), New: parts[0]})
		}
		if err := lines.Err(); err != nil {
			return nil, fmt.Errorf("what git announces of the push cannot be read: %w", err)
		}
	}
	to := cmp.Or(os.Getenv("PRE_COMMIT_TO_REF"), os.Getenv("PRE_COMMIT_LOCAL_BRANCH"))
	if len(moves) == 0 && to != "" {
		moves = append(moves, Move{Ref: os.Getenv("PRE_COMMIT_REMOTE_BRANCH"), Old: nonzero(os.Getenv("PRE_COMMIT_FROM_REF")), New: to})
	}
	return slices.DeleteFunc(moves, func(m Move) bool { return !strings.HasPrefix(m.Ref, branches) }), nil
}

// pushGate is a gate that knows the branches of the other repository as they were seen last.
func pushGate(repo *git.Repo, call Call, moves []Move) (*Gate, error) {
	known := []git.Ref{}
	main := ""
	remote := os.Getenv("PRE_COMMIT_REMOTE_NAME")
	if len(call.Args) > 0 {
		remote = call.Args[0]
	}
	if remote != "" && !strings.ContainsAny(remote, "\n") {
		prefix := "refs/remotes/" + remote + "/"
		refs, err := repo.Refs(prefix)
		if err != nil {
			return nil, err
		}
		for _, ref := range refs {
			branch := strings.TrimPrefix(ref.Name, prefix)
			if branch != "HEAD" {
				known = append(known, git.Ref{Name: branches + branch, Hash: ref.Hash})
			} else if target, err := repo.Run("symbolic-ref", "-q", ref.Name); err == nil {
				main = strings.TrimPrefix(strings.TrimSpace(string(target)), prefix)
			}
		}
	}
	for _, m := range moves {
		if _, err := repo.Resolve(m.Old); m.Old != "" && err == nil {
			known = slices.DeleteFunc(known, func(r git.Ref) bool { return r.Name == m.Ref })
			known = append(known, git.Ref{Name: m.Ref, Hash: m.Old})
		}
	}
	g := NewGate(repo, GateOptions{At: call.At, Known: known, Render: call.Render})
	// Where no settings say which branches are protected it is the main one of the other repository, not the one at work here.
	g.fallback = func() (string, error) { return main, nil }
	return g, nil
}

// protects reports whether a branch is a protected one.
func (g *Gate) protects(m Move) (bool, error) {
	r := &Ruling{Move: m, Branch: strings.TrimPrefix(m.Ref, branches), gate: g}
	err := r.classify()
	return r.Protected, err
}

// hasProtected reports whether one of the branches that are known is a protected one.
func (g *Gate) hasProtected() (bool, error) {
	refs, err := g.known()
	for i := 0; err == nil && i < len(refs); i++ {
		var is bool
		if is, err = g.protects(Move{Ref: refs[i].Name, Old: refs[i].Hash, New: refs[i].Hash}); is {
			return true, nil
		}
	}
	return false, err
}
