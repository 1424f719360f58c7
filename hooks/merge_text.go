package hooks

import (
	"bytes"
	"slices"
	"strings"

	"fettle/schema"
)

// markerSize is how many characters a marker line begins with where git does not say.
const markerSize = 7

// Text writes what came of a merge in the house layout. Each clash stands in it as git writes conflicts: this side, what was before,
// the other side, between marker lines that also say why each side changed it. With clashes the text is no JSON until somebody
// keeps one side and takes the marker lines out.
func (m Merge) Text(size int) []byte {
	if size <= 0 {
		size = markerSize
	}
	lines := m.lines(nil, 0)
	var hunks []hunk
	for i := range m.Clashes {
		hunks = append(hunks, m.hunk(lines, []int{i}))
	}
	slices.SortStableFunc(hunks, func(a, b hunk) int { return a.from - b.from })
	for i := 0; i+1 < len(hunks); {
		if hunks[i+1].from >= hunks[i].to {
			i++
			continue
		}
		hunks[i] = m.hunk(lines, append(hunks[i].clashes, hunks[i+1].clashes...))
		hunks = slices.Delete(hunks, i+1, i+2)
		i = max(0, i-1)
	}
	var out bytes.Buffer
	put := func(list []string) {
		for _, line := range list {
			out.WriteString(line)
			out.WriteByte('\n')
		}
	}
	marker := func(sign, label string) string { return strings.TrimSpace(strings.Repeat(sign, size) + " " + label) }
	at := 0
	for _, h := range hunks {
		put(lines[at:h.from])
		c := m.Clashes[h.clashes[0]]
		put([]string{marker("<", label("here", c.HereWhy))})
		put(h.sides[0])
		put([]string{marker("|", "before")})
		put(h.sides[1])
		put([]string{marker("=", "")})
		put(h.sides[2])
		put([]string{marker(">", label("there", c.ThereWhy))})
		at = h.to
	}
	put(lines[at:])
	return out.Bytes()
}

func label(side, why string) string {
	if why == "" {
		return side
	}
	return cut(side+": "+why, 110)
}

// A hunk is lines of the merged text, from included and to not, that are other ones on each side.
type hunk struct {
	from, to int
	clashes  []int
	sides    [3][]string // here, before, there
}

// hunk works out which lines clashes stand for. Where a side does not have the last member of an object, the comma of the line before
// goes as well, so that line belongs to it too.
func (m Merge) hunk(lines []string, clashes []int) hunk {
	h := hunk{from: len(lines), clashes: clashes}
	var sides [3][]string
	end := len(lines)
	for i := range sides {
		sides[i] = m.lines(clashes, i)
		same := 0
		for same < len(lines) && same < len(sides[i]) && lines[same] == sides[i][same] {
			same++
		}
		h.from = min(h.from, same)
		same = 0
		for same < len(lines) && same < len(sides[i]) && lines[len(lines)-1-same] == sides[i][len(sides[i])-1-same] {
			same++
		}
		end = min(end, same)
	}
	h.to = len(lines) - end
	for i := range sides {
		h.sides[i] = sides[i][h.from : len(sides[i])-end]
	}
	return h
}

// lines is the merged text with some clashes settled for one side: 0 here, 1 before, 2 there.
func (m Merge) lines(clashes []int, side int) []string {
	settled := map[string]*schema.Node{}
	for _, i := range clashes {
		c := m.Clashes[i]
		settled[c.token] = []*schema.Node{c.Here, c.Base, c.There}[side]
	}
	return strings.Split(strings.TrimSuffix(string(schema.Layout(replaced(m.Root, settled))), "\n"), "\n")
}

// replaced copies a tree with clashes replaced; one that is settled for nothing is left out.
func replaced(n *schema.Node, settled map[string]*schema.Node) *schema.Node {
	out := *n
	out.Kids = nil
	for _, kid := range n.Kids {
		if kid.Kind == schema.String {
			if choice, ok := settled[kid.Text]; ok {
				if choice != nil {
					out.Kids = append(out.Kids, choice)
				}
				continue
			}
		}
		out.Kids = append(out.Kids, replaced(kid, settled))
	}
	return &out
}
