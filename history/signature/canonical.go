package signature

import (
	"encoding/base64"
	"fmt"
	"slices"
	"sort"
	"strings"

	"golang.org/x/crypto/ssh"
)

// Canonical gives what the roster says and nothing of how it is written: one text a line, sorted, each once, without comments;
// options in the order namespaces, valid-after, valid-before, the namespaces sorted, times in UTC to the second. Two rosters that
// trust the same keys under the same terms have the same Canonical, on every machine, and it is itself a roster.
func (r *Roster) Canonical() []string {
	if r == nil {
		return nil
	}
	lines := make([]string, 0, len(r.Lines))
	for i := range r.Lines {
		lines = append(lines, r.Lines[i].Canonical())
	}
	sort.Strings(lines)
	return slices.Compact(lines)
}

// Canonical gives the line as [Roster.Canonical] has it.
func (l *Line) Canonical() string {
	var options []string
	if l.Namespaces != nil {
		names := slices.Clone(l.Namespaces)
		sort.Strings(names)
		list := strings.Join(slices.Compact(names), ",")
		options = append(options, `namespaces="`+strings.ReplaceAll(list, `"`, `\"`)+`"`)
	}
	if !l.ValidAfter.IsZero() {
		options = append(options, `valid-after="`+writeTime(l.ValidAfter)+`"`)
	}
	if !l.ValidBefore.IsZero() {
		options = append(options, `valid-before="`+writeTime(l.ValidBefore)+`"`)
	}
	fields := []string{quotePrincipal(l.Principal)}
	if len(options) > 0 {
		fields = append(fields, strings.Join(options, ","))
	}
	return strings.Join(append(fields, publicText(l.Key)), " ")
}

// FormatLine writes the line that gives key to principal, for appending to a roster; the comment may be empty. What
// [ParseRoster] would refuse is an error.
func FormatLine(principal string, key ssh.PublicKey, comment string) (string, error) {
	l := Line{Principal: principal, Key: key}
	if key == nil {
		return "", fmt.Errorf("no key for %q", principal)
	}
	text := l.Canonical()
	if comment = strings.Join(strings.Fields(comment), " "); comment != "" {
		text += " " + comment
	}
	r, problems := ParseRoster("", []byte(text+"\n"))
	if len(problems) > 0 {
		return "", &fault{problems[0].Message, problems[0].Help}
	}
	if len(r.Lines) != 1 || r.Lines[0].Principal != principal || !sameKey(r.Lines[0].Key, key) {
		return "", fmt.Errorf("%q cannot be written into a roster", principal)
	}
	return text, nil
}

// quotePrincipal quotes a name that would otherwise be read as something else.
func quotePrincipal(name string) string {
	if strings.ContainsAny(name, " \t#") || isKeyWord(name) {
		return `"` + name + `"`
	}
	return name
}

// publicText is a key as in a .pub file, without comment.
func publicText(key ssh.PublicKey) string {
	return key.Type() + " " + base64.StdEncoding.EncodeToString(key.Marshal())
}
