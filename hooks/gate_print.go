package hooks

import (
	"fmt"
	"io"
	"iter"
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
		for _, f := range v.blocking() {
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
func (r *Ruling) look() {
	if r.Refused() {
		return
	}
	r.notes = r.way.mended(r)
	pins, _ := r.gate.pins() // they were asked for before, of every library
	for _, v := range r.verdicts {
		r.notes = append(r.notes, v.refusedNotes(v.Standing)...)
		switch anchor := v.Standing.Anchor; {
		case anchor == nil && r.Protected && v.Standing.Trouble != "":
			r.notes = append(r.notes, "nothing is in force here: "+v.Standing.Trouble)
		case anchor == nil && r.Protected:
			r.notes = append(r.notes, "nothing is adopted yet, so nothing has to be approved: fettle adopt")
		case anchor != nil && len(pins) == 0 && v.Before.Hashes[anchor.Path] == "":
			r.notes = append(r.notes, "the adoption by "+anchor.By.V+" is what counts from now on. To pin it on the server:",
				"  git config fettle.anchor "+string(anchor.Digest))
		}
		if r.Protected {
			continue
		}
		if waiting := v.waiting(); len(waiting) > 0 {
			r.notes = append(r.notes, waits(waiting)+" until somebody approves: fettle review")
		}
	}
}

// RemoteWidth is what is left of 80 columns behind what git puts before each line that a server says.
const RemoteWidth = 80 - len("remote: ")

// Print says to whoever pushed why the branch does not move, and what settles it; or the notes, where it may move.
func (r *Ruling) Print(w io.Writer) {
	out := &screen{w: w, left: screenLines}
	if !r.Refused() {
		for _, note := range r.notes {
			out.line("fettle: %s", note)
		}
		return
	}
	out.wrapped("", "       ", fmt.Sprintf("fettle: %s cannot take this: %s", r.Branch, r.counts()))
	out.line("")
	for _, why := range r.denied {
		out.wrapped("  ", "  ", why)
		out.line("")
	}
	hidden := 0
	for _, v := range r.verdicts {
		for _, more := range v.hidden() {
			hidden += more
		}
		shown := onePerCondition(v.blocking())
		for at := range ranks {
			for f := range shown {
				if rank(f) == at && (out.shown == most || !out.finding(r.render(v), *f)) {
					hidden++
				}
			}
		}
	}
	for i, b := range r.breaks {
		if i == most {
			hidden += len(r.breaks) - i
			break
		}
		out.wrapped("", "      ", fmt.Sprintf("%s: error: %s [%s]", b.Path, inTheCommit(b), b.Rule))
		out.line("      %s", cut(b.step.came(), RemoteWidth-6))
		out.line("")
	}
	if hidden > 0 {
		out.line("and %d more", hidden)
	}
	for _, v := range r.verdicts {
		for _, note := range v.refusedNotes(v.Standing) {
			out.wrapped("", "      ", note)
		}
	}
	out.line("fettle: %s stays as it is there, and nothing of yours is lost.", r.Branch)
	for _, line := range r.settle() {
		if command := strings.HasPrefix(line, "  "); command {
			out.line("        %s", line) // whole, so that it can be copied
		} else {
			out.wrapped("        ", "        ", line)
		}
	}
}

// render shows a finding with the commit it came with.
func (r *Ruling) render(v *verdict) func(io.Writer, lint.Finding) {
	return func(w io.Writer, f lint.Finding) {
		step := r.way.blame(v, f)
		f = v.rest.shown(r.gate.repo, f)
		f.Path = v.full(f.Path)
		var b strings.Builder
		r.gate.Render(&b, f)
		first, rest, _ := strings.Cut(b.String(), "\n")
		(&screen{w: w}).wrapped("", "      ", first)
		io.WriteString(w, rest)
		if step != nil {
			fmt.Fprintf(w, "      %s\n", cut(step.came(), RemoteWidth-6))
		}
	}
}

// onePerCondition leaves out that a condition has no reason or no approval where something is wrong with it: that comes first.
func onePerCondition(findings []lint.Finding) iter.Seq[*lint.Finding] {
	worst := map[string]int8{}
	for i := range findings {
		f := &findings[i]
		if w, known := worst[f.ID]; f.ID != "" && (!known || rank(f) < int(w)) {
			worst[f.ID] = int8(rank(f))
		}
	}
	return func(yield func(*lint.Finding) bool) {
		for i := range findings {
			if f := &findings[i]; (f.ID == "" || rank(f) <= int(worst[f.ID])) && !yield(f) {
				return
			}
		}
	}
}

// ranks is how many ranks there are.
const ranks = 4

// rank orders what speaks against a push: values that cannot be, records, changes without a reason, approvals.
func rank(f *lint.Finding) int {
	switch f.Rule {
	case history.RuleRecordAltered, history.RuleRecordRemoved:
		return 1
	case "no-reason":
		return 2
	case "unapproved", "stale-approval":
		return 3
	}
	return 0
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
func (s *screen) wrapped(first, indent, text string) {
	line, empty := first, true
	for _, word := range strings.Fields(text) {
		if !empty && len([]rune(line))+1+len([]rune(word)) > RemoteWidth {
			s.line("%s", line)
			line, empty = indent, true
		}
		if !empty {
			line += " "
		}
		line, empty = line+word, false
	}
	s.line("%s", line)
}

// counts says in a few words what speaks against a push.
func (r *Ruling) counts() string {
	var values, reasons, approvals, files int
	records, anchor := len(r.breaks), false
	for _, v := range r.verdicts {
		reasons, approvals = reasons+v.hidden()[2], approvals+v.hidden()[3]
		for f := range onePerCondition(v.blocking()) {
			switch {
			case f.Path == recordsDir:
				anchor = true
			case rank(f) == 1:
				records++
			case rank(f) == 2:
				reasons++
			case rank(f) == 3 && f.ID == "":
				files++
			case rank(f) == 3:
				approvals++
			default:
				values++
			}
		}
	}
	var parts []string
	if len(r.denied) > 0 {
		parts = append(parts, "it is protected")
	}
	if anchor {
		parts = append(parts, "the adoption is not the right one")
	}
	for _, c := range []struct {
		n         int
		one, many string
	}{{values, "1 error", "%d errors"}, {records, "1 record is not as it was", "%d records are not as they were"}, {reasons, "1 change has no reason", "%d changes have no reason"},
		{approvals, "1 change is not approved", "%d changes are not approved"}, {files, "1 file is not approved", "%d files are not approved"}} {
		switch {
		case c.n == 1:
			parts = append(parts, c.one)
		case c.n > 1:
			parts = append(parts, fmt.Sprintf(c.many, c.n))
		}
	}
	return strings.Join(parts, ", ")
}

// settle says what to type, for each kind of obstacle once. Lines that begin with two blanks are commands.
func (r *Ruling) settle() []string {
	out := slices.Clone(r.advice)
	var records, reasons, anchor bool
	var wait []string
	for _, v := range r.verdicts {
		var values []string // conditions
		var subjects []lint.Finding
		missing := v.rest != nil && v.rest.missing
		own, untried := false, ""
		blocking := v.blocking()
		for i := range blocking {
			f := &blocking[i]
			switch {
			case f.Rule == "own-approval":
				own = true
			case f.Rule == "no-trial":
				untried = f.ID
			case f.Path == recordsDir:
				anchor = true
			case rank(f) == 1:
				records = true
			case rank(f) == 3 && f.ID == "":
				subjects = append(subjects, *f)
			case rank(f) == 3:
				missing = true
			case rank(f) == 0:
				values = append(values, f.ID)
			}
		}
		for f := range onePerCondition(blocking) {
			reasons = reasons || rank(f) == 2
		}
		if own {
			out = append(out, "an approval by who wrote the change does not count; take it back, and let somebody else decide:", "  fettle withdraw RECORD --because \"...\"")
		}
		if untried != "" {
			out = append(out, "the policy asks for a good trial of what is approved; cut and record it, or take the approval back:",
				"  fettle trial record "+untried+" --good", "  fettle withdraw RECORD --because \"...\"")
		}
		if len(values) > 0 {
			out = append(out, v.repair(values)...)
		}
		if len(values) == 0 && (missing || len(subjects) > 0) {
			wait = r.decide(v, subjects)
		}
	}
	if records && r.Rewrites() && len(r.breaks) == 0 {
		return append(out, "what is shared already must stay: bring it in, and push without force:", "  git pull --no-rebase", "  git push")
	}
	if reasons {
		out = append(out, "say why, and save that too:", `  fettle reason --cause WORD --because "..."`, `  git commit -m "The reason"`)
	}
	push := "  git push"
	if records = records || len(r.breaks) > 0; !records {
		switch {
		case anchor:
			return append(out, "go on from what is shared: git fetch, then git switch and make your edits there")
		case len(wait) == 0 && reasons:
			wait = []string{push}
		}
		return append(out, wait...)
	}
	if r.Base == "" {
		return append(out, "the branch must be made anew, with every record from the first commit on that has one")
	}
	out = append(out, "these commands make one commit of yours, with nothing missing:", "  git reset --soft "+short(r.Base))
	for i, line := range r.restore() {
		if i == 3 {
			out = append(out, "  … and the others in the same way")
			break
		}
		out = append(out, line)
	}
	out = append(out, `  git commit -m "All of it"`)
	if len(wait) > 0 {
		return append(out, wait...)
	}
	if r.Old != "" && r.Old != r.Base {
		push += " --force-with-lease"
	}
	return append(out, push)
}

// repair says how values that cannot be are put right.
func (v *verdict) repair(conditions []string) []string {
	out := []string{"mend the values, save, and push again:"}
	for _, id := range conditions {
		if v.replaces(id) {
			out = []string{"mend the values, or put back the recipe in force; then save and push again:", "  fettle put-back " + id}
		}
	}
	return append(out, "  fettle save", "  git push")
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
		for _, f := range v.blocking() {
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
func (r *Ruling) decide(v *verdict, subjects []lint.Finding) []string {
	who := "somebody who may"
	if names := v.mayApprove(); len(names) > 0 {
		who = strings.Join(names, " or ")
	}
	out := []string{r.Branch + " takes only what is approved. Send it to a branch of its own:", "  fettle send", "there " + who + " looks at it and approves; fettle review lists it for them:",
		"  fettle approve --branch waiting/NAME-DATE --send"}
	for _, f := range subjects {
		_, target, _ := strings.Cut(f.Help, "fettle approve ")
		target, _, _ = strings.Cut(target, " (")
		out = append(out, "  fettle approve --branch waiting/NAME-DATE --send "+target)
	}
	return append(out, "then bring that in, and push again:", "  git pull --no-rebase origin waiting/NAME-DATE", "  git push")
}

// mayApprove are the persons who may approve every change that waits.
func (v *verdict) mayApprove() []string {
	if v.Standing.Roster == nil {
		return nil
	}
	if v.rest != nil {
		return v.rest.may
	}
	names := v.Standing.Roster.Principals()
	for _, c := range v.Report.Changes {
		if c.Status != string(history.Approved) {
			names = slices.DeleteFunc(slices.Clone(names), func(n string) bool { return !slices.Contains(c.MayApprove, n) })
		}
	}
	return names
}

// waiting are conditions that changed and that nobody approved.
func (v *verdict) waiting() []string {
	if v.Standing.Anchor == nil {
		return nil
	}
	if v.rest != nil {
		return v.rest.waiting
	}
	var out []string
	for _, c := range v.Report.Changes {
		if c.Status != "" && c.Status != string(history.Approved) {
			out = append(out, c.ID.String())
		}
	}
	return out
}

// replaces reports whether a condition changed that has a recipe in force.
func (v *verdict) replaces(id string) bool {
	if v.rest != nil {
		return v.rest.approved[id]
	}
	return slices.ContainsFunc(v.Report.Changes, func(c lint.Change) bool { return id == c.ID.String() && c.Approved != nil })
}

// blocking are [lint.Result.Blocking] without a copy where all that was kept are such; they must not be changed.
func (v *verdict) blocking() []lint.Finding {
	if v.rest != nil {
		return v.Findings
	}
	return v.Blocking()
}

// hidden are how many more findings there are, by rank, than [verdict.blocking] holds.
func (v *verdict) hidden() (out [ranks]int) {
	if v.rest != nil {
		out = v.rest.hidden
	}
	return out
}
