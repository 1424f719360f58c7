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

// TestQueueMakesWhatChanged: after an edit of one set, a queue makes the part of that set anew and takes the others as they were.
func TestQueueMakesWhatChanged(t *testing.T) {
	t.Setenv("SOURCE_DATE_EPOCH", "1793606400")
	p := &partTest{T: t, repo: sampleHistory(t)}
	other := "sets/bay-2/carbon-steel-air.json"
	p.edit(overviewSet, `"kerf": "0.39 mm"`, `"kerf": "0.4 mm"`)
	p.edit(other, `"kerf": "`, `"kerf": "1`)
	save := func() { p.repo.Run("commit", "-q", "--no-verify", "-a", "-m", "past the check") }
	save()
	d := (&app{in: strings.NewReader(""), out: io.Discard, err: io.Discard, dir: p.repo.Dir, format: "text", now: clock}).newDesk()
	queue := func() map[[3]string]*queuedSet {
		t.Helper()
		l, err := d.open(context.Background(), time.Now())
		if err != nil {
			t.Fatal(err)
		}
		defer l.Leave()
		if look := l.Foresee(); look != nil {
			look()
		}
		if q, err := l.Queue(); err != nil || len(q.Sets) < 2 {
			t.Fatalf("%v, %v", q, err)
		}
		return d.queue
	}
	air, oxygen := [3]string{"bay-2", "carbon-steel", "air"}, [3]string{"bay-2", "carbon-steel", "oxygen"}
	first := queue()
	if first[air] == nil || first[oxygen] == nil {
		t.Fatalf("%v", first)
	}
	p.edit(overviewSet, `"kerf": "0.4 mm"`, `"kerf": "0.41 mm"`)
	save()
	second := queue()
	if second[air] != first[air] || second[oxygen] == first[oxygen] || second[oxygen] == nil {
		t.Errorf("after a save of one set the other was made again, or the one was not")
	}
	p.edit("machines/bay-2.json", `"revision": 1`, `"revision": 2`)
	if third := queue(); third[air] == second[air] {
		t.Error("another machine, and what was made by the old one is shown")
	}
	first = queue()
	for _, x := range first {
		x.until = time.Time{}
	}
	l, err := d.open(context.Background(), time.Now())
	if err != nil {
		t.Fatal(err)
	}
	defer l.Leave()
	if _, err := l.Queue(); err != nil || d.queue[air] == first[air] {
		t.Errorf("something ran out by the clock, and what was made before is shown (%v)", err)
	}
}
