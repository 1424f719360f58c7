package table

import (
	"regexp"
	"sync"
)

// pattern returns a regular expression that is compiled when it is first asked for: every command would pay for it otherwise, the
// hook among them.
func pattern(expr string) func() *regexp.Regexp {
	return sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(expr) })
}
