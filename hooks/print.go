package hooks

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"fettle/history"
	"fettle/history/git"
	"fettle/lint"
)

const (
	screenLines = 40 // what findings may take of a terminal, so that the first of them and what to do next are seen together
	most        = 10 // findings shown
)

// A screen is what is left of a terminal.
type screen struct {
	w     io.Writer
	left  int
	shown int
}

func (s *screen) line(format string, args ...any) {
	fmt.Fprintln(s.w, git.Printable(fmt.Sprintf(format, args...)))
}

// advice prints what to do. A command that does not fit on the line stands on one of its own.
func (s *screen) advice(line string) {
	const indent, width = 8, 80
	if about, command, ok := strings.Cut(line, ": "); ok && indent+utf8.RuneCountInString(line) > width {
		s.line("%*s%s:", indent, "", about)
		line = "  " + command
	}
	s.line("%*s%s", indent, "", line)
}

// print says what the verdict is and reports whether it stops the commit.
func (r *running) print(out *screen, v *verdict) bool {
	blocking := v.Blocking()
	stopped := len(blocking)+len(v.stray) > 0
	shown := slices.Clone(blocking)
	slices.SortStableFunc(shown, func(a, b lint.Finding) int { return urgency(a) - urgency(b) })
	for _, f := range v.New().Findings {
		if f.Severity == lint.Warning {
			shown = append(shown, f)
		}
	}
	hidden := 0
	for _, f := range shown {
		if !r.finding(out, v, f) {
			hidden++
		}
	}
	if hidden > 0 {
		out.line("and %d more: %s", hidden, v.more())
	}
	if stopped {
		out.line("fettle: %s", r.stopped)
		for _, line := range append(v.next(blocking), r.goOn()...) {
			out.advice(line)
		}
		return true
	}
	var waiting []string
	for _, c := range v.Report.Changes {
		if v.Standing.Anchor != nil && c.Status != "" && c.Status != string(history.Approved) {
			waiting = append(waiting, c.ID.String())
		}
	}
	for _, note := range v.refused() {
		out.line("fettle: %s", note)
	}
	if len(waiting) > 0 {
		out.line("fettle: %s until somebody approves: fettle review", waits(waiting))
	}
	return false
}

// refused says of decisions in the commit why they count for nothing.
func (v *verdict) refused() []string {
	if v.inTurn != nil {
		return v.inTurn.notes
	}
	return v.refusedNotes(v.Standing)
}

// goOn says how the work that was stopped is finished, or given up.
func (r *running) goOn() []string {
	if r.giveUp == "" {
		return nil
	}
	out := []string{"then go on: " + r.finish}
	if r.again != "" {
		out = append(out, "should git stop at the same step again: "+r.again)
	}
	return append(out, "or give "+r.work+" up: "+r.giveUp)
}

// urgency orders findings that stop a commit: first what is wrong, then what is missing.
func urgency(f lint.Finding) int {
	if f.Rule == "no-reason" {
		return 1
	}
	return 0
}

func waits(ids []string) string {
	if len(ids) == 1 {
		return ids[0] + " is not in force"
	}
	return fmt.Sprintf("%d conditions are not in force", len(ids))
}

// finding shows one finding if there is room, with its path from the top of the work tree, which is where git runs hooks and
// where most people stand.
func (r *running) finding(out *screen, v *verdict, f lint.Finding) bool {
	f.Path = v.full(f.Path)
	return out.finding(r.Render, f)
}

func (out *screen) finding(render func(io.Writer, lint.Finding), f lint.Finding) bool {
	if out.shown == most {
		return false
	}
	var b bytes.Buffer
	render(&b, f)
	lines := bytes.Count(b.Bytes(), []byte("\n")) + 1
	if out.shown > 0 && lines > out.left {
		out.shown = most // what follows is less, so nothing smaller jumps the queue
		return false
	}
	out.shown++
	out.left -= lines
	out.w.Write(b.Bytes())
	fmt.Fprintln(out.w)
	return true
}

// more is the command that shows all findings.
func (v *verdict) more() string {
	command := "fettle "
	if v.root != "" {
		command += "-C " + Quote(v.root) + " "
	}
	command += "lint"
	if !partial() {
		command += " --staged"
	}
	return command
}

// next says what to do, for each kind of obstacle once.
func (v *verdict) next(blocking []lint.Finding) []string {
	var values, records []lint.Finding
	reasons, own, untried := false, false, ""
	for _, f := range blocking {
		switch f.Rule {
		case "no-reason":
			reasons = true
		case "own-approval":
			own = true
		case "no-trial":
			untried = f.ID
		case history.RuleRecordAltered, history.RuleRecordRemoved:
			records = append(records, f)
		default:
			values = append(values, f)
		}
	}
	var out []string
	if len(values) > 0 {
		out = append(out, v.mend(values))
		if v.giveUp != "" { // a reason is for what is staged
			out = append(out, "then stage that: git add "+v.filesOf(values))
		}
	}
	if own {
		out = append(out, "take the approval back (fettle undo) and let somebody else decide")
	}
	if untried != "" {
		out = append(out, "cut it and record that (fettle trial record "+untried+" --good), or take the approval back (fettle undo)")
	}
	if len(records) > 0 {
		out = append(out, v.restore(records)...)
	}
	if reasons {
		out = append(out, v.explain(len(values) > 0)...)
	}
	for _, s := range v.stray {
		out = append(out, "the reason "+s.paths[len(s.paths)-1]+" is for an edit of "+s.id+" that is not part of this commit.")
		out = append(out, v.together(s.paths)...)
	}
	return out
}

// mend is what to do about values that cannot be.
func (v *verdict) mend(values []lint.Finding) string {
	inForce := map[string]bool{}
	for _, c := range v.Report.Changes {
		inForce[c.ID.String()] = c.Approved != nil
	}
	for _, f := range values {
		if inForce[f.ID] {
			return "mend the values, or put back the recipe in force: fettle put-back " + f.ID
		}
	}
	return "mend the values; fettle explain " + values[0].Rule + " tells what is behind it"
}

// filesOf are the files that findings are about, as an argument for git.
func (v *verdict) filesOf(findings []lint.Finding) string {
	var out []string
	for _, f := range findings {
		if p := Quote(v.full(f.Path)); !slices.Contains(out, p) {
			out = append(out, p)
		}
	}
	if len(out) > 3 {
		return "-A"
	}
	return strings.Join(out, " ")
}

// restore says how saved records come back as they were.
func (v *verdict) restore(records []lint.Finding) []string {
	out := []string{"saved records stay as they are. Put them back:"}
	for i, f := range records {
		if i == 3 && len(records) > 4 {
			return append(out, fmt.Sprintf("  … and %d more in the same way", len(records)-i))
		}
		from := "HEAD"
		if v.before.ids[f.Path] == "" {
			for i, p := range v.parents {
				if p.ids[f.Path] != "" && i < len(v.heads) {
					from = v.heads[i][:12]
				}
			}
		}
		if v.now.ids[f.Path] == "" && v.before.ids[f.Path] == "" && from == "HEAD" {
			continue // no side has it under this name: a new record that was named or edited by hand
		}
		out = append(out, "  git checkout "+from+" -- "+Quote(v.full(f.Path)))
	}
	if len(out) == 1 {
		return []string{"a new record does not fit its name: write it again with fettle, and take this one out of the commit"}
	}
	return out
}

// explain says how a reason gets into the commit.
func (v *verdict) explain(alsoValues bool) []string {
	var out []string
	open := v.unreasoned()
	written := map[string]bool{}
	for _, l := range v.left {
		written[l.id] = true
	}
	open = slices.DeleteFunc(open, func(c lint.Change) bool { return written[c.ID.String()] })
	if len(v.left) > 0 && !alsoValues {
		var paths []string
		known := map[string]bool{}
		for _, l := range v.left {
			for _, p := range l.paths {
				if !known[p] {
					known[p] = true
					paths = append(paths, p)
				}
			}
		}
		out = append(out, "the reason is written and not part of this commit ("+strings.Join(paths, ", ")+").")
		out = append(out, v.together(append(slices.Clone(v.changed), paths...))...)
	}
	if len(open) == 0 || alsoValues && len(v.left) > 0 {
		return out
	}
	ids := ""
	if len(open) <= 2 {
		for _, c := range open {
			ids += " " + c.ID.String()
		}
	}
	verb := "say why and save in one go: fettle save"
	switch {
	case v.giveUp != "": // goOn says how it goes on
		verb = "say why: fettle reason"
	case v.finish != "":
		verb = "say why, then finish " + v.work + " with " + v.finish + ": fettle reason"
	}
	return append(out, verb+ids+` --cause WORD --because "..."`)
}

// together is the command that commits two halves.
func (v *verdict) together(paths []string) []string {
	paths = slices.Compact(slices.Sorted(slices.Values(paths)))
	quoted := make([]string, len(paths))
	var records []string
	for i, p := range paths {
		quoted[i] = Quote(p)
		if in, ok := inLibrary(v.root, p); ok && strings.HasPrefix(in, "records/") && v.now.ids[in] == "" {
			records = append(records, quoted[i])
		}
	}
	switch {
	case v.finish != "": // git takes no choice of files in the middle of something
		if len(records) == 0 {
			records = quoted
		}
		out := []string{"add it and finish " + v.work + ":", "  git add " + strings.Join(records, " "), "  " + v.finish}
		if v.giveUp != "" {
			out = []string{"add it: git add " + strings.Join(records, " ")}
		}
		return out
	case len(paths) > 6:
		return []string{"save edits and reason together: fettle save"}
	}
	out := []string{"save both: fettle save       or by hand:"}
	if len(records) > 0 {
		out = append(out, "  git add "+strings.Join(records, " "))
	}
	return append(out, "  git commit "+strings.Join(quoted, " "))
}

// Quote writes a path as a POSIX shell reads it.
func Quote(p string) string {
	plain := p != "" && !strings.HasPrefix(p, "-") && !strings.ContainsFunc(p, func(c rune) bool {
		return (c < 'a' || c > 'z') && (c < 'A' || c > 'Z') && (c < '0' || c > '9') && !strings.ContainsRune("/._-+:,@=", c)
	})
	if plain {
		return p
	}
	return "'" + strings.ReplaceAll(p, "'", `'\''`) + "'"
}
