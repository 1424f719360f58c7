package git

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// State is a piece of work that git has begun in a work tree and not finished.
type State string

// The states. In all but StateNone and StateBisect the next commit belongs to that work.
const (
	StateNone       State = ""
	StateMerge      State = "merge"
	StateCherryPick State = "cherry-pick"
	StateRevert     State = "revert"
	StateRebase     State = "rebase"
	StateApply      State = "am" // patches from mail
	StateBisect     State = "bisect"
)

// words names the work in a sentence.
func (s State) words() string {
	if s == StateApply {
		return "applying patches from mail"
	}
	return "a " + string(s)
}

// State says what git is in the middle of; the one that claims the next commit where there is more than one.
func (r *Repo) State() (State, error) {
	heads, err := r.MergeHeads()
	if err != nil {
		return StateNone, err
	}
	if len(heads) > 0 {
		return StateMerge, nil
	}
	// These two may live in another store of references than files: then git is asked.
	_, _, files := r.refFile("HEAD")
	for _, s := range []struct {
		ref   string
		state State
	}{{"CHERRY_PICK_HEAD", StateCherryPick}, {"REVERT_HEAD", StateRevert}} {
		if _, err := os.Lstat(filepath.Join(r.GitDir, s.ref)); files && errors.Is(err, fs.ErrNotExist) {
			continue
		}
		found, err := r.shared.objects.get(r.ctx, s.ref, 0)
		if err != nil {
			return StateNone, err
		}
		if found.kind == "commit" {
			return s.state, nil
		}
	}
	for _, s := range []struct {
		file  string
		state State
	}{{"rebase-apply/applying", StateApply}, {"rebase-apply", StateRebase}, {"rebase-merge", StateRebase}, {"BISECT_LOG", StateBisect}} {
		if _, err := os.Lstat(filepath.Join(r.GitDir, filepath.FromSlash(s.file))); err == nil {
			return s.state, nil
		}
	}
	return StateNone, nil
}

// Replaying says whether git itself makes the next commit from one that exists, as a step of a rebase, a cherry-pick, a revert or
// of patches from mail. A revert without conflict leaves no other trace than its message, and revert --no-commit leaves the same
// one. Unlike [Repo.State] it names the rebase where a step of it merges.
func (r *Repo) Replaying() (State, error) {
	there := func(name string) bool {
		_, err := os.Lstat(filepath.Join(r.GitDir, filepath.FromSlash(name)))
		return err == nil
	}
	switch {
	case there("rebase-merge"):
		return StateRebase, nil
	case there("rebase-apply/applying"):
		return StateApply, nil
	case there("rebase-apply"):
		return StateRebase, nil
	}
	state, err := r.State()
	if err != nil || state == StateCherryPick || state == StateRevert {
		return state, err
	}
	if state != StateMerge && there("MERGE_MSG") && !there("SQUASH_MSG") {
		return StateRevert, nil
	}
	return StateNone, nil
}

// Rebased is the id of the last commit of a branch before the rebase that is under way, "" where none is. A hook of a rebase that
// has just ended still sees it.
func (r *Repo) Rebased() string {
	for _, name := range []string{"rebase-merge/orig-head", "rebase-apply/orig-head"} {
		if data, err := os.ReadFile(filepath.Join(r.GitDir, filepath.FromSlash(name))); err == nil {
			if id := strings.TrimSpace(string(data)); r.isHash(id) {
				return id
			}
		}
	}
	return ""
}

// Picking says whether a rebase works by picking commits, not by patches. A step of such a one that a hook stopped is done again
// after the rebase goes on.
func (r *Repo) Picking() bool {
	_, err := os.Lstat(filepath.Join(r.GitDir, "rebase-merge"))
	return err == nil
}

// Sequence says whether git keeps a list of commits to revert or to pick, so that --abort knows where to go back to.
func (r *Repo) Sequence() bool {
	_, err := os.Lstat(filepath.Join(r.GitDir, "sequencer"))
	return err == nil
}

// MergeHeads are the ids of the commits that are being merged into HEAD; none when no merge is under way. It also knows
// the merge in whose pre-merge-commit hook this process runs: git has written nothing about that one yet, and tells the
// hook through its environment, where several have no order; they are sorted then.
func (r *Repo) MergeHeads() ([]string, error) {
	data, err := os.ReadFile(filepath.Join(r.GitDir, "MERGE_HEAD"))
	if os.IsNotExist(err) {
		return r.announcedMerge()
	}
	if err != nil {
		return nil, &Error{Kind: ErrCorrupt, What: "cannot read what is being merged", Err: err}
	}
	heads := strings.Fields(string(data))
	if len(heads) == 0 || slices.ContainsFunc(heads, func(h string) bool { return !r.isHash(h) }) {
		return nil, &Error{Kind: ErrCorrupt, What: "the file MERGE_HEAD, in which git keeps what is being merged, is damaged",
			Help: "git merge --abort and merge again"}
	}
	return heads, nil
}

// announcedMerge reads GITHEAD_ID=NAME, which git merge sets for every commit that it merges and hands to its hooks. Only a
// hook sees it together with GIT_INDEX_FILE.
func (r *Repo) announcedMerge() ([]string, error) {
	announced := slices.ContainsFunc(r.shared.env, func(e string) bool { return strings.HasPrefix(e, "GITHEAD_") })
	if !announced || variable(r.shared.env, "GIT_INDEX_FILE") == "" {
		return nil, nil
	}
	head, err := r.head()
	if err != nil {
		return nil, err
	}
	var heads []string
	for _, entry := range r.shared.env {
		name, _, _ := strings.Cut(entry, "=")
		if id, ok := strings.CutPrefix(name, "GITHEAD_"); ok && r.isHash(id) && id != head.commit && !slices.Contains(heads, id) {
			heads = append(heads, id)
		}
	}
	slices.Sort(heads)
	return heads, nil
}
