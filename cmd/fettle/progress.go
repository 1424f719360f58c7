package main

import (
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"time"

	"golang.org/x/term"
)

// A progress is a bar for work that takes longer than half a second, on a terminal and nowhere else. It goes to where errors go, so that
// what is printed can be piped, stands until something else is printed, and leaves nothing behind. Every command has one; those that can
// count what they do tell it. (Own: the libraries for it compile patterns whenever a program starts.)
type progress struct {
	out   io.Writer
	now   func() time.Time
	begun time.Time

	mu        sync.Mutex
	what      string
	done, all int
	width     int // of what stands on the screen
	ended     bool
}

// The bar comes after a while and is drawn anew now and then.
const (
	barAfter = 500 * time.Millisecond
	barEvery = 100 * time.Millisecond
	barWidth = 30
)

// newProgress begins a bar where somebody looks; it is nil anywhere else, which all of its methods take.
func newProgress(out io.Writer) *progress {
	f, ok := out.(*os.File)
	if !ok || os.Getenv("TERM") == "dumb" || !term.IsTerminal(int(f.Fd())) {
		return nil
	}
	p := &progress{out: out, what: "reading", now: time.Now, begun: time.Now()}
	var draw func()
	draw = func() {
		if p.draw() {
			time.AfterFunc(barEvery, draw)
		}
	}
	time.AfterFunc(barAfter, draw)
	return p
}

// doing names the work.
func (p *progress) doing(what string) {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.what, p.done, p.all = what, 0, 0
}

// tell says how much of it is done.
func (p *progress) tell(done, all int) {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.done, p.all = done, all
}

// draw draws the bar. It is false at the end.
func (p *progress) draw() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.ended {
		return false
	}
	line := p.line(p.now().Sub(p.begun), columns(p.out))
	fmt.Fprintf(p.out, "\r%s%s", line, strings.Repeat(" ", max(0, p.width-len(line))))
	p.width = max(p.width, len(line))
	return true
}

// line says how much is done where that is known, else how long it took, beside a mark that moves. It fits into the room of a screen, where there
// is one: a line that is folded would not go away.
func (p *progress) line(took time.Duration, room int) string {
	const mark = 3
	tail, wide := fmt.Sprintf("%d s", int(took.Seconds())), barWidth
	if p.all > 0 {
		tail = fmt.Sprintf("%3d %%", min(100, 100*p.done/p.all))
	}
	if room > 0 {
		wide = min(wide, room-1-len(p.what)-len(" [] ")-len(tail))
	}
	switch {
	case wide <= 2*mark:
		return fmt.Sprintf("%.*s %s", max(0, len(p.what)+wide), p.what, tail)
	case p.all > 0:
		full := min(wide, wide*p.done/p.all)
		return p.what + " [" + strings.Repeat("#", full) + strings.Repeat(".", wide-full) + "] " + tail
	}
	at := int(took/barEvery) % (2 * (wide - mark))
	at = min(at, 2*(wide-mark)-at)
	return p.what + " [" + strings.Repeat(".", at) + strings.Repeat("#", mark) + strings.Repeat(".", wide-mark-at) + "] " + tail
}

// end takes the bar away for good.
func (p *progress) end() {
	if p == nil {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.width > 0 && !p.ended {
		fmt.Fprintf(p.out, "\r%s\r", strings.Repeat(" ", p.width))
	}
	p.ended = true
}

// A screen is a stream of the program that takes the bar away before anything is printed on it.
type screen struct {
	io.Writer
	bar *progress
}

func (s screen) Write(data []byte) (int, error) {
	s.bar.end()
	return s.Writer.Write(data)
}

// terminalOf is the file behind a stream, nil where there is none.
func terminalOf(w io.Writer) *os.File {
	if s, ok := w.(screen); ok {
		w = s.Writer
	}
	f, _ := w.(*os.File)
	return f
}
