package hooks

import (
	"fmt"

	"fettle/history/git"
)

// prepareMessage judges a commit that no other hook has judged: a step of a rebase, a cherry-pick or a revert, which is stopped as any
// other, and one that somebody made with --no-verify, who is told what they skipped. What changes by a commit goes into its message.
func prepareMessage(repo *git.Repo, call Call) (stopped bool, err error) {
	if marked(repo) {
		addSummary(repo, call, leftSummary(repo))
		return false, nil
	}
	act, err := messageAct(repo)
	if err != nil {
		return false, err
	}
	call.said = &Summary{}
	stopped, err = judgeCommit(repo, call, act)
	if err == nil && (act.lenient || !stopped) {
		addSummary(repo, call, *call.said)
	}
	if !act.lenient {
		return stopped, err
	}
	if err != nil {
		fmt.Fprintf(call.Out, "fettle: the commit could not be checked: %v\n", err)
		fmt.Fprintf(call.Out, "fettle: %s\n", skippedWords)
	}
	return false, nil
}

const skippedWords = "saved all the same: the check was skipped (--no-verify). It stays\n        visible: fettle status, fettle audit --unapproved"

// messageAct tells what git is doing when it asks for a message without having asked for a check.
func messageAct(repo *git.Repo) (act, error) {
	state, err := repo.Replaying()
	if err != nil {
		return act{}, err
	}
	switch state {
	case git.StateRebase, git.StateApply:
		return rebaseAct(repo), nil
	case git.StateCherryPick:
		return act{stopped: "the cherry-pick is stopped; what it brings lies here as an edit, unsaved.", work: "the cherry-pick",
			finish: "git cherry-pick --continue", giveUp: "git cherry-pick --abort"}, nil
	case git.StateRevert:
		a := act{stopped: "the revert is stopped; what it takes back lies here as an edit, unsaved.", work: "the revert",
			finish: "git commit", giveUp: "git reset --merge"}
		if repo.Sequence() {
			a.finish, a.giveUp = "git commit && git revert --continue", "git revert --abort"
		}
		return a, nil
	}
	// Nobody else leaves git's other hooks out. Where they are not ours, or do not run, this is not --no-verify, and the check is done here.
	missing, err := Missing(repo)
	if err != nil {
		return act{}, err
	}
	for _, hook := range missing {
		if hook == PreCommit || hook == PreMergeCommit {
			return commitAct, nil
		}
	}
	return act{stopped: skippedWords, lenient: true}, nil
}

func rebaseAct(repo *git.Repo) act {
	a := act{stopped: "the rebase stops here; what this step brings lies here as an edit.", work: "the rebase",
		finish: "git rebase --continue", giveUp: "git rebase --abort"}
	if repo.Picking() { // what a hook stopped git has on its list still
		a.again = "git rebase --skip"
	}
	return a
}

// patchAct tells git am from a rebase that goes the same way.
func patchAct(repo *git.Repo) act {
	if state, err := repo.Replaying(); err == nil && state == git.StateRebase {
		return rebaseAct(repo)
	}
	return act{stopped: "the patch is stopped; what it brings lies here as an edit, unsaved.", work: "the patches",
		finish: "git am --continue", giveUp: "git am --abort"}
}
