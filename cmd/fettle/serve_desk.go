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
	"fettle/hooks"
	"fettle/schema"
)

// A desk keeps the library that pages were made of for as long as nothing of it changed: HEAD, every ref, all settings of git, every file on
// disk. Whether that is so is looked at anew for every page; only requests that came before a look began share it.
type desk struct {
	app        *app
	bar        *progress              // on a terminal, while the first queue is made; else nil
	doing      atomic.Pointer[string] // what takes time, in words
	foreseeing atomic.Pointer[string] // how far the overview is

	mu      sync.Mutex
	checked time.Time // when the last look began
	print   git.Print // taken before what is kept was read
	kept    *pages
	closer  time.Time // when every file of a record was looked at

	outdated atomic.Bool // such a look found something

	ahead sync.Mutex               // one overview at a time: the next one follows it
	seen  atomic.Pointer[overview] // the last one
	queue map[[3]string]*queuedSet // of the last queue; whoever makes a page may touch it

	holds sync.Mutex // see pages.users
}

func (a *app) newDesk() *desk { return &desk{app: a} }

// Doing says what the desk is at, for a page that waits: for the overview or for something else.
func (d *desk) Doing(foresee bool) string {
	if text := d.foreseeing.Load(); foresee && text != nil && *text != "" {
		return *text
	}
	if text := d.doing.Load(); text != nil {
		return *text
	}
	return ""
}

func (d *desk) at(what string) {
	d.doing.Store(&what)
	d.bar.doing(what)
}

// foresee looks where every condition stands, on a shop that nobody else uses. It may take long, and pages that do not need it are made meanwhile.
func (d *desk) foresee(p *pages, s *shop) {
	d.ahead.Lock()
	defer d.ahead.Unlock()
	if p.foreseen.Load() != nil {
		return
	}
	tell := func(what string) {
		d.foreseeing.Store(&what)
		d.bar.doing(what)
	}
	t, err := s.overview(d.seen.Load(), tell)
	nothing := ""
	d.foreseeing.Store(&nothing)
	p.foreseen.Store(&foreseen{t, err})
	if err == nil {
		d.seen.Store(t)
	}
}

// hold notes that somebody uses the library.
func (d *desk) hold(p *pages) *pages {
	d.holds.Lock()
	defer d.holds.Unlock()
	p.users++
	return p
}

// Leave ends the use of the library by whoever opened it. The last one closes what was replaced meanwhile.
func (p *pages) Leave() {
	p.desk.holds.Lock()
	p.users--
	last := p.replaced && p.users == 0
	p.desk.holds.Unlock()
	if last {
		p.close()
	}
}

func (d *desk) replace(p *pages) {
	if p == nil {
		return
	}
	d.holds.Lock()
	p.replaced = true
	unused := p.users == 0
	d.holds.Unlock()
	if unused {
		p.close()
	}
}

// open gives the library as it stands at a moment that is not before asked.
func (d *desk) open(_ context.Context, asked time.Time) (serve.Library, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.kept != nil && d.checked.After(asked) {
		return d.hold(d.kept), nil
	}
	d.at("looking for what changed")
	began := time.Now()
	if d.kept != nil && !d.outdated.Swap(false) {
		now, err := d.kept.repo.Glance(d.kept.sub, d.print)
		if err == nil && d.print.Glanced(now) {
			d.checked, d.print = began, now // in which less was touched a moment before
			d.lookCloser(d.kept, d.print)
			return d.hold(d.kept), nil
		}
	}
	old := d.kept
	d.kept = nil
	p, print, err := d.read()
	d.replace(old)
	if err != nil {
		return nil, pageError(err)
	}
	d.kept, d.print, d.checked, d.closer = p, print, began, began
	return d.hold(p), nil
}

// closerEvery is how often a look is taken at every file of a record, too.
const closerEvery = 5 * time.Second

// lookCloser takes the look beside the answers, where the last one is long ago. Records are never written over where they lie; one that was
// is noticed so all the same.
func (d *desk) lookCloser(p *pages, was git.Print) {
	if time.Since(d.closer) < closerEvery {
		return
	}
	d.closer = time.Now()
	go func() {
		if now, err := p.repo.Print(p.sub, was); err == nil && !was.Tells(now) {
			d.outdated.Store(true)
		}
	}()
}

func (p *pages) close() {
	if p.part != nil {
		p.part.origin.lookup.Close()
	}
	p.repo.Close()
}

// read reads the library, with the print that was taken before.
func (d *desk) read() (*pages, git.Print, error) {
	s, err := d.app.silent().open()
	if err != nil {
		return nil, git.Print{}, err
	}
	p := &pages{shop: s, desk: d}
	print, err := s.repo.Print(s.sub, git.Print{})
	if err == nil {
		d.at("reading what is on record")
		err = p.begin()
	}
	if err != nil {
		p.close()
		return nil, git.Print{}, err
	}
	return p, print, nil
}

// begin reads settings, machines and rosters, or all where no part of the library can stand for it.
func (p *pages) begin() error {
	if p.apart() {
		return nil
	}
	p.desk.at("reading all files")
	_, _, err := p.both()
	return err
}

// A pages is the library as pages show it. What is dear is worked out once, when first asked for; one page is made at a time.
type pages struct {
	*shop
	desk     *desk
	foreseen atomic.Pointer[foreseen] // nil until somebody looked where every condition stands
	users    int                      // how many opened it and did not leave yet; desk.holds guards it
	replaced bool                     // another is kept in its place; the same

	all     []history.Position
	byID    map[schema.ID]int
	report  *hooks.Report
	changed *int                                // edited conditions
	loaded  map[string]map[string]audit.Loading // condition → machine → what was loaded last
	waivers map[string][]*schema.Waiver         // condition → findings that somebody accepted
}

// foreseen is an overview, or why none can be had of parts.
type foreseen struct {
	*overview
	err error
}

// Until is when something of the library runs out or begins by the clock alone: a permit, a waiver, a key of the roster.
func (p *pages) Until() time.Time {
	var times []time.Time
	records := p.shop.unsaved.ledger.Records
	if p.part == nil {
		records = slices.Concat(records, p.committed.ledger.Records)
	} else if seen := p.desk.seen.Load(); seen != nil {
		for _, x := range seen.sets {
			times = append(times, x.ends...)
		}
	} else {
		times = append(times, p.now().Add(time.Minute)) // nobody looked yet
	}
	for _, r := range records {
		switch body := r.Body.(type) {
		case *schema.Permit:
			times = append(times, body.Time())
			if t, err := time.Parse(time.RFC3339, body.Until.V); err == nil {
				times = append(times, t)
			}
		case *schema.Waiver:
			if t, err := time.Parse(time.RFC3339, body.Until.V); err == nil {
				times = append(times, t)
			}
		}
	}
	return p.nextEnd(times)
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
		n := 0
		if differences, err := p.unsavedNow(); err == nil {
			n = len(differences)
		}
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
	return &app{in: strings.NewReader(""), out: &b, err: &b, dir: a.dir, format: "text", color: "never", by: a.by, now: a.now, entire: a.entire}
}
