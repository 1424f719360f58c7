package main

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
)

// A plan is a planned trial of the library with what was written down of it so far.
type plan struct {
	*schema.TrialPlan
	path     string
	digest   schema.Digest
	sheet    *schema.TrialSheet // half filled; nil where nothing was written down yet
	recorded *schema.Record     // the trial that was cut by it; nil while it is open
}

// code is what stands on the sheet and names the plan.
func (p *plan) code() string { return string(p.digest[:8]) }

// writtenDown says how much of a plan was written down so far.
func (p *plan) writtenDown() string {
	if p.sheet == nil {
		return "nothing written down yet"
	}
	return fmt.Sprintf("%d of %d written down", len(p.sheet.Entries.V), len(p.Coupons.V))
}

// sheetPath is where what is written down goes until it is recorded.
func (p *plan) sheetPath() string { return strings.TrimSuffix(p.path, ".json") + "-sheet.json" }

// planPath is the name of a new plan: what it is of, the day, its code.
func planPath(p *schema.TrialPlan, code string) string {
	return schema.TrialDir + strings.ReplaceAll(p.ID.V, "/", "-") + "-" + p.Time().UTC().Format("20060102") + "-" + code + ".json"
}

// plans reads trials/. A file that cannot be read is an error: what it holds may be half a day of work.
func (s *shop) plans() ([]*plan, error) {
	if _, err := s.work(); err != nil {
		return nil, err
	}
	var out []*plan
	sheets := map[string]*schema.TrialSheet{}
	for _, p := range s.unsaved.snap.Files() {
		if path.Dir(p)+"/" != schema.TrialDir || !strings.HasSuffix(p, ".json") {
			continue
		}
		data, err := s.unsaved.snap.Read(p)
		if err != nil {
			return nil, cannotRead(p, err)
		}
		f := schema.ReadFile(p, data)
		if len(f.Problems) > 0 {
			b := f.Problems[0]
			line, column := f.Position(b.At.Start)
			return nil, troublef(b.Help+"\n"+s.asItWas(p), "%s:%d:%d: %s", p, line, column, b.Message)
		}
		switch v := f.Value.(type) {
		case *schema.TrialPlan:
			out = append(out, &plan{TrialPlan: v, path: p, digest: v.PlanDigest()})
		case *schema.TrialSheet:
			sheets[p] = v
		default:
			return nil, troublef("Move it to where its kind belongs.", "%s is of kind %q; trials/ holds plans and half-filled sheets", p, f.Kind)
		}
	}
	for _, p := range out {
		p.sheet = sheets[p.sheetPath()]
	}
	var sets [][3]string
	for _, p := range out {
		if id, err := schema.ParseID(p.ID.V); err == nil {
			sets = append(sets, setOf(id))
		}
	}
	ledger, err := s.recordsOf(&s.unsaved, sets)
	if err != nil {
		return nil, err
	}
	for _, t := range history.Bodies[*schema.Trial](ledger) {
		for _, p := range out {
			if t.Body.Plan.V == string(p.digest) {
				p.recorded = t.Record
			}
		}
	}
	slices.SortStableFunc(out, func(a, b *plan) int { return strings.Compare(a.At.V, b.At.V) })
	return out, nil
}

// edited refuses a plan whose content is no longer what its name says: a sheet was cut by what it was.
func (s *shop) edited(p *plan) error {
	if p.path == planPath(p.TrialPlan, p.code()) {
		return nil
	}
	return refusef(s.asItWas(p.path)+"\nFor another trial make another plan: fettle trial plan "+p.ID.V,
		"%s was edited after it was made (its content has the code %s now): what was cut by the sheet is not what stands there", p.path, p.code())
}

// asItWas says how to get a file of trials/ back as it was.
func (s *shop) asItWas(p string) string {
	if _, err := s.saved(); err == nil && s.committed.snap.Hash(p) != "" && s.committed.snap.Hash(p) != s.unsaved.snap.Hash(p) {
		return "As it was saved last: git restore " + s.relative(p)
	}
	return "Its earlier versions: git log --oneline -- " + s.relative(p) + "   then: git checkout COMMIT -- " + s.relative(p)
}

// findPlan resolves what a person types for a plan: its code, its file, or a condition with one open plan.
func (s *shop) findPlan(typed string) (*plan, error) {
	all, err := s.plans()
	if err != nil {
		return nil, err
	}
	var found []*plan
	for _, p := range all {
		named := path.Base(filepath.ToSlash(typed)) == path.Base(p.path)
		if named || len(typed) >= 4 && strings.HasPrefix(string(p.digest), typed) {
			found = append(found, p)
		}
	}
	if len(found) == 0 && len(typed) >= 4 {
		for _, p := range all { // the code on the sheet, of a plan that is another one now
			if strings.HasSuffix(strings.TrimSuffix(p.path, ".json"), "-"+typed) {
				return nil, s.edited(p)
			}
		}
	}
	if len(found) == 1 {
		s.aboutPlan(found[0])
		return found[0], s.edited(found[0])
	}
	var open []string
	for _, p := range all {
		if p.recorded == nil {
			open = append(open, fmt.Sprintf("  %s  %s, planned on %s", p.code(), p.ID.V, s.day(p.Time())))
		}
	}
	help := "No plan is open. Make one: fettle trial plan ID --vary cut.pressure"
	if len(open) > 0 {
		help = "Open plans:\n" + strings.Join(open, "\n")
	}
	if len(found) > 1 {
		return nil, troublef(help, "%q fits %d plans", typed, len(found))
	}
	return nil, troublef(help, "there is no plan %q", typed)
}

// aboutPlan goes on with the part of the library that a plan is of, where it was not all read.
func (s *shop) aboutPlan(p *plan) {
	if id, err := schema.ParseID(p.ID.V); s.part == nil || err == nil && s.turn(s.part.origin.of([]schema.ID{id}, onRecord|unsaved)) == nil {
		return
	}
	s.wholly()
}

// openPlan is the newest plan of a condition that is not recorded yet, or nil.
func (s *shop) openPlan(id schema.ID) (*plan, error) {
	all, err := s.plans()
	if err != nil {
		return nil, err
	}
	for _, p := range slices.Backward(all) {
		if p.ID.V == id.String() && p.recorded == nil {
			return p, s.edited(p)
		}
	}
	return nil, nil
}

// keep writes files and removes others, and saves just these. Where git can save no single files, they are staged.
func (s *shop) keep(message string, write map[string][]byte, remove []string, stage bool) error {
	var paths, names []string
	for _, p := range slices.Sorted(maps.Keys(write)) {
		if err := s.write(p, write[p]); err != nil {
			return err
		}
		names = append(names, p)
	}
	for _, p := range remove {
		if err := os.Remove(filepath.Join(s.root, filepath.FromSlash(p))); err != nil && !errors.Is(err, os.ErrNotExist) {
			return cannotWrite(p, err)
		}
		s.rewritten()
		if s.committedHas(p) {
			names = append(names, p)
		} else if err := s.repo.Unstage(s.path(p)); err != nil {
			return err
		}
	}
	for _, p := range names {
		paths = append(paths, s.path(p))
	}
	if stage {
		if err := s.repo.Add(paths...); err != nil {
			return err
		}
		s.say("staged   %s: the next commit saves it", strings.Join(names, ", "))
		return nil
	}
	_, err := s.repo.CommitPaths(message, paths, s.commitOptions(nil))
	if errors.Is(err, git.ErrStagedOnly) {
		s.sayStaged(strings.Join(names, ", "))
		return nil
	}
	if err != nil {
		return fmt.Errorf("%s is written but not saved: %w", strings.Join(names, ", "), err)
	}
	for _, p := range slices.Sorted(maps.Keys(write)) {
		s.say("saved    %s", p)
	}
	s.sayShared(false)
	return nil
}

// committedHas reports whether the last commit holds a file.
func (s *shop) committedHas(p string) bool {
	if _, err := s.saved(); err != nil {
		return false
	}
	return s.committed.snap.Hash(p) != ""
}
