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

// draw draws the bar: how much is done where that is known, else a mark that moves, and the seconds. It is false at the end.
func (p *progress) draw() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.ended {
		return false
	}
	took := p.now().Sub(p.begun)
	line := ""
	if p.all > 0 {
		full := min(barWidth, barWidth*p.done/p.all)
		line = fmt.Sprintf("%s [%s%s] %3d %%", p.what, strings.Repeat("#", full), strings.Repeat(".", barWidth-full), min(100, 100*p.done/p.all))
	} else {
		const mark = 3
		at := int(took/barEvery) % (2 * (barWidth - mark))
		at = min(at, 2*(barWidth-mark)-at)
		line = fmt.Sprintf("%s [%s%s%s] %d s", p.what, strings.Repeat(".", at), strings.Repeat("#", mark), strings.Repeat(".", barWidth-mark-at), int(took.Seconds()))
	}
	fmt.Fprintf(p.out, "\r%s%s", line, strings.Repeat(" ", max(0, p.width-len(line))))
	p.width = max(p.width, len(line))
	return true
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
