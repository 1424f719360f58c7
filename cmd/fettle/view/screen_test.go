package view

import (
	"strings"
	"testing"
)

// A file on one line is shown around what is wrong, and only that is looked at.
func TestWindowOfALongLine(t *testing.T) {
	var line strings.Builder
	var starts []int
	for i := range 200_000 {
		starts = append(starts, line.Len())
		line.WriteString(`"member`)
		line.WriteString(strings.Repeat("x", i%7))
		line.WriteString(`": 1, `)
	}
	text := line.String()
	for i := 0; i < len(starts); i += 997 {
		shown, before, under := window(text, starts[i], 7, 80)
		part := []rune(shown)
		if got := string(part[before : before+under]); got != `"member` {
			t.Fatalf("member %d: %q is underlined of %q", i, got, shown)
		}
		if cutBefore := strings.HasPrefix(shown, "…"); cutBefore != (i > 3) {
			t.Fatalf("member %d: cut before is %v in %q", i, cutBefore, shown)
		}
		if columns(shown) > 80 {
			t.Fatalf("member %d: %d columns", i, columns(shown))
		}
	}
}
