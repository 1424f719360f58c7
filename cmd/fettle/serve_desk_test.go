package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestDeskIsNeverStale edits and saves as fast as it can, and wants every page that is asked for afterwards to tell.
func TestDeskIsNeverStale(t *testing.T) {
	b, dir := samplePage(t)
	set := filepath.Join(dir, "sets", "bay-2", "carbon-steel-oxygen.json")
	data, err := os.ReadFile(set)
	if err != nil {
		t.Fatal(err)
	}
	before := `"pressure": "0.46 bar"`
	if strings.Count(string(data), before) == 0 {
		t.Fatalf("no %s", before)
	}
	for i := range 12 {
		now := fmt.Sprintf("0.4%d bar", i%5+1) // of the same length: only when it was touched tells
		if err := os.WriteFile(set, []byte(strings.Replace(string(data), before, `"pressure": "`+now+`"`, 1)), 0o644); err != nil {
			t.Fatal(err)
		}
		b.wants("/condition/"+waiting, 200, "pressure "+now)
		if i%4 == 3 {
			gitIn(t, dir, "commit", "-q", "--no-verify", "-a", "-m", now)
			b.wants("/review/"+waiting, 200, now)
		}
	}
}

// TestDeskKeepsWhatNobodyTouched holds two pages to one reading where nothing changed in between, and to another where something did.
func TestDeskKeepsWhatNobodyTouched(t *testing.T) {
	_, dir := samplePage(t)
	time.Sleep(2100 * time.Millisecond) // what was touched this moment may be touched again without a trace
	d := (&app{in: strings.NewReader(""), out: io.Discard, err: io.Discard, dir: dir, format: "text", now: clock}).newDesk()
	look := func(asked time.Time) *pages {
		t.Helper()
		l, err := d.open(context.Background(), asked)
		if err != nil {
			t.Fatal(err)
		}
		return l.(*pages)
	}
	first := look(time.Now())
	if look(time.Now()) != first {
		t.Error("read again though nobody touched anything")
	}
	asked := time.Now()
	second := look(asked)
	if err := os.WriteFile(filepath.Join(dir, "people"), nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if look(asked) != second {
		t.Error("a request from before the last look is not content with it")
	}
	if look(time.Now()) == first {
		t.Error("not read again though a file is new")
	}
}
