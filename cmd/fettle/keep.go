package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"fettle/history/git"
	"fettle/hooks"
	"fettle/schema"
)

// common fills in what every record carries.
func (s *shop) common(lib *schema.Library, kind, text string) (schema.Common, error) {
	id, err := libraryID(lib)
	if err != nil {
		return schema.Common{}, err
	}
	by, err := s.person(lib)
	if err != nil {
		return schema.Common{}, err
	}
	c := schema.Common{Head: schema.Head{Kind: schema.Of(kind), Format: schema.Of(1)}, Library: schema.Of(id),
		At: schema.Of(s.now().UTC().Truncate(time.Second).Format(time.RFC3339)), By: schema.Of(by)}
	if text = strings.TrimSpace(text); text != "" {
		c.Text = schema.Of(text)
	}
	return c, nil
}

// sign makes the record of a body and signs it.
func (s *shop) sign(body schema.Body) (*schema.Record, error) {
	signer, err := s.signer()
	if err != nil {
		return nil, err
	}
	r := schema.NewRecord(body)
	s.bar.end() // a passphrase may be asked for
	armored, err := signer.Sign(r.Message)
	if err != nil {
		return nil, fmt.Errorf("the record could not be signed with %s: %w", signer.Describe(), err)
	}
	r.Common.Signature = schema.Of(armored)
	return schema.NewRecord(body), nil
}

// put writes the record and saves just that file. With stage it is only staged; during a merge git takes no single files, so
// there it is staged and goes into the merge.
func (s *shop) put(r *schema.Record, message string, stage bool) error {
	return s.putAll([]*schema.Record{r}, message, stage)
}

// putAll is put for records that belong together.
func (s *shop) putAll(records []*schema.Record, message string, stage bool) error {
	var names []string
	for _, r := range records {
		if err := s.write(r.Path, r.Bytes()); err != nil {
			return err
		}
		names = append(names, r.Path)
	}
	return s.savePlaced(records, names, message, stage)
}

// savePlaced is putAll for records that were written already; names is what is said of them.
func (s *shop) savePlaced(records []*schema.Record, names []string, message string, stage bool) error {
	var paths []string
	for _, r := range records {
		paths = append(paths, s.path(r.Path))
	}
	say := func(what, then string) {
		for i, name := range names {
			s.say("%-8s %s%s", what, name, map[bool]string{true: then}[i == len(names)-1])
		}
	}
	if stage {
		if err := s.repo.Add(paths...); err != nil {
			return err
		}
		say("staged", ": the next commit saves it")
		return nil
	}
	_, err := s.repo.CommitPaths(message, paths, s.commitOptions(records[0]))
	if errors.Is(err, git.ErrStagedOnly) {
		s.sayStaged(strings.Join(names, ", "))
		return nil
	}
	if err != nil {
		return fmt.Errorf("%s is written but not saved: %w", strings.Join(names, ", "), err)
	}
	say("saved", "")
	s.sayShared(false)
	return nil
}

// sayStaged says that something waits for the end of a merge, or of what else git is in the middle of, and how that ends.
func (s *shop) sayStaged(what string) {
	state, err := s.repo.State()
	if err != nil {
		state = git.StateMerge
	}
	s.say("staged   a %s is under way; what ends it saves %s", state, what)
	s.say("next     %s", endOf(state))
}

// endOf is the command that ends what git is in the middle of.
func endOf(state git.State) string {
	if state == git.StateMerge || state == git.StateNone {
		return "git commit --no-edit   (ends the merge and saves all of it)"
	}
	return fmt.Sprintf("git %s --continue", state)
}

// commitOptions lets hooks speak to the person, and makes who acts the author of the commit on a PC that several share, and its
// committer too where git knows nobody there. The record may be nil.
func (s *shop) commitOptions(r *schema.Record) git.CommitOptions {
	options := git.CommitOptions{Output: s.err, Env: []string{askedByFettle + "=1"}}
	by := s.by
	if r != nil && r.Common != nil {
		by = r.By.V
	} else if lib, err := s.work(); err == nil && by != "" {
		if person, err := s.person(lib); err == nil {
			by = person
		}
	}
	if s.by == "" || !strings.Contains(by, "@") {
		return options
	}
	options.Author = spoken(by) + " <" + by + ">"
	if _, _, err := s.repo.Identity(); err != nil {
		options.Env = append(options.Env, "GIT_COMMITTER_NAME="+spoken(by), "GIT_COMMITTER_EMAIL="+by)
	}
	return options
}

// sayShared says whether what is saved here has reached anybody else, and how it does. Waits says that a part of it waits for a decision,
// so that a branch that takes only what is approved is no place for it yet.
func (s *shop) sayShared(waits bool) {
	ahead, _, ref, ok, err := s.repo.Upstream()
	_, branch, _, _, headErr := s.repo.Head()
	switch {
	case headErr == nil && branch == "":
		s.say("         it is on no branch and easily lost: git switch -c NAME")
	case waits && (ahead > 0 || !ok && s.isElsewhere(branch)) && s.takesOnlyApproved(branch):
		s.say("         not shared yet; to have it decided: fettle send   (%s takes only what is approved)", clean(branch))
	case err != nil || !ok:
		s.say("         only on this PC so far; to share it: %s", s.firstPush(branch))
	case ahead > 0:
		s.say("         not shared yet; to share it: git push   (%s)", clean(ref))
	}
}

// takesOnlyApproved reports whether the settings name a branch as a protected one.
func (s *shop) takesOnlyApproved(branch string) bool {
	return s.committed.lib != nil && hooks.Names(s.committed.lib.Policy().Protected.V, branch)
}

// isElsewhere reports whether another repository has a branch of this name, also where git was not told that they belong together.
func (s *shop) isElsewhere(branch string) bool {
	branches, err := s.repo.Branches()
	return err == nil && slices.ContainsFunc(branches, func(b git.Branch) bool { return b.Remote != "" && b.Name == branch })
}

// firstPush is what shares a branch that is shared nowhere yet.
func (s *shop) firstPush(branch string) string {
	push := "git push -u origin " + clean(branch)
	if _, known, err := s.repo.Config("remote.origin.url"); err != nil || !known {
		return "git remote add origin ADDRESS, then " + push
	}
	return push
}

// relative is a path of the library as it is typed behind fettle, here or with the same -C.
func (s *shop) relative(path string) string { return s.from(s.dir, path) }

// forGit is a path of the library as it is typed behind git in this directory.
func (s *shop) forGit(path string) string { return hooks.Quote(s.from(".", path)) }

func (s *shop) from(dir, path string) string {
	full := filepath.Join(s.root, filepath.FromSlash(path))
	at, err := filepath.Abs(dir)
	if err != nil {
		return full
	}
	if real, err := filepath.EvalSymlinks(at); err == nil {
		at = real
	}
	rel, err := filepath.Rel(at, full)
	if err != nil || strings.HasPrefix(filepath.ToSlash(rel), "../../../") {
		return full // far away, the whole path is easier to read
	}
	return filepath.ToSlash(rel)
}
