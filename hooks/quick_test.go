package hooks

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
)

// Every verdict that is come to quickly, in any test of this package, is held to the one from the whole library: the same words, and
// that nothing stops the commit.
func init() {
	afterQuick = func(r *running, quick *verdict) {
		say := func(r running, v *verdict) string {
			var out bytes.Buffer
			r.Out = &out
			v.running = &r
			stopped := r.show([]*verdict{v})
			return fmt.Sprint(out.String(), stopped)
		}
		full := running{Call: r.Call, act: r.act, repo: r.repo, store: newStore(r.repo), head: r.head, heads: r.heads, changes: r.changes}
		libraries, err := full.libraries([]string{quick.root})
		if err != nil || len(libraries) != 1 {
			panic(fmt.Sprint("the whole library cannot be read: ", err))
		}
		v, err := full.judge(libraries[0], quick.Anchor)
		if err != nil {
			panic(err)
		}
		if got, want := say(*r, quick), say(full, v); got != want {
			panic("judged quickly:\n" + got + "\nfrom the whole library:\n" + want)
		}
		if file := os.Getenv(countVariable); file != "" {
			f, err := os.OpenFile(file, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o666)
			if err != nil {
				panic(err)
			}
			defer f.Close()
			fmt.Fprintln(f, filepath.Base(quick.root))
		}
	}
}

// countVariable names a file that gets a line for every verdict that is come to quickly.
const countVariable = "FETTLE_TEST_COUNT_QUICK"
