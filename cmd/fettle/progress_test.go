package main

import (
	"bytes"
	"io"
	"os"
	"strings"
	"testing"
	"time"
)

func TestProgress(t *testing.T) {
	var out bytes.Buffer
	at := time.Now()
	p := &progress{out: &out, what: "reading", begun: at, now: func() time.Time { return at }}
	at = at.Add(700 * time.Millisecond)
	p.draw()
	if got, want := out.String(), "\rreading ["+strings.Repeat(".", 7)+"###"+strings.Repeat(".", 20)+"] 0 s"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	for range 200 { // the mark stays inside
		at = at.Add(barEvery)
		p.draw()
	}
	for line := range strings.SplitSeq(out.String()[1:], "\r") {
		if _, inside, _ := strings.Cut(line, "["); strings.IndexByte(inside, ']') != barWidth || strings.Count(inside, "#") != 3 {
			t.Fatalf("%q", line)
		}
	}
	out.Reset()
	p.doing("checking")
	p.tell(5, 10)
	p.draw()
	if got, want := strings.TrimRight(out.String(), " "), "\rchecking ["+strings.Repeat("#", 15)+strings.Repeat(".", 15)+"]  50 %"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	longest := p.width
	out.Reset()
	var printed bytes.Buffer
	io.WriteString(screen{&printed, p}, "found\n")
	if got := out.String(); strings.Trim(got, " \r") != "" || len(got) < longest+2 || printed.String() != "found\n" {
		t.Errorf("what takes a bar of %d away is %q, and %q is printed", longest, got, printed.String())
	}
	out.Reset()
	if p.end(); p.draw() || out.Len() > 0 {
		t.Errorf("after the end: %q", out.String())
	}
}

// No bar in a pipe or a file: none is begun, and telling none is no harm.
func TestProgressInAPipe(t *testing.T) {
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	defer w.Close()
	p := newProgress(w)
	if p != nil {
		t.Error("a bar goes into a pipe")
	}
	p.doing("checking")
	p.tell(1, 2)
	p.end()
}

// What a bar says fits into a line of the screen, at any time and however long it is.
func TestProgressFits(t *testing.T) {
	for _, what := range []string{"reading", "looking where every condition stands: 1960 of 2000 sets", strings.Repeat("very long ", 20)} {
		for _, room := range []int{40, 80, 200} {
			for _, all := range []int{0, 1000} {
				p := &progress{what: what, done: 999, all: all}
				for took := time.Duration(0); took < 2*time.Minute; took += 700 * time.Millisecond {
					if line := p.line(took, room); len(line) >= room || !strings.HasPrefix(line, what[:7]) {
						t.Fatalf("%d of %d: %q", len(line), room, line)
					}
				}
			}
		}
	}
}
