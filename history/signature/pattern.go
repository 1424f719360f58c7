package signature

import "strings"

// longestPattern is the first length that OpenSSH's match_pattern_list no longer takes; a list that holds one never matches.
const longestPattern = 1023

// matchList says whether text is in a list of patterns with * (any run), ? (any one byte) and a leading ! (not these), as
// ssh_config(5), PATTERNS, has it: one refusal outweighs every match.
func matchList(text string, patterns []string) bool {
	matched := false
	for _, p := range patterns {
		p, negated := strings.CutPrefix(p, "!")
		switch {
		case len(p) >= longestPattern:
			return false
		case !match(text, p):
		case negated:
			return false
		default:
			matched = true
		}
	}
	return matched
}

// match compares text with one pattern in time proportional to the product of their lengths at worst: after a mismatch only the last * is tried again.
func match(text, pattern string) bool {
	t, p := 0, 0
	star, resume := -1, 0
	for t < len(text) {
		switch {
		case p < len(pattern) && pattern[p] == '*':
			star, resume = p, t
			p++
		case p < len(pattern) && (pattern[p] == '?' || pattern[p] == text[t]):
			p++
			t++
		case star >= 0:
			resume++
			p, t = star+1, resume
		default:
			return false
		}
	}
	return strings.Trim(pattern[p:], "*") == ""
}
