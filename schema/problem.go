package schema

import (
	"fmt"
	"sort"
	"strconv"

	"fettle/schema/quantity"
)

// The rules of the file family: what a reader can find wrong with a file before anybody asks what it means.
const (
	RuleSyntax         = "syntax"
	RuleDuplicateKey   = "duplicate-key"
	RuleUnknownField   = "unknown-field"
	RuleMissingField   = "missing-field"
	RuleBareNumber     = "bare-number"
	RuleUnknownUnit    = "unknown-unit"
	RuleWrongDimension = "wrong-dimension"
	RuleBadValue       = "bad-value"
	RuleMisplacedFile  = "misplaced-file"
	RuleDuplicateID    = "duplicate-condition"
)

// A Problem is one thing wrong with a file.
type Problem struct {
	Rule    string // one of the Rule constants
	At      Span
	Field   string // dotted path from the root of the file: conditions[2].cut.speed
	Message string // what was found and what was expected
	Help    string // what to do, may be empty
}

// Hides reports whether the problem may keep something that is written out of what was read. A file in the wrong place hides nothing.
func (p Problem) Hides() bool { return p.Rule != RuleMisplacedFile }

// MaxProblems is how many problems of one file are told one by one. Nobody reads more, and a file made for it holds millions.
const MaxProblems = 1000

// problems collects what is wrong with one file, with the path of the member that is being read.
type problems struct {
	list  []Problem
	count int // also those that are not told
	trail []place

	lately *[64]quantity.Value // see last
	spare  *Sparing            // nil where texts may hold on to the file
	file   string              // its text, "" where something is wrong with it
}

func (p *problems) add(rule string, at Span, field, message, help string) {
	if p.count++; p.count > MaxProblems {
		return
	}
	p.list = append(p.list, Problem{Rule: rule, At: at, Field: field, Message: message, Help: help})
}

// here reports a problem at the member that is being read.
func (p *problems) here(rule string, at Span, message, help string) {
	p.add(rule, at, fieldPath(p.trail), message, help)
}

func (p *problems) sorted() []Problem {
	if p.count > len(p.list) {
		p.list = append(p.list, Problem{Rule: RuleSyntax, At: Span{0, 1}, Message: fmt.Sprintf("the file has %d problems; %d are told, and the rest when these are mended", p.count, len(p.list))})
	}
	sort.SliceStable(p.list, func(i, j int) bool { return p.list[i].At.Start < p.list[j].At.Start })
	return p.list
}

// A place is one step from an object or a list to what is being read below it.
type place struct {
	key   string
	index int // in a list; -1 in an object
}

// fieldPath is the dotted path of what a trail leads to.
func fieldPath(trail []place) string {
	out := ""
	for _, at := range trail {
		if at.index >= 0 {
			out += "[" + strconv.Itoa(at.index) + "]"
			continue
		}
		if out != "" {
			out += "."
		}
		out += at.key
	}
	return out
}

// Nearest returns the candidate that word is most likely a slip of, or "" where none is close: at most a third of its
// letters may differ (optimal string alignment distance).
func Nearest(word string, candidates []string) string {
	best, bestAt := "", max(1, (len(word)+1)/3)+1
	if len(word) > longestSlip {
		return ""
	}
	for _, c := range candidates {
		if d := alignment(word, c); d < bestAt {
			best, bestAt = c, d
		}
	}
	return best
}

// longestSlip is the longest word that is taken for a slip of another; none of the format is half as long.
const longestSlip = 64

func alignment(a, b string) int {
	rows := make([][]int, len(a)+1)
	for i := range rows {
		rows[i] = make([]int, len(b)+1)
		rows[i][0] = i
	}
	for j := range rows[0] {
		rows[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			rows[i][j] = min(rows[i-1][j]+1, rows[i][j-1]+1, rows[i-1][j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				rows[i][j] = min(rows[i][j], rows[i-2][j-2]+1)
			}
		}
	}
	return rows[len(a)][len(b)]
}
