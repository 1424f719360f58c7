package hooks

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"fettle/history"
	"fettle/history/git"
	"fettle/schema"
	"fettle/schema/quantity"
)

// A Summary is what the message of a commit says of the conditions that change by it.
type Summary struct {
	Title string // for a message without a subject, one line
	Body  string // what changed, and why; may be ""
}

// A Summarize puts a summary into words: differences, the reasons that come with them, and the units of the library.
type Summarize func(differences []history.Difference, reasons []*schema.Reason, prefs quantity.Prefs) Summary

// summarize sums up what was judged; the zero Summary where no condition changes, or nobody asked.
func (r *running) summarize(verdicts []*verdict) Summary {
	var out Summary
	if r.Summarize == nil {
		return out
	}
	for _, v := range verdicts {
		if len(v.Report.Differences) == 0 {
			continue
		}
		var reasons []*schema.Reason
		for _, record := range v.reasons() {
			reasons = append(reasons, record.Body.(*schema.Reason))
		}
		s := r.Summarize(v.Report.Differences, reasons, v.Case.Now.Lib.Prefs())
		if out.Title == "" {
			out.Title = s.Title
		}
		if out.Body != "" && s.Body != "" {
			out.Body += "\n"
		}
		out.Body += s.Body
	}
	return out
}

// reasons are the records of reasons that come along, in the order of the conditions that they explain.
func (v *verdict) reasons() (out []*schema.Record) {
	if v.inTurn != nil {
		return v.inTurn.reasons
	}
	known := map[*schema.Record]bool{}
	for _, d := range v.Report.Differences {
		for _, e := range v.Case.Now.Ledger.Edges(schema.SubjectCondition, d.ID.String()) {
			if v.Case.fresh(e) && !known[e.Record] {
				known[e.Record] = true
				out = append(out, e.Record)
			}
		}
	}
	return out
}

// saidPrefix begins the name of the file in which pre-commit leaves a summary for prepare-commit-msg: said-PROCESS, the git that asked.
// Its first line is what begins a comment in a message, "" where nobody knows; the second the title; the rest the body.
const saidPrefix = "said-"

// leaveSummary writes a summary down for the stub of prepare-commit-msg, which puts it into the message without starting fettle.
func leaveSummary(repo *git.Repo, s Summary) {
	if s.Title == "" {
		return
	}
	_ = os.WriteFile(filepath.Join(repo.Scratch(), saidPrefix+askingGit()), []byte(commentMark(repo)+"\n"+s.Title+"\n"+s.Body), 0o666)
}

// leftSummary is what pre-commit left.
func leftSummary(repo *git.Repo) Summary {
	data, err := os.ReadFile(filepath.Join(repo.Scratch(), saidPrefix+askingGit()))
	if err != nil {
		return Summary{}
	}
	_, rest, _ := strings.Cut(string(data), "\n")
	title, body, _ := strings.Cut(rest, "\n")
	return Summary{title, body}
}

// commentMark is what begins a comment in a message that a person edits; "" where git chooses it by the message.
func commentMark(repo *git.Repo) string {
	mark := "#"
	for _, key := range []string{"core.commentChar", "core.commentString"} { // the second is the newer name of the first
		if value, ok, err := repo.Config(key); err == nil && ok && value != "" && !strings.Contains(value, "\n") {
			mark = value
		}
	}
	if mark == "auto" {
		return ""
	}
	return mark
}

// addSummary puts a summary into the message of a commit that git has prepared, where it is one that a person writes: a plain one, one
// from a template, that of a merge, or one that was given. What git replays, amends or squashes has its message. A message that cannot be
// read or written stops nothing.
func addSummary(repo *git.Repo, call Call, s Summary) {
	source := ""
	if len(call.Args) > 1 {
		source = call.Args[1]
	}
	if len(call.Args) == 0 || s.Title == "" || !slices.Contains(summed, source) || slices.ContainsFunc(replays, func(name string) bool {
		_, err := os.Stat(filepath.Join(repo.GitDir, name))
		return err == nil
	}) {
		return
	}
	data, err := os.ReadFile(call.Args[0])
	if err == nil {
		edited := os.Getenv("GIT_EDITOR") != ":" || source != "message" // git says ":" where nobody is to edit it
		if text, ok := withSummary(string(data), s, commentMark(repo), edited); ok {
			err = os.WriteFile(call.Args[0], []byte(text), 0o666)
		}
	}
	if err != nil {
		fmt.Fprintf(call.Out, "fettle: what changes could not be written into the message: %v\n", err)
	}
}

// summed are the sources of a message, as git calls them, that get a summary; "" is a person at an editor.
var summed = []string{"", "template", "merge", "message"}

// replays are in the directory of git while it makes commits of before again.
var replays = []string{"CHERRY_PICK_HEAD", "REVERT_HEAD", "rebase-merge", "rebase-apply"}

// withSummary puts a summary behind what a message says, before trailers (Co-authored-by: …) and before what git itself writes into it as
// comments. It is false where the message stays as it is: it says the same already, or where its comments begin cannot be told. The
// stub of prepare-commit-msg does the same in shell.
func withSummary(message string, s Summary, comment string, edited bool) (string, bool) {
	if comment == "" && edited {
		return "", false
	}
	first, _, _ := strings.Cut(s.Body, "\n")
	body := strings.TrimRight(s.Body, "\n")
	var text, paragraph, gap, rest string
	trailers := false
	for message != "" {
		line, after, _ := strings.Cut(message, "\n")
		if edited && strings.HasPrefix(line, comment) {
			rest = strings.TrimRight(message, "\n")
			break
		}
		if first != "" && line == first {
			return "", false
		}
		message = after
		if strings.Trim(line, " \t\r") == "" {
			gap += line + "\n"
			continue
		}
		if gap != "" {
			text, paragraph, gap, trailers = text+paragraph+gap, "", "", true
		}
		paragraph += line + "\n"
		trailers = trailers && isTrailer(line)
	}
	switch {
	case paragraph == "" && body == "":
		text = s.Title + "\n"
	case paragraph == "":
		text = s.Title + "\n\n" + body + "\n"
	case body == "":
		return "", false
	case trailers && text != "":
		text += body + "\n\n" + paragraph
	default:
		text += paragraph + "\n" + body + "\n"
	}
	if rest != "" {
		text += "\n" + rest + "\n"
	}
	return text, true
}

// isTrailer reports whether a line says something about a commit for programs: "Co-authored-by: Iris Brandt <...>".
func isTrailer(line string) bool {
	name, _, ok := strings.Cut(line, ": ")
	return ok && name != "" && strings.Trim(name, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-") == ""
}

// summaryStub is addSummary for the shell, in the stub of prepare-commit-msg. It runs where pre-commit passed the commit.
const summaryStub = `		# What changes by the commit, as pre-commit left it, goes into the message.
		git=${1%/*}
		[ -e "$git/fettle/` + saidPrefix + `$PPID" ] || exit 0
		case "${2-}" in "" | template | merge | message) ;; *) exit 0 ;; esac
		for name in CHERRY_PICK_HEAD REVERT_HEAD rebase-merge rebase-apply; do
			[ ! -e "$git/$name" ] || exit 0
		done
		newline='
'
		body= first= # read line by line, since to start a program takes longer
		{
			IFS= read -r comment
			IFS= read -r title
			while IFS= read -r line; do
				first=${first:-$line} body=$body${body:+$newline}$line
			done
		} <"$git/fettle/` + saidPrefix + `$PPID"
		edited=yes
		if [ "${GIT_EDITOR-}" = : ] && [ "${2-}" = message ]; then
			edited=
		fi
		[ -n "$comment" ] || [ -z "$edited" ] || exit 0
		text= paragraph= gap= rest= trailers=
		while IFS= read -r line || [ -n "$line" ]; do
			if [ -n "$edited" ]; then
				case $line in "$comment"*)
					rest=$(cat)
					rest=$line${rest:+$newline$rest}
					break
					;;
				esac
			fi
			[ -z "$first" ] || [ "$line" != "$first" ] || exit 0
			case $line in
			*[!\ \	]*) ;;
			*)
				gap=$gap$line$newline
				continue
				;;
			esac
			if [ -n "$gap" ]; then
				text=$text$paragraph$gap paragraph= gap= trailers=yes
			fi
			paragraph=$paragraph$line$newline
			case $line in
			*": "*)
				case ${line%%": "*} in "" | *[!A-Za-z0-9-]*) trailers= ;; esac
				;;
			*) trailers= ;;
			esac
		done <"$1"
		if [ -z "$paragraph" ]; then
			text=$title$newline${body:+$newline$body$newline}
		elif [ -z "$body" ]; then
			exit 0
		elif [ -n "$trailers" ] && [ -n "$text" ]; then
			text=$text$body$newline$newline$paragraph
		else
			text=$text$paragraph$newline$body$newline
		fi
		printf '%s' "$text${rest:+$newline$rest$newline}" >"$1"
`
