package main

import (
	"bytes"
	"os"
	"strings"
	"testing"
	"time"
)

func TestProgress(t *testing.T) {
	var out bytes.Buffer
	at := time.Now()
	p := &progress{out: &out, what: "checking", begun: at, now: func() time.Time { return at }}
	p.tell(1, 10)
	p.end()
	if out.Len() > 0 {
		t.Errorf("a bar in the first moment: %q", out.String())
	}
	at = at.Add(barAfter)
	p.tell(5, 10)
	p.tell(6, 10) // at once again
	if got, want := out.String(), "\rchecking ["+strings.Repeat("#", 15)+strings.Repeat(".", 15)+"]  50 %"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	width := out.Len() - 1
	out.Reset()
	p.end()
	if got := out.String(); strings.Trim(got, " \r") != "" || len(got) < width+2 {
		t.Errorf("what takes a bar of %d away is %q", width, got)
	}
	// no bar in a pipe or a file
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	defer w.Close()
	if p := newProgress(w, "checking"); p.out != nil {
		t.Error("a bar goes into a pipe")
	}
}
