package hooks

import (
	"path/filepath"
	"strings"
)

// stubMark begins the line by which a hook is known to be ours. The number goes up when the text changes.
const (
	stubMark    = "# fettle hook "
	stubVersion = "3"
)

// early are the lines with which a hook ends before it starts anything, where there is nothing to do.
var early = map[string]string{
	PrepareCommitMsg: `# What pre-commit passed a moment ago, for the same git and the same files, needs no second look.
for mark in "${1%/*}/fettle/` + markPrefix + `$PPID"-*; do
	if cmp -s "${GIT_INDEX_FILE:-/}" "$mark" "${mark##*-}" 0 2>/dev/null; then
` + summaryStub + `		exit 0
	fi
done
`,
	PostMerge: `# A merge that made a commit was judged before.
if [ -e "${GIT_DIR:-.git}/MERGE_HEAD" ]; then
	exit 0
fi
`,
	PostRewrite: `# So was a commit that was amended.
if [ "$1" = amend ]; then
	exit 0
fi
`,
}

// stub is the hook as it is installed: a script for the POSIX shell, which git brings along on every system. It calls the program
// that installed it, or the one in the PATH where that is gone. Where there is none it stops what git does, unless this PC or the
// shop says otherwise, or the repository holds no library at all.
func stub(hook, program string) string {
	text := `#!/bin/sh
` + stubMark + stubVersion + `: ` + hook + `
# Written by "fettle hooks install", taken away by "fettle hooks remove". Edits are lost.
` + early[hook] + `program=` + shellQuote(shellPath(program)) + `
` + parentVariable + `=$PPID
export ` + parentVariable + `
if [ -x "$program" ]; then
	exec "$program" hook ` + hook + ` "$@"
fi
if command -v fettle >/dev/null 2>&1; then
	exec fettle hook ` + hook + ` "$@"
fi
if [ -z "$(git ls-files -- fettle.json '*/fettle.json' 2>/dev/null)" ]; then
	exit 0
fi
`
	if OnlyReports(hook) {
		return text + `echo "fettle: the program is gone ($program), so nothing was looked at: fettle hooks install" >&2
exit 0
`
	}
	if hook == PrepareCommitMsg {
		text += `replays=
for name in CHERRY_PICK_HEAD REVERT_HEAD rebase-merge rebase-apply; do
	if [ -e "${1%/*}/$name" ]; then
		replays=yes
	fi
done
if [ -e "${1%/*}/MERGE_MSG" ] && [ ! -e "${1%/*}/MERGE_HEAD" ]; then
	replays=yes
fi
if [ -z "$replays" ]; then # pre-commit came before and said it all, or was left out on purpose
	exit 0
fi
`
	}
	what := "commit"
	if hook == PrePush {
		what = "push"
	}
	return text + `choice=$(git config fettle.missing-tool)
if [ -z "$choice" ] && git grep -qE '"missing_tool": *"pass"' HEAD -- fettle.json '*/fettle.json' 2>/dev/null; then
	choice=pass
fi
if [ "$choice" = pass ]; then
	echo "fettle: the program is gone ($program), so nothing was checked" >&2
	exit 0
fi
echo "fettle: the program that checks cut conditions is gone, so the ` + what + ` is stopped" >&2
echo "        it was $program" >&2
echo "        put it back, or put fettle in the PATH, then: fettle hooks install" >&2
echo "        to let all through unchecked on this PC: git config fettle.missing-tool pass" >&2
exit 1
`
}

// shellPath writes a path as every shell that git brings along takes it. The one of Git for Windows reads C:/shop/fettle.exe and
// //server/share/fettle.exe, and a backslash only where it is quoted.
func shellPath(p string) string {
	if len(p) > 2 && p[1] == ':' && (p[2] == '\\' || p[2] == '/') || strings.HasPrefix(p, `\\`) {
		return strings.ReplaceAll(p, `\`, "/")
	}
	return filepath.ToSlash(p)
}

// shellQuote puts text between single quotes of the POSIX shell.
func shellQuote(s string) string { return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'" }

// isStub reports whether a hook is ours.
func isStub(text string) bool {
	for line := range strings.Lines(text) {
		if strings.HasPrefix(line, stubMark) {
			return true
		}
		if !strings.HasPrefix(line, "#") {
			break
		}
	}
	return false
}

// stubProgram is the program that a hook of ours calls.
func stubProgram(text string) string {
	for line := range strings.Lines(text) {
		if value, ok := strings.CutPrefix(strings.TrimRight(line, "\r\n"), "program='"); ok {
			return strings.ReplaceAll(strings.TrimSuffix(value, "'"), `'\''`, "'")
		}
	}
	return ""
}

// chains reports whether a foreign hook calls ours: a line that is no comment and names program and hook.
func chains(text, hook string) bool {
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		if !strings.HasPrefix(line, "#") && strings.Contains(line, "fettle") && strings.Contains(line, "hook "+hook) {
			return true
		}
	}
	return false
}

// chainLine is what makes a foreign shell hook call ours. What git sends to a hook can be read once, so that hook gets it back.
func chainLine(hook, program string) string {
	call := parentVariable + "=$PPID " + shellQuote(shellPath(program)) + " hook " + hook + ` "$@"`
	if hook == PrePush || hook == PostRewrite {
		return `in=$(mktemp) && cat >"$in" && ` + call + ` <"$in" || exit $?; exec <"$in"; rm -f "$in"`
	}
	return call + ` || exit $?`
}
