package hooks

import (
	"path/filepath"
	"strings"
)

// stubMark begins the line by which a hook is known to be ours. The number goes up when the text changes.
const (
	stubMark    = "# fettle hook "
	stubVersion = "1"
)

// stub is the hook as it is installed: a script for the POSIX shell, which git brings along on every system. It calls the program
// that installed it, or the one in the PATH where that is gone. Where there is none it stops the commit, unless this PC or the
// shop says otherwise, or the repository holds no library at all.
func stub(hook, program string) string {
	return `#!/bin/sh
` + stubMark + stubVersion + `: ` + hook + `
# Written by "fettle hooks install", taken away by "fettle hooks remove". Edits are lost.
program=` + shellQuote(filepath.ToSlash(program)) + `
if [ -x "$program" ]; then
	exec "$program" hook ` + hook + ` "$@"
fi
if command -v fettle >/dev/null 2>&1; then
	exec fettle hook ` + hook + ` "$@"
fi
if [ -z "$(git ls-files -- fettle.json '*/fettle.json' 2>/dev/null)" ]; then
	exit 0
fi
choice=$(git config fettle.missing-tool)
if [ -z "$choice" ] && git grep -qE '"missing_tool": *"pass"' HEAD -- fettle.json '*/fettle.json' 2>/dev/null; then
	choice=pass
fi
if [ "$choice" = pass ]; then
	echo "fettle: the program is gone ($program), so nothing was checked" >&2
	exit 0
fi
echo "fettle: the program that checks cut conditions is gone, so the commit is stopped" >&2
echo "        it was $program" >&2
echo "        put it back, or put fettle in the PATH, then: fettle hooks install" >&2
echo "        to let commits through unchecked on this PC: git config fettle.missing-tool pass" >&2
exit 1
`
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

// chainLine is what makes a foreign shell hook call ours.
func chainLine(hook, program string) string {
	return shellQuote(filepath.ToSlash(program)) + " hook " + hook + ` "$@" || exit $?`
}
