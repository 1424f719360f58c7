package hooks

import (
	"slices"

	"fettle/lint"
	"fettle/schema"
)

// overall judges a commit of nothing but settings, such as other prices, part by part: every set bears on it, and nobody holds a library of a
// hundred thousand conditions twice. As [running.quick] it gives a verdict only where nothing stops the commit, and where all is in order.
func (r *running) overall(root string, anchor func() (string, error)) (*verdict, error) {
	settings := false
	for _, c := range r.changes {
		p, ok := inLibrary(root, c.Path)
		switch {
		case !ok || !needed(p):
		case p == schema.SettingsFile && ordinary(c.OldMode) && ordinary(c.NewMode):
			settings = true
		default:
			return nil, nil
		}
	}
	if !settings {
		return nil, nil
	}
	l, err := r.library(root)
	if err != nil || l == nil || len(l.clashes) > 0 {
		return nil, err
	}
	pin, err := anchor()
	if err != nil {
		return nil, err
	}
	s := &Survey{Repo: r.repo, Root: root, Head: r.head, Anchor: pin, At: r.At}
	if s.Before, err = r.repo.Commit(r.head, root); err != nil {
		return nil, err
	}
	if s.Now, err = r.repo.Index(root); err != nil {
		return nil, err
	}
	found, err := s.Run()
	if err != nil || slices.ContainsFunc(found.Findings, func(f lint.Finding) bool { return f.Severity == lint.Error }) {
		return nil, nil // what stops the commit is said by the whole library
	}
	c := s.trail.caseOf(s)
	c.Before.Lib, c.Now.Lib, c.standing = s.frames[0], s.frames[1], found.Standing
	v := &verdict{library: l, running: r, Case: c, Report: found.Report}
	if len(v.unreasoned())+len(v.strayReasons()) > 0 {
		return nil, nil
	}
	return v, s.showFiles(v.Report.Findings)
}

// showFiles reads the files that those findings point into that are shown.
func (s *Survey) showFiles(findings []lint.Finding) error {
	read := map[string]*schema.File{}
	for i := range findings {
		f := &findings[i]
		if f.File != nil || f.Line == 0 || f.Old || f.Severity != lint.Warning || s.ids[1].of(f.Path) == "" {
			continue
		}
		if len(read) > most {
			return nil
		}
		if read[f.Path] == nil {
			data, err := s.Now.Read(f.Path)
			if err != nil {
				return err
			}
			read[f.Path] = &schema.File{Path: f.Path, Data: data}
		}
		f.File = read[f.Path]
	}
	return nil
}
