package main

import (
	"bytes"
	"context"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"fettle/cmd/fettle/serve"
	"fettle/history"
	"fettle/history/audit"
	"fettle/history/git"
	"fettle/history/signature"
	"fettle/hooks"
	"fettle/schema"
)

// A desk keeps the library that pages were made of for as long as nothing of it changed: HEAD, every ref, all settings of git, every file on
// disk. Whether that is so is looked at anew for every page; only requests that came before a look began share it.
type desk struct {
	app   *app
	doing atomic.Pointer[string] // what takes time, in words

	mu      sync.Mutex
	checked time.Time // when the last look began
	print   git.Print // taken before what is kept was read
	kept    *pages
	history *git.Repo // that a history reads from which was taken over from an earlier look
	loads   int
}

// mostLoads is how often a library is read again with the help of what is known before the versions that nobody needs any more are let go.
const mostLoads = 100

func (a *app) newDesk() *desk { return &desk{app: a} }

// Doing says what the desk is at, for a page that waits.
func (d *desk) Doing() string {
	if text := d.doing.Load(); text != nil {
		return *text
	}
	return ""
}

func (d *desk) at(what string) { d.doing.Store(&what) }

// open gives the library as it stands at a moment that is not before asked.
func (d *desk) open(_ context.Context, asked time.Time) (serve.Library, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.kept != nil && d.checked.After(asked) {
		return d.kept, nil
	}
	d.at("looking for what changed")
	began := time.Now()
	if d.kept != nil {
		now, err := d.kept.repo.Print(d.kept.sub)
		if err == nil && d.print.Tells(now) {
			d.checked = began
			return d.kept, nil
		}
	}
	old := d.kept
	d.kept = nil
	p, print, err := d.read()
	d.handOver(old, p)
	if err != nil {
		return nil, pageError(err)
	}
	d.kept, d.print, d.checked = p, print, began
	return p, nil
}

// handOver closes an earlier look. Its history goes on to the new one where nothing was saved in between: an edit on disk is no part of it.
func (d *desk) handOver(old, p *pages) {
	same := false
	if old != nil && old.walked != nil && p != nil {
		head, err := p.repo.Resolve("HEAD")
		before, errBefore := old.anchor()
		now, errNow := p.anchor()
		same = err == nil && errBefore == nil && errNow == nil && head == old.walked.Head && before == now
	}
	switch {
	case same:
		p.walked = old.walked
		if d.history == nil {
			d.history = old.repo
			return
		}
	case d.history != nil:
		d.history.Close()
		d.history = nil
	}
	if old != nil {
		old.repo.Close()
	}
}

// read reads the library, with the print that was taken before.
func (d *desk) read() (*pages, git.Print, error) {
	if d.app.known == nil || d.loads > mostLoads {
		d.app.known, d.loads = schema.NewKnown(), 0
	}
	d.loads++
	s, err := d.app.silent().open()
	if err != nil {
		return nil, git.Print{}, err
	}
	print, err := s.repo.Print(s.sub)
	if err == nil {
		d.at("reading the files as they are on disk")
		if _, err = s.work(); err == nil {
			d.at("reading what is saved")
			_, err = s.saved()
		}
	}
	if err != nil {
		s.repo.Close()
		return nil, git.Print{}, err
	}
	d.at("judging who approved what")
	s.standing(&s.committed)
	return &pages{shop: s, desk: d}, print, nil
}

// A pages is the library as pages show it. What is dear is worked out once, when first asked for; one page is made at a time.
type pages struct {
	*shop
	desk *desk

	all     []history.Position
	byID    map[schema.ID]int
	report  *hooks.Report
	changed *int                                // edited conditions
	loaded  map[string]map[string]audit.Loading // condition → machine → what was loaded last
	waivers map[string][]*schema.Waiver         // condition → findings that somebody accepted
}

// Until is when something of the library runs out or begins by the clock alone: a permit, a waiver, a key of the roster.
func (p *pages) Until() time.Time {
	now := p.now()
	next := now.Add(24 * time.Hour)
	at := func(t time.Time, err error) {
		if err == nil && t.After(now) && t.Before(next) {
			next = t
		}
	}
	for _, r := range p.unsavedAndSaved() {
		switch body := r.Body.(type) {
		case *schema.Permit:
			at(body.Time(), nil)
			at(time.Parse(time.RFC3339, body.Until.V))
		case *schema.Waiver:
			at(time.Parse(time.RFC3339, body.Until.V))
		}
	}
	standing := p.standing(&p.committed)
	for _, roster := range []*signature.Roster{standing.Roster, standing.People} {
		if roster == nil {
			continue
		}
		for _, l := range roster.Lines {
			at(l.ValidAfter, nil)
			at(l.ValidBefore.Add(time.Second), nil)
		}
	}
	return time.Now().Add(next.Sub(now))
}

// unsavedAndSaved are the records of both states.
func (p *pages) unsavedAndSaved() []*schema.Record {
	return slices.Concat(p.shop.unsaved.ledger.Records, p.committed.ledger.Records)
}

// positionsOf are where all conditions stand, ordered by id.
func (p *pages) positionsOf() []history.Position {
	if p.byID == nil {
		p.desk.at("looking where every condition stands")
		p.all = p.standing(&p.committed).Positions(p.committed.lib)
		p.byID = make(map[schema.ID]int, len(p.all))
		for i, have := range p.all {
			p.byID[have.ID] = i
		}
	}
	return p.all
}

// edited counts the conditions that are edited and not saved.
func (p *pages) edited() int {
	if p.changed == nil {
		n := len(history.Compare(p.committed.lib, p.unsaved.lib))
		p.changed = &n
	}
	return *p.changed
}

// found is what the rules say of the library on disk. A waiver ends at a moment, so that is asked for when a page is made.
func (p *pages) found() (*hooks.Report, error) {
	if p.report == nil {
		p.desk.at("going through the rules for every condition")
		report, err := p.examineWork()
		if err != nil {
			return nil, err
		}
		p.report = &report
	}
	return p.report, nil
}

// loadedLast is what was loaded last of a condition, by machine.
func (p *pages) loadedLast(id string) map[string]audit.Loading {
	if p.loaded == nil {
		p.loaded = map[string]map[string]audit.Loading{}
		for _, l := range audit.Loads(p.committed.ledger) {
			if p.loaded[l.ID] == nil {
				p.loaded[l.ID] = map[string]audit.Loading{}
			}
			if have, ok := p.loaded[l.ID][l.Unit]; !ok || l.At.After(have.At) {
				p.loaded[l.ID][l.Unit] = l
			}
		}
	}
	return p.loaded[id]
}

// accepted are the waivers of a condition that somebody of the roster signed.
func (p *pages) accepted(id string) []*schema.Waiver {
	if p.waivers == nil {
		p.waivers = map[string][]*schema.Waiver{}
		standing := p.standing(&p.committed)
		for _, w := range history.Bodies[*schema.Waiver](p.committed.ledger) {
			if standing.Vouched(w.Record) {
				p.waivers[w.Body.ID.V] = append(p.waivers[w.Body.ID.V], w.Body)
			}
		}
	}
	return p.waivers[id]
}

// silent is the program run on behalf of a page: nobody sits at its terminal, and what it says is kept.
func (a *app) silent() *app {
	var b bytes.Buffer
	return &app{in: strings.NewReader(""), out: &b, err: &b, dir: a.dir, format: "text", color: "never", by: a.by, now: a.now, known: a.known}
}
