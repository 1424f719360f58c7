package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"fettle/cmd/fettle/serve"
	"fettle/history"
	"fettle/schema"
)

// A queuedSet is what one set makes of a queue. It is kept for the next queue: as long as the section of the overview that it was made beside
// is the same, nothing of the set, of its records, or of settings, machines and rosters changed.
type queuedSet struct {
	of    *section
	ids   []schema.ID
	past  string    // the history that reasons hang on, see hooks.Lookup.Past; "" where they hang on none
	made  time.Time // by the clock of the program,
	until time.Time // when time passing changes it
	rows  []serve.QueueRow
	tally setTally
}

// mostQueued is how many conditions a queue shows: nobody reads more, and each of them takes work.
const mostQueued = 300

// Queue is what waits for a decision.
func (p *pages) Queue() (*serve.Queue, error) {
	out := &serve.Queue{}
	var sets []*queuedSet
	if p.standing(&p.committed).Anchor != nil {
		waits, all, err := p.waiting()
		if err == nil {
			sets, err = p.queue(waits)
		}
		if err != nil {
			return nil, pageError(err)
		}
		if all > mostQueued {
			out.Summary = append(out.Summary, fmt.Sprintf("%d conditions are not approved as they stand. %d of them are here; the others are under their machines.", all, mostQueued))
		}
		out.Subjects = p.waitingSubjects()
	}
	slices.SortFunc(sets, func(a, b *queuedSet) int { return a.tally.compare(&b.tally) })
	tallies := make([]setTally, len(sets))
	cards := 0
	for i, set := range sets {
		out.Sets = append(out.Sets, serve.QueueSet{Name: set.tally.name, Rows: set.rows})
		tallies[i] = set.tally
		cards += len(set.rows)
	}
	out.Summary = append(out.Summary, reviewSummary(tallies)...)
	for _, row := range p.rest(&p.committed, cards) {
		if !strings.Contains(row.Text, "to decide: fettle approve ") && row.Text != "no condition waits for a decision" { // said with a link, and above
			out.Others = append(out.Others, row)
		}
	}
	return out, nil
}

// waiting are the conditions that wait, ordered by id, as many as a queue shows, and how many there are. Where these are more, those come first
// that nobody can cut with as they are.
func (p *pages) waiting() (ids []schema.ID, all int, err error) {
	t, err := p.overview()
	if err != nil {
		return nil, 0, err
	}
	of := map[history.Status][]schema.ID{}
	add := func(id schema.ID, status history.Status) {
		if status != history.Approved && status != "" {
			all++
			if len(of[status]) < mostQueued {
				of[status] = append(of[status], id)
			}
		}
	}
	if t == nil {
		for _, have := range p.positionsOf() {
			add(have.ID, have.Status)
		}
	} else {
		for _, set := range t.order { // which is how ids begin
			for i := range t.sets[set].rows {
				add(t.sets[set].rows[i].id, t.sets[set].rows[i].status)
			}
		}
	}
	for _, status := range []history.Status{history.Contested, history.Stale, history.Removed, history.Superseded, history.Changed, history.New, history.Rejected} {
		ids = append(ids, of[status][:min(len(of[status]), mostQueued-len(ids))]...)
	}
	slices.SortFunc(ids, schema.ID.Compare)
	return ids, all, nil
}

// queue is what the sets of some conditions make of a queue. What is kept of an earlier one is not made again.
func (p *pages) queue(ids []schema.ID) (out []*queuedSet, err error) {
	now := p.now()
	var t *overview
	if known := p.foreseen.Load(); p.part != nil && known != nil {
		t = known.overview
	}
	kept := map[[3]string]*queuedSet{}
	var open []schema.ID
	for len(ids) > 0 {
		set, n := setOf(ids[0]), 1
		for n < len(ids) && setOf(ids[n]) == set {
			n++
		}
		have := p.desk.queue[set]
		if t != nil && have != nil && have.of == t.sets[set] && slices.Equal(have.ids, ids[:n]) && (have.past == "" || have.past == t.past) &&
			!now.Before(have.made) && now.Before(have.until) {
			kept[set] = have
			out = append(out, have)
		} else {
			open = append(open, ids[:n]...)
		}
		ids = ids[n:]
	}
	if len(open) > 0 {
		p.desk.at("putting the cards together")
		made, err := p.queueOf(open)
		if err != nil {
			return nil, err
		}
		for _, x := range made {
			if x.made = now; t != nil {
				set := setOf(x.ids[0])
				x.of, kept[set] = t.sets[set], x
				x.until = now.Add(time.Until(p.nextEnd(x.of.ends)))
				if x.past != "" {
					x.past = t.past
				}
			}
		}
		out = append(out, made...)
	}
	p.desk.queue = kept
	return out, nil
}

// queueOf makes what the sets of some conditions make of a queue. The past of one is only told from none.
func (p *pages) queueOf(ids []schema.ID) (out []*queuedSet, err error) {
	near, err := p.nearEach(ids)
	if err != nil {
		return nil, err
	}
	positions := make([]history.Position, len(ids))
	for i, id := range ids {
		positions[i] = near.standing(&near.committed).Position(near.committed.lib, id)
	}
	cards := near.cards(&near.committed, positions)
	page := pageCards{shop: near.shop, st: &near.committed, was: near.findingsInForce(&near.committed, cards)}
	of := map[string]*queuedSet{}
	for _, set := range page.sets(cards, false) {
		x := &queuedSet{tally: set.setTally}
		for i := range set.Cards {
			c := &set.Cards[i]
			x.rows = append(x.rows, serve.QueueRow{ID: c.ID, Status: c.Status, Short: c.Short(), Biggest: c.Biggest, Count: c.Count(), Bad: c.Bad()})
		}
		of[set.Name] = x
		out = append(out, x)
	}
	for i := range cards {
		set := setOf(cards[i].ID)
		x := of[strings.Join(set[:], "/")]
		x.ids = append(x.ids, cards[i].ID)
		if cards[i].stepped {
			x.past = "some"
		}
	}
	return out, nil
}
