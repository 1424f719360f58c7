package hooks

import (
	"fmt"
	"io"
	"strings"
	"time"

	"fettle/history/git"
	"fettle/lint"
)

// Names of the hooks. The first four judge a commit before git makes it; between them every commit passes one at least.
const (
	PreCommit        = "pre-commit"
	PreMergeCommit   = "pre-merge-commit"   // of a merge without conflicts, for which git calls no pre-commit
	PreApplyPatch    = "pre-applypatch"     // of git am, and of a rebase that works like it
	PrepareCommitMsg = "prepare-commit-msg" // of every other: rebase, cherry-pick and revert call nothing else, and --no-verify does not skip it
	PrePush          = "pre-push"
	PostMerge        = "post-merge"   // also where a branch only moved forward, for which git calls nothing before
	PostRewrite      = "post-rewrite" // after a rebase
)

// Installed are the hooks that fettle puts into a repository.
var Installed = []string{PreCommit, PreMergeCommit, PrepareCommitMsg, PreApplyPatch, PrePush, PostMerge, PostRewrite}

// OnlyReports reports whether a hook stops nothing: without it nothing goes unchecked.
func OnlyReports(hook string) bool { return hook == PostMerge || hook == PostRewrite }

// A Call is one call by git.
type Call struct {
	Hook   string    // one of [Installed]
	Args   []string  // as git gives them, described in githooks(5)
	In     io.Reader // what git sends to the hook; may be nil
	Out    io.Writer
	Render func(io.Writer, lint.Finding) // writes one finding as screens show it
	At     time.Time

	Summarize Summarize // what the message of a commit says of the changes; nil where it says so already
	said      *Summary  // gets what there is to say, where that is not nil
}

// Run carries out a call by git, prints what there is to say, and reports whether git is to be stopped. An error means that
// something could not be read, and stops git too; a hook that [OnlyReports] stops nothing either way.
//
// It changes neither files nor the index; prepare-commit-msg writes into the message that git prepared, see [Summary]. Where nothing of a
// library is touched it comes to its end in a few milliseconds.
func Run(repo *git.Repo, call Call) (stopped bool, err error) {
	switch call.Hook {
	case PreCommit, PreMergeCommit:
		call.said = &Summary{}
		stopped, err = judgeCommit(repo, call, commitAct)
		if err == nil && !stopped {
			leaveMark(repo, *call.said)
		}
		return stopped, err
	case PreApplyPatch:
		return judgeCommit(repo, call, patchAct(repo))
	case PrepareCommitMsg:
		return prepareMessage(repo, call)
	case PrePush:
		return judgePush(repo, call)
	case PostMerge:
		err = reportMerge(repo, call)
	case PostRewrite:
		err = reportRewrite(repo, call)
	default:
		err = fmt.Errorf("fettle has no hook %q; it has %s", call.Hook, strings.Join(Installed, ", "))
	}
	if err != nil && OnlyReports(call.Hook) {
		fmt.Fprintf(call.Out, "fettle: what was saved could not be looked at: %v\n", err)
		return false, nil
	}
	return false, err
}

// An act is what git is doing, in the words of the screens.
type act struct {
	stopped string // what is said when it is stopped
	work    string // what it is a step of: "the merge", "" where of nothing
	finish  string // the command that goes on with that work, once what is wrong is mended
	giveUp  string // the command that ends it as if it had not been begun
	again   string // the command for when git comes to the same step once more after finish, "" where it does not
	lenient bool   // it goes on whatever is found
}

var commitAct = act{stopped: "the commit is stopped. Nothing was saved; your edits are as they were."}
