package hooks

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"fettle/history"
	"fettle/lint"
)

// A Charge is one thing that speaks against a push, with the commit that it came with where one did.
type Charge struct {
	lint.Finding            // with the path from the top of the repository
	Commit, Subject, Author string
}

// Charges are what speaks against the move, all of it.
func (r *Ruling) Charges() []Charge {
	var out []Charge
	for _, why := range r.denied {
		out = append(out, Charge{Finding: lint.Finding{Severity: lint.Error, Path: r.Ref, Line: 1, Column: 1, Width: 1, Message: why, Help: strings.Join(r.advice, "\n")}})
	}
	for _, v := range r.verdicts {
		for _, f := range v.Blocking() {
			c := Charge{Finding: f}
			c.Path = v.full(f.Path)
			c.came(r.way.blame(v, f))
			out = append(out, c)
		}
	}
	for _, b := range r.breaks {
		c := Charge{Finding: b.finding()}
		c.came(b.step)
		out = append(out, c)
	}
	return out
}

// Findings are what speaks against the move without the commits.
func (r *Ruling) Findings() []lint.Finding {
	var out []lint.Finding
	for _, c := range r.Charges() {
		out = append(out, c.Finding)
	}
	return out
}

func (c *Charge) came(s *step) {
	if s != nil {
		c.Commit, c.Subject, c.Author = s.hash, s.subject, s.author
	}
}

// Notes are what is worth knowing of a move that may happen.
func (r *Ruling) Notes() []string { return r.notes }

// look gathers what is worth knowing.
func (r *Ruling) look() error {
	if r.Refused() {
		return nil
	}
	for _, v := range r.verdicts {
		for _, line := range r.way.mended(v) {
			r.notes = append(r.notes, line)
		}
		for _, note := range v.refusedNotes(v.Standing) {
			r.notes = append(r.notes, note)
		}
		switch anchor := v.Standing.Anchor; {
		case anchor == nil && r.Protected && v.Standing.Trouble != "":
			r.notes = append(r.notes, "nothing is in force here: "+v.Standing.Trouble)
		case anchor == nil && r.Protected:
			r.notes = append(r.notes, "nothing is adopted yet, so nothing has to be approved: fettle adopt")
		case anchor != nil && len(r.gate.pins) == 0 && v.Before.Hashes[anchor.Path] == "":
			r.notes = append(r.notes, "the adoption by "+anchor.By.V+" is what counts from now on. To pin it on the server:",
				"  git config fettle.anchor "+string(anchor.Digest))
		}
		if r.Protected {
			continue
		}
		var waiting []string
		for _, c := range v.Report.Changes {
			if v.Standing.Anchor != nil && c.Status != "" && c.Status != string(history.Approved) {
				waiting = append(waiting, c.ID.String())
			}
		}
		if len(waiting) > 0 {
			r.notes = append(r.notes, waits(waiting)+" until somebody approves: fettle review")
		}
	}
	return nil
}

const remoteWidth = 80 - len("remote: ") // git puts this before each line that a server says

// Print says to whoever pushed why the branch does not move, and what settles it; or the notes, where it may move.
func (r *Ruling) Print(w io.Writer) {
	out := &screen{w: w, left: screenLines}
	if !r.Refused() {
		for _, note := range r.notes {
			out.line("fettle: %s", note)
		}
		return
	}
	out.line("fettle: %s cannot take this: %s", r.Branch, r.counts())
	out.line("")
	for _, why := range r.denied {
		out.wrapped("  ", why)
		out.line("")
	}
	hidden := 0
	for _, v := range r.verdicts {
		render := v.running.Render
		show := *v.running
		show.Render = func(w io.Writer, f lint.Finding) {
			render(w, f)
			own := f
			own.Path, _ = inLibrary(v.root, f.Path)
			if s := r.way.blame(v, own); s != nil {
				fmt.Fprintf(w, "      %s\n", cut(s.came(), remoteWidth-6))
			}
		}
		shown := v.Blocking()
		slices.SortStableFunc(shown, func(a, b lint.Finding) int { return urgency(a) - urgency(b) })
		for _, f := range shown {
			if !show.finding(out, v, f) {
				hidden++
			}
		}
	}
	for i, b := range r.breaks {
		if i == most {
			hidden += len(r.breaks) - i
			break
		}
		out.wrapped("", fmt.Sprintf("%s: error: %s [%s]", b.Path, inTheCommit(b), b.Rule))
		out.line("      %s", cut(b.step.came(), remoteWidth-6))
		out.line("")
	}
	if hidden > 0 {
		out.line("and %d more", hidden)
	}
	out.line("fettle: %s stays as it is there, and nothing of yours is lost.", r.Branch)
	for _, line := range r.settle() {
		out.line("        %s", line)
	}
}

func inTheCommit(b broken) string {
	if b.Rule == history.RuleRecordAltered {
		return "a saved record was altered by a commit on the way"
	}
	return "a saved record was taken out by a commit on the way"
}

func (s *step) came() string {
	return fmt.Sprintf("commit %s  %s (%s)", short(s.hash), s.subject, s.author)
}

func cut(s string, width int) string {
	if runes := []rune(s); len(runes) > width {
		return string(runes[:width-1]) + "…"
	}
	return s
}

// wrapped prints a sentence in lines that fit behind what git puts before them.
func (s *screen) wrapped(indent, text string) {
	line := indent
	for _, word := range strings.Fields(text) {
		if len(line) > len(indent) && len([]rune(line))+1+len([]rune(word)) > remoteWidth {
			s.line("%s", line)
			line = indent
		}
		if len(line) > len(indent) {
			line += " "
		}
		line += word
	}
	s.line("%s", line)
}

// counts says in a few words what speaks against a push.
func (r *Ruling) counts() string {
	var values, reasons, approvals, records, others int
	for _, v := range r.verdicts {
		for _, f := range v.Blocking() {
			switch {
			case f.Rule == "no-reason":
				reasons++
			case f.Rule == "unapproved" && f.ID == "":
				others++
			case f.Rule == "unapproved", f.Rule == "stale-approval", f.Rule == "own-approval":
				approvals++
			case f.Rule == history.RuleRecordAltered, f.Rule == history.RuleRecordRemoved:
				records++
			default:
				values++
			}
		}
	}
	records += len(r.breaks)
	var parts []string
	for _, c := range []struct {
		n         int
		one, many string
	}{{len(r.denied), "it is protected", "it is protected"}, {values, "1 error", "%d errors"}, {records, "1 record is not as it was", "%d records are not as they were"},
		{reasons, "1 change has no reason", "%d changes have no reason"}, {approvals, "1 change is not approved", "%d changes are not approved"},
		{others, "1 file is not approved", "%d files are not approved"}} {
		switch {
		case c.n == 1 || c.n > 1 && c.one == c.many:
			parts = append(parts, c.one)
		case c.n > 1:
			parts = append(parts, fmt.Sprintf(c.many, c.n))
		}
	}
	return strings.Join(parts, ", ")
}

// settle says what to type, for each kind of obstacle once.
func (r *Ruling) settle() []string {
	out := slices.Clone(r.advice)
	var records, reasons bool
	for _, v := range r.verdicts {
		var values, missing, subjects []lint.Finding
		for _, f := range v.Blocking() {
			switch {
			case f.Rule == "no-reason":
				reasons = true
			case f.Rule == "own-approval":
				out = append(out, "an approval by who wrote the change is taken back: fettle withdraw RECORD")
			case f.Rule == history.RuleRecordAltered, f.Rule == history.RuleRecordRemoved:
				records = true
			case f.Rule == "unapproved" && f.ID == "":
				subjects = append(subjects, f)
			case f.Rule == "unapproved", f.Rule == "stale-approval":
				missing = append(missing, f)
			default:
				values = append(values, f)
			}
		}
		if len(values) > 0 {
			out = append(out, v.mend(values), "then save and push again: fettle save, git push")
		}
		if len(values) == 0 && len(missing)+len(subjects) > 0 {
			out = append(out, r.decide(v, missing, subjects)...)
		}
	}
	if records && r.Rewrites() && len(r.breaks) == 0 {
		return append(out, "what is shared already must stay: bring it in, and push without force:", "  git pull --no-rebase", "  git push")
	}
	records = records || len(r.breaks) > 0
	if !records && !reasons {
		return out
	}
	if r.Base == "" {
		return append(out, "the first commits must hold them: make the branch anew from the last good state")
	}
	out = append(out, "your commits become one that holds it all:", "  git reset --soft "+short(r.Base))
	for i, line := range r.restore() {
		if i == 3 {
			out = append(out, "  … and the others in the same way")
			break
		}
		out = append(out, line)
	}
	if reasons {
		out = append(out, `  fettle reason --cause WORD --because "..."`)
	}
	push := "git push"
	if r.Old != "" && r.Old != r.Base {
		push += " --force-with-lease"
	}
	return append(out, "  git commit", "  "+push)
}

// restore are the commands that bring records back as they were saved.
func (r *Ruling) restore() []string {
	var out []string
	seen := map[string]bool{}
	add := func(from, p string) {
		if !seen[p] {
			seen[p] = true
			out = append(out, "  git checkout "+short(from)+" -- "+Quote(p))
		}
	}
	for _, v := range r.verdicts {
		for _, f := range v.Blocking() {
			if f.Rule != history.RuleRecordAltered && f.Rule != history.RuleRecordRemoved {
				continue
			}
			switch full := v.full(f.Path); {
			case v.before.ids[f.Path] != "":
				add(r.Base, full)
			default:
				for _, b := range r.way.found {
					if b.Path == full {
						add(b.parent, full)
					}
				}
			}
		}
	}
	for _, b := range r.breaks {
		add(b.parent, b.Path)
	}
	return out
}

// decide says how what is not approved gets to whoever may approve it.
func (r *Ruling) decide(v *verdict, missing, subjects []lint.Finding) []string {
	target := ""
	switch {
	case len(missing) == 1 && len(subjects) == 0:
		target = " " + missing[0].ID
	case len(missing) == 0 && len(subjects) == 1:
		if _, command, ok := strings.Cut(subjects[0].Help, "fettle approve "); ok {
			target, _, _ = strings.Cut(command, " (")
			target = " " + target
		}
	}
	who := "somebody who may"
	if names := v.mayApprove(); len(names) > 0 {
		who = strings.Join(names, " or ")
	}
	return []string{
		r.Branch + " takes what is approved. Share it on a branch of its own first:",
		"  git push origin HEAD:refs/heads/waiting/" + r.gate.At.UTC().Format("20060102-1504"),
		"then " + who + " looks at it there, approves, and pushes:",
		"  fettle review" + strings.TrimPrefix(target, " machine"),
		"  fettle approve" + target,
		"  git push origin HEAD:" + r.Branch,
	}
}

// mayApprove are the persons who may approve every change that waits.
func (v *verdict) mayApprove() []string {
	if v.Standing.Roster == nil {
		return nil
	}
	names := v.Standing.Roster.Principals()
	for _, c := range v.Report.Changes {
		if c.Status != string(history.Approved) {
			names = slices.DeleteFunc(slices.Clone(names), func(n string) bool { return !slices.Contains(c.MayApprove, n) })
		}
	}
	return names
}
