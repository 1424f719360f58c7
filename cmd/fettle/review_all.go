package main

import (
	"bufio"
	"encoding/json"
	"errors"
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
	return true, s.reviewCards("HEAD", &s.committed, func(do func(q *shop, st *state, cards []card) error) (int, error) {
		return len(rows), s.eachCards(rows, func(q *shop, cards []card) error { return do(q, &q.committed, cards) })
	}, reviewScope{all: true})
}

// A reviewScope is what a review is about beside its cards.
type reviewScope struct {
	from  string          // where a range begins, or ""
	all   bool            // no conditions were named
	moved func() []string // what moved to another file since the range begins, and is the same; nil without one
}

// cardsOf gives the cards of a review some at a time, each with the library and the state under review as far as they go, and says how many
// they were.
type cardsOf func(do func(q *shop, st *state, cards []card) error) (int, error)

// reviewInParts is a review of another revision, or of what changed from one to another. It is false where only the whole library can tell.
func (s *shop) reviewInParts(typed []string, rev, from string) (bool, error) {
	v, err := s.surveyOf(rev, from)
	if err != nil {
		return false, nil
	}
	st, err := v.state(s)
	if err != nil {
		return false, nil
	}
	var ids []schema.ID
	if len(typed) > 0 {
		var wrong error
		if ids, wrong, err = v.chosen(typed); err != nil || wrong != nil {
			return wrong != nil, wrong
		}
	}
	s.bar.doing("putting the cards together")
	scope := reviewScope{from: from, all: len(typed) == 0}
	if from != "" {
		scope.moved = func() []string { return v.moved }
	}
	err = s.reviewCards(rev, st, func(do func(q *shop, st *state, cards []card) error) (int, error) {
		err := v.eachCards(ids, do)
		return v.cards, err
	}, scope)
	if len(st.lost) > 0 {
		err = errors.Join(err, errFound)
	}
	return true, err
}

// reviewCards prints cards as they come, in the format that was asked for. st is the frame of the state under review.
func (s *shop) reviewCards(rev string, st *state, each cardsOf, scope reviewScope) error {
	if s.format == "html" || s.format == "markdown" {
		return s.reviewPages(rev, st, each, scope)
	}
	back := s.buffered()
	defer back()
	if s.format == "json" {
		return s.reviewObjects(rev, each, scope.all && rev == "HEAD")
	}
	first := true
	n, err := each(func(q *shop, _ *state, cards []card) error {
		for i := range cards {
			if !first {
				s.tell("")
			}
			first = false
			q.printCard(&cards[i])
		}
		return nil
	})
	if err != nil {
		return err
	}
	if scope.all || len(st.lost) > 0 {
		s.reviewRest(st, n)
	}
	return nil
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
		q.pastOf = q.pasts(ids, nil)
		if err := do(q, q.cards(&q.committed, positions)); err != nil {
			return err
		}
		done += len(chunk)
	}
	return nil
}

// pasts is the history of some conditions that are looked at together, of what is saved here and of another revision, which may be nil.
func (s *shop) pasts(ids []schema.ID, there *elsewhere) pasts {
	out := pasts{"HEAD": sync.OnceValues(func() (*audit.Trail, error) { return s.toldOnce("", ids, true) })}
	if there != nil {
		out[there.rev] = sync.OnceValues(func() (*audit.Trail, error) { return there.past(s, ids) })
	}
	return out
}

// around is the library around some conditions: their sets with all that is on record of them, and where these cannot tell, all of it.
func (s *shop) around(rows []row, whole **shop) (*shop, error) {
	if *whole == nil {
		q := s.within(s.part.quietly().ofSets(setsOf(rows)))
		if _, _, err := q.both(); err == nil {
			return q, nil
		}
		*whole = s.within(nil)
	}
	_, _, err := (*whole).both()
	return *whole, err
}

// setsOf are the sets of rows, which are ordered by id.
func setsOf(rows []row) (sets [][3]string) {
	for _, r := range rows {
		if set := setOf(r.id); len(sets) == 0 || sets[len(sets)-1] != set {
			sets = append(sets, set)
		}
	}
	return sets
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
func (s *shop) reviewPages(rev string, st *state, each cardsOf, scope reviewScope) error {
	doc := s.documentHead(st, rev, scope.from)
	doc.Stored = &view.Stored{}
	defer doc.Stored.Close()
	var tallies []setTally
	n, err := each(func(q *shop, st *state, cards []card) error {
		page := pageCards{shop: q, st: st, was: q.findingsInForce(st, cards)}
		positions := make([]history.Position, len(cards))
		for i := range cards {
			positions[i] = cards[i].Position
		}
		var err error
		if page.trail, err = q.trailAbout(positions, rev); err != nil {
			return err
		}
		for _, set := range page.sets(cards, true) {
			if err := doc.Stored.Add(&set.ReviewSet); err != nil {
				return fmt.Errorf("the cards cannot be put aside until all are there: %w", err)
			}
			tallies = append(tallies, set.setTally)
		}
		return nil
	})
	if err != nil {
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
	if scope.moved != nil {
		doc.Moved = scope.moved()
	}
	doc.Summary = reviewSummary(sorted)
	if scope.all {
		doc.Others = s.rest(st, n)
	}
	back := s.buffered()
	defer back()
	if s.format == "html" {
		return doc.HTML(s.out)
	}
	return doc.Markdown(s.out)
}

// reviewObjects writes what [shop.reviewJSON] writes.
func (s *shop) reviewObjects(rev string, each cardsOf, sent bool) error {
	out := s.reviewReport(rev)
	var err error
	if sent {
		if out.Sent, err = s.sentJSON(); err != nil {
			return err
		}
	}
	before, after, err := s.jsonAround(out)
	if err != nil {
		return err
	}
	begin := before
	if _, err := each(func(_ *shop, _ *state, cards []card) error {
		for i := range cards {
			one, err := jsonInList(cards[i].reviewJSON())
			if err != nil {
				return err
			}
			if _, err := io.WriteString(s.out, begin+one); err != nil {
				return err
			}
			begin = ",\n"
		}
		return nil
	}); err != nil {
		return err
	}
	if begin != ",\n" {
		return s.json(out)
	}
	_, err = io.WriteString(s.out, after)
	return err
}

// jsonAround is what [app.json] writes before and after the conditions of a report that has none yet, where some stand in it.
func (a *app) jsonAround(report any) (before, after string, err error) {
	var b strings.Builder
	aside := *a
	aside.out = &b
	if err := aside.json(report); err != nil {
		return "", "", err
	}
	a.wrote = true
	before, after, _ = strings.Cut(b.String(), `"conditions": []`)
	return before + "\"conditions\": [\n", "\n  ]" + after, nil
}

// jsonInList is how one of the conditions of a report stands there.
func jsonInList(condition any) (string, error) {
	var b strings.Builder
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("    ", "  ")
	err := enc.Encode(condition)
	return "    " + escaped(strings.TrimSuffix(b.String(), "\n")), err
}
