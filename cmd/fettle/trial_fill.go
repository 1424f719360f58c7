package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"fettle/cmd/fettle/table"
	"fettle/history"
	"fettle/schema"
	"fettle/schema/quantity"
)

// recordSheet records a planned trial from the sheet that was filled in with a spreadsheet.
func (s *shop) recordSheet(typed string, f trialFlags) error {
	if f.cuts() {
		return troublef("The outcomes stand in the sheet.", "--from goes without --good, --marginal, --bad and --step")
	}
	info, err := os.Stat(f.from)
	if err == nil && info.Size() > table.MaxSize {
		return troublef("", "%s is too large for a sheet of a trial", f.from)
	}
	data, err := os.ReadFile(f.from)
	if err != nil {
		return cannotRead(f.from, err)
	}
	code, bad := table.TrialCode(data)
	if bad != nil {
		return troublef(bad.Help, "%s: %s", f.from, bad.Message)
	}
	p, err := s.findPlan(code)
	if err != nil {
		return err
	}
	if typed != "" {
		if other, err := s.findPlan(typed); err == nil && other.digest != p.digest {
			return troublef("Name one of the two, or leave the plan away.", "%s is of plan %s, and %s is another one", f.from, p.code(), typed)
		}
	}
	if err := p.open(s); err != nil {
		return err
	}
	fields, _ := planColumns(p)
	read, problems := table.ReadTrial(data, fields)
	sheet, notes, more := s.sheetOf(p, read, filepath.Dir(f.from))
	if problems = append(problems, more...); len(problems) > 0 {
		slices.SortStableFunc(problems, func(a, b table.Problem) int { return a.At.Row - b.At.Row })
		var lines []string
		for _, b := range problems {
			lines = append(lines, "  "+b.String())
			if b.Help != "" {
				lines = append(lines, "      "+b.Help)
			}
		}
		return troublef("Mend the sheet and read it again; nothing was recorded.", "%s: %s\n%s", f.from, counted(len(problems), "problem"), strings.Join(lines, "\n"))
	}
	for _, n := range notes {
		s.say("note     %s", n)
	}
	return s.finishPlan(p, sheet, f)
}

// open refuses a plan that is recorded already.
func (p *plan) open(s *shop) error {
	if p.recorded == nil {
		return nil
	}
	return refusef("If that was wrong, take it back first: fettle withdraw "+p.recorded.Digest.Short()+" --because \"...\"\nCut again? Make a new plan: fettle trial plan "+p.ID.V,
		"plan %s is recorded already: %s", p.code(), s.trialLine(p.recorded))
}

// sheetOf turns a table that was read into what is kept, and holds it against the plan.
func (s *shop) sheetOf(p *plan, read *table.TrialSheet, dir string) (sheet *schema.TrialSheet, notes []string, problems []table.Problem) {
	sheet = &schema.TrialSheet{Head: schema.Head{Kind: schema.Of(schema.KindTrialSheet), Format: schema.Of(1)}, Plan: schema.Of(string(p.digest)), Unit: optional(read.Unit),
		Plate: optional(read.Plate), Lot: optional(read.Lot), Grade: optional(read.Grade), NozzleUsed: optional(read.Nozzle), Overrides: read.Overrides}
	coupons := map[int]*schema.Coupon{}
	for i := range p.Coupons.V {
		coupons[p.Coupons.V[i].Number.V] = &p.Coupons.V[i]
	}
	at := map[int]int{}
	var entries []schema.Entry
	for _, row := range read.Rows {
		refuse := func(help, format string, args ...any) {
			problems = append(problems, table.Problem{At: table.Place{Row: row.Row}, Message: fmt.Sprintf(format, args...), Help: help})
		}
		c := coupons[row.Number]
		if c == nil {
			refuse("Its numbers run from 1 to "+fmt.Sprint(len(coupons))+".", "the plan has no coupon %d", row.Number)
			continue
		}
		if first, ok := at[row.Number]; ok {
			refuse("Keep one of the two.", "coupon %d stands in row %d already", row.Number, first)
			continue
		}
		at[row.Number] = row.Row
		if field, why, help := implausible(&row.Measured, p.Values.V.Thickness.V); why != "" {
			refuse(help, "%s: %s", field, why)
			continue
		}
		if !row.Filled() {
			continue
		}
		e := schema.Entry{Coupon: schema.Of(row.Number), Outcome: optional(row.Outcome), Text: optional(row.Text)}
		if len(row.Observed) > 0 {
			e.Observed = schema.Of(row.Observed)
		}
		if len(schema.Fields(&row.Measured)) > 0 {
			e.Measured = schema.Of(row.Measured)
		}
		if len(row.Photos) > 0 {
			photos, err := s.photosOf(dir, row.Photos)
			var t *trouble
			switch {
			case errors.As(err, &t):
				refuse(t.help, "%v", err)
			case err != nil:
				refuse("", "%v", err)
			}
			e.Photos = schema.Of(photos)
		}
		if other := otherValues(c.Changed, row.Changed); other != "" {
			e.Changed = row.Changed
			notes = append(notes, fmt.Sprintf("coupon %d was cut with %s", row.Number, other))
		}
		entries = append(entries, e)
	}
	var rowless []string
	for _, c := range p.Coupons.V {
		if at[c.Number.V] == 0 {
			rowless = append(rowless, fmt.Sprint(c.Number.V))
		}
	}
	if len(rowless) > 0 {
		notes = append(notes, "the sheet has no row for coupon "+strings.Join(rowless, ", "))
	}
	sheet.Entries = schema.Of(entries)
	return sheet, notes, problems
}

// otherValues says where a coupon was cut with other values than planned.
func otherValues(planned, cut schema.Table[string]) string {
	var out []string
	for _, row := range cut {
		was, _ := planned.Get(row.Name)
		dim, _ := table.Dimension(row.Name)
		a, err := quantity.Parse(dim, was)
		b, err2 := quantity.Parse(dim, row.V)
		if err != nil || err2 != nil || !a.Equal(b) {
			out = append(out, fmt.Sprintf("%s %s, planned was %s", schema.SpokenPath(row.Name), row.V, was))
		}
	}
	return strings.Join(out, ", ")
}

// finishPlan records a planned trial where all of it is there, and else keeps what there is.
func (s *shop) finishPlan(p *plan, sheet *schema.TrialSheet, f trialFlags) error {
	work, err := s.work()
	if err != nil {
		return err
	}
	known := map[int]*schema.Entry{}
	for i := range sheet.Entries.V {
		known[sheet.Entries.V[i].Coupon.V] = &sheet.Entries.V[i]
	}
	var steps []schema.Step
	var missing []string
	for _, c := range p.Coupons.V {
		e := known[c.Number.V]
		if e == nil || !e.Outcome.Set() {
			missing = append(missing, fmt.Sprint(c.Number.V))
			continue
		}
		step := schema.Step{Changed: c.Changed, Observed: e.Observed, Measured: e.Measured, Outcome: e.Outcome, Text: e.Text, Coupon: c.Number, Plate: c.Plate, Photos: e.Photos}
		if len(e.Changed) > 0 {
			step.Changed = e.Changed
		}
		steps = append(steps, step)
	}
	if len(missing) > 0 && (!f.partial || len(steps) == 0) {
		return s.keepHalf(p, sheet, missing, f)
	}
	fill := func(flag *string, known schema.Member[string]) {
		if *flag == "" {
			*flag = known.V
		}
	}
	fill(&f.unit, sheet.Unit)
	fill(&f.plate, sheet.Plate)
	fill(&f.lot, sheet.Lot)
	fill(&f.grade, sheet.Grade)
	fill(&f.nozzle, sheet.NozzleUsed)
	fill(&f.text, sheet.Text)
	t, err := s.trialOf(work, &p.Values.V, schema.Digest(p.Digest.V), f)
	if err != nil {
		return err
	}
	if t.Library.V != p.Library.V {
		return refusef("Record it in the library that it was planned in.", "plan %s is of another library", p.code())
	}
	if len(t.Overrides) == 0 {
		t.Overrides = sheet.Overrides
	}
	t.Plan = schema.Of(string(p.digest))
	t.Steps = schema.Of(steps)
	if err := s.machineOf(t, p, work, f); err != nil {
		return err
	}
	if id, _ := p.Values.V.ID(); work.Recipe(id) != nil {
		if err := s.sensible(work, work.Recipe(id), steps); err != nil {
			return err
		}
	}
	if len(missing) > 0 {
		s.say("note     not cut: coupon %s", strings.Join(missing, ", "))
	}
	return s.putTrial(t, []string{p.sheetPath()}, f.noCommit)
}

// machineOf puts what shaped beam and jet into a planned trial. Where the machine changed since the plan, somebody has to say on which of
// the two it was cut.
func (s *shop) machineOf(t *schema.Trial, p *plan, work *schema.Library, f trialFlags) error {
	m := work.Machine(p.Values.V.Machine.V)
	if m == nil {
		t.MachineValues = p.MachineValues
		return nil
	}
	now := m.BeamAndJet(p.Values.V.Gas.V)
	drift := history.MachineDrift(&p.MachineValues.V, &now)
	switch {
	case len(drift) == 0 || f.afterChange:
		t.MachineValues = schema.Of(now)
	case f.beforeChange:
		t.MachineValues = p.MachineValues
	default:
		return refusef("Cut before the machine changed: --before-change   (kept, and shows nothing of the machine as it is)\nCut after it: --after-change",
			"the machine changed since the trial was planned on %s: %s", s.day(p.Time()), strings.TrimSpace(s.changeLines(drift[:1])[0]))
	}
	return nil
}

// keepHalf keeps what there is of a trial in trials/ and says what is missing.
func (s *shop) keepHalf(p *plan, sheet *schema.TrialSheet, missing []string, f trialFlags) error {
	if len(sheet.Entries.V) == 0 {
		return refusef("fettle trial sheet "+p.code()+" prints the sheet.", "nothing is filled in for plan %s", p.code())
	}
	path := p.sheetPath()
	data := schema.Layout(schema.Encode(sheet))
	if old, err := os.ReadFile(filepath.Join(s.root, filepath.FromSlash(path))); err != nil || string(old) != string(data) || !s.committedHas(path) {
		if err := s.keep("Keep what is known of a trial of "+p.ID.V+"\n", map[string][]byte{path: data}, nil, f.noCommit); err != nil {
			return err
		}
	}
	return refusef("Go on: fettle trial record "+p.code()+"   or fill in the sheet and read it again.\nRecord what there is, the rest was not cut: --partial",
		"not recorded yet: no outcome for coupon %s of %d; what is there is kept in %s", strings.Join(missing, ", "), len(p.Coupons.V), path)
}

// recordPlan asks for a planned trial piece by piece and keeps what was typed after each.
func (s *shop) recordPlan(p *plan, f trialFlags) error {
	if err := p.open(s); err != nil {
		return err
	}
	sheet := p.sheet
	if sheet == nil {
		sheet = &schema.TrialSheet{Head: schema.Head{Kind: schema.Of(schema.KindTrialSheet), Format: schema.Of(1)}, Plan: schema.Of(string(p.digest)), Entries: schema.Of([]schema.Entry{})}
	}
	if !s.terminal {
		if p.sheet != nil && f.partial {
			return s.finishPlan(p, sheet, f)
		}
		return troublef("Fill in the sheet and read it: fettle trial sheet "+p.code()+" --format csv >sheet.csv, then fettle trial record --from sheet.csv",
			"plan %s is asked piece by piece, and nobody sits here to answer", p.code())
	}
	q := &asker{shop: s, in: bufio.NewReader(s.in), keep: func() error {
		return s.write(p.sheetPath(), schema.Layout(schema.Encode(sheet)))
	}}
	s.tell("Trial %s of %s, planned on %s. Enter leaves a thing out, q stops; what was typed is kept.", p.code(), p.ID.V, s.day(p.Time()))
	if err := q.general(p, sheet, f); err != nil {
		return err
	}
	for i := range p.Coupons.V {
		if q.done {
			break
		}
		if err := q.coupon(p, sheet, i); err != nil {
			return err
		}
	}
	if len(sheet.Entries.V) == 0 {
		s.say("nothing was typed; the plan stays open")
		return nil
	}
	p.sheet = sheet
	return s.finishPlan(p, sheet, f)
}

// An asker asks at a terminal. Once somebody typed q, or the input ended, it asks no more.
type asker struct {
	*shop
	in   *bufio.Reader
	keep func() error
	done bool
}

func (q *asker) ask(question string) string {
	if q.done {
		return ""
	}
	fmt.Fprintf(q.out, "%s: ", question)
	line, err := q.in.ReadString('\n')
	line = strings.TrimSpace(line)
	if errors.Is(err, io.EOF) || line == "q" || line == "quit" {
		q.done = true
		if line == "q" || line == "quit" {
			line = ""
		}
	}
	return line
}

// until asks until the answer can be read; an empty one is left out.
func (q *asker) until(question string, take func(answer string) error) {
	for {
		answer := q.ask(question)
		if answer == "" {
			return
		}
		err := take(answer)
		if err == nil {
			return
		}
		q.say("    %v", err)
		var t *trouble
		if errors.As(err, &t) && t.help != "" {
			q.say("    %s", strings.ReplaceAll(t.help, "\n", "\n    "))
		}
		if q.done {
			return
		}
	}
}

// general asks what is the same for all pieces.
func (q *asker) general(p *plan, sheet *schema.TrialSheet, f trialFlags) error {
	units := []string{}
	if m := q.unsaved.lib.Machine(p.Values.V.Machine.V); m != nil {
		units = m.UnitNames()
	}
	if f.unit == "" && !sheet.Unit.Set() && len(units) > 1 {
		q.until("Which machine? ("+strings.Join(units, ", ")+")", func(a string) error {
			if !slices.Contains(units, a) {
				return troublef("One of: "+strings.Join(units, ", "), "%q is no unit of %s", a, p.Values.V.Machine.V)
			}
			sheet.Unit = schema.Of(a)
			return nil
		})
	}
	if p.sheet != nil {
		return q.keep() // asked in an earlier sitting; what was left out then can be said by flags
	}
	for _, one := range []struct {
		question string
		flag     string
		to       *schema.Member[string]
	}{
		{"Plate (as the shop names it)", f.plate, &sheet.Plate}, {"Lot or heat number", f.lot, &sheet.Lot},
		{"Grade, where it is not " + orWord(p.Values.V.Grade.V, "the one of the condition"), f.grade, &sheet.Grade}, {"Nozzle used (number, new or worn)", f.nozzle, &sheet.NozzleUsed},
	} {
		if one.flag == "" && !one.to.Set() {
			*one.to = optional(q.ask(one.question))
		}
	}
	if len(f.overrides) == 0 && len(sheet.Overrides) == 0 {
		q.until("Overrides other than 100 %, such as feed=90% (Enter if none)", func(a string) error {
			read, err := readOverrides(strings.FieldsFunc(a, func(r rune) bool { return r == ' ' || r == ',' }))
			sheet.Overrides = read
			return err
		})
		if len(sheet.Overrides) == 0 && !q.done {
			sheet.Overrides, _ = readOverrides([]string{"feed=100%", "power=100%", "pressure=100%"})
		}
	}
	return q.keep()
}

func orWord(word, otherwise string) string {
	if word == "" {
		return otherwise
	}
	return word
}

// coupon asks for one piece and keeps the answers.
func (q *asker) coupon(p *plan, sheet *schema.TrialSheet, i int) error {
	c := p.Coupons.V[i]
	at := slices.IndexFunc(sheet.Entries.V, func(e schema.Entry) bool { return e.Coupon.V == c.Number.V })
	if at >= 0 && sheet.Entries.V[at].Outcome.Set() {
		return nil // known already
	}
	q.tell("")
	q.tell("coupon %d of %d   plate %d   %s", c.Number.V, len(p.Coupons.V), c.Plate.V, settingWords(c.Changed))
	e := schema.Entry{Coupon: c.Number}
	if at >= 0 {
		e = sheet.Entries.V[at]
	}
	q.entry(&e, p.Values.V.Thickness.V)
	if !e.Outcome.Set() && !e.Observed.Set() && !e.Measured.Set() && !e.Text.Set() {
		return nil
	}
	if at >= 0 {
		sheet.Entries.V[at] = e
	} else {
		sheet.Entries.V = append(sheet.Entries.V, e)
	}
	return q.keep()
}

// entry asks what one cut came out like.
func (q *asker) entry(e *schema.Entry, thickness quantity.Length) {
	q.until("  came out (good, marginal, bad)", func(a string) error {
		word := strings.ToLower(a)
		for _, o := range schema.Outcomes {
			if strings.HasPrefix(o, word) {
				e.Outcome = schema.Of(o)
				return nil
			}
		}
		return troublef("", "%q is none of good, marginal, bad", a)
	})
	if !e.Outcome.Set() {
		return
	}
	q.until("  seen (such as dross, taper; ? lists the words)", func(a string) error {
		if a == "?" {
			return troublef("", "%s", strings.Join(schema.Symptoms, ", "))
		}
		words := strings.FieldsFunc(strings.ToLower(a), func(r rune) bool { return r == ' ' || r == ',' })
		for _, w := range words {
			if !slices.Contains(schema.Symptoms, w) {
				return troublef(didYouMean(w, schema.Symptoms), "%q is no word for a symptom", w)
			}
		}
		e.Observed = schema.Of(words)
		return nil
	})
	q.until("  measured, such as u=0.12 rz5=25 dross=0.05 kerf=0.3", func(a string) error {
		return q.figures(e, strings.Fields(a), thickness)
	})
	q.until("  nozzle, beam off and head parked (cold, warm, hot, or degrees)", func(a string) error {
		if slices.Contains([]string{"cold", "warm", "hot"}, strings.ToLower(a)) {
			return q.figures(e, []string{"nozzle=" + strings.ToLower(a)}, thickness)
		}
		return q.figures(e, []string{"nozzle_temperature=" + a}, thickness)
	})
	e.Text = optional(q.ask("  remark"))
}

// figures adds figures to an entry, where they can be.
func (q *asker) figures(e *schema.Entry, pairs []string, thickness quantity.Length) error {
	m, err := readFigures(e.Measured.V, pairs)
	if err != nil {
		return err
	}
	if field, why, help := implausible(&m, thickness); why != "" {
		return troublef(help, "%s: %s", field, why)
	}
	e.Measured = schema.Of(m)
	return nil
}
