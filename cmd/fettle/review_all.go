package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"

	"fettle/cmd/fettle/view"
	"fettle/history"
	"fettle/history/audit"
	"fettle/schema"
)

// A review of all that waits is worked out a few cards at a time, and printed as it goes: of a library of a hundred thousand conditions nobody
// holds all.

// cardsAtOnce is about how many cards are worked out together, with their history.
var cardsAtOnce = 200

// reviewAll is a review of what is not approved. It is false where only the whole library can tell.
func (s *shop) reviewAll() (bool, error) {
	t, err := s.overview(nil, s.bar.doing)
	if err != nil {
		return false, nil
	}
	rows := t.rows(func(r *row) bool { return r.status != history.Approved && r.status != "" })
	s.bar.doing("putting the cards together")
	if s.format == "html" || s.format == "markdown" {
		return true, s.reviewPages(rows)
	}
	back := s.buffered()
	defer back()
	if s.format == "json" {
		return true, s.reviewObjects(rows)
	}
	first := true
	if err := s.eachCards(rows, func(q *shop, cards []card) error {
		for i := range cards {
			if !first {
				s.tell("")
			}
			first = false
			q.printCard(&cards[i])
		}
		return nil
	}); err != nil {
		return true, err
	}
	s.reviewRest(&s.committed, len(rows))
	return true, nil
}

// buffered has output gathered that goes to no screen. It is written by what is returned, which every error that is told has to come after.
func (s *shop) buffered() func() {
	if terminalOf(s.out) != nil && columns(s.out) > 0 {
		return func() {}
	}
	out, b := s.out, bufio.NewWriterSize(s.out, 64<<10)
	s.out = b
	return func() {
		_ = b.Flush()
		s.out = out
	}
}

// eachCards gives the cards of some conditions, ordered by id, a few sets at a time, each with the library as far as they go.
func (s *shop) eachCards(rows []row, do func(q *shop, cards []card) error) error {
	var whole *shop
	done := 0
	for chunk := range chunksOfSets(rows, cardsAtOnce) {
		s.bar.tell(done, len(rows))
		q, err := s.around(chunk, &whole)
		if err != nil {
			return err
		}
		ids := make([]schema.ID, len(chunk))
		positions := make([]history.Position, len(chunk))
		for i, r := range chunk {
			ids[i], positions[i] = r.id, q.standing(&q.committed).Position(q.committed.lib, r.id)
		}
		q.pastOf = sync.OnceValues(func() (*audit.Trail, error) { return q.toldOnce("", ids, true) })
		if err := do(q, q.cards(&q.committed, positions)); err != nil {
			return err
		}
		done += len(chunk)
	}
	return nil
}

// around is the library around some conditions: their sets with all that is on record of them, and where these cannot tell, all of it.
func (s *shop) around(rows []row, whole **shop) (*shop, error) {
	if *whole == nil {
		var sets [][3]string
		for _, r := range rows {
			if set := setOf(r.id); len(sets) == 0 || sets[len(sets)-1] != set {
				sets = append(sets, set)
			}
		}
		q := s.within(s.part.quietly().ofSets(sets))
		if _, _, err := q.both(); err == nil {
			return q, nil
		}
		*whole = s.within(nil)
	}
	_, _, err := (*whole).both()
	return *whole, err
}

// chunksOfSets cuts rows into pieces of about so many, and no set in two.
func chunksOfSets(rows []row, about int) func(yield func([]row) bool) {
	return func(yield func([]row) bool) {
		for len(rows) > 0 {
			n := min(about, len(rows))
			for n < len(rows) && setOf(rows[n].id) == setOf(rows[n-1].id) {
				n++
			}
			if !yield(rows[:n]) {
				return
			}
			rows = rows[n:]
		}
	}
}

// reviewPages writes a document.
func (s *shop) reviewPages(rows []row) error {
	doc := s.documentHead(&s.committed, "HEAD", "")
	doc.Stored = &view.Stored{}
	defer doc.Stored.Close()
	var tallies []setTally
	if err := s.eachCards(rows, func(q *shop, cards []card) error {
		page := pageCards{shop: q, st: &q.committed, was: q.findingsInForce(&q.committed, cards)}
		var err error
		if page.trail, err = q.pastOf(); err != nil {
			return err
		}
		for _, set := range page.sets(cards, true) {
			if err := doc.Stored.Add(&set.ReviewSet); err != nil {
				return fmt.Errorf("the cards cannot be put aside until all are there: %w", err)
			}
			tallies = append(tallies, set.setTally)
		}
		return nil
	}); err != nil {
		return err
	}
	order := make([]int, len(tallies))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return tallies[a].compare(&tallies[b]) })
	doc.Stored.Order(order)
	sorted := make([]setTally, len(order))
	for i, n := range order {
		sorted[i] = tallies[n]
	}
	doc.Summary = reviewSummary(sorted)
	doc.Others = s.rest(&s.committed, len(rows))
	back := s.buffered()
	defer back()
	if s.format == "html" {
		return doc.HTML(s.out)
	}
	return doc.Markdown(s.out)
}

// reviewObjects writes what [shop.reviewJSON] writes.
func (s *shop) reviewObjects(rows []row) error {
	out := s.reviewReport("HEAD")
	var err error
	if out.Sent, err = s.sentJSON(); err != nil {
		return err
	}
	var b strings.Builder
	aside := *s.app
	aside.out = &b
	if err := aside.json(out); err != nil {
		return err
	}
	s.wrote = true
	const none = `"conditions": []`
	before, after, _ := strings.Cut(b.String(), none)
	if len(rows) == 0 {
		_, err := io.WriteString(s.out, b.String())
		return err
	}
	if _, err := io.WriteString(s.out, before+strings.TrimSuffix(none, "]")); err != nil {
		return err
	}
	end := "\n"
	if err := s.eachCards(rows, func(_ *shop, cards []card) error {
		for i := range cards {
			var one strings.Builder
			enc := json.NewEncoder(&one)
			enc.SetEscapeHTML(false)
			enc.SetIndent("    ", "  ")
			if err := enc.Encode(cards[i].reviewJSON()); err != nil {
				return err
			}
			if _, err := io.WriteString(s.out, end+"    "+escaped(strings.TrimSuffix(one.String(), "\n"))); err != nil {
				return err
			}
			end = ",\n"
		}
		return nil
	}); err != nil {
		return err
	}
	_, err = io.WriteString(s.out, "\n  ]"+after)
	return err
}
