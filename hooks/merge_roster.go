package hooks

import (
	"bytes"
	"slices"
	"strings"

	"fettle/history/signature"
)

// MergeRoster merges two versions of a file that says which keys are whose, line by line: a line that either side added is in, one
// that either side took out is out. Where both sides changed the lines of one person, or gave one key to two, the lines of both
// stand between markers, since a merge must not decide who may approve what. Whatever comes of it counts only when it is approved.
func MergeRoster(base, here, there []byte, size int) (text []byte, clashes []string) {
	if size <= 0 {
		size = markerSize
	}
	a, b, c := rosterLines(base), rosterLines(here), rosterLines(there)
	var kept, hereOnly, thereOnly []string
	for _, line := range interleave(b, c, strings.Compare) {
		inA, inB, inC := slices.Contains(a, line), slices.Contains(b, line), slices.Contains(c, line)
		switch {
		case inB && inC, !inA && strings.HasPrefix(line, "#"):
			kept = append(kept, line)
		case inA: // one side took it out
		case inB:
			kept, hereOnly = append(kept, line), append(hereOnly, line)
		default:
			kept, thereOnly = append(kept, line), append(thereOnly, line)
		}
	}
	touched := func(side []string) map[string]bool {
		out := map[string]bool{}
		for _, line := range slices.Concat(a, side) {
			if who := principal(line); who != "" && slices.Contains(a, line) != slices.Contains(side, line) {
				out[who] = true
			}
		}
		return out
	}
	byHere, byThere := touched(b), touched(c)
	for who := range byHere {
		if byThere[who] && !slices.Equal(of(who, b), of(who, c)) {
			clashes = append(clashes, who)
		}
	}
	if len(clashes) == 0 {
		if _, problems := signature.ParseRoster("", []byte(strings.Join(kept, "\n"))); len(problems) > 0 {
			_, before := signature.ParseRoster("", []byte(strings.Join(b, "\n")))
			_, other := signature.ParseRoster("", []byte(strings.Join(c, "\n")))
			if len(before)+len(other) == 0 { // each side is sound, and both together are not: one key of two persons, names that look alike
				for _, line := range slices.Concat(hereOnly, thereOnly) {
					if who := principal(line); who != "" && !slices.Contains(clashes, who) {
						clashes = append(clashes, who)
					}
				}
			}
		}
	}
	slices.Sort(clashes)
	var out bytes.Buffer
	put := func(list ...string) {
		for _, line := range list {
			out.WriteString(line + "\n")
		}
	}
	in := func(list []string, persons []string) []string {
		var found []string
		for _, line := range list {
			if slices.Contains(persons, principal(line)) {
				found = append(found, line)
			}
		}
		return found
	}
	for _, line := range kept {
		if !slices.Contains(clashes, principal(line)) {
			put(line)
		}
	}
	if len(clashes) > 0 {
		put(strings.Repeat("<", size) + " here")
		put(in(b, clashes)...)
		put(strings.Repeat("|", size) + " before")
		put(in(a, clashes)...)
		put(strings.Repeat("=", size))
		put(in(c, clashes)...)
		put(strings.Repeat(">", size) + " there")
	}
	return out.Bytes(), clashes
}

// rosterLines are the lines of a roster, each once.
func rosterLines(data []byte) []string {
	var out []string
	for line := range strings.Lines(string(data)) {
		if line = strings.TrimRight(line, " \t\r\n"); line != "" && !slices.Contains(out, line) {
			out = append(out, line)
		}
	}
	return out
}

// principal is the person that a line is about; the line itself where it cannot be read, so that it clashes with nothing else.
func principal(line string) string {
	if strings.HasPrefix(line, "#") {
		return ""
	}
	if r, problems := signature.ParseRoster("", []byte(line)); len(problems) == 0 && len(r.Lines) == 1 {
		return strings.ToLower(r.Lines[0].Principal)
	}
	return line
}

func of(who string, lines []string) []string {
	var out []string
	for _, line := range lines {
		if principal(line) == who {
			out = append(out, line)
		}
	}
	slices.Sort(out)
	return out
}
