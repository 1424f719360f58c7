package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/term"
)

// A progress is a bar for work that takes longer than half a second, on a terminal and nowhere else. It goes to where errors go, so that
// what is printed can be piped, and leaves nothing behind. (Own: the libraries for it compile patterns whenever a program starts.)
type progress struct {
	out   io.Writer // nil where nobody looks
	what  string
	begun time.Time
	shown time.Time
	now   func() time.Time
}

// The bar comes after a while and is drawn anew now and then.
const (
	barAfter = 500 * time.Millisecond
	barEvery = 100 * time.Millisecond
	barWidth = 30
)

// newProgress begins a work.
func newProgress(out io.Writer, what string) *progress {
	p := &progress{what: what, begun: time.Now(), now: time.Now}
	if f, ok := out.(*os.File); ok && os.Getenv("TERM") != "dumb" && term.IsTerminal(int(f.Fd())) {
		p.out = out
	}
	return p
}

// tell says how much of it is done.
func (p *progress) tell(done, all int) {
	if p.out == nil || all <= 0 {
		return
	}
	now := p.now()
	if now.Sub(p.begun) < barAfter || now.Sub(p.shown) < barEvery {
		return
	}
	p.shown = now
	full := min(barWidth, barWidth*done/all)
	fmt.Fprintf(p.out, "\r%s [%s%s] %3d %%", p.what, strings.Repeat("#", full), strings.Repeat(".", barWidth-full), min(100, 100*done/all))
}

// end takes the bar away.
func (p *progress) end() {
	if p.out != nil && !p.shown.IsZero() {
		fmt.Fprintf(p.out, "\r%s\r", strings.Repeat(" ", len(p.what)+barWidth+10))
	}
}
