package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"fettle/history/git"
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
	if err := s.write(r.Path, r.Bytes()); err != nil {
		return err
	}
	path := s.path(r.Path)
	if stage {
		if err := s.repo.Add(path); err != nil {
			return err
		}
		s.say("staged   %s: the next commit saves it", r.Path)
		return nil
	}
	_, err := s.repo.CommitPaths(message, []string{path}, s.commitOptions(r))
	if errors.Is(err, git.ErrStagedOnly) {
		s.say("staged   %s: a merge is under way, and its commit saves it", r.Path)
		return nil
	}
	if err != nil {
		return fmt.Errorf("%s is written but not saved: %w", r.Path, err)
	}
	s.say("saved    %s", r.Path)
	s.sayShared()
	return nil
}

// commitOptions lets hooks speak to the person, and makes who acts the author of the commit on a PC that several share. The record
// may be nil.
func (s *shop) commitOptions(r *schema.Record) git.CommitOptions {
	options := git.CommitOptions{Output: s.err}
	if r != nil && s.by != "" && strings.Contains(r.By.V, "@") {
		options.Author = spoken(r.By.V) + " <" + r.By.V + ">"
	}
	return options
}

// sayShared says whether what is saved here has reached anybody else.
func (s *shop) sayShared() {
	ahead, _, ref, ok, err := s.repo.Upstream()
	switch {
	case err != nil || !ok:
		s.say("         only in this clone so far; to share it, set up where to push: git push -u REMOTE BRANCH")
	case ahead > 0:
		s.say("         not shared yet: git push   (%s)", clean(ref))
	}
}

// relative is a path of the library as the person in this directory would type it.
func (s *shop) relative(path string) string {
	full := filepath.Join(s.root, filepath.FromSlash(path))
	dir, err := filepath.Abs(s.dir)
	if err != nil {
		return path
	}
	if rel, err := filepath.Rel(dir, full); err == nil && !strings.HasPrefix(rel, "..") {
		return filepath.ToSlash(rel)
	}
	return path
}
