package hooks

import (
	"errors"

	"fettle/history/git"
	"fettle/schema"
)

// reportMerge says what a branch took in that moved forward only, for which git asks no hook before. A merge that made a commit was
// judged before it was made.
func reportMerge(repo *git.Repo, call Call) error {
	if len(call.Args) > 0 && call.Args[0] == "1" { // merge --squash: nothing is saved yet
		return nil
	}
	heads, err := repo.MergeHeads()
	if err != nil || len(heads) > 0 {
		return err
	}
	now, branch, unborn, detached, err := repo.Head()
	if err != nil || unborn || detached {
		return err
	}
	before, err := repo.Resolve("ORIG_HEAD")
	if errors.Is(err, git.ErrUnknownRevision) || before == now {
		return nil
	}
	if err != nil {
		return err
	}
	if forward, err := repo.IsAncestor(before, now); err != nil || !forward {
		return err
	}
	ruling, err := JudgeRange(repo, branches+branch, before, now, GateOptions{At: call.At, Undecided: true, Render: call.Render})
	if err != nil {
		return err
	}
	charges := ruling.Charges()
	if len(charges) == 0 {
		return nil
	}
	out := &screen{w: call.Out, left: screenLines}
	hidden := 0
	for _, c := range charges {
		if !out.finding(call.Render, c.Finding) {
			hidden++
			continue
		}
		if c.Commit != "" {
			out.line("      saved in %s by %s: %s", short(c.Commit), c.Author, c.Subject)
		}
	}
	if hidden > 0 {
		out.line("and %d more: fettle verify, fettle lint", hidden)
	}
	out.line("fettle: this came in past the check. Nothing was undone; see fettle verify and fettle status.")
	return nil
}

// reportRewrite says which saved records a rebase left behind: git drops the commit that held them without asking.
func reportRewrite(repo *git.Repo, call Call) error {
	if len(call.Args) > 0 && call.Args[0] != "rebase" {
		return nil
	}
	before := repo.Rebased()
	if before == "" {
		return nil
	}
	now, err := repo.Resolve("HEAD")
	if err != nil {
		return err
	}
	changes, err := repo.ChangedPaths(before, now)
	if err != nil {
		return err
	}
	r := &running{Call: call, repo: repo, store: newStore(repo), head: before, changes: changes, pushed: true}
	roots, err := r.roots()
	if err != nil {
		return err
	}
	libraries, err := r.libraries(roots)
	if err != nil {
		return err
	}
	out := &screen{w: call.Out}
	for _, l := range libraries {
		var lost []string
		for _, p := range l.before.Files() {
			if schema.IsRecordPath(p) && l.now.ids[p] != l.before.ids[p] {
				lost = append(lost, l.full(p))
			}
		}
		if len(lost) == 0 {
			continue
		}
		out.line("fettle: the rebase left saved records behind. Put them back, then git commit:")
		for i, p := range lost {
			if i == 4 && len(lost) > 5 {
				out.line("        … and %d more: git diff --name-only HEAD %s -- %s", len(lost)-i, short(before), Quote(l.full("records")))
				break
			}
			out.line("        git checkout %s -- %s", short(before), Quote(p))
		}
	}
	return nil
}
