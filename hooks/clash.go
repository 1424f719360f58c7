package hooks

import (
	"fmt"
	"iter"
	"slices"
	"strings"

	"golang.org/x/text/unicode/norm"

	"fettle/history/git"
	"fettle/lint"
	"fettle/schema"
)

// sameOnDisk gives names that Windows and macOS take for one another the same text: they differ in case, or in how accents are written.
func sameOnDisk(name string) string { return strings.ToLower(norm.NFC.String(name)) }

// likeAPart is the part of a library that a name would be taken for on some computers and is not on others, or "".
func likeAPart(name string) string {
	i := slices.IndexFunc(git.Parts, func(part string) bool { return part != name && sameOnDisk(part) == sameOnDisk(name) })
	if i < 0 {
		return ""
	}
	return git.Parts[i]
}

// clashes are files that a commit brings and that lie over another one on some computers: there, what was approved is not what is on
// disk. The others are the files of the library before or after, from its root.
func clashes(root string, changes []git.Change, others iter.Seq[string]) []lint.Finding {
	var out []lint.Finding
	add := func(path, message string) {
		out = append(out, lint.Finding{Rule: schema.RuleMisplacedFile, Severity: lint.Error, Path: path, Line: 1, Column: 1, Width: 1, Message: message,
			Help: "Give it another name: git mv"})
	}
	var brought []string
	for _, c := range changes {
		p := c.Path
		if root != "" {
			p = strings.TrimPrefix(p, root+"/")
		}
		first, _, _ := strings.Cut(p, "/")
		switch part := likeAPart(first); {
		case c.NewHash == "" || c.OldHash != "" || root != "" && p == c.Path:
		case part != "":
			add(p, fmt.Sprintf("%s is %s on Windows and macOS, and something else elsewhere", first, part))
		case slices.Contains(git.Parts, first) && needed(sameOnDisk(p)) && !schema.IsRecordPath(p): // a record must be called as its content asks
			brought = append(brought, p)
		}
	}
	if len(brought) == 0 {
		return out
	}
	known := map[string]string{}
	for other := range others {
		if !slices.Contains(brought, other) && !schema.IsRecordPath(other) {
			known[sameOnDisk(other)] = other
		}
	}
	for _, p := range brought {
		if other := known[sameOnDisk(p)]; other != "" {
			add(p, "it lies over "+other+" on Windows and macOS")
		}
		known[sameOnDisk(p)] = p
	}
	return out
}
