package main

import (
	"bufio"
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"fettle/cmd/fettle/table"
	"fettle/cmd/fettle/view"
	"fettle/history"
	"fettle/history/audit"
	"fettle/schema"
)

// A stand is one condition at one moment, in the three ways in which it can be in force.
type stand struct {
	id       schema.ID
	saved    *schema.Values // in git; nil where it was not there
	approved *schema.Values // nil where nothing was
	decision *history.Decision
	status   history.Status
	provis   *schema.Permit // that let what was saved run
	units    []onUnit
}

type onUnit struct {
	unit   string
	stay   audit.Stay
	values *schema.Values // nil where it is not on record, or not in this clone
}

// auditAsOf answers what was in force at a moment.
func (s *shop) auditAsOf(typed []string, f auditFlags) error {
	at, err := moment("--as-of", f.asOf, true)
	if err != nil {
		return err
	}
	anchor, err := s.anchor()
	if err != nil {
		return err
	}
	m, err := audit.AsOf(s.repo, s.sub, audit.Options{Rev: f.rev, Anchor: anchor}, at)
	if err != nil {
		return err
	}
	s.like()
	ids := m.IDs
	if len(typed) > 0 {
		if ids, err = s.resolve(typed, ids); err != nil {
			return err
		}
	}
	switch s.format {
	case "json":
		return s.asOfJSON(m, ids)
	case "csv":
		return s.asOfCSV(m, ids)
	}
	return s.asOfPage(m, ids)
}

// standsAt hands the three over for each condition.
func (s *shop) standsAt(m *audit.Moment, ids []schema.ID, each func(*stand) error) error {
	loaded := map[string][]string{} // on which units, by id
	for _, l := range m.Loads {
		loaded[l.ID] = append(loaded[l.ID], l.Unit)
	}
	return m.Stands(ids, func(lib *schema.Library, id schema.ID) error {
		p := m.Standing.Position(lib, id)
		st := stand{id: id, approved: p.Approved(), decision: p.State.Last(), status: p.Status}
		if p.Now != nil {
			st.saved = p.Now.Values()
			st.provis = m.Ledger.Permit(id.String(), p.Digest, "", m.At)
		}
		var units []string
		if profile := lib.Machine(id.Machine); profile != nil {
			units = slices.Clone(profile.UnitNames())
		}
		for _, unit := range unique(append(units, loaded[id.String()]...)) {
			on := onUnit{unit: unit, stay: m.OnUnit(unit, id.String())}
			if d := on.stay.Digest(); d != "" {
				on.values = s.recipeAt(m, lib, id, d)
			}
			st.units = append(st.units, on)
		}
		return each(&st)
	})
}

// recipeAt finds a recipe that was loaded: in the library of the moment, in records, or in the history.
func (s *shop) recipeAt(m *audit.Moment, lib *schema.Library, id schema.ID, digest schema.Digest) *schema.Values {
	if r := lib.Recipe(id); r != nil && r.Digest() == digest {
		return r.Values()
	}
	if v := audit.RecordedRecipe(m.Ledger, id.String(), digest); v != nil {
		return v
	}
	if _, _, err := s.both(); err != nil {
		return nil
	}
	return s.recipeAnywhere(id.String(), digest)
}

// asOfPage tells what was in force at a moment.
func (s *shop) asOfPage(m *audit.Moment, ids []schema.ID) error {
	page := &view.Page{Title: "In force in " + s.libraryName(m.Library), Subtitle: zoned(m.At)}
	t := &teller{shop: s, page: page, adopted: m.Standing.Anchor != nil}
	top := func(label, format string, args ...any) {
		page.Rows = append(page.Rows, view.Row{Label: label, Text: fmt.Sprintf(format, args...)})
	}
	top("as of", "%s", zoned(m.At))
	if m.Commit == "" {
		top("in git", "nothing was saved here by then")
	} else {
		top("in git", "%.12s, saved %s by %s", m.Commit, zoned(m.Saved), auditPerson(m.By))
	}
	if m.Standing.Trouble != "" {
		top("trouble", "%s", clean(m.Standing.Trouble))
	} else if m.Standing.Anchor == nil {
		top("approved", "nothing was adopted by then, so nothing was approved")
	}
	if m.At.After(t.now()) {
		top("doubt", "that lies ahead; this is how it stands now")
	}
	for _, d := range m.Doubts {
		top("doubt", "%s", clean(d))
	}
	for i, r := range m.Late {
		if i == 5 {
			top("late", "and %s more", counted(len(m.Late)-i, "record"))
			break
		}
		top("late", "a record of kind %s by %s says %s and was saved later; it did not count here then  %s", clean(r.Kind), spoken(r.By.V), t.local(r.Time()), r.Digest.Short())
	}
	if m.Elsewise > 0 {
		top("elsewhere", "%s had been made by then, by their clocks, and came to this branch later", counted(m.Elsewise, "saved step"))
	}
	if len(ids) == 0 {
		t.foot("no condition was there")
		return s.writePage(page)
	}
	t.section("")
	text := s.format == "text" && !s.quiet
	out, width := bufio.NewWriterSize(s.out, 1<<16), columns(s.out)
	if err := s.standsAt(m, ids, func(st *stand) error {
		t.stand(st, len(ids) == 1)
		if text {
			page.Shed(func(line string) { tellLines(out, width, line) })
		}
		return nil
	}); err != nil || !text {
		return cmp.Or(err, s.writePage(page))
	}
	return out.Flush()
}

// stand tells one condition; the only one with every value.
func (t *teller) stand(st *stand, whole bool) {
	tone := view.Good
	if st.status != history.Approved || slices.ContainsFunc(st.units, func(u onUnit) bool { return u.values != nil && !sameRecipe(u.values, st.approved) }) {
		tone = view.Bad
	}
	t.block(st.id.String(), tone)
	switch {
	case st.saved == nil:
		t.row("in git", "not there")
	case whole:
		t.row("in git", "%s", st.saved.Digest().Short())
		for _, f := range schema.Fields(st.saved) {
			if !f.Note && !slices.Contains([]string{"machine", "material", "gas"}, f.Path) {
				t.row(view.Same, "%-20s %s", schema.SpokenPath(f.Path), clean(f.Text))
			}
		}
	default:
		t.row("in git", "%s   %s", t.oneLine(st.saved), st.saved.Digest().Short())
	}
	switch {
	case st.approved == nil && st.status == history.Contested:
		t.row("approved", "decisions contradicted each other")
	case st.approved == nil:
		t.row("approved", "nothing")
	default:
		verb := "approved"
		if st.decision.Record.Kind == schema.KindAdoption {
			verb = "adopted"
		}
		t.row("approved", "%s, %s on %s by %s   %s", t.against(st.saved, st.approved, "in git"), verb, t.local(st.decision.Record.Time()), spoken(st.decision.Person), st.approved.Digest().Short())
		t.differences(st.saved, st.approved)
	}
	if st.provis != nil {
		t.row("provisional", "what was in git was let run until %s", t.moment(st.provis.Until.V))
	}
	for _, u := range st.units {
		label := "on " + clean(u.unit)
		switch {
		case len(u.stay.Loaded) == 0:
			t.row(label, "not on record")
		case u.stay.Digest() == "":
			t.row(label, "two loads of the same moment contradict each other")
		case u.values == nil:
			t.row(label, "a recipe that is not in this clone   %s", u.stay.Digest().Short())
		default:
			than, what := st.approved, "approved"
			if than == nil {
				than, what = st.saved, "in git"
			}
			says := t.against(than, u.values, what)
			if what == "approved" && !sameRecipe(than, u.values) && sameRecipe(st.saved, u.values) {
				says = "as in git, not as approved"
			}
			t.row(label, "%s, loaded %s by %s   %s", says, t.local(u.stay.From), spoken(u.stay.Loaded[0].Record.By.V), u.stay.Digest().Short())
			t.differences(than, u.values)
		}
	}
}

func sameRecipe(a, b *schema.Values) bool { return a != nil && b != nil && a.Digest() == b.Digest() }

// against says whether a recipe is the one it is held against: what was approved, or what stood in git.
func (t *teller) against(than, v *schema.Values, what string) string {
	switch {
	case sameRecipe(than, v):
		return "as " + what
	case than == nil:
		return t.oneLine(v)
	}
	return "another recipe than " + what
}

// differences tells how one recipe differs from another.
func (t *teller) differences(from, to *schema.Values) {
	if from == nil || to == nil || sameRecipe(from, to) {
		return
	}
	for _, l := range t.changeLines(history.CompareValues(from, to)) {
		t.row(view.Same, "%s", l)
	}
}

// asOfCSV writes the values in long form: one row for each value of each of the three.
func (s *shop) asOfCSV(m *audit.Moment, ids []schema.ID) error {
	w := csv.NewWriter(s.out)
	if err := w.Write([]string{"id", "in_force", "unit", "digest", "field", "value"}); err != nil {
		return err
	}
	write := func(id schema.ID, sense, unit string, v *schema.Values) {
		if v == nil {
			return
		}
		digest := string(v.Digest())
		for _, f := range schema.Fields(v) {
			if !f.Note {
				w.Write([]string{id.String(), sense, unit, digest, f.Path, table.Protect(f.Text)})
			}
		}
	}
	err := s.standsAt(m, ids, func(st *stand) error {
		write(st.id, "git", "", st.saved)
		write(st.id, "approved", "", st.approved)
		for _, u := range st.units {
			write(st.id, "loaded", u.unit, u.values)
		}
		return nil
	})
	w.Flush()
	return cmp.Or(err, w.Error())
}

// asOfJSON writes what was in force condition by condition: all of a library is more than a program likes to hold.
func (s *shop) asOfJSON(m *audit.Moment, ids []schema.ID) error {
	type recipe struct {
		Digest string            `json:"digest"`
		Fields map[string]string `json:"fields"`
	}
	type loaded struct {
		Unit   string   `json:"unit"`
		Since  *string  `json:"since"`
		By     *string  `json:"by"`
		Digest *string  `json:"digest"`
		Recipe *recipe  `json:"recipe"`
		Either []string `json:"either"`
	}
	type condition struct {
		ID         string         `json:"id"`
		Status     history.Status `json:"status"`
		Git        *recipe        `json:"git"`
		Approved   *recipe        `json:"approved"`
		ApprovedBy *string        `json:"approved_by"`
		ApprovedAt *string        `json:"approved_at"`
		Until      *string        `json:"provisional_until"`
		Loaded     []loaded       `json:"loaded"`
	}
	of := func(v *schema.Values) *recipe {
		if v == nil {
			return nil
		}
		r := &recipe{string(v.Digest()), map[string]string{}}
		for _, f := range schema.Fields(v) {
			if !f.Note {
				r.Fields[f.Path] = f.Text
			}
		}
		return r
	}
	out := struct {
		Format     int         `json:"format"`
		AsOf       string      `json:"as_of"`
		Commit     *string     `json:"commit"`
		Saved      *string     `json:"saved_at"`
		Adopted    bool        `json:"adopted"`
		Doubts     []string    `json:"doubts"`
		Late       []string    `json:"saved_later"`
		Elsewhere  int         `json:"steps_of_other_branches"`
		Conditions []condition `json:"conditions"`
	}{1, m.At.UTC().Format(time.RFC3339), some(m.Commit), nil, m.Standing.Anchor != nil, append([]string{}, m.Doubts...), []string{}, m.Elsewise, []condition{}}
	if m.Commit != "" {
		out.Saved = some(m.Saved.UTC().Format(time.RFC3339))
	}
	for _, r := range m.Late {
		out.Late = append(out.Late, string(r.Digest))
	}
	const none = "[]\n}\n"
	head, err := jsonText(out, "")
	if err != nil || !strings.HasSuffix(head, none) {
		return cmp.Or(err, errors.New("conditions do not stand at the end"))
	}
	s.wrote = true
	to := bufio.NewWriterSize(s.out, 1<<16)
	to.WriteString(strings.TrimSuffix(head, "]\n}\n"))
	return jsonItems(to, func(add func(any) error) error {
		return s.standsAt(m, ids, func(st *stand) error {
			c := condition{ID: st.id.String(), Status: st.status, Git: of(st.saved), Approved: of(st.approved), Loaded: []loaded{}}
			if st.approved != nil {
				c.ApprovedBy, c.ApprovedAt = some(st.decision.Person), some(st.decision.Record.At.V)
			}
			if st.provis != nil {
				c.Until = some(st.provis.Until.V)
			}
			for _, u := range st.units {
				l := loaded{Unit: u.unit, Digest: some(string(u.stay.Digest())), Recipe: of(u.values), Either: []string{}}
				if len(u.stay.Loaded) > 0 {
					l.Since, l.By = some(u.stay.From.UTC().Format(time.RFC3339)), some(u.stay.Loaded[0].Record.By.V)
				}
				if u.stay.Digest() == "" {
					for _, one := range u.stay.Loaded {
						l.Either = append(l.Either, string(one.Digest))
					}
				}
				c.Loaded = append(c.Loaded, l)
			}
			return add(c)
		})
	})
}

// auditCSV writes the timeline as a table, with every moment in UTC and in the time of this computer.
func auditCSV(out io.Writer, trail *audit.Trail, f audit.Filter) error {
	w := csv.NewWriter(out)
	header := []string{"at_utc", "at_local", "by", "kind", "subject", "id", "field", "from", "to", "why", "approved_by", "unit", "text", "commit", "saved_by", "saved_at_utc", "record", "odd_time"}
	if err := w.Write(header); err != nil {
		return err
	}
	for e := range trail.Each(f) {
		var unit, text, record, savedBy, savedAt string
		if r := e.Record; r != nil && r.Common != nil {
			unit, text, record = r.Unit.V, r.Text.V, string(r.Digest)
		}
		if e.Commit != "" {
			savedBy, savedAt = e.Committer.String(), e.Committed.UTC().Format(time.RFC3339)
		}
		row := []string{e.At.UTC().Format(time.RFC3339), e.At.Local().Format("2006-01-02T15:04:05-07:00"), e.By.String(), e.Kind, e.Subject, e.ID, e.Field, e.From.Text, e.To.Text, whyText(e.Why),
			strings.Join(e.ApprovedBy, ", "), unit, text, e.Commit, savedBy, savedAt, record, e.Clock}
		for j := range row {
			row[j] = table.Protect(row[j])
		}
		if err := w.Write(row); err != nil {
			return err
		}
	}
	w.Flush()
	return w.Error()
}
