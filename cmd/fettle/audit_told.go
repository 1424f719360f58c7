package main

import (
	"bufio"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"time"

	"fettle/cmd/fettle/view"
	"fettle/history"
	"fettle/history/audit"
	"fettle/history/git"
	"fettle/schema"
)

// A telling is a timeline as it was told last: its text, and what it hangs on. Years of history say the same today as yesterday, so as long as
// nothing that bears on it was saved since, it is told again word for word. What may be another every time stands around it and is worked out:
// the commit in json, and below the text the zone and what is not saved.
//
// It is kept below the directory of git, sealed and of this program alone, under a name that holds all else that its words hang on; a wrong or
// missing one costs time.
type telling struct {
	*shop
	name  string // of the file, "" where nothing is kept
	key   string // what the name stands for
	basis audit.Basis
	ids   []schema.ID // of the filter
	body  []byte
}

const (
	toldFile  = "told"
	mostTold  = 40       // files
	toldBytes = 16 << 20 // of one
	toldSpace = 64 << 20 // of all
)

func toldSeal() string { return "fettle " + toldFile + " 1\n" + history.IndexStamp() + "\n" }

// toldBefore is for a timeline of what is saved here. Of another revision nothing is kept, nor of a page, which is looked at once.
func (s *shop) toldBefore(typed []string, f auditFlags) *telling {
	t := &telling{shop: s}
	anchor, err := s.anchor()
	if err != nil || s.entire || f.rev != "" || s.format != "text" && s.format != "json" && s.format != "csv" || s.quiet && s.format == "text" {
		return t
	}
	settings := "" // how values are shown
	file := filepath.Join(s.root, schema.SettingsFile)
	if info, err := os.Lstat(file); err == nil && info.Mode().IsRegular() {
		data, err := os.ReadFile(file)
		if err != nil {
			return t
		}
		settings = string(data)
	}
	e := &history.Encoder{}
	e.Texts([]string{s.sub, s.format, anchor, f.since, f.until, f.field, f.by, fmt.Sprint(f.unapproved, columns(s.out)), settings, zoneText(), s.now().Local().Format("2006")})
	e.Texts(typed)
	t.key, t.name = string(e.Data), git.ScratchName(toldFile, string(e.Data))
	return t
}

// zoneText tells the zone of this computer by all that its clocks show: its name may be "Local" wherever it is.
func zoneText() string {
	sum := sha256.New()
	for t := time.Unix(-1<<40, 0).In(time.Local); t.Year() < 2100; {
		name, offset := t.Zone()
		fmt.Fprintln(sum, t.Unix(), name, offset)
		_, end := t.ZoneBounds()
		if end.IsZero() {
			break
		}
		t = end
	}
	return hex.EncodeToString(sum.Sum(nil))
}

// recall reads what was told, where it still holds.
func (t *telling) recall() bool {
	if t.name == "" {
		return false
	}
	data, ok := t.repo.Recall(t.name, toldSeal())
	if !ok {
		return false
	}
	sets := make(chan [][]byte, 1)
	defer close(sets)
	if t.format == "text" { // while all that follows is found out
		t.edits = sync.OnceValue(func() unsavedSides { return t.readEdits(func() [][]byte { return <-sets }) })
		go t.edits()
	}
	in := &history.Decoder{Data: data}
	if in.Text() != t.key {
		return false
	}
	t.basis = audit.DecodeBasis(in)
	all, ids := in.Number() == 1, in.Texts()
	if t.body = in.Bytes(); in.Bad || len(in.Data) > 0 {
		return false
	}
	if t.ids = nil; !all {
		t.ids = []schema.ID{}
	}
	for _, text := range ids {
		id, err := schema.ParseID(text)
		if err != nil {
			return false
		}
		t.ids = append(t.ids, id)
	}
	sets <- t.basis.Sets
	head, err := t.repo.Resolve("HEAD")
	if err != nil || !t.basis.Holds(t.repo, t.sub, head) {
		return false
	}
	t.basis.Head = head
	return true
}

// again tells what was recalled.
func (t *telling) again() error {
	if err := t.begin(t.basis.Head, false); err != nil {
		return err
	}
	if _, err := t.out.Write(t.body); err != nil || t.format != "text" {
		return err
	}
	foot := &teller{shop: t.shop, page: &view.Page{}}
	foot.zoneOf(false)
	foot.unsavedOf(t.ids)
	return t.end(foot.page, false)
}

// fresh tells a timeline, and keeps it.
func (t *telling) fresh(trail *audit.Trail, f audit.Filter) error {
	if t.format != "text" {
		write := auditCSV
		if t.format == "json" {
			write = auditJSON
		}
		if err := t.begin(trail.Head, trail.Shallow); err != nil {
			return err
		}
		body := &capped{}
		if err := cmp.Or(write(io.MultiWriter(t.out, body), trail, f), trail.Err()); err != nil {
			return err
		}
		t.keep(trail, f, body)
		return nil
	}
	body := &capped{}
	to := bufio.NewWriterSize(io.MultiWriter(t.out, body), 1<<16)
	width := columns(t.out)
	told := t.byDay(trail, f, func(page *view.Page) {
		if trail.Err() == nil {
			page.Shed(func(line string) { tellLines(to, width, line) })
		}
	})
	if err := cmp.Or(trail.Err(), to.Flush()); err != nil {
		return err
	}
	empty := len(told.page.Sections) == 0
	if !empty {
		t.keep(trail, f, body)
	}
	told.footOf(trail, f)
	return t.end(told.page, empty)
}

// begin writes what stands before a timeline.
func (t *telling) begin(head string, shallow bool) error {
	if t.format != "json" {
		return nil
	}
	t.wrote = true
	text, err := json.Marshal(head)
	if err == nil {
		_, err = fmt.Fprintf(t.out, "{\n  \"format\": 1,\n  \"head\": %s,\n  \"older_history_missing\": %t,\n  \"entries\": [", text, shallow)
	}
	return err
}

// end writes what stands below a timeline.
func (t *telling) end(page *view.Page, empty bool) error {
	out, width := bufio.NewWriter(t.out), columns(t.out)
	if len(page.Foot) > 0 && !empty {
		tellLines(out, width, "")
	}
	for _, line := range page.Foot {
		tellLines(out, width, line)
	}
	return out.Flush()
}

// keep writes down what was told. What cannot be written costs time and nothing else.
func (t *telling) keep(trail *audit.Trail, f audit.Filter, body *capped) {
	basis, ok := trail.Basis()
	if !ok || t.name == "" || body.full {
		return
	}
	out := &history.Encoder{}
	out.Text(t.key)
	basis.Encode(out)
	all := 0
	if f.IDs == nil {
		all = 1
	}
	var ids []string
	for _, id := range f.IDs {
		ids = append(ids, id.String())
	}
	out.Number(all)
	out.Texts(ids)
	out.Bytes(body.text)
	if t.repo.RememberSealed(t.name, toldSeal(), out.Data) == nil {
		t.repo.Sweep(toldFile+"-", mostTold, toldSpace)
	}
}

// capped holds what is written, as long as that is not too much.
type capped struct {
	text []byte
	full bool
}

func (c *capped) Write(data []byte) (int, error) {
	if c.full = c.full || len(c.text)+len(data) > toldBytes; c.full {
		c.text = nil
	} else {
		c.text = append(c.text, data...)
	}
	return len(data), nil
}
